//! What is kept of many candidates, whatever order they come in.

use super::start::Candidate;
use std::cmp::Ordering;
use std::collections::BTreeMap;

/// Most cells kept; more than any ranking shows.
const CELLS: usize = 2048;

/// Scores are told apart in steps of this size.
const SCORE_STEP: f64 = 0.01;

/// Order of ranking: feasible before not; feasible ones by score in steps of 0.01, then
/// robustness, then score, the others by violation, then score; then by start.
pub(super) fn order(a: &Candidate, b: &Candidate) -> Ordering {
    let step = |candidate: &Candidate| (candidate.score / SCORE_STEP).floor();
    b.feasible.cmp(&a.feasible).then_with(|| {
        let by_worth = if a.feasible {
            step(a)
                .total_cmp(&step(b))
                .then_with(|| b.robustness().total_cmp(&a.robustness()))
                .then_with(|| a.score.total_cmp(&b.score))
        } else {
            // Rounding does not decide between layouts that miss alike.
            let miss = |candidate: &Candidate| (candidate.violation * 1e9).round();
            miss(a)
                .total_cmp(&miss(b))
                .then_with(|| a.score.total_cmp(&b.score))
        };
        by_worth.then_with(|| a.start.cmp(&b.start))
    })
}

/// The best candidate in each cell of a grid whose side is the distance at which layouts
/// count as distinct.
///
/// It does not depend on the order of insertion: a cell that is dropped for want of
/// room is worse than all that are kept, and those only get better.
#[derive(Clone, Debug)]
pub(super) struct Archive {
    side: f64,
    cells: BTreeMap<Vec<i64>, Candidate>,
}

impl Archive {
    pub fn new(side: f64) -> Self {
        Self {
            side,
            cells: BTreeMap::new(),
        }
    }

    pub fn insert(&mut self, candidate: Candidate) {
        // A motion that ends early has no violation worth comparing.
        if !candidate.feasible && !candidate.violation.is_finite() {
            return;
        }
        let cell = self.cell(&candidate);
        match self.cells.get(&cell) {
            Some(kept) if order(kept, &candidate) != Ordering::Greater => return,
            _ => self.cells.insert(cell, candidate),
        };
        if self.cells.len() > CELLS {
            let worst = self.cells.iter().max_by(|a, b| order(a.1, b.1));
            if let Some(cell) = worst.map(|(cell, _)| cell.clone()) {
                self.cells.remove(&cell);
            }
        }
    }

    #[allow(clippy::cast_possible_truncation, reason = "points are within 10 m")]
    fn cell(&self, candidate: &Candidate) -> Vec<i64> {
        let coordinates = candidate.points.iter().flat_map(|point| [point.x, point.y]);
        coordinates
            .map(|coordinate| (coordinate / self.side).floor() as i64)
            .collect()
    }

    /// How many of the kept candidates are feasible.
    pub fn feasible_count(&self) -> usize {
        self.cells
            .values()
            .filter(|candidate| candidate.feasible)
            .count()
    }

    /// The best candidate.
    pub fn best(&self) -> Option<&Candidate> {
        self.cells.values().min_by(|a, b| order(a, b))
    }

    /// At most `keep` distinct candidates in ranking order: each differs from all before it
    /// by more than the distance in at least one point. Of one place, so, the best size of shock.
    pub fn distinct(&self, keep: usize) -> Vec<Candidate> {
        let mut all: Vec<&Candidate> = self.cells.values().collect();
        all.sort_by(|a, b| order(a, b));
        let mut kept: Vec<Candidate> = Vec::new();
        for candidate in all {
            if kept.len() >= keep {
                break;
            }
            if kept.iter().all(|other| self.differ(candidate, other)) {
                kept.push(candidate.clone());
            }
        }
        kept
    }

    fn differ(&self, a: &Candidate, b: &Candidate) -> bool {
        let apart = |(a, b): (&crate::number::Point<f64>, &crate::number::Point<f64>)| {
            (*a - *b).length() > self.side
        };
        a.points.iter().zip(&b.points).any(apart)
    }
}
