//! Targets as bands on values of a candidate.
//!
//! Every row of a target is scaled so that it is wanted in [-1, 1]: it is a residual as
//! defined for objective sets. What is a largest or smallest value over a range becomes
//! one row a sample, so that a solver sees smooth functions.

use super::moments::{Moment, Moments, Places, SAMPLES, largest, smallest};
use super::rows::Rows;
use crate::curves::{Bicycle, Cog, State};
use crate::input::{Cogs, Curve, Direction, Quantity, Summary, Target, Want};
use crate::number::Scalar;
use crate::optimise::Row;
use std::cmp::Ordering;

/// Where the rows of a target are taken.
#[derive(Clone, Copy, Debug)]
enum Extent {
    At(Moment),
    Over(Moment, Moment),
}

/// What is looked at.
#[derive(Clone, Debug)]
enum Looked {
    Curve {
        curve: Curve,
        cogs: Vec<Cog>,
        extent: Extent,
    },
    Summary(Summary),
}

/// A target with its places found in the moments of a problem.
#[derive(Clone, Debug)]
pub(super) struct TargetRows {
    looked: Looked,
    want: Want,
    sag: Moment,
    /// Weight in the score.
    pub weight: f64,
    /// Whether its residual counts in the score; else it only has to be met.
    pub scored: bool,
}

impl TargetRows {
    /// Plans the rows of `target` for `bicycle`.
    pub fn new(target: &Target, bicycle: &Bicycle, places: &mut Places) -> Self {
        let looked = match &target.quantity {
            Quantity::At { curve, place, cogs } => Looked::Curve {
                curve: *curve,
                cogs: named_cogs(cogs, bicycle),
                extent: Extent::At(places.moment(*place)),
            },
            Quantity::Over {
                curve,
                from,
                to,
                cogs,
            } => Looked::Curve {
                curve: *curve,
                cogs: named_cogs(cogs, bicycle),
                extent: Extent::Over(places.moment(*from), places.moment(*to)),
            },
            Quantity::Summary(summary) => Looked::Summary(*summary),
        };
        let sag = places.moment(crate::input::Place::Sag);
        let scored = !matches!(target.want, Want::Between { .. } | Want::Monotone(_));
        Self {
            looked,
            want: target.want,
            sag,
            weight: target.weight,
            scored,
        }
    }

    /// How many rows the target has.
    pub fn count(&self) -> usize {
        match &self.looked {
            Looked::Summary(_) => 1,
            Looked::Curve { cogs, extent, .. } => {
                let each = match (extent, &self.want) {
                    (Extent::At(_), _) => 1,
                    (Extent::Over(..), Want::Monotone(_)) => SAMPLES,
                    (Extent::Over(from, to), _) => SAMPLES + ends_between(*from, *to),
                };
                each * cogs.len()
            }
        }
    }

    /// Whether the target needs what is measured from top.
    pub fn needs_top(&self) -> bool {
        match &self.looked {
            Looked::Summary(_) => false,
            Looked::Curve { curve, .. } => matches!(
                curve,
                Curve::RearCentreGrowth
                    | Curve::ChainGrowth
                    | Curve::PedalKickback
                    | Curve::PedalKickbackBraked
                    | Curve::HeadAngleChange
            ),
        }
    }

    /// The band in which each of its rows is wanted.
    pub fn band(&self) -> Row {
        match self.want {
            Want::Monotone(_) => Row::at_most(0.0),
            _ => Row::between(-1.0, 1.0),
        }
    }

    /// Whether the target is a spread, whose middle is free to choose.
    pub fn is_spread(&self) -> bool {
        matches!(self.want, Want::SpreadWithin(_))
    }

