//! Which layouts are alternatives to each other.
//!
//! Layouts are distinct where one point at least differs by more than the distance of the brief.
//! Those whose pivots differ come first: where the shock can be swung about the pivot of the body
//! that it drives, with everything else as it was, one linkage makes any number of layouts with
//! the same curves, and they would fill a ranking.
//!
//! Where a ranking is asked for by size, each size of shock with each chainring is a list of its
//! own, and places are dealt out one each in turn.

use super::start::Candidate;
use crate::input::{Body, Layout, RankBy, SearchOptions};

/// What makes layouts differ.
#[derive(Clone, Debug)]
pub(super) struct Alternatives {
    /// The points that stand on several bodies.
    pivots: Vec<usize>,
    /// By how much a point has to differ, mm.
    distinct: f64,
    /// Which layouts have a place in the ranking.
    rank: RankBy,
}

impl Alternatives {
    /// Of candidates for `layout`, as `options` has it.
    pub fn new(layout: &Layout, options: &SearchOptions) -> Self {
        let mechanism = &layout.mechanism;
        let bodies_at = |point: usize| {
            let on = |body: &&Body| body.points.iter().any(|other| other.index() == point);
            mechanism.bodies.iter().filter(on).count()
        };
        let points = 0..mechanism.points.len();
        Self {
            pivots: points.filter(|&point| bodies_at(point) > 1).collect(),
            distinct: options.distinct,
            rank: options.rank,
        }
    }

    /// By how much a point has to differ, mm.
    pub fn distance(&self) -> f64 {
        self.distinct
    }

    /// At most `keep` of the candidates, which stand best first, by number in the same order:
    /// each whose pivots differ from those of all taken before; if these are too few, also those
    /// that differ in any point.
    pub fn distinct(&self, candidates: &[&Candidate], keep: usize) -> Vec<usize> {
        self.of_lists(candidates, keep, |list, keep| self.distinct_of(list, keep))
    }

    fn distinct_of(&self, candidates: &[&Candidate], keep: usize) -> Vec<usize> {
        let mut taken = Vec::new();
        self.add(candidates, &mut taken, keep);
        taken
    }

    /// Places to look into for `keep` layouts: at most `most` whose pivots differ, first those
    /// twice as far apart; if these are fewer than `keep`, also others up to that.
    pub fn spread(&self, candidates: &[&Candidate], most: usize, keep: usize) -> Vec<usize> {
        self.of_lists(candidates, keep, |list, places| {
            // As many for each place as there are of all together.
            let most = (most * places).div_ceil(keep.max(1));
            self.spread_of(list, most, places)
        })
    }

    /// What `choose` takes of each list with its share of `keep` places, best first.
    fn of_lists(
        &self,
        candidates: &[&Candidate],
        keep: usize,
        choose: impl Fn(&[&Candidate], usize) -> Vec<usize>,
    ) -> Vec<usize> {
        if self.rank == RankBy::Overall {
            return choose(candidates, keep);
        }
        let lists = by_size(candidates);
        let members = |list: &[usize]| -> Vec<&Candidate> {
            list.iter().map(|&index| candidates[index]).collect()
        };
        let could_take = lists
            .iter()
            .map(|list| self.distinct_of(&members(list), keep).len());
        let places = deal(&could_take.collect::<Vec<_>>(), keep);
        let mut taken: Vec<usize> = lists
            .iter()
            .zip(places)
            .flat_map(|(list, places)| {
                let chosen = choose(&members(list), places);
                chosen.into_iter().map(|index| list[index])
            })
            .collect();
        taken.sort_unstable();
        taken
    }

    fn spread_of(&self, candidates: &[&Candidate], most: usize, keep: usize) -> Vec<usize> {
        let mut taken = Vec::new();
        for apart in [2.0 * self.distinct, self.distinct] {
            take(candidates, &mut taken, most, |a, b| {
                self.by_pivots(a, b) > apart
            });
        }
        self.add(candidates, &mut taken, keep);
        taken
    }

    fn add(&self, candidates: &[&Candidate], taken: &mut Vec<usize>, keep: usize) {
        let apart = self.distinct;
        take(candidates, taken, keep, |a, b| self.by_pivots(a, b) > apart);
        let everywhere = |a: &Candidate, b: &Candidate| displacement(a, b, 0..a.points.len());
        take(candidates, taken, keep, |a, b| everywhere(a, b) > apart);
        taken.sort_unstable();
    }

    fn by_pivots(&self, a: &Candidate, b: &Candidate) -> f64 {
        displacement(a, b, self.pivots.iter().copied())
    }
}

/// The candidates of each size, by number: the size with the best candidate first.
fn by_size(candidates: &[&Candidate]) -> Vec<Vec<usize>> {
    let mut lists: Vec<(usize, Vec<usize>)> = Vec::new();
    for (index, candidate) in candidates.iter().enumerate() {
        match lists.iter_mut().find(|(size, _)| *size == candidate.size) {
            Some((_, list)) => list.push(index),
            None => lists.push((candidate.size, vec![index])),
        }
    }
    lists.into_iter().map(|(_, list)| list).collect()
}

