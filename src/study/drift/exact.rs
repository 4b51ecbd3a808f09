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

/// Rounds in which the secant is tried before an exit is halved in on.
const SECANTS: usize = 8;

/// Most rounds: enough to halve the whole reach down to the tolerance.
const ROUNDS: usize = 48;

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
        // Near the sampled exit only what samples have near its edge can break; where the motion
        // itself ends there, samples say nothing of it.
        let any = !sampled.slope.is_finite();
        let stand = |distance: f64| {
            self.stand(mover, along * distance, |asked| {
                any || sampled.near.contains(&Break::from(asked))
            })
        };
        let (distance, standing) = close_in(sampled, stand);
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

/// From a sampled exit to the exact one: by the secant, which starts with the sampled slope, and
/// wherever that leaves what is known by halves. A bracket stays about the exit.
fn close_in(sampled: &SampledExit, stand: impl Fn(f64) -> Standing) -> (f64, Standing) {
    let (mut inside, mut outside): (f64, Option<(f64, Standing)>) = (0.0, None);
    let mut at = sampled.distance;
    let mut standing = stand(at);
    let (mut slope, mut ahead) = (sampled.slope, 1e-3);
    for round in 0..ROUNDS {
        if standing.violation > 0.0 {
            outside = Some((at, standing));
        } else if at > inside {
            inside = at;
        }
        if standing.violation.abs() <= NOTHING || (outside.is_none() && at >= REACH) {
            return (at, standing);
        }
        let far = outside.map_or(REACH, |(far, _)| far);
        let secant = at - standing.violation / slope;
        let trusted = round < SECANTS && secant >= inside && secant <= far;
        let next = match outside {
            _ if trusted => secant,
            Some((far, _)) => 0.5 * (inside + far),
            None => {
                ahead *= 2.0;
                (inside + ahead).min(REACH)
            }
        };
        let step = next - at;
        let there = stand(next);
        slope = (there.violation - standing.violation) / step;
        (at, standing) = (next, there);
        if trusted && step.abs() < TOLERANCE && standing.violation.is_finite() {
            return (at, standing);
        }
        if let Some((_, beyond)) = outside.filter(|(far, _)| far - inside < TOLERANCE) {
            return (inside, beyond);
        }
    }
    outside.map_or((at, standing), |(_, beyond)| (inside, beyond))
}
