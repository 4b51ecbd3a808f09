//! First exits in samples, eight rays at once.

use super::{Drift, LARGEST_GAP, Mover, REACH};
use crate::design::LIMIT_UNIT;
use crate::design::measure::{Batch, Form, Lane, Sampled, Sampler};
use crate::input::Limit;
use crate::number::{LANES, Lanes, Scalar, Vector};
use crate::study::drift::Break;
use crate::study::sensitivity::unit;

/// Shares of an exit at which it is looked whether the ray left before.
const GUARDS: [f64; 3] = [0.25, 0.5, 0.75];

/// How closely an exit is closed in on.
#[derive(Clone, Copy, Debug)]
pub(super) struct Closeness {
    /// Most rounds.
    rounds: usize,
    /// Width of the bracket as a share of the distance.
    share: f64,
}

/// Enough to start the exact search.
pub(super) const CLOSE: Closeness = Closeness {
    rounds: 7,
    share: 1e-4,
};

/// Enough to tell which of many rays leaves first.
pub(super) const ROUGH: Closeness = Closeness {
    rounds: 5,
    share: 0.02,
};

/// Rays between two that are followed, where only the nearest exit is wanted.
const STRIDE: usize = 5;

/// Where a ray leaves, as samples have it.
#[derive(Clone, Copy, Debug)]
pub(super) struct SampledExit {
    /// Degrees.
    pub direction: f64,
    /// mm; the reach where it does not leave.
    pub distance: f64,
    /// Growth of the violation there, per mm.
    pub slope: f64,
    /// Whether it leaves within reach.
    pub found: bool,
}

/// A ray while its exit is closed in on.
#[derive(Clone, Copy, Debug)]
struct Bracket {
    inside: (f64, f64),
    outside: Option<(f64, f64)>,
    /// The same side was moved twice: aim beyond the secant.
    last_inside: Option<bool>,
    at: f64,
}

impl Bracket {
    fn take(&mut self, violation: f64) {
        let moved_inside = violation <= 0.0;
        let (mut weight_in, mut weight_out) = (1.0, 1.0);
        if self.last_inside == Some(moved_inside) {
            if moved_inside {
                weight_out = 0.5;
            } else {
                weight_in = 0.5;
            }
        }
        self.last_inside = Some(moved_inside);
        if moved_inside {
            self.inside = (self.at, violation);
        } else {
            self.outside = Some((self.at, violation));
        }
        self.at = match self.outside {
            None => (self.at * 2.0).min(REACH),
            Some((far, high)) => {
                let (near, low) = self.inside;
                let (low, high) = (low * weight_in, high * weight_out);
                let secant = near + (far - near) * (-low) / (high - low);
                // A violation without bound says nothing of where it begins.
                if high.is_finite() && secant > near && secant < far {
                    secant
                } else {
                    0.5 * (near + far)
                }
            }
        };
    }
}

