//! What the Hessian of the Lagrangian holds beyond the residuals' `2 J'WJ`.
//!
//! A structured quasi-Newton matrix: only the part that first derivatives do not give is
//! learnt. The update is BFGS on the whole matrix with the known part taken at the new
//! point (Dennis, Martinez and Tapia, *Convergence theory for the structured BFGS secant
//! method*, JOTA 61, 1989), damped so that the whole stays positive definite (Powell,
//! *A fast algorithm for nonlinearly constrained optimization calculations*, 1978), and
//! sized so that it fades where residuals vanish (Dennis, Gay and Welsch, *An adaptive
//! nonlinear least-squares algorithm*, ACM TOMS 7, 1981).

use super::linear::{add_outer, dot, multiply_symmetric};

/// Learnt part of the Hessian, over the curved variables only.
#[derive(Clone, Debug, Default)]
pub struct Curvature {
    n: usize,
    /// Lower triangle, row-major.
    matrix: Vec<f64>,
    /// No step has been learnt from yet.
    fresh: bool,
    /// The objective's own residuals give curvature on these variables.
    structured: bool,
    change: Vec<f64>,
    product: Vec<f64>,
    learnt: Vec<f64>,
}

impl Curvature {
    /// Forgets everything, for `n` curved variables of length `units`.
    ///
    /// Where the known part has no curvature at all there is nothing to add to, so the
    /// start is `size / unit^2` on the diagonal; else it is zero.
    pub fn reset(&mut self, units: &[f64], n: usize, size: f64, structured: bool) {
        self.n = n;
        self.fresh = true;
        self.structured = structured;
        self.matrix.clear();
        self.matrix.resize(n * n, 0.0);
        if !structured {
            for (j, unit) in units.iter().enumerate().take(n) {
                self.matrix[j * n + j] = size / (unit * unit);
            }
        }
        for vector in [&mut self.change, &mut self.product, &mut self.learnt] {
            vector.clear();
            vector.resize(n, 0.0);
        }
    }

    /// How many variables it covers.
    pub fn size(&self) -> usize {
        self.n
    }

    /// Row `i` of the lower triangle, up to its diagonal.
    #[inline]
    pub fn row(&self, i: usize) -> &[f64] {
        &self.matrix[i * self.n..=i * self.n + i]
    }

    /// `s'Ss` for a step, of which the leading entries are read.
    pub fn along(&mut self, step: &[f64]) -> f64 {
        let step = &step[..self.n];
        multiply_symmetric(&self.matrix, self.n, step, &mut self.product);
        dot(step, &self.product)
    }

    /// Learns from a step: `change` is what the gradient of the Lagrangian changed by,
    /// less the change that the known part explains to first order being *not* taken out
    /// of `known` (row-major, `stride` columns, lower triangle), the known part at the new
    /// point. Only the leading entries of `step` and `change` are read.
    pub fn learn(
        &mut self,
        known: &[f64],
        stride: usize,
        step: &[f64],
        change: &[f64],
        units: &[f64],
    ) {
        let n = self.n;
        let (step, change) = (&step[..n], &change[..n]);
        if n == 0 {
            return;
        }
        if self.fresh {
            self.fresh = false;
            if !self.structured {
                self.size_first(step, change, units);
            }
        }
        multiply_symmetric(&self.matrix, n, step, &mut self.learnt);
        let own = dot(step, &self.learnt);
        if self.structured && own != 0.0 {
            // Sizing: never more curvature along the step than was seen.
            let size = (dot(step, change) / own).abs();
            if size < 1.0 {
                for entry in &mut self.matrix {
                    *entry *= size;
                }
                for entry in &mut self.learnt {
                    *entry *= size;
                }
            }
        }
        multiply_symmetric(known, stride, step, &mut self.product);
        for j in 0..n {
            self.change[j] = change[j] + self.product[j];
            self.product[j] += self.learnt[j];
        }
        self.update(step);
    }

    /// Damped BFGS with `product = B s` and `change = y`.
    fn update(&mut self, step: &[f64]) {
        let n = self.n;
        let curvature = dot(step, &self.product);
        let seen = dot(step, &self.change);
        let usable = curvature > f64::MIN_POSITIVE;
        if !usable {
            return;
        }
        let mut along = seen;
        if seen < 0.2 * curvature {
            let keep = 0.8 * curvature / (curvature - seen);
            for (change, product) in self.change.iter_mut().zip(&self.product) {
                *change = keep * *change + (1.0 - keep) * product;
            }
            along = dot(step, &self.change);
        }
        if along > f64::MIN_POSITIVE && along.is_finite() {
            add_outer(&mut self.matrix, n, -1.0 / curvature, &self.product);
            add_outer(&mut self.matrix, n, 1.0 / along, &self.change);
        }
    }

    /// Before the first update: the size of the start from the first step seen, in units
    /// of the variables (Nocedal and Wright, *Numerical Optimization*, eq. 6.20).
    fn size_first(&mut self, step: &[f64], change: &[f64], units: &[f64]) {
        let n = self.n;
        let (mut along, mut square) = (0.0, 0.0);
        for j in 0..n {
            along += step[j] * change[j];
            square += change[j] * change[j] * units[j] * units[j];
        }
        let size = square / along;
        if along > 0.0 && size > 0.0 && size.is_finite() {
            for j in 0..n {
                self.matrix[j * n + j] = size / (units[j] * units[j]);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn a_quadratic_is_learnt_step_by_step() {
        // Hessian [[5, 1], [1, 3]], of which [[4, 0], [0, 0]] is known.
        let known = [4.0, 0.0, 0.0, 0.0];
        let mut curvature = Curvature::default();
        curvature.reset(&[1.0, 1.0], 2, 1.0, false);
        for step in [[1.0, 0.0], [0.0, 1.0], [1.0, 1.0], [1.0, -2.0], [0.3, 1.0]] {
            let change = [step[0] + step[1], step[0] + 3.0 * step[1]];
            curvature.learn(&known, 2, &step, &change, &[1.0, 1.0]);
            // The secant condition holds for the step just seen.
            let mut product = [0.0; 2];
            multiply_symmetric(&curvature.matrix, 2, &step, &mut product);
            assert_relative_eq!(product[0], change[0], epsilon = 1e-12);
            assert_relative_eq!(product[1], change[1], epsilon = 1e-12);
        }
    }
}
