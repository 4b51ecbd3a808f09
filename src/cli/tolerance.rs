//! `tolerance`: what comes of a layout when its holes are off.

use super::args::{TableFormat, ToleranceArguments};
use super::files::Source;
use super::judged::Judged;
use super::{Outcome, files, print};
use crate::curves::Suspension;
use crate::input::{Distribution, Faults, Layout, Scatter};
use crate::report::tolerance as report;
use crate::study::tolerance::{Question, tolerance};
use anyhow::Context;

/// Prints the study in the form asked for.
pub(super) fn run(arguments: &ToleranceArguments) -> anyhow::Result<Outcome> {
    let judged = Judged::load(
        &arguments.layout,
        &arguments.objectives,
        arguments.brief.as_deref(),
    )?;
    let (layout, sets) = (&judged.layout, judged.sets());
    let scatter = scatter(arguments, layout)?;
    let suspension = Suspension::new(&judged.plan, &judged.file, layout)?;
    files::warn_of(&judged.file, layout, &suspension);
    let question = Question {
        layout,
        sets: &sets,
        limits: judged.limits(),
        scatter: &scatter,
        frames: arguments.frames,
        seed: arguments.seed,
    };
    let tolerance = tolerance(&question, &suspension)
        .context("the linkage stands in a singular position at full extension")?;
    match arguments.format {
        TableFormat::Table => print(&report::text(&question, &tolerance))?,
        TableFormat::Json => print(&report::json_text(&question, &tolerance))?,
        TableFormat::Csv => print(&report::csv(&question, &tolerance))?,
    }
    // As drawn, the layout has no scatter at all.
    let drawn = crate::design::Assessment::new(&suspension, &sets, judged.limits());
    Ok(if drawn.feasible() {
        Outcome::Met
    } else {
        Outcome::NotMet
    })
}

/// The scatter that the arguments ask about: a number, or a file of radii.
fn scatter(arguments: &ToleranceArguments, layout: &Layout) -> Result<Scatter, Faults> {
    let mut scatter = match (&arguments.scatter_file, arguments.scatter) {
        (Some(path), _) => {
            let source = Source::read(path)?;
            Scatter::from_json(&source.file, &source.text, layout)?
        }
        (None, radius) => Scatter::even(radius.unwrap_or(0.0)),
    };
    if arguments.normal {
        scatter.distribution = Distribution::Normal;
    }
    Ok(scatter)
}
