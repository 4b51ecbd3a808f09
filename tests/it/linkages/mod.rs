//! Random plausible layouts of every kind, as layout files.
//!
//! - `kinds`: one drawing of each kind, to be varied.

mod kinds;

pub use kinds::{CLOSURES, KINDS, Kind};

use crate::oracle::{Oracle, OracleCurves, OracleEnd};
use pivotwright::input::{Curve, Layout};
use rand_xoshiro::Xoshiro256PlusPlus;
use rand_xoshiro::rand_core::{Rng, SeedableRng};
use serde_json::{Value, json};

/// Repeatable random numbers.
pub struct Random(Xoshiro256PlusPlus);

impl Random {
    pub fn new(seed: u64) -> Self {
        Self(Xoshiro256PlusPlus::seed_from_u64(seed))
    }

    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        let unit = (self.0.next_u64() >> 11) as f64 / (1_u64 << 53) as f64;
        low + (high - low) * unit
    }

    pub fn pick<'a, T>(&mut self, list: &'a [T]) -> &'a T {
        let index = usize::try_from(self.0.next_u64() % list.len() as u64).unwrap();
        &list[index]
    }

    pub fn shuffle<T>(&mut self, list: &mut [T]) {
        for last in (1..list.len()).rev() {
            let other = usize::try_from(self.0.next_u64() % (last as u64 + 1)).unwrap();
            list.swap(last, other);
        }
    }
}

/// A layout file of a plain bicycle with the given mechanism.
pub fn layout_of(mechanism: &Value) -> Value {
    json!({
        "name": "drawn for a test",
        "bicycle": {
            "rear_axle": "axle",
            "front_axle": [795.0, 22.0],
            "rear_wheel_radius": 368.0,
            "front_wheel_radius": 368.0,
            "head_angle": 64.5,
            "fork_travel": 160.0,
            "fork_compression": "proportional",
            "centre_of_mass": [30.0, 800.0],
            "chainring_teeth": 32,
            "cassette_teeth": [10, 14, 21, 33, 52],
            "sag": {"fraction": 0.3, "of": "travel"}
        },
        "mechanism": mechanism
    })
}

/// The same layout with parts of every shape around it.
pub fn with_parts(file: &Value) -> Value {
    let mut file = file.clone();
    let mechanism = &file["mechanism"];
    let eye = mechanism["shock"]["ends"][0].clone();
    let moving = mechanism["bodies"].as_object().unwrap().iter();
    let (body, points) = moving.clone().find(|(name, _)| *name != "frame").unwrap();
    let (body, link) = (body.clone(), [points[0].clone(), points[1].clone()]);
    file["parts"] = json!({
        "tyre": {"circle": "axle", "diameter": 700},
        "tube": {"capsule": [[8, 60], [-100, 480]], "diameter": 35},
        "bottle": {"polygon": [[175, 202], [286, 343], [228, 389], [117, 248]]},
        "shock_body": {"along_shock": eye, "from": 20, "to": 110, "diameter": 50},
        "link": {"capsule": link, "diameter": 20},
        "tab": {"polygon": [[-60, 130], [-10, 140], [-30, 190]], "body": body},
        "upper_chain": {"chain": "upper", "diameter": 9}
    });
    file
}

pub fn read(file: &Value) -> Layout {
    match Layout::from_json("random", &file.to_string()) {
        Ok(layout) => layout,
        Err(faults) => panic!("{file} is refused: {faults:?}"),
    }
}

/// A bicycle of random measures around the same mechanism.
fn vary_bicycle(file: &mut Value, random: &mut Random) {
    let bicycle = &mut file["bicycle"];
    bicycle["front_axle"] = json!([random.between(700.0, 860.0), random.between(-15.0, 45.0)]);
    bicycle["rear_wheel_radius"] = json!(random.between(330.0, 375.0));
    bicycle["front_wheel_radius"] = json!(random.between(330.0, 380.0));
    bicycle["head_angle"] = json!(random.between(62.0, 70.0));
    bicycle["fork_travel"] = json!(random.between(100.0, 200.0));
    if random.between(0.0, 1.0) < 0.4 {
        bicycle["fork_compression"] = json!(random.between(0.0, 60.0));
    }
    bicycle["centre_of_mass"] = json!([random.between(-60.0, 90.0), random.between(600.0, 950.0)]);
    bicycle["chainring_teeth"] = json!(random.pick(&[28, 30, 32, 34]));
    let of = random.pick(&["travel", "stroke"]);
    bicycle["sag"] = json!({"fraction": random.between(0.2, 0.4), "of": of});
}

/// A drawing of `kind` with every point moved by up to `spread` mm; points that coincide in
/// the drawing stay together.
pub fn vary(kind: &Kind, random: &mut Random, spread: f64, stroke: [f64; 2]) -> Value {
    let mut file = layout_of(&(kind.mechanism)());
    vary_bicycle(&mut file, random);
    if let Some(idler) = (kind.idler)() {
        file["bicycle"]["idler"] = idler;
    }
    let mechanism = &mut file["mechanism"];
    let mut moved: Vec<([f64; 2], [f64; 2])> = Vec::new();
    for place in mechanism["points"].as_object_mut().unwrap().values_mut() {
        let drawn = [place[0].as_f64().unwrap(), place[1].as_f64().unwrap()];
        let known = moved.iter().find(|(before, _)| *before == drawn);
        let now = known.map_or_else(
            || drawn.map(|c| c + random.between(-spread, spread)),
            |(_, now)| *now,
        );
        moved.push((drawn, now));
        *place = json!(now);
    }
    mechanism["shock"]["stroke"] = json!(random.between(stroke[0], stroke[1]));
    if random.between(0.0, 1.0) < 0.5 {
        mechanism["shock"]["ends"].as_array_mut().unwrap().reverse();
    }
    file
}

/// Whether a layout that moves over its stroke is one that somebody could ride: leverage
/// neither tiny nor huge anywhere, the wheel well under the mass.
fn rideable(layout: &Layout) -> bool {
    let Some(oracle) = Oracle::follow(layout) else {
        return false;
    };
    let curves = OracleCurves::new(&oracle);
    (0..=40).all(|part| {
        let stroke = oracle.stroke() * f64::from(part) / 40.0;
        let leverage = curves.value(Curve::LeverageRate, stroke, 0);
        (0.8..8.0).contains(&leverage)
    })
}

/// `count` random layouts of a kind that the oracle moves over their full stroke.
pub fn movable(kind: &Kind, seed: u64, count: usize) -> Vec<Value> {
    let mut random = Random::new(seed);
    let mut found = Vec::new();
    for _ in 0..200 * count {
        let file = vary(kind, &mut random, 25.0, [35.0, 70.0]);
        let layout = read(&file);
        if OracleEnd::find(&layout).is_none() && rideable(&layout) {
            found.push(file);
        }
        if found.len() == count {
            return found;
        }
    }
    panic!(
        "{}: only {} of {count} layouts move",
        kind.name,
        found.len()
    );
}
