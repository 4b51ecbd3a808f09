//! Sensitivities against central differences of the exact numbers, on every kind of linkage.
//!
//! The differences are of `Measure::value`, which finds every extremum and place anew in the
//! moved layout, so the theorems behind the derivatives are tested with them.

use crate::linkages::{CLOSURES, KINDS, movable, read, with_parts};
use pivotwright::curves::{Bicycle, Suspension};
use pivotwright::design::Assessment;
use pivotwright::design::measure::{Aim, Form, Measure, aims, reported};
use pivotwright::input::{Layout, ObjectiveSet, Place};
use pivotwright::mechanism::Plan;
use pivotwright::number::{Point, Vector};
use pivotwright::room::neighbours;
use pivotwright::study::moves::Movable;
use pivotwright::study::sensitivity::Sensitivity;
use std::sync::Arc;

const EVERY_FORM: &str = r#"{"name": "every form of target", "targets": [
    {"curve": "leverage_rate", "at": "top", "value": 2.9, "within": 0.05},
    {"curve": "leverage_rate", "over": [0.1, 0.8], "straight_within": 0.03},
    {"curve": "leverage_rate", "over": ["sag", "end"], "monotone": "rising"},
    {"curve": "anti_squat", "at": "sag", "cogs": "all", "value": 105, "within": 25},
    {"curve": "anti_squat", "at": 0.4, "cogs": "all", "spread_within": 15},
    {"curve": "anti_squat", "over": ["top", 0.6], "cogs": [21], "spread_within": 25},
    {"curve": "anti_rise", "over": ["sag", "end"], "between": [50, 70]},
    {"curve": "progression", "value": 20, "within": 5},
    {"curve": "progression_from_sag", "value": 20, "within": 5},
    {"curve": "leverage_mean", "value": 2.5, "within": 0.1},
    {"curve": "leverage_min", "value": 2.5, "within": 0.1},
    {"curve": "leverage_min_at", "value": 100, "within": 50},
    {"curve": "leverage_max_at", "value": 100, "within": 50},
    {"curve": "straightness_rms", "between": [0, 0.1]},
    {"curve": "anti_rise_max", "value": 60, "within": 10},
    {"curve": "axle_x_rearmost", "value": -445, "within": 5},
    {"curve": "rear_centre_growth", "value": 10, "within": 5},
    {"curve": "axle_x_growth", "value": 10, "within": 5},
    {"curve": "sag_of_travel", "value": 0.3, "within": 0.1},
    {"curve": "sag_of_stroke", "value": 0.3, "within": 0.1}
]}"#;

fn every_form() -> ObjectiveSet {
    ObjectiveSet::from_json("every form", EVERY_FORM).unwrap()
}

fn all_aims(bicycle: &Bicycle, set: &ObjectiveSet) -> Vec<Aim> {
    let targets = set.targets.iter().enumerate();
    targets
        .flat_map(|(index, target)| aims(bicycle, target, 0, index))
        .collect()
}

fn drawn(layout: &Layout) -> Vec<Point<f64>> {
    let points = layout.mechanism.points.iter();
    points.map(|point| point.position).collect()
}

/// All values of measures, then of aims, of moved points.
fn values(plan: &Plan, layout: &Layout, points: &[Point<f64>], forms: &[Form]) -> Vec<f64> {
    let stroke = layout.mechanism.shock.stroke;
    let suspension = Suspension::assembled(plan, Bicycle::new(layout), points, stroke);
    forms
        .iter()
        .map(|form| {
            let spots = form.locate(&suspension);
            let moving = pivotwright::design::measure::Moving::of(&suspension);
            let value = form.combine(&moving, &spots);
            value * form.sign(value)
        })
        .collect()
}

/// Central differences, twice extrapolated.
fn differences(
    plan: &Plan,
    layout: &Layout,
    place: &Movable,
    along: Vector<f64>,
    forms: &[Form],
) -> Vec<f64> {
    let steps = by_steps(plan, layout, place, along, forms);
    steps.into_iter().map(|(_, fine)| fine).collect()
}

