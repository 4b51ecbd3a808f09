//! One step: the programme, the trial, its correction, and what is learnt from it.

use super::super::linear::{add_scaled, dot, multiply_symmetric};
use super::super::problem::Problem;
use super::super::subproblem::{Forecast, Place};
use super::{Minimiser, ROUNDING};

/// A step that brings less than this part of the forecast is corrected.
const CORRECTION_GAIN: f64 = 0.25;
/// A step is taken if it brings more than this part of the forecast.
const LEAST_GAIN: f64 = 1e-4;
/// What is left of a step to where there is no value.
const SHORTEN: f64 = 0.25;
/// Largest half-width of the trust region, in units of the variables.
const MOST_RADIUS: f64 = 1.0;

impl Minimiser {
    /// What the quadratic programme at the current point is built from.
    fn place(&self) -> Place<'_> {
        Place {
            x: &self.x,
            bounds: &self.bounds,
            units: &self.units,
            curved: self.curved,
            radius: self.radius,
            damping: self.damping,
            gradient: &self.gradient,
            rows: &self.rows,
            values: &self.here.rows,
            prices: &self.prices,
        }
    }

    /// The quadratic programme at the current point.
    pub(super) fn solve_programme(&mut self) -> Option<Forecast> {
        let mut subproblem = std::mem::take(&mut self.subproblem);
        let forecast = subproblem.solve(&self.place());
        self.subproblem = subproblem;
        forecast
    }

    /// The forecast of the solution at hand with the prices as they are now.
    pub(super) fn read_programme(&mut self) -> Forecast {
        let mut subproblem = std::mem::take(&mut self.subproblem);
        let forecast = subproblem.read(&self.place());
        self.subproblem = subproblem;
        forecast
    }

    /// The same with rows and residuals that are linear with the slopes here, but through
    /// their values at the trial point.
    pub(super) fn solve_corrected(&mut self) -> Option<Forecast> {
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
        let mut subproblem = std::mem::take(&mut self.subproblem);
        let forecast = subproblem.solve(&Place {
            gradient: &self.corrected_gradient,
            values: &self.corrected_values,
            ..self.place()
        });
        self.subproblem = subproblem;
        forecast
    }

    /// What rounding may hide in the penalty function.
    pub(super) fn noise(&self, forecast: &Forecast) -> f64 {
        ROUNDING * self.here.total(&self.weights).abs() + 4.0 * forecast.noise
    }

    pub(super) fn place_trial(&mut self) {
        for j in 0..self.x.len() {
            self.trial[j] = self.bounds[j].clamp(self.x[j] + self.subproblem.step[j]);
        }
    }

    pub(super) fn keep_multipliers(&mut self) {
        let subproblem = &self.subproblem;
        self.row_multipliers.clone_from(&subproblem.row_multipliers);
        self.bound_multipliers
            .clone_from(&subproblem.bound_multipliers);
    }

    /// Tries the step of the last quadratic programme; moves there if it is good and sets
    /// damping and trust region for the next.
    pub(super) fn attempt<P: Problem>(&mut self, problem: &mut P, forecast: &Forecast) -> bool {
        self.place_trial();
        self.keep_multipliers();
        let plain = self.try_trial(problem, forecast);
        let evaluable = plain > f64::NEG_INFINITY;
        if !evaluable && self.radius.is_finite() {
            self.radius = SHORTEN * self.radius.min(forecast.length);
            return false;
        }
        if self.structured && evaluable {
            self.compare_models();
        }
        let gain = if evaluable && plain < CORRECTION_GAIN {
            self.correct(problem, forecast, plain)
        } else {
            plain
        };
        let curvature = forecast.fall() / forecast.square;
        let taken = gain > LEAST_GAIN && self.accept(problem);
        if taken {
            self.growth = 1.0;
            if self.radius < MOST_RADIUS {
                self.radius = (2.0 * self.radius).min(MOST_RADIUS);
            }
            self.damping = eased(self.damping, curvature, plain, gain);
        } else {
            // What the model had along the step is doubled, then more.
            self.damping += self.growth * curvature;
            self.growth *= 2.0;
        }
        taken
    }

    /// Evaluates the trial point; returns the part of the forecast that came true, minus
    /// infinity where there is no value.
    pub(super) fn try_trial<P: Problem>(&mut self, problem: &mut P, forecast: &Forecast) -> f64 {
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
    pub(super) fn compare_models(&mut self) {
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
    pub(super) fn correct<P: Problem>(
        &mut self,
        problem: &mut P,
        forecast: &Forecast,
        gain: f64,
    ) -> f64 {
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
    pub(super) fn accept<P: Problem>(&mut self, problem: &mut P) -> bool {
        self.differentiations += 1;
        if self.ahead.fill(problem, &self.trial).is_err() {
            return false;
        }
        std::mem::swap(&mut self.x, &mut self.trial);
        std::mem::swap(&mut self.here, &mut self.there);
        std::mem::swap(&mut self.derivatives, &mut self.ahead);
        self.iterations += 1;
        self.keep_best();
        self.note_progress();
        self.assemble();
        self.learn();
        self.lower_prices();
        true
    }

    /// Feeds the change of the Lagrangian's gradient to the learnt curvature.
    pub(super) fn learn(&mut self) {
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
}

/// The damping after a step that was taken, where `curvature` is what the model had along it,
/// `plain` and `gain` what came true of the forecast before and after a correction.
///
/// Eased slowly after a correction: the valley is curved, and a longer step would fail.
fn eased(damping: f64, curvature: f64, plain: f64, gain: f64) -> f64 {
    let next = if gain < 0.25 {
        damping + 0.5 * curvature
    } else if plain < CORRECTION_GAIN {
        damping
            * if gain > 0.75 {
                0.6
            } else if gain < 0.5 {
                1.5
            } else {
                1.0
            }
    } else if gain > 0.9 {
        0.1 * damping
    } else if gain > 0.75 {
        0.3 * damping
    } else if gain > 0.5 {
        0.6 * damping
    } else {
        damping
    };
    // Too little to matter: let the Newton steps be exact.
    if next < 1e-4 * curvature { 0.0 } else { next }
}
