//! The upper chain run: anti-squat, chain growth, pedal kickback.
//!
//! A run is the common tangent of two pitch circles: `D.m = sa ra - sb rb`, with `D` from
//! sprocket a to sprocket b, `m` the run turned by +90 degrees, and `s` +1 where the
//! chain passes above a sprocket and -1 where it passes below.

use super::bicycle::{Bicycle, Cog};
use super::chassis::{Tangent, tangent};
use crate::number::{Point, Scalar, Vector};

/// The chain at one moment, without the cog: all cogs share it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Chain<T> {
    /// From the rear axle to the chainring, or to the idler.
    between: Vector<T>,
    distance_squared: T,
    inverse_distance_squared: T,
    /// Velocity of the axle less that of the idler, along and to the left of the line between
    /// the sprockets, over their distance: `D.v / D^2` and `(D turned left).v / D^2`.
    parting: [T; 2],
    /// Signed pitch radius of the sprocket at the far end of the first run.
    far_radius: f64,
    /// The run from the idler to the chainring, and the idler's velocity.
    second: Option<(Tangent<T>, Vector<T>)>,
}

impl<T: Scalar> Chain<T> {
    pub fn empty() -> Self {
        let zero = T::from_f64(0.0);
        Self {
            between: Vector::zero(),
            distance_squared: zero,
            inverse_distance_squared: zero,
            parting: [zero, zero],
            far_radius: 0.0,
            second: None,
        }
    }

    #[inline(always)]
    pub fn map<S>(&self, function: &impl Fn(&T) -> S) -> Chain<S> {
        Chain {
            between: self.between.map(function),
            distance_squared: function(&self.distance_squared),
            inverse_distance_squared: function(&self.inverse_distance_squared),
            parting: [function(&self.parting[0]), function(&self.parting[1])],
            far_radius: self.far_radius,
            second: self
                .second
                .as_ref()
                .map(|(run, velocity)| (run.map(function), velocity.map(function))),
        }
    }

    #[inline(always)]
    pub fn new(
        bicycle: &Bicycle,
        axle: Point<T>,
        axle_velocity: Vector<T>,
        idler: Option<(Point<T>, Vector<T>)>,
    ) -> Self {
        let ring = Point::constant(Point::new(0.0, 0.0));
        let (between, parting, far_radius, second) = match (idler, bicycle.idler) {
            (Some((centre, velocity)), Some(wheel)) => {
                let run = tangent(ring - centre, wheel.signed_radius - bicycle.ring_radius);
                let second = Some((run, velocity));
                (
                    centre - axle,
                    axle_velocity - velocity,
                    wheel.signed_radius,
                    second,
                )
            }
            _ => (ring - axle, axle_velocity, bicycle.ring_radius, None),
        };
        let distance_squared = between.length_squared();
        let inverse = T::from_f64(1.0) / distance_squared;
        Self {
            between,
            distance_squared,
            inverse_distance_squared: inverse,
            parting: [
                between.dot(parting) * inverse,
                between.cross(parting) * inverse,
            ],
            far_radius,
            second,
        }
    }

    /// `D.m` of the run that leaves the cog, and the length of that run.
    #[inline(always)]
    fn first_length(&self, cog: Cog) -> (f64, T) {
        let offset = cog.radius - self.far_radius;
        let length = (self.distance_squared - offset * offset).sqrt();
        (offset, length)
    }

    /// The run that leaves the cog.
    #[inline(always)]
    fn first_run(&self, cog: Cog) -> Tangent<T> {
        let (offset, length) = self.first_length(cog);
        let along = self.between * length - self.between.turned_left() * T::from_f64(offset);
        Tangent {
            along: along * self.inverse_distance_squared,
            length,
        }
    }

    /// Rate at which the run between cog and chainring gets shorter: `u.a' + (u2 - u).i'`.
    ///
    /// With `u = (l D - offset D turned left) / D^2` only the length differs from cog to cog.
    #[inline(always)]
    pub fn shortening(&self, cog: Cog) -> T {
        let (offset, length) = self.first_length(cog);
        let [along, across] = self.parting;
        let first = length * along - across * offset;
        match &self.second {
            Some((run, velocity)) => first + run.along.dot(*velocity),
            None => first,
        }
    }

    /// Growth in mm of the upper run since `top`, wrap on the sprockets included.
    ///
    /// Change of `l + (r_ring - r_cog) al`; with an idler of
    /// `-r_cog al1 + l1 + s_i r_i (al1 - al2) + l2 + r_ring al2`.
    pub fn growth(&self, top: &Self, cog: Cog, ring_radius: f64) -> T {
        let (run, run_top) = (self.first_run(cog), top.first_run(cog));
        let turned = angle_between(run_top.along, run.along);
        let first = run.length - run_top.length + turned * (self.far_radius - cog.radius);
        match (&self.second, &top.second) {
            (Some((run, _)), Some((run_top, _))) => {
                let turned = angle_between(run_top.along, run.along);
                first + (run.length - run_top.length) + turned * (ring_radius - self.far_radius)
            }
            _ => first,
        }
    }
}

/// Angle in radians from one direction to another, counter-clockwise.
fn angle_between<T: Scalar>(from: Vector<T>, to: Vector<T>) -> T {
    from.cross(to).atan2(from.dot(to))
}
