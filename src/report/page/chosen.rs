//! The chosen layout: its side view to move, its curves, its numbers, its points.

use super::{Figures, Page, heat, margins, shown};
use crate::design::{Assessment, LimitResult};
use crate::input::{Brief, Curve, Mechanism, Place, Summary, Target};
use crate::number::Point;
use crate::report::curves::{reached, subject_of, wanted};
use crate::report::ranking::{limit_unit, limit_words};
use crate::report::table::{fixed, signed};
use crate::report::traced::Traced;
use crate::report::words;
use maud::{Markup, html};
use rayon::prelude::*;

/// Curves that do not depend on the cog, in the table along the travel.
pub(super) const PLAIN: [Curve; 9] = [
    Curve::Travel,
    Curve::Stroke,
    Curve::LeverageRate,
    Curve::AntiRise,
    Curve::AxleX,
    Curve::RearCentre,
    Curve::HeadAngle,
    Curve::BbHeight,
    Curve::Wheelbase,
];

/// Curves of each cog, in the table along the travel.
pub(super) const BY_COG: [Curve; 4] = [
    Curve::AntiSquat,
    Curve::ChainGrowth,
    Curve::PedalKickback,
    Curve::PedalKickbackBraked,
];

/// Everything about the chosen layout.
pub(super) fn section(page: &Page, figures: &Figures) -> Markup {
    let Some(first) = page.traced.first() else {
        return html! {};
    };
    html! {
        section aria-labelledby="chosen" {
            h2 id="chosen" {
                @if page.run.is_some() { "Layout " span data-shown { "1" } span data-beside {} }
                @else { "In motion" }
            }
            p.hidden #status role="status" aria-live="polite" {}
            (controls(first))
            div.views { @for figure in &figures.views { (shown(figure)) } }
            (along_the_travel(first))
        }
        section aria-labelledby="curves" {
            h2 id="curves" { "Curves" }
            @if page.traced.len() > 1 {
                p.note {
                    "Grey: all other layouts of the ranking (of curves by cog, the smallest and the \
                     largest cog). The upright line follows the slider above."
                }
            }
            div.charts { @for figure in &figures.charts { (shown(figure)) } }
        }
        @if !figures.gaps.is_empty() { (clearances(figures)) }
        section aria-labelledby="numbers" {
            h2 id="numbers" { "Numbers" }
            (numbers(first))
        }
        @for panel in panels(page) { (panel) }
    }
}

/// How near parts come to each other.
fn clearances(figures: &Figures) -> Markup {
    html! {
        section aria-labelledby="clearances" {
            h2 id="clearances" { "Clearances over the travel" }
            p.note {
                "In side view, the nearest of the parts named; below zero they overlap. Framed: where a \
                 limit wants the curve to stay. Limits with more than 40 mm to spare in every layout \
                 have no chart; the limits of each layout are all told below."
            }
            div.gaps { @for figure in &figures.gaps { (shown(figure)) } }
        }
    }
}

/// What is told of each layout by itself; each is made without regard to the others, so that
/// threads change nothing.
fn panels(page: &Page) -> Vec<Markup> {
    let each = page.traced.par_iter().zip(page.assessments).enumerate();
    each.map(|(index, (traced, assessment))| {
        html! {
            div.panel data-panel=(traced.rank) hidden[traced.rank != 1] {
                (verdicts(page, traced, assessment))
                (margins::panel(page, traced, index))
                (heat::table(page, traced))
                (points(page, traced))
            }
        }
    })
    .collect()
}

fn controls(first: &Traced) -> Markup {
    let total = fixed(first.subject.suspension.total_travel(), 1);
    let sag = fixed(first.at_sag().travel, 1);
    html! {
        div.controls data-needs-script hidden {
            label for="travel" { "Travel" }
            input type="range" id="travel" min="0" max=(total) step="0.1" value=(sag);
            output for="travel" id="travel-now" { (sag) " mm" }
            button type="button" id="play" aria-pressed="false" { "Play" }
            button type="button" data-go="top" { "Top" }
            button type="button" data-go="sag" { "Sag" }
            button type="button" data-go="end" { "End" }
        }
    }
}

