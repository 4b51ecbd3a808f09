//! A finished run as its folder tells it: what a report is made from.
//!
//! A report is made from the texts of the folder alone, also right after a search, so that one
//! rebuilt later is the same file byte for byte.

use super::results::InputFile;
use crate::input::brief::BriefFile;
use crate::input::{Brief, Fault, Faults, Layout, ObjectiveSet, ShockSize};
use crate::study::{Blocker, Ending, Milestone};
use serde::Deserialize;
use std::collections::BTreeMap;

/// A finished run.
#[derive(Clone, Debug)]
pub struct Run {
    /// The question that was put.
    pub brief: Brief,
    /// What `results.json` says.
    pub results: Results,
    /// The layouts, best first.
    pub layouts: Vec<Layout>,
}

/// The texts of a run folder's files.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RunTexts {
    /// `results.json`.
    pub results: String,
    /// The brief, its layout and its objective sets, in the order of `inputs` in the results.
    pub inputs: Vec<String>,
    /// The layouts, best first.
    pub layouts: Vec<String>,
}

/// `results.json`, as far as a report needs it.
#[derive(Clone, Debug, PartialEq, Deserialize)]
pub struct Results {
    /// Version of the program that searched.
    pub version: String,
    /// The seed.
    pub seed: u64,
    /// The files that were read.
    pub inputs: Vec<InputFile>,
    /// Starts taken.
    pub starts: u64,
    /// Evaluations of candidates.
    pub evaluations: u64,
    /// Scatter of every hole by whose yield the layouts are ordered, mm, where they are.
    pub scatter: Option<f64>,
    /// How the starts ended.
    pub endings: BTreeMap<Ending, u64>,
    /// When the best score fell.
    pub milestones: Vec<Milestone>,
    /// What came of each size of shock.
    pub shock_sizes: Vec<SizeEntry>,
    /// What stands in the way where nothing is feasible.
    pub blockers: Vec<BlockerEntry>,
    /// The layouts, best first.
    pub layouts: Vec<Entry>,
}

/// What came of one size of shock.
#[derive(Clone, Debug, PartialEq, Deserialize)]
pub struct SizeEntry {
    /// The size.
    #[serde(flatten, with = "SizeFields")]
    pub size: ShockSize,
    /// Teeth of the chainring it came with, where the brief has several to try.
    pub chainring_teeth: Option<u32>,
    /// Starts taken with it.
    pub starts: u64,
    /// Of those, how many ended in a feasible layout.
    pub feasible: u64,
    /// The best score among these.
    pub best_score: Option<f64>,
}

#[derive(Deserialize)]
#[serde(remote = "ShockSize")]
struct SizeFields {
    eye_to_eye: f64,
    stroke: f64,
}

/// What stands in the way.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(untagged)]
pub enum BlockerEntry {
    /// A target.
    Target {
        /// Name of its objective set.
        objective: String,
        /// Number in its set.
        index: usize,
        /// The smallest of the worst residuals.
        residual: f64,
    },
    /// A limit.
    Limit {
        /// Number in the brief.
        limit: usize,
        /// The value nearest to holding it.
        value: f64,
        /// By how much that misses.
        shortfall: f64,
    },
}

/// One layout of the ranking.
#[derive(Clone, Debug, PartialEq, Deserialize)]
pub struct Entry {
    /// Its file in the folder.
    pub file: String,
    /// Whether all targets are met and all limits hold.
    pub feasible: bool,
    /// Its score.
    pub score: f64,
    /// Its largest violation.
    pub violation: f64,
    /// The start that found it.
    pub start: u64,
    /// What breaks first when one pivot moves.
    pub nearest_edge: Option<EdgeEntry>,
}

/// What breaks first when one pivot moves.
#[derive(Clone, Debug, PartialEq, Deserialize)]
pub struct EdgeEntry {
    /// The point.
    pub point: Option<String>,
    /// How far it may move, mm.
    pub distance: f64,
    /// What breaks.
    pub breaks: String,
}

/// Where in a run folder the copy of its input number `index` stands.
#[must_use]
pub fn input_copy(index: usize, file: &str) -> String {
    let name = file.rsplit(['/', '\\']).next().unwrap_or(file);
    format!("inputs/{}-{name}", index + 1)
}

impl Results {
    /// Reads `results.json`; `file` is its name in messages.
    ///
    /// # Errors
    ///
    /// It is not as a search writes it.
    pub fn from_json(file: &str, text: &str) -> Result<Self, Faults> {
        serde_json::from_str(text).map_err(|error| {
            let expected = "results.json as `search` of this version writes it";
            Fault::new(file, "", error.to_string(), expected).into()
        })
    }
}

impl Run {
    /// Reads a run from the texts of its folder; `folder` is its name in messages.
    ///
    /// # Errors
    ///
    /// A file is damaged, or one is missing.
    pub fn from_texts(folder: &str, texts: &RunTexts) -> Result<Self, Faults> {
        let results = Results::from_json(&format!("{folder}/results.json"), &texts.results)?;
        let brief = brief(folder, &results.inputs, &texts.inputs)?;
        let layouts = results
            .layouts
            .iter()
            .zip(&texts.layouts)
            .map(|(entry, text)| Layout::from_json(&format!("{folder}/{}", entry.file), text))
            .collect::<Result<Vec<_>, _>>()?;
        Ok(Self {
            brief,
            results,
            layouts,
        })
    }

    /// What stands in the way, where nothing is feasible.
    #[must_use]
    pub fn blockers(&self) -> Vec<Blocker> {
        let entries = self.results.blockers.iter();
        entries
            .filter_map(|entry| match entry {
                BlockerEntry::Target {
                    objective,
                    index,
                    residual,
                } => {
                    let mut sets = self.brief.objectives.iter();
                    Some(Blocker::Target {
                        objective: sets.position(|(_, set)| set.name == *objective)?,
                        index: *index,
                        residual: *residual,
                    })
                }
                BlockerEntry::Limit {
                    limit,
                    value,
                    shortfall,
                } => Some(Blocker::Limit {
                    index: *limit,
                    value: *value,
                    shortfall: *shortfall,
                }),
            })
            .collect()
    }
}

/// The brief from the copies of its files.
fn brief(folder: &str, inputs: &[InputFile], texts: &[String]) -> Result<Brief, Faults> {
    let missing = || {
        let expected = "the brief, its layout and its objective sets";
        Faults::from(Fault::new(
            format!("{folder}/results.json"),
            "inputs",
            "too few",
            expected,
        ))
    };
    let mut files = inputs.iter().map(|input| &input.file).zip(texts);
    let (name, text) = files.next().ok_or_else(missing)?;
    let written = BriefFile::from_json(name, text)?;
    let (name, text) = files.next().ok_or_else(missing)?;
    let layout = Layout::from_json(name, text)?;
    let sets = files
        .map(|(name, text)| Ok((name.clone(), ObjectiveSet::from_json(name, text)?)))
        .collect::<Result<Vec<_>, Faults>>()?;
    if sets.len() != written.objectives.len() {
        return Err(missing());
    }
    written.resolve(layout, sets)
}
