//! Named numbers and limits of eight layouts at once, from samples.
//!
//! Lanes are layouts. Every layout is looked at in the same moments; an extremum is that of the
//! parabola through the extreme sample and its neighbours, so a number is good to a small part
//! of a band, which the exact look has to confirm where it matters.

use super::course::{Course, interpolate};
use super::forms::sign_of;
use super::slacks::{Interest, WHOLE};
use super::{Form, Spot};
use crate::curves::{Bicycle, Cog, State, Suspension};
use crate::input::{Curve, Limit, Place};
use crate::mechanism::{Motion, Plan, Pose};
use crate::number::{LANES, Lanes, Point, Scalar, Vector};
use crate::room::{Nearby, Room};

/// Samples over the motion, uniform in its parameter; odd, so that Simpson's rule fits.
pub(super) const SAMPLES: usize = 25;

/// One value a lane.
pub type Lane = [f64; LANES];

/// What eight layouts come to.
#[derive(Clone, Debug, Default)]
pub struct Sampled {
    /// Value of every form, a deviation with its sign.
    pub values: Vec<Lane>,
    /// Slack of every limit, mm or degrees.
    pub slacks: Vec<Lane>,
    /// The least margin of the mechanism or the least leverage rate, whichever is smaller;
    /// where it is not positive the other numbers mean nothing.
    pub margin: Lane,
}

/// Eight layouts to look at.
#[derive(Clone, Copy, Debug)]
pub struct Batch<'b> {
    /// The points at full extension.
    pub points: &'b [Point<Lanes>],
    /// Full stroke, mm.
    pub stroke: Lanes,
    /// How far the centre of mass is off, mm.
    pub mass_shift: Option<Vector<Lanes>>,
}

/// A curve that is looked at over the travel; the cog counts where it matters.
type Read = (Curve, Option<Cog>);

/// Looks at layouts near one that it was made for.
#[derive(Clone, Debug)]
pub struct Sampler<'p> {
    plan: &'p Plan,
    bicycle: Bicycle,
    forms: Vec<Form>,
    pub(super) limits: Vec<Limit>,
    /// The number of each limit's clearance, if it is about parts.
    pub(super) gaps: Vec<Option<usize>>,
    /// The same of each form.
    form_gaps: Vec<Option<usize>>,
    pub(super) nearby: Nearby,
    reads: Vec<Read>,
    places: Vec<(Place, Spot)>,
    pub(super) motion: Motion<'p, Lanes>,
    pub(super) poses: Vec<Pose<Lanes>>,
    states: Vec<State<Lanes>>,
    pub(super) place_poses: Vec<Pose<Lanes>>,
    place_states: Vec<State<Lanes>>,
    place_parameters: Vec<Lane>,
    travels: Vec<Lane>,
    rates: Vec<Lane>,
    /// One line of samples a read.
    samples: Vec<Vec<Lane>>,
}

fn parameter(index: usize) -> f64 {
    index as f64 / (SAMPLES - 1) as f64
}

