//! Which points of one layout stand elsewhere than those of another with the same names.

use super::table::{Table, fixed, signed};
use crate::input::Layout;
use crate::number::{Point, Vector};
use std::fmt::Write;

/// What is no move but rounding, mm.
const LEAST: f64 = 1e-6;

/// A point that stands elsewhere, both as drawn at full extension, mm.
#[derive(Clone, Debug, PartialEq)]
pub struct MovedPoint {
    /// Its name in both layouts.
    pub name: String,
    /// Where it stands in the first.
    pub first: Point<f64>,
    /// Where it stands in the other.
    pub other: Point<f64>,
}

impl MovedPoint {
    /// From where it was to where it is, mm.
    #[must_use]
    pub fn by(&self) -> Vector<f64> {
        self.other - self.first
    }
}

/// The points that both layouts have and that stand elsewhere in `other`, farthest first.
#[must_use]
pub fn moved_points(first: &Layout, other: &Layout) -> Vec<MovedPoint> {
    let others = &other.mechanism.points;
    let pairs = first.mechanism.points.iter().filter_map(|point| {
        let same = others.iter().find(|other| other.name == point.name)?;
        Some(MovedPoint {
            name: point.name.clone(),
            first: point.position,
            other: same.position,
        })
    });
    let mut moved: Vec<MovedPoint> = pairs.filter(|point| point.by().length() > LEAST).collect();
    moved.sort_by(|a, b| b.by().length().total_cmp(&a.by().length()));
    moved
}

/// The same as a table, for the layout called `name`; empty where no point moved.
pub(super) fn text(name: &str, moved: &[MovedPoint]) -> String {
    let mut text = String::new();
    if moved.is_empty() {
        return text;
    }
    let mut table = Table::new(1);
    table.row(
        [
            "",
            "A x",
            "A y",
            &format!("{name} x"),
            &format!("{name} y"),
            "x by",
            "y by",
            "far",
        ]
        .map(str::to_owned),
    );
    for point in moved {
        let by = point.by();
        table.row([
            point.name.clone(),
            fixed(point.first.x, 1),
            fixed(point.first.y, 1),
            fixed(point.other.x, 1),
            fixed(point.other.y, 1),
            signed(by.x, 1),
            signed(by.y, 1),
            fixed(by.length(), 1),
        ]);
    }
    let _ = write!(
        text,
        "{name} against A: points that stand elsewhere at full extension, mm\n{table}"
    );
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_moved_is_told_farthest_first_and_what_stayed_is_not() {
        let text = include_str!("../../demo-data/trail-crew-m.layout.json");
        let first = Layout::from_json("layout", text).unwrap();
        let mut points: Vec<Point<f64>> = first
            .mechanism
            .points
            .iter()
            .map(|point| point.position)
            .collect();
        points[0] = points[0] + Vector::new(1.0, 0.0);
        points[2] = points[2] + Vector::new(-3.0, 4.0);
        let stroke = first.mechanism.shock.stroke;
        let other = first.with_points("other".into(), &points, stroke);
        let moved = moved_points(&first, &other);
        let told: Vec<(&str, f64)> = moved
            .iter()
            .map(|point| (&*point.name, point.by().length()))
            .collect();
        let names = [2, 0].map(|index: usize| &*first.mechanism.points[index].name);
        assert_eq!(told[0], (names[0], 5.0));
        assert_eq!((told[1].0, told.len()), (names[1], 2));
        assert!(moved_points(&first, &first).is_empty());
    }
}