impl Drift<'_> {
    /// A sampler of everything that can break.
    pub(super) fn sampler(&self) -> Sampler<'_> {
        let forms: Vec<&Form> = self.aims.iter().map(|aim| &aim.form).collect();
        let suspension = crate::curves::Suspension::assembled(
            self.plan,
            self.bicycle(),
            &self.drawn,
            self.stroke(),
        );
        let limits: Vec<Limit> = self.limits.clone();
        Sampler::new(&suspension, &forms, &limits)
    }

    /// The first exits along the rays in these directions, so close, looked for from the given
    /// distance on.
    pub(super) fn sampled(
        &self,
        mover: &Mover,
        angles: &[f64],
        closeness: (Closeness, f64),
        sampler: &mut Sampler,
    ) -> Vec<SampledExit> {
        let mut exits = Vec::with_capacity(angles.len());
        let (closeness, mut start) = closeness;
        for chunk in angles.chunks(LANES) {
            let mut directions = [chunk[0]; LANES];
            directions[..chunk.len()].copy_from_slice(chunk);
            let found = self.follow(mover, directions, (closeness, start), sampler);
            start = found[0].distance.max(1e-3);
            exits.extend_from_slice(&found[..chunk.len()]);
        }
        exits
    }

    /// The same where only the nearest matters: every fifth ray is followed, and of those between
    /// the ones next to a nearest.
    pub(super) fn coarse(
        &self,
        mover: &Mover,
        angles: &[f64],
        sampler: &mut Sampler,
    ) -> Vec<SampledExit> {
        let some: Vec<f64> = angles.iter().copied().step_by(STRIDE).collect();
        let mut exits = self.sampled(mover, &some, (ROUGH, 1.0), sampler);
        let count = exits.len();
        let mut near: Vec<usize> = (0..count)
            .filter(|&ray| {
                let here = exits[ray].distance;
                let [before, after] = [ray + count - 1, ray + 1].map(|other| exits[other % count]);
                here <= before.distance && here <= after.distance
            })
            .collect();
        near.sort_by(|&a, &b| exits[a].distance.total_cmp(&exits[b].distance));
        // More than three hollows hardly hide the nearest between rays that close.
        for ray in near.into_iter().take(3) {
            let between = (1..STRIDE).flat_map(|offset| {
                let middle = ray * STRIDE + angles.len();
                [middle - offset, middle + offset].map(|index| angles[index % angles.len()])
            });
            let between: Vec<f64> = between.collect();
            let start = exits[ray].distance.max(1e-3);
            exits.extend(self.sampled(mover, &between, (ROUGH, start), sampler));
        }
        exits
    }

    fn follow(
        &self,
        mover: &Mover,
        directions: [f64; LANES],
        (closeness, start): (Closeness, f64),
        sampler: &mut Sampler,
    ) -> [SampledExit; LANES] {
        let mut out = Sampled::default();
        let at_rest = self.violations(mover, directions, [0.0; LANES], sampler, &mut out);
        let mut brackets: [Bracket; LANES] = std::array::from_fn(|lane| Bracket {
            inside: (0.0, at_rest[lane].min(0.0)),
            outside: None,
            last_inside: None,
            at: start,
        });
        let close_in =
            |brackets: &mut [Bracket; LANES], sampler: &mut Sampler, out: &mut Sampled| {
                for _ in 0..closeness.rounds {
                    let at = brackets.map(|bracket| bracket.at);
                    let violations = self.violations(mover, directions, at, sampler, out);
                    for (bracket, violation) in brackets.iter_mut().zip(violations) {
                        bracket.take(violation);
                    }
                    let closed = brackets.iter().all(|bracket| {
                        let (near, low) = bracket.inside;
                        match bracket.outside {
                            Some((far, high)) => {
                                let [low, high] = [low.abs(), high.abs()];
                                far - near < closeness.share * far || low < 1e-5 || high < 1e-5
                            }
                            None => near >= REACH,
                        }
                    });
                    if closed {
                        break;
                    }
                }
            };
        close_in(&mut brackets, sampler, &mut out);
        for guard in GUARDS {
            let at = brackets.map(|bracket| guard * bracket.outside.map_or(REACH, |(far, _)| far));
            let violations = self.violations(mover, directions, at, sampler, &mut out);
            let mut left_before = false;
            for lane in 0..LANES {
                if violations[lane] > 0.0 {
                    left_before = true;
                    brackets[lane].inside = (0.0, at_rest[lane].min(0.0));
                    brackets[lane].outside = Some((at[lane], violations[lane]));
                    brackets[lane].at = 0.5 * at[lane];
                    brackets[lane].last_inside = None;
                }
            }
            if left_before {
                close_in(&mut brackets, sampler, &mut out);
            }
        }
        std::array::from_fn(|lane| sampled_exit(directions[lane], &brackets[lane]))
    }

    /// Of every lane's layout the largest violation; positive outside.
    fn violations(
        &self,
        mover: &Mover,
        directions: [f64; LANES],
        distances: [f64; LANES],
        sampler: &mut Sampler,
        out: &mut Sampled,
    ) -> Lane {
        let along = directions.map(unit);
        let by = Vector::new(
            Lanes::from_lanes(|lane| along[lane].x * distances[lane]),
            Lanes::from_lanes(|lane| along[lane].y * distances[lane]),
        );
        let (points, gap_squared) = self.moved(mover, by);
        let stroke = Lanes::from_f64(self.stroke());
        let batch = Batch {
            points: &points,
            stroke,
            mass_shift: None,
        };
        sampler.look(&batch, out);
        let gap_squared = gap_squared.to_array();
        std::array::from_fn(|lane| {
            let together = gap_squared[lane] < LARGEST_GAP * LARGEST_GAP;
            if together && out.margin[lane] > 0.0 {
                self.worst(out, lane)
            } else {
                f64::INFINITY
            }
        })
    }

    fn worst(&self, out: &Sampled, lane: usize) -> f64 {
        let mut worst = f64::NEG_INFINITY;
        for (aim, values) in self.aims.iter().zip(&out.values) {
            let (objective, index) = (aim.objective, aim.index);
            if self.counts(Break::Target { objective, index }) {
                worst = larger(worst, aim.residual(values[lane]).abs() - 1.0);
            }
        }
        for (index, slacks) in out.slacks.iter().enumerate() {
            if self.counts(Break::Limit(index)) {
                worst = larger(worst, -slacks[lane] / LIMIT_UNIT);
            }
        }
        worst
    }
}

/// The larger; what is not a number is larger than all.
fn larger(a: f64, b: f64) -> f64 {
    if b.is_nan() {
        f64::INFINITY
    } else if b > a {
        b
    } else {
        a
    }
}

fn sampled_exit(direction: f64, bracket: &Bracket) -> SampledExit {
    let Some((far, high)) = bracket.outside else {
        return SampledExit {
            direction,
            distance: REACH,
            slope: 0.0,
            found: false,
        };
    };
    let (near, low) = bracket.inside;
    let slope = (high - low) / (far - near);
    let distance = if slope.is_finite() && slope > 0.0 {
        near - low / slope
    } else {
        far
    };
    SampledExit {
        direction,
        distance,
        slope,
        found: true,
    }
}
