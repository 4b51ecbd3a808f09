//! How far a driven body turns until full stroke: the one number that needs an iteration.

use super::motion::Motion;
use super::pose::Pose;
use crate::number::{Scalar, roots};

/// Tangent of half the angle, 170 degrees, up to which a body is turned to find the end of a
/// motion.
const FARTHEST_HALF_TANGENT: f64 = 12.0;

/// How far the driven body turns; all zero where the shock drives.
#[derive(Clone, Copy, Debug)]
pub(super) struct Turn<T> {
    /// Tangent of half the angle at full stroke.
    pub half_tangent: T,
    /// +1 where that angle was found, -1 where not.
    pub found: T,
}

impl<T: Scalar> Motion<'_, T> {
    /// The same motion, looked at as if full stroke were reached: for a motion whose driven
    /// body could not be turned to full stroke, `q` becomes the fraction of the tangent of half
    /// the angle up to nearly half a circle, in the direction that shortens the shock.
    pub(super) fn unreached(mut self) -> Self {
        let lost = (0..T::LANES).any(|lane| self.turn.found.lane(lane) < 0.0);
        if lost {
            self.turn = Turn {
                half_tangent: T::from_f64(FARTHEST_HALF_TANGENT),
                found: T::from_f64(1.0),
            };
            let mut pose = Pose::new(self.plan);
            self.pose(T::from_f64(0.0), &mut pose);
            let direction = |lane: usize| {
                if pose.stroke_rate.lane(lane) < 0.0 {
                    -FARTHEST_HALF_TANGENT
                } else {
                    FARTHEST_HALF_TANGENT
                }
            };
            self.turn.half_tangent = T::from_lanes(direction);
        }
        self
    }

    /// How many times more steps than usual it takes to look at the whole motion.
    pub(super) fn lengthening(&self) -> u32 {
        let reach = self.turn.half_tangent.lane(0).abs();
        (1..12)
            .find(|&times| reach <= f64::from(times))
            .unwrap_or(12)
    }
}

impl Motion<'_, f64> {
    /// Tangent of half the angle that the driven body turns at full stroke, found by steps
    /// that leave no position out; `None` where the motion ends before.
    fn walk_turn(mut self) -> Option<f64> {
        const LONGEST_STEP: f64 = 0.05;
        let mut pose = Pose::new(self.plan);
        self.pose(0.0, &mut pose);
        let direction = if pose.stroke_rate < 0.0 { -1.0 } else { 1.0 };
        self.turn.half_tangent = direction;
        let (mut half, mut step) = (0.0, LONGEST_STEP);
        self.pose(half, &mut pose);
        while pose.assembles(0) && half < FARTHEST_HALF_TANGENT && step > 1e-9 {
            let missing = self.stroke - pose.stroke;
            if missing <= 1e-14 * self.eye_to_eye {
                return Some(half * direction);
            }
            let newton = missing / pose.stroke_rate;
            // A little farther than Newton says, so that the goal is passed, not crept up to.
            let next = half + if newton < step { 1.01 * newton } else { step };
            self.pose(next, &mut pose);
            if !pose.assembles(0) {
                step *= 0.5;
            } else if pose.stroke >= self.stroke {
                let missing = |half: f64| {
                    self.pose(half, &mut pose);
                    pose.stroke - self.stroke
                };
                return roots::bracketed(missing, half, next).map(|half| half * direction);
            } else {
                half = next;
            }
            self.pose(half, &mut pose);
        }
        None
    }
}

impl<V: Scalar<Value = V>> Motion<'_, V> {
    /// Tangent of half the angle that the driven body turns at full stroke, and +1 where it
    /// was found, -1 where not.
    ///
    /// Newton towards an eighth of the stroke after another, each from the slope of the
    /// last, then three times towards its end: a fixed number of iterations, so that
    /// neighbouring lanes cannot alter one another's bits. A lane that it does not bring to
    /// full stroke is walked on its own.
    pub(super) fn find_turn(&self) -> (V, V) {
        const STAGES: usize = 8;
        let mut pose = Pose::new(self.plan);
        let mut half = V::from_f64(0.0);
        for stage in 1..=STAGES + 3 {
            self.pose(half, &mut pose);
            let target = self.stroke * (stage.min(STAGES) as f64 / STAGES as f64);
            half = half + (target - pose.stroke) / pose.stroke_rate;
        }
        self.pose(half, &mut pose);
        let close = |lane: usize| {
            let missed = pose.stroke.lane(lane) - self.stroke.lane(lane);
            missed.abs() <= 1e-9 * self.eye_to_eye.lane(lane)
        };
        // Where Newton lost its way, which is rare in what moves, the way is walked.
        let mut walked: Vec<Option<f64>> = Vec::with_capacity(V::LANES);
        for lane in 0..V::LANES {
            let (drawn, stroke) = self.lane(lane);
            walked.push(if close(lane) {
                Some(half.lane(lane))
            } else if lane > 0 && !close(lane - 1) && self.lane(lane - 1) == (drawn.clone(), stroke)
            {
                // Lanes that are positions of one candidate need one walk.
                walked[lane - 1]
            } else {
                Motion::measured(self.plan, &drawn, stroke).walk_turn()
            });
        }
        let half = V::from_lanes(|lane| walked[lane].unwrap_or(half.lane(lane)));
        let found = V::from_lanes(|lane| if walked[lane].is_some() { 1.0 } else { -1.0 });
        (half, found)
    }
}
