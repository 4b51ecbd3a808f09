//! Where motions end, on linkages whose end is known in closed form, and motions that go on
//! where a construction could stop.

use crate::linkages::{CLOSURES, KINDS, layout_of, movable, read};
use crate::oracle::{Oracle, OracleCurves};
use approx::assert_abs_diff_eq;
use pivotwright::curves::Suspension;
use pivotwright::input::{Curve, Layout};
use pivotwright::mechanism::{Ending, MotionEnd, Plan, find_end};
use pivotwright::number::Point;
use serde_json::{Value, json};

fn kind(name: &str) -> Value {
    let kind = KINDS.iter().find(|kind| kind.name == name).unwrap();
    (kind.mechanism)()
}

fn end_of(layout: &Layout) -> MotionEnd {
    let plan = Plan::compile("ends", &layout.mechanism).unwrap();
    let points = layout.mechanism.points.iter();
    let drawn: Vec<Point<f64>> = points.map(|point| point.position).collect();
    let stroke = layout.mechanism.shock.stroke;
    find_end(&plan, &drawn, stroke, layout.bicycle.rear_axle).unwrap()
}

/// What a user is told.
fn message(layout: &Layout) -> String {
    let plan = Plan::compile("ends", &layout.mechanism).unwrap();
    let faults = Suspension::new(&plan, "ends", layout).unwrap_err().0;
    assert_eq!(faults.len(), 1, "{faults:?}");
    assert_eq!(faults[0].path, "mechanism.shock.stroke");
    faults[0].expected.clone()
}

fn place(mechanism: &Value, point: &str) -> [f64; 2] {
    let place = &mechanism["points"][point];
    [place[0].as_f64().unwrap(), place[1].as_f64().unwrap()]
}

fn length(a: [f64; 2], b: [f64; 2]) -> f64 {
    (a[0] - b[0]).hypot(a[1] - b[1])
}

fn pivot_name<'l>(layout: &'l Layout, end: &MotionEnd) -> &'l str {
    &layout.mechanism.points[end.pivot.unwrap().index()].name
}

#[test]
fn shock_reaches_its_dead_point_in_line_with_the_pivot() {
    let mut mechanism = kind("single pivot");
    mechanism["points"]["shock_arm"] = json!([-120, 150]);
    mechanism["points"]["shock_frame"] = json!([40, 300]);
    mechanism["shock"]["stroke"] = json!(180);
    let [pivot, arm, frame] =
        ["main_pivot", "shock_arm", "shock_frame"].map(|point| place(&mechanism, point));
    let layout = read(&layout_of(&mechanism));
    let end = end_of(&layout);
    assert_eq!(end.ending, Ending::DeadPoint);
    let shortest = length(pivot, frame) - length(pivot, arm);
    assert_abs_diff_eq!(end.stroke, length(arm, frame) - shortest, epsilon = 1e-9);
    let text = message(&layout);
    assert!(text.contains("dead point"), "{text}");
    assert!(text.contains("shock_arm"), "{text}");
    assert!(
        text.contains(&format!("stroke {:.3} mm", end.stroke)),
        "{text}"
    );
}

/// A short arm that comes upright over its pivot.
fn upright_arm() -> Value {
    json!({
        "points": {"axle": [-440, 20], "pivot": [-390, -40], "arm_eye": [-500, -60],
            "frame_eye": [-480, 120]},
        "bodies": {"frame": ["pivot", "frame_eye"], "arm": ["pivot", "axle", "arm_eye"]},
        "shock": {"ends": ["arm_eye", "frame_eye"], "stroke": 120},
        "brake_body": "arm"
    })
}

#[test]
fn wheel_turns_back_where_the_arm_stands_upright() {
    let mechanism = upright_arm();
    let layout = read(&layout_of(&mechanism));
    let end = end_of(&layout);
    assert_eq!(end.ending, Ending::WheelTurnsBack);
    let [pivot, axle, arm, frame] =
        ["pivot", "axle", "arm_eye", "frame_eye"].map(|point| place(&mechanism, point));
    let radius = length(axle, pivot);
    assert_abs_diff_eq!(end.travel, pivot[1] + radius - axle[1], epsilon = 1e-9);
    // Where the eye stands when the arm has turned from the drawn axle to upright.
    let turned = (axle[1] - pivot[1]).atan2(axle[0] - pivot[0]) - std::f64::consts::FRAC_PI_2;
    let (sine, cosine) = (-turned).sin_cos();
    let eye = [arm[0] - pivot[0], arm[1] - pivot[1]];
    let eye = [
        pivot[0] + eye[0] * cosine - eye[1] * sine,
        pivot[1] + eye[0] * sine + eye[1] * cosine,
    ];
    let stroke = length(arm, frame) - length(eye, frame);
    assert_abs_diff_eq!(end.stroke, stroke, epsilon = 1e-9);
    let text = message(&layout);
    assert!(
        text.contains("the wheel turns back: the leverage rate falls to zero"),
        "{text}"
    );
}

#[test]
fn shock_that_lowers_the_wheel_is_told_at_once() {
    let mut mechanism = kind("single pivot");
    // In front of the eye's path, the shock gets longer as the wheel rises.
    mechanism["points"]["shock_frame"] = json!([-260, 200]);
    let layout = read(&layout_of(&mechanism));
    let end = end_of(&layout);
    assert_eq!((end.ending, end.stroke), (Ending::WheelTurnsBack, 0.0));
    let text = message(&layout);
    assert!(
        text.contains("the wheel does not rise as the shock shortens"),
        "{text}"
    );
}

