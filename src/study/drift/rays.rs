//! First exits in samples, eight rays at once.

use super::{Break, Drift, LARGEST_GAP, Mover, REACH};
use crate::curves::Suspension;
use crate::design::measure::{Aim, Batch, Form, Interest, Lane, Moving, Sampled, Sampler};
use crate::design::{Assessment, LIMIT_UNIT};
use crate::number::{LANES, Lanes, Point, Scalar, Vector};
use crate::study::sensitivity::unit;

/// Shares of an exit at which it is looked whether the ray left before.
const GUARDS: [f64; 3] = [0.25, 0.5, 0.75];

/// Most rounds in which an exit is closed in on.
const ROUNDS: usize = 7;

/// Width of the bracket about an exit as a share of its distance: enough to start the exact
/// search.
const CLOSE: f64 = 1e-4;

/// A band that is nearer to its edge than this share of its half width (of 5 mm or degrees for a
/// limit) may be what breaks: many times what samples are off by.
const NEAR: f64 = 0.3;

/// Samples are off by less than this share of a band: more is a number that has jumped.
const MOST_OFF: f64 = 0.05;

/// What samples are off by in the layout as it is, which hardly changes in a small move. Taken off
/// everywhere, so that what is near its edge has its exits where they are.
#[derive(Clone, Debug, Default)]
pub(super) struct Off {
    /// Of each aim's number, in its unit.
    values: Vec<f64>,
    /// Of each limit's slack, mm or degrees.
    slacks: Vec<f64>,
}

/// Where a ray leaves, as samples have it.
#[derive(Clone, Debug)]
pub(super) struct SampledExit {
    /// Degrees.
    pub direction: f64,
    /// mm; the reach where it does not leave.
    pub distance: f64,
    /// Growth of the violation there, per mm.
    pub slope: f64,
    /// Whether it leaves within reach.
    pub found: bool,
    /// What breaks there, if it is known.
    pub what: Option<Break>,
    /// What may be what breaks.
    pub near: Vec<Break>,
}

/// A ray while its exit is closed in on.
#[derive(Clone, Copy, Debug)]
pub(super) struct Bracket {
    pub inside: (f64, f64),
    pub outside: Option<(f64, f64)>,
    /// The same side was moved twice: aim beyond the secant.
    last_inside: Option<bool>,
    pub at: f64,
}

impl Bracket {
    pub fn take(&mut self, violation: f64) {
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

impl Bracket {
    /// A ray on which nothing is known but how the layout stands as it is.
    pub fn new(at_rest: f64, at: f64) -> Self {
        Self {
            inside: (0.0, at_rest.min(0.0)),
            outside: None,
            last_inside: None,
            at,
        }
    }

    /// It left at a distance at which it was not looked before.
    pub fn left_before(at_rest: f64, at: f64, violation: f64) -> Self {
        Self {
            outside: Some((at, violation)),
            ..Self::new(at_rest, 0.5 * at)
        }
    }

    /// Whether its exit is known to this share of the distance.
    pub fn is_closed(&self, share: f64) -> bool {
        let (near, low) = self.inside;
        match self.outside {
            Some((far, high)) => {
                let [low, high] = [low.abs(), high.abs()];
                far - near < share * far || low < 1e-5 || high < 1e-5
            }
            None => near >= REACH,
        }
    }

    /// Where it leaves and how steeply, as a line between what is known has it.
    pub fn exit(&self) -> Option<(f64, f64)> {
        let (far, high) = self.outside?;
        let (near, low) = self.inside;
        let slope = (high - low) / (far - near);
        let distance = if slope.is_finite() && slope > 0.0 {
            near - low / slope
        } else {
            far
        };
        Some((distance, slope))
    }
}

impl Drift<'_> {
    /// A sampler of everything that can break.
    pub(super) fn sampler(&self) -> Sampler<'_> {
        let forms: Vec<&Form> = self.aims.iter().map(|aim| &aim.form).collect();
        let bicycle = self.bicycle.clone();
        let suspension = Suspension::assembled(self.plan, bicycle, &self.drawn, self.stroke());
        Sampler::new(&suspension, &forms, &self.limits)
    }

