//! Arguments of the questions about a finished layout or a brief.

use clap::{Args, ValueEnum};
use std::path::PathBuf;

/// Arguments of `sensitivity`.
#[derive(Clone, Debug, Args)]
pub struct SensitivityArguments {
    /// The layout, or - for stdin
    pub layout: PathBuf,
    /// Objective files whose targets count
    #[arg(long, value_name = "FILE", num_args = 1..)]
    pub objectives: Vec<PathBuf>,
    /// A brief about this linkage, whose targets and free coordinates are taken
    #[arg(long, value_name = "FILE")]
    pub brief: Option<PathBuf>,
    /// Form of the output; json and csv give every number in full
    #[arg(long, value_enum, default_value_t = TableFormat::Table)]
    pub format: TableFormat,
}

/// What the points that are not moved do.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Others {
    /// They stay
    Held,
    /// They are re-optimised, so that everything is met as far as can be; needs --brief
    Resolved,
}

/// Forms of the output of commands that print a table.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum TableFormat {
    /// For reading
    Table,
    /// Everything
    Json,
    /// One table, a row a line
    Csv,
}

/// Arguments of `drift`.
#[derive(Clone, Debug, Args)]
pub struct DriftArguments {
    /// The layout, or - for stdin
    pub layout: PathBuf,
    /// Objective files whose targets are the bands
    #[arg(long, value_name = "FILE", num_args = 1.., required_unless_present = "brief")]
    pub objectives: Vec<PathBuf>,
    /// A brief about this linkage, whose targets and limits are the bands
    #[arg(long, value_name = "FILE")]
    pub brief: Option<PathBuf>,
    /// Whether the other points stay, or may follow within the boxes of the brief
    #[arg(long, value_enum, default_value_t = Others::Held)]
    pub others: Others,
    /// One point in depth: a polar table of 24 directions; with csv and json the outline of its
    /// safe region in 360
    #[arg(long, value_name = "NAME")]
    pub point: Option<String>,
    /// Number of threads; results do not depend on it [default: one for each core]
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=1024))]
    pub threads: Option<u16>,
    /// Form of the output; json and csv give every number in full
    #[arg(long, value_enum, default_value_t = TableFormat::Table)]
    pub format: TableFormat,
}

/// Arguments of `tolerance`.
#[derive(Clone, Debug, Args)]
pub struct ToleranceArguments {
    /// The layout, or - for stdin
    pub layout: PathBuf,
    /// Objective files whose targets are the bands
    #[arg(long, value_name = "FILE", num_args = 1.., required_unless_present = "brief")]
    pub objectives: Vec<PathBuf>,
    /// A brief about this linkage, whose targets and limits are the bands
    #[arg(long, value_name = "FILE")]
    pub brief: Option<PathBuf>,
    /// Radius in mm of the disc in which every hole of every part lies about its place
    #[arg(long, value_name = "MM", value_parser = radius, required_unless_present = "scatter_file")]
    pub scatter: Option<f64>,
    /// A file of radii instead
    #[arg(long, value_name = "FILE", conflicts_with = "scatter")]
    pub scatter_file: Option<PathBuf>,
    /// Range of the centre of mass forward, mm: seated to standing, say
    #[arg(long, value_names = ["LOW", "HIGH"], num_args = 2, allow_negative_numbers = true)]
    pub mass_x: Option<Vec<f64>>,
    /// Range of the centre of mass upward, mm
    #[arg(long, value_names = ["LOW", "HIGH"], num_args = 2, allow_negative_numbers = true)]
    pub mass_y: Option<Vec<f64>>,
    /// Holes lie normally about their places, the radius being three standard deviations
    #[arg(long)]
    pub normal: bool,
    /// Number of frames
    #[arg(long, value_name = "N", default_value_t = 65_536)]
    #[arg(value_parser = clap::value_parser!(u64).range(64..=crate::study::tolerance::MOST_FRAMES))]
    pub frames: u64,
    /// Seed of the frames drawn; the same seed gives the same frames
    #[arg(long, value_name = "N", default_value_t = 1)]
    pub seed: u64,
    /// Number of threads; results do not depend on it [default: one for each core]
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=1024))]
    pub threads: Option<u16>,
    /// Form of the output; json and csv give every number in full
    #[arg(long, value_enum, default_value_t = TableFormat::Table)]
    pub format: TableFormat,
}

/// A radius of scatter in mm.
pub(super) fn radius(text: &str) -> Result<f64, String> {
    let most = crate::input::MOST_SCATTER;
    match text.parse::<f64>() {
        Ok(radius) if (0.0..=most).contains(&radius) => Ok(radius),
        _ => Err(format!("expected a radius in mm, 0 to {most}")),
    }
}

/// Arguments of `cost`.
#[derive(Clone, Debug, Args)]
pub struct CostArguments {
    /// The brief
    pub brief: PathBuf,
    /// Layouts for the brief, the one to look at first; where it misses something, all are
    /// starts [default: those of a search]
    #[arg(long, value_name = "FILE", num_args = 1..)]
    pub layout: Vec<PathBuf>,
    /// Number of starts of the search, where one is made
    #[arg(long, value_name = "N", default_value_t = 400)]
    #[arg(value_parser = clap::value_parser!(u64).range(1..=1_000_000))]
    pub starts: u64,
    /// Number of threads; results do not depend on it [default: one for each core]
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=1024))]
    pub threads: Option<u16>,
    /// Form of the output; json gives every number in full
    #[arg(long, value_enum, default_value_t = JsonFormat::Table)]
    pub format: JsonFormat,
}

/// Forms of the output of commands whose answer is no single table.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum JsonFormat {
    /// For reading
    Table,
    /// Everything
    Json,
}

/// Arguments of `trade`.
#[derive(Clone, Debug, Args)]
pub struct TradeArguments {
    /// The brief
    pub brief: PathBuf,
    /// Two of its targets, by number or by words
    #[arg(long, value_name = "TARGET", num_args = 2, required = true)]
    pub between: Vec<String>,
    /// Number of layouts along the frontier
    #[arg(long, value_name = "N", default_value_t = 15)]
    #[arg(value_parser = clap::value_parser!(u16).range(3..=200))]
    pub points: u16,
    /// Number of starts of the search for layouts to begin with
    #[arg(long, value_name = "N", default_value_t = 400)]
    #[arg(value_parser = clap::value_parser!(u64).range(1..=1_000_000))]
    pub starts: u64,
    /// Folder for the layouts and the table; it must not exist or be empty
    #[arg(long, value_name = "DIR")]
    pub out: Option<PathBuf>,
    /// Number of threads; results do not depend on it [default: one for each core]
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=1024))]
    pub threads: Option<u16>,
    /// Form of the output; json and csv give every number in full
    #[arg(long, value_enum, default_value_t = TableFormat::Table)]
    pub format: TableFormat,
}
