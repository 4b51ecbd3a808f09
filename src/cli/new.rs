//! `new`: a starting point, written into a folder.

use super::args::NewArguments;
use super::output::complain;
use super::whole::write_whole;
use super::{Outcome, print};
use anyhow::{Context, bail};
use std::io::{BufRead, IsTerminal};

/// A set of files that searches successfully as it is.
struct StartingPoint {
    name: &'static str,
    what: &'static str,
    files: [(&'static str, &'static str); 6],
}

const STARTING_POINTS: &[StartingPoint] = include!("../../demo-data/starting-points/table.rs");

/// Writes the starting point.
pub(super) fn run(arguments: &NewArguments) -> anyhow::Result<Outcome> {
    let folder = &arguments.folder;
    // Before asking, so that nobody answers in vain.
    match std::fs::read_dir(folder).map(|mut entries| entries.next().is_none()) {
        Ok(false) => bail!(
            "found {}, which is not empty, expected a new or empty folder",
            folder.display()
        ),
        Err(_) if folder.exists() => bail!(
            "found {}, which is no folder that can be read, expected a new or empty folder",
            folder.display()
        ),
        _ => {}
    }
    let chosen = match &arguments.linkage {
        Some(name) => named(name)?,
        None => asked()?,
    };
    for (name, text) in chosen.files {
        write_whole(&folder.join(name), text)?;
    }
    print(&format!(
        "A starting point in {0}: read {0}/README.md, then\n\n  pivotwright search {0}/bike.brief.json\n",
        folder.display()
    ))?;
    Ok(Outcome::Met)
}

fn names() -> String {
    let names: Vec<&str> = STARTING_POINTS.iter().map(|point| point.name).collect();
    names.join(", ")
}

fn named(name: &str) -> anyhow::Result<&'static StartingPoint> {
    let mut points = STARTING_POINTS.iter();
    points
        .find(|point| point.name.eq_ignore_ascii_case(name))
        .with_context(|| format!("--linkage: found \"{name}\", expected one of {}", names()))
}

/// Asks on the terminal which kind is meant, by number or name.
fn asked() -> anyhow::Result<&'static StartingPoint> {
    if !std::io::stdin().is_terminal() {
        bail!(
            "--linkage: found nothing and nobody to ask, expected one of {}",
            names()
        );
    }
    complain("Which kind of linkage?");
    for (index, point) in STARTING_POINTS.iter().enumerate() {
        complain(&format!(
            "  {}  {:<13} {}",
            index + 1,
            point.name,
            point.what
        ));
    }
    complain("Its number or name:");
    let mut answer = String::new();
    std::io::stdin().lock().read_line(&mut answer)?;
    let answer = answer.trim();
    let number = answer.parse::<usize>().ok();
    let by_number = number.and_then(|number| STARTING_POINTS.get(number.checked_sub(1)?));
    by_number.map_or_else(|| named(answer), Ok)
}
