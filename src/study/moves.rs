//! Design moves: what else moves when somebody moves one point of a drawing.
//!
//! Points drawn in one place (a shock eye on a stay's pin) move together. The other points
//! stay, but the shock keeps its eye-to-eye length: where one of its ends is moved, the other
//! goes to the nearest place at that length, so it turns about the moved end as little as can
//! be. The axle stays where it is drawn.

use crate::input::{Mechanism, PointId};
use crate::number::{Point, Scalar, Vector};

/// Points drawn nearer to each other than this are one place, mm.
const TOGETHER: f64 = 1e-6;

/// A place of a drawing that can be moved: a point, and those drawn on it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Movable {
    /// All points there, in the order of the layout; one or more.
    pub points: Vec<PointId>,
    /// What follows: the other end of the shock and what is drawn on it.
    followers: Vec<PointId>,
    /// The moved end of the shock and the end that follows.
    shock: Option<[PointId; 2]>,
}

impl Movable {
    /// Every place of the mechanism, in the order of its points.
    #[must_use]
    pub fn all(mechanism: &Mechanism) -> Vec<Self> {
        let together = |point: PointId| -> Vec<PointId> {
            let place = mechanism.position(point);
            (0..mechanism.points.len())
                .map(PointId)
                .filter(|&other| (mechanism.position(other) - place).length() <= TOGETHER)
                .collect()
        };
        let ends = mechanism.shock.ends;
        let mut all: Vec<Self> = Vec::new();
        for point in (0..mechanism.points.len()).map(PointId) {
            if all.iter().any(|place| place.points.contains(&point)) {
                continue;
            }
            let points = together(point);
            let end = ends.iter().position(|end| points.contains(end));
            let shock = end.map(|end| [ends[end], ends[1 - end]]);
            let followers = shock.map_or_else(Vec::new, |[_, other]| together(other));
            all.push(Self {
                points,
                followers,
                shock,
            });
        }
        all
    }

    /// The place at which `point` is.
    #[must_use]
    pub fn of(mechanism: &Mechanism, point: PointId) -> Option<Self> {
        Self::all(mechanism)
            .into_iter()
            .find(|place| place.points.contains(&point))
    }

    /// The point by which it is called.
    #[must_use]
    pub fn point(&self) -> PointId {
        self.points.first().copied().unwrap_or(PointId(0))
    }

    /// The drawing after the place is moved by `by`.
    #[must_use]
    pub fn moved<T: Scalar>(&self, drawn: &[Point<f64>], by: Vector<T>) -> Vec<Point<T>> {
        let mut points: Vec<Point<T>> = drawn.iter().map(|&point| Point::constant(point)).collect();
        for &point in &self.points {
            points[point.index()] = points[point.index()] + by;
        }
        if let Some([moved, other]) = self.shock {
            let (moved, other) = (moved.index(), other.index());
            let length = (drawn[other] - drawn[moved]).length();
            let line = points[other] - points[moved];
            // What is missing of the length, along the line: the nearest place.
            let shift = line * (T::from_f64(length) / line.length() - 1.0);
            for &point in &self.followers {
                points[point.index()] = points[point.index()] + shift;
            }
        }
        points
    }
}
