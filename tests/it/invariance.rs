//! What must not change a result: names, order, place, size, side.

use crate::linkages::{CLOSURES, KINDS, Random, movable, read};
use pivotwright::curves::Suspension;
use pivotwright::input::Curve;
use pivotwright::mechanism::Plan;
use serde_json::{Map, Value, json};

/// A new name for every point and body, except the frame.
pub fn new_name(name: &str) -> String {
    if name == "frame" {
        return name.to_owned();
    }
    let reversed: String = name.chars().rev().collect();
    format!("zz {reversed}")
}

fn renamed(value: &Value) -> Value {
    match value {
        Value::String(name) => json!(new_name(name)),
        Value::Array(list) => list.iter().map(renamed).collect(),
        other => other.clone(),
    }
}

fn shuffled(object: &Value, random: &mut Random) -> Value {
    let mut entries: Vec<(String, Value)> = object
        .as_object()
        .unwrap()
        .iter()
        .map(|(name, value)| (new_name(name), renamed(value)))
        .collect();
    random.shuffle(&mut entries);
    Value::Object(entries.into_iter().collect::<Map<_, _>>())
}

/// The same layout with every name changed, everything in another order, the shock turned round.
pub fn disguised(file: &Value, random: &mut Random) -> Value {
    let mut file = file.clone();
    let mechanism = &mut file["mechanism"];
    mechanism["points"] = shuffled(&mechanism["points"], random);
    mechanism["bodies"] = shuffled(&mechanism["bodies"], random);
    for points in mechanism["bodies"].as_object_mut().unwrap().values_mut() {
        random.shuffle(points.as_array_mut().unwrap());
    }
    mechanism["shock"]["ends"] = renamed(&mechanism["shock"]["ends"]);
    mechanism["shock"]["ends"].as_array_mut().unwrap().reverse();
    for key in ["brake_body", "axle_body"] {
        if mechanism.get(key).is_some() {
            mechanism[key] = renamed(&mechanism[key]);
        }
    }
    file["bicycle"]["rear_axle"] = renamed(&file["bicycle"]["rear_axle"]);
    if let Some(idler) = file["bicycle"].get_mut("idler") {
        idler["point"] = renamed(&idler["point"]);
    }
    file
}

/// Curves at six strokes, all cogs.
fn curves(file: &Value, wanted: &[Curve]) -> Vec<f64> {
    let layout = read(file);
    let plan = Plan::compile("random", &layout.mechanism).unwrap();
    let suspension = Suspension::new(&plan, "random", &layout).unwrap();
    let mut all = Vec::new();
    for part in 0..=5 {
        let stroke = suspension.full_stroke() * f64::from(part) / 5.0;
        let state = suspension.state(suspension.parameter_at_stroke(stroke));
        for &curve in wanted {
            for &cog in suspension.bicycle().cogs() {
                all.push(suspension.value(curve, &state, cog));
            }
        }
    }
    all
}

fn same(what: &str, ours: &[f64], expected: &[f64]) {
    assert_eq!(ours.len(), expected.len());
    for (index, (ours, expected)) in ours.iter().zip(expected).enumerate() {
        assert!(
            (ours - expected).abs() < 1e-9 * expected.abs().max(1.0),
            "{what}, value {index}: {ours} is not {expected}"
        );
    }
}

fn for_each_file(seed: u64, mut check: impl FnMut(&str, &Value)) {
    for (index, kind) in KINDS.iter().chain(&CLOSURES).enumerate() {
        for file in movable(kind, seed + index as u64, 2) {
            check(kind.name, &file);
        }
    }
}

#[test]
fn names_and_order_change_no_curve() {
    let mut random = Random::new(5);
    for_each_file(400, |name, file| {
        let expected = curves(file, &Curve::ALL);
        let ours = curves(&disguised(file, &mut random), &Curve::ALL);
        same(name, &ours, &expected);
    });
}

/// The layout with every point of the mechanism moved, on a bicycle long enough for it.
fn moved(file: &Value, map: impl Fn(f64, f64) -> [f64; 2], stroke: f64) -> Value {
    let mut file = file.clone();
    let mechanism = &mut file["mechanism"];
    for place in mechanism["points"].as_object_mut().unwrap().values_mut() {
        *place = json!(map(place[0].as_f64().unwrap(), place[1].as_f64().unwrap()));
    }
    let full = mechanism["shock"]["stroke"].as_f64().unwrap();
    mechanism["shock"]["stroke"] = json!(full * stroke);
    file["bicycle"]["front_axle"] = json!([3000.0, 22.0]);
    // Where the chain runs does not matter to the linkage.
    file["bicycle"].as_object_mut().unwrap().remove("idler");
    file
}

const LEVERAGE: [Curve; 1] = [Curve::LeverageRate];

#[test]
fn a_shift_changes_neither_leverage_nor_path() {
    for_each_file(430, |name, file| {
        let shifted = moved(file, |x, y| [x - 31.0, y + 17.0], 1.0);
        same(name, &curves(&shifted, &LEVERAGE), &curves(file, &LEVERAGE));
        let forward: Vec<f64> = curves(&shifted, &[Curve::AxleX])
            .iter()
            .map(|x| x + 31.0)
            .collect();
        same(name, &forward, &curves(file, &[Curve::AxleX]));
        same(
            name,
            &curves(&shifted, &[Curve::Travel]),
            &curves(file, &[Curve::Travel]),
        );
    });
}

#[test]
fn a_mirrored_linkage_has_the_same_leverage_and_the_mirrored_path() {
    for_each_file(460, |name, file| {
        let mirrored = moved(file, |x, y| [-x, y], 1.0);
        same(
            name,
            &curves(&mirrored, &LEVERAGE),
            &curves(file, &LEVERAGE),
        );
        let forward: Vec<f64> = curves(&mirrored, &[Curve::AxleX])
            .iter()
            .map(|x| -x)
            .collect();
        same(name, &forward, &curves(file, &[Curve::AxleX]));
    });
}

#[test]
fn a_larger_linkage_has_the_same_leverage_and_the_larger_path() {
    for_each_file(490, |name, file| {
        let larger = moved(file, |x, y| [1.7 * x, 1.7 * y], 1.7);
        same(name, &curves(&larger, &LEVERAGE), &curves(file, &LEVERAGE));
        let travel: Vec<f64> = curves(&larger, &[Curve::Travel])
            .iter()
            .map(|z| z / 1.7)
            .collect();
        same(name, &travel, &curves(file, &[Curve::Travel]));
    });
}
