//! Where the cores of a part stand at one moment, for whoever draws it.

use super::figure::{Core, Figure};
use crate::curves::{Suspension, pitch_radius};
use crate::input::{Layout, Part, PointId, Shape};
use crate::mechanism::{Motion, Pose};
use crate::number::Point;

/// How many corners the core of a part has; none where it is a run of the chain.
#[must_use]
pub fn corner_count(part: &Part) -> Option<usize> {
    match &part.shape {
        Shape::Circle(_) | Shape::Chainring => Some(1),
        Shape::Capsule(_) | Shape::AlongShock { .. } => Some(2),
        Shape::Polygon { corners, .. } => Some(corners.len()),
        Shape::Chain { .. } => None,
    }
}

/// By how much a part of `layout` is thicker than its core all round, mm; a chainring by the
/// pitch radius of its teeth besides.
#[must_use]
pub fn thickness(layout: &Layout, part: &Part) -> f64 {
    match part.shape {
        Shape::Chainring => part.radius + pitch_radius(layout.bicycle.chainring_teeth),
        _ => part.radius,
    }
}

/// The corners of the core of a part in `pose` of `motion`; none where it is a run of the chain.
#[must_use]
pub fn corners(
    part: &Part,
    suspension: &Suspension,
    motion: &Motion<'_, f64>,
    pose: &Pose<f64>,
) -> Vec<Point<f64>> {
    let [first, second] = motion.plan().shock_ends().map(PointId::index);
    let line = pose.points[second] - pose.points[first];
    let shock = line * (1.0 / line.length());
    let figures = Figure::all_of(part, suspension.plan(), suspension.bicycle());
    let cores = figures.into_iter().map(|figure| figure.core);
    cores
        .flat_map(|core| match core {
            Core::Corners(corners) => corners,
            Core::Run(_) => Vec::new(),
        })
        .map(|corner| corner.place(motion, pose, shock))
        .collect()
}
