//! Targets as bands on values of a candidate.
//!
//! Every row of a target is scaled so that it is wanted in [-1, 1]: it is a residual as
//! defined for objective sets. What is a largest or smallest value over a range becomes
//! one row a sample, so that a solver sees smooth functions.

use super::moments::{Moment, Moments, Places, SAMPLES, largest, smallest};
use crate::curves::{Bicycle, Cog, State};
use crate::input::{Cogs, Curve, Direction, Quantity, Summary, Target, Want};
use crate::number::Scalar;
use crate::optimise::Row;

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
            want: target.want.clone(),
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
                let moments = match extent {
                    Extent::At(_) => 1,
                    Extent::Over(..) => SAMPLES + 1,
                };
                // Pairs of neighbours are one fewer than the moments.
                let each = moments - usize::from(matches!(self.want, Want::Monotone(_)));
                each * cogs.len()
            }
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
    pub fn fill<T: Scalar>(
        &self,
        bicycle: &Bicycle,
        moments: &Moments<T>,
        rows: &mut Vec<T::Lane>,
    ) {
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
                    let read = |state: &State<T>| state.value(*curve, bicycle, moments.top(), cog);
                    match *extent {
                        Extent::At(moment) => rows.push(self.residual(moments.at(moment, read))),
                        Extent::Over(from, to) => self.fill_range(moments, from, to, read, rows),
                    }
                }
            }
        }
    }

    fn fill_range<T: Scalar>(
        &self,
        moments: &Moments<T>,
        from: Moment,
        to: Moment,
        read: impl Fn(&State<T>) -> T,
        rows: &mut Vec<T::Lane>,
    ) {
        let (first, last) = (moments.at(from, &read), moments.at(to, &read));
        let samples = moments.samples(&read);
        match &self.want {
            Want::StraightWithin(allowance) => {
                let travel = |state: &State<T>| state.travel;
                let (start, stop) = (moments.at(from, travel), moments.at(to, travel));
                let rise = (last - first) / (stop - start);
                let deviation = |index: usize, value: T::Lane, travels: &[T::Lane]| {
                    (value - first - (travels[index] - start) * rise) / *allowance
                };
                let travels = moments.samples(travel);
                let inside = |index: usize| moments.inside(index, from, to);
                rows.extend(samples.iter().enumerate().map(|(index, &value)| {
                    if inside(index) {
                        deviation(index, value, &travels)
                    } else {
                        zero::<T>()
                    }
                }));
                rows.push(zero::<T>());
            }
            Want::Monotone(direction) => {
                let sign = match direction {
                    Direction::Rising => -1.0,
                    Direction::Falling => 1.0,
                };
                let mut before = first;
                // Against the whole change, so that a row has no unit; steady is -1.
                let whole = last - first;
                let whole = if whole.lane(0) < 0.0 { -whole } else { whole };
                let unit = whole / SAMPLES as f64 + f64::MIN_POSITIVE;
                for (index, &value) in samples.iter().enumerate() {
                    if index > 0 && moments.inside(index, from, to) {
                        rows.push((value - before) * sign / unit);
                        before = value;
                    } else if index > 0 {
                        // Steady: a zero would miss the band as soon as that is narrowed.
                        rows.push(T::Lane::from_f64(-1.0));
                    }
                }
                rows.push((last - before) * sign / unit);
            }
            _ => {
                // Outside the range an end stands in, so that nothing jumps as a sample leaves.
                let neutral = |index: usize| if 2 * index < SAMPLES { first } else { last };
                rows.extend(samples.iter().enumerate().map(|(index, &value)| {
                    let inside = moments.inside(index, from, to);
                    self.residual(if inside { value } else { neutral(index) })
                }));
                rows.push(self.residual(last));
            }
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
    let leverage = |state: &State<T>| state.leverage_rate();
    let travel = |state: &State<T>| state.travel;
    let stroke = |state: &State<T>| state.stroke;
    let anti_rise = |state: &State<T>| state.anti_rise(bicycle);
    let axle_x = |state: &State<T>| state.axle.x;
    let rear_centre = |state: &State<T>| state.rear_centre();
    let at = |moment, read: &dyn Fn(&State<T>) -> T| moments.at(moment, read);
    let growth = |read: &dyn Fn(&State<T>) -> T| at(Moment::END, read) - at(Moment::TOP, read);
    let vertex = |read: &dyn Fn(&State<T>) -> T, sign: f64| {
        parabola(&moments.samples(read), &moments.samples(travel), sign)
    };
    match summary {
        Summary::Progression => fall(at(Moment::TOP, &leverage), at(Moment::END, &leverage)),
        Summary::ProgressionFromSag => fall(at(sag, &leverage), at(Moment::END, &leverage)),
        Summary::LeverageMean => moments.total_travel / at(Moment::END, &stroke),
        Summary::LeverageMin => vertex(&leverage, -1.0).1,
        Summary::LeverageMinAt => vertex(&leverage, -1.0).0,
        Summary::LeverageMax => vertex(&leverage, 1.0).1,
        Summary::LeverageMaxAt => vertex(&leverage, 1.0).0,
        Summary::StraightnessMax => {
            let deviations = deviations(&moments.samples(leverage), &moments.samples(travel));
            let (high, low) = (largest(deviations.clone()), smallest(deviations));
            if high.lane(0) >= -low.lane(0) {
                high
            } else {
                -low
            }
        }
        Summary::StraightnessRms => {
            let travels = moments.samples(travel);
            let deviations = deviations(&moments.samples(leverage), &travels);
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
                .map(|&cog| moments.at(sag, |state| state.anti_squat(bicycle, cog)))
                .collect();
            largest(values.clone()) - smallest(values)
        }
        Summary::AntiRiseMin => vertex(&anti_rise, -1.0).1,
        Summary::AntiRiseMax => vertex(&anti_rise, 1.0).1,
        Summary::AxleXRearmost => vertex(&axle_x, -1.0).1,
        Summary::RearCentreGrowth => growth(&rear_centre),
        Summary::AxleXGrowth => growth(&axle_x),
        Summary::SagOfTravel => at(sag, &travel) / moments.total_travel,
        Summary::SagOfStroke => at(sag, &stroke) / at(Moment::END, &stroke),
    }
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
