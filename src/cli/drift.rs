//! `drift`: how far points may move before a band breaks.

use super::args::{DriftArguments, TableFormat};
use super::judged::Judged;
use super::{Outcome, files, print};
use crate::curves::Suspension;
use crate::input::{Fault, Faults, Layout, PointId};
use crate::report::drift as report;
use crate::study::drift::{Drift, Moved, Region};

/// Directions of a polar table.
const POLAR: usize = 24;

/// Corners of an outline.
const OUTLINE: usize = 360;

/// Prints the drifts in the form asked for.
pub(super) fn run(arguments: &DriftArguments) -> anyhow::Result<Outcome> {
    let judged = Judged::load(
        &arguments.layout,
        &arguments.objectives,
        arguments.brief.as_deref(),
    )?;
    let (layout, sets, limits) = (&judged.layout, judged.sets(), judged.limits());
    let point = match &arguments.point {
        Some(name) => Some(named(layout, &judged.file, name)?),
        None => None,
    };
    let suspension = Suspension::new(&judged.plan, &judged.file, layout)?;
    files::warn_of(&judged.file, layout, &suspension);
    let drift = Drift::new(layout, &suspension, &sets, limits);
    let question = report::Question {
        layout,
        sets: &sets,
        limits,
        missed: &drift.missed,
    };
    let mut moved: Vec<Moved> = drift.movable();
    if let Some(point) = point {
        let here = layout.mechanism.position(point);
        moved.retain(|moved| (layout.mechanism.position(moved.point) - here).length() <= 1e-6);
    }
    let outline = if point.is_some() { OUTLINE } else { 0 };
    let count = u32::try_from(outline).unwrap_or(0);
    let regions: Vec<Region> = drift.regions(&moved, count);
    match arguments.format {
        TableFormat::Table if point.is_some() => {
            print(&report::polar(&question, &regions, OUTLINE / POLAR))?;
        }
        TableFormat::Table => print(&report::text(&question, &regions))?,
        TableFormat::Json => print(&report::json_text(&question, &regions))?,
        TableFormat::Csv => print(&report::csv(&question, &regions))?,
    }
    Ok(if drift.missed.is_empty() {
        Outcome::Met
    } else {
        Outcome::NotMet
    })
}

/// The point of that name.
fn named(layout: &Layout, file: &str, name: &str) -> Result<PointId, Faults> {
    layout.mechanism.point_named(name).ok_or_else(|| {
        let known = layout.mechanism.points.iter().map(|point| &*point.name);
        Fault::unknown_name("--point", "", name, format!("a point of {file}"), known).into()
    })
}
