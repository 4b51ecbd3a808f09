//! Worked examples from textbooks and standards; the data files name sources and status.

use crate::linkages::{layout_of, read};
use crate::oracle::{Run, Sprocket, drawn_anti_squat};
use approx::{assert_abs_diff_eq, assert_relative_eq};
use pivotwright::curves::{Suspension, pitch_radius};
use pivotwright::input::{Curve, Layout};
use pivotwright::mechanism::{Ending, Motion, Plan, Pose, find_end};
use pivotwright::number::{Dual, Point, Scalar, Vector, roots};
use serde_json::{Value, json};

fn four_bar_data() -> Value {
    serde_json::from_str(include_str!("data/four_bar.json")).unwrap()
}

fn number(value: &Value) -> f64 {
    value
        .as_f64()
        .unwrap_or_else(|| panic!("{value} is no number"))
}

/// Point slots of the four-bar's layout, in the order of its file.
const A: usize = 2;
const B: usize = 3;
const COUPLER_POINT: usize = 4;

/// Ground, crank, coupler, rocker.
type Links<T> = [T; 4];

/// Where the points stand with the crank at `theta` radians: O2, O4, A, B, P, axle, shock eyes.
///
/// B is on the left of the ray A to O4 where `side` is 1 (open), on its right where -1 (crossed).
fn drawn<T: Scalar>(links: Links<T>, theta: f64, side: f64) -> Vec<Point<T>> {
    let at = |x: f64, y: f64| Point::constant(Point::new(x, y));
    let polar = |radius: f64, angle: f64| at(radius * angle.cos(), radius * angle.sin());
    let [ground, crank, coupler, rocker] = links;
    let pin_a = Point::new(crank * theta.cos(), crank * theta.sin());
    let pin_o4 = Point::new(ground, T::from_f64(0.0));
    let line = pin_o4 - pin_a;
    let apart = line.length();
    let along = (apart.squared() + coupler.squared() - rocker.squared()) / (apart * 2.0);
    let across = (coupler.squared() - along.squared()).sqrt() * side;
    let unit = line * (T::from_f64(1.0) / apart);
    let pin_b = pin_a + unit * along + unit.turned_left() * across;
    let bar = pin_b - pin_a;
    let point = pin_a + bar * T::from_f64(0.6) + bar.turned_left() * T::from_f64(0.35);
    let axle = at(300.0, 0.0);
    // The shock's eye on the crank stands a quarter turn ahead of it.
    let crank_eye = polar(80.0, theta + std::f64::consts::FRAC_PI_2);
    vec![
        at(0.0, 0.0),
        pin_o4,
        pin_a,
        pin_b,
        point,
        axle,
        crank_eye,
        at(-200.0, 0.0),
    ]
}

/// The four-bar as a layout whose wheel sits on the crank, far from anything.
fn four_bar(links: Links<f64>, theta: f64, side: f64, stroke: f64) -> Layout {
    let names = ["o2", "o4", "a", "b", "p", "axle", "crank_eye", "frame_eye"];
    let mut file = layout_of(&json!({
        "points": {},
        "bodies": {"frame": ["o2", "o4", "frame_eye"], "crank": ["o2", "a", "axle", "crank_eye"],
            "coupler": ["a", "b", "p"], "rocker": ["b", "o4"]},
        "shock": {"ends": ["frame_eye", "crank_eye"], "stroke": stroke},
        "brake_body": "crank"
    }));
    for (name, place) in names.into_iter().zip(drawn(links, theta, side)) {
        file["mechanism"]["points"][name] = json!([place.x, place.y]);
    }
    file["bicycle"]["front_axle"] = json!([2000.0, 0.0]);
    read(&file)
}

const NORTON: Links<f64> = [100.0, 40.0, 120.0, 80.0];
const START_DEGREES: f64 = 10.0;
const STROKE: f64 = 60.0;

/// The parameter at which the crank of a motion stands at `degrees`.
fn crank_at(motion: &Motion<f64>, degrees: f64) -> f64 {
    let mut pose = Pose::new(motion.plan());
    let missing = |q: f64| {
        motion.pose(q, &mut pose);
        pose.points[A].y.atan2(pose.points[A].x) - degrees.to_radians()
    };
    roots::bracketed(missing, 0.0, 1.0).unwrap()
}

