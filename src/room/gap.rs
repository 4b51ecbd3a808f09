//! The pairs of a clearance, and at any moment the nearest of them.

use super::distance::{Contact, contact};
use super::figure::{Core, Corner, Figure};
use crate::curves::{Bicycle, RunSprockets};
use crate::input::{Clearance, Part, PointId, Relation};
use crate::mechanism::{Motion, Plan, Pose};
use crate::number::{Point, Scalar};
use std::ops::Range;
use std::sync::Arc;

/// Lower bounds may be off by so much, mm.
const ROUNDING: f64 = 1e-9;

/// All parts that some clearances look at, and what these look at.
#[derive(Clone, Debug)]
pub struct Room {
    pub(super) figures: Vec<Figure>,
    /// Where the corners of each figure stand among all.
    pub(super) corners: Vec<Range<usize>>,
    /// Of each corner where it stands.
    places: Vec<CornerPlace>,
    /// What may move.
    moving: Vec<Corner>,
    gaps: Vec<Gap>,
}

/// Where a corner stands.
#[derive(Clone, Copy, Debug)]
enum CornerPlace {
    /// Always there.
    Fixed(Point<f64>),
    /// Its number among those that may move.
    Moving(usize),
    /// An end of a straight run of the chain: on its first sprocket or on its second.
    Run {
        sprockets: RunSprockets,
        /// The numbers of the centres among what may move; none is the bottom bracket.
        centres: [Option<usize>; 2],
        second: bool,
    },
}

/// What one clearance looks at.
#[derive(Clone, Debug)]
pub struct Gap {
    pub(super) relation: Relation,
    pub(super) pairs: Vec<Pair>,
    /// Whether nothing of it moves in the frame.
    pub stands_still: bool,
}

/// Two figures, and the parts that they are of.
#[derive(Clone, Debug)]
pub(super) struct Pair {
    pub figures: [usize; 2],
    parts: [Arc<Part>; 2],
}

