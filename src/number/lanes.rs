//! Eight numbers side by side.

use super::Scalar;
use super::scalar::LinearMap;
use std::ops::{Add, Div, Mul, Neg, Sub};
use wide::f64x8;

/// How many numbers [`Lanes`] holds.
pub const LANES: usize = 8;

/// Eight layouts, or eight positions of one layout, computed by the same instructions.
#[derive(Clone, Copy, Debug)]
pub struct Lanes(f64x8);

impl Lanes {
    /// Lanes from their values, in order.
    #[must_use]
    #[inline]
    pub fn from_array(values: [f64; LANES]) -> Self {
        Self(f64x8::from(values))
    }

    /// The smaller of each two; where one is no number, `other`.
    #[must_use]
    #[inline(always)]
    pub fn smaller(self, other: Self) -> Self {
        Self(self.0.fast_min(other.0))
    }

    /// The larger of each two; where one is no number, `other`.
    #[must_use]
    #[inline(always)]
    pub fn larger(self, other: Self) -> Self {
        Self(self.0.fast_max(other.0))
    }

    /// The values, in order.
    #[must_use]
    #[inline]
    pub fn to_array(self) -> [f64; LANES] {
        self.0.to_array()
    }
}

macro_rules! operator {
    ($trait:ident, $method:ident, $operator:tt) => {
        impl $trait for Lanes {
            type Output = Self;
            #[inline(always)]
            fn $method(self, other: Self) -> Self {
                Self(self.0 $operator other.0)
            }
        }

        impl $trait<f64> for Lanes {
            type Output = Self;
            #[inline(always)]
            fn $method(self, other: f64) -> Self {
                Self(self.0 $operator f64x8::splat(other))
            }
        }
    };
}

operator!(Add, add, +);
operator!(Sub, sub, -);
operator!(Mul, mul, *);
operator!(Div, div, /);

impl Neg for Lanes {
    type Output = Self;
    #[inline(always)]
    fn neg(self) -> Self {
        Self(-self.0)
    }
}

impl Scalar for Lanes {
    type Value = Lanes;
    type Lane = f64;
    const LANES: usize = LANES;
    const PARTIALS: usize = 0;

    #[inline(always)]
    fn from_f64(value: f64) -> Self {
        Self(f64x8::splat(value))
    }

    #[inline(always)]
    fn from_value(value: Lanes) -> Self {
        value
    }

    #[inline(always)]
    fn value(self) -> Lanes {
        self
    }

    #[inline(always)]
    fn scale(self, factor: Self) -> Self {
        self * factor
    }

    #[inline(always)]
    fn with_value(self, value: Self) -> Self {
        value
    }

    #[inline]
    fn lane(&self, lane: usize) -> f64 {
        self.0.as_array()[lane]
    }

    #[inline]
    fn extract(&self, lane: usize) -> f64 {
        self.lane(lane)
    }

    #[inline]
    fn to_lanes(self) -> [f64; LANES] {
        self.to_array()
    }

    #[inline]
    fn partial(self, _index: usize) -> Self {
        Self::from_f64(0.0)
    }

    #[inline]
    fn broadcast(lane: f64) -> Self {
        Self(f64x8::splat(lane))
    }

    #[inline]
    fn from_lanes(value: impl FnMut(usize) -> f64) -> Self {
        Self::from_array(std::array::from_fn(value))
    }

    fn apply_linear(values: &[Self], map: &mut LinearMap<'_>) -> Option<Vec<Self>> {
        let mut lanes = Vec::with_capacity(LANES);
        for lane in 0..LANES {
            let column: Vec<f64> = values.iter().map(|value| value.lane(lane)).collect();
            lanes.push(map(lane, &column)?);
        }
        Some(
            (0..values.len())
                .map(|row| Self::from_lanes(|lane| lanes[lane][row]))
                .collect(),
        )
    }

    #[inline(always)]
    fn sqrt(self) -> Self {
        // The second operand is returned where the first is NaN or smaller, so NaN stays NaN.
        Self(f64x8::splat(0.0).fast_max(self.0).sqrt())
    }

    #[inline]
    fn atan2(self, x: Self) -> Self {
        let (y, x) = (self.to_array(), x.to_array());
        Self::from_array(std::array::from_fn(|lane| libm::atan2(y[lane], x[lane])))
    }

    #[inline]
    fn sin_cos(self) -> (Self, Self) {
        let pairs = self.to_array().map(libm::sincos);
        (
            Self::from_array(pairs.map(|pair| pair.0)),
            Self::from_array(pairs.map(|pair| pair.1)),
        )
    }
}
