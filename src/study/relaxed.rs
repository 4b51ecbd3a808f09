//! A brief's rows with some of them let out by one slack, which is made as small as can be.

use crate::curves::Suspension;
use crate::design::{Assessment, DesignProblem, Purpose, RowSource};
use crate::input::{Brief, ObjectiveSet};
use crate::mechanism::{Plan, find_end};
use crate::number::Point;
use crate::optimise::{
    Derivatives, Evaluation, Interval, Minimiser, MinimiserSettings, NotEvaluable, Problem, Row,
    RowWeights,
};

/// What is asked of the rows of one source, in their units.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Rule {
    /// The band that the brief gives.
    Band,
    /// That band let out by the slack on both sides.
    LetOut,
    /// A band of the slack's own size about zero.
    Slack,
    /// A band of this half width about zero.
    Within(f64),
}

/// Largest slack that is looked into.
const MOST: f64 = 1e4;

/// Rows may be missed by this much; verification sees to the rest.
const ROW_TOLERANCE: f64 = 1e-5;

/// How often bands are narrowed by what verification finds.
const VERIFICATIONS: usize = 5;

const SETTINGS: MinimiserSettings = MinimiserSettings {
    row_tolerance: ROW_TOLERANCE,
    step_tolerance: 1e-8,
    fall_tolerance: 1e-6,
    progress: 1e-5,
    patience: 8,
    radius: 0.1,
    price: 1.0,
    weights: RowWeights::Slope,
    budget: 250,
};

/// The problem: the variables of the brief, then the slack.
struct Relaxed<'p> {
    inner: DesignProblem<'p>,
    bounds: Vec<Interval>,
    rows: Vec<Row>,
    /// Of every row the inner row, its sign, and whether the slack lets it out.
    pieces: Vec<(usize, f64, bool)>,
    values: Evaluation,
    slopes: Derivatives,
}

impl<'p> Relaxed<'p> {
    fn new(problem: &DesignProblem<'p>, rule: &dyn Fn(RowSource) -> Rule, tightening: f64) -> Self {
        let inner = problem.with_purpose(Purpose::Meet, tightening);
        let mut bounds = inner.bounds().to_vec();
        bounds.push(Interval::new(0.0, MOST));
        let (mut rows, mut pieces) = (Vec::new(), Vec::new());
        for (index, row) in inner.rows().iter().enumerate() {
            let of = rule(inner.row_source(index));
            let band = match of {
                Rule::Band | Rule::LetOut => row.band,
                Rule::Slack => Interval::new(0.0, 0.0),
                Rule::Within(half) => {
                    // Never beyond the middle.
                    let half = if half > 2.0 * tightening {
                        half - tightening
                    } else {
                        0.5 * half
                    };
                    Interval::new(-half, half)
                }
            };
            match of {
                Rule::Band | Rule::Within(_) => {
                    rows.push(Row { band, ..*row });
                    pieces.push((index, 1.0, false));
                }
                Rule::LetOut | Rule::Slack => {
                    for (sign, edge) in [(1.0, band.upper), (-1.0, -band.lower)] {
                        if edge.is_finite() {
                            rows.push(Row::at_most(edge));
                            pieces.push((index, sign, true));
                        }
                    }
                }
            }
        }
        let (mut values, mut slopes) = (Evaluation::default(), Derivatives::default());
        values.resize(&inner);
        slopes.resize(&inner);
        Self {
            inner,
            bounds,
            rows,
            pieces,
            values,
            slopes,
        }
    }

    /// The least slack with which the rows that it lets out hold at `x`.
    fn slack(&mut self, x: &[f64]) -> Option<f64> {
        self.values.fill(&mut self.inner, x).ok()?;
        let mut least = 0.0;
        for (row, &(source, sign, let_out)) in self.rows.iter().zip(&self.pieces) {
            let missing = sign * self.values.rows[source] - row.band.upper;
            if let_out && missing > least {
                least = missing;
            }
        }
        Some(least)
    }
}

