//! One moment of the motion, and the curves there.

use super::bicycle::{Bicycle, Cog};
use super::chassis::{Ground, fork_compression};
use super::drive::{Chain, Shortening};
use crate::input::Curve;
use crate::mechanism::{Motion, Pose, Rotation};
use crate::number::{Point, Scalar, Vector};

/// All that the curves need to know about one moment of the motion.
///
/// Velocities and rates are by the parameter of the motion.
#[derive(Clone, Copy, Debug)]
pub struct State<T> {
    /// Shortening of the shock, mm.
    pub stroke: T,
    /// Rise of the rear axle since full extension, mm.
    pub travel: T,
    /// Fork compression, mm.
    pub fork_compression: T,
    /// Rear axle, mm.
    pub axle: Point<T>,
    /// Velocity of the rear axle.
    pub axle_velocity: Vector<T>,
    /// Ground line.
    pub ground: Ground<T>,
    stroke_rate: T,
    axle_body_rate: T,
    brake_body_rate: T,
    brake_body_rotation: Rotation<T>,
    chain: Chain<T>,
    /// `-100 / ((h / L) n.a')`: percent per unit of horizontal pull.
    load_transfer: T,
    /// `-100 (t.a') / ((h / L) n.a')`, percent: of a pull at the axle.
    axle_pull: T,
    /// The shortening of the chain times `-100 / ((h / L) n.a')`.
    chain_pull: Shortening<T>,
}

impl<T: Scalar> State<T> {
    /// The state of `motion` in `pose`; `total_travel` is the layout's own, mm.
    pub fn new(bicycle: &Bicycle, motion: &Motion<'_, T>, pose: &Pose<T>, total_travel: T) -> Self {
        let mut state = Self::empty();
        state.set(bicycle, motion, pose, total_travel);
        state
    }

    /// A state of nothing, to be set.
    #[must_use]
    pub fn empty() -> Self {
        let zero = T::from_f64(0.0);
        let nowhere = Point::new(zero, zero);
        Self {
            stroke: zero,
            travel: zero,
            fork_compression: zero,
            axle: nowhere,
            axle_velocity: Vector::zero(),
            ground: Ground::empty(),
            stroke_rate: zero,
            axle_body_rate: zero,
            brake_body_rate: zero,
            brake_body_rotation: Rotation {
                cosine: zero,
                sine: zero,
            },
            chain: Chain::empty(),
            load_transfer: zero,
            axle_pull: zero,
            chain_pull: Shortening {
                along: zero,
                across: zero,
                second: None,
            },
        }
    }

    /// The state of one lane.
    #[must_use]
    pub fn extract(&self, lane: usize) -> State<T::Lane> {
        self.map(&|number: &T| number.extract(lane))
    }

    /// The state of one lane, in every lane.
    #[must_use]
    pub fn broadcast(lane: &State<T::Lane>) -> Self {
        lane.map(&|number: &T::Lane| T::broadcast(*number))
    }

    #[inline(always)]
    fn map<S>(&self, function: &impl Fn(&T) -> S) -> State<S> {
        State {
            stroke: function(&self.stroke),
            travel: function(&self.travel),
            fork_compression: function(&self.fork_compression),
            axle: self.axle.map(function),
            axle_velocity: self.axle_velocity.map(function),
            ground: self.ground.map(function),
            stroke_rate: function(&self.stroke_rate),
            axle_body_rate: function(&self.axle_body_rate),
            brake_body_rate: function(&self.brake_body_rate),
            brake_body_rotation: self.brake_body_rotation.map(function),
            chain: self.chain.map(function),
            load_transfer: function(&self.load_transfer),
            axle_pull: function(&self.axle_pull),
            chain_pull: self.chain_pull.map(function),
        }
    }

    /// Sets the state to that of `motion` in `pose`, in its own memory.
    pub fn set(
        &mut self,
        bicycle: &Bicycle,
        motion: &Motion<'_, T>,
        pose: &Pose<T>,
        total_travel: T,
    ) {
        let axle = pose.points[bicycle.axle];
        let axle_velocity = pose.velocities[bicycle.axle];
        self.stroke = pose.stroke;
        self.stroke_rate = pose.stroke_rate;
        self.axle = axle;
        self.axle_velocity = axle_velocity;
        self.travel = axle.y - motion.drawn()[bicycle.axle].y;
        self.fork_compression = fork_compression(bicycle, self.travel, total_travel);
        self.ground = Ground::new(bicycle, axle, self.fork_compression);
        self.axle_body_rate = motion.angular_velocity(bicycle.axle_body, pose);
        self.brake_body_rate = motion.angular_velocity(bicycle.brake_body, pose);
        self.brake_body_rotation = motion.rotation(bicycle.brake_body, pose);
        let idler = bicycle
            .idler
            .map(|wheel| (pose.points[wheel.point], pose.velocities[wheel.point]));
        self.chain = Chain::new(bicycle, axle, axle_velocity, idler);
        let rise = self.ground.mass_height * self.ground.up.dot(axle_velocity);
        self.load_transfer = self.ground.wheelbase * -100.0 / rise;
        self.axle_pull = self.load_transfer * self.ground.forward.dot(axle_velocity);
        self.chain_pull = self.chain.shortening(self.load_transfer);
    }

