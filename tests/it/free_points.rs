//! Every form in which a brief says what may move; where each point stands is checked by
//! [`crate::trial`] for every layout found.

use crate::linkages::read;
use crate::planted::own_curves;
use crate::trial::{Found, Trial, assert_close, moved};
use serde_json::{Value, json};
use std::collections::BTreeSet;

/// A four-bar whose shock stands upright.
fn upright() -> Value {
    serde_json::from_str(include_str!("../../demo-data/trail-crew-m.layout.json")).unwrap()
}

/// A single pivot with a driven rocker whose shock lies.
fn lying() -> Value {
    let text = include_str!("../../demo-data/trail-crew-single-pivot.layout.json");
    serde_json::from_str(text).unwrap()
}

fn coordinates(layout: &Value, name: &str) -> [f64; 2] {
    let place = &layout["mechanism"]["points"][name];
    [place[0].as_f64().unwrap(), place[1].as_f64().unwrap()]
}

/// A box about the offset of a point, more to one side.
fn offset(layout: &Value, name: &str, from: &str) -> Value {
    let ([x, y], [from_x, from_y]) = (coordinates(layout, name), coordinates(layout, from));
    let mut free = around([x - from_x, y - from_y]);
    free["from"] = json!(from);
    free
}

fn around([x, y]: [f64; 2]) -> Value {
    json!({"x": [x - 6.0, x + 10.0], "y": [y - 10.0, y + 6.0]})
}

fn place(layout: &Value, name: &str) -> Value {
    around(coordinates(layout, name))
}

/// The boxes of the frame's pivots, and `more`.
fn free(layout: &Value, more: &[(&str, Value)]) -> Value {
    let mut free = json!({});
    for (name, place) in more {
        free[*name] = place.clone();
    }
    for name in ["rocker_pivot", "main_pivot"] {
        free[name] = place(layout, name);
    }
    free
}

/// Searches for the layout's own curves; something is found, and all of `wandered` stood
/// elsewhere than drawn at least once.
fn find(layout: &Value, free: Value, wandered: &[&str]) -> Found {
    let targets = moved(&read(layout), own_curves);
    let found = Trial::new(layout.clone(), targets, free).search();
    assert!(found.feasible(), "{:?}", found.study.endings);
    for name in wandered {
        let [x, y] = coordinates(layout, name);
        let farthest = found
            .positions(name)
            .into_iter()
            .map(|place| (place.x - x).hypot(place.y - y))
            .fold(0.0, f64::max);
        assert!(farthest > 0.5, "{name} moved by {farthest} mm at most");
    }
    found
}

#[test]
fn an_axis_left_out_keeps_its_coordinate() {
    let layout = upright();
    let [x, y] = coordinates(&layout, "rocker_stay");
    let only_y = json!({"y": [y - 6.0, y + 10.0]});
    let found = find(
        &layout,
        free(&layout, &[("rocker_stay", only_y)]),
        &["rocker_stay"],
    );
    for place in found.positions("rocker_stay") {
        assert_eq!(place.x, x);
    }
}

#[test]
fn a_point_may_be_placed_from_one_that_is_named_later() {
    let layout = upright();
    let stay = offset(&layout, "rocker_stay", "rocker_pivot");
    let shock = json!({"from": "rocker_stay", "x": [170, 185], "y": [15, 35]});
    let more = [("shock_rocker", shock), ("rocker_stay", stay)];
    find(
        &layout,
        free(&layout, &more),
        &["rocker_stay", "shock_rocker", "rocker_pivot"],
    );
}

#[test]
fn an_offset_axis_left_out_keeps_its_offset() {
    let layout = upright();
    let mut stay = offset(&layout, "rocker_stay", "rocker_pivot");
    stay.as_object_mut().unwrap().remove("x");
    let found = find(
        &layout,
        free(&layout, &[("rocker_stay", stay)]),
        &["rocker_stay"],
    );
    let drawn = coordinates(&layout, "rocker_stay")[0] - coordinates(&layout, "rocker_pivot")[0];
    let pivots = found.positions("rocker_pivot");
    assert!(
        pivots
            .iter()
            .any(|pivot| (pivot.x - coordinates(&layout, "rocker_pivot")[0]).abs() > 0.5)
    );
    for (stay, pivot) in found.positions("rocker_stay").iter().zip(pivots) {
        assert_close("offset", stay.x - pivot.x, drawn, 1e-12);
    }
}

