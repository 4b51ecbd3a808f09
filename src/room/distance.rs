//! Signed distance of two convex cores: points, lines between two points, convex polygons.
//!
//! Positive: the Euclidean distance. Negative: minus the least way by which one would have to
//! move out of the other, the distance of the origin to the edge of the Minkowski difference
//! (van den Bergen, *Collision Detection in Interactive 3D Environments*, 2004).
//!
//! To first order the distance changes as `n . (q - p)` with the unit normal `n` and the
//! places `p`, `q` of contact held on their cores (the envelope theorem: how they slide along
//! the edges does not count). So the contact is found in plain numbers, and its distance in any
//! number type is linear in the corners: derivatives are exact away from ties.

use crate::number::{Point, Scalar, Vector};

/// Overlaps below this are rounding: cores in one line would otherwise seem to cross, mm.
pub(super) const LEAST_OVERLAP: f64 = 1e-9;

/// A place on a core: `(1 - t) corner i + t corner j`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Witness {
    /// A corner.
    pub i: usize,
    /// The other end of the edge, or the same corner.
    pub j: usize,
    /// Share of the way; outside of 0 to 1 only where cores overlap.
    pub t: f64,
}

impl Witness {
    const fn corner(i: usize) -> Self {
        Self { i, j: i, t: 0.0 }
    }
}

/// Where two cores are nearest to each other.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Contact {
    /// On the first core.
    pub first: Witness,
    /// On the second core.
    pub second: Witness,
    /// Unit normal, from the first to the second (where they overlap, the way that the second
    /// has to move).
    pub normal: Vector<f64>,
    /// Signed distance, mm.
    pub distance: f64,
}

impl Contact {
    /// The signed distance of cores whose corners are given by `first` and `second`.
    #[inline]
    pub fn measure<S: Scalar>(
        &self,
        first: impl Fn(usize) -> Point<S>,
        second: impl Fn(usize) -> Point<S>,
    ) -> S {
        let line = place(self.second, second) - place(self.first, first);
        line.x * self.normal.x + line.y * self.normal.y
    }

    fn flipped(self) -> Self {
        Self {
            first: self.second,
            second: self.first,
            normal: -self.normal,
            distance: self.distance,
        }
    }
}

fn place<S: Scalar>(witness: Witness, corner: impl Fn(usize) -> Point<S>) -> Point<S> {
    let at = corner(witness.i);
    if witness.i == witness.j {
        return at;
    }
    at + (corner(witness.j) - at) * S::from_f64(witness.t)
}

/// The contact of two cores: one corner for a point, two for a line, else the corners of a
/// convex polygon, counter-clockwise.
#[must_use]
pub fn contact(first: &[Point<f64>], second: &[Point<f64>]) -> Contact {
    if let ([p], [q]) = (first, second) {
        return corners(*p, *q, 0, 0);
    }
    // Of all axes the one with the widest gap; where the cores overlap that is the distance.
    let (forward, backward) = match separation(first, second) {
        Separation::Facing(contact) => return contact,
        Separation::Widest(forward) => match separation(second, first) {
            Separation::Facing(contact) => return contact.flipped(),
            Separation::Widest(backward) => (forward, backward.map(Contact::flipped)),
        },
    };
    let widest = match (forward, backward) {
        (Some(one), Some(other)) if other.distance > one.distance => Some(other),
        (Some(one), _) => Some(one),
        (None, other) => other,
    };
    match widest {
        Some(widest) if widest.distance < -LEAST_OVERLAP => widest,
        _ => apart(first, second),
    }
}

/// What the normals of one core's edges tell.
enum Separation {
    /// An edge lies between the cores, and the corner that is nearest to it beside it: no gap
    /// can be wider and no distance smaller.
    Facing(Contact),
    /// The widest gap along a normal.
    Widest(Option<Contact>),
}

/// The gaps along the normals of the edges of `core`, each to the nearest corner of `other`.
fn separation(core: &[Point<f64>], other: &[Point<f64>]) -> Separation {
    let mut widest: Option<Contact> = None;
    for (i, j) in edges(core.len()) {
        let edge = core[j] - core[i];
        let squared = edge.length_squared();
        if squared <= f64::MIN_POSITIVE {
            continue;
        }
        let along = edge * (1.0 / squared.sqrt());
        let outward = Vector::new(along.y, -along.x);
        let mut nearest = 0;
        let mut gap = f64::INFINITY;
        for (index, corner) in other.iter().enumerate() {
            let this = (*corner - core[i]).dot(outward);
            if this < gap {
                (gap, nearest) = (this, index);
            }
        }
        if widest.is_none_or(|widest| gap > widest.distance) {
            let t = (other[nearest] - core[i]).dot(edge) / squared;
            let contact = Contact {
                first: Witness { i, j, t },
                second: Witness::corner(nearest),
                normal: outward,
                distance: gap,
            };
            if gap > LEAST_OVERLAP && (0.0..=1.0).contains(&t) {
                return Separation::Facing(contact);
            }
            widest = Some(contact);
        }
    }
    Separation::Widest(widest)
}

