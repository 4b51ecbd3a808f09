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
//! Every step raises the dual objective, so the method ends; rounding is met by a
//! tolerance and by a limit on the steps.

use super::linear::{add_scaled, dot, factorise, invert_lower};

/// The data of a quadratic programme with `n` variables and `m` rows; matrices are
/// row-major.
#[derive(Clone, Copy, Debug)]
pub struct QuadraticProgram<'a> {
    /// `H`, n by n, symmetric positive definite; the lower triangle is read.
    pub hessian: &'a [f64],
    /// `g`, length n.
    pub gradient: &'a [f64],
    /// Lower bounds of the variables, length n.
    pub lower: &'a [f64],
    /// Upper bounds of the variables, length n.
    pub upper: &'a [f64],
    /// `a_i`, m by n.
    pub rows: &'a [f64],
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

/// A constraint that is about to enter, and how far its multiplier may move.
#[derive(Clone, Copy, Debug)]
struct Entering {
    /// Rows come first, then the variables.
    index: usize,
    /// The value the constraint is driven to.
    target: f64,
    /// +1 if the multiplier grows.
    sign: f64,
    /// The multiplier at which the constraint gives up.
    end: f64,
    /// Interval of the multiplier once the constraint is active.
    interval: (f64, f64),
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
    /// Vector k of `J` at `k * n`.
    basis: Vec<f64>,
    /// Column k of `R` at `k * n`.
    triangle: Vec<f64>,
    factor: Vec<f64>,
    active: Vec<usize>,
    intervals: Vec<(f64, f64)>,
    /// `J' a` for the entering normal.
    projected: Vec<f64>,
    /// Primal direction.
    direction: Vec<f64>,
    /// Dual direction of the active constraints.
    dual: Vec<f64>,
    norms: Vec<f64>,
    /// Rows that wanted to move when all were last looked at.
    watched: Vec<usize>,
    steps: usize,
}

/// A pivot of the Cholesky factor must exceed this part of its diagonal entry.
const PIVOT_FLOOR: f64 = 1e-14;
/// A normal depends on the active ones if `|J2'a|^2 <= DEPENDENT |J'a|^2`.
const DEPENDENT: f64 = 1e-18;
/// A constraint is violated if `distance > VIOLATED (|x| + |end| / |a|) + LEAST_DISTANCE`
/// with `distance = |a'x - end| / |a|` and `|x|` the largest entry.
const VIOLATED: f64 = 1e-12;
/// See [`VIOLATED`].
const LEAST_DISTANCE: f64 = 1e-16;

impl QuadraticSolver {
    /// Solves `program`; the solution is then in [`Self::solution`].
    pub fn solve(&mut self, program: &QuadraticProgram<'_>) -> QuadraticStop {
        let rows = program.row_lower.len();
        if !self.prepare(program) {
            return QuadraticStop::NotConvex;
        }
        let limit = 50 + 20 * (self.n + rows);
        while let Some(entering) = self.most_violated(program) {
            match self.enter(program, entering, limit) {
                QuadraticStop::Solved => {}
                stop => return stop,
            }
        }
        QuadraticStop::Solved
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
        self.steps = 0;
        self.active.clear();
        self.watched.clear();
        self.intervals.clear();
        self.multipliers.clear();
        self.multipliers.resize(rows + n, 0.0);
        self.standing.clear();
        self.standing.resize(rows + n, Standing::Free);
        for vector in [
            &mut self.x,
            &mut self.projected,
            &mut self.direction,
            &mut self.dual,
        ] {
            vector.clear();
            vector.resize(n, 0.0);
        }
        self.basis.resize(n * n, 0.0);
        self.triangle.resize(n * n, 0.0);
        self.factor.clear();
        self.factor.extend_from_slice(program.hessian);
        self.norms.clear();
        if n > 0 {
            let normals = program.rows.chunks_exact(n);
            self.norms.extend(normals.map(|row| dot(row, row).sqrt()));
        }
        if !factorise(&mut self.factor, n, PIVOT_FLOOR) {
            return false;
        }
        invert_lower(&self.factor, n, &mut self.basis);
        // x = -J J' g.
        for k in 0..n {
            let vector = &self.basis[k * n..k * n + n];
            add_scaled(&mut self.x, -dot(vector, program.gradient), vector);
        }
        self.x.iter().all(|value| value.is_finite())
    }

