//! Stage 2: lower the objective while the rows hold, by sequential quadratic programming.
//!
//! The penalty function `f(x) + sum p_i violation_i(x)` is lowered step by step; each step
//! minimises its model with linear rows and a quadratic objective (the `S l1 QP` method,
//! Fletcher, *Practical Methods of Optimization*, 2nd ed. 1987, section 14.4). Steps are held
//! back by damping of the diagonal, as Levenberg and Marquardt do, inside a wide box: a box
//! alone takes every flat direction to its corner, and zigzags in a curved valley.
//!
//! - A step that fails because rows or residuals are curved is corrected to second order with
//!   their values at its end (Fletcher 1982 for rows, where it is the Maratos effect;
//!   Transtrum and Sethna 2012, *Improvements to the Levenberg-Marquardt algorithm*, for
//!   residuals).
//! - Prices rise only where that lowers the linear violation (Byrd, Nocedal and Waltz,
//!   *Steering exact penalty methods*, 2008).
//! - The Hessian is `2 J'WJ` of the residuals plus a learnt part, see `curvature`.
//! - Where the rows contradict each other the end is a least priced sum of violations.

use super::curvature::Curvature;
use super::linear::{add_outer, add_scaled};
use super::problem::{
    Derivatives, Evaluation, Interval, Outcome, Problem, Row, Stop, variable_units,
};
use super::subproblem::{Forecast, Lagrangian, Subproblem};

/// By what a row's violation is weighed against the others.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum RowWeights {
    /// By the scale the problem gives for it.
    Scale,
    /// By its steepest slope per unit of a variable at the start: for problems whose rows
    /// are badly scaled and say nothing about it.
    Slope,
}

/// Settings of [`Minimiser`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MinimiserSettings {
    /// A row holds if `violation <= row_tolerance`, in units of its scale.
    pub row_tolerance: f64,
    /// Converged if the rows hold and a step that is not held back moves no variable by more
    /// than `step_tolerance` of its unit: the width of its box, or, without a box, the size of
    /// its value.
    pub step_tolerance: f64,
    /// Converged if the rows hold and such a step would lower the penalty function by no
    /// more than `fall_tolerance` times the objective's size. What a ranking needs is 1e-6;
    /// the default asks for all the digits there are, which in a flat valley costs ten times
    /// the evaluations.
    pub fall_tolerance: f64,
    /// Stalled if the best objective with rows that hold fell by no more than `progress` times
    /// its size over [`Self::patience`] steps; the default never ends a run so. Where layouts
    /// are ranked, 1e-3 over 4 steps ends soon after the score is within 1 % of its limit.
    pub progress: f64,
    /// Steps to where the rows hold over which progress is judged.
    pub patience: usize,
    /// Largest first move of a curved variable, in units of the variables; it may double with
    /// every step taken. Larger saves steps, smaller stays nearer to the start. Of no effect where
    /// no curved variable has a box.
    pub radius: f64,
    /// First price of a unit of violation, in steepest slopes of the objective at the start.
    /// Too large makes a narrow valley of the rows, too small costs extra quadratic
    /// programmes.
    pub price: f64,
    /// How rows are weighed against each other.
    pub weights: RowWeights,
    /// Most evaluations.
    pub budget: usize,
}

impl Default for MinimiserSettings {
    fn default() -> Self {
        Self {
            row_tolerance: 1e-9,
            step_tolerance: 1e-9,
            fall_tolerance: 1e-15,
            progress: 0.0,
            patience: usize::MAX,
            radius: 0.2,
            price: 1.0,
            weights: RowWeights::Scale,
            budget: 500,
        }
    }
}

/// Stalled if a step moves no variable by more than this part of its unit.
const LEAST_LENGTH: f64 = 1e-13;
/// Part of the objective's size that rounding may hide.
const ROUNDING: f64 = 2e-15;
/// Where rounding hides the gain of a damped step, the run has converged if
/// `slope of the Lagrangian <= LEVEL * steepest slope`, per unit of a variable; the steepest
/// slope is that at the start or the one that the residuals could add up to, if larger.
const LEVEL: f64 = 1e-6;
/// The unit of an unbounded variable is at least this part of the length that changes the
/// residuals by their size.
const SMALL_PART: f64 = 1e-3;

