//! What is kept of many candidates, whatever order they come in.

use super::start::Candidate;
use crate::input::RankBy;
use std::cmp::Ordering;
use std::collections::BTreeMap;
use std::collections::btree_map::Entry;

/// Most cells kept; many more than any ranking shows.
const CELLS: usize = 4096;

/// Scores are told apart in steps of this size.
const SCORE_STEP: f64 = 0.01;

/// The number of the step of scores that a candidate is on; within one, layouts count as equals.
pub(super) fn step(candidate: &Candidate) -> f64 {
    (candidate.score / SCORE_STEP).floor()
}

/// The score at which that step ends.
pub(super) fn step_end(candidate: &Candidate) -> f64 {
    (step(candidate) + 1.0) * SCORE_STEP
}

/// Order of ranking: feasible before not; feasible ones by score in steps of 0.01, then
/// robustness, then score, the others by violation, then score; then by start.
pub(super) fn order(a: &Candidate, b: &Candidate) -> Ordering {
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

/// What a candidate changed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Change {
    /// Nothing that counts.
    Nothing,
    /// What its cell holds is better by a step of scores.
    Better,
    /// Its cell was empty.
    New,
}

/// The feasible candidates, or while there is none the nearest ones.
///
/// What it holds does not depend on the order of insertion.
#[derive(Clone, Debug)]
pub(super) struct Archive {
    feasible: Grid,
    nearest: Grid,
}

impl Archive {
    /// An empty archive for layouts that count as distinct at `distinct` mm.
    pub fn new(distinct: f64, rank: RankBy) -> Self {
        Self {
            feasible: Grid::new(distinct, rank),
            nearest: Grid::new(distinct, rank),
        }
    }

    /// Takes a candidate if it is worth keeping; gives what that changed.
    pub fn insert(&mut self, candidate: Candidate) -> Change {
        if candidate.feasible {
            self.nearest.cells.clear();
            self.feasible.insert(candidate, CELLS)
        } else if self.feasible.cells.is_empty() && candidate.violation.is_finite() {
            // A motion that ends early has no violation worth comparing.
            self.nearest.insert(candidate, CELLS)
        } else {
            Change::Nothing
        }
    }

    /// The sides of the grids of feasible and of nearest candidates, mm.
    pub fn sides(&self) -> [f64; 2] {
        [self.feasible.side, self.nearest.side]
    }

    /// Makes the grids at least as coarse as these.
    pub fn coarsen(&mut self, [feasible, nearest]: [f64; 2]) {
        self.feasible.coarsen(feasible);
        self.nearest.coarsen(nearest);
    }

    /// All that is kept, in the order of the grids.
    pub fn all(&self) -> impl Iterator<Item = &Candidate> {
        self.feasible
            .cells
            .values()
            .chain(self.nearest.cells.values())
    }

    /// Whether a candidate is feasible.
    pub fn has_feasible(&self) -> bool {
        !self.feasible.cells.is_empty()
    }

    /// All that is kept, best first.
    pub fn ranked(&self) -> Vec<&Candidate> {
        let grid = if self.has_feasible() {
            &self.feasible
        } else {
            &self.nearest
        };
        let mut all: Vec<&Candidate> = grid.cells.values().collect();
        all.sort_by(|a, b| order(a, b));
        all
    }

    /// The feasible candidates, best first.
    pub fn into_feasible(self) -> Vec<Candidate> {
        let mut all: Vec<Candidate> = self.feasible.cells.into_values().collect();
        all.sort_by(order);
        all
    }

    /// The best of the feasible candidates.
    pub fn best(&self) -> Option<&Candidate> {
        self.feasible.cells.values().min_by(|a, b| order(a, b))
    }
}

/// The best candidate in each cell of a grid over all points.
///
/// Where the cells become too many, the side doubles. So room is never made by giving up a part
/// of what is possible; and since a cell of the coarser grid is made of whole cells of the finer
/// one, the end does not depend on the order of insertion: it is the finest of these grids in
/// which few enough cells hold something.
#[derive(Clone, Debug)]
struct Grid {
    side: f64,
    /// Whether every size of shock with every chainring has cells of its own.
    per_size: bool,
    cells: BTreeMap<Vec<i64>, Candidate>,
}

impl Grid {
    fn new(side: f64, rank: RankBy) -> Self {
        Self {
            side,
            per_size: rank == RankBy::PerSize,
            cells: BTreeMap::new(),
        }
    }

    fn insert(&mut self, candidate: Candidate, most: usize) -> Change {
        let change = self.place(candidate);
        while self.cells.len() > most {
            self.double();
        }
        change
    }

