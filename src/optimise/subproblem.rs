//! The quadratic programme of one step of stage 2.
//!
//! Variables are measured in their units and confined to the box and a trust region that
//! is a box too, so that both are bounds of the quadratic programme. Rows enter with a
//! penalty each, so that the programme always has a solution (Fletcher, *Practical Methods
//! of Optimization*, 2nd ed., section 14.4, the `S l1 QP` method).
//!
//! The Hessian of the Lagrangian need not be positive across the rows that bind. A multiple of
//! their `a a'` is added, which changes nothing along them and asks for less damping (Byrd,
//! Tapia and Zhang, *An SQP augmented Lagrangian BFGS algorithm for constrained optimization*,
//! SIAM J. Optimization 2, 1992).

use super::curvature::Curvature;
use super::linear::{add_outer, add_scaled, dot, multiply_symmetric};
use super::problem::{Interval, Row};
use super::qp::{QuadraticProgram, QuadraticSolver, QuadraticStop, Reuse};

/// What the model of the Lagrangian is built from.
pub struct Lagrangian<'a> {
    /// `2 J'WJ` of the residuals, lower triangle.
    pub known: &'a [f64],
    /// What was learnt beyond that.
    pub learnt: &'a Curvature,
    /// Whether to believe it.
    pub trusted: bool,
    /// Units of the variables.
    pub units: &'a [f64],
    /// Slopes of the rows, row-major.
    pub slopes: &'a [f64],
    /// Multipliers of the rows; those that are not zero are expected to bind.
    pub multipliers: &'a [f64],
}

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
    /// Sum of `a a' / |a|^2` of the rows expected to bind.
    support: Vec<f64>,
    shifted: Vec<f64>,
    /// Shift of the diagonal that the last programme needed, relative to its largest entry.
    shift: f64,
    /// Damping of the last programme, if model and rows are still its own.
    damping: Option<f64>,
    gradient: Vec<f64>,
    lower: Vec<f64>,
    upper: Vec<f64>,
    /// Slopes of the rows per unit, by columns.
    columns: Vec<f64>,
    row_lower: Vec<f64>,
    row_upper: Vec<f64>,
    /// Values of the rows after the step.
    after: Vec<f64>,
    scratch: Vec<f64>,
    quadratic: QuadraticSolver,
    /// The step in the problem's own lengths.
    pub step: Vec<f64>,
    /// Multipliers of all rows.
    pub row_multipliers: Vec<f64>,
    /// Multipliers of the box; those of the trust region are left out.
    pub bound_multipliers: Vec<f64>,
    kept: Kept,
}

/// Step and multipliers of an earlier programme.
#[derive(Clone, Debug, Default)]
struct Kept {
    step: Vec<f64>,
    row_multipliers: Vec<f64>,
    bound_multipliers: Vec<f64>,
}

impl Subproblem {
    /// Forgets all programmes before.
    pub fn begin(&mut self) {
        self.quadratic.forget();
        self.shift = 0.0;
        self.damping = None;
    }

    /// Takes up the model of the Lagrangian at a point.
    pub fn model(&mut self, lagrangian: &Lagrangian<'_>) {
        let Lagrangian {
            known,
            learnt,
            trusted,
            units,
            ..
        } = *lagrangian;
        let n = units.len();
        self.damping = None;
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
        self.turn_rows(lagrangian);
        self.find_support(lagrangian);
    }

    /// Slopes of the rows by columns, per unit.
    fn turn_rows(&mut self, lagrangian: &Lagrangian<'_>) {
        let n = lagrangian.units.len();
        let rows = lagrangian.multipliers.len();
        self.columns.resize(n * rows, 0.0);
        for (j, unit) in lagrangian.units.iter().enumerate() {
            let column = &mut self.columns[j * rows..(j + 1) * rows];
            let slopes = lagrangian.slopes.chunks_exact(n);
            for (entry, row) in column.iter_mut().zip(slopes) {
                *entry = row[j] * unit;
            }
        }
    }

