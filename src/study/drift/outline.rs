//! The outline of a safe region for a picture: quick, and good to what a picture shows.
//!
//! Exits along evenly spread rays, solved on samples, eight rays at once; the nearest edge, which
//! a reader holds a tolerance against, is that of the continuous curves.

use super::rays::SampledExit;
use super::{Break, Drift, Exit, LARGEST_GAP, MoveKind, Moved, Mover};
use crate::design::LIMIT_UNIT;
use crate::design::measure::{Batch, Interest, Sampled, Sampler};
use crate::number::{LANES, Lanes, Point, Scalar, Vector};
use crate::study::sensitivity::unit;

/// Rays of an outline: three times eight.
pub const DIRECTIONS: usize = 24;

/// Farther than this no outline reaches, mm.
pub const FARTHEST: f64 = 20.0;

/// A distance is closed in on to this share of it.
pub const CLOSENESS: f64 = 0.005;

/// Most looks at one ray before what it is closed in on to is taken.
const ROUNDS: usize = 12;

/// A distance below this is none, mm.
const NO_DISTANCE: f64 = 1e-4;

/// Where the first rays are looked at first, mm.
const FIRST: f64 = 0.5;

/// One ray of an outline.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ray {
    /// How far the point may go, mm; at most [`FARTHEST`].
    pub distance: f64,
    /// What breaks there; none where nothing does so far.
    pub breaks: Option<Break>,
}

/// The safe region of a point that is moved in the drawing.
#[derive(Clone, Debug, PartialEq)]
pub struct Outline {
    /// What is moved.
    pub moved: Moved,
    /// Rays from +x on, counter-clockwise, [`DIRECTIONS`] of them.
    pub rays: Vec<Ray>,
    /// The nearest edge, on the continuous curves.
    pub nearest: Exit,
}

/// A ray while it is closed in on: distances with the violation there.
#[derive(Clone, Copy, Debug)]
struct Search {
    at_rest: f64,
    inside: (f64, f64),
    outside: Option<(f64, f64)>,
    breaks: Option<Break>,
    last_inside: Option<bool>,
    at: f64,
    /// The edge, and the growth of the violation there.
    edge: Option<(f64, f64)>,
}

impl Search {
    fn new(at_rest: f64, at: f64) -> Self {
        // What is missed already counts as touched.
        let at_rest = if at_rest < 0.0 { at_rest } else { 0.0 };
        Self {
            at_rest,
            inside: (0.0, at_rest),
            outside: None,
            breaks: None,
            last_inside: None,
            at,
            edge: None,
        }
    }

    /// Takes what was found at `at`, and says where to look next (Illinois).
    fn take(&mut self, violation: f64, what: Break) {
        if self.edge.is_some() {
            return;
        }
        let moved_inside = violation <= 0.0;
        if violation.abs() <= CLOSENESS * self.at_rest.abs() {
            self.breaks = Some(what);
            self.edge = Some((self.at, (violation - self.at_rest) / self.at));
            return;
        }
        let again = self.last_inside == Some(moved_inside);
        self.last_inside = Some(moved_inside);
        if moved_inside {
            self.inside = (self.at, violation);
        } else {
            self.outside = Some((self.at, violation));
            self.breaks = Some(what);
        }
        let Some((far, high)) = self.outside else {
            if self.at >= FARTHEST {
                self.edge = Some((FARTHEST, 0.0));
            }
            self.at = (self.at * 2.0).min(FARTHEST);
            return;
        };
        let (from, low) = self.inside;
        if far - from <= CLOSENESS * far || far < NO_DISTANCE {
            self.edge = Some(self.between());
            return;
        }
        let (low, high) = match (again, moved_inside) {
            (true, true) => (low, high * 0.5),
            (true, false) => (low * 0.5, high),
            _ => (low, high),
        };
        let secant = from - (far - from) * low / (high - low);
        self.at = if secant.is_finite() && secant > from && secant < far {
            secant
        } else {
            0.5 * (from + far)
        };
    }

    /// The edge between what holds and what does not, and how fast the violation grows there.
    fn between(&self) -> (f64, f64) {
        let Some((far, high)) = self.outside else {
            return (FARTHEST, 0.0);
        };
        let (from, low) = self.inside;
        let slope = (high - low) / (far - from);
        let at = from - low / slope;
        if at.is_finite() && at >= from && at <= far {
            (at, slope)
        } else {
            (from, slope)
        }
    }

    /// The edge as far as it is known.
    fn edge(&self) -> (f64, f64) {
        self.edge.unwrap_or_else(|| self.between())
    }
}

