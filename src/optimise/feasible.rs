//! Stage 1: a point where every row holds, by damped least squares.
//!
//! Minimises the sum of squares of the rows' shortfalls from a *shrunken* band, so that
//! the way to the minimum leads through the true bands with room to spare, and stops at
//! the first point where every true row holds. Levenberg-Marquardt (Marquardt 1963) with
//! the damping rule of Nielsen (*Damping parameter in Marquardt's method*, IMM-REP-1999-05,
//! 1999); the box of the variables enters every step as constraints of its quadratic
//! programme, not by clipping: a step that is clipped afterwards points the wrong way as
//! soon as one variable rests on a bound.

use super::linear::{add_outer, add_scaled, multiply_symmetric};
use super::problem::{
    Derivatives, Evaluation, Interval, Outcome, Problem, Row, Stop, variable_units,
};
use super::qp::{QuadraticProgram, QuadraticSolver, QuadraticStop};

/// Settings of [`Feasible`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FeasibleSettings {
    /// Part of a band's half-width that is aimed at. Nearer 1 wastes less of a narrow
    /// feasible set, smaller arrives with fewer steps; 0.8 is known to be too small for
    /// contradictory targets. A one-sided row is aimed at `(1 - band) scale` inside.
    pub band: f64,
    /// A row holds if `violation <= row_tolerance`, in units of its scale; matters for
    /// equalities.
    pub row_tolerance: f64,
    /// Damping of the first step, as a part of the largest diagonal entry of `J'J`.
    /// Larger starts along the gradient, smaller with Gauss-Newton steps.
    pub damping: f64,
    /// Stalled if a step moves no variable by more than `step_tolerance` of its unit (the
    /// width of its box).
    pub step_tolerance: f64,
    /// Stalled if `cost_before <= (1 + progress) cost_now` over [`Self::patience`] steps.
    pub progress: f64,
    /// Accepted steps over which progress is judged.
    pub patience: usize,
    /// Most evaluations.
    pub budget: usize,
}

impl Default for FeasibleSettings {
    fn default() -> Self {
        Self {
            band: 0.93,
            row_tolerance: 1e-9,
            damping: 1e-3,
            step_tolerance: 1e-9,
            progress: 0.05,
            patience: 15,
            budget: 400,
        }
    }
}

/// Solver of stage 1 with its memory, to be used for many starts.
#[derive(Clone, Debug, Default)]
pub struct Feasible {
    settings: FeasibleSettings,
    bounds: Vec<Interval>,
    rows: Vec<Row>,
    aims: Vec<Row>,
    weights: Vec<f64>,
    units: Vec<f64>,
    x: Vec<f64>,
    here: Evaluation,
    derivatives: Derivatives,
    trial: Vec<f64>,
    there: Evaluation,
    /// `J'J` in units of the variables, undamped and damped.
    normal: Vec<f64>,
    damped: Vec<f64>,
    gradient: Vec<f64>,
    scratch: Vec<f64>,
    lower: Vec<f64>,
    upper: Vec<f64>,
    quadratic: QuadraticSolver,
    damping: f64,
    growth: f64,
    costs: Vec<f64>,
    best: Vec<f64>,
    best_objective: f64,
    best_violation: f64,
    evaluations: usize,
    differentiations: usize,
    stop: Option<Stop>,
}