impl<'p> Sampler<'p> {
    /// Looks at `forms` and `limits` of layouts near `suspension`.
    #[must_use]
    pub fn new(suspension: &Suspension<'p>, forms: &[&Form], limits: &[Limit]) -> Self {
        let (plan, bicycle) = (suspension.plan(), suspension.bicycle().clone());
        let of_forms = forms.iter().map(|form| form.clearance());
        let all = limits.iter().map(Limit::clearance).chain(of_forms.clone());
        let room = Room::new(plan, &bicycle, all.flatten());
        let mut next = 0..;
        let mut number = |is_one: bool| is_one.then(|| next.next()).flatten();
        let mut sampler = Self {
            gaps: limits
                .iter()
                .map(|limit| number(limit.clearance().is_some()))
                .collect(),
            form_gaps: of_forms
                .map(|clearance| number(clearance.is_some()))
                .collect(),
            nearby: Nearby::new(Room::new(plan, &bicycle, []), suspension, &[]),
            plan,
            bicycle,
            forms: forms.iter().map(|&form| form.clone()).collect(),
            limits: limits.to_vec(),
            reads: Vec::new(),
            places: Vec::new(),
            motion: Motion::empty(plan),
            poses: vec![Pose::new(plan); SAMPLES],
            states: vec![State::empty(); SAMPLES],
            place_poses: Vec::new(),
            place_states: Vec::new(),
            place_parameters: Vec::new(),
            travels: Vec::new(),
            rates: Vec::new(),
            samples: Vec::new(),
        };
        for form in forms {
            sampler.plan_form(suspension, form);
        }
        for (from, to) in limits.iter().filter_map(|limit| limit.over) {
            sampler.plan_places(suspension, [from, to]);
        }
        let places = sampler.places.iter().map(|(_, spot)| spot.parameter);
        let parameters: Vec<f64> = (0..SAMPLES).map(parameter).chain(places).collect();
        sampler.nearby = Nearby::new(room, suspension, &parameters);
        let count = sampler.places.len();
        sampler.place_poses = vec![Pose::new(plan); count];
        sampler.place_states = vec![State::empty(); count];
        sampler.place_parameters = vec![[0.0; LANES]; count];
        sampler.samples = vec![vec![[0.0; LANES]; SAMPLES]; sampler.reads.len()];
        sampler
    }

    fn plan_form(&mut self, suspension: &Suspension<'p>, form: &Form) {
        let mut read = |curve: Curve, cog: Cog| {
            let read = (curve, curve.depends_on_cog().then_some(cog));
            if !self.reads.contains(&read) {
                self.reads.push(read);
            }
        };
        let places = match form {
            Form::At { place, .. } | Form::Share { place, .. } => [*place, Place::End],
            Form::Gain { from, to, .. } | Form::Fall { from, to, .. } => [*from, *to],
            Form::Extreme {
                curve, cog, range, ..
            }
            | Form::Deviation { curve, cog, range }
            | Form::Reversal {
                curve, cog, range, ..
            } => {
                read(*curve, *cog);
                [range.0, range.1]
            }
            Form::Spread { curve, cogs, range } => {
                for &cog in cogs.iter().filter(|_| range.0 != range.1) {
                    read(*curve, cog);
                }
                [range.0, range.1]
            }
            Form::Mean { curve, cog }
            | Form::DeviationRms { curve, cog }
            | Form::ExtremeAt { curve, cog, .. } => {
                read(*curve, *cog);
                [Place::Top, Place::End]
            }
            Form::MeanLeverage => [Place::Top, Place::End],
            Form::Clearance { range, .. } => [range.0, range.1],
        };
        self.plan_places(suspension, places);
    }

    fn plan_places(&mut self, suspension: &Suspension<'p>, places: [Place; 2]) {
        for place in places {
            if !self.places.iter().any(|(known, _)| *known == place) {
                self.places.push((place, Spot::place(suspension, place)));
            }
        }
    }

    /// Looks at eight layouts; at their limits as far as `interest` goes.
    pub fn look(&mut self, batch: &Batch<'_>, interest: Interest, out: &mut Sampled) {
        self.motion.redraw(batch.points, batch.stroke);
        let total_travel = self.pose_all();
        out.margin = self.margin();
        self.find_places(total_travel);
        for (pose, state) in self.poses.iter().zip(&mut self.states) {
            state.set(&self.bicycle, &self.motion, pose, total_travel);
        }
        self.lower_margin(&mut out.margin);
        self.place_parts();
        self.read_samples(batch.mass_shift);
        out.values.clear();
        for index in 0..self.forms.len() {
            let value = self.number(index, batch);
            out.values.push(value);
        }
        self.read_limits(interest, out);
    }

