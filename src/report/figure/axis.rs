//! One axis of a chart: the range shown, and ticks at round numbers.

use crate::report::table::fixed;

/// A range of values with ticks at multiples of 1, 2 or 5 times a power of ten.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Axis {
    /// The lowest value shown; a tick.
    pub low: f64,
    /// The highest value shown; a tick.
    pub high: f64,
    step: f64,
    decimals: usize,
}

/// Most decimals of a tick's label.
const MOST_DECIMALS: usize = 9;

/// No axis is asked to tell apart numbers that agree to so many digits.
const FINEST: f64 = 1e-9;

impl Axis {
    /// An axis that shows all `values` (numbers that are none left out), at least `span` of
    /// them and about `ticks` ticks.
    pub fn covering(values: impl IntoIterator<Item = f64>, span: f64, ticks: f64) -> Self {
        let finite = values.into_iter().filter(|value| value.is_finite());
        let (mut low, mut high) = finite
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| {
                (low.min(value), high.max(value))
            });
        if low > high {
            (low, high) = (0.0, span);
        }
        let least = span.max(FINEST * low.abs().max(high.abs()));
        if high - low < least {
            let middle = f64::midpoint(low, high);
            (low, high) = (middle - least / 2.0, middle + least / 2.0);
        }
        let (step, decimals) = round_step((high - low) / ticks);
        // A value on a tick, but for rounding, needs no further one.
        let slack = 1e-9;
        Self {
            low: (low / step + slack).floor() * step,
            high: (high / step - slack).ceil() * step,
            step,
            decimals,
        }
    }

    /// Values of the ticks, in order.
    pub fn ticks(&self) -> impl Iterator<Item = f64> + '_ {
        let first = (self.low / self.step).round();
        let beyond = self.high + self.step / 2.0;
        (0u32..)
            .map(move |index| (first + f64::from(index)) * self.step)
            .take_while(move |tick| *tick < beyond)
    }

    /// A tick's value as text, with as many decimals as tell it from the next.
    pub fn label(&self, tick: f64) -> String {
        fixed(tick, self.decimals)
    }

    /// Where `value` is between the ends: 0 to 1, beyond them outside.
    pub fn share(&self, value: f64) -> f64 {
        (value - self.low) / (self.high - self.low)
    }
}

/// The least of 1, 2 or 5 times a power of ten that is not below `wanted`, and how many decimals
/// it has.
///
/// By multiplication alone: logarithms of the system differ from one to another.
pub(super) fn round_step(wanted: f64) -> (f64, usize) {
    let nearly = wanted * (1.0 - 1e-9);
    let (mut parts, mut decimals) = (1.0, 0);
    while decimals < MOST_DECIMALS && nearly * parts < 1.0 {
        parts *= 10.0;
        decimals += 1;
    }
    let mut power = 1.0;
    loop {
        for factor in [1.0, 2.0, 5.0] {
            let step = factor * power / parts;
            // No number is beyond the largest.
            if step >= nearly || !step.is_finite() {
                return (step, decimals);
            }
        }
        power *= 10.0;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn labels(axis: &Axis) -> Vec<String> {
        axis.ticks().map(|tick| axis.label(tick)).collect()
    }

    #[test]
    fn ticks_are_round_and_hold_all_values() {
        let axis = Axis::covering([2.147, 2.967], 0.1, 5.0);
        assert_eq!(labels(&axis), ["2.0", "2.2", "2.4", "2.6", "2.8", "3.0"]);
        let axis = Axis::covering([0.0, 150.3], 1.0, 6.0);
        assert_eq!(labels(&axis), ["0", "50", "100", "150", "200"]);
        let axis = Axis::covering([0.0, 150.0], 1.0, 8.0);
        assert_eq!(axis.high, 160.0);
    }

    #[test]
    fn a_constant_curve_has_room_and_no_curve_is_no_harm() {
        let axis = Axis::covering([5.0, 5.0], 2.0, 4.0);
        assert_eq!(labels(&axis), ["4.0", "4.5", "5.0", "5.5", "6.0"]);
        let axis = Axis::covering([f64::NAN], 1.0, 4.0);
        assert_eq!((axis.low, axis.high), (0.0, 1.0));
        let axis = Axis::covering([1e12, 1e12], 1.0, 4.0);
        assert!(axis.ticks().count() < 12);
    }
}
