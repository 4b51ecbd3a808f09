//! Which constraint the dual method takes in next.

use super::{QuadraticProgram, QuadraticSolver, Standing};

/// A constraint is violated if `distance > VIOLATED (|x| + |end| / |a|) + LEAST_DISTANCE`
/// with `distance = |a'x - end| / |a|` and `|x|` the largest entry.
const VIOLATED: f64 = 1e-12;
/// Rows looked at together.
const LANES: usize = 8;
/// See [`VIOLATED`].
const LEAST_DISTANCE: f64 = 1e-16;

/// A constraint that is about to enter, and how far its multiplier may move.
#[derive(Clone, Copy, Debug)]
pub(super) struct Entering {
    /// Rows come first, then the variables.
    pub index: usize,
    /// The value the constraint is driven to.
    pub target: f64,
    /// +1 if the multiplier grows.
    pub sign: f64,
    /// The multiplier at which the constraint gives up.
    pub end: f64,
    /// Interval of the multiplier once the constraint is active.
    pub interval: (f64, f64),
}

impl QuadraticSolver {
    /// The constraint whose multiplier most wants to move, by distance in `x`.
    pub(super) fn most_violated(&mut self, program: &QuadraticProgram<'_>) -> Option<Entering> {
        let rows = program.row_lower.len();
        let size = largest(&self.x);
        let mut found = self.violated_bound(program);
        let mut worst = found.map_or(0.0, |(distance, _)| distance);
        self.values.resize(rows, 0.0);
        // A few rows at a time stay in registers; this is where the time goes.
        let whole = rows - rows % LANES;
        for first in (0..whole).step_by(LANES) {
            if self.look_at(program, first, worst) {
                for index in first..first + LANES {
                    if self.excess(program, index) > worst {
                        self.compare(program, index, size, &mut found);
                        worst = found.map_or(0.0, |(distance, _)| distance);
                    }
                }
            }
        }
        for index in whole..rows {
            let columns = program.columns.chunks_exact(rows);
            let products = self
                .x
                .iter()
                .zip(columns)
                .map(|(x, column)| x * column[index]);
            self.values[index] = products.fold(0.0, |sum, product| sum + product);
            if self.excess(program, index) > worst {
                self.compare(program, index, size, &mut found);
                worst = found.map_or(0.0, |(distance, _)| distance);
            }
        }
        for index in &self.paid {
            if *index < rows {
                self.compare(program, *index, size, &mut found);
            }
        }
        found.map(|(_, entering)| entering)
    }

    /// Values of the rows from `first` on; whether a free one is further than `worst` outside.
    fn look_at(&mut self, program: &QuadraticProgram<'_>, first: usize, worst: f64) -> bool {
        let rows = program.row_lower.len();
        let span = first..first + LANES;
        let mut values = [0.0; LANES];
        for (x, column) in self.x.iter().zip(program.columns.chunks_exact(rows)) {
            for (value, entry) in values.iter_mut().zip(&column[span.clone()]) {
                *value += x * entry;
            }
        }
        self.values[span.clone()].copy_from_slice(&values);
        let (lower, upper) = (
            &program.row_lower[span.clone()],
            &program.row_upper[span.clone()],
        );
        let gates = &self.gates[span];
        let mut outside = false;
        for lane in 0..LANES {
            let (above, below) = (values[lane] - upper[lane], lower[lane] - values[lane]);
            let excess = if above > below { above } else { below };
            outside |= excess * gates[lane] > worst;
        }
        outside
    }

    /// How far a free row is outside by distance in `x`; negative inside, zero if not free.
    fn excess(&self, program: &QuadraticProgram<'_>, index: usize) -> f64 {
        let value = self.values[index];
        let above = value - program.row_upper[index];
        let below = program.row_lower[index] - value;
        (if above > below { above } else { below }) * self.gates[index]
    }

    /// Puts row `index` in the place of `found` if it is further from where it wants to be.
    fn compare(
        &self,
        program: &QuadraticProgram<'_>,
        index: usize,
        size: f64,
        found: &mut Option<(f64, Entering)>,
    ) {
        let (value, norm) = (self.values[index], self.norms[index]);
        let ends = (program.row_lower[index], program.row_upper[index]);
        let standing = self.standing[index];
        if let Some(entering) = candidate(index, value, ends, program.penalties[index], standing) {
            let distance = (value - entering.target).abs() / norm;
            let blur = VIOLATED * (size + entering.target.abs() / norm) + LEAST_DISTANCE;
            if distance > blur && found.is_none_or(|(worst, _)| distance > worst) {
                *found = Some((distance, entering));
            }
        }
    }

    /// The most violated bound of a variable.
    fn violated_bound(&self, program: &QuadraticProgram<'_>) -> Option<(f64, Entering)> {
        let rows = program.row_lower.len();
        let mut found: Option<(f64, Entering)> = None;
        for j in 0..self.n {
            let value = self.x[j];
            let standing = self.standing[rows + j];
            if standing == Standing::Active {
                continue;
            }
            let ends = (program.lower[j], program.upper[j]);
            if let Some(entering) = candidate(rows + j, value, ends, f64::INFINITY, standing) {
                let distance = (value - entering.target).abs();
                let blur = VIOLATED * entering.target.abs();
                if distance > blur && found.is_none_or(|(worst, _)| distance > worst) {
                    found = Some((distance, entering));
                }
            }
        }
        found
    }
}

/// The way a constraint at `value` wants its multiplier to move, if at all.
fn candidate(
    index: usize,
    value: f64,
    (lower, upper): (f64, f64),
    penalty: f64,
    standing: Standing,
) -> Option<Entering> {
    let equality = lower == upper;
    let below = (-penalty, if equality { penalty } else { 0.0 });
    let above = (if equality { -penalty } else { 0.0 }, penalty);
    let (target, sign, interval) = match standing {
        Standing::Free if value > upper => (upper, 1.0, above),
        Standing::Free if value < lower => (lower, -1.0, below),
        Standing::PaidAbove if value < upper => (upper, -1.0, above),
        Standing::PaidBelow if value > lower => (lower, 1.0, below),
        _ => return None,
    };
    if penalty <= 0.0 {
        return None;
    }
    let end = if sign > 0.0 { interval.1 } else { interval.0 };
    Some(Entering {
        index,
        target,
        sign,
        end,
        interval,
    })
}

/// Largest absolute entry.
fn largest(vector: &[f64]) -> f64 {
    vector.iter().fold(0.0, |most, entry| most.max(entry.abs()))
}