    fn pose_all(&mut self) -> Lanes {
        let parameters: [Lanes; SAMPLES] =
            std::array::from_fn(|index| Lanes::from_f64(parameter(index)));
        self.motion.pose_all(&parameters, &mut self.poses);
        let axle = self.bicycle.axle();
        self.poses[SAMPLES - 1].points[axle].y - self.motion.drawn()[axle].y
    }

    fn margin(&self) -> Lane {
        let mut least = [f64::INFINITY; LANES];
        for margin in self.poses.iter().flat_map(|pose| &pose.margins) {
            lower(&mut least, margin.to_array());
        }
        least
    }

    /// A wheel that moves down is no motion either.
    fn lower_margin(&self, margin: &mut Lane) {
        for state in &self.states {
            lower(margin, state.leverage_rate().to_array());
        }
    }

    /// Finds every place by Newton from where the layout that the sampler was made for has it: a
    /// fixed number of steps, so that no lane can alter another.
    fn find_places(&mut self, total_travel: Lanes) {
        const STEPS: usize = 3;
        use super::Pin;
        let axle = self.bicycle.axle();
        for (index, (_, spot)) in self.places.iter().enumerate() {
            let pose = &mut self.place_poses[index];
            let mut q = Lanes::from_f64(spot.parameter);
            self.motion.pose(q, pose);
            if spot.pin != Pin::Parameter {
                for _ in 0..STEPS {
                    let step = match spot.pin {
                        Pin::Stroke(fraction) => {
                            (pose.stroke - self.motion.full_stroke() * fraction) / pose.stroke_rate
                        }
                        Pin::Travel(fraction) => {
                            let travel = pose.points[axle].y - self.motion.drawn()[axle].y;
                            (travel - total_travel * fraction) / pose.velocities[axle].y
                        }
                        Pin::Parameter | Pin::Turn(..) => Lanes::from_f64(0.0),
                    };
                    q = q - step;
                    self.motion.pose(q, pose);
                }
            }
            self.place_parameters[index] = q.to_array();
            self.place_states[index].set(&self.bicycle, &self.motion, pose, total_travel);
        }
    }

    fn read_samples(&mut self, mass_shift: Option<Vector<Lanes>>) {
        self.travels.clear();
        self.rates.clear();
        for state in &self.states {
            self.travels.push(state.travel.to_array());
            self.rates.push(state.axle_velocity.y.to_array());
        }
        let (bicycle, states) = (&self.bicycle, &self.states);
        let any = bicycle.cogs()[0];
        for (line, &(curve, cog)) in self.samples.iter_mut().zip(&self.reads) {
            for (slot, state) in line.iter_mut().zip(states) {
                let cog = cog.unwrap_or(any);
                *slot = value(bicycle, &states[0], state, (curve, cog), mass_shift).to_array();
            }
        }
    }

    fn line(&self, curve: Curve, cog: Cog) -> &[Lane] {
        let read = (curve, curve.depends_on_cog().then_some(cog));
        let index = self.reads.iter().position(|known| *known == read);
        index.map_or(&[], |index| &self.samples[index])
    }

    pub(super) fn place(&self, place: Place) -> usize {
        self.places
            .iter()
            .position(|(known, _)| *known == place)
            .unwrap_or(0)
    }

    /// A curve at a place.
    fn at(&self, curve: Curve, cog: Cog, place: Place, batch: &Batch<'_>) -> Lanes {
        let state = &self.place_states[self.place(place)];
        value(
            &self.bicycle,
            &self.states[0],
            state,
            (curve, cog),
            batch.mass_shift,
        )
    }

