//! Floor 0: the numbers everything above is computed with.
//!
//! A formula is written once, over [`Scalar`], and serves plain numbers, eight
//! layouts or positions side by side ([`Lanes`]), and exact derivatives ([`Dual`]).

mod dual;
mod lanes;
pub mod roots;
mod scalar;
mod vec2;

pub use dual::Dual;
pub use lanes::{LANES, Lanes};
pub use scalar::Scalar;
pub use vec2::{Point, Vector};
