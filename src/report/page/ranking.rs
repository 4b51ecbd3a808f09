//! The answer in a sentence, and the layouts as a table to sort and to select from.

use super::Page;
use super::margins::percent;
use crate::design::Assessment;
use crate::input::Layout;
use crate::report::ranking::{blockers, several_rings, worst};
use crate::report::run::{Entry, Run};
use crate::report::table::fixed;
use crate::study::KeyValues;
use maud::{Markup, html};

/// The answer in a sentence.
pub(super) fn answer(page: &Page, run: &Run) -> String {
    let (count, starts) = (run.layouts.len(), run.results.starts);
    let Some(best) = run.results.layouts.first() else {
        return format!(
            "None of {starts} starts gave a linkage that moves over the whole stroke of its shock."
        );
    };
    let wanted = wanted_words(page);
    if !best.feasible {
        return format!(
            "Nothing meets {wanted}; what stands in the way is named below, with the {count} nearest \
             layouts."
        );
    }
    let layouts = if count == 1 {
        "One layout meets".to_owned()
    } else {
        format!("{count} distinct layouts meet")
    };
    let feasible = run
        .results
        .layouts
        .iter()
        .filter(|entry| entry.feasible)
        .count();
    let all = if feasible == count {
        ""
    } else {
        " (not all of those shown)"
    };
    format!(
        "{layouts} {wanted}{all}. The first scores {} (0 is exact, 1 is on the edge of every band); \
         {}.",
        fixed(best.score, 3),
        edge_words(best)
    )
}

/// Play that reads as none, mm.
const NO_PLAY: f64 = 0.005;

fn wanted_words(page: &Page) -> String {
    let targets: usize = page.sets.iter().map(|set| set.targets.len()).sum();
    let limits = page.brief().map_or(0, |brief| brief.limits.len());
    let of = |count: usize, noun: &str| match count {
        1 => format!("the {noun}"),
        count => format!("all {count} {noun}s"),
    };
    if limits == 0 {
        of(targets, "target")
    } else {
        format!("{} and {}", of(targets, "target"), of(limits, "limit"))
    }
}

fn edge_words(entry: &Entry) -> String {
    let Some(edge) = &entry.nearest_edge else {
        return "no pivot is free to move".into();
    };
    let point = edge.point.as_deref().unwrap_or("a point").replace('_', " ");
    let breaks = edge.breaks.replace('_', " ");
    if edge.distance < NO_PLAY {
        return format!("it touches one edge already ({breaks})");
    }
    format!(
        "its nearest edge is {} mm of {point} away ({breaks})",
        fixed(edge.distance, 2),
    )
}

/// One cell: what is read, and by what it is sorted.
struct Cell {
    text: String,
    key: f64,
}

impl Cell {
    fn number(value: f64, decimals: usize) -> Self {
        Self {
            text: fixed(value, decimals),
            key: value,
        }
    }

    fn range([low, high]: [f64; 2], decimals: usize) -> Self {
        Self {
            text: format!("{} to {}", fixed(low, decimals), fixed(high, decimals)),
            key: low,
        }
    }
}

/// Headings of the columns that follow rank and choice, each with its unit or meaning.
const COLUMNS: [(&str, &str); 13] = [
    ("score", "0 to 1"),
    (YIELD, "%"),
    ("play", "mm"),
    ("shock", "mm"),
    (RING, "teeth"),
    ("travel", "mm"),
    ("rate, top", "mm/mm"),
    ("rate, sag", "mm/mm"),
    ("rate, end", "mm/mm"),
    ("off straight", "mm/mm"),
    ("squat at sag", "%, all cogs"),
    ("anti-rise", "%, all travel"),
    ("worst target", "residual, ±1 allowed"),
];

/// The heading of the column that is there where frames were built.
const YIELD: &str = "yield";
/// The heading of the column that is there where the brief has several chainrings to try.
const RING: &str = "ring";

/// The columns of a page's ranking.
fn columns(page: &Page, run: &Run) -> Vec<(&'static str, &'static str)> {
    let left_out = |name: &str| match name {
        YIELD => page.margins.is_empty(),
        RING => !several_rings(&run.brief),
        _ => false,
    };
    let columns = COLUMNS.into_iter();
    columns.filter(|(name, _)| !left_out(name)).collect()
}

