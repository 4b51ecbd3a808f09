//! Strictly convex quadratic programmes by a dual active-set method.
//!
//! Minimise `1/2 x'Hx + g'x + sum_i p_i dist(a_i'x, [l_i, u_i])` over a box of `x`.
//! A row with infinite penalty `p_i` must hold; one with a finite penalty may be
//! violated at that price per unit (an exact l1 penalty). Bounds must hold.
//!
//! Method: Goldfarb and Idnani, *A numerically stable dual method for solving strictly
//! convex quadratic programs*, Mathematical Programming 27 (1983). It starts at the
//! minimum without constraints and takes them in one by one, keeping `J = L^-T Q` and
//! the triangle `R` of the active normals. Two extensions, both natural in the dual,
//! where a constraint is a multiplier with an interval:
//!
//! - a two-sided row has one multiplier, positive at its upper end, negative at its lower;
//! - a penalty `p` confines the multiplier to `[-p, p]`. One that reaches the end stays
//!   there and its row is violated. So a programme whose rows contradict each other has
//!   a solution like any other, with no elastic variables.
//!
//! A programme like the last one may start from that one's active set: with those
//! constraints at their ends, the ones whose multiplier leaves its interval are let go until
//! none does. That is the solution of a programme with fewer constraints, which is all that
//! the dual method asks of a start.
//!
//! Every step raises the dual objective, so the method ends; rounding is met by a
//! tolerance and by a limit on the steps.

use super::linear::{add_scaled, dot};
use entering::Entering;
use factors::Factors;
use restart::Restart;

mod entering;
mod factors;
mod restart;

/// The data of a quadratic programme with `n` variables and `m` rows.
#[derive(Clone, Copy, Debug)]
pub struct QuadraticProgram<'a> {
    /// `H`, n by n, row-major, symmetric positive definite; the lower triangle is read.
    pub hessian: &'a [f64],
    /// `g`, length n.
    pub gradient: &'a [f64],
    /// Lower bounds of the variables, length n.
    pub lower: &'a [f64],
    /// Upper bounds of the variables, length n.
    pub upper: &'a [f64],
    /// The rows by columns: entry j of `a_i` at `j m + i`.
    pub columns: &'a [f64],
    /// `l_i`, length m.
    pub row_lower: &'a [f64],
    /// `u_i`, length m.
    pub row_upper: &'a [f64],
    /// `p_i >= 0`, length m; infinite for a row that must hold.
    pub penalties: &'a [f64],
}

/// How the solution of a quadratic programme ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum QuadraticStop {
    /// The solution is exact up to rounding.
    Solved,
    /// The constraints that must hold contradict each other.
    Infeasible,
    /// `H` is not safely positive definite, or the data are not finite.
    NotConvex,
    /// Rounding kept the active set from settling; the last point is returned.
    Budget,
}

/// Where a constraint stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Standing {
    /// Multiplier zero.
    Free,
    /// In the active set, at its lower or upper end.
    Active,
    /// Violated below, multiplier `-p`.
    PaidBelow,
    /// Violated above, multiplier `p`.
    PaidAbove,
}

/// What the last programme leaves for the next.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Reuse {
    /// Nothing: the answer depends on the programme alone.
    Nothing,
    /// The active set, to start from; sizes must be the same.
    ActiveSet,
    /// Hessian and rows as well, which must be the same.
    Factors,
}

/// Solver with its memory, to be used for many programmes.
#[derive(Clone, Debug, Default)]
pub struct QuadraticSolver {
    n: usize,
    /// Solution.
    x: Vec<f64>,
    /// Multipliers of rows, then variables.
    multipliers: Vec<f64>,
    standing: Vec<Standing>,
    factors: Factors,
    /// The factors are those of the active set.
    factored: bool,
    active: Vec<usize>,
    intervals: Vec<(f64, f64)>,
    /// Rows and bounds that are paid for.
    paid: Vec<usize>,
    /// One over the length of each free row's normal, zero for the others.
    gates: Vec<f64>,
    norms: Vec<f64>,
    /// Values of the rows at `x` when all were last looked at.
    values: Vec<f64>,
    normal: Vec<f64>,
    targets: Vec<f64>,
    slopes: Vec<f64>,
    steps: usize,
}

