//! The report as one page: everything in it, nothing loaded, the same bytes for the same run.
//!
//! The static part is complete without scripts: the answer, the ranking, the first layout with
//! its figures, how the search went, where everything comes from. The script selects other
//! layouts, sets two side by side, sorts the ranking and moves the linkage; it draws nothing
//! that is not in the page already.
//!
//! - `ranking`: the table of layouts. `chosen`: the selected one, number by number.
//! - `heat`: what a millimetre does. `margins`: where each pivot may go, and frames as built.
//! - `data`: positions and curves for the script. `origin`: search, provenance, definitions.

mod chosen;
mod data;
mod heat;
mod margins;
mod origin;
mod ranking;

use super::figure::{self, Figure, Stage, View};
use super::margins::{FrameRule, Judged, LayoutMargins, Margins, OutlineRule, SCATTER};
use super::run::Run;
use super::traced::Traced;
use super::{Subject, Verdict, words};
use crate::curves::Suspension;
use crate::design::{Assessment, TargetResult};
use crate::input::{Brief, Faults, Layout, ObjectiveSet};
use crate::mechanism::Plan;
use maud::{DOCTYPE, Markup, PreEscaped, html};
use rayon::prelude::*;

/// What the page adds to the figures' own style.
const STYLE: &str = include_str!("style.css");
/// What moves in the page.
const SCRIPT: &str = include_str!("script.js");
/// Nothing may be loaded, from anywhere.
const POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'; script-src 'unsafe-inline'; \
                      img-src data:";

/// What every part of the page reads.
struct Page<'a> {
    title: &'a str,
    traced: &'a [Traced<'a>],
    assessments: &'a [Assessment],
    sets: &'a [&'a ObjectiveSet],
    /// How far each layout is from its edges, where it is judged by anything.
    margins: &'a [LayoutMargins],
    rules: Option<(&'a OutlineRule, &'a FrameRule)>,
    /// The linkage and where it is at every moment; none where there is no layout.
    stage: Option<Stage>,
    /// What is shown of the linkage about its safe regions.
    view: Option<View>,
    /// The run, where the page is about one.
    run: Option<&'a Run>,
}

/// The figures of a page.
struct Figures {
    views: Vec<Figure>,
    charts: Vec<Figure>,
    gaps: Vec<Figure>,
    course: Option<Figure>,
}

impl Figures {
    fn all(self) -> Vec<Figure> {
        let charts = self.views.into_iter().chain(self.charts);
        charts.chain(self.gaps).chain(self.course).collect()
    }
}

/// The report of a run.
///
/// # Errors
///
/// A layout of the run does not move over its whole stroke.
pub fn run(run: &Run, margins: &Margins) -> Result<String, Faults> {
    with_moving(run, Some(margins), |page| page.text(&page.figures()))
}

/// The figures of a run's report.
///
/// # Errors
///
/// As [`run()`].
pub fn run_figures(run: &Run, margins: &Margins) -> Result<Vec<Figure>, Faults> {
    with_moving(run, Some(margins), |page| page.figures().all())
}

/// Does something with each layout of a run in motion, best first, until it fails.
///
/// # Errors
///
/// As [`run()`].
pub fn each<E>(
    run: &Run,
    mut act: impl FnMut(usize, &Subject) -> Result<(), E>,
) -> Result<Result<(), E>, Faults> {
    with_moving(run, None, |page| {
        page.traced
            .iter()
            .try_for_each(|traced| act(traced.rank, &traced.subject))
    })
}

