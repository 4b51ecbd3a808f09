//! What a problem offers to the solvers, and how a run ends.
//!
//! Minimise `f(x) + sum_k w_k r_k(x)^2` over the box `lower <= x <= upper`, subject to
//! rows `lower_i <= c_i(x) <= upper_i`. Either part of the objective may be absent, and
//! so may the rows.

/// A closed interval; either end may be infinite.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Interval {
    /// Smallest value allowed.
    pub lower: f64,
    /// Largest value allowed; not below `lower`.
    pub upper: f64,
}

impl Interval {
    /// No limit on either side.
    pub const FREE: Self = Self {
        lower: f64::NEG_INFINITY,
        upper: f64::INFINITY,
    };

    /// The interval from `lower` to `upper`.
    #[must_use]
    pub fn new(lower: f64, upper: f64) -> Self {
        Self { lower, upper }
    }

    /// Signed distance of `value` outside the interval: positive above, negative below,
    /// zero inside, `NaN` for `NaN`.
    #[must_use]
    #[inline]
    pub fn excess(self, value: f64) -> f64 {
        if value > self.upper {
            value - self.upper
        } else if value < self.lower {
            value - self.lower
        } else {
            // Zero inside, NaN stays NaN.
            value * 0.0
        }
    }

    /// The nearest point of the interval.
    #[must_use]
    pub fn clamp(self, value: f64) -> f64 {
        if value > self.upper {
            self.upper
        } else if value < self.lower {
            self.lower
        } else {
            value
        }
    }
}

/// One constraint `lower <= c(x) <= upper`, and how much of `c` matters.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Row {
    /// Where `c(x)` has to lie; a point for an equality, half infinite for one side.
    pub band: Interval,
    /// The amount of `c` that counts as one unit of violation, greater than zero: the
    /// half-width of a two-sided band unless said otherwise, else 1.
    pub scale: f64,
}

impl Row {
    /// `lower <= c(x) <= upper`.
    #[must_use]
    pub fn between(lower: f64, upper: f64) -> Self {
        let half_width = 0.5 * (upper - lower);
        let scale = if half_width.is_finite() && half_width > 0.0 {
            half_width
        } else {
            1.0
        };
        Self {
            band: Interval { lower, upper },
            scale,
        }
    }

    /// `c(x) >= lower`.
    #[must_use]
    pub fn at_least(lower: f64) -> Self {
        Self::between(lower, f64::INFINITY)
    }

    /// `c(x) <= upper`.
    #[must_use]
    pub fn at_most(upper: f64) -> Self {
        Self::between(f64::NEG_INFINITY, upper)
    }

    /// `c(x) = value`.
    #[must_use]
    pub fn equal(value: f64) -> Self {
        Self::between(value, value)
    }

    /// The same row with another unit of violation.
    #[must_use]
    pub fn scaled(self, scale: f64) -> Self {
        Self { scale, ..self }
    }

    /// Violation of the row at `value`, in units of its scale: zero where it holds.
    #[must_use]
    #[inline]
    pub fn violation(&self, value: f64) -> f64 {
        self.band.excess(value).abs() / self.scale
    }
}

/// The problem has no value at a point: a linkage that does not assemble, a square root
/// of a negative number. The solvers then shorten their step.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct NotEvaluable;

/// Values at one point; the solver owns the memory, the problem fills it.
#[derive(Clone, Debug, Default)]
pub struct Evaluation {
    /// The scalar part `f(x)` of the objective; leave it zero if there is none.
    pub objective: f64,
    /// The residuals `r_k(x)`, as many as [`Problem::residual_weights`].
    pub residuals: Vec<f64>,
    /// The constraint values `c_i(x)`, as many as [`Problem::rows`].
    pub rows: Vec<f64>,
}

/// Derivatives at one point; the solver owns the memory and zeroes it before every
/// call, the problem fills in what is not zero. Matrices are row-major, with as many
/// columns as there are variables.
#[derive(Clone, Debug, Default)]
pub struct Derivatives {
    /// Gradient of the scalar part of the objective.
    pub objective: Vec<f64>,
    /// Jacobian of the residuals.
    pub residuals: Vec<f64>,
    /// Jacobian of the rows.
    pub rows: Vec<f64>,
}