/// All curves at sag, or where the slider stands.
fn along_the_travel(traced: &Traced) -> Markup {
    let subject = traced.subject;
    let state = traced.at_sag();
    let cogs = subject.suspension.bicycle().cogs();
    let mut number = PLAIN.len();
    let mut next = || {
        number += 1;
        number - 1
    };
    html! {
        h3 id="now" { "At " span data-place { "sag" } }
        div.beside {
            table.numbers aria-labelledby="now" {
                thead.second hidden { tr {
                    th scope="col" { "at the same share of the travel" }
                    th scope="col" { "no. " span data-shown {} }
                    th scope="col" { "no. " span data-beside-number {} }
                } }
                tbody {
                    @for (index, curve) in PLAIN.into_iter().enumerate() {
                        tr {
                            th scope="row" { (words::curve(curve)) (words::unit(curve.unit())) }
                            td data-quantity=(index) {
                                (fixed(subject.value(curve, state), words::decimals(curve.unit())))
                            }
                            td.second data-quantity-beside=(index) hidden {}
                        }
                    }
                }
            }
            div.scroll tabindex="0" role="region" aria-label="Curves of each cog" {
                table.numbers {
                    thead { tr {
                        th scope="col" { "teeth" }
                        @for curve in BY_COG {
                            th scope="col" { (words::curve(curve)) (words::unit(curve.unit())) }
                        }
                    } }
                    tbody {
                        @for &cog in cogs {
                            tr {
                                th scope="row" { (cog.teeth) }
                                @for curve in BY_COG {
                                    td data-quantity=(next()) {
                                        (fixed(subject.suspension.value(curve, state, cog),
                                            words::decimals(curve.unit())))
                                    }
                                }
                            }
                        }
                    }
                }
            }
        }
    }
}

/// Every number about the whole travel, and beside it that of another layout.
fn numbers(first: &Traced) -> Markup {
    html! {
        div.scroll tabindex="0" role="region" aria-labelledby="numbers" { table.numbers id="numbers-table" {
            thead { tr {
                th scope="col" { "over the whole travel" }
                th scope="col" { "no. " span data-shown { (first.rank) } }
                th.second scope="col" hidden { "no. " span data-beside-number {} }
                th.second scope="col" hidden { "change" }
            } }
            tbody {
                @for (index, summary) in Summary::ALL.into_iter().enumerate() {
                    tr {
                        th scope="row" {
                            (words::summary(summary).replace("  ", "… ")) (words::unit(summary.unit()))
                        }
                        td data-number=(index) {
                            (fixed(first.subject.suspension.summary(summary),
                                words::decimals(summary.unit())))
                        }
                        td.second data-number-beside=(index) hidden {}
                        td.second data-number-change=(index) hidden {}
                    }
                }
            }
        } }
    }
}

/// Each target and each limit: whether it is met, and by how much.
fn verdicts(page: &Page, traced: &Traced, assessment: &Assessment) -> Markup {
    let results = page.sets.iter().enumerate().flat_map(|(number, set)| {
        let own = assessment
            .targets
            .iter()
            .filter(move |r| r.objective == number);
        set.targets
            .iter()
            .zip(own)
            .map(move |(target, result)| (set, target, result))
    });
    html! {
        @if !assessment.targets.is_empty() {
            h3 { "Targets of layout " (traced.rank) }
            div.scroll tabindex="0" role="region" aria-label="Targets" {
                table.verdicts {
                    thead { tr {
                        th scope="col" { "target" }
                        th scope="col" { "wanted" }
                        th scope="col" { "reached" }
                        th scope="col" { "residual" }
                        th scope="col" { "" span.hidden { "in its band" } }
                    } }
                    tbody {
                        @for (set, target, result) in results {
                            tr {
                                th scope="row" {
                                    (subject_of(target).replace('_', " ")) (cogs_of(target))
                                    small { (set.name) }
                                }
                                td { (wanted(&target.want)) }
                                td { (reached(target, result)) }
                                td { (signed(result.residual, 2)) }
                                td { (gauge(result.residual, result.met)) }
                            }
                        }
                    }
                }
            }
        }
        @if let Some(brief) = page.brief().filter(|_| !assessment.limits.is_empty()) {
            h3 { "Limits of layout " (traced.rank) }
            div.scroll tabindex="0" role="region" aria-label="Limits" {
                table.verdicts {
                    thead { tr {
                        th scope="col" { "limit" }
                        th scope="col" { "reached" }
                        th scope="col" { "to spare" }
                        th scope="col" { "" span.hidden { "holds" } }
                    } }
                    tbody { @for limit in &assessment.limits { (limit_row(brief, limit)) } }
                }
            }
        }
    }
}

fn cogs_of(target: &Target) -> String {
    use crate::input::Cogs;
    match target.quantity.cogs() {
        Cogs::None => String::new(),
        Cogs::All => ", all cogs".into(),
        Cogs::Teeth(teeth) => {
            let teeth: Vec<String> = teeth.iter().map(u32::to_string).collect();
            format!(", cogs {}", teeth.join(", "))
        }
    }
}

