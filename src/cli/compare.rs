//! `compare`: layouts side by side.

use super::args::{CompareArguments, CompareFormat};
use super::files;
use super::{Outcome, print};
use crate::curves::Suspension;
use crate::report::{self, Subject};

/// Prints the layouts and how they differ from the first.
pub(super) fn run(arguments: &CompareArguments) -> anyhow::Result<Outcome> {
    let loaded = files::collect(
        arguments
            .layouts
            .iter()
            .map(|path| files::load_mechanism(path)),
    )?;
    let suspensions = files::collect(
        loaded
            .iter()
            .map(|(file, layout, plan)| Suspension::new(plan, file, layout)),
    )?;
    let mut subjects = Vec::with_capacity(loaded.len());
    for ((file, layout, _), suspension) in loaded.iter().zip(&suspensions) {
        files::warn_of(file, layout, suspension);
        subjects.push((file.as_str(), Subject::new(layout, suspension)));
    }
    match arguments.format {
        CompareFormat::Table => print(&report::comparison::text(&subjects))?,
        CompareFormat::Json => {
            let value = report::comparison::json(&subjects);
            print(&report::json::text(&value))?;
        }
    }
    Ok(Outcome::Met)
}
