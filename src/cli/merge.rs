//! `merge`: the shards of a search become one run.

use super::args::MergeArguments;
use super::header::Header;
use super::journal::Journal;
use super::run_folder::RunFolder;
use super::session::Job;
use super::{Outcome, warn};
use crate::study::{Found, Shard};
use anyhow::bail;
use std::path::Path;

/// Runs the command.
pub(super) fn run(arguments: &MergeArguments) -> anyhow::Result<Outcome> {
    let mut merged: Option<(Job, Found)> = None;
    for path in &arguments.runs {
        let contents = Journal::look(path)?;
        let job = Job::of_run(path, contents.header(), None)?;
        let found = job.replay(path, contents.rounds())?;
        warn_if_short(path, &job, &found);
        merged = Some(match merged {
            None => (job, found),
            Some((mut all, mut together)) => {
                join(&mut all.header, &job.header, path)?;
                together.absorb(found);
                (all, together)
            }
        });
    }
    let Some((mut job, found)) = merged else {
        bail!("found no run to merge");
    };
    job.header.shards.sort_unstable();
    let missing: Vec<String> = (1..=job.header.of)
        .filter(|number| job.header.shards.binary_search(number).is_err())
        .map(|number| format!("{number}/{}", job.header.of))
        .collect();
    if !missing.is_empty() {
        warn(&format!(
            "shares that are not there: {}",
            missing.join(", ")
        ));
    }
    let folder = RunFolder::create(Some(&arguments.out), Path::new(""))?;
    job.write_inputs(&folder)?;
    let mut journal = Journal::create(folder.path(), &job.record()?)?;
    journal.append(&found.clone().into_record())?;
    journal.sync()?;
    let (begun, starts) = (std::time::Instant::now(), found.starts());
    let study = job.search.rank(found)?;
    let seconds = begun.elapsed().as_secs_f64();
    job.end(&folder, study, Some(starts), (seconds, false))
}

/// Adds the shares of one more run to those of the others.
fn join(all: &mut Header, more: &Header, path: &Path) -> anyhow::Result<()> {
    let shown = path.display();
    if all.options.even != more.options.even {
        let [found, expected] = [more.options.even, all.options.even].map(|even| {
            if even {
                "with --even"
            } else {
                "without --even"
            }
        });
        bail!(
            "{shown}: found a run {found}, expected one {expected} as the first: starts that \
             follow what was learnt and those that do not are not shares of one search"
        );
    }
    let differs = [
        ("other input files", all.inputs != more.inputs),
        ("another number of shares", all.of != more.of),
        ("other options", all.options != more.options),
        ("another budget", all.budget != more.budget),
        ("other numbers", all.self_test != more.self_test),
    ];
    if let Some((what, _)) = differs.into_iter().find(|(_, differs)| *differs) {
        bail!("{shown}: found a run with {what} than the first, expected shares of one search");
    }
    if let Some(number) = more
        .shards
        .iter()
        .find(|number| all.shards.contains(number))
    {
        bail!(
            "{shown}: found share {number}/{} once more, expected it once",
            all.of
        );
    }
    all.shards.extend(&more.shards);
    Ok(())
}

/// Warns where a shard has not taken all its starts.
fn warn_if_short(path: &Path, job: &Job, found: &Found) {
    let Some(starts) = job.header.budget.starts else {
        return;
    };
    let shards = job.header.shards.iter();
    let shards = shards.filter_map(|&number| Shard::new(number, job.header.of));
    let share: u64 = shards.map(|shard| shard.share(starts)).sum();
    if found.starts() < share {
        warn(&format!(
            "{}: only {} of {share} starts are taken (`pivotwright resume` takes the others)",
            path.display(),
            found.starts()
        ));
    }
}
