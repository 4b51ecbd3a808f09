//! Several sizes of shock and several chainrings in one brief.

use crate::trial::{Found, Trial, moved, search, variant};
use pivotwright::curves::pitch_radius;
use pivotwright::input::{Layout, Place, Variant};
use pivotwright::study::SizeTally;
use serde_json::{Value, json};

fn four_bar() -> Value {
    serde_json::from_str(include_str!("../../demo-data/trail-crew-m.layout.json")).unwrap()
}

/// Boxes about the pivots of the main frame and the shock's eye on it.
fn free(layout: &Value) -> Value {
    let mut free = json!({});
    for name in ["main_pivot", "rocker_pivot", "shock_rocker"] {
        let place = &layout["mechanism"]["points"][name];
        let side = |axis: usize| {
            let middle = place[axis].as_f64().unwrap();
            json!([middle - 18.0, middle + 18.0])
        };
        free[name] = json!({"x": side(0), "y": side(1)});
    }
    free["shock_frame"] = json!({"from": "shock_rocker", "angle": [-130, -60]});
    free
}

/// A leverage rate about that of the layout, and `more`.
fn trial(more: &[Value]) -> Trial {
    let layout = four_bar();
    let read = Layout::from_json("m", &layout.to_string()).unwrap();
    let rate = moved(&read, |suspension| {
        let sag = suspension.parameter_at(Place::Sag);
        suspension.state(sag).leverage_rate()
    });
    let mut targets =
        vec![json!({"curve": "leverage_rate", "at": "sag", "value": rate, "within": 0.1})];
    targets.extend_from_slice(more);
    let free = free(&layout);
    Trial::new(layout, targets, free)
}

fn size(eye_to_eye: f64, stroke: f64) -> Value {
    json!({"eye_to_eye": eye_to_eye, "stroke": stroke})
}

fn rows(found: &Found, tally: &SizeTally) -> usize {
    let own = Variant {
        size: tally.size,
        chainring_teeth: tally.chainring_teeth,
    };
    let layouts = found.study.layouts.iter();
    layouts.filter(|ranked| variant(ranked) == own).count()
}

/// Each found layout is read back and assessed afresh, its own chainring in it, by the trial.
#[test]
fn chainrings_are_tried_with_every_shock_in_turn() {
    // More of it with a smaller ring.
    let squat = json!({"curve": "anti_squat", "at": "sag", "cogs": [51], "between": [60, 130]});
    let mut trial = trial(&[squat]);
    trial.chainring_teeth = vec![28, 32, 36];
    trial.shock_sizes = vec![size(230.0, 60.0), size(230.0, 57.5)];
    trial.starts = 24;
    trial.per_size = true;
    let found = trial.search();
    assert!(found.feasible());
    let told: Vec<(f64, u32, u64)> = found
        .study
        .sizes
        .iter()
        .map(|tally| (tally.size.stroke, tally.chainring_teeth, tally.starts))
        .collect();
    let expected = [60.0, 57.5]
        .iter()
        .flat_map(|&stroke| [28, 32, 36].map(|ring| (stroke, ring, 4)))
        .collect::<Vec<_>>();
    assert_eq!(told, expected);
    for tally in &found.study.sizes {
        assert_eq!(rows(&found, tally) > 0, tally.feasible > 0, "{tally:?}");
    }
    let mut rings: Vec<u32> = found.layouts().map(|l| l.bicycle.chainring_teeth).collect();
    rings.sort_unstable();
    rings.dedup();
    assert!(rings.len() > 1, "{rings:?}");
}

/// A block below the bottom bracket leaves room for a ring of 30, not for one of 34.
#[test]
fn the_part_of_the_chainring_is_as_large_as_its_teeth() {
    let mut trial = trial(&[]);
    let (height, block, middle) = (9.0, 20.0, 80.0);
    trial.parts = json!({
        "ring": {"chain": "chainring", "diameter": height},
        "block": {"circle": [0, -middle], "diameter": block}
    });
    trial.limits = vec![json!({"clearance": ["ring", "block"], "at_least": 0})];
    trial.chainring_teeth = vec![30, 34];
    let found = trial.search();
    assert!(found.feasible());
    for ranked in &found.study.layouts {
        assert_eq!(ranked.layout.bicycle.chainring_teeth, 30);
        let room = middle - 0.5 * (block + height) - pitch_radius(30);
        let said = ranked.assessment.limits[0].value;
        assert!((said - room).abs() < 1e-9, "{said} {room}");
    }
    let feasible: Vec<u64> = found
        .study
        .sizes
        .iter()
        .map(|tally| tally.feasible)
        .collect();
    assert!(feasible[0] > 0 && feasible[1] == 0, "{feasible:?}");
    // What it is written as is what was read.
    let written = found.study.layouts[0].layout.to_json();
    assert!(
        written.contains(r#""ring": {"chain": "chainring", "diameter": 9}"#),
        "{written}"
    );
}

#[test]
fn every_size_that_can_has_its_place_where_places_are_shared() {
    // The less travel, the nearer to what is wanted: the shorter strokes would take all places.
    let travel = json!({"curve": "travel", "at": "end", "value": 140, "within": 40});
    let mut trial = trial(&[travel]);
    trial.shock_sizes = [50.0, 55.0, 60.0]
        .map(|stroke| size(230.0, stroke))
        .to_vec();
    (trial.starts, trial.keep) = (24, 7);
    let overall = trial.search();
    trial.per_size = true;
    let shared = trial.search();
    for tally in &shared.study.sizes {
        assert!(tally.feasible > 0, "{tally:?}");
        let rows = rows(&shared, tally);
        assert!((2..=3).contains(&rows), "{rows} of {tally:?}");
    }
    assert_eq!(shared.study.layouts.len(), 7);
    // The best of all is in either.
    let best = |found: &Found| (found.study.layouts[0].score / 0.01).floor();
    assert_eq!(best(&overall), best(&shared));
}

#[test]
fn shared_places_do_not_depend_on_threads() {
    let mut trial = trial(&[]);
    trial.chainring_teeth = vec![30, 34];
    trial.shock_sizes = vec![size(230.0, 60.0), size(230.0, 55.0)];
    (trial.starts, trial.keep, trial.per_size) = (16, 6, true);
    let run = |threads: usize| {
        let found = search(trial.read().unwrap(), threads);
        let layouts = found.study.layouts.iter();
        let told = layouts.map(|ranked| (ranked.score.to_bits(), ranked.layout.to_json()));
        told.collect::<Vec<_>>()
    };
    let one = run(1);
    assert_eq!(one, run(2));
    assert_eq!(one.len(), 6);
}
