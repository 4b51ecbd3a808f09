//! Path synthesis of four-bar linkages: five cases of the literature (Kunjur and
//! Krishnamurty 1997; Cabrera, Simon and Prado 2002; Acharyya and Mandal 2009; Cabrera et
//! al. 2011; Nguyen-Van et al. 2022), targets and bounds from the last one's CC0 data, best
//! values recomputed.

use super::{data, numbers, start};
use pivotwright::number::{Dual, Scalar};
use pivotwright::optimise::{
    Derivatives, Evaluation, Interval, Minimiser, MinimiserSettings, NotEvaluable, Outcome,
    Problem, Row,
};
use serde_json::Value;

/// Where the input angle of each point comes from.
#[derive(Clone)]
enum Timing {
    /// Given in radians.
    Given(Vec<f64>),
    /// One unknown first angle, then steps of 20 degrees.
    Stepped,
    /// One unknown per point.
    Free,
}

/// One case; `N` unknowns r1 r2 r3 r4 rcx rcy [x0 y0 theta0] [theta2...].
#[derive(Clone)]
struct Case<const N: usize> {
    bounds: Vec<Interval>,
    rows: Vec<Row>,
    weights: Vec<f64>,
    targets: Vec<Vec<f64>>,
    timing: Timing,
    /// Whether x0, y0, theta0 are unknown.
    placed: bool,
}

impl<const N: usize> Case<N> {
    fn read(case: &Value, timing: Timing, placed: bool) -> Self {
        let targets: Vec<Vec<f64>> = case["targets"]
            .as_array()
            .unwrap()
            .iter()
            .map(numbers)
            .collect();
        let ends = |key: &str| {
            let ends = numbers(&case["bounds"][key]);
            Interval::new(ends[0], ends[1])
        };
        let mut bounds = vec![ends("links"); 4];
        bounds.resize(if placed { 8 } else { 6 }, ends("others"));
        if placed {
            bounds.resize(N, ends("angles"));
        }
        let mut rows = vec![Row::at_least(0.0); 3];
        if matches!(timing, Timing::Free) {
            // In cyclic order: growing, less than a turn in all, from anywhere.
            let turn = std::f64::consts::TAU;
            for bound in bounds.iter_mut().skip(9) {
                *bound = Interval::new(-turn, turn);
            }
            rows.resize(rows.len() + targets.len() - 1, Row::at_least(0.0));
            rows.push(Row::at_most(turn));
        }
        Self {
            bounds,
            rows,
            weights: vec![1.0; 2 * targets.len()],
            targets,
            timing,
            placed,
        }
    }

    /// Residuals (x and y of every point) and rows (Grashof with the crank shortest, order
    /// of the angles); `false` if the linkage does not assemble.
    fn compute<T: Scalar>(&self, x: &[T], residuals: &mut [T], rows: &mut [T]) -> bool {
        let (r1, r2, r3, r4) = (x[0], x[1], x[2], x[3]);
        rows[0] = r3 + r4 - r2 - r1;
        rows[1] = r1 + r4 - r2 - r3;
        rows[2] = r1 + r3 - r2 - r4;
        let zero = T::from_f64(0.0);
        let (x0, y0, turn) = if self.placed {
            (x[6], x[7], x[8])
        } else {
            (zero, zero, zero)
        };
        let (turn_sine, turn_cosine) = turn.sin_cos();
        if matches!(self.timing, Timing::Free) {
            rows[2 + self.targets.len()] = x[8 + self.targets.len()] - x[9];
        }
        for (i, target) in self.targets.iter().enumerate() {
            let angle = match &self.timing {
                Timing::Given(angles) => T::from_f64(angles[i]),
                Timing::Stepped => x[9] + (20.0 * i as f64).to_radians(),
                Timing::Free => x[9 + i],
            };
            if matches!(self.timing, Timing::Free) && i > 0 {
                rows[2 + i] = x[9 + i] - x[8 + i];
            }
            let (sine, cosine) = angle.sin_cos();
            let (ax, ay) = (r2 * cosine, r2 * sine);
            // B at the distances r3 from A and r4 from (r1, 0), left of the ray between.
            let (dx, dy) = (r1 - ax, -ay);
            let squared = dx * dx + dy * dy;
            let along = (r3 * r3 - r4 * r4 + squared) / (squared * 2.0);
            let height = r3 * r3 / squared - along * along;
            if height.value().lane(0) <= 0.0 || !height.value().lane(0).is_finite() {
                return false;
            }
            let height = height.sqrt();
            let (ex, ey) = (
                (along * dx - height * dy) / r3,
                (along * dy + height * dx) / r3,
            );
            let (px, py) = (ax + x[4] * ex - x[5] * ey, ay + x[4] * ey + x[5] * ex);
            residuals[2 * i] = x0 + turn_cosine * px - turn_sine * py - target[0];
            residuals[2 * i + 1] = y0 + turn_sine * px + turn_cosine * py - target[1];
        }
        true
    }

