//! What a search has found so far, and how the starts are shared out.

use super::archive::{Archive, Change};
use super::history::{self, Milestone};
use super::learning::{Choice, Learning, Learnt};
use super::record;
use super::search::{Endings, SizeTally};
use super::start::{Candidate, Ending, Result as StartResult, Starter};
use super::yields::{Yield, Yields};
use crate::input::Brief;
use std::sync::Arc;

/// Starts that stay together when they are shared out.
const BLOCK: u64 = 64;

/// Most starts of one round: what is lost when the power fails.
const LONGEST: u64 = 4096;

/// Starts at least between two looks at how many distinct layouts there are.
const LOOK_EVERY: u64 = 512;

/// The part of a search's starts that one process takes: blocks of starts in turn.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Shard {
    /// Its number, from 1 to `of`.
    number: u32,
    /// Of how many.
    of: u32,
}

impl Shard {
    /// All starts.
    pub const WHOLE: Self = Self { number: 1, of: 1 };

    /// Shard `number` of `of`, counted from 1; `None` where there is no such.
    #[must_use]
    pub const fn new(number: u32, of: u32) -> Option<Self> {
        if number >= 1 && number <= of {
            Some(Self { number, of })
        } else {
            None
        }
    }

    /// Its number, counted from 1.
    #[must_use]
    pub const fn number(self) -> u32 {
        self.number
    }

    /// Of how many it is one.
    #[must_use]
    pub const fn of(self) -> u32 {
        self.of
    }

    /// The number in the whole search of its start number `own`, both counted from 0.
    pub(super) fn start(self, own: u64) -> u64 {
        (own / BLOCK * u64::from(self.of) + u64::from(self.number - 1)) * BLOCK + own % BLOCK
    }

    /// How many of the first `starts` of the whole search are its own.
    #[must_use]
    pub fn share(self, starts: u64) -> u64 {
        let cycle = BLOCK * u64::from(self.of);
        let before = BLOCK * u64::from(self.number - 1);
        starts / cycle * BLOCK + (starts % cycle).saturating_sub(before).min(BLOCK)
    }
}

/// How many starts the round after `taken` of them has. Rounds grow, so that a long run has few;
/// what is found does not depend on it.
pub(super) fn round_after(taken: u64) -> u64 {
    (taken / 32).clamp(BLOCK, LONGEST) / BLOCK * BLOCK
}

/// What a search has found so far: how the starts ended, and the layouts worth keeping.
#[derive(Clone, Debug)]
pub struct Found {
    pub(super) starts: u64,
    pub(super) evaluations: u64,
    pub(super) endings: Endings,
    pub(super) sizes: Vec<SizeTally>,
    pub(super) archive: Archive,
    /// When the best score fell.
    pub(super) milestones: Vec<Milestone>,
    /// Starts taken when last something new came.
    pub(super) news: u64,
    /// Starts of the last round.
    last: u64,
    /// Where the round at hand begins, in a run that was never ended.
    begun: u64,
    /// What a search learns that is not even.
    learning: Option<Learning>,
}

/// A start that was taken.
#[derive(Debug)]
pub(super) struct Taken {
    pub start: u64,
    pub choice: Choice,
    pub result: StartResult,
}

/// What one round of starts adds to what is found.
#[derive(Clone, Debug)]
pub(super) struct Round {
    pub starts: u64,
    pub evaluations: u64,
    pub endings: Endings,
    pub sizes: Vec<SizeTally>,
    /// What the ways to take a start have brought.
    pub yields: Yields,
    /// When the best score fell.
    pub milestones: Vec<Milestone>,
    /// Whether there is a better score or a layout where there was none.
    pub news: bool,
    /// Sides of the archive's grids after the round.
    pub sides: [f64; 2],
    /// What entered the archive and is still in it after the round.
    pub entered: Vec<Candidate>,
}

