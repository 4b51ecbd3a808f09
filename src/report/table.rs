//! Aligned columns of text.

use std::fmt;

/// Between columns.
const GAP: &str = "  ";

/// A table: the first columns flush left, the others flush right.
#[derive(Clone, Debug)]
pub struct Table {
    left: usize,
    rows: Vec<Vec<String>>,
}

impl Table {
    /// An empty table whose first `left` columns are flush left.
    #[must_use]
    pub const fn new(left: usize) -> Self {
        Self {
            left,
            rows: Vec::new(),
        }
    }

    /// Adds a row; it may be shorter than others.
    pub fn row(&mut self, cells: impl IntoIterator<Item = String>) {
        self.rows.push(cells.into_iter().collect());
    }

    fn widths(&self) -> Vec<usize> {
        let columns = self.rows.iter().map(Vec::len).max().unwrap_or(0);
        // A row of one cell is a heading and may be longer than its column.
        let cells = self.rows.iter().filter(|row| row.len() > 1);
        let mut widths = vec![0; columns];
        for row in cells {
            for (width, cell) in widths.iter_mut().zip(row) {
                *width = (*width).max(cell.chars().count());
            }
        }
        widths
    }
}

impl fmt::Display for Table {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        let widths = self.widths();
        for row in &self.rows {
            let mut line = String::new();
            for (column, (cell, width)) in row.iter().zip(&widths).enumerate() {
                if column > 0 {
                    line.push_str(GAP);
                }
                let padding = " ".repeat(width.saturating_sub(cell.chars().count()));
                if column < self.left {
                    line.push_str(cell);
                    line.push_str(&padding);
                } else {
                    line.push_str(&padding);
                    line.push_str(cell);
                }
            }
            writeln!(formatter, "{}", line.trim_end())?;
        }
        Ok(())
    }
}

/// `value` with so many decimals, never "-0.00"; rounded to whole numbers where it is long.
#[must_use]
pub fn fixed(value: f64, decimals: usize) -> String {
    if value.is_infinite() {
        return if value > 0.0 { "inf" } else { "-inf" }.into();
    }
    if value.abs() >= 1e7 {
        return format!("{value:.1e}");
    }
    let decimals = if value.abs() >= 1e4 { 0 } else { decimals };
    let text = format!("{value:.decimals$}");
    let zero = !text.contains(|letter: char| ('1'..='9').contains(&letter));
    match text.strip_prefix('-') {
        Some(positive) if zero => positive.into(),
        _ => text,
    }
}

/// As [`fixed`], with its sign.
#[must_use]
pub fn signed(value: f64, decimals: usize) -> String {
    let text = fixed(value, decimals);
    if text.starts_with('-') || value.is_nan() {
        text
    } else {
        format!("+{text}")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_are_aligned_and_headings_stand_over_them() {
        let mut table = Table::new(1);
        table.row(["a long heading over all of it".into()]);
        table.row(["a".into(), "1.5".into()]);
        table.row(["bcd".into(), "-10.5".into(), "x".into()]);
        let expected = "a long heading over all of it\na      1.5\nbcd  -10.5  x\n";
        assert_eq!(table.to_string(), expected);
    }

    #[test]
    fn zero_has_no_sign_and_large_numbers_no_decimals() {
        assert_eq!(fixed(-0.004, 2), "0.00");
        assert_eq!(fixed(-0.006, 2), "-0.01");
        assert_eq!(signed(-0.0, 1), "+0.0");
        assert_eq!(fixed(123_456.78, 1), "123457");
        assert_eq!(fixed(-2.5e9, 1), "-2.5e9");
        assert_eq!(fixed(f64::NAN, 1), "NaN");
    }
}
