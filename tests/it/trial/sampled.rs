//! Targets and limits read off many positions of a suspension, by their definitions.
//!
//! Positions are those of a grid more than four times finer than the solver's, and the extrema
//! between them, closed in on by golden section: values alone, where the program takes slopes.

use super::ROUNDING;
use pivotwright::curves::{Cog, Suspension};
use pivotwright::design::{LimitResult, TargetResult};
use pivotwright::input::{
    AxisName, Bound, Cogs, Curve, Direction, Limit, LimitQuantity, PointId, Quantity, Target, Want,
};

/// Steps of the grid; the solver's has 15.
const STEPS: u32 = 90;

/// How much more may be said than is seen: a share of a residual, and a hundred times that in mm
/// or degrees.
const UNSEEN: f64 = 1e-7;

/// Shortest interval of a golden section, as a share of a step.
const SHORTEST: f64 = 1e-7;

/// Parameters of the motion from one place to another: a grid.
fn parameters(from: f64, to: f64) -> Vec<f64> {
    (0..=STEPS)
        .map(|step| from + (to - from) * f64::from(step) / f64::from(STEPS))
        .collect()
}

/// Where `function` is largest or smallest between parameters of the grid, if its values there
/// turn.
fn extrema(grid: &[f64], function: impl Fn(f64) -> f64) -> Vec<f64> {
    let values: Vec<f64> = grid.iter().map(|&q| function(q)).collect();
    let mut found = Vec::new();
    for i in 1..grid.len() - 1 {
        let [before, after] = [values[i] - values[i - 1], values[i] - values[i + 1]];
        if before * after >= 0.0 {
            let sign = if before + after >= 0.0 { 1.0 } else { -1.0 };
            found.push(largest(grid[i - 1], grid[i + 1], |q| sign * function(q)));
        }
    }
    // At an end of the grid the curve may turn within the first step.
    let last = grid.len() - 1;
    for (end, next) in [(0, 1), (last, last - 1)] {
        for sign in [1.0, -1.0] {
            let (low, high) = (grid[end].min(grid[next]), grid[end].max(grid[next]));
            found.push(largest(low, high, |q| sign * function(q)));
        }
    }
    found
}

/// Golden section: where `function`, with one top between `low` and `high`, is largest.
fn largest(mut low: f64, mut high: f64, function: impl Fn(f64) -> f64) -> f64 {
    let part = 0.5 * (5.0_f64.sqrt() - 1.0);
    let shortest = SHORTEST * (high - low);
    let (mut left, mut right) = (high - part * (high - low), low + part * (high - low));
    let (mut at_left, mut at_right) = (function(left), function(right));
    while high - low > shortest {
        if at_left > at_right {
            (high, right, at_right) = (right, left, at_left);
            left = high - part * (high - low);
            at_left = function(left);
        } else {
            (low, left, at_left) = (left, right, at_right);
            right = low + part * (high - low);
            at_right = function(right);
        }
    }
    0.5 * (low + high)
}

fn cogs(suspension: &Suspension, cogs: &Cogs) -> Vec<Cog> {
    let all = suspension.bicycle().cogs();
    match cogs {
        Cogs::None => vec![all[0]],
        Cogs::All => all.to_vec(),
        Cogs::Teeth(teeth) => teeth
            .iter()
            .map(|teeth| *all.iter().find(|cog| cog.teeth == *teeth).unwrap())
            .collect(),
    }
}

/// Travel and value at each position, cog by cog.
fn read(suspension: &Suspension, quantity: &Quantity) -> Vec<Vec<[f64; 2]>> {
    let at = |curve: Curve, cog: Cog, q: f64| {
        let state = suspension.state(q);
        [state.travel, suspension.value(curve, &state, cog)]
    };
    match quantity {
        Quantity::Summary(summary) => vec![vec![[0.0, suspension.summary(*summary)]]],
        Quantity::At {
            curve,
            place,
            cogs: named,
        } => {
            let q = suspension.parameter_at(*place);
            cogs(suspension, named)
                .into_iter()
                .map(|cog| vec![at(*curve, cog, q)])
                .collect()
        }
        Quantity::Over {
            curve,
            from,
            to,
            cogs: named,
        } => {
            let (from, to) = (suspension.parameter_at(*from), suspension.parameter_at(*to));
            let grid = parameters(from, to);
            let of_cog = |cog: Cog| {
                let (first, last) = (at(*curve, cog, from), at(*curve, cog, to));
                let rise = (last[1] - first[1]) / (last[0] - first[0]);
                let mut places = grid.clone();
                places.extend(extrema(&grid, |q| at(*curve, cog, q)[1]));
                // Those of the deviation from the chord.
                places.extend(extrema(&grid, |q| {
                    let [travel, value] = at(*curve, cog, q);
                    value - rise * travel
                }));
                places.sort_by(f64::total_cmp);
                places.into_iter().map(|q| at(*curve, cog, q)).collect()
            };
            cogs(suspension, named).into_iter().map(of_cog).collect()
        }
    }
}

