//! Commands and flags.

use clap::{Args, Parser, Subcommand, ValueEnum};
pub use questions::{
    CostArguments, DriftArguments, JsonFormat, Others, SensitivityArguments, TableFormat,
    ToleranceArguments, TradeArguments,
};
pub use run::{BudgetArguments, Manner, MergeArguments, Rank, ResumeArguments, SearchArguments};
use std::path::PathBuf;

mod questions;
mod run;

const AFTER: &str = "\
Files are named by what they hold: NAME.layout.json (one suspension, fully placed),
NAME.objectives.json (what its curves should be), NAME.brief.json (the question put to
the search). `pivotwright schema` prints what may stand in each.

Exit code: 0 answered, and what was wanted is met; 1 answered, but a target is not met
or nothing is feasible; 2 bad input or usage. Kinematics only: neither strength nor
fatigue is looked at.";

/// Finds where the pivots of a bicycle's rear suspension should go.
#[derive(Clone, Debug, Parser)]
#[command(version, after_help = AFTER, max_term_width = 100)]
#[command(arg_required_else_help = true, disable_help_subcommand = true)]
pub struct Arguments {
    /// What to do.
    #[command(subcommand)]
    pub command: Command,
}

/// What to do.
#[derive(Clone, Debug, Subcommand)]
pub enum Command {
    /// Write a starting point: a layout, what it should do, and a guide
    ///
    /// Makes a folder with a layout, a brief, objective sets and a README that explains every line
    /// to change. Asks for the kind of linkage where the command does not say. The files search
    /// successfully as they are.
    #[command(after_help = "Example:\n  pivotwright new my-bike --linkage four-bar")]
    New(NewArguments),
    /// Search for layouts that meet the targets of a brief
    ///
    /// Reads a brief and the layout and objective files that it names. Prints the distinct
    /// layouts found, best first, and writes them with a report into a new folder, by default
    /// NAME.run beside NAME.brief.json.
    #[command(after_help = "Example:\n  pivotwright search trail.brief.json --starts 500 --keep 5")]
    Search(SearchArguments),
    /// Go on with a run that was ended, by whatever
    ///
    /// Reads the folder of a run and goes on from the last round of starts in its journal, after
    /// Ctrl-C, a power cut, a full disk or a kill. Results are those of a run that was never
    /// ended, to the last byte. With a budget that goes further than the run's own, a run that is
    /// through goes on too.
    #[command(after_help = "Examples:
  pivotwright resume trail.run
  pivotwright resume trail.run --for 8h
  pivotwright resume trail.run --starts 100000")]
    Resume(ResumeArguments),
    /// Fold the shards of a search into one run
    ///
    /// Reads run folders made with `search --shard` from the same brief, seed and options, in
    /// any order, and writes what they found together into a new folder, as one search of all
    /// their starts would have.
    #[command(after_help = "Example:
  pivotwright merge part-1.run part-2.run part-3.run --out trail.run")]
    Merge(MergeArguments),
    /// Print the curves of a layout
    ///
    /// Reads one layout and prints its leverage rate, anti-squat, anti-rise, axle path, chain
    /// growth, pedal kickback and geometry along the travel, and the numbers that sum them up.
    /// With objective files also which targets it meets and by how much; the exit code is then
    /// 1 when one is missed.
    #[command(after_help = "Examples:
  pivotwright curves trail.layout.json
  pivotwright curves trail.layout.json --objectives rate.objectives.json
  pivotwright curves trail.layout.json --format csv --samples 101 > trail.csv
  pivotwright curves trail.layout.json --html trail.html")]
    Curves(CurvesArguments),
    /// Make the report of a finished search anew
    ///
    /// Reads the folder of a run and writes its report.html: the answer, the ranking, each layout
    /// in motion with its curves, how the search went. It is the same file byte for byte as the
    /// search wrote.
    #[command(after_help = "Examples:
  pivotwright report trail.run
  pivotwright report trail.run --html table.html --svg pictures")]
    Report(ReportArguments),
    /// Set layouts side by side and tell their differences
    ///
    /// Reads two layouts or more. Prints their curves at top, sag and end side by side, then
    /// how each differs from the first, worst difference first. Differences are measured by
    /// what a rider or a test would just notice (common practice, no source): 0.1 of leverage
    /// rate, 10 % of anti-squat or anti-rise, 5 mm of travel or of height, 0.5 degrees of head
    /// angle, and so on; the list names the measure of each.
    #[command(
        after_help = "Example:\n  pivotwright compare known.layout.json candidate.layout.json"
    )]
    Compare(CompareArguments),
    /// Write a layout as files for CAD and spreadsheets
    ///
    /// Reads one layout and writes NAME.dxf (millimetres, a layer for each body, at top, sag and
    /// end), NAME.parameters.csv (name, value, unit of every coordinate and length, for CAD
    /// variables), NAME.points.csv, NAME.curves.csv and NAME.curves.json (along the travel, every
    /// number in full). A search writes the same for each of its layouts.
    #[command(after_help = "Example:\n  pivotwright export trail.layout.json --to cad")]
    Export(ExportArguments),
    /// Tell what changes by how much per mm of each pivot coordinate
    ///
    /// Reads one layout. Prints by how much every reported number changes per mm of each
    /// coordinate (exact derivatives), the most influential first, and for each pivot the
    /// direction that matters most and the one in which it moves most freely. With objective
    /// files the residuals of their targets too; with a brief its targets, and its own free
    /// coordinates instead of every point's.
    #[command(after_help = "Examples:
  pivotwright sensitivity trail.layout.json --objectives rate.objectives.json
  pivotwright sensitivity trail.run/layouts/01.json --brief trail.brief.json --format csv")]
    Sensitivity(SensitivityArguments),
    /// Tell how far each point may move before a band breaks
    ///
    /// Reads one layout and what it is judged by: objective files, or a brief with its targets and
    /// limits. Prints for each point of the drawing (a design move) and for each hole on one part
    /// (an as-built move) how far it may go along +x, -x, +y, -y and in the worst direction, and
    /// what breaks there. The exit code is 1 when something is missed as drawn.
    #[command(after_help = "Examples:
  pivotwright drift trail.run/layouts/01.json --brief trail.brief.json
  pivotwright drift trail.layout.json --objectives rate.objectives.json --point rocker_pivot
  pivotwright drift trail.layout.json --brief trail.brief.json --point axle --format csv")]
    Drift(DriftArguments),
    /// Tell what share of frames is in all bands when holes are off
    ///
    /// Reads one layout and what it is judged by. Draws frames whose holes lie in discs about their
    /// places, on every part by itself, with the shock's length and stroke off too, puts them
    /// together and prints the yield, the spread of every number, which holes carry it, and the
    /// scatter that each hole may have for a yield of 99 %. A radius is half of a drawing's
    /// position tolerance (ISO 1101); common practice, no source: machined link 0.05 mm, machined
    /// frame 0.15, moulded 0.3, as welded 0.5 to 1. A file of radii is an object with `all`, and as
    /// wanted `bodies` and `points` (radii by name), `holes` (`{"rocker": {"rocker_pivot": 0.02}}`:
    /// of a body some of its points; these win), `eye_to_eye`, `stroke` (0.5 each where not said),
    /// `centre_of_mass` (`{"x": [low, high], "y": [low, high]}`) and `distribution` (`uniform` or
    /// `normal`). Where the centre of mass has a range (seated and standing), frames are drawn over
    /// it, and what depends on it is also told at the ends and in the middle of the range, with
    /// every hole as drawn. The exit code is 1 when something is missed as drawn.
    #[command(after_help = "Examples:
  pivotwright tolerance trail.run/layouts/01.json --brief trail.brief.json --scatter 0.15
  pivotwright tolerance trail.layout.json --objectives rate.objectives.json --scatter-file shop.json
  pivotwright tolerance trail.layout.json --brief trail.brief.json --scatter 0 --mass-x -20 60 --mass-y 900 1150")]
    Tolerance(ToleranceArguments),
    /// Tell what a band that gives way would gain
    ///
    /// Reads a brief, and a layout for it or else searches for one. Where the layout meets the
    /// brief: which bands hold its score, and what a little more room in each would gain. Where
    /// nothing is feasible: by how much all bands together, and which one alone, must be widened
    /// so that something is. All of it is solved, not extrapolated.
    #[command(after_help = "Examples:
  pivotwright cost trail.brief.json --layout trail.run/layouts/01.json
  pivotwright cost wishful.brief.json")]
    Cost(CostArguments),
    /// Tell how much of one target another costs
    ///
    /// Reads a brief. Walks the frontier between two of its targets in layouts that meet the whole
    /// brief, evenly spread from the best for the first to the best for the second. A target is
    /// named by its number in the brief, counted through all its objective files, or by words that
    /// only it has; a wrong one lists them all.
    #[command(after_help = "Example:
  pivotwright trade trail.brief.json --between straight 'anti_squat spread 18'")]
    Trade(TradeArguments),
    /// Check files and say what they hold
    ///
    /// Reads layouts, objective sets and briefs, told apart by their names, else by their keys.
    /// A layout is moved over its whole stroke; with a brief the files that it names are
    /// checked too. Prints a line for each good file. Every fault of a file's first faulty
    /// stage (syntax; keys and values; structure; motion) is told on stderr, one a line.
    #[command(after_help = "Example:\n  pivotwright check trail.layout.json trail.brief.json")]
    Check(CheckArguments),
    /// Print the JSON Schema of a kind of file
    ///
    /// Reads nothing. An editor that is told of the schema completes and checks such a file
    /// while it is written.
    #[command(after_help = "Example:\n  pivotwright schema layout > layout.schema.json")]
    Schema(SchemaArguments),
    /// Print what a shell completes
    #[command(after_help = "Example:
  pivotwright completions bash > ~/.local/share/bash-completion/completions/pivotwright")]
    Completions(CompletionsArguments),
    /// Print the manual page
    #[command(after_help = "Example:\n  pivotwright manual | man -l -")]
    Manual,
}

