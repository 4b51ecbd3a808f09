//! Points and vectors of the mid-plane, different in type: a place cannot be added to a place.

use super::Scalar;
use std::ops::{Add, Mul, Neg, Sub};

/// A place in the plane, mm, `x` forward and `y` up.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Point<T> {
    /// Forward, mm.
    pub x: T,
    /// Up, mm.
    pub y: T,
}

/// A displacement, direction or velocity in the plane.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Vector<T> {
    /// Forward component.
    pub x: T,
    /// Upward component.
    pub y: T,
}

impl<T> Point<T> {
    /// The point (`x`, `y`).
    #[inline(always)]
    pub const fn new(x: T, y: T) -> Self {
        Self { x, y }
    }
}

impl<T> Vector<T> {
    /// The vector (`x`, `y`).
    #[inline(always)]
    pub const fn new(x: T, y: T) -> Self {
        Self { x, y }
    }
}

impl<T: Scalar> Point<T> {
    /// A point that depends on nothing.
    #[inline]
    #[must_use]
    pub fn constant(point: Point<f64>) -> Self {
        Self::new(T::from_f64(point.x), T::from_f64(point.y))
    }

    /// The point without its derivatives.
    #[inline]
    #[must_use]
    pub fn value(self) -> Point<T::Value> {
        Point::new(self.x.value(), self.y.value())
    }
}

impl<T: Scalar> Vector<T> {
    /// No displacement.
    #[inline(always)]
    #[must_use]
    pub fn zero() -> Self {
        Self::new(T::from_f64(0.0), T::from_f64(0.0))
    }

    /// Scalar product.
    #[inline(always)]
    #[must_use]
    pub fn dot(self, other: Self) -> T {
        self.x * other.x + self.y * other.y
    }

    /// Cross product: positive where `other` is counter-clockwise of `self`.
    #[inline(always)]
    #[must_use]
    pub fn cross(self, other: Self) -> T {
        self.x * other.y - self.y * other.x
    }

    /// The vector turned by +90 degrees.
    #[inline(always)]
    #[must_use]
    pub fn turned_left(self) -> Self {
        Self::new(-self.y, self.x)
    }

    /// Length squared.
    #[inline(always)]
    #[must_use]
    pub fn length_squared(self) -> T {
        self.dot(self)
    }

    /// Length.
    #[inline(always)]
    #[must_use]
    pub fn length(self) -> T {
        self.length_squared().sqrt()
    }
}

impl<T: Scalar> Sub for Point<T> {
    type Output = Vector<T>;
    #[inline(always)]
    fn sub(self, other: Self) -> Vector<T> {
        Vector::new(self.x - other.x, self.y - other.y)
    }
}

impl<T: Scalar> Add<Vector<T>> for Point<T> {
    type Output = Self;
    #[inline(always)]
    fn add(self, other: Vector<T>) -> Self {
        Self::new(self.x + other.x, self.y + other.y)
    }
}

impl<T: Scalar> Sub<Vector<T>> for Point<T> {
    type Output = Self;
    #[inline(always)]
    fn sub(self, other: Vector<T>) -> Self {
        Self::new(self.x - other.x, self.y - other.y)
    }
}

impl<T: Scalar> Add for Vector<T> {
    type Output = Self;
    #[inline(always)]
    fn add(self, other: Self) -> Self {
        Self::new(self.x + other.x, self.y + other.y)
    }
}

impl<T: Scalar> Sub for Vector<T> {
    type Output = Self;
    #[inline(always)]
    fn sub(self, other: Self) -> Self {
        Self::new(self.x - other.x, self.y - other.y)
    }
}

impl<T: Scalar> Neg for Vector<T> {
    type Output = Self;
    #[inline(always)]
    fn neg(self) -> Self {
        Self::new(-self.x, -self.y)
    }
}

impl<T: Scalar> Mul<T> for Vector<T> {
    type Output = Self;
    #[inline(always)]
    fn mul(self, factor: T) -> Self {
        Self::new(self.x * factor, self.y * factor)
    }
}
