//! The program `pivotwright`: see the library for all that it does.

use std::process::ExitCode;

fn main() -> ExitCode {
    pivotwright::cli::run(std::env::args_os())
}
