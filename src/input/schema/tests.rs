use super::*;
use crate::input::{BriefFile, Layout, ObjectiveSet, brief, layout, objectives, quantity};
use serde_json::{Value, json};

fn valid(kind: Kind) -> Value {
    match kind {
        Kind::Layout => layout::tests::valid(),
        Kind::Objectives => json!({"name": "even", "targets": objectives::tests::valid()}),
        Kind::Brief => brief::tests::valid(),
    }
}

fn reader_accepts(kind: Kind, value: &Value) -> bool {
    let text = value.to_string();
    match kind {
        Kind::Layout => Layout::from_json("f", &text).is_ok(),
        Kind::Objectives => ObjectiveSet::from_json("f", &text).is_ok(),
        Kind::Brief => BriefFile::from_json("f", &text).is_ok_and(|file| {
            // Resolving may fault but must not panic.
            let layout = layout::tests::valid().to_string();
            drop(file.resolve(Layout::from_json("m", &layout).unwrap(), Vec::new()));
            true
        }),
    }
}

/// Puts each value at its JSON pointer (null removes the key): schema and reader must agree.
fn check(kind: Kind, catalogue: &[(&str, Value, bool)]) {
    let schema: Value = serde_json::from_str(text(kind)).unwrap();
    assert!(jsonschema::meta::is_valid(&schema), "{kind:?}");
    let validator = jsonschema::validator_for(&schema).unwrap();
    let untouched = ("", Value::Null, true);
    for (pointer, value, good) in std::iter::once(&untouched).chain(catalogue) {
        let mut changed = valid(kind);
        if let Some((parent, key)) = pointer.rsplit_once('/') {
            match changed.pointer_mut(parent).unwrap() {
                Value::Array(items) => items[key.parse::<usize>().unwrap()] = value.clone(),
                Value::Object(entries) if value.is_null() => drop(entries.remove(key)),
                parent => parent[key] = value.clone(),
            }
        }
        assert_eq!(
            validator.is_valid(&changed),
            *good,
            "schema, {pointer}: {value}"
        );
        assert_eq!(
            reader_accepts(kind, &changed),
            *good,
            "reader, {pointer}: {value}"
        );
    }
}

#[test]
fn layouts_are_judged_alike_by_schema_and_reader() {
    let idler = json!({"point": "guide", "teeth": 16, "wrap": "under"});
    check(
        Kind::Layout,
        &[
            ("/name", json!(" "), false),
            ("/name", Value::Null, false),
            ("/colour", json!("red"), false),
            ("/bicycle/sag", Value::Null, true),
            ("/bicycle/sag/fraction", json!(30), false),
            ("/bicycle/sag/of", Value::Null, false),
            ("/bicycle/idler", Value::Null, true),
            ("/bicycle/idler", idler, true),
            ("/bicycle/idler/wrap", json!("above"), false),
            ("/bicycle/fork_compression", json!(20), true),
            ("/bicycle/fork_compression", json!("fixed"), false),
            ("/bicycle/fork_compression", Value::Null, true),
            ("/bicycle/fork_travel", json!(-1), false),
            ("/bicycle/head_angle", json!(90), true),
            ("/bicycle/head_angle", json!(91), false),
            ("/bicycle/rear_wheel_radius", json!(29), false),
            ("/bicycle/chainring_teeth", json!(32.0), true),
            ("/bicycle/chainring_teeth", json!(32.5), false),
            ("/bicycle/cassette_teeth", json!([]), false),
            ("/bicycle/cassette_teeth", json!([20, 11]), true),
            ("/bicycle/cassette_teeth", json!([20, 20]), false),
            ("/bicycle/front_axle", json!([700]), false),
            ("/bicycle/front_axle", json!([20000, 0]), false),
            ("/mechanism/sliders", json!({}), false),
            ("/mechanism/bodies/frame", Value::Null, false),
            ("/mechanism/bodies/spare", json!(["axle"]), false),
            ("/mechanism/brake_body", json!("rocker"), true),
            ("/mechanism/brake_body", json!("frame"), false),
            ("/mechanism/axle_body", json!("seat_stay"), true),
            ("/mechanism/shock/stroke", json!(0), false),
            ("/mechanism/shock/stroke", json!("55"), false),
            ("/mechanism/shock/ends", json!(["shock_frame"]), false),
        ],
    );
}