/// From the joints: angle of coupler and rocker.
fn angles<T: Scalar>(pose: &Pose<T>) -> [T; 2] {
    let bar = pose.points[B] - pose.points[A];
    let rocker = pose.points[B] - pose.points[1];
    [bar.y.atan2(bar.x), rocker.y.atan2(rocker.x)]
}

/// Angular velocity of a line between two points.
fn turning<T: Scalar>(pose: &Pose<T>, from: usize, to: usize) -> T {
    let line = pose.points[to] - pose.points[from];
    line.cross(pose.velocities[to] - pose.velocities[from]) / line.length_squared()
}

fn assert_vector(ours: Vector<f64>, expected: &Value) {
    assert_relative_eq!(ours.x, number(&expected[0]), max_relative = 1e-9);
    assert_relative_eq!(ours.y, number(&expected[1]), max_relative = 1e-9);
}

/// Position, velocity and acceleration of the crank-rocker at 40 degrees.
fn matches_norton(branch: &str, side: f64) {
    let data = &four_bar_data()["position_velocity_acceleration"];
    let (expected, theta) = (&data[branch], number(&data["theta2_deg"]));
    let layout = four_bar(NORTON, START_DEGREES.to_radians(), side, STROKE);
    let plan = Plan::compile("four-bar", &layout.mechanism).unwrap();
    let points = drawn(NORTON, START_DEGREES.to_radians(), side);
    let q = crank_at(&Motion::new(&plan, &points, STROKE), theta);
    // Velocities with their derivatives by the parameter give the accelerations.
    let points: Vec<Point<Dual<f64, 1>>> = points.into_iter().map(Point::constant).collect();
    let motion = Motion::new(&plan, &points, Dual::constant(STROKE));
    let mut pose = Pose::new(&plan);
    motion.pose(Dual::variable(q, 0), &mut pose);

    let plain = |point: usize| pose.points[point].value();
    assert_abs_diff_eq!(plain(A).x, number(&expected["A"][0]), epsilon = 1e-9);
    assert_abs_diff_eq!(plain(A).y, number(&expected["A"][1]), epsilon = 1e-9);
    assert_abs_diff_eq!(plain(B).x, number(&expected["B"][0]), epsilon = 1e-9);
    assert_abs_diff_eq!(plain(B).y, number(&expected["B"][1]), epsilon = 1e-9);
    let [theta3, theta4] = angles(&pose).map(|angle| angle.value.to_degrees());
    assert_abs_diff_eq!(theta3, number(&expected["theta3_deg"]), epsilon = 1e-9);
    assert_abs_diff_eq!(theta4, number(&expected["theta4_deg"]), epsilon = 1e-9);

    // Rate and second rate of the parameter that give the crank's omega and alpha.
    let (omega, alpha) = (number(&data["omega2"]), number(&data["alpha2"]));
    let crank = turning(&pose, 0, A);
    let rate = omega / crank.value;
    let second = (alpha - crank.partials[0] * rate * rate) / crank.value;
    let velocity = |point: usize| {
        let velocity = pose.velocities[point];
        Vector::new(velocity.x.value, velocity.y.value) * rate
    };
    let acceleration = |point: usize| {
        let velocity = pose.velocities[point];
        let bend = Vector::new(velocity.x.partials[0], velocity.y.partials[0]);
        bend * (rate * rate) + Vector::new(velocity.x.value, velocity.y.value) * second
    };
    assert_vector(velocity(A), &expected["VA"]);
    assert_vector(velocity(B), &expected["VB"]);
    assert_vector(velocity(B) - velocity(A), &expected["VBA"]);
    assert_vector(acceleration(A), &expected["AA"]);
    assert_vector(acceleration(B), &expected["AB"]);
    assert_vector(acceleration(B) - acceleration(A), &expected["ABA"]);
    for (line, name) in [([A, B], "3"), ([1, B], "4")] {
        let turning = turning(&pose, line[0], line[1]);
        let omega = number(&expected[format!("omega{name}")]);
        assert_relative_eq!(turning.value * rate, omega, max_relative = 1e-9);
        let alpha = number(&expected[format!("alpha{name}")]);
        let ours = turning.partials[0] * rate * rate + turning.value * second;
        assert_relative_eq!(ours, alpha, max_relative = 1e-9);
    }
}

