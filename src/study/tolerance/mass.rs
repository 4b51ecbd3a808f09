//! What becomes of a layout as the rider's weight shifts: numbers over a range of the centre of
//! mass, at its corners and in its middle, with every hole as drawn.

use super::Question;
use crate::curves::Suspension;
use crate::design::Assessment;
use crate::design::measure::{Measure, reported};
use crate::number::Point;
use crate::study::drift::Break;

/// One number over the range.
#[derive(Clone, Debug, PartialEq)]
pub struct Swept {
    /// The number.
    pub measure: Measure,
    /// With the centre of mass as drawn.
    pub drawn: f64,
    /// In every place.
    pub values: Vec<f64>,
}

/// The numbers that depend on the centre of mass, over its range.
#[derive(Clone, Debug, PartialEq)]
pub struct MassSweep {
    /// The corners of the range that differ, low to high, and its middle, mm.
    pub places: Vec<Point<f64>>,
    /// Every number that is not the same everywhere.
    pub numbers: Vec<Swept>,
    /// Of each place, what is missed there.
    pub missed: Vec<Vec<Break>>,
}

/// The sweep over the range that the question has; none where it has none, or where the layout
/// does not move.
#[must_use]
pub fn sweep_mass(question: &Question, suspension: &Suspension) -> Option<MassSweep> {
    let [(left, right), (low, high)] = question.scatter.centre_of_mass?;
    let middle = Point::new(0.5 * (left + right), 0.5 * (low + high));
    let corner = |(x, y): (f64, f64)| Point::new(x, y);
    let mut places = vec![corner((left, low)), middle, corner((right, high))];
    if left < right && low < high {
        places.insert(1, corner((right, low)));
        places.insert(3, corner((left, high)));
    }
    places.dedup();
    let measures = reported(suspension.bicycle());
    let drawn: Vec<f64> = measures.iter().map(|m| m.value(suspension)).collect();
    let mut columns: Vec<Vec<f64>> = Vec::new();
    let mut missed = Vec::new();
    for &place in &places {
        let mut layout = question.layout.clone();
        layout.bicycle.centre_of_mass = place;
        let moved = Suspension::new(suspension.plan(), &layout.name, &layout).ok()?;
        columns.push(measures.iter().map(|m| m.value(&moved)).collect());
        missed.push(missed_by(question, &moved));
    }
    let swept = measures.into_iter().zip(drawn).enumerate();
    let numbers = swept.map(|(number, (measure, drawn))| Swept {
        measure,
        drawn,
        values: columns.iter().map(|column| column[number]).collect(),
    });
    let depends = |swept: &Swept| {
        let scale = 1e-9 * (1.0 + swept.drawn.abs());
        swept
            .values
            .iter()
            .any(|value| (value - swept.drawn).abs() > scale)
    };
    Some(MassSweep {
        places,
        numbers: numbers.filter(depends).collect(),
        missed,
    })
}

fn missed_by(question: &Question, suspension: &Suspension) -> Vec<Break> {
    let assessment = Assessment::new(suspension, question.sets, question.limits);
    let targets = assessment.targets.iter().filter(|target| !target.met);
    let targets = targets.map(|target| Break::Target {
        objective: target.objective,
        index: target.index,
    });
    let limits = assessment.limits.iter().filter(|limit| !limit.holds);
    targets
        .chain(limits.map(|limit| Break::Limit(limit.index)))
        .collect()
}