impl Found {
    /// Nothing yet of a search of `brief`.
    pub(super) fn new(brief: &Brief, learns: bool) -> Self {
        Self {
            starts: 0,
            evaluations: 0,
            endings: Endings::new(),
            sizes: brief.variants().into_iter().map(SizeTally::new).collect(),
            archive: Archive::new(brief.search.distinct, brief.search.rank),
            milestones: Vec::new(),
            news: 0,
            last: 0,
            begun: 0,
            learning: learns.then(|| Learning::new(brief)),
        }
    }

    /// Starts taken.
    #[must_use]
    pub fn starts(&self) -> u64 {
        self.starts
    }

    /// Evaluations of candidates, derivatives counted as one each.
    #[must_use]
    pub fn evaluations(&self) -> u64 {
        self.evaluations
    }

    /// Starts that ended in a feasible layout.
    #[must_use]
    pub fn feasible(&self) -> u64 {
        self.endings.get(&Ending::Feasible).copied().unwrap_or(0)
    }

    /// Starts since the last that brought a better score or a layout where there was none.
    #[must_use]
    pub fn since_news(&self) -> u64 {
        self.starts - self.news
    }

    /// Whether the last round went over one of the marks at which it is looked how many distinct
    /// layouts there are: the same ones whatever ended the run in between.
    pub(super) fn look_due(&self) -> bool {
        let step = (self.starts.next_power_of_two() / 16).max(LOOK_EVERY);
        self.starts / step != (self.starts - self.last) / step
    }

    /// The best score, where a layout is feasible.
    #[must_use]
    pub fn best_score(&self) -> Option<f64> {
        let scores = self.sizes.iter().filter_map(|size| size.best);
        scores.min_by(f64::total_cmp)
    }

    /// Takes up the results of a round, each with the number of its start and of its size.
    pub(super) fn take(&mut self, results: Vec<Taken>, starter: &Starter) -> Round {
        let sizes = self.sizes.iter().map(SizeTally::none);
        let mut round = Round {
            starts: results.len() as u64,
            evaluations: 0,
            endings: Endings::new(),
            sizes: sizes.collect(),
            yields: Yields::none(self.sizes.len()),
            milestones: Vec::new(),
            news: false,
            sides: self.archive.sides(),
            entered: Vec::new(),
        };
        let first = results.first().map_or(0, |taken| taken.start);
        let learnt = self.learnt();
        for taken in results {
            self.take_one(&mut round, &learnt, taken);
        }
        let before = self.best_score();
        self.count(&round);
        round.news |= match (before, self.best_score()) {
            (Some(before), Some(after)) => after < before,
            (None, after) => after.is_some(),
            (Some(_), None) => false,
        };
        if round.news {
            self.news = self.starts;
        }
        self.end_round(&round.yields, starter);
        round.sides = self.archive.sides();
        // Starts are taken in the order of their numbers.
        let entered = self.archive.all().filter(|kept| kept.start >= first);
        round.entered = entered.cloned().collect();
        round
    }

    fn take_one(&mut self, round: &mut Round, learnt: &Learnt, taken: Taken) {
        let Taken {
            start,
            choice,
            result,
        } = taken;
        self.take_score(round, start, &result);
        round.evaluations += result.evaluations;
        *round.endings.entry(result.ending).or_insert(0) += 1;
        round.sizes[choice.size].take(&result);
        let spent = [result.evaluations - result.lowering, result.lowering];
        let mut yields = spent.map(|evaluations| Yield {
            times: u64::from(evaluations > 0),
            evaluations,
            ..Yield::default()
        });
        for (stage, candidate) in result.candidates.into_iter().enumerate() {
            let ranks = candidate.feasible && learnt.worth_a_row(candidate.score);
            let feasible = candidate.feasible;
            let change = self.archive.insert(candidate);
            round.news |= change == Change::New;
            let of = &mut yields[stage.min(1)];
            of.layouts += u64::from(feasible && change == Change::New);
            of.ranked += u64::from(ranks && change != Change::Nothing);
        }
        round.yields.take(choice.origin, choice.size, yields);
    }