// R. L. Norton, Design of Machinery, examples 4-1, 6-7 and 7-1; inputs and rounded results
// from memory, digits recomputed.
#[test]
fn crank_rocker_open_moves_as_in_the_textbook() {
    matches_norton("open", 1.0);
}

#[test]
fn crank_rocker_crossed_moves_as_in_the_textbook() {
    matches_norton("crossed", -1.0);
}

// The same linkage; derivatives recomputed.
#[test]
fn angles_of_the_crank_rocker_depend_on_the_link_lengths_as_computed() {
    let data = &four_bar_data()["derivatives_open"]["values"];
    let layout = four_bar(NORTON, START_DEGREES.to_radians(), 1.0, STROKE);
    let plan = Plan::compile("four-bar", &layout.mechanism).unwrap();
    let plain = drawn(NORTON, START_DEGREES.to_radians(), 1.0);
    let q = crank_at(&Motion::new(&plan, &plain, STROKE), 40.0);
    let links: Links<Dual<f64, 4>> = std::array::from_fn(|link| Dual::variable(NORTON[link], link));
    let points = drawn(links, START_DEGREES.to_radians(), 1.0);
    let motion = Motion::new(&plan, &points, Dual::constant(STROKE));
    let mut pose = Pose::new(&plan);
    motion.pose(Dual::constant(q), &mut pose);
    let [theta3, theta4] = angles(&pose);
    for (link, name) in ["ground", "crank", "coupler", "rocker"]
        .into_iter()
        .enumerate()
    {
        let expected = &data[name];
        assert_relative_eq!(
            theta3.partials[link],
            number(&expected["dtheta3"]),
            max_relative = 1e-9
        );
        assert_relative_eq!(
            theta4.partials[link],
            number(&expected["dtheta4"]),
            max_relative = 1e-9
        );
    }
    let crank = turning(&pose, 0, A).value;
    for (line, name) in [([A, B], "dtheta3"), ([1, B], "dtheta4")] {
        let ours = turning(&pose, line[0], line[1]).value / crank;
        assert_relative_eq!(ours, number(&data["theta2"][name]), max_relative = 1e-9);
    }
}

// Coupler point of the Roberts-Chebyshev example; recomputed.
#[test]
fn coupler_point_is_where_its_cognates_trace_it() {
    let data = four_bar_data();
    let expected = &data["coupler_point"]["points"][0]["P"];
    let layout = four_bar(NORTON, START_DEGREES.to_radians(), 1.0, STROKE);
    let plan = Plan::compile("four-bar", &layout.mechanism).unwrap();
    let points = drawn(NORTON, START_DEGREES.to_radians(), 1.0);
    let motion = Motion::new(&plan, &points, STROKE);
    let mut pose = Pose::new(&plan);
    motion.pose(crank_at(&motion, 40.0), &mut pose);
    assert_abs_diff_eq!(
        pose.points[COUPLER_POINT].x,
        number(&expected[0]),
        epsilon = 1e-9
    );
    assert_abs_diff_eq!(
        pose.points[COUPLER_POINT].y,
        number(&expected[1]),
        epsilon = 1e-9
    );
}

// Limit position of the same linkage, crank and coupler in line; closed form.
#[test]
fn rocker_stands_still_where_crank_and_coupler_are_in_line() {
    let data = &four_bar_data()["limits"]["extended"];
    let layout = four_bar(NORTON, START_DEGREES.to_radians(), 1.0, STROKE);
    let plan = Plan::compile("four-bar", &layout.mechanism).unwrap();
    let points = drawn(NORTON, START_DEGREES.to_radians(), 1.0);
    let motion = Motion::new(&plan, &points, STROKE);
    let mut pose = Pose::new(&plan);
    let rate = |q: f64| {
        motion.pose(q, &mut pose);
        turning(&pose, 1, B)
    };
    let still = roots::bracketed(rate, 0.0, 1.0).unwrap();
    motion.pose(still, &mut pose);
    let crank = pose.points[A].y.atan2(pose.points[A].x).to_degrees();
    assert_abs_diff_eq!(crank, number(&data["theta2_deg"]), epsilon = 1e-9);
    let theta4 = angles(&pose)[1].to_degrees();
    assert_abs_diff_eq!(theta4, number(&data["theta4_deg"]), epsilon = 1e-9);
}

