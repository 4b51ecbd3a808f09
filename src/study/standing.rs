//! How a search stands after a round.

use super::archive::Archive;
use super::found::{Found, Round};
use super::rank::{KeyValues, Study};
use super::record;
use super::search::Search;
use super::start::Starter;
use crate::curves::Suspension;

/// How a search stands, told after every round. What is dear is worked out when asked for.
#[derive(Debug)]
pub struct Standing<'s> {
    pub(super) search: &'s Search,
    pub(super) starter: &'s Starter<'s>,
    pub(super) pool: &'s rayon::ThreadPool,
    pub(super) found: &'s Found,
    pub(super) round: &'s Round,
    pub(super) of: Option<u64>,
}

impl Standing<'_> {
    /// What is found.
    #[must_use]
    pub fn found(&self) -> &Found {
        self.found
    }

    /// Starts to take, where that is decided.
    #[must_use]
    pub fn of(&self) -> Option<u64> {
        self.of
    }

    /// The last round as a record of a journal.
    #[must_use]
    pub fn record(&self) -> Vec<u8> {
        record::encode(self.round)
    }

    /// Score of the best layout, where one is feasible.
    #[must_use]
    pub fn best(&self) -> Option<f64> {
        self.found.archive.best().map(|best| best.score)
    }

    /// How many distinct feasible layouts there are, counted up to `most`.
    #[must_use]
    pub fn distinct(&self, most: usize) -> usize {
        if self.found.archive.has_feasible() {
            self.starter.distinct(&self.found.archive, most)
        } else {
            0
        }
    }

    /// What a person looks at first in the best layout, where one is feasible.
    #[must_use]
    pub fn key(&self) -> Option<KeyValues> {
        let best = self.found.archive.best()?;
        let problem = &self.starter.problems[best.size];
        let stroke = problem.construction().size().stroke;
        let (plan, bicycle) = (self.starter.plan, problem.bicycle().clone());
        let suspension = Suspension::assembled(plan, bicycle, &best.points, stroke);
        Some(KeyValues::of(&suspension))
    }

    /// The ranking as it would be if the search ended here.
    #[must_use]
    pub fn study(&self) -> Study {
        let found = self.found.clone();
        self.pool
            .install(|| self.search.conclude(self.starter, found, true))
    }
}

impl Starter<'_> {
    /// How many of the kept layouts are distinct, counted up to `most`.
    pub(super) fn distinct(&self, archive: &Archive, most: usize) -> usize {
        self.alternatives.distinct(&archive.ranked(), most).len()
    }
}
