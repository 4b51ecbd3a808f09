//! One start: a sample is drawn, solved and verified.

use super::alternatives::Alternatives;
use super::lower::SCORE;
use super::robustness::{NearestEdge, nearest_edge};
use crate::curves::Suspension;
use crate::design::{Assessment, DesignProblem, Purpose, RowSource};
use crate::input::{Limit, ObjectiveSet};
use crate::mechanism::{Plan, find_end};
use crate::number::Point;
use crate::optimise::{
    Derivatives, Evaluation, Feasible, FeasibleSettings, Minimiser, Outcome, Problem, place, run,
    unit_cube_point,
};
use serde::{Deserialize, Serialize};

/// Samples drawn for one start before it is given up.
const DRAWS: u64 = 256;

/// By how much bands are narrowed to be met, so that what lies between the moments that the
/// solver looks at mostly holds too.
const TIGHTENING: f64 = 1e-3;

/// Smallest margin of the mechanism that a sample must have.
const LEAST_MARGIN: f64 = 1e-3;

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
    /// Number of its size of shock and chainring among the variants of the brief.
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

/// What all starts of one search share, with one problem for each variant: each size of
/// shock with each chainring.
#[derive(Clone, Debug)]
pub(super) struct Starter<'p> {
    pub plan: &'p Plan,
    pub problems: Vec<DesignProblem<'p>>,
    pub objectives: Vec<ObjectiveSet>,
    pub limits: Vec<Limit>,
    pub seed: u64,
    pub alternatives: Alternatives,
}

impl Starter<'_> {
    /// The number of the variant that start number `start` takes: all in turn.
    pub fn size_of(&self, start: u64) -> usize {
        usize::try_from(start % self.problems.len() as u64).unwrap_or(0)
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

/// A starter with memory of its own, for one thread; what it gives does not depend on what it
/// gave before.
#[derive(Debug)]
pub(super) struct Worker<'s, 'p> {
    pub starter: &'s Starter<'p>,
    pub problems: Vec<DesignProblem<'p>>,
    /// Of each variant, what was last verified, for its memory.
    suspensions: Vec<Option<Suspension<'p>>>,
    feasible: Feasible,
    pub minimiser: Minimiser,
    values: Evaluation,
    slopes: Derivatives,
}

impl<'s, 'p> Worker<'s, 'p> {
    pub fn new(starter: &'s Starter<'p>) -> Self {
        Self {
            starter,
            problems: starter.problems.clone(),
            suspensions: vec![None; starter.problems.len()],
            feasible: Feasible::new(FeasibleSettings::default()),
            minimiser: Minimiser::new(SCORE),
            values: Evaluation::default(),
            slopes: Derivatives::default(),
        }
    }

    /// Runs start number `start`: a pure function of the seed and that number.
    pub fn run(&mut self, start: u64) -> Result {
        let mut result = self.meet(start);
        let lowers = |met: &&Candidate| result.ending == Ending::Feasible && !met.x.is_empty();
        if let Some(met) = result.candidates.first().filter(lowers) {
            let (improved, spent) = self.improve(met);
            result.evaluations += spent;
            if !(met.feasible || improved.feasible) {
                result.ending = Ending::NotVerified;
            }
            result.candidates.push(improved);
        }
        result
    }

    /// The first stage of a start alone. It ends as feasible where the solver's moments are met,
    /// whatever verification says of the candidate.
    pub fn meet(&mut self, start: u64) -> Result {
        let size = self.starter.size_of(start);
        self.problems[size].set_purpose(Purpose::Meet, TIGHTENING);
        let (sample, mut evaluations) = self.draw(size, start);
        let Some(sample) = sample else {
            return Result {
                ending: Ending::NotAssembled,
                evaluations,
                candidates: Vec::new(),
            };
        };
        let mut met = sample.is_empty();
        let mut x = sample;
        if !met {
            let outcome = solve(&mut self.problems[size], &mut self.feasible, &x);
            evaluations += count(&outcome);
            (met, x) = (outcome.violation <= 0.0, outcome.x);
        }
        let candidate = self.verify(start, size, &x);
        // Where nothing is free the size of the shock decides everything; elsewhere narrowed
        // bands may be missed where the true ones are met.
        let met = candidate.feasible || (met && !x.is_empty());
        Result {
            ending: if met {
                Ending::Feasible
            } else {
                Ending::Infeasible
            },
            evaluations,
            candidates: vec![candidate],
        }
    }

    /// The first sample of this start that assembles with some margin and moves the wheel up
    /// throughout: from where it moves down few starts come back.
    fn draw(&mut self, size: usize, start: u64) -> (Option<Vec<f64>>, u64) {
        let (problem, values) = (&mut self.problems[size], &mut self.values);
        values.resize(problem);
        for draw in 0..DRAWS {
            let mut sample = vec![0.0; problem.variables().len()];
            unit_cube_point(
                self.starter.seed,
                start.wrapping_mul(DRAWS).wrapping_add(draw),
                &mut sample,
            );
            place(&mut sample, problem.bounds(), 1.0);
            if problem.margin(&sample) > LEAST_MARGIN
                && values.fill(problem, &sample).is_ok()
                && moves(problem, values)
            {
                return (Some(sample), draw + 1);
            }
        }
        (None, DRAWS)
    }

    /// What the layout with variables `x` is worth, of the continuous curves.
    pub fn verify(&mut self, start: u64, size: usize, x: &[f64]) -> Candidate {
        let Starter {
            plan,
            objectives,
            limits,
            ..
        } = self.starter;
        let problem = &mut self.problems[size];
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
        let bicycle = problem.bicycle();
        let axle = bicycle.axle_point();
        if !problem.construction().reaches(&candidate.points)
            || find_end(plan, &candidate.points, stroke, axle).is_some()
        {
            return candidate;
        }
        let kept = &mut self.suspensions[size];
        if let Some(suspension) = kept {
            suspension.redraw(&candidate.points, stroke);
        }
        let suspension = kept.get_or_insert_with(|| {
            Suspension::assembled(plan, bicycle.clone(), &candidate.points, stroke)
        });
        let sets: Vec<&ObjectiveSet> = objectives.iter().collect();
        let assessment = Assessment::new(suspension, &sets, limits);
        self.starter.apply(&assessment, &mut candidate);
        if candidate.feasible {
            candidate.edge = nearest_edge(problem, x, &mut self.values, &mut self.slopes);
        }
        candidate
    }
}

/// Whether all rows about the motion itself hold.
fn moves(problem: &DesignProblem, values: &Evaluation) -> bool {
    let rows = problem.rows().iter().zip(&values.rows).enumerate();
    rows.filter(|(index, _)| problem.row_source(*index) == RowSource::Motion)
        .all(|(_, (row, value))| row.violation(*value) <= 0.0)
}

/// Evaluations that a solve took, derivatives counted as one each.
pub(super) fn count(outcome: &Outcome) -> u64 {
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