    /// Makes the cells at least as large as `side`, one of the sides that doubling gives.
    fn coarsen(&mut self, side: f64) {
        while self.side < side {
            self.double();
        }
    }

    fn double(&mut self) {
        self.side *= 2.0;
        for candidate in std::mem::take(&mut self.cells).into_values() {
            self.place(candidate);
        }
    }

    /// Puts a candidate into its cell if it is the best there.
    fn place(&mut self, candidate: Candidate) -> Change {
        match self.cells.entry(self.cell(&candidate)) {
            Entry::Vacant(cell) => {
                cell.insert(candidate);
                Change::New
            }
            Entry::Occupied(mut cell) => {
                if order(cell.get(), &candidate) != Ordering::Greater {
                    return Change::Nothing;
                }
                let before = cell.insert(candidate);
                if step(&before) > step(cell.get()) {
                    Change::Better
                } else {
                    Change::Nothing
                }
            }
        }
    }

    #[allow(
        clippy::cast_possible_truncation,
        clippy::cast_possible_wrap,
        reason = "points are within 10 m, sizes are few"
    )]
    fn cell(&self, candidate: &Candidate) -> Vec<i64> {
        let coordinates = candidate.points.iter().flat_map(|point| [point.x, point.y]);
        let size = self.per_size.then_some(candidate.size as i64);
        size.into_iter()
            .chain(coordinates.map(|coordinate| (coordinate / self.side).floor() as i64))
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::number::Point;
    use crate::optimise::unit_cube_point;

    fn candidate(start: u64) -> Candidate {
        let mut random = [0.0; 5];
        unit_cube_point(7, start, &mut random);
        let [a, b, c, d, score] = random;
        Candidate {
            start,
            size: 0,
            x: Vec::new(),
            points: vec![Point::new(90.0 * a, 90.0 * b), Point::new(60.0 * c, d)],
            feasible: true,
            score: 0.1 * score,
            violation: 0.0,
            edge: None,
        }
    }

    fn kept(order: impl Iterator<Item = u64>, most: usize) -> (f64, Vec<(Vec<i64>, u64)>) {
        let mut grid = Grid::new(5.0, RankBy::Overall);
        for start in order {
            grid.insert(candidate(start), most);
            assert!(grid.cells.len() <= most);
        }
        let starts = grid
            .cells
            .into_iter()
            .map(|(cell, kept)| (cell, kept.start));
        (grid.side, starts.collect())
    }

    #[test]
    fn what_is_kept_does_not_depend_on_the_order() {
        for most in [20, 100, 4000] {
            let one = kept(0..1000, most);
            assert_eq!(one, kept((0..1000).rev(), most));
            // 379 and 1000 have no common factor, so this is every number once.
            assert_eq!(one, kept((0..1000).map(|k| k * 379 % 1000), most));
        }
    }

    #[test]
    fn a_full_grid_is_coarser_and_still_covers_what_is_possible() {
        let (side, cells) = kept(0..1000, 20);
        assert!(side > 5.0);
        // Every candidate shares a cell with one that is no worse.
        let grid = Grid::new(side, RankBy::Overall);
        for start in 0..1000 {
            let cell = grid.cell(&candidate(start));
            let (_, best) = cells.iter().find(|(other, _)| *other == cell).unwrap();
            assert_ne!(
                order(&candidate(*best), &candidate(start)),
                Ordering::Greater
            );
        }
    }

    #[test]
    fn the_nearest_are_given_up_once_one_is_feasible() {
        let mut archive = Archive::new(5.0, RankBy::Overall);
        for start in 0..3 {
            archive.insert(Candidate {
                feasible: false,
                violation: 1.0,
                ..candidate(start)
            });
        }
        assert_eq!(archive.ranked().len(), 3);
        assert!(!archive.has_feasible() && archive.best().is_none());
        archive.insert(candidate(3));
        archive.insert(Candidate {
            feasible: false,
            violation: 0.1,
            ..candidate(4)
        });
        let starts: Vec<u64> = archive.ranked().iter().map(|kept| kept.start).collect();
        assert_eq!(starts, [3]);
    }

    #[test]
    fn a_size_keeps_its_best_whatever_stands_in_the_same_place() {
        let kept = |rank| {
            let mut archive = Archive::new(5.0, rank);
            for size in 0..3 {
                archive.insert(Candidate {
                    size,
                    score: 0.1 * size as f64,
                    ..candidate(3)
                });
            }
            let sizes = archive.ranked().into_iter().map(|kept| kept.size);
            sizes.collect::<Vec<_>>()
        };
        assert_eq!(kept(RankBy::Overall), [0]);
        assert_eq!(kept(RankBy::PerSize), [0, 1, 2]);
    }
}
