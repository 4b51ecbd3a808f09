//! Floor 4: wants and needs become numbers that a solver can work on.
//!
//! - [`Construction`]: from the variables of a brief to the points of a candidate, the
//!   shock's length held by construction.
//! - `moments`: a candidate's motion looked at in a fixed number of moments.
//! - `target_rows`, `limit_rows`, `clearance_rows`: targets and limits as bands on values at
//!   those moments.
//! - `candidate`: all rows of one candidate.
//! - [`DesignProblem`]: all of it, as `optimise` asks for it.
//! - [`Assessment`]: what a layout is worth, of the continuous curves; only this is reported.
//! - [`measure`]: named numbers of a layout, by value, derivative and sample.
//! - `arithmetic`: targets that cannot all hold, told before any search.

mod arithmetic;
mod assessment;
mod candidate;
mod clearance_rows;
mod construction;
mod limit_rows;
pub mod measure;
mod moments;
mod problem;
mod rows;
mod target_rows;

pub use arithmetic::{Contradiction, contradictions};
pub use assessment::{Asked, Assessment, LimitResult, ROUNDING, TargetResult, TargetValue};
pub use construction::{Construction, Variable};
pub use limit_rows::UNIT as LIMIT_UNIT;
pub use problem::{DesignProblem, Purpose, RowSource};
