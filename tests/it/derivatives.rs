//! Exact derivatives against differences, and lanes against plain numbers, on every kind.

use crate::linkages::{CLOSURES, KINDS, Kind, movable, read};
use pivotwright::curves::{Bicycle, State};
use pivotwright::input::{Curve, Layout};
use pivotwright::mechanism::{Motion, Plan, Pose};
use pivotwright::number::{Dual, LANES, Lanes, Point, Scalar};

/// Everything that is computed at `q`: points, velocities, shock, all curves of one cog.
fn everything<T: Scalar>(
    plan: &Plan,
    bicycle: &Bicycle,
    drawn: &[Point<T>],
    stroke: T,
    q: T,
) -> Vec<T> {
    let motion = Motion::new(plan, drawn, stroke);
    let mut pose = Pose::new(plan);
    motion.pose(T::from_f64(1.0), &mut pose);
    let total = pose.points[bicycle.axle()].y - drawn[bicycle.axle()].y;
    motion.pose(T::from_f64(0.0), &mut pose);
    let top = State::new(bicycle, &motion, &pose, total);
    motion.pose(q, &mut pose);
    let state = State::new(bicycle, &motion, &pose, total);
    let mut all = vec![pose.stroke, pose.stroke_rate];
    all.extend(pose.points.iter().flat_map(|point| [point.x, point.y]));
    all.extend(pose.velocities.iter().flat_map(|rate| [rate.x, rate.y]));
    let cog = bicycle.cogs()[1];
    all.extend(Curve::ALL.map(|curve| state.value(curve, bicycle, &top, cog)));
    all
}

/// All coordinates, then the stroke, then the parameter.
fn variables(layout: &Layout, q: f64) -> Vec<f64> {
    let points = layout.mechanism.points.iter();
    let mut all: Vec<f64> = points
        .flat_map(|point| [point.position.x, point.position.y])
        .collect();
    all.extend([layout.mechanism.shock.stroke, q]);
    all
}

fn evaluate<T: Scalar>(plan: &Plan, bicycle: &Bicycle, variables: &[T]) -> Vec<T> {
    let (coordinates, rest) = variables.split_at(variables.len() - 2);
    let drawn: Vec<Point<T>> = coordinates
        .chunks_exact(2)
        .map(|pair| Point::new(pair[0], pair[1]))
        .collect();
    everything(plan, bicycle, &drawn, rest[0], rest[1])
}

fn both(index: usize) -> &'static Kind {
    KINDS.iter().chain(&CLOSURES).nth(index).unwrap()
}

fn every_kind(check: impl Fn(&str, &[Layout])) {
    for index in 0..KINDS.len() + CLOSURES.len() {
        let kind = both(index);
        let layouts: Vec<Layout> = movable(kind, 700 + index as u64, 2)
            .iter()
            .map(read)
            .collect();
        check(kind.name, &layouts);
    }
}

/// Central differences, once extrapolated.
fn difference(plan: &Plan, bicycle: &Bicycle, at: &[f64], index: usize) -> Vec<f64> {
    let step = if index == at.len() - 1 { 4e-4 } else { 0.04 };
    let slope = |step: f64| -> Vec<f64> {
        let moved = |by: f64| {
            let mut moved = at.to_vec();
            moved[index] += by;
            evaluate(plan, bicycle, &moved)
        };
        let (up, down) = (moved(step), moved(-step));
        up.iter()
            .zip(&down)
            .map(|(up, down)| (up - down) / (2.0 * step))
            .collect()
    };
    let (coarse, fine) = (slope(step), slope(0.5 * step));
    coarse
        .iter()
        .zip(&fine)
        .map(|(coarse, fine)| (4.0 * fine - coarse) / 3.0)
        .collect()
}

#[test]
fn derivatives_by_every_coordinate_agree_with_differences() {
    every_kind(|name, layouts| {
        for layout in layouts {
            let plan = Plan::compile(name, &layout.mechanism).unwrap();
            let bicycle = Bicycle::new(layout);
            for q in [0.0, 0.37, 0.93] {
                let at = variables(layout, q);
                for first in (0..at.len()).step_by(4) {
                    let duals: Vec<Dual<f64, 4>> = at
                        .iter()
                        .enumerate()
                        .map(|(index, &value)| Dual::variable(value, index.wrapping_sub(first)))
                        .collect();
                    let exact = evaluate(&plan, &bicycle, &duals);
                    for part in 0..4.min(at.len() - first) {
                        let differences = difference(&plan, &bicycle, &at, first + part);
                        for (which, (dual, slope)) in exact.iter().zip(differences).enumerate() {
                            let exact = dual.partials[part];
                            // A result of some hundreds, differenced, has that much of noise.
                            let scale = 1.0 + exact.abs() + 0.01 * dual.value.abs();
                            assert!(
                                (exact - slope).abs() < 1e-7 * scale,
                                "{name} at {q}: result {which} by variable {}: {exact}, \
                                 but by differences {slope}",
                                first + part
                            );
                        }
                    }
                }
            }
        }
    });
}

