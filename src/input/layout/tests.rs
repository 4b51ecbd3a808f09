use super::*;
use crate::input::fault::Fault;
use serde_json::{Value, json};

/// A four-bar with invented numbers, an idler on the frame included.
pub(in crate::input) fn valid() -> Value {
    json!({
        "name": "four-bar, axle on the seat stay",
        "bicycle": {
            "rear_axle": "axle", "front_axle": [781, 19.5],
            "rear_wheel_radius": 351, "front_wheel_radius": 370,
            "head_angle": 65.25, "fork_travel": 150, "fork_compression": "proportional",
            "centre_of_mass": [25, 770],
            "chainring_teeth": 30, "cassette_teeth": [11, 13, 16, 20, 25, 31, 39, 48],
            "sag": {"fraction": 0.28, "of": "stroke"},
            "idler": {"point": "guide", "teeth": 16, "wrap": "over"}
        },
        "mechanism": {
            "points": {
                "axle": [-431.7, 18.3], "main_pivot": [21.4, 58.9], "stay_pivot": [-393.1, 2.6],
                "rocker_pivot": [-14.2, 251.3], "rocker_stay": [-121.9, 287.7],
                "shock_rocker": [49.8, 301.1], "shock_frame": [38.6, 101.4], "guide": [12, 130]
            },
            "bodies": {
                "frame": ["main_pivot", "rocker_pivot", "shock_frame", "guide"],
                "chain_stay": ["main_pivot", "stay_pivot"],
                "seat_stay": ["stay_pivot", "axle", "rocker_stay"],
                "rocker": ["rocker_pivot", "rocker_stay", "shock_rocker"]
            },
            "shock": {"ends": ["shock_frame", "shock_rocker"], "stroke": 55},
            "brake_body": "seat_stay"
        }
    })
}

fn read(value: &Value) -> Result<Layout, Faults> {
    Layout::from_json("m.layout.json", &value.to_string())
}

/// The faults of the valid layout with `value` put at the JSON pointer.
fn faults(pointer: &str, value: Value) -> Vec<Fault> {
    let mut layout = valid();
    let (parent, key) = pointer.rsplit_once('/').unwrap();
    match layout.pointer_mut(parent).unwrap() {
        Value::Array(items) => items[key.parse::<usize>().unwrap()] = value,
        parent => parent[key] = value,
    }
    read(&layout).unwrap_err().0
}

/// Exactly one fault, at `path`, whose text has `words`.
fn check(pointer: &str, value: Value, path: &str, words: &str) {
    let faults = faults(pointer, value);
    assert_eq!(faults.len(), 1, "{pointer}: {faults:#?}");
    let text = faults[0].to_string();
    assert_eq!(
        (&*faults[0].file, &*faults[0].path),
        ("m.layout.json", path),
        "{text}"
    );
    assert!(text.contains(words), "{text}");
}

/// As [`check`], the fault being at the very place of the change.
fn check_here(pointer: &str, value: Value, words: &str) {
    let path = pointer.split('/').skip(1).fold(String::new(), |path, key| {
        if key.parse::<usize>().is_ok() {
            format!("{path}[{key}]")
        } else {
            json::join(&path, key)
        }
    });
    check(pointer, value, &path, words);
}

#[test]
fn a_layout_is_read_in_the_order_of_its_file() {
    let layout = read(&valid()).unwrap();
    let mechanism = &layout.mechanism;
    assert_eq!(mechanism.point_named("stay_pivot").unwrap().index(), 2);
    assert_eq!(mechanism.frame.index(), 0);
    assert_eq!(
        mechanism.axle_body,
        mechanism.body_named("seat_stay").unwrap()
    );
    assert_eq!(mechanism.body_named("seat_stai"), None);
    let pivot = mechanism.point_named("rocker_stay").unwrap();
    assert_eq!(
        mechanism
            .bodies_of(pivot)
            .map(BodyId::index)
            .collect::<Vec<_>>(),
        [2, 3]
    );
    let drawn = (11.2_f64 * 11.2 + 199.7 * 199.7).sqrt();
    assert!((mechanism.eye_to_eye() - drawn).abs() < 1e-9);
    assert_eq!(
        layout.bicycle.sag,
        Sag {
            fraction: 0.28,
            of: SagOf::Stroke
        }
    );
    assert_eq!(layout.bicycle.idler.unwrap().wrap, Wrap::Over);
}

#[test]
fn sag_and_fork_compression_have_defaults() {
    let mut value = valid();
    let bicycle = value["bicycle"].as_object_mut().unwrap();
    for key in ["sag", "fork_compression", "idler"] {
        bicycle.remove(key).unwrap();
    }
    let layout = read(&value).unwrap();
    assert_eq!(
        layout.bicycle.sag,
        Sag {
            fraction: 0.3,
            of: SagOf::Travel
        }
    );
    assert_eq!(
        layout.bicycle.fork_compression,
        ForkCompression::Proportional
    );
    assert_eq!(layout.bicycle.idler, None);
}

