//! The quadratic programme of one step of stage 2.
//!
//! Variables are measured in their units and confined to the box and a trust region that
//! is a box too, so that both are bounds of the quadratic programme. Rows enter with a
//! penalty each, so that the programme always has a solution (Fletcher, *Practical Methods
//! of Optimization*, 2nd ed., section 14.4, the `S l1 QP` method). A row that no step within
//! the bounds can bring to an end of its band is left out, which changes nothing.

use super::curvature::Curvature;
use super::linear::{add_scaled, dot, dot_sizes, multiply_symmetric};
use super::problem::{Derivatives, Interval, Row};
use super::qp::{QuadraticProgram, QuadraticSolver, QuadraticStop};

/// What a step is built from.
pub struct Place<'a> {
    /// The current point.
    pub x: &'a [f64],
    /// The box.
    pub bounds: &'a [Interval],
    /// Units of the variables.
    pub units: &'a [f64],
    /// How many variables the trust region confines.
    pub curved: usize,
    /// Half-width of the trust region in units.
    pub radius: f64,
    /// What is added to the diagonal of the curved variables, per unit squared.
    pub damping: f64,
    /// Gradient of the objective the model starts with.
    pub gradient: &'a [f64],
    /// The rows.
    pub rows: &'a [Row],
    /// Row values the linear model starts from.
    pub values: &'a [f64],
    /// Derivatives of the rows.
    pub derivatives: &'a Derivatives,
    /// Price of a unit of each row's value.
    pub prices: &'a [f64],
}

/// A solved step, as the model sees it.
#[derive(Clone, Copy, Debug, Default)]
pub struct Forecast {
    /// Fall of the objective.
    pub objective: f64,
    /// Fall of the priced violation.
    pub payment: f64,
    /// Sum of violations in units of the rows' scales before the step.
    pub violation_before: f64,
    /// And after it.
    pub violation_after: f64,
    /// Largest move of a curved variable in units, and of any variable.
    pub length: f64,
    /// Largest entry of the Lagrangian's gradient per unit of a variable, where the
    /// multipliers are those of the step.
    pub slope: f64,
    /// What rounding may hide in the rows' part of the penalty function.
    pub noise: f64,
    /// Sum of squared moves of the curved variables in units.
    pub square: f64,
    /// Whether the trust region confined the step.
    pub confined: bool,
}

impl Forecast {
    /// Fall of the penalty function.
    pub fn fall(&self) -> f64 {
        self.objective + self.payment
    }
}

/// The programme with its memory.
#[derive(Clone, Debug, Default)]
pub struct Subproblem {
    hessian: Vec<f64>,
    plain: Vec<f64>,
    shifted: Vec<f64>,
    gradient: Vec<f64>,
    lower: Vec<f64>,
    upper: Vec<f64>,
    /// Middle and half-width of the bounds of the step, in the problem's own lengths.
    middles: Vec<f64>,
    reaches: Vec<f64>,
    kept: Vec<usize>,
    rows: Vec<f64>,
    row_lower: Vec<f64>,
    row_upper: Vec<f64>,
    penalties: Vec<f64>,
    scratch: Vec<f64>,
    quadratic: QuadraticSolver,
    /// The step in the problem's own lengths.
    pub step: Vec<f64>,
    /// Multipliers of all rows.
    pub row_multipliers: Vec<f64>,
    /// Multipliers of the box; those of the trust region are left out.
    pub bound_multipliers: Vec<f64>,
}

