//! Dot products and Cholesky factors with a fixed order of operations.
//!
//! Own loops, because a library's product may choose its instructions by the processor
//! it finds and so change the last bits.

/// Inner product of two vectors of one length.
///
/// Four partial sums, so that the compiler may use short vectors; the order is fixed by
/// this text, not by the machine.
#[inline]
pub fn dot(a: &[f64], b: &[f64]) -> f64 {
    let mut sums = [0.0; 4];
    let (a_blocks, a_rest) = a.as_chunks::<4>();
    let (b_blocks, b_rest) = b.as_chunks::<4>();
    for (p, q) in a_blocks.iter().zip(b_blocks) {
        for lane in 0..4 {
            sums[lane] += p[lane] * q[lane];
        }
    }
    let mut rest = 0.0;
    for (p, q) in a_rest.iter().zip(b_rest) {
        rest += p * q;
    }
    ((sums[0] + sums[1]) + (sums[2] + sums[3])) + rest
}

/// `target += factor * source`.
#[inline]
pub fn add_scaled(target: &mut [f64], factor: f64, source: &[f64]) {
    for (entry, value) in target.iter_mut().zip(source) {
        *entry += factor * value;
    }
}

/// Adds `factor * v v'` to the leading block of the row-major `matrix` with `stride`
/// columns, lower triangle only. Zeros of `v` cost nothing.
#[inline]
pub fn add_outer(matrix: &mut [f64], stride: usize, factor: f64, v: &[f64]) {
    for (i, (row, value)) in matrix.chunks_exact_mut(stride).zip(v).enumerate() {
        if *value != 0.0 {
            add_scaled(&mut row[..=i], factor * value, &v[..=i]);
        }
    }
}

/// Product of a symmetric matrix, of which the lower triangle is stored, with `v`.
pub fn multiply_symmetric(matrix: &[f64], stride: usize, v: &[f64], out: &mut [f64]) {
    out.fill(0.0);
    // `max(1)`: no variables, no columns.
    for (i, row) in matrix.chunks_exact(stride.max(1)).take(v.len()).enumerate() {
        let below = &row[..i];
        out[i] += dot(below, &v[..i]) + row[i] * v[i];
        add_scaled(&mut out[..i], v[i], below);
    }
}

/// Cholesky factor `L` of the symmetric `matrix` (size n, lower triangle read), in place.
///
/// Returns `false`, leaving the content undefined, if a pivot is not above `floor` times
/// the diagonal entry it came from (also for `NaN`): the matrix is not safely positive
/// definite.
#[must_use]
pub fn factorise(matrix: &mut [f64], n: usize, floor: f64) -> bool {
    for i in 0..n {
        let (done, rest) = matrix.split_at_mut(i * n);
        let row = &mut rest[..n];
        for j in 0..i {
            let other = &done[j * n..j * n + n];
            row[j] = (row[j] - dot(&row[..j], &other[..j])) / other[j];
        }
        let diagonal = row[i];
        let pivot = diagonal - dot(&row[..i], &row[..i]);
        let safe = pivot > floor * diagonal && pivot > f64::MIN_POSITIVE;
        if !safe {
            return false;
        }
        row[i] = pivot.sqrt();
    }
    true
}

/// Inverse of the lower triangular `factor`, row-major into `inverse`; zeros above.
pub fn invert_lower(factor: &[f64], n: usize, inverse: &mut [f64]) {
    inverse[..n * n].fill(0.0);
    for i in 0..n {
        let (done, rest) = inverse.split_at_mut(i * n);
        let row = &mut rest[..n];
        for k in 0..i {
            let weight = factor[i * n + k];
            if weight != 0.0 {
                add_scaled(&mut row[..=k], -weight, &done[k * n..=k * n + k]);
            }
        }
        let reciprocal = 1.0 / factor[i * n + i];
        for entry in &mut row[..i] {
            *entry *= reciprocal;
        }
        row[i] = reciprocal;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn factor_and_inverse_of_a_matrix_worked_by_hand() {
        // [[4, 2], [2, 5]] = L L' with L = [[2, 0], [1, 2]].
        let mut matrix = [4.0, 2.0, 2.0, 5.0];
        assert!(factorise(&mut matrix, 2, 1e-14));
        assert_eq!([matrix[0], matrix[2], matrix[3]], [2.0, 1.0, 2.0]);
        let mut inverse = [0.0; 4];
        invert_lower(&matrix, 2, &mut inverse);
        assert_eq!(inverse, [0.5, 0.0, -0.25, 0.5]);
    }

    #[test]
    fn an_indefinite_or_nan_matrix_is_refused() {
        assert!(!factorise(&mut [1.0, 2.0, 2.0, 1.0], 2, 1e-14));
        assert!(!factorise(&mut [f64::NAN, 0.0, 0.0, 1.0], 2, 1e-14));
        assert!(!factorise(&mut [0.0], 1, 1e-14));
    }

    #[test]
    fn symmetric_product_reads_the_lower_triangle() {
        let matrix = [1.0, f64::NAN, f64::NAN, 2.0, 3.0, f64::NAN, 4.0, 5.0, 6.0];
        let mut out = [0.0; 3];
        multiply_symmetric(&matrix, 3, &[1.0, 2.0, 3.0], &mut out);
        assert_eq!(out, [17.0, 23.0, 32.0]);
    }

    #[test]
    fn dot_sums_every_length() {
        for n in 0..13 {
            let v: Vec<f64> = (1..=n).map(f64::from).collect();
            let exact = f64::from(n * (n + 1) * (2 * n + 1)) / 6.0;
            assert_relative_eq!(dot(&v, &v), exact);
        }
    }
}
