//! How much each free coordinate moves each target: a table whose cells are the darker the more.

use super::Page;
use crate::design::Construction;
use crate::input::ShockSize;
use crate::report::curves::subject_of;
use crate::report::sensitivity::worst_aims;
use crate::report::table::signed;
use crate::report::traced::Traced;
use crate::study::sensitivity::Sensitivity;
use maud::{Markup, html};

/// Share of the darkest shade behind a number, percent: it must stay readable.
const DARKEST: f64 = 38.0;

/// The table of a layout; nothing where there is no target.
pub(super) fn table(page: &Page, traced: &Traced) -> Markup {
    if page.sets.is_empty() {
        return html! {};
    }
    let layout = traced.subject.layout;
    let suspension = traced.subject.suspension;
    let sensitivity = match page.brief() {
        Some(brief) => {
            let size = ShockSize {
                eye_to_eye: layout.mechanism.eye_to_eye(),
                stroke: layout.mechanism.shock.stroke,
            };
            let construction = Construction::new(brief, size);
            Sensitivity::of_variables(layout, suspension, page.sets, &construction)
        }
        None => Sensitivity::of_points(layout, suspension, page.sets),
    };
    let aims = worst_aims(&sensitivity);
    let slopes = sensitivity.coordinates.iter();
    let slopes =
        slopes.flat_map(|coordinate| aims.iter().map(|&aim| coordinate.residual_slopes[aim]));
    let most = slopes.map(f64::abs).fold(0.0, f64::max);
    let named = |aim: usize| {
        let aim = &sensitivity.aims[aim];
        let target = page
            .sets
            .get(aim.objective)
            .and_then(|set| set.targets.get(aim.index));
        target.map_or_else(String::new, |target| subject_of(target).replace('_', " "))
    };
    html! {
        h3 { "What a millimetre does to layout " (traced.rank) }
        p.note {
            "Change of each target's residual per mm of a coordinate, the most influential first; the \
             darker, the more. A target is met within ±1, so a cell of 5 uses up a whole half width in \
             0.2 mm."
        }
        div.scroll tabindex="0" role="region" aria-label="Sensitivity" {
            table.heat {
                thead { tr {
                    th scope="col" { "coordinate" }
                    @for &aim in &aims { th scope="col" { (named(aim)) } }
                } }
                tbody {
                    @for coordinate in &sensitivity.coordinates {
                        tr {
                            th scope="row" { (coordinate.name.replace('_', " ")) }
                            @for &aim in &aims {
                                @let slope = coordinate.residual_slopes[aim];
                                td style={ "--much:" (format!("{:.0}%", DARKEST * slope.abs() / most)) } {
                                    (signed(slope, 2))
                                }
                            }
                        }
                    }
                }
            }
        }
    }
}
