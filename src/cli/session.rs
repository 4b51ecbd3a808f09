//! A search under way, with all that it keeps on the disk: new, gone on with, or merged.

use super::args::Manner;
use super::files::{BriefSources, Source, brief_of};
use super::header::{Header, Options, WrittenBudget, hash, hex};
use super::journal::Journal;
use super::progress::ProgressLine;
use super::refresh::{REFRESH, Refresh};
use super::report::{MARGINS, PAGE, hash_of};
use super::run_folder::RunFolder;
use super::{Outcome, output, print, warn};
use crate::curves::Suspension;
use crate::design::Construction;
use crate::design::measure::clearances;
use crate::input::{Brief, ObjectiveSet, RankBy, Scatter};
use crate::mechanism::Plan;
use crate::report::margins::Margins;
use crate::report::results::InputFile;
use crate::report::run::{Run, RunTexts, input_copy};
use crate::report::{export, page, ranking, results};
use crate::study::sensitivity::Sensitivity;
use crate::study::tolerance::rank_by_yield;
use crate::study::{Control, Found, Ranked, Search, Shard, Standing, Study};
use anyhow::{Context, bail};
use rayon::prelude::*;
use serde_json::json;
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

/// A search and what it was made from.
pub(super) struct Job {
    pub search: Search,
    pub sources: Vec<Source>,
    pub header: Header,
    /// How long the ranking on the disk may be older than what is found, at least.
    refresh: Duration,
}

impl Job {
    /// A search of `sources` with these options.
    ///
    /// # Errors
    /// The layout's mechanism cannot be compiled.
    pub fn new(
        sources: BriefSources,
        options: Options,
        shard: Shard,
        budget: WrittenBudget,
        threads: Option<u16>,
    ) -> anyhow::Result<Self> {
        let BriefSources {
            mut brief,
            layout_file,
            inputs: sources,
        } = sources;
        brief.search.seed = options.seed;
        brief.search.keep = options.keep;
        brief.search.rank = if options.per_size {
            RankBy::PerSize
        } else {
            RankBy::Overall
        };
        let search = Search::new(brief, &layout_file, threads.map_or(0, usize::from))?;
        let search = if options.even {
            search.evenly()
        } else {
            search
        };
        let header = Header {
            version: env!("CARGO_PKG_VERSION").into(),
            self_test: hex(&search.self_test()),
            inputs: sources.iter().map(hash).collect(),
            options,
            shards: vec![shard.number()],
            of: shard.of(),
            budget,
        };
        Ok(Self {
            search,
            sources,
            header,
            refresh: REFRESH,
        })
    }

    /// The search that the run in `folder` with this first record of its journal is of.
    ///
    /// # Errors
    /// The journal is of another version or machine, or of other inputs.
    pub fn of_run(folder: &Path, header: &[u8], threads: Option<u16>) -> anyhow::Result<Self> {
        let shown = folder.join(super::journal::NAME);
        let shown = shown.display();
        let version: serde_json::Value = serde_json::from_slice(header)
            .with_context(|| format!("{shown}: its first record says nothing"))?;
        let version = version["version"].as_str().unwrap_or("").to_owned();
        if version != env!("CARGO_PKG_VERSION") {
            bail!(
                "{shown}: found a run of version {version}, expected {}: another version may give \
                 other numbers, so it was left as it is",
                env!("CARGO_PKG_VERSION")
            );
        }
        let header: Header = serde_json::from_slice(header)
            .with_context(|| format!("{shown}: its first record is of another kind"))?;
        let mut sources = Vec::new();
        for (index, input) in header.inputs.iter().enumerate() {
            let name = input_copy(index, &input.file);
            let mut source = Source::read(&folder.join(&name))?;
            source.file.clone_from(&input.file);
            if hash(&source) != *input {
                bail!(
                    "{}: found other bytes than this run was begun with, expected those with \
                     SHA-256 {}; a changed brief is a new search",
                    folder.join(name).display(),
                    input.sha256
                );
            }
            sources.push(source);
        }
        let (number, of) = (header.shards.first().copied().unwrap_or(1), header.of);
        let shard = Shard::new(number, of)
            .with_context(|| format!("{shown}: found share {number} of {of}"))?;
        let mut job = Self::new(
            brief_of(sources)?,
            header.options,
            shard,
            header.budget,
            threads,
        )?;
        if job.header.self_test != header.self_test {
            bail!(
                "{shown}: this machine or build gives other numbers than the one that began the \
                 run (the first start ends elsewhere), so it was left as it is"
            );
        }
        job.header = header;
        Ok(job)
    }

