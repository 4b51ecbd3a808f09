//! Targets that cannot all hold, by arithmetic alone and for any linkage.
//!
//! A leverage curve straight from `A` to `B` over stroke `S` gives travel
//! `S (A - B) / ln(A / B)` (`S A` when `A = B`): the stroke is the integral of `dz / LR`.
//! A curve that deviates from its chord by at most `d` lies between the same chord moved
//! by `-d` and by `+d`, so its travel lies between theirs. All of it is done with
//! the intervals that the targets' bands leave.

use crate::input::{
    Brief, Curve, Direction, Place, Quantity, SagOf, ShockSize, Summary, Target, Want,
};
use crate::optimise::Interval;

/// Targets that contradict each other.
#[derive(Clone, Debug, PartialEq)]
pub struct Contradiction {
    /// The shock for which they do; `None` where it does not matter.
    pub size: Option<ShockSize>,
    /// What follows from some targets, with the numbers, and what another one asks.
    pub statement: String,
}

/// All contradictions of `brief` that arithmetic shows.
#[must_use]
pub fn contradictions(brief: &Brief) -> Vec<Contradiction> {
    let wants = Wants { brief };
    let mut found = wants.opposite_bands();
    found.extend(wants.value_off_the_chord());
    found.extend(wants.progression());
    for size in brief.sizes() {
        found.extend(wants.travel(size));
    }
    found
}

struct Wants<'a> {
    brief: &'a Brief,
}

/// What a target leaves of a value.
fn band(want: &Want) -> Option<Interval> {
    match want {
        Want::Value { value, within } => Some(Interval::new(value - within, value + within)),
        Want::Between { low, high } => Some(Interval::new(*low, *high)),
        Want::StraightWithin(_) | Want::SpreadWithin(_) | Want::Monotone(_) => None,
    }
}

fn meet(a: Interval, b: Interval) -> Interval {
    Interval::new(a.lower.max(b.lower), a.upper.min(b.upper))
}

fn is_empty(interval: Interval) -> bool {
    interval.lower > interval.upper
}

fn told(interval: Interval) -> String {
    format!("{:.3} to {:.3}", interval.lower, interval.upper)
}

/// Logarithmic mean of two positive numbers; zero where one is not.
fn logarithmic_mean(a: f64, b: f64) -> f64 {
    if a <= 0.0 || b <= 0.0 {
        0.0
    } else if (a - b).abs() < 1e-9 * a {
        0.5 * (a + b)
    } else {
        (a - b) / libm::log(a / b)
    }
}

fn is_whole(from: Place, to: Place) -> bool {
    let top = matches!(from, Place::Top) || from == Place::Fraction(0.0);
    top && (matches!(to, Place::End) || to == Place::Fraction(1.0))
}

