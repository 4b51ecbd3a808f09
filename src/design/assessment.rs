//! What a layout is worth against objective sets and limits.
//!
//! Every number is that of the continuous curve, its extrema included. Only this is
//! reported; the samples that a solver looks at are a means to get there.

use super::limit_rows::{self, Measure, UNIT};
use super::target_rows::named_cogs;
use crate::curves::{Cog, Extreme, State, Suspension};
use crate::input::{Direction, Limit, ObjectiveSet, Place, Quantity, Target, Want};
use crate::room::{Nearest, Room, Sweep};

/// Slack allowed for rounding, on residuals and on limits in mm or degrees.
pub const ROUNDING: f64 = 1e-9;

/// One value that a target looks at.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TargetValue {
    /// Where; a fraction of total travel for an extremum between named places, and none for
    /// a number about the whole travel.
    pub place: Option<Place>,
    /// On which cog, by its teeth, where the curve depends on it.
    pub cog: Option<u32>,
    /// The value, in the curve's unit; for straightness the deviation from the chord.
    pub value: f64,
    /// Its residual: wanted in [-1, 1].
    pub residual: f64,
}

/// How a layout does on one target.
#[derive(Clone, Debug, PartialEq)]
pub struct TargetResult {
    /// Number of the objective set, from 0.
    pub objective: usize,
    /// Number of the target in its set, from 0.
    pub index: usize,
    /// Name of the curve or summary quantity.
    pub curve: &'static str,
    /// Whether all residuals are in [-1, 1].
    pub met: bool,
    /// The worst residual, with its sign.
    pub residual: f64,
    /// Weight in the score.
    pub weight: f64,
    /// Whether the residual counts in the score even when the target is met.
    pub scored: bool,
    /// The values that decide it: those at a place, or the extremes of a range.
    pub values: Vec<TargetValue>,
}

/// How a layout does on one limit.
#[derive(Clone, Debug, PartialEq)]
pub struct LimitResult {
    /// Number of the limit in the brief, from 0.
    pub index: usize,
    /// The value nearest to its bound or farthest beyond, mm or degrees.
    pub value: f64,
    /// Where along the travel, for a limit over a range.
    pub place: Option<Place>,
    /// Distance inside the bound, mm or degrees; negative outside.
    pub slack: f64,
    /// Whether the limit holds.
    pub holds: bool,
    /// The names of the two parts that are nearest there, of a limit on parts.
    pub between: Option<[String; 2]>,
}

/// A layout against objective sets and limits.
#[derive(Clone, Debug, PartialEq)]
pub struct Assessment {
    /// One result a target, set by set.
    pub targets: Vec<TargetResult>,
    /// One result a limit.
    pub limits: Vec<LimitResult>,
}

impl Assessment {
    /// Assesses a suspension that moves over its whole stroke.
    #[must_use]
    pub fn new(suspension: &Suspension, objectives: &[&ObjectiveSet], limits: &[Limit]) -> Self {
        let mut stops = Stops::new(suspension);
        let mut targets = Vec::new();
        for (objective, set) in objectives.iter().enumerate() {
            for (index, target) in set.targets.iter().enumerate() {
                targets.push(assess_target(&mut stops, target, objective, index));
            }
        }
        Self {
            targets,
            limits: assess_limits(&mut stops, limits),
        }
    }

    /// Whether all targets are met and all limits hold.
    #[must_use]
    pub fn feasible(&self) -> bool {
        self.targets.iter().all(|target| target.met) && self.limits.iter().all(|limit| limit.holds)
    }

    /// `sqrt(sum w r^2 / sum w)`: 0 is exact, 1 is on the edge everywhere.
    #[must_use]
    pub fn score(&self) -> f64 {
        let (mut sum, mut weights) = (0.0, 0.0);
        for target in &self.targets {
            weights += target.weight;
            if target.scored || !target.met {
                sum += target.weight * target.residual * target.residual;
            }
        }
        (sum / weights).sqrt()
    }

    /// Largest of `|r| - 1` over the targets and shortfall / 5 over the limits; zero where
    /// feasible.
    #[must_use]
    pub fn violation(&self) -> f64 {
        // Rounding is no violation.
        if self.feasible() {
            return 0.0;
        }
        let targets = self
            .targets
            .iter()
            .map(|target| target.residual.abs() - 1.0);
        let limits = self.limits.iter().map(|limit| -limit.slack / UNIT);
        targets.chain(limits).fold(0.0, worse)
    }
}

/// The larger; a value that is not a number is worst of all.
fn worse(a: f64, b: f64) -> f64 {
    if b > a || b.is_nan() { b } else { a }
}

/// An extremum, or an end of the range, with the cog it is on.
type OnCog = (Cog, Extreme);

/// A place of the travel.
#[derive(Clone, Copy)]
struct Stop {
    place: Place,
    parameter: f64,
    state: State<f64>,
}

/// The places that targets and limits name, each looked at once: many are about the same few.
struct Stops<'s, 'p> {
    suspension: &'s Suspension<'p>,
    known: Vec<Stop>,
}

