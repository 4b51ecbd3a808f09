//! Optimality conditions on random programmes, and cases worked by hand.

use super::*;
use approx::assert_relative_eq;
use rand_xoshiro::Xoshiro256PlusPlus;
use rand_xoshiro::rand_core::{Rng, SeedableRng};

struct Random(Xoshiro256PlusPlus);

impl Random {
    fn next(&mut self) -> f64 {
        (self.0.next_u64() >> 11) as f64 / (1_u64 << 52) as f64 - 1.0
    }
    fn vector(&mut self, n: usize, size: f64) -> Vec<f64> {
        (0..n).map(|_| size * self.next()).collect()
    }
}

struct Owned {
    hessian: Vec<f64>,
    gradient: Vec<f64>,
    lower: Vec<f64>,
    upper: Vec<f64>,
    rows: Vec<f64>,
    columns: Vec<f64>,
    row_lower: Vec<f64>,
    row_upper: Vec<f64>,
    penalties: Vec<f64>,
}

impl Owned {
    fn random(random: &mut Random, n: usize, m: usize, penalty: f64) -> Self {
        let root = random.vector(n * n, 1.0);
        let mut hessian = vec![0.0; n * n];
        for i in 0..n {
            for j in 0..n {
                hessian[i * n + j] = (0..n).map(|k| root[i * n + k] * root[j * n + k]).sum();
            }
            hessian[i * n + i] += 1e-3;
        }
        let mut rows = random.vector(m * n, 1.0);
        let mut row_lower = random.vector(m, 1.0);
        let mut row_upper: Vec<f64> = row_lower.iter().map(|l| l + 0.3).collect();
        for i in 0..m {
            match i % 5 {
                0 => row_lower[i] = f64::NEG_INFINITY,
                1 => row_upper[i] = f64::INFINITY,
                2 if i < n => row_upper[i] = row_lower[i],
                // A copy of the row before: dependent normals.
                3 => rows.copy_within((i - 1) * n..i * n, i * n),
                _ => {}
            }
        }
        let mut columns = vec![0.0; m * n];
        for i in 0..m {
            for j in 0..n {
                columns[j * m + i] = rows[i * n + j];
            }
        }
        Self {
            columns,
            hessian,
            gradient: random.vector(n, 5.0),
            lower: random.vector(n, 1.0).iter().map(|l| l - 1.0).collect(),
            upper: random.vector(n, 1.0).iter().map(|u| u + 1.0).collect(),
            rows,
            row_lower,
            row_upper,
            penalties: vec![penalty; m],
        }
    }

    fn borrow(&self) -> QuadraticProgram<'_> {
        QuadraticProgram {
            hessian: &self.hessian,
            gradient: &self.gradient,
            lower: &self.lower,
            upper: &self.upper,
            columns: &self.columns,
            row_lower: &self.row_lower,
            row_upper: &self.row_upper,
            penalties: &self.penalties,
        }
    }

    /// Largest violation of the optimality conditions.
    fn optimality_error(&self, solver: &QuadraticSolver) -> f64 {
        let n = self.gradient.len();
        let x = solver.solution();
        let mut error = 0.0_f64;
        for j in 0..n {
            let mut sum = self.gradient[j] + solver.bound_multipliers()[j];
            sum += dot(&self.hessian[j * n..j * n + n], x);
            for (i, multiplier) in solver.row_multipliers().iter().enumerate() {
                sum += multiplier * self.rows[i * n + j];
            }
            error = error.max(sum.abs());
            let ends = (self.lower[j], self.upper[j]);
            let multiplier = solver.bound_multipliers()[j];
            error = error.max(condition_error(x[j], ends, multiplier, f64::INFINITY));
        }
        for (i, multiplier) in solver.row_multipliers().iter().enumerate() {
            let value = dot(&self.rows[i * n..i * n + n], x);
            let ends = (self.row_lower[i], self.row_upper[i]);
            let penalty = self.penalties[i];
            error = error.max(condition_error(value, ends, *multiplier, penalty));
        }
        error
    }
}

/// How far `multiplier` is from what the position of `value` demands.
fn condition_error(value: f64, (lower, upper): (f64, f64), multiplier: f64, penalty: f64) -> f64 {
    let beyond = (multiplier.abs() - penalty).max(0.0);
    let paid = (multiplier.abs() - penalty).abs() < 1e-12;
    let at = |end: f64, outward: f64| {
        if paid {
            (outward * (end - value)).max(0.0)
        } else {
            (end - value).abs()
        }
    };
    let position = if lower == upper {
        at(lower, multiplier.signum())
    } else if multiplier > 0.0 {
        at(upper, 1.0)
    } else if multiplier < 0.0 {
        at(lower, -1.0)
    } else {
        (value - upper).max(lower - value).max(0.0)
    };
    beyond.max(position)
}

#[test]
fn random_programmes_meet_the_optimality_conditions() {
    let mut random = Random(Xoshiro256PlusPlus::seed_from_u64(1));
    let mut solver = QuadraticSolver::default();
    for case in 0..600 {
        let n = 1 + case % 17;
        let m = (case * 7) % 60;
        let penalty = [0.1, 1.0, 30.0][case % 3];
        let program = Owned::random(&mut random, n, m, penalty);
        assert_eq!(solver.solve(&program.borrow()), QuadraticStop::Solved);
        let error = program.optimality_error(&solver);
        assert!(error < 1e-8, "case {case}: n {n} m {m} error {error:e}");
    }
}

