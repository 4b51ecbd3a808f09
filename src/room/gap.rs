//! The pairs of a clearance, and at any moment the nearest of them.

use super::distance::{Contact, contact};
use super::figure::Figure;
use crate::curves::Bicycle;
use crate::input::{Clearance, Part, PointId, Relation};
use crate::mechanism::{Motion, Plan, Pose};
use crate::number::{Point, Scalar};
use std::ops::Range;
use std::sync::Arc;

/// All parts that some clearances look at, and what these look at.
#[derive(Clone, Debug)]
pub struct Room {
    figures: Vec<Figure>,
    /// Where the corners of each figure stand among all.
    corners: Vec<Range<usize>>,
    /// Of each corner what is known of its place.
    places: Vec<CornerPlace>,
    /// Of each corner that may move, its number among all.
    moving: Vec<usize>,
    /// Whether some part lies along the shock.
    follows_shock: bool,
    gaps: Vec<Gap>,
}

/// Where a corner stands.
#[derive(Clone, Copy, Debug)]
enum CornerPlace {
    /// Always there.
    Fixed(Point<f64>),
    /// Its number among those that may move.
    Moving(usize),
}

/// What one clearance looks at.
#[derive(Clone, Debug)]
pub struct Gap {
    relation: Relation,
    pairs: Vec<Pair>,
    /// Whether nothing of it moves in the frame.
    pub stands_still: bool,
}

/// Two figures, and the parts that they are of.
#[derive(Clone, Debug)]
struct Pair {
    figures: [usize; 2],
    parts: [Arc<Part>; 2],
}

/// The nearest pair of a gap at one moment.
#[derive(Clone, Copy, Debug)]
pub struct Closest {
    pair: usize,
    contact: Contact,
    /// The clearance, mm.
    pub value: f64,
}