#[test]
fn a_point_without_bounds_is_carried_along() {
    let layout = upright();
    let more = [
        ("rocker_stay", json!({"from": "rocker_pivot"})),
        ("stay_pivot", place(&layout, "stay_pivot")),
    ];
    let found = find(&layout, free(&layout, &more), &["rocker_stay"]);
    let (stay, pivot) = (
        coordinates(&layout, "rocker_stay"),
        coordinates(&layout, "rocker_pivot"),
    );
    let pivots = found.positions("rocker_pivot");
    for (now, pivot_now) in found.positions("rocker_stay").iter().zip(pivots) {
        assert_close("x", now.x - pivot_now.x, stay[0] - pivot[0], 1e-12);
        assert_close("y", now.y - pivot_now.y, stay[1] - pivot[1], 1e-12);
    }
}

#[test]
fn the_axle_may_be_free() {
    let layout = upright();
    let more = [
        ("axle", place(&layout, "axle")),
        ("stay_pivot", offset(&layout, "stay_pivot", "axle")),
    ];
    find(&layout, free(&layout, &more), &["axle", "stay_pivot"]);
}

#[test]
fn either_shock_end_may_be_given_by_an_angle() {
    let layout = upright();
    let down = json!({"from": "shock_rocker", "angle": [-97, -85]});
    let more = [
        ("shock_frame", down),
        ("shock_rocker", place(&layout, "shock_rocker")),
    ];
    find(
        &layout,
        free(&layout, &more),
        &["shock_frame", "shock_rocker"],
    );
    // An angle is as good as the one that it equals a turn later.
    let up = json!({"from": "shock_frame", "angle": [-275, -265]});
    let more = [
        ("shock_rocker", up),
        ("shock_frame", place(&layout, "shock_frame")),
    ];
    find(
        &layout,
        free(&layout, &more),
        &["shock_frame", "shock_rocker"],
    );
}

#[test]
fn of_two_boxed_shock_ends_the_second_named_is_constructed() {
    for turned in [false, true] {
        let mut layout = upright();
        let ends = &mut layout["mechanism"]["shock"]["ends"];
        if turned {
            ends.as_array_mut().unwrap().reverse();
        }
        let second = if turned {
            "shock_frame"
        } else {
            "shock_rocker"
        };
        let more = [
            ("shock_rocker", place(&layout, "shock_rocker")),
            ("shock_frame", place(&layout, "shock_frame")),
        ];
        let found = find(
            &layout,
            free(&layout, &more),
            &["shock_frame", "shock_rocker"],
        );
        let (constructed, _) = found.brief.constructed_end().unwrap();
        let points = &found.brief.layout.mechanism.points;
        assert_eq!(points[constructed.index()].name, second);
    }
}

#[test]
fn a_constructed_end_may_be_boxed_from_the_other_end_or_from_a_third_point() {
    let layout = upright();
    for from in ["shock_frame", "rocker_pivot"] {
        let more = [
            ("shock_rocker", offset(&layout, "shock_rocker", from)),
            ("shock_frame", place(&layout, "shock_frame")),
        ];
        find(
            &layout,
            free(&layout, &more),
            &["shock_frame", "shock_rocker"],
        );
    }
}

#[test]
fn a_single_free_shock_end_moves_on_a_circle() {
    let layout = upright();
    for (name, about) in [
        ("shock_frame", "shock_rocker"),
        ("shock_rocker", "shock_frame"),
    ] {
        let found = find(
            &layout,
            free(&layout, &[(name, place(&layout, name))]),
            &[name],
        );
        for place in found.positions(about) {
            assert_eq!([place.x, place.y], coordinates(&layout, about));
        }
    }
}

#[test]
fn a_constructed_end_may_keep_one_coordinate_or_one_offset() {
    for (drawn, kept) in [(upright(), "x"), (lying(), "y")] {
        for (about, name) in [
            ("shock_frame", "shock_rocker"),
            ("shock_rocker", "shock_frame"),
        ] {
            let mut layout = drawn.clone();
            layout["mechanism"]["shock"]["ends"] = json!([about, name]);
            for from in [None, Some("rocker_pivot")] {
                let mut end =
                    from.map_or_else(|| place(&layout, name), |from| offset(&layout, name, from));
                end.as_object_mut().unwrap().remove(kept);
                let more = [(name, end), (about, place(&layout, about))];
                find(&layout, free(&layout, &more), &[name, about]);
            }
        }
    }
}

