//! How the best score fell over the starts.

use serde::{Deserialize, Serialize};

/// A start that lowered the best score.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Milestone {
    /// Starts of the whole search up to and with this one, by their numbers.
    pub starts: u64,
    /// The best score from there on.
    pub best: f64,
}

/// Whether `score` is better than all before.
pub(super) fn lowers(milestones: &[Milestone], score: f64) -> bool {
    milestones.last().is_none_or(|last| score < last.best)
}

/// Adds the milestones of other starts of the same search. What is left are those of all these
/// starts together, whatever the order in which parts are added.
pub(super) fn add(milestones: &mut Vec<Milestone>, more: &[Milestone]) {
    let mut all = std::mem::take(milestones);
    all.extend_from_slice(more);
    all.sort_by_key(|milestone| milestone.starts);
    for milestone in all {
        if lowers(milestones, milestone.best) {
            milestones.push(milestone);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn parts_together_tell_what_the_whole_does() {
        let at = |(starts, best)| Milestone { starts, best };
        let whole = [(3, 0.9), (70, 0.8), (90, 0.5), (200, 0.4)].map(at);
        let parts = [
            [(70, 0.8), (100, 0.7)].map(at).to_vec(),
            [(3, 0.9), (90, 0.5), (200, 0.4)].map(at).to_vec(),
            [(150, 0.6), (210, 0.45)].map(at).to_vec(),
        ];
        for order in [[0, 1, 2], [2, 1, 0], [1, 2, 0]] {
            let mut milestones = Vec::new();
            for part in order {
                add(&mut milestones, &parts[part]);
            }
            assert_eq!(milestones, whole);
        }
    }
}
