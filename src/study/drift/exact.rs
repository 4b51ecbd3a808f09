//! Exits on the continuous curves.

use super::rays::SampledExit;
use super::{Break, Drift, Exit, LARGEST_GAP, Mover, NOTHING, REACH};
use crate::curves::Suspension;
use crate::design::{Asked, Assessment, LIMIT_UNIT};
use crate::input::Place;
use crate::number::Vector;
use crate::study::sensitivity::unit;

/// A distance solved for is this good, mm.
const TOLERANCE: f64 = 1e-6;

/// Steps of the secant before bisection takes over.
const SECANTS: usize = 6;

/// How a moved layout stands to its bands.
#[derive(Clone, Copy, Debug)]
struct Standing {
    /// The largest violation: positive outside; infinite where it does not move.
    violation: f64,
    what: Break,
    place: Option<Place>,
    cog: Option<u32>,
}

impl Drift<'_> {
    /// The exact exit near a sampled one.
    pub(super) fn solve(&self, mover: &Mover, sampled: &SampledExit) -> Exit {
        let along = unit(sampled.direction);
        let direction = sampled.direction;
        if !sampled.found {
            return Exit {
                direction,
                distance: REACH,
                breaks: None,
                place: None,
                cog: None,
            };
        }
        // Near the sampled exit only what samples have near its edge can break.
        let near = |distance: f64| {
            self.stand(mover, along * distance, |asked| {
                sampled.near.contains(&Break::from(asked))
            })
        };
        let all = |distance: f64| self.stand(mover, along * distance, |_| true);
        let (distance, standing) = close_in(sampled, near, all);
        Exit {
            direction,
            distance,
            breaks: Some(standing.what),
            place: standing.place,
            cog: standing.cog,
        }
    }

    /// How the layout stands after a move to what is `wanted`.
    fn stand(&self, mover: &Mover, by: Vector<f64>, wanted: impl Fn(Asked) -> bool) -> Standing {
        let mut worst = Standing {
            violation: f64::INFINITY,
            what: Break::Motion,
            place: None,
            cog: None,
        };
        let (points, gap_squared) = self.moved(mover, by);
        if gap_squared.is_nan() || gap_squared >= LARGEST_GAP * LARGEST_GAP {
            return worst;
        }
        let bicycle = self.bicycle.clone();
        let suspension = Suspension::assembled(self.plan, bicycle, &points, self.stroke());
        if !suspension.moves() {
            return worst;
        }
        worst.violation = f64::NEG_INFINITY;
        let counts = |asked: Asked| wanted(asked) && self.counts(Break::from(asked));
        let assessment = Assessment::of_some(&suspension, &self.sets, &self.limits, counts);
        for target in &assessment.targets {
            let violation = target.residual.abs() - 1.0;
            if violation > worst.violation {
                let value = target
                    .values
                    .iter()
                    .max_by(|a, b| a.residual.abs().total_cmp(&b.residual.abs()));
                worst = Standing {
                    violation,
                    what: Break::Target {
                        objective: target.objective,
                        index: target.index,
                    },
                    place: value.and_then(|value| value.place),
                    cog: value.and_then(|value| value.cog),
                };
            }
        }
        for limit in &assessment.limits {
            let violation = -limit.slack / LIMIT_UNIT;
            if violation > worst.violation {
                worst = Standing {
                    violation,
                    what: Break::Limit(limit.index),
                    place: limit.place,
                    cog: None,
                };
            }
        }
        worst
    }
}

impl From<Asked> for Break {
    fn from(asked: Asked) -> Self {
        match asked {
            Asked::Target { objective, index } => Self::Target { objective, index },
            Asked::Limit(index) => Self::Limit(index),
        }
    }
}

/// From a sampled exit to the exact one: by the secant on what is `near` its edge, which starts
/// with the sampled slope, or where that fails by bisection on `all`.
fn close_in(
    sampled: &SampledExit,
    near: impl Fn(f64) -> Standing,
    all: impl Fn(f64) -> Standing,
) -> (f64, Standing) {
    let mut at = sampled.distance;
    let mut standing = near(at);
    let mut slope = sampled.slope;
    let (mut inside, mut outside): (f64, Option<(f64, Standing)>) = (0.0, None);
    for _ in 0..SECANTS {
        if standing.violation > 0.0 {
            outside = Some((at, standing));
        } else if at > inside {
            inside = at;
        }
        if standing.violation.abs() <= NOTHING {
            return (at, standing);
        }
        let next = at - standing.violation / slope;
        let far = outside.map_or(REACH, |(far, _)| far);
        if !(next.is_finite() && next >= inside && next <= far) {
            break;
        }
        let step = next - at;
        let there = near(next);
        slope = (there.violation - standing.violation) / step;
        (at, standing) = (next, there);
        if step.abs() < TOLERANCE && standing.violation.is_finite() {
            return (at, standing);
        }
    }
    bisect(inside, outside, &all)
}

/// The end of what holds, between a distance that does and one that does not.
fn bisect(
    inside: f64,
    outside: Option<(f64, Standing)>,
    stand: &impl Fn(f64) -> Standing,
) -> (f64, Standing) {
    let mut inside = if stand(inside).violation > NOTHING {
        0.0
    } else {
        inside
    };
    let mut far = outside;
    let mut step = 1e-3;
    while far.is_none() && inside + step < REACH {
        let standing = stand(inside + step);
        if standing.violation > 0.0 {
            far = Some((inside + step, standing));
        } else {
            inside += step;
        }
        step *= 2.0;
    }
    let Some((mut outside, mut standing)) = far else {
        return (REACH, stand(REACH));
    };
    while outside - inside > TOLERANCE {
        let middle = 0.5 * (inside + outside);
        let there = stand(middle);
        if there.violation > NOTHING {
            (outside, standing) = (middle, there);
        } else {
            inside = middle;
        }
    }
    (inside, standing)
}
