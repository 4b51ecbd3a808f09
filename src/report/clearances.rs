//! How far the parts of a layout are from each other, as a person reads it and for machines.

use super::json::place as place_value;
use super::ranking::limit_words;
use super::table::{Table, fixed};
use super::{Subject, words};
use crate::design::LimitResult;
use crate::input::{Brief, Place};
use crate::room::{Room, Sweep, neighbours};
use serde_json::{Value, json};
use std::fmt::Write;

/// Most pairs that a person is shown.
const MOST: usize = 15;

/// The smallest distance of two parts over the whole travel.
#[derive(Clone, Debug, PartialEq)]
pub struct SmallestClearance {
    /// The names of the parts.
    pub between: [String; 2],
    /// The distance, mm; negative where they overlap.
    pub value: f64,
    /// Where along the travel.
    pub place: Place,
}

/// Of every pair of parts that could come to touch, smallest first.
#[must_use]
pub fn smallest(subject: &Subject) -> Vec<SmallestClearance> {
    let suspension = subject.suspension;
    let pairs = neighbours(subject.layout);
    let room = Room::new(suspension.plan(), suspension.bicycle(), &pairs);
    let sweep = Sweep::new(suspension, &room);
    let mut all: Vec<SmallestClearance> = (0..pairs.len())
        .map(|gap| {
            let nearest = sweep.smallest(gap, 0.0, 1.0);
            let travel = suspension.state(nearest.parameter).travel;
            SmallestClearance {
                between: nearest.parts.map(|part| part.name.clone()),
                value: nearest.value,
                place: match nearest.parameter {
                    0.0 => Place::Top,
                    1.0 => Place::End,
                    _ => Place::Fraction(travel / suspension.total_travel()),
                },
            }
        })
        .collect();
    all.sort_by(|one, other| one.value.total_cmp(&other.value));
    all
}

/// The table of them; empty where the layout has no two parts that could come to touch.
#[must_use]
pub(super) fn text(subject: &Subject) -> String {
    let all = smallest(subject);
    if all.is_empty() {
        return String::new();
    }
    let mut table = Table::new(1);
    table.row(["Smallest clearance over the travel", "mm", "where"].map(str::to_owned));
    for clearance in all.iter().take(MOST) {
        let [one, other] = &clearance.between;
        table.row([
            format!("{one} to {other}"),
            fixed(clearance.value, 2),
            words::place(clearance.place),
        ]);
    }
    let mut text = format!("\n{table}");
    if all.len() > MOST {
        let _ = writeln!(text, "({} more pairs, all farther apart)", all.len() - MOST);
    }
    text + "(side view; negative: they overlap; parts that lie beside each other are left out)\n"
}

/// One line about the smallest of all; none where there is no pair.
#[must_use]
pub fn line(subject: &Subject) -> Option<String> {
    let all = smallest(subject);
    let least = all.first()?;
    let [one, other] = &least.between;
    let place = words::place(least.place);
    let value = fixed(least.value, 2);
    let pairs = match all.len() {
        1 => "the only pair".to_owned(),
        count => format!("of {count} pairs of parts"),
    };
    Some(format!(
        "smallest clearance {value} mm, {one} to {other} at {place} ({pairs})"
    ))
}

/// One line for each limit on parts in a brief, as its layout is drawn.
#[must_use]
pub fn limit_lines(brief: &Brief, results: &[LimitResult]) -> Vec<String> {
    let of_parts = brief.limits.iter().zip(results);
    of_parts
        .filter_map(|(limit, result)| {
            let [one, other] = result.between.as_ref()?;
            let words = limit_words(&brief.layout.mechanism, limit);
            let value = fixed(result.value, 2);
            let place = result.place.map_or_else(String::new, words::place);
            let holds = if result.holds { "" } else { ", BROKEN" };
            Some(format!(
                "{words}: as drawn {value} mm, {one} to {other} at {place}{holds}"
            ))
        })
        .collect()
}

/// All of them for machines.
#[must_use]
pub(super) fn json(subject: &Subject) -> Value {
    let all = smallest(subject).into_iter().map(|clearance| {
        json!({
            "between": clearance.between,
            "value": clearance.value,
            "place": place_value(clearance.place),
        })
    });
    all.collect::<Vec<_>>().into()
}