/// A constrained minimisation problem.
///
/// Two calls only, [`Problem::evaluate`] and [`Problem::differentiate`]; both take
/// `&mut self` so that an implementor keeps its own workspace and may remember the last
/// point. The descriptions (`bounds`, `rows`, ...) must not change during a run.
pub trait Problem {
    /// The box of every variable. Solvers never leave it.
    fn bounds(&self) -> &[Interval];

    /// The constraints.
    fn rows(&self) -> &[Row];

    /// Weights `w_k >= 0` of the squared residuals; empty if the objective has none.
    fn residual_weights(&self) -> &[f64] {
        &[]
    }

    /// How many of the leading variables are curved.
    ///
    /// The variables after them must appear linearly in the rows, not at all in the
    /// scalar objective, and in residuals that are linear and hold no curved variable
    /// (slack variables of a minimax target: `sum w t^2` with `|r_ij| <= t_i`). No
    /// quasi-Newton matrix and no trust region is kept for those.
    fn curved(&self) -> usize {
        self.bounds().len()
    }

    /// Fills `out` with the values at `x`, a point of the box.
    ///
    /// # Errors
    /// [`NotEvaluable`] where the problem has no value. A value that is not finite is
    /// taken as the same.
    fn evaluate(&mut self, x: &[f64], out: &mut Evaluation) -> Result<(), NotEvaluable>;

    /// Fills `out`, zeroed by the caller, with the derivatives at `x`, a point where
    /// [`Problem::evaluate`] succeeded (not always the last one).
    ///
    /// # Errors
    /// [`NotEvaluable`] where there is no derivative. One that is not finite is taken
    /// as the same.
    fn differentiate(&mut self, x: &[f64], out: &mut Derivatives) -> Result<(), NotEvaluable>;
}

impl<P: Problem + ?Sized> Problem for &mut P {
    fn bounds(&self) -> &[Interval] {
        (**self).bounds()
    }

    fn rows(&self) -> &[Row] {
        (**self).rows()
    }

    fn residual_weights(&self) -> &[f64] {
        (**self).residual_weights()
    }

    fn curved(&self) -> usize {
        (**self).curved()
    }

    fn evaluate(&mut self, x: &[f64], out: &mut Evaluation) -> Result<(), NotEvaluable> {
        (**self).evaluate(x, out)
    }

    fn differentiate(&mut self, x: &[f64], out: &mut Derivatives) -> Result<(), NotEvaluable> {
        (**self).differentiate(x, out)
    }
}

/// Why a run ended. Every one is an answer; none is an error.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stop {
    /// Every row holds; stage 1 stops at the first such point.
    Feasible,
    /// The optimality conditions hold to the tolerances.
    Converged,
    /// A stationary point of the violation where some row does not hold: no step lowers
    /// the violation to first order, though a far start may.
    Infeasible,
    /// No step of useful length makes progress.
    Stalled,
    /// The evaluations allowed are used up.
    Budget,
    /// The start itself could not be evaluated.
    NotEvaluable,
}

/// What a run found.
#[derive(Clone, Debug)]
pub struct Outcome {
    /// Why it ended.
    pub stop: Stop,
    /// The best point: of those where every row holds the one with the least objective,
    /// else the one with the least violation (the worst row in stage 1, the sum over rows,
    /// in units of their scales, in stage 2).
    pub x: Vec<f64>,
    /// The objective there, residual part included.
    pub objective: f64,
    /// The largest violation of a row there, in units of its scale.
    pub violation: f64,
    /// Multiplier of every row: `grad f + sum lambda_i grad c_i + mu = 0`, positive at the
    /// upper end of a band, negative at the lower. Zero from stage 1.
    pub row_multipliers: Vec<f64>,
    /// Multiplier `mu` of every variable's bounds, with the same sign rule.
    pub bound_multipliers: Vec<f64>,
    /// Calls of [`Problem::evaluate`], refused ones included.
    pub evaluations: usize,
    /// Calls of [`Problem::differentiate`].
    pub differentiations: usize,
    /// Accepted steps.
    pub iterations: usize,
}

impl Evaluation {
    /// Makes room for a problem.
    pub fn resize<P: Problem>(&mut self, problem: &P) {
        self.objective = 0.0;
        self.residuals.clear();
        self.residuals.resize(problem.residual_weights().len(), 0.0);
        self.rows.clear();
        self.rows.resize(problem.rows().len(), 0.0);
    }

