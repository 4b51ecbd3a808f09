//! `resume`: a run goes on from the last round in its journal.

use super::args::{BudgetArguments, Manner, ResumeArguments};
use super::header::WrittenBudget;
use super::journal::Journal;
use super::run_folder::RunFolder;
use super::session::Job;
use super::{Outcome, warn};
use anyhow::bail;
use std::path::Path;

/// Runs the command.
pub(super) fn run(arguments: &ResumeArguments) -> anyhow::Result<Outcome> {
    go_on(&arguments.run, &arguments.budget, arguments.manner)
}

/// Goes on with the run in `path`. Nothing of it is altered before all of it is known to be good.
pub(super) fn go_on(
    path: &Path,
    budget: &BudgetArguments,
    manner: Manner,
) -> anyhow::Result<Outcome> {
    let (mut journal, contents) = Journal::open(path)?;
    let job = Job::of_run(path, contents.header(), manner.threads)?;
    let found = job.replay(path, contents.rounds())?;
    let Some(shard) = job.shard() else {
        bail!(
            "{}: found a merged run, expected one that takes starts (resume its shards and merge \
             them again)",
            path.display()
        );
    };
    if contents.torn() > 0 {
        warn(&format!(
            "{}: its last record was torn off while it was written; its {} bytes are cut, and \
             that round is taken again",
            path.join(super::journal::NAME).display(),
            contents.torn()
        ));
        journal.cut()?;
    }
    drop(contents);
    let folder = RunFolder::existing(path);
    folder.remove_unfinished()?;
    let budget = WrittenBudget::new(budget, job.header.budget);
    job.go_on(&folder, &mut journal, found, shard, (&budget, manner))
}
