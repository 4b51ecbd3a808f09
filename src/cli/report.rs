//! `report`: the report of a finished run, made anew from its folder.

use super::args::ReportArguments;
use super::files::{Source, collect};
use super::whole::write_whole;
use super::{Outcome, output, print};
use crate::input::{Fault, Faults};
use crate::report::figure::Figure;
use crate::report::margins::Margins;
use crate::report::page;
use crate::report::results::InputFile;
use crate::report::run::{Results, Run, RunTexts, input_copy};
use sha2::{Digest, Sha256};
use std::path::Path;

/// The file of a run folder that holds its report.
pub(super) const PAGE: &str = "report.html";

/// The file of a run folder that holds its margins.
pub(super) const MARGINS: &str = "margins.json";

/// Rebuilds the report.
pub(super) fn run(arguments: &ReportArguments) -> anyhow::Result<Outcome> {
    let texts = read(&arguments.run)?;
    let run = Run::from_texts(&arguments.run.display().to_string(), &texts)?;
    let of = hash_of(&run, &texts);
    let kept = std::fs::read_to_string(arguments.run.join(MARGINS)).unwrap_or_default();
    // They follow from the other texts, so what is missing or of other texts is made again.
    let margins = if let Some(margins) = Margins::from_text(&kept, &of, run.layouts.len()) {
        margins
    } else {
        let margins = Margins::of(&run, &of)?;
        if arguments.html.is_none() {
            write_whole(&arguments.run.join(MARGINS), &margins.text())?;
        }
        margins
    };
    let path = arguments
        .html
        .clone()
        .unwrap_or_else(|| arguments.run.join(PAGE));
    write_whole(&path, &page::run(&run, &margins)?)?;
    print(&format!("{}\n", path.display()))?;
    if let Some(folder) = &arguments.svg {
        write_figures(folder, &page::run_figures(&run, &margins)?)?;
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

/// What margins are of: every layout as it stands in the folder, and what they are judged by.
pub(super) fn hash_of(run: &Run, texts: &RunTexts) -> String {
    let Results {
        version,
        seed,
        scatter,
        ..
    } = &run.results;
    let mut hash = Sha256::new();
    hash.update(format!("{version} {seed} {scatter:?}\n"));
    for input in &run.results.inputs {
        hash.update(format!("{} {}\n", input.file, input.sha256));
    }
    for text in &texts.layouts {
        hash.update(text.as_bytes());
    }
    format!("{:x}", hash.finalize())
}

/// Reads the folder of a finished run.
fn read(folder: &Path) -> Result<RunTexts, Faults> {
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
    Ok(RunTexts {
        results: results.text,
        inputs,
        layouts,
    })
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
