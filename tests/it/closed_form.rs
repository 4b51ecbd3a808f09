//! Linkages whose curves are known in closed form.

use crate::linkages::{KINDS, Random, layout_of, read, vary};
use crate::oracle::{Run, Sprocket, drawn_anti_squat};
use approx::{assert_abs_diff_eq, assert_relative_eq};
use pivotwright::curves::{Suspension, pitch_radius};
use pivotwright::input::{Curve, Place, Summary};
use pivotwright::mechanism::Plan;
use pivotwright::number::Point;
use serde_json::{Value, json};

/// Moves the layout of a file and looks at it.
fn with(file: &Value, look: impl FnOnce(&Suspension)) {
    let layout = read(file);
    let plan = Plan::compile("closed form", &layout.mechanism).unwrap();
    look(&Suspension::new(&plan, "closed form", &layout).unwrap());
}

/// Value of a curve on a cog of the layout, by its teeth, at a parameter of the motion.
fn value(suspension: &Suspension, curve: Curve, teeth: u32, q: f64) -> f64 {
    let cogs = suspension.bicycle().cogs();
    let cog = cogs.iter().find(|cog| cog.teeth == teeth).unwrap();
    suspension.value(curve, &suspension.state(q), *cog)
}

const AXLE: [f64; 2] = [-440.0, 20.0];
const ARM_EYE: [f64; 2] = [-75.0, 230.0];
const FRAME_EYE: [f64; 2] = [135.0, 240.0];

/// A single pivot on a bicycle whose wheels stand level.
fn single_pivot(pivot: [f64; 2]) -> Value {
    let mut file = layout_of(&json!({
        "points": {"axle": AXLE, "pivot": pivot, "arm_eye": ARM_EYE, "frame_eye": FRAME_EYE},
        "bodies": {"frame": ["pivot", "frame_eye"], "arm": ["pivot", "axle", "arm_eye"]},
        "shock": {"ends": ["arm_eye", "frame_eye"], "stroke": 55.0},
        "brake_body": "arm"
    }));
    file["bicycle"]["front_axle"] = json!([790.0, 20.0]);
    file["bicycle"]["fork_travel"] = json!(0.0);
    file
}

fn length(a: [f64; 2], b: [f64; 2]) -> f64 {
    (a[0] - b[0]).hypot(a[1] - b[1])
}

/// Angle at the pivot between the eyes, at a shock length, by the law of cosines.
fn angle_between_eyes(pivot: [f64; 2], shock: f64) -> f64 {
    let (a, b) = (length(pivot, ARM_EYE), length(pivot, FRAME_EYE));
    ((a * a + b * b - shock * shock) / (2.0 * a * b)).acos()
}

/// Axle after turning the arm clockwise by `angle`.
fn axle_turned(pivot: [f64; 2], angle: f64) -> [f64; 2] {
    let arm = [AXLE[0] - pivot[0], AXLE[1] - pivot[1]];
    let (sine, cosine) = angle.sin_cos();
    [
        pivot[0] + arm[0] * cosine + arm[1] * sine,
        pivot[1] - arm[0] * sine + arm[1] * cosine,
    ]
}

const PIVOT: [f64; 2] = [-5.0, 85.0];

#[test]
fn single_pivot_axle_path_is_a_circle() {
    with(&single_pivot(PIVOT), |suspension| {
        for part in 0..=20 {
            let state = suspension.state(f64::from(part) / 20.0);
            let now = [state.axle.x, state.axle.y];
            assert_abs_diff_eq!(length(now, PIVOT), length(AXLE, PIVOT), epsilon = 1e-10);
            let centre = state.instant_centre().unwrap();
            assert_abs_diff_eq!(centre.x, PIVOT[0], epsilon = 1e-9);
            assert_abs_diff_eq!(centre.y, PIVOT[1], epsilon = 1e-9);
        }
    });
}

