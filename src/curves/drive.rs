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
    /// Velocity of the axle less that of the idler.
    parting: Vector<T>,
    /// Signed pitch radius of the sprocket at the far end of the first run.
    far_radius: f64,
    /// The run from the idler to the chainring, and the idler's velocity.
    second: Option<(Tangent<T>, Vector<T>)>,
}

/// What the shortening of the upper run is made of, for every cog.
#[derive(Clone, Copy, Debug)]
pub(super) struct Shortening<T> {
    /// `D.v / D^2`: per mm of length of the first run.
    pub along: T,
    /// `(D turned left).v / D^2`: per mm of difference of the radii.
    pub across: T,
    /// Of the run between idler and chainring.
    pub second: Option<T>,
}

impl<T: Copy> Shortening<T> {
    #[inline(always)]
    pub fn map<S>(&self, function: &impl Fn(&T) -> S) -> Shortening<S> {
        Shortening {
            along: function(&self.along),
            across: function(&self.across),
            second: self.second.as_ref().map(function),
        }
    }
}

impl<T: Scalar> Chain<T> {
    pub fn empty() -> Self {
        let zero = T::from_f64(0.0);
        Self {
            between: Vector::zero(),
            distance_squared: zero,
            inverse_distance_squared: zero,
            parting: Vector::zero(),
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
            parting: self.parting.map(function),
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
            parting,
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

    /// How fast the upper run gets shorter at one moment, all terms times `factor`.
    #[inline(always)]
    pub fn shortening(&self, factor: T) -> Shortening<T> {
        let scale = self.inverse_distance_squared * factor;
        Shortening {
            along: self.between.dot(self.parting) * scale,
            across: self.between.cross(self.parting) * scale,
            second: self
                .second
                .as_ref()
                .map(|(run, velocity)| run.along.dot(*velocity) * factor),
        }
    }

    /// `u.a' + (u2 - u).i'` on `cog`, from the terms that all cogs share.
    ///
    /// With `u = (l D - offset D turned left) / D^2` only length and offset differ.
    #[inline(always)]
    pub fn shortening_on(&self, cog: Cog, terms: &Shortening<T>) -> T {
        let (offset, length) = self.first_length(cog);
        let first = length * terms.along - terms.across * offset;
        match terms.second {
            Some(second) => first + second,
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