/// Central differences, once and twice extrapolated.
fn by_steps(
    plan: &Plan,
    layout: &Layout,
    place: &Movable,
    along: Vector<f64>,
    forms: &[Form],
) -> Vec<(f64, f64)> {
    let drawn = drawn(layout);
    let slope = |step: f64| -> Vec<f64> {
        let at = |by: f64| {
            let points: Vec<Point<f64>> = place.moved(&drawn, along * by);
            values(plan, layout, &points, forms)
        };
        let (up, down) = (at(step), at(-step));
        up.iter()
            .zip(&down)
            .map(|(up, down)| (up - down) / (2.0 * step))
            .collect()
    };
    let [coarse, middle, fine] = [0.08, 0.04, 0.02].map(slope);
    (0..forms.len())
        .map(|index| {
            let once = |a: &[f64], b: &[f64]| (4.0 * b[index] - a[index]) / 3.0;
            let (wide, narrow) = (once(&coarse, &middle), once(&middle, &fine));
            (wide, (16.0 * narrow - wide) / 15.0)
        })
        .collect()
}

/// The smallest clearance of every pair of parts that could touch.
fn every_clearance(layout: &Layout) -> Vec<Measure> {
    let pairs = neighbours(layout).into_iter().map(|pair| Measure {
        name: pair.words(),
        heading: String::new(),
        unit: "mm",
        noticeable: 5.0,
        form: Form::Clearance {
            clearance: Arc::new(pair),
            range: (Place::Top, Place::End),
        },
    });
    pairs.collect()
}

/// Checks the slopes of clearances by every `stride`th place, and tells how many were checked and
/// how many left out: where other corners come nearest within the steps, or another moment, there
/// is a kink, and differences of several steps do not agree with each other.
fn check_clearances(name: &str, layout: &Layout, stride: usize) -> (usize, usize) {
    let plan = Plan::compile(name, &layout.mechanism).unwrap();
    let suspension = Suspension::new(&plan, name, layout).unwrap();
    let measures = every_clearance(layout);
    assert!(!measures.is_empty());
    let forms: Vec<Form> = measures.iter().map(|m| m.form.clone()).collect();
    let table = Sensitivity::with_clearances(layout, &suspension, &[], measures, None);
    let first = table.measures.len() - forms.len();
    let (mut checked, mut left_out) = (0, 0);
    for place in Movable::all(&layout.mechanism).into_iter().step_by(stride) {
        for (axis, along) in [("x", Vector::new(1.0, 0.0)), ("y", Vector::new(0.0, 1.0))] {
            let point = &layout.mechanism.points[place.point().index()].name;
            let wanted = format!("{point}.{axis}");
            let mut coordinates = table.coordinates.iter();
            let coordinate = coordinates.find(|c| c.name == wanted).unwrap();
            let differences = by_steps(&plan, layout, &place, along, &forms);
            for (index, (coarse, fine)) in differences.into_iter().enumerate() {
                let exact = coordinate.slopes[first + index];
                // Parts that overlap have kinks along the travel itself.
                if table.values[first + index] < 0.0 {
                    continue;
                }
                if (coarse - fine).abs() > 1e-6 {
                    left_out += 1;
                    continue;
                }
                checked += 1;
                assert!(
                    (exact - fine).abs() <= 1e-7 * (1.0 + exact.abs()),
                    "{name}, {wanted}: {} {exact}, but by differences {fine}",
                    table.measures[first + index].name
                );
            }
        }
    }
    (checked, left_out)
}

