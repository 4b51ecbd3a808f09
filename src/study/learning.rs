//! What a search learns from its finished rounds, and how the next starts are taken.
//!
//! An *even* start follows from seed and number alone: a sample of the whole room, its size in
//! turn, its score lowered wherever that leads. One in [`FLOOR`] starts stays even, whatever was
//! learnt, and the first are, but that only one in [`SPARED`] is lowered. The others go by what
//! evaluations have brought (new layouts, and layouts worth a row of the ranking, half and half):
//!
//! - how many begin *near* layouts that are known, where few steps meet everything; the score of
//!   these is lowered in their own neighbourhood, so that they do not end in one place;
//! - how many are lowered at all: most of those from anywhere end in places that are known;
//! - which sizes of shock and chainrings they take, unless the ranking is by size.
//!
//! What is learnt is taken at borders, which follow from the number of starts alone, from what the
//! journal tells. So a run that was ended anywhere goes on as one that never was.

use super::archive::Archive;
use super::start::{Candidate, Starter};
use super::yields::{Origin, Yield, Yields};
use crate::design::DesignProblem;
use crate::input::{Brief, RankBy};
use crate::optimise::{Problem, unit_cube_point};
use std::sync::Arc;

/// One in so many starts is even.
const FLOOR: u64 = 8;

/// Starts before something is learnt for the first time.
const FIRST: u64 = 128;

/// One in so many of these is lowered: places that are known from others come again soon, and
/// what is ranked is lowered anyway.
const SPARED: u64 = 4;

/// Fewest and most starts between two borders; in between, a quarter of those taken.
const APART: [u64; 2] = [64, 65_536];

/// Part of the other starts that is shared out evenly.
const SURE: f64 = 0.25;

/// Least part of the starts that are lowered.
const LEAST_LOWERED: f64 = 0.125;

/// Most rows of the ranking that count as such here.
const ROWS: usize = 40;

/// Part of the near starts that begin at a row of the ranking, the others at anything known.
const AT_ROWS: f64 = 0.5;

/// Part of the near starts that go on from there through another known layout.
const THROUGH: f64 = 0.5;

/// How far from there they begin, as a share of what makes layouts distinct: nearer brings no
/// new ones, farther takes more steps.
const AWAY: [f64; 2] = [1.0, 4.0];

/// Keeps what is drawn for choices apart from what samples are made of.
const CHOICES: u64 = 0x6c65_6172_6e69_6e67;

/// How one start is taken.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Choice {
    /// Number of its size of shock and chainring among the variants of the brief.
    pub size: usize,
    pub origin: Origin,
    /// Whether its score is lowered once everything is met.
    pub lowers: bool,
}

impl Choice {
    /// That of even start number `start`, where there are so many sizes.
    pub fn even(start: u64, sizes: usize) -> Self {
        Self {
            size: usize::try_from(start % sizes.max(1) as u64).unwrap_or(0),
            origin: Origin::Anywhere,
            lowers: true,
        }
    }
}

/// What was learnt at a border; it stays so until the next. By default nothing.
#[derive(Clone, Debug, Default)]
pub(super) struct Learnt {
    /// What is known of each size.
    known: Vec<Known>,
    /// The score of the last row of the ranking, if that is full.
    last_row: Option<f64>,
    /// Part of the starts that begin near known layouts.
    near: f64,
    /// Part of the starts that are lowered, by origin.
    lowered: [f64; 2],
    /// Parts of the starts for each size; where there are none, sizes are taken in turn.
    sizes: Vec<f64>,
    /// Whether few starts are lowered as long as nothing is known.
    sparing: bool,
}

/// The variables of layouts, best first but for rows of the ranking, which come before the others.
#[derive(Clone, Debug, Default)]
struct Known {
    layouts: Vec<Vec<f64>>,
    rows: usize,
}