    /// The constraint whose multiplier most wants to move, by distance in `x`.
    ///
    /// Rows are looked for among those that wanted to move when all were last looked at;
    /// only when none of them does are all looked at again.
    fn most_violated(&mut self, program: &QuadraticProgram<'_>) -> Option<Entering> {
        let size = largest(&self.x);
        let mut found = self.violated_bound(program);
        for index in &self.watched {
            self.compare_row(program, *index, size, &mut found);
        }
        if found.is_none() {
            self.watched.clear();
            for index in 0..program.row_lower.len() {
                let mut row = None;
                self.compare_row(program, index, size, &mut row);
                if let Some((distance, _)) = row {
                    self.watched.push(index);
                    if found.is_none_or(|(worst, _)| distance > worst) {
                        found = row;
                    }
                }
            }
        }
        found.map(|(_, entering)| entering)
    }

    /// Puts row `index` in the place of `found` if it is further from where it wants to be.
    fn compare_row(
        &self,
        program: &QuadraticProgram<'_>,
        index: usize,
        size: f64,
        found: &mut Option<(f64, Entering)>,
    ) {
        let n = self.n;
        let standing = self.standing[index];
        let norm = self.norms[index];
        if standing == Standing::Active || norm == 0.0 {
            return;
        }
        let value = dot(&program.rows[index * n..index * n + n], &self.x);
        let ends = (program.row_lower[index], program.row_upper[index]);
        if let Some(entering) = candidate(index, value, ends, program.penalties[index], standing) {
            let distance = (value - entering.target).abs() / norm;
            let blur = VIOLATED * (size + entering.target.abs() / norm) + LEAST_DISTANCE;
            if distance > blur && found.is_none_or(|(worst, _)| distance > worst) {
                *found = Some((distance, entering));
            }
        }
    }

    /// The most violated bound of a variable.
    fn violated_bound(&self, program: &QuadraticProgram<'_>) -> Option<(f64, Entering)> {
        let rows = program.row_lower.len();
        let mut found: Option<(f64, Entering)> = None;
        for j in 0..self.n {
            let value = self.x[j];
            let standing = self.standing[rows + j];
            if standing == Standing::Active {
                continue;
            }
            let ends = (program.lower[j], program.upper[j]);
            if let Some(entering) = candidate(rows + j, value, ends, f64::INFINITY, standing) {
                let distance = (value - entering.target).abs();
                let blur = VIOLATED * entering.target.abs();
                if distance > blur && found.is_none_or(|(worst, _)| distance > worst) {
                    found = Some((distance, entering));
                }
            }
        }
        found
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
                add_scaled(&mut self.x, -sign * step, &self.direction);
            }
            for (position, constraint) in self.active.iter().enumerate() {
                self.multipliers[*constraint] -= sign * step * self.dual[position];
            }
            if full <= own && full <= block {
                self.multipliers[index] += sign * step;
                self.add(entering);
                return QuadraticStop::Solved;
            }
            if own <= block {
                self.multipliers[index] = end;
                self.standing[index] = paid(end);
                return QuadraticStop::Solved;
            }
            self.multipliers[index] += sign * step;
            let dropped = self.active[blocker];
            self.multipliers[dropped] = block_end;
            self.standing[dropped] = paid(block_end);
            self.drop_active(blocker);
        }
    }

    /// Value of constraint `index` at the current point.
    fn value(&self, program: &QuadraticProgram<'_>, index: usize) -> f64 {
        let rows = program.row_lower.len();
        if index < rows {
            dot(&program.rows[index * self.n..(index + 1) * self.n], &self.x)
        } else {
            self.x[index - rows]
        }
    }

    /// Directions for the normal of constraint `index`; returns the curvature `a'z`, zero
    /// if the normal depends on the active ones.
    fn project(&mut self, program: &QuadraticProgram<'_>, index: usize) -> f64 {
        let n = self.n;
        let rows = program.row_lower.len();
        let count = self.active.len();
        for (k, entry) in self.projected.iter_mut().enumerate() {
            let vector = &self.basis[k * n..k * n + n];
            *entry = if index < rows {
                dot(vector, &program.rows[index * n..index * n + n])
            } else {
                vector[index - rows]
            };
        }
        let (inside, outside) = self.projected.split_at(count);
        let curvature = dot(outside, outside);
        let independent = curvature > DEPENDENT * (curvature + dot(inside, inside));
        self.direction.fill(0.0);
        if independent {
            for (k, entry) in outside.iter().enumerate() {
                let vector = &self.basis[(count + k) * n..(count + k + 1) * n];
                add_scaled(&mut self.direction, *entry, vector);
            }
        }
        self.dual[..count].copy_from_slice(inside);
        for k in (0..count).rev() {
            let column = &self.triangle[k * n..=k * n + k];
            let entry = self.dual[k] / column[k];
            self.dual[k] = entry;
            add_scaled(&mut self.dual[..k], -entry, &column[..k]);
        }
        if independent { curvature } else { 0.0 }
    }

    /// How far the multiplier may move until one of an active constraint meets the end
    /// of its interval; that constraint's position and the end.
    fn first_blocked(&self, sign: f64) -> (f64, usize, f64) {
        let mut first = (f64::INFINITY, 0, 0.0);
        for (position, constraint) in self.active.iter().enumerate() {
            let rate = -sign * self.dual[position];
            let (low, high) = self.intervals[position];
            let end = if rate > 0.0 { high } else { low };
            let distance = ((end - self.multipliers[*constraint]) / rate).max(0.0);
            if rate != 0.0 && distance < first.0 {
                first = (distance, position, end);
            }
        }
        first
    }

    /// Takes the constraint just projected into the active set.
    fn add(&mut self, entering: Entering) {
        let n = self.n;
        let count = self.active.len();
        // Givens rotations fold the free part of J'a into its first entry.
        for k in (count + 1..n).rev() {
            let (upper, lower) = (self.projected[k - 1], self.projected[k]);
            if lower == 0.0 {
                continue;
            }
            let length = hypotenuse(upper, lower);
            let (cosine, sine) = (upper / length, lower / length);
            self.projected[k - 1] = length;
            self.projected[k] = 0.0;
            rotate_basis(&mut self.basis, n, k - 1, cosine, sine);
        }
        let column = &mut self.triangle[count * n..=count * n + count];
        column.copy_from_slice(&self.projected[..=count]);
        self.active.push(entering.index);
        self.intervals.push(entering.interval);
        self.standing[entering.index] = Standing::Active;
    }

    /// Takes the constraint at `position` out of the active set.
    fn drop_active(&mut self, position: usize) {
        let n = self.n;
        self.active.remove(position);
        self.intervals.remove(position);
        let count = self.active.len();
        for k in position..count {
            // Column k + 1 moves to k; its last entry is rotated away.
            self.triangle
                .copy_within((k + 1) * n..(k + 1) * n + k + 2, k * n);
            let (upper, lower) = (self.triangle[k * n + k], self.triangle[k * n + k + 1]);
            if lower == 0.0 {
                continue;
            }
            let length = hypotenuse(upper, lower);
            let (cosine, sine) = (upper / length, lower / length);
            self.triangle[k * n + k] = length;
            self.triangle[k * n + k + 1] = 0.0;
            for later in k + 2..=count {
                let column = &mut self.triangle[later * n..later * n + n];
                let (a, b) = (column[k], column[k + 1]);
                column[k] = cosine * a + sine * b;
                column[k + 1] = cosine * b - sine * a;
            }
            rotate_basis(&mut self.basis, n, k, cosine, sine);
        }
    }
}

