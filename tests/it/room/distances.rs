//! Signed distances of circles, capsules and polygons against geo, and their derivatives.

use super::signed_distance;
use approx::assert_abs_diff_eq;
use geo::ConvexHull;
use pivotwright::number::Point;
use pivotwright::optimise::unit_cube_point;
use pivotwright::room::{Contact, contact};

/// Random pairs of each kind.
const PAIRS: u64 = 10_000;

#[derive(Clone, Copy, Debug, PartialEq)]
enum Kind {
    Circle,
    Capsule,
    Polygon,
}

const KINDS: [Kind; 3] = [Kind::Circle, Kind::Capsule, Kind::Polygon];

/// A core of that kind from numbers between 0 and 1: within some 400 mm, up to 300 mm across.
fn core(kind: Kind, numbers: &[f64]) -> Vec<Point<f64>> {
    let at = |x: f64, y: f64, size: f64| {
        Point::new(800.0 * numbers[0] + size * x, 400.0 * numbers[1] + size * y)
    };
    let size = 300.0 * numbers[2];
    let place = |index: usize| at(numbers[3 + 2 * index], numbers[4 + 2 * index], size);
    match kind {
        Kind::Circle => vec![place(0)],
        Kind::Capsule => vec![place(0), place(1)],
        Kind::Polygon => {
            let corners: geo::MultiPoint = (0..6)
                .map(|index| geo::Point::new(place(index).x, place(index).y))
                .collect();
            // Its hull is counter-clockwise, the first corner repeated at its end.
            let hull = corners.convex_hull();
            let open = hull.exterior().0.len() - 1;
            let corners = hull.exterior().coords().take(open);
            corners
                .map(|corner| Point::new(corner.x, corner.y))
                .collect()
        }
    }
}

fn pairs(kinds: [Kind; 2]) -> impl Iterator<Item = [Vec<Point<f64>>; 2]> {
    (0..PAIRS).map(move |index| {
        let mut numbers = [0.0; 30];
        unit_cube_point(71, index, &mut numbers);
        let (first, second) = numbers.split_at(15);
        [core(kinds[0], first), core(kinds[1], second)]
    })
}

#[test]
fn distances_of_every_kind_of_pair_agree_with_a_geometry_library() {
    for one in KINDS {
        for other in KINDS {
            let (mut apart, mut overlapping) = (0, 0);
            for [first, second] in pairs([one, other]) {
                let found = contact(&first, &second).distance;
                let expected = signed_distance(&first, &second);
                assert_abs_diff_eq!(found, expected, epsilon = 1e-9);
                if found > 0.0 {
                    apart += 1;
                } else {
                    overlapping += 1;
                }
            }
            assert!(apart > 1000, "{one:?} {other:?}");
            let thin = one != Kind::Polygon && other != Kind::Polygon;
            let can_overlap = !thin || (one == Kind::Capsule && other == Kind::Capsule);
            assert_eq!(
                overlapping > 50,
                can_overlap,
                "{one:?} {other:?} {overlapping}"
            );
        }
    }
}

#[test]
fn distances_are_the_same_from_both_sides() {
    for [first, second] in pairs([Kind::Polygon, Kind::Capsule]) {
        let (one, other) = (contact(&first, &second), contact(&second, &first));
        assert_abs_diff_eq!(one.distance, other.distance, epsilon = 1e-9);
    }
}

/// Whether two contacts are of the same corners and edges.
fn alike(one: &Contact, other: &Contact) -> bool {
    let ends = |contact: &Contact| {
        let (first, second) = (contact.first, contact.second);
        (first.i, first.j, second.i, second.j)
    };
    ends(one) == ends(other)
}

/// Moving any corner of either core changes the distance as its contact says.
#[test]
fn derivatives_agree_with_differences_away_from_ties() {
    const STEP: f64 = 1e-4;
    let mut checked = 0;
    for kinds in [
        [Kind::Circle, Kind::Polygon],
        [Kind::Capsule, Kind::Capsule],
        [Kind::Capsule, Kind::Polygon],
        [Kind::Polygon, Kind::Polygon],
    ] {
        for cores in pairs(kinds).take(1000) {
            let here = contact(&cores[0], &cores[1]);
            // The curvature of a distance goes as one over it.
            if here.distance.abs() < 1.0 {
                continue;
            }
            for side in 0..2 {
                for corner in 0..cores[side].len() {
                    for (x, y) in [(1.0, 0.0), (0.0, 1.0)] {
                        let moved = |step: f64| {
                            let mut cores = cores.clone();
                            let place = cores[side][corner];
                            cores[side][corner] =
                                Point::new(place.x + step * x, place.y + step * y);
                            cores
                        };
                        let found = [STEP, -STEP].map(|step| {
                            let [first, second] = moved(step);
                            contact(&first, &second)
                        });
                        if !found.iter().all(|other| alike(&here, other)) {
                            continue;
                        }
                        let slope = {
                            let [first, second] = moved(1.0);
                            here.measure(|i| first[i], |i| second[i]) - here.distance
                        };
                        let difference = (found[0].distance - found[1].distance) / (2.0 * STEP);
                        assert_abs_diff_eq!(slope, difference, epsilon = 1e-6);
                        checked += 1;
                    }
                }
            }
        }
    }
    assert!(checked > 20_000, "{checked}");
}