/// The worst residual in size at the positions looked at; of a monotone target 0, or above 1
/// where the curve turns.
fn worst_residual(suspension: &Suspension, target: &Target) -> f64 {
    let lines = read(suspension, &target.quantity);
    let values = || lines.iter().flatten().map(|sample| sample[1]);
    let most = values().fold(f64::NEG_INFINITY, f64::max);
    let least = values().fold(f64::INFINITY, f64::min);
    let farthest = |middle: f64| (most - middle).max(middle - least);
    match target.want {
        Want::Value { value, within } => farthest(value) / within,
        Want::Between { low, high } => farthest(0.5 * (low + high)) / (0.5 * (high - low)),
        Want::SpreadWithin(allowance) => (most - least) / allowance,
        Want::StraightWithin(allowance) => {
            let off = lines.iter().flat_map(|line| {
                let (first, last) = (line[0], line[line.len() - 1]);
                let rise = (last[1] - first[1]) / (last[0] - first[0]);
                line.iter()
                    .map(move |sample| sample[1] - first[1] - rise * (sample[0] - first[0]))
            });
            off.map(f64::abs).fold(0.0, f64::max) / allowance
        }
        Want::Monotone(direction) => {
            let turns = lines.iter().any(|line| {
                let whole = (line[line.len() - 1][1] - line[0][1]).abs();
                line.windows(2).any(|pair| {
                    let fall = pair[0][1] - pair[1][1];
                    let turn = match direction {
                        Direction::Rising => fall,
                        Direction::Falling => -fall,
                    };
                    turn > ROUNDING * whole
                })
            });
            if turns { 2.0 } else { 0.0 }
        }
    }
}

/// What is said of a target is what is seen at all positions looked at.
pub fn check_target(suspension: &Suspension, target: &Target, said: &TargetResult) {
    let (seen, told) = (worst_residual(suspension, target), said.residual.abs());
    assert_eq!(said.met, told <= 1.0 + ROUNDING);
    if matches!(target.want, Want::Monotone(_)) {
        // A turn so short that no position is in it is seen by the curve alone.
        assert!(said.met == (told == 0.0) && (seen == 0.0 || !said.met));
        return;
    }
    let slack = ROUNDING * (1.0 + seen);
    assert!(
        seen <= told + slack && told <= seen + UNSEEN * (1.0 + seen),
        "{told} is said and {seen} is seen of {target:?}"
    );
}

/// The quantity of a limit at each position that the limit is about.
pub fn limit_values(suspension: &Suspension, limit: &Limit) -> Vec<f64> {
    let (from, to) = limit.over.map_or((0.0, 0.0), |(from, to)| {
        (suspension.parameter_at(from), suspension.parameter_at(to))
    });
    let value = |q: f64| limit_value(suspension, &limit.quantity, q);
    let grid = parameters(from, to);
    let between = limit.over.map(|_| extrema(&grid, value));
    let places = grid.iter().copied().chain(between.into_iter().flatten());
    places.map(value).collect()
}

fn limit_value(suspension: &Suspension, quantity: &LimitQuantity, q: f64) -> f64 {
    let pose = suspension.pose(q);
    let place = |point: PointId| pose.points[point.index()];
    let from_to = |a: PointId, b: PointId| {
        let (a, b) = (place(a), place(b));
        [b.x - a.x, b.y - a.y]
    };
    match *quantity {
        LimitQuantity::Clearance(ref clearance) => {
            crate::room::clearance_at(suspension, clearance, q)
        }
        LimitQuantity::Distance(a, b) => {
            let [x, y] = from_to(a, b);
            x.hypot(y)
        }
        LimitQuantity::Coordinate(point, AxisName::X) => place(point).x,
        LimitQuantity::Coordinate(point, AxisName::Y) => place(point).y,
        LimitQuantity::Angle(a, middle, b) => {
            let ([ax, ay], [bx, by]) = (from_to(middle, a), from_to(middle, b));
            let turn = (ay.atan2(ax) - by.atan2(bx)).to_degrees().abs();
            if turn > 180.0 { 360.0 - turn } else { turn }
        }
    }
}

/// What is said of a limit is what is seen at all positions looked at.
pub fn check_limit(suspension: &Suspension, limit: &Limit, said: &LimitResult) {
    let (low, high) = match limit.bound {
        Bound::AtLeast(low) => (low, f64::INFINITY),
        Bound::AtMost(high) => (f64::NEG_INFINITY, high),
        Bound::Between { low, high } => (low, high),
    };
    let seen = limit_values(suspension, limit)
        .into_iter()
        .map(|value| (value - low).min(high - value))
        .fold(f64::INFINITY, f64::min);
    assert_eq!(said.holds, said.slack >= -ROUNDING);
    assert!(
        said.slack <= seen + ROUNDING && seen <= said.slack + UNSEEN * 100.0,
        "{} is said and {seen} is seen of {limit:?}",
        said.slack
    );
}