    fn number(&self, index: usize, batch: &Batch<'_>) -> Lane {
        let at = |curve, cog, place| self.at(curve, cog, place, batch);
        match &self.forms[index] {
            Form::Clearance { range, .. } => {
                let gap = self.form_gaps[index];
                let any = [f64::INFINITY; LANES];
                gap.map_or([f64::NAN; LANES], |gap| self.smallest(gap, *range, any))
            }
            Form::At { curve, cog, place } => at(*curve, *cog, *place).to_array(),
            Form::Gain {
                curve,
                cog,
                from,
                to,
            } => (at(*curve, *cog, *to) - at(*curve, *cog, *from)).to_array(),
            Form::Fall {
                curve,
                cog,
                from,
                to,
            } => {
                let first = at(*curve, *cog, *from);
                ((first - at(*curve, *cog, *to)) / first * 100.0).to_array()
            }
            Form::Share { curve, cog, place } => {
                (at(*curve, *cog, *place) / at(*curve, *cog, Place::End)).to_array()
            }
            Form::MeanLeverage => {
                let travel = self.states[SAMPLES - 1].travel;
                (travel / self.motion.full_stroke()).to_array()
            }
            Form::Mean { curve, cog } => {
                self.mean(|index, lane| self.line(*curve, *cog)[index][lane])
            }
            Form::DeviationRms { curve, cog } => self.deviation_rms(self.line(*curve, *cog)),
            Form::Spread { curve, cogs, range } if range.0 == range.1 => {
                let values = cogs.iter().map(|&cog| at(*curve, cog, range.0).to_array());
                spread(values.map(|value| (value, value)))
            }
            Form::Spread { curve, cogs, range } => spread(cogs.iter().map(|&cog| {
                let ends = self
                    .courses_of((*curve, cog), *range, batch)
                    .map(|course| (course.least().1, course.greatest().1));
                (ends.map(|(low, _)| low), ends.map(|(_, high)| high))
            })),
            Form::Extreme {
                curve,
                cog,
                range,
                greatest,
            } => {
                let courses = self.courses_of((*curve, *cog), *range, batch);
                courses.map(|course| course.extreme(*greatest).1)
            }
            Form::ExtremeAt {
                curve,
                cog,
                greatest,
            } => {
                let courses = self.courses_of((*curve, *cog), WHOLE, batch);
                std::array::from_fn(|lane| self.travel_at(courses[lane].extreme(*greatest).0, lane))
            }
            Form::Deviation { curve, cog, range } => self.deviation(*curve, *cog, *range, batch),
            Form::Reversal {
                curve,
                cog,
                range,
                direction,
            } => {
                let courses = self.courses_of((*curve, *cog), *range, batch);
                courses.map(|course| course.reversal(sign_of(*direction)))
            }
        }
    }

    /// Root mean square of the deviation of a line from its chord.
    fn deviation_rms(&self, line: &[Lane]) -> Lane {
        let last = SAMPLES - 1;
        let squares = self.mean(|index, lane| {
            let rise = (line[last][lane] - line[0][lane]) / self.travels[last][lane];
            let off = line[index][lane] - line[0][lane] - rise * self.travels[index][lane];
            off * off
        });
        squares.map(f64::sqrt)
    }

    /// The course of a curve over a range in every lane.
    fn courses_of(
        &self,
        (curve, cog): (Curve, Cog),
        range: (Place, Place),
        batch: &Batch<'_>,
    ) -> [Course; LANES] {
        let ends = [range.0, range.1].map(|place| self.at(curve, cog, place, batch).to_array());
        self.courses(self.line(curve, cog), range, ends)
    }

    /// The deviation from the chord that is largest in size.
    fn deviation(&self, curve: Curve, cog: Cog, range: (Place, Place), batch: &Batch<'_>) -> Lane {
        let line = self.line(curve, cog);
        let ends = [range.0, range.1].map(|place| self.at(curve, cog, place, batch).to_array());
        let travel =
            [range.0, range.1].map(|place| self.place_states[self.place(place)].travel.to_array());
        let off: Vec<Lane> = (0..SAMPLES)
            .map(|index| {
                std::array::from_fn(|lane| {
                    let rise =
                        (ends[1][lane] - ends[0][lane]) / (travel[1][lane] - travel[0][lane]);
                    let along = self.travels[index][lane] - travel[0][lane];
                    line[index][lane] - ends[0][lane] - rise * along
                })
            })
            .collect();
        let courses = self.courses(&off, range, [[0.0; LANES]; 2]);
        courses.map(|course| {
            let (low, high) = (course.least().1, course.greatest().1);
            if high >= -low { high } else { low }
        })
    }

