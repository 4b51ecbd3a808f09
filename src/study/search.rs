//! Rounds of starts over threads.

use super::alternatives::Alternatives;
use super::archive::Archive;
use super::found::{Found, Shard, Taken};
use super::learning::Learnt;
use super::rank::{Study, rank};
use super::record::{self, RecordError};
use super::refine::refine;
use super::standing::Standing;
use super::start::{Candidate, Ending, Result as StartResult, Starter, Worker, count, solve};
use crate::design::{DesignProblem, Purpose};
use crate::input::{Brief, Faults, ShockSize, Variant};
use crate::mechanism::Plan;
use crate::optimise::{Minimiser, MinimiserSettings};
use rayon::prelude::*;
use sha2::{Digest, Sha256};
use std::collections::BTreeMap;
use std::ops::Range;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Instant;

/// How many starts ended how.
pub type Endings = BTreeMap<Ending, u64>;

/// Of how many nearest layouts all must miss a target for it to count as blocking.
const JUDGED: usize = 20;

/// How many of the nearest layouts are brought nearer still where nothing is feasible.
const NEARED: usize = 64;

/// A brief, ready to be searched.
#[derive(Debug)]
pub struct Search {
    brief: Brief,
    plan: Plan,
    threads: usize,
    learns: bool,
}

/// A search could not begin.
#[derive(Debug, thiserror::Error)]
pub enum SearchError {
    /// The layout's mechanism cannot be compiled.
    #[error(transparent)]
    Faults(#[from] Faults),
    /// The threads could not be started.
    #[error("{0} threads could not be started: {1}")]
    Threads(usize, rayon::ThreadPoolBuildError),
}

/// When a search ends: as soon as one of these is reached.
#[derive(Clone, Copy, Debug, Default)]
pub struct Budget {
    /// Starts of the whole search, of which a shard takes its share.
    pub starts: Option<u64>,
    /// A moment; it decides only how many rounds are taken.
    pub until: Option<Instant>,
    /// So many distinct feasible layouts.
    pub distinct: Option<usize>,
    /// So many starts that brought neither a better score nor a layout where there was none.
    pub stagnation: Option<u64>,
}

/// What came of the starts with one size of shock and one chainring.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SizeTally {
    /// The size.
    pub size: ShockSize,
    /// Teeth of the chainring.
    pub chainring_teeth: u32,
    /// Starts taken with them.
    pub starts: u64,
    /// Of those, how many ended in a feasible layout.
    pub feasible: u64,
    /// The best score among these, where there is one.
    pub best: Option<f64>,
}

impl SizeTally {
    pub(super) fn new(variant: Variant) -> Self {
        Self {
            size: variant.size,
            chainring_teeth: variant.chainring_teeth,
            starts: 0,
            feasible: 0,
            best: None,
        }
    }

    /// Of no start yet, with the same size and chainring.
    pub(super) fn none(&self) -> Self {
        Self {
            starts: 0,
            feasible: 0,
            best: None,
            ..*self
        }
    }

    pub(super) fn take(&mut self, result: &StartResult) {
        self.starts += 1;
        self.feasible += u64::from(result.ending == Ending::Feasible);
        for candidate in result
            .candidates
            .iter()
            .filter(|candidate| candidate.feasible)
        {
            if self.best.is_none_or(|best| candidate.score < best) {
                self.best = Some(candidate.score);
            }
        }
    }

    /// Adds what came of other starts with the same size.
    pub(super) fn add(&mut self, other: &Self) {
        self.starts += other.starts;
        self.feasible += other.feasible;
        let best = [self.best, other.best];
        self.best = best.into_iter().flatten().min_by(f64::total_cmp);
    }
}

/// Whether to go on after a round.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Control {
    /// Take the next round.
    GoOn,
    /// Rank what was found.
    Stop,
}

impl Search {
    /// Prepares a search of `brief`, whose layout came from the file named `layout_file`, on
    /// `threads` threads (0: one for each core).
    ///
    /// # Errors
    /// The layout's mechanism cannot be compiled.
    pub fn new(brief: Brief, layout_file: &str, threads: usize) -> Result<Self, SearchError> {
        let plan = Plan::compile(layout_file, &brief.layout.mechanism)?;
        Ok(Self {
            brief,
            plan,
            threads,
            learns: true,
        })
    }

