//! A value with its derivatives by `N` variables (forward mode).

use super::scalar::LinearMap;
use super::{LANES, Scalar};
use std::ops::{Add, Div, Mul, Neg, Sub};

/// `value` and its partial derivatives.
///
/// The value part is computed by the same operations in the same order as without
/// derivatives, so it is the plain result to the last bit.
#[derive(Clone, Copy, Debug)]
pub struct Dual<T, const N: usize> {
    /// The number itself.
    pub value: T,
    /// Its derivative by each variable.
    pub partials: [T; N],
}

impl<T: Scalar<Value = T, Lane = f64>, const N: usize> Dual<T, N> {
    /// A number that depends on nothing.
    #[must_use]
    #[inline(always)]
    pub fn constant(value: T) -> Self {
        Self {
            value,
            partials: [T::from_f64(0.0); N],
        }
    }

    /// Variable number `index`, with derivative 1 by itself.
    ///
    /// An `index` of `N` or more gives a constant: the variable belongs to another pass.
    #[must_use]
    #[inline]
    pub fn variable(value: T, index: usize) -> Self {
        let mut dual = Self::constant(value);
        if let Some(partial) = dual.partials.get_mut(index) {
            *partial = T::from_f64(1.0);
        }
        dual
    }

    /// Chain rule: a function with `value` here and derivative `slope` by this number.
    #[inline(always)]
    fn chain(self, value: T, slope: T) -> Self {
        Self {
            value,
            partials: self.partials.map(|partial| partial * slope),
        }
    }

    /// Chain rule for two arguments.
    #[inline(always)]
    fn chain2(self, other: Self, value: T, slope: T, other_slope: T) -> Self {
        Self {
            value,
            partials: std::array::from_fn(|i| {
                self.partials[i] * slope + other.partials[i] * other_slope
            }),
        }
    }
}

impl<T: Scalar<Value = T, Lane = f64>, const N: usize> Add for Dual<T, N> {
    type Output = Self;
    #[inline(always)]
    fn add(self, other: Self) -> Self {
        Self {
            value: self.value + other.value,
            partials: std::array::from_fn(|i| self.partials[i] + other.partials[i]),
        }
    }
}

impl<T: Scalar<Value = T, Lane = f64>, const N: usize> Sub for Dual<T, N> {
    type Output = Self;
    #[inline(always)]
    fn sub(self, other: Self) -> Self {
        Self {
            value: self.value - other.value,
            partials: std::array::from_fn(|i| self.partials[i] - other.partials[i]),
        }
    }
}

impl<T: Scalar<Value = T, Lane = f64>, const N: usize> Mul for Dual<T, N> {
    type Output = Self;
    #[inline(always)]
    fn mul(self, other: Self) -> Self {
        self.chain2(other, self.value * other.value, other.value, self.value)
    }
}

impl<T: Scalar<Value = T, Lane = f64>, const N: usize> Div for Dual<T, N> {
    type Output = Self;
    #[inline(always)]
    fn div(self, other: Self) -> Self {
        let quotient = self.value / other.value;
        let reciprocal = T::from_f64(1.0) / other.value;
        self.chain2(other, quotient, reciprocal, -quotient * reciprocal)
    }
}

impl<T: Scalar<Value = T, Lane = f64>, const N: usize> Neg for Dual<T, N> {
    type Output = Self;
    #[inline(always)]
    fn neg(self) -> Self {
        Self {
            value: -self.value,
            partials: self.partials.map(|partial| -partial),
        }
    }
}

impl<T: Scalar<Value = T, Lane = f64>, const N: usize> Add<f64> for Dual<T, N> {
    type Output = Self;
    #[inline(always)]
    fn add(self, other: f64) -> Self {
        Self {
            value: self.value + other,
            ..self
        }
    }
}

impl<T: Scalar<Value = T, Lane = f64>, const N: usize> Sub<f64> for Dual<T, N> {
    type Output = Self;
    #[inline(always)]
    fn sub(self, other: f64) -> Self {
        Self {
            value: self.value - other,
            ..self
        }
    }
}

impl<T: Scalar<Value = T, Lane = f64>, const N: usize> Mul<f64> for Dual<T, N> {
    type Output = Self;
    #[inline(always)]
    fn mul(self, other: f64) -> Self {
        Self {
            value: self.value * other,
            partials: self.partials.map(|partial| partial * other),
        }
    }
}

impl<T: Scalar<Value = T, Lane = f64>, const N: usize> Div<f64> for Dual<T, N> {
    type Output = Self;
    #[inline(always)]
    fn div(self, other: f64) -> Self {
        Self {
            value: self.value / other,
            partials: self.partials.map(|partial| partial / other),
        }
    }
}

impl<T: Scalar<Value = T, Lane = f64>, const N: usize> Scalar for Dual<T, N> {
    type Value = T;
    type Lane = Dual<f64, N>;
    const LANES: usize = T::LANES;
    const PARTIALS: usize = N;

    #[inline(always)]
    fn from_f64(value: f64) -> Self {
        Self::constant(T::from_f64(value))
    }