impl Feasible {
    /// A solver with these settings.
    #[must_use]
    pub fn new(settings: FeasibleSettings) -> Self {
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
        let n = problem.bounds().len();
        self.bounds.clear();
        self.bounds.extend_from_slice(problem.bounds());
        self.rows.clear();
        self.rows.extend_from_slice(problem.rows());
        self.weights.clear();
        self.weights.extend_from_slice(problem.residual_weights());
        let band = self.settings.band;
        self.aims.clear();
        self.aims.extend(self.rows.iter().map(|row| aim(row, band)));
        self.x.clear();
        let inside = self.bounds.iter().zip(start).map(|(b, x)| b.clamp(*x));
        self.x.extend(inside);
        variable_units(&self.bounds, &self.x, &mut self.units);
        self.here.resize(problem);
        self.there.resize(problem);
        self.derivatives.resize(problem);
        for vector in [
            &mut self.trial,
            &mut self.gradient,
            &mut self.scratch,
            &mut self.lower,
            &mut self.upper,
        ] {
            vector.clear();
            vector.resize(n, 0.0);
        }
        self.normal.clear();
        self.normal.resize(n * n, 0.0);
        self.costs.clear();
        self.growth = 2.0;
        self.stop = None;
        self.evaluations = 1;
        self.differentiations = 0;
        self.best.clone_from(&self.x);
        self.best_objective = f64::INFINITY;
        self.best_violation = f64::INFINITY;
        if self.here.fill(problem, &self.x).is_err() {
            self.stop = Some(Stop::NotEvaluable);
            return;
        }
        self.costs.push(self.cost(&self.here));
        self.keep_best();
        if self.stop.is_none() && !self.linearise(problem) {
            self.stop = Some(Stop::NotEvaluable);
            return;
        }
        let largest = (0..n).fold(0.0_f64, |most, j| most.max(self.normal[j * n + j]));
        self.damping = self.settings.damping * largest;
    }

