//! The argmin frame: one accepted step per iteration, for either stage.
//!
//! The only file that knows argmin. Its state carries the point and a merit; the best
//! point is kept by the stage itself, because argmin's is the lowest cost ever seen.

use super::feasible::Feasible;
use super::minimise::Minimiser;
use super::problem::{Outcome, Problem, Stop};
use argmin::core::{
    Error, Executor, IterState, KV, Solver, State, TerminationReason, TerminationStatus,
};

/// A local solver that takes one accepted step at a time.
pub trait Stage {
    /// Takes up a start; it is moved into the box first.
    fn start<P: Problem>(&mut self, problem: &mut P, start: &[f64]);
    /// Takes one accepted step, or finds out why there is none.
    fn advance<P: Problem>(&mut self, problem: &mut P);
    /// Why the run ended, if it has.
    fn stop(&self) -> Option<Stop>;
    /// The point of the last accepted step.
    fn x(&self) -> &[f64];
    /// A number for observers that is finite only where a better one is worth having.
    fn merit(&self) -> f64;
    /// The best point so far, and the counts.
    fn outcome(&self) -> Outcome;
}

impl Stage for Feasible {
    fn start<P: Problem>(&mut self, problem: &mut P, start: &[f64]) {
        Feasible::start(self, problem, start);
    }
    fn advance<P: Problem>(&mut self, problem: &mut P) {
        Feasible::advance(self, problem);
    }
    fn stop(&self) -> Option<Stop> {
        Feasible::stop(self)
    }
    fn x(&self) -> &[f64] {
        Feasible::x(self)
    }
    fn merit(&self) -> f64 {
        Feasible::merit(self)
    }
    fn outcome(&self) -> Outcome {
        Feasible::outcome(self)
    }
}

impl Stage for Minimiser {
    fn start<P: Problem>(&mut self, problem: &mut P, start: &[f64]) {
        Minimiser::start(self, problem, start);
    }
    fn advance<P: Problem>(&mut self, problem: &mut P) {
        Minimiser::advance(self, problem);
    }
    fn stop(&self) -> Option<Stop> {
        Minimiser::stop(self)
    }
    fn x(&self) -> &[f64] {
        Minimiser::x(self)
    }
    /// The objective, infinite where a row does not hold: so argmin's best is feasible.
    fn merit(&self) -> f64 {
        let (objective, violation) = self.values();
        if violation <= self.settings().row_tolerance {
            objective
        } else {
            f64::INFINITY
        }
    }
    fn outcome(&self) -> Outcome {
        Minimiser::outcome(self)
    }
}

/// State of a run in argmin's terms.
pub type LocalState = IterState<Vec<f64>, (), (), (), (), f64>;

/// A stage as an argmin solver; give the start as the state's parameter.
#[derive(Debug)]
pub struct LocalSolver<'a, S> {
    stage: &'a mut S,
}

impl<'a, S: Stage> LocalSolver<'a, S> {
    /// Frames a stage, whose memory is reused from start to start.
    pub fn new(stage: &'a mut S) -> Self {
        Self { stage }
    }

    fn report(&self, mut state: LocalState) -> LocalState {
        // The buffer the state had goes round; only the first step allocates.
        let mut x = state.take_param().unwrap_or_default();
        x.clear();
        x.extend_from_slice(self.stage.x());
        let state = state.param(x).cost(self.stage.merit());
        match self.stage.stop() {
            None => state,
            Some(Stop::Feasible | Stop::Converged) => {
                state.terminate_with(TerminationReason::SolverConverged)
            }
            Some(stop) => state.terminate_with(TerminationReason::SolverExit(format!("{stop:?}"))),
        }
    }
}

impl<P: Problem, S: Stage> Solver<P, LocalState> for LocalSolver<'_, S> {
    fn name(&self) -> &'static str {
        "local solver"
    }

    fn init(
        &mut self,
        problem: &mut argmin::core::Problem<P>,
        mut state: LocalState,
    ) -> Result<(LocalState, Option<KV>), Error> {
        let start = state.take_param().unwrap_or_default();
        let problem = problem.problem.as_mut();
        let problem = problem.ok_or_else(|| Error::msg("the executor holds no problem"))?;
        if start.len() != problem.bounds().len() {
            return Err(Error::msg("the start has the wrong number of variables"));
        }
        self.stage.start(problem, &start);
        Ok((self.report(state.param(start)), None))
    }

    fn next_iter(
        &mut self,
        problem: &mut argmin::core::Problem<P>,
        state: LocalState,
    ) -> Result<(LocalState, Option<KV>), Error> {
        let problem = problem.problem.as_mut();
        let problem = problem.ok_or_else(|| Error::msg("the executor holds no problem"))?;
        self.stage.advance(problem);
        Ok((self.report(state), None))
    }

    /// Only the stage's own endings and the iteration limit count.
    fn terminate_internal(&mut self, state: &LocalState) -> TerminationStatus {
        if state.get_iter() >= state.get_max_iters() {
            return TerminationStatus::Terminated(TerminationReason::MaxItersReached);
        }
        TerminationStatus::NotTerminated
    }
}

/// Runs a stage from `start` in an argmin executor, without its timer and signal handler.
///
/// # Errors
/// Only if `start` has the wrong length; every numerical ending is in the outcome.
pub fn run<P: Problem, S: Stage>(
    problem: &mut P,
    stage: &mut S,
    start: &[f64],
) -> Result<Outcome, Error> {
    Executor::new(problem, LocalSolver::new(stage))
        .configure(|state| state.param(start.to_vec()))
        .ctrlc(false)
        .timer(false)
        .run()?;
    Ok(stage.outcome())
}