impl<'s, 'p> Stops<'s, 'p> {
    fn new(suspension: &'s Suspension<'p>) -> Self {
        Self {
            suspension,
            known: Vec::new(),
        }
    }

    fn at(&mut self, place: Place) -> Stop {
        if let Some(stop) = self.known.iter().find(|stop| stop.place == place) {
            return *stop;
        }
        let parameter = self.suspension.parameter_at(place);
        let stop = Stop {
            place,
            parameter,
            state: self.suspension.state(parameter),
        };
        self.known.push(stop);
        stop
    }
}

struct Range<'s, 'p> {
    suspension: &'s Suspension<'p>,
    from: Place,
    to: Place,
    start: f64,
    stop: f64,
}

impl<'s, 'p> Range<'s, 'p> {
    fn new(stops: &mut Stops<'s, 'p>, from: Place, to: Place) -> Self {
        let [start, stop] = [from, to].map(|place| stops.at(place).parameter);
        Self {
            suspension: stops.suspension,
            from,
            to,
            start,
            stop,
        }
    }

    /// The place of a parameter in the range, by name where it is an end.
    fn place(&self, parameter: f64) -> Place {
        if parameter == self.start {
            self.from
        } else if parameter == self.stop {
            self.to
        } else {
            let travel = self.suspension.state(parameter).travel;
            Place::Fraction(travel / self.suspension.total_travel())
        }
    }
}

fn assess_target(
    stops: &mut Stops,
    target: &Target,
    objective: usize,
    index: usize,
) -> TargetResult {
    let suspension = stops.suspension;
    let values = match &target.quantity {
        Quantity::Summary(summary) => {
            let value = suspension.summary(*summary);
            vec![TargetValue {
                place: None,
                cog: None,
                value,
                residual: residual(&target.want, value),
            }]
        }
        Quantity::At { curve, place, cogs } => {
            let state = stops.at(*place).state;
            let cogs = named_cogs(cogs, suspension.bicycle());
            let values: Vec<TargetValue> = cogs
                .into_iter()
                .map(|cog| {
                    let value = suspension.value(*curve, &state, cog);
                    TargetValue {
                        place: Some(*place),
                        cog: curve.depends_on_cog().then_some(cog.teeth),
                        value,
                        residual: residual(&target.want, value),
                    }
                })
                .collect();
            spread_or(&target.want, values)
        }
        Quantity::Over { from, to, .. } => assess_range(target, &Range::new(stops, *from, *to)),
    };
    let residual = values
        .iter()
        .map(|value| value.residual)
        .fold(0.0, |worst: f64, residual| {
            if residual.is_nan() || residual.abs() > worst.abs() {
                residual
            } else {
                worst
            }
        });
    TargetResult {
        objective,
        index,
        curve: target.quantity.name(),
        met: residual.abs() <= 1.0 + ROUNDING,
        residual,
        weight: target.weight,
        scored: !matches!(target.want, Want::Between { .. } | Want::Monotone(_)),
        values,
    }
}

fn assess_range(target: &Target, range: &Range) -> Vec<TargetValue> {
    let Quantity::Over { curve, cogs, .. } = &target.quantity else {
        return Vec::new();
    };
    let cogs = named_cogs(cogs, range.suspension.bicycle());
    let told = |(cog, extreme): OnCog, residual: f64| TargetValue {
        place: Some(range.place(extreme.parameter)),
        cog: curve.depends_on_cog().then_some(cog.teeth),
        value: extreme.value,
        residual,
    };
    let turning = |cog: Cog| {
        range
            .suspension
            .turning_points(*curve, cog, range.start, range.stop)
    };
    match &target.want {
        Want::StraightWithin(allowance) => cogs
            .into_iter()
            .map(|cog| {
                let points =
                    range
                        .suspension
                        .deviations_from_chord(*curve, cog, range.start, range.stop);
                let worst = pick(points, |a, b| b.value.abs() > a.value.abs());
                told((cog, worst), worst.value / allowance)
            })
            .collect(),
        Want::Monotone(direction) => cogs
            .into_iter()
            .map(|cog| {
                let (worst, reversal) = reversal(&turning(cog), *direction);
                told(
                    (cog, worst),
                    if reversal > 0.0 { 1.0 + reversal } else { 0.0 },
                )
            })
            .collect(),
        want => {
            let extremes = cogs.into_iter().flat_map(|cog| {
                let points = turning(cog);
                let low = pick(points.clone(), |a, b| b.value < a.value);
                let high = pick(points, |a, b| b.value > a.value);
                [low, high].map(|extreme| told((cog, extreme), residual(want, extreme.value)))
            });
            spread_or(want, extremes.collect())
        }
    }
}