    fn squared_error(&mut self, x: &[f64]) -> f64 {
        let mut values = Evaluation::default();
        values.resize(self);
        self.evaluate(x, &mut values).unwrap();
        values.total(&self.weights)
    }

    /// The first of `count` starts that ends at an error of at most `enough`.
    fn reach(&mut self, enough: f64, count: u64) -> Option<Outcome> {
        let mut solver = Minimiser::new(MinimiserSettings {
            budget: 1000,
            ..MinimiserSettings::default()
        });
        let bounds = self.bounds.clone();
        (0..count)
            .map(|index| solver.solve(self, &start(index, &bounds)))
            .find(|outcome| outcome.violation < 1e-8 && outcome.objective <= enough)
    }
}

impl<const N: usize> Problem for Case<N> {
    fn bounds(&self) -> &[Interval] {
        &self.bounds
    }
    fn rows(&self) -> &[Row] {
        &self.rows
    }
    fn residual_weights(&self) -> &[f64] {
        &self.weights
    }
    fn evaluate(&mut self, x: &[f64], out: &mut Evaluation) -> Result<(), NotEvaluable> {
        if self.compute(x, &mut out.residuals, &mut out.rows) {
            Ok(())
        } else {
            Err(NotEvaluable)
        }
    }
    fn differentiate(&mut self, x: &[f64], out: &mut Derivatives) -> Result<(), NotEvaluable> {
        let variables: Vec<Dual<f64, N>> = (0..N).map(|j| Dual::variable(x[j], j)).collect();
        let zero = Dual::constant(0.0);
        let mut residuals = vec![zero; self.weights.len()];
        let mut rows = vec![zero; self.rows.len()];
        if !self.compute(&variables, &mut residuals, &mut rows) {
            return Err(NotEvaluable);
        }
        for (slopes, dual) in out.residuals.chunks_exact_mut(N).zip(&residuals) {
            slopes.copy_from_slice(&dual.partials);
        }
        for (slopes, dual) in out.rows.chunks_exact_mut(N).zip(&rows) {
            slopes.copy_from_slice(&dual.partials);
        }
        Ok(())
    }
}

fn given(case: &Value) -> Timing {
    let degrees = numbers(&case["theta2_deg"]);
    Timing::Given(degrees.iter().map(|angle| angle.to_radians()).collect())
}

/// The published vectors have the errors that were recomputed from them.
fn check_model<const N: usize>(case: &mut Case<N>, published: &Value) {
    let solutions = published["published_solutions"].as_object().unwrap();
    for solution in solutions.values() {
        let sum = solution["sse"].as_f64().unwrap();
        let here = case.squared_error(&numbers(&solution["x"]));
        assert!((here / sum - 1.0).abs() < 1e-6, "{here} {sum}");
    }
}

fn best(case: &Value) -> f64 {
    case["best"]["sse"].as_f64().unwrap()
}

#[test]
fn six_points_without_timing_are_met() {
    let case = &data("fourbar_synthesis")["cases"]["case_1"];
    let mut problem = Case::<15>::read(case, Timing::Free, true);
    check_model(&mut problem, case);
    // More unknowns than equations: any error below rounding of the targets will do.
    assert!(problem.reach(1e-9, 100).is_some());
}

#[test]
fn five_points_with_timing_reach_the_best_error() {
    let case = &data("fourbar_synthesis")["cases"]["case_2"];
    let mut problem = Case::<6>::read(case, given(case), false);
    check_model(&mut problem, case);
    let outcome = problem.reach(best(case) * (1.0 + 1e-8), 100).unwrap();
    // A flat valley: the error is compared, not the vector.
    assert!((outcome.objective / best(case) - 1.0).abs() < 1e-8);
}

#[test]
fn eighteen_points_reach_the_best_error() {
    let case = &data("fourbar_synthesis")["cases"]["case_3"];
    let mut problem = Case::<10>::read(case, Timing::Stepped, true);
    check_model(&mut problem, case);
    let outcome = problem.reach(best(case) * (1.0 + 1e-8), 200).unwrap();
    assert!((outcome.objective / best(case) - 1.0).abs() < 1e-8);
}

#[test]
fn half_circle_reaches_the_best_error() {
    let case = &data("fourbar_synthesis")["cases"]["case_4"];
    let mut problem = Case::<9>::read(case, given(case), true);
    check_model(&mut problem, case);
    // The best published vector lies at 1.21621247, at the edge of the Grashof condition.
    let outcome = problem.reach(1.216_212_47, 100).unwrap();
    assert!(outcome.objective > 1.216_212);
}

#[test]
fn ten_points_without_timing_reach_the_best_error() {
    let case = &data("fourbar_synthesis")["cases"]["case_5"];
    let mut problem = Case::<19>::read(case, Timing::Free, true);
    check_model(&mut problem, case);
    let outcome = problem.reach(best(case) * (1.0 + 1e-6), 200).unwrap();
    assert!((outcome.objective / best(case) - 1.0).abs() < 1e-6);
}