    /// What samples are off by in the layout as it is.
    pub(super) fn off_at_rest(&self, suspension: &Suspension, assessment: &Assessment) -> Off {
        let points: Vec<Point<Lanes>> = self.drawn.iter().map(|&p| Point::constant(p)).collect();
        let batch = Batch {
            points: &points,
            stroke: Lanes::from_f64(self.stroke()),
            mass_shift: None,
        };
        let mut out = Sampled::default();
        self.sampler().look(&batch, Interest::Everything, &mut out);
        let off = |sampled: f64, exact: f64, unit: f64| {
            let off = sampled - exact;
            if off.abs() < MOST_OFF * unit {
                off
            } else {
                0.0
            }
        };
        let moving = Moving::of(suspension);
        let values = self.aims.iter().zip(&out.values).map(|(aim, sampled)| {
            let exact = aim.form.combine(&moving, &aim.form.locate(suspension));
            off(sampled[0], exact, aim.half)
        });
        let limits = assessment.limits.iter().zip(&out.slacks);
        let slacks = limits.map(|(limit, sampled)| off(sampled[0], limit.slack, LIMIT_UNIT));
        Off {
            values: values.collect(),
            slacks: slacks.collect(),
        }
    }

    /// The residual of every aim in a lane.
    fn residuals<'a>(
        &'a self,
        out: &'a Sampled,
        lane: usize,
    ) -> impl Iterator<Item = (&'a Aim, f64)> {
        let numbers = out.values.iter().zip(&self.off.values);
        let aims = self.aims.iter().zip(numbers);
        aims.map(move |(aim, (values, off))| (aim, aim.residual(values[lane] - off).abs()))
    }

    /// The slack of every limit in a lane.
    fn slacks<'a>(&'a self, out: &'a Sampled, lane: usize) -> impl Iterator<Item = f64> + 'a {
        let slacks = out.slacks.iter().zip(&self.off.slacks);
        slacks.map(move |(slacks, off)| slacks[lane] - off)
    }

    /// The largest violation in a lane, of what was looked at, and of what it is.
    fn worst(&self, out: &Sampled, lane: usize) -> (f64, Break) {
        let mut worst = (f64::NEG_INFINITY, Break::Motion);
        let mut take = |violation: f64, what: Break| {
            // What is no number is worst.
            let larger = violation > worst.0 || violation.is_nan();
            if larger && self.counts(what) {
                let violation = if violation.is_nan() {
                    f64::INFINITY
                } else {
                    violation
                };
                worst = (violation, what);
            }
        };
        for (aim, residual) in self.residuals(out, lane) {
            let (objective, index) = (aim.objective, aim.index);
            take(residual - 1.0, Break::Target { objective, index });
        }
        for (index, slack) in self.slacks(out, lane).enumerate() {
            take(-slack / LIMIT_UNIT, Break::Limit(index));
        }
        worst
    }

    /// What is near its edge in a lane.
    fn near(&self, out: &Sampled, lane: usize) -> Vec<Break> {
        let mut near = Vec::new();
        for (aim, residual) in self.residuals(out, lane) {
            let (objective, index) = (aim.objective, aim.index);
            // Whether a curve turns tells nothing of how nearly it does.
            let jumps = matches!(aim.form, Form::Reversal { .. });
            if jumps || residual.is_nan() || residual > 1.0 - NEAR {
                near.push(Break::Target { objective, index });
            }
        }
        for (index, slack) in self.slacks(out, lane).enumerate() {
            if slack.is_nan() || slack < NEAR * LIMIT_UNIT {
                near.push(Break::Limit(index));
            }
        }
        near
    }
}

/// Rays along which one point is moved.
pub(super) struct Rays<'r, 'p> {
    drift: &'r Drift<'r>,
    mover: &'r Mover,
    sampler: Sampler<'p>,
    out: Sampled,
    /// The largest violation where nothing is moved.
    pub at_rest: f64,
}

impl<'r, 'p> Rays<'r, 'p> {
    pub fn new(drift: &'r Drift<'r>, mover: &'r Mover, sampler: Sampler<'p>) -> Self {
        let mut rays = Self {
            drift,
            mover,
            sampler,
            out: Sampled::default(),
            at_rest: 0.0,
        };
        rays.at_rest = rays.violations([0.0; LANES], [0.0; LANES])[0];
        rays
    }