#[test]
fn objectives_are_judged_alike_by_schema_and_reader() {
    let target = |value: Value, good| ("/targets/0", value, good);
    let rise = |key: &str, value: Value, good: bool| {
        let mut target = json!({"curve": "anti_rise", "over": ["top", "end"]});
        target[key] = value;
        ("/targets/0", target, good)
    };
    check(
        Kind::Objectives,
        &[
            ("/targets", json!([]), false),
            ("/targets/0/weight", json!(0), false),
            ("/targets/0/weight", json!(2), true),
            ("/targets/0/within", Value::Null, false),
            ("/targets/0/value", Value::Null, false),
            ("/targets/0/between", json!([1, 2]), false),
            ("/targets/0/at", json!("middle"), false),
            ("/targets/0/at", json!(1), true),
            ("/targets/0/at", json!(30), false),
            ("/targets/0/at", Value::Null, false),
            ("/targets/0/over", json!(["top", "end"]), false),
            ("/targets/0/cogs", json!("all"), false),
            ("/targets/0/curve", json!("anti_squat"), false),
            ("/targets/0/curve", json!("instant_centre"), false),
            ("/targets/0/curve", json!("progression"), false),
            ("/targets/3/cogs", json!([20]), true),
            ("/targets/3/cogs", json!([]), false),
            ("/targets/3/cogs", json!("some"), false),
            ("/targets/4/cogs", json!([20]), false),
            ("/targets/4/cogs", json!("all"), true),
            ("/targets/7/cogs", json!("all"), false),
            rise("straight_within", json!(1), true),
            rise("straight_within", json!(-1), false),
            rise("monotone", json!("rising"), true),
            rise("monotone", json!("down"), false),
            rise("spread_within", json!(3), true),
            rise("between", json!([1]), false),
            rise("over", json!(["top", "end"]), false),
            target(
                json!({"curve": "travel", "over": ["end", "top"], "spread_within": 1}),
                false,
            ),
            target(
                json!({"curve": "travel", "over": [0.2, 0.5], "spread_within": 1}),
                true,
            ),
            target(
                json!({"curve": "travel", "at": "end", "monotone": "rising"}),
                false,
            ),
            target(json!({"curve": "progression", "spread_within": 1}), false),
        ],
    );
}

#[test]
fn briefs_are_judged_alike_by_schema_and_reader() {
    let coordinate = |key: &str, value: Value, good: bool| {
        let mut limit = json!({"coordinate": "axle.x"});
        limit[key] = value;
        ("/limits/0", limit, good)
    };
    check(
        Kind::Brief,
        &[
            ("/free", Value::Null, false),
            ("/free", json!({}), false),
            ("/free/main_pivot", json!({}), false),
            ("/free/main_pivot", json!({"from": "axle"}), true),
            ("/free/main_pivot/z", json!([0, 1]), false),
            ("/free/main_pivot/angle", json!([0, 1]), false),
            ("/free/shock_frame/from", Value::Null, false),
            ("/free/main_pivot/x", json!([0]), false),
            ("/objectives", json!([]), false),
            ("/objectives", json!(["a", "a"]), false),
            ("/shock_sizes", json!([]), true),
            ("/shock_sizes/0/stroke", json!(0), false),
            ("/shock_sizes/0/stroke", Value::Null, false),
            ("/shock_sizes/0", json!({"stock": "eyelet"}), true),
            (
                "/shock_sizes/0",
                json!({"stock": "trunnion", "stroke": [50, 60]}),
                true,
            ),
            ("/shock_sizes/0", json!({"stock": "eye"}), false),
            (
                "/shock_sizes/0",
                json!({"stock": "eyelet", "stroke": 60}),
                false,
            ),
            ("/chainring_teeth", json!([30, 32.0]), true),
            ("/chainring_teeth", json!([]), false),
            ("/chainring_teeth", json!([30, 30]), false),
            ("/chainring_teeth", json!([5]), false),
            ("/chainring_teeth", json!([101]), false),
            ("/chainring_teeth", json!([30.5]), false),
            ("/chainring_teeth", json!(30), false),
            ("/search/rank", json!("per_size"), true),
            ("/search/rank", json!("each"), false),
            (
                "/parts",
                json!({"ring": {"chain": "chainring", "diameter": 9}}),
                true,
            ),
            (
                "/parts",
                json!({"ring": {"chain": "chainring", "cogs": [11]}}),
                false,
            ),
            ("/parts", json!({}), true),
            (
                "/parts",
                json!({"tyre": {"circle": [0, 0], "diameter": 700}}),
                true,
            ),
            ("/parts", json!({"tyre": {"circle": "axle"}}), false),
            (
                "/regions",
                json!({"room": {"polygon": [[0, 0], [9, 0], [0, 9]]}}),
                true,
            ),
            ("/regions", json!([]), false),
            (
                "/limits/0",
                json!({"clearance": ["axle", ["guide"]], "at_least": -2}),
                true,
            ),
            (
                "/limits/0",
                json!({"inside": ["axle"], "at_least": 2}),
                false,
            ),
            ("/limits", Value::Null, true),
            coordinate("at_least", json!(-20), true),
            coordinate("between", json!([-20, 20]), true),
            coordinate("over", json!(["top", "end"]), false),
            coordinate("coordinate", json!("axle"), false),
            ("/limits/0/at_least", json!(-1), false),
            ("/limits/0/at_most", json!(9), false),
            ("/limits/1/between", json!([0, 190]), false),
            ("/limits/1/angle", json!(["axle", "guide"]), false),
            ("/limits/1/over", json!(["end", "top"]), false),
            ("/search", json!({}), true),
            ("/search/seed", json!(u64::MAX), true),
            ("/search/seed", json!(-1), false),
            ("/search/starts", json!(0), false),
            ("/search/tries", json!(9), false),
        ],
    );
}