impl QuadraticSolver {
    /// Solves `program`; the solution is then in [`Self::solution`].
    pub fn solve(&mut self, program: &QuadraticProgram<'_>) -> QuadraticStop {
        self.resume(program, Reuse::Nothing)
    }

    /// Solves `program` with what the last one left.
    pub fn resume(&mut self, program: &QuadraticProgram<'_>, reuse: Reuse) -> QuadraticStop {
        let rows = program.row_lower.len();
        let same_size = program.gradient.len() == self.n && self.standing.len() == rows + self.n;
        self.steps = 0;
        let restart = if reuse == Reuse::Nothing || !same_size {
            Restart::Useless
        } else {
            self.restart(program, reuse == Reuse::Factors && self.factored)
        };
        let begun = match restart {
            Restart::Begun => true,
            Restart::NotConvex => false,
            Restart::Useless => self.prepare(program),
        };
        if !begun {
            return QuadraticStop::NotConvex;
        }
        let limit = 50 + 20 * (self.n + rows);
        while let Some(entering) = self.most_violated(program) {
            match self.enter(program, entering, limit) {
                QuadraticStop::Solved => {}
                stop => {
                    self.forget();
                    return stop;
                }
            }
        }
        QuadraticStop::Solved
    }

    /// Forgets the last programme.
    pub fn forget(&mut self) {
        self.standing.clear();
    }

    /// The minimising `x` of the last programme.
    #[must_use]
    pub fn solution(&self) -> &[f64] {
        &self.x
    }

    /// Multipliers of the rows: `Hx + g + sum lambda_i a_i + mu = 0`, positive at an
    /// upper end, within `[-p_i, p_i]`.
    #[must_use]
    pub fn row_multipliers(&self) -> &[f64] {
        &self.multipliers[..self.multipliers.len() - self.n]
    }

    /// Multipliers `mu` of the bounds, with the same sign rule.
    #[must_use]
    pub fn bound_multipliers(&self) -> &[f64] {
        &self.multipliers[self.multipliers.len() - self.n..]
    }

    /// Steps the last programme took, a measure of its cost.
    #[must_use]
    pub fn steps(&self) -> usize {
        self.steps
    }

    /// Factors the Hessian and goes to the minimum without constraints.
    fn prepare(&mut self, program: &QuadraticProgram<'_>) -> bool {
        let n = program.gradient.len();
        let rows = program.row_lower.len();
        self.n = n;
        self.active.clear();
        self.paid.clear();
        self.intervals.clear();
        self.targets.clear();
        self.multipliers.clear();
        self.multipliers.resize(rows + n, 0.0);
        self.standing.clear();
        self.standing.resize(rows + n, Standing::Free);
        self.x.clear();
        self.x.resize(n, 0.0);
        self.measure(program);
        self.factored = self.factors.begin(program.hessian, n);
        if !self.factored {
            return false;
        }
        self.factors.settle(program.gradient, &[], &mut self.x);
        self.x.iter().all(|value| value.is_finite())
    }

    /// Lengths of the rows' normals.
    fn measure(&mut self, program: &QuadraticProgram<'_>) {
        let rows = program.row_lower.len();
        self.norms.clear();
        self.norms.resize(rows, 0.0);
        for column in program.columns.chunks_exact(rows.max(1)) {
            for (norm, entry) in self.norms.iter_mut().zip(column) {
                *norm += entry * entry;
            }
        }
        self.gates.clear();
        for (norm, standing) in self.norms.iter_mut().zip(&self.standing) {
            *norm = norm.sqrt();
            let free = *norm > 0.0 && *standing == Standing::Free;
            self.gates.push(if free { 1.0 / *norm } else { 0.0 });
        }
    }

