//! `completions` and `manual`: what a shell and `man` know of the program.

use super::args::{Arguments, CompletionsArguments};
use super::{Outcome, print};
use clap::CommandFactory;

/// Prints the completions for a shell.
pub(super) fn completions(arguments: &CompletionsArguments) -> anyhow::Result<Outcome> {
    let mut text = Vec::new();
    clap_complete::generate(
        arguments.shell,
        &mut Arguments::command(),
        "pivotwright",
        &mut text,
    );
    print(&String::from_utf8_lossy(&text))?;
    Ok(Outcome::Met)
}

/// Prints the manual page: the program's, then each command's.
pub(super) fn manual() -> anyhow::Result<Outcome> {
    let mut command = Arguments::command();
    command.build();
    let mut text = Vec::new();
    clap_mangen::Man::new(command.clone()).render(&mut text)?;
    for command in command.get_subcommands() {
        let page = clap_mangen::Man::new(command.clone());
        let title = command.get_name().to_uppercase();
        text.extend(format!(".SH {title}\n").bytes());
        page.render_description_section(&mut text)?;
        page.render_options_section(&mut text)?;
    }
    print(&String::from_utf8_lossy(&text))?;
    Ok(Outcome::Met)
}