impl Subproblem {
    /// Sets the Hessian of the model: `known` (lower triangle), plus `learnt` if trusted.
    pub fn model(&mut self, known: &[f64], learnt: &Curvature, trusted: bool, units: &[f64]) {
        let n = units.len();
        self.hessian.clear();
        self.hessian.extend_from_slice(known);
        self.plain.clear();
        for (i, unit) in units.iter().enumerate() {
            let row = &mut self.hessian[i * n..=i * n + i];
            if trusted && i < learnt.size() {
                add_scaled(row, 1.0, learnt.row(i));
            }
            for (entry, other) in row.iter_mut().zip(units) {
                *entry *= unit * other;
            }
        }
        if trusted {
            // Without the learnt part, for when the whole is not positive definite.
            self.plain.extend_from_slice(known);
            for (i, unit) in units.iter().enumerate() {
                let row = &mut self.plain[i * n..=i * n + i];
                for (entry, other) in row.iter_mut().zip(units) {
                    *entry *= unit * other;
                }
            }
        }
    }

    /// Solves for a step; `None` if rounding leaves no usable answer.
    pub fn solve(&mut self, place: &Place<'_>) -> Option<Forecast> {
        self.gradient.clear();
        let slopes = place.gradient.iter().zip(place.units);
        self.gradient
            .extend(slopes.map(|(slope, unit)| slope * unit));
        self.confine(place);
        self.linearise(place);
        self.solve_shifted(place)?;
        Some(self.read(place))
    }

    /// Bounds of the step: the box, and the trust region for the curved variables.
    fn confine(&mut self, place: &Place<'_>) {
        self.lower.clear();
        self.upper.clear();
        for (j, unit) in place.units.iter().enumerate() {
            let Interval { lower, upper } = place.bounds[j];
            let radius = if j < place.curved {
                place.radius
            } else {
                f64::INFINITY
            };
            self.lower.push(((lower - place.x[j]) / unit).max(-radius));
            self.upper.push(((upper - place.x[j]) / unit).min(radius));
        }
    }

    /// Copies the rows that some step within the bounds can bring to an end of its band.
    fn linearise(&mut self, place: &Place<'_>) {
        let n = place.x.len();
        self.middles.clear();
        self.reaches.clear();
        for (j, unit) in place.units.iter().enumerate() {
            let lower = self.lower[j].max(-FAR);
            let upper = self.upper[j].min(FAR);
            self.middles.push(0.5 * (lower + upper) * unit);
            self.reaches.push(0.5 * (upper - lower) * unit);
        }
        self.kept.clear();
        self.rows.clear();
        self.row_lower.clear();
        self.row_upper.clear();
        self.penalties.clear();
        for (i, row) in place.rows.iter().enumerate() {
            let slopes = &place.derivatives.rows[i * n..i * n + n];
            let value = place.values[i];
            let middle = value + dot(slopes, &self.middles);
            let reach = dot_sizes(slopes, &self.reaches);
            let inside = middle - reach > row.band.lower && middle + reach < row.band.upper;
            if !inside {
                self.kept.push(i);
                let scaled = slopes.iter().zip(place.units);
                self.rows.extend(scaled.map(|(slope, unit)| slope * unit));
                self.row_lower.push(row.band.lower - value);
                self.row_upper.push(row.band.upper - value);
                self.penalties.push(place.prices[i]);
            }
        }
    }

    /// Solves with the least shift of the diagonal, of a growing series, that makes the
    /// Hessian positive definite; `None` if rounding leaves no usable answer.
    fn solve_shifted(&mut self, place: &Place<'_>) -> Option<()> {
        let n = self.gradient.len();
        let largest = (0..n).fold(0.0_f64, |most, j| most.max(self.hessian[j * n + j].abs()));
        let size = if largest > 0.0 { largest } else { 1.0 };
        let mut relative = 0.0;
        while relative <= MOST_SHIFT {
            if relative > LEARNT_SHIFT && !self.plain.is_empty() {
                // The learnt part spoils it: better none than a large shift.
                std::mem::swap(&mut self.hessian, &mut self.plain);
                self.plain.clear();
                relative = 0.0;
            }
            self.shifted.clone_from(&self.hessian);
            for j in 0..n {
                let damping = if j < place.curved { place.damping } else { 0.0 };
                self.shifted[j * n + j] += relative * size + damping;
            }
            let program = QuadraticProgram {
                hessian: &self.shifted,
                gradient: &self.gradient,
                lower: &self.lower,
                upper: &self.upper,
                rows: &self.rows,
                row_lower: &self.row_lower,
                row_upper: &self.row_upper,
                penalties: &self.penalties,
            };
            match self.quadratic.solve(&program) {
                QuadraticStop::Solved | QuadraticStop::Budget => return Some(()),
                QuadraticStop::NotConvex => {}
                QuadraticStop::Infeasible => return None,
            }
            relative = if relative > 0.0 {
                10.0 * relative
            } else {
                LEAST_SHIFT
            };
        }
        None
    }

