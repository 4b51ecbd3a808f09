//! Samples as comma-separated values, every number in full.
//!
//! Columns are named like the keys of JSON; those of a cog end in its teeth, and an instant
//! centre at infinity is empty.

use super::Subject;
use crate::curves::State;
use crate::input::Curve;

/// One row for each of `samples` states uniform in travel, top to end, under a heading.
#[must_use]
pub fn samples(subject: &Subject, samples: u32) -> String {
    let mut text = line(&heading(subject));
    for state in subject.samples(samples) {
        text += &line(&row(subject, &state));
    }
    text
}

fn line(cells: &[String]) -> String {
    cells.join(",") + "\n"
}

fn heading(subject: &Subject) -> Vec<String> {
    let mut names = Vec::new();
    for curve in Curve::ALL {
        if curve == Curve::AntiSquat {
            names.extend(["instant_centre_x".into(), "instant_centre_y".into()]);
        }
        let name = curve.name();
        if curve.depends_on_cog() {
            let cogs = subject.suspension.bicycle().cogs().iter();
            names.extend(cogs.map(|cog| format!("{name}_{}", cog.teeth)));
        } else {
            names.push(name.into());
        }
    }
    names
}

fn row(subject: &Subject, state: &State<f64>) -> Vec<String> {
    let mut cells = Vec::new();
    for curve in Curve::ALL {
        if curve == Curve::AntiSquat {
            let centre = state.instant_centre();
            let centre = centre.map_or([None, None], |centre| [Some(centre.x), Some(centre.y)]);
            cells.extend(centre.map(|value| value.map_or_else(String::new, number)));
        }
        let values = subject.values(curve, state);
        cells.extend(values.into_iter().map(|(_, value)| number(value)));
    }
    cells
}

/// The shortest text that is read back as the same bits.
fn number(value: f64) -> String {
    if value.is_finite() {
        format!("{value:?}")
    } else {
        String::new()
    }
}
