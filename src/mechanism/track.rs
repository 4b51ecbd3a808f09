//! The followed solution of bodies that close only together.

use super::motion::Motion;
use super::pose::Pose;
use crate::number::{Point, Vector};
use std::slice;

/// Shortest step by which the end of a motion is approached, as a share of the stroke.
const SHORTEST_STEP: f64 = 1e-12;

/// Unknown points of a closure along the motion, from full extension as far as it goes.
#[derive(Clone, Debug)]
pub(super) struct Track {
    knots: Vec<Knot>,
}

#[derive(Clone, Debug)]
struct Knot {
    q: f64,
    points: Vec<Point<f64>>,
    velocities: Vec<Vector<f64>>,
}

impl Track {
    /// Follows the drawn solution to `q` = 1 in steps of at most a sixteenth, halved where
    /// the corrector has to move more than a tenth of what the predictor did: then the
    /// branch cannot have been left.
    pub fn follow(motion: &Motion<'_, f64>) -> Self {
        let plan = motion.plan();
        let unknowns = plan.closure_unknowns();
        let mut pose = Pose::new(plan);
        let mut track = Self { knots: Vec::new() };
        let drawn: Vec<Point<f64>> = unknowns.iter().map(|&p| motion.drawn()[p]).collect();
        motion.pose_near(&[0.0], slice::from_mut(&mut pose), &|_, _| {
            Some(drawn.clone())
        });
        if !pose.assembles(0) {
            return track;
        }
        track.push(0.0, unknowns, &pose);
        let mut step = 1.0 / 16.0;
        while let Some(last) = track.knots.last() {
            if last.q >= 1.0 || step < SHORTEST_STEP {
                break;
            }
            let q = (last.q + step).min(1.0);
            let predicted = last.extrapolate(q);
            motion.pose_near(&[q], slice::from_mut(&mut pose), &|_, _| {
                Some(predicted.clone())
            });
            let moved = distance(&predicted, &last.points);
            let found: Vec<Point<f64>> = unknowns.iter().map(|&p| pose.points[p]).collect();
            if pose.assembles(0) && distance(&predicted, &found) <= 0.1 * moved + 1e-6 {
                track.push(q, unknowns, &pose);
                step = (2.0 * step).min(1.0 / 16.0);
            } else {
                step *= 0.5;
            }
        }
        track
    }

    fn push(&mut self, q: f64, unknowns: &[usize], pose: &Pose<f64>) {
        self.knots.push(Knot {
            q,
            points: unknowns.iter().map(|&point| pose.points[point]).collect(),
            velocities: unknowns
                .iter()
                .map(|&point| pose.velocities[point])
                .collect(),
        });
    }

    /// The unknown points near `q`, by the cubic through the neighbouring knots; `None`
    /// beyond the end of the track.
    pub fn predict(&self, q: f64) -> Option<Vec<Point<f64>>> {
        let next = self.knots.partition_point(|knot| knot.q < q);
        let b = self
            .knots
            .get(next.max(1))
            .or_else(|| self.knots.last().filter(|k| k.q == q))?;
        let a = self.knots.get(next.max(1) - 1)?;
        let width = b.q - a.q;
        if width <= 0.0 {
            return Some(b.points.clone());
        }
        let t = (q - a.q) / width;
        let (smooth, rest) = (t * t * (3.0 - 2.0 * t), 1.0 - t);
        let (out, back) = (t * rest * rest * width, t * t * rest * width);
        let interpolate = |i: usize| {
            a.points[i] + (b.points[i] - a.points[i]) * smooth + a.velocities[i] * out
                - b.velocities[i] * back
        };
        Some((0..a.points.len()).map(interpolate).collect())
    }
}

impl Knot {
    fn extrapolate(&self, q: f64) -> Vec<Point<f64>> {
        let step = q - self.q;
        self.points
            .iter()
            .zip(&self.velocities)
            .map(|(&p, &v)| p + v * step)
            .collect()
    }
}

fn distance(a: &[Point<f64>], b: &[Point<f64>]) -> f64 {
    a.iter().zip(b).fold(0.0, |largest, (&a, &b)| {
        let length = (a - b).length();
        if length > largest { length } else { largest }
    })
}
