//! How the search went, where the numbers come from, what they mean and what they do not.

use super::{Page, shown};
use crate::report::figure::Figure;
use crate::report::ranking::{ending_words, several_rings};
use crate::report::run::Run;
use crate::report::table::fixed;
use crate::report::words;
use maud::{Markup, html};

/// What nobody may overlook.
pub(super) const CAUTION: &str = "Kinematics only: nothing here speaks of strength, stiffness or \
    fatigue. A frame needs testing to the ISO 4210 family and local codes, and a qualified \
    engineer's sign-off, before anyone rides it.";

/// How the search went.
pub(super) fn course(run: &Run, figure: Option<&Figure>) -> Markup {
    let results = &run.results;
    let rings = several_rings(&run.brief);
    html! {
        section aria-labelledby="course" {
            h2 id="course" { "How the search went" }
            div.beside {
                table.numbers {
                    thead { tr {
                        th scope="col" { "starts that ended" }
                        th scope="col" { "number" }
                        th scope="col" { "share" }
                    } }
                    tbody {
                        @for (ending, count) in &results.endings {
                            @let share = *count as f64 / results.starts.max(1) as f64;
                            tr {
                                th scope="row" { (ending_words(*ending)) }
                                td { (count) }
                                td.share {
                                    (fixed(share * 100.0, 1)) " %"
                                    svg viewBox="0 0 100 8" width="100" height="8" aria-hidden="true" class="bar" {
                                        rect x="0" y="0" height="8"
                                            width=(format!("{:.1}", share * 100.0)) {}
                                    }
                                }
                            }
                        }
                    }
                }
                @if results.shock_sizes.len() > 1 {
                    table.numbers {
                        thead { tr {
                            th scope="col" { "shock, mm" }
                            @if rings { th scope="col" { "ring, teeth" } }
                            th scope="col" { "starts" }
                            th scope="col" { "feasible" }
                            th scope="col" { "best score" }
                        } }
                        tbody {
                            @for size in &results.shock_sizes {
                                tr {
                                    th scope="row" {
                                        (fixed(size.size.eye_to_eye, 0)) " × " (size.size.stroke)
                                    }
                                    @if rings {
                                        td { (size.chainring_teeth.map_or_else(|| "–".into(), |teeth| teeth.to_string())) }
                                    }
                                    td { (size.starts) }
                                    td { (size.feasible) }
                                    td { (size.best_score.map_or_else(|| "–".into(), |best| fixed(best, 3))) }
                                }
                            }
                        }
                    }
                }
            }
            @if let Some(figure) = figure { div.charts { (shown(figure)) } }
        }
    }
}

/// The definitions used: terms have rival ones in the trade.
pub(super) fn definitions(page: &Page) -> Markup {
    let layout = page.layouts().next();
    html! {
        section aria-labelledby="definitions" {
            h2 id="definitions" { "Definitions used" }
            dl {
                dt { "Frame of reference" }
                dd { "The mid-plane seen from the drive side, the bicycle facing right: x forward, y \
                    up from the bottom bracket, fixed to the frame. Points are given at full \
                    extension. mm, degrees, percent." }
                dt { "Travel, stroke, sag" }
                dd { "Travel is the rear axle's rise in y, stroke the shock's shortening. Top is full \
                    extension, end full stroke, sag the share of travel or of stroke that the layout \
                    says." }
                dt { "Leverage rate" }
                dd { "LR = z′ / s′, travel per stroke. Progression is its fall from top to end in \
                    percent of that at top; straightness its largest distance from the chord." }
                dt { "Anti-squat" }
                dd { "AS = −100 (t·a′ + (R / r)(u·a′ + (u₂ − u)·i′)) / ((h / L) n·a′), on a cog of \
                    pitch radius r; a′ is the axle's velocity, t and n the ground's tangent and \
                    normal, u the tight chain run from the cog, L the wheelbase, h the height of the \
                    centre of mass of bicycle and rider, R the wheel's radius; u₂ and i′ only with an \
                    idler. All mass counts as sprung. It goes as one over h." }
                dt { "Anti-rise" }
                dd { "AR = −100 (t·c′) / ((h / L) n·a′), the rear brake alone; c′ is the velocity of \
                    the contact point carried with the part that holds the caliper." }
                dt { "Pedal kickback" }
                dd { "Crank rotation forced by the travel from top, positive backward. Two \
                    conventions are in use: the wheel does not turn in the frame, S / r of the ring; \
                    or it is held by its brake and turns with the brake's part. S is the growth of \
                    the upper chain run." }
                dt { "Instant centre" }
                dd { "Of the part that carries the axle, relative to the frame." }
                dt { "Residual, score, play" }
                dd { "A residual is the distance from what is wanted over what is allowed: within ±1 \
                    a target is met. The score is the root mean square of the worst residual of each \
                    target. Play is how far any one pivot may be off, to first order, before \
                    something breaks." }
                @if let Some(layout) = layout {
                    dt { "Fork and chain here" }
                    dd { "With the " (words::fork(layout)) "; " (words::chain(layout)) "." }
                }
            }
            p.caution { (CAUTION) }
        }
    }
}

/// What made this report, and from what.
pub(super) fn provenance(page: &Page) -> Markup {
    let searched_by = page.run.map(|run| run.results.version.as_str());
    html! {
        section aria-labelledby="provenance" {
            h2 id="provenance" { "Where this comes from" }
            @if let Some(run) = page.run {
                p {
                    "pivotwright " (searched_by.unwrap_or_default()) ", seed " (run.results.seed) ", "
                    (run.results.starts) " starts, " (run.results.evaluations) " evaluations. The \
                    same version, inputs and seed give the same results to the last bit."
                }
                div.scroll tabindex="0" role="region" aria-label="Input files" {
                    table.files {
                        thead { tr { th scope="col" { "input" } th scope="col" { "SHA-256" } } }
                        tbody {
                            @for input in &run.results.inputs {
                                tr { th scope="row" { (input.file) } td.hash { (input.sha256) } }
                            }
                        }
                    }
                }
            } @else {
                p { "pivotwright " (env!("CARGO_PKG_VERSION")) "." }
            }
        }
    }
}
