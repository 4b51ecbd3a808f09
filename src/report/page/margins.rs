//! How far the chosen layout is from its edges: where each pivot may go, and what comes of it as
//! built.

use super::Page;
use crate::report::figure::{Figure, cell, map};
use crate::report::margins::{AsBuilt, FrameRule, LayoutMargins, OutlineRule, SafeRegion, Spread};
use crate::report::table::fixed;
use crate::report::traced::Traced;
use crate::study::drift::DIRECTIONS;
use maud::{Markup, html};

/// Both, of the layout that is number `index` on the stage.
pub(super) fn panel(page: &Page, traced: &Traced, index: usize) -> Markup {
    let (Some(margins), Some((outlines, frames))) = (page.margins.get(index), page.rules) else {
        return html! {};
    };
    let (Some(stage), Some(view)) = (page.stage.as_ref(), page.view.as_ref()) else {
        return html! {};
    };
    let regions_map = map(traced, (index, stage, view), margins);
    html! {
        @if !margins.regions.is_empty() {
            (regions(traced.rank, &regions_map, margins, outlines))
        }
        @if let Some(built) = &margins.built { (as_built(traced.rank, built, frames)) }
    }
}

fn regions(rank: usize, figure: &Figure, margins: &LayoutMargins, rule: &OutlineRule) -> Markup {
    html! {
        h3 { "Where each point of layout " (rank) " may go" }
        p.note {
            "Inside its region a point may stand anywhere in the drawing, the others held, and every \
             target is met and every limit kept (an end of the shock takes the other along at the \
             shock's length); what is missed as drawn is left out of it. Outlines are straight between " (DIRECTIONS) " directions, each solved on \
             25 samples of the travel to " (fixed(100.0 * rule.closeness, 1)) " % of its length and \
             looked at on the way too; edges beyond " (rule.farthest) " mm are not shown. The nearest edge, \
             told in mm, is that of the continuous curves, as " code { "drift" } " tells it."
        }
        div.regions {
            figure {
                h4 { (figure.title) }
                (figure.svg())
                figcaption { (figure.caption) }
            }
            div.edges {
                p { "What holds a point where its region ends, by the numbers below:" }
                ol { @for edge in &margins.edges { li { (edge.replace('_', " ")) } } }
                p.note { "A number in italics stands at the side of its picture for an edge beyond it." }
            }
        }
        div.cells {
            @for region in &margins.regions {
                figure {
                    (cell(region))
                    figcaption { strong { (region.point.replace('_', " ")) } " " (told(region)) }
                }
            }
        }
    }
}

fn told(region: &SafeRegion) -> String {
    let nearest = &region.nearest;
    format!(
        "{} mm to the nearest edge: {}",
        fixed(nearest.distance, 2),
        nearest.breaks.replace('_', " ")
    )
}

/// A share as percent: a frame of a thousand is a tenth.
pub(super) fn percent(share: f64) -> String {
    fixed(100.0 * share, 1)
}

fn as_built(rank: usize, built: &AsBuilt, rule: &FrameRule) -> Markup {
    let [low, high] = built.interval;
    html! {
        h3 { "Layout " (rank) " as built" }
        p {
            strong { (percent(built.share)) " %" } " of frames are in all bands (" (percent(low)) " to "
            (percent(high)) " % with 95 % confidence)" (interval(built))
            ", if every hole of every part lies anywhere within " (rule.scatter) " mm of its place, the \
            shock's length within " (rule.eye_to_eye) " mm and its stroke within " (rule.stroke) " mm."
        }
        p.note {
            "From " (rule.count) " evenly spread frames, put together and looked at on 25 samples of the \
             travel; " code { "tolerance" } " takes as many as are asked for. Carried by: the share of a \
             number's variance that goes with the place of one hole."
        }
        @if !built.misses.is_empty() { (misses(built, rule)) }
        (spreads(built))
    }
}

/// A rule from 0 to 100 % with the interval and the share on it.
fn interval(built: &AsBuilt) -> Markup {
    let [low, high] = built.interval.map(|share| 100.0 * share);
    html! {
        " "
        svg viewBox="0 0 104 14" width="104" height="14" aria-hidden="true" class="gauge" {
            path class="rule" d="M2 3V11M102 3V11M2 7H102" {}
            rect class="span" x=(fixed(2.0 + low, 1)) y="4" width=(fixed(high - low, 1)) height="6" {}
            path class="mid" d={ "M" (fixed(2.0 + 100.0 * built.share, 1)) " 1V13" } {}
        }
    }
}

fn misses(built: &AsBuilt, rule: &FrameRule) -> Markup {
    html! {
        div.scroll tabindex="0" role="region" aria-label="What frames miss" { table.numbers.built {
            thead { tr {
                th scope="col" { "missed by frames" }
                th scope="col" { "share" }
                th.words scope="col" { "carried by" }
            } }
            tbody { @for missed in &built.misses { tr {
                th scope="row" { (missed.what.replace('_', " ")) }
                td { (percent(missed.frames as f64 / rule.count as f64)) " %" }
                td.words { (carried(&missed.carried_by)) }
            } } }
        } }
    }
}

fn carried(by: &[(String, f64)]) -> String {
    let each = by.iter().map(|(source, share)| {
        format!("{} {} %", source.replace('_', " "), fixed(100.0 * share, 0))
    });
    each.collect::<Vec<_>>().join(", ")
}

fn spreads(built: &AsBuilt) -> Markup {
    html! {
        div.scroll tabindex="0" role="region" aria-label="Spread of every number" { table.numbers.built {
            thead { tr {
                th scope="col" { "over the frames" }
                th scope="col" { "as drawn" }
                th scope="col" { "5 %" }
                th scope="col" { "50 %" }
                th scope="col" { "95 %" }
                th.words scope="col" { "carried by" }
            } }
            tbody { @for spread in &built.numbers { tr {
                th scope="row" { (spread.name.replace('_', " ")) (unit(spread)) }
                td { (fixed(spread.drawn, decimals(spread))) }
                @for value in spread.quantiles { td { (fixed(value, decimals(spread))) } }
                td.words { (carried(&spread.carried_by)) }
            } } }
        } }
    }
}

fn unit(spread: &Spread) -> String {
    crate::report::words::unit(&spread.unit)
}

fn decimals(spread: &Spread) -> usize {
    crate::report::words::decimals(&spread.unit) + 1
}
