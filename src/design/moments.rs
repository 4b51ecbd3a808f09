//! A candidate's motion, looked at in a fixed number of moments.
//!
//! This grid is the solver's means only. Lanes are moments, so a candidate costs a
//! handful of passes whatever the number type.

use crate::curves::{Bicycle, State};
use crate::input::{Place, SagOf};
use crate::mechanism::{Motion, Plan, Pose};
use crate::number::Scalar;

/// Moments uniform in the parameter of the motion, both ends included.
pub(super) const SAMPLES: usize = 16;

/// One moment of those looked at.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Moment {
    /// A sample of the uniform grid.
    Sample(usize),
    /// One of the places between, by its number in the list of places.
    Place(usize),
}

impl Moment {
    pub const TOP: Self = Self::Sample(0);
    pub const END: Self = Self::Sample(SAMPLES - 1);
}

/// The places of a problem that are neither top nor end; at most one lane each.
#[derive(Clone, Debug, Default)]
pub(super) struct Places(Vec<Place>);

impl Places {
    /// The moment of `place`, added to the list if it is new.
    pub fn moment(&mut self, place: Place) -> Moment {
        match place {
            Place::Top => Moment::TOP,
            Place::End => Moment::END,
            Place::Fraction(fraction) if fraction <= 0.0 => Moment::TOP,
            Place::Fraction(fraction) if fraction >= 1.0 => Moment::END,
            Place::Sag | Place::Fraction(_) => {
                let known = self.0.iter().position(|other| *other == place);
                Moment::Place(known.unwrap_or_else(|| {
                    self.0.push(place);
                    self.0.len() - 1
                }))
            }
        }
    }
}

/// A candidate in all its moments; the memory is reused from candidate to candidate.
#[derive(Clone, Debug)]
pub(super) struct Moments<T: Scalar> {
    poses: Vec<Pose<T>>,
    states: Vec<State<T>>,
    place_poses: Vec<Pose<T>>,
    place_states: Vec<State<T>>,
    place_parameters: Vec<f64>,
    top: State<T>,
    /// Total travel, mm.
    pub total_travel: T::Lane,
}

/// Parameter of sample `index`.
fn parameter(index: usize) -> f64 {
    index.min(SAMPLES - 1) as f64 / (SAMPLES - 1) as f64
}

impl<T: Scalar> Moments<T> {
    /// Room for the moments of candidates of `plan`.
    pub fn new(plan: &Plan, places: &Places) -> Self {
        let groups = SAMPLES.div_ceil(T::LANES);
        let place_groups = places.0.len().div_ceil(T::LANES);
        Self {
            poses: vec![Pose::new(plan); groups],
            states: vec![State::empty(); groups],
            place_poses: vec![Pose::new(plan); place_groups],
            place_states: vec![State::empty(); place_groups],
            place_parameters: Vec::with_capacity(places.0.len()),
            top: State::empty(),
            total_travel: T::Lane::from_f64(0.0),
        }
    }

    /// Moves the candidate; `Err` with the smallest margin where it does not assemble.
    pub fn look(
        &mut self,
        bicycle: &Bicycle,
        motion: &Motion<'_, T>,
        places: &Places,
    ) -> Result<(), f64> {
        for (group, pose) in self.poses.iter_mut().enumerate() {
            motion.pose(
                T::from_lanes(|lane| parameter(group * T::LANES + lane)),
                pose,
            );
        }
        let worst = smallest_margin(&self.poses);
        if worst.is_nan() || worst <= 0.0 {
            return Err(worst);
        }
        let axle = bicycle.axle();
        let (last_group, last_lane) = ((SAMPLES - 1) / T::LANES, (SAMPLES - 1) % T::LANES);
        let last = self.poses[last_group].points[axle].y.extract(last_lane);
        self.total_travel = last - motion.drawn()[axle].y.extract(0);
        let travel = T::broadcast(self.total_travel);
        for (state, pose) in self.states.iter_mut().zip(&self.poses) {
            state.set(bicycle, motion, pose, travel);
        }
        self.find_places(bicycle, motion, places);
        Ok(())
    }

