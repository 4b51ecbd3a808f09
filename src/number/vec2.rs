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

impl<T: Copy> Point<T> {
    /// The point with `function` of each coordinate.
    #[inline(always)]
    #[must_use]
    pub fn map<S>(&self, function: impl Fn(&T) -> S) -> Point<S> {
        Point::new(function(&self.x), function(&self.y))
    }
}

impl<T: Copy> Vector<T> {
    /// The vector with `function` of each coordinate.
    #[inline(always)]
    #[must_use]
    pub fn map<S>(&self, function: impl Fn(&T) -> S) -> Vector<S> {
        Vector::new(function(&self.x), function(&self.y))
    }
}

impl<T: Scalar> Point<T> {
    /// A point that depends on nothing.
    #[inline]
    #[must_use]
    pub fn constant(point: Point<f64>) -> Self {
        Self::new(T::from_f64(point.x), T::from_f64(point.y))
    }

    /// The point with zero derivatives of a value.
    #[inline(always)]
    #[must_use]
    pub fn from_value(value: Point<T::Value>) -> Self {
        Self::new(T::from_value(value.x), T::from_value(value.y))
    }

    /// The point `value` with the derivatives of this one.
    #[inline(always)]
    #[must_use]
    pub fn with_value(self, value: Point<T::Value>) -> Self {
        Self::new(self.x.with_value(value.x), self.y.with_value(value.y))
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

    /// The vector with zero derivatives of a value.
    #[inline(always)]
    #[must_use]
    pub fn from_value(value: Vector<T::Value>) -> Self {
        Self::new(T::from_value(value.x), T::from_value(value.y))
    }

    /// The vector without its derivatives.
    #[inline(always)]
    #[must_use]
    pub fn value(self) -> Vector<T::Value> {
        Vector::new(self.x.value(), self.y.value())
    }

    /// The value `value` with the derivatives of this vector.
    #[inline(always)]
    #[must_use]
    pub fn with_value(self, value: Vector<T::Value>) -> Self {
        Self::new(self.x.with_value(value.x), self.y.with_value(value.y))
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
        self.x.squared() + self.y.squared()
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
