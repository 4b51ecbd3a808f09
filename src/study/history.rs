//! How the best score fell over the starts.

use super::found::Found;
use serde::{Deserialize, Serialize};

/// How far a search was when its best score fell.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Milestone {
    /// Starts taken.
    pub starts: u64,
    /// Of those, how many had ended in a feasible layout.
    pub feasible: u64,
    /// The best score so far, where one is feasible.
    pub best: Option<f64>,
}

/// Takes up how far a search is, where that tells something new; gives whether it does.
pub(super) fn note(found: &mut Found) -> bool {
    let before = found.milestones.last().and_then(|last| last.best);
    let best = found.archive.best().map(|best| best.score);
    let news = best.is_some() && best != before;
    if news {
        found.milestones.push(Milestone {
            starts: found.starts,
            feasible: found.feasible(),
            best,
        });
    }
    news
}
