//! The starts of a search one at a time, to see what each costs and brings.

use super::search::Search;
use super::start::{Candidate, Starter};
use crate::number::Point;

/// The starts of a search.
#[derive(Debug)]
pub struct Starts<'s> {
    starter: Starter<'s>,
}

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
    /// The starts of this search, to be run one at a time.
    #[must_use]
    pub fn starts(&self) -> Starts<'_> {
        Starts {
            starter: self.starter(),
        }
    }
}

impl Starts<'_> {
    /// The layout as start number `number` first meets everything, if it assembles, and the
    /// evaluations spent.
    #[must_use]
    pub fn meet(&self, number: u64) -> (Option<Single>, u64) {
        let result = self.starter.meet(number);
        (result.candidates.first().map(told), result.evaluations)
    }

    /// All layouts of start number `number`, the one with its score lowered last, and the
    /// evaluations spent.
    #[must_use]
    pub fn run(&self, number: u64) -> (Vec<Single>, u64) {
        let result = self.starter.run(number);
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
