//! What violation costs: the prices of the penalty function, steered from step to step.

use super::super::problem::Evaluation;
use super::super::subproblem::Forecast;
use super::{Minimiser, RowWeights};

/// Factor by which prices rise.
const RISE: f64 = 10.0;
/// How often they may rise in one step.
const MOST_RISES: usize = 8;
/// A price is lowered to this many times what the multipliers ask for ...
const ENOUGH: f64 = 2.0;
/// ... if it is more than so many times that. Dearer rows make a narrow valley, in which
/// steps along a curved row are short; ten times dearer was measured at twice the steps.
const TOO_MUCH: f64 = 2.0;
/// How often they may be lowered in a run.
const MOST_CUTS: usize = 100;
/// A factor that makes every violation dearer than any gain.
const ANY_PRICE: f64 = 1e8;

impl Minimiser {
    /// Sets the first prices.
    pub(super) fn begin_prices(&mut self) {
        let n = self.x.len();
        let price = self.settings.price * self.first_slope;
        self.prices.clear();
        for (i, row) in self.rows.iter().enumerate() {
            let slopes = &self.derivatives.rows[i * n..i * n + n];
            let mut steepest = 0.0;
            for (slope, unit) in slopes.iter().zip(&self.units) {
                let slope = (slope * unit).abs();
                if slope > steepest {
                    steepest = slope;
                }
            }
            let scale = match self.settings.weights {
                RowWeights::Slope if steepest > 0.0 => steepest,
                _ => row.scale,
            };
            self.prices.push(price / scale);
        }
        self.first_prices.clone_from(&self.prices);
        self.cuts = 0;
    }

    /// Objective plus priced violation.
    pub(super) fn penalised(&self, values: &Evaluation) -> f64 {
        let mut sum = 0.0;
        for (i, row) in self.rows.iter().enumerate() {
            sum += self.prices[i] * row.band.excess(values.rows[i]).abs();
        }
        values.total(&self.weights) + sum
    }

    /// Solves the quadratic programme, raising the prices where that helps.
    pub(super) fn forecast(&mut self) -> Option<Forecast> {
        let forecast = self.solve_programme()?;
        let (before, after) = (forecast.violation_before, forecast.violation_after);
        let tolerance = self.settings.row_tolerance;
        if after <= tolerance || after <= 0.5 * before {
            return Some(forecast);
        }
        // The least linear violation that any price can buy here.
        self.subproblem.keep();
        self.old_prices.clone_from(&self.prices);
        for price in &mut self.prices {
            *price *= ANY_PRICE;
        }
        let least = self.solve_programme()?.violation_after;
        self.prices.clone_from(&self.old_prices);
        let aim = if least <= tolerance {
            tolerance
        } else {
            // A tenth of what is possible is enough progress.
            after.min(before - 0.1 * (before - least))
        };
        if least > 0.999 * after || after <= aim {
            self.subproblem.restore();
            return Some(forecast);
        }
        if least <= tolerance {
            return Some(self.pay());
        }
        let mut forecast = None;
        for _ in 0..MOST_RISES {
            self.raise_prices();
            forecast = Some(self.solve_programme()?);
            if forecast.is_some_and(|raised| raised.violation_after <= aim) {
                break;
            }
        }
        forecast
    }

    /// Raises the prices to what the programme just solved asks for, so that its solution is
    /// theirs too; gives its forecast with them.
    fn pay(&mut self) -> Forecast {
        let asked = self.subproblem.row_multipliers.iter().zip(&self.prices);
        let most = asked.fold(1.0_f64, |most, (multiplier, price)| {
            most.max(ENOUGH * multiplier.abs() / price)
        });
        let each = self.settings.weights == RowWeights::Slope;
        for (price, multiplier) in self.prices.iter_mut().zip(&self.subproblem.row_multipliers) {
            *price = if each {
                price.max(ENOUGH * multiplier.abs())
            } else {
                most * *price
            };
        }
        self.read_programme()
    }

    /// Raises the price of the rows that pay it: of all together if they are weighed by
    /// their scales, so that their ratio stays what the problem says.
    pub(super) fn raise_prices(&mut self) {
        let each = self.settings.weights == RowWeights::Slope;
        for (price, multiplier) in self.prices.iter_mut().zip(&self.subproblem.row_multipliers) {
            if !each || multiplier.abs() >= *price {
                *price *= RISE;
            }
        }
    }

    /// Lowers prices far above what the multipliers ask for: a price once needed far away
    /// would make a narrow valley here. Only so many times, so that the run ends.
    pub(super) fn lower_prices(&mut self) {
        if self.cuts >= MOST_CUTS {
            return;
        }
        let mut common = 0.0_f64;
        for (i, multiplier) in self.row_multipliers.iter().enumerate() {
            common = common.max(multiplier.abs() / self.first_prices[i]);
        }
        let mut cut = false;
        for (i, price) in self.prices.iter_mut().enumerate() {
            let ratio = match self.settings.weights {
                RowWeights::Slope => self.row_multipliers[i].abs() / self.first_prices[i],
                RowWeights::Scale => common,
            };
            let enough = ENOUGH * ratio * self.first_prices[i];
            if enough > 0.0 && *price > TOO_MUCH * enough {
                *price = enough;
                cut = true;
            }
        }
        self.cuts += usize::from(cut);
    }
}
