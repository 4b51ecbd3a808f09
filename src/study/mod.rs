//! Floor 5: many starts, and what is made of their results.
//!
//! - `start`: one start, from a drawn sample to a verified layout.
//! - `archive`: what is kept of many, whatever order they come in.
//! - `found`: all that is found so far, and how the starts are shared out; `record`: a round of
//!   them as bytes; `standing`: what is told after each.
//! - `learning`: what is learnt from rounds, and how starts are taken; `yields`: what evaluations
//!   have brought.
//! - `history`: how the best score fell over the starts.
//! - `alternatives`: which of these differ enough to stand in one ranking.
//! - `lower`, `refine`: the score lowered, and each kept layout made the best and the most
//!   forgiving of its neighbourhood.
//! - `robustness`: how far any one pivot may move before something breaks.
//! - `single`: one start at a time, as benches look at them.
//! - [`sensitivity`]: what changes per mm of each coordinate; [`moves`]: what moves along.
//! - [`drift`]: how far a point may move before a band breaks.
//! - [`tolerance`]: what comes of a layout when its holes are off.
//! - [`cost`]: what a band that gives way would gain; [`trade`]: what one target costs another.
//! - [`Search`]: rounds of starts over threads, and the ranked [`Study`].
//!
//! Results depend on brief and seed alone: starts know of others only what was learnt at a border
//! before them, and are taken up in the order of their numbers, whatever thread they ran on.

mod alternatives;
mod archive;
mod blocking;
pub mod cost;
pub mod drift;
mod found;
mod history;
mod learning;
mod lower;
pub mod moves;
mod rank;
mod record;
mod refine;
mod relaxed;
mod robustness;
mod search;
pub mod sensitivity;
mod single;
mod standing;
mod start;
pub mod tolerance;
pub mod trade;
mod yields;

pub use blocking::Blocker;
pub use found::{Found, Shard};
pub use history::Milestone;
pub use rank::{KeyValues, Ranked, Study};
pub use record::RecordError;
pub use robustness::NearestEdge;
pub use search::{Budget, Control, Endings, Search, SearchError, SizeTally};
pub use single::{Single, Starts};
pub use standing::Standing;
pub use start::Ending;
