//! The bicycle around the mechanism: what stays the same for every candidate.

use crate::input::{BodyId, ForkCompression, Layout, PointId, Sag, Wrap};
use crate::number::{Point, Vector};

/// Roller chain pitch of bicycles, mm (ISO 9633).
const CHAIN_PITCH: f64 = 12.7;

/// Pitch radius in mm of a sprocket with `teeth` teeth: `p / (2 sin(180 deg / N))` (ISO 606).
///
/// ```
/// let radius = pivotwright::curves::pitch_radius(32);
/// assert!((2.0 * radius - 129.57).abs() < 0.01);
/// ```
#[must_use]
pub fn pitch_radius(teeth: u32) -> f64 {
    CHAIN_PITCH / (2.0 * libm::sin(std::f64::consts::PI / f64::from(teeth)))
}

/// A sprocket of the cassette.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cog {
    /// Number of teeth.
    pub teeth: u32,
    /// Pitch radius, mm.
    pub radius: f64,
}

/// An idler wheel in the upper chain run.
#[derive(Clone, Copy, Debug)]
pub(super) struct IdlerWheel {
    pub point: usize,
    /// Pitch radius, mm; negative where the chain passes under the idler.
    pub signed_radius: f64,
}

/// Constants of the bicycle, in the frame's coordinates.
#[derive(Clone, Debug)]
pub struct Bicycle {
    pub(super) axle: usize,
    pub(super) axle_body: BodyId,
    pub(super) brake_body: BodyId,
    pub(super) front_axle: Point<f64>,
    pub(super) rear_radius: f64,
    pub(super) front_radius: f64,
    pub(super) head_angle: f64,
    /// Unit vector along the steering axis, up and back: `(-cos d, sin d)`.
    pub(super) steering: Vector<f64>,
    pub(super) fork_travel: f64,
    pub(super) fork: ForkCompression,
    pub(super) centre_of_mass: Point<f64>,
    pub(super) ring_radius: f64,
    pub(super) cogs: Vec<Cog>,
    pub(super) idler: Option<IdlerWheel>,
    pub(super) sag: Sag,
}

impl Bicycle {
    /// The constants of `layout`.
    #[must_use]
    pub fn new(layout: &Layout) -> Self {
        let bicycle = &layout.bicycle;
        let (sine, cosine) = libm::sincos(bicycle.head_angle.to_radians());
        Self {
            axle: bicycle.rear_axle.index(),
            axle_body: layout.mechanism.axle_body,
            brake_body: layout.mechanism.brake_body,
            front_axle: bicycle.front_axle,
            rear_radius: bicycle.rear_wheel_radius,
            front_radius: bicycle.front_wheel_radius,
            head_angle: bicycle.head_angle,
            steering: Vector::new(-cosine, sine),
            fork_travel: bicycle.fork_travel,
            fork: bicycle.fork_compression,
            centre_of_mass: bicycle.centre_of_mass,
            ring_radius: pitch_radius(bicycle.chainring_teeth),
            cogs: bicycle
                .cassette_teeth
                .iter()
                .map(|&teeth| Cog {
                    teeth,
                    radius: pitch_radius(teeth),
                })
                .collect(),
            idler: bicycle.idler.map(|idler| IdlerWheel {
                point: idler.point.index(),
                signed_radius: match idler.wrap {
                    Wrap::Over => pitch_radius(idler.teeth),
                    Wrap::Under => -pitch_radius(idler.teeth),
                },
            }),
            sag: bicycle.sag,
        }
    }

    /// The same with a chainring of so many teeth.
    #[must_use]
    pub fn with_chainring(mut self, teeth: u32) -> Self {
        self.ring_radius = pitch_radius(teeth);
        self
    }

    /// Pitch radius of the chainring, mm.
    #[must_use]
    pub fn ring_radius(&self) -> f64 {
        self.ring_radius
    }

    /// The cassette, in the layout's order.
    #[must_use]
    pub fn cogs(&self) -> &[Cog] {
        &self.cogs
    }

    /// Slot of the rear axle among the mechanism's points.
    #[must_use]
    pub fn axle(&self) -> usize {
        self.axle
    }

    /// The rear axle.
    #[must_use]
    pub fn axle_point(&self) -> PointId {
        PointId(self.axle)
    }

    /// Where sag is.
    #[must_use]
    pub fn sag(&self) -> Sag {
        self.sag
    }
}
