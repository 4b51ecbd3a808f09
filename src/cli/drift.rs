//! `drift`: how far points may move before a band breaks.

use super::args::{DriftArguments, Others, TableFormat};
use super::judged::Judged;
use super::{Outcome, files, print, threads};
use crate::curves::Suspension;
use crate::input::{Fault, Faults, Layout, PointId};
use crate::report::drift as report;
use crate::study::drift::{Drift, Moved, Region, resolved};
use anyhow::bail;

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
    if arguments.others == Others::Resolved {
        return resolve(arguments, &judged, point);
    }
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
    let regions: Vec<Region> = threads::over(arguments.threads, || drift.regions(&moved, count))?;
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

/// The same where the other points may follow.
fn resolve(
    arguments: &DriftArguments,
    judged: &Judged,
    point: Option<PointId>,
) -> anyhow::Result<Outcome> {
    let Some(brief) = &judged.brief else {
        bail!("--others resolved: found no --brief, expected one that says what else may move");
    };
    let mut brief = brief.clone();
    brief.objectives.clone_from(&judged.sets);
    let points: Vec<PointId> = match point {
        Some(point) => vec![point],
        None => brief.free.iter().map(|free| free.point).collect(),
    };
    let drifts = threads::over(arguments.threads, || {
        resolved(&judged.plan, &brief, &points)
    })?;
    match arguments.format {
        TableFormat::Table => print(&report::resolved_text(&brief, &drifts))?,
        TableFormat::Json => print(&report::resolved_json(&brief, &drifts))?,
        TableFormat::Csv => print(&report::resolved_csv(&brief, &drifts))?,
    }
    let met = drifts
        .iter()
        .any(|drift| drift.worst.holds.is_none() || drift.worst.distance > 0.0);
    Ok(if met { Outcome::Met } else { Outcome::NotMet })
}

/// The point of that name.
fn named(layout: &Layout, file: &str, name: &str) -> Result<PointId, Faults> {
    layout.mechanism.point_named(name).ok_or_else(|| {
        let known = layout.mechanism.points.iter().map(|point| &*point.name);
        Fault::unknown_name("--point", "", name, format!("a point of {file}"), known).into()
    })
}