/// Rotates vectors `k` and `k + 1` of the basis.
fn rotate_basis(basis: &mut [f64], n: usize, k: usize, cosine: f64, sine: f64) {
    let (first, second) = basis[k * n..(k + 2) * n].split_at_mut(n);
    for (a, b) in first.iter_mut().zip(second) {
        let (old_a, old_b) = (*a, *b);
        *a = cosine * old_a + sine * old_b;
        *b = cosine * old_b - sine * old_a;
    }
}

/// The way a constraint at `value` wants its multiplier to move, if at all.
fn candidate(
    index: usize,
    value: f64,
    (lower, upper): (f64, f64),
    penalty: f64,
    standing: Standing,
) -> Option<Entering> {
    let equality = lower == upper;
    let below = (-penalty, if equality { penalty } else { 0.0 });
    let above = (if equality { -penalty } else { 0.0 }, penalty);
    let (target, sign, interval) = match standing {
        Standing::Free if value > upper => (upper, 1.0, above),
        Standing::Free if value < lower => (lower, -1.0, below),
        Standing::PaidAbove if value < upper => (upper, -1.0, above),
        Standing::PaidBelow if value > lower => (lower, 1.0, below),
        _ => return None,
    };
    if penalty <= 0.0 {
        return None;
    }
    let end = if sign > 0.0 { interval.1 } else { interval.0 };
    Some(Entering {
        index,
        target,
        sign,
        end,
        interval,
    })
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

/// Largest absolute entry.
fn largest(vector: &[f64]) -> f64 {
    vector.iter().fold(0.0, |most, entry| most.max(entry.abs()))
}

/// Length of a vector of two entries, without the system's mathematics library.
fn hypotenuse(a: f64, b: f64) -> f64 {
    let (a, b) = (a.abs(), b.abs());
    let most = if a > b { a } else { b };
    if most == 0.0 {
        return 0.0;
    }
    let (a, b) = (a / most, b / most);
    most * (a * a + b * b).sqrt()
}

#[cfg(test)]
mod tests;