#[test]
fn schema_and_program_know_the_same_names() {
    let schema: Value = serde_json::from_str(text(Kind::Objectives)).unwrap();
    let names = |key: &str| {
        let names = schema["$defs"][key]["enum"].as_array().unwrap().iter();
        names
            .map(|name| name.as_str().unwrap().to_owned())
            .collect::<Vec<_>>()
    };
    let curves = |by_cog: bool| {
        let curves = quantity::Curve::ALL.into_iter();
        let curves = curves.filter(|curve| curve.depends_on_cog() == by_cog);
        curves
            .map(|curve| curve.name().to_owned())
            .collect::<Vec<_>>()
    };
    assert_eq!(names("curve_of_each_cog"), curves(true));
    assert_eq!(names("curve_of_all_cogs"), curves(false));
    let summaries = quantity::Summary::ALL
        .into_iter()
        .map(quantity::Summary::name);
    assert_eq!(names("summary"), summaries.collect::<Vec<_>>());
}

/// The JSON pointers of everything within `value`.
fn pointers(value: &Value, here: &str, all: &mut Vec<String>) {
    let children: Vec<_> = match value {
        Value::Array(items) => items
            .iter()
            .enumerate()
            .map(|(i, item)| (i.to_string(), item))
            .collect(),
        Value::Object(entries) => entries
            .iter()
            .map(|(key, item)| (key.clone(), item))
            .collect(),
        _ => Vec::new(),
    };
    for (key, child) in children {
        let pointer = format!("{here}/{key}");
        pointers(child, &pointer, all);
        all.push(pointer);
    }
}

#[test]
fn whatever_stands_anywhere_is_judged_and_what_a_reader_accepts_the_schema_does() {
    let odd = [
        json!(null),
        json!(true),
        json!(0),
        json!(-1),
        json!(1),
        json!(0.5),
        json!(30),
        json!(1e300),
        json!(""),
        json!("top"),
        json!("axle"),
        json!("frame"),
        json!("all"),
        json!("axle.x"),
        json!([]),
        json!([0]),
        json!([0, 1]),
        json!([1, 0]),
        json!(["axle", "guide"]),
        json!([20, 25]),
        json!(["top", "end"]),
        json!({}),
        json!({"from": "axle"}),
        json!({"x": [0, 1]}),
    ];
    for kind in [Kind::Layout, Kind::Objectives, Kind::Brief] {
        let schema: Value = serde_json::from_str(text(kind)).unwrap();
        let validator = jsonschema::validator_for(&schema).unwrap();
        let mut all = Vec::new();
        pointers(&valid(kind), "", &mut all);
        for pointer in all {
            for value in &odd {
                let mut changed = valid(kind);
                *changed.pointer_mut(&pointer).unwrap() = value.clone();
                if reader_accepts(kind, &changed) {
                    assert!(validator.is_valid(&changed), "{kind:?} {pointer}: {value}");
                }
            }
        }
    }
}
