//! How a number is made from the curves, and where on them it stands.

use super::moving::{Moving, Pin, Spot};
use crate::curves::{Cog, Extreme, State, Suspension};
use crate::input::{Clearance, Curve, Direction, Place};
use crate::number::Scalar;
use crate::room::{Room, Sweep};
use std::sync::Arc;

/// Into how many panels the motion is cut for a mean over it.
const PANELS: u32 = 4;

/// Gauss's rule of eight points, offsets to both sides and weights (Abramowitz and Stegun,
/// table 25.4, from memory; a test integrates polynomials).
const GAUSS: [(f64, f64); 4] = [
    (0.183_434_642_495_649_8, 0.362_683_783_378_362),
    (0.525_532_409_916_329, 0.313_706_645_877_887_27),
    (0.796_666_477_413_626_7, 0.222_381_034_453_374_48),
    (0.960_289_856_497_536_3, 0.101_228_536_290_376_26),
];

/// How a number is made from the curves. `cog` matters only where the curve depends on it.
#[derive(Clone, Debug, PartialEq)]
#[allow(missing_docs)]
pub enum Form {
    /// A curve at a place.
    At {
        curve: Curve,
        cog: Cog,
        place: Place,
    },
    /// The greatest or the least value of a curve over a range of the travel.
    Extreme {
        curve: Curve,
        cog: Cog,
        range: (Place, Place),
        greatest: bool,
    },
    /// Largest less smallest value over a range (or one place, given twice) and all `cogs`.
    Spread {
        curve: Curve,
        cogs: Vec<Cog>,
        range: (Place, Place),
    },
    /// The deviation from the chord of the range that is largest in size, with its sign.
    Deviation {
        curve: Curve,
        cog: Cog,
        range: (Place, Place),
    },
    /// Root mean square over the travel of the deviation from the chord.
    DeviationRms { curve: Curve, cog: Cog },
    /// Mean over the travel.
    Mean { curve: Curve, cog: Cog },
    /// What a curve gains from one place to another.
    Gain {
        curve: Curve,
        cog: Cog,
        from: Place,
        to: Place,
    },
    /// What it loses from one place to another, percent of its value there.
    Fall {
        curve: Curve,
        cog: Cog,
        from: Place,
        to: Place,
    },
    /// A curve at a place over its value at end.
    Share {
        curve: Curve,
        cog: Cog,
        place: Place,
    },
    /// Total travel over stroke.
    MeanLeverage,
    /// The travel at which a curve is greatest or least.
    ExtremeAt {
        curve: Curve,
        cog: Cog,
        greatest: bool,
    },
    /// The largest turn against a direction, as a share of the whole change.
    Reversal {
        curve: Curve,
        cog: Cog,
        range: (Place, Place),
        direction: Direction,
    },
    /// The smallest distance of some parts over a range.
    Clearance {
        clearance: Arc<Clearance>,
        range: (Place, Place),
    },
}

/// The moments that decide a number, each with the cog that it is on.
pub type Spots = Vec<(Spot, Cog)>;

impl Form {
    /// The moments of `suspension` that decide the number.
    #[must_use]
    pub fn locate(&self, suspension: &Suspension) -> Spots {
        let place = |place: Place| Spot::place(suspension, place);
        match self {
            Self::At { cog, place: at, .. } => vec![(place(*at), *cog)],
            Self::Extreme {
                curve,
                cog,
                range,
                greatest,
            } => vec![(extreme(suspension, *curve, *cog, *range, *greatest), *cog)],
            Self::ExtremeAt {
                curve,
                cog,
                greatest,
            } => {
                let range = (Place::Top, Place::End);
                let mut spot = extreme(suspension, *curve, *cog, range, *greatest);
                if spot.parameter > 0.0 && spot.parameter < 1.0 {
                    spot.pin = Pin::Turn(*curve, *cog);
                }
                vec![(spot, *cog)]
            }
            Self::Spread { curve, cogs, range } => spread(suspension, *curve, cogs, *range),
            Self::Deviation { curve, cog, range } => {
                let (from, to) = (place(range.0), place(range.1));
                let points =
                    suspension.deviations_from_chord(*curve, *cog, from.parameter, to.parameter);
                let worst = pick(points, |a, b| b.abs() > a.abs());
                vec![
                    (from, *cog),
                    (to, *cog),
                    (end_or_extremum(worst.0, from, to), *cog),
                ]
            }
            Self::Gain { cog, from, to, .. } | Self::Fall { cog, from, to, .. } => {
                vec![(place(*from), *cog), (place(*to), *cog)]
            }
            Self::Share { cog, place: at, .. } => {
                vec![(place(*at), *cog), (place(Place::End), *cog)]
            }
            Self::MeanLeverage | Self::Mean { .. } | Self::DeviationRms { .. } => Vec::new(),
            Self::Reversal {
                curve,
                cog,
                range,
                direction,
            } => reversal(suspension, *curve, *cog, *range, *direction),
            Self::Clearance { clearance, range } => {
                let room = Room::new(suspension.plan(), suspension.bicycle(), [&**clearance]);
                smallest(suspension, &Sweep::new(suspension, &room), 0, *range)
            }
        }
    }

