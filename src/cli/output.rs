//! The two streams.

use anyhow::Context;
use std::io::{self, ErrorKind, IsTerminal, Write};

/// Writes a result to stdout.
///
/// # Errors
///
/// Stdout cannot be written to, except that nobody reads on: that is no error.
pub fn print(text: &str) -> anyhow::Result<()> {
    let mut stdout = io::stdout().lock();
    match stdout
        .write_all(text.as_bytes())
        .and_then(|()| stdout.flush())
    {
        Err(error) if error.kind() != ErrorKind::BrokenPipe => {
            Err(error).context("cannot write the result")
        }
        _ => Ok(()),
    }
}

/// Tells stderr of something that a reader of the result should know.
pub fn warn(message: &str) {
    complain(&format!("warning: {message}"));
}

/// How many letters a line of stdout has room for; none where that is no terminal.
pub(super) fn width() -> Option<usize> {
    let told = std::env::var("COLUMNS").ok();
    let told = told.and_then(|width| width.parse().ok());
    let size = || terminal_size::terminal_size().map(|(width, _)| usize::from(width.0));
    let is_terminal = io::stdout().is_terminal();
    told.or_else(size).filter(|_| is_terminal)
}

/// Writes lines to stderr; where that is closed there is nobody left to tell.
pub(super) fn complain(text: &str) {
    let _ = writeln!(io::stderr().lock(), "{text}");
}
