//! The clearances of eight layouts at once that are near one whose contacts are known.
//!
//! Two bounds from below spare most searches for the nearest corner. A clearance changes by no
//! more than the corners of its two parts are off. And any unit vector tells two cores at least
//! as far apart as their extents along it are (the separating axis): along the normal of the
//! contact that is known, followed by its edge or its two corners, that bound is the distance
//! itself as long as they still touch there. Both are taken in lanes; only where neither decides
//! a layout is looked at by itself.

use super::distance::{Contact, LEAST_OVERLAP};
use super::gap::Room;
use crate::curves::Suspension;
use crate::input::Relation;
use crate::mechanism::{Motion, Pose};
use crate::number::{LANES, Lanes, Point, Scalar};
use std::sync::Arc;

/// Corners that are so near to being the nearest count as it, mm.
const SAME: f64 = 1e-9;

/// The contact of a pair in the layout that is known.
#[derive(Clone, Copy, Debug)]
struct Known {
    /// The clearance, mm.
    value: f64,
    touching: Touching,
}

/// What of two cores is nearest to each other.
#[derive(Clone, Copy, Debug)]
enum Touching {
    /// Corner `k` of one to the edge from `i` to `j` of the other.
    Edge {
        of_second: bool,
        i: usize,
        j: usize,
        k: usize,
        /// 1 where the corner lies to the left of the edge, else -1.
        side: f64,
    },
    /// Corner `i` of the first to corner `k` of the second.
    Corners { i: usize, k: usize },
}

/// A layout that is known in some poses.
#[derive(Debug)]
struct Reference {
    /// Of each pose, all corners.
    corners: Vec<Vec<Point<f64>>>,
    /// Of each pose, all pairs, gap by gap.
    pairs: Vec<Vec<Known>>,
    /// Of each pose, the clearance of each gap.
    gaps: Vec<Vec<f64>>,
    /// Of each gap the number of its first pair among all.
    firsts: Vec<usize>,
    /// The figures that may move.
    moving: Vec<usize>,
}

/// Eight layouts near one that is known.
#[derive(Clone, Debug)]
pub struct Nearby {
    room: Arc<Room>,
    reference: Arc<Reference>,
    places: Vec<Point<Lanes>>,
    /// Of each pose, all corners.
    corners: Vec<Vec<Point<Lanes>>>,
    /// Of each pose, by how much the corners of each figure are off at most, mm.
    off: Vec<Vec<Lanes>>,
}

impl Nearby {
    /// Looks at the clearances of `room` in the poses at `parameters`, in layouts near
    /// `suspension`.
    #[must_use]
    pub fn new(room: Room, suspension: &Suspension, parameters: &[f64]) -> Self {
        let reference = Reference::new(&room, suspension, parameters);
        let poses = if room.gaps().is_empty() {
            0
        } else {
            parameters.len()
        };
        let blank: Vec<Point<Lanes>> = room.blank().map(Point::constant).collect();
        Self {
            places: Vec::new(),
            corners: vec![blank; poses],
            off: vec![vec![Lanes::from_f64(0.0); room.figures.len()]; poses],
            reference: Arc::new(reference),
            room: Arc::new(room),
        }
    }

