//! Floor 5: many starts, and what is made of their results.
//!
//! - `start`: one start, from a drawn sample to a verified layout.
//! - `archive`: what is kept of many, whatever order they come in.
//! - `history`: how the best score fell over the starts.
//! - `robustness`: how far any one pivot may move before something breaks.
//! - [`Search`]: rounds of starts over threads, and the ranked [`Study`].
//!
//! Results depend on brief and seed alone: starts are independent of one another and are
//! taken up in the order of their numbers, whatever thread they ran on.

mod archive;
mod blocking;
mod history;
mod rank;
mod robustness;
mod search;
mod start;

pub use blocking::Blocker;
pub use history::Milestone;
pub use rank::{KeyValues, Ranked, Study};
pub use robustness::NearestEdge;
pub use search::{Control, Endings, Progress, Search, SearchError, SizeTally};
pub use start::Ending;
