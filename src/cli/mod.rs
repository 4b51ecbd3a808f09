//! Floor 7: the command line. The only floor that knows files and streams.
//!
//! - `args`: commands and flags, and their help.
//! - `files`: from a path to a checked layout, objective set or brief.
//! - `run_folder`, `journal`, `session`: a search under way, and all that it keeps on the disk.
//! - One file for each command; what it prints is text from `report`.
//!
//! Results go to stdout, warnings and faults to stderr. A closed pipe is no error.

pub mod args;
mod check;
mod compare;
mod cost;
mod curves;
mod drift;
mod export;
pub mod files;
mod header;
mod journal;
mod judged;
mod merge;
mod new;
mod output;
mod progress;
mod refresh;
mod report;
mod resume;
mod run_folder;
mod schema;
mod search;
mod sensitivity;
mod session;
mod shell;
mod threads;
mod tolerance;
mod trade;
mod whole;

use crate::input::Faults;
use args::{Arguments, Command};
use clap::Parser;
use std::ffi::OsString;
use std::process::ExitCode;

pub use output::{print, warn};

/// How a command ends that ran to its end.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// Everything asked for is answered, and what was wanted is met: exit code 0.
    Met,
    /// Answered, but a target is not met or nothing is feasible: exit code 1.
    NotMet,
    /// A file is at fault, and said so: exit code 2.
    BadInput,
}

impl Outcome {
    /// The exit code of the program.
    #[must_use]
    pub const fn code(self) -> u8 {
        match self {
            Self::Met => 0,
            Self::NotMet => 1,
            Self::BadInput => 2,
        }
    }
}

/// Runs the program with its arguments, the first being its own name.
#[must_use]
pub fn run(arguments: impl IntoIterator<Item = OsString>) -> ExitCode {
    let arguments = match Arguments::try_parse_from(arguments) {
        Ok(arguments) => arguments,
        // Help and version come this way too; neither they nor a closed pipe are an error.
        Err(error) => {
            let _ = error.print();
            return ExitCode::from(u8::try_from(error.exit_code()).unwrap_or(2));
        }
    };
    let outcome = dispatch(&arguments.command).unwrap_or_else(|error| {
        tell(&error);
        Outcome::BadInput
    });
    ExitCode::from(outcome.code())
}

fn dispatch(command: &Command) -> anyhow::Result<Outcome> {
    match command {
        Command::New(arguments) => new::run(arguments),
        Command::Search(arguments) => search::run(arguments),
        Command::Resume(arguments) => resume::run(arguments),
        Command::Merge(arguments) => merge::run(arguments),
        Command::Curves(arguments) => curves::run(arguments),
        Command::Report(arguments) => report::run(arguments),
        Command::Compare(arguments) => compare::run(arguments),
        Command::Export(arguments) => export::run(arguments),
        Command::Sensitivity(arguments) => sensitivity::run(arguments),
        Command::Drift(arguments) => drift::run(arguments),
        Command::Tolerance(arguments) => tolerance::run(arguments),
        Command::Cost(arguments) => cost::run(arguments),
        Command::Trade(arguments) => trade::run(arguments),
        Command::Check(arguments) => check::run(arguments),
        Command::Schema(arguments) => schema::run(arguments),
        Command::Completions(arguments) => shell::completions(arguments),
        Command::Manual => shell::manual(),
    }
}

/// Faults name their file and stand one on a line; anything else is told with its causes.
fn tell(error: &anyhow::Error) {
    match error.downcast_ref::<Faults>() {
        Some(faults) => output::complain(&faults.to_string()),
        None => output::complain(&format!("pivotwright: {error:#}")),
    }
}