/// Checks the slopes by every `stride`th place of the layout.
fn check_layout(name: &str, layout: &Layout, stride: usize) {
    let plan = Plan::compile(name, &layout.mechanism).unwrap();
    let suspension = Suspension::new(&plan, name, layout).unwrap();
    let bicycle = Bicycle::new(layout);
    let mut set = every_form();
    set.targets.retain(|target| {
        let one = ObjectiveSet::from_json("one", EVERY_FORM).map(|mut one| {
            one.targets = vec![target.clone()];
            one
        });
        one.unwrap().check_against("one", layout).is_empty()
    });
    assert!(set.targets.len() > 10);
    let sensitivity = Sensitivity::of_points(layout, &suspension, &[&set]);
    let measures = reported(&bicycle);
    let aims = all_aims(&bicycle, &set);
    let forms: Vec<Form> = measures
        .iter()
        .map(|measure| measure.form.clone())
        .chain(aims.iter().map(|aim| aim.form.clone()))
        .collect();
    let places = Movable::all(&layout.mechanism);
    for place in places.into_iter().skip(1).step_by(stride) {
        for (axis, along) in [("x", Vector::new(1.0, 0.0)), ("y", Vector::new(0.0, 1.0))] {
            let point = &layout.mechanism.points[place.point().index()].name;
            let wanted = format!("{point}.{axis}");
            let coordinate = sensitivity
                .coordinates
                .iter()
                .find(|coordinate| coordinate.name == wanted)
                .unwrap();
            let residuals = coordinate.residual_slopes.iter().zip(&aims);
            let exact = coordinate
                .slopes
                .iter()
                .copied()
                .chain(residuals.map(|(slope, aim)| slope * aim.half));
            let differences = differences(&plan, layout, &place, along, &forms);
            let now = values(&plan, layout, &drawn(layout), &forms);
            for (index, (exact, difference)) in exact.zip(differences).enumerate() {
                // Where an extremum stands on two places at once there is a kink.
                let scale = 1.0 + exact.abs() + 0.01 * now[index].abs();
                assert!(
                    (exact - difference).abs() <= 1e-7 * scale,
                    "{name}, {wanted}: {:?} {exact}, but by differences {difference}",
                    forms[index]
                );
            }
        }
    }
}

#[test]
fn slopes_agree_with_differences_on_every_kind_of_linkage() {
    for (index, kind) in KINDS.iter().chain(&CLOSURES).enumerate() {
        for file in movable(kind, 4200 + index as u64, 1) {
            check_layout(kind.name, &read(&file), 4);
        }
    }
}

#[test]
fn slopes_agree_with_differences_on_the_reference_layouts() {
    for (name, text) in [
        (
            "01",
            include_str!("data/layouts/01-single-pivot.layout.json"),
        ),
        ("03", include_str!("data/layouts/03-four-bar.layout.json")),
        ("05", include_str!("data/layouts/05-high-pivot.layout.json")),
    ] {
        check_layout(name, &Layout::from_json(name, text).unwrap(), 1);
    }
}

#[test]
fn slopes_of_clearances_agree_with_differences_on_every_kind_of_linkage() {
    let (mut checked, mut left_out) = (0, 0);
    for (index, kind) in KINDS.iter().chain(&CLOSURES[..1]).enumerate() {
        for file in movable(kind, 4200 + index as u64, 1) {
            let (some, not) = check_clearances(kind.name, &read(&with_parts(&file)), 4);
            checked += some;
            left_out += not;
        }
    }
    for text in [
        include_str!("data/layouts/01-single-pivot.layout.json"),
        include_str!("data/layouts/03-four-bar.layout.json"),
        include_str!("data/layouts/05-high-pivot.layout.json"),
    ] {
        let file: serde_json::Value = serde_json::from_str(text).unwrap();
        let (some, not) = check_clearances("reference", &read(&with_parts(&file)), 2);
        checked += some;
        left_out += not;
    }
    assert!(checked > 10 * left_out, "{checked} {left_out}");
}

#[test]
fn aims_have_the_residuals_of_the_assessment() {
    for (index, kind) in KINDS.iter().enumerate().step_by(3) {
        for file in movable(kind, 900 + index as u64, 2) {
            let layout = read(&file);
            let plan = Plan::compile(kind.name, &layout.mechanism).unwrap();
            let suspension = Suspension::new(&plan, kind.name, &layout).unwrap();
            let mut set = every_form();
            set.targets.retain(|target| {
                let mut one = every_form();
                one.targets = vec![target.clone()];
                one.check_against("one", &layout).is_empty()
            });
            let assessment = Assessment::new(&suspension, &[&set], &[]);
            let sensitivity = Sensitivity::of_points(&layout, &suspension, &[&set]);
            for target in &assessment.targets {
                let of_target = sensitivity.aims.iter().zip(&sensitivity.residuals);
                let worst = of_target
                    .filter(|(aim, _)| aim.index == target.index)
                    .map(|(_, residual)| residual.abs())
                    .fold(0.0, f64::max);
                let expected = target.residual.abs();
                assert!(
                    (worst - expected).abs() <= 1e-6 * (1.0 + expected),
                    "{} target {}: {worst}, but assessed as {expected}",
                    kind.name,
                    target.index
                );
            }
        }
    }
}