impl Wants<'_> {
    fn targets(&self) -> impl Iterator<Item = &Target> {
        self.brief
            .objectives
            .iter()
            .flat_map(|(_, set)| &set.targets)
    }

    /// Position of a place along the travel, 0 to 1, where that does not need the layout.
    fn fraction(&self, place: Place) -> Option<f64> {
        let sag = self.brief.layout.bicycle.sag;
        match place {
            Place::Top => Some(0.0),
            Place::End => Some(1.0),
            Place::Fraction(fraction) => Some(fraction),
            Place::Sag => (sag.of == SagOf::Travel).then_some(sag.fraction),
        }
    }

    /// What all targets together leave of a cog-free curve at a place.
    fn curve_at(&self, curve: Curve, place: Place) -> Interval {
        let bands = self.targets().filter_map(|target| match &target.quantity {
            Quantity::At {
                curve: own,
                place: at,
                ..
            } if *own == curve => {
                let same = *at == place
                    || self
                        .fraction(*at)
                        .is_some_and(|f| self.fraction(place) == Some(f));
                same.then(|| band(&target.want)).flatten()
            }
            Quantity::Over {
                curve: own,
                from,
                to,
                ..
            } if *own == curve => {
                let (from, to) = (self.fraction(*from)?, self.fraction(*to)?);
                let inside = self
                    .fraction(place)
                    .is_some_and(|at| from <= at && at <= to);
                inside.then(|| band(&target.want)).flatten()
            }
            _ => None,
        });
        bands.fold(Interval::FREE, meet)
    }

    fn summary(&self, summary: Summary) -> Interval {
        let bands = self.targets().filter_map(|target| match &target.quantity {
            Quantity::Summary(own) if *own == summary => band(&target.want),
            _ => None,
        });
        bands.fold(Interval::FREE, meet)
    }

    /// How far the leverage rate may deviate from its chord over the whole travel.
    fn straightness(&self) -> Option<f64> {
        let over_all = self
            .targets()
            .filter_map(|target| match (&target.quantity, &target.want) {
                (
                    Quantity::Over {
                        curve: Curve::LeverageRate,
                        from,
                        to,
                        ..
                    },
                    Want::StraightWithin(d),
                ) if is_whole(*from, *to) => Some(*d),
                _ => None,
            });
        let summary = self.summary(Summary::StraightnessMax).upper;
        let least = over_all.fold(summary, f64::min);
        least.is_finite().then_some(least)
    }

    fn falls(&self) -> bool {
        self.targets()
            .any(|target| match (&target.quantity, &target.want) {
                (
                    Quantity::Over {
                        curve: Curve::LeverageRate,
                        from,
                        to,
                        ..
                    },
                    Want::Monotone(Direction::Falling),
                ) => is_whole(*from, *to),
                _ => false,
            })
    }

    fn ends(&self) -> (Interval, Interval) {
        let at = |place| self.curve_at(Curve::LeverageRate, place);
        (at(Place::Top), at(Place::End))
    }

    /// Two bands for the same value that have nothing in common.
    fn opposite_bands(&self) -> Vec<Contradiction> {
        let all: Vec<&Target> = self.targets().collect();
        let mut found = Vec::new();
        for (index, first) in all.iter().enumerate() {
            for second in &all[index + 1..] {
                if !self.same_value(first, second) {
                    continue;
                }
                let (Some(a), Some(b)) = (band(&first.want), band(&second.want)) else {
                    continue;
                };
                if is_empty(meet(a, b)) {
                    let statement = format!(
                        "{} is wanted at {} and at {} at once",
                        first.quantity.name(),
                        told(a),
                        told(b)
                    );
                    found.push(Contradiction {
                        size: None,
                        statement,
                    });
                }
            }
        }
        found
    }

    /// Whether two targets look at one value in common.
    fn same_value(&self, first: &Target, second: &Target) -> bool {
        let range = |quantity: &Quantity| match quantity {
            Quantity::At { place, .. } => self.fraction(*place).map(|at| (at, at)),
            Quantity::Over { from, to, .. } => self.fraction(*from).zip(self.fraction(*to)),
            Quantity::Summary(_) => None,
        };
        match (&first.quantity, &second.quantity) {
            (Quantity::Summary(a), Quantity::Summary(b)) => a == b,
            (
                Quantity::At {
                    curve: a,
                    place: p,
                    cogs: c,
                },
                Quantity::At {
                    curve: b,
                    place: q,
                    cogs: d,
                },
            ) if p == q => a == b && self.share_cogs(c, d),
            (
                Quantity::At {
                    curve: a, cogs: c, ..
                }
                | Quantity::Over {
                    curve: a, cogs: c, ..
                },
                Quantity::At {
                    curve: b, cogs: d, ..
                }
                | Quantity::Over {
                    curve: b, cogs: d, ..
                },
            ) => {
                let overlap = range(&first.quantity).zip(range(&second.quantity));
                let overlap = overlap.is_some_and(|((a, b), (c, d))| a <= d && c <= b);
                a == b && self.share_cogs(c, d) && overlap
            }
            _ => false,
        }
    }

    fn share_cogs(&self, a: &crate::input::Cogs, b: &crate::input::Cogs) -> bool {
        let bicycle = crate::curves::Bicycle::new(&self.brief.layout);
        let named = |cogs| super::target_rows::named_cogs(cogs, &bicycle);
        let b = named(b);
        named(a)
            .iter()
            .any(|cog| b.iter().any(|other| other.teeth == cog.teeth))
    }

    /// The leverage rate at a place between against the chord it has to stay near.
    fn value_off_the_chord(&self) -> Vec<Contradiction> {
        let ((top, end), Some(allowance)) = (self.ends(), self.straightness()) else {
            return Vec::new();
        };
        let places = self.targets().filter_map(|target| match &target.quantity {
            Quantity::At {
                curve: Curve::LeverageRate,
                place,
                ..
            } => Some((self.fraction(*place)?, band(&target.want)?)),
            _ => None,
        });
        places
            .filter(|(at, _)| *at > 0.0 && *at < 1.0)
            .filter_map(|(at, wanted)| {
                let chord = Interval::new(
                    top.lower * (1.0 - at) + end.lower * at - allowance,
                    top.upper * (1.0 - at) + end.upper * at + allowance,
                );
                is_empty(meet(chord, wanted)).then(|| Contradiction {
                    size: None,
                    statement: format!(
                        "leverage_rate from {} at top to {} at end, straight within {allowance}, \
                         is {} at {:.0} % of travel, but {} is wanted there",
                        told(top),
                        told(end),
                        told(chord),
                        at * 100.0,
                        told(wanted)
                    ),
                })
            })
            .collect()
    }

    fn progression(&self) -> Option<Contradiction> {
        let (top, end) = self.ends();
        let wanted = self.summary(Summary::Progression);
        let possible = Interval::new(
            (1.0 - end.upper / top.lower) * 100.0,
            (1.0 - end.lower / top.upper) * 100.0,
        );
        let known = possible.lower.is_finite() && possible.upper.is_finite();
        (known && is_empty(meet(possible, wanted))).then(|| Contradiction {
            size: None,
            statement: format!(
                "leverage_rate from {} at top to {} at end is a progression of {} %, but {} is wanted",
                told(top),
                told(end),
                told(possible),
                told(wanted)
            ),
        })
    }

    /// Total travel against what the leverage rate makes of the stroke.
    fn travel(&self, size: ShockSize) -> Option<Contradiction> {
        let (top, end) = self.ends();
        let stroke = size.stroke;
        let mean = self.summary(Summary::LeverageMean);
        let wanted = meet(
            self.curve_at(Curve::Travel, Place::End),
            Interval::new(mean.lower * stroke, mean.upper * stroke),
        );
        let (possible, why) = if let Some(d) = self.straightness() {
            let travel = |a: f64, b: f64| stroke * logarithmic_mean(a, b);
            let possible = Interval::new(
                travel(top.lower - d, end.lower - d),
                travel(top.upper + d, end.upper + d),
            );
            (possible, format!("straight within {d}"))
        } else if self.falls() {
            (
                Interval::new(stroke * end.lower, stroke * top.upper),
                "falling throughout".to_owned(),
            )
        } else {
            return None;
        };
        let known = top.upper.is_finite() && end.upper.is_finite();
        (known && is_empty(meet(possible, wanted))).then(|| Contradiction {
            size: Some(size),
            statement: format!(
                "leverage_rate from {} at top to {} at end, {why}, over a stroke of {stroke} mm gives \
                 {} mm of travel, but {} mm is wanted",
                told(top),
                told(end),
                told(possible),
                told(wanted)
            ),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn straight_curve_gives_the_travel_of_its_logarithmic_mean() {
        // Stroke as the integral of dz / LR over a curve straight in travel.
        let (a, b, travel, steps) = (2.95, 2.10, 150.0, 20_000);
        let stroke: f64 = (0..steps)
            .map(|i| (f64::from(i) + 0.5) / f64::from(steps))
            .map(|t| travel / f64::from(steps) / (a + (b - a) * t))
            .sum();
        assert_relative_eq!(stroke * logarithmic_mean(a, b), travel, max_relative = 1e-9);
        assert_eq!(logarithmic_mean(2.5, 2.5), 2.5);
    }
}
