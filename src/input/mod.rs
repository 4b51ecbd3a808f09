//! Floor 1: the three files a person writes, from JSON text to checked values.
//!
//! A [`layout`] is one suspension fully placed, an [`objectives`] file says what its
//! curves should be, a [`brief`] puts the question to the search. Everything here works
//! on text that the caller has read; paths are names for messages only.
//!
//! Mistakes are [`Fault`]s. They are found in stages, and all faults of the first stage
//! that has any are returned together: first syntax, then keys and values. What needs
//! the mechanism itself (degrees of freedom, motion) is found by the floors above.
//!
//! All lengths are in mm and all angles in degrees.

pub mod brief;
pub mod fault;
mod json;
pub mod layout;
pub mod objectives;
pub mod parts;
pub mod quantity;
mod reading;
pub mod scatter;
pub mod schema;

pub use brief::{
    Axis, AxisName, Bound, Brief, BriefFile, FreePlace, FreePoint, Limit, LimitQuantity, RankBy,
    SearchOptions, ShockSize, Variant,
};
pub use fault::{Fault, Faults};
pub(crate) use json::FARTHEST;
pub use layout::{
    Bicycle, Body, BodyId, ForkCompression, Idler, Layout, Mechanism, NamedPoint, PointId, Sag,
    SagOf, Shock, Wrap,
};
pub use objectives::{Cogs, Direction, ObjectiveSet, Place, Quantity, Target, Want};
pub use parts::{Anchor, Carrier, ChainRun, Clearance, Part, Relation, Shape};
pub use quantity::{Curve, Summary};
pub use scatter::{Distribution, MOST_SCATTER, Scatter};