#[test]
fn a_written_layout_is_read_back_bit_for_bit() {
    let layout = read(&valid()).unwrap();
    let thirds = |k: u8| f64::from(k) / 3.0 - 0.1;
    let points: Vec<_> = (0..8)
        .map(|k| Point::new(thirds(k), -0.0 + thirds(k) * 1e-9))
        .collect();
    let odd = layout.with_points("name \"in quotes\"".into(), &points, 1.0 / 3.0);
    assert_eq!(odd.mechanism.shock.stroke, 1.0 / 3.0);
    let text = odd.to_json();
    let value: Value = serde_json::from_str(&text).unwrap();
    for (point, position) in odd.mechanism.points.iter().zip(&points) {
        let written = &value["mechanism"]["points"][&point.name];
        assert_eq!(written[0].as_f64().unwrap().to_bits(), position.x.to_bits());
        assert_eq!(written[1].as_f64().unwrap().to_bits(), position.y.to_bits());
    }
    let again = Layout::from_json("m", &layout.to_json()).unwrap();
    assert_eq!(again, layout);
    assert_eq!(again.to_json(), layout.to_json());
    assert!(
        layout
            .to_json()
            .contains("\n      \"axle\": [-431.7, 18.3],\n")
    );
    assert!(
        layout
            .to_json()
            .contains("\"ends\": [\"shock_frame\", \"shock_rocker\"]")
    );
}

#[test]
fn an_axle_between_bodies_needs_the_body_that_is_meant() {
    let mut value = valid();
    value["mechanism"]["bodies"]["chain_stay"] = json!(["main_pivot", "stay_pivot", "axle"]);
    let text = read(&value).unwrap_err().to_string();
    assert!(
        text.contains("mechanism.axle_body: found nothing, and the axle on"),
        "{text}"
    );
    value["mechanism"]["axle_body"] = json!("chain_stay");
    let layout = read(&value).unwrap();
    assert_eq!(layout.mechanism.axle_body.index(), 1);
    assert_eq!(Layout::from_json("m", &layout.to_json()).unwrap(), layout);
    check_here(
        "/mechanism/axle_body",
        json!("rocker"),
        "which does not carry the axle",
    );
}

#[test]
fn keys_names_and_types_are_checked() {
    check_here(
        "/bicycle/hed_angle",
        json!(1),
        "did you mean \"head_angle\"?",
    );
    check_here(
        "/bicycle/head_angle",
        json!("65"),
        "found \"65\", expected a head",
    );
    check_here("/name", json!(""), "not blank");
    check_here("/bicycle", json!([]), "found an empty list");
    check_here(
        "/bicycle/rear_axle",
        json!("alxe"),
        "did you mean \"axle\"?",
    );
    check_here(
        "/bicycle/idler/wrap",
        json!("above"),
        "\"over\" or \"under\"",
    );
    check_here("/bicycle/fork_compression", json!("prop"), "a fixed");
    check_here(
        "/mechanism/bodies/rocker/2",
        json!("shock_roker"),
        "\"shock_rocker\"?",
    );
    check_here("/mechanism/brake_body", json!("seatstay"), "\"seat_stay\"?");
    check_here("/mechanism/points/guide", json!([1, 2, 3]), "a list of 3");
    check_here("/mechanism/points/guide/1", json!(1e300), "1e+300");
    check_here("/mechanism/points/guide/0", json!(12000), "10000");
    check_here("/mechanism/points/guide/0", Value::Null, "found null");
    let mut value = valid();
    value["bicycle"]
        .as_object_mut()
        .unwrap()
        .remove("head_angle");
    let text = read(&value).unwrap_err().to_string();
    assert!(
        text.contains("bicycle.head_angle: found nothing, expected a head angle"),
        "{text}"
    );
    let twice = valid()
        .to_string()
        .replace("\"guide\":[12,130]", "\"guide\":[12,130],\"guide\":[1,2]");
    let text = Layout::from_json("m", &twice).unwrap_err().to_string();
    assert!(
        text.contains("mechanism.points.guide: found the key \"guide\" twice"),
        "{text}"
    );
}