    /// The share of starts that it takes; none of a merged run.
    pub fn shard(&self) -> Option<Shard> {
        match self.header.shards[..] {
            [number] => Shard::new(number, self.header.of),
            _ => None,
        }
    }

    /// The first record of its journal.
    pub fn record(&self) -> anyhow::Result<Vec<u8>> {
        Ok(serde_json::to_vec(&self.header)?)
    }

    /// Writes copies of what it is made from, from which it goes on wherever the folder goes.
    ///
    /// # Errors
    /// One cannot be written.
    pub fn write_inputs(&self, folder: &RunFolder) -> anyhow::Result<()> {
        for (index, source) in self.sources.iter().enumerate() {
            folder.write(&input_copy(index, &source.file), &source.text)?;
        }
        Ok(())
    }

    /// Takes up the rounds of a journal again.
    ///
    /// # Errors
    /// One of them is not of this search.
    pub fn replay<'r>(
        &self,
        folder: &Path,
        rounds: impl Iterator<Item = &'r [u8]>,
    ) -> anyhow::Result<Found> {
        self.search.replay(rounds).map_err(|(number, error)| {
            let journal = folder.join(super::journal::NAME);
            let (shown, number) = (journal.display(), number + 1);
            anyhow::anyhow!("{shown}: round {number} is {error}; it was left as it is")
        })
    }

    /// Takes starts from `found` on until the budget is spent or someone says so, journals every
    /// round, and writes and prints the ranking.
    ///
    /// # Errors
    /// Something cannot be written.
    pub fn go_on(
        &self,
        folder: &RunFolder,
        journal: &mut Journal,
        found: Found,
        shard: Shard,
        (budget, manner): (&WrittenBudget, Manner),
    ) -> anyhow::Result<Outcome> {
        let stop = stop_on_signals();
        let (begun, before) = (Instant::now(), spent_before(folder));
        let budget = budget.counted_from_now(before);
        let mut line = ProgressLine::new(&budget, found.starts(), manner.quiet);
        let mut refresh = Refresh::new(self.refresh);
        let spent = || before + begun.elapsed().as_secs_f64();
        let study = self.search.go_on(found, shard, &budget, &stop, |standing| {
            let kept = journal.append(&standing.record());
            kept.with_context(|| hint(folder))?;
            line.tell(standing);
            refresh.due(|| {
                self.write_ranking(folder, &self.ranked(standing), spent())
                    .map(drop)
            });
            Ok::<_, anyhow::Error>(Control::GoOn)
        });
        line.finish();
        let study = study?;
        journal.sync()?;
        let of = budget.starts.map(|starts| shard.share(starts));
        let ended = self.end(folder, study, of, (spent(), manner.bare));
        ended.with_context(|| hint(folder))
    }

    fn ranked(&self, standing: &Standing) -> Study {
        self.by_yield(standing.study())
    }

    fn by_yield(&self, mut study: Study) -> Study {
        if let Some(radius) = self.header.options.scatter {
            rank_by_yield(&mut study, self.search.brief(), &Scatter::even(radius));
        }
        study
    }

    /// Writes and prints what came of it; if `bare`, the ranking alone.
    ///
    /// # Errors
    /// Something cannot be written.
    pub fn end(
        &self,
        folder: &RunFolder,
        study: Study,
        of: Option<u64>,
        (seconds, bare): (f64, bool),
    ) -> anyhow::Result<Outcome> {
        let study = self.by_yield(study);
        let brief = self.search.brief();
        let results = self.write_ranking(folder, &study, seconds)?;
        if bare {
            // What an earlier ranking left would be taken for this one's.
            folder.remove_derived()?;
        } else {
            self.write_derived(folder, &study, results)?;
        }
        if study.interrupted {
            let of = of.map_or_else(String::new, |of| format!(" of {of}"));
            warn(&format!(
                "ended early as asked, after {}{of} starts; what was found is ranked and written, \
                 and `pivotwright resume {}` goes on",
                study.starts,
                folder.path().display()
            ));
        }
        let text = ranking::text(brief, &study, output::width());
        print(&format!("{text}\nWritten to {}\n", folder.path().display()))?;
        Ok(if study.feasible() {
            Outcome::Met
        } else {
            Outcome::NotMet
        })
    }

    /// Writes the ranking and all that is read with it, over an earlier one of the same run.
    /// Gives the text of the results.
    fn write_ranking(
        &self,
        folder: &RunFolder,
        study: &Study,
        seconds: f64,
    ) -> anyhow::Result<String> {
        let brief = self.search.brief();
        // What the journal makes again need not be on the disk at once, were it the power that fails.
        for (index, ranked) in study.layouts.iter().enumerate() {
            let layout = ranked.layout.to_json();
            folder.write_derived(&ranking::layout_file(index + 1), &layout)?;
        }
        for name in ["layouts", "sensitivity", "cad"] {
            folder.keep_ranks(name, study.layouts.len())?;
        }
        folder.write_derived("ranking.csv", &ranking::csv(brief, study))?;
        let inputs = self.header.inputs.iter().map(|input| InputFile {
            file: input.file.clone(),
            sha256: input.sha256.clone(),
        });
        let inputs: Vec<InputFile> = inputs.collect();
        let results = results::text(brief, &inputs, study);
        folder.write("results.json", &results)?;
        // All that depends on the clock stands here alone.
        let times = json!({"seconds": seconds, "starts_per_second": study.starts as f64 / seconds});
        folder.write(TIMES, &crate::report::json::text(&times))?;
        Ok(results)
    }

    /// Writes what is made from the ranking: sensitivities, the report and drawings.
    fn write_derived(
        &self,
        folder: &RunFolder,
        study: &Study,
        results: String,
    ) -> anyhow::Result<()> {
        let layouts = study.layouts.par_iter();
        let sensitivities: Vec<Option<String>> = layouts
            .map(|ranked| sensitivities(self.search.brief(), ranked))
            .collect();
        for (index, text) in sensitivities.iter().enumerate() {
            if let Some(text) = text {
                folder.write_derived(&format!("sensitivity/{:02}.csv", index + 1), text)?;
            }
        }
        let layouts = study.layouts.iter();
        let texts = RunTexts {
            results,
            inputs: self
                .sources
                .iter()
                .map(|source| source.text.clone())
                .collect(),
            layouts: layouts.map(|ranked| ranked.layout.to_json()).collect(),
        };
        let run = Run::from_texts(&folder.path().display().to_string(), &texts)?;
        let margins = Margins::of(&run, &hash_of(&run, &texts))?;
        folder.write_derived(MARGINS, &margins.text())?;
        folder.write_derived(PAGE, &page::run(&run, &margins)?)?;
        page::each(&run, |rank, subject| {
            let mut files = export::drawings(subject).into_iter();
            files.try_for_each(|(ending, text)| {
                folder.write_derived(&format!("cad/{rank:02}.{ending}"), &text)
            })
        })?
    }
}

