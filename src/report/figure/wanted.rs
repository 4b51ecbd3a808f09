//! What targets want of a curve, as marks in its chart.

use super::chart::Wanted;
use super::plot::Pair;
use crate::curves::{Cog, State};
use crate::input::{Cogs, Curve, Direction, ObjectiveSet, Place, Quantity, Target, Want};
use crate::report::traced::Traced;

/// Marks for the targets of `sets` on `curve`, as they stand for one layout: places, chords and
/// spreads are its own.
pub(super) fn wanted(curve: Curve, traced: &Traced, sets: &[&ObjectiveSet]) -> Vec<Wanted> {
    targets(sets)
        .filter_map(|target| match &target.quantity {
            Quantity::At {
                curve: of,
                place,
                cogs,
            } if *of == curve => gate(target, *place, cogs, traced, curve),
            Quantity::Over {
                curve: of,
                from,
                to,
                cogs,
            } if *of == curve => band(target, [*from, *to], cogs, traced, curve),
            _ => None,
        })
        .collect()
}

/// The direction that is wanted throughout, if any.
pub(super) fn monotone(curve: Curve, sets: &[&ObjectiveSet]) -> Option<&'static str> {
    targets(sets).find_map(|target| match (&target.quantity, target.want) {
        (Quantity::Over { curve: of, .. }, Want::Monotone(direction)) if *of == curve => {
            Some(match direction {
                Direction::Rising => "rising",
                Direction::Falling => "falling",
            })
        }
        _ => None,
    })
}

/// Whether a spread is wanted to be small.
pub(super) fn spread(curve: Curve, sets: &[&ObjectiveSet]) -> bool {
    targets(sets).any(|target| match (&target.quantity, target.want) {
        (Quantity::At { curve: of, .. } | Quantity::Over { curve: of, .. }, want) => {
            *of == curve && matches!(want, Want::SpreadWithin(_))
        }
        _ => false,
    })
}

fn targets<'s>(sets: &'s [&ObjectiveSet]) -> impl Iterator<Item = &'s Target> {
    sets.iter().flat_map(|set| &set.targets)
}

/// The values of the curve that a target looks at, at one place.
fn values(place: Place, cogs: &Cogs, traced: &Traced, curve: Curve) -> Vec<f64> {
    values_in(&traced.subject.at(place), cogs, traced, curve)
}

/// The same in one state.
fn values_in(state: &State<f64>, cogs: &Cogs, traced: &Traced, curve: Curve) -> Vec<f64> {
    let named = |cog: Option<Cog>| match (cogs, cog) {
        (Cogs::Teeth(teeth), Some(cog)) => teeth.contains(&cog.teeth),
        _ => true,
    };
    let all = traced.subject.values(curve, state).into_iter();
    all.filter(|(cog, _)| named(*cog))
        .map(|(_, value)| value)
        .collect()
}

fn middle(values: &[f64]) -> Option<f64> {
    let low = values.iter().copied().min_by(f64::total_cmp)?;
    let high = values.iter().copied().max_by(f64::total_cmp)?;
    Some(f64::midpoint(low, high))
}

fn gate(
    target: &Target,
    place: Place,
    cogs: &Cogs,
    traced: &Traced,
    curve: Curve,
) -> Option<Wanted> {
    let (low, high, aim) = match target.want {
        Want::Value { value, within } => (value - within, value + within, Some(value)),
        Want::Between { low, high } => (low, high, None),
        Want::SpreadWithin(allowance) => {
            let middle = middle(&values(place, cogs, traced, curve))?;
            (middle - allowance / 2.0, middle + allowance / 2.0, None)
        }
        Want::StraightWithin(_) | Want::Monotone(_) => return None,
    };
    let at = traced.subject.at(place).travel;
    Some(Wanted::Gate { at, low, high, aim })
}

fn band(
    target: &Target,
    range: [Place; 2],
    cogs: &Cogs,
    traced: &Traced,
    curve: Curve,
) -> Option<Wanted> {
    let [from, to] = range.map(|place| traced.subject.at(place).travel);
    let level = |low: f64, high: f64| vec![(from, low), (to, low), (to, high), (from, high)];
    let corners: Vec<Pair> = match target.want {
        Want::Value { value, within } => level(value - within, value + within),
        Want::Between { low, high } => level(low, high),
        Want::StraightWithin(allowance) => {
            let [first, last] = range.map(|place| middle(&values(place, cogs, traced, curve)));
            let (first, last) = (first?, last?);
            vec![
                (from, first - allowance),
                (to, last - allowance),
                (to, last + allowance),
                (from, first + allowance),
            ]
        }
        Want::SpreadWithin(allowance) => {
            let inside = traced.moments.iter().map(|moment| &moment.state);
            let inside = inside.filter(|state| state.travel >= from && state.travel <= to);
            let all: Vec<f64> = inside
                .flat_map(|state| values_in(state, cogs, traced, curve))
                .collect();
            let middle = middle(&all)?;
            level(middle - allowance / 2.0, middle + allowance / 2.0)
        }
        Want::Monotone(_) => return None,
    };
    Some(Wanted::Band(corners))
}