/// Solver of stage 2 with its memory, to be used for many starts.
#[derive(Clone, Debug, Default)]
pub struct Minimiser {
    settings: MinimiserSettings,
    bounds: Vec<Interval>,
    rows: Vec<Row>,
    weights: Vec<f64>,
    curved: usize,
    units: Vec<f64>,
    prices: Vec<f64>,
    first_prices: Vec<f64>,
    old_prices: Vec<f64>,
    x: Vec<f64>,
    here: Evaluation,
    derivatives: Derivatives,
    trial: Vec<f64>,
    there: Evaluation,
    ahead: Derivatives,
    /// Trial without second-order correction, to fall back on.
    plain_trial: Vec<f64>,
    plain_there: Evaluation,
    /// `2 J'WJ` of the residuals, lower triangle.
    known: Vec<f64>,
    gradient: Vec<f64>,
    learnt: Curvature,
    /// The residuals alone give curvature on the curved variables.
    structured: bool,
    /// The learnt part foretold the last change better than its absence would have.
    trust_learnt: bool,
    subproblem: Subproblem,
    /// Multipliers of the last accepted or final step.
    row_multipliers: Vec<f64>,
    bound_multipliers: Vec<f64>,
    scratch: Vec<f64>,
    gradient_change: Vec<f64>,
    product: Vec<f64>,
    corrected_values: Vec<f64>,
    corrected_gradient: Vec<f64>,
    first_slope: f64,
    radius: f64,
    damping: f64,
    /// Factor of the next rise of the damping.
    growth: f64,
    best: Vec<f64>,
    best_objective: f64,
    best_violation: f64,
    best_total: f64,
    /// Best objective so far, after each step to where the rows hold.
    course: Vec<f64>,
    evaluations: usize,
    differentiations: usize,
    iterations: usize,
    /// How often prices were lowered.
    cuts: usize,
    stop: Option<Stop>,
}

impl Minimiser {
    /// A solver with these settings.
    #[must_use]
    pub fn new(settings: MinimiserSettings) -> Self {
        Self {
            settings,
            ..Self::default()
        }
    }

    /// Runs from `start` until something is found out.
    pub fn solve<P: Problem>(&mut self, problem: &mut P, start: &[f64]) -> Outcome {
        self.start(problem, start);
        while self.stop.is_none() {
            self.advance(problem);
        }
        self.outcome()
    }

    /// Takes up a start; it is moved into the box first.
    pub fn start<P: Problem>(&mut self, problem: &mut P, start: &[f64]) {
        self.describe(problem);
        self.subproblem.begin();
        self.x.clear();
        let inside = self.bounds.iter().zip(start).map(|(b, x)| b.clamp(*x));
        self.x.extend(inside);
        variable_units(&self.bounds, &self.x, &mut self.units);
        self.iterations = 0;
        self.evaluations = 1;
        self.differentiations = 1;
        self.stop = None;
        self.radius = self.first_radius();
        self.damping = 0.0;
        self.growth = 1.0;
        self.best.clone_from(&self.x);
        self.best_objective = f64::INFINITY;
        self.best_violation = f64::INFINITY;
        self.best_total = f64::INFINITY;
        if self.here.fill(problem, &self.x).is_err()
            || self.derivatives.fill(problem, &self.x).is_err()
        {
            self.stop = Some(Stop::NotEvaluable);
            return;
        }
        self.keep_best();
        self.course.clear();
        self.note_progress();
        self.assemble();
        self.first_slope = self.steepest();
        self.begin_prices();
        let n = self.x.len();
        self.structured = (0..self.curved).any(|j| self.known[j * n + j] > 0.0);
        self.trust_learnt = !self.structured;
        self.learnt
            .reset(&self.units, self.curved, self.first_slope, self.structured);
    }

    /// The trust region at a start. Variables that all lack a box have no room of their own to
    /// measure one by, and a box would send each to its corner: damping alone holds them back.
    fn first_radius(&self) -> f64 {
        let boundless = |bound: &Interval| bound.lower.is_infinite() && bound.upper.is_infinite();
        if self.bounds[..self.curved].iter().all(boundless) {
            f64::INFINITY
        } else {
            self.settings.radius
        }
    }