    /// Places all parts in `poses`, as many as there were parameters.
    pub fn place<'a>(
        &mut self,
        motion: &Motion<'_, Lanes>,
        poses: impl Iterator<Item = &'a Pose<Lanes>>,
    ) {
        let (room, reference) = (&*self.room, &*self.reference);
        let slots = self.corners.iter_mut().zip(&mut self.off);
        for (((corners, off), known), pose) in slots.zip(&reference.corners).zip(poses) {
            room.place(motion, pose, &mut self.places);
            room.values(&self.places, |corner, place| corners[corner] = place);
            for &figure in &reference.moving {
                let mut farthest = Lanes::from_f64(0.0);
                for corner in room.corners[figure].clone() {
                    let shift = corners[corner] - Point::constant(known[corner]);
                    farthest = shift.length_squared().larger(farthest);
                }
                off[figure] = farthest.sqrt();
            }
        }
    }

    /// Whether nothing of a gap moves in the frame, so that one pose tells all.
    #[must_use]
    pub fn stands_still(&self, gap: usize) -> bool {
        self.room.gaps()[gap].stands_still
    }

    /// The clearance in the layout that is known, mm.
    #[must_use]
    pub fn known(&self, gap: usize, pose: usize) -> f64 {
        self.reference.gaps[pose][gap]
    }

    /// By how much the clearance of any pair of a gap can differ from the known, mm.
    #[must_use]
    pub fn reach(&self, gap: usize, pose: usize) -> Lanes {
        let pairs = self.room.gaps()[gap].pairs.iter();
        pairs.fold(Lanes::from_f64(0.0), |reach, pair| {
            self.off_of(pair.figures, pose).larger(reach)
        })
    }

    fn off_of(&self, [first, second]: [usize; 2], pose: usize) -> Lanes {
        self.off[pose][first] + self.off[pose][second]
    }

    /// The smallest clearance of a gap in a pose, exact.
    #[must_use]
    pub fn clearance(&self, gap: usize, pose: usize) -> Lanes {
        let pairs = &self.room.gaps()[gap].pairs;
        let first = self.reference.firsts[gap];
        let known = &self.reference.pairs[pose][first..];
        let mut least = Lanes::from_f64(f64::INFINITY);
        let mut open: Vec<(usize, Lanes, Lanes)> = Vec::new();
        for (number, (pair, known)) in pairs.iter().zip(known).enumerate() {
            let bound = -self.off_of(pair.figures, pose) + known.value;
            if all(bound, least, |bound, least| bound > least) {
                continue;
            }
            let (low, doubt) = self.follow(gap, number, pose, known, bound);
            let exact = Lanes::from_array(choose(doubt, low));
            least = exact.smaller(least);
            if !all(doubt, low, |doubt, _| doubt <= 0.0) {
                open.push((number, low, doubt));
            }
        }
        if open.is_empty() {
            return least;
        }
        let mut least = least.to_array();
        for (number, low, doubt) in open {
            let (low, doubt) = (low.to_array(), doubt.to_array());
            for lane in 0..LANES {
                // Also where the bound is no number.
                let farther = low[lane] >= least[lane] || doubt[lane] <= 0.0;
                if !farther {
                    let value = self.alone(gap, number, pose, lane);
                    if value < least[lane] || value.is_nan() {
                        least[lane] = value;
                    }
                }
            }
        }
        Lanes::from_array(least)
    }

    /// The clearance of a pair in one lane.
    fn alone(&self, gap: usize, pair: usize, pose: usize, lane: usize) -> f64 {
        let corners = &self.corners[pose];
        let plain = |corner: &Point<Lanes>| corner.map(|number| number.lane(lane));
        let figures = self.room.gaps()[gap].pairs[pair].figures;
        let [first, second] = figures.map(|figure| {
            let of_figure = corners[self.room.corners[figure].clone()].iter();
            of_figure.map(plain).collect::<Vec<_>>()
        });
        self.room.clearance_of(gap, pair, &first, &second)
    }

    /// A lower bound of a pair's clearance, and what is exact where it is not positive.
    fn follow(
        &self,
        gap: usize,
        pair: usize,
        pose: usize,
        known: &Known,
        bound: Lanes,
    ) -> (Lanes, Lanes) {
        let corners = &self.corners[pose];
        let figures = self.room.gaps()[gap].pairs[pair].figures;
        let [first, second] = figures.map(|figure| &corners[self.room.corners[figure].clone()]);
        let (distance, doubt) = match (self.room.gaps()[gap].relation, known.touching) {
            (Relation::Inside, _) => {
                let (depth, doubt) = depth(first, second);
                // Outside a polygon its edges say nothing from below.
                let value = self.room.clearance(gap, pair, -depth).to_array();
                let (bound, doubts) = (bound.to_array(), doubt.to_array());
                let low = |lane: usize| {
                    if doubts[lane] <= 0.0 {
                        value[lane]
                    } else {
                        bound[lane]
                    }
                };
                return (Lanes::from_lanes(low), doubt);
            }
            (
                Relation::Apart,
                Touching::Edge {
                    of_second,
                    i,
                    j,
                    k,
                    side,
                },
            ) => {
                let (edged, other) = if of_second {
                    (second, first)
                } else {
                    (first, second)
                };
                beside([edged[i], edged[j]], side, other, k)
            }
            (Relation::Apart, Touching::Corners { i, k }) => between(first, i, second, k),
        };
        (self.room.clearance(gap, pair, distance), doubt)
    }
}

impl Reference {
    fn new(room: &Room, suspension: &Suspension, parameters: &[f64]) -> Self {
        let mut reference = Self {
            corners: Vec::new(),
            pairs: Vec::new(),
            gaps: Vec::new(),
            firsts: Vec::new(),
            moving: Vec::new(),
        };
        let mut count = 0;
        for gap in 0..room.gaps().len() {
            reference.firsts.push(count);
            count += room.pair_count(gap);
        }
        if count == 0 {
            return reference;
        }
        let moves = |figure: &usize| {
            let mut corners = room.corners[*figure].clone();
            corners.any(|corner| !room.is_fixed(corner))
        };
        reference.moving = (0..room.figures.len()).filter(moves).collect();
        let motion = suspension.motion_in::<f64>();
        let mut places = Vec::new();
        for &parameter in parameters {
            let mut corners: Vec<Point<f64>> = room.blank().collect();
            room.place(&motion, &suspension.pose(parameter), &mut places);
            room.values(&places, |corner, place| corners[corner] = place);
            let mut pairs = Vec::with_capacity(count);
            let mut gaps = Vec::with_capacity(room.gaps().len());
            for gap in 0..room.gaps().len() {
                let mut least = f64::INFINITY;
                for pair in 0..room.pair_count(gap) {
                    let closest = room.closest_of(gap, pair, &corners);
                    let figures = room.gaps()[gap].pairs[pair].figures;
                    let cores = figures.map(|figure| &corners[room.corners[figure].clone()]);
                    pairs.push(Known {
                        value: closest.value,
                        touching: Touching::of(&closest.contact, cores),
                    });
                    least = least.min(closest.value);
                }
                gaps.push(least);
            }
            reference.corners.push(corners);
            reference.pairs.push(pairs);
            reference.gaps.push(gaps);
        }
        reference
    }
}