/// Looks until every ray is closed in on.
fn close(
    searches: &mut [Search; LANES],
    look: &mut impl FnMut([f64; LANES]) -> [(f64, Break); LANES],
) {
    for _ in 0..ROUNDS {
        if searches.iter().all(|search| search.edge.is_some()) {
            return;
        }
        let found = look(searches.map(|search| search.at));
        for (search, (violation, what)) in searches.iter_mut().zip(found) {
            search.take(violation, what);
        }
    }
}

impl Drift<'_> {
    /// The safe region of every point of the drawing; none where no band is left to break.
    #[must_use]
    pub fn outlines(&self) -> Vec<Outline> {
        if !self.asks_anything() {
            return Vec::new();
        }
        let mut sampler = self.sampler();
        let moved = self.movable().into_iter();
        let design = moved.filter(|moved| moved.kind == MoveKind::Design);
        let mut at_rest = None;
        design
            .filter_map(|moved| {
                let mover = self.mover(moved)?;
                // Every point at rest is the same layout.
                let at_rest = *at_rest.get_or_insert_with(|| {
                    let nowhere = [0.0; LANES];
                    self.look(&mover, nowhere, nowhere, &mut sampler)[0].0
                });
                Some(self.outline(moved, (&mover, at_rest), &mut sampler))
            })
            .collect()
    }

    fn outline(
        &self,
        moved: Moved,
        (mover, at_rest): (&Mover, f64),
        sampler: &mut Sampler,
    ) -> Outline {
        let step = 360.0 / DIRECTIONS as f64;
        let turns = DIRECTIONS / LANES;
        let mut edges = vec![(FARTHEST, 0.0, None); DIRECTIONS];
        for turn in 0..turns {
            let ray = |lane: usize| lane * turns + turn;
            let directions = std::array::from_fn(|lane| ray(lane) as f64 * step);
            // The rays of the turn before are next to these.
            let start = std::array::from_fn(|lane| match turn {
                0 => FIRST,
                _ => edges[ray(lane) - 1].0.max(2.0 * NO_DISTANCE),
            });
            let found = self.close_in_on((mover, at_rest), directions, start, sampler);
            for (lane, search) in found.iter().enumerate() {
                let (distance, slope) = search.edge();
                edges[ray(lane)] = (distance, slope, search.breaks);
            }
        }
        let rays = edges.iter();
        let rays = rays.map(|&(distance, _, breaks)| Ray { distance, breaks });
        Outline {
            moved,
            nearest: self.nearest(mover, &edges, sampler),
            rays: rays.collect(),
        }
    }

    /// The edges along eight rays, each looked for from its own start on; where a ray has left by
    /// half way already, from there.
    fn close_in_on(
        &self,
        (mover, at_rest): (&Mover, f64),
        directions: [f64; LANES],
        start: [f64; LANES],
        sampler: &mut Sampler,
    ) -> [Search; LANES] {
        let mut look = |distances: [f64; LANES]| self.look(mover, directions, distances, sampler);
        let mut searches = start.map(|start| Search::new(at_rest, start));
        close(&mut searches, &mut look);
        let half = searches.map(|search| 0.5 * search.edge().0);
        let before = look(half);
        if before.iter().all(|(violation, _)| *violation <= 0.0) {
            return searches;
        }
        let mut sooner = half.map(|half| Search::new(at_rest, half));
        for (search, (violation, what)) in sooner.iter_mut().zip(before) {
            search.take(violation, what);
            if violation <= 0.0 {
                // It had not left; where its edge is is known.
                search.edge = Some((FARTHEST, 0.0));
            }
        }
        close(&mut sooner, &mut look);
        std::array::from_fn(|lane| {
            if before[lane].0 > 0.0 {
                sooner[lane]
            } else {
                searches[lane]
            }
        })
    }

    /// The largest violation in each lane, and of what.
    fn look(
        &self,
        mover: &Mover,
        directions: [f64; LANES],
        distances: [f64; LANES],
        sampler: &mut Sampler,
    ) -> [(f64, Break); LANES] {
        let along = directions.map(unit);
        let by = Vector::new(
            Lanes::from_lanes(|lane| along[lane].x * distances[lane]),
            Lanes::from_lanes(|lane| along[lane].y * distances[lane]),
        );
        let (points, gap_squared) = self.moved(mover, by);
        let batch = Batch {
            points: &points,
            stroke: Lanes::from_f64(self.stroke()),
            mass_shift: None,
        };
        let gaps = gap_squared.to_array();
        let moves = |out: &Sampled, lane: usize| {
            gaps[lane] < LARGEST_GAP * LARGEST_GAP && out.margin[lane] > 0.0
        };
        // The slack above which a limit is not what is worst.
        let above = |out: &Sampled| {
            std::array::from_fn(|lane| {
                if moves(out, lane) {
                    -LIMIT_UNIT * self.worst_of(out, lane).0
                } else {
                    f64::NEG_INFINITY
                }
            })
        };
        let mut out = Sampled::default();
        sampler.look(&batch, Interest::Least(&above), &mut out);
        std::array::from_fn(|lane| {
            if moves(&out, lane) {
                self.worst_of(&out, lane)
            } else {
                (f64::INFINITY, Break::Motion)
            }
        })
    }

    /// The largest violation in a lane, and of what; what is no number is worst.
    fn worst_of(&self, out: &Sampled, lane: usize) -> (f64, Break) {
        let mut worst = (f64::NEG_INFINITY, Break::Motion);
        let mut take = |violation: f64, what: Break| {
            let violation = if violation.is_nan() {
                f64::INFINITY
            } else {
                violation
            };
            if violation > worst.0 && self.counts(what) {
                worst = (violation, what);
            }
        };
        for (aim, values) in self.aims.iter().zip(&out.values) {
            let (objective, index) = (aim.objective, aim.index);
            let what = Break::Target { objective, index };
            take(aim.residual(values[lane]).abs() - 1.0, what);
        }
        for (index, slacks) in out.slacks.iter().enumerate() {
            take(-slacks[lane] / LIMIT_UNIT, Break::Limit(index));
        }
        worst
    }

    /// An exit in samples with what may be what breaks there, solved exactly.
    fn solve_sampled(&self, mover: &Mover, exit: &SampledExit, sampler: &mut Sampler) -> Exit {
        let by = unit(exit.direction) * exit.distance;
        let by = Vector::new(Lanes::from_f64(by.x), Lanes::from_f64(by.y));
        let (points, _) = self.moved(mover, by);
        let batch = Batch {
            points: &points,
            stroke: Lanes::from_f64(self.stroke()),
            mass_shift: None,
        };
        let mut out = Sampled::default();
        sampler.look(&batch, Interest::Everything, &mut out);
        let near = self.near(&out, 0);
        let exit = SampledExit {
            near,
            ..exit.clone()
        };
        self.solve(mover, &exit)
    }

    /// The nearest edge: where the line between two neighbouring exits is nearest, solved exactly.
    fn nearest(
        &self,
        mover: &Mover,
        edges: &[(f64, f64, Option<Break>)],
        sampler: &mut Sampler,
    ) -> Exit {
        let step = 360.0 / DIRECTIONS as f64;
        let ray = |index: usize| {
            let (distance, slope, breaks) = edges[index % DIRECTIONS];
            let direction = (index % DIRECTIONS) as f64 * step;
            SampledExit {
                direction,
                distance,
                slope,
                found: breaks.is_some(),
                near: Vec::new(),
            }
        };
        let rays = (0..DIRECTIONS).map(ray);
        let least = rays.min_by(|one, other| one.distance.total_cmp(&other.distance));
        let least = least.unwrap_or_else(|| ray(0));
        let corner =
            |exit: &SampledExit| Point::new(0.0, 0.0) + unit(exit.direction) * exit.distance;
        let foots = (0..DIRECTIONS).filter_map(|index| {
            let (one, other) = (ray(index), ray(index + 1));
            let (from, to) = (corner(&one), corner(&other));
            let along = to - from;
            let share = -(from - Point::new(0.0, 0.0)).dot(along) / along.length_squared();
            let foot: Vector<f64> = from - Point::new(0.0, 0.0) + along * share;
            (one.found && other.found && share > 0.0 && share < 1.0).then(|| SampledExit {
                direction: libm::atan2(foot.y, foot.x).to_degrees().rem_euclid(360.0),
                distance: foot.length(),
                slope: one.slope.max(other.slope),
                found: true,
                near: Vec::new(),
            })
        });
        let foot = foots.min_by(|one, other| one.distance.total_cmp(&other.distance));
        let (between, reach) = (foot.is_some(), least.distance);
        let mut best = self.solve_sampled(mover, foot.as_ref().unwrap_or(&least), sampler);
        if between && best.distance > reach {
            let there = self.solve_sampled(mover, &least, sampler);
            if there.distance < best.distance {
                best = there;
            }
        }
        if best.breaks.is_none() {
            best.distance = FARTHEST;
        }
        best
    }
}