    /// The number, from the states in its spots.
    pub fn combine<T: Scalar>(&self, moving: &Moving<'_, '_, T>, spots: &Spots) -> T {
        let read = |index: usize, curve: Curve| {
            spots
                .get(index)
                .map_or(T::from_f64(f64::NAN), |&(spot, cog)| {
                    moving
                        .state(spot)
                        .value(curve, moving.bicycle, &moving.top, cog)
                })
        };
        match self {
            Self::At { curve, .. } | Self::Extreme { curve, .. } => read(0, *curve),
            Self::ExtremeAt { .. } => read(0, Curve::Travel),
            Self::Spread { curve, .. } | Self::Gain { curve, .. } => {
                read(1, *curve) - read(0, *curve)
            }
            Self::Fall { curve, .. } => {
                let from = read(0, *curve);
                (from - read(1, *curve)) / from * 100.0
            }
            Self::Share { curve, .. } => read(0, *curve) / read(1, *curve),
            Self::Deviation { curve, .. } => {
                let [first, last, value] = [0, 1, 2].map(|index| read(index, *curve));
                let [begin, end, travel] = [0, 1, 2].map(|index| read(index, Curve::Travel));
                value - first - (travel - begin) * (last - first) / (end - begin)
            }
            Self::MeanLeverage => moving.total_travel / moving.full_stroke(),
            Self::Clearance { clearance, .. } => {
                spots.first().map_or(T::from_f64(f64::NAN), |&(spot, _)| {
                    moving.clearance(clearance, spot)
                })
            }
            Self::Mean { curve, cog } => moving
                .mean_over_travel(|state| state.value(*curve, moving.bicycle, &moving.top, *cog)),
            Self::DeviationRms { curve, cog } => {
                let at = |parameter: f64| {
                    let state = moving.state(Spot::extremum(parameter));
                    state.value(*curve, moving.bicycle, &moving.top, *cog)
                };
                let (first, last) = (at(0.0), at(1.0));
                let rise = (last - first) / moving.total_travel;
                moving
                    .mean_over_travel(|state| {
                        let value = state.value(*curve, moving.bicycle, &moving.top, *cog);
                        (value - first - rise * state.travel).squared()
                    })
                    .sqrt()
            }
            Self::Reversal {
                curve, direction, ..
            } => {
                if spots.is_empty() {
                    return T::from_f64(0.0);
                }
                let sign = sign_of(*direction);
                let [lowest, turned, least, most] = [0, 1, 2, 3].map(|index| read(index, *curve));
                (turned - lowest) * sign / (most - least)
            }
        }
    }

    /// The parts that it is about, if it is about any.
    #[must_use]
    pub fn clearance(&self) -> Option<&Clearance> {
        match self {
            Self::Clearance { clearance, .. } => Some(clearance),
            _ => None,
        }
    }

    /// What a combined value is multiplied with to be reported: a deviation is told by its size.
    #[must_use]
    pub fn sign(&self, value: f64) -> f64 {
        if matches!(self, Self::Deviation { .. }) && value < 0.0 {
            -1.0
        } else {
            1.0
        }
    }
}

impl<T: Scalar> Moving<'_, '_, T> {
    /// Mean over uniform travel of a function of the state: Gauss's rule over the parameter,
    /// weighted with the travel it makes.
    fn mean_over_travel(&self, function: impl Fn(&State<T>) -> T) -> T {
        let mut sum = T::from_f64(0.0);
        let half = 0.5 / f64::from(PANELS);
        for panel in 0..PANELS {
            let middle = f64::from(2 * panel + 1) * half;
            for (offset, weight) in GAUSS {
                for q in [middle - half * offset, middle + half * offset] {
                    let state = self.state(Spot::extremum(q));
                    sum = sum + function(&state) * state.axle_velocity.y * (weight * half);
                }
            }
        }
        sum / self.total_travel
    }
}

/// +1 where a curve must fall, -1 where it must rise: a turn against the direction is positive.
pub(super) const fn sign_of(direction: Direction) -> f64 {
    match direction {
        Direction::Rising => -1.0,
        Direction::Falling => 1.0,
    }
}