    /// Evaluates, and refuses whatever is not finite.
    ///
    /// # Errors
    /// [`NotEvaluable`] if the problem says so or a value is not finite.
    pub fn fill<P: Problem>(&mut self, problem: &mut P, x: &[f64]) -> Result<(), NotEvaluable> {
        self.objective = 0.0;
        problem.evaluate(x, self)?;
        let finite = self.objective.is_finite() && all_finite(&self.residuals);
        if finite && all_finite(&self.rows) {
            Ok(())
        } else {
            Err(NotEvaluable)
        }
    }

    /// The whole objective, `f + sum w_k r_k^2`.
    #[must_use]
    pub fn total(&self, weights: &[f64]) -> f64 {
        let mut sum = self.objective;
        for (residual, weight) in self.residuals.iter().zip(weights) {
            sum += weight * residual * residual;
        }
        sum
    }

    /// The sum of violations in units of the rows' scales.
    #[must_use]
    pub fn total_violation(&self, rows: &[Row]) -> f64 {
        let mut sum = 0.0;
        for (value, row) in self.rows.iter().zip(rows) {
            sum += row.violation(*value);
        }
        sum
    }

    /// The largest violation in units of the rows' scales.
    #[must_use]
    pub fn worst_violation(&self, rows: &[Row]) -> f64 {
        let mut worst = 0.0;
        for (value, row) in self.rows.iter().zip(rows) {
            let violation = row.violation(*value);
            if violation > worst || violation.is_nan() {
                worst = violation;
            }
        }
        worst
    }
}

impl Derivatives {
    /// Makes room for a problem.
    pub fn resize<P: Problem>(&mut self, problem: &P) {
        let variables = problem.bounds().len();
        for (matrix, rows) in [
            (&mut self.objective, 1),
            (&mut self.residuals, problem.residual_weights().len()),
            (&mut self.rows, problem.rows().len()),
        ] {
            matrix.clear();
            matrix.resize(rows * variables, 0.0);
        }
    }

    /// Differentiates, and refuses whatever is not finite.
    ///
    /// # Errors
    /// [`NotEvaluable`] if the problem says so or a derivative is not finite.
    pub fn fill<P: Problem>(&mut self, problem: &mut P, x: &[f64]) -> Result<(), NotEvaluable> {
        self.objective.fill(0.0);
        self.residuals.fill(0.0);
        self.rows.fill(0.0);
        problem.differentiate(x, self)?;
        let finite = all_finite(&self.objective) && all_finite(&self.residuals);
        if finite && all_finite(&self.rows) {
            Ok(())
        } else {
            Err(NotEvaluable)
        }
    }
}

/// The length that counts as one unit of each variable: the width of its box, or the size
/// of its value (at least 1) where the box is infinite.
pub(super) fn variable_units(bounds: &[Interval], x: &[f64], out: &mut Vec<f64>) {
    out.clear();
    out.extend(bounds.iter().zip(x).map(|(bound, value)| {
        let width = bound.upper - bound.lower;
        if !width.is_finite() {
            value.abs().max(1.0)
        } else if width > 0.0 {
            width
        } else {
            // A fixed variable: any unit does.
            1.0
        }
    }));
}

/// Whether no value is infinite or `NaN`.
fn all_finite(values: &[f64]) -> bool {
    // No short cut: so that the comparisons of several values run side by side.
    values
        .iter()
        .fold(true, |finite, value| finite & value.is_finite())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn excess_is_signed_and_keeps_nan() {
        let band = Interval::new(-1.0, 2.0);
        assert_eq!(band.excess(3.5), 1.5);
        assert_eq!(band.excess(-3.0), -2.0);
        assert_eq!(band.excess(0.5), 0.0);
        assert!(band.excess(f64::NAN).is_nan());
        assert!(Row::between(0.0, 1.0).violation(f64::NAN).is_nan());
    }

    #[test]
    fn finite_check_sees_infinities_and_nan() {
        assert!(all_finite(&[1e300, -1e300, 0.0]));
        assert!(!all_finite(&[1.0, f64::INFINITY]));
        assert!(!all_finite(&[f64::NAN, 1.0]));
        assert!(all_finite(&[]));
    }
}