    /// Looks at top in every lane too, for what is measured from there.
    pub fn look_at_top(&mut self, bicycle: &Bicycle, motion: &Motion<'_, T>) {
        let mut pose = Pose::new(motion.plan());
        motion.pose(T::from_f64(0.0), &mut pose);
        self.top
            .set(bicycle, motion, &pose, T::broadcast(self.total_travel));
    }

    fn find_places(&mut self, bicycle: &Bicycle, motion: &Motion<'_, T>, places: &Places) {
        self.place_parameters.clear();
        for (index, chunk) in places.0.chunks(T::LANES).enumerate() {
            let of = |lane: usize| chunk[lane.min(chunk.len() - 1)];
            let guess = T::from_lanes(|lane| self.guess(bicycle, of(lane)));
            let pose = &mut self.place_poses[index];
            motion.pose(guess, pose);
            // The guess is good to some 1e-8; one Newton step ends it and carries the
            // derivatives over, since the place moves with the design.
            let (by_stroke, fraction): (T, T) = wanted(bicycle, &of);
            let axle = bicycle.axle();
            let travel = pose.points[axle].y - motion.drawn()[axle].y;
            let total = T::broadcast(self.total_travel);
            let travel_missing = travel - total * fraction;
            let stroke_missing = pose.stroke - motion.full_stroke() * fraction;
            let step_by_travel = travel_missing / T::from_value(pose.velocities[axle].y.value());
            let step_by_stroke = stroke_missing / T::from_value(pose.stroke_rate.value());
            let one = T::from_f64(1.0);
            let q = guess - step_by_stroke * by_stroke - step_by_travel * (one - by_stroke);
            motion.pose(q, pose);
            self.place_states[index].set(bicycle, motion, pose, total);
            self.place_parameters
                .extend((0..chunk.len()).map(|lane| q.lane(lane)));
        }
    }

    /// Parameter of a place by cubic interpolation between the samples around it.
    fn guess(&self, bicycle: &Bicycle, place: Place) -> f64 {
        let (by_stroke, fraction) = place_fraction(bicycle, place);
        let reached = |index: usize| {
            let (group, lane) = (index / T::LANES, index % T::LANES);
            let pose = &self.poses[group];
            if by_stroke {
                (pose.stroke.lane(lane), pose.stroke_rate.lane(lane))
            } else {
                let rate = pose.velocities[bicycle.axle()].y.lane(lane);
                (self.states[group].travel.lane(lane), rate)
            }
        };
        let wanted = fraction * reached(SAMPLES - 1).0;
        let next = (1..SAMPLES - 1)
            .find(|&i| reached(i).0 >= wanted)
            .unwrap_or(SAMPLES - 1);
        let ((low, low_rate), (high, high_rate)) = (reached(next - 1), reached(next));
        let width = parameter(next) - parameter(next - 1);
        // The inverse function, by its values and slopes at both ends.
        let (rise, t) = (high - low, (wanted - low) / (high - low));
        let rest = 1.0 - t;
        parameter(next - 1) + width * t * t * (3.0 - 2.0 * t) + rise / low_rate * t * rest * rest
            - rise / high_rate * t * t * rest
    }

    /// The states of all samples, a group of lanes each; lanes beyond the last sample repeat it.
    pub fn states(&self) -> &[State<T>] {
        &self.states
    }

    /// The poses of all samples, in the same groups.
    pub fn poses(&self) -> &[Pose<T>] {
        &self.poses
    }

    /// The poses of all places between, in groups of their own.
    pub fn place_poses(&self) -> &[Pose<T>] {
        &self.place_poses
    }

    /// The value of `read` in every sample, in order.
    pub fn samples(&self, read: impl Fn(&State<T>) -> T) -> Vec<T::Lane> {
        let mut values = Vec::with_capacity(SAMPLES);
        for state in &self.states {
            let value = read(state);
            values.extend((0..T::LANES).map(|lane| value.extract(lane)));
        }
        values.truncate(SAMPLES);
        values
    }

    /// The value of `read` at one moment.
    pub fn at(&self, moment: Moment, read: impl Fn(&State<T>) -> T) -> T::Lane {
        let (states, index) = match moment {
            Moment::Sample(index) => (&self.states, index),
            Moment::Place(index) => (&self.place_states, index),
        };
        read(&states[index / T::LANES]).extract(index % T::LANES)
    }