/// The moments that decide each of `forms`; the parts of all clearances are moved through once.
#[must_use]
pub fn locate(suspension: &Suspension, forms: &[&Form]) -> Vec<Spots> {
    let clearances = forms.iter().filter_map(|form| form.clearance());
    let room = Room::new(suspension.plan(), suspension.bicycle(), clearances);
    let sweep = (!room.gaps().is_empty()).then(|| Sweep::new(suspension, &room));
    let mut gaps = 0..;
    forms
        .iter()
        .map(|form| match (form, &sweep) {
            (Form::Clearance { range, .. }, Some(sweep)) => {
                smallest(suspension, sweep, gaps.next().unwrap_or(0), *range)
            }
            _ => form.locate(suspension),
        })
        .collect()
}

/// Where a clearance is smallest over a range.
fn smallest(suspension: &Suspension, sweep: &Sweep, gap: usize, range: (Place, Place)) -> Spots {
    let [from, to] = [range.0, range.1].map(|place| Spot::place(suspension, place));
    let nearest = sweep.smallest(gap, from.parameter, to.parameter);
    let spot = end_or_extremum(nearest.parameter, from, to);
    vec![(spot, suspension.bicycle().cogs()[0])]
}

/// The first of the best by value.
fn pick(points: Vec<Extreme>, better: impl Fn(f64, f64) -> bool) -> (f64, f64) {
    let mut points = points
        .into_iter()
        .map(|point| (point.parameter, point.value));
    let first = points.next().unwrap_or((f64::NAN, f64::NAN));
    points.fold(
        first,
        |best, point| {
            if better(best.1, point.1) { point } else { best }
        },
    )
}

/// An extremum where it is one, the end of the range with what that is tied to where it is not.
fn end_or_extremum(parameter: f64, from: Spot, to: Spot) -> Spot {
    if parameter == from.parameter {
        from
    } else if parameter == to.parameter {
        to
    } else {
        Spot::extremum(parameter)
    }
}

fn extreme(
    suspension: &Suspension,
    curve: Curve,
    cog: Cog,
    range: (Place, Place),
    greatest: bool,
) -> Spot {
    let from = Spot::place(suspension, range.0);
    let to = Spot::place(suspension, range.1);
    let points = suspension.turning_points(curve, cog, from.parameter, to.parameter);
    let best = if greatest {
        pick(points, |a, b| b > a)
    } else {
        pick(points, |a, b| b < a)
    };
    end_or_extremum(best.0, from, to)
}

/// The smallest and the largest value.
fn spread(suspension: &Suspension, curve: Curve, cogs: &[Cog], range: (Place, Place)) -> Spots {
    let value = |&(spot, cog): &(Spot, Cog)| {
        let state = suspension.state(spot.parameter);
        suspension.value(curve, &state, cog)
    };
    let candidates: Spots = cogs
        .iter()
        .flat_map(|&cog| {
            if range.0 == range.1 {
                vec![(Spot::place(suspension, range.0), cog)]
            } else {
                [false, true]
                    .map(|greatest| (extreme(suspension, curve, cog, range, greatest), cog))
                    .to_vec()
            }
        })
        .collect();
    let low = candidates
        .iter()
        .min_by(|a, b| value(a).total_cmp(&value(b)));
    let high = candidates
        .iter()
        .max_by(|a, b| value(a).total_cmp(&value(b)));
    low.into_iter().chain(high).copied().collect()
}

/// Where the largest turn against the direction begins and ends, and the least and the greatest
/// value of all; nothing where it never turns.
fn reversal(
    suspension: &Suspension,
    curve: Curve,
    cog: Cog,
    range: (Place, Place),
    direction: Direction,
) -> Spots {
    let from = Spot::place(suspension, range.0);
    let to = Spot::place(suspension, range.1);
    let points = suspension.turning_points(curve, cog, from.parameter, to.parameter);
    let Some(&first) = points.first() else {
        return Vec::new();
    };
    let sign = sign_of(direction);
    let (mut lowest, mut turn) = (first, None::<(Extreme, Extreme)>);
    let (mut least, mut most) = (first, first);
    for &point in &points {
        let height = |a: Extreme, b: Extreme| (b.value - a.value) * sign;
        let largest = turn.map_or(0.0, |(a, b)| height(a, b));
        if height(lowest, point) > largest {
            turn = Some((lowest, point));
        }
        if height(point, lowest) > 0.0 {
            lowest = point;
        }
        if point.value < least.value {
            least = point;
        }
        if point.value > most.value {
            most = point;
        }
    }
    turn.map_or_else(Vec::new, |(low, high)| {
        [low, high, least, most]
            .map(|point| (end_or_extremum(point.parameter, from, to), cog))
            .to_vec()
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;

    #[test]
    fn gauss_rule_is_exact_for_polynomials_up_to_its_degree() {
        for power in [0, 2, 8, 14] {
            let sum: f64 = GAUSS.iter().map(|(x, w)| 2.0 * w * x.powi(power)).sum();
            assert_abs_diff_eq!(sum, 2.0 / f64::from(power + 1), epsilon = 1e-15);
        }
    }
}
