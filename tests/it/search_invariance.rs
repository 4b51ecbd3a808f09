//! What must not change what a search finds or what a layout is worth.

use crate::invariance::{disguised, new_name};
use crate::linkages::{CLOSURES, KINDS, Random, movable, read};
use crate::planted::own_curves;
use crate::trial::{Found, Trial, moved};
use pivotwright::design::Assessment;
use pivotwright::input::ObjectiveSet;
use serde_json::{Map, Value, json};

fn four_bar() -> Value {
    let text = include_str!("../../demo-data/trail-crew-m.layout.json");
    serde_json::from_str(text).unwrap()
}

/// Sizes of the residuals of a layout, its score and violation. Of two extremes that are equally
/// far off, rounding tells which is the worst, so the sign tells nothing.
fn worth(layout: &Value, set: &ObjectiveSet) -> Vec<f64> {
    moved(&read(layout), |suspension| {
        let assessment = Assessment::new(suspension, &[set], &[]);
        let residuals = assessment
            .targets
            .iter()
            .map(|target| target.residual.abs());
        residuals
            .chain([assessment.score(), assessment.violation()])
            .collect()
    })
}

#[test]
fn names_and_order_change_no_score() {
    for (index, kind) in KINDS.iter().chain(&CLOSURES).enumerate() {
        let seed = 40 + index as u64;
        let layout = &movable(kind, seed, 1)[0];
        let mut targets = moved(&read(layout), own_curves);
        // Off its own curves, so that every residual is a number to compare.
        for target in &mut targets {
            if let Some(value) = target.get("value").and_then(Value::as_f64) {
                let within = target["within"].as_f64().unwrap();
                target["value"] = json!(value + 0.7 * within);
            }
        }
        targets.push(
            json!({"curve": "anti_squat", "over": ["top", "end"], "cogs": "all",
            "spread_within": 50}),
        );
        let set = json!({"name": "own", "targets": targets}).to_string();
        let set = ObjectiveSet::from_json("own", &set).unwrap();
        let other = disguised(layout, &mut Random::new(seed));
        for (one, two) in worth(layout, &set).into_iter().zip(worth(&other, &set)) {
            let near = (one - two).abs() <= 1e-9 * one.abs().max(1.0);
            assert!(near, "{}: {one} and {two}", kind.name);
        }
    }
}

fn trial(layout: Value, name: impl Fn(&str) -> String) -> Trial {
    let targets = moved(&read(&four_bar()), own_curves);
    let mut free = json!({});
    for point in ["main_pivot", "stay_pivot", "rocker_stay"] {
        let place = &four_bar()["mechanism"]["points"][point];
        let (x, y) = (place[0].as_f64().unwrap(), place[1].as_f64().unwrap());
        free[name(point)] = json!({"x": [x - 12.0, x + 18.0], "y": [y - 18.0, y + 12.0]});
    }
    free[name("shock_frame")] = json!({"from": name("shock_rocker"), "angle": [-100, -85]});
    let mut trial = Trial::new(layout, targets, free);
    trial.limits = vec![json!({"angle": [name("stay_pivot"), name("rocker_stay"),
        name("rocker_pivot")], "between": [30, 150], "over": ["top", "end"]})];
    trial
}

fn scores(found: &Found) -> Vec<f64> {
    let layouts = &found.study.layouts;
    layouts.iter().map(|ranked| ranked.score).collect()
}

#[test]
fn renamed_points_give_the_same_ranking_bit_for_bit() {
    let one = trial(four_bar(), str::to_owned).search();
    let mut layout = four_bar();
    let points = layout["mechanism"]["points"].as_object().unwrap();
    let points: Map<String, Value> = points
        .iter()
        .map(|(name, place)| (new_name(name), place.clone()))
        .collect();
    layout["mechanism"]["points"] = points.into();
    for names in layout["mechanism"]["bodies"]
        .as_object_mut()
        .unwrap()
        .values_mut()
        .chain([&mut json!([])])
    {
        for name in names.as_array_mut().unwrap() {
            *name = json!(new_name(name.as_str().unwrap()));
        }
    }
    for end in layout["mechanism"]["shock"]["ends"].as_array_mut().unwrap() {
        *end = json!(new_name(end.as_str().unwrap()));
    }
    layout["bicycle"]["rear_axle"] = json!(new_name("axle"));
    let two = trial(layout, new_name).search();
    assert!(one.feasible() && one.study.layouts.len() > 1);
    assert_eq!(scores(&one), scores(&two));
    assert_eq!(one.study.evaluations, two.study.evaluations);
    assert_eq!(
        one.positions("rocker_stay"),
        two.positions(&new_name("rocker_stay"))
    );
}

#[test]
fn reordered_points_and_bodies_give_the_same_ranking() {
    let one = trial(four_bar(), str::to_owned).search();
    for seed in 1..4 {
        let mut random = Random::new(seed);
        let mut layout = four_bar();
        for key in ["points", "bodies"] {
            let entries = layout["mechanism"][key].as_object().unwrap().clone();
            let mut entries: Vec<(String, Value)> = entries.into_iter().collect();
            random.shuffle(&mut entries);
            layout["mechanism"][key] = entries.into_iter().collect::<Map<_, _>>().into();
        }
        let two = trial(layout, str::to_owned).search();
        assert_eq!(one.study.endings, two.study.endings);
        assert_eq!(one.study.layouts.len(), two.study.layouts.len());
        for (a, b) in scores(&one).into_iter().zip(scores(&two)) {
            assert!((a - b).abs() < 1e-6, "{a} and {b}");
        }
    }
}
