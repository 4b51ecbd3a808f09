//! `tolerance`: what comes of a layout when its holes are off.

use super::args::{TableFormat, ToleranceArguments};
use super::files::Source;
use super::judged::Judged;
use super::{Outcome, files, print, threads};
use crate::curves::Suspension;
use crate::input::{Distribution, FARTHEST, Fault, Faults, Layout, Scatter};
use crate::report::tolerance as report;
use crate::study::tolerance::{Question, sweep_mass, tolerance};
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
    let tolerance = threads::over(arguments.threads, || tolerance(&question, &suspension))?
        .context("the linkage stands in a singular position at full extension")?;
    let mass = sweep_mass(&question, &suspension);
    let mass = mass.as_ref();
    match arguments.format {
        TableFormat::Table => print(&report::text(&question, &tolerance, mass))?,
        TableFormat::Json => print(&report::json_text(&question, &tolerance, mass))?,
        TableFormat::Csv => print(&report::csv(&question, &tolerance, mass))?,
    }
    // As drawn, the layout has no scatter at all.
    let drawn = crate::design::Assessment::new(&suspension, &sets, judged.limits());
    Ok(if drawn.feasible() {
        Outcome::Met
    } else {
        Outcome::NotMet
    })
}

/// A range of the centre of mass as it stands on the command line.
fn mass_range(option: &str, range: Option<&[f64]>) -> Result<Option<(f64, f64)>, Faults> {
    let expected = "two coordinates in mm, the lower one first";
    match range {
        None => Ok(None),
        Some(&[low, high]) if low <= high && low.abs() <= FARTHEST && high.abs() <= FARTHEST => {
            Ok(Some((low, high)))
        }
        Some(&[low, high]) => {
            let fault = Fault::new(option, "", format!("{low} {high}"), expected);
            let turned = (low > high).then(|| format!("{option} {high} {low}"));
            Err(fault.suggesting(turned).into())
        }
        Some(_) => Err(Fault::new(option, "", "no two numbers".to_owned(), expected).into()),
    }
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
    let drawn = layout.bicycle.centre_of_mass;
    let ranges = [
        mass_range("--mass-x", arguments.mass_x.as_deref())?,
        mass_range("--mass-y", arguments.mass_y.as_deref())?,
    ];
    if ranges.iter().any(Option::is_some) {
        let known = scatter.centre_of_mass;
        let [x, y] = known.unwrap_or([(drawn.x, drawn.x), (drawn.y, drawn.y)]);
        scatter.centre_of_mass = Some([ranges[0].unwrap_or(x), ranges[1].unwrap_or(y)]);
    }
    if arguments.normal {
        scatter.distribution = Distribution::Normal;
    }
    Ok(scatter)
}