#[test]
fn single_pivot_leverage_follows_the_law_of_cosines() {
    with(&single_pivot(PIVOT), |suspension| {
        let (a, b) = (length(PIVOT, ARM_EYE), length(PIVOT, FRAME_EYE));
        let drawn = length(ARM_EYE, FRAME_EYE);
        for part in 0..=20 {
            let stroke = 55.0 * f64::from(part) / 20.0;
            let shock = drawn - stroke;
            let between = angle_between_eyes(PIVOT, shock);
            let turned = angle_between_eyes(PIVOT, drawn) - between;
            let axle = axle_turned(PIVOT, turned);
            let q = suspension.parameter_at_stroke(stroke);
            let state = suspension.state(q);
            assert_abs_diff_eq!(state.travel, axle[1] - AXLE[1], epsilon = 1e-9);
            let leverage = (PIVOT[0] - axle[0]) * shock / (a * b * between.sin());
            assert_relative_eq!(state.leverage_rate(), leverage, max_relative = 1e-11);
        }
    });
}

#[test]
fn travel_is_the_leverage_rate_summed_over_the_stroke() {
    let mut random = Random::new(9);
    for name in [
        "four-bar, axle on the seat stay",
        "four-bar, shock between stay and rocker",
    ] {
        let kind = KINDS.iter().find(|kind| kind.name == name).unwrap();
        with(&vary(kind, &mut random, 0.0, [50.0, 50.0]), |suspension| {
            let rate = |part: u32| {
                let stroke = 50.0 * f64::from(part) / 200.0;
                let q = suspension.parameter_at_stroke(stroke);
                let weight = match part {
                    0 | 200 => 1.0,
                    odd if odd % 2 == 1 => 4.0,
                    _ => 2.0,
                };
                weight * suspension.state(q).leverage_rate()
            };
            let sum: f64 = (0..=200).map(rate).sum::<f64>() * 50.0 / 600.0;
            assert_relative_eq!(suspension.total_travel(), sum, max_relative = 1e-9);
            let mean = suspension.summary(Summary::LeverageMean);
            assert_relative_eq!(mean, sum / 50.0, max_relative = 1e-9);
        });
    }
}

/// Two equal, parallel links that carry the wheel.
fn parallelogram() -> Value {
    let mut file = single_pivot(PIVOT);
    file["mechanism"] = json!({
        "points": {"axle": AXLE, "low_frame": [-20, 60], "low_rear": [-170, 30],
            "up_frame": [-40, 260], "up_rear": [-190, 230], "link_eye": [40, 330],
            "frame_eye": [130, 200]},
        "bodies": {"frame": ["low_frame", "up_frame", "frame_eye"],
            "low": ["low_frame", "low_rear"], "up": ["up_frame", "up_rear", "link_eye"],
            "carrier": ["low_rear", "up_rear", "axle"]},
        "shock": {"ends": ["frame_eye", "link_eye"], "stroke": 30.0},
        "brake_body": "carrier"
    });
    file
}

#[test]
fn parallelogram_carries_the_wheel_without_turning_it() {
    let layout = read(&parallelogram());
    let slot = |name: &str| {
        let mut points = layout.mechanism.points.iter();
        points.position(|point| point.name == name).unwrap()
    };
    with(&parallelogram(), |suspension| {
        for part in 0..=10 {
            let q = f64::from(part) / 10.0;
            let state = suspension.state(q);
            assert!(
                state.instant_centre().is_none(),
                "at {q}: {:?}",
                state.instant_centre()
            );
            let end = suspension.pose(q).points[slot("low_rear")];
            assert_abs_diff_eq!(state.axle.x - AXLE[0], end.x + 170.0, epsilon = 1e-9);
            assert_abs_diff_eq!(state.axle.y - AXLE[1], end.y - 30.0, epsilon = 1e-9);
        }
        // The brake's force acts along the links: their slope is what it lifts.
        let slope = (60.0 - 30.0) / 150.0;
        let transfer = (800.0 + 368.0 - 20.0) / 1230.0;
        let anti_rise = value(suspension, Curve::AntiRise, 10, 0.0);
        assert_relative_eq!(anti_rise, 100.0 * slope / transfer, max_relative = 1e-10);
    });
}

