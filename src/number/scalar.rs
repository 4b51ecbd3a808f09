//! The one trait bound of every formula.

use super::LANES;
use std::fmt::Debug;
use std::ops::{Add, Div, Mul, Neg, Sub};

/// A number a formula can be evaluated with.
///
/// There is no ordering on purpose: a formula never branches on a value, so that
/// lanes and derivatives take the same path as plain numbers. Extrema and active
/// samples are picked on [`Scalar::lane`]s by the caller.
///
/// Results are the same bit for bit on any x86-64: no operation contracts into a
/// fused multiply-add, and trigonometry comes from `libm`, not from the system.
pub trait Scalar:
    Copy
    + Debug
    + Send
    + Sync
    + Add<Output = Self>
    + Sub<Output = Self>
    + Mul<Output = Self>
    + Div<Output = Self>
    + Neg<Output = Self>
    + Add<f64, Output = Self>
    + Sub<f64, Output = Self>
    + Mul<f64, Output = Self>
    + Div<f64, Output = Self>
{
    /// The same number without its derivatives; solver loops run on it.
    type Value: Scalar<Value = Self::Value>;

    /// One lane of the number, derivatives included.
    type Lane: Scalar<Value = f64, Lane = Self::Lane>;

    /// How many independent numbers stand side by side, at most [`LANES`].
    const LANES: usize;

    /// How many derivatives each carries.
    const PARTIALS: usize;

    /// The constant `value` in every lane, with zero derivatives.
    fn from_f64(value: f64) -> Self;

    /// `value` with zero derivatives.
    fn from_value(value: Self::Value) -> Self;

    /// The number without its derivatives.
    fn value(self) -> Self::Value;

    /// The number times a factor that has no derivatives.
    #[must_use]
    fn scale(self, factor: Self::Value) -> Self;

    /// `value` with the derivatives of this number.
    #[must_use]
    fn with_value(self, value: Self::Value) -> Self;

    /// The value in lane `lane`, which must be below [`Scalar::LANES`].
    fn lane(&self, lane: usize) -> f64;

    /// Lane `lane` with its derivatives; `lane` must be below [`Scalar::LANES`].
    fn extract(&self, lane: usize) -> Self::Lane;

    /// All lanes side by side, derivatives left out; the rest is zero.
    fn to_lanes(self) -> [f64; LANES];

    /// The derivative by variable `index`, which must be below [`Scalar::PARTIALS`].
    fn partial(self, index: usize) -> Self::Value;

    /// `lane` in every lane, derivatives included.
    fn broadcast(lane: Self::Lane) -> Self;

    /// A number with zero derivatives whose lanes are given by `value`.
    fn from_lanes(value: impl FnMut(usize) -> f64) -> Self;

    /// Applies a linear map to `values`, lane by lane and derivative by derivative.
    ///
    /// `map` gets the lane and its plain numbers; `None` from it ends the whole.
    fn apply_linear(values: &[Self], map: &mut LinearMap<'_>) -> Option<Vec<Self>>;

    /// Square root, floored at zero: the caller's margin tells that the radicand was negative.
    ///
    /// Derivatives at or below zero are zero, not infinite.
    #[must_use]
    fn sqrt(self) -> Self;

    /// Angle in radians of the direction (`x`, `self`), in (-pi, pi].
    #[must_use]
    fn atan2(self, x: Self) -> Self;

    /// Sine and cosine of an angle in radians.
    #[must_use]
    fn sin_cos(self) -> (Self, Self);

    /// The square.
    #[inline]
    #[must_use]
    fn squared(self) -> Self {
        self * self
    }
}

/// A linear map on the plain numbers of one lane.
pub type LinearMap<'a> = dyn FnMut(usize, &[f64]) -> Option<Vec<f64>> + 'a;

impl Scalar for f64 {
    type Value = f64;
    type Lane = f64;
    const LANES: usize = 1;
    const PARTIALS: usize = 0;

    #[inline]
    fn from_f64(value: f64) -> Self {
        value
    }

    #[inline]
    fn from_value(value: f64) -> Self {
        value
    }

    #[inline]
    fn value(self) -> f64 {
        self
    }

    #[inline(always)]
    fn scale(self, factor: f64) -> Self {
        self * factor
    }

    #[inline(always)]
    fn with_value(self, value: f64) -> Self {
        value
    }

    #[inline]
    fn lane(&self, _lane: usize) -> f64 {
        *self
    }

    #[inline]
    fn extract(&self, _lane: usize) -> f64 {
        *self
    }

    #[inline]
    fn to_lanes(self) -> [f64; LANES] {
        let mut lanes = [0.0; LANES];
        lanes[0] = self;
        lanes
    }

    #[inline]
    fn partial(self, _index: usize) -> f64 {
        0.0
    }

    #[inline]
    fn broadcast(lane: f64) -> f64 {
        lane
    }

    #[inline]
    fn from_lanes(mut value: impl FnMut(usize) -> f64) -> Self {
        value(0)
    }

    fn apply_linear(values: &[f64], map: &mut LinearMap<'_>) -> Option<Vec<f64>> {
        map(0, values)
    }

    #[inline]
    fn sqrt(self) -> Self {
        // Written as a comparison because `f64::max` would hide a NaN.
        if self < 0.0 { 0.0 } else { f64::sqrt(self) }
    }

    #[inline]
    fn atan2(self, x: Self) -> Self {
        libm::atan2(self, x)
    }

    #[inline]
    fn sin_cos(self) -> (Self, Self) {
        libm::sincos(self)
    }
}