    /// Appends the rows for a candidate. Those of a spread are its values over half the
    /// allowance, with the middle not yet taken off.
    pub fn fill<T: Scalar>(&self, bicycle: &Bicycle, moments: &Moments<T>, rows: &mut Rows) {
        match &self.looked {
            Looked::Summary(summary) => {
                rows.push(self.residual(summary_value(*summary, bicycle, moments, self.sag)));
            }
            Looked::Curve {
                curve,
                cogs,
                extent,
            } => {
                for &cog in cogs {
                    let reading = Reading {
                        curve: *curve,
                        cog,
                        bicycle,
                    };
                    self.fill_curve(reading, *extent, moments, rows);
                }
            }
        }
    }

    fn fill_curve<T: Scalar>(
        &self,
        reading: Reading<'_>,
        extent: Extent,
        moments: &Moments<T>,
        rows: &mut Rows,
    ) {
        let top = moments.at(Moment::Top);
        let (from, to) = match extent {
            Extent::At(moment) => {
                rows.push(self.residual(reading.of(moments.at(moment), top)));
                return;
            }
            Extent::Over(from, to) => (from, to),
        };
        match &self.want {
            Want::StraightWithin(allowance) => {
                fill_straight(moments, (from, to), *allowance, reading, rows);
            }
            Want::Monotone(direction) => {
                fill_monotone(moments, (from, to), *direction, reading, rows);
            }
            _ => fill_range(
                moments,
                (from, to),
                |state| self.residual(reading.of(state, moments.top())),
                |state| self.residual(reading.of(state, top)),
                rows,
            ),
        }
    }

    fn residual<S: Scalar>(&self, value: S) -> S {
        match &self.want {
            Want::Value {
                value: wanted,
                within,
            } => (value - *wanted) / *within,
            Want::Between { low, high } => (value - 0.5 * (low + high)) / (0.5 * (high - low)),
            Want::SpreadWithin(allowance) => value / (0.5 * allowance),
            Want::StraightWithin(_) | Want::Monotone(_) => value,
        }
    }
}

/// A curve of a bicycle, read in any type of number.
#[derive(Clone, Copy)]
struct Reading<'b> {
    curve: Curve,
    cog: Cog,
    bicycle: &'b Bicycle,
}

impl Reading<'_> {
    #[inline(always)]
    fn of<S: Scalar>(&self, state: &State<S>, top: &State<S>) -> S {
        state.value(self.curve, self.bicycle, top, self.cog)
    }
}

/// How many ends of a range are no samples, so need rows of their own.
fn ends_between(from: Moment, to: Moment) -> usize {
    [from, to]
        .into_iter()
        .filter(|moment| matches!(moment, Moment::Place(_)))
        .count()
}

/// One row a sample of the range, and one for each end that is no sample. A sample outside
/// stands for the nearer end, so that nothing jumps as it leaves.
fn fill_range<T: Scalar>(
    moments: &Moments<T>,
    (from, to): (Moment, Moment),
    read: impl Fn(&State<T>) -> T,
    read_single: impl Fn(&State<T::Lane>) -> T::Lane,
    rows: &mut Rows,
) {
    let start = rows.values.len();
    push_samples(moments.states().iter().map(read), rows);
    replace_outside(
        moments,
        (from, to),
        start,
        |moment| read_single(moments.at(moment)),
        rows,
    );
}

/// Adds a row for every sample of groups of lanes.
pub(super) fn push_samples<T: Scalar>(groups: impl Iterator<Item = T>, rows: &mut Rows) {
    let mut left = SAMPLES;
    for group in groups {
        let count = left.min(T::LANES);
        rows.push_lanes(group, count);
        left -= count;
    }
}

/// Puts the nearer end in place of every sample outside the range, whose rows begin at
/// `start`, and adds the ends that are no samples.
pub(super) fn replace_outside<T: Scalar>(
    moments: &Moments<T>,
    (from, to): (Moment, Moment),
    start: usize,
    at: impl Fn(Moment) -> T::Lane,
    rows: &mut Rows,
) {
    if from != Moment::Top || to != Moment::End {
        let (first, last) = (at(from), at(to));
        for index in 0..SAMPLES {
            match moments.order(index, from, to) {
                Ordering::Less => rows.replace(start + index, first),
                Ordering::Greater => rows.replace(start + index, last),
                Ordering::Equal => {}
            }
        }
    }
    for moment in [from, to] {
        if matches!(moment, Moment::Place(_)) {
            rows.push(at(moment));
        }
    }
}

