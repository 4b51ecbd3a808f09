//! Limits: what must hold of a candidate, whatever its curves.

use super::Names;
use crate::input::fault::{nearest, quoted};
use crate::input::json::{FARTHEST, Node, Object, number_text};
use crate::input::layout::PointId;
use crate::input::objectives::{Place, sag_of_travel};
use crate::input::parts::{CLEARANCE_KINDS, Clearance, read_clearance};
use crate::input::reading::{range, range_fault};
use std::sync::Arc;

/// A bound on a measure of the linkage.
#[derive(Clone, Debug, PartialEq)]
pub struct Limit {
    /// What is measured.
    pub quantity: LimitQuantity,
    /// Within which bounds it must lie, mm or degrees.
    pub bound: Bound,
    /// Over which range of the travel; at full extension where there is none.
    pub over: Option<(Place, Place)>,
}

impl Limit {
    /// The parts that it is about, if it is about parts.
    #[must_use]
    pub fn clearance(&self) -> Option<&Clearance> {
        match &self.quantity {
            LimitQuantity::Clearance(clearance) => Some(clearance),
            _ => None,
        }
    }
}

/// What a limit measures.
#[derive(Clone, Debug, PartialEq)]
pub enum LimitQuantity {
    /// Distance between two points, mm.
    Distance(PointId, PointId),
    /// Angle at the middle point between the directions to the others, 0 to 180 degrees.
    Angle(PointId, PointId, PointId),
    /// A coordinate of a point in the frame, mm.
    Coordinate(PointId, AxisName),
    /// Smallest distance between parts, mm, at every moment.
    Clearance(Arc<Clearance>),
}

/// A coordinate axis of the frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum AxisName {
    /// Forward.
    X,
    /// Up.
    Y,
}

/// The bounds of a measure, in its unit, both allowed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Bound {
    /// Not below.
    AtLeast(f64),
    /// Not above.
    AtMost(f64),
    /// In a band.
    Between {
        /// Lower edge.
        low: f64,
        /// Upper edge, above the lower.
        high: f64,
    },
}

impl Bound {
    /// The lower edge, if there is one.
    #[must_use]
    pub const fn low(self) -> Option<f64> {
        match self {
            Self::AtLeast(low) | Self::Between { low, .. } => Some(low),
            Self::AtMost(_) => None,
        }
    }

    /// The upper edge, if there is one.
    #[must_use]
    pub const fn high(self) -> Option<f64> {
        match self {
            Self::AtMost(high) | Self::Between { high, .. } => Some(high),
            Self::AtLeast(_) => None,
        }
    }
}

pub(super) fn read(node: &Node, names: Names) -> Option<Limit> {
    let known = &[
        "distance",
        "angle",
        "coordinate",
        "clearance",
        "inside",
        "at_least",
        "at_most",
        "between",
        "over",
    ];
    let object = node.object(known, "a limit: an object with a quantity and its bounds")?;
    let kind = object.exactly_one(&["distance", "angle", "coordinate", "clearance", "inside"]);
    let quantity = kind.and_then(|kind| quantity(&object, kind, names));
    let bound = bound(&object, kind);
    let of_parts = kind.is_some_and(|kind| CLEARANCE_KINDS.contains(&kind));
    let over = match object.get("over").given() {
        // Parts must not touch anywhere.
        None if of_parts => Some(Some((Place::Top, Place::End))),
        None => Some(None),
        Some(node) => read_range(&node, names).map(Some),
    };
    Some(Limit {
        quantity: quantity?,
        bound: bound?,
        over: over?,
    })
}

fn read_range(node: &Node, names: Names) -> Option<(Place, Place)> {
    let (from, to) = range(node)?;
    let sag = names.layout.and_then(sag_of_travel);
    if let Some(fault) = range_fault(node.sink, &node.path, from, to, sag) {
        node.sink.push(fault);
        return None;
    }
    Some((from, to))
}

fn quantity(object: &Object, kind: &str, names: Names) -> Option<LimitQuantity> {
    let node = object.get(kind);
    match kind {
        "distance" => {
            let ends = node.list_of("two points")?.map(|end| names.point(&end));
            let [one, other] = ends;
            distinct(
                &node,
                LimitQuantity::Distance(one?, other?),
                &[one?, other?],
            )
        }
        "angle" => {
            let points = node.list_of("three points, the angle at the middle one")?;
            let [one, middle, other] = points.map(|point| names.point(&point));
            let (one, middle, other) = (one?, middle?, other?);
            distinct(
                &node,
                LimitQuantity::Angle(one, middle, other),
                &[one, middle, other],
            )
        }
        "coordinate" => coordinate(&node, names),
        kind => read_clearance(object, kind, names.layout.zip(names.regions))
            .map(|clearance| LimitQuantity::Clearance(Arc::new(clearance))),
    }
}

fn distinct(node: &Node, quantity: LimitQuantity, points: &[PointId]) -> Option<LimitQuantity> {
    let repeated = |(index, point): (usize, &PointId)| points[..index].contains(point);
    if points.iter().enumerate().any(repeated) {
        node.sink
            .fault(&node.path, "the same point twice", "different points");
        return None;
    }
    Some(quantity)
}

/// A coordinate is written as the point's name, a dot, and the axis.
fn coordinate(node: &Node, names: Names) -> Option<LimitQuantity> {
    let expected = "a point of the layout and its axis, such as \"main_pivot.x\"";
    let parts = node.as_text().and_then(|text| text.rsplit_once('.'));
    let (name, axis) = match parts {
        Some((name, "x")) => (name, AxisName::X),
        Some((name, "y")) => (name, AxisName::Y),
        _ => return node.fault(expected),
    };
    let mechanism = &names.layout?.mechanism;
    if let Some(point) = mechanism.point_named(name) {
        return Some(LimitQuantity::Coordinate(point, axis));
    }
    let axis = if axis == AxisName::X { "x" } else { "y" };
    let known = mechanism.points.iter().map(|point| &*point.name);
    let near = nearest(name, known);
    node.fault_suggesting(expected, near.map(|near| quoted(&format!("{near}.{axis}"))))
}

fn bound(object: &Object, kind: Option<&str>) -> Option<Bound> {
    let (low, high, what) = match kind {
        Some("angle") => (0.0, 180.0, "an angle in degrees"),
        Some("distance") => (0.0, FARTHEST, "a distance in mm"),
        Some("clearance" | "inside") => (-FARTHEST, FARTHEST, "a clearance in mm"),
        _ => (-FARTHEST, FARTHEST, "a coordinate in mm"),
    };
    let number = |node: &Node| {
        let expected = format!("{what}, {} to {}", number_text(low), number_text(high));
        node.number(&expected, |number| low <= number && number <= high)
    };
    let key = object.exactly_one(&["at_least", "at_most", "between"])?;
    let node = object.get(key);
    match key {
        "at_least" => number(&node).map(Bound::AtLeast),
        "at_most" => number(&node).map(Bound::AtMost),
        _ => node
            .bounds("the band", number)
            .map(|(low, high)| Bound::Between { low, high }),
    }
}