    /// The same for a function of the points' positions.
    pub fn pose_at(&self, moment: Moment, read: impl Fn(&Pose<T>) -> T) -> T::Lane {
        let (poses, index) = match moment {
            Moment::Sample(index) => (&self.poses, index),
            Moment::Place(index) => (&self.place_poses, index),
        };
        read(&poses[index / T::LANES]).extract(index % T::LANES)
    }

    /// Parameter of a moment.
    pub fn parameter(&self, moment: Moment) -> f64 {
        match moment {
            Moment::Sample(index) => parameter(index),
            Moment::Place(index) => self.place_parameters[index],
        }
    }

    /// Whether sample `index` lies strictly between two moments.
    pub fn inside(&self, index: usize, from: Moment, to: Moment) -> bool {
        let q = parameter(index);
        q > self.parameter(from) && q < self.parameter(to)
    }

    /// The state at top, in every lane.
    pub fn top(&self) -> &State<T> {
        &self.top
    }

    /// The smallest margin of any step over all samples.
    pub fn least_margin(&self) -> T::Lane {
        let margins = self.poses.iter().flat_map(|pose| &pose.margins).copied();
        smallest_lane(margins)
    }

    /// The smallest leverage rate over all samples.
    pub fn least_leverage(&self) -> T::Lane {
        smallest_lane(self.states.iter().map(State::leverage_rate))
    }
}

/// The smallest lane of all numbers.
fn smallest_lane<T: Scalar>(values: impl Iterator<Item = T>) -> T::Lane {
    let mut best: Option<(f64, T, usize)> = None;
    for value in values {
        for (lane, &number) in value.to_lanes().iter().take(T::LANES).enumerate() {
            if best.is_none_or(|(least, ..)| number < least) {
                best = Some((number, value, lane));
            }
        }
    }
    best.map_or(T::Lane::from_f64(f64::NAN), |(_, value, lane)| {
        value.extract(lane)
    })
}

/// The number whose value is smallest.
pub(super) fn smallest<S: Scalar>(values: Vec<S>) -> S {
    extreme(values, |a, b| a < b)
}

/// The number whose value is largest.
pub(super) fn largest<S: Scalar>(values: Vec<S>) -> S {
    extreme(values, |a, b| a > b)
}

fn extreme<S: Scalar>(values: Vec<S>, better: impl Fn(f64, f64) -> bool) -> S {
    let mut best: Option<S> = None;
    for value in values {
        let wins = best.is_none_or(|best| better(value.lane(0), best.lane(0)));
        if wins {
            best = Some(value);
        }
    }
    best.unwrap_or(S::from_f64(f64::NAN))
}

fn smallest_margin<T: Scalar>(poses: &[Pose<T>]) -> f64 {
    let mut worst = f64::INFINITY;
    for margin in poses.iter().flat_map(|pose| &pose.margins) {
        for margin in margin.to_lanes().into_iter().take(T::LANES) {
            // A NaN stays: nothing is smaller than it.
            if margin.is_nan() || margin < worst {
                worst = margin;
            }
        }
        if worst.is_nan() {
            break;
        }
    }
    worst
}

/// Whether a place is told by stroke, and the fraction.
fn place_fraction(bicycle: &Bicycle, place: Place) -> (bool, f64) {
    match place {
        Place::Top => (false, 0.0),
        Place::End => (false, 1.0),
        Place::Fraction(fraction) => (false, fraction),
        Place::Sag => {
            let sag = bicycle.sag();
            (sag.of == SagOf::Stroke, sag.fraction)
        }
    }
}

/// Of each lane, 1 where its place is told by stroke (0 by travel), and the fraction.
fn wanted<T: Scalar>(bicycle: &Bicycle, of: &impl Fn(usize) -> Place) -> (T, T) {
    let by_stroke = T::from_lanes(|lane| f64::from(u8::from(place_fraction(bicycle, of(lane)).0)));
    let fraction = T::from_lanes(|lane| place_fraction(bicycle, of(lane)).1);
    (by_stroke, fraction)
}
