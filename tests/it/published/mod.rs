//! Published problems with known answers.
//!
//! The data are JSON files in `tests/it/data`; each names the origin of its numbers in its
//! `status`, `origin` or `source` entries.

mod constrained;
mod formula;
mod fourbar_synthesis;
mod multimodal;
mod regression;

use pivotwright::optimise::{Interval, unit_cube_point};
use serde_json::Value;

/// The check data in `tests/it/data/{name}.json`.
fn data(name: &str) -> Value {
    let path = format!("{}/tests/it/data/{name}.json", env!("CARGO_MANIFEST_DIR"));
    serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap()
}

/// The numbers of a JSON array.
fn numbers(value: &Value) -> Vec<f64> {
    let numbers = value.as_array().unwrap().iter();
    numbers.map(|number| number.as_f64().unwrap()).collect()
}

/// The texts of a JSON array.
fn texts(value: &Value) -> Vec<&str> {
    let texts = value.as_array().unwrap().iter();
    texts.map(|text| text.as_str().unwrap()).collect()
}

/// Start `index` in the box.
fn start(index: u64, bounds: &[Interval]) -> Vec<f64> {
    let mut point = vec![0.0; bounds.len()];
    unit_cube_point(1, index, &mut point);
    pivotwright::optimise::place(&mut point, bounds, 100.0);
    point
}