/// For a spread, the smallest and the largest value with the residual of the whole; else the
/// values as they are.
fn spread_or(want: &Want, values: Vec<TargetValue>) -> Vec<TargetValue> {
    let Want::SpreadWithin(allowance) = want else {
        return values;
    };
    let Some(&first) = values.first() else {
        return values;
    };
    let low = values
        .iter()
        .fold(first, |low, &v| if v.value < low.value { v } else { low });
    let high = values.iter().fold(
        first,
        |high, &v| if v.value > high.value { v } else { high },
    );
    let residual = (high.value - low.value) / allowance;
    vec![
        TargetValue { residual, ..low },
        TargetValue { residual, ..high },
    ]
}

fn residual(want: &Want, value: f64) -> f64 {
    match want {
        Want::Value {
            value: wanted,
            within,
        } => (value - wanted) / within,
        Want::Between { low, high } => (value - 0.5 * (low + high)) / (0.5 * (high - low)),
        // Set from all values together, or from the shape of the curve.
        Want::SpreadWithin(_) | Want::StraightWithin(_) | Want::Monotone(_) => 0.0,
    }
}

fn pick(points: Vec<Extreme>, better: impl Fn(Extreme, Extreme) -> bool) -> Extreme {
    let nowhere = Extreme {
        parameter: f64::NAN,
        value: f64::NAN,
    };
    let first = points.first().copied().unwrap_or(nowhere);
    points.into_iter().fold(
        first,
        |best, point| if better(best, point) { point } else { best },
    )
}

/// The largest turn against `direction` as a share of the whole change, and where it ends.
fn reversal(points: &[Extreme], direction: Direction) -> (Extreme, f64) {
    let sign = match direction {
        Direction::Rising => -1.0,
        Direction::Falling => 1.0,
    };
    let first = points.first().copied().unwrap_or(Extreme {
        parameter: 0.0,
        value: 0.0,
    });
    let (mut lowest, mut worst, mut turn) = (first.value * sign, first, 0.0);
    let (mut least, mut most) = (first.value, first.value);
    for &point in points {
        let value = point.value * sign;
        if value - lowest > turn {
            (turn, worst) = (value - lowest, point);
        }
        lowest = lowest.min(value);
        (least, most) = (least.min(point.value), most.max(point.value));
    }
    let whole = most - least;
    (
        worst,
        if turn > ROUNDING * whole {
            turn / whole
        } else {
            0.0
        },
    )
}

fn assess_limits(stops: &mut Stops, limits: &[Limit]) -> Vec<LimitResult> {
    let suspension = stops.suspension;
    let room = Room::new(
        suspension.plan(),
        suspension.bicycle(),
        limits.iter().filter_map(Limit::clearance),
    );
    let sweep = Sweep::new(suspension, &room);
    let mut gaps = 0..;
    let mut assess = |(index, limit): (usize, &Limit)| {
        let (value, place, between) = match Measure::of(&limit.quantity) {
            Some(measure) => {
                let (value, place) = measured(stops, limit, measure);
                (value, place, None)
            }
            None => swept(&sweep, stops, gaps.next().unwrap_or_default(), limit),
        };
        let slack = limit_rows::slack(limit.bound, value);
        LimitResult {
            index,
            value,
            place,
            slack,
            holds: slack >= -ROUNDING,
            between,
        }
    };
    limits.iter().enumerate().map(&mut assess).collect()
}

/// The value of a limit on points that decides it, and where.
fn measured(stops: &mut Stops, limit: &Limit, measure: Measure) -> (f64, Option<Place>) {
    let suspension = stops.suspension;
    let Some((from, to)) = limit.over else {
        return (limit_rows::measure(measure, suspension.drawn()), None);
    };
    let range = Range::new(stops, from, to);
    let points = suspension.turning_points_of_pose(range.start, range.stop, |pose| {
        limit_rows::measure(measure, &pose.points)
    });
    let slack = |extreme: Extreme| limit_rows::slack(limit.bound, extreme.value);
    let worst = pick(points, |a, b| slack(b) < slack(a));
    (worst.value, Some(range.place(worst.parameter)))
}

/// The same of a limit on parts, and between which.
fn swept(
    sweep: &Sweep,
    stops: &mut Stops,
    gap: usize,
    limit: &Limit,
) -> (f64, Option<Place>, Option<[String; 2]>) {
    let (from, to) = limit.over.unwrap_or((Place::Top, Place::End));
    let range = Range::new(stops, from, to);
    let smallest = limit
        .bound
        .low()
        .map(|_| sweep.smallest(gap, range.start, range.stop));
    let largest = limit
        .bound
        .high()
        .map(|_| sweep.largest(gap, range.start, range.stop));
    let slack = |nearest: &Nearest| limit_rows::slack(limit.bound, nearest.value);
    let worst = smallest
        .into_iter()
        .chain(largest)
        .min_by(|a, b| slack(a).total_cmp(&slack(b)));
    // Every bound has a side.
    let Some(worst) = worst else {
        return (f64::NAN, None, None);
    };
    let between = worst.parts.each_ref().map(|part| part.name.clone());
    (
        worst.value,
        Some(range.place(worst.parameter)),
        Some(between),
    )
}
