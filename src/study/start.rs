//! One start: a sample is drawn, solved and verified.

use super::robustness::{NearestEdge, nearest_edge};
use crate::curves::{Bicycle, Suspension};
use crate::design::{Assessment, DesignProblem, Purpose, RowSource};
use crate::input::{Limit, ObjectiveSet};
use crate::mechanism::{Plan, find_end};
use crate::number::Point;
use crate::optimise::{
    Evaluation, Feasible, FeasibleSettings, Minimiser, MinimiserSettings, Outcome, Problem,
    RowWeights, place, run, unit_cube_point,
};
use serde::{Deserialize, Serialize};

/// Samples drawn for one start before it is given up.
const DRAWS: u64 = 256;

/// By how much bands are narrowed to be met, so that what lies between the moments that the
/// solver looks at mostly holds too.
const TIGHTENING: f64 = 1e-3;

/// Least narrowing of the bands after a verification that found something.
const LEAST_TIGHTENING: f64 = 1e-6;

/// How often bands are narrowed further when verification finds something.
const VERIFICATIONS: usize = 4;

/// Smallest margin of the mechanism that a sample must have.
const LEAST_MARGIN: f64 = 1e-3;

/// Settings of the stage that lowers the score. Rows may be missed by less than bands are
/// narrowed, and a run ends where it would gain no more than some 1e-3 of the score.
const SCORE: MinimiserSettings = MinimiserSettings {
    row_tolerance: 0.2 * TIGHTENING,
    step_tolerance: 1e-9,
    fall_tolerance: 1e-4,
    progress: 2e-3,
    patience: 6,
    radius: 0.2,
    price: 1.0,
    weights: RowWeights::Slope,
    budget: 200,
};

/// How one start ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Ending {
    /// A layout that meets all targets and limits.
    Feasible,
    /// The solver stopped where some target or limit cannot be met.
    Infeasible,
    /// The solver met everything in the moments it looks at, verification did not.
    NotVerified,
    /// No sample that assembles over the whole stroke was drawn.
    NotAssembled,
}

/// A verified layout, feasible or not.
#[derive(Clone, Debug)]
pub(super) struct Candidate {
    pub start: u64,
    pub size: usize,
    pub x: Vec<f64>,
    pub points: Vec<Point<f64>>,
    pub feasible: bool,
    pub score: f64,
    pub violation: f64,
    pub edge: Option<NearestEdge>,
}

impl Candidate {
    /// Smallest first-order distance in mm to an edge; zero where that is passed.
    pub fn robustness(&self) -> f64 {
        self.edge.as_ref().map_or(0.0, |edge| edge.distance)
    }
}

/// What came of one start.
#[derive(Clone, Debug)]
pub(super) struct Result {
    pub ending: Ending,
    pub evaluations: u64,
    /// What it came by: a feasible layout as it was met, and with its score lowered. Many
    /// starts end in one place once the score is lowered, so both are wanted.
    pub candidates: Vec<Candidate>,
}

/// What all starts of one search share, with one problem for each size of shock.
#[derive(Clone, Debug)]
pub(super) struct Starter<'p> {
    pub plan: &'p Plan,
    pub bicycle: Bicycle,
    pub problems: Vec<DesignProblem<'p>>,
    pub objectives: Vec<ObjectiveSet>,
    pub limits: Vec<Limit>,
    pub seed: u64,
}

