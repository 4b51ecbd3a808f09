//! Floor 2: from points, bodies and a shock to positions and velocities.
//!
//! - `structure`: whether bodies and joints make a mechanism of one degree of freedom.
//! - `plan`, `compile`: the order in which its points follow from one another, compiled once.
//! - `step`: the position and velocity maths of a single step.
//! - `closure`: several bodies at once, where no order exists.
//! - `motion`, `pose`: all points at any moment of the motion, with margins to where it ends.
//! - `turn`, `track`: how far a driven body turns; a closure followed along the motion.
//! - `assembly`: parts put together whose holes are off.
//! - `ending`: where and how a motion ends before full stroke.
//!
//! Definitions: `Mechanism` of the layout file; frame of reference, units and signs as in
//! the crate's documentation.

mod assembly;
mod closure;
mod compile;
mod ending;
mod motion;
mod plan;
mod pose;
mod step;
mod structure;
mod track;
mod turn;

pub use assembly::{Assembly, Fitting, Hole};
pub use ending::{Ending, MotionEnd, find_end};
pub use motion::Motion;
pub use plan::Plan;
pub use pose::{Pose, Rotation};
