//! Three layouts against a separate program.
//!
//! The expected curves were computed by a program that solves all loop closures by Newton,
//! takes derivatives by the complex step, reads anti-squat and anti-rise off line
//! constructions, and measures the chain as a path; a force balance and a rigid-body
//! engine agree with it. Bound: 1e-6, or 1e-9 of the value.

use pivotwright::curves::Suspension;
use pivotwright::input::{Curve, Layout, Place, Summary};
use pivotwright::mechanism::Plan;
use serde_json::Value;

fn close(name: &str, ours: f64, expected: f64) {
    let bound = (1e-9 * expected.abs()).max(1e-6);
    assert!(
        (ours - expected).abs() <= bound,
        "{name}: {ours} is not {expected}"
    );
}

fn compare(suspension: &Suspension, sample: &Value, q: f64) {
    let state = suspension.state(q);
    for curve in Curve::ALL {
        let Some(expected) = sample.get(curve.name()) else {
            continue;
        };
        if curve.depends_on_cog() {
            for &cog in suspension.bicycle().cogs() {
                let expected = expected[cog.teeth.to_string()].as_f64().unwrap();
                let name = format!("{} on {} teeth", curve.name(), cog.teeth);
                close(&name, suspension.value(curve, &state, cog), expected);
            }
        } else {
            let cog = suspension.bicycle().cogs()[0];
            close(
                curve.name(),
                suspension.value(curve, &state, cog),
                expected.as_f64().unwrap(),
            );
        }
    }
    let expected = &sample["instant_centre"];
    let (x, y) = (expected[0].as_f64().unwrap(), expected[1].as_f64().unwrap());
    let centre = state.instant_centre().unwrap();
    if x.abs().max(y.abs()) < 1e5 {
        close("instant centre x", centre.x, x);
        close("instant centre y", centre.y, y);
    } else {
        let direction = |x: f64, y: f64| (y - state.axle.y).atan2(x - state.axle.x);
        close(
            "instant centre direction",
            direction(centre.x, centre.y),
            direction(x, y),
        );
    }
}

fn agrees(name: &str, layout: &str, expected: &str) {
    let layout = Layout::from_json(name, layout).unwrap();
    let expected: Value = serde_json::from_str(expected).unwrap();
    let plan = Plan::compile(name, &layout.mechanism).unwrap();
    let suspension = Suspension::new(&plan, name, &layout).unwrap();
    close(
        "travel",
        suspension.total_travel(),
        expected["total_travel"].as_f64().unwrap(),
    );
    close(
        "eye to eye",
        layout.mechanism.eye_to_eye(),
        expected["eye_to_eye"].as_f64().unwrap(),
    );
    for (place, key) in [
        (Place::Top, "top"),
        (Place::Sag, "sag"),
        (Place::End, "end"),
    ] {
        compare(
            &suspension,
            &expected["at"][key],
            suspension.parameter_at(place),
        );
    }
    for sample in expected["samples"].as_array().unwrap() {
        let travel = sample["travel"].as_f64().unwrap();
        compare(&suspension, sample, suspension.parameter_at_travel(travel));
    }
    for quantity in Summary::ALL {
        if let Some(expected) = expected["summary"].get(quantity.name()) {
            close(
                quantity.name(),
                suspension.summary(quantity),
                expected.as_f64().unwrap(),
            );
        }
    }
}

#[test]
fn single_pivot_agrees_with_the_separate_program() {
    agrees(
        "01",
        include_str!("data/layouts/01-single-pivot.layout.json"),
        include_str!("data/layouts/01-single-pivot.expected.json"),
    );
}

#[test]
fn four_bar_agrees_with_the_separate_program() {
    agrees(
        "03",
        include_str!("data/layouts/03-four-bar.layout.json"),
        include_str!("data/layouts/03-four-bar.expected.json"),
    );
}

#[test]
fn high_pivot_with_idler_agrees_with_the_separate_program() {
    agrees(
        "05",
        include_str!("data/layouts/05-high-pivot.layout.json"),
        include_str!("data/layouts/05-high-pivot.expected.json"),
    );
}
