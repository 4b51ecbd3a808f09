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
pub(super) struct Pair<T> {
    /// Squared lengths of both links, mm^2.
    pub lengths_squared: [T; 2],
    /// Length times its derivative by the parameter, of both links; zero for a rigid link.
    pub length_rates: [T; 2],
    /// +1 where the pivot is left of the line from the first end to the second, -1 right.
    pub side: T,
}

/// Where a [`Pair`] meets.
pub(super) struct Meeting<T> {
    pub pivot: Point<T>,
    /// Four times the squared area of the triangle that the links form, mm^4: zero where
    /// they are in line, negative where they do not reach each other.
    pub area_squared: T,
    /// Divisors of the velocity solution, kept from the position solution.
    inverse_area: T,
}

impl<T: Scalar> Pair<T> {
    /// Intersection of two circles about `ends`.
    #[inline(always)]
    pub fn meet(&self, ends: [Point<T>; 2]) -> Meeting<T> {
        let line = ends[1] - ends[0];
        let distance_squared = line.length_squared();
        let [first, second] = self.lengths_squared;
        let along = (distance_squared + first - second) * 0.5;
        let area_squared = first * distance_squared - along.squared();
        let area = area_squared.sqrt();
        // One division serves both the position and the velocity.
        let inverse = T::from_f64(1.0) / (distance_squared * area);
        let inverse_distance_squared = inverse * area;
        let offset = line * along + line.turned_left() * (self.side * area);
        Meeting {
            pivot: ends[0] + offset * inverse_distance_squared,
            area_squared,
            inverse_area: inverse * distance_squared,
        }
    }

    /// Velocity of the pivot from those of the ends: each link keeps its length.
    #[inline(always)]
    pub fn velocity(
        &self,
        ends: [Point<T>; 2],
        end_velocities: [Vector<T>; 2],
        meeting: &Meeting<T>,
    ) -> Vector<T> {
        let first = meeting.pivot - ends[0];
        let second = meeting.pivot - ends[1];
        let along_first = first.dot(end_velocities[0]) + self.length_rates[0];
        let along_second = second.dot(end_velocities[1]) + self.length_rates[1];
        let scale = self.side * meeting.inverse_area;
        Vector::new(
            (along_first * second.y - along_second * first.y) * scale,
            (along_second * first.x - along_first * second.x) * scale,
        )
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
                length_rates: [0.0, 0.0],
                side,
            };
            let meeting = pair.meet(ends);
            assert_abs_diff_eq!(meeting.pivot.x, drawn.x, epsilon = 1e-13);
            assert_abs_diff_eq!(meeting.pivot.y, drawn.y, epsilon = 1e-13);
            let moved = [Vector::new(0.3, -0.2), Vector::new(-1.0, 0.5)];
            let velocity = pair.velocity(ends, moved, &meeting);
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
            length_rates: [0.0, 0.0],
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
