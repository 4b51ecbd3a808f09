//! `curves`: the curves of one layout, and how it does against objective sets.

use super::args::{CurvesArguments, CurvesFormat};
use super::files;
use super::report::write_figures;
use super::whole::write_whole;
use super::{Outcome, output, print};
use crate::curves::Suspension;
use crate::design::Assessment;
use crate::input::{Faults, ObjectiveSet};
use crate::report::plot::Terminal;
use crate::report::{self, Subject, Verdict, page};
use std::io::IsTerminal;

/// Prints the curves in the form asked for.
pub(super) fn run(arguments: &CurvesArguments) -> anyhow::Result<Outcome> {
    let layout = files::load_mechanism(&arguments.layout);
    let sets = files::load_objectives(&arguments.objectives);
    let ((file, layout, plan), sets) = files::both(layout, sets)?;
    let faults = sets
        .iter()
        .flat_map(|(file, set)| set.check_against(file, &layout));
    Faults::none_or(faults.collect(), ())?;
    let suspension = Suspension::new(&plan, &file, &layout)?;
    files::warn_of(&file, &layout, &suspension);

    let subject = Subject::new(&layout, &suspension);
    let sets: Vec<&ObjectiveSet> = sets.iter().map(|(_, set)| set).collect();
    let assessment = Assessment::new(&suspension, &sets, &[]);
    let verdict = (!sets.is_empty()).then_some(Verdict {
        sets: &sets,
        targets: &assessment.targets,
    });
    if let Some(path) = &arguments.html {
        write_whole(path, &page::one(&subject, verdict.as_ref()))?;
        output::complain(&format!("page written to {}", path.display()));
    }
    if let Some(folder) = &arguments.svg {
        write_figures(folder, &page::one_figures(&subject, verdict.as_ref()))?;
    }
    match arguments.format {
        CurvesFormat::Table if arguments.plot => {
            print(&report::plot::text(&subject, terminal(arguments.ascii)))?;
            // The plots have no room for targets.
            if let Some(verdict) = &verdict {
                print(&report::curves::targets(verdict))?;
            }
        }
        CurvesFormat::Table => print(&report::curves::text(&subject, verdict.as_ref()))?,
        CurvesFormat::Json => {
            let value = report::json::curves(&subject, arguments.samples, verdict.as_ref());
            print(&report::json::text(&value))?;
        }
        CurvesFormat::Csv => {
            print(&report::csv::samples(&subject, arguments.samples))?;
            // The rows have no room for targets.
            if let Some(verdict) = &verdict {
                output::complain(report::curves::targets(verdict).trim_end());
            }
        }
    }
    Ok(if assessment.feasible() {
        Outcome::Met
    } else {
        Outcome::NotMet
    })
}

/// What stdout can show: no colour but on a terminal, and not where `NO_COLOR` says no.
fn terminal(ascii: bool) -> Terminal {
    let is_terminal = std::io::stdout().is_terminal();
    let width = terminal_size::terminal_size().map(|(width, _)| usize::from(width.0));
    let named = |name: &str| std::env::var(name).ok().filter(|value| !value.is_empty());
    let width = named("COLUMNS")
        .and_then(|value| value.parse().ok())
        .or(width);
    let locale = ["LC_ALL", "LC_CTYPE", "LANG"].into_iter().find_map(named);
    // Windows has no locale in its environment and shows Unicode.
    let utf8 = locale.map_or(cfg!(windows), |locale| {
        let locale = locale.to_lowercase();
        locale.contains("utf-8") || locale.contains("utf8")
    });
    let dumb = named("TERM").is_some_and(|terminal| terminal == "dumb");
    Terminal {
        width: width.unwrap_or(80),
        unicode: utf8 && !ascii,
        colour: is_terminal && !dumb && named("NO_COLOR").is_none(),
    }
}