/// The nearest pair of a gap at one moment.
#[derive(Clone, Copy, Debug)]
pub struct Closest {
    /// Its number in the gap.
    pub pair: usize,
    pub(super) contact: Contact,
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
                figures
                    .copied()
                    .all(|figure| room.stands_still(figure, plan))
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
            match &figure.core {
                Core::Corners(corners) => {
                    for &corner in corners {
                        let place = match corner {
                            Corner::Fixed(position) => CornerPlace::Fixed(position),
                            corner => CornerPlace::Moving(self.new_moving(corner)),
                        };
                        self.places.push(place);
                    }
                }
                Core::Run(sprockets) => {
                    let centres = sprockets
                        .centres()
                        .map(|centre| centre.map(|point| self.new_moving(Corner::Point(point))));
                    for second in [false, true] {
                        self.places.push(CornerPlace::Run {
                            sprockets: *sprockets,
                            centres,
                            second,
                        });
                    }
                }
            }
            self.corners.push(first..self.places.len());
            self.figures.push(figure);
        }
        let figures = start..self.figures.len();
        known.push((Arc::clone(part), figures.clone()));
        figures
    }

    /// The number among what may move of `corner`, made where it is new.
    fn new_moving(&mut self, corner: Corner) -> usize {
        let same = |other: &Corner| match (corner, other) {
            (Corner::Point(point), Corner::Point(other)) => point == *other,
            _ => false,
        };
        if let Some(known) = self.moving.iter().position(same) {
            return known;
        }
        self.moving.push(corner);
        self.moving.len() - 1
    }

    /// Whether a figure never moves in the frame.
    fn stands_still(&self, figure: usize, plan: &Plan) -> bool {
        match &self.figures[figure].core {
            Core::Corners(corners) => corners.iter().all(|corner| corner.stands_still(plan)),
            Core::Run(_) => false,
        }
    }

    /// What each clearance looks at, in their order.
    #[must_use]
    pub fn gaps(&self) -> &[Gap] {
        &self.gaps
    }

    /// What may move, in `pose`, in the memory of the caller.
    pub fn place<T: Scalar>(
        &self,
        motion: &Motion<'_, T>,
        pose: &Pose<T>,
        moving: &mut Vec<Point<T>>,
    ) {
        moving.clear();
        let [first, second] = motion.plan().shock_ends().map(PointId::index);
        let line = pose.points[second] - pose.points[first];
        let shock = line * (T::from_f64(1.0) / line.length());
        let place = |corner: &Corner| corner.place(motion, pose, shock);
        moving.extend(self.moving.iter().map(place));
    }

    /// Where the corners of both figures of a pair stand among all.
    pub(super) fn corners_of(&self, gap: usize, pair: usize) -> [Range<usize>; 2] {
        let figures = self.gaps[gap].pairs[pair].figures;
        figures.map(|figure| self.corners[figure].clone())
    }

    /// Whether corner number `corner` always stands in one place of the frame.
    pub(super) fn is_fixed(&self, corner: usize) -> bool {
        matches!(self.places[corner], CornerPlace::Fixed(_))
    }

    /// How many corners all parts have.
    #[must_use]
    pub fn corner_count(&self) -> usize {
        self.places.len()
    }

    /// All corners; those that do not stand still at the origin for now.
    pub fn blank(&self) -> impl Iterator<Item = Point<f64>> + '_ {
        self.places.iter().map(|place| match *place {
            CornerPlace::Fixed(position) => position,
            CornerPlace::Moving(_) | CornerPlace::Run { .. } => Point::new(0.0, 0.0),
        })
    }

    /// Gives `take` the number and the place, without derivatives, of each corner that does not
    /// stand still, where what may move stands at `moving`.
    pub fn values<T: Scalar>(
        &self,
        moving: &[Point<T>],
        mut take: impl FnMut(usize, Point<T::Value>),
    ) {
        for (index, place) in self.places.iter().enumerate() {
            match *place {
                CornerPlace::Moving(number) => take(index, moving[number].value()),
                CornerPlace::Run {
                    sprockets,
                    centres,
                    second: false,
                } => {
                    let centre = |number| centre(number, |number| moving[number].value());
                    let [first, second] = sprockets.ends(centres.map(centre));
                    take(index, first);
                    take(index + 1, second);
                }
                // The second end comes with the first.
                CornerPlace::Fixed(_) | CornerPlace::Run { .. } => {}
            }
        }
    }

    /// The pairs of a gap.
    #[must_use]
    pub fn pair_count(&self, gap: usize) -> usize {
        self.gaps[gap].pairs.len()
    }

    /// The nearest pair of a gap, where the corners stand as given.
    #[must_use]
    pub fn closest(&self, gap: usize, corners: &[Point<f64>]) -> Closest {
        self.closest_from(gap, 0, corners)
    }

    /// The same, sooner where pair number `likely` is near: any direction gives a lower bound of
    /// a pair's distance, and that of the nearest pair so far rules out most others.
    #[must_use]
    pub fn closest_from(&self, gap: usize, likely: usize, corners: &[Point<f64>]) -> Closest {
        let mut closest = self.closest_of(gap, likely, corners);
        for pair in (0..self.pair_count(gap)).filter(|&pair| pair != likely) {
            if self.is_farther(gap, pair, &closest, corners) {
                continue;
            }
            let other = self.closest_of(gap, pair, corners);
            if other.value < closest.value {
                closest = other;
            }
        }
        closest
    }

    /// Whether a pair is farther than `closest` along the normal of that.
    fn is_farther(
        &self,
        gap: usize,
        pair: usize,
        closest: &Closest,
        corners: &[Point<f64>],
    ) -> bool {
        if self.gaps[gap].relation == Relation::Inside {
            return false;
        }
        let figures = self.gaps[gap].pairs[pair].figures;
        let [first, second] = figures.map(|figure| &corners[self.corners[figure].clone()]);
        let along = |corner: &Point<f64>| {
            corner.x * closest.contact.normal.x + corner.y * closest.contact.normal.y
        };
        let farthest = first.iter().map(along).fold(f64::NEG_INFINITY, f64::max);
        let nearest = second.iter().map(along).fold(f64::INFINITY, f64::min);
        // Rounding must not rule out the nearest.
        self.clearance(gap, pair, nearest - farthest) > closest.value + ROUNDING
    }

    /// The same of one pair alone.
    #[must_use]
    pub fn closest_of(&self, gap: usize, pair: usize, corners: &[Point<f64>]) -> Closest {
        let relation = self.gaps[gap].relation;
        let figures = self.gaps[gap].pairs[pair].figures;
        let [first, second] = figures.map(|figure| &corners[self.corners[figure].clone()]);
        let contact = touch(relation, first, second);
        Closest {
            pair,
            contact,
            value: self.clearance(gap, pair, contact.distance),
        }
    }

    /// The clearance of one pair whose cores stand as given.
    pub(super) fn clearance_of(
        &self,
        gap: usize,
        pair: usize,
        first: &[Point<f64>],
        second: &[Point<f64>],
    ) -> f64 {
        let contact = touch(self.gaps[gap].relation, first, second);
        self.clearance(gap, pair, contact.distance)
    }

    /// The clearance that a distance of cores makes.
    pub(super) fn clearance<S: Scalar>(&self, gap: usize, pair: usize, distance: S) -> S {
        let gap = &self.gaps[gap];
        let [first, second] = gap.pairs[pair]
            .figures
            .map(|figure| self.figures[figure].radius);
        match gap.relation {
            Relation::Apart => distance - (first + second),
            Relation::Inside => -distance - (first - second),
        }
    }

    /// The clearance of `closest` in any number; `moving` gives what may move.
    #[inline]
    pub fn measure<S: Scalar>(
        &self,
        gap: usize,
        closest: &Closest,
        moving: impl Fn(usize) -> Point<S>,
    ) -> S {
        let corner = |index: usize| match self.places[index] {
            CornerPlace::Fixed(position) => Point::constant(position),
            CornerPlace::Moving(number) => moving(number),
            CornerPlace::Run {
                sprockets,
                centres,
                second,
            } => {
                let centre = |number| centre(number, &moving);
                sprockets.ends(centres.map(centre))[usize::from(second)]
            }
        };
        let figures = self.gaps[gap].pairs[closest.pair].figures;
        let [first, second] = figures.map(|figure| self.corners[figure].start);
        let distance = closest.contact.measure(
            |index| corner(first + index),
            |index| corner(second + index),
        );
        self.clearance(gap, closest.pair, distance)
    }

    /// The parts of a pair.
    #[must_use]
    pub fn parts(&self, gap: usize, closest: &Closest) -> &[Arc<Part>; 2] {
        &self.gaps[gap].pairs[closest.pair].parts
    }
}

fn touch(relation: Relation, first: &[Point<f64>], second: &[Point<f64>]) -> Contact {
    match relation {
        Relation::Apart => contact(first, second),
        Relation::Inside => outermost(first, second),
    }
}

/// Where the centre of a sprocket stands.
fn centre<S: Scalar>(number: Option<usize>, moving: impl Fn(usize) -> Point<S>) -> Point<S> {
    match number {
        Some(number) => moving(number),
        None => Point::constant(Point::new(0.0, 0.0)),
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
