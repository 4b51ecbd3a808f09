//! Targets and limits read off many positions of a suspension, by their definitions.
//!
//! A grid sees less than the continuous curve, so it can only find what is broken.

use super::ROUNDING;
use pivotwright::curves::{Cog, Suspension};
use pivotwright::input::{
    AxisName, Bound, Cogs, Curve, Direction, Limit, LimitQuantity, PointId, Quantity, Target, Want,
};

const POSITIONS: u32 = 90;

/// Parameters of the motion from one place to another.
fn parameters(from: f64, to: f64) -> impl Iterator<Item = f64> {
    (0..=POSITIONS).map(move |i| from + (to - from) * f64::from(i) / f64::from(POSITIONS))
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
            cogs(suspension, named)
                .into_iter()
                .map(|cog| parameters(from, to).map(|q| at(*curve, cog, q)).collect())
                .collect()
        }
    }
}

fn within(what: &Target, value: f64, low: f64, high: f64, unit: f64) {
    let slack = ROUNDING * unit;
    assert!(
        low - slack <= value && value <= high + slack,
        "{value} is not in {low} to {high}: {what:?}"
    );
}

/// The target is met at all positions looked at.
pub fn check_target(suspension: &Suspension, target: &Target) {
    let lines = read(suspension, &target.quantity);
    let values = || lines.iter().flatten().map(|sample| sample[1]);
    match target.want {
        Want::Value { value, within: w } => {
            values().for_each(|v| within(target, v, value - w, value + w, w));
        }
        Want::Between { low, high } => {
            values().for_each(|v| within(target, v, low, high, high - low));
        }
        Want::SpreadWithin(allowance) => {
            let most = values().fold(f64::NEG_INFINITY, f64::max);
            let least = values().fold(f64::INFINITY, f64::min);
            within(target, most - least, 0.0, allowance, allowance);
        }
        Want::StraightWithin(allowance) => {
            for line in &lines {
                let (first, last) = (line[0], line[line.len() - 1]);
                let rise = (last[1] - first[1]) / (last[0] - first[0]);
                for sample in line {
                    let off = sample[1] - first[1] - rise * (sample[0] - first[0]);
                    within(target, off, -allowance, allowance, allowance);
                }
            }
        }
        Want::Monotone(direction) => {
            for line in &lines {
                let whole = (line[line.len() - 1][1] - line[0][1]).abs();
                for pair in line.windows(2) {
                    let turn = match direction {
                        Direction::Rising => pair[0][1] - pair[1][1],
                        Direction::Falling => pair[1][1] - pair[0][1],
                    };
                    assert!(turn <= 1e-9 * whole, "turns by {turn}: {target:?}");
                }
            }
        }
    }
}

/// The quantity of a limit at each position that the limit is about.
pub fn limit_values(suspension: &Suspension, limit: &Limit) -> Vec<f64> {
    let (from, to) = limit.over.map_or((0.0, 0.0), |(from, to)| {
        (suspension.parameter_at(from), suspension.parameter_at(to))
    });
    parameters(from, to)
        .map(|q| {
            let pose = suspension.pose(q);
            let place = |point: PointId| pose.points[point.index()];
            let from_to = |a: PointId, b: PointId| {
                let (a, b) = (place(a), place(b));
                [b.x - a.x, b.y - a.y]
            };
            match limit.quantity {
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
        })
        .collect()
}

/// The limit holds at all positions looked at.
pub fn check_limit(suspension: &Suspension, limit: &Limit) {
    let (low, high) = match limit.bound {
        Bound::AtLeast(low) => (low, f64::INFINITY),
        Bound::AtMost(high) => (f64::NEG_INFINITY, high),
        Bound::Between { low, high } => (low, high),
    };
    for value in limit_values(suspension, limit) {
        assert!(
            low - ROUNDING <= value && value <= high + ROUNDING,
            "{value} breaks {limit:?}"
        );
    }
}
