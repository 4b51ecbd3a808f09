//! The library against the slow second evaluator, on random layouts of every kind.

use crate::linkages::{CLOSURES, KINDS, Kind, Random, movable, read, vary};
use crate::oracle::{Oracle, OracleCurves, OracleEnd, OracleEnding};
use pivotwright::curves::Suspension;
use pivotwright::input::{Curve, Layout};
use pivotwright::mechanism::{Ending, Plan, find_end};
use pivotwright::number::Point;

/// Bound of agreement: 1e-7, or 1e-9 of the value.
fn close(what: &str, ours: f64, expected: f64) {
    let bound = (1e-9 * expected.abs()).max(1e-7);
    assert!(
        (ours - expected).abs() <= bound,
        "{what}: {ours} is not {expected}, off by {:e}",
        ours - expected
    );
}

fn plan_of(layout: &Layout) -> Plan {
    Plan::compile("random", &layout.mechanism).unwrap()
}

fn compare(what: &str, layout: &Layout) {
    let plan = plan_of(layout);
    let suspension = match Suspension::new(&plan, "random", layout) {
        Ok(suspension) => suspension,
        Err(faults) => panic!("{what}: {faults:?}"),
    };
    let oracle = Oracle::follow(layout).unwrap();
    let curves = OracleCurves::new(&oracle);
    for part in 0..=9 {
        let stroke = oracle.stroke() * f64::from(part) / 9.0;
        let what = format!("{what} at {stroke:.3} mm");
        let q = suspension.parameter_at_stroke(stroke);
        let (state, pose, moment) = (suspension.state(q), suspension.pose(q), oracle.at(stroke));
        for (point, place) in pose.points.iter().enumerate() {
            let expected = oracle.point(&moment, point);
            let name = format!("{what}, {}", layout.mechanism.points[point].name);
            close(&name, place.x, expected.x);
            close(&name, place.y, expected.y);
        }
        for curve in Curve::ALL {
            for (index, &cog) in suspension.bicycle().cogs().iter().enumerate() {
                let name = format!("{what}, {} with {}", curve.name(), cog.teeth);
                let ours = suspension.value(curve, &state, cog);
                close(&name, ours, curves.value(curve, stroke, index));
                let drawn = curves.drawn_anti_squat(stroke, index);
                if let Some(drawn) = drawn.filter(|_| curve == Curve::AntiSquat) {
                    close(&format!("{name} as drawn"), ours, drawn);
                }
                if !curve.depends_on_cog() {
                    break;
                }
            }
        }
        if let Some(expected) = curves.axle_body_centre(stroke).filter(near) {
            let centre = state.instant_centre().unwrap();
            close(&format!("{what}, instant centre x"), centre.x, expected.x);
            close(&format!("{what}, instant centre y"), centre.y, expected.y);
        }
    }
}

/// Beyond, an instant centre says nothing but its direction.
fn near(centre: &Point<f64>) -> bool {
    centre.x.abs().max(centre.y.abs()) < 1e4
}

fn agrees(kinds: &[Kind], seed: u64) {
    for (index, kind) in kinds.iter().enumerate() {
        for (number, file) in movable(kind, seed + index as u64, 10).iter().enumerate() {
            compare(&format!("{} {number}", kind.name), &read(file));
        }
    }
}

#[test]
fn every_kind_agrees_with_the_oracle_on_everything() {
    agrees(&KINDS, 100);
}

#[test]
fn what_closes_only_together_agrees_with_the_oracle_on_everything() {
    for kind in &CLOSURES {
        let layout = read(&vary(kind, &mut Random::new(1), 0.0, [40.0, 40.0]));
        let plan = format!("{:?}", plan_of(&layout));
        assert!(plan.contains("Close("), "{}: {plan}", kind.name);
    }
    agrees(&CLOSURES, 200);
}

/// The library's end of the motion and the oracle's.
fn compare_end(what: &str, layout: &Layout) -> Option<OracleEnding> {
    let plan = plan_of(layout);
    let drawn: Vec<Point<f64>> = layout
        .mechanism
        .points
        .iter()
        .map(|point| point.position)
        .collect();
    let stroke = layout.mechanism.shock.stroke;
    let ours = find_end(&plan, &drawn, stroke, layout.bicycle.rear_axle);
    let expected = OracleEnd::find(layout);
    let (Some(ours), Some(expected)) = (ours, expected) else {
        assert!(
            ours.is_none() && expected.is_none(),
            "{what}: ends as {ours:?}, expected {expected:?}"
        );
        let suspension = Suspension::new(&plan, "random", layout).unwrap();
        if let Some(oracle) = Oracle::follow(layout) {
            let travel = OracleCurves::new(&oracle).value(Curve::Travel, stroke, 0);
            let name = format!("{what}, total travel");
            close(&name, suspension.total_travel(), travel);
        }
        return None;
    };
    let alike = match expected.ending {
        OracleEnding::Locks => Ending::Locks,
        OracleEnding::DeadPoint => Ending::DeadPoint,
        OracleEnding::WheelTurnsBack => Ending::WheelTurnsBack,
    };
    assert!(
        (ours.stroke - expected.stroke).abs() < 1e-6,
        "{what}: {ours:?}, expected {expected:?}"
    );
    if expected.stroke < 1.0 {
        // As good as no motion at all: how it ends does not matter.
        return None;
    }
    assert_eq!(
        ours.ending, alike,
        "{what}: {ours:?}, expected {expected:?}"
    );
    // At a dead point the wheel moves with the square root of what the shock has left, so that
    // 1e-6 mm of stroke are so much of travel.
    let bound = if alike == Ending::DeadPoint {
        expected.travel * (1e-6 / expected.stroke).sqrt()
    } else {
        1e-5
    };
    assert!(
        (ours.travel - expected.travel).abs() < bound,
        "{what}: {ours:?}, expected {expected:?}"
    );
    Some(expected.ending)
}

#[test]
fn motions_end_where_and_how_the_oracle_says() {
    let mut endings = [0; 4];
    for (index, kind) in KINDS.iter().chain(&CLOSURES).enumerate() {
        let mut random = Random::new(300 + index as u64);
        for number in 0..14 {
            let file = vary(kind, &mut random, 30.0, [60.0, 140.0]);
            let ending = compare_end(&format!("{} {number}", kind.name), &read(&file));
            endings[ending.map_or(3, |ending| ending as usize)] += 1;
        }
    }
    assert!(endings.iter().all(|&count| count > 0), "{endings:?}");
}