#[test]
fn brake_rod_and_carrier_lock_the_linkage_where_they_come_in_line() {
    let mut mechanism = kind("floating brake");
    mechanism["points"]["rod_carrier"] = json!([-400, 90]);
    mechanism["points"]["rod_frame"] = json!([-260, -60]);
    mechanism["shock"]["stroke"] = json!(100);
    let [pivot, axle, arm, frame, carrier, rod] = [
        "main_pivot",
        "axle",
        "shock_arm",
        "shock_frame",
        "rod_carrier",
        "rod_frame",
    ]
    .map(|point| place(&mechanism, point));
    let layout = read(&layout_of(&mechanism));
    let end = end_of(&layout);
    assert_eq!(end.ending, Ending::Locks);
    assert_eq!(pivot_name(&layout, &end), "rod_carrier");
    // Axle and rod's pivot are as far apart as both links are long: angle at the main pivot by
    // the law of cosines, before and there.
    let angle = |a: f64, b: f64, c: f64| ((a * a + b * b - c * c) / (2.0 * a * b)).acos();
    let (to_axle, to_rod) = (length(pivot, axle), length(pivot, rod));
    let stretched = length(axle, carrier) + length(carrier, rod);
    let turned = angle(to_axle, to_rod, stretched) - angle(to_axle, to_rod, length(axle, rod));
    let (to_arm, to_frame) = (length(pivot, arm), length(pivot, frame));
    let drawn = length(arm, frame);
    let between = angle(to_arm, to_frame, drawn) - turned;
    let shock =
        (to_arm * to_arm + to_frame * to_frame - 2.0 * to_arm * to_frame * between.cos()).sqrt();
    assert_abs_diff_eq!(end.stroke, drawn - shock, epsilon = 1e-9);
    let text = message(&layout);
    assert!(
        text.contains("the linkage locks with the links at pivot \"rod_carrier\""),
        "{text}"
    );
}

/// Whether the motion reaches full stroke, and with the travel that the oracle finds.
fn goes_on(file: &Value) -> String {
    let layout = read(file);
    let oracle = Oracle::follow(&layout).unwrap();
    let plan = Plan::compile("goes on", &layout.mechanism).unwrap();
    let suspension = match Suspension::new(&plan, "goes on", &layout) {
        Ok(suspension) => suspension,
        Err(faults) => panic!("{faults:?}"),
    };
    let travel = OracleCurves::new(&oracle).value(Curve::Travel, oracle.stroke(), 0);
    assert_abs_diff_eq!(suspension.total_travel(), travel, epsilon = 1e-8);
    format!("{plan:?}")
}

#[test]
fn a_link_that_turns_back_does_not_end_the_motion() {
    let mut mechanism = kind("two short links, shock between them");
    mechanism["points"] = json!({
        "axle": [-451, 43], "low_frame": [3, 31], "low_rear": [-66, 45], "up_frame": [-5, 245],
        "up_rear": [-95, 290], "shock_up": [90, 278], "shock_low": [74, 42]
    });
    mechanism["shock"]["stroke"] = json!(55);
    let layout = read(&layout_of(&mechanism));
    let oracle = Oracle::follow(&layout).unwrap();
    let mut bodies = layout.mechanism.bodies.iter();
    let low = bodies.position(|body| &*body.name == "low_link").unwrap();
    // The low link first turns one way, then the other, while the wheel rises all along.
    let turning = |stroke: f64| oracle.angular_velocity(&oracle.at(stroke), low);
    assert!(turning(0.0) < 0.0 && turning(55.0) > 0.0);
    goes_on(&layout_of(&mechanism));
}

#[test]
fn every_link_is_kept_where_the_shock_closes_only_a_part() {
    // The shock poses the rocker, and arm, links and coupler close only together.
    let kind = CLOSURES
        .iter()
        .find(|kind| kind.name == "six-bar, shock on the rocker")
        .unwrap();
    let plan = goes_on(&movable(kind, 7, 1)[0]);
    assert!(
        plan.contains("driver: Shock") && plan.contains("Close("),
        "{plan}"
    );
}

#[test]
fn a_rigid_truss_is_placed_before_anything_is_turned() {
    // The shock stands between two moving bodies, so that a body must be turned.
    let mut mechanism = kind("four-bar on a rigid truss");
    mechanism["bodies"]["frame"] = json!(["main_pivot", "strut_low", "strut_front"]);
    mechanism["bodies"]["chain_stay"] = json!(["main_pivot", "stay_pivot", "shock_frame"]);
    mechanism["points"]["shock_frame"] = json!([65, 95]);
    let plan = goes_on(&layout_of(&mechanism));
    assert!(plan.contains("driver: Body("), "{plan}");
}

#[test]
fn a_body_that_turns_far_reaches_full_stroke() {
    let mut mechanism = kind("two short links, shock between them");
    mechanism["points"] = json!({
        "axle": [-431, 6], "low_frame": [-24, 85], "low_rear": [-89, 19], "up_frame": [-26, 239],
        "up_rear": [-118, 263], "shock_up": [94, 310], "shock_low": [50, 45]
    });
    for stroke in [60, 80, 95] {
        mechanism["shock"]["stroke"] = json!(stroke);
        let plan = goes_on(&layout_of(&mechanism));
        assert!(plan.contains("driver: Body("), "{plan}");
    }
}
