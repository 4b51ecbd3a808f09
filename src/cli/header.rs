//! What is searched and until when, as the first record of a journal says it.

use super::args::BudgetArguments;
use super::files::Source;
use crate::study::Budget;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use std::fmt::Write as _;
use std::time::{Duration, Instant};

/// What is searched, as the first record of a journal says it. Results follow from this.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Header {
    /// Version of the program.
    pub version: String,
    /// Hash of what the first start comes to.
    pub self_test: String,
    /// The brief and the files that it names.
    pub inputs: Vec<HashedInput>,
    pub options: Options,
    /// The shares of starts, of `of`.
    pub shards: Vec<u32>,
    pub of: u32,
    pub budget: WrittenBudget,
}

/// A file that a run was made from.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct HashedInput {
    pub file: String,
    pub sha256: String,
}

/// What else decides the results.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Options {
    pub seed: u64,
    pub keep: usize,
    /// Whether each size of shock with each chainring has places of its own.
    pub per_size: bool,
    pub scatter: Option<f64>,
    pub even: bool,
}

/// When a run was to end.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct WrittenBudget {
    pub starts: Option<u64>,
    pub seconds: Option<u64>,
    pub distinct: Option<u16>,
    pub stagnant: Option<u64>,
}

impl WrittenBudget {
    /// What `asked` says, or where that says nothing `otherwise`.
    pub fn new(asked: &BudgetArguments, otherwise: Self) -> Self {
        if *asked == BudgetArguments::default() {
            return otherwise;
        }
        Self {
            starts: asked.starts,
            seconds: asked.time.map(|time| time.as_secs()),
            distinct: asked.until_distinct,
            stagnant: asked.until_stagnant,
        }
    }

    /// With its time counted from now, less what was spent before.
    pub fn counted_from_now(&self, spent: f64) -> Budget {
        let spent = Duration::try_from_secs_f64(spent).unwrap_or_default();
        let left = |seconds| Duration::from_secs(seconds).saturating_sub(spent);
        Budget {
            starts: self.starts,
            until: self.seconds.map(|seconds| Instant::now() + left(seconds)),
            distinct: self.distinct.map(usize::from),
            stagnation: self.stagnant,
        }
    }
}

/// What a file was, by its hash.
pub(super) fn hash(source: &Source) -> HashedInput {
    HashedInput {
        file: source.file.clone(),
        sha256: hex(&Sha256::digest(source.text.as_bytes())),
    }
}

/// Bytes as text.
pub(super) fn hex(bytes: &[u8]) -> String {
    bytes.iter().fold(String::new(), |mut text, byte| {
        // Writing to a string cannot fail.
        let _ = write!(text, "{byte:02x}");
        text
    })
}