    /// Adds up the normals of the rows expected to bind.
    fn find_support(&mut self, lagrangian: &Lagrangian<'_>) {
        let n = lagrangian.units.len();
        self.support.clear();
        self.support.resize(n * n, 0.0);
        self.scratch.resize(n, 0.0);
        for (i, multiplier) in lagrangian.multipliers.iter().enumerate() {
            if *multiplier != 0.0 {
                let slopes = lagrangian.slopes[i * n..i * n + n].iter();
                for (entry, (slope, unit)) in
                    self.scratch.iter_mut().zip(slopes.zip(lagrangian.units))
                {
                    *entry = slope * unit;
                }
                let square = dot(&self.scratch, &self.scratch);
                if square > 0.0 {
                    add_outer(&mut self.support, n, 1.0 / square, &self.scratch);
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
        self.place_rows(place);
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

    /// Ends of the rows, seen from their values.
    fn place_rows(&mut self, place: &Place<'_>) {
        self.row_lower.clear();
        self.row_upper.clear();
        let rows = place.rows.iter().zip(place.values);
        self.row_lower
            .extend(rows.clone().map(|(row, value)| row.band.lower - value));
        self.row_upper
            .extend(rows.map(|(row, value)| row.band.upper - value));
    }

    /// Solves with the least shift of the diagonal, of a growing series, that makes the
    /// Hessian positive definite; `None` if rounding leaves no usable answer.
    fn solve_shifted(&mut self, place: &Place<'_>) -> Option<()> {
        if self.damping == Some(place.damping) {
            return usable(self.run(place, Reuse::Factors));
        }
        self.damping = None;
        let n = self.gradient.len();
        let largest = (0..n).fold(0.0_f64, |most, j| most.max(self.hessian[j * n + j].abs()));
        let size = if largest > 0.0 { largest } else { 1.0 };
        let mut relative = if self.shift > LEAST_SHIFT {
            self.shift / SHIFT_GROWTH
        } else {
            self.shift
        };
        while relative <= MOST_SHIFT {
            if relative > LEARNT_SHIFT && !self.plain.is_empty() {
                // The learnt part spoils it: better none than a large shift.
                std::mem::swap(&mut self.hessian, &mut self.plain);
                self.plain.clear();
                relative = 0.0;
            }
            self.shifted.clone_from(&self.hessian);
            add_scaled(&mut self.shifted, SUPPORT * size, &self.support);
            for j in 0..n {
                let damping = if j < place.curved { place.damping } else { 0.0 };
                self.shifted[j * n + j] += relative * size + damping;
            }
            let stop = self.run(place, Reuse::ActiveSet);
            if stop != QuadraticStop::NotConvex {
                self.shift = relative;
                self.damping = Some(place.damping);
                return usable(stop);
            }
            relative = if relative > 0.0 {
                SHIFT_GROWTH * relative
            } else {
                LEAST_SHIFT
            };
        }
        None
    }

    fn run(&mut self, place: &Place<'_>, reuse: Reuse) -> QuadraticStop {
        let program = QuadraticProgram {
            hessian: &self.shifted,
            gradient: &self.gradient,
            lower: &self.lower,
            upper: &self.upper,
            columns: &self.columns,
            row_lower: &self.row_lower,
            row_upper: &self.row_upper,
            penalties: place.prices,
        };
        self.quadratic.resume(&program, reuse)
    }

    /// Remembers step and multipliers.
    pub fn keep(&mut self) {
        self.kept.step.clone_from(&self.step);
        self.kept.row_multipliers.clone_from(&self.row_multipliers);
        self.kept
            .bound_multipliers
            .clone_from(&self.bound_multipliers);
    }

    /// Brings back what was remembered.
    pub fn restore(&mut self) {
        std::mem::swap(&mut self.step, &mut self.kept.step);
        std::mem::swap(&mut self.row_multipliers, &mut self.kept.row_multipliers);
        std::mem::swap(
            &mut self.bound_multipliers,
            &mut self.kept.bound_multipliers,
        );
    }

    /// Step, multipliers and forecast, in the problem's own lengths, of the solution of the last
    /// programme.
    pub fn read(&mut self, place: &Place<'_>) -> Forecast {
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
        self.read_rows(place, &mut forecast);
        forecast
    }

    /// Multipliers of the rows and what they pay.
    fn read_rows(&mut self, place: &Place<'_>, forecast: &mut Forecast) {
        let rows = place.rows.len();
        self.row_multipliers.clear();
        self.row_multipliers
            .extend_from_slice(self.quadratic.row_multipliers());
        self.after.clear();
        self.after.extend_from_slice(place.values);
        let columns = self.columns.chunks_exact(rows.max(1));
        for (d, column) in self.quadratic.solution().iter().zip(columns) {
            add_scaled(&mut self.after, *d, column);
        }
        for (i, Row { band, scale }) in place.rows.iter().enumerate() {
            let before = band.excess(place.values[i]).abs();
            let after = band.excess(self.after[i]).abs();
            if self.row_multipliers[i] != 0.0 {
                forecast.noise += place.prices[i] * f64::EPSILON * self.size(place, i);
            }
            if before > 0.0 || after > 0.0 {
                forecast.payment += place.prices[i] * (before - after);
                forecast.violation_before += before / scale;
                forecast.violation_after += after / scale;
            }
        }
    }

    /// Sum of the sizes that the value of row `i` is put together from, to first order.
    fn size(&self, place: &Place<'_>, i: usize) -> f64 {
        let rows = place.rows.len();
        let mut sum = 0.0;
        for (j, column) in self.columns.chunks_exact(rows).enumerate() {
            sum += (column[i] * place.x[j] / place.units[j]).abs();
        }
        sum
    }
}

/// Whether the quadratic programme left a step.
fn usable(stop: QuadraticStop) -> Option<()> {
    matches!(stop, QuadraticStop::Solved | QuadraticStop::Budget).then_some(())
}

/// Part of the largest diagonal entry that is added across the rows expected to bind. Ten
/// times more slows the approach to them, nothing at all twice the steps in a curved valley.
const SUPPORT: f64 = 0.01;
/// Shifts of the diagonal tried, relative to its largest entry: from the least ...
const LEAST_SHIFT: f64 = 1e-12;
/// ... growing by this factor ...
const SHIFT_GROWTH: f64 = 100.0;
/// ... up to the most, ...
const MOST_SHIFT: f64 = 1e5;
/// ... but if a larger one than this is needed, without the learnt part.
const LEARNT_SHIFT: f64 = 1e-6;
