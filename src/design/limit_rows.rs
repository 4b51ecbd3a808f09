//! Limits as bands on values of a candidate.
//!
//! Rows are in units of 5 mm or 5 degrees, in which a shortfall counts as violation.

use super::construction::EndBox;
use super::moments::{Moment, Moments, Places, SAMPLES};
use super::rows::Rows;
use super::target_rows::{push_samples, replace_outside};
use crate::input::{AxisName, Bound, Limit, LimitQuantity, PointId};
use crate::number::{Point, Scalar, Vector};
use crate::optimise::{Interval, Row};

/// What counts as one unit of violation, mm or degrees.
pub const UNIT: f64 = 5.0;

/// What a limit on points measures.
#[derive(Clone, Copy, Debug)]
pub(super) enum Measure {
    Distance(PointId, PointId),
    Angle(PointId, PointId, PointId),
    Coordinate(PointId, AxisName),
}

impl Measure {
    /// The measure of a limit on points; `None` of one on parts.
    pub fn of(quantity: &LimitQuantity) -> Option<Self> {
        match *quantity {
            LimitQuantity::Distance(a, b) => Some(Self::Distance(a, b)),
            LimitQuantity::Angle(a, middle, b) => Some(Self::Angle(a, middle, b)),
            LimitQuantity::Coordinate(point, axis) => Some(Self::Coordinate(point, axis)),
            LimitQuantity::Clearance(_) => None,
        }
    }
}

/// A limit on points with its places found in the moments of a problem.
#[derive(Clone, Debug)]
pub(super) struct LimitRows {
    quantity: Measure,
    over: Option<(Moment, Moment)>,
    band: Interval,
}

impl LimitRows {
    /// Plans the rows of `limit`, which measures `quantity`.
    pub fn new(limit: &Limit, quantity: Measure, places: &mut Places) -> Self {
        let edge = |edge: Option<f64>, free: f64| edge.unwrap_or(free);
        let (low, high) = (limit.bound.low(), limit.bound.high());
        let band = match quantity {
            // Rows of an angle are its cosine, turned about so that they rise with it.
            Measure::Angle(..) => Interval::new(
                low.map_or(f64::NEG_INFINITY, angle_row),
                high.map_or(f64::INFINITY, angle_row),
            ),
            Measure::Distance(..) | Measure::Coordinate(..) => Interval::new(
                edge(low, f64::NEG_INFINITY) / UNIT,
                edge(high, f64::INFINITY) / UNIT,
            ),
        };
        let over = limit
            .over
            .map(|(from, to)| (places.moment(from), places.moment(to)));
        Self {
            quantity,
            over,
            band,
        }
    }

    /// The bands of its rows.
    pub fn bands(&self) -> Vec<Row> {
        let count = match self.over {
            None => 1,
            Some((from, to)) => {
                let ends = [from, to]
                    .into_iter()
                    .filter(|end| matches!(end, Moment::Place(_)));
                SAMPLES + ends.count()
            }
        };
        vec![Row::between(self.band.lower, self.band.upper).scaled(1.0); count]
    }

    /// Appends the rows for a candidate.
    pub fn fill<T: Scalar>(&self, moments: &Moments<T>, drawn: &[Point<T::Lane>], rows: &mut Rows) {
        let Some(range) = self.over else {
            rows.push(self.read(drawn));
            return;
        };
        let start = rows.values.len();
        push_samples(
            moments.poses().iter().map(|pose| self.read(&pose.points)),
            rows,
        );
        let at = |moment| moments.pose_at(moment, |pose| self.read(&pose.points));
        replace_outside(moments, range, start, at, rows);
    }

    fn read<T: Scalar>(&self, points: &[Point<T>]) -> T {
        match self.quantity {
            Measure::Distance(a, b) => (points[a.index()] - points[b.index()]).length() / UNIT,
            Measure::Coordinate(point, AxisName::X) => points[point.index()].x / UNIT,
            Measure::Coordinate(point, AxisName::Y) => points[point.index()].y / UNIT,
            Measure::Angle(a, middle, b) => {
                let (first, second) = legs(points, a.index(), middle.index(), b.index());
                let lengths = (first.length_squared() * second.length_squared()).sqrt();
                first.dot(second) / lengths * -(1f64.to_degrees() / UNIT)
            }
        }
    }
}

/// The row of an angle in degrees.
fn angle_row(degrees: f64) -> f64 {
    -libm::cos(degrees.to_radians()) * (1f64.to_degrees() / UNIT)
}

fn legs<T: Scalar>(
    points: &[Point<T>],
    a: usize,
    middle: usize,
    b: usize,
) -> (Vector<T>, Vector<T>) {
    (points[a] - points[middle], points[b] - points[middle])
}

/// The value of a limit's quantity, mm or degrees.
pub(super) fn measure<T: Scalar>(quantity: Measure, points: &[Point<T>]) -> T {
    match quantity {
        Measure::Distance(a, b) => (points[a.index()] - points[b.index()]).length(),
        Measure::Coordinate(point, AxisName::X) => points[point.index()].x,
        Measure::Coordinate(point, AxisName::Y) => points[point.index()].y,
        Measure::Angle(a, middle, b) => {
            let (first, second) = legs(points, a.index(), middle.index(), b.index());
            // The angle has no sign; the root takes it off and keeps derivatives.
            first
                .cross(second)
                .squared()
                .sqrt()
                .atan2(first.dot(second))
                * 1f64.to_degrees()
        }
    }
}

/// How far a value is inside its bounds, mm or degrees; negative outside.
pub(super) fn slack(bound: Bound, value: f64) -> f64 {
    let above = bound.low().map_or(f64::INFINITY, |low| value - low);
    let below = bound.high().map_or(f64::INFINITY, |high| high - value);
    if above < below { above } else { below }
}

/// Rows that keep a shock end, placed by the shock's length, in its box.
pub(super) fn end_box_bands(end: &EndBox) -> [Row; 2] {
    [end.x, end.y].map(|side| Row::between(side.lower / UNIT, side.upper / UNIT).scaled(1.0))
}

/// The values of those rows.
pub(super) fn end_box_values<T: Scalar>(end: &EndBox, drawn: &[Point<T>]) -> [T; 2] {
    let point = drawn[end.point];
    match end.from {
        Some(from) => {
            let offset = point - drawn[from];
            [offset.x / UNIT, offset.y / UNIT]
        }
        None => [point.x / UNIT, point.y / UNIT],
    }
}