    /// Step, multipliers and forecast in the problem's own lengths.
    fn read(&mut self, place: &Place<'_>) -> Forecast {
        let n = place.x.len();
        let scaled = self.quadratic.solution();
        let mut forecast = Forecast::default();
        self.scratch.resize(n, 0.0);
        multiply_symmetric(&self.hessian, n, scaled, &mut self.scratch);
        self.step.clear();
        self.bound_multipliers.clear();
        for j in 0..n {
            let (d, unit) = (scaled[j], place.units[j]);
            self.step.push(d * unit);
            forecast.objective -= d * (self.gradient[j] + 0.5 * self.scratch[j]);
            if j < place.curved {
                forecast.square += d * d;
            }
            if d.abs() > forecast.length {
                forecast.length = d.abs();
            }
            let bound = place.bounds[j];
            let multiplier = self.quadratic.bound_multipliers()[j] / unit;
            let end = if multiplier > 0.0 {
                bound.upper
            } else {
                bound.lower
            };
            let at_radius = j < place.curved && d.abs() >= 0.999 * place.radius;
            let at_end = multiplier == 0.0 || (place.x[j] + d * unit - end).abs() <= 1e-9 * unit;
            let mut slope = self.scratch[j];
            if j < place.curved
                && place.damping * d.abs() > 0.1 * slope.abs()
                && place.damping > 0.0
            {
                forecast.confined = true;
                slope += place.damping * d;
            }
            if !at_end {
                slope += self.quadratic.bound_multipliers()[j];
                forecast.confined |= at_radius;
            }
            if slope.abs() > forecast.slope {
                forecast.slope = slope.abs();
            }
            self.bound_multipliers
                .push(if at_end { multiplier } else { 0.0 });
        }
        self.row_multipliers.clear();
        self.row_multipliers.resize(place.rows.len(), 0.0);
        for (k, i) in self.kept.iter().enumerate() {
            self.row_multipliers[*i] = self.quadratic.row_multipliers()[k];
            let Row { band, scale } = place.rows[*i];
            let value = place.values[*i];
            let after = value + dot(&self.rows[k * n..k * n + n], scaled);
            let (before, after) = (band.excess(value).abs(), band.excess(after).abs());
            forecast.payment += place.prices[*i] * (before - after);
            if self.row_multipliers[*i] != 0.0 {
                forecast.noise += place.prices[*i] * f64::EPSILON * self.size(place, k);
            }
            forecast.violation_before += before / scale;
            forecast.violation_after += after / scale;
        }
        forecast
    }
}

impl Subproblem {
    /// Sum of the sizes that a kept row's value is put together from, to first order.
    fn size(&self, place: &Place<'_>, k: usize) -> f64 {
        let n = place.x.len();
        let mut sum = 0.0;
        for (j, slope) in self.rows[k * n..k * n + n].iter().enumerate() {
            sum += (slope * place.x[j] / place.units[j]).abs();
        }
        sum
    }
}

/// Stands for an infinite bound where a finite number is needed.
const FAR: f64 = 1e100;
/// Shifts of the diagonal tried, relative to its largest entry: from the least ...
const LEAST_SHIFT: f64 = 1e-12;
/// ... by powers of ten up to the most, ...
const MOST_SHIFT: f64 = 1e5;
/// ... but if a larger one than this is needed, without the learnt part.
const LEARNT_SHIFT: f64 = 1e-6;
