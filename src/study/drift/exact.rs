//! Exits on the continuous curves.

use super::rays::SampledExit;
use super::{Break, Drift, Exit, LARGEST_GAP, Mover, NOTHING, REACH};
use crate::curves::Suspension;
use crate::design::{Assessment, LIMIT_UNIT};
use crate::input::Place;
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
        let stand = |distance: f64| self.stand(mover, along * distance);
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
        let (distance, standing) = close_in(sampled, stand);
        Exit {
            direction,
            distance,
            breaks: Some(standing.what),
            place: standing.place,
            cog: standing.cog,
        }
    }

    /// How the layout stands after a move.
    fn stand(&self, mover: &Mover, by: crate::number::Vector<f64>) -> Standing {
        let motion = Standing {
            violation: f64::INFINITY,
            what: Break::Motion,
            place: None,
            cog: None,
        };
        let (points, gap_squared) = self.moved(mover, by);
        if gap_squared.is_nan() || gap_squared >= LARGEST_GAP * LARGEST_GAP {
            return motion;
        }
        let suspension = Suspension::assembled(self.plan, self.bicycle(), &points, self.stroke());
        if !suspension.moves() {
            return motion;
        }
        let assessment = Assessment::new(&suspension, &self.sets, &self.limits);
        let mut worst = Standing {
            violation: f64::NEG_INFINITY,
            ..motion
        };
        for target in &assessment.targets {
            let what = Break::Target {
                objective: target.objective,
                index: target.index,
            };
            let violation = target.residual.abs() - 1.0;
            if self.counts(what) && violation > worst.violation {
                let value = target
                    .values
                    .iter()
                    .max_by(|a, b| a.residual.abs().total_cmp(&b.residual.abs()));
                worst = Standing {
                    violation,
                    what,
                    place: value.and_then(|value| value.place),
                    cog: value.and_then(|value| value.cog),
                };
            }
        }
        for limit in &assessment.limits {
            let what = Break::Limit(limit.index);
            let violation = -limit.slack / LIMIT_UNIT;
            if self.counts(what) && violation > worst.violation {
                worst = Standing {
                    violation,
                    what,
                    place: limit.place,
                    cog: None,
                };
            }
        }
        worst
    }
}

/// From a sampled exit to the exact one: by the secant, which starts with the sampled slope, or
/// where that fails by bisection.
fn close_in(sampled: &SampledExit, stand: impl Fn(f64) -> Standing) -> (f64, Standing) {
    let mut at = sampled.distance;
    let mut standing = stand(at);
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
        let there = stand(next);
        slope = (there.violation - standing.violation) / step;
        (at, standing) = (next, there);
        if step.abs() < TOLERANCE && standing.violation.is_finite() {
            return (at, standing);
        }
    }
    bisect(inside, outside, &stand)
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
