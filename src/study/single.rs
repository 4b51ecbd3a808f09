//! The starts of a search one at a time, to see what each costs and brings.

use super::learning::Learnt;
use super::search::Search;
use super::start::{Candidate, Worker};
use crate::number::Point;

/// The starts of a search.
#[derive(Debug)]
pub struct Starts<'s, 'p>(Worker<'s, 'p>);

/// A layout that a start came by.
#[derive(Clone, Debug)]
pub struct Single {
    /// Whether all targets are met and all limits hold, of the continuous curves.
    pub feasible: bool,
    /// Score; 0 is exact, 1 on the edge everywhere.
    pub score: f64,
    /// Its points, in the order of the layout.
    pub points: Vec<Point<f64>>,
}

impl Search {
    /// Lends the starts of this search, to be run one at a time.
    pub fn with_starts<R>(&self, using: impl FnOnce(&mut Starts) -> R) -> R {
        let starter = self.starter();
        using(&mut Starts(Worker::new(&starter)))
    }
}

impl Starts<'_, '_> {
    /// The layout as start number `number` first meets everything, if it assembles, and the
    /// evaluations spent.
    pub fn meet(&mut self, number: u64) -> (Option<Single>, u64) {
        let even = self.0.starter.even(number);
        let result = self.0.meet(number, even, &Learnt::default());
        (result.candidates.first().map(told), result.evaluations)
    }

    /// All layouts of start number `number`, the one with its score lowered last, and the
    /// evaluations spent.
    pub fn run(&mut self, number: u64) -> (Vec<Single>, u64) {
        let even = self.0.starter.even(number);
        let result = self.0.run(number, even, &Learnt::default());
        let layouts = result.candidates.iter().map(told);
        (layouts.collect(), result.evaluations)
    }
}

fn told(candidate: &Candidate) -> Single {
    Single {
        feasible: candidate.feasible,
        score: candidate.score,
        points: candidate.points.clone(),
    }
}