    /// Moves the multiplier of `entering` until its constraint holds or it gives up.
    fn enter(
        &mut self,
        program: &QuadraticProgram<'_>,
        entering: Entering,
        limit: usize,
    ) -> QuadraticStop {
        let Entering {
            index, sign, end, ..
        } = entering;
        if self.standing[index] != Standing::Free {
            self.stand(index, Standing::Free);
        }
        self.read_normal(program, index);
        loop {
            self.steps += 1;
            if self.steps > limit {
                return QuadraticStop::Budget;
            }
            let curvature = self.project(program, index);
            let excess = (self.value(program, index) - entering.target).abs();
            let full = if curvature > 0.0 {
                excess / curvature
            } else {
                f64::INFINITY
            };
            let own = (end - self.multipliers[index]).abs();
            let (block, blocker, block_end) = self.first_blocked(sign);
            let step = full.min(own).min(block);
            // Written so that a NaN ends the loop too.
            let bounded = step < f64::INFINITY;
            if !bounded {
                return QuadraticStop::Infeasible;
            }
            if curvature > 0.0 {
                add_scaled(&mut self.x, -sign * step, &self.factors.direction);
            }
            for (position, constraint) in self.active.iter().enumerate() {
                self.multipliers[*constraint] -= sign * step * self.factors.dual[position];
            }
            if full <= own && full <= block {
                self.multipliers[index] += sign * step;
                self.take(entering);
                return QuadraticStop::Solved;
            }
            if own <= block {
                self.multipliers[index] = end;
                self.stand(index, paid(end));
                return QuadraticStop::Solved;
            }
            self.multipliers[index] += sign * step;
            self.release(blocker, block_end);
        }
    }

    /// Notes where a constraint stands.
    fn stand(&mut self, index: usize, standing: Standing) {
        self.standing[index] = standing;
        self.paid.retain(|other| *other != index);
        if matches!(standing, Standing::PaidAbove | Standing::PaidBelow) {
            self.paid.push(index);
        }
        if let Some(gate) = self.gates.get_mut(index) {
            let norm = self.norms[index];
            let free = norm > 0.0 && standing == Standing::Free;
            *gate = if free { 1.0 / norm } else { 0.0 };
        }
    }

    /// Copies the normal of row `index`; that of a bound needs none.
    fn read_normal(&mut self, program: &QuadraticProgram<'_>, index: usize) {
        let rows = program.row_lower.len();
        if index < rows {
            let columns = program.columns.chunks_exact(rows);
            self.normal.clear();
            self.normal.extend(columns.map(|column| column[index]));
        }
    }

    /// Value of constraint `index`, whose normal was read, at the current point.
    fn value(&self, program: &QuadraticProgram<'_>, index: usize) -> f64 {
        let rows = program.row_lower.len();
        if index < rows {
            dot(&self.normal, &self.x)
        } else {
            self.x[index - rows]
        }
    }

    /// Directions for constraint `index`, whose normal was read; returns the curvature.
    fn project(&mut self, program: &QuadraticProgram<'_>, index: usize) -> f64 {
        let rows = program.row_lower.len();
        if index < rows {
            self.factors.project(&self.normal)
        } else {
            self.factors.project_variable(index - rows)
        }
    }

    /// How far the multiplier may move until one of an active constraint meets the end
    /// of its interval; that constraint's position and the end.
    fn first_blocked(&self, sign: f64) -> (f64, usize, f64) {
        let mut first = (f64::INFINITY, 0, 0.0);
        for (position, constraint) in self.active.iter().enumerate() {
            let rate = -sign * self.factors.dual[position];
            let (low, high) = self.intervals[position];
            let end = if rate > 0.0 { high } else { low };
            // A multiplier without an end blocks nothing, whatever rounding makes of its rate.
            if rate == 0.0 || end.is_infinite() {
                continue;
            }
            let distance = ((end - self.multipliers[*constraint]) / rate).max(0.0);
            if distance < first.0 {
                first = (distance, position, end);
            }
        }
        first
    }

    /// Takes the constraint just projected into the active set.
    fn take(&mut self, entering: Entering) {
        self.factors.add();
        self.active.push(entering.index);
        self.intervals.push(entering.interval);
        self.targets.push(entering.target);
        self.stand(entering.index, Standing::Active);
    }

    /// Takes the constraint at `position` out of the active set, its multiplier at `end`.
    fn release(&mut self, position: usize, end: f64) {
        let dropped = self.active.remove(position);
        self.intervals.remove(position);
        self.targets.remove(position);
        self.factors.remove(position);
        self.multipliers[dropped] = end;
        self.stand(dropped, paid(end));
    }
}

/// Standing of a constraint whose multiplier rests at an end of its interval.
fn paid(multiplier: f64) -> Standing {
    if multiplier > 0.0 {
        Standing::PaidAbove
    } else if multiplier < 0.0 {
        Standing::PaidBelow
    } else {
        Standing::Free
    }
}

#[cfg(test)]
mod tests;