impl Problem for Relaxed<'_> {
    fn bounds(&self) -> &[Interval] {
        &self.bounds
    }

    fn rows(&self) -> &[Row] {
        &self.rows
    }

    fn residual_weights(&self) -> &[f64] {
        &[1.0]
    }

    fn curved(&self) -> usize {
        self.bounds.len() - 1
    }

    fn evaluate(&mut self, x: &[f64], out: &mut Evaluation) -> Result<(), NotEvaluable> {
        let (x, slack) = (&x[..x.len() - 1], x[x.len() - 1]);
        self.inner.evaluate(x, &mut self.values)?;
        for (slot, &(source, sign, let_out)) in out.rows.iter_mut().zip(&self.pieces) {
            let value = sign * self.values.rows[source];
            *slot = if let_out { value - slack } else { value };
        }
        out.residuals[0] = slack;
        Ok(())
    }

    fn differentiate(&mut self, x: &[f64], out: &mut Derivatives) -> Result<(), NotEvaluable> {
        let count = x.len() - 1;
        self.slopes.rows.fill(0.0);
        self.inner.differentiate(&x[..count], &mut self.slopes)?;
        let lines = out.rows.chunks_exact_mut(count + 1);
        for (line, &(source, sign, let_out)) in lines.zip(&self.pieces) {
            let slopes = &self.slopes.rows[source * count..(source + 1) * count];
            for (slot, slope) in line.iter_mut().zip(slopes) {
                *slot = sign * slope;
            }
            line[count] = if let_out { -1.0 } else { 0.0 };
        }
        out.residuals[count] = 1.0;
        Ok(())
    }
}

/// A verified layout with what it comes to.
#[derive(Clone, Debug)]
pub(super) struct Verified {
    /// Its variables.
    pub x: Vec<f64>,
    /// Its points.
    pub points: Vec<Point<f64>>,
    /// All targets and limits.
    pub assessment: Assessment,
}

/// A brief that is solved again and again with other rules.
pub(super) struct Bench<'p> {
    pub plan: &'p Plan,
    pub brief: &'p Brief,
    pub problem: DesignProblem<'p>,
}

impl Bench<'_> {
    /// Solves with `rule` from `x`, and verifies on the continuous curves: `accepts` tells by how
    /// much a layout violates what it must hold, zero where it does not.
    pub fn solve(
        &self,
        x: &[f64],
        rule: &dyn Fn(RowSource) -> Rule,
        accepts: &dyn Fn(&Assessment) -> f64,
    ) -> Option<Verified> {
        let mut from = x.to_vec();
        let mut tightening = 2.0 * ROW_TOLERANCE;
        for _ in 0..VERIFICATIONS {
            let mut relaxed = Relaxed::new(&self.problem, rule, tightening);
            let slack = relaxed.slack(&from)?;
            let mut start = from.clone();
            start.push(slack);
            let outcome = Minimiser::new(SETTINGS).solve(&mut relaxed, &start);
            from = outcome.x[..x.len()].to_vec();
            let verified = self.verify(&from)?;
            let violation = accepts(&verified.assessment)
                .max(self.problem.construction().outside_box(&verified.points));
            if violation <= 0.0 {
                return Some(verified);
            }
            if outcome.violation > 10.0 * ROW_TOLERANCE {
                return None;
            }
            tightening += 1.05 * violation.min(0.1) + 1e-6;
        }
        None
    }

    /// What the layout with these variables comes to; none where it does not move.
    pub fn verify(&self, x: &[f64]) -> Option<Verified> {
        let construction = self.problem.construction();
        let points = construction.points(x);
        let stroke = construction.size().stroke;
        let axle = self.brief.layout.bicycle.rear_axle;
        if !construction.reaches(&points) || find_end(self.plan, &points, stroke, axle).is_some() {
            return None;
        }
        let bicycle = self.problem.bicycle().clone();
        let suspension = Suspension::assembled(self.plan, bicycle, &points, stroke);
        let sets: Vec<&ObjectiveSet> = self.brief.objectives.iter().map(|(_, set)| set).collect();
        let assessment = Assessment::new(&suspension, &sets, &self.brief.limits);
        Some(Verified {
            x: x.to_vec(),
            points,
            assessment,
        })
    }
}

/// By how much targets (counted through all sets) and limits are violated, without those that
/// `left_out` names.
pub(super) fn violation(assessment: &Assessment, left_out: &dyn Fn(RowSource) -> bool) -> f64 {
    let targets = assessment.targets.iter().enumerate();
    let targets = targets
        .filter(|(number, target)| !target.met && !left_out(RowSource::Target(*number)))
        .map(|(_, target)| target.residual.abs() - 1.0);
    let limits = assessment.limits.iter();
    let limits = limits
        .filter(|limit| !limit.holds && !left_out(RowSource::Limit(limit.index)))
        .map(|limit| -limit.slack / crate::design::LIMIT_UNIT);
    targets.chain(limits).fold(0.0, |worst, violation| {
        if violation > worst || violation.is_nan() {
            violation
        } else {
            worst
        }
    })
}
