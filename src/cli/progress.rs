//! How far a search is, on stderr: a bar on a terminal, else a line now and then.

use super::output::complain;
use crate::study::Progress;
use indicatif::{ProgressBar, ProgressStyle};
use std::io::IsTerminal;
use std::time::{Duration, Instant};

/// How often a line is written where stderr is no terminal.
const EVERY: Duration = Duration::from_secs(10);

/// Tells how far a search is.
pub(super) enum ProgressLine {
    Quiet,
    Bar { begun: Instant, bar: ProgressBar },
    Lines { begun: Instant, last: Instant },
}

impl ProgressLine {
    pub fn new(starts: u64, quiet: bool) -> Self {
        if quiet {
            return Self::Quiet;
        }
        if !std::io::stderr().is_terminal() {
            let now = Instant::now();
            return Self::Lines {
                begun: now,
                last: now,
            };
        }
        let bar = ProgressBar::new(starts);
        let template = "{pos}/{len} starts [{wide_bar}] {eta} left, {msg}";
        // A template that does not parse would only cost the looks.
        if let Ok(style) = ProgressStyle::with_template(template) {
            bar.set_style(style);
        }
        Self::Bar {
            begun: Instant::now(),
            bar,
        }
    }

    pub fn tell(&mut self, progress: Progress) {
        let best = progress
            .best
            .map_or_else(String::new, |best| format!(", best score {best:.3}"));
        let found = format!("{} feasible{best}", progress.feasible);
        match self {
            Self::Quiet => {}
            Self::Bar { begun, bar } => {
                let rate = progress.starts as f64 / begun.elapsed().as_secs_f64();
                bar.set_position(progress.starts);
                bar.set_message(format!("{rate:.0} a second, {found}"));
            }
            Self::Lines { begun, last } => {
                if last.elapsed() >= EVERY {
                    *last = Instant::now();
                    let rate = progress.starts as f64 / begun.elapsed().as_secs_f64();
                    let left = (progress.of - progress.starts) as f64 / rate;
                    complain(&format!(
                        "{} of {} starts, {rate:.0} a second, {left:.0} s left, {found}",
                        progress.starts, progress.of
                    ));
                }
            }
        }
    }

    pub fn finish(&mut self) {
        if let Self::Bar { bar, .. } = self {
            bar.finish_and_clear();
        }
    }
}