    /// The same search with every start a function of seed and number alone: nothing is learnt
    /// from what others came to.
    #[must_use]
    pub fn evenly(self) -> Self {
        Self {
            learns: false,
            ..self
        }
    }

    /// The brief.
    #[must_use]
    pub fn brief(&self) -> &Brief {
        &self.brief
    }

    /// Takes all starts of the brief, calling `watch` after every round, and ranks what was
    /// found. The result depends on the brief alone, not on the number of threads.
    ///
    /// # Errors
    /// The threads could not be started.
    pub fn run(&self, mut watch: impl FnMut(&Standing) -> Control) -> Result<Study, SearchError> {
        let budget = Budget {
            starts: Some(self.brief.search.starts),
            ..Budget::default()
        };
        let never = AtomicBool::new(false);
        self.go_on(self.begin(), Shard::WHOLE, &budget, &never, |standing| {
            Ok::<_, SearchError>(watch(standing))
        })
    }

    /// What is found before the first start.
    #[must_use]
    pub fn begin(&self) -> Found {
        Found::new(&self.brief, self.learns)
    }

    /// Takes starts until the budget is spent, `watch` says so, or `stop` is set, which gives up
    /// the round at hand unless it is the first; then ranks what was found. `watch` is called after every round.
    ///
    /// # Errors
    /// The threads could not be started, or an error of `watch`.
    pub fn go_on<E: From<SearchError>>(
        &self,
        mut found: Found,
        shard: Shard,
        budget: &Budget,
        stop: &AtomicBool,
        mut watch: impl FnMut(&Standing) -> Result<Control, E>,
    ) -> Result<Study, E> {
        let pool = self.pool()?;
        let starter = self.starter();
        let of = budget.starts.map(|starts| shard.share(starts));
        let (mut interrupted, never) = (false, AtomicBool::new(false));
        while !Self::spent(&starter, &found, of, budget) {
            let own = found.starts;
            let end = found.next_border().min(of.unwrap_or(u64::MAX));
            // Whoever ends a search at once is still told what a first round comes to.
            let stop = if own == 0 { &never } else { stop };
            let learnt = found.learnt();
            let results = pool.install(|| take_round(&starter, &learnt, shard, own..end, stop));
            let Some(results) = results else {
                interrupted = true;
                break;
            };
            let round = found.take(results, &starter);
            let control = watch(&Standing {
                search: self,
                starter: &starter,
                pool: &pool,
                found: &found,
                round: &round,
                of,
            })?;
            if control == Control::Stop && of.is_none_or(|of| found.starts < of) {
                interrupted = true;
                break;
            }
        }
        Ok(pool.install(|| self.conclude(&starter, found, interrupted)))
    }

    /// Whether a search ends here. For any number of starts that is a function of what is found
    /// and, for a time, of the clock.
    fn spent(starter: &Starter, found: &Found, of: Option<u64>, budget: &Budget) -> bool {
        // Looking is dear where much is kept.
        let distinct = budget.distinct.is_some_and(|wanted| {
            let archive = &found.archive;
            found.look_due()
                && archive.has_feasible()
                && starter.distinct(archive, wanted) >= wanted
        });
        distinct
            || of.is_some_and(|of| found.starts >= of)
            || budget.until.is_some_and(|until| Instant::now() >= until)
            || budget
                .stagnation
                .is_some_and(|starts| found.since_news() >= starts)
    }

    pub(super) fn conclude(&self, starter: &Starter, found: Found, interrupted: bool) -> Study {
        let keep = self.brief.search.keep;
        let (kept, spent) = if found.archive.has_feasible() {
            refine(starter, found.archive.into_feasible(), keep)
        } else {
            near(starter, found.archive, keep.max(JUDGED))
        };
        let (layouts, blockers) = rank(starter, &self.brief, kept, keep);
        Study {
            layouts,
            blockers,
            starts: found.starts,
            evaluations: found.evaluations + spent,
            endings: found.endings,
            sizes: found.sizes,
            milestones: found.milestones,
            interrupted,
            scatter: None,
        }
    }

    /// Ranks what was found elsewhere.
    ///
    /// # Errors
    /// The threads could not be started.
    pub fn rank(&self, found: Found) -> Result<Study, SearchError> {
        Ok(self
            .pool()?
            .install(|| self.conclude(&self.starter(), found, false)))
    }

