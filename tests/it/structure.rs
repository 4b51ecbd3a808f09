//! Linkages that are put together wrongly are refused with the reason.

use crate::linkages::{KINDS, layout_of, read};
use pivotwright::input::Fault;
use pivotwright::mechanism::Plan;
use serde_json::{Value, json};

/// The only fault of a layout's structure.
fn fault_of(mechanism: &Value) -> Fault {
    let layout = read(&layout_of(mechanism));
    let mut faults = Plan::compile("wrong", &layout.mechanism).unwrap_err().0;
    assert_eq!(faults.len(), 1, "{faults:?}");
    faults.remove(0)
}

fn kind(name: &str) -> Value {
    let kind = KINDS.iter().find(|kind| kind.name == name).unwrap();
    (kind.mechanism)()
}

fn four_bar() -> Value {
    kind("four-bar, axle on the seat stay")
}

/// Checks that a list of names after `label` is exactly `names`.
fn lists(text: &str, label: &str, names: &[&str]) {
    let (_, rest) = text
        .split_once(label)
        .unwrap_or_else(|| panic!("no \"{label}\" in {text}"));
    let list = rest.split([';', ')']).next().unwrap();
    let mut listed: Vec<&str> = list
        .split(',')
        .map(|name| name.trim_matches([' ', '"', '.']))
        .collect();
    listed.sort_unstable();
    assert_eq!(listed, names, "{text}");
}

#[test]
fn a_loose_body_makes_two_degrees_of_freedom_and_is_named() {
    let mut mechanism = four_bar();
    mechanism["points"]["tip"] = json!([-150, 380]);
    mechanism["bodies"]["flag"] = json!(["rocker_stay", "tip"]);
    let fault = fault_of(&mechanism);
    assert_eq!(fault.path, "mechanism.bodies");
    assert!(fault.found.contains("= 2 degrees of freedom"), "{fault:?}");
    lists(&fault.expected, "loose with the shock held: ", &["flag"]);
}

#[test]
fn a_missing_pivot_names_every_body_that_hangs_loose() {
    let mut mechanism = four_bar();
    // The seat stay ends beside the rocker's pin, not on it.
    mechanism["points"]["beside"] = json!([-120, 290]);
    mechanism["bodies"]["seat_stay"] = json!(["stay_pivot", "axle", "beside"]);
    let fault = fault_of(&mechanism);
    assert!(fault.found.contains("= 3 degrees of freedom"), "{fault:?}");
    let hint = fault.expected;
    lists(
        &hint,
        "loose with the shock held: ",
        &["chain_stay", "seat_stay"],
    );
}

#[test]
fn a_bar_too_many_leaves_no_freedom_and_the_held_bodies_are_named() {
    let mut mechanism = four_bar();
    mechanism["points"]["brace_frame"] = json!([-40, 140]);
    mechanism["points"]["brace_stay"] = json!([-260, 150]);
    mechanism["bodies"]["frame"] =
        json!(["main_pivot", "rocker_pivot", "shock_frame", "brace_frame"]);
    mechanism["bodies"]["seat_stay"] = json!(["stay_pivot", "axle", "rocker_stay", "brace_stay"]);
    mechanism["bodies"]["brace"] = json!(["brace_frame", "brace_stay"]);
    let fault = fault_of(&mechanism);
    assert!(fault.found.contains("= 0 degrees of freedom"), "{fault:?}");
    let held = ["brace", "chain_stay", "rocker", "seat_stay"];
    lists(&fault.expected, "doubly held: ", &held);
}

#[test]
fn a_parallelogram_with_a_third_bar_is_refused_although_it_could_move() {
    let mut mechanism = json!({
        "points": {"axle": [-440, 20], "low_frame": [-20, 60], "low_rear": [-170, 30],
            "up_frame": [-40, 260], "up_rear": [-190, 230], "mid_frame": [-60, 140],
            "mid_rear": [-210, 110], "link_eye": [40, 330], "frame_eye": [130, 200]},
        "bodies": {"frame": ["low_frame", "up_frame", "mid_frame", "frame_eye"],
            "low": ["low_frame", "low_rear"], "up": ["up_frame", "up_rear", "link_eye"],
            "mid": ["mid_frame", "mid_rear"],
            "carrier": ["low_rear", "up_rear", "mid_rear", "axle"]},
        "shock": {"ends": ["frame_eye", "link_eye"], "stroke": 30},
        "brake_body": "carrier"
    });
    let fault = fault_of(&mechanism);
    assert!(fault.found.contains("= 0 degrees of freedom"), "{fault:?}");
    let hint = fault.expected;
    lists(&hint, "doubly held: ", &["carrier", "low", "mid", "up"]);
    // Without that bar it moves.
    mechanism["bodies"].as_object_mut().unwrap().remove("mid");
    mechanism["bodies"]["carrier"] = json!(["low_rear", "up_rear", "axle"]);
    mechanism["bodies"]["frame"] = json!(["low_frame", "up_frame", "frame_eye"]);
    for point in ["mid_frame", "mid_rear"] {
        mechanism["points"].as_object_mut().unwrap().remove(point);
    }
    let layout = read(&layout_of(&mechanism));
    assert!(Plan::compile("right", &layout.mechanism).is_ok());
}