    /// The first exits along the rays in these directions, looked for from `start` mm on.
    pub fn exits(&mut self, angles: &[f64], start: f64) -> Vec<SampledExit> {
        let mut exits = Vec::with_capacity(angles.len());
        let mut start = start.max(1e-3);
        for chunk in angles.chunks(LANES) {
            let mut directions = [chunk[0]; LANES];
            directions[..chunk.len()].copy_from_slice(chunk);
            let found = self.follow(directions, start);
            start = found[0].distance.max(1e-3);
            exits.extend(found.into_iter().take(chunk.len()));
        }
        exits
    }

    fn follow(&mut self, directions: [f64; LANES], start: f64) -> Vec<SampledExit> {
        let at_rest = self.at_rest;
        let mut brackets = [Bracket::new(at_rest, start); LANES];
        self.close_in(directions, &mut brackets);
        for guard in GUARDS {
            let at = brackets.map(|bracket| guard * bracket.outside.map_or(REACH, |(far, _)| far));
            let violations = self.violations(directions, at);
            let mut left_before = false;
            for lane in 0..LANES {
                if violations[lane] > 0.0 {
                    left_before = true;
                    brackets[lane] = Bracket::left_before(at_rest, at[lane], violations[lane]);
                }
            }
            if left_before {
                self.close_in(directions, &mut brackets);
            }
        }
        let exits = brackets.map(|bracket| bracket.exit());
        let at = exits.map(|exit| exit.map_or(0.0, |(distance, _)| distance));
        let together = self.look(directions, at, false);
        let exits = exits.into_iter().enumerate();
        exits
            .map(|(lane, exit)| {
                let (distance, slope) = exit.unwrap_or((REACH, 0.0));
                SampledExit {
                    direction: directions[lane],
                    distance,
                    slope,
                    found: exit.is_some(),
                    what: exit.map(|_| {
                        let moves = together[lane] && self.out.margin[lane] > 0.0;
                        let worst = self.drift.worst(&self.out, lane).1;
                        if moves { worst } else { Break::Motion }
                    }),
                    near: self.drift.near(&self.out, lane),
                }
            })
            .collect()
    }

    fn close_in(&mut self, directions: [f64; LANES], brackets: &mut [Bracket; LANES]) {
        for _ in 0..ROUNDS {
            let at = brackets.map(|bracket| bracket.at);
            let violations = self.violations(directions, at);
            for (bracket, violation) in brackets.iter_mut().zip(violations) {
                bracket.take(violation);
            }
            if brackets.iter().all(|bracket| bracket.is_closed(CLOSE)) {
                break;
            }
        }
    }

    /// Of every lane's layout the largest violation; positive outside.
    pub fn violations(&mut self, directions: [f64; LANES], distances: [f64; LANES]) -> Lane {
        let together = self.look(directions, distances, true);
        std::array::from_fn(|lane| {
            if together[lane] && self.out.margin[lane] > 0.0 {
                self.drift.worst(&self.out, lane).0
            } else {
                f64::INFINITY
            }
        })
    }

    /// Looks at eight layouts, and tells whether their parts go together; of limits only what is
    /// worst, or all.
    fn look(
        &mut self,
        directions: [f64; LANES],
        distances: [f64; LANES],
        worst_only: bool,
    ) -> [bool; LANES] {
        let along = directions.map(unit);
        let by = Vector::new(
            Lanes::from_lanes(|lane| along[lane].x * distances[lane]),
            Lanes::from_lanes(|lane| along[lane].y * distances[lane]),
        );
        let drift = self.drift;
        let (points, gap_squared) = drift.moved(self.mover, by);
        let together = gap_squared
            .to_array()
            .map(|squared| squared < LARGEST_GAP * LARGEST_GAP);
        let batch = Batch {
            points: &points,
            stroke: Lanes::from_f64(drift.stroke()),
            mass_shift: None,
        };
        // The slack above which a limit is not what is worst, with what slacks are off by.
        let off = drift
            .off
            .slacks
            .iter()
            .fold(0.0_f64, |most, off| most.max(off.abs()));
        let above = |out: &Sampled| -> Lane {
            std::array::from_fn(|lane| {
                if together[lane] && out.margin[lane] > 0.0 {
                    2.0 * off - LIMIT_UNIT * drift.worst(out, lane).0
                } else {
                    f64::NEG_INFINITY
                }
            })
        };
        let interest = if worst_only {
            Interest::Least(&above)
        } else {
            Interest::Everything
        };
        self.sampler.look(&batch, interest, &mut self.out);
        together
    }
}
