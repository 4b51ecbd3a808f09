//! Stage 2: lower the objective while the rows hold, by sequential quadratic programming.
//!
//! The penalty function `f(x) + sum p_i violation_i(x)` is lowered step by step; each step
//! minimises its model with linear rows and a quadratic objective inside a trust region
//! (Fletcher, *Practical Methods of Optimization*, 2nd ed. 1987, sections 12.4 and 14.4). A
//! step that fails because the rows are curved is corrected to second order with the row
//! values at its end, so that the penalty does not stop good steps (the Maratos effect;
//! Fletcher 1982). Penalties rise only where that lowers the linear violation (Byrd,
//! Nocedal and Waltz, *Steering exact penalty methods*, 2008). The Hessian is `2 J'WJ` of
//! the residuals plus a learnt part, see `curvature`.

use super::curvature::Curvature;
use super::linear::{add_outer, add_scaled, dot, multiply_symmetric};
use super::problem::{
    Derivatives, Evaluation, Interval, Outcome, Problem, Row, Stop, variable_units,
};
use super::subproblem::{Forecast, Place, Subproblem};

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
    /// Converged if the rows hold and a step that the trust region does not confine moves
    /// no variable by more than `step_tolerance` of its unit.
    pub step_tolerance: f64,
    /// Converged if the rows hold and such a step would lower the penalty function by no
    /// more than `fall_tolerance` times its size.
    pub fall_tolerance: f64,
    /// First half-width of the trust region in units of the variables. Larger saves steps,
    /// smaller stays nearer to the start.
    pub radius: f64,
    /// First penalty; 1 is right if a unit of violation is worth the objective's steepest
    /// slope. Too large makes a narrow valley of the rows, too small costs extra
    /// quadratic programmes.
    pub penalty: f64,
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
            radius: 0.2,
            penalty: 1.0,
            weights: RowWeights::Scale,
            budget: 500,
        }
    }
}

