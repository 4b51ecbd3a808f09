//! The layouts of a ranking, each made the best and the most forgiving of its neighbourhood.
//!
//! Lowering the score takes many starts to the same few places, and a layout as it was first met
//! is not as good as it could be. What a ranking should show are the alternatives: places
//! well apart, each as good as its own surroundings allow, and among what is as good there, by
//! the steps in which scores are told apart, what forgives most.

use super::archive::{order, step};
use super::lower::Neighbourhood;
use super::start::{Candidate, Starter};
use rayon::prelude::*;
use std::cmp::Ordering;

/// Places looked into for each layout to be kept.
const PLACES: usize = 2;

/// How often what comes to be kept is refined; hardly anything is new after the second time.
const PASSES: usize = 4;

/// By how much bands are narrowed to see whether the score stays on its step, in shares of a half
/// width.
const NARROWINGS: [f64; 7] = [0.005, 0.01, 0.02, 0.04, 0.08, 0.16, 0.32];

/// How good a layout is already.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum State {
    /// As the search found it.
    Found,
    /// The best of its neighbourhood.
    Best,
    /// Nothing more is done with it.
    Done,
}

/// A layout on its way to the ranking.
#[derive(Clone, Debug)]
struct Entry {
    candidate: Candidate,
    within: Neighbourhood,
    state: State,
}

impl Entry {
    /// Takes a layout if it is better.
    fn offer(&mut self, layout: Option<Candidate>) {
        let better = layout.filter(|layout| order(layout, &self.candidate) == Ordering::Less);
        if let Some(layout) = better {
            self.candidate = layout;
        }
    }
}

/// From feasible candidates, best first, the `keep` to be ranked, and the evaluations spent.
pub(super) fn refine(
    starter: &Starter,
    candidates: Vec<Candidate>,
    keep: usize,
) -> (Vec<Candidate>, u64) {
    if candidates.iter().all(|candidate| candidate.x.is_empty()) {
        // Nothing may move.
        return (candidates.into_iter().take(1).collect(), 0);
    }
    let entries = candidates.into_iter().map(|candidate| Entry {
        within: Neighbourhood {
            about: candidate.x.clone(),
            distance: starter.alternatives.distance(),
        },
        candidate,
        state: State::Found,
    });
    let mut pool: Vec<Entry> = entries.collect();
    let places = starter
        .alternatives
        .spread(&in_order(&pool), keep.saturating_mul(PLACES));
    let mut evaluations = advance(&mut pool, &places, |entry| lower(starter, entry));
    for _ in 0..PASSES {
        pool.sort_by(|a, b| order(&a.candidate, &b.candidate));
        let kept = starter.alternatives.distinct(&in_order(&pool), keep);
        let open = |&index: &usize| pool[index].state != State::Done;
        let open: Vec<usize> = kept.into_iter().filter(open).collect();
        if open.is_empty() {
            break;
        }
        evaluations += advance(&mut pool, &open, |entry| finish(starter, entry));
    }
    pool.sort_by(|a, b| order(&a.candidate, &b.candidate));
    let kept = starter.alternatives.distinct(&in_order(&pool), keep);
    let kept = kept.into_iter().map(|index| pool[index].candidate.clone());
    (kept.collect(), evaluations)
}

fn in_order(pool: &[Entry]) -> Vec<&Candidate> {
    pool.iter().map(|entry| &entry.candidate).collect()
}

/// Puts what `improve` makes of the chosen entries in their place, and gives the evaluations
/// spent.
fn advance(
    pool: &mut [Entry],
    chosen: &[usize],
    improve: impl Fn(&Entry) -> (Entry, u64) + Sync,
) -> u64 {
    let improved: Vec<_> = chosen
        .par_iter()
        .map(|&index| improve(&pool[index]))
        .collect();
    let mut evaluations = 0;
    for (&index, (entry, spent)) in chosen.iter().zip(improved) {
        evaluations += spent;
        pool[index] = entry;
    }
    evaluations
}

/// The best of the entry's neighbourhood.
fn lower(starter: &Starter, entry: &Entry) -> (Entry, u64) {
    let mut entry = entry.clone();
    let (best, spent) = starter.lower(&entry.candidate, Some(&entry.within), 0.0);
    entry.state = State::Best;
    entry.offer(best);
    (entry, spent)
}

/// The most forgiving layout of the entry's neighbourhood whose score is on the same step as that
/// of the best: the one with the bands narrowed most, by halves of the narrowings.
fn finish(starter: &Starter, entry: &Entry) -> (Entry, u64) {
    let (mut entry, mut evaluations) = match entry.state {
        State::Found => lower(starter, entry),
        State::Best | State::Done => (entry.clone(), 0),
    };
    entry.state = State::Done;
    let (mut low, mut high) = (0, NARROWINGS.len());
    while low < high {
        let middle = usize::midpoint(low, high);
        let from = &entry.candidate;
        let (found, spent) = starter.lower(from, Some(&entry.within), NARROWINGS[middle]);
        evaluations += spent;
        match found.filter(|found| found.feasible && step(found) <= step(from)) {
            Some(found) => {
                entry.offer(Some(found));
                low = middle + 1;
            }
            None => high = middle,
        }
    }
    (entry, evaluations)
}