impl Known {
    /// One of them, by two numbers of the unit interval.
    fn one(&self, kind: f64, place: f64) -> Option<&Vec<f64>> {
        let rows = self.layouts.get(..self.rows).unwrap_or_default();
        if kind < AT_ROWS && !rows.is_empty() {
            one(rows, place)
        } else {
            one(&self.layouts, place)
        }
    }
}

impl Learnt {
    /// Random numbers that a sample takes besides one a variable.
    pub const EXTRA: usize = 6;

    /// Whether a layout with this score is worth a row of the ranking.
    pub fn worth_a_row(&self, score: f64) -> bool {
        self.last_row.is_none_or(|last| score < last)
    }

    /// How start number `start` is taken.
    pub fn choice(&self, seed: u64, start: u64, sizes: usize) -> Choice {
        let even = Choice::even(start, sizes);
        let turn = start / sizes.max(1) as u64;
        if self.known.is_empty() {
            let lowers = !self.sparing || turn.is_multiple_of(SPARED);
            return Choice { lowers, ..even };
        }
        if turn.is_multiple_of(FLOOR) {
            return even;
        }
        let mut random = [0.0; 3];
        unit_cube_point(seed ^ CHOICES, start, &mut random);
        let [of_size, of_origin, of_lowering] = random;
        let size = pick(&self.sizes, of_size).unwrap_or(even.size);
        let known = self
            .known
            .get(size)
            .is_some_and(|of| !of.layouts.is_empty());
        let origin = if known && of_origin < self.near {
            Origin::Near
        } else {
            Origin::Anywhere
        };
        Choice {
            size,
            origin,
            lowers: of_lowering < self.lowered[origin as usize],
        }
    }

    /// A sample near known layouts of a size, made of `random` numbers of the unit interval; `None`
    /// where none is known. `distinct` is what makes layouts distinct, mm.
    pub fn sample(
        &self,
        size: usize,
        random: &[f64],
        distinct: f64,
        problem: &DesignProblem,
    ) -> Option<Vec<f64>> {
        let known = self.known.get(size)?;
        let (extra, random) = random.split_first_chunk::<{ Self::EXTRA }>()?;
        let [kind, place, away, other, through, along] = *extra;
        let from = known.one(kind, place)?;
        let other = one(&known.layouts, other)?;
        // Up to as far beyond the other.
        let along = if through < THROUGH { 2.0 * along } else { 0.0 };
        let away = distinct * (AWAY[0] + (AWAY[1] - AWAY[0]) * away);
        let variables = problem.variables().iter().zip(problem.bounds());
        let places = from.iter().zip(other).zip(random).zip(variables);
        let sample = places.map(|(((from, other), random), (variable, bound))| {
            let aside = (2.0 * random - 1.0) * away / variable.reach;
            bound.clamp(from + along * (other - from) + aside)
        });
        Some(sample.collect())
    }
}

/// The one at `place` from 0 to 1 along a list, if there is any.
#[allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "part of a length"
)]
fn one(list: &[Vec<f64>], place: f64) -> Option<&Vec<f64>> {
    list.get((place * list.len() as f64) as usize)
}

/// The number of the share in which `place`, from 0 to 1, lies; `None` where there is no share.
fn pick(shares: &[f64], place: f64) -> Option<usize> {
    let mut end = 0.0;
    let found = shares.iter().position(|share| {
        end += share;
        place < end
    });
    found.or(shares.len().checked_sub(1))
}

/// Shares of the evaluations by what each has brought with one, half of it in layouts, half in
/// rows, and a part that is sure.
fn shares(of: &[Yield]) -> Vec<f64> {
    let rates: Vec<[f64; 2]> = of.iter().map(|of| of.rates()).collect();
    let sum = |kind: usize| rates.iter().map(|rates| rates[kind]).sum::<f64>();
    let sums = [sum(0), sum(1)];
    let shares = rates.iter().map(|rates| {
        let earned = 0.5 * (rates[0] / sums[0] + rates[1] / sums[1]);
        SURE / of.len() as f64 + (1.0 - SURE) * earned
    });
    shares.collect()
}

