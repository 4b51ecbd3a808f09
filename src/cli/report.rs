//! `report`: the report of a finished run, made anew from its folder.

use super::args::ReportArguments;
use super::files::{Source, collect};
use super::whole::write_whole;
use super::{Outcome, output, print};
use crate::input::{Fault, Faults};
use crate::report::figure::Figure;
use crate::report::page;
use crate::report::results::InputFile;
use crate::report::run::{Results, Run, RunTexts, input_copy};
use sha2::{Digest, Sha256};
use std::path::Path;

/// Rebuilds the report.
pub(super) fn run(arguments: &ReportArguments) -> anyhow::Result<Outcome> {
    let run = read(&arguments.run)?;
    let path = arguments
        .html
        .clone()
        .unwrap_or_else(|| arguments.run.join("report.html"));
    write_whole(&path, &page::run(&run)?)?;
    print(&format!("{}\n", path.display()))?;
    if let Some(folder) = &arguments.svg {
        write_figures(folder, &page::run_figures(&run)?)?;
    }
    Ok(Outcome::Met)
}

/// Writes figures as files, and tells of them on stderr.
pub(super) fn write_figures(folder: &Path, figures: &[Figure]) -> anyhow::Result<()> {
    for figure in figures {
        let path = folder.join(format!("{}.svg", figure.name));
        write_whole(&path, &figure.file())?;
    }
    output::complain(&format!(
        "{} figures written to {}",
        figures.len(),
        folder.display()
    ));
    Ok(())
}

/// Reads the folder of a finished run.
fn read(folder: &Path) -> Result<Run, Faults> {
    let results = Source::read(&folder.join("results.json")).map_err(|faults| {
        let no_run = |fault: Fault| {
            let expected = "the folder of a finished search, with results.json";
            Fault::new(folder.display().to_string(), "", fault.found, expected)
        };
        Faults(faults.0.into_iter().map(no_run).collect())
    })?;
    let parsed = Results::from_json(&results.file, &results.text)?;
    let numbered = parsed.inputs.iter().enumerate();
    let inputs = collect(numbered.map(|(index, input)| read_input(folder, index, input)))?;
    let layouts = parsed.layouts.iter();
    let layouts = collect(layouts.map(|entry| Ok(Source::read(&folder.join(&entry.file))?.text)))?;
    let texts = RunTexts {
        results: results.text,
        inputs,
        layouts,
    };
    Run::from_texts(&folder.display().to_string(), &texts)
}

/// The copy of an input, which must be what was searched.
fn read_input(folder: &Path, index: usize, input: &InputFile) -> Result<String, Faults> {
    let source = Source::read(&folder.join(input_copy(index, &input.file)))?;
    let hash = format!("{:x}", Sha256::digest(source.text.as_bytes()));
    if hash != input.sha256 {
        let expected = format!("the file that was searched, SHA-256 {}", input.sha256);
        return Err(Fault::new(source.file, "", format!("SHA-256 {hash}"), expected).into());
    }
    Ok(source.text)
}
