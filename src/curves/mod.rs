//! Floor 3: from positions and velocities to the curves of a suspension.
//!
//! Each formula stands once, over [`crate::number::Scalar`]. Definitions, signs and rival
//! definitions: the crate's documentation and the head of each file. Everything is
//! differentiated by the parameter of the motion; ratios do not depend on its choice.
//!
//! - [`State`]: all that the curves need to know about one moment of the motion.
//! - `chassis`: ground line, fork, geometry.
//! - `drive`: chain runs, anti-squat, chain growth, pedal kickback.
//! - `run`: straight runs of the chain as lines.
//! - `suspension`: one layout's exact curves at any moment and place.
//! - `sweep`: extrema of the continuous curve.

mod bicycle;
mod chassis;
mod drive;
mod run;
mod state;
mod summary;
mod suspension;
mod sweep;

pub use bicycle::{Bicycle, Cog, pitch_radius};
pub use chassis::Ground;
pub use run::{RunSprockets, chain_runs};
pub use state::State;
pub use suspension::Suspension;
pub use sweep::Extreme;
