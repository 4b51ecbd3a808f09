//! Behaviour that the published problems do not show.

use super::*;
use crate::optimise::{NotEvaluable, Stage, run};
use approx::assert_relative_eq;

/// A problem in two functions.
struct Small<V, D> {
    bounds: Vec<Interval>,
    rows: Vec<Row>,
    weights: Vec<f64>,
    curved: usize,
    values: V,
    slopes: D,
}

impl<V, D> Problem for Small<V, D>
where
    V: FnMut(&[f64], &mut Evaluation) -> Result<(), NotEvaluable>,
    D: FnMut(&[f64], &mut Derivatives),
{
    fn bounds(&self) -> &[Interval] {
        &self.bounds
    }
    fn rows(&self) -> &[Row] {
        &self.rows
    }
    fn residual_weights(&self) -> &[f64] {
        &self.weights
    }
    fn curved(&self) -> usize {
        self.curved
    }
    fn evaluate(&mut self, x: &[f64], out: &mut Evaluation) -> Result<(), NotEvaluable> {
        (self.values)(x, out)
    }
    fn differentiate(&mut self, x: &[f64], out: &mut Derivatives) -> Result<(), NotEvaluable> {
        (self.slopes)(x, out);
        Ok(())
    }
}

fn solve<P: Problem>(problem: &mut P, start: &[f64]) -> Outcome {
    Minimiser::new(MinimiserSettings::default()).solve(problem, start)
}

/// `x <= 0` in units of 1 against `x >= 1` in units of 1/4, and nothing else.
fn contradiction() -> impl Problem {
    Small {
        bounds: vec![Interval::new(-5.0, 5.0)],
        rows: vec![Row::at_most(0.0), Row::at_least(1.0).scaled(0.25)],
        weights: Vec::new(),
        curved: 1,
        values: |x: &[f64], out: &mut Evaluation| {
            out.rows.fill(x[0]);
            Ok(())
        },
        slopes: |_: &[f64], out: &mut Derivatives| out.rows.fill(1.0),
    }
}

#[test]
fn rows_that_contradict_each_other_end_at_the_least_sum_of_violations() {
    let outcome = solve(&mut contradiction(), &[-3.0]);
    assert_eq!(outcome.stop, Stop::Infeasible);
    // One unit beyond the first row, none of the dearer second.
    assert_relative_eq!(outcome.x[0], 1.0, epsilon = 1e-9);
    assert_relative_eq!(outcome.violation, 1.0, epsilon = 1e-9);
}

/// Least `(x - 2)^2`, with no value beyond x = 1.5 and the row `x <= 1.2` curved on the way.
fn with_edge() -> impl Problem {
    Small {
        bounds: vec![Interval::new(-10.0, 10.0)],
        rows: vec![Row::at_most(1.2_f64 * 1.2 * 1.2)],
        weights: vec![1.0],
        curved: 1,
        values: |x: &[f64], out: &mut Evaluation| {
            if x[0] > 1.5 {
                return Err(NotEvaluable);
            }
            out.residuals[0] = x[0] - 2.0;
            out.rows[0] = x[0] * x[0] * x[0];
            Ok(())
        },
        slopes: |x: &[f64], out: &mut Derivatives| {
            out.residuals[0] = 1.0;
            out.rows[0] = 3.0 * x[0] * x[0];
        },
    }
}

#[test]
fn a_step_to_where_there_is_no_value_is_shortened() {
    let outcome = solve(&mut with_edge(), &[0.1]);
    assert_eq!(outcome.stop, Stop::Converged);
    assert_relative_eq!(outcome.x[0], 1.2, max_relative = 1e-9);
    let beyond = solve(&mut with_edge(), &[3.0]);
    assert_eq!(beyond.stop, Stop::NotEvaluable);
}

/// Minimax of `|x^2 - 2|`, `|x y - 1|`, `|y - x / 3|` by a slack variable t: least `t^2`
/// with every term within t.
fn minimax() -> impl Problem {
    let term = Row::at_most(0.0);
    Small {
        bounds: vec![
            Interval::new(0.0, 3.0),
            Interval::new(0.0, 3.0),
            Interval::new(0.0, 10.0),
        ],
        rows: vec![term; 6],
        weights: vec![1.0],
        curved: 2,
        values: |x: &[f64], out: &mut Evaluation| {
            let terms = [x[0] * x[0] - 2.0, x[0] * x[1] - 1.0, x[1] - x[0] / 3.0];
            for (k, term) in terms.into_iter().enumerate() {
                out.rows[2 * k] = term - x[2];
                out.rows[2 * k + 1] = -term - x[2];
            }
            out.residuals[0] = x[2];
            Ok(())
        },
        slopes: |x: &[f64], out: &mut Derivatives| {
            let slopes = [[2.0 * x[0], 0.0], [x[1], x[0]], [-1.0 / 3.0, 1.0]];
            for (k, [by_x, by_y]) in slopes.into_iter().enumerate() {
                let rows = &mut out.rows[6 * k..6 * k + 6];
                rows.copy_from_slice(&[by_x, by_y, -1.0, -by_x, -by_y, -1.0]);
            }
            out.residuals[2] = 1.0;
        },
    }
}

#[test]
fn a_minimax_slack_meets_its_terms() {
    let outcome = solve(&mut minimax(), &[0.5, 2.5, 5.0]);
    assert_eq!(outcome.stop, Stop::Converged, "{outcome:?}");
    // Three terms, three unknowns: at the optimum all are equal in size.
    let (x, y, t) = (outcome.x[0], outcome.x[1], outcome.x[2]);
    assert_relative_eq!(x * x - 2.0, t, epsilon = 1e-9);
    assert_relative_eq!(1.0 - x * y, t, epsilon = 1e-9);
    assert_relative_eq!(y - x / 3.0, t, epsilon = 1e-9);
    // Multipliers of active terms add up to the slope of t^2.
    let paid: f64 = outcome.row_multipliers.iter().sum();
    assert_relative_eq!(paid, 2.0 * t, max_relative = 1e-6);
}

#[test]
fn a_run_repeats_bit_for_bit_with_used_memory_and_inside_argmin() {
    let bits = |outcome: &Outcome| {
        let numbers = outcome.x.iter().chain(&outcome.row_multipliers);
        numbers.map(|number| number.to_bits()).collect::<Vec<_>>()
    };
    let start = [0.5, 2.5, 5.0];
    let mut solver = Minimiser::new(MinimiserSettings::default());
    let first = solver.solve(&mut minimax(), &start);
    solver.solve(&mut with_edge(), &[0.1]);
    let again = solver.solve(&mut minimax(), &start);
    let framed = run(&mut minimax(), &mut solver, &start).unwrap();
    assert_eq!(bits(&first), bits(&again));
    assert_eq!(bits(&first), bits(&framed));
    assert_eq!(first.evaluations, framed.evaluations);
    assert_eq!(Stage::stop(&solver), Some(Stop::Converged));
}

#[test]
fn a_problem_without_variables_or_rows_ends() {
    let mut nothing = Small {
        bounds: Vec::new(),
        rows: Vec::new(),
        weights: Vec::new(),
        curved: 0,
        values: |_: &[f64], _: &mut Evaluation| Ok(()),
        slopes: |_: &[f64], _: &mut Derivatives| {},
    };
    assert_eq!(solve(&mut nothing, &[]).stop, Stop::Converged);
}
