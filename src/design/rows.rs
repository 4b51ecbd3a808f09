//! Where the rows of a candidate are gathered, with their derivatives.

use crate::number::Scalar;

/// Values and derivatives of rows, in order; the memory is reused.
///
/// Derivatives stand by columns, as lanes bring them: one column a variable, one number a
/// row. Passes over a few variables each fill columns of their own.
#[derive(Clone, Debug, Default)]
pub(super) struct Rows {
    /// One value a row.
    pub values: Vec<f64>,
    /// One column a variable, each as long as there is room for rows.
    partials: Vec<f64>,
    room: usize,
    /// The variables whose derivatives this pass brings.
    first: usize,
    count: usize,
}

impl Rows {
    /// Makes room for `rows` rows with derivatives by `variables` variables.
    pub fn resize(&mut self, rows: usize, variables: usize) {
        self.room = rows;
        self.partials.resize(rows * variables, 0.0);
    }

    /// Forgets all rows; the next have derivatives by `count` variables from `first` on, and
    /// those by other variables stay as they were.
    pub fn begin(&mut self, first: usize, count: usize) {
        self.values.clear();
        self.first = first;
        self.count = count;
    }

    /// Adds one row.
    pub fn push<S: Scalar<Value = f64>>(&mut self, row: S) {
        self.values.push(0.0);
        self.replace(self.values.len() - 1, row);
    }

    /// Adds the first `count` lanes, a row each.
    pub fn push_lanes<T: Scalar>(&mut self, rows: T, count: usize) {
        let start = self.values.len();
        self.values.extend_from_slice(&rows.to_lanes()[..count]);
        for index in 0..self.count.min(T::PARTIALS) {
            let from = (self.first + index) * self.room + start;
            let lanes = rows.partial(index).to_lanes();
            self.partials[from..from + count].copy_from_slice(&lanes[..count]);
        }
    }

    /// Puts `row` in place of row `index`.
    pub fn replace<S: Scalar<Value = f64>>(&mut self, index: usize, row: S) {
        self.values[index] = row.value();
        for partial in 0..self.count.min(S::PARTIALS) {
            self.partials[(self.first + partial) * self.room + index] = row.partial(partial);
        }
    }

    /// Derivatives of all rows by variable `variable`.
    pub fn column(&self, variable: usize) -> &[f64] {
        &self.partials[variable * self.room..(variable + 1) * self.room]
    }

    /// The columns of this pass.
    pub fn columns_mut(&mut self) -> impl Iterator<Item = &mut [f64]> {
        let columns = self.first * self.room..(self.first + self.count) * self.room;
        self.partials[columns].chunks_exact_mut(self.room.max(1))
    }
}
