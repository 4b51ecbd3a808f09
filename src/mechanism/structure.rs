//! Whether bodies and joints make a mechanism of one degree of freedom.
//!
//! Gruebler count `3 (bodies - 1) - 2 (joints)`, a point on `k` bodies being `k - 1`
//! joints; then the rank of the closure equations with the shock held, because the
//! count alone is fooled by a loose part and an over-held one that cancel.

use crate::input::{Fault, Faults, Mechanism, PointId};
use crate::number::{Point, Vector};
use nalgebra::DMatrix;

/// Points closer than this, mm, are taken to coincide.
pub(super) const COINCIDENT: f64 = 1e-3;

/// Singular values below this share of the largest count as zero.
const RANK_TOLERANCE: f64 = 1e-10;

/// Checks the structure and that the drawn position can move.
///
/// # Errors
/// One fault for each thing that is wrong.
pub(super) fn check(file: &str, mechanism: &Mechanism) -> Result<(), Faults> {
    let coincident = coincident_joints(file, mechanism);
    if !coincident.is_empty() {
        return Err(Faults(coincident));
    }
    let bodies = mechanism.bodies.len();
    let joints = joints(mechanism).len();
    let freedom = 3 * (signed(bodies) - 1) - 2 * signed(joints);
    if freedom != 1 {
        return Err(Faults(vec![wrong_count(file, mechanism, freedom)]));
    }
    let drawn: Vec<Point<f64>> = mechanism
        .points
        .iter()
        .map(|point| point.position)
        .collect();
    let rank = Rank::of(mechanism, &drawn);
    if rank.is_full() {
        return Ok(());
    }
    Err(Faults(vec![stuck(file, mechanism, &rank)]))
}

fn signed(count: usize) -> i64 {
    i64::try_from(count).unwrap_or(i64::MAX)
}

/// `advice` is what to do about it, which is no name to be suggested.
fn fault(file: &str, path: &str, found: String, expected: &str, advice: &str) -> Fault {
    Fault::new(file, path, found, format!("{expected} ({advice})"))
}

fn coincident_joints(file: &str, mechanism: &Mechanism) -> Vec<Fault> {
    let position = |point: usize| mechanism.points[point].position;
    let all_coincide = |points: &[usize]| {
        points
            .iter()
            .all(|&point| (position(point) - position(points[0])).length() < COINCIDENT)
    };
    let bodies = mechanism.bodies.iter().filter_map(|body| {
        let points: Vec<usize> = body.points.iter().map(|point| point.index()).collect();
        if points.is_empty() || !all_coincide(&points) {
            return None;
        }
        let names: Vec<&str> = points
            .iter()
            .map(|&point| mechanism.points[point].name.as_str())
            .collect();
        Some(fault(
            file,
            &format!("mechanism.bodies.{}", body.name),
            format!("a body whose points coincide ({})", names.join(", ")),
            "at least two points at different places",
            "move one of them, or merge the body with its neighbour",
        ))
    });
    bodies.collect()
}

/// Every joint as (point, body, body).
fn joints(mechanism: &Mechanism) -> Vec<(usize, usize, usize)> {
    let mut joints = Vec::new();
    for point in 0..mechanism.points.len() {
        let mut on = mechanism
            .bodies
            .iter()
            .enumerate()
            .filter(|(_, body)| body.points.iter().any(|other| other.index() == point))
            .map(|(index, _)| index);
        if let Some(first) = on.next() {
            joints.extend(on.map(|other| (point, first, other)));
        }
    }
    joints
}

/// What the velocity equations leave loose and hold twice.
struct Rank {
    /// Bodies that can move although they should not.
    loose: Vec<usize>,
    /// Bodies among whose joints some are redundant.
    held: Vec<usize>,
}

impl Rank {
    /// Rank of the velocity equations with the mechanism at `points` and the shock's
    /// length held.
    fn of(mechanism: &Mechanism, points: &[Point<f64>]) -> Self {
        let frame = mechanism.frame.index();
        let joints = joints(mechanism);
        let matrix = velocity_equations(mechanism, points, &joints);
        // Columns belong to the moving bodies in order; three of each.
        let moving: Vec<usize> = (0..mechanism.bodies.len())
            .filter(|&body| body != frame)
            .collect();
        let loose = moving
            .iter()
            .enumerate()
            .filter(|(column, _)| {
                null_space(&matrix)
                    .iter()
                    .any(|free| (0..3).any(|part| free[3 * column + part].abs() > 1e-6))
            })
            .map(|(_, &body)| body)
            .collect();
        let redundant = null_space(&matrix.transpose());
        let held = moving
            .into_iter()
            .filter(|&body| {
                joints
                    .iter()
                    .enumerate()
                    .any(|(index, &(_, first, second))| {
                        (first == body || second == body)
                            && redundant.iter().any(|forces| {
                                forces[2 * index].abs() + forces[2 * index + 1].abs() > 1e-6
                            })
                    })
            })
            .collect();
        Self { loose, held }
    }

    fn is_full(&self) -> bool {
        self.loose.is_empty() && self.held.is_empty()
    }
}

