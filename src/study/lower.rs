//! Lowering a layout's score, anywhere or in its own neighbourhood.

use super::start::{Candidate, Starter, count, solve};
use crate::design::{DesignProblem, Purpose};
use crate::optimise::{
    Derivatives, Evaluation, Interval, Minimiser, MinimiserSettings, NotEvaluable, Problem, Row,
    RowWeights,
};

/// By how much a row may be missed at the moments that the solver looks at, in half widths of a
/// target's band: bands are narrowed by as much.
const ROW_TOLERANCE: f64 = 2e-4;

/// Least narrowing of the bands after a verification that found something.
const LEAST_TIGHTENING: f64 = 1e-6;

/// How often bands are narrowed further when verification finds something.
const VERIFICATIONS: usize = 4;

/// Settings of the stage that lowers the score. A run ends where it would gain no more than
/// some 1e-3 of the score.
const SCORE: MinimiserSettings = MinimiserSettings {
    row_tolerance: ROW_TOLERANCE,
    step_tolerance: 1e-9,
    fall_tolerance: 1e-4,
    progress: 2e-3,
    patience: 6,
    radius: 0.2,
    price: 1.0,
    weights: RowWeights::Slope,
    budget: 200,
};

/// The part of the room in which a layout may be moved.
#[derive(Clone, Debug)]
pub(super) struct Neighbourhood {
    /// The variables in its middle.
    pub about: Vec<f64>,
    /// How far each may change, as mm of its point.
    pub distance: f64,
}

impl Starter<'_> {
    /// Lowers the score from where everything is met; gives the better of both and the
    /// evaluations spent.
    pub fn improve(&self, met: &Candidate) -> (Candidate, u64) {
        let (lowered, spent) = self.lower(met, None, 0.0);
        let better = match (&lowered, met.feasible) {
            (Some(lowered), true) => lowered.feasible && lowered.score < met.score,
            (Some(lowered), false) => lowered.feasible || lowered.violation < met.violation,
            (None, _) => false,
        };
        let best = lowered.filter(|_| better);
        (best.unwrap_or_else(|| met.clone()), spent)
    }

    /// Lowers the score from `from`, as seen at the solver's moments and with bands made narrower
    /// by `narrowing` (a share of a target's half width, units of 5 mm or degrees of a
    /// limit), and verifies; where verification fails, again with bands narrowed by what was
    /// missing.
    ///
    /// Gives the layout, the nearest one if none is feasible, and the evaluations spent; no
    /// layout where the start cannot be evaluated.
    pub fn lower(
        &self,
        from: &Candidate,
        within: Option<&Neighbourhood>,
        narrowing: f64,
    ) -> (Option<Candidate>, u64) {
        let problem = &self.problems[from.size];
        let mut best: Option<Candidate> = None;
        let mut at = from.x.clone();
        let (mut tightening, mut evaluations) = (ROW_TOLERANCE + narrowing, 0);
        for _ in 0..VERIFICATIONS {
            let mut score = problem.with_purpose(Purpose::Score, tightening);
            let Some(start) = score.with_slacks(&at) else {
                break;
            };
            let mut minimiser = Minimiser::new(SCORE);
            let outcome = solve(&mut Nearby::new(score, within), &mut minimiser, &start);
            evaluations += count(&outcome);
            at = outcome.x[..problem.variables().len()].to_vec();
            let candidate = self.verify(from.start, from.size, &at);
            let done = candidate.feasible;
            // What is narrowed more than it need be is lost to the score.
            tightening += 1.05 * candidate.violation.min(0.1) + LEAST_TIGHTENING;
            let nearer = |best: &Candidate| candidate.violation < best.violation;
            if done || best.as_ref().is_none_or(nearer) {
                best = Some(candidate);
            }
            if done {
                break;
            }
        }
        (best, evaluations)
    }
}

/// A problem whose free coordinates stay in a neighbourhood.
struct Nearby<'p> {
    problem: DesignProblem<'p>,
    bounds: Vec<Interval>,
}

impl<'p> Nearby<'p> {
    fn new(problem: DesignProblem<'p>, within: Option<&Neighbourhood>) -> Self {
        let mut bounds = problem.bounds().to_vec();
        if let Some(Neighbourhood { about, distance }) = within {
            let variables = problem.variables().iter().zip(about);
            for (bound, (variable, middle)) in bounds.iter_mut().zip(variables) {
                let change = distance / variable.reach;
                let [lower, upper] = [middle - change, middle + change].map(|x| bound.clamp(x));
                *bound = Interval::new(lower, upper);
            }
        }
        Self { problem, bounds }
    }
}

impl Problem for Nearby<'_> {
    fn bounds(&self) -> &[Interval] {
        &self.bounds
    }

    fn rows(&self) -> &[Row] {
        self.problem.rows()
    }

    fn residual_weights(&self) -> &[f64] {
        self.problem.residual_weights()
    }

    fn curved(&self) -> usize {
        self.problem.curved()
    }

    fn evaluate(&mut self, x: &[f64], out: &mut Evaluation) -> Result<(), NotEvaluable> {
        self.problem.evaluate(x, out)
    }

    fn differentiate(&mut self, x: &[f64], out: &mut Derivatives) -> Result<(), NotEvaluable> {
        self.problem.differentiate(x, out)
    }
}
