//! `search`: from a brief to ranked feasible layouts.

use super::args::SearchArguments;
use super::files::{BriefSources, Source, read_brief};
use super::progress::ProgressLine;
use super::run_folder::RunFolder;
use super::{Outcome, print, warn};
use crate::curves::Suspension;
use crate::design::{Construction, contradictions};
use crate::input::{Brief, ObjectiveSet, RankBy, Scatter};
use crate::mechanism::Plan;
use crate::report::results::InputFile;
use crate::report::run::{Run, RunTexts, input_copy};
use crate::report::{export, page, ranking, results};
use crate::study::sensitivity::Sensitivity;
use crate::study::tolerance::rank_by_yield;
use crate::study::{Control, Ranked, Search, Study};
use rayon::prelude::*;
use serde_json::json;
use sha2::{Digest, Sha256};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Instant;

/// Runs the search.
pub(super) fn run(arguments: &SearchArguments) -> anyhow::Result<Outcome> {
    let BriefSources {
        mut brief,
        layout_file,
        inputs,
    } = read_brief(&arguments.brief)?;
    let search = &mut brief.search;
    search.starts = arguments.starts.unwrap_or(search.starts);
    search.seed = arguments.seed.unwrap_or(search.seed);
    search.keep = arguments.keep.map_or(search.keep, usize::from);
    search.rank = arguments.rank.map_or(search.rank, RankBy::from);
    let sources = inputs;
    let inputs: Vec<InputFile> = sources.iter().map(hash).collect();
    for contradiction in contradictions(&brief) {
        warn(&contradiction_words(&contradiction));
    }
    let search = Search::new(
        brief,
        &layout_file,
        arguments.threads.map_or(0, usize::from),
    )?;
    // Before the work, so that a folder that cannot be made costs nothing.
    let folder = RunFolder::create(arguments.out.as_deref(), &arguments.brief)?;
    let asked_to_stop = Arc::new(AtomicBool::new(false));
    let flag = Arc::clone(&asked_to_stop);
    // Without a handler Ctrl-C ends the program as usual, which is no reason not to search.
    let _ = ctrlc::set_handler(move || flag.store(true, Ordering::Relaxed));
    let begun = Instant::now();
    let mut line = ProgressLine::new(search.brief().search.starts, arguments.quiet);
    let mut study = search.run(|progress| {
        line.tell(progress);
        if asked_to_stop.load(Ordering::Relaxed) {
            Control::Stop
        } else {
            Control::GoOn
        }
    })?;
    line.finish();
    if let Some(radius) = arguments.scatter {
        rank_by_yield(&mut study, search.brief(), &Scatter::even(radius));
    }
    let seconds = begun.elapsed().as_secs_f64();
    write(&folder, &search, (&sources, &inputs), &study, seconds)?;
    if study.interrupted {
        warn(&format!(
            "ended early as asked, after {} of {} starts; what was found is ranked and written",
            study.starts,
            search.brief().search.starts
        ));
    }
    let text = ranking::text(search.brief(), &study);
    print(&format!("{text}\nWritten to {}\n", folder.path().display()))?;
    Ok(if study.feasible() {
        Outcome::Met
    } else {
        Outcome::NotMet
    })
}

/// A contradiction as a warning, with the shock that it is about.
pub(super) fn contradiction_words(contradiction: &crate::design::Contradiction) -> String {
    let shock = contradiction.size.map_or_else(String::new, |size| {
        format!("with the {} x {} shock ", size.eye_to_eye, size.stroke)
    });
    format!(
        "{shock}targets contradict each other for any linkage: {}",
        contradiction.statement
    )
}

fn hash(source: &Source) -> InputFile {
    let digest = Sha256::digest(source.text.as_bytes());
    InputFile {
        file: source.file.clone(),
        sha256: format!("{digest:x}"),
    }
}

/// What changes per mm of each free coordinate of a ranked layout.
fn sensitivities(brief: &Brief, ranked: &Ranked) -> Option<String> {
    let layout = &ranked.layout;
    let plan = Plan::compile(&layout.name, &layout.mechanism).ok()?;
    let suspension = Suspension::new(&plan, &layout.name, layout).ok()?;
    let construction = Construction::new(brief, ranked.size);
    let sets: Vec<&ObjectiveSet> = brief.objectives.iter().map(|(_, set)| set).collect();
    let table = Sensitivity::of_variables(layout, &suspension, &sets, &construction);
    Some(crate::report::sensitivity::csv(&table))
}

fn write(
    folder: &RunFolder,
    search: &Search,
    (sources, inputs): (&[Source], &[InputFile]),
    study: &Study,
    seconds: f64,
) -> anyhow::Result<()> {
    let texts = RunTexts {
        results: results::text(search.brief(), inputs, study),
        inputs: sources.iter().map(|source| source.text.clone()).collect(),
        layouts: study
            .layouts
            .iter()
            .map(|ranked| ranked.layout.to_json())
            .collect(),
    };
    for (index, text) in texts.layouts.iter().enumerate() {
        folder.write(&ranking::layout_file(index + 1), text)?;
    }
    // What a report is made from again, wherever the brief and its files go.
    for (index, source) in sources.iter().enumerate() {
        folder.write(&input_copy(index, &source.file), &source.text)?;
    }
    let sensitivities: Vec<Option<String>> = study
        .layouts
        .par_iter()
        .map(|ranked| sensitivities(search.brief(), ranked))
        .collect();
    for (index, text) in sensitivities.iter().enumerate() {
        if let Some(text) = text {
            folder.write_derived(&format!("sensitivity/{:02}.csv", index + 1), text)?;
        }
    }
    folder.write("ranking.csv", &ranking::csv(search.brief(), study))?;
    folder.write("results.json", &texts.results)?;
    let run = Run::from_texts(&folder.path().display().to_string(), &texts)?;
    folder.write("report.html", &page::run(&run)?)?;
    page::each(&run, |rank, subject| {
        let mut files = export::drawings(subject).into_iter();
        files.try_for_each(|(ending, text)| {
            folder.write_derived(&format!("cad/{rank:02}.{ending}"), &text)
        })
    })??;
    // All that depends on the clock stands here alone.
    let times = json!({"seconds": seconds, "starts_per_second": study.starts as f64 / seconds});
    folder.write("times.json", &crate::report::json::text(&times))
}