    #[inline(always)]
    fn from_value(value: T) -> Self {
        Self::constant(value)
    }

    #[inline(always)]
    fn value(self) -> T {
        self.value
    }

    #[inline(always)]
    fn scale(self, factor: T) -> Self {
        self.chain(self.value * factor, factor)
    }

    #[inline(always)]
    fn with_value(self, value: T) -> Self {
        Self { value, ..self }
    }

    #[inline(always)]
    fn squared(self) -> Self {
        self.chain(self.value * self.value, self.value + self.value)
    }

    #[inline]
    fn lane(&self, lane: usize) -> f64 {
        self.value.lane(lane)
    }

    #[inline]
    fn extract(&self, lane: usize) -> Self::Lane {
        Dual {
            value: self.value.extract(lane),
            partials: std::array::from_fn(|index| self.partials[index].extract(lane)),
        }
    }

    #[inline]
    fn to_lanes(self) -> [f64; LANES] {
        self.value.to_lanes()
    }

    #[inline]
    fn partial(self, index: usize) -> T {
        self.partials[index]
    }

    #[inline]
    fn broadcast(lane: Self::Lane) -> Self {
        Self {
            value: T::broadcast(lane.value),
            partials: lane.partials.map(T::broadcast),
        }
    }

    #[inline]
    fn from_lanes(value: impl FnMut(usize) -> f64) -> Self {
        Self::constant(T::from_lanes(value))
    }

    fn apply_linear(values: &[Self], map: &mut LinearMap<'_>) -> Option<Vec<Self>> {
        let value: Vec<T> = values.iter().map(|dual| dual.value).collect();
        let value = T::apply_linear(&value, map)?;
        let mut result: Vec<Self> = value.into_iter().map(Self::constant).collect();
        for index in 0..N {
            let partials: Vec<T> = values.iter().map(|dual| dual.partials[index]).collect();
            for (dual, partial) in result.iter_mut().zip(T::apply_linear(&partials, map)?) {
                dual.partials[index] = partial;
            }
        }
        Some(result)
    }

    #[inline(always)]
    fn sqrt(self) -> Self {
        let root = self.value.sqrt();
        // 1/2 root, kept finite at zero: root / (2 root^2 + tiny).
        let slope = T::from_f64(0.5) * root / (root * root + f64::MIN_POSITIVE);
        self.chain(root, slope)
    }

    #[inline]
    fn atan2(self, x: Self) -> Self {
        let reciprocal = T::from_f64(1.0) / (self.value * self.value + x.value * x.value);
        let angle = self.value.atan2(x.value);
        self.chain2(x, angle, x.value * reciprocal, -self.value * reciprocal)
    }

    #[inline]
    fn sin_cos(self) -> (Self, Self) {
        let (sine, cosine) = self.value.sin_cos();
        (self.chain(sine, cosine), self.chain(cosine, -sine))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::number::Lanes;
    use approx::assert_relative_eq;

    fn formula<T: Scalar>(x: T, y: T) -> T {
        let (sine, cosine) = (x * y).sin_cos();
        (x * x + y).sqrt() / (sine + 2.0) - x.atan2(y) * cosine + (-y) / 3.0
    }

    #[test]
    fn dual_agrees_with_differences_and_with_the_plain_value() {
        let (x, y) = (1.3, 0.7);
        let dual = formula(Dual::<f64, 2>::variable(x, 0), Dual::variable(y, 1));
        assert_eq!(dual.value.to_bits(), formula(x, y).to_bits());
        let step = 1e-6;
        let by_x = (formula(x + step, y) - formula(x - step, y)) / (2.0 * step);
        let by_y = (formula(x, y + step) - formula(x, y - step)) / (2.0 * step);
        assert_relative_eq!(dual.partials[0], by_x, max_relative = 1e-8);
        assert_relative_eq!(dual.partials[1], by_y, max_relative = 1e-8);
    }

    #[test]
    fn lanes_are_the_plain_numbers_bit_for_bit() {
        let xs = Lanes::from_lanes(|lane| 0.3 + lane as f64);
        let ys = Lanes::from_lanes(|lane| 1.7 - 0.1 * lane as f64);
        let lanes = formula(xs, ys);
        for lane in 0..Lanes::LANES {
            let plain = formula(xs.lane(lane), ys.lane(lane));
            assert_eq!(lanes.lane(lane).to_bits(), plain.to_bits());
        }
    }

    #[test]
    fn square_root_is_floored_at_zero_and_keeps_nan() {
        assert_eq!(Scalar::sqrt(-4.0_f64), 0.0);
        assert!(Scalar::sqrt(f64::NAN).is_nan());
        let lanes = Lanes::from_lanes(|lane| if lane == 0 { f64::NAN } else { -1.0 }).sqrt();
        assert!(lanes.lane(0).is_nan());
        assert_eq!(lanes.lane(1), 0.0);
        let dual = Dual::<f64, 1>::variable(0.0, 0).sqrt();
        assert_eq!(dual.partials[0], 0.0);
    }
}