    /// Mean over uniform travel, by Simpson's rule weighted with the travel that is made.
    fn mean(&self, read: impl Fn(usize, usize) -> f64) -> Lane {
        std::array::from_fn(|lane| {
            let mut sum = 0.0;
            for index in 0..SAMPLES {
                let weight = if index == 0 || index == SAMPLES - 1 {
                    1.0
                } else if index % 2 == 1 {
                    4.0
                } else {
                    2.0
                };
                sum += weight * read(index, lane) * self.rates[index][lane];
            }
            sum / (3.0 * (SAMPLES - 1) as f64) / self.travels[SAMPLES - 1][lane]
        })
    }

    fn travel_at(&self, q: f64, lane: usize) -> f64 {
        let next = (1..SAMPLES - 1)
            .find(|&index| parameter(index) >= q)
            .unwrap_or(SAMPLES - 1);
        let first = next.clamp(1, SAMPLES - 2) - 1;
        let points = [0, 1, 2].map(|i| (parameter(first + i), self.travels[first + i][lane]));
        interpolate(points, q)
    }

    /// The course of sampled values over a range in every lane, its ends included.
    pub(super) fn courses(
        &self,
        line: &[Lane],
        range: (Place, Place),
        ends: [Lane; 2],
    ) -> [Course; LANES] {
        let [from, to] = [range.0, range.1].map(|place| self.place_parameters[self.place(place)]);
        std::array::from_fn(|lane| {
            let mut course = Course::new();
            course.push(from[lane], ends[0][lane]);
            for (index, values) in line.iter().enumerate() {
                let q = parameter(index);
                // A sample next to an end says nothing new, and a parabola through both nonsense.
                if q > from[lane] + 1e-6 && q < to[lane] - 1e-6 {
                    course.push(q, values[lane]);
                }
            }
            course.push(to[lane], ends[1][lane]);
            course
        })
    }

    /// The plan that it looks with.
    #[must_use]
    pub fn plan(&self) -> &'p Plan {
        self.plan
    }
}

/// A curve in a state, with the centre of mass off by `mass_shift`: anti-squat and anti-rise go
/// as one over its height.
#[inline]
fn value(
    bicycle: &Bicycle,
    top: &State<Lanes>,
    state: &State<Lanes>,
    (curve, cog): (Curve, Cog),
    mass_shift: Option<Vector<Lanes>>,
) -> Lanes {
    let value = state.value(curve, bicycle, top, cog);
    match (curve, mass_shift) {
        (Curve::AntiSquat | Curve::AntiRise, Some(shift)) => {
            let height = state.ground.mass_height;
            value * (height / (height + state.ground.up.dot(shift)))
        }
        _ => value,
    }
}

fn lower(least: &mut Lane, values: Lane) {
    for (least, value) in least.iter_mut().zip(values) {
        if value < *least || value.is_nan() {
            *least = value;
        }
    }
}

/// Largest less smallest of all, from the smallest and the largest of each.
fn spread(each: impl Iterator<Item = (Lane, Lane)>) -> Lane {
    let (mut least, mut most) = ([f64::INFINITY; LANES], [f64::NEG_INFINITY; LANES]);
    for (low, high) in each {
        for lane in 0..LANES {
            least[lane] = least[lane].min(low[lane]);
            most[lane] = most[lane].max(high[lane]);
        }
    }
    std::array::from_fn(|lane| most[lane] - least[lane])
}
