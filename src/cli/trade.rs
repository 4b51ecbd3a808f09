//! `trade`: the frontier between two targets.

use super::args::{TableFormat, TradeArguments};
use super::files::{self, BriefSources};
use super::run_folder::RunFolder;
use super::threads::over;
use super::{Outcome, output, print};
use crate::input::{Brief, Fault, Faults, Layout, Target, Want};
use crate::mechanism::Plan;
use crate::report::cost::target_words;
use crate::report::trade as report;
use crate::study::trade::{Pair, trade};
use crate::study::{Control, Search};

/// Feasible layouts from which the frontier is walked.
const STARTS: usize = 12;

/// Prints the frontier in the form asked for.
pub(super) fn run(arguments: &TradeArguments) -> anyhow::Result<Outcome> {
    let BriefSources {
        mut brief,
        layout_file,
        ..
    } = files::read_brief(&arguments.brief)?;
    brief.search.starts = arguments.starts;
    brief.search.keep = STARTS;
    let pair = pair(&brief, &arguments.between)?;
    let folder = match &arguments.out {
        Some(out) => Some(RunFolder::create(Some(out), &arguments.brief)?),
        None => None,
    };
    let plan = Plan::compile(&layout_file, &brief.layout.mechanism)?;
    let threads = arguments.threads.map_or(0, usize::from);
    let search = Search::new(brief.clone(), &layout_file, threads)?;
    let study = search.run(|_| Control::GoOn)?;
    let feasible = study.layouts.iter().filter(|ranked| ranked.feasible);
    let layouts: Vec<&Layout> = feasible.map(|ranked| &ranked.layout).collect();
    let count = usize::from(arguments.points);
    let walked = over(arguments.threads, || {
        trade(&plan, &brief, pair, &layouts, count)
    })?;
    let Some(trade) = walked else {
        let starts = arguments.starts;
        output::complain(&format!(
            "{}: nothing feasible in {starts} starts, so there is nothing to trade (`cost` tells \
             what stands in the way)",
            arguments.brief.display()
        ));
        return Ok(Outcome::NotMet);
    };
    if let Some(folder) = &folder {
        for (index, point) in trade.points.iter().enumerate() {
            let name = format!("layouts/{:02}.json", index + 1);
            folder.write(&name, &point.layout.to_json())?;
        }
        folder.write("frontier.csv", &report::csv(&brief, pair, &trade))?;
    }
    match arguments.format {
        TableFormat::Table => print(&report::text(&brief, pair, &trade))?,
        TableFormat::Json => print(&report::json_text(&brief, pair, &trade))?,
        TableFormat::Csv => print(&report::csv(&brief, pair, &trade))?,
    }
    Ok(Outcome::Met)
}

/// The two targets meant by number or by words.
fn pair(brief: &Brief, between: &[String]) -> Result<Pair, Faults> {
    let targets: Vec<&Target> = brief
        .objectives
        .iter()
        .flat_map(|(_, set)| &set.targets)
        .collect();
    let found = files::collect(between.iter().map(|text| meant(&targets, text)))?;
    match found[..] {
        [one, other] if one != other => Ok([one, other]),
        _ => Err(fault(
            &targets,
            "the same target twice".to_owned(),
            "two different targets",
        )),
    }
}

/// The one target that `text` means: its number, or words that only its own line has.
fn meant(targets: &[&Target], text: &str) -> Result<usize, Faults> {
    let by_number = text.parse::<usize>().ok();
    let number = by_number.filter(|&number| (1..=targets.len()).contains(&number));
    let fits = |target: &Target| {
        let line = target_words(target).to_lowercase();
        text.split_whitespace()
            .all(|word| line.contains(&word.to_lowercase()))
    };
    let matching: Vec<usize> = match number {
        Some(number) => vec![number - 1],
        None if by_number.is_some() => Vec::new(),
        None => (0..targets.len())
            .filter(|&index| fits(targets[index]))
            .collect(),
    };
    match matching[..] {
        [index] if matches!(targets[index].want, Want::Monotone(_)) => Err(fault(
            targets,
            format!("{text}, which is met or not"),
            "a target with an allowance",
        )),
        [index] => Ok(index),
        [] => Err(fault(
            targets,
            text.to_owned(),
            "the number of a target, or words of it",
        )),
        _ => Err(fault(
            targets,
            format!("{text}, which means {} of them", matching.len()),
            "words that only one target has",
        )),
    }
}

/// A fault with the list of what could be meant.
fn fault(targets: &[&Target], found: String, expected: &str) -> Faults {
    let list: Vec<String> = targets
        .iter()
        .enumerate()
        .map(|(index, target)| format!("\n  {} {}", index + 1, target_words(target)))
        .collect();
    Fault::new(
        "--between",
        "",
        found,
        format!("{expected}:{}", list.concat()),
    )
    .into()
}