/// The contact of cores that do not overlap: the nearest of all corners to all edges.
fn apart(first: &[Point<f64>], second: &[Point<f64>]) -> Contact {
    let mut nearest: Option<Contact> = None;
    let mut take = |contact: Contact| {
        if nearest.is_none_or(|nearest| contact.distance < nearest.distance) {
            nearest = Some(contact);
        }
    };
    for (k, &corner) in second.iter().enumerate() {
        for (i, j) in sides(first.len()) {
            take(corner_to_side(first, i, j, corner, k));
        }
    }
    for (k, &corner) in first.iter().enumerate() {
        for (i, j) in sides(second.len()) {
            take(corner_to_side(second, i, j, corner, k).flipped());
        }
    }
    // Every core has a corner.
    nearest.unwrap_or(Contact {
        first: Witness::corner(0),
        second: Witness::corner(0),
        normal: Vector::new(0.0, 1.0),
        distance: f64::NAN,
    })
}

fn corner_to_side(
    core: &[Point<f64>],
    i: usize,
    j: usize,
    corner: Point<f64>,
    k: usize,
) -> Contact {
    let (start, side) = (core[i], core[j] - core[i]);
    let squared = side.length_squared();
    let t = (corner - start).dot(side) / squared;
    // Also where the side has no length and t is no number.
    if t > 0.0 && t < 1.0 {
        let foot = start + side * t;
        let line = corner - foot;
        let distance = line.length();
        let upright = side.turned_left() * (1.0 / squared.sqrt());
        // On the side itself the line has no direction, but the side has.
        let normal = if line.dot(upright) < 0.0 {
            -upright
        } else {
            upright
        };
        return Contact {
            first: Witness { i, j, t },
            second: Witness::corner(k),
            normal,
            distance,
        };
    }
    let end = if t >= 1.0 { j } else { i };
    corners(core[end], corner, end, k)
}

fn corners(p: Point<f64>, q: Point<f64>, i: usize, k: usize) -> Contact {
    let line = q - p;
    let distance = line.length();
    let normal = if distance > 0.0 {
        line * (1.0 / distance)
    } else {
        Vector::new(0.0, 1.0)
    };
    Contact {
        first: Witness::corner(i),
        second: Witness::corner(k),
        normal,
        distance,
    }
}

/// Directed edges of a core: none of a point, both ways of a line, those of a polygon.
fn edges(corners: usize) -> impl Iterator<Item = (usize, usize)> {
    let count = if corners < 2 { 0 } else { corners };
    (0..count).map(move |i| (i, (i + 1) % corners))
}

/// Sides of a core for distances: that of a line once, of a point the point itself.
fn sides(corners: usize) -> impl Iterator<Item = (usize, usize)> {
    let count = if corners == 2 { 1 } else { corners };
    (0..count).map(move |i| (i, (i + 1) % corners))
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;

    fn points(coordinates: &[(f64, f64)]) -> Vec<Point<f64>> {
        coordinates.iter().map(|&(x, y)| Point::new(x, y)).collect()
    }

    fn distance(first: &[(f64, f64)], second: &[(f64, f64)]) -> f64 {
        let (first, second) = (points(first), points(second));
        let contact = contact(&first, &second);
        let measured = contact.measure(|i| first[i], |i| second[i]);
        assert_abs_diff_eq!(measured, contact.distance, epsilon = 1e-12);
        assert_abs_diff_eq!(contact.normal.length(), 1.0, epsilon = 1e-15);
        contact.distance
    }

    const SQUARE: [(f64, f64); 4] = [(0.0, 0.0), (2.0, 0.0), (2.0, 2.0), (0.0, 2.0)];

    #[test]
    fn a_point_in_a_square_is_as_deep_as_the_nearest_edge() {
        assert_eq!(distance(&SQUARE, &[(1.0, 0.5)]), -0.5);
        assert_eq!(distance(&[(1.0, 0.5)], &SQUARE), -0.5);
        assert_eq!(distance(&SQUARE, &[(1.0, -0.5)]), 0.5);
        assert_eq!(distance(&SQUARE, &[(5.0, 6.0)]), 5.0);
        assert_eq!(distance(&SQUARE, &[(1.0, 0.0)]), 0.0);
    }

    #[test]
    fn crossing_lines_overlap_by_the_shortest_way_out() {
        let cross = distance(&[(-3.0, 0.0), (3.0, 0.0)], &[(0.0, -1.0), (0.0, 4.0)]);
        assert_eq!(cross, -1.0);
    }

    #[test]
    fn lines_in_one_line_are_apart_by_the_gap_between_their_ends() {
        assert_eq!(
            distance(&[(0.0, 0.0), (1.0, 0.0)], &[(3.0, 0.0), (5.0, 0.0)]),
            2.0
        );
        let slope = |s: f64| (s * 0.1, s * 0.3);
        let gap = distance(&[slope(0.0), slope(1.0)], &[slope(2.0), slope(3.0)]);
        assert_abs_diff_eq!(gap, 0.1_f64.hypot(0.3), epsilon = 1e-12);
        assert_eq!(
            distance(&[(0.0, 0.0), (1.0, 0.0)], &[(0.5, 0.0), (5.0, 0.0)]),
            0.0
        );
    }

    #[test]
    fn cores_without_extent_are_points() {
        assert_eq!(distance(&[(1.0, 1.0), (1.0, 1.0)], &[(1.0, 4.0)]), 3.0);
        assert_eq!(distance(&[(1.0, 1.0)], &[(1.0, 1.0)]), 0.0);
        assert_eq!(distance(&SQUARE, &[(1.0, 1.0), (1.0, 1.0)]), -1.0);
    }
}