/// Deviations from the chord over the range, as shares of the allowance.
fn fill_straight<T: Scalar>(
    moments: &Moments<T>,
    (from, to): (Moment, Moment),
    allowance: f64,
    reading: Reading<'_>,
    rows: &mut Rows,
) {
    let top = moments.at(Moment::Top);
    let (begin, end) = (moments.at(from), moments.at(to));
    let (first, last) = (reading.of(begin, top), reading.of(end, top));
    let scale = 1.0 / allowance;
    let chord = Chord {
        begin: begin.travel,
        first: first * scale,
        rise: (last - first) * scale / (end.travel - begin.travel),
    };
    let chords = chord.map(T::broadcast);
    fill_range(
        moments,
        (from, to),
        |state| chords.deviation(state.travel, reading.of(state, moments.top()) * scale),
        |state| chord.deviation(state.travel, reading.of(state, top) * scale),
        rows,
    );
}

/// The straight line between the ends of a range, over travel.
#[derive(Clone, Copy)]
struct Chord<T> {
    begin: T,
    first: T,
    rise: T,
}

impl<T: Scalar> Chord<T> {
    fn map<S>(self, function: impl Fn(T) -> S) -> Chord<S> {
        Chord {
            begin: function(self.begin),
            first: function(self.first),
            rise: function(self.rise),
        }
    }

    #[inline(always)]
    fn deviation(&self, travel: T, value: T) -> T {
        value - self.first - (travel - self.begin) * self.rise
    }
}

/// Steps from sample to sample against the direction, as multiples of an even step.
fn fill_monotone<T: Scalar>(
    moments: &Moments<T>,
    (from, to): (Moment, Moment),
    direction: Direction,
    reading: Reading<'_>,
    rows: &mut Rows,
) {
    let sign = match direction {
        Direction::Rising => -1.0,
        Direction::Falling => 1.0,
    };
    let top = moments.at(Moment::Top);
    let (first, last) = (
        reading.of(moments.at(from), top),
        reading.of(moments.at(to), top),
    );
    let read = |state: &State<T>| reading.of(state, moments.top());
    let whole = last - first;
    let whole = if whole.lane(0) < 0.0 { -whole } else { whole };
    let unit = whole / SAMPLES as f64 + f64::MIN_POSITIVE;
    let mut before = first;
    for (index, value) in moments.samples(read).into_iter().enumerate().skip(1) {
        if moments.inside(index, from, to) {
            rows.push((value - before) * sign / unit);
            before = value;
        } else {
            // No step of the range: as good as an even one.
            rows.push(T::Lane::from_f64(-1.0));
        }
    }
    rows.push((last - before) * sign / unit);
}

fn zero<T: Scalar>() -> T::Lane {
    T::Lane::from_f64(0.0)
}

/// The cogs of a target; for a curve without cogs any one stands in.
pub(super) fn named_cogs(cogs: &Cogs, bicycle: &Bicycle) -> Vec<Cog> {
    let all = bicycle.cogs();
    match cogs {
        Cogs::None => all.iter().copied().take(1).collect(),
        Cogs::All => all.to_vec(),
        Cogs::Teeth(teeth) => teeth
            .iter()
            .filter_map(|teeth| all.iter().copied().find(|cog| cog.teeth == *teeth))
            .collect(),
    }
}