    /// Takes up the best score of a start if it is better than all before.
    fn take_score(&mut self, round: &mut Round, start: u64, result: &StartResult) {
        let feasible = result.candidates.iter().filter(|found| found.feasible);
        let best = feasible.map(|found| found.score).min_by(f64::total_cmp);
        if let Some(best) = best.filter(|&best| history::lowers(&self.milestones, best)) {
            let starts = start + 1;
            self.milestones.push(Milestone { starts, best });
            round.milestones.push(Milestone { starts, best });
        }
    }

    /// Where the round at hand ends, in a run that nothing else ends. Borders are the same in
    /// all runs, whatever ended them before.
    pub(super) fn next_border(&self) -> u64 {
        self.begun + round_after(self.begun)
    }

    /// What was learnt last.
    pub(super) fn learnt(&self) -> Arc<Learnt> {
        let learning = self.learning.as_ref();
        learning.map_or_else(Arc::default, |learning| Arc::clone(learning.learnt()))
    }

    /// Ends a round: takes up, at a border, what was learnt.
    fn end_round(&mut self, yields: &Yields, starter: &Starter) {
        while self.next_border() <= self.starts {
            self.begun = self.next_border();
        }
        if let Some(learning) = &mut self.learning {
            learning.add(yields);
            if self.begun == self.starts {
                learning.end_round(self.starts, &self.archive, starter);
            }
        }
    }

    /// Takes up a round again of which only what entered is known. The archive becomes what it
    /// was: in every cell of its grid the best is among what it held and what entered.
    pub(super) fn replay(&mut self, round: Round, starter: &Starter) {
        let yields = round.yields.clone();
        self.add(round);
        self.end_round(&yields, starter);
    }

    fn add(&mut self, round: Round) {
        self.count(&round);
        if round.news {
            self.news = self.starts;
        }
        history::add(&mut self.milestones, &round.milestones);
        self.archive.coarsen(round.sides);
        for candidate in round.entered {
            self.archive.insert(candidate);
        }
    }

    /// Adds what another part of the same search found. The order of parts makes no difference.
    pub fn absorb(&mut self, other: Self) {
        self.news = self.news.max(other.news);
        self.add(Round {
            news: false,
            ..other.into_round()
        });
    }

    /// All of it as one record of a journal.
    #[must_use]
    pub fn into_record(self) -> Vec<u8> {
        record::encode(&self.into_round())
    }

    /// All of it as one round.
    pub(super) fn into_round(self) -> Round {
        Round {
            starts: self.starts,
            evaluations: self.evaluations,
            news: true,
            sides: self.archive.sides(),
            entered: self.archive.all().cloned().collect(),
            endings: self.endings,
            yields: Yields::none(self.sizes.len()),
            milestones: self.milestones,
            sizes: self.sizes,
        }
    }

    fn count(&mut self, round: &Round) {
        self.starts += round.starts;
        self.last = round.starts;
        self.evaluations += round.evaluations;
        for (&ending, count) in &round.endings {
            *self.endings.entry(ending).or_insert(0) += count;
        }
        for (tally, more) in self.sizes.iter_mut().zip(&round.sizes) {
            tally.add(more);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shards_take_every_start_once() {
        for of in [1, 2, 7, 16] {
            for starts in [0, 1, 63, 64, 65, 500, 2000] {
                let mut taken: Vec<u64> = Vec::new();
                for number in 1..=of {
                    let shard = Shard::new(number, of).unwrap();
                    taken.extend((0..shard.share(starts)).map(|own| shard.start(own)));
                }
                taken.sort_unstable();
                assert!(taken.iter().copied().eq(0..starts), "{starts} of {of}");
            }
        }
        assert_eq!(Shard::new(0, 3), None);
        assert_eq!(Shard::new(4, 3), None);
    }

    #[test]
    fn a_long_run_has_few_rounds() {
        let (mut taken, mut rounds) = (0_u64, 0);
        while taken < 100_000_000 {
            let round = round_after(taken);
            assert!(round >= 64 && round.is_multiple_of(64) && round <= 4096);
            // No more is lost than a small part of what was done.
            assert!(round <= 64 || round <= taken / 32);
            taken += round;
            rounds += 1;
        }
        assert!(rounds < 30_000, "{rounds}");
    }
}