fn limit_row(brief: &Brief, result: &LimitResult) -> Markup {
    let Some(limit) = brief.limits.get(result.index) else {
        return html! {};
    };
    let unit = limit_unit(limit);
    let at = |place: Place| format!(" at {}", words::place(place));
    html! {
        tr {
            th scope="row" { (limit_words(&brief.layout.mechanism, limit).replace('_', " ")) }
            td { (fixed(result.value, 2)) " " (unit) (result.place.map_or(String::new(), at)) }
            td { (fixed(result.slack, 2)) " " (unit) }
            td { (if result.holds { "holds" } else { "BROKEN" }) }
        }
    }
}

/// Where in its band a residual stands: a tick on a rule from one edge to the other.
fn gauge(residual: f64, met: bool) -> Markup {
    let place = 50.0 + 40.0 * residual.clamp(-1.2, 1.2);
    let word = if met { "met" } else { "MISSED" };
    html! {
        span.verdict {
            svg viewBox="0 0 100 14" width="100" height="14" aria-hidden="true" class="gauge" {
                path class="rule" d="M10 3V11M90 3V11M10 7H90" {}
                path class="zero" d="M50 5V9" {}
                circle class=(if met { "here" } else { "here out" }) cx=(format!("{place:.1}"))
                    cy="7" r="4" {}
            }
            " " (word)
        }
    }
}

/// Where everything is at full extension: what is to be drawn.
fn points(page: &Page, traced: &Traced) -> Markup {
    let mechanism = &traced.subject.layout.mechanism;
    let free = |index: usize| {
        page.brief()
            .is_some_and(|brief| brief.free.iter().any(|free| free.point.index() == index))
    };
    // How far every point is from where the first layout has it: what makes this another one.
    let first = page
        .traced
        .first()
        .filter(|first| first.rank != traced.rank);
    let from = |first: &Traced, index: usize, here: Point<f64>| {
        let points = &first.subject.layout.mechanism.points;
        points
            .get(index)
            .map_or(f64::NAN, |point| (here - point.position).length())
    };
    html! {
        h3 { "Points of layout " (traced.rank) " at full extension, from the bottom bracket" }
        div.scroll tabindex="0" role="region" aria-label="Points" {
            table.numbers {
                thead { tr {
                    th scope="col" { "point" }
                    th scope="col" { "forward, mm" }
                    th scope="col" { "up, mm" }
                    @if let Some(first) = first { th scope="col" { "from no. " (first.rank) ", mm" } }
                    th scope="col" { "on" }
                    @if page.brief().is_some() { th scope="col" { "" span.hidden { "free" } } }
                } }
                tbody {
                    @for (index, point) in mechanism.points.iter().enumerate() {
                        tr {
                            th scope="row" { (point.name.replace('_', " ")) }
                            td { (fixed(point.position.x, 3)) }
                            td { (fixed(point.position.y, 3)) }
                            @if let Some(first) = first {
                                td { (fixed(from(first, index, point.position), 2)) }
                            }
                            td.words { (carriers(mechanism, index)) }
                            @if page.brief().is_some() {
                                td.words { (if free(index) { "searched" } else { "given" }) }
                            }
                        }
                    }
                }
            }
        }
        (lengths(mechanism))
    }
}

fn carriers(mechanism: &Mechanism, index: usize) -> String {
    let bodies = mechanism.bodies.iter();
    let carrying = bodies.filter(|body| body.points.iter().any(|point| point.index() == index));
    let names: Vec<String> = carrying.map(|body| body.name.replace('_', " ")).collect();
    names.join(", ")
}

/// Distances between the points of each moving body.
fn lengths(mechanism: &Mechanism) -> Markup {
    let name = |index: usize| mechanism.points[index].name.replace('_', " ");
    html! {
        div.scroll tabindex="0" role="region" aria-label="Lengths" { table.numbers {
            thead { tr {
                th scope="col" { "between holes" }
                th scope="col" { "length, mm" }
            } }
            tbody {
                @for (number, body) in mechanism.bodies.iter().enumerate() {
                    @if number != mechanism.frame.index() {
                        @for (index, one) in body.points.iter().enumerate() {
                            @for other in &body.points[index + 1..] {
                                tr {
                                    th scope="row" {
                                        (body.name.replace('_', " ")) ": " (name(one.index()))
                                        " to " (name(other.index()))
                                    }
                                    td {
                                        (fixed((mechanism.position(*other)
                                            - mechanism.position(*one)).length(), 3))
                                    }
                                }
                            }
                        }
                    }
                }
                tr {
                    th scope="row" { "shock, eye to eye" }
                    td { (fixed(mechanism.eye_to_eye(), 3)) }
                }
            }
        } }
    }
}