    /// `LR = z' / s'`.
    #[inline(always)]
    pub fn leverage_rate(&self) -> T {
        self.axle_velocity.y / self.stroke_rate
    }

    /// `AS = -100 (t.a' + (R / r) (u.a' + (u2 - u).i')) / ((h / L) n.a')`, percent.
    #[inline(always)]
    pub fn anti_squat(&self, bicycle: &Bicycle, cog: Cog) -> T {
        let chain = self.chain.shortening_on(cog, &self.chain_pull);
        chain * (bicycle.rear_radius / cog.radius) + self.axle_pull
    }

    /// `AR = -100 (t.c') / ((h / L) n.a')`, percent; the contact point turns with the body
    /// that carries the caliper, `c' = a' + w_b x (C - A)`.
    #[inline(always)]
    pub fn anti_rise(&self, bicycle: &Bicycle) -> T {
        // C - A is a wheel radius down along the normal, so the cross product points forward.
        self.load_transfer * (self.brake_body_rate * bicycle.rear_radius) + self.axle_pull
    }

    /// Growth of the upper chain run since `top`, mm.
    pub fn chain_growth(&self, bicycle: &Bicycle, top: &Self, cog: Cog) -> T {
        self.chain.growth(&top.chain, cog, bicycle.ring_radius)
    }

    /// Crank rotation in degrees, positive backward, where the wheel does not turn in the
    /// frame: `S / r_ring`.
    pub fn pedal_kickback(&self, bicycle: &Bicycle, top: &Self, cog: Cog) -> T {
        self.chain_growth(bicycle, top, cog) * (1.0 / bicycle.ring_radius).to_degrees()
    }

    /// The same where the wheel is held by its brake: `(S + r_cog th) / r_ring`.
    pub fn pedal_kickback_braked(&self, bicycle: &Bicycle, top: &Self, cog: Cog) -> T {
        let turned = self.brake_body_rotation.angle() * cog.radius;
        (self.chain_growth(bicycle, top, cog) + turned) * (1.0 / bicycle.ring_radius).to_degrees()
    }

    /// Distance from the bottom bracket to the rear axle, mm.
    pub fn rear_centre(&self) -> T {
        Vector::new(self.axle.x, self.axle.y).length()
    }

    /// Head angle on the ground, degrees.
    pub fn head_angle(&self, bicycle: &Bicycle) -> T {
        self.ground.tilt() * 1f64.to_degrees() + bicycle.head_angle
    }

    /// The value of `curve`; `cog` matters only where the curve depends on it.
    pub fn value(&self, curve: Curve, bicycle: &Bicycle, top: &Self, cog: Cog) -> T {
        match curve {
            Curve::Travel => self.travel,
            Curve::Stroke => self.stroke,
            Curve::LeverageRate => self.leverage_rate(),
            Curve::AxleX => self.axle.x,
            Curve::AxleY => self.axle.y,
            Curve::RearCentre => self.rear_centre(),
            Curve::RearCentreGrowth => self.rear_centre() - top.rear_centre(),
            Curve::AntiSquat => self.anti_squat(bicycle, cog),
            Curve::AntiRise => self.anti_rise(bicycle),
            Curve::ChainGrowth => self.chain_growth(bicycle, top, cog),
            Curve::PedalKickback => self.pedal_kickback(bicycle, top, cog),
            Curve::PedalKickbackBraked => self.pedal_kickback_braked(bicycle, top, cog),
            Curve::HeadAngle => self.head_angle(bicycle),
            Curve::HeadAngleChange => self.head_angle(bicycle) - top.head_angle(bicycle),
            Curve::BbHeight => self.ground.bb_height,
            Curve::Wheelbase => self.ground.wheelbase,
            Curve::ForkCompression => self.fork_compression,
        }
    }
}

impl State<f64> {
    /// Instant centre of the body that carries the axle, mm; `None` at infinity.
    ///
    /// `IC = A + (-v_y, v_x) / w`.
    #[must_use]
    pub fn instant_centre(&self) -> Option<Point<f64>> {
        let offset = self.axle_velocity.turned_left() * (1.0 / self.axle_body_rate);
        let centre = self.axle + offset;
        // Farther than this is rounding error of a body that does not turn at all.
        let near = centre.x.abs() < 1e12 && centre.y.abs() < 1e12;
        near.then_some(centre)
    }
}