    /// Takes one accepted step, or finds out why there is none.
    pub fn advance<P: Problem>(&mut self, problem: &mut P) {
        while self.stop.is_none() {
            if self.evaluations >= self.settings.budget {
                self.stop = Some(Stop::Budget);
                return;
            }
            let Some(predicted) = self.step() else {
                self.stop = Some(Stop::Stalled);
                return;
            };
            self.evaluations += 1;
            let cost = self.costs.last().copied().unwrap_or(f64::INFINITY);
            let gain = match self.there.fill(problem, &self.trial) {
                Ok(()) => (cost - self.cost(&self.there)) / predicted,
                Err(_) => f64::NEG_INFINITY,
            };
            if gain > 1e-4 && self.accept(problem) {
                let shrink = 1.0 - (2.0 * gain - 1.0) * (2.0 * gain - 1.0) * (2.0 * gain - 1.0);
                self.damping *= shrink.max(1.0 / 3.0);
                self.growth = 2.0;
                return;
            }
            self.damping *= self.growth;
            self.growth *= 2.0;
        }
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

    /// Half the sum of squared shortfalls there, what every step lowers.
    #[must_use]
    pub fn merit(&self) -> f64 {
        self.costs.last().copied().unwrap_or(f64::INFINITY)
    }

    /// The best point so far, and the counts.
    #[must_use]
    pub fn outcome(&self) -> Outcome {
        Outcome {
            stop: self.stop.unwrap_or(Stop::Budget),
            x: self.best.clone(),
            objective: self.best_objective,
            violation: self.best_violation,
            row_multipliers: vec![0.0; self.rows.len()],
            bound_multipliers: vec![0.0; self.x.len()],
            evaluations: self.evaluations,
            differentiations: self.differentiations,
            iterations: self.costs.len().saturating_sub(1),
        }
    }

    /// Half the sum of squares of what is missing to the shrunken bands.
    fn cost(&self, values: &Evaluation) -> f64 {
        let mut sum = 0.0;
        for (value, aim) in values.rows.iter().zip(&self.aims) {
            let shortfall = aim.violation(*value);
            sum += shortfall * shortfall;
        }
        0.5 * sum
    }

    /// Remembers the current point if its worst violation is the least so far.
    fn keep_best(&mut self) {
        let violation = self.here.worst_violation(&self.rows);
        if violation < self.best_violation {
            self.best_violation = violation;
            self.best_objective = self.here.total(&self.weights);
            self.best.clone_from(&self.x);
        }
        if violation <= self.settings.row_tolerance {
            self.stop = Some(Stop::Feasible);
        }
    }

    /// Normal equations of the shortfalls at the current point, in units of the variables.
    fn linearise<P: Problem>(&mut self, problem: &mut P) -> bool {
        self.differentiations += 1;
        if self.derivatives.fill(problem, &self.x).is_err() {
            return false;
        }
        let n = self.x.len();
        self.normal.fill(0.0);
        self.gradient.fill(0.0);
        for (i, aim) in self.aims.iter().enumerate() {
            let shortfall = aim.band.excess(self.here.rows[i]) / aim.scale;
            if shortfall == 0.0 {
                continue;
            }
            let slopes = &self.derivatives.rows[i * n..i * n + n];
            for (j, entry) in self.scratch.iter_mut().enumerate() {
                *entry = slopes[j] * self.units[j] / aim.scale;
            }
            add_scaled(&mut self.gradient, shortfall, &self.scratch);
            add_outer(&mut self.normal, n, 1.0, &self.scratch);
        }
        true
    }

    /// The damped step into `trial`; returns the predicted fall of the cost, `None` if the
    /// step is too short to be one.
    fn step(&mut self) -> Option<f64> {
        let n = self.x.len();
        self.damped.clone_from(&self.normal);
        for j in 0..n {
            self.damped[j * n + j] += self.damping;
            self.lower[j] = (self.bounds[j].lower - self.x[j]) / self.units[j];
            self.upper[j] = (self.bounds[j].upper - self.x[j]) / self.units[j];
        }
        let program = QuadraticProgram {
            hessian: &self.damped,
            gradient: &self.gradient,
            lower: &self.lower,
            upper: &self.upper,
            columns: &[],
            row_lower: &[],
            row_upper: &[],
            penalties: &[],
        };
        if self.quadratic.solve(&program) != QuadraticStop::Solved {
            return None;
        }
        let step = self.quadratic.solution();
        let length = step.iter().fold(0.0_f64, |most, d| most.max(d.abs()));
        for j in 0..n {
            self.trial[j] = self.bounds[j].clamp(self.x[j] + step[j] * self.units[j]);
        }
        multiply_symmetric(&self.normal, n, step, &mut self.scratch);
        let mut predicted = 0.0;
        for j in 0..n {
            predicted -= step[j] * (self.gradient[j] + 0.5 * self.scratch[j]);
        }
        (length > self.settings.step_tolerance && predicted > 0.0).then_some(predicted)
    }

    /// Moves to the trial point; `false` if it has no derivatives.
    fn accept<P: Problem>(&mut self, problem: &mut P) -> bool {
        std::mem::swap(&mut self.x, &mut self.trial);
        std::mem::swap(&mut self.here, &mut self.there);
        self.keep_best();
        if self.stop.is_none() && !self.linearise(problem) {
            std::mem::swap(&mut self.x, &mut self.trial);
            std::mem::swap(&mut self.here, &mut self.there);
            // The derivatives of the old point are gone with the attempt, but its normal
            // equations are what the steps are made from and those are intact.
            return false;
        }
        self.costs.push(self.cost(&self.here));
        let FeasibleSettings {
            patience, progress, ..
        } = self.settings;
        if self.stop.is_none() && self.costs.len() > patience {
            let before = self.costs[self.costs.len() - 1 - patience];
            if before <= (1.0 + progress) * self.merit() {
                self.stop = Some(Stop::Stalled);
            }
        }
        true
    }
}

/// The row that is aimed at: the band shrunk by the factor `band`, measured in units of
/// the row.
fn aim(row: &Row, band: f64) -> Row {
    let Interval { lower, upper } = row.band;
    let margin = if lower.is_finite() && upper.is_finite() {
        (1.0 - band) * 0.5 * (upper - lower)
    } else {
        (1.0 - band) * row.scale
    };
    Row {
        band: Interval::new(lower + margin, upper - margin),
        scale: row.scale,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::optimise::NotEvaluable;

    /// `x + 2 y` near 1 and `x + 2.02 y` near 0.99 in the box [0, 3] x [0, 1]: both centres
    /// meet at (2, -0.5), outside; within the box x = 0.995 on the edge y = 0 will do.
    struct Edge {
        bounds: [Interval; 2],
        rows: [Row; 2],
    }

    const SLOPES: [[f64; 2]; 2] = [[1.0, 2.0], [1.0, 2.02]];

    fn edge() -> Edge {
        Edge {
            bounds: [Interval::new(0.0, 3.0), Interval::new(0.0, 1.0)],
            rows: [Row::between(0.99, 1.01), Row::between(0.98, 1.0)],
        }
    }

    impl Problem for Edge {
        fn bounds(&self) -> &[Interval] {
            &self.bounds
        }
        fn rows(&self) -> &[Row] {
            &self.rows
        }
        fn evaluate(&mut self, x: &[f64], out: &mut Evaluation) -> Result<(), NotEvaluable> {
            for (value, slopes) in out.rows.iter_mut().zip(SLOPES) {
                *value = slopes[0] * x[0] + slopes[1] * x[1];
            }
            Ok(())
        }
        fn differentiate(&mut self, _: &[f64], out: &mut Derivatives) -> Result<(), NotEvaluable> {
            out.rows.copy_from_slice(SLOPES.as_flattened());
            Ok(())
        }
    }

    /// Damped least squares on the band centres whose steps are clipped to the box; how
    /// many it takes until both rows hold.
    fn clipped(start: [f64; 2]) -> usize {
        let problem = edge();
        let value = |x: [f64; 2], i: usize| SLOPES[i][0] * x[0] + SLOPES[i][1] * x[1];
        let miss = |x: [f64; 2]| [value(x, 0) - 1.0, value(x, 1) - 0.99];
        let cost = |x| miss(x)[0] * miss(x)[0] + miss(x)[1] * miss(x)[1];
        let (mut x, mut damping) = (start, 1e-9);
        for count in 0..1000 {
            let r = miss(x);
            let normal =
                |j: usize, k: usize| SLOPES[0][j] * SLOPES[0][k] + SLOPES[1][j] * SLOPES[1][k];
            let slope = |j: usize| SLOPES[0][j] * r[0] + SLOPES[1][j] * r[1];
            let (a, b, d) = (normal(0, 0) + damping, normal(0, 1), normal(1, 1) + damping);
            let determinant = a * d - b * b;
            let step = [
                (b * slope(1) - d * slope(0)) / determinant,
                (b * slope(0) - a * slope(1)) / determinant,
            ];
            let next = [0, 1].map(|j| problem.bounds[j].clamp(x[j] + step[j]));
            if cost(next) < cost(x) {
                x = next;
                damping *= 0.3;
            } else {
                damping *= 3.0;
            }
            if (0..2).all(|i| problem.rows[i].violation(value(x, i)) == 0.0) {
                return count;
            }
        }
        1000
    }

    #[test]
    fn a_feasible_point_on_a_bound_is_found_where_clipped_steps_crawl() {
        assert!(clipped([2.0, 0.0]) > 20, "{}", clipped([2.0, 0.0]));
        for start in [[2.0, 0.0], [0.2, 0.9], [3.0, 1.0]] {
            let mut solver = Feasible::new(FeasibleSettings::default());
            let outcome = solver.solve(&mut edge(), &start);
            assert_eq!(outcome.stop, Stop::Feasible, "{outcome:?}");
            assert_eq!(outcome.violation, 0.0);
            assert!(outcome.evaluations <= 4, "{outcome:?}");
        }
    }

    #[test]
    fn rows_that_cannot_hold_together_stall_at_the_best_point_seen() {
        let mut problem = edge();
        problem.rows[1] = Row::between(1.98, 2.0).scaled(1.0);
        problem.rows[0] = Row::between(0.99, 1.01).scaled(1.0);
        problem.bounds[1] = Interval::new(0.0, 0.0);
        let outcome = Feasible::new(FeasibleSettings::default()).solve(&mut problem, &[3.0, 0.0]);
        assert_eq!(outcome.stop, Stop::Stalled);
        // Half way between the bands, both rows miss by the same.
        assert!((outcome.x[0] - 1.495).abs() < 1e-3, "{outcome:?}");
        assert!((outcome.violation - 0.485).abs() < 1e-3);
    }

    #[test]
    fn a_start_without_a_value_says_so() {
        let outcome = Feasible::default().solve(&mut edge(), &[f64::NAN, 0.0]);
        assert_eq!(outcome.stop, Stop::NotEvaluable);
    }
}