/// Arguments of `new`.
#[derive(Clone, Debug, Args)]
pub struct NewArguments {
    /// The folder; it must not exist or be empty
    #[arg(value_name = "DIR")]
    pub folder: PathBuf,
    /// Kind of linkage [default: asked for]
    #[arg(long, value_name = "KIND")]
    pub linkage: Option<String>,
}

/// Arguments of `curves`.
#[derive(Clone, Debug, Args)]
pub struct CurvesArguments {
    /// The layout, or - for stdin
    pub layout: PathBuf,
    /// Form of the output; json and csv give every number in full
    #[arg(long, value_enum, default_value_t = CurvesFormat::Table)]
    pub format: CurvesFormat,
    /// Number of samples in json and csv, uniform in travel from top to end
    #[arg(long, value_name = "N", default_value_t = 21)]
    #[arg(value_parser = clap::value_parser!(u32).range(2..=100_000))]
    pub samples: u32,
    /// Objective files whose targets the layout is held against
    #[arg(long, value_name = "FILE", num_args = 1..)]
    pub objectives: Vec<PathBuf>,
    /// Plot the curves as wide as the terminal instead of the tables
    #[arg(long, conflicts_with = "format")]
    pub plot: bool,
    /// Plot with ASCII letters alone
    #[arg(long, requires = "plot")]
    pub ascii: bool,
    /// File for a page with the linkage in motion and its curves
    #[arg(long, value_name = "FILE")]
    pub html: Option<PathBuf>,
    /// Folder for the figures, one SVG each
    #[arg(long, value_name = "DIR")]
    pub svg: Option<PathBuf>,
}

