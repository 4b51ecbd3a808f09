//! Ground line, fork and the geometry of the whole bicycle.

use super::bicycle::Bicycle;
use crate::input::ForkCompression;
use crate::number::{Point, Scalar, Vector};

/// A common tangent of two circles, seen from the first to the second centre.
#[derive(Clone, Copy, Debug)]
pub(super) struct Tangent<T> {
    /// Unit vector along the tangent.
    pub along: Vector<T>,
    /// Distance between the two points where it touches, mm.
    pub length: T,
}

/// The line `u` with `D.m = offset`, `m` being `u` turned by +90 degrees and `D` the vector
/// `between` the centres: `u = (l D - offset D turned left) / D^2` with `l^2 = D^2 - offset^2`.
#[inline(always)]
pub(super) fn tangent<T: Scalar>(between: Vector<T>, offset: f64) -> Tangent<T> {
    let squared = between.length_squared();
    let length = (squared - offset * offset).sqrt();
    let inverse = T::from_f64(1.0) / squared;
    let along = between * length - between.turned_left() * T::from_f64(offset);
    Tangent {
        along: along * inverse,
        length,
    }
}

impl<T: Copy> Tangent<T> {
    #[inline(always)]
    pub fn map<S>(&self, function: &impl Fn(&T) -> S) -> Tangent<S> {
        Tangent {
            along: self.along.map(function),
            length: function(&self.length),
        }
    }
}

/// The ground line: common lower tangent of the wheels, and what is measured from it.
#[derive(Clone, Copy, Debug)]
pub struct Ground<T> {
    /// Unit tangent `t`, forward.
    pub forward: Vector<T>,
    /// Unit normal `n`, up.
    pub up: Vector<T>,
    /// Distance between the contact points, mm: the wheelbase.
    pub wheelbase: T,
    /// Height of the centre of mass over the ground line along `n`, mm.
    pub mass_height: T,
    /// Height of the bottom bracket over the ground line along `n`, mm.
    pub bb_height: T,
}

impl<T: Scalar> Ground<T> {
    pub(super) fn empty() -> Self {
        let zero = T::from_f64(0.0);
        Self {
            forward: Vector::zero(),
            up: Vector::zero(),
            wheelbase: zero,
            mass_height: zero,
            bb_height: zero,
        }
    }

    #[inline(always)]
    pub(super) fn map<S>(&self, function: &impl Fn(&T) -> S) -> Ground<S> {
        Ground {
            forward: self.forward.map(function),
            up: self.up.map(function),
            wheelbase: function(&self.wheelbase),
            mass_height: function(&self.mass_height),
            bb_height: function(&self.bb_height),
        }
    }

    /// The ground line with the rear axle at `rear` and the fork compressed by `fork` mm.
    #[inline(always)]
    pub fn new(bicycle: &Bicycle, rear: Point<T>, fork: T) -> Self {
        let steering = bicycle.steering;
        let front = Point::new(
            fork * steering.x + bicycle.front_axle.x,
            fork * steering.y + bicycle.front_axle.y,
        );
        let line = tangent(front - rear, bicycle.front_radius - bicycle.rear_radius);
        let up = line.along.turned_left();
        // A contact point lies a wheel radius below its axle along the normal.
        let height =
            |x: f64, y: f64| Vector::new(-rear.x + x, -rear.y + y).dot(up) + bicycle.rear_radius;
        Self {
            forward: line.along,
            up,
            wheelbase: line.length,
            mass_height: height(bicycle.centre_of_mass.x, bicycle.centre_of_mass.y),
            bb_height: height(0.0, 0.0),
        }
    }

    /// Tilt of the ground line in the frame's axes, radians counter-clockwise.
    pub fn tilt(&self) -> T {
        self.forward.y.atan2(self.forward.x)
    }
}

/// Fork compression in mm when the rear wheel has risen by `travel` of `total_travel` mm.
#[inline(always)]
pub(super) fn fork_compression<T: Scalar>(bicycle: &Bicycle, travel: T, total_travel: T) -> T {
    match bicycle.fork {
        ForkCompression::Proportional => travel / total_travel * bicycle.fork_travel,
        ForkCompression::Fixed(compression) => T::from_f64(compression),
    }
}