#[test]
fn a_shock_with_both_ends_fixed_keeps_its_length() {
    let layout = upright();
    let length = read(&layout).mechanism.eye_to_eye();
    let targets = vec![json!({"curve": "leverage_rate", "at": "top", "value": 2.9, "within": 0.1})];
    let more = [("stay_pivot", place(&layout, "stay_pivot"))];
    let mut trial = Trial::new(layout.clone(), targets, free(&layout, &more));
    trial.shock_sizes = [52.5, 60.0]
        .map(|stroke| json!({"eye_to_eye": length, "stroke": stroke}))
        .to_vec();
    let found = trial.search();
    assert!(found.feasible());
    let strokes: BTreeSet<String> = found
        .study
        .layouts
        .iter()
        .map(|ranked| ranked.size.stroke.to_string())
        .collect();
    assert_eq!(strokes.len(), 2, "{strokes:?}");
    trial.shock_sizes = vec![json!({"eye_to_eye": length + 1.0, "stroke": 60})];
    let faults = trial.read().unwrap_err().to_string();
    assert!(faults.contains("shock_sizes[0].eye_to_eye"), "{faults}");
}

/// With the stroke of the layout its travel can be had, with a shorter one it cannot.
#[test]
fn shock_sizes_are_searched_together_and_the_fitting_one_is_shown() {
    let layout = upright();
    let targets = moved(&read(&layout), own_curves);
    let more = [
        ("shock_rocker", place(&layout, "shock_rocker")),
        (
            "shock_frame",
            json!({"from": "shock_rocker", "angle": [-100, -80]}),
        ),
    ];
    let mut trial = Trial::new(layout.clone(), targets, free(&layout, &more));
    let size = |eye_to_eye: f64, stroke: f64| json!({"eye_to_eye": eye_to_eye, "stroke": stroke});
    trial.starts = 12;
    for sizes in [
        [size(230.0, 50.0), size(230.0, 60.0)],
        [size(225.0, 60.0), size(210.0, 55.0)],
    ] {
        trial.shock_sizes = sizes.to_vec();
        let found = trial.search();
        assert!(found.feasible());
        for ranked in &found.study.layouts {
            assert!(ranked.feasible);
            assert_eq!(ranked.size.stroke, 60.0);
        }
    }
}

/// Where the shock's length places the only free point, the shocks are all there is to try.
#[test]
fn a_brief_without_a_variable_tries_its_shocks() {
    let layout = upright();
    let length = read(&layout).mechanism.eye_to_eye();
    let [_, y] = coordinates(&layout, "shock_frame");
    let free = json!({"shock_frame": {"y": [y - 10.0, y + 10.0]}});
    let targets = moved(&read(&layout), own_curves);
    let mut trial = Trial::new(layout, targets, free);
    trial.shock_sizes = [length - 12.0, length, length + 20.0]
        .map(|length| json!({"eye_to_eye": length, "stroke": 60}))
        .to_vec();
    let found = trial.search();
    let best = &found.study.layouts[0];
    assert!(best.feasible);
    assert_eq!(best.size.eye_to_eye, length);
    trial.shock_sizes.remove(1);
    trial.shock_sizes.remove(0);
    let found = trial.search();
    assert!(!found.feasible());
    // 20 mm longer where 10 are allowed, in units of 5 mm.
    let violation = found.study.layouts[0].violation;
    assert!(violation >= 2.0 - 1e-9, "{violation}");
}

/// Layouts whose shock would have to be longer are none, not even nearest ones.
#[test]
fn a_shock_that_cannot_reach_makes_no_layout() {
    let mut layout = upright();
    layout["mechanism"]["shock"]["ends"] = json!(["shock_rocker", "shock_frame"]);
    let [x, y] = coordinates(&layout, "shock_rocker");
    let targets = moved(&read(&layout), own_curves);
    let rocker = json!({"x": [x - 5.0, x + 5.0], "y": [y + 2.0, y + 20.0]});
    let frame = json!({"x": [x - 50.0, x + 50.0]});
    let more = [("shock_rocker", rocker), ("shock_frame", frame)];
    let found = Trial::new(layout.clone(), targets, free(&layout, &more)).search();
    assert!(!found.feasible());
    assert!(found.study.layouts.is_empty());
}