#[test]
fn every_fault_is_reported_at_once() {
    let mut value = valid();
    value["bicycle"]["head_angle"] = json!(5);
    value["bicycle"]["front_axle"] = json!([-600, 20]);
    value["mechanism"]["bodies"]["rocker"][0] = json!("roker_pivot");
    value["mechanism"]["shock"]["stroke"] = json!(300);
    value["mechanism"]["colour"] = json!("red");
    let faults = read(&value).unwrap_err().0;
    assert_eq!(faults.len(), 5, "{faults:#?}");
    let text = Layout::from_json("m", &(value.to_string() + "x"))
        .unwrap_err()
        .to_string();
    assert!(
        text.contains("line 1") && text.lines().count() == 1,
        "{text}"
    );
}

#[test]
fn numbers_are_checked_for_sense() {
    check_here("/bicycle/sag/fraction", json!(30), "did you mean 0.30?");
    check_here(
        "/bicycle/sag/of",
        json!("shock"),
        "\"travel\" or \"stroke\"",
    );
    check(
        "/bicycle/sag",
        json!({"fraction": 0.3}),
        "bicycle.sag.of",
        "found nothing",
    );
    check_here("/bicycle/chainring_teeth", json!(5), "from 6 to 100");
    check_here("/bicycle/chainring_teeth", json!(30.5), "a whole number");
    check_here("/bicycle/cassette_teeth", json!([]), "one cog or more");
    check_here("/bicycle/cassette_teeth/1", json!(11), "each cog once");
    check_here("/bicycle/cassette_teeth/1", json!(120), "from 6 to 100");
    check_here("/bicycle/head_angle", json!(44.9), "45 to 90");
    check_here("/bicycle/rear_wheel_radius", json!(29), "100 to 500");
    check_here("/bicycle/front_wheel_radius", json!(0), "100 to 500");
    check_here("/bicycle/fork_travel", json!(-1), "a fork travel");
    check_here("/bicycle/fork_compression", json!(151), "at most the fork");
    check_here("/bicycle/fork_compression", json!(-1), "0 or more");
    check_here(
        "/bicycle/centre_of_mass",
        json!([0, -400]),
        "under the ground",
    );
    check_here("/bicycle/front_axle", json!([-500, 20]), "in front of");
    check_here("/mechanism/shock/stroke", json!(0), "above 0");
    check_here(
        "/mechanism/shock/stroke",
        json!(201),
        "eye-to-eye length of 200",
    );
    check(
        "/mechanism/points/guide",
        json!([0, 5]),
        "bicycle.idler",
        "a distance above",
    );
    check(
        "/mechanism/points/guide",
        json!([-430, 0]),
        "bicycle.idler",
        "the cog of 48",
    );
}

#[test]
fn a_cog_around_the_chainring_has_no_chain_run() {
    let mut value = valid();
    value["bicycle"].as_object_mut().unwrap().remove("idler");
    assert!(read(&value).is_ok());
    value["mechanism"]["points"]["axle"] = json!([-20, 5]);
    let text = read(&value).unwrap_err().to_string();
    assert!(
        text.contains("bicycle.chainring_teeth: found a chainring whose centre"),
        "{text}"
    );
}

#[test]
fn structure_without_kinematics_is_checked() {
    let frame = "/mechanism/bodies/frame";
    let without_guide = json!(["main_pivot", "rocker_pivot", "shock_frame"]);
    check(
        frame,
        without_guide,
        "mechanism.points.guide",
        "a point on no body",
    );
    check_here("/mechanism/bodies/rocker/2", json!("rocker_stay"), "once");
    check_here(
        "/mechanism/bodies/spare",
        json!(["guide"]),
        "two points or more",
    );
    check(
        "/mechanism/shock/ends/1",
        json!("shock_frame"),
        "mechanism.shock.ends",
        "the same point",
    );
    check(
        "/mechanism/shock/ends/1",
        json!("guide"),
        "mechanism.shock.ends",
        "the body \"frame\"",
    );
    check_here("/mechanism/brake_body", json!("frame"), "a body that moves");
    check_here(
        "/bicycle/rear_axle",
        json!("main_pivot"),
        "a point of the frame",
    );
    let renamed = valid().to_string().replace("\"frame\":", "\"main_frame\":");
    let text = Layout::from_json("m", &renamed).unwrap_err().to_string();
    assert!(
        text.contains("mechanism.bodies: found the bodies"),
        "{text}"
    );
}

#[test]
fn sliders_are_refused_by_name() {
    let words = "sliders (telescoping or prismatic joints) are not covered";
    check("/mechanism/sliders", json!([]), "mechanism.sliders", words);
    let slider = json!({"type": "prismatic", "points": ["axle", "guide"]});
    check(
        "/mechanism/bodies/tube",
        slider,
        "mechanism.bodies.tube",
        words,
    );
    check(
        "/mechanism/bodies/slider",
        json!(["stay_pivot", "guide"]),
        "mechanism.bodies.slider",
        words,
    );
}
