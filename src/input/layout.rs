//! One suspension, fully placed: the bicycle, the points and bodies, the shock.
//!
//! Nothing names a suspension type. A point that stands on two or more bodies is a pivot
//! between them; the body called `frame` is ground; the shock is a distance between two
//! points. Every point is placed at full extension, in the frame of reference of the
//! bicycle: `x` forward and `y` up from the bottom bracket, mm.
//!
//! A [`Layout`] comes only from JSON text, so that a held one has passed every check that
//! needs no kinematics.

mod check;
mod read;
#[cfg(test)]
pub(super) mod tests;
mod write;

pub(super) use check::without_run;

use super::fault::Faults;
use super::json::{self, Sink};
use super::parts::{self, Part};
use crate::number::Point;
use std::sync::Arc;

/// Index of a point in [`Mechanism::points`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct PointId(pub(crate) usize);

impl PointId {
    /// Position in the list of points.
    #[must_use]
    pub const fn index(self) -> usize {
        self.0
    }
}

/// Index of a body in [`Mechanism::bodies`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct BodyId(pub(crate) usize);

impl BodyId {
    /// Position in the list of bodies.
    #[must_use]
    pub const fn index(self) -> usize {
        self.0
    }
}

/// One suspension, fully placed.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct Layout {
    /// What a person calls it.
    pub name: String,
    /// Everything that is not the linkage.
    pub bicycle: Bicycle,
    /// The linkage and its shock.
    pub mechanism: Mechanism,
    /// What takes up room around it, in the order of the file.
    pub parts: Vec<Arc<Part>>,
}

/// The bicycle around the linkage.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct Bicycle {
    /// The point at the rear wheel's centre; not on the frame.
    pub rear_axle: PointId,
    /// Centre of the front wheel, mm.
    pub front_axle: Point<f64>,
    /// Radius of the rear wheel, mm.
    pub rear_wheel_radius: f64,
    /// Radius of the front wheel, mm.
    pub front_wheel_radius: f64,
    /// Angle of the steering axis from the frame's `x` axis, degrees.
    pub head_angle: f64,
    /// Travel of the fork along its axis, mm.
    pub fork_travel: f64,
    /// How far the fork is compressed as the rear moves.
    pub fork_compression: ForkCompression,
    /// Centre of mass of bicycle and rider, fixed to the frame, mm.
    pub centre_of_mass: Point<f64>,
    /// Teeth of the chainring, which turns about the bottom bracket.
    pub chainring_teeth: u32,
    /// Teeth of each cog, all different, in the order of the file.
    pub cassette_teeth: Vec<u32>,
    /// Where the named position `sag` is.
    pub sag: Sag,
    /// A sprocket between cog and chainring.
    pub idler: Option<Idler>,
}

/// How far the fork is compressed as the rear moves.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum ForkCompression {
    /// The same fraction of its travel as the rear.
    Proportional,
    /// So many mm at every position, the top included.
    Fixed(f64),
}

/// Where the named position `sag` is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sag {
    /// Between 0 and 1, both excluded.
    pub fraction: f64,
    /// What it is a fraction of.
    pub of: SagOf,
}

/// What sag is a fraction of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SagOf {
    /// Total travel of the rear axle.
    Travel,
    /// Full stroke of the shock.
    Stroke,
}

/// A sprocket that guides the tight chain run between cog and chainring.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Idler {
    /// Its centre.
    pub point: PointId,
    /// Its teeth.
    pub teeth: u32,
    /// The side on which the chain passes.
    pub wrap: Wrap,
}

/// The side of an idler on which the chain passes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Wrap {
    /// Above it.
    Over,
    /// Below it.
    Under,
}

/// The linkage and its shock.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct Mechanism {
    /// Every point, in the order of the file.
    pub points: Vec<NamedPoint>,
    /// Every body, in the order of the file.
    pub bodies: Vec<Body>,
    /// The body that is ground.
    pub frame: BodyId,
    /// The shock.
    pub shock: Shock,
    /// The body that carries the rear brake's caliper; never the frame.
    pub brake_body: BodyId,
    /// The body with the axle whose instant centre is reported.
    pub axle_body: BodyId,
}