fn same_bits(what: &str, ours: f64, expected: f64) {
    assert_eq!(
        ours.to_bits(),
        expected.to_bits(),
        "{what}: {ours} {expected}"
    );
}

fn compare_lanes(what: &str, lanes: &[Dual<Lanes, 3>], lane: usize, plain: &[Dual<f64, 3>]) {
    assert_eq!(lanes.len(), plain.len());
    for (index, (lanes, plain)) in lanes.iter().zip(plain).enumerate() {
        let what = format!("{what}, result {index}");
        same_bits(&what, lanes.value.lane(lane), plain.value);
        for part in 0..3 {
            same_bits(&what, lanes.partials[part].lane(lane), plain.partials[part]);
        }
    }
}

/// Checks lane by lane that lanes give the plain numbers, and that plain numbers without
/// derivatives are the values of those with.
fn lanes_are_plain(name: &str, layout: &Layout, of_lane: &dyn Fn(usize) -> Vec<f64>) {
    let plan = Plan::compile(name, &layout.mechanism).unwrap();
    let bicycle = Bicycle::new(layout);
    let inputs: Vec<Vec<f64>> = (0..LANES).map(of_lane).collect();
    let chosen = |index: usize| index.wrapping_sub(3);
    let packed: Vec<Lanes> = (0..inputs[0].len())
        .map(|index| Lanes::from_lanes(|lane| inputs[lane][index]))
        .collect();
    let duals: Vec<Dual<Lanes, 3>> = packed
        .iter()
        .enumerate()
        .map(|(index, &lanes)| Dual::variable(lanes, chosen(index)))
        .collect();
    let values = evaluate(&plan, &bicycle, &packed);
    let exact = evaluate(&plan, &bicycle, &duals);
    for (lane, input) in inputs.iter().enumerate() {
        let plain: Vec<Dual<f64, 3>> = input
            .iter()
            .enumerate()
            .map(|(index, &value)| Dual::variable(value, chosen(index)))
            .collect();
        let plain = evaluate(&plan, &bicycle, &plain);
        let what = format!("{name}, lane {lane}");
        compare_lanes(&what, &exact, lane, &plain);
        let bare = evaluate(&plan, &bicycle, input);
        for (index, (bare, plain)) in bare.iter().zip(&plain).enumerate() {
            same_bits(&format!("{what}, result {index}"), *bare, plain.value);
            same_bits(&what, values[index].lane(lane), *bare);
        }
    }
}

#[test]
fn lanes_of_positions_are_the_plain_numbers_bit_for_bit() {
    every_kind(|name, layouts| {
        let of_lane = |lane: usize| variables(&layouts[0], lane as f64 / 7.0);
        lanes_are_plain(name, &layouts[0], &of_lane);
    });
}

#[test]
fn lanes_of_layouts_are_the_plain_numbers_bit_for_bit() {
    every_kind(|name, layouts| {
        // Layouts on the way from one to the other, all near enough to the first to move.
        let of_lane = |lane: usize| {
            let (a, b) = (variables(&layouts[0], 0.6), variables(&layouts[1], 0.6));
            let part = 0.01 * lane as f64;
            a.iter().zip(&b).map(|(a, b)| a + (b - a) * part).collect()
        };
        lanes_are_plain(name, &layouts[0], &of_lane);
    });
}

#[test]
fn a_lane_that_does_not_assemble_leaves_its_neighbours_alone() {
    every_kind(|name, layouts| {
        let plan = Plan::compile(name, &layouts[0].mechanism).unwrap();
        let bicycle = Bicycle::new(&layouts[0]);
        let good = variables(&layouts[0], 0.6);
        let mut bad = good.clone();
        // Far more stroke than the linkage has.
        let stroke = bad.len() - 2;
        bad[stroke] *= 4.0;
        let packed: Vec<Lanes> = (0..good.len())
            .map(|index| Lanes::from_lanes(|lane| if lane == 2 { bad[index] } else { good[index] }))
            .collect();
        let plain = evaluate(&plan, &bicycle, &good);
        for (index, lanes) in evaluate(&plan, &bicycle, &packed).iter().enumerate() {
            for lane in [0, 1, 3, 7] {
                same_bits(
                    &format!("{name}, result {index}"),
                    lanes.lane(lane),
                    plain[index],
                );
            }
        }
    });
}