/// Shares of the starts that come to such shares of the evaluations.
fn in_starts(shares: &[f64], of: &[Yield]) -> Vec<f64> {
    let each = shares.iter().zip(of).map(|(share, of)| {
        let cost = (of.evaluations + 1) as f64 / (of.times + 1) as f64;
        share / cost
    });
    let each: Vec<f64> = each.collect();
    let sum: f64 = each.iter().sum();
    each.into_iter().map(|starts| starts / sum).collect()
}

/// How a search learns.
#[derive(Clone, Debug)]
pub(super) struct Learning {
    /// What was brought since the last border.
    since: Yields,
    /// What was brought before it; at every border that counts half of what it did.
    before: Yields,
    /// Starts at which something is learnt next.
    border: u64,
    /// Rows of the ranking that are looked at.
    rows: usize,
    /// Whether sizes are taken in turn whatever they bring.
    in_turn: bool,
    learnt: Arc<Learnt>,
}

impl Learning {
    /// Of a search of `brief`, with nothing learnt yet.
    pub fn new(brief: &Brief) -> Self {
        let none = Yields::none(brief.variants().len());
        Self {
            since: none.clone(),
            before: none,
            border: FIRST,
            rows: brief.search.keep.min(ROWS),
            in_turn: brief.search.rank == RankBy::PerSize,
            learnt: Arc::new(Learnt {
                sparing: true,
                ..Learnt::default()
            }),
        }
    }

    /// What was learnt at the last border.
    pub fn learnt(&self) -> &Arc<Learnt> {
        &self.learnt
    }

    /// Takes up what a round has brought.
    pub fn add(&mut self, yields: &Yields) {
        self.since.add(yields);
    }

    /// Learns from what is found after `starts` starts, where a round ends in every run, if the
    /// next border is there.
    pub fn end_round(&mut self, starts: u64, archive: &Archive, starter: &Starter) {
        if starts < self.border {
            return;
        }
        let [fewest, most] = APART;
        self.border = starts + (starts / 4).clamp(fewest, most);
        self.before.all_mut().for_each(Yield::halve);
        self.before.add(&self.since);
        self.since = Yields::none(self.before.sizes.len());
        if archive.has_feasible() {
            self.learnt = Arc::new(self.learn(&archive.ranked(), starter));
        }
    }

    /// What is learnt from these layouts, best first.
    fn learn(&self, ranked: &[&Candidate], starter: &Starter) -> Learnt {
        let rows = starter.alternatives.distinct(ranked, self.rows);
        let full = rows.len() == self.rows;
        let last_row = rows.last().filter(|_| full);
        let others = (0..ranked.len()).filter(|index| rows.binary_search(index).is_err());
        let mut known = vec![Known::default(); starter.problems.len()];
        for index in rows.iter().copied().chain(others) {
            let (of, x) = (&mut known[ranked[index].size], &ranked[index].x);
            // Nothing is near where nothing may move.
            if !x.is_empty() {
                of.rows += usize::from(rows.binary_search(&index).is_ok());
                of.layouts.push(x.clone());
            }
        }
        let of_sizes = &self.before.sizes;
        Learnt {
            known,
            last_row: last_row.map(|&row| ranked[row].score),
            near: self.near(),
            lowered: Origin::ALL.map(|origin| self.lowered(origin)),
            sizes: if self.in_turn {
                Vec::new()
            } else {
                shares(of_sizes)
            },
            sparing: true,
        }
    }

    /// Part of the starts that begin near known layouts.
    fn near(&self) -> f64 {
        let of = Origin::ALL.map(|origin| self.before.of(origin));
        let mut costs = of;
        for (cost, met) in costs.iter_mut().zip(self.before.met) {
            cost.times = met.times;
        }
        in_starts(&shares(&of), &costs)[Origin::Near as usize]
    }

