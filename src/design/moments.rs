//! A candidate's motion, looked at in a fixed number of moments.
//!
//! This grid is the solver's means only. Lanes are moments, so a candidate costs a
//! handful of passes whatever the number type.

use crate::curves::{Bicycle, State};
use crate::input::{Place, Sag, SagOf};
use crate::mechanism::{Motion, Plan, Pose};
use crate::number::Scalar;
use std::cmp::Ordering;

/// Moments uniform in the parameter of the motion, both ends included.
pub(super) const SAMPLES: usize = 16;

/// One moment of those looked at.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Moment {
    /// Full extension.
    Top,
    /// Full stroke.
    End,
    /// One of the places between, by its number in the list of places.
    Place(usize),
}

/// The places of a problem that are neither top nor end; at most one lane each.
#[derive(Clone, Debug, Default)]
pub(super) struct Places(Vec<Place>);

impl Places {
    /// The moment of `place`, added to the list if it is new.
    pub fn moment(&mut self, place: Place) -> Moment {
        match place {
            Place::Top => Moment::Top,
            Place::End => Moment::End,
            Place::Fraction(fraction) if fraction <= 0.0 => Moment::Top,
            Place::Fraction(fraction) if fraction >= 1.0 => Moment::End,
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

/// What tells a place: a share of the stroke or of the travel.
#[derive(Clone, Copy, Debug)]
struct Share {
    of_stroke: bool,
    fraction: f64,
}

impl Share {
    fn new(place: Place, sag: Sag) -> Self {
        let (of_stroke, fraction) = match place {
            Place::Top => (false, 0.0),
            Place::End => (false, 1.0),
            Place::Fraction(fraction) => (false, fraction),
            Place::Sag => (sag.of == SagOf::Stroke, sag.fraction),
        };
        Self {
            of_stroke,
            fraction,
        }
    }
}

/// A candidate in all its moments; the memory is reused from candidate to candidate.
#[derive(Clone, Debug)]
pub(super) struct Moments<T: Scalar> {
    /// Parameters of the samples, a group of lanes each.
    parameters: Vec<T>,
    poses: Vec<Pose<T>>,
    states: Vec<State<T>>,
    shares: Vec<Share>,
    place_guesses: Vec<T>,
    place_poses: Vec<Pose<T>>,
    place_state: State<T>,
    place_parameters: Vec<f64>,
    /// The states at top, at the end and at the places.
    single: Vec<State<T::Lane>>,
    top: State<T>,
    /// Total travel, mm.
    pub total_travel: T::Lane,
}

/// Parameter of sample `index`.
pub(super) fn sample_parameter(index: usize) -> f64 {
    index.min(SAMPLES - 1) as f64 / (SAMPLES - 1) as f64
}

impl<T: Scalar> Moments<T> {
    /// Room for the moments of candidates of `plan`.
    pub fn new(plan: &Plan, places: &Places, sag: Sag) -> Self {
        let groups = SAMPLES.div_ceil(T::LANES);
        let place_groups = places.0.len().div_ceil(T::LANES);
        let of_group =
            |group: usize| T::from_lanes(|lane| sample_parameter(group * T::LANES + lane));
        Self {
            parameters: (0..groups).map(of_group).collect(),
            poses: vec![Pose::new(plan); groups],
            states: vec![State::empty(); groups],
            shares: places
                .0
                .iter()
                .map(|&place| Share::new(place, sag))
                .collect(),
            place_guesses: Vec::with_capacity(place_groups),
            place_poses: vec![Pose::new(plan); place_groups],
            place_state: State::empty(),
            place_parameters: Vec::with_capacity(places.0.len()),
            single: Vec::with_capacity(places.0.len() + 2),
            top: State::empty(),
            total_travel: T::Lane::from_f64(0.0),
        }
    }

    /// Moves the candidate, the same in every lane of `motion`; `Err` with the smallest margin
    /// where it does not assemble.
    pub fn look(&mut self, bicycle: &Bicycle, motion: &Motion<'_, T>) -> Result<(), f64> {
        motion.pose_all(&self.parameters, &mut self.poses);
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
        self.single.clear();
        self.single.push(self.states[0].extract(0));
        self.single.push(self.states[last_group].extract(last_lane));
        self.find_places(bicycle, motion);
        Ok(())
    }

    /// Spreads the state at top over all lanes, for what is measured from there.
    pub fn spread_top(&mut self) {
        self.top = State::broadcast(&self.single[0]);
    }

    fn find_places(&mut self, bicycle: &Bicycle, motion: &Motion<'_, T>) {
        self.guess_places(bicycle);
        motion.pose_all(&self.place_guesses, &mut self.place_poses);
        self.place_parameters.clear();
        let axle = bicycle.axle();
        let total = T::broadcast(self.total_travel);
        let one = T::from_f64(1.0);
        for (index, shares) in self.shares.chunks(T::LANES).enumerate() {
            // The guess is good to some 1e-8; one Newton step ends it and carries the
            // derivatives over, since the place moves with the design.
            let of = |lane: usize| shares[lane.min(shares.len() - 1)];
            let fraction = T::from_lanes(|lane| of(lane).fraction);
            let of_stroke = T::from_lanes(|lane| f64::from(u8::from(of(lane).of_stroke)));
            let pose = &mut self.place_poses[index];
            let travel = pose.points[axle].y - motion.drawn()[axle].y;
            let travel_missing = travel - total * fraction;
            let stroke_missing = pose.stroke - motion.full_stroke() * fraction;
            let step_by_travel = travel_missing / T::from_value(pose.velocities[axle].y.value());
            let step_by_stroke = stroke_missing / T::from_value(pose.stroke_rate.value());
            let q = self.place_guesses[index]
                - step_by_stroke * of_stroke
                - step_by_travel * (one - of_stroke);
            motion.pose(q, pose);
            self.place_state.set(bicycle, motion, pose, total);
            for lane in 0..shares.len() {
                self.place_parameters.push(q.lane(lane));
                self.single.push(self.place_state.extract(lane));
            }
        }
    }

    /// Parameters of the places by cubic interpolation between the samples around them.
    fn guess_places(&mut self, bicycle: &Bicycle) {
        let mut strokes = [[0.0; 2]; SAMPLES];
        let mut travels = [[0.0; 2]; SAMPLES];
        for (group, (pose, state)) in self.poses.iter().zip(&self.states).enumerate() {
            let (stroke, stroke_rate) = (pose.stroke.to_lanes(), pose.stroke_rate.to_lanes());
            let rate = pose.velocities[bicycle.axle()].y.to_lanes();
            let travel = state.travel.to_lanes();
            for lane in 0..T::LANES.min(SAMPLES - group * T::LANES) {
                strokes[group * T::LANES + lane] = [stroke[lane], stroke_rate[lane]];
                travels[group * T::LANES + lane] = [travel[lane], rate[lane]];
            }
        }
        self.place_guesses.clear();
        for shares in self.shares.chunks(T::LANES) {
            self.place_guesses.push(T::from_lanes(|lane| {
                let share = shares[lane.min(shares.len() - 1)];
                let reached = if share.of_stroke { &strokes } else { &travels };
                guess(reached, share.fraction)
            }));
        }
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

    /// The state at one moment.
    pub fn at(&self, moment: Moment) -> &State<T::Lane> {
        match moment {
            Moment::Top => &self.single[0],
            Moment::End => &self.single[1],
            Moment::Place(index) => &self.single[2 + index],
        }
    }

    /// The value at one moment of a function of the points' positions.
    pub fn pose_at(&self, moment: Moment, read: impl Fn(&Pose<T>) -> T) -> T::Lane {
        let (poses, index) = match moment {
            Moment::Top => (&self.poses, 0),
            Moment::End => (&self.poses, SAMPLES - 1),
            Moment::Place(index) => (&self.place_poses, index),
        };
        read(&poses[index / T::LANES]).extract(index % T::LANES)
    }

    /// Parameter of a moment.
    pub fn parameter(&self, moment: Moment) -> f64 {
        match moment {
            Moment::Top => 0.0,
            Moment::End => 1.0,
            Moment::Place(index) => self.place_parameters[index],
        }
    }

    /// Whether sample `index` lies before, in (`Equal`) or after the range between two moments.
    pub fn order(&self, index: usize, from: Moment, to: Moment) -> Ordering {
        let q = sample_parameter(index);
        if q < self.parameter(from) {
            Ordering::Less
        } else if q > self.parameter(to) {
            Ordering::Greater
        } else {
            Ordering::Equal
        }
    }

    /// Whether sample `index` lies strictly between two moments.
    pub fn inside(&self, index: usize, from: Moment, to: Moment) -> bool {
        let q = sample_parameter(index);
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

/// Where a quantity reaches `fraction` of its last value, of which `reached` holds value and
/// slope at every sample.
fn guess(reached: &[[f64; 2]; SAMPLES], fraction: f64) -> f64 {
    let wanted = fraction * reached[SAMPLES - 1][0];
    let next = (1..SAMPLES - 1)
        .find(|&index| reached[index][0] >= wanted)
        .unwrap_or(SAMPLES - 1);
    let ([low, low_rate], [high, high_rate]) = (reached[next - 1], reached[next]);
    let width = sample_parameter(next) - sample_parameter(next - 1);
    // The inverse function, by its values and slopes at both ends.
    let (rise, t) = (high - low, (wanted - low) / (high - low));
    let rest = 1.0 - t;
    sample_parameter(next - 1) + width * t * t * (3.0 - 2.0 * t) + rise / low_rate * t * rest * rest
        - rise / high_rate * t * t * rest
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