/// What to do where something could not be written.
fn hint(folder: &RunFolder) -> String {
    format!(
        "the search ended (once that is mended, `pivotwright resume {}` goes on)",
        folder.path().display()
    )
}

const TIMES: &str = "times.json";

/// Seconds that no run takes: a hundred years.
const LONGEST: f64 = 3.2e9;

/// Seconds that earlier processes spent on the run.
fn spent_before(folder: &RunFolder) -> f64 {
    let text = std::fs::read_to_string(folder.path().join(TIMES)).unwrap_or_default();
    let times: serde_json::Value = serde_json::from_str(&text).unwrap_or_default();
    let seconds = times["seconds"].as_f64().unwrap_or(0.0);
    // What no run can have taken was not written by one.
    if (0.0..LONGEST).contains(&seconds) {
        seconds
    } else {
        0.0
    }
}

/// A flag that the first signal to end sets; the second ends the program at once.
fn stop_on_signals() -> Arc<AtomicBool> {
    let asked = Arc::new(AtomicBool::new(false));
    let flag = Arc::clone(&asked);
    // Without a handler Ctrl-C ends the program as usual, which is no reason not to search.
    let _ = ctrlc::set_handler(move || {
        if flag.swap(true, Ordering::Relaxed) {
            // The journal holds what was found; 130 is what shells give for an interrupt.
            std::process::exit(130);
        }
    });
    asked
}