/// Deals out `keep` places one each in turn, to each no more than it can take.
fn deal(could_take: &[usize], keep: usize) -> Vec<usize> {
    let mut places = vec![0; could_take.len()];
    let mut left = keep;
    loop {
        let before = left;
        for (places, &most) in places.iter_mut().zip(could_take) {
            if *places < most && left > 0 {
                *places += 1;
                left -= 1;
            }
        }
        if left == before {
            return places;
        }
    }
}

/// The largest displacement of any of the points `among` from one layout to another, mm.
fn displacement(a: &Candidate, b: &Candidate, among: impl Iterator<Item = usize>) -> f64 {
    let displacements = among.map(|point| (a.points[point] - b.points[point]).length());
    displacements.fold(0.0, f64::max)
}

/// Takes every candidate that differs from all taken so far, until there are `keep`.
fn take(
    candidates: &[&Candidate],
    taken: &mut Vec<usize>,
    keep: usize,
    differ: impl Fn(&Candidate, &Candidate) -> bool,
) {
    for (index, candidate) in candidates.iter().enumerate() {
        if taken.len() >= keep {
            return;
        }
        if taken
            .iter()
            .all(|&other| differ(candidate, candidates[other]))
        {
            taken.push(index);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::number::Point;

    /// A pivot at `pivot`, and a point of one body at `end`.
    fn candidate(pivot: f64, end: f64) -> Candidate {
        Candidate {
            start: 0,
            size: 0,
            x: Vec::new(),
            points: vec![Point::new(pivot, 0.0), Point::new(0.0, end)],
            feasible: true,
            score: 0.5,
            violation: 0.0,
            edge: None,
        }
    }

    fn alternatives() -> Alternatives {
        Alternatives {
            pivots: vec![0],
            distinct: 5.0,
            rank: RankBy::Overall,
        }
    }

    #[test]
    fn pivots_that_differ_come_before_shock_ends_that_differ() {
        let all = [
            candidate(0.0, 0.0),
            candidate(1.0, 30.0),
            candidate(4.0, 60.0),
            candidate(6.0, 0.0),
            candidate(12.0, 1.0),
        ];
        let all: Vec<&Candidate> = all.iter().collect();
        assert_eq!(alternatives().distinct(&all, 2), [0, 3]);
        assert_eq!(alternatives().distinct(&all, 3), [0, 3, 4]);
        assert_eq!(alternatives().distinct(&all, 4), [0, 1, 3, 4]);
        assert_eq!(alternatives().distinct(&all, 9), [0, 1, 2, 3, 4]);
    }

    #[test]
    fn places_to_look_into_are_twice_as_far_apart_while_there_are_such() {
        let all = [
            candidate(0.0, 0.0),
            candidate(6.0, 0.0),
            candidate(12.0, 0.0),
            candidate(12.0, 3.0),
        ];
        let all: Vec<&Candidate> = all.iter().collect();
        assert_eq!(alternatives().spread(&all, 2, 2), [0, 2]);
        assert_eq!(alternatives().spread(&all, 4, 2), [0, 1, 2]);
        // They lie near one another, but all are wanted.
        let all = [all[0], all[2], &candidate(12.0, 9.0)];
        assert_eq!(alternatives().spread(&all, 6, 2), [0, 1]);
        assert_eq!(alternatives().spread(&all, 6, 3), [0, 1, 2]);
    }

    #[test]
    fn places_are_dealt_out_one_each_in_turn() {
        assert_eq!(deal(&[9, 9, 9], 7), [3, 2, 2]);
        assert_eq!(deal(&[9, 1, 9], 7), [3, 1, 3]);
        assert_eq!(deal(&[1, 2, 0], 7), [1, 2, 0]);
        assert_eq!(deal(&[9, 9, 9], 2), [1, 1, 0]);
        assert_eq!(deal(&[], 7), [0; 0]);
    }

    #[test]
    fn each_size_has_its_places_and_what_another_has_is_not_in_its_way() {
        let sized = |size: usize, pivot: f64| Candidate {
            size,
            ..candidate(pivot, 0.0)
        };
        let all = [
            sized(2, 0.0),
            sized(2, 6.0),
            sized(2, 12.0),
            sized(0, 0.0),
            sized(0, 1.0),
            sized(1, 6.0),
            sized(1, 12.0),
        ];
        let all: Vec<&Candidate> = all.iter().collect();
        let per_size = Alternatives {
            rank: RankBy::PerSize,
            ..alternatives()
        };
        assert_eq!(alternatives().distinct(&all, 9), [0, 1, 2]);
        assert_eq!(per_size.distinct(&all, 3), [0, 3, 5]);
        assert_eq!(per_size.distinct(&all, 4), [0, 1, 3, 5]);
        assert_eq!(per_size.distinct(&all, 9), [0, 1, 2, 3, 5, 6]);
        assert_eq!(per_size.spread(&all, 6, 3), [0, 2, 3, 5, 6]);
    }
}
