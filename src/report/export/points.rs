//! Where every point is along the travel, as comma-separated values in full precision.

use super::names::plain;
use crate::input::Place;
use crate::report::Subject;
use std::fmt::Write;

/// Longest name of a column.
const LONGEST: usize = 60;

/// One row a moment: the three with a name first, then so many uniform in travel.
pub(super) fn text(subject: &Subject, samples: u32) -> String {
    let points = &subject.layout.mechanism.points;
    let mut taken = Vec::new();
    let mut text = "place,travel,stroke".to_owned();
    for point in points {
        let name = plain(&point.name, LONGEST, &mut taken);
        let _ = write!(text, ",{name}_x,{name}_y");
    }
    text.push('\n');
    let last = samples.max(2) - 1;
    let named = [
        ("top", Place::Top),
        ("sag", Place::Sag),
        ("end", Place::End),
    ];
    let uniform = (0..=last).map(|index| {
        let fraction = f64::from(index) / f64::from(last);
        ("", Place::Fraction(fraction))
    });
    for (name, place) in named.into_iter().chain(uniform) {
        let parameter = subject.suspension.parameter_at(place);
        let state = subject.suspension.state(parameter);
        let _ = write!(text, "{name},{:?},{:?}", state.travel, state.stroke);
        for point in &subject.suspension.pose(parameter).points[..points.len()] {
            let _ = write!(text, ",{:?},{:?}", point.x, point.y);
        }
        text.push('\n');
    }
    text
}