/// Forms of the output of `curves`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum CurvesFormat {
    /// For reading
    Table,
    /// Top, sag, end, samples and summary
    Json,
    /// One row a sample
    Csv,
}

/// Arguments of `report`.
#[derive(Clone, Debug, Args)]
pub struct ReportArguments {
    /// The folder that `search` wrote
    #[arg(value_name = "RUN")]
    pub run: PathBuf,
    /// File for the report [default: RUN/report.html]
    #[arg(long, value_name = "FILE")]
    pub html: Option<PathBuf>,
    /// Folder for the figures, one SVG each
    #[arg(long, value_name = "DIR")]
    pub svg: Option<PathBuf>,
}

/// Arguments of `compare`.
#[derive(Clone, Debug, Args)]
pub struct CompareArguments {
    /// Two layouts or more; the others are held against the first
    #[arg(value_name = "LAYOUT", required = true, num_args = 2..)]
    pub layouts: Vec<PathBuf>,
    /// Form of the output; json gives every number in full
    #[arg(long, value_enum, default_value_t = CompareFormat::Table)]
    pub format: CompareFormat,
}

/// Forms of the output of `compare`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum CompareFormat {
    /// For reading
    Table,
    /// Each layout's numbers and all differences
    Json,
}

/// Arguments of `check`.
#[derive(Clone, Debug, Args)]
pub struct CheckArguments {
    /// Layouts, objective sets and briefs, or - for stdin
    #[arg(value_name = "FILE", required = true)]
    pub files: Vec<PathBuf>,
}

/// Arguments of `export`.
#[derive(Clone, Debug, Args)]
pub struct ExportArguments {
    /// The layout, or - for stdin
    pub layout: PathBuf,
    /// Folder for the files; those of the same names are replaced
    #[arg(long, value_name = "DIR", default_value = ".")]
    pub to: PathBuf,
}

/// Arguments of `completions`.
#[derive(Clone, Debug, Args)]
pub struct CompletionsArguments {
    /// The shell
    #[arg(value_enum)]
    pub shell: clap_complete::Shell,
}

/// Arguments of `schema`.
#[derive(Clone, Debug, Args)]
pub struct SchemaArguments {
    /// The kind of file
    #[arg(value_enum)]
    pub kind: SchemaKind,
}

/// The kinds of file that a person writes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum SchemaKind {
    /// One suspension, fully placed
    Layout,
    /// What its curves should be
    Objectives,
    /// The question put to the search
    Brief,
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::CommandFactory;

    #[test]
    fn the_arguments_are_consistent() {
        Arguments::command().debug_assert();
    }
}
