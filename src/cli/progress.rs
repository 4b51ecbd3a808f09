//! How far a search is, on stderr: a bar on a terminal, else a line a minute.

use super::output::complain;
use crate::study::{Budget, Standing};
use indicatif::{ProgressBar, ProgressStyle};
use std::io::IsTerminal;
use std::time::{Duration, Instant};

/// How often a line is written where stderr is no terminal.
const EVERY: Duration = Duration::from_mins(1);

/// How often a bar tells what is dear to find out.
const LOOK: Duration = Duration::from_secs(5);

/// Up to how many distinct layouts are counted: more make no difference to a person.
const COUNTED: usize = 500;

/// Tells how far a search is.
pub(super) struct ProgressLine {
    begun: Instant,
    /// Starts taken by earlier processes.
    before: u64,
    until: Option<Instant>,
    last: Option<Instant>,
    /// How often a line is written.
    every: Duration,
    form: Form,
}

enum Form {
    Quiet,
    Bar(ProgressBar, String),
    Lines,
}

impl ProgressLine {
    pub fn new(budget: &Budget, before: u64, quiet: bool) -> Self {
        let form = if quiet {
            Form::Quiet
        } else if std::io::stderr().is_terminal() {
            Form::Bar(bar(), String::new())
        } else {
            Form::Lines
        };
        let begun = Instant::now();
        Self {
            begun,
            before,
            until: budget.until,
            // A bar looks at once, a line is due after a minute.
            last: matches!(form, Form::Lines).then_some(begun),
            every: EVERY,
            form,
        }
    }

    pub fn tell(&mut self, standing: &Standing) {
        if let Some(line) = self.line(standing) {
            complain(&line);
        }
    }

    /// Brings a bar up to date, or gives the line that is due.
    fn line(&mut self, standing: &Standing) -> Option<String> {
        let due = |last: Option<Instant>, every| last.is_none_or(|last| last.elapsed() >= every);
        match &mut self.form {
            Form::Quiet => None,
            Form::Bar(bar, found) => {
                if due(self.last, LOOK) {
                    self.last = Some(Instant::now());
                    *found = words(standing);
                }
                let far = far(standing, self.begun, self.before, self.until);
                bar.set_message(format!("{far}, {found}"));
                None
            }
            Form::Lines => {
                let now = due(self.last, self.every);
                now.then(|| {
                    self.last = Some(Instant::now());
                    let far = far(standing, self.begun, self.before, self.until);
                    format!("{far}, {}", words(standing))
                })
            }
        }
    }

    pub fn finish(&mut self) {
        if let Form::Bar(bar, _) = &self.form {
            bar.finish_and_clear();
        }
    }
}

fn bar() -> ProgressBar {
    let bar = ProgressBar::new_spinner();
    // A template that does not parse would only cost the looks.
    if let Ok(style) = ProgressStyle::with_template("{wide_msg}") {
        bar.set_style(style);
    }
    bar
}

/// Starts taken, their rate and the time left.
fn far(standing: &Standing, begun: Instant, before: u64, until: Option<Instant>) -> String {
    let starts = standing.found().starts();
    let rate = (starts - before) as f64 / begun.elapsed().as_secs_f64();
    let by_starts = standing
        .of()
        .map(|of| of.saturating_sub(starts) as f64 / rate);
    let by_clock = until.map(|until| until.saturating_duration_since(Instant::now()));
    let left = [by_starts, by_clock.map(|left| left.as_secs_f64())];
    let left = left.into_iter().flatten().min_by(f64::total_cmp);
    let of = standing
        .of()
        .map_or_else(String::new, |of| format!(" of {of}"));
    let left = left.map_or_else(String::new, |left| format!(", {} left", time(left)));
    format!("{starts}{of} starts, {rate:.0} a second{left}")
}

/// What was found.
fn words(standing: &Standing) -> String {
    let feasible = standing.found().feasible();
    let (Some(best), Some(key)) = (standing.best(), standing.key()) else {
        return format!("{feasible} feasible");
    };
    let distinct = standing.distinct(COUNTED);
    let more = if distinct == COUNTED { " or more" } else { "" };
    let [top, sag, end] = key.leverage;
    format!(
        "{feasible} feasible, {distinct}{more} distinct, best score {best:.3}: rate {top:.2} \
         {sag:.2} {end:.2}, travel {:.1}",
        key.travel
    )
}

/// A time as a person says it.
fn time(seconds: f64) -> String {
    if seconds < 90.0 {
        format!("{seconds:.0} s")
    } else if seconds < 90.0 * 60.0 {
        format!("{:.0} min", seconds / 60.0)
    } else {
        let minutes = (seconds / 60.0).round();
        format!(
            "{:.0} h {:02.0} min",
            (minutes / 60.0).floor(),
            minutes % 60.0
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cli::files::load_brief;
    use crate::study::{Control, Search};
    use std::path::Path;

    #[test]
    fn a_line_is_due_as_often_as_it_should_be_and_tells_how_it_stands() {
        let project = Path::new(env!("CARGO_MANIFEST_DIR"));
        let mut brief = load_brief(&project.join("demo-data/trail-crew-m.brief.json")).unwrap();
        brief.search.starts = 192;
        brief.search.keep = 1;
        let search = Search::new(brief, "layout", 2).unwrap();
        let mut often = ProgressLine::new(&Budget::default(), 0, false);
        (often.form, often.last) = (Form::Lines, Some(often.begun));
        let mut seldom = ProgressLine::new(&Budget::default(), 0, false);
        (seldom.form, seldom.last) = (Form::Lines, Some(seldom.begun));
        often.every = Duration::ZERO;
        seldom.every = Duration::from_hours(1);
        let mut lines = Vec::new();
        let watched = search.run(|standing| {
            lines.extend(often.line(standing));
            assert_eq!(seldom.line(standing), None);
            Control::GoOn
        });
        assert!(watched.unwrap().feasible());
        assert_eq!(lines.len(), 3);
        for (line, starts) in lines.iter().zip(["64 of 192", "128 of 192", "192 of 192"]) {
            assert!(line.starts_with(&format!("{starts} starts, ")), "{line}");
            for words in [
                " a second, ",
                " left, ",
                " feasible, ",
                " distinct, best score 0.",
            ] {
                assert!(line.contains(words), "{words}: {line}");
            }
            assert!(
                line.contains(": rate 2.") && line.contains(", travel 15"),
                "{line}"
            );
        }
    }

    #[test]
    fn times_are_told_as_people_say_them() {
        for (seconds, told) in [(12.4, "12 s"), (600.0, "10 min"), (29_000.0, "8 h 03 min")] {
            assert_eq!(time(seconds), told);
        }
    }
}
