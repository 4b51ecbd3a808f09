//! How far a point may move before a band breaks.
//!
//! Two questions, kept apart. A design move changes the drawing (`moves`): the axle stays where
//! it is drawn and the shock keeps its length. An as-built move puts a hole off on one body;
//! the parts are put together with the others as drawn, so the axle, the height of the bottom
//! bracket and the head angle shift as well.
//!
//! Along a ray the first exit is looked for in samples, in eight rays at once (`rays`), and then
//! solved for on the continuous curves (`exact`): a layout 0.01 mm inside is met and 0.01 mm
//! outside is not. Of the worst direction only the nearest exit counts (`nearest`).

mod exact;
mod nearest;
mod outline;
mod rays;
mod region;
mod resolved;

pub use outline::{CLOSENESS, DIRECTIONS, FARTHEST, Outline, Ray};
use rays::Off;
pub use region::{Break, Exit, MoveKind, Moved, Region};
pub use resolved::{ResolvedDrift, ResolvedExit, resolved};

use super::moves::Movable;
use crate::curves::{Bicycle, Suspension};
use crate::design::measure::{Aim, aims};
use crate::design::{Assessment, ROUNDING};
use crate::input::{Layout, Limit, ObjectiveSet};
use crate::mechanism::{Assembly, Plan};
use crate::number::{Point, Scalar, Vector};
use rayon::prelude::*;

/// Farther than this nobody moves a pivot, mm.
pub const REACH: f64 = 60.0;

/// What is asked of a layout, and the layout as it is.
#[derive(Debug)]
pub struct Drift<'a> {
    layout: &'a Layout,
    plan: &'a Plan,
    sets: Vec<&'a ObjectiveSet>,
    limits: Vec<Limit>,
    drawn: Vec<Point<f64>>,
    bicycle: Bicycle,
    aims: Vec<Aim>,
    assembly: Option<Assembly>,
    off: Off,
    /// What does not hold in the layout as it is, and so cannot break.
    pub missed: Vec<Break>,
}

/// What can be moved.
#[derive(Clone, Debug)]
enum Mover {
    Design(Movable),
    AsBuilt(usize),
}

impl<'a> Drift<'a> {
    /// The question of `layout`, which moves over its stroke as `suspension`, with the targets of
    /// `sets` and `limits` as bands.
    #[must_use]
    pub fn new(
        layout: &'a Layout,
        suspension: &Suspension<'a>,
        sets: &[&'a ObjectiveSet],
        limits: &[Limit],
    ) -> Self {
        let bicycle = suspension.bicycle();
        let aims = sets.iter().enumerate().flat_map(|(objective, set)| {
            let targets = set.targets.iter().enumerate();
            targets.flat_map(move |(index, target)| aims(bicycle, target, objective, index))
        });
        let assessment = Assessment::new(suspension, sets, limits);
        let targets = assessment.targets.iter().filter(|target| !target.met);
        let mut missed: Vec<Break> = targets
            .map(|target| Break::Target {
                objective: target.objective,
                index: target.index,
            })
            .collect();
        let broken = assessment.limits.iter().filter(|limit| !limit.holds);
        missed.extend(broken.map(|limit| Break::Limit(limit.index)));
        let drawn = suspension.drawn().to_vec();
        let mut drift = Self {
            layout,
            plan: suspension.plan(),
            sets: sets.to_vec(),
            limits: limits.to_vec(),
            aims: aims.collect(),
            assembly: Assembly::new(&layout.mechanism, &drawn),
            drawn,
            bicycle: bicycle.clone(),
            off: Off::default(),
            missed,
        };
        drift.off = drift.off_at_rest(suspension, &assessment);
        drift
    }

    /// Whether there is a band left that can break.
    #[must_use]
    pub fn asks_anything(&self) -> bool {
        let targets: usize = self.sets.iter().map(|set| set.targets.len()).sum();
        targets + self.limits.len() > self.missed.len()
    }

    /// Everything that can be moved: every place of the drawing, then every hole.
    #[must_use]
    pub fn movable(&self) -> Vec<Moved> {
        let design = Movable::all(&self.layout.mechanism);
        let design = design.iter().map(|place| Moved {
            point: place.point(),
            kind: MoveKind::Design,
        });
        let holes = self.assembly.as_ref().map_or(&[][..], Assembly::holes);
        let built = holes.iter().map(|hole| Moved {
            point: hole.point,
            kind: MoveKind::AsBuilt(hole.body),
        });
        design.chain(built).collect()
    }

    /// How far each of `moved` may go: along both axes and in the worst direction; with the
    /// exits in `directions` evenly spread ones too.
    #[must_use]
    pub fn regions(&self, moved: &[Moved], directions: u32) -> Vec<Region> {
        let sampler = self.sampler();
        moved
            .par_iter()
            .filter_map(|&moved| {
                let mover = self.mover(moved)?;
                Some(self.region(moved, &mover, sampler.clone(), directions))
            })
            .collect()
    }

    /// The drawing after a move by `by`; none where the parts do not go together.
    #[must_use]
    pub fn drawing(&self, moved: Moved, by: Vector<f64>) -> Option<Vec<Point<f64>>> {
        let mover = self.mover(moved)?;
        let (points, gap_squared) = self.moved(&mover, by);
        (gap_squared < LARGEST_GAP * LARGEST_GAP).then_some(points)
    }

    fn mover(&self, moved: Moved) -> Option<Mover> {
        match moved.kind {
            MoveKind::Design => Movable::of(&self.layout.mechanism, moved.point).map(Mover::Design),
            MoveKind::AsBuilt(body) => {
                let holes = self.assembly.as_ref()?.holes();
                let hole = holes
                    .iter()
                    .position(|hole| hole.body == body && hole.point == moved.point)?;
                Some(Mover::AsBuilt(hole))
            }
        }
    }

    /// Points after a move, and the square of the gap left where parts are put together.
    fn moved<T: Scalar>(&self, mover: &Mover, by: Vector<T>) -> (Vec<Point<T>>, T) {
        match (mover, &self.assembly) {
            (Mover::Design(place), _) => (place.moved(&self.drawn, by), T::from_f64(0.0)),
            (Mover::AsBuilt(hole), Some(assembly)) => {
                let mut offsets = vec![Vector::zero(); assembly.holes().len()];
                offsets[*hole] = by;
                let mut fitting = assembly.fitting();
                assembly.fit(&offsets, T::from_f64(0.0), ROUNDS, &mut fitting);
                (fitting.points, fitting.gap_squared)
            }
            // A hole comes from an assembly.
            (Mover::AsBuilt(_), None) => {
                let points = self.drawn.iter().map(|&point| Point::constant(point));
                (points.collect(), T::from_f64(0.0))
            }
        }
    }

    fn stroke(&self) -> f64 {
        self.layout.mechanism.shock.stroke
    }

    /// Whether a target counts: not where it is missed from the start.
    fn counts(&self, part: Break) -> bool {
        !self.missed.contains(&part)
    }
}

/// Rounds in which parts are put together whose hole is off by many mm.
const ROUNDS: usize = 24;

/// Parts with a larger gap than this are not together, mm.
const LARGEST_GAP: f64 = 1e-9;

/// A violation that is rounding only.
const NOTHING: f64 = ROUNDING;
