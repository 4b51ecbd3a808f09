//! What may move: boxes of free points, and the order in which they are placed.

use super::{Names, point_name};
use crate::input::fault::Fault;
use crate::input::json::{FARTHEST, Node, join};
use crate::input::layout::{Layout, PointId};

/// A point that may move.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FreePoint {
    /// The point.
    pub point: PointId,
    /// The point of the same candidate that it is placed from; absolute where there is none.
    pub from: Option<PointId>,
    /// Within which box.
    pub place: FreePlace,
}

/// The box of a free point.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum FreePlace {
    /// By coordinates, or offsets from another point.
    Cartesian {
        /// Forward.
        x: Axis,
        /// Up.
        y: Axis,
    },
    /// By the direction from the other end of the shock, counter-clockwise from `x`, degrees;
    /// the distance is the shock's length.
    Angle {
        /// Lower bound.
        low: f64,
        /// Upper bound, above the lower, at most a full turn.
        high: f64,
    },
}

/// A coordinate or offset of a free point, mm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Axis {
    /// Chosen by the search.
    Free {
        /// Lower bound.
        low: f64,
        /// Upper bound, above the lower.
        high: f64,
    },
    /// Kept as drawn: the coordinate, or with `from` the offset.
    Drawn(f64),
}

impl FreePoint {
    const fn has_freedom(&self) -> bool {
        !matches!(
            self.place,
            FreePlace::Cartesian {
                x: Axis::Drawn(_),
                y: Axis::Drawn(_)
            }
        )
    }
}

/// The bounds that are written of a free point.
struct Written {
    x: Option<(f64, f64)>,
    y: Option<(f64, f64)>,
    angle: Option<(f64, f64)>,
}

/// Reads all free points and checks them together; without a layout, each by itself.
pub(super) fn read(node: &Node, names: Names) -> Option<Vec<FreePoint>> {
    let entries = node.entries("an object with each free point's name and its box")?;
    if entries.is_empty() {
        return node.fault("one free point or more");
    }
    let points: Vec<_> = entries
        .iter()
        .map(|(key, node)| free_point(key, node, names))
        .collect();
    let points: Vec<_> = points.into_iter().collect::<Option<_>>()?;
    check_together(node, names.layout?, &points, &entries).then_some(points)
}

fn free_point(key: &str, node: &Node, names: Names) -> Option<FreePoint> {
    let point = names.layout.map(|layout| {
        let found = layout.mechanism.point_named(key);
        if found.is_none() {
            let known = layout.mechanism.points.iter().map(|point| &*point.name);
            let mut expected = "a point of the layout".to_owned();
            if key == "front_axle" {
                expected += "; the front axle belongs to the bicycle and stays";
            }
            let file = node.sink.file;
            node.sink
                .push(Fault::unknown_name(file, &node.path, key, expected, known));
        }
        found
    });
    let object = node.object(
        &["from", "x", "y", "angle"],
        "an object with x, y, angle or from",
    )?;
    let from = object.get("from").given();
    let from_point = from.as_ref().map(|from| names.point(from));
    let bounds = |key: &str, low, high, what: &str| match object.get(key).given() {
        None => Some(None),
        Some(node) => node
            .bounds(what, |node| node.number_within(low, high, what))
            .map(Some),
    };
    let coordinate = "bounds in mm";
    let (x, y) = (
        bounds("x", -FARTHEST, FARTHEST, coordinate),
        bounds("y", -FARTHEST, FARTHEST, coordinate),
    );
    let angle = bounds("angle", -360.0, 360.0, "bounds in degrees");
    let written = Written {
        x: x?,
        y: y?,
        angle: angle?,
    };
    check_keys(node, &written, from.is_some())?;
    let (point, from) = (
        point??,
        from_point.map_or(Some(None), |from| from.map(Some))?,
    );
    let place = match written.angle {
        Some((low, high)) => FreePlace::Angle { low, high },
        None => cartesian(&written, point, from, names)?,
    };
    Some(FreePoint { point, from, place })
}

/// What can be told without the layout.
fn check_keys(node: &Node, written: &Written, from: bool) -> Option<()> {
    let Written { x, y, angle } = written;
    let fault = |found: &str, expected: &str| {
        node.sink.fault(&node.path, found, expected);
        None
    };
    match angle {
        Some(_) if x.is_some() || y.is_some() => {
            fault("an angle beside x or y", "either an angle, or x and y")
        }
        Some(_) if !from => fault(
            "an angle without `from`",
            "`from` the other end of the shock",
        ),
        Some((low, high)) if high - low > 360.0 => fault(
            "an angle of more than a turn",
            "a turn of 360 degrees or less",
        ),
        None if x.is_none() && y.is_none() && !from => {
            fault("nothing that is free", "bounds of x or y, or an angle")
        }
        _ => Some(()),
    }
}

fn cartesian(
    written: &Written,
    point: PointId,
    from: Option<PointId>,
    names: Names,
) -> Option<FreePlace> {
    let drawn = names.position(point)?;
    let (x, y) = match from {
        None => (drawn.x, drawn.y),
        Some(from) => {
            let offset = drawn - names.position(from)?;
            (offset.x, offset.y)
        }
    };
    let axis = |bounds: Option<(f64, f64)>, drawn| {
        bounds.map_or(Axis::Drawn(drawn), |(low, high)| Axis::Free { low, high })
    };
    Some(FreePlace::Cartesian {
        x: axis(written.x, x),
        y: axis(written.y, y),
    })
}

