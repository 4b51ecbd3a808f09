//! `cost`: what a band that gives way would gain, or make feasible.

use super::args::{CostArguments, JsonFormat};
use super::files::{self, BriefSources};
use super::judged::require_same_linkage;
use super::threads::over;
use super::{Outcome, print};
use crate::input::Layout;
use crate::mechanism::Plan;
use crate::report::cost as report;
use crate::study::cost::{gains, widenings};
use crate::study::{Control, Search};
use anyhow::Context;

/// Layouts nearest to feasible from which widenings are solved.
const NEAREST: usize = 8;

/// Prints the costs in the form asked for.
pub(super) fn run(arguments: &CostArguments) -> anyhow::Result<Outcome> {
    let read = files::read_brief(&arguments.brief)?;
    let BriefSources {
        mut brief,
        layout_file,
        ..
    } = read;
    brief.search.starts = arguments.starts;
    let plan = Plan::compile(&layout_file, &brief.layout.mechanism)?;
    let threads = arguments.threads.map_or(0, usize::from);
    let layouts: Vec<Layout> = if arguments.layout.is_empty() {
        let search = Search::new(brief.clone(), &layout_file, threads)?;
        let study = search.run(|_| Control::GoOn)?;
        if study.layouts.is_empty() {
            anyhow::bail!("no start gave a linkage that moves over the whole stroke; try --layout");
        }
        study
            .layouts
            .into_iter()
            .map(|ranked| ranked.layout)
            .collect()
    } else {
        let loaded = arguments.layout.iter().map(|path| {
            let (file, layout, _) = files::load_mechanism(path)?;
            require_same_linkage(&brief, &layout_file, &arguments.brief, &file, &layout)?;
            Ok(layout)
        });
        files::collect(loaded)?
    };
    let first = layouts.first().context("no layout to look at")?;
    let held = over(arguments.threads, || gains(&plan, &brief, first))?;
    if let Some(held) = held {
        match arguments.format {
            JsonFormat::Table => print(&report::gains_text(&brief, &first.name, &held))?,
            JsonFormat::Json => print(&report::gains_json(&brief, &first.name, &held))?,
        }
        return Ok(Outcome::Met);
    }
    let nearest: Vec<&Layout> = layouts.iter().take(NEAREST).collect();
    let widenings = over(arguments.threads, || widenings(&plan, &brief, &nearest))??;
    match arguments.format {
        JsonFormat::Table => print(&report::widenings_text(&brief, &widenings))?,
        JsonFormat::Json => print(&report::widenings_json(&brief, &widenings))?,
    }
    Ok(Outcome::NotMet)
}