#[test]
fn with_the_pivot_at_the_bottom_bracket_the_braked_crank_turns_with_the_arm_in_every_gear() {
    with(&single_pivot([0.0, 0.0]), |suspension| {
        let top = AXLE[1].atan2(AXLE[0]);
        for part in 0..=10 {
            let q = f64::from(part) / 10.0;
            let state = suspension.state(q);
            // From the axle's direction, which passes the negative x axis.
            let now = state.axle.y.atan2(state.axle.x);
            let turned = (now - top + 3.0 * std::f64::consts::PI) % std::f64::consts::TAU;
            let turned = (turned - std::f64::consts::PI).to_degrees();
            for cog in suspension.bicycle().cogs() {
                let braked = value(suspension, Curve::PedalKickbackBraked, cog.teeth, q);
                assert_abs_diff_eq!(braked, turned, epsilon = 1e-9);
                let free = value(suspension, Curve::PedalKickback, cog.teeth, q);
                let expected = turned * (1.0 - pitch_radius(cog.teeth) / pitch_radius(32));
                assert_abs_diff_eq!(free, expected, epsilon = 1e-9);
            }
        }
        assert!(suspension.state(1.0).travel > 100.0);
    });
}

#[test]
fn with_the_pivot_at_the_bottom_bracket_anti_squat_falls_with_smaller_cogs() {
    with(&single_pivot([0.0, 0.0]), |suspension| {
        let transfer = (800.0 + 368.0 - 20.0) / 1230.0;
        let mut below = f64::NEG_INFINITY;
        for cog in suspension.bicycle().cogs() {
            let ours = value(suspension, Curve::AntiSquat, cog.teeth, 0.0);
            let gear = pitch_radius(32) / pitch_radius(cog.teeth);
            let lift = (AXLE[1] + 368.0 * (gear - 1.0)) / AXLE[0];
            assert_relative_eq!(ours, 100.0 * lift / transfer, max_relative = 1e-11);
            assert!(ours > below, "{ours} with {} teeth", cog.teeth);
            below = ours;
        }
    });
}

const HIGH: [f64; 2] = [-30.0, 190.0];

#[test]
fn chain_far_under_a_high_pivot_grows_and_an_idler_at_the_pivot_takes_that_away() {
    let turned = |suspension: &Suspension| {
        let state = suspension.state(1.0);
        let arm = |x: f64, y: f64| (y - HIGH[1]).atan2(x - HIGH[0]);
        let turned = arm(state.axle.x, state.axle.y) - arm(AXLE[0], AXLE[1]);
        turned - (turned / std::f64::consts::TAU).round() * std::f64::consts::TAU
    };
    let without = single_pivot(HIGH);
    let mut with_idler = single_pivot(HIGH);
    with_idler["mechanism"]["points"]["idler"] = json!(HIGH);
    with_idler["mechanism"]["bodies"]["frame"] = json!(["pivot", "frame_eye", "idler"]);
    with_idler["bicycle"]["idler"] = json!({"point": "idler", "teeth": 16, "wrap": "over"});
    let mut anti_squat = [0.0; 2];
    with(&with_idler, |suspension| {
        for cog in suspension.bicycle().cogs() {
            let growth = value(suspension, Curve::ChainGrowth, cog.teeth, 1.0);
            let radii = pitch_radius(16) - pitch_radius(cog.teeth);
            assert_abs_diff_eq!(growth, radii * turned(suspension), epsilon = 1e-9);
        }
        anti_squat[0] = value(suspension, Curve::AntiSquat, 21, 0.0);
    });
    with(&without, |suspension| {
        // The axle moves away from the bottom bracket, and the chain with it.
        let state = suspension.state(1.0);
        for cog in suspension.bicycle().cogs() {
            let radii = pitch_radius(32) - pitch_radius(cog.teeth);
            let path = |axle: [f64; 2]| {
                let apart = length(axle, [0.0, 0.0]);
                // Triangle of centres and radii, then the arcs as far as the run has tilted.
                let run = (apart * apart - radii * radii).sqrt();
                let tilt = (-axle[1]).atan2(-axle[0]) + (radii / apart).asin();
                run + radii * tilt
            };
            let expected = path([state.axle.x, state.axle.y]) - path(AXLE);
            let growth = value(suspension, Curve::ChainGrowth, cog.teeth, 1.0);
            assert_abs_diff_eq!(growth, expected, epsilon = 1e-9);
            assert!(growth > 20.0, "{growth} with {} teeth", cog.teeth);
        }
        anti_squat[1] = value(suspension, Curve::AntiSquat, 21, 0.0);
    });
    // The tight run far under the pivot pulls the wheel down hard.
    assert!(anti_squat[1] > anti_squat[0] + 100.0, "{anti_squat:?}");
}

