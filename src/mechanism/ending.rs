//! Where and how a motion ends before full stroke.

use super::motion::Motion;
use super::plan::Plan;
use super::pose::Pose;
use crate::input::PointId;
use crate::number::{LANES, Lanes, Point, Scalar};

/// How a motion ends.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ending {
    /// Two links come in line while the leverage rate stays finite.
    Locks,
    /// The leverage rate grows without bound: the shock cannot be shortened further.
    DeadPoint,
    /// The leverage rate falls to zero: the wheel moves down again.
    WheelTurnsBack,
}

/// The end of a motion that does not reach full stroke.
#[derive(Clone, Copy, Debug)]
pub struct MotionEnd {
    /// What happens there.
    pub ending: Ending,
    /// Shortening of the shock there, mm.
    pub stroke: f64,
    /// Rise of the rear axle there, mm.
    pub travel: f64,
    /// The pivot whose links come in line, where one does.
    pub pivot: Option<PointId>,
}

/// How many steps a motion is looked at in.
const STEPS: u32 = 1000;

/// Finds the end of the motion drawn with `drawn` points if it comes before `stroke` mm;
/// `axle` is the rear axle.
#[must_use]
pub fn find_end(
    plan: &Plan,
    drawn: &[Point<f64>],
    stroke: f64,
    axle: PointId,
) -> Option<MotionEnd> {
    let motion = Motion::new(plan, drawn, stroke).unreached();
    let mut probe = Probe::new(&motion, Some(axle));
    let (good, bad) = probe.last_good(stroke)?;
    Some(probe.classify(axle.index(), good, bad))
}

/// How far the shock gets by `plan`, at most `stroke` mm, wherever the wheel goes.
pub(super) fn reach(plan: &Plan, drawn: &[Point<f64>], stroke: f64) -> f64 {
    let motion = Motion::new(plan, drawn, stroke).unreached();
    let mut probe = Probe::new(&motion, None);
    match probe.last_good(stroke) {
        None => stroke,
        Some((good, _)) => {
            motion.pose(good, &mut probe.pose);
            probe.pose.stroke
        }
    }
}

/// How a walk along a motion went.
enum Walk {
    /// To full stroke.
    Full,
    /// From the last parameter that is good to the next that is not.
    Stopped { good: f64, bad: f64 },
    /// To the last parameter, short of full stroke.
    Ended,
}

struct Probe<'a, 'p> {
    motion: &'a Motion<'p, f64>,
    pose: Pose<f64>,
    /// The axle, where it must rise.
    axle: Option<PointId>,
}

impl<'a, 'p> Probe<'a, 'p> {
    fn new(motion: &'a Motion<'p, f64>, axle: Option<PointId>) -> Self {
        let pose = Pose::new(motion.plan());
        Self { motion, pose, axle }
    }

    /// Whether at `q` the mechanism assembles, the shock shortens and the wheel rises.
    fn moves(&mut self, q: f64) -> bool {
        self.motion.pose(q, &mut self.pose);
        self.moves_in(&self.pose, 0)
    }

    fn moves_in<T: Scalar>(&self, pose: &Pose<T>, lane: usize) -> bool {
        let rises = |axle: PointId| pose.velocities[axle.index()].y.lane(lane) > 0.0;
        pose.assembles(lane) && self.axle.is_none_or(rises)
    }

    /// The last parameter that is good and the next that is not; none if the shock reaches
    /// `stroke` mm.
    fn last_good(&mut self, stroke: f64) -> Option<(f64, f64)> {
        if !self.moves(0.0) {
            return Some((0.0, 0.0));
        }
        let full = stroke * (1.0 - 1e-12);
        match self.walk(full) {
            Walk::Full => None,
            Walk::Stopped { mut good, mut bad } => {
                while bad - good > 1e-15 + 1e-14 * good {
                    let middle = 0.5 * (good + bad);
                    if middle <= good || middle >= bad {
                        break;
                    }
                    if self.moves(middle) {
                        good = middle;
                    } else {
                        bad = middle;
                    }
                }
                // A body that is turned may pass full stroke within the step before it stops.
                self.moves(good);
                (self.pose.stroke < full).then_some((good, bad))
            }
            Walk::Ended => {
                // Rounding leaves a full stroke short of itself; a turn of nearly half a circle
                // does not.
                self.moves(1.0);
                (self.pose.stroke < stroke * (1.0 - 1e-6)).then_some((1.0, 1.0))
            }
        }
    }

    /// Walks along the motion, eight steps at a time, until the shock is shortened by `full` mm.
    fn walk(&self, full: f64) -> Walk {
        const GROUPS: usize = 4;
        let plan = self.motion.plan();
        let mut motion: Motion<'_, Lanes> = Motion::empty(plan);
        motion.repeat(self.motion);
        let mut poses = vec![Pose::new(plan); GROUPS];
        let steps = STEPS * self.motion.lengthening();
        let parameter = |step: usize| (step as f64 / f64::from(steps)).min(1.0);
        let mut good = 0.0;
        for first in (1..=steps as usize).step_by(GROUPS * LANES) {
            let of_group =
                |group: usize| Lanes::from_lanes(|lane| parameter(first + group * LANES + lane));
            let parameters: [Lanes; GROUPS] = std::array::from_fn(of_group);
            motion.pose_all(&parameters, &mut poses);
            for (q, pose) in parameters.iter().zip(&poses) {
                for lane in 0..LANES {
                    if !self.moves_in(pose, lane) {
                        let bad = q.lane(lane);
                        return Walk::Stopped { good, bad };
                    }
                    if pose.stroke.lane(lane) >= full {
                        return Walk::Full;
                    }
                    good = q.lane(lane);
                }
            }
        }
        Walk::Ended
    }

    fn leverage(&mut self, axle: usize, q: f64) -> f64 {
        self.motion.pose(q, &mut self.pose);
        self.pose.velocities[axle].y / self.pose.stroke_rate
    }

    fn classify(&mut self, axle: usize, good: f64, bad: f64) -> MotionEnd {
        self.motion.pose(bad, &mut self.pose);
        let failed = self
            .pose
            .margins
            .iter()
            .position(|&margin| margin.is_nan() || margin <= 0.0);
        let pivot = failed.and_then(|margin| self.motion.plan().pivot_of_margin(margin));
        let ending = if good > 0.0 {
            // Towards the end the leverage rate grows as one over the distance or its square
            // root, falls to zero, or settles. What fails at the end itself does not tell:
            // links in line may be the limit of the wheel, and a closure may close again just
            // beyond.
            // The end of a closure is known less closely.
            let closest = if self.motion.plan().closure_unknowns().is_empty() {
                1e-8
            } else {
                1e-6
            };
            let [far, middle, near] =
                [1e4, 1e2, 1.0].map(|times| self.leverage(axle, good * (1.0 - times * closest)));
            let rise = near - middle;
            if rise > 1e-6 * near && rise > 2.0 * (middle - far) {
                Ending::DeadPoint
            } else if near < far / 3.0 {
                Ending::WheelTurnsBack
            } else {
                Ending::Locks
            }
        } else if failed.is_some() {
            Ending::DeadPoint
        } else {
            Ending::WheelTurnsBack
        };
        self.motion.pose(good, &mut self.pose);
        MotionEnd {
            ending,
            stroke: self.pose.stroke,
            travel: self.pose.points[axle].y - self.motion.drawn()[axle].y,
            pivot,
        }
    }
}