impl Touching {
    fn of(contact: &Contact, [first, second]: [&[Point<f64>]; 2]) -> Self {
        let side = |core: &[Point<f64>], i: usize, j: usize, outward: f64| {
            let left = (core[j] - core[i]).turned_left();
            if left.dot(contact.normal) * outward < 0.0 {
                -1.0
            } else {
                1.0
            }
        };
        let (one, other) = (contact.first, contact.second);
        if one.i != one.j {
            Self::Edge {
                of_second: false,
                i: one.i,
                j: one.j,
                k: other.i,
                side: side(first, one.i, one.j, 1.0),
            }
        } else if other.i != other.j {
            Self::Edge {
                of_second: true,
                i: other.i,
                j: other.j,
                k: one.i,
                side: side(second, other.i, other.j, -1.0),
            }
        } else {
            Self::Corners {
                i: one.i,
                k: other.i,
            }
        }
    }
}

/// The gap between an edge and all corners of `other` on that side of it, and where it is not
/// positive whether that is the distance: corner `k` the nearest, and beside the edge.
fn beside(
    [start, end]: [Point<Lanes>; 2],
    side: f64,
    other: &[Point<Lanes>],
    k: usize,
) -> (Lanes, Lanes) {
    let edge = end - start;
    let inverse = Lanes::from_f64(1.0) / edge.length();
    let normal = edge.turned_left() * (inverse * side);
    let mut gap = Lanes::from_f64(f64::INFINITY);
    for corner in other {
        gap = gap.smaller((*corner - start).dot(normal));
    }
    let nearest = other[k] - start;
    let share = nearest.dot(edge) * inverse * inverse;
    let doubt = (nearest.dot(normal) - gap - SAME)
        .larger(-share)
        .larger(share - 1.0)
        .larger(-gap + LEAST_OVERLAP);
    (gap, doubt)
}

/// The gap between two cores along the line from corner `i` of the first to corner `k` of the
/// second, and where it is not positive whether these are the nearest.
fn between(first: &[Point<Lanes>], i: usize, second: &[Point<Lanes>], k: usize) -> (Lanes, Lanes) {
    let line = second[k] - first[i];
    let length = line.length();
    let normal = line * (Lanes::from_f64(1.0) / length);
    let mut gap = Lanes::from_f64(f64::INFINITY);
    for corner in second {
        gap = gap.smaller((*corner - first[i]).dot(normal));
    }
    let mut behind = Lanes::from_f64(f64::NEG_INFINITY);
    for corner in first {
        behind = behind.larger((*corner - first[i]).dot(normal));
    }
    let low = gap - behind;
    let doubt = (length - low - SAME).larger(-length + LEAST_OVERLAP);
    (low, doubt)
}

/// How deep all corners of `first` lie in the polygon `second`, and where it is not positive
/// whether they all do.
fn depth(first: &[Point<Lanes>], second: &[Point<Lanes>]) -> (Lanes, Lanes) {
    let mut depth = Lanes::from_f64(f64::INFINITY);
    if second.len() < 3 {
        return (depth, Lanes::from_f64(1.0));
    }
    for (index, &start) in second.iter().enumerate() {
        let edge = second[(index + 1) % second.len()] - start;
        let inward = edge.turned_left() * (Lanes::from_f64(1.0) / edge.length());
        for corner in first {
            depth = depth.smaller((*corner - start).dot(inward));
        }
    }
    (depth, -depth + LEAST_OVERLAP)
}

/// Whether something holds in every lane.
fn all(one: Lanes, other: Lanes, holds: impl Fn(f64, f64) -> bool) -> bool {
    let (one, other) = (one.to_array(), other.to_array());
    (0..LANES).all(|lane| holds(one[lane], other[lane]))
}

/// The values where there is no doubt, elsewhere infinity.
fn choose(doubt: Lanes, value: Lanes) -> [f64; LANES] {
    let (doubt, value) = (doubt.to_array(), value.to_array());
    std::array::from_fn(|lane| {
        if doubt[lane] <= 0.0 {
            value[lane]
        } else {
            f64::INFINITY
        }
    })
}
