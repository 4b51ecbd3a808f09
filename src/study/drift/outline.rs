//! The outline of a safe region for a picture.
//!
//! Exits along evenly spread rays, as samples have them; the nearest edge, which a reader holds a
//! tolerance against, is that of the continuous curves.

use super::rays::Rays;
use super::{Break, Drift, Exit, MoveKind, Moved, REACH};
use rayon::prelude::*;

/// Rays of an outline: three times eight.
pub const DIRECTIONS: usize = 24;

/// Farther than this no outline reaches, mm.
pub const FARTHEST: f64 = 20.0;

/// Samples of the travel tell distances to this share of them.
pub const CLOSENESS: f64 = 0.005;

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
    /// The nearest edge, on the continuous curves; at [`FARTHEST`] where none is nearer.
    pub nearest: Exit,
}

impl Drift<'_> {
    /// The safe region of every point of the drawing; none where no band is left to break.
    #[must_use]
    pub fn outlines(&self) -> Vec<Outline> {
        if !self.asks_anything() {
            return Vec::new();
        }
        let sampler = self.sampler();
        let directions: Vec<f64> = (0..DIRECTIONS)
            .map(|index| index as f64 * 360.0 / DIRECTIONS as f64)
            .collect();
        let outline = |moved: Moved| {
            let mover = self.mover(moved)?;
            let mut rays = Rays::new(self, &mover, sampler.clone());
            let exits = rays.exits(&directions, FIRST);
            let known = exits.iter().map(|exit| exit.distance).fold(REACH, f64::min);
            let mut nearest = self.solve(&mover, &rays.nearest(known));
            nearest.direction = nearest.direction.rem_euclid(360.0);
            if nearest.distance > FARTHEST {
                (nearest.distance, nearest.breaks) = (FARTHEST, None);
            }
            let rays = exits.iter().map(|exit| Ray {
                distance: exit.distance.min(FARTHEST),
                breaks: exit.what.filter(|_| exit.distance < FARTHEST),
            });
            Some(Outline {
                moved,
                rays: rays.collect(),
                nearest,
            })
        };
        let moved = self.movable().into_par_iter();
        let design = moved.filter(|moved| moved.kind == MoveKind::Design);
        design.filter_map(outline).collect()
    }
}
