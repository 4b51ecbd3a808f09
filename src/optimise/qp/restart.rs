//! Starting from the active set of the last programme.

use super::super::linear::add_scaled;
use super::{QuadraticProgram, QuadraticSolver, Standing};

/// A row is no longer paid for if its price is more than so many times what it was.
const DEARER: f64 = 3.0;

/// How a restart went.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Restart {
    /// At the minimum with the constraints that are left.
    Begun,
    /// The Hessian is not safely positive definite; the active set is kept.
    NotConvex,
    /// Rounding spoils it: start without.
    Useless,
}

impl QuadraticSolver {
    /// Goes to the minimum with the last programme's active set, less what has to be let go.
    /// With `same_factors` Hessian and rows are the last
    /// ones.
    pub(super) fn restart(
        &mut self,
        program: &QuadraticProgram<'_>,
        same_factors: bool,
    ) -> Restart {
        self.aim(program);
        if !same_factors {
            self.factored = self.factors.begin(program.hessian, self.n);
            if !self.factored {
                return Restart::NotConvex;
            }
            self.measure(program);
            self.take_again(program);
        }
        self.slopes.clear();
        self.slopes.extend_from_slice(program.gradient);
        for position in (0..self.paid.len()).rev() {
            self.renew_payment(program, self.paid[position]);
        }
        loop {
            self.factors
                .settle(&self.slopes, &self.targets, &mut self.x);
            if !self.x.iter().all(|value| value.is_finite()) {
                return Restart::Useless;
            }
            let Some((position, end)) = self.worst_multiplier() else {
                break;
            };
            let index = self.active[position];
            self.release(position, end);
            if end != 0.0 {
                self.charge(program, index);
            }
        }
        for (position, index) in self.active.iter().enumerate() {
            self.multipliers[*index] = self.factors.dual[position];
        }
        Restart::Begun
    }

    /// Targets and intervals of the active constraints as the new programme has them.
    fn aim(&mut self, program: &QuadraticProgram<'_>) {
        let rows = program.row_lower.len();
        for position in 0..self.active.len() {
            let index = self.active[position];
            let (lower, upper, penalty) = if index < rows {
                let penalty = program.penalties[index];
                (program.row_lower[index], program.row_upper[index], penalty)
            } else {
                let variable = index - rows;
                let (lower, upper) = (program.lower[variable], program.upper[variable]);
                (lower, upper, f64::INFINITY)
            };
            let at_upper = self.intervals[position].1 > 0.0;
            self.targets[position] = if at_upper { upper } else { lower };
            self.intervals[position] = if lower == upper {
                (-penalty, penalty)
            } else if at_upper {
                (0.0, penalty)
            } else {
                (-penalty, 0.0)
            };
        }
    }

    /// Takes the active constraints in again, but for those that depend on others or have lost
    /// their end.
    fn take_again(&mut self, program: &QuadraticProgram<'_>) {
        let mut kept = 0;
        for position in 0..self.active.len() {
            let index = self.active[position];
            self.read_normal(program, index);
            let usable = self.targets[position].is_finite();
            if usable && self.project(program, index) > 0.0 {
                self.factors.add();
                self.active[kept] = index;
                self.targets[kept] = self.targets[position];
                self.intervals[kept] = self.intervals[position];
                kept += 1;
            } else {
                self.multipliers[index] = 0.0;
                self.stand(index, Standing::Free);
            }
        }
        self.active.truncate(kept);
        self.targets.truncate(kept);
        self.intervals.truncate(kept);
    }

    /// Lets go a row that was paid for if it has become much dearer, for then it is likely to
    /// hold; else pays for it again.
    fn renew_payment(&mut self, program: &QuadraticProgram<'_>, index: usize) {
        let penalty = program.penalties[index];
        let multiplier = self.multipliers[index];
        if penalty > DEARER * multiplier.abs() {
            self.multipliers[index] = 0.0;
            self.stand(index, Standing::Free);
        } else {
            self.multipliers[index] = if multiplier > 0.0 { penalty } else { -penalty };
            self.charge(program, index);
        }
    }

    /// Adds what a row that is paid for contributes to the gradient.
    fn charge(&mut self, program: &QuadraticProgram<'_>, index: usize) {
        self.read_normal(program, index);
        let multiplier = self.multipliers[index];
        add_scaled(&mut self.slopes, multiplier, &self.normal);
    }

    /// The active constraint whose multiplier is furthest outside its interval, by position,
    /// and the end that it passed.
    fn worst_multiplier(&self) -> Option<(usize, f64)> {
        let mut worst = 0.0;
        let mut found = None;
        for (position, index) in self.active.iter().enumerate() {
            let (low, high) = self.intervals[position];
            let multiplier = self.factors.dual[position];
            let end = if multiplier > high { high } else { low };
            let beyond = if multiplier > high {
                multiplier - high
            } else {
                low - multiplier
            };
            let beyond = beyond * self.norms.get(*index).copied().unwrap_or(1.0);
            if beyond > worst {
                worst = beyond;
                found = Some((position, end));
            }
        }
        found
    }
}
