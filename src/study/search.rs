//! Rounds of starts over threads.

use super::alternatives::Alternatives;
use super::archive::Archive;
use super::history::note;
use super::rank::{Study, rank};
use super::refine::refine;
use super::start::{Candidate, Ending, Result as StartResult, Starter, Worker, count, solve};
use crate::design::{DesignProblem, Purpose};
use crate::input::{Brief, Faults, ShockSize, Variant};
use crate::mechanism::Plan;
use crate::optimise::{Minimiser, MinimiserSettings};
use rayon::prelude::*;
use std::collections::BTreeMap;

/// Starts of one round; what is decided between rounds does not depend on threads.
const ROUND: u64 = 64;

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

/// How far a search is, told after every round.
#[derive(Clone, Copy, Debug)]
pub struct Progress {
    /// Starts taken.
    pub starts: u64,
    /// Starts to take.
    pub of: u64,
    /// Starts that ended in a feasible layout.
    pub feasible: u64,
    /// Best score so far, where one is feasible.
    pub best: Option<f64>,
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
    fn new(variant: Variant) -> Self {
        Self {
            size: variant.size,
            chainring_teeth: variant.chainring_teeth,
            starts: 0,
            feasible: 0,
            best: None,
        }
    }

    fn take(&mut self, result: &StartResult) {
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
        })
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
    pub fn run(&self, mut watch: impl FnMut(Progress) -> Control) -> Result<Study, SearchError> {
        let pool = rayon::ThreadPoolBuilder::new()
            .num_threads(self.threads)
            .build()
            .map_err(|error| SearchError::Threads(self.threads, error))?;
        let starter = self.starter();
        let options = self.brief.search;
        let mut archive = Archive::new(options.distinct, options.rank);
        let (mut taken, mut evaluations, mut interrupted) = (0, 0, false);
        let (mut endings, mut milestones) = (Endings::new(), Vec::new());
        let mut sizes: Vec<SizeTally> = self
            .brief
            .variants()
            .into_iter()
            .map(SizeTally::new)
            .collect();
        while taken < options.starts {
            let round = taken..(taken + ROUND).min(options.starts);
            let numbers = round.clone();
            taken = round.end;
            let results: Vec<StartResult> = pool.install(|| {
                round
                    .into_par_iter()
                    .map_init(|| Worker::new(&starter), Worker::run)
                    .collect()
            });
            for (start, result) in numbers.zip(results) {
                evaluations += result.evaluations;
                *endings.entry(result.ending).or_insert(0) += 1;
                sizes[starter.size_of(start)].take(&result);
                for candidate in result.candidates {
                    archive.insert(candidate);
                }
            }
            let progress = Progress {
                starts: taken,
                of: options.starts,
                feasible: endings.get(&Ending::Feasible).copied().unwrap_or(0),
                best: archive.best().map(|best| best.score),
            };
            note(&mut milestones, progress);
            if watch(progress) == Control::Stop && taken < options.starts {
                interrupted = true;
                break;
            }
        }
        let kept = pool.install(|| {
            let (kept, spent) = if archive.has_feasible() {
                refine(&starter, archive.into_feasible(), options.keep)
            } else {
                near(&starter, archive, options.keep.max(JUDGED))
            };
            evaluations += spent;
            kept
        });
        let (layouts, blockers) = rank(&starter, &self.brief, kept, options.keep);
        Ok(Study {
            layouts,
            blockers,
            starts: taken,
            evaluations,
            endings,
            sizes,
            milestones,
            interrupted,
        })
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
