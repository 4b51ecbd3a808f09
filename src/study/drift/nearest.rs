//! The nearest exit in any direction, in samples.
//!
//! A ray that holds as far as another leaves is not the nearest, so rays are not followed to
//! their own exits: all of them are looked at on a circle through the nearest exit so far, and
//! only those that leave within it are closed in on, which shrinks the circle. What lies inside is
//! looked at on smaller circles.

use super::REACH;
use super::rays::{Bracket, Rays, SampledExit};
use crate::number::LANES;

/// Rays of the circle, and how many of them are looked at first: every fifth.
const RAYS: usize = 360;
const STRIDE: usize = 5;

/// Rays are looked at a little beyond the nearest exit, so that one between two that hold is not
/// missed.
const BEYOND: f64 = 1.04;

/// How closely exits are closed in on, to tell which is the nearest.
const ROUGH: f64 = 0.02;

/// Most rounds in which the circle shrinks.
const ROUNDS: usize = 12;

/// Smaller circles as shares of the circle, and which rays are looked at on them: from where on,
/// and every how manieth.
const INNER: [(f64, usize, usize); 3] = [(0.5, 0, 2), (0.75, 1, 2), (0.25, 0, 4)];

/// Hollows of the sampled outline between whose rays it is looked: more hardly hide the nearest
/// between rays that close.
const HOLLOWS: usize = 3;

/// A ray, and what is known of its exit.
#[derive(Clone, Copy, Debug)]
struct Ray {
    direction: f64,
    bracket: Bracket,
}

impl Ray {
    /// Where it leaves; where that is not known, beyond all.
    fn exit(&self) -> f64 {
        self.bracket.exit().map_or(f64::INFINITY, |(exit, _)| exit)
    }
}

impl Rays<'_, '_> {
    /// The nearest exit in any direction; some ray leaves at about `known` mm, or none within reach.
    pub fn nearest(&mut self, known: f64) -> SampledExit {
        let step = 360.0 / RAYS as f64;
        let mut best = known.max(1e-3);
        let ray = |number: usize, at: f64, at_rest: f64| Ray {
            direction: number as f64 * step,
            bracket: Bracket::new(at_rest, at),
        };
        let every = (0..RAYS).step_by(STRIDE);
        let mut rays: Vec<Ray> = every
            .map(|number| ray(number, best * BEYOND, self.at_rest))
            .collect();
        self.shrink(&mut rays, &mut best);
        // What is known was closed in on from both sides, so it may lie a little short of the exit.
        while best < REACH && rays.iter().all(|ray| ray.bracket.outside.is_none()) {
            best = (2.0 * best).min(REACH);
            self.shrink(&mut rays, &mut best);
        }
        self.look_inside(&mut rays, &mut best);
        let between: Vec<usize> = hollows(&rays)
            .into_iter()
            .flat_map(|hollow| {
                let middle = hollow * STRIDE + RAYS;
                (1..STRIDE).flat_map(move |offset| [middle - offset, middle + offset])
            })
            .collect();
        let mut between: Vec<Ray> = between
            .into_iter()
            .map(|number| ray(number % RAYS, best * BEYOND, self.at_rest))
            .collect();
        self.shrink(&mut between, &mut best);
        rays.extend(between);
        let leaving = rays.iter().filter(|ray| ray.bracket.outside.is_some());
        match leaving.min_by(|a, b| a.exit().total_cmp(&b.exit())) {
            Some(nearest) => self.refine(nearest.direction, step, best),
            None => SampledExit {
                direction: 0.0,
                distance: REACH,
                slope: 0.0,
                found: false,
                what: None,
                near: Vec::new(),
            },
        }
    }