impl Room {
    /// The parts and pairs of `clearances`, for mechanisms that move by `plan`.
    pub fn new<'c>(
        plan: &Plan,
        bicycle: &Bicycle,
        clearances: impl IntoIterator<Item = &'c Clearance>,
    ) -> Self {
        let mut room = Self {
            figures: Vec::new(),
            corners: Vec::new(),
            places: Vec::new(),
            moving: Vec::new(),
            follows_shock: false,
            gaps: Vec::new(),
        };
        let mut known: Vec<(Arc<Part>, Range<usize>)> = Vec::new();
        for clearance in clearances {
            let mut pairs = Vec::new();
            for (one, other) in clearance.pairs() {
                let [firsts, seconds] =
                    [one, other].map(|part| room.figures_of(part, plan, bicycle, &mut known));
                for first in firsts {
                    pairs.extend(seconds.clone().map(|second| Pair {
                        figures: [first, second],
                        parts: [Arc::clone(one), Arc::clone(other)],
                    }));
                }
            }
            let still = |pair: &Pair| {
                let figures = pair.figures.iter();
                figures.copied().all(|figure| room.figures[figure].stands_still(plan))
            };
            room.gaps.push(Gap {
                relation: clearance.relation,
                stands_still: pairs.iter().all(still),
                pairs,
            });
        }
        room
    }

    /// The figures of a part, made where it is new.
    fn figures_of(
        &mut self,
        part: &Arc<Part>,
        plan: &Plan,
        bicycle: &Bicycle,
        known: &mut Vec<(Arc<Part>, Range<usize>)>,
    ) -> Range<usize> {
        if let Some((_, figures)) = known.iter().find(|(other, _)| other == part) {
            return figures.clone();
        }
        let start = self.figures.len();
        for figure in Figure::all_of(part, plan, bicycle) {
            let first = self.places.len();
            for corner in figure.corners() {
                self.places.push(match corner {
                    Some(position) => CornerPlace::Fixed(position),
                    None => {
                        self.moving.push(self.places.len());
                        CornerPlace::Moving(self.moving.len() - 1)
                    }
                });
            }
            self.corners.push(first..self.places.len());
            self.follows_shock |= figure.follows_shock();
            self.figures.push(figure);
        }
        let figures = start..self.figures.len();
        known.push((Arc::clone(part), figures.clone()));
        figures
    }

    /// What each clearance looks at, in their order.
    #[must_use]
    pub fn gaps(&self) -> &[Gap] {
        &self.gaps
    }

    /// The corners that may move, in `pose`, in the memory of the caller.
    pub fn place<T: Scalar>(
        &self,
        motion: &Motion<'_, T>,
        pose: &Pose<T>,
        moving: &mut Vec<Point<T>>,
    ) {
        moving.clear();
        let shock = self.follows_shock.then(|| {
            let [first, second] = motion.plan().shock_ends().map(PointId::index);
            let line = pose.points[second] - pose.points[first];
            line * (T::from_f64(1.0) / line.length())
        });
        for figure in &self.figures {
            figure.place(motion, pose, shock, moving);
        }
    }

    /// How many corners all parts have.
    #[must_use]
    pub fn corner_count(&self) -> usize {
        self.places.len()
    }

    /// The numbers among all corners of those that may move, in the order of [`Room::place`].
    #[must_use]
    pub fn moving(&self) -> &[usize] {
        &self.moving
    }

    /// All corners, those that may move at the origin for now.
    pub fn blank(&self) -> impl Iterator<Item = Point<f64>> + '_ {
        self.places.iter().map(|place| match *place {
            CornerPlace::Fixed(position) => position,
            CornerPlace::Moving(_) => Point::new(0.0, 0.0),
        })
    }

    /// The pairs of a gap.
    #[must_use]
    pub fn pair_count(&self, gap: usize) -> usize {
        self.gaps[gap].pairs.len()
    }

    /// The nearest pair of a gap, where the corners stand as given.
    #[must_use]
    pub fn closest(&self, gap: usize, corners: &[Point<f64>]) -> Closest {
        let mut closest = self.closest_of(gap, 0, corners);
        for pair in 1..self.pair_count(gap) {
            let other = self.closest_of(gap, pair, corners);
            if other.value < closest.value {
                closest = other;
            }
        }
        closest
    }

    /// The same of one pair alone.
    #[must_use]
    pub fn closest_of(&self, gap: usize, pair: usize, corners: &[Point<f64>]) -> Closest {
        let relation = self.gaps[gap].relation;
        let figures = self.gaps[gap].pairs[pair].figures;
        let [first, second] = figures.map(|figure| &corners[self.corners[figure].clone()]);
        let contact = match relation {
            Relation::Apart => contact(first, second),
            Relation::Inside => outermost(first, second),
        };
        Closest {
            pair,
            contact,
            value: self.clearance(gap, pair, contact.distance),
        }
    }

    /// The clearance that a distance of cores makes.
    fn clearance<S: Scalar>(&self, gap: usize, pair: usize, distance: S) -> S {
        let gap = &self.gaps[gap];
        let [first, second] = gap.pairs[pair].figures.map(|figure| self.figures[figure].radius);
        match gap.relation {
            Relation::Apart => distance - (first + second),
            Relation::Inside => -distance - (first - second),
        }
    }

    /// The clearance of `closest` in any number; `moving` gives the corners that may move.
    #[inline]
    pub fn measure<S: Scalar>(
        &self,
        gap: usize,
        closest: &Closest,
        moving: impl Fn(usize) -> Point<S>,
    ) -> S {
        let corner = |index: usize| match self.places[index] {
            CornerPlace::Fixed(position) => Point::constant(position),
            CornerPlace::Moving(index) => moving(index),
        };
        let figures = self.gaps[gap].pairs[closest.pair].figures;
        let [first, second] = figures.map(|figure| self.corners[figure].start);
        let distance = closest
            .contact
            .measure(|index| corner(first + index), |index| corner(second + index));
        self.clearance(gap, closest.pair, distance)
    }

    /// The parts of a pair.
    #[must_use]
    pub fn parts(&self, gap: usize, closest: &Closest) -> &[Arc<Part>; 2] {
        &self.gaps[gap].pairs[closest.pair].parts
    }
}

/// The corner of the first core that is farthest out of the second, or least deep in it.
fn outermost(first: &[Point<f64>], second: &[Point<f64>]) -> Contact {
    let mut worst = corner_contact(first, 0, second);
    for index in 1..first.len() {
        let other = corner_contact(first, index, second);
        if other.distance > worst.distance {
            worst = other;
        }
    }
    worst
}

fn corner_contact(first: &[Point<f64>], index: usize, second: &[Point<f64>]) -> Contact {
    let mut found = contact(&first[index..=index], second);
    found.first.i = index;
    found.first.j = index;
    found
}
