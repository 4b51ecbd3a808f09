//! What the curves should be: a named list of targets.
//!
//! A target names one curve, where on it, and what is wanted there; or one number of the
//! summary, and what is wanted of it. Every combination is checked here, except what needs
//! a layout: that is [`ObjectiveSet::check_against`].

mod read;
#[cfg(test)]
pub(super) mod tests;

use super::fault::{Fault, Faults};
use super::json::{self, Node, Sink};
use super::layout::{Layout, SagOf};
use super::quantity::{Curve, Summary};
use super::reading::range_fault;

/// A named list of targets.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct ObjectiveSet {
    /// What a person calls it.
    pub name: String,
    /// One or more, in the order of the file.
    pub targets: Vec<Target>,
}

/// One wish about one quantity.
#[derive(Clone, Debug, PartialEq)]
pub struct Target {
    /// What is looked at, and where.
    pub quantity: Quantity,
    /// What it should be.
    pub want: Want,
    /// Weight in the score, above 0; 1 where the file says nothing.
    pub weight: f64,
}

/// What a target looks at.
#[derive(Clone, Debug, PartialEq)]
pub enum Quantity {
    /// A curve at one place.
    At {
        /// The curve.
        curve: Curve,
        /// Where on it.
        place: Place,
        /// For which cogs.
        cogs: Cogs,
    },
    /// A curve over a range of the travel.
    Over {
        /// The curve.
        curve: Curve,
        /// Upper end of the range.
        from: Place,
        /// Lower end of the range, further into the travel.
        to: Place,
        /// For which cogs.
        cogs: Cogs,
    },
    /// One number about the whole travel.
    Summary(Summary),
}

impl Quantity {
    /// The name in every file.
    #[must_use]
    pub const fn name(&self) -> &'static str {
        match self {
            Self::At { curve, .. } | Self::Over { curve, .. } => curve.name(),
            Self::Summary(summary) => summary.name(),
        }
    }

    /// The unit of its values.
    #[must_use]
    pub const fn unit(&self) -> &'static str {
        match self {
            Self::At { curve, .. } | Self::Over { curve, .. } => curve.unit(),
            Self::Summary(summary) => summary.unit(),
        }
    }

    /// For which cogs it is asked.
    #[must_use]
    pub const fn cogs(&self) -> &Cogs {
        match self {
            Self::At { cogs, .. } | Self::Over { cogs, .. } => cogs,
            Self::Summary(_) => &Cogs::None,
        }
    }
}

/// A place along the travel.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Place {
    /// Full extension.
    Top,
    /// Where the layout says that sag is.
    Sag,
    /// Full stroke.
    End,
    /// A fraction of total travel, 0 to 1.
    Fraction(f64),
}

/// The cogs that a target is about.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Cogs {
    /// The quantity does not depend on the cog.
    None,
    /// Every cog of the cassette.
    All,
    /// The cogs with these teeth, one or more, all different.
    Teeth(Vec<u32>),
}

/// What a quantity should be, in the quantity's unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Want {
    /// A value with an allowance to both sides.
    Value {
        /// The value aimed at.
        value: f64,
        /// The allowance, above 0.
        within: f64,
    },
    /// Anything in a band.
    Between {
        /// Lower edge.
        low: f64,
        /// Upper edge, above the lower.
        high: f64,
    },
    /// Deviation from the chord of the range, at most this, above 0.
    StraightWithin(f64),
    /// Largest less smallest over all named places and cogs, at most this, above 0.
    SpreadWithin(f64),
    /// Never turning against a direction.
    Monotone(Direction),
}

/// The direction of a monotone curve, from top to end.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Direction {
    /// Never decreasing.
    Rising,
    /// Never increasing.
    Falling,
}

impl ObjectiveSet {
    /// Reads an objective set; `file` is its name in messages.
    ///
    /// # Errors
    ///
    /// Every fault of syntax or, where there is none, every fault of keys and values.
    pub fn from_json(file: &str, text: &str) -> Result<Self, Faults> {
        let value = json::parse(file, text)?;
        let sink = Sink::new(file);
        let set = read::objective_set(&Node::root(&sink, &value));
        sink.finish(set)
    }

    /// The faults that only the layout shows; `file` is the set's name in messages.
    ///
    /// They are cogs that the cassette lacks, ranges that sag inverts, and a spread over a
    /// cassette of one cog.
    #[must_use]
    pub fn check_against(&self, file: &str, layout: &Layout) -> Vec<Fault> {
        let sink = Sink::new(file);
        for (index, target) in self.targets.iter().enumerate() {
            check_target(&sink, &format!("targets[{index}]"), target, layout);
        }
        sink.into_faults()
    }
}

/// Sag as a fraction of travel, where the layout says so without a motion.
pub(super) fn sag_of_travel(layout: &Layout) -> Option<f64> {
    let sag = layout.bicycle.sag;
    (sag.of == SagOf::Travel).then_some(sag.fraction)
}

fn check_target(sink: &Sink, path: &str, target: &Target, layout: &Layout) {
    let cassette = &layout.bicycle.cassette_teeth;
    match target.quantity.cogs() {
        Cogs::Teeth(cogs) => {
            let missing = cogs
                .iter()
                .enumerate()
                .filter(|(_, cog)| !cassette.contains(cog));
            for (index, &cog) in missing {
                let teeth: Vec<_> = cassette.iter().map(u32::to_string).collect();
                let expected = format!("a cog of the cassette: {}", teeth.join(", "));
                let near = cassette.iter().min_by_key(|other| other.abs_diff(cog));
                let path = format!("{path}.cogs[{index}]");
                let fault = Fault::new(sink.file, path, cog.to_string(), expected);
                sink.push(fault.suggesting(near.map(u32::to_string)));
            }
        }
        Cogs::All if cassette.len() == 1 => {
            let at_one_place = matches!(target.quantity, Quantity::At { .. });
            if at_one_place && matches!(target.want, Want::SpreadWithin(_)) {
                let found = "a spread over the one cog of the cassette";
                sink.fault(
                    format!("{path}.spread_within"),
                    found,
                    "several places or cogs",
                );
            }
        }
        Cogs::All | Cogs::None => {}
    }
    if let Quantity::Over { from, to, .. } = target.quantity {
        let path = format!("{path}.over");
        if let Some(fault) = range_fault(sink, &path, from, to, sag_of_travel(layout)) {
            sink.push(fault);
        }
    }
}