/// Smallest trust region, in units of the variables.
const LEAST_RADIUS: f64 = 1e-13;
/// Factor by which penalties rise.
const PENALTY_RISE: f64 = 10.0;
/// How often they may rise in one step.
const MOST_RISES: usize = 8;
/// How often prices may be lowered in a run.
const MOST_CUTS: usize = 30;
/// A factor that makes every violation dearer than any gain.
const ANY_PRICE: f64 = 1e8;
/// Part of the penalty function's size that rounding may hide.
const ROUNDING: f64 = 2e-15;
/// Where rounding hides the gain of a step, the run has converged if no slope of the
/// Lagrangian exceeds this part of the steepest slope the objective could have.
const LEVEL: f64 = 1e-6;
/// See [`Minimiser::assemble`].
const SMALL_PART: f64 = 1e-3;
/// A step that brings less than this part of the forecast is corrected.
const CORRECTION_GAIN: f64 = 0.25;
/// A step is taken if it brings more than this part of the forecast.
const LEAST_GAIN: f64 = 1e-4;

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
    radius: f64,
    damping: f64,
    growth: f64,
    best: Vec<f64>,
    best_objective: f64,
    best_violation: f64,
    best_total: f64,
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
        self.x.clear();
        let inside = self.bounds.iter().zip(start).map(|(b, x)| b.clamp(*x));
        self.x.extend(inside);
        variable_units(&self.bounds, &self.x, &mut self.units);
        self.iterations = 0;
        self.evaluations = 1;
        self.differentiations = 1;
        self.stop = None;
        self.radius = self.settings.radius;
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
        self.assemble();
        self.begin_penalties();
        let curvature_known = (0..self.curved).any(|j| self.known[j * self.x.len() + j] > 0.0);
        let slope = self.steepest();
        self.learnt
            .reset(&self.units, self.curved, slope, curvature_known);
        self.structured = curvature_known;
        self.trust_learnt = !curvature_known;
    }

    /// Takes one accepted step, or finds out why there is none.
    pub fn advance<P: Problem>(&mut self, problem: &mut P) {
        self.subproblem
            .model(&self.known, &self.learnt, self.trust_learnt, &self.units);
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
            if std::env::var("TRACE").is_ok() {
                let (f, v) = self.values();
                println!(
                    "{:4} f {f:.10e} v {v:.2e} rad {:.2e} len {:.2e} conf {} fall {:.2e} slope {:.1e} price {:.1e} cuts {} trust {} steps {} kept {} act {} {:?} s {:.3?} m {:.2?}",
                    self.evaluations,
                    self.radius,
                    forecast.length,
                    forecast.confined,
                    forecast.fall(),
                    forecast.slope,
                    self.prices.first().unwrap_or(&0.0),
                    self.cuts,
                    self.trust_learnt,
                    self.subproblem.quadratic.steps(),
                    self.subproblem.kept.len(),
                    self.subproblem
                        .row_multipliers
                        .iter()
                        .filter(|m| **m != 0.0)
                        .count(),
                    self.subproblem
                        .row_multipliers
                        .iter()
                        .enumerate()
                        .filter(|m| *m.1 != 0.0)
                        .map(|m| m.0)
                        .collect::<Vec<_>>(),
                    self.subproblem
                        .step
                        .iter()
                        .zip(&self.units)
                        .map(|(d, u)| d / u * 1e3)
                        .collect::<Vec<_>>(),
                    self.subproblem.bound_multipliers
                );
            }
            if self.attempt(problem, &forecast) {
                return;
            }
            if self.radius < LEAST_RADIUS || forecast.length < LEAST_RADIUS {
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

    /// First prices of violation.
    fn begin_penalties(&mut self) {
        let n = self.x.len();
        let penalty = self.settings.penalty * self.steepest();
        self.prices.clear();
        for (i, row) in self.rows.iter().enumerate() {
            let slopes = &self.derivatives.rows[i * n..i * n + n];
            let mut steepest = 0.0;
            for (slope, unit) in slopes.iter().zip(&self.units) {
                let slope = (slope * unit).abs();
                if slope > steepest {
                    steepest = slope;
                }
            }
            let scale = match self.settings.weights {
                RowWeights::Slope if steepest > 0.0 => steepest,
                _ => row.scale,
            };
            self.prices.push(penalty / scale);
        }
        self.first_prices.clone_from(&self.prices);
        self.cuts = 0;
    }

    /// Objective plus priced violation.
    fn penalised(&self, values: &Evaluation) -> f64 {
        let mut sum = 0.0;
        for (i, row) in self.rows.iter().enumerate() {
            sum += self.prices[i] * row.band.excess(values.rows[i]).abs();
        }
        values.total(&self.weights) + sum
    }

    /// Solves the quadratic programme, raising the penalties where that helps.
    fn forecast(&mut self) -> Option<Forecast> {
        let forecast = self.solve_programme()?;
        let (before, after) = (forecast.violation_before, forecast.violation_after);
        let tolerance = self.settings.row_tolerance;
        if after <= tolerance || after <= 0.5 * before {
            return Some(forecast);
        }
        // The least linear violation that any price can buy here.
        self.old_prices.clone_from(&self.prices);
        for price in &mut self.prices {
            *price *= ANY_PRICE;
        }
        let least = self.solve_programme()?.violation_after;
        self.prices.clone_from(&self.old_prices);
        let aim = if least <= tolerance {
            tolerance
        } else {
            // A tenth of what is possible is enough progress.
            after.min(before - 0.1 * (before - least))
        };
        if least > 0.999 * after || after <= aim {
            return self.solve_programme();
        }
        let mut forecast = None;
        for _ in 0..MOST_RISES {
            self.raise_prices();
            forecast = Some(self.solve_programme()?);
            if forecast.is_some_and(|raised| raised.violation_after <= aim) {
                break;
            }
        }
        forecast
    }

    /// Raises the price of the rows that pay it: of all together if they are weighed by
    /// their scales, so that their ratio stays what the problem says.
    fn raise_prices(&mut self) {
        let each = self.settings.weights == RowWeights::Slope;
        for (price, multiplier) in self.prices.iter_mut().zip(&self.subproblem.row_multipliers) {
            if !each || multiplier.abs() >= *price {
                *price *= PENALTY_RISE;
            }
        }
    }

    /// Lowers prices far above what the multipliers ask for: a price once needed far away
    /// would make a narrow valley here. Only so many times, so that the run ends.
    fn lower_prices(&mut self) {
        if self.cuts >= MOST_CUTS {
            return;
        }
        let mut common = 0.0_f64;
        for (i, multiplier) in self.row_multipliers.iter().enumerate() {
            common = common.max(multiplier.abs() / self.first_prices[i]);
        }
        let mut cut = false;
        for (i, price) in self.prices.iter_mut().enumerate() {
            let ratio = match self.settings.weights {
                RowWeights::Slope => self.row_multipliers[i].abs() / self.first_prices[i],
                RowWeights::Scale => common,
            };
            let enough = 10.0 * ratio * self.first_prices[i];
            if enough > 0.0 && *price > 5.0 * enough {
                *price = enough;
                cut = true;
            }
        }
        self.cuts += usize::from(cut);
    }

    /// The quadratic programme at the current point.
    fn solve_programme(&mut self) -> Option<Forecast> {
        self.subproblem.solve(&Place {
            x: &self.x,
            bounds: &self.bounds,
            units: &self.units,
            curved: self.curved,
            radius: self.radius,
            damping: self.damping,
            gradient: &self.gradient,
            rows: &self.rows,
            values: &self.here.rows,
            derivatives: &self.derivatives,
            prices: &self.prices,
        })
    }

    /// The same with rows and residuals that are linear with the slopes here, but through
    /// their values at the trial point.
    fn solve_corrected(&mut self) -> Option<Forecast> {
        let n = self.x.len();
        self.scratch.clear();
        let ends = self.trial.iter().zip(&self.x);
        self.scratch.extend(ends.map(|(there, here)| there - here));
        self.corrected_values.clear();
        for (i, value) in self.there.rows.iter().enumerate() {
            let linear = dot(&self.derivatives.rows[i * n..i * n + n], &self.scratch);
            self.corrected_values.push(value - linear);
        }
        self.corrected_gradient.clone_from(&self.gradient);
        for (k, weight) in self.weights.iter().enumerate() {
            let slopes = &self.derivatives.residuals[k * n..k * n + n];
            let change = self.there.residuals[k] - self.here.residuals[k];
            let bend = change - dot(slopes, &self.scratch);
            add_scaled(&mut self.corrected_gradient, 2.0 * weight * bend, slopes);
        }
        self.subproblem.solve(&Place {
            x: &self.x,
            bounds: &self.bounds,
            units: &self.units,
            curved: self.curved,
            radius: self.radius,
            damping: self.damping,
            gradient: &self.corrected_gradient,
            rows: &self.rows,
            values: &self.corrected_values,
            derivatives: &self.derivatives,
            prices: &self.prices,
        })
    }

    /// What rounding may hide in the penalty function.
    fn noise(&self, forecast: &Forecast) -> f64 {
        ROUNDING * self.here.total(&self.weights).abs() + 4.0 * forecast.noise
    }

    /// Whether the forecast says that the run is over.
    fn conclude(&self, forecast: &Forecast) -> Option<Stop> {
        let tolerance = self.settings.row_tolerance;
        let holds = self.here.worst_violation(&self.rows) <= tolerance;
        let size = self.here.total(&self.weights).abs();
        if forecast.confined {
            // A trust region that has shrunk until rounding hides the gain.
            let hidden = holds && forecast.fall() <= 0.1 * self.noise(forecast);
            let level = forecast.slope <= LEVEL * self.steepest_possible();
            return hidden.then_some(if level {
                Stop::Converged
            } else {
                Stop::Stalled
            });
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

    fn place_trial(&mut self) {
        for j in 0..self.x.len() {
            self.trial[j] = self.bounds[j].clamp(self.x[j] + self.subproblem.step[j]);
        }
    }

    fn keep_multipliers(&mut self) {
        let subproblem = &self.subproblem;
        self.row_multipliers.clone_from(&subproblem.row_multipliers);
        self.bound_multipliers
            .clone_from(&subproblem.bound_multipliers);
    }

    /// Tries the step of the last quadratic programme; moves there if it is good and sets
    /// the trust region for the next.
    fn attempt<P: Problem>(&mut self, problem: &mut P, forecast: &Forecast) -> bool {
        self.place_trial();
        self.keep_multipliers();
        let mut gain = self.try_trial(problem, forecast);
        if self.structured && gain > f64::NEG_INFINITY {
            self.compare_models();
        }
        let first = gain;
        if gain < CORRECTION_GAIN && gain > f64::NEG_INFINITY {
            gain = self.correct(problem, forecast, gain);
        }
        if std::env::var("TRACE").is_ok() {
            println!("     gain {gain:.3} first {first:.3} ");
        }
        let taken = gain > LEAST_GAIN && self.accept(problem);
        if std::env::var("BOX").is_ok() {
            if !taken {
                let factor = if gain == f64::NEG_INFINITY { 0.25 } else { 0.5 };
                self.radius = factor * self.radius.min(forecast.length);
            } else if gain < 0.25 {
                self.radius = 0.5 * self.radius.min(forecast.length);
            } else if gain > 0.75 && forecast.confined {
                self.radius = (2.0 * self.radius).max(self.radius);
            }
        } else {
            let curvature = forecast.fall() / forecast.square;
            if gain == f64::NEG_INFINITY {
                self.radius = 0.25 * self.radius.min(forecast.length);
            } else if !taken {
                self.damping += self.growth * curvature;
                self.growth *= 2.0;
            } else {
                self.growth = 1.0;
                let g = 2.0 * gain - 1.0;
                self.damping *= (1.0 - g * g * g)
                    .max(if gain > 0.9 { 0.1 } else { 0.3 })
                    .min(2.0);
                if gain < 0.25 {
                    self.damping += 0.5 * curvature;
                }
                if self.damping < 1e-4 * curvature {
                    self.damping = 0.0;
                }
                self.radius = (2.0 * self.radius)
                    .min(std::env::var("RMAX").map_or(1.0, |r| r.parse().unwrap()));
            }
        }
        taken
    }

    /// Evaluates the trial point; returns the part of the forecast that came true, minus
    /// infinity where there is no value.
    fn try_trial<P: Problem>(&mut self, problem: &mut P, forecast: &Forecast) -> f64 {
        self.evaluations += 1;
        if self.there.fill(problem, &self.trial).is_err() {
            return f64::NEG_INFINITY;
        }
        let before = self.penalised(&self.here);
        let noise = self.noise(forecast);
        let fall = before - self.penalised(&self.there);
        (fall + noise) / (forecast.fall() + noise)
    }

    /// Asks which model foretold the Lagrangian at the trial point better, with the learnt
    /// part or without, and uses that one for the next step (Dennis, Gay and Welsch 1981).
    fn compare_models(&mut self) {
        let n = self.x.len();
        self.scratch.clear();
        let ends = self.trial.iter().zip(&self.x);
        self.scratch.extend(ends.map(|(there, here)| there - here));
        let step = &self.scratch;
        let mut actual = self.there.total(&self.weights) - self.here.total(&self.weights);
        let mut linear = dot(&self.gradient, step);
        for (i, multiplier) in self.row_multipliers.iter().enumerate() {
            if *multiplier != 0.0 {
                actual += multiplier * (self.there.rows[i] - self.here.rows[i]);
                linear += multiplier * dot(&self.derivatives.rows[i * n..i * n + n], step);
            }
        }
        self.product.resize(n, 0.0);
        multiply_symmetric(&self.known, n, step, &mut self.product);
        let without = linear + 0.5 * dot(step, &self.product);
        let with = without + 0.5 * self.learnt.along(step);
        let (error_with, error_without) = ((actual - with).abs(), (actual - without).abs());
        self.trust_learnt = if self.trust_learnt {
            error_with <= 1.5 * error_without
        } else {
            1.5 * error_with < error_without
        };
    }

    /// Second-order correction: a step made with the values at the trial point and the
    /// slopes here, for rows (Fletcher 1982) and residuals alike (there it is what Transtrum
    /// and Sethna 2012 call geodesic acceleration: it follows a curved valley).
    fn correct<P: Problem>(&mut self, problem: &mut P, forecast: &Forecast, gain: f64) -> f64 {
        let owed = self.penalised(&self.there) - self.there.total(&self.weights);
        let useful = !self.weights.is_empty() || owed > 0.1 * forecast.fall();
        if !useful || self.solve_corrected().is_none() {
            return gain;
        }
        self.plain_trial.clone_from(&self.trial);
        std::mem::swap(&mut self.plain_there, &mut self.there);
        self.place_trial();
        let corrected = self.try_trial(problem, forecast);
        if corrected > gain {
            return corrected;
        }
        std::mem::swap(&mut self.trial, &mut self.plain_trial);
        std::mem::swap(&mut self.plain_there, &mut self.there);
        gain
    }

    /// Moves to the trial point and learns from the step; `false` if it has no derivatives.
    fn accept<P: Problem>(&mut self, problem: &mut P) -> bool {
        self.differentiations += 1;
        if self.ahead.fill(problem, &self.trial).is_err() {
            return false;
        }
        std::mem::swap(&mut self.x, &mut self.trial);
        std::mem::swap(&mut self.here, &mut self.there);
        std::mem::swap(&mut self.derivatives, &mut self.ahead);
        self.iterations += 1;
        self.keep_best();
        self.assemble();
        self.learn();
        self.lower_prices();
        true
    }

    /// Feeds the change of the Lagrangian's gradient to the learnt curvature.
    fn learn(&mut self) {
        let n = self.x.len();
        let change = &mut self.gradient_change;
        change.clear();
        let objectives = self.derivatives.objective.iter().zip(&self.ahead.objective);
        change.extend(objectives.map(|(now, before)| now - before));
        for (k, weight) in self.weights.iter().enumerate() {
            let factor = 2.0 * weight * self.here.residuals[k];
            let span = k * n..k * n + n;
            add_scaled(change, factor, &self.derivatives.residuals[span.clone()]);
            add_scaled(change, -factor, &self.ahead.residuals[span]);
        }
        for (i, multiplier) in self.row_multipliers.iter().enumerate() {
            if *multiplier != 0.0 {
                let span = i * n..i * n + n;
                add_scaled(change, *multiplier, &self.derivatives.rows[span.clone()]);
                add_scaled(change, -multiplier, &self.ahead.rows[span]);
            }
        }
        self.scratch.clear();
        let ends = self.x.iter().zip(&self.trial);
        self.scratch.extend(ends.map(|(now, before)| now - before));
        let (step, change) = (&self.scratch, &self.gradient_change);
        self.learnt.learn(&self.known, n, step, change, &self.units);
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

#[cfg(test)]
mod tests;
