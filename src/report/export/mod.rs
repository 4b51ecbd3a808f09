//! What a layout gives to other programs: a drawing, parameters, points and curves.
//!
//! - `drawing`: lines and points for CAD. `parameters`: names, values and units for its
//!   variables. `points`: where every point is along the travel.

mod drawing;
mod names;
mod parameters;
mod points;

use super::{Subject, csv, json};

/// Samples of curves and points, uniform in travel.
const SAMPLES: u32 = 101;

/// What goes into CAD, each file by the end of its name and with its text.
#[must_use]
pub fn drawings(subject: &Subject) -> Vec<(&'static str, String)> {
    vec![
        ("dxf", drawing::text(subject)),
        ("parameters.csv", parameters::text(subject)),
        ("points.csv", points::text(subject, SAMPLES)),
    ]
}

/// All files about one layout: the curves too.
#[must_use]
pub fn files(subject: &Subject) -> Vec<(&'static str, String)> {
    let mut files = drawings(subject);
    files.push(("curves.csv", csv::samples(subject, SAMPLES)));
    let curves = json::curves(subject, SAMPLES, None);
    files.push(("curves.json", json::text(&curves)));
    files
}
