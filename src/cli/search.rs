//! `search`: from a brief to ranked feasible layouts.

use super::args::SearchArguments;
use super::files::{BriefSources, read_brief};
use super::header::{Options, WrittenBudget};
use super::journal::{self, Journal};
use super::run_folder::RunFolder;
use super::session::Job;
use super::{Outcome, resume, warn};
use crate::design::contradictions;
use crate::input::RankBy;
use crate::study::Shard;
use anyhow::bail;
use std::path::Path;

/// Runs the search.
pub(super) fn run(arguments: &SearchArguments) -> anyhow::Result<Outcome> {
    let sources = read_brief(&arguments.brief)?;
    let job = job(arguments, sources)?;
    if let Some(out) = arguments.out.as_deref().filter(|_| arguments.resume)
        && out.join(journal::NAME).exists()
    {
        same_run(&job, out)?;
        return resume::go_on(out, &arguments.budget, arguments.manner);
    }
    for contradiction in contradictions(job.search.brief()) {
        warn(&contradiction_words(&contradiction));
    }
    // Before the work, so that a folder that cannot be made costs nothing.
    let folder = match &arguments.out {
        Some(out) if arguments.resume => RunFolder::create_or_begin_anew(out, &arguments.brief),
        out => RunFolder::create(out.as_deref(), &arguments.brief),
    }?;
    folder.remove_unfinished()?;
    job.write_inputs(&folder)?;
    let mut journal = Journal::create(folder.path(), &job.record()?)?;
    let (budget, found) = (job.header.budget, job.search.begin());
    let shard = arguments.shard.unwrap_or(Shard::WHOLE);
    job.go_on(
        &folder,
        &mut journal,
        found,
        shard,
        (&budget, arguments.manner),
    )
}

/// What is asked for, as a search.
fn job(arguments: &SearchArguments, sources: BriefSources) -> anyhow::Result<Job> {
    let search = sources.brief.search;
    let options = Options {
        seed: arguments.seed.unwrap_or(search.seed),
        keep: arguments.keep.map_or(search.keep, usize::from),
        per_size: arguments.rank.map_or(search.rank, RankBy::from) == RankBy::PerSize,
        scatter: arguments.scatter,
        even: arguments.even,
    };
    let otherwise = WrittenBudget {
        starts: Some(search.starts),
        ..WrittenBudget::default()
    };
    let budget = WrittenBudget::new(&arguments.budget, otherwise);
    let shard = arguments.shard.unwrap_or(Shard::WHOLE);
    Job::new(sources, options, shard, budget, arguments.manner.threads)
}

/// Sees to it that the run in `out` is what is asked for.
fn same_run(job: &Job, out: &Path) -> anyhow::Result<()> {
    let (journal, contents) = Journal::open(out)?;
    let there = Job::of_run(out, contents.header(), None)?;
    drop(journal);
    if there.header != job.header {
        bail!(
            "--resume: found in {0} a run of another brief, seed, share or budget, expected this \
             one (`pivotwright resume {0}` goes on with it as it is)",
            out.display()
        );
    }
    Ok(())
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