    /// Closes in on the exits of all rays that may leave within `best` mm, which shrinks.
    fn shrink(&mut self, rays: &mut [Ray], best: &mut f64) {
        for _ in 0..ROUNDS {
            let reach = (*best * BEYOND).min(REACH);
            let open: Vec<usize> = (0..rays.len())
                .filter(|&ray| {
                    let bracket = &rays[ray].bracket;
                    bracket.inside.0 < reach && !bracket.is_closed(ROUGH)
                })
                .collect();
            if open.is_empty() {
                break;
            }
            for chunk in open.chunks(LANES) {
                let of = |lane: usize| chunk[lane.min(chunk.len() - 1)];
                let directions = std::array::from_fn(|lane| rays[of(lane)].direction);
                let at: [f64; LANES] = std::array::from_fn(|lane| {
                    let at = rays[of(lane)].bracket.at;
                    at.min(reach)
                });
                let violations = self.violations(directions, at);
                for (lane, &ray) in chunk.iter().enumerate() {
                    let bracket = &mut rays[ray].bracket;
                    bracket.at = at[lane];
                    bracket.take(violations[lane]);
                    if let Some((far, _)) = bracket.outside {
                        *best = best.min(far);
                    }
                }
            }
        }
    }

    /// Looks whether rays leave well inside of the circle.
    fn look_inside(&mut self, rays: &mut [Ray], best: &mut f64) {
        for (share, first, every) in INNER {
            let at = share * *best;
            let some: Vec<usize> = (first..rays.len()).step_by(every).collect();
            let mut left_before = false;
            for chunk in some.chunks(LANES) {
                let of = |lane: usize| chunk[lane.min(chunk.len() - 1)];
                let directions = std::array::from_fn(|lane| rays[of(lane)].direction);
                let violations = self.violations(directions, [at; LANES]);
                for (lane, &ray) in chunk.iter().enumerate() {
                    if violations[lane] > 0.0 {
                        left_before = true;
                        let bracket = Bracket::left_before(self.at_rest, at, violations[lane]);
                        rays[ray].bracket = bracket;
                    }
                }
            }
            if left_before {
                *best = at;
                for ray in rays.iter_mut() {
                    // What held on the circle may have left within.
                    if ray.bracket.inside.0 > at {
                        ray.bracket = Bracket::new(self.at_rest, at * BEYOND);
                    }
                }
                self.shrink(rays, best);
            }
        }
    }

    /// The nearest exit about a direction, from eight rays within `width` degrees of it and the
    /// parabola through the nearest of them.
    fn refine(&mut self, mut direction: f64, width: f64, start: f64) -> SampledExit {
        let part = 2.0 * width / (LANES + 1) as f64;
        let mut exits = Vec::new();
        let mut best = 0;
        for _ in 0..2 {
            let angles: Vec<f64> = (1..=LANES)
                .map(|index| direction - width + part * index as f64)
                .collect();
            exits = self.exits(&angles, start);
            best = (0..exits.len())
                .min_by(|&a, &b| exits[a].distance.total_cmp(&exits[b].distance))
                .unwrap_or(0);
            if best > 0 && best + 1 < exits.len() {
                break;
            }
            // Still nearer beyond: once more about there.
            direction = exits[best].direction;
        }
        let mut nearest = exits[best].clone();
        if best > 0 && best + 1 < exits.len() && nearest.found {
            let [low, high] = [best - 1, best + 1].map(|other| exits[other].distance);
            let bend = low + high - 2.0 * nearest.distance;
            let offset = 0.5 * (low - high) / bend;
            if offset.abs() < 1.0 && bend > 0.0 {
                nearest.direction += offset * part;
                nearest.distance -= 0.25 * (low - high) * offset;
            }
        }
        nearest
    }
}

/// The rays whose exits are nearer than those beside them, the nearest first.
fn hollows(rays: &[Ray]) -> Vec<usize> {
    let count = rays.len();
    let mut hollows: Vec<usize> = (0..count)
        .filter(|&ray| {
            let here = rays[ray].exit();
            let beside = [ray + count - 1, ray + 1].map(|other| rays[other % count].exit());
            here.is_finite() && beside.iter().all(|&other| here <= other)
        })
        .collect();
    hollows.sort_by(|&a, &b| rays[a].exit().total_cmp(&rays[b].exit()));
    hollows.truncate(HOLLOWS);
    hollows
}
