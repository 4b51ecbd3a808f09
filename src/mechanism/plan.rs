//! The order in which the points of a mechanism follow from one another.
//!
//! A plan holds structure only, so one plan serves every candidate of a search: lengths
//! and the side of each pair of links come from the candidate's own drawn points.

use super::closure::Closure;
use crate::input::{BodyId, PointId};

/// One piece of the construction; slots are indices of points.
#[derive(Clone, Debug)]
pub(super) enum Step {
    /// `point` is fixed to a body of which `base` is placed already.
    Place { base: [usize; 2], point: usize },
    /// `pivot` joins two links whose other ends are placed already; the shock, if it is one
    /// of the two, is the first.
    Pair {
        ends: [usize; 2],
        pivot: usize,
        shock: bool,
    },
    /// `point` turns with the driven body about `pivot`.
    Turn { pivot: usize, point: usize },
    /// Several bodies that close only together.
    Close(Closure),
}

/// What moves the mechanism along.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Driver {
    /// The shock's length is an input of the steps.
    Shock,
    /// A body is turned, and the shock's length follows.
    Body(BodyId),
}

/// The compiled order of construction of one mechanism's structure.
#[derive(Clone, Debug)]
pub struct Plan {
    pub(super) points: usize,
    pub(super) fixed: Vec<usize>,
    pub(super) steps: Vec<Step>,
    pub(super) driver: Driver,
    pub(super) shock: [usize; 2],
    /// Of every body, the two points that tell its orientation; none for the frame.
    pub(super) references: Vec<Option<[usize; 2]>>,
}

impl Plan {
    /// Points that close only together, if any do.
    pub(super) fn closure_unknowns(&self) -> &[usize] {
        self.steps
            .iter()
            .find_map(|step| match step {
                Step::Close(closure) => Some(closure.unknowns()),
                Step::Place { .. } | Step::Pair { .. } | Step::Turn { .. } => None,
            })
            .unwrap_or(&[])
    }

    /// How many margins a pose has: one for each pair or closure, two for a driven shock.
    pub(super) fn margin_count(&self) -> usize {
        let own = |step: &&Step| matches!(step, Step::Pair { .. } | Step::Close(_));
        let steps = self.steps.iter().filter(own).count();
        steps + if self.driver == Driver::Shock { 0 } else { 2 }
    }

    /// How many points the mechanism has.
    #[must_use]
    pub fn point_count(&self) -> usize {
        self.points
    }

    /// The eyes of the shock.
    #[must_use]
    pub fn shock_ends(&self) -> [PointId; 2] {
        self.shock.map(PointId)
    }

    /// Whether `point` stands on the frame and so never moves.
    #[must_use]
    pub fn is_fixed(&self, point: PointId) -> bool {
        self.fixed.contains(&point.index())
    }

    /// The pivot that margin number `margin` of a pose belongs to, to name it in a message.
    #[must_use]
    pub fn pivot_of_margin(&self, margin: usize) -> Option<PointId> {
        let with_margin = |step: &&Step| matches!(step, Step::Pair { .. } | Step::Close(_));
        match self.steps.iter().filter(with_margin).nth(margin) {
            Some(Step::Pair { pivot, .. }) => Some(PointId(*pivot)),
            Some(Step::Place { .. } | Step::Turn { .. } | Step::Close(_)) => None,
            // Margins beyond the steps' own are those of a driven shock.
            None => Some(PointId(self.shock[1])),
        }
    }
}

impl Step {
    /// How many dimensions of a candidate the step uses.
    pub fn dimension_count(&self) -> usize {
        match self {
            Self::Place { .. } | Self::Turn { .. } => 2,
            Self::Pair { .. } => 4,
            Self::Close(closure) => closure.dimension_count(),
        }
    }
}