// Least transmission angle of the same linkage, crank on the ground line; closed form.
#[test]
fn margin_is_the_squared_sine_of_the_transmission_angle() {
    let least = number(&four_bar_data()["limits"]["min_transmission_angle_deg"]);
    let start = -20_f64;
    let layout = four_bar(NORTON, start.to_radians(), 1.0, STROKE);
    let plan = Plan::compile("four-bar", &layout.mechanism).unwrap();
    let points = drawn(NORTON, start.to_radians(), 1.0);
    let motion = Motion::new(&plan, &points, STROKE);
    let mut pose = Pose::new(&plan);
    let mut transmission = |q: f64| {
        motion.pose(q, &mut pose);
        let (coupler, rocker) = (
            pose.points[A] - pose.points[B],
            pose.points[1] - pose.points[B],
        );
        let angle = coupler.cross(rocker).abs().atan2(coupler.dot(rocker));
        let sine = angle.sin();
        let margin = pose.margins.iter().map(|m| (m - sine * sine).abs());
        assert!(
            margin.fold(f64::INFINITY, f64::min) < 1e-12,
            "{:?}",
            pose.margins
        );
        angle.to_degrees()
    };
    let level = crank_at(&motion, 0.0);
    assert_abs_diff_eq!(transmission(level), least, epsilon = 1e-9);
    for part in 0..=100 {
        assert!(transmission(f64::from(part) / 100.0) >= least - 1e-12);
    }
}

// Range of assembly of a linkage that is not Grashof's; closed form.
#[test]
fn linkage_ends_at_its_assembly_limit() {
    let data = &four_bar_data()["assembly_limit"];
    let links = ["ground", "crank", "coupler", "rocker"].map(|link| number(&data[link]));
    let limit = number(&data["assembles_for_abs_theta2_deg_up_to"]);
    let start = 30_f64;
    for side in [1.0, -1.0] {
        let layout = four_bar(links, start.to_radians(), side, 100.0);
        let plan = Plan::compile("four-bar", &layout.mechanism).unwrap();
        let points = drawn(links, start.to_radians(), side);
        let end = find_end(&plan, &points, 100.0, layout.bicycle.rear_axle).unwrap();
        assert_eq!(end.ending, Ending::Locks);
        assert_eq!(end.pivot.unwrap().index(), B);
        // The crank's angle from the shock's length, by the law of cosines.
        let shock = layout.mechanism.eye_to_eye() - end.stroke;
        let at_o2 = ((80.0 * 80.0 + 200.0 * 200.0 - shock * shock) / (2.0 * 80.0 * 200.0)).acos();
        let crank = 180.0 - at_o2.to_degrees() - 90.0;
        assert_abs_diff_eq!(crank, limit, epsilon = 1e-9);
    }
}

// ISO 606, ISO 9633: pitch diameters of 9 to 52 teeth, six decimals.
#[test]
fn pitch_diameters_are_those_of_the_standard() {
    let data: Value = serde_json::from_str(include_str!("data/sprockets.json")).unwrap();
    let table = data["pitch_diameter_mm"].as_object().unwrap();
    assert_eq!(table.len(), 44);
    for (teeth, diameter) in table {
        let ours = 2.0 * pitch_radius(teeth.parse().unwrap());
        assert_abs_diff_eq!(ours, number(diameter), epsilon = 5.1e-7);
    }
}

fn squat_data() -> Value {
    serde_json::from_str(include_str!("data/squat.json")).unwrap()
}

/// A swing arm on level ground: wheel radius, axle, pivot, and the mass `height` over the ground.
fn swing_arm(radius: f64, axle: [f64; 2], pivot: [f64; 2], wheelbase: f64, height: f64) -> Value {
    let mut file = layout_of(&json!({
        "points": {"axle": axle, "pivot": pivot, "arm_eye": [pivot[0] - 60.0, pivot[1] + 150.0],
            "frame_eye": [pivot[0] + 140.0, pivot[1] + 160.0]},
        "bodies": {"frame": ["pivot", "frame_eye"], "arm": ["pivot", "axle", "arm_eye"]},
        "shock": {"ends": ["arm_eye", "frame_eye"], "stroke": 20.0},
        "brake_body": "arm"
    }));
    let bicycle = &mut file["bicycle"];
    bicycle["front_axle"] = json!([axle[0] + wheelbase, axle[1]]);
    bicycle["rear_wheel_radius"] = json!(radius);
    bicycle["front_wheel_radius"] = json!(radius);
    bicycle["centre_of_mass"] = json!([0.0, axle[1] - radius + height]);
    file
}