impl Starter<'_> {
    /// The number of the shock size that start number `start` takes: all in turn.
    pub fn size_of(&self, start: u64) -> usize {
        usize::try_from(start % self.problems.len() as u64).unwrap_or(0)
    }

    /// Runs start number `start`: a pure function of the seed and that number.
    pub fn run(&self, start: u64) -> Result {
        let size = self.size_of(start);
        let problem = &self.problems[size];
        let mut meet = problem.with_purpose(Purpose::Meet, TIGHTENING);
        let (sample, drawn) = self.draw(&mut meet, start);
        let Some(sample) = sample else {
            return Result {
                ending: Ending::NotAssembled,
                evaluations: drawn,
                candidates: Vec::new(),
            };
        };
        if sample.is_empty() {
            // The size of the shock decides everything.
            let candidate = self.verify(start, size, &sample);
            let ending = if candidate.feasible {
                Ending::Feasible
            } else {
                Ending::Infeasible
            };
            return Result {
                ending,
                evaluations: drawn,
                candidates: vec![candidate],
            };
        }
        let met = solve(
            &mut meet,
            &mut Feasible::new(FeasibleSettings::default()),
            &sample,
        );
        let mut evaluations = drawn + count(&met);
        if met.violation > 0.0 {
            let candidate = self.verify(start, size, &met.x);
            // Narrowed bands may be missed where the true ones are met.
            if !candidate.feasible {
                return Result {
                    ending: Ending::Infeasible,
                    evaluations,
                    candidates: vec![candidate],
                };
            }
        }
        let met = self.verify(start, size, &met.x);
        let (improved, spent) = self.improve(&met);
        evaluations += spent;
        let ending = if met.feasible || improved.feasible {
            Ending::Feasible
        } else {
            Ending::NotVerified
        };
        Result {
            ending,
            evaluations,
            candidates: vec![met, improved],
        }
    }

    /// The first sample of this start that assembles with some margin and moves the wheel up
    /// throughout: from where it moves down few starts come back.
    fn draw(&self, problem: &mut DesignProblem, start: u64) -> (Option<Vec<f64>>, u64) {
        let mut values = Evaluation::default();
        values.resize(problem);
        for draw in 0..DRAWS {
            let mut sample = vec![0.0; problem.variables().len()];
            unit_cube_point(
                self.seed,
                start.wrapping_mul(DRAWS).wrapping_add(draw),
                &mut sample,
            );
            place(&mut sample, problem.bounds(), 1.0);
            if problem.margin(&sample) > LEAST_MARGIN
                && values.fill(problem, &sample).is_ok()
                && moves(problem, &values)
            {
                return (Some(sample), draw + 1);
            }
        }
        (None, DRAWS)
    }

    /// Lowers the score from where everything is met, as seen at the solver's moments, and
    /// verifies; where verification fails, again with bands narrowed by what was missing.
    fn improve(&self, met: &Candidate) -> (Candidate, u64) {
        let problem = &self.problems[met.size];
        let mut best = met.clone();
        let mut at = met.x.clone();
        // As much as the solver may miss a row by.
        let (mut tightening, mut evaluations) = (SCORE.row_tolerance, 0);
        for _ in 0..VERIFICATIONS {
            let mut score = problem.with_purpose(Purpose::Score, tightening);
            let Some(from) = score.with_slacks(&at) else {
                break;
            };
            let mut minimiser = Minimiser::new(SCORE);
            let outcome = solve(&mut score, &mut minimiser, &from);
            evaluations += count(&outcome);
            at = outcome.x[..problem.variables().len()].to_vec();
            let candidate = self.verify(met.start, met.size, &at);
            let better = match (candidate.feasible, best.feasible) {
                (true, true) => candidate.score < best.score,
                (true, false) => true,
                (false, true) => false,
                (false, false) => candidate.violation < best.violation,
            };
            let done = candidate.feasible;
            // What is narrowed more than it need be is lost to the score.
            tightening += 1.05 * candidate.violation.min(0.1) + LEAST_TIGHTENING;
            if better {
                best = candidate;
            }
            if done {
                break;
            }
        }
        (best, evaluations)
    }

    /// What the layout with variables `x` is worth, of the continuous curves.
    pub fn verify(&self, start: u64, size: usize, x: &[f64]) -> Candidate {
        let problem = &self.problems[size];
        let points = problem.construction().points(x);
        let stroke = problem.construction().size().stroke;
        let mut candidate = Candidate {
            start,
            size,
            x: x.to_vec(),
            points,
            feasible: false,
            score: f64::INFINITY,
            violation: f64::INFINITY,
            edge: None,
        };
        let axle = self.bicycle.axle_point();
        if !problem.construction().reaches(&candidate.points)
            || find_end(self.plan, &candidate.points, stroke, axle).is_some()
        {
            return candidate;
        }
        let suspension =
            Suspension::assembled(self.plan, self.bicycle.clone(), &candidate.points, stroke);
        let sets: Vec<&ObjectiveSet> = self.objectives.iter().collect();
        let assessment = Assessment::new(&suspension, &sets, &self.limits);
        self.apply(&assessment, &mut candidate);
        if candidate.feasible {
            candidate.edge = nearest_edge(problem, x);
        }
        candidate
    }

    /// Takes over what a candidate is worth.
    pub fn apply(&self, assessment: &Assessment, candidate: &mut Candidate) {
        let construction = self.problems[candidate.size].construction();
        let outside = construction.outside_box(&candidate.points);
        candidate.score = assessment.score();
        candidate.violation = assessment.violation().max(outside);
        candidate.feasible = assessment.feasible() && outside <= 0.0;
    }
}

/// Whether all rows about the motion itself hold.
fn moves(problem: &DesignProblem, values: &Evaluation) -> bool {
    let rows = problem.rows().iter().zip(&values.rows).enumerate();
    rows.filter(|(index, _)| problem.row_source(*index) == RowSource::Motion)
        .all(|(_, (row, value))| row.violation(*value) <= 0.0)
}

fn count(outcome: &Outcome) -> u64 {
    (outcome.evaluations + outcome.differentiations) as u64
}

/// Runs a stage in its frame; the frame itself can only fail on a start of the wrong length.
pub(super) fn solve<P: Problem, S: crate::optimise::Stage>(
    problem: &mut P,
    stage: &mut S,
    start: &[f64],
) -> Outcome {
    let framed = run(problem, stage, start);
    debug_assert!(
        framed.is_ok(),
        "a start has as many numbers as its problem has variables"
    );
    framed.unwrap_or_else(|_| stage.outcome())
}
