//! The layouts of a ranking, each made the best and the most forgiving of its neighbourhood.
//!
//! Lowering the score takes many starts to the same few places, and a layout as it was first met
//! is not as good as it could be. What a ranking should show are the alternatives: places
//! well apart, each as good as its own surroundings allow, and among what is as good there, by
//! the steps in which scores are told apart, what forgives most.

use super::archive::{order, step, step_end};
use super::lower::Neighbourhood;
use super::start::{Candidate, Starter, Worker};
use rayon::prelude::*;
use std::cmp::Ordering;

/// Places looked into for each layout to be kept, at most.
const PLACES: usize = 2;

/// How often what comes to be kept is refined; hardly anything is new after the second time.
const PASSES: usize = 4;

/// How often bands are narrowed further.
const NARROWINGS: usize = 3;

/// Part of the room left to the score that is spent at once: its price grows on the way.
const SPENT: f64 = 0.7;

/// A narrowing that is not worth a try.
const LEAST: f64 = 2e-3;

/// Largest narrowing tried at once: beyond, other rows bind and the price says little.
const MOST: f64 = 0.03;

/// How good a layout is already.
#[derive(Clone, Copy, Debug, PartialEq)]
enum State {
    /// As the search found it.
    Found,
    /// The best of its neighbourhood, with bands narrowed by as much, and the price of more.
    Best { narrowing: f64, price: f64 },
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
    fn offer(&mut self, layout: Candidate) {
        if order(&layout, &self.candidate) == Ordering::Less {
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
        let all: Vec<&Candidate> = candidates.iter().collect();
        let kept = starter.alternatives.distinct(&all, keep);
        return (
            kept.iter()
                .map(|&index| candidates[index].clone())
                .collect(),
            0,
        );
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
    let most = keep.saturating_mul(PLACES);
    let places = starter.alternatives.spread(&in_order(&pool), most, keep);
    let mut evaluations = advance(starter, &mut pool, &places, lower);
    for _ in 0..PASSES {
        pool.sort_by(|a, b| order(&a.candidate, &b.candidate));
        let kept = starter.alternatives.distinct(&in_order(&pool), keep);
        let open = |&index: &usize| pool[index].state != State::Done;
        let open: Vec<usize> = kept.into_iter().filter(open).collect();
        if open.is_empty() {
            break;
        }
        evaluations += advance(starter, &mut pool, &open, finish);
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
    starter: &Starter,
    pool: &mut [Entry],
    chosen: &[usize],
    improve: impl Fn(&mut Worker, &Entry) -> (Entry, u64) + Sync,
) -> u64 {
    let improved: Vec<_> = chosen
        .par_iter()
        .map_init(
            || Worker::new(starter),
            |worker, &index| improve(worker, &pool[index]),
        )
        .collect();
    let mut evaluations = 0;
    for (&index, (entry, spent)) in chosen.iter().zip(improved) {
        evaluations += spent;
        pool[index] = entry;
    }
    evaluations
}

/// The best of the entry's neighbourhood.
fn lower(worker: &mut Worker, entry: &Entry) -> (Entry, u64) {
    let mut entry = entry.clone();
    let lowered = worker.lower(&entry.candidate, Some(&entry.within), 0.0);
    let evaluations = lowered.as_ref().map_or(0, |lowered| lowered.evaluations);
    entry.state = State::Done;
    if let Some(lowered) = lowered.filter(|lowered| lowered.layout.feasible) {
        entry.state = State::Best {
            narrowing: lowered.narrowing,
            price: lowered.price,
        };
        if lowered.layout.score < entry.candidate.score {
            entry.candidate = lowered.layout;
        }
    }
    (entry, evaluations)
}

/// The most forgiving layout of the entry's neighbourhood whose score is on the same step as that
/// of the best: the one with the bands narrowed most.
fn finish(worker: &mut Worker, entry: &Entry) -> (Entry, u64) {
    let (mut entry, mut evaluations) = match entry.state {
        State::Found => lower(worker, entry),
        State::Best { .. } | State::Done => (entry.clone(), 0),
    };
    let state = std::mem::replace(&mut entry.state, State::Done);
    let State::Best { narrowing, price } = state else {
        return (entry, evaluations);
    };
    let mut best = entry.candidate.clone();
    let (mut narrowing, mut more) = (narrowing, further(&best, price));
    for _ in 0..NARROWINGS {
        if more < LEAST {
            break;
        }
        let found = worker.lower(&best, Some(&entry.within), narrowing + more);
        evaluations += found.as_ref().map_or(0, |found| found.evaluations);
        let kept =
            found.filter(|found| found.layout.feasible && step(&found.layout) <= step(&best));
        if let Some(found) = kept {
            narrowing = found.narrowing;
            more = further(&found.layout, found.price);
            best = found.layout;
            entry.offer(best.clone());
        } else {
            more *= 0.4;
        }
    }
    (entry, evaluations)
}

/// By how much bands may be narrowed further while the score stays on its step.
fn further(layout: &Candidate, price: f64) -> f64 {
    let room = step_end(layout) * step_end(layout) - layout.score * layout.score;
    let further = SPENT * room / price;
    // Where it costs nothing there is no number.
    if further < MOST { further } else { MOST }
}