/// The table of layouts.
pub(super) fn section(page: &Page, run: &Run) -> Markup {
    let feasible = run.results.layouts.iter().any(|entry| entry.feasible);
    html! {
        section aria-labelledby="ranking" {
            h2 id="ranking" {
                @if feasible { "The layouts, best first" } @else { "The nearest layouts" }
            }
            @if !feasible {
                pre.blockers { (blockers(&run.brief, run.layouts.is_empty(), &run.blockers())) }
            }
            @if !run.layouts.is_empty() {
                (table(page, run, feasible))
                p.note {
                    "Score: 0 where everything is as wanted, 1 on the edge of every band. Yield: the share of \
                     frames as built in all bands, told below with its interval. Play: how far any \
                     one pivot may be off before something breaks. Choose one to look at below, and another to set beside it (dashed in every \
                     figure). A heading sorts by its column. Each layout is a complete file of the \
                     run folder."
                }
                noscript {
                    p.note { "Without scripts the first layout is shown, and nothing sorts or moves." }
                }
            }
        }
    }
}

fn table(page: &Page, run: &Run, feasible: bool) -> Markup {
    let rows: Vec<(usize, &Entry, Vec<Cell>)> = run
        .results
        .layouts
        .iter()
        .zip(page.traced.iter().zip(page.assessments))
        .enumerate()
        .map(|(index, (entry, (traced, assessment)))| {
            let key = KeyValues::of(traced.subject.suspension);
            let mut cells = cells(page, entry, traced.subject.layout, &key, assessment);
            if several_rings(&run.brief) {
                let teeth = traced.subject.layout.bicycle.chainring_teeth;
                cells.insert(3, Cell::number(f64::from(teeth), 0));
            }
            if !page.margins.is_empty() {
                cells.insert(1, yield_cell(page, index));
            }
            (traced.rank, entry, cells)
        })
        .collect();
    html! {
        div.scroll tabindex="0" role="region" aria-labelledby="ranking" {
            table.ranking id="ranking-table" {
                thead { tr {
                    th scope="col" { "look" }
                    th scope="col" { "beside" }
                    (heading("rank", ""))
                    @for (name, meaning) in columns(page, run) {
                        @if name == "score" && !feasible {
                            (heading("violation", "0 if met"))
                        } @else {
                            (heading(name, meaning))
                        }
                    }
                } }
                tbody {
                    @for (rank, entry, cells) in &rows {
                        tr data-row=(rank) {
                            td { input type="radio" name="look" value=(rank) checked[*rank == 1]
                                aria-label={ "look at layout " (rank) }; }
                            td { input type="radio" name="beside" value=(rank)
                                aria-label={ "set layout " (rank) " beside it" }; }
                            th scope="row" data-key=(rank) title=(entry.file) { (rank) }
                            @for cell in cells { td data-key=(cell.key) { (cell.text) } }
                        }
                    }
                }
            }
        }
        p { button type="button" id="alone" hidden { "Set none beside it" } }
    }
}

fn yield_cell(page: &Page, index: usize) -> Cell {
    let margins = page.margins.get(index);
    let share = margins.and_then(|margins| Some(margins.built.as_ref()?.share));
    Cell {
        text: share.map_or_else(|| "–".into(), percent),
        key: share.unwrap_or(-1.0),
    }
}

fn heading(name: &str, meaning: &str) -> Markup {
    html! {
        th scope="col" aria-sort=[(name == "rank").then_some("ascending")] {
            button type="button" class="sort" {
                (name)
                @if !meaning.is_empty() { small { (meaning) } }
            }
        }
    }
}

fn cells(
    page: &Page,
    entry: &Entry,
    layout: &Layout,
    key: &KeyValues,
    assessment: &Assessment,
) -> Vec<Cell> {
    let mechanism = &layout.mechanism;
    let stroke = mechanism.shock.stroke;
    let length = mechanism.eye_to_eye();
    let play = entry.nearest_edge.as_ref().map(|edge| edge.distance);
    let [top, sag, end] = key.leverage;
    let residual = assessment
        .targets
        .iter()
        .map(|target| target.residual.abs())
        .fold(0.0, f64::max);
    let worst = page.brief().map_or_else(String::new, |brief| {
        worst(brief, assessment).replace('_', " ")
    });
    let worth = if entry.feasible {
        entry.score
    } else {
        entry.violation
    };
    vec![
        Cell::number(worth, 3),
        Cell {
            text: play.map_or_else(|| "–".into(), |play| fixed(play, 2)),
            key: play.unwrap_or(0.0),
        },
        Cell {
            text: format!("{} × {stroke}", fixed(length, 0)),
            key: length * 1000.0 + stroke,
        },
        Cell::number(key.travel, 1),
        Cell::number(top, 3),
        Cell::number(sag, 3),
        Cell::number(end, 3),
        Cell::number(key.straightness, 3),
        Cell::range(key.anti_squat_at_sag, 0),
        Cell::range(key.anti_rise, 0),
        Cell {
            text: worst,
            key: residual,
        },
    ]
}
