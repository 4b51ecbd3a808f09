//! Single numbers about the whole travel.

use super::suspension::Suspension;
use super::sweep::{Extreme, Rate};

use crate::input::{Curve, Summary};

/// Into how many intervals the travel is cut for a mean over it; even.
const INTERVALS: u32 = 512;

impl Suspension<'_> {
    /// The value of a summary quantity, of the continuous curves.
    #[must_use]
    pub fn summary(&self, quantity: Summary) -> f64 {
        let leverage = |q: f64| self.state(q).leverage_rate();
        match quantity {
            Summary::Progression => fall(leverage(0.0), leverage(1.0)),
            Summary::ProgressionFromSag => fall(leverage(self.sag()), leverage(1.0)),
            Summary::LeverageMean => self.total_travel() / self.full_stroke(),
            Summary::LeverageMin => self.least(Curve::LeverageRate).value,
            Summary::LeverageMinAt => self.travel_at(self.least(Curve::LeverageRate)),
            Summary::LeverageMax => self.greatest(Curve::LeverageRate).value,
            Summary::LeverageMaxAt => self.travel_at(self.greatest(Curve::LeverageRate)),
            Summary::StraightnessMax => self
                .deviations_from_chord(Curve::LeverageRate, self.bicycle.cogs[0], 0.0, 1.0)
                .into_iter()
                .map(|deviation| deviation.value.abs())
                .fold(0.0, f64::max),
            Summary::StraightnessRms => self.straightness_rms(),
            Summary::AntiSquatSpreadAtSag => {
                let state = self.state(self.sag());
                let values = self
                    .bicycle
                    .cogs
                    .iter()
                    .map(|&cog| state.anti_squat(&self.bicycle, cog));
                let (low, high) = values
                    .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| {
                        (low.min(value), high.max(value))
                    });
                high - low
            }
            Summary::AntiRiseMin => self.least(Curve::AntiRise).value,
            Summary::AntiRiseMax => self.greatest(Curve::AntiRise).value,
            Summary::AxleXRearmost => self.least(Curve::AxleX).value,
            Summary::RearCentreGrowth => self.state(1.0).rear_centre() - self.top.rear_centre(),
            Summary::AxleXGrowth => self.state(1.0).axle.x - self.top.axle.x,
            Summary::SagOfTravel => self.state(self.sag()).travel / self.total_travel(),
            Summary::SagOfStroke => self.state(self.sag()).stroke / self.full_stroke(),
        }
    }

    fn sag(&self) -> f64 {
        self.parameter_at(crate::input::Place::Sag)
    }

    fn travel_at(&self, extreme: Extreme) -> f64 {
        self.state(extreme.parameter).travel
    }

    /// Where a curve that has no cogs is least over the whole travel.
    fn least(&self, curve: Curve) -> Extreme {
        self.pick(curve, |a, b| b < a)
    }

    /// Where a curve that has no cogs is greatest over the whole travel.
    fn greatest(&self, curve: Curve) -> Extreme {
        self.pick(curve, |a, b| b > a)
    }

    fn pick(&self, curve: Curve, better: impl Fn(f64, f64) -> bool) -> Extreme {
        let points = self.turning_points(curve, self.bicycle.cogs[0], 0.0, 1.0);
        let first = Extreme {
            parameter: 0.0,
            value: points[0].value,
        };
        points.into_iter().fold(first, |best, point| {
            if better(best.value, point.value) {
                point
            } else {
                best
            }
        })
    }

    /// Ends and extrema of `curve(z) - chord(z)`, the chord drawn over the travel between
    /// the two parameters.
    #[must_use]
    pub fn deviations_from_chord(
        &self,
        curve: Curve,
        cog: super::Cog,
        from: f64,
        to: f64,
    ) -> Vec<Extreme> {
        let (first, last) = (self.state(from), self.state(to));
        let at_first = self.value(curve, &first, cog);
        let rise = (self.value(curve, &last, cog) - at_first) / (last.travel - first.travel);
        self.turning_points_of(from, to, |state| {
            let chord: Rate = (state.travel - first.travel) * rise + at_first;
            state.value(curve, &self.bicycle, self.top_in_lanes(), cog) - chord
        })
    }

    /// Root mean square over uniform travel of the leverage rate's deviation from its chord.
    fn straightness_rms(&self) -> f64 {
        let (at_top, at_end) = (self.top.leverage_rate(), self.state(1.0).leverage_rate());
        let rise = (at_end - at_top) / self.total_travel();
        // Simpson's rule over the parameter, weighted with the travel it makes.
        let mut sum = 0.0;
        for interval in 0..=INTERVALS {
            let weight = match interval {
                0 | INTERVALS => 1.0,
                odd if odd % 2 == 1 => 4.0,
                _ => 2.0,
            };
            let state = self.state(f64::from(interval) / f64::from(INTERVALS));
            let deviation = state.leverage_rate() - at_top - rise * state.travel;
            sum += weight * deviation * deviation * state.axle_velocity.y;
        }
        let mean = sum / (3.0 * f64::from(INTERVALS)) / self.total_travel();
        mean.sqrt()
    }
}

fn fall(from: f64, to: f64) -> f64 {
    (from - to) / from * 100.0
}