/// Rows: two a joint (both bodies move the point alike), then the shock's length.
/// Columns: velocity of the origin and scaled turning of every moving body.
fn velocity_equations(
    mechanism: &Mechanism,
    points: &[Point<f64>],
    joints: &[(usize, usize, usize)],
) -> DMatrix<f64> {
    let frame = mechanism.frame.index();
    let scale = points
        .iter()
        .map(|point| point.x.abs() + point.y.abs())
        .fold(1.0, f64::max);
    let mut matrix = DMatrix::zeros(2 * joints.len() + 1, 3 * (mechanism.bodies.len() - 1));
    let mut add = |row: usize, body: usize, point: Point<f64>, along: Vector<f64>| {
        if body != frame {
            let column = 3 * (if body > frame { body - 1 } else { body });
            matrix[(row, column)] += along.x;
            matrix[(row, column + 1)] += along.y;
            matrix[(row, column + 2)] += (point.x * along.y - point.y * along.x) / scale;
        }
    };
    for (index, &(point, first, second)) in joints.iter().enumerate() {
        for (row, along) in [(0, Vector::new(1.0, 0.0)), (1, Vector::new(0.0, 1.0))] {
            add(2 * index + row, first, points[point], along);
            add(2 * index + row, second, points[point], -along);
        }
    }
    let ends = mechanism.shock.ends.map(PointId::index);
    let line = points[ends[1]] - points[ends[0]];
    let along = line * (1.0 / line.length());
    for (end, along) in [(ends[1], along), (ends[0], -along)] {
        let carrier = mechanism
            .bodies
            .iter()
            .position(|body| body.points.iter().any(|point| point.index() == end));
        add(
            2 * joints.len(),
            carrier.unwrap_or(frame),
            points[end],
            along,
        );
    }
    matrix
}

/// Directions that the matrix takes to zero.
fn null_space(matrix: &DMatrix<f64>) -> Vec<Vec<f64>> {
    let columns = matrix.ncols();
    // Padded with zero rows, so that all right singular vectors are given.
    let padded = matrix
        .clone()
        .resize_vertically(matrix.nrows().max(columns), 0.0);
    let decomposition = padded.svd(false, true);
    let Some(right) = decomposition.v_t else {
        return Vec::new();
    };
    let largest = decomposition.singular_values.max();
    (0..columns)
        .filter(|&index| decomposition.singular_values[index] <= RANK_TOLERANCE * largest)
        .map(|index| right.row(index).iter().copied().collect())
        .collect()
}

fn names(mechanism: &Mechanism, bodies: &[usize]) -> String {
    let names: Vec<&str> = bodies
        .iter()
        .map(|&body| mechanism.bodies[body].name.as_str())
        .collect();
    names.join(", ")
}

fn wrong_count(file: &str, mechanism: &Mechanism, freedom: i64) -> Fault {
    let drawn: Vec<Point<f64>> = mechanism
        .points
        .iter()
        .map(|point| point.position)
        .collect();
    let rank = Rank::of(mechanism, &drawn);
    let (bodies, joints) = (mechanism.bodies.len(), joints(mechanism).len());
    let found = format!(
        "{bodies} bodies and {joints} joints: 3 x {} - 2 x {joints} = {freedom} degrees of freedom",
        bodies - 1
    );
    let expected = "exactly 1, with the shock left out of the count";
    let mut hints = Vec::new();
    if !rank.loose.is_empty() {
        hints.push(format!(
            "hanging loose with the shock held: {}",
            names(mechanism, &rank.loose)
        ));
    }
    if !rank.held.is_empty() {
        hints.push(format!("doubly held: {}", names(mechanism, &rank.held)));
    }
    hints.push(
        if freedom > 1 {
            "a point named on two bodies is a pivot between them: one may be missing"
        } else {
            "a point named on two bodies is a pivot between them: one may be too many"
        }
        .to_owned(),
    );
    fault(file, "mechanism.bodies", found, expected, &hints.join("; "))
}

/// The count is right, but the equations are not independent.
fn stuck(file: &str, mechanism: &Mechanism, rank: &Rank) -> Fault {
    // Moved a little at random, a mechanism that only stands in a singular position is free
    // again; one that is put together wrongly stays stuck.
    let moved: Vec<Point<f64>> = mechanism
        .points
        .iter()
        .enumerate()
        .map(|(index, point)| {
            let shift = |turn: f64| libm::sin(turn * (index as f64 + 1.0)) * 3.0;
            point.position + Vector::new(shift(12.9898), shift(78.233))
        })
        .collect();
    let loose = names(mechanism, &rank.loose);
    let held = names(mechanism, &rank.held);
    if Rank::of(mechanism, &moved).is_full() {
        return fault(
            file,
            "mechanism.points",
            format!("links in line in the drawn position ({loose})"),
            "a position from which the mechanism can move one way only",
            "the shock is at its dead point or the linkage locks right at full extension: move a \
             pivot out of line",
        );
    }
    fault(
        file,
        "mechanism.bodies",
        format!("1 degree of freedom by count, but hanging loose: {loose}; doubly held: {held}"),
        "a mechanism in which every body is held once",
        "a pivot is missing on the loose bodies and one is too many on the held ones",
    )
}
