//! Smallest and largest clearances over the travel against a sweep of 2,000 steps.

use super::clearance_at;
use approx::assert_abs_diff_eq;
use pivotwright::curves::Suspension;
use pivotwright::input::{Clearance, Layout, Relation};
use pivotwright::mechanism::Plan;
use pivotwright::room::{Room, Sweep, neighbours};
use serde_json::{Value, json};

const STEPS: u32 = 2000;

/// The demo's four-bar with parts of every shape on every body.
pub fn furnished() -> Layout {
    let text = include_str!("../../../demo-data/trail-crew-m.layout.json");
    let mut layout: Value = serde_json::from_str(text).unwrap();
    layout["parts"] = json!({
        "tyre": {"circle": "axle", "diameter": 736},
        "seat_tube": {"polygon": [[-6, 60], [22, 60], [-80, 480], [-115, 480]]},
        "post": {"capsule": [[-39, 243], [-114, 535]], "diameter": 31.6},
        "bottle": {"polygon": [[117, 248], [228, 389], [286, 343], [175, 202]]},
        "yoke": {"polygon": [[0, 40], [-60, 90], [-70, 40]], "body": "chain_stay", "diameter": 6},
        "caliper": {"polygon": [[-400, 80], [-340, 110], [-350, 150], [-420, 120]],
                    "body": "seat_stay"},
        "seat_stay": {"capsule": ["axle", "rocker_stay"], "diameter": 20},
        "bump": {"circle": [40, 290], "diameter": 18, "body": "rocker"},
        "rocker_arm": {"capsule": ["rocker_pivot", "rocker_stay"], "diameter": 30},
        "body": {"along_shock": "shock_rocker", "from": 30, "to": 120, "diameter": 52},
        "reservoir": {"along_shock": "shock_rocker", "from": 20, "to": 100, "offset": 50,
                      "diameter": 40},
        "shaft": {"along_shock": "shock_frame", "to": 110, "diameter": 22},
        "upper_chain": {"chain": "upper", "diameter": 9},
        "lower_chain": {"chain": "lower", "cogs": [10, 24, 51]},
        "bb": {"circle": [0, 0], "diameter": 46}
    });
    Layout::from_json("furnished", &layout.to_string()).unwrap_or_else(|faults| panic!("{faults}"))
}

fn whole_and_part() -> [(f64, f64); 2] {
    [(0.0, 1.0), (0.15, 0.8)]
}

#[test]
fn extremes_over_the_travel_are_those_of_a_fine_sweep() {
    let layout = furnished();
    let plan = Plan::compile("furnished", &layout.mechanism).unwrap();
    let suspension = Suspension::new(&plan, "furnished", &layout).unwrap();
    let mut clearances = neighbours(&layout);
    assert!(clearances.len() > 60, "{}", clearances.len());
    // Several at once change places on the way.
    let named = |name: &str| {
        layout
            .parts
            .iter()
            .find(|part| part.name == name)
            .unwrap()
            .clone()
    };
    clearances.push(Clearance {
        relation: Relation::Apart,
        first: ["tyre", "seat_stay", "upper_chain"].map(named).to_vec(),
        second: ["seat_tube", "post", "bottle"].map(named).to_vec(),
    });
    clearances.push(Clearance {
        relation: Relation::Inside,
        first: ["seat_stay", "caliper"].map(named).to_vec(),
        second: vec![named("tyre")],
    });
    let room = Room::new(&plan, suspension.bicycle(), &clearances);
    let sweep = Sweep::new(&suspension, &room);
    let mut between = 0;
    for (gap, clearance) in clearances.iter().enumerate() {
        for (from, to) in whole_and_part() {
            // Every pair over the whole travel, the last over a part of it too.
            if to < 1.0 && gap + 3 < clearances.len() {
                continue;
            }
            let seen: Vec<f64> = (0..=STEPS)
                .map(|step| from + (to - from) * f64::from(step) / f64::from(STEPS))
                .map(|q| clearance_at(&suspension, clearance, q))
                .collect();
            let least = seen.iter().copied().fold(f64::INFINITY, f64::min);
            let most = seen.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            let [smallest, largest] = [sweep.smallest(gap, from, to), sweep.largest(gap, from, to)];
            for (nearest, seen) in [(&smallest, least), (&largest, most)] {
                let parts = nearest.parts.each_ref().map(|part| &*part.name);
                assert!(
                    (nearest.value - seen).abs() < 0.01,
                    "{parts:?}: {} {seen}",
                    nearest.value
                );
                let there = clearance_at(&suspension, clearance, nearest.parameter);
                assert_abs_diff_eq!(nearest.value, there, epsilon = 1e-8);
            }
            assert!(smallest.value <= least + 1e-9 && largest.value >= most - 1e-9);
            between += u32::from(smallest.parameter > from && smallest.parameter < to);
        }
    }
    assert!(between > 5, "only {between} are smallest between the ends");
}

#[test]
fn pairs_that_say_nothing_are_left_out() {
    let layout = furnished();
    let pairs = neighbours(&layout);
    let has = |one: &str, other: &str| {
        pairs.iter().any(|pair| {
            let names = [&*pair.first[0].name, &*pair.second[0].name];
            names == [one, other] || names == [other, one]
        })
    };
    assert!(has("tyre", "seat_tube") && has("body", "bottle") && has("upper_chain", "yoke"));
    // One body carries both, a point is common, or they belong together.
    assert!(!has("seat_tube", "post") && !has("tyre", "caliper"));
    assert!(!has("tyre", "seat_stay") && !has("upper_chain", "bb"));
    assert!(!has("body", "shaft") && !has("upper_chain", "lower_chain"));
}