#[test]
fn hard_rows_are_met_or_the_contradiction_is_found() {
    let mut random = Random(Xoshiro256PlusPlus::seed_from_u64(2));
    let mut solver = QuadraticSolver::default();
    let (mut solved, mut contradictory) = (0, 0);
    for case in 0..400 {
        let (n, m) = (2 + case % 9, 1 + case % 11);
        let mut program = Owned::random(&mut random, n, m, f64::INFINITY);
        match solver.solve(&program.borrow()) {
            QuadraticStop::Solved => {
                solved += 1;
                assert!(program.optimality_error(&solver) < 1e-7);
            }
            QuadraticStop::Infeasible => {
                contradictory += 1;
                // At a huge penalty some row must still be violated.
                program.penalties = vec![1e7; m];
                assert_eq!(solver.solve(&program.borrow()), QuadraticStop::Solved);
                let paid = solver.row_multipliers().iter().any(|l| l.abs() >= 1e7);
                assert!(paid, "case {case}");
            }
            stop => panic!("case {case}: {stop:?}"),
        }
    }
    assert!(
        solved > 50 && contradictory > 50,
        "{solved} {contradictory}"
    );
}

#[test]
fn contradiction_is_shared_by_price() {
    // x <= 0 at price 1 and x >= 1 at price 3, with a slight pull to 0.5: x = 1.
    let program = QuadraticProgram {
        hessian: &[0.1],
        gradient: &[-0.05],
        lower: &[-10.0],
        upper: &[10.0],
        columns: &[1.0, 1.0],
        row_lower: &[f64::NEG_INFINITY, 1.0],
        row_upper: &[0.0, f64::INFINITY],
        penalties: &[1.0, 3.0],
    };
    let mut solver = QuadraticSolver::default();
    assert_eq!(solver.solve(&program), QuadraticStop::Solved);
    assert_relative_eq!(solver.solution()[0], 1.0, epsilon = 1e-14);
    assert_relative_eq!(solver.row_multipliers()[0], 1.0);
    assert_relative_eq!(solver.row_multipliers()[1], -1.05, epsilon = 1e-14);
}

#[test]
fn same_programme_gives_the_same_bits_whatever_was_solved_before() {
    let mut random = Random(Xoshiro256PlusPlus::seed_from_u64(3));
    let program = Owned::random(&mut random, 8, 30, 2.0);
    let other = Owned::random(&mut random, 13, 40, 2.0);
    let mut solver = QuadraticSolver::default();
    let mut bits = || {
        solver.solve(&program.borrow());
        let bits: Vec<u64> = solver.solution().iter().map(|x| x.to_bits()).collect();
        solver.solve(&other.borrow());
        bits
    };
    assert_eq!(bits(), bits());
}

#[test]
fn a_hessian_that_is_not_convex_is_refused() {
    let mut solver = QuadraticSolver::default();
    let program = QuadraticProgram {
        hessian: &[1.0, 0.0, 2.0, 1.0],
        gradient: &[0.0, 0.0],
        lower: &[-1.0, -1.0],
        upper: &[1.0, 1.0],
        columns: &[],
        row_lower: &[],
        row_upper: &[],
        penalties: &[],
    };
    assert_eq!(solver.solve(&program), QuadraticStop::NotConvex);
}

/// What every restart has to give: the solution of a start without memory, from wherever the
/// last programme ended.
fn assert_restart(solver: &mut QuadraticSolver, program: &Owned, reuse: Reuse) {
    assert_eq!(
        solver.resume(&program.borrow(), reuse),
        QuadraticStop::Solved
    );
    let error = program.optimality_error(solver);
    assert!(error < 1e-8, "{reuse:?}: error {error:e}");
}

#[test]
fn the_active_set_of_another_programme_leads_to_the_same_solution() {
    let mut random = Random(Xoshiro256PlusPlus::seed_from_u64(4));
    let mut solver = QuadraticSolver::default();
    let (mut cold, mut warm) = (0, 0);
    for case in 0..300 {
        let (n, m) = (1 + case % 17, (case * 7) % 60);
        let mut program = Owned::random(&mut random, n, m, [0.1, 1.0, 30.0][case % 3]);
        solver.solve(&program.borrow());
        cold += solver.steps();
        // Gradient, ends and prices change a little, then a lot; then the Hessian too.
        for size in [0.01, 1.0] {
            for (entry, change) in program.gradient.iter_mut().zip(random.vector(n, size)) {
                *entry += change;
            }
            for (i, change) in random.vector(m, 0.1 * size).iter().enumerate() {
                program.row_lower[i] += change;
                program.row_upper[i] += change;
                program.penalties[i] *= 1.0 + 5.0 * change;
            }
            assert_restart(&mut solver, &program, Reuse::Factors);
            if size < 0.1 {
                warm += solver.steps();
            }
        }
        for j in 0..n {
            program.hessian[j * n + j] += 0.5;
        }
        assert_restart(&mut solver, &program, Reuse::ActiveSet);
    }
    assert!(3 * warm < cold, "{warm} of {cold}");
}
