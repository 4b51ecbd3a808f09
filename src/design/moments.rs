//! A candidate's motion, looked at in a fixed number of moments.
//!
//! This grid is the solver's means only. Lanes are moments, so a candidate costs a
//! handful of passes whatever the number type.

use crate::curves::{Bicycle, State};
use crate::input::{Place, SagOf};
use crate::mechanism::{Motion, Pose};
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

/// A candidate in all its moments.
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
    /// Moves the candidate; `Err` with the smallest margin where it does not assemble.
    pub fn new(bicycle: &Bicycle, motion: &Motion<'_, T>, places: &Places) -> Result<Self, f64> {
        let groups = SAMPLES.div_ceil(T::LANES);
        let mut poses = Vec::with_capacity(groups);
        for group in 0..groups {
            let mut pose = Pose::new(motion.plan());
            let q = T::from_lanes(|lane| parameter(group * T::LANES + lane));
            motion.pose(q, &mut pose);
            poses.push(pose);
        }
        let worst = smallest_margin(&poses);
        if worst.is_nan() || worst <= 0.0 {
            return Err(worst);
        }
        let axle = bicycle.axle();
        let height = |pose: &Pose<T>, lane: usize| pose.points[axle].y.extract(lane);
        let last = (SAMPLES - 1) % T::LANES;
        let total_travel = height(&poses[groups - 1], last) - height(&poses[0], 0);
        let travel = T::broadcast(total_travel);
        let states = poses
            .iter()
            .map(|pose| State::new(bicycle, motion, pose, travel))
            .collect();
        let mut top = Pose::new(motion.plan());
        motion.pose(T::from_f64(0.0), &mut top);
        let mut moments = Self {
            states,
            place_poses: Vec::new(),
            place_states: Vec::new(),
            place_parameters: Vec::new(),
            top: State::new(bicycle, motion, &top, travel),
            total_travel,
            poses,
        };
        moments.find_places(bicycle, motion, places);
        Ok(moments)
    }

    fn find_places(&mut self, bicycle: &Bicycle, motion: &Motion<'_, T>, places: &Places) {
        for chunk in places.0.chunks(T::LANES) {
            let of = |lane: usize| chunk[lane.min(chunk.len() - 1)];
            let guesses: Vec<f64> = chunk
                .iter()
                .map(|&place| self.guess(bicycle, place))
                .collect();
            let guess = T::from_lanes(|lane| guesses[lane.min(guesses.len() - 1)]);
            let mut pose = Pose::new(motion.plan());
            motion.pose(guess, &mut pose);
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
            motion.pose(q, &mut pose);
            self.place_states
                .push(State::new(bicycle, motion, &pose, total));
            self.place_poses.push(pose);
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

    /// The value of `read` in every sample, in order.
    pub fn samples(&self, read: impl Fn(&State<T>) -> T) -> Vec<T::Lane> {
        let mut values = Vec::with_capacity(SAMPLES);
        for state in &self.states {
            let value = read(state);
            value.unpack(&mut values);
        }
        values.truncate(SAMPLES);
        values
    }

    /// The same for a function of the points' positions.
    pub fn pose_samples(&self, read: impl Fn(&Pose<T>) -> T) -> Vec<T::Lane> {
        let mut values = Vec::with_capacity(SAMPLES);
        for pose in &self.poses {
            let value = read(pose);
            value.unpack(&mut values);
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

    /// The smallest margin of each step over all samples.
    pub fn margins(&self) -> Vec<T::Lane> {
        let count = self.poses[0].margins.len();
        (0..count)
            .map(|step| smallest(self.pose_samples(|pose| pose.margins[step])))
            .collect()
    }
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
        for lane in 0..T::LANES {
            let margin = margin.lane(lane);
            if margin.is_nan() || margin < worst {
                worst = margin;
            }
            if worst.is_nan() {
                return worst;
            }
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