/// A summary quantity of the samples; extrema are those of the parabola through the
/// extreme sample and its neighbours.
fn summary_value<T: Scalar>(
    summary: Summary,
    bicycle: &Bicycle,
    moments: &Moments<T>,
    sag: Moment,
) -> T::Lane {
    let (top, sag, end) = (
        moments.at(Moment::Top),
        moments.at(sag),
        moments.at(Moment::End),
    );
    let vertex = |read: &dyn Fn(&State<T>) -> T, sign: f64| {
        parabola(&moments.samples(read), &moments.samples(travel), sign)
    };
    let anti_rise = |state: &State<T>| state.anti_rise(bicycle);
    match summary {
        Summary::Progression => fall(top.leverage_rate(), end.leverage_rate()),
        Summary::ProgressionFromSag => fall(sag.leverage_rate(), end.leverage_rate()),
        Summary::LeverageMean => moments.total_travel / end.stroke,
        Summary::LeverageMin => vertex(&State::leverage_rate, -1.0).1,
        Summary::LeverageMinAt => vertex(&State::leverage_rate, -1.0).0,
        Summary::LeverageMax => vertex(&State::leverage_rate, 1.0).1,
        Summary::LeverageMaxAt => vertex(&State::leverage_rate, 1.0).0,
        Summary::StraightnessMax => {
            let deviations = deviations(
                &moments.samples(State::leverage_rate),
                &moments.samples(travel),
            );
            let (high, low) = (largest(deviations.clone()), smallest(deviations));
            if high.lane(0) >= -low.lane(0) {
                high
            } else {
                -low
            }
        }
        Summary::StraightnessRms => {
            let travels = moments.samples(travel);
            let deviations = deviations(&moments.samples(State::leverage_rate), &travels);
            let mut sum = zero::<T>();
            for i in 1..SAMPLES {
                let squares = deviations[i].squared() + deviations[i - 1].squared();
                sum = sum + squares * (travels[i] - travels[i - 1]) * 0.5;
            }
            (sum / moments.total_travel).sqrt()
        }
        Summary::AntiSquatSpreadAtSag => {
            let values: Vec<T::Lane> = bicycle
                .cogs()
                .iter()
                .map(|&cog| sag.anti_squat(bicycle, cog))
                .collect();
            largest(values.clone()) - smallest(values)
        }
        Summary::AntiRiseMin => vertex(&anti_rise, -1.0).1,
        Summary::AntiRiseMax => vertex(&anti_rise, 1.0).1,
        Summary::AxleXRearmost => vertex(&|state| state.axle.x, -1.0).1,
        Summary::RearCentreGrowth => end.rear_centre() - top.rear_centre(),
        Summary::AxleXGrowth => end.axle.x - top.axle.x,
        Summary::SagOfTravel => sag.travel / moments.total_travel,
        Summary::SagOfStroke => sag.stroke / end.stroke,
    }
}

fn travel<S: Copy>(state: &State<S>) -> S {
    state.travel
}

fn fall<S: Scalar>(from: S, to: S) -> S {
    (from - to) / from * 100.0
}

fn deviations<S: Scalar>(values: &[S], travels: &[S]) -> Vec<S> {
    let last = SAMPLES - 1;
    let rise = (values[last] - values[0]) / (travels[last] - travels[0]);
    values
        .iter()
        .zip(travels)
        .map(|(&value, &travel)| value - values[0] - (travel - travels[0]) * rise)
        .collect()
}

/// Where and how high the largest (`sign` 1) or smallest (-1) of the samples is.
fn parabola<S: Scalar>(values: &[S], travels: &[S], sign: f64) -> (S, S) {
    let best = (0..SAMPLES)
        .max_by(|&a, &b| (sign * values[a].lane(0)).total_cmp(&(sign * values[b].lane(0))))
        .unwrap_or(0);
    if best == 0 || best == SAMPLES - 1 {
        return (travels[best], values[best]);
    }
    let (before, after) = (
        travels[best - 1] - travels[best],
        travels[best + 1] - travels[best],
    );
    let (low, high) = (
        values[best - 1] - values[best],
        values[best + 1] - values[best],
    );
    // low = b t + a t^2 on either side of the extreme sample.
    let curvature = (low / before - high / after) / (before - after);
    let slope = low / before - curvature * before;
    let offset = -slope / (curvature * 2.0);
    (travels[best] + offset, values[best] + offset * slope * 0.5)
}
