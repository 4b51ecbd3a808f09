//! The position and velocity maths of single steps.
//!
//! Velocities are derivatives by the parameter of the motion.

use crate::number::{Point, Scalar, Vector};

/// Coordinates of `point` in the frame of `base`: along the line between the two points
/// and to its left, in units of their distance.
pub(super) fn measure_place<T: Scalar>(base: [Point<T>; 2], point: Point<T>) -> [T; 2] {
    let line = base[1] - base[0];
    let offset = point - base[0];
    let inverse = T::from_f64(1.0) / line.length_squared();
    [line.dot(offset) * inverse, line.cross(offset) * inverse]
}

/// The point with the given coordinates on `base`; `origin` plus the placed vector.
///
/// The same map takes the velocities of the base to the velocity of the point.
#[inline(always)]
pub(super) fn place<T: Scalar>(coordinates: &[T], line: Vector<T>) -> Vector<T> {
    line * coordinates[0] + line.turned_left() * coordinates[1]
}

/// Two links of given lengths that meet in a pivot.
#[derive(Clone, Copy)]
pub(super) struct Pair<T: Scalar> {
    /// Squared lengths of both links, mm^2.
    pub lengths_squared: [T; 2],
    /// Length of the first link times its derivative by the parameter; none for a rigid link.
    /// The second is always rigid.
    pub length_rate: Option<T>,
    /// +1 where the pivot is left of the line from the first end to the second, -1 right.
    pub side: T::Value,
}

/// Where a [`Pair`] meets.
pub(super) struct Meeting<T: Scalar> {
    pub pivot: Point<T>,
    /// Four times the squared area of the triangle that the links form, mm^4: zero where
    /// they are in line, negative where they do not reach each other.
    pub area_squared: T,
    /// From the ends to the pivot.
    links: [Vector<T>; 2],
    /// One over the cross product of the two.
    inverse_cross: T::Value,
}

impl<T: Scalar> Pair<T> {
    /// Intersection of two circles about `ends`.
    ///
    /// Derivatives are not those of the construction but of what it fulfils, by one Newton
    /// step on both lengths at the solution: the same, and much shorter.
    #[inline(always)]
    pub fn meet(&self, ends: [Point<T>; 2]) -> Meeting<T> {
        let [start, end] = ends.map(Point::value);
        let line = end - start;
        let distance_squared = line.length_squared();
        let [first, second] = self.lengths_squared.map(T::value);
        let along = (distance_squared + first - second) * 0.5;
        let area_squared = first * distance_squared - along.squared();
        let area = area_squared.sqrt();
        // One division serves both the position and the velocity.
        let inverse = T::Value::from_f64(1.0) / (distance_squared * area);
        let inverse_distance_squared = inverse * area;
        let offset = line * along + line.turned_left() * (self.side * area);
        let pivot = start + offset * inverse_distance_squared;
        let solved = Point::from_value(pivot);
        let mut meeting = Meeting {
            pivot: solved,
            area_squared: T::from_value(area_squared),
            links: ends.map(|end| solved - end),
            inverse_cross: self.side * (inverse * distance_squared),
        };
        if T::PARTIALS > 0 {
            let missing = [0, 1].map(|link| {
                (meeting.links[link].length_squared() - self.lengths_squared[link]) * 0.5
            });
            meeting.pivot = (solved - meeting.solve(missing)).with_value(pivot);
            meeting.links = ends.map(|end| meeting.pivot - end);
            let cross = meeting.links[0].cross(meeting.links[1]);
            meeting.area_squared = cross.squared().with_value(area_squared);
        }
        meeting
    }

    /// Velocity of the pivot from those of the ends: each link keeps its length.
    #[inline(always)]
    pub fn velocity(&self, end_velocities: [Vector<T>; 2], meeting: &Meeting<T>) -> Vector<T> {
        let velocity = meeting
            .solve(self.lengthening(Vector::zero(), end_velocities, meeting))
            .value();
        let solved = Vector::from_value(-velocity);
        if T::PARTIALS == 0 {
            return solved;
        }
        let missing = self.lengthening(solved, end_velocities, meeting);
        (solved - meeting.solve(missing)).with_value(-velocity)
    }

    /// How fast each link's half squared length grows beyond what it should.
    #[inline(always)]
    fn lengthening(
        &self,
        velocity: Vector<T>,
        end_velocities: [Vector<T>; 2],
        meeting: &Meeting<T>,
    ) -> [T; 2] {
        let [first, second] =
            [0, 1].map(|link| meeting.links[link].dot(velocity - end_velocities[link]));
        match self.length_rate {
            Some(rate) => [first - rate, second],
            None => [first, second],
        }
    }
}

impl<T: Scalar> Meeting<T> {
    /// The displacement whose products with the two links are `right`.
    #[inline(always)]
    fn solve(&self, right: [T; 2]) -> Vector<T> {
        let [first, second] = self.links.map(Vector::value);
        let [along_first, along_second] = right;
        Vector::new(
            along_first.scale(second.y) - along_second.scale(first.y),
            along_second.scale(first.x) - along_first.scale(second.x),
        )
        .map(|component| component.scale(self.inverse_cross))
    }
}

/// +1 or -1: on which side of the line from `ends[0]` to `ends[1]` the drawn pivot lies.
pub(super) fn measure_side<T: Scalar>(ends: [Point<T>; 2], pivot: Point<T>) -> T {
    let cross = (pivot - ends[0]).cross(pivot - ends[1]);
    T::from_lanes(|lane| if cross.lane(lane) < 0.0 { -1.0 } else { 1.0 })
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;

    #[test]
    fn pair_meets_on_the_drawn_side_and_keeps_both_lengths() {
        let ends = [Point::new(1.0, 2.0), Point::new(11.0, -1.0)];
        for drawn in [Point::new(7.0, 8.0), Point::new(4.0, -6.0)] {
            let side = measure_side(ends, drawn);
            let pair = Pair {
                lengths_squared: ends.map(|end| (drawn - end).length_squared()),
                length_rate: None,
                side,
            };
            let meeting = pair.meet(ends);
            assert_abs_diff_eq!(meeting.pivot.x, drawn.x, epsilon = 1e-13);
            assert_abs_diff_eq!(meeting.pivot.y, drawn.y, epsilon = 1e-13);
            let moved = [Vector::new(0.3, -0.2), Vector::new(-1.0, 0.5)];
            let velocity = pair.velocity(moved, &meeting);
            let step = 1e-6;
            let shifted = [ends[0] + moved[0] * step, ends[1] + moved[1] * step];
            let next = pair.meet(shifted).pivot;
            assert_abs_diff_eq!(velocity.x, (next.x - drawn.x) / step, epsilon = 1e-5);
            assert_abs_diff_eq!(velocity.y, (next.y - drawn.y) / step, epsilon = 1e-5);
        }
    }

    #[test]
    fn links_that_do_not_reach_have_a_negative_margin() {
        let pair = Pair {
            lengths_squared: [4.0, 4.0],
            length_rate: None,
            side: 1.0,
        };
        assert!(
            pair.meet([Point::new(0.0, 0.0), Point::new(5.0, 0.0)])
                .area_squared
                < 0.0
        );
        assert!(
            pair.meet([Point::new(0.0, 0.0), Point::new(3.0, 0.0)])
                .area_squared
                > 0.0
        );
    }
}
