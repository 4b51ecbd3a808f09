//! Roots of functions of one variable, inside a bracket.

use super::{LANES, Lanes, Scalar};

/// Finds where `function` crosses zero between `low` and `high`.
///
/// The values at both ends must differ in sign (or one be zero); `None` otherwise, or
/// where the function is not a number. Method: regula falsi with the Anderson-Bjorck
/// weighting (BIT 13, 1973, 253-264), falling back to bisection whenever the bracket
/// did not halve in two steps, so it ends after at most some 150 evaluations with
/// the two ends of the bracket one rounding step apart or the value exactly zero.
///
/// ```
/// let root = pivotwright::number::roots::bracketed(|x| x * x - 2.0, 0.0, 2.0);
/// assert!((root.unwrap() - 2f64.sqrt()).abs() < 1e-15);
/// ```
pub fn bracketed(mut function: impl FnMut(f64) -> f64, low: f64, high: f64) -> Option<f64> {
    let (mut a, mut b) = (low, high);
    let (mut at_a, mut at_b) = (function(a), function(b));
    if at_a == 0.0 {
        return Some(a);
    }
    if at_b == 0.0 {
        return Some(b);
    }
    if at_a.is_nan() || at_b.is_nan() || (at_a > 0.0) == (at_b > 0.0) {
        return None;
    }
    let mut bisect = false;
    for _ in 0..200 {
        let width = (b - a).abs();
        let middle = 0.5 * (a + b);
        if width <= 2.0 * f64::EPSILON * middle.abs().max(f64::MIN_POSITIVE) {
            break;
        }
        let secant = b - at_b * (b - a) / (at_b - at_a);
        let inside = secant > a.min(b) && secant < a.max(b);
        let x = if bisect || !inside { middle } else { secant };
        if x == a || x == b {
            break;
        }
        let at_x = function(x);
        if at_x == 0.0 {
            return Some(x);
        }
        if at_x.is_nan() {
            return None;
        }
        if (at_x > 0.0) == (at_b > 0.0) {
            // The same end was kept twice: weigh it down so that the other side is approached.
            let weight = 1.0 - at_x / at_b;
            at_a *= if weight > 0.0 { weight } else { 0.5 };
        } else {
            (a, at_a) = (b, at_b);
        }
        (b, at_b) = (x, at_x);
        bisect = (b - a).abs() > 0.5 * width && !bisect;
    }
    Some(if at_a.abs() < at_b.abs() { a } else { b })
}

/// The same in lanes: `function` gives the values at eight places at once.
///
/// Every round puts the eight places around the crossing of the secant, ever closer to it, or
/// evenly over the bracket where the last round did not narrow it by a factor of nine. Ends
/// with the bracket no wider than `tolerance`.
///
/// ```
/// use pivotwright::number::{Lanes, roots};
/// let root = roots::bracketed_by_lanes(|x: Lanes| x * x - 2.0, 0.0, 2.0, 1e-15);
/// assert!((root.unwrap() - 2f64.sqrt()).abs() < 1e-15);
/// ```
pub fn bracketed_by_lanes(
    mut function: impl FnMut(Lanes) -> Lanes,
    low: f64,
    high: f64,
    tolerance: f64,
) -> Option<f64> {
    let ends = Lanes::from_lanes(|lane| if lane == 0 { low } else { high });
    let at_ends = function(ends);
    let (mut a, mut b) = ((low, at_ends.lane(0)), (high, at_ends.lane(1)));
    let mut even = false;
    for _ in 0..60 {
        if a.1 == 0.0 {
            return Some(a.0);
        }
        if b.1 == 0.0 {
            return Some(b.0);
        }
        if a.1.is_nan() || b.1.is_nan() || (a.1 > 0.0) == (b.1 > 0.0) {
            return None;
        }
        let width = b.0 - a.0;
        if width.abs() <= tolerance {
            break;
        }
        let evenly = |lane: usize| a.0 + width * ((lane + 1) as f64 / (LANES + 1) as f64);
        let secant = b.0 - b.1 * width / (b.1 - a.1);
        // Four places on either side: at a hundredth of the bracket down to next to nothing.
        let around = |lane: usize| {
            const CLOSENESS: [f64; LANES / 2] = [1e-2, 1e-4, 1e-7, 1e-11];
            let half = LANES / 2;
            if lane < half {
                (secant - width * CLOSENESS[lane]).max(a.0)
            } else {
                (secant + width * CLOSENESS[LANES - 1 - lane]).min(b.0)
            }
        };
        let places = Lanes::from_lanes(|lane| if even { evenly(lane) } else { around(lane) });
        let values = function(places);
        for lane in 0..LANES {
            let place = (places.lane(lane), values.lane(lane));
            if place.1 == 0.0 || place.1.is_nan() || (place.1 > 0.0) == (b.1 > 0.0) {
                b = place;
                break;
            }
            a = place;
        }
        even = !even && b.0 - a.0 > width / (LANES + 1) as f64;
    }
    Some(if a.1.abs() < b.1.abs() { a.0 } else { b.0 })
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;

    #[test]
    fn finds_roots_of_steep_flat_and_touching_functions() {
        assert_abs_diff_eq!(
            bracketed(|x| libm::exp(x) - 5.0, -10.0, 10.0).unwrap(),
            5f64.ln(),
            epsilon = 1e-15
        );
        assert_abs_diff_eq!(
            bracketed(|x| (x - 0.3) * (x - 0.3) * (x - 0.3), -1.0, 2.0).unwrap(),
            0.3,
            epsilon = 1e-5
        );
        assert_eq!(bracketed(|x| x, 0.0, 1.0), Some(0.0));
        assert_eq!(bracketed(|x| x * x + 1.0, -1.0, 1.0), None);
        assert_eq!(bracketed(|_| f64::NAN, -1.0, 1.0), None);
    }

    #[test]
    fn lanes_find_the_same_roots() {
        let cube = |x: Lanes| (x - 0.3) * (x - 0.3) * (x - 0.3);
        let wave = |x: Lanes| (x * 3.0).sin_cos().0 - x;
        assert_abs_diff_eq!(
            bracketed_by_lanes(cube, -1.0, 2.0, 1e-9).unwrap(),
            0.3,
            epsilon = 1e-5
        );
        assert_abs_diff_eq!(
            bracketed_by_lanes(wave, 0.1, 1.5, 1e-14).unwrap(),
            bracketed(|x| libm::sin(3.0 * x) - x, 0.1, 1.5).unwrap(),
            epsilon = 1e-13
        );
        assert_eq!(bracketed_by_lanes(|x| x, 0.0, 1.0, 1e-9), Some(0.0));
        assert_eq!(bracketed_by_lanes(|x| x * x + 1.0, -1.0, 1.0, 1e-9), None);
        assert_eq!(bracketed_by_lanes(|x| x * f64::NAN, -1.0, 1.0, 1e-9), None);
    }
}