#[test]
fn a_link_whose_joints_coincide_is_refused_by_name() {
    let mut mechanism = kind("linkage-driven single pivot");
    mechanism["points"]["rod_rocker"] = mechanism["points"]["rod_arm"].clone();
    let fault = fault_of(&mechanism);
    assert_eq!(fault.path, "mechanism.bodies.rod");
    assert!(fault.found.contains("rod_arm, rod_rocker"), "{fault:?}");
}

#[test]
fn a_link_whose_joints_coincide_is_refused_although_it_carries_another_point() {
    let mut mechanism = kind("linkage-driven single pivot");
    mechanism["points"]["rod_rocker"] = mechanism["points"]["rod_arm"].clone();
    mechanism["points"]["mark"] = json!([-160, 180]);
    mechanism["bodies"]["rod"] = json!(["rod_arm", "rod_rocker", "mark"]);
    let layout = read(&layout_of(&mechanism));
    let faults = Plan::compile("wrong", &layout.mechanism).unwrap_err().0;
    assert!(
        faults
            .iter()
            .all(|fault| format!("{fault:?}").contains("rod")),
        "{faults:?}"
    );
}

#[test]
fn a_shock_eye_on_a_pin_is_no_fault() {
    let mechanism = kind("four-bar, shock eye on a pin");
    let points = &mechanism["points"];
    assert_eq!(points["shock_rocker"], points["rocker_stay"]);
    assert!(Plan::compile("right", &read(&layout_of(&mechanism)).mechanism).is_ok());
}

#[test]
fn a_right_count_with_one_part_loose_and_one_doubly_held_names_both() {
    let mut mechanism = four_bar();
    mechanism["points"]["tip"] = json!([-150, 380]);
    mechanism["points"]["second"] = json!([20, 280]);
    // The rocker is pinned to the frame twice, and a flag hangs on the chain stay.
    mechanism["bodies"]["frame"] = json!(["main_pivot", "rocker_pivot", "shock_frame", "second"]);
    mechanism["bodies"]["rocker"] =
        json!(["rocker_pivot", "rocker_stay", "shock_rocker", "second"]);
    mechanism["bodies"]["flag"] = json!(["stay_pivot", "tip"]);
    mechanism["points"]["free"] = json!([-180, 400]);
    mechanism["bodies"]["ribbon"] = json!(["tip", "free"]);
    let fault = fault_of(&mechanism);
    assert_eq!(fault.path, "mechanism.bodies");
    assert!(
        fault.found.contains("1 degree of freedom by count"),
        "{fault:?}"
    );
    lists(&fault.found, "hanging loose: ", &["flag", "ribbon"]);
    lists(&fault.found, "doubly held: ", &["rocker"]);
}

#[test]
fn a_shock_in_line_with_its_pivot_cannot_start() {
    let mut mechanism = kind("single pivot");
    // Shock, both eyes and the pivot on one line.
    mechanism["points"]["main_pivot"] = json!([0, 80]);
    mechanism["points"]["shock_arm"] = json!([-50, 180]);
    mechanism["points"]["shock_frame"] = json!([-100, 280]);
    let fault = fault_of(&mechanism);
    assert_eq!(fault.path, "mechanism.points");
    assert!(
        fault.found.contains("links in line in the drawn position"),
        "{fault:?}"
    );
    assert!(fault.found.contains("arm"), "{fault:?}");
}

#[test]
fn two_links_in_line_as_drawn_are_refused() {
    let mut mechanism = kind("floating brake");
    // Carrier and rod stretched out between axle and frame.
    mechanism["points"]["rod_carrier"] = json!([-340, 60]);
    mechanism["points"]["rod_frame"] = json!([-140, 140]);
    let fault = fault_of(&mechanism);
    assert!(
        fault.found.contains("links in line in the drawn position"),
        "{fault:?}"
    );
    lists(&fault.found, "drawn position (", &["carrier", "rod"]);
}