/// What changes per mm of each free coordinate of a ranked layout.
fn sensitivities(brief: &Brief, ranked: &Ranked) -> Option<String> {
    let layout = &ranked.layout;
    let plan = Plan::compile(&layout.name, &layout.mechanism).ok()?;
    let suspension = Suspension::new(&plan, &layout.name, layout).ok()?;
    let sets: Vec<&ObjectiveSet> = brief.objectives.iter().map(|(_, set)| set).collect();
    let construction = Construction::new(brief, ranked.size);
    let clearances = clearances(layout, &suspension, &brief.limits);
    let table =
        Sensitivity::with_clearances(layout, &suspension, &sets, clearances, Some(&construction));
    Some(crate::report::sensitivity::csv(&table))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cli::files::read_brief;
    use std::path::PathBuf;

    fn job() -> Job {
        let project = Path::new(env!("CARGO_MANIFEST_DIR"));
        let brief: PathBuf = project.join("demo-data/trail-crew-m.brief.json");
        let options = Options {
            seed: 1,
            keep: 2,
            per_size: false,
            scatter: None,
            even: false,
        };
        let budget = WrittenBudget {
            starts: Some(256),
            ..WrittenBudget::default()
        };
        Job::new(
            read_brief(&brief).unwrap(),
            options,
            Shard::WHOLE,
            budget,
            Some(2),
        )
        .unwrap()
    }

    #[test]
    fn the_ranking_on_the_disk_is_made_anew_while_starts_are_taken() {
        let root = tempfile::tempdir().unwrap();
        let job = Job {
            refresh: Duration::ZERO,
            ..job()
        };
        let folder = RunFolder::create(Some(&root.path().join("run")), Path::new("")).unwrap();
        let mut refresh = Refresh::new(job.refresh);
        let never = AtomicBool::new(false);
        let budget = job.header.budget.counted_from_now(0.0);
        let (mut rounds, mut seen) = (0_u64, Vec::new());
        let begin = job.search.begin();
        let study = job
            .search
            .go_on(begin, Shard::WHOLE, &budget, &never, |standing| {
                rounds += 1;
                refresh.due(|| {
                    job.write_ranking(&folder, &job.ranked(standing), 1.0)
                        .map(drop)
                });
                let text = std::fs::read_to_string(folder.path().join("results.json"))?;
                let results: serde_json::Value = serde_json::from_str(&text)?;
                seen.push(results["starts"].as_u64());
                let layout = folder.path().join("layouts/02.json");
                assert!(crate::cli::files::load_layout(&layout).is_ok());
                Ok::<_, anyhow::Error>(Control::GoOn)
            });
        assert!(study.unwrap().feasible());
        // Once at the first round; then it waits, so that it takes a hundredth of the time at most.
        assert_eq!((rounds, seen), (4, vec![Some(64); 4]));
    }
}
