//! Floor 2: from points, bodies and a shock to positions and velocities.
//!
//! - `structure`: whether bodies and joints make a mechanism of one degree of freedom.
//! - `plan`: the order in which its points follow from one another, compiled once.
//! - `step`: the position and velocity maths of a single step.
//! - `closure`: several bodies at once, where no order exists.
//! - `motion`: all points at any moment of the motion, with margins to where it ends.
//!
//! Definitions: `Mechanism` of the layout file; frame of reference, units and signs as in
//! the crate's documentation.

mod closure;
mod ending;
mod motion;
mod plan;
mod step;
mod structure;
mod track;

pub use ending::{Ending, MotionEnd, find_end};
pub use motion::{Motion, Pose, Rotation};
pub use plan::Plan;
