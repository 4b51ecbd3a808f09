//! Where the rows of a candidate are gathered, with their derivatives.

use crate::number::Scalar;

/// Values and derivatives of rows, in order; the memory is reused.
#[derive(Clone, Debug, Default)]
pub(super) struct Rows {
    /// One value a row.
    pub values: Vec<f64>,
    /// `width` derivatives a row.
    pub partials: Vec<f64>,
    /// How many derivatives each row has.
    pub width: usize,
}

impl Rows {
    /// Forgets all rows; the next have `width` derivatives each.
    pub fn clear(&mut self, width: usize) {
        self.values.clear();
        self.partials.clear();
        self.width = width;
    }

    /// Adds one row.
    pub fn push<S: Scalar<Value = f64>>(&mut self, row: S) {
        self.values.push(row.value());
        self.partials
            .extend((0..S::PARTIALS).map(|index| row.partial(index)));
    }

    /// Adds the first `count` lanes, a row each.
    pub fn push_lanes<T: Scalar>(&mut self, rows: T, count: usize) {
        self.values.extend_from_slice(&rows.to_lanes()[..count]);
        let start = self.partials.len();
        self.partials.resize(start + count * T::PARTIALS, 0.0);
        for index in 0..T::PARTIALS {
            let lanes = rows.partial(index).to_lanes();
            let slots = self.partials[start + index..]
                .iter_mut()
                .step_by(T::PARTIALS);
            for (slot, partial) in slots.zip(&lanes[..count]) {
                *slot = *partial;
            }
        }
    }

    /// Puts `row` in place of row `index`.
    pub fn replace<S: Scalar<Value = f64>>(&mut self, index: usize, row: S) {
        self.values[index] = row.value();
        for partial in 0..S::PARTIALS {
            self.partials[index * self.width + partial] = row.partial(partial);
        }
    }

    /// Derivatives of row `index`.
    pub fn gradient(&self, index: usize) -> &[f64] {
        &self.partials[index * self.width..(index + 1) * self.width]
    }
}
