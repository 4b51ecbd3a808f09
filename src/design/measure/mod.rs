//! Named numbers of a layout, one list for everything that reports them.
//!
//! A [`Measure`] is a name, a unit and a [`Form`]: how the number is made from the curves. The
//! form is looked at in three ways that share it: exactly ([`Measure::value`]), with exact
//! derivatives by anything that moves the points ([`Gradients`]), and by samples in lanes of
//! layouts (`sampled`). [`reported`] is the list that tables show; [`aims`] gives the numbers
//! that a target looks at, with their band; [`clearances`] those about parts.
//!
//! Sources of the derivatives: at a largest or smallest value along the travel only the curve's
//! own change counts (envelope theorem); a place that is a share of the travel or of the stroke
//! moves with the design (implicit function theorem), and so does the moment at which a curve is
//! greatest or least. The smallest clearance is such a least value, its contact held in place;
//! where the cores of two parts overlap, their least way out may change from one edge to another
//! just there, and the derivative is then that of one of the two.

mod course;
mod forms;
mod gradient;
mod list;
mod moving;
mod sampled;
mod slacks;

pub use forms::{Form, Spots, locate};
pub use gradient::{Drawing, Gradients, Slope, VARIABLES};
pub use list::{Aim, aims, clearances, reported};
pub use moving::{Moving, Pin, Spot};
pub use sampled::{Batch, Lane, Sampled, Sampler};
pub use slacks::Interest;

use crate::curves::Suspension;

/// One named number of a layout.
#[derive(Clone, Debug, PartialEq)]
pub struct Measure {
    /// The name in every file.
    pub name: String,
    /// The same as the heading of a column.
    pub heading: String,
    /// Its unit, as curves have it.
    pub unit: &'static str,
    /// The difference that would just be noticed, by a rider or in a test (common practice, no
    /// source): what makes numbers of unlike units comparable.
    pub noticeable: f64,
    /// How it is made from the curves.
    pub form: Form,
}

impl Measure {
    /// Its value, of the continuous curves.
    #[must_use]
    pub fn value(&self, suspension: &Suspension) -> f64 {
        let spots = self.form.locate(suspension);
        let value = self.form.combine(&Moving::of(suspension), &spots);
        value * self.form.sign(value)
    }
}