#[test]
fn anti_squat_and_anti_rise_go_as_one_over_the_height_of_the_mass() {
    let at = |y: f64| {
        let mut file = single_pivot(PIVOT);
        file["bicycle"]["centre_of_mass"] = json!([30.0, y]);
        let mut both = [0.0; 2];
        with(&file, |suspension| {
            both =
                [Curve::AntiSquat, Curve::AntiRise].map(|curve| value(suspension, curve, 21, 0.0));
        });
        both
    };
    // Heights of the mass over the ground: 1000 and 1250 mm.
    let (low, high) = (at(1000.0 - 348.0), at(1250.0 - 348.0));
    for (low, high) in low.into_iter().zip(high) {
        assert_relative_eq!(low, 1.25 * high, max_relative = 1e-12);
    }
}

#[test]
fn sag_of_stroke_and_sag_of_travel_are_two_places() {
    let sag = |of: &str| {
        let mut file = single_pivot(PIVOT);
        file["bicycle"]["sag"] = json!({"fraction": 0.3, "of": of});
        let mut both = [0.0; 2];
        with(&file, |suspension| {
            both = [Summary::SagOfTravel, Summary::SagOfStroke]
                .map(|quantity| suspension.summary(quantity));
            let state = suspension.state(suspension.parameter_at(Place::Sag));
            assert_relative_eq!(state.travel, both[0] * suspension.total_travel());
            assert_relative_eq!(state.stroke, both[1] * 55.0);
        });
        both
    };
    let drawn = length(ARM_EYE, FRAME_EYE);
    let travel = |stroke: f64| {
        let turned = angle_between_eyes(PIVOT, drawn) - angle_between_eyes(PIVOT, drawn - stroke);
        axle_turned(PIVOT, turned)[1] - AXLE[1]
    };
    let [of_travel, of_stroke] = sag("stroke");
    assert_abs_diff_eq!(of_stroke, 0.3, epsilon = 1e-12);
    assert_abs_diff_eq!(
        of_travel,
        travel(0.3 * 55.0) / travel(55.0),
        epsilon = 1e-11
    );
    let [of_travel, of_stroke] = sag("travel");
    assert_abs_diff_eq!(of_travel, 0.3, epsilon = 1e-12);
    assert_abs_diff_eq!(travel(of_stroke * 55.0), 0.3 * travel(55.0), epsilon = 1e-9);
    assert!((of_stroke - 0.3).abs() > 1e-3, "{of_stroke}");
}

#[test]
fn largest_cog_on_a_small_ring_computes() {
    let mut file = single_pivot(PIVOT);
    file["bicycle"]["chainring_teeth"] = json!(28);
    with(&file, |suspension| {
        let sprocket = |centre: [f64; 2], teeth: u32| Sprocket {
            centre: Point::new(centre[0], centre[1]),
            radius: pitch_radius(teeth),
            side: 1.0,
        };
        let run = Run::between(sprocket(AXLE, 52), sprocket([0.0, 0.0], 28));
        assert!(
            run.from.y > run.to.y,
            "the run falls towards the ring: {run:?}"
        );
        let contacts = [Point::new(-440.0, -348.0), Point::new(790.0, -348.0)];
        let axle = Point::new(AXLE[0], AXLE[1]);
        let height = drawn_anti_squat(contacts, axle, [PIVOT[0], PIVOT[1], 1.0], run);
        let ours = value(suspension, Curve::AntiSquat, 52, 0.0);
        assert_relative_eq!(ours, 100.0 * height / 1148.0, max_relative = 1e-11);
    });
}
