//! Lowering a layout's score, anywhere or in its own neighbourhood.

use super::start::{Candidate, Worker, count, solve};
use crate::design::{DesignProblem, Purpose};
use crate::optimise::{
    Derivatives, Evaluation, Interval, MinimiserSettings, NotEvaluable, Outcome, Problem, Row,
    RowWeights,
};

/// By how much a row may be missed at the moments that the solver looks at, in half widths of a
/// target's band: bands are narrowed by as much.
const ROW_TOLERANCE: f64 = 2e-4;

/// By how much bands are narrowed for what lies between those moments, where a score is first
/// lowered: more than most curves need. What that costs is won back where a layout is refined.
const BETWEEN: f64 = 6e-3;

/// Least narrowing of the bands after a verification that found something.
const LEAST_NARROWING: f64 = 1e-6;

/// Change of narrowing by which its price is told.
const PRICED: f64 = 1e-3;

/// How often bands are narrowed further when verification finds something.
const VERIFICATIONS: usize = 4;

/// Settings of the stage that lowers the score. A run ends where it would gain no more than
/// some 1e-3 of the score.
pub(super) const SCORE: MinimiserSettings = MinimiserSettings {
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

/// What came of lowering a score.
#[derive(Clone, Debug)]
pub(super) struct Lowered {
    /// The layout, the nearest one if none is feasible.
    pub layout: Candidate,
    /// By how much bands were narrowed for it in the end.
    pub narrowing: f64,
    /// By how much the squared score grows, to first order, for each unit by which bands are
    /// narrowed further.
    pub price: f64,
    /// Evaluations spent.
    pub evaluations: u64,
}

impl Worker<'_, '_> {
    /// Lowers the score from where everything is met; gives the better of both and the
    /// evaluations spent.
    pub fn improve(&mut self, met: &Candidate, within: Option<&Neighbourhood>) -> (Candidate, u64) {
        let Some(Lowered {
            layout,
            evaluations,
            ..
        }) = self.lower(met, within, BETWEEN)
        else {
            return (met.clone(), 0);
        };
        let better = if met.feasible {
            layout.feasible && layout.score < met.score
        } else {
            layout.feasible || layout.violation < met.violation
        };
        (if better { layout } else { met.clone() }, evaluations)
    }

    /// Lowers the score from `from`, as seen at the solver's moments and with bands made narrower
    /// by `narrowing` (a share of a target's half width, units of 5 mm or degrees of a
    /// limit), and verifies; where verification fails, again with bands narrowed by what was
    /// missing. `None` where the start cannot be evaluated.
    pub fn lower(
        &mut self,
        from: &Candidate,
        within: Option<&Neighbourhood>,
        narrowing: f64,
    ) -> Option<Lowered> {
        let mut lowered: Option<Lowered> = None;
        let mut at = from.x.clone();
        let (mut narrowing, mut evaluations) = (narrowing, 0);
        for _ in 0..VERIFICATIONS {
            let problem = &mut self.problems[from.size];
            let mut score = Nearby::new(problem, within, ROW_TOLERANCE + narrowing);
            let Some(start) = score.problem.with_slacks(&at) else {
                break;
            };
            let outcome = solve(&mut score, &mut self.minimiser, &start);
            // Only in a neighbourhood are bands narrowed further.
            let price = within.map_or(0.0, |_| score.price(&outcome, ROW_TOLERANCE + narrowing));
            evaluations += count(&outcome);
            at.copy_from_slice(&outcome.x[..from.x.len()]);
            let layout = self.verify(from.start, from.size, &at);
            let done = layout.feasible;
            // What is narrowed more than it need be is lost to the score.
            let missing = 1.05 * layout.violation.min(0.1) + LEAST_NARROWING;
            let nearer = |best: &Lowered| layout.violation < best.layout.violation;
            if done || lowered.as_ref().is_none_or(nearer) {
                lowered = Some(Lowered {
                    layout,
                    narrowing,
                    price,
                    evaluations,
                });
            }
            if done {
                break;
            }
            narrowing += missing;
        }
        lowered.map(|lowered| Lowered {
            evaluations,
            ..lowered
        })
    }
}

/// The problem of lowering a score with free coordinates that stay in a neighbourhood.
struct Nearby<'w, 'p> {
    problem: &'w mut DesignProblem<'p>,
    bounds: Vec<Interval>,
}

impl<'w, 'p> Nearby<'w, 'p> {
    /// With all bands narrower than the brief's by `narrowing`.
    fn new(
        problem: &'w mut DesignProblem<'p>,
        within: Option<&Neighbourhood>,
        narrowing: f64,
    ) -> Self {
        problem.set_purpose(Purpose::Score, narrowing);
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

    /// What it costs the objective, to first order, to make bands narrower still.
    fn price(&mut self, outcome: &Outcome, narrowing: f64) -> f64 {
        let slacks = self.problem.variables().len()..;
        let bands = |problem: &DesignProblem| -> Vec<Interval> {
            let rows = problem.rows().iter().map(|row| row.band);
            rows.chain(problem.bounds()[slacks.clone()].iter().copied())
                .collect()
        };
        let now = bands(self.problem);
        self.problem.set_purpose(Purpose::Score, narrowing + PRICED);
        let then = bands(self.problem);
        let multipliers = outcome.row_multipliers.iter();
        let multipliers = multipliers.chain(&outcome.bound_multipliers[slacks.clone()]);
        let mut price = 0.0;
        for ((now, then), multiplier) in now.iter().zip(&then).zip(multipliers) {
            if *multiplier > 0.0 {
                price += multiplier * (now.upper - then.upper);
            } else if *multiplier < 0.0 {
                price -= multiplier * (then.lower - now.lower);
            }
        }
        price / PRICED
    }
}

impl Problem for Nearby<'_, '_> {
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