/// A point and where it is at full extension.
#[derive(Clone, Debug, PartialEq)]
pub struct NamedPoint {
    /// Its name, unique among the points.
    pub name: String,
    /// Where it is at full extension, mm.
    pub position: Point<f64>,
}

/// A rigid body.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Body {
    /// Its name, unique among the bodies.
    pub name: String,
    /// Its points, two or more, all different.
    pub points: Vec<PointId>,
}

/// The shock: a distance between two points of different bodies.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Shock {
    /// Its eyes.
    pub ends: [PointId; 2],
    /// How far it shortens from its eye-to-eye length, mm.
    pub stroke: f64,
}

impl Mechanism {
    /// The point of that name.
    #[must_use]
    pub fn point_named(&self, name: &str) -> Option<PointId> {
        self.points
            .iter()
            .position(|point| point.name == name)
            .map(PointId)
    }

    /// The body of that name.
    #[must_use]
    pub fn body_named(&self, name: &str) -> Option<BodyId> {
        self.bodies
            .iter()
            .position(|body| body.name == name)
            .map(BodyId)
    }

    /// Where `point` is at full extension, mm.
    ///
    /// # Panics
    ///
    /// Where `point` is of another layout with more points.
    #[must_use]
    pub fn position(&self, point: PointId) -> Point<f64> {
        self.points[point.0].position
    }

    /// Length of the shock at full extension, mm: the distance between its ends as drawn.
    #[must_use]
    pub fn eye_to_eye(&self) -> f64 {
        let [one, other] = self.shock.ends.map(|end| self.position(end));
        (other - one).length()
    }

    /// The bodies on which `point` stands, in order; two or more make it a pivot.
    pub fn bodies_of(&self, point: PointId) -> impl Iterator<Item = BodyId> + '_ {
        let carries = move |body: &Body| body.points.contains(&point);
        self.bodies
            .iter()
            .enumerate()
            .filter(move |(_, body)| carries(body))
            .map(|(i, _)| BodyId(i))
    }
}

impl Layout {
    /// Reads a layout; `file` is its name in messages.
    ///
    /// # Errors
    ///
    /// Every fault of syntax or, where there is none, every fault of keys and values,
    /// those of the structure that need no kinematics included.
    pub fn from_json(file: &str, text: &str) -> Result<Self, Faults> {
        let value = json::parse(file, text)?;
        let sink = Sink::new(file);
        let layout = read::layout(&json::Node::root(&sink, &value));
        sink.finish(layout)
    }

    /// The text of a layout file; read back it is the same layout, bit for bit.
    #[must_use]
    pub fn to_json(&self) -> String {
        write::layout(self)
    }

    /// What parts drawn around this layout may name.
    pub(super) fn known(&self) -> parts::Known<'_> {
        let mechanism = &self.mechanism;

        parts::Known {
            points: Some(mechanism.points.iter().map(|point| &*point.name).collect()),
            bodies: Some(
                mechanism
                    .bodies
                    .iter()
                    .map(|body| (&*body.name, &*body.points))
                    .collect(),
            ),
            ends: Some(mechanism.shock.ends),
            cogs: Some(&self.bicycle.cassette_teeth),
        }
    }

    /// The same linkage under another name, with other positions and stroke (mm).
    ///
    /// The caller answers for the numbers; reading [`Layout::to_json`] checks them again.
    ///
    /// # Panics
    ///
    /// Where `points` has not one position for each point.
    #[must_use]
    pub fn with_points(&self, name: String, points: &[Point<f64>], stroke: f64) -> Self {
        assert_eq!(
            points.len(),
            self.mechanism.points.len(),
            "one position for each point"
        );
        let mut layout = self.clone();
        layout.name = name;
        layout.mechanism.shock.stroke = stroke;
        for (point, &position) in layout.mechanism.points.iter_mut().zip(points) {
            point.position = position;
        }
        layout
    }

    /// The same layout with a chainring of so many teeth.
    #[must_use]
    pub fn with_chainring(mut self, teeth: u32) -> Self {
        self.bicycle.chainring_teeth = teeth;
        self
    }
}
