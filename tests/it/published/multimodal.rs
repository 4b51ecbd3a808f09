//! All minima of two standard functions: Himmelblau's (*Applied Nonlinear Programming*,
//! 1972) as a sum of squares, and the six-hump camel (Dixon and Szego 1978) as a scalar.

use super::formula::Formula;
use super::{data, numbers, start, texts};
use pivotwright::optimise::{
    Derivatives, Evaluation, Interval, Minimiser, MinimiserSettings, NotEvaluable, Outcome,
    Problem, Row, Stop,
};

struct Plain {
    bounds: Vec<Interval>,
    weights: Vec<f64>,
    residuals: Vec<Formula>,
    objective: Option<Formula>,
}

impl Problem for Plain {
    fn bounds(&self) -> &[Interval] {
        &self.bounds
    }
    fn rows(&self) -> &[Row] {
        &[]
    }
    fn residual_weights(&self) -> &[f64] {
        &self.weights
    }
    fn evaluate(&mut self, x: &[f64], out: &mut Evaluation) -> Result<(), NotEvaluable> {
        for (value, residual) in out.residuals.iter_mut().zip(&mut self.residuals) {
            *value = residual.value(x);
        }
        out.objective = self
            .objective
            .as_mut()
            .map_or(0.0, |formula| formula.value(x));
        Ok(())
    }
    fn differentiate(&mut self, x: &[f64], out: &mut Derivatives) -> Result<(), NotEvaluable> {
        let slopes = out.residuals.chunks_exact_mut(x.len());
        for (slopes, residual) in slopes.zip(&mut self.residuals) {
            residual.gradient(x, slopes);
        }
        if let Some(formula) = &mut self.objective {
            formula.gradient(x, &mut out.objective);
        }
        Ok(())
    }
}

/// The distinct ends of 100 starts, which a small first trust region keeps in their basins.
fn minima(problem: &mut Plain) -> Vec<Outcome> {
    let mut solver = Minimiser::new(MinimiserSettings {
        radius: 0.03,
        ..MinimiserSettings::default()
    });
    let bounds = problem.bounds.clone();
    let mut found: Vec<Outcome> = Vec::new();
    for index in 0..100 {
        let outcome = solver.solve(problem, &start(index, &bounds));
        assert_eq!(outcome.stop, Stop::Converged, "{outcome:?}");
        let near = |other: &Outcome| {
            let pairs = other.x.iter().zip(&outcome.x);
            pairs.into_iter().all(|(a, b)| (a - b).abs() < 1e-4)
        };
        if !found.iter().any(near) {
            found.push(outcome);
        }
    }
    found
}

fn names() -> [String; 2] {
    ["x1", "x2"].map(String::from)
}

#[test]
fn all_four_minima_of_himmelblau_are_found() {
    let all = data("multimodal");
    let set = &all["himmelblau"];
    let mut problem = Plain {
        bounds: vec![Interval::new(-5.0, 5.0); 2],
        weights: vec![1.0; 2],
        residuals: texts(&set["residuals"])
            .into_iter()
            .map(|text| Formula::parse(text, &names()))
            .collect(),
        objective: None,
    };
    let found = minima(&mut problem);
    for minimum in set["minima_all_zero"].as_array().unwrap() {
        let minimum = numbers(minimum);
        assert!(found.iter().any(|outcome| {
            outcome.objective < 1e-18
                && (outcome.x[0] - minimum[0]).abs() < 1e-9
                && (outcome.x[1] - minimum[1]).abs() < 1e-9
        }));
    }
}

#[test]
fn all_six_minima_of_the_camel_are_found() {
    let all = data("multimodal");
    let set = &all["six_hump_camel"];
    let mut problem = Plain {
        bounds: vec![Interval::new(-3.0, 3.0), Interval::new(-2.0, 2.0)],
        weights: Vec::new(),
        residuals: Vec::new(),
        objective: Some(Formula::parse(set["minimise"].as_str().unwrap(), &names())),
    };
    let found = minima(&mut problem);
    for minimum in set["minima"].as_array().unwrap() {
        let x = numbers(&minimum["x"]);
        let value = minimum["f"].as_f64().unwrap();
        assert!(found.iter().any(|outcome| {
            (outcome.objective - value).abs() < 1e-9
                && (outcome.x[0] - x[0]).abs() < 1e-6
                && (outcome.x[1] - x[1]).abs() < 1e-6
        }));
    }
}
