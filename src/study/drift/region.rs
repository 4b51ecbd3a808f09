//! The region in which a point may move, as exits along rays.

use super::rays::{Rays, SampledExit};
use super::{Drift, Mover, REACH};
use crate::design::measure::Sampler;
use crate::input::{BodyId, Place, PointId};

/// How a point is moved.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum MoveKind {
    /// In the drawing.
    Design,
    /// Its hole on one body is off.
    AsBuilt(BodyId),
}

/// What is moved, and how.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Moved {
    /// The point.
    pub point: PointId,
    /// How.
    pub kind: MoveKind,
}

/// What breaks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Break {
    /// A target is no longer met.
    Target {
        /// Number of its objective set, from 0.
        objective: usize,
        /// Number in its set, from 0.
        index: usize,
    },
    /// A limit no longer holds; its number, from 0.
    Limit(usize),
    /// The linkage no longer moves over its whole stroke.
    Motion,
}

/// Where a ray leaves the region.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Exit {
    /// Direction of the ray, degrees counter-clockwise from `x`.
    pub direction: f64,
    /// How far the point may go, mm.
    pub distance: f64,
    /// What breaks there; none where nothing does within reach.
    pub breaks: Option<Break>,
    /// Where along the travel.
    pub place: Option<Place>,
    /// On which cog, by its teeth.
    pub cog: Option<u32>,
}

/// How far one point may move.
#[derive(Clone, Debug, PartialEq)]
pub struct Region {
    /// What is moved.
    pub moved: Moved,
    /// Along +x, -x, +y and -y.
    pub axes: [Exit; 4],
    /// In the direction in which it is least.
    pub worst: Exit,
    /// In evenly spread directions from +x on, as many as asked for.
    pub outline: Vec<Exit>,
}

impl Drift<'_> {
    pub(super) fn region(
        &self,
        moved: Moved,
        mover: &Mover,
        sampler: Sampler,
        directions: u32,
    ) -> Region {
        let mut rays = Rays::new(self, mover, sampler);
        let axes = rays.exits(&[0.0, 180.0, 90.0, 270.0], 1.0);
        let nearest = axes.iter().map(|exit| exit.distance);
        let worst = rays.nearest(nearest.fold(REACH, f64::min));
        let outline = (0..directions).map(|index| f64::from(index) * 360.0 / f64::from(directions));
        let outline = rays.exits(&outline.collect::<Vec<f64>>(), 1.0);
        let solve = |sampled: &SampledExit| self.solve(mover, sampled);
        let axes = [0, 1, 2, 3].map(|axis| solve(&axes[axis]));
        let outline: Vec<Exit> = outline.iter().map(solve).collect();
        let mut worst = solve(&worst);
        worst.direction = worst.direction.rem_euclid(360.0);
        // What was solved exactly may be a little nearer than what was sampled.
        for exit in axes.iter().chain(&outline) {
            if exit.distance < worst.distance {
                worst = *exit;
            }
        }
        Region {
            moved,
            axes,
            worst,
            outline,
        }
    }
}