    /// Part of the starts of an origin that are lowered: all where nothing brings more.
    fn lowered(&self, origin: Origin) -> f64 {
        let stages = self.before.met.iter().chain(&self.before.lowered);
        let most = |kind: usize| {
            let rates = stages.clone().map(|of| of.rates()[kind]);
            rates.fold(0.0, f64::max)
        };
        let rates = self.before.lowered[origin as usize].rates();
        let share = 0.5 * (rates[0] / most(0) + rates[1] / most(1));
        share.clamp(LEAST_LOWERED, 1.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn brought(evaluations: u64, layouts: u64, ranked: u64) -> Yield {
        Yield {
            times: evaluations / 10,
            evaluations,
            layouts,
            ranked,
        }
    }

    fn learnt(sizes: Vec<f64>) -> Learnt {
        let known = Known {
            layouts: vec![vec![0.5]],
            rows: 1,
        };
        Learnt {
            known: vec![known; 3],
            last_row: None,
            near: 0.6,
            lowered: [0.2, 0.8],
            sizes,
            sparing: true,
        }
    }

    #[test]
    fn what_brings_more_gets_more_and_nothing_starves() {
        let of = [
            brought(10_000, 900, 90),
            brought(10_000, 100, 10),
            brought(10_000, 0, 0),
        ];
        let shares = shares(&of);
        assert!((shares.iter().sum::<f64>() - 1.0).abs() < 1e-12);
        assert!(shares[0] > 0.7 && shares[1] > 0.14 && shares[1] < 0.2);
        assert!(shares[2] >= SURE / 3.0);
        // What was never tried counts for more than what was tried in vain.
        let tried = [brought(10_000, 0, 0), brought(0, 0, 0)];
        let [vain, never] = super::shares(&tried)[..] else {
            panic!("two shares")
        };
        assert!(never > vain);
    }

    #[test]
    fn equal_shares_of_evaluations_are_more_of_the_starts_that_cost_less() {
        let dear = Yield {
            times: 99,
            evaluations: 5_999,
            ..Yield::default()
        };
        let cheap = Yield {
            evaluations: 1_999,
            ..dear
        };
        let starts = in_starts(&[0.5, 0.5], &[dear, cheap]);
        assert!((starts[0] - 0.25).abs() < 1e-12 && (starts[1] - 0.75).abs() < 1e-12);
    }

    #[test]
    fn one_start_in_eight_is_even_and_the_others_follow_the_shares() {
        let learnt = learnt(vec![0.7, 0.2, 0.1]);
        let (mut even, mut near, mut sizes) = (0, 0, [0; 3]);
        let starts = 24_000;
        for start in 0..starts {
            let choice = learnt.choice(1, start, 3);
            if start / 3 % FLOOR == 0 {
                assert_eq!(choice, Choice::even(start, 3));
                even += 1;
            } else {
                near += u64::from(choice.origin == Origin::Near);
                sizes[choice.size] += 1;
            }
        }
        assert_eq!(even, starts / FLOOR);
        let part = |count: u64| count as f64 / (starts - even) as f64;
        assert!((part(near) - 0.6).abs() < 0.02);
        for (count, share) in sizes.into_iter().zip([0.7, 0.2, 0.1]) {
            assert!((part(count) - share).abs() < 0.02, "{share}");
        }
    }

    #[test]
    fn sizes_are_taken_in_turn_where_no_shares_are_known() {
        let learnt = learnt(Vec::new());
        for start in 0..1000 {
            let size = usize::try_from(start % 3).unwrap();
            assert_eq!(learnt.choice(1, start, 3).size, size);
        }
        // Without learning every start is even, and before anything is learnt too, but for what
        // is lowered.
        let before = Learnt {
            sparing: true,
            ..Learnt::default()
        };
        for start in 0..1000 {
            let even = Choice::even(start, 3);
            let lowers = start / 3 % SPARED == 0;
            assert_eq!(before.choice(1, start, 3), Choice { lowers, ..even });
        }
        let nothing = Learnt::default();
        for start in 0..1000 {
            assert_eq!(nothing.choice(1, start, 3), Choice::even(start, 3));
        }
    }
}