    fn pool(&self) -> Result<rayon::ThreadPool, SearchError> {
        rayon::ThreadPoolBuilder::new()
            .num_threads(self.threads)
            .build()
            .map_err(|error| SearchError::Threads(self.threads, error))
    }

    /// Takes up again the rounds of a journal, in their order.
    ///
    /// # Errors
    /// The number of the first record, from 0, that is not of this search.
    pub fn replay<'r>(
        &self,
        records: impl IntoIterator<Item = &'r [u8]>,
    ) -> Result<Found, (usize, RecordError)> {
        let (starter, mut found) = (self.starter(), self.begin());
        let none = found.sizes.clone();
        for (number, bytes) in records.into_iter().enumerate() {
            let round = record::decode(&starter, &none, bytes).map_err(|error| (number, error))?;
            found.replay(round, &starter);
        }
        Ok(found)
    }

    /// A hash of what the first start comes to: the same wherever numbers come out the same.
    #[must_use]
    pub fn self_test(&self) -> [u8; 32] {
        let starter = self.starter();
        let result = Worker::new(&starter).meet(0, starter.even(0), &Learnt::default());
        let mut hash = Sha256::new();
        hash.update(result.evaluations.to_le_bytes());
        for candidate in &result.candidates {
            let points = candidate.points.iter().flat_map(|point| [point.x, point.y]);
            let numbers = candidate.x.iter().copied().chain(points);
            for number in numbers.chain([candidate.score, candidate.violation]) {
                hash.update(number.to_bits().to_le_bytes());
            }
        }
        hash.finalize().into()
    }

    pub(super) fn starter(&self) -> Starter<'_> {
        let problem = |variant| DesignProblem::new(&self.plan, &self.brief, variant);
        Starter {
            plan: &self.plan,
            problems: self.brief.variants().into_iter().map(problem).collect(),
            objectives: self
                .brief
                .objectives
                .iter()
                .map(|(_, set)| set.clone())
                .collect(),
            limits: self.brief.limits.clone(),
            seed: self.brief.search.seed,
            alternatives: Alternatives::new(&self.brief.layout, &self.brief.search),
        }
    }
}

/// Runs the starts of a shard with these numbers of its own; `None` where `stop` was set before
/// they were through.
fn take_round(
    starter: &Starter,
    learnt: &Learnt,
    shard: Shard,
    own: Range<u64>,
    stop: &AtomicBool,
) -> Option<Vec<Taken>> {
    let sizes = starter.problems.len();
    let run = |worker: &mut Worker, own| {
        let start = shard.start(own);
        let choice = learnt.choice(starter.seed, start, sizes);
        let run = || worker.run(start, choice, learnt);
        (!stop.load(Ordering::Relaxed))
            .then(run)
            .map(|result| Taken {
                start,
                choice,
                result,
            })
    };
    own.into_par_iter()
        .map_init(|| Worker::new(starter), run)
        .collect()
}

/// Lowers the worst violation of the nearest layouts: least squares leaves it larger than
/// it need be. Gives the `keep` nearest, and the evaluations spent.
fn near(starter: &Starter, mut archive: Archive, keep: usize) -> (Vec<Candidate>, u64) {
    let distinct = |archive: &Archive, keep: usize| -> Vec<Candidate> {
        let ranked = archive.ranked();
        let chosen = starter.alternatives.distinct(&ranked, keep);
        chosen.iter().map(|&index| ranked[index].clone()).collect()
    };
    let nearer: Vec<_> = distinct(&archive, NEARED)
        .into_par_iter()
        .filter_map(|candidate| {
            let mut worker = Worker::new(starter);
            let problem = &mut worker.problems[candidate.size];
            problem.set_purpose(Purpose::Nearest, 0.0);
            let from = problem.with_slacks(&candidate.x)?;
            let settings = MinimiserSettings {
                budget: 300,
                ..MinimiserSettings::default()
            };
            let outcome = solve(problem, &mut Minimiser::new(settings), &from);
            let x = &outcome.x[..problem.variables().len()];
            let spent = count(&outcome);
            Some((worker.verify(candidate.start, candidate.size, x), spent))
        })
        .collect();
    let mut evaluations = 0;
    for (candidate, spent) in nearer {
        evaluations += spent;
        archive.insert(candidate);
    }
    (distinct(&archive, keep), evaluations)
}
