//! Floor 6: from results to text, for readers and for machines. Pure functions; nothing here
//! knows files or streams.
//!
//! - `table`: aligned columns. `curves`, `clearances`, `comparison`: what a person reads.
//! - `figure`: curves and linkage as SVG. `page`: the report on the table. `run`: what it is
//!   made from.
//! - `plot`: curves in a terminal. `export`: what goes into CAD and spreadsheets.
//! - `json`, `csv`: every number in full, read back bit for bit.
//!
//! What a person reads is rounded, and ends in [`CAUTION`].

pub mod clearances;
pub mod comparison;
pub mod cost;
pub mod csv;
pub mod curves;
pub mod drift;
pub mod export;
pub mod figure;
pub mod json;
pub mod margins;
pub mod moved;
pub mod page;
pub mod plot;
pub mod ranking;
pub mod results;
pub mod run;
pub mod sensitivity;
pub mod table;
pub mod tolerance;
pub mod traced;
pub mod trade;
mod words;

use crate::curves::{Cog, State, Suspension};
use crate::design::TargetResult;
use crate::input::{Curve, Layout, ObjectiveSet, Place};

/// The last lines of everything that a person reads.
pub const CAUTION: &str = "\
Kinematics only: nothing here speaks of strength, stiffness or fatigue. A frame
needs testing to ISO 4210 and local codes, and a qualified engineer's sign-off,
before anyone rides it.";

/// A layout in motion, which a report is about.
#[derive(Clone, Copy, Debug)]
pub struct Subject<'a> {
    /// The layout.
    pub layout: &'a Layout,
    /// The same layout in motion.
    pub suspension: &'a Suspension<'a>,
}

/// How a layout does on the targets of objective sets.
#[derive(Clone, Copy, Debug)]
pub struct Verdict<'a> {
    /// The sets.
    pub sets: &'a [&'a ObjectiveSet],
    /// One result a target, set by set.
    pub targets: &'a [TargetResult],
}

impl<'a> Subject<'a> {
    /// A report's subject.
    #[must_use]
    pub const fn new(layout: &'a Layout, suspension: &'a Suspension<'a>) -> Self {
        Self { layout, suspension }
    }

    /// The state at a place.
    #[must_use]
    pub fn at(&self, place: Place) -> State<f64> {
        self.suspension.state(self.suspension.parameter_at(place))
    }

    /// States uniform in travel from top to end; at least these two.
    pub fn samples(&self, count: u32) -> impl Iterator<Item = State<f64>> + '_ {
        let last = count.max(2) - 1;
        (0..=last).map(move |index| {
            let fraction = f64::from(index) / f64::from(last);
            self.at(Place::Fraction(fraction))
        })
    }

    /// The value of a curve in a state, and of each cog where it depends on it.
    #[must_use]
    pub fn values(&self, curve: Curve, state: &State<f64>) -> Vec<(Option<Cog>, f64)> {
        let cogs = self.suspension.bicycle().cogs();
        if curve.depends_on_cog() {
            let value = |&cog| (Some(cog), self.suspension.value(curve, state, cog));
            cogs.iter().map(value).collect()
        } else {
            // Every cassette has a cog, and any serves where the cog does not matter.
            let value = |&cog| (None, self.suspension.value(curve, state, cog));
            cogs.iter().take(1).map(value).collect()
        }
    }

    /// The value of a curve that does not depend on the cog.
    fn value(&self, curve: Curve, state: &State<f64>) -> f64 {
        let values = self.values(curve, state);
        values.first().map_or(f64::NAN, |&(_, value)| value)
    }
}