    /// Takes one accepted step, or finds out why there is none.
    pub fn advance<P: Problem>(&mut self, problem: &mut P) {
        self.subproblem.model(&Lagrangian {
            known: &self.known,
            learnt: &self.learnt,
            trusted: self.trust_learnt,
            units: &self.units,
            slopes: &self.derivatives.rows,
            multipliers: &self.row_multipliers,
        });
        while self.stop.is_none() {
            let Some(forecast) = self.forecast() else {
                self.stop = Some(Stop::Stalled);
                return;
            };
            if let Some(stop) = self.conclude(&forecast) {
                self.finish(problem, stop);
                return;
            }
            if self.evaluations >= self.settings.budget {
                self.stop = Some(Stop::Budget);
                return;
            }
            if self.attempt(problem, &forecast) {
                return;
            }
            if forecast.length < LEAST_LENGTH {
                self.stop = Some(Stop::Stalled);
            }
        }
    }

    /// The settings it was made with.
    #[must_use]
    pub fn settings(&self) -> &MinimiserSettings {
        &self.settings
    }

    /// Why the run ended, if it has.
    #[must_use]
    pub fn stop(&self) -> Option<Stop> {
        self.stop
    }

    /// The point of the last accepted step.
    #[must_use]
    pub fn x(&self) -> &[f64] {
        &self.x
    }

    /// Objective at the last accepted step, and the worst violation there.
    #[must_use]
    pub fn values(&self) -> (f64, f64) {
        let objective = self.here.total(&self.weights);
        (objective, self.here.worst_violation(&self.rows))
    }

    /// The best point so far, and the counts.
    #[must_use]
    pub fn outcome(&self) -> Outcome {
        Outcome {
            stop: self.stop.unwrap_or(Stop::Budget),
            x: self.best.clone(),
            objective: self.best_objective,
            violation: self.best_violation,
            row_multipliers: self.row_multipliers.clone(),
            bound_multipliers: self.bound_multipliers.clone(),
            evaluations: self.evaluations,
            differentiations: self.differentiations,
            iterations: self.iterations,
        }
    }

    /// Copies the problem's description and makes room.
    fn describe<P: Problem>(&mut self, problem: &P) {
        let n = problem.bounds().len();
        self.bounds.clear();
        self.bounds.extend_from_slice(problem.bounds());
        self.rows.clear();
        self.rows.extend_from_slice(problem.rows());
        self.weights.clear();
        self.weights.extend_from_slice(problem.residual_weights());
        self.curved = problem.curved().min(n);
        for values in [&mut self.here, &mut self.there, &mut self.plain_there] {
            values.resize(problem);
        }
        self.derivatives.resize(problem);
        self.ahead.resize(problem);
        for vector in [&mut self.gradient, &mut self.trial, &mut self.scratch] {
            vector.clear();
            vector.resize(n, 0.0);
        }
        self.known.clear();
        self.known.resize(n * n, 0.0);
        self.row_multipliers.clear();
        self.row_multipliers.resize(self.rows.len(), 0.0);
        self.bound_multipliers.clear();
        self.bound_multipliers.resize(n, 0.0);
    }

    /// Gradient of the objective and the Hessian part known from the residuals, at the
    /// current point.
    fn assemble(&mut self) {
        let n = self.x.len();
        self.gradient.copy_from_slice(&self.derivatives.objective);
        self.known.fill(0.0);
        for (k, weight) in self.weights.iter().enumerate() {
            let slopes = &self.derivatives.residuals[k * n..k * n + n];
            let factor = 2.0 * weight;
            add_scaled(&mut self.gradient, factor * self.here.residuals[k], slopes);
            add_outer(&mut self.known, n, factor, slopes);
        }
        // Without a finite box a variable's unit is the size of its value, or, nearer to
        // zero, a small part of what would change the residuals by their own size.
        let size = self.here.total(&self.weights).abs().sqrt();
        for j in 0..n {
            let width = self.bounds[j].upper - self.bounds[j].lower;
            let slope = (0.5 * self.known[j * n + j]).sqrt();
            if !width.is_finite() && slope > 0.0 {
                let least = SMALL_PART * size / slope;
                let value = self.x[j].abs();
                self.units[j] = if value > least { value } else { least };
            }
        }
    }

