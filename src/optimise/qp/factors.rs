//! `J = L^-T Q` and the triangle `R` of the active normals (Goldfarb and Idnani 1983).

use super::super::linear::{add_scaled, dot, factorise, invert_lower};

/// A pivot of the Cholesky factor must exceed this part of its diagonal entry.
const PIVOT_FLOOR: f64 = 1e-14;
/// A normal depends on the active ones if `|J2'a|^2 <= DEPENDENT |J'a|^2`.
const DEPENDENT: f64 = 1e-18;

/// Factors of the Hessian and of the normals taken in.
#[derive(Clone, Debug, Default)]
pub(super) struct Factors {
    n: usize,
    /// How many normals are taken in.
    count: usize,
    /// Vector k of `J` at `k * n`.
    basis: Vec<f64>,
    /// Column k of `R` at `k * n`.
    triangle: Vec<f64>,
    factor: Vec<f64>,
    /// `J' a` of the normal last projected.
    projected: Vec<f64>,
    /// Primal direction of the normal last projected.
    pub direction: Vec<f64>,
    /// Dual direction of the active normals, and their multipliers in [`Self::settle`].
    pub dual: Vec<f64>,
}

impl Factors {
    /// Starts anew without active normals; `false` if the Hessian is not safely positive
    /// definite.
    pub fn begin(&mut self, hessian: &[f64], n: usize) -> bool {
        self.n = n;
        self.count = 0;
        for vector in [&mut self.projected, &mut self.direction, &mut self.dual] {
            vector.clear();
            vector.resize(n, 0.0);
        }
        self.basis.resize(n * n, 0.0);
        self.triangle.resize(n * n, 0.0);
        self.factor.clear();
        self.factor.extend_from_slice(hessian);
        if !factorise(&mut self.factor, n, PIVOT_FLOOR) {
            return false;
        }
        invert_lower(&self.factor, n, &mut self.basis);
        true
    }

    /// Directions for the normal `a`; returns the curvature `a'z`, zero if the normal
    /// depends on the active ones.
    pub fn project(&mut self, normal: &[f64]) -> f64 {
        let n = self.n;
        for (k, entry) in self.projected.iter_mut().enumerate() {
            *entry = dot(&self.basis[k * n..k * n + n], normal);
        }
        self.directions()
    }

    /// The same for a variable, whose normal is a unit vector.
    pub fn project_variable(&mut self, variable: usize) -> f64 {
        for (k, entry) in self.projected.iter_mut().enumerate() {
            *entry = self.basis[k * self.n + variable];
        }
        self.directions()
    }

    fn directions(&mut self) -> f64 {
        let (n, count) = (self.n, self.count);
        let (inside, outside) = self.projected.split_at(count);
        let curvature = dot(outside, outside);
        let independent = curvature > DEPENDENT * (curvature + dot(inside, inside));
        self.direction.fill(0.0);
        if independent {
            let vectors = self.basis[count * n..].chunks_exact(n.max(1));
            for (entry, vector) in outside.iter().zip(vectors) {
                add_scaled(&mut self.direction, *entry, vector);
            }
        }
        self.dual[..count].copy_from_slice(inside);
        self.solve_triangle();
        if independent { curvature } else { 0.0 }
    }

    /// `R^-1` times the leading entries of `dual`, in place.
    fn solve_triangle(&mut self) {
        for k in (0..self.count).rev() {
            let column = &self.triangle[k * self.n..=k * self.n + k];
            let entry = self.dual[k] / column[k];
            self.dual[k] = entry;
            add_scaled(&mut self.dual[..k], -entry, &column[..k]);
        }
    }

    /// The minimum of `1/2 x'Hx + g'x` with the active normals at `targets`, into `x`; their
    /// multipliers are then the leading entries of `dual`.
    pub fn settle(&mut self, gradient: &[f64], targets: &[f64], x: &mut [f64]) {
        let (n, count) = (self.n, self.count);
        x.fill(0.0);
        for k in 0..n {
            let vector = &self.basis[k * n..k * n + n];
            let slope = dot(vector, gradient);
            let along = if k < count {
                let column = &self.triangle[k * n..=k * n + k];
                // Solves R'y = targets from the top; y is kept in `projected`.
                (targets[k] - dot(&column[..k], &self.projected[..k])) / column[k]
            } else {
                -slope
            };
            if k < count {
                self.projected[k] = along;
                self.dual[k] = -(along + slope);
            }
            add_scaled(x, along, vector);
        }
        self.solve_triangle();
    }

    /// Takes in the normal just projected.
    pub fn add(&mut self) {
        let (n, count) = (self.n, self.count);
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
        self.count += 1;
    }

    /// Takes out the normal at `position`; those behind it move up.
    pub fn remove(&mut self, position: usize) {
        let n = self.n;
        self.count -= 1;
        let count = self.count;
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
