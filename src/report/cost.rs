//! What bands cost, for a person and for machines.

use super::curves::{subject_of, wanted};
use super::ranking::limit_words;
use super::table::{Table, fixed};
use super::{CAUTION, json as machine};
use crate::design::RowSource;
use crate::input::{Brief, LimitQuantity, Target, Want};
use crate::study::cost::{Gains, Widening, Widenings, limit_widening};
use serde_json::{Value, json};
use std::fmt::Write;

/// Target number `number` of the brief, counted through all sets.
pub(super) fn target(brief: &Brief, number: usize) -> Option<&Target> {
    let mut targets = brief.objectives.iter().flat_map(|(_, set)| &set.targets);
    targets.nth(number)
}

/// A target in words, with what is wanted of it.
#[must_use]
pub fn target_words(target: &Target) -> String {
    format!("{}, {}", subject_of(target), wanted(&target.want))
}

fn source_words(brief: &Brief, source: RowSource) -> String {
    match source {
        RowSource::Target(number) => target(brief, number).map_or_else(String::new, target_words),
        RowSource::Limit(index) => brief.limits.get(index).map_or_else(String::new, |limit| {
            format!("limit: {}", limit_words(&brief.layout.mechanism, limit))
        }),
        RowSource::EndBox | RowSource::Motion => String::new(),
    }
}

/// The unit of a band's widening.
fn unit(brief: &Brief, source: RowSource) -> &'static str {
    match source {
        RowSource::Target(number) => match target(brief, number).map(|t| t.quantity.unit()) {
            Some("mm/mm") | None => "",
            Some(unit) => unit,
        },
        RowSource::Limit(index) => match brief.limits.get(index).map(|limit| &limit.quantity) {
            Some(LimitQuantity::Angle(..)) => "deg",
            _ => "mm",
        },
        RowSource::EndBox | RowSource::Motion => "",
    }
}

/// What holds the score of a layout.
#[must_use]
pub fn gains_text(brief: &Brief, name: &str, gains: &Gains) -> String {
    let mut text = format!(
        "{name}\n\nThe lowest score nearby is {}.\n",
        fixed(gains.score, 4)
    );
    if gains.gains.is_empty() {
        text += "No band holds it: widening any of them a little gains nothing.\n";
    } else {
        text += "What holds it, and what a little more room would gain:\n\n";
        let mut table = Table::new(0);
        table.row(["gain", "for", "more of"].map(String::from));
        for gain in &gains.gains {
            let unit = unit(brief, gain.source);
            table.row([
                fixed(gain.gain, 3),
                format!("{} {unit}", short(gain.widened))
                    .trim_end()
                    .to_owned(),
                source_words(brief, gain.source),
            ]);
        }
        let _ = write!(text, "{table}");
    }
    text += "\n\
Each was found by widening that band alone by so much and solving again. A wider\n\
allowance also counts the same miss for less, which is part of its gain.\n";
    let _ = writeln!(text, "{CAUTION}");
    text
}

/// A number that somebody wrote, without the digits that a product leaves.
fn short(value: f64) -> String {
    let text = format!("{value:.4}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// How a brief without a feasible layout can be made feasible.
#[must_use]
pub fn widenings_text(brief: &Brief, widenings: &Widenings) -> String {
    let mut text = format!("{}: nothing feasible\n", brief.name);
    match widenings.common {
        Some(common) => {
            let _ = writeln!(
                text,
                "\nAll bands together: every allowance {} % larger and every limit given {} mm or \
                 degrees\nis the least with which a layout was found.",
                fixed(100.0 * common, 1),
                fixed(limit_widening(common), 2)
            );
        }
        None => text += "\nNo common widening was found that makes it feasible.\n",
    }
    if widenings.single.is_empty() {
        text += "\nNo single band was found that is enough by itself.\n";
    } else {
        text += "\nOne band alone, the cheapest first:\n\n";
        let mut table = Table::new(1);
        for widening in &widenings.single {
            table.row([
                source_words(brief, widening.source),
                single(brief, widening),
            ]);
        }
        let _ = write!(text, "{table}");
    }
    text += "\n\
Found by solving from the nearest layouts, each with one band let out as little as can\n\
be and all others held, and verified on the continuous curves; the cheapest two are\n\
confirmed by searches with 2 % less of them, which find nothing.\n";
    let _ = writeln!(text, "{CAUTION}");
    text
}

/// What a widened band would say.
fn single(brief: &Brief, widening: &Widening) -> String {
    let Widening { source, share, .. } = *widening;
    match source {
        RowSource::Target(number) => {
            let Some(target) = target(brief, number) else {
                return String::new();
            };
            let larger = |allowance: f64| {
                let now = fixed(allowance * (1.0 + share), 4);
                format!("within {now}, {} % more", fixed(100.0 * share, 1))
            };
            match target.want {
                Want::Value { within, .. } => larger(within),
                Want::Between { low, high } => {
                    let by = share * 0.5 * (high - low);
                    format!("{} to {}", fixed(low - by, 2), fixed(high + by, 2))
                }
                Want::SpreadWithin(allowance) | Want::StraightWithin(allowance) => {
                    larger(allowance)
                }
                Want::Monotone(_) => format!(
                    "turning back by {} % of its whole change",
                    fixed(100.0 * share, 1)
                ),
            }
        }
        _ => format!(
            "by {} {}",
            fixed(limit_widening(share), 2),
            unit(brief, source)
        ),
    }
}

fn source_json(brief: &Brief, source: RowSource) -> Value {
    match source {
        RowSource::Target(number) => json!({"target": number + 1,
            "words": source_words(brief, source)}),
        RowSource::Limit(index) => json!({"limit": index, "words": source_words(brief, source)}),
        RowSource::EndBox | RowSource::Motion => Value::Null,
    }
}

/// Gains, every number in full.
#[must_use]
pub fn gains_json(brief: &Brief, name: &str, gains: &Gains) -> String {
    let list = gains.gains.iter().map(|gain| {
        json!({"band": source_json(brief, gain.source), "widened": gain.widened,
               "gain": gain.gain})
    });
    machine::text(&json!({"name": name, "score": gains.score,
        "gains": list.collect::<Vec<_>>()}))
}

/// Widenings, every number in full.
#[must_use]
pub fn widenings_json(brief: &Brief, widenings: &Widenings) -> String {
    let list = widenings.single.iter().map(
        |widening| json!({"band": source_json(brief, widening.source), "share": widening.share}),
    );
    machine::text(&json!({"name": brief.name, "common": widenings.common,
        "single": list.collect::<Vec<_>>()}))
}