    /// Steepest slope of the objective per unit of a variable, 1 if there is none.
    fn steepest(&self) -> f64 {
        let mut most = 0.0;
        for (slope, unit) in self.gradient.iter().zip(&self.units) {
            let slope = (slope * unit).abs();
            if slope > most {
                most = slope;
            }
        }
        if most > 0.0 { most } else { 1.0 }
    }

    /// Steepest slope of the objective that residuals of this size and slopes could add up
    /// to (Cauchy and Schwarz), per unit of a variable.
    fn steepest_possible(&self) -> f64 {
        let n = self.x.len();
        let size = self.here.total(&self.weights) - self.here.objective;
        let mut most = 0.0;
        for j in 0..n {
            let residuals = (2.0 * size * self.known[j * n + j]).sqrt();
            let slope = (residuals + self.derivatives.objective[j].abs()) * self.units[j];
            if slope > most {
                most = slope;
            }
        }
        most
    }

    /// Whether the forecast says that the run is over.
    fn conclude(&self, forecast: &Forecast) -> Option<Stop> {
        let tolerance = self.settings.row_tolerance;
        let holds = self.here.worst_violation(&self.rows) <= tolerance;
        let size = self.here.total(&self.weights).abs();
        if holds && forecast.fall() <= 0.1 * self.noise(forecast) {
            // Rounding hides the gain, whatever confined the step.
            let steepest = self.steepest_possible().max(self.first_slope);
            let level = !forecast.confined || forecast.slope <= LEVEL * steepest;
            return Some(if level {
                Stop::Converged
            } else {
                Stop::Stalled
            });
        }
        if forecast.confined {
            return None;
        }
        let short = forecast.length <= self.settings.step_tolerance;
        let flat = forecast.fall() <= self.settings.fall_tolerance * size;
        if !(short || flat) {
            return None;
        }
        if holds {
            Some(Stop::Converged)
        } else if forecast.violation_after > tolerance {
            Some(Stop::Infeasible)
        } else {
            // A short step mends the rows: take it.
            None
        }
    }

    /// Takes the last, tiny step if it does no harm, and ends.
    fn finish<P: Problem>(&mut self, problem: &mut P, stop: Stop) {
        self.stop = Some(stop);
        self.keep_multipliers();
        if self.evaluations >= self.settings.budget {
            return;
        }
        self.place_trial();
        self.evaluations += 1;
        if self.there.fill(problem, &self.trial).is_ok() {
            let slack = ROUNDING * self.here.total(&self.weights).abs();
            if self.penalised(&self.there) <= self.penalised(&self.here) + slack {
                std::mem::swap(&mut self.x, &mut self.trial);
                std::mem::swap(&mut self.here, &mut self.there);
                self.keep_best();
            }
        }
    }

    /// Notes the best objective after a step, and ends the run if steps bring too little.
    fn note_progress(&mut self) {
        let MinimiserSettings {
            row_tolerance,
            progress,
            patience,
            ..
        } = self.settings;
        let (objective, violation) = self.values();
        if violation > row_tolerance {
            return;
        }
        let best = self.course.last().copied().unwrap_or(f64::INFINITY);
        let now = best.min(objective);
        self.course.push(now);
        if self.course.len() > patience {
            let before = self.course[self.course.len() - 1 - patience];
            if before - now <= progress * now.abs() {
                self.stop = Some(Stop::Stalled);
            }
        }
    }

    /// Remembers the current point if it is the best so far.
    fn keep_best(&mut self) {
        let (objective, violation) = self.values();
        let total = self.here.total_violation(&self.rows);
        let tolerance = self.settings.row_tolerance;
        let better = if violation <= tolerance {
            // Among equals the later point is the more exact one.
            let slack = ROUNDING * objective.abs();
            self.best_violation > tolerance || objective <= self.best_objective + slack
        } else {
            self.best_violation > tolerance && total < self.best_total
        };
        if better {
            self.best.clone_from(&self.x);
            self.best_objective = objective;
            self.best_violation = violation;
            self.best_total = total;
        }
    }
}

mod prices;
mod step;
#[cfg(test)]
mod tests;
