//! Parts: what takes up room around the linkage, as shapes in side view.
//!
//! A part is a core (a point, a line, or a convex polygon) made thicker by half its diameter
//! all round. Where it stands is said by points of the linkage, which it then follows, or by
//! coordinates in the frame at full extension, which a body carries from there: in every
//! candidate of a search it stands in the same place at full extension.

mod clearance;
mod read;
mod write;

pub use clearance::{Clearance, Relation};
pub(super) use clearance::{KINDS as CLEARANCE_KINDS, read as read_clearance};
pub(super) use read::{Known, read};
pub(super) use write::{Names as WriteNames, parts as write};

use super::layout::{BodyId, PointId};
use crate::number::Point;

/// Something that takes up room.
#[derive(Clone, Debug, PartialEq)]
pub struct Part {
    /// Its name, unique among parts and points.
    pub name: String,
    /// Its core.
    pub shape: Shape,
    /// By how much it is thicker than its core all round, mm: half its diameter.
    pub radius: f64,
    /// From where to where it reaches, in mm from the mid-plane; everywhere where there is none.
    pub layer: Option<(f64, f64)>,
}

/// The core of a part, before it is made thicker.
#[derive(Clone, Debug, PartialEq)]
pub enum Shape {
    /// About one place.
    Circle(Anchor),
    /// Along the line between two places.
    Capsule([Anchor; 2]),
    /// A convex polygon, its corners in the frame's coordinates at full extension, mm.
    Polygon {
        /// Three corners or more, in either sense.
        corners: Vec<Point<f64>>,
        /// What carries it.
        carrier: Carrier,
    },
    /// Along the line between the shock's eyes.
    AlongShock {
        /// The eye that it moves with.
        eye: PointId,
        /// The other eye.
        other: PointId,
        /// Where it begins, mm from that eye towards the other.
        from: f64,
        /// Where it ends, mm from that eye towards the other, after where it begins.
        to: f64,
        /// How far it lies to the left of the line from that eye to the other, mm.
        offset: f64,
    },
    /// The chainring by its pitch circle, about the bottom bracket: it is as large as its teeth make
    /// it, whichever the search takes.
    Chainring,
    /// A straight run of the chain for each cog (and those beyond an idler), at its pitch line.
    Chain {
        /// Which run.
        run: ChainRun,
        /// The cogs, by their teeth.
        cogs: Vec<u32>,
    },
}

/// A place that a part is drawn by.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Anchor {
    /// A point of the linkage.
    Point(PointId),
    /// A place in the frame's coordinates at full extension, carried by a body.
    Carried {
        /// The place, mm.
        position: Point<f64>,
        /// What carries it.
        carrier: Carrier,
    },
}

/// The body that carries what is drawn by coordinates.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Carrier {
    /// The body.
    pub body: BodyId,
    /// A point of it that goes along; none of the frame, which stays.
    pub base: Option<PointId>,
}

/// Which straight run of the chain.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ChainRun {
    /// The tight one, over an idler where there is one.
    Upper,
    /// The common lower tangent of chainring and cog: a derailleur leads the chain below it.
    Lower,
}

impl Part {
    /// A point of the linkage as a part without size.
    pub(super) fn of_point(name: &str, point: PointId) -> Self {
        Self {
            name: name.into(),
            shape: Shape::Circle(Anchor::Point(point)),
            radius: 0.0,
            layer: None,
        }
    }

    /// Whether the two can touch at all: not where one lies beside the other.
    #[must_use]
    pub fn shares_a_layer_with(&self, other: &Self) -> bool {
        match (self.layer, other.layer) {
            (Some((low, high)), Some((other_low, other_high))) => {
                low < other_high && other_low < high
            }
            _ => true,
        }
    }

    /// The points of the linkage that it is drawn by.
    #[must_use]
    pub fn points(&self) -> Vec<PointId> {
        let of = |anchor: &Anchor| match anchor {
            Anchor::Point(point) => Some(*point),
            Anchor::Carried { .. } => None,
        };
        match &self.shape {
            Shape::Circle(anchor) => of(anchor).into_iter().collect(),
            Shape::Capsule(anchors) => anchors.iter().filter_map(of).collect(),
            Shape::AlongShock { eye, .. } => vec![*eye],
            Shape::Polygon { .. } | Shape::Chainring | Shape::Chain { .. } => Vec::new(),
        }
    }
}
