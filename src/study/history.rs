//! How the best score fell over the starts.

use super::search::Progress;
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

/// Takes up how far a search is, where that tells something new.
pub(super) fn note(milestones: &mut Vec<Milestone>, progress: Progress) {
    let best = milestones.last().and_then(|last| last.best);
    if progress.best.is_some() && progress.best != best {
        milestones.push(Milestone {
            starts: progress.starts,
            feasible: progress.feasible,
            best: progress.best,
        });
    }
}
