//! One start: a sample is drawn, solved and verified.

use super::alternatives::Alternatives;
use super::learning::{Choice, Learnt};
use super::lower::{Neighbourhood, SCORE};
use super::robustness::{NearestEdge, nearest_edge};
use super::yields::Origin;
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
    /// Of these, those of lowering the score.
    pub lowering: u64,
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
    /// Sample number `index` of the whole room.
    fn sample(&self, index: u64, problem: &DesignProblem) -> Vec<f64> {
        let mut sample = vec![0.0; problem.variables().len()];
        unit_cube_point(self.seed, index, &mut sample);
        place(&mut sample, problem.bounds(), 1.0);
        sample
    }

    /// Sample number `index` near what is known of a size, if anything is.
    fn sample_near(
        &self,
        learnt: &Learnt,
        index: u64,
        size: usize,
        problem: &DesignProblem,
    ) -> Option<Vec<f64>> {
        let mut random = vec![0.0; Learnt::EXTRA + problem.variables().len()];
        unit_cube_point(self.seed, index, &mut random);
        learnt.sample(size, &random, self.alternatives.distance(), problem)
    }

    /// How start number `start` is taken where nothing is learnt.
    pub fn even(&self, start: u64) -> Choice {
        Choice::even(start, self.problems.len())
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

    /// Runs start number `start` as chosen: a pure function of the seed, that number, and what
    /// was learnt.
    pub fn run(&mut self, start: u64, choice: Choice, learnt: &Learnt) -> Result {
        let mut result = self.meet(start, choice, learnt);
        let lowers = |met: &&Candidate| {
            // What verification does not bear out is met with narrower bands.
            let wanted = choice.lowers || !met.feasible;
            wanted && result.ending == Ending::Feasible && !met.x.is_empty()
        };
        if let Some(met) = result.candidates.first().filter(lowers) {
            let within = (choice.origin == Origin::Near).then(|| Neighbourhood {
                about: met.x.clone(),
                distance: self.starter.alternatives.distance(),
            });
            let (improved, spent) = self.improve(met, within.as_ref());
            result.evaluations += spent;
            result.lowering = spent;
            if !(met.feasible || improved.feasible) {
                result.ending = Ending::NotVerified;
            }
            result.candidates.push(improved);
        }
        result
    }

    /// The first stage of a start alone. It ends as feasible where the solver's moments are met,
    /// whatever verification says of the candidate.
    pub fn meet(&mut self, start: u64, choice: Choice, learnt: &Learnt) -> Result {
        let size = choice.size;
        self.problems[size].set_purpose(Purpose::Meet, TIGHTENING);
        let (sample, mut evaluations) = self.draw(start, choice, learnt);
        let Some(sample) = sample else {
            return Result {
                ending: Ending::NotAssembled,
                evaluations,
                lowering: 0,
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
            lowering: 0,
            candidates: vec![candidate],
        }
    }

    /// The first sample of this start that assembles with some margin and moves the wheel up
    /// throughout: from where it moves down few starts come back.
    fn draw(&mut self, start: u64, choice: Choice, learnt: &Learnt) -> (Option<Vec<f64>>, u64) {
        let starter = self.starter;
        let (problem, values) = (&mut self.problems[choice.size], &mut self.values);
        values.resize(problem);
        for draw in 0..DRAWS {
            let index = start.wrapping_mul(DRAWS).wrapping_add(draw);
            let near = (choice.origin == Origin::Near).then_some(learnt);
            let sample = near
                .and_then(|learnt| starter.sample_near(learnt, index, choice.size, problem))
                .unwrap_or_else(|| starter.sample(index, problem));
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
