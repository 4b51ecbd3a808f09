//! `sensitivity`: what changes per mm of each coordinate.

use super::args::{SensitivityArguments, TableFormat};
use super::judged::Judged;
use super::{Outcome, files, print};
use crate::curves::Suspension;
use crate::design::Construction;
use crate::design::measure::clearances;
use crate::report::sensitivity as report;
use crate::study::sensitivity::Sensitivity;

/// Prints the table in the form asked for.
pub(super) fn run(arguments: &SensitivityArguments) -> anyhow::Result<Outcome> {
    let judged = Judged::load(
        &arguments.layout,
        &arguments.objectives,
        arguments.brief.as_deref(),
    )?;
    let (layout, sets) = (&judged.layout, judged.sets());
    let suspension = Suspension::new(&judged.plan, &judged.file, layout)?;
    files::warn_of(&judged.file, layout, &suspension);
    let size = judged.brief.as_ref().and_then(|brief| {
        let size = brief.sizes().first().copied()?;
        Some(Construction::new(brief, size))
    });
    let clearances = clearances(layout, &suspension, judged.limits());
    let sensitivity =
        Sensitivity::with_clearances(layout, &suspension, &sets, clearances, size.as_ref());
    match arguments.format {
        TableFormat::Table => print(&report::text(layout, &sets, &sensitivity))?,
        TableFormat::Json => print(&report::json_text(layout, &sets, &sensitivity))?,
        TableFormat::Csv => print(&report::csv(&sensitivity))?,
    }
    Ok(Outcome::Met)
}