/// What the free points must be to each other and to the shock.
fn check_together(
    node: &Node,
    layout: &Layout,
    points: &[FreePoint],
    entries: &[(&str, Node)],
) -> bool {
    let ends = layout.mechanism.shock.ends;
    let constructed = constructed_end(points, ends);
    let listed = || points.iter().zip(entries.iter().map(|(_, entry)| entry));
    // Each check presumes those before it; a fault of one would show again in the next.
    listed().fold(true, |good, (free, entry)| {
        check_angle(entry, free, ends) && good
    }) && check_order(node, layout, points, constructed)
        && listed().fold(true, |good, (free, entry)| {
            check_freedom(entry, free, points, constructed) && good
        })
}

/// An angle needs a length, and the shock's is the only one that is given.
fn check_angle(entry: &Node, free: &FreePoint, [first, second]: [PointId; 2]) -> bool {
    let other = if free.point == first {
        Some(second)
    } else {
        (free.point == second).then_some(first)
    };
    let by_angle = matches!(free.place, FreePlace::Angle { .. });
    let good = !by_angle || (other.is_some() && free.from == other);
    if !good {
        let expected = "an angle only for an end of the shock, `from` the other end";
        entry.sink.fault(&entry.path, "an angle", expected);
    }
    good
}

fn check_order(
    node: &Node,
    layout: &Layout,
    points: &[FreePoint],
    constructed: Option<(PointId, PointId)>,
) -> bool {
    let Err(circle) = placing_order(points, constructed) else {
        return true;
    };
    let names: Vec<_> = circle
        .iter()
        .map(|&point| point_name(layout, point))
        .collect();
    let mut expected = "no point that is placed from itself".to_owned();
    if let Some((end, about)) = constructed.filter(|(end, _)| circle.contains(end)) {
        let (end, about) = (point_name(layout, end), point_name(layout, about));
        expected = format!("{expected} (the shock's length places {end} from {about})");
    }
    let first = circle
        .first()
        .map(|point| &*layout.mechanism.points[point.index()].name);
    node.sink.fault(
        join(&node.path, first.unwrap_or_default()),
        format!("the circle {}", names.join(" from ")),
        expected,
    );
    false
}

fn check_freedom(
    entry: &Node,
    free: &FreePoint,
    points: &[FreePoint],
    constructed: Option<(PointId, PointId)>,
) -> bool {
    let is_free = |point| points.iter().any(|other| other.point == point);
    let expected = if free.has_freedom() {
        return true;
    } else if constructed.is_some_and(|(end, _)| end == free.point) {
        "bounds of x or y, or an angle, because this end keeps the shock's length"
    } else if free.from.is_some_and(is_free) {
        return true;
    } else {
        "bounds of x or y, or `from` a point that is free"
    };
    entry
        .sink
        .fault(&entry.path, "nothing that is free", expected);
    false
}

/// The end of the shock that its length places, and the end about which: the one given by an
/// angle, else the second where both are free, else the free one.
pub(super) fn constructed_end(
    free: &[FreePoint],
    [first, second]: [PointId; 2],
) -> Option<(PointId, PointId)> {
    let find = |end| free.iter().find(|free| free.point == end);
    match (find(first), find(second)) {
        (
            Some(FreePoint {
                place: FreePlace::Angle { .. },
                ..
            }),
            _,
        )
        | (Some(_), None) => Some((first, second)),
        (_, Some(_)) => Some((second, first)),
        (None, None) => None,
    }
}

/// Indices of `free` so that each point comes after those it is placed from, or a circle of
/// points, the first repeated at its end.
pub(super) fn placing_order(
    free: &[FreePoint],
    constructed: Option<(PointId, PointId)>,
) -> Result<Vec<usize>, Vec<PointId>> {
    let needs = |index: usize| {
        let point = free[index].point;
        let about = constructed
            .filter(|&(end, _)| end == point)
            .map(|(_, about)| about);
        free[index].from.into_iter().chain(about)
    };
    let mut order = Vec::with_capacity(free.len());
    for start in 0..free.len() {
        visit(free, start, &needs, &mut Vec::new(), &mut order)?;
    }
    Ok(order)
}

fn visit<I: Iterator<Item = PointId>>(
    free: &[FreePoint],
    index: usize,
    needs: &impl Fn(usize) -> I,
    trail: &mut Vec<PointId>,
    order: &mut Vec<usize>,
) -> Result<(), Vec<PointId>> {
    if order.contains(&index) {
        return Ok(());
    }
    let point = free[index].point;
    if let Some(begin) = trail.iter().position(|&earlier| earlier == point) {
        let mut circle = trail.split_off(begin);
        circle.push(point);
        return Err(circle);
    }
    trail.push(point);
    for need in needs(index) {
        if let Some(next) = free.iter().position(|other| other.point == need) {
            visit(free, next, needs, trail, order)?;
        }
    }
    trail.pop();
    order.push(index);
    Ok(())
}
