//! Where and how a motion ends before full stroke.

use super::motion::{Motion, Pose};
use super::plan::Plan;
use crate::input::PointId;
use crate::number::Point;

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
    let mut probe = Probe {
        pose: Pose::new(plan),
        axle: axle.index(),
        motion: &motion,
    };
    let mut good = 0.0;
    if !probe.moves(0.0) {
        return Some(probe.classify(0.0, 0.0));
    }
    for step in 1..=STEPS {
        let q = f64::from(step) / f64::from(STEPS);
        let moves = probe.moves(q);
        if moves && probe.pose.stroke >= stroke * (1.0 - 1e-12) {
            return None;
        }
        if !moves {
            let mut bad = q;
            while bad - good > 1e-15 + 1e-14 * good {
                let middle = 0.5 * (good + bad);
                if middle <= good || middle >= bad {
                    break;
                }
                if probe.moves(middle) {
                    good = middle
                } else {
                    bad = middle
                }
            }
            // A body that is turned may pass full stroke within the step before it stops.
            probe.moves(good);
            let reached = probe.pose.stroke >= stroke * (1.0 - 1e-12);
            return (!reached).then(|| probe.classify(good, bad));
        }
        good = q;
    }
    None
}

struct Probe<'a, 'p> {
    motion: &'a Motion<'p, f64>,
    pose: Pose<f64>,
    axle: usize,
}

impl Probe<'_, '_> {
    /// Whether at `q` the mechanism assembles, the shock shortens and the wheel rises.
    fn moves(&mut self, q: f64) -> bool {
        self.motion.pose(q, &mut self.pose);
        self.pose.assembles(0) && self.pose.velocities[self.axle].y > 0.0
    }

    fn leverage(&mut self, q: f64) -> f64 {
        self.motion.pose(q, &mut self.pose);
        self.pose.velocities[self.axle].y / self.pose.stroke_rate
    }

    fn classify(&mut self, good: f64, bad: f64) -> MotionEnd {
        self.motion.pose(bad, &mut self.pose);
        let failed = self
            .pose
            .margins
            .iter()
            .position(|&margin| margin.is_nan() || margin <= 0.0);
        let pivot = failed.and_then(|margin| self.motion.plan().pivot_of_margin(margin));
        let ending = match failed {
            None => Ending::WheelTurnsBack,
            // The step before a square-root singularity tells a finite limit from none.
            Some(_) => {
                let (far, near) = (
                    self.leverage(good * (1.0 - 1e-4)),
                    self.leverage(good * (1.0 - 1e-8)),
                );
                if good > 0.0 && near < 3.0 * far {
                    Ending::Locks
                } else {
                    Ending::DeadPoint
                }
            }
        };
        self.motion.pose(good, &mut self.pose);
        MotionEnd {
            ending,
            stroke: self.pose.stroke,
            travel: self.pose.points[self.axle].y - self.motion.drawn()[self.axle].y,
            pivot,
        }
    }
}