fn at_top(file: &Value, curve: Curve, teeth: u32) -> f64 {
    let layout = read(file);
    let plan = Plan::compile("swing arm", &layout.mechanism).unwrap();
    let suspension = Suspension::new(&plan, "swing arm", &layout).unwrap();
    let cogs = suspension.bicycle().cogs();
    let cog = cogs.iter().find(|cog| cog.teeth == teeth).unwrap();
    suspension.value(curve, &suspension.state(0.0), *cog)
}

fn pair(value: &Value) -> [f64; 2] {
    [number(&value[0]), number(&value[1])]
}

// Squat line and squat ratio as in V. Cossalter, Motorcycle Dynamics, ch. 6 (formulas from
// memory, example numbers recomputed by construction and by moment balance).
#[test]
fn swing_arms_have_the_squat_ratio_of_the_force_centre() {
    let data = squat_data();
    let mut on_bicycles = 0;
    for case in data["chain_swingarm_examples"]["cases"].as_array().unwrap() {
        let [wheelbase, height, wheel] =
            ["wheelbase", "cg_height", "wheel_radius"].map(|key| number(&case[key]));
        let (axle, pivot) = (pair(&case["axle"]), pair(&case["pivot"]));
        let expected = number(&case["anti_squat_percent_moment"]);
        let [ring, cog] =
            ["front_sprocket_radius", "rear_sprocket_radius"].map(|key| number(&case[key]));
        // First the construction that other tests draw.
        let front = pair(&case["front_sprocket"]);
        let sprocket = |[x, y]: [f64; 2], radius: f64| Sprocket {
            centre: Point::new(x, y),
            radius,
            side: 1.0,
        };
        let run = Run::between(sprocket(axle, cog), sprocket(front, ring));
        let angle = number(&case["chain_line_angle_deg"]);
        assert_abs_diff_eq!(run.angle.to_degrees(), angle, epsilon = 1e-9);
        let ground = axle[1] - wheel;
        let contacts = [
            Point::new(axle[0], ground),
            Point::new(axle[0] + wheelbase, ground),
        ];
        let centre = [pivot[0], pivot[1], 1.0];
        let drawn = drawn_anti_squat(contacts, Point::new(axle[0], axle[1]), centre, run);
        assert_relative_eq!(100.0 * drawn / height, expected, max_relative = 1e-10);
        // Then the library, where the sprockets are ones with whole teeth on a bicycle.
        let teeth = |radius: f64| (9..=52).find(|&n| (pitch_radius(n) - radius).abs() < 1e-9);
        let (Some(ring), Some(cog)) = (teeth(ring), teeth(cog)) else {
            continue;
        };
        on_bicycles += 1;
        let mut file = swing_arm(wheel, axle, pivot, wheelbase, height);
        file["bicycle"]["chainring_teeth"] = json!(ring);
        let anti_squat = at_top(&file, Curve::AntiSquat, cog);
        assert_relative_eq!(anti_squat, expected, max_relative = 1e-10);
        let ratio = number(&case["squat_ratio"]);
        assert_relative_eq!(100.0 / anti_squat, ratio, max_relative = 1e-10);
    }
    assert_eq!(on_bicycles, 2);
}

// Solid axle, T. D. Gillespie, Fundamentals of Vehicle Dynamics, ch. 7 (formula from memory):
// 100 (e / d) / (h / L), with e the height and d the distance of the equivalent arm's pivot from
// the contact point. A wheel braked against its arm is such an axle.
#[test]
fn braked_wheel_lifts_as_a_solid_axle() {
    let data = squat_data();
    let solid = &data["solid_axle"];
    let [height, wheelbase] = ["h", "L"].map(|key| 1000.0 * number(&solid[key]));
    for case in solid["cases"].as_array().unwrap() {
        let [up, ahead] = ["e", "d"].map(|key| 1000.0 * number(&case[key]));
        let axle = [-440.0, 20.0];
        let pivot = [axle[0] + ahead, axle[1] - 310.0 + up];
        let file = swing_arm(310.0, axle, pivot, wheelbase, height);
        let expected = number(&case["anti_squat_percent"]);
        let anti_rise = at_top(&file, Curve::AntiRise, 21);
        assert_relative_eq!(anti_rise, expected, max_relative = 1e-10);
    }
}