fn with_moving<T>(
    run: &Run,
    margins: Option<&Margins>,
    make: impl FnOnce(&Page<'_>) -> T,
) -> Result<T, Faults> {
    let plans = run
        .layouts
        .iter()
        .map(|layout| Plan::compile(&layout.name, &layout.mechanism))
        .collect::<Result<Vec<_>, _>>()?;
    // Each layout by itself and in order, so that threads change nothing.
    let moving = plans.par_iter().zip(&run.layouts);
    let suspensions = moving
        .map(|(plan, layout)| Suspension::new(plan, &layout.name, layout))
        .collect::<Result<Vec<_>, _>>()?;
    let alone = run.layouts.len() == 1;
    let traced: Vec<Traced> = run
        .layouts
        .par_iter()
        .zip(&suspensions)
        .enumerate()
        .map(|(index, (layout, suspension))| {
            Traced::new(index + 1, alone, Subject::new(layout, suspension))
        })
        .collect();
    let sets: Vec<&ObjectiveSet> = run.brief.objectives.iter().map(|(_, set)| set).collect();
    let assessments: Vec<Assessment> = suspensions
        .par_iter()
        .map(|suspension| Assessment::new(suspension, &sets, &run.brief.limits))
        .collect();
    let stage = Stage::new(&traced);
    let (margins, rules) = known(margins);
    let page = Page {
        view: view(&traced, stage.as_ref()),
        stage,
        title: &run.brief.name,
        traced: &traced,
        assessments: &assessments,
        sets: &sets,
        margins,
        rules,
        run: Some(run),
    };
    Ok(make(&page))
}

/// The page about one layout.
#[must_use]
pub fn one(subject: &Subject, verdict: Option<&Verdict>) -> String {
    let traced = [Traced::new(1, true, *subject)];
    let sets = verdict.map_or(&[][..], |verdict| verdict.sets);
    let targets: &[TargetResult] = verdict.map_or(&[], |verdict| verdict.targets);
    let assessments = [Assessment {
        targets: targets.to_vec(),
        limits: Vec::new(),
    }];
    let judged = Judged {
        sets,
        limits: &[],
        scatter: SCATTER,
        seed: 1,
    };
    let (layout, suspension) = (subject.layout, subject.suspension);
    let margins: Vec<LayoutMargins> = verdict
        .map(|_| LayoutMargins::of(layout, suspension, &judged))
        .into_iter()
        .collect();
    let (outlines, frames) = (OutlineRule::today(), FrameRule::of(&judged));
    let stage = Stage::new(&traced);
    let page = Page {
        view: view(&traced, stage.as_ref()),
        stage,
        title: &subject.layout.name,
        traced: &traced,
        assessments: &assessments,
        sets,
        margins: &margins,
        rules: verdict.map(|_| (&outlines, &frames)),
        run: None,
    };
    page.text(&page.figures())
}

/// The figures about one layout.
#[must_use]
pub fn one_figures(subject: &Subject, verdict: Option<&Verdict>) -> Vec<Figure> {
    let sets = verdict.map_or(&[][..], |verdict| verdict.sets);
    let traced = [Traced::new(1, true, *subject)];
    figures_of(&traced, Stage::new(&traced).as_ref(), sets, None).all()
}

fn figures_of(
    traced: &[Traced],
    stage: Option<&Stage>,
    sets: &[&ObjectiveSet],
    run: Option<&Run>,
) -> Figures {
    let course = run.and_then(|run| figure::course(&run.results.milestones, run.results.starts));
    Figures {
        views: stage.map_or_else(Vec::new, |stage| figure::views(traced, stage)),
        charts: figure::charts(traced, sets),
        gaps: figure::gaps(traced, run.map(|run| &run.brief)),
        course,
    }
}

/// What margins tell of the layouts and how, if they are known.
type Known<'a> = (
    &'a [LayoutMargins],
    Option<(&'a OutlineRule, &'a FrameRule)>,
);

fn known(margins: Option<&Margins>) -> Known<'_> {
    let rules = margins.map(|margins| (&margins.outlines, &margins.frames));
    (margins.map_or(&[], |margins| &margins.layouts), rules)
}

fn view(traced: &[Traced], stage: Option<&Stage>) -> Option<View> {
    Some(figure::view(traced.first()?.subject.layout, stage?))
}

impl Page<'_> {
    fn figures(&self) -> Figures {
        figures_of(self.traced, self.stage.as_ref(), self.sets, self.run)
    }

    fn text(&self, figures: &Figures) -> String {
        let body = html! {
            header {
                p.kind { @if self.run.is_some() { "Search report" } @else { "Layout report" } }
                h1 { (self.title) }
                p.answer { (self.answer()) }
                p.caution { (origin::CAUTION) }
            }
            main {
                @if let Some(run) = self.run { (ranking::section(self, run)) }
                @if !self.traced.is_empty() {
                    (chosen::section(self, figures))
                }
                @if let Some(run) = self.run { (origin::course(run, figures.course.as_ref())) }
                (origin::definitions(self))
                (origin::provenance(self))
            }
            @if !self.traced.is_empty() {
                script type="application/json" id="data" { (PreEscaped(data::json(self))) }
                script { (PreEscaped(SCRIPT)) }
            }
        };
        document(self.title, &body)
    }

    /// The layout of a rank's own name and numbers, in a sentence.
    fn answer(&self) -> String {
        match self.run {
            Some(run) => ranking::answer(self, run),
            None => self.one_answer(),
        }
    }

    fn one_answer(&self) -> String {
        let Some(traced) = self.traced.first() else {
            return String::new();
        };
        let suspension = traced.subject.suspension;
        let travel = super::table::fixed(suspension.total_travel(), 1);
        let shock = words::shock(traced.subject.layout);
        let start = format!("{travel} mm of travel from a {shock} mm shock");
        let targets = self.assessments.first().map(|a| &a.targets[..]);
        let targets = targets.unwrap_or_default();
        let met = targets.iter().filter(|target| target.met).count();
        match (met, targets.len()) {
            (_, 0) => format!("{start}."),
            (met, all) if met == all => format!("{start}; all {all} targets are met."),
            (met, all) => format!("{start}; {met} of {all} targets are met."),
        }
    }

    fn brief(&self) -> Option<&Brief> {
        self.run.map(|run| &run.brief)
    }

    fn layouts(&self) -> impl Iterator<Item = &Layout> {
        self.traced.iter().map(|traced| traced.subject.layout)
    }
}

fn document(title: &str, body: &Markup) -> String {
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                meta http-equiv="Content-Security-Policy" content=(POLICY);
                title { (title) " · pivotwright" }
                link rel="icon" href="data:,";
                style { (PreEscaped(figure::STYLE)) (PreEscaped(STYLE)) }
            }
            body { (body) }
        }
    };
    page.into_string() + "\n"
}

/// A figure of the page.
fn shown(figure: &Figure) -> Markup {
    html! {
        figure id={ "figure-" (figure.name) } {
            h3 { (figure.title) }
            (figure.svg())
            figcaption { (figure.caption) }
        }
    }
}
