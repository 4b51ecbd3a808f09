//! Nonlinear regression: six of the NIST/ITL Statistical Reference Datasets, with their
//! certified parameters, through the same minimiser as everything else.

use super::formula::Formula;
use super::{data, numbers};
use pivotwright::optimise::{
    Derivatives, Evaluation, Interval, Minimiser, MinimiserSettings, NotEvaluable, Outcome,
    Problem, Row,
};
use serde_json::Value;

struct Regression {
    bounds: Vec<Interval>,
    weights: Vec<f64>,
    model: Formula,
    x: Vec<f64>,
    y: Vec<f64>,
    point: Vec<f64>,
}

impl Regression {
    fn read(set: &Value) -> Self {
        let count = set["certified"].as_array().unwrap().len();
        let names = (1..=count).map(|k| format!("b{k}"));
        let names: Vec<String> = names.chain(["x".to_string()]).collect();
        let model = set["model"].as_str().unwrap();
        let model = model.strip_prefix("y = ").unwrap();
        let x = numbers(&set["x"]);
        Self {
            bounds: vec![Interval::FREE; count],
            weights: vec![1.0; x.len()],
            model: Formula::parse(model, &names),
            x,
            y: numbers(&set["y"]),
            point: Vec::new(),
        }
    }

    fn point(&mut self, parameters: &[f64], x: f64) {
        self.point.clear();
        self.point.extend_from_slice(parameters);
        self.point.push(x);
    }
}

impl Problem for Regression {
    fn bounds(&self) -> &[Interval] {
        &self.bounds
    }
    fn rows(&self) -> &[Row] {
        &[]
    }
    fn residual_weights(&self) -> &[f64] {
        &self.weights
    }
    fn evaluate(&mut self, b: &[f64], out: &mut Evaluation) -> Result<(), NotEvaluable> {
        for k in 0..self.x.len() {
            self.point(b, self.x[k]);
            out.residuals[k] = self.model.value(&self.point) - self.y[k];
        }
        Ok(())
    }
    fn differentiate(&mut self, b: &[f64], out: &mut Derivatives) -> Result<(), NotEvaluable> {
        for (k, slopes) in out.residuals.chunks_exact_mut(b.len()).enumerate() {
            self.point(b, self.x[k]);
            self.model.gradient(&self.point, slopes);
        }
        Ok(())
    }
}

/// Number of correct digits of the worst parameter.
fn digits(outcome: &Outcome, certified: &[f64]) -> f64 {
    let pairs = outcome.x.iter().zip(certified);
    let worst = pairs.fold(0.0, |worst: f64, (x, c)| worst.max(((x - c) / c).abs()));
    -worst.log10()
}

#[test]
fn parameters_agree_with_the_certified_ones_from_both_starts() {
    let all = data("nist_strd");
    for (name, set) in all["datasets"].as_object().unwrap() {
        let certified = numbers(&set["certified"]);
        let sum = set["rss"].as_f64().unwrap();
        for which in ["start1", "start2"] {
            let mut problem = Regression::read(set);
            let mut solver = Minimiser::new(MinimiserSettings {
                budget: 2000,
                ..MinimiserSettings::default()
            });
            let outcome = solver.solve(&mut problem, &numbers(&set[which]));
            let digits = digits(&outcome, &certified);
            assert!(digits > 6.0, "{name} {which}: {outcome:?}");
            assert!((outcome.objective / sum - 1.0).abs() < 1e-9);
        }
    }
}
