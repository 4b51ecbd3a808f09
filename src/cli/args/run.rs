//! Arguments of searches: how they begin, end, go on and come together.

use super::questions::radius;
use crate::input::RankBy;
use crate::study::Shard;
use clap::{Args, ValueEnum};
use std::path::PathBuf;
use std::time::Duration;

/// Arguments of `search`.
#[derive(Clone, Debug, Args)]
pub struct SearchArguments {
    /// The brief, or - for stdin (paths in it are then relative to the current folder)
    pub brief: PathBuf,
    /// Folder for the results; it must not exist or be empty [default: NAME.run, NAME-2.run, ...]
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// When to end
    #[command(flatten)]
    pub budget: BudgetArguments,
    /// Seed of everything drawn at random; the same seed gives the same results [default: the
    /// brief's]
    #[arg(long, value_name = "N")]
    pub seed: Option<u64>,
    /// Number of layouts to keep [default: the brief's]
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=9999))]
    pub keep: Option<u16>,
    /// Which layouts have a place in the ranking [default: the brief's, else overall]
    #[arg(long, value_enum)]
    pub rank: Option<Rank>,
    /// Rank feasible layouts by yield: the share of frames in all bands when every hole of every
    /// part lies in a disc of this radius in mm about its place (see `tolerance`)
    #[arg(long, value_name = "MM", value_parser = radius)]
    pub scatter: Option<f64>,
    /// Take only share I of N of the starts, for `merge`; N such processes may run anywhere
    #[arg(long, value_name = "I/N", value_parser = shard)]
    pub shard: Option<Shard>,
    /// Take every start by seed and number alone and learn nothing from what others came to, so
    /// that shares together are one search of the same starts to the last byte
    #[arg(long)]
    pub even: bool,
    /// Where --out holds this very run already, go on with it
    #[arg(long, requires = "out")]
    pub resume: bool,
    /// How it is run and what is written
    #[command(flatten)]
    pub manner: Manner,
}

/// How a search is run, and what it writes; the ranking does not depend on it.
#[derive(Clone, Copy, Debug, Args)]
pub struct Manner {
    /// Number of threads; results do not depend on it [default: one for each core]
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=1024))]
    pub threads: Option<u16>,
    /// Write the ranking and the layouts alone: neither report nor margins, sensitivities and
    /// drawings, which cost more than a short search; `report RUN` makes the same report later
    #[arg(long)]
    pub bare: bool,
    /// Show no progress
    #[arg(long)]
    pub quiet: bool,
}

/// When a search ends: as soon as one of these is reached.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Args)]
pub struct BudgetArguments {
    /// Number of starts [default: the brief's, or with another budget no number]
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u64).range(1..=MOST_STARTS))]
    pub starts: Option<u64>,
    /// For how long, as 8h, 90m, 1h30m or 45s; it decides only how many starts are taken
    #[arg(long = "for", value_name = "TIME", value_parser = time)]
    pub time: Option<Duration>,
    /// Until there are so many distinct feasible layouts (at most 4096 are kept)
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=4096))]
    pub until_distinct: Option<u16>,
    /// Until so many starts brought neither a better score nor a layout in a new place
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u64).range(1..=MOST_STARTS))]
    pub until_stagnant: Option<u64>,
}

/// Arguments of `resume`.
#[derive(Clone, Debug, Args)]
pub struct ResumeArguments {
    /// The folder of the run
    pub run: PathBuf,
    /// When to end; without any of these, when the run itself was to end
    #[command(flatten)]
    pub budget: BudgetArguments,
    /// How it is run and what is written
    #[command(flatten)]
    pub manner: Manner,
}

/// Arguments of `merge`.
#[derive(Clone, Debug, Args)]
pub struct MergeArguments {
    /// The folders of the shards
    #[arg(required = true, num_args = 1..)]
    pub runs: Vec<PathBuf>,
    /// Folder for the results; it must not exist or be empty
    #[arg(long, value_name = "DIR")]
    pub out: PathBuf,
}

/// Most starts of one search.
const MOST_STARTS: u64 = 1_000_000_000_000;

/// A share of starts, as `3/16`.
fn shard(text: &str) -> Result<Shard, String> {
    let parsed = text
        .split_once('/')
        .and_then(|(number, of)| Shard::new(number.parse().ok()?, of.parse().ok()?));
    let small = parsed.filter(|shard| shard.of() <= 100_000);
    small.ok_or_else(|| "expected I/N with I from 1 to N, as 3/16".into())
}

/// A time of hours, minutes and seconds, as `1h30m`.
fn time(text: &str) -> Result<Duration, String> {
    let wrong = || "expected hours, minutes or seconds, as 8h, 90m, 1h30m or 45s".to_owned();
    let (mut seconds, mut digits) = (0_u64, String::new());
    for letter in text.chars() {
        let unit = match letter {
            '0'..='9' => {
                digits.push(letter);
                continue;
            }
            'h' => 3600,
            'm' => 60,
            's' => 1,
            _ => return Err(wrong()),
        };
        let count: u64 = digits.parse().map_err(|_| wrong())?;
        let more = count.checked_mul(unit).ok_or_else(wrong)?;
        seconds = seconds.checked_add(more).ok_or_else(wrong)?;
        digits.clear();
    }
    // Longer than a year is a slip.
    if !digits.is_empty() || !(1..=366 * 24 * 3600).contains(&seconds) {
        return Err(wrong());
    }
    Ok(Duration::from_secs(seconds))
}

/// Which layouts have a place in the ranking.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Rank {
    /// The best of all
    Overall,
    /// The best of each shock size with each chainring: places are shared evenly among those that
    /// have a feasible layout
    #[value(alias = "per_size")]
    PerSize,
}

impl From<Rank> for RankBy {
    fn from(rank: Rank) -> Self {
        match rank {
            Rank::Overall => Self::Overall,
            Rank::PerSize => Self::PerSize,
        }
    }
}
