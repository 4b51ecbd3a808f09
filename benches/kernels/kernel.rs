//! What the benches of the innermost loop share: all curves of layouts at 31 positions.

use pivotwright::cli::files::load_layout;
use pivotwright::curves::{Bicycle, State};
use pivotwright::input::Layout;
use pivotwright::mechanism::{Motion, Plan, Pose};
use pivotwright::number::{Point, Scalar};
use std::path::Path;

/// Positions at which a layout is looked at, uniform in the parameter of the motion.
pub const POSITIONS: usize = 31;

/// Poses made together, so that none waits for another's square roots.
const BLOCK: usize = 4;

/// A layout with all that does not change from candidate to candidate.
pub struct Subject {
    pub layout: Layout,
    pub plan: Plan,
    pub bicycle: Bicycle,
}

impl Subject {
    pub fn load(file: &str) -> Self {
        let layout = load_layout(Path::new(file)).expect("the layout is good");
        let plan = Plan::compile(file, &layout.mechanism).expect("the linkage moves");
        let bicycle = Bicycle::new(&layout);
        Self {
            layout,
            plan,
            bicycle,
        }
    }

    pub fn stroke(&self) -> f64 {
        self.layout.mechanism.shock.stroke
    }

    /// The drawn points, moved by `offset` mm times the number of the lane.
    pub fn points<T: Scalar>(&self, offset: f64) -> Vec<Point<T>> {
        let points = self.layout.mechanism.points.iter();
        points
            .map(|point| {
                let moved = |along: f64| T::from_lanes(|lane| along + offset * lane as f64);
                Point::new(moved(point.position.x), moved(point.position.y))
            })
            .collect()
    }
}

/// Parameters of all positions, the same in every lane: lanes are layouts.
pub fn lanes_are_layouts<T: Scalar>() -> Vec<T> {
    (0..POSITIONS)
        .map(|index| T::from_f64(parameter(index)))
        .collect()
}

/// Parameters of all positions, a group of lanes each: lanes are positions.
pub fn lanes_are_positions<T: Scalar>() -> Vec<T> {
    (0..POSITIONS.div_ceil(T::LANES))
        .map(|group| T::from_lanes(|lane| parameter(group * T::LANES + lane)))
        .collect()
}

fn parameter(index: usize) -> f64 {
    (index as f64 / (POSITIONS - 1) as f64).min(1.0)
}

/// Memory for all curves of one candidate, or of a group of lanes of them.
pub struct Kernel<'s, T: Scalar> {
    subject: &'s Subject,
    parameters: Vec<T>,
    poses: Vec<Pose<T>>,
    states: Vec<State<T>>,
    /// Position by position: travel, leverage rate, anti-rise, anti-squat of every cog.
    pub curves: Vec<T>,
}

impl<'s, T: Scalar> Kernel<'s, T> {
    pub fn new(subject: &'s Subject, parameters: Vec<T>) -> Self {
        let width = 3 + subject.bicycle.cogs().len();
        Self {
            subject,
            poses: vec![Pose::new(&subject.plan); BLOCK],
            states: vec![State::empty(); BLOCK],
            curves: vec![T::from_f64(0.0); width * parameters.len()],
            parameters,
        }
    }

    /// Fills the curves of `motion`, whose total travel is `travel` mm.
    pub fn fill(&mut self, motion: &Motion<'_, T>, travel: T) {
        let bicycle = &self.subject.bicycle;
        let mut lines = self.curves.chunks_exact_mut(3 + bicycle.cogs().len());
        for parameters in self.parameters.chunks(BLOCK) {
            let poses = &mut self.poses[..parameters.len()];
            motion.pose_all(parameters, poses);
            for (pose, state) in poses.iter().zip(&mut self.states) {
                state.set(bicycle, motion, pose, travel);
            }
            for (state, line) in self.states.iter().zip(lines.by_ref().take(poses.len())) {
                line[0] = state.travel;
                line[1] = state.leverage_rate();
                line[2] = state.anti_rise(bicycle);
                for (slot, &cog) in line[3..].iter_mut().zip(bicycle.cogs()) {
                    *slot = state.anti_squat(bicycle, cog);
                }
            }
        }
    }
}
