//! What the script moves: positions and curves of every layout at every moment, rounded to
//! what can be seen.
//!
//! Numbers are whole ones, in the last decimal that is shown, and after the first moment of a layout
//! the change from the moment before: short to write and quick to read. What is no number is null,
//! and the next change counts from the last number.

use super::Page;
use super::chosen::{BY_COG, PLAIN};
use crate::input::{Curve, Summary};
use crate::report::figure::Stage;
use crate::report::traced::{Moment, Traced};
use crate::report::words;
use rayon::prelude::*;
use std::fmt::Write;

/// Decimals of the places of points, mm.
const PLACES: usize = 1;

/// The data as JSON that may stand in a page: numbers and null alone, so nothing in it can end the
/// element that it stands in.
pub(super) fn json(page: &Page) -> String {
    let numbered = page.traced.par_iter().enumerate();
    let layouts: Vec<String> = numbered
        .map(|(index, traced)| layout(traced, page.stage.as_ref(), index))
        .collect();
    let cogs = page
        .traced
        .first()
        .map_or(0, |traced| traced.subject.suspension.bicycle().cogs().len());
    let by_cog = (0..cogs).flat_map(|_| BY_COG);
    let decimals = PLAIN.into_iter().chain(by_cog).map(decimals_of);
    let numbers = Summary::ALL.into_iter().map(decimals_of_summary);
    format!(
        "{{\"places\":{PLACES},\"decimals\":{},\"numbers\":{},\"layouts\":[{}]}}",
        list(decimals),
        list(numbers),
        layouts.join(",")
    )
}

fn list(numbers: impl Iterator<Item = usize>) -> String {
    let mut text = String::new();
    for number in numbers {
        text.push(if text.is_empty() { '[' } else { ',' });
        let _ = write!(text, "{number}");
    }
    text + "]"
}

fn decimals_of(curve: Curve) -> usize {
    words::decimals(curve.unit())
}

fn decimals_of_summary(summary: Summary) -> usize {
    words::decimals(summary.unit())
}

fn layout(traced: &Traced, stage: Option<&Stage>, index: usize) -> String {
    let (rank, sag) = (traced.rank, traced.sag);
    let mut text = format!("{{\"rank\":{rank},\"sag\":{sag},\"places\":");
    let stage = stage.and_then(|stage| stage.places.get(index));
    let mut rows = Rows::new(&mut text);
    for places in stage.into_iter().flatten() {
        rows.row(places.iter().flat_map(|place| match place {
            Some(point) => [whole(point.x, PLACES), whole(point.y, PLACES)],
            None => [None, None],
        }));
    }
    rows.end();
    text.push_str(",\"values\":");
    let mut rows = Rows::new(&mut text);
    for moment in &traced.moments {
        rows.row(values(traced, moment));
    }
    rows.end();
    text.push_str(",\"numbers\":");
    let mut rows = Rows::new(&mut text);
    rows.row(Summary::ALL.into_iter().map(|summary| {
        let value = traced.subject.suspension.summary(summary);
        whole(value, decimals_of_summary(summary))
    }));
    rows.end();
    text + "}"
}

/// Rows of numbers while they are written, each as its change from the row before.
struct Rows<'t> {
    text: &'t mut String,
    last: Vec<i64>,
    first: bool,
}

impl<'t> Rows<'t> {
    fn new(text: &'t mut String) -> Self {
        text.push('[');
        Self {
            text,
            last: Vec::new(),
            first: true,
        }
    }

    fn row(&mut self, numbers: impl Iterator<Item = Option<i64>>) {
        self.text.push_str(if self.first { "[" } else { ",[" });
        self.first = false;
        for (column, number) in numbers.enumerate() {
            if column > 0 {
                self.text.push(',');
            }
            if column == self.last.len() {
                self.last.push(0);
            }
            match number {
                // Writing to a string cannot fail.
                Some(number) => {
                    let _ = write!(self.text, "{}", number - self.last[column]);
                    self.last[column] = number;
                }
                None => self.text.push_str("null"),
            }
        }
        self.text.push(']');
    }

    fn end(self) {
        self.text.push(']');
    }
}

/// Every curve at one moment, in the order of the tables.
fn values<'v>(traced: &'v Traced, moment: &'v Moment) -> impl Iterator<Item = Option<i64>> + 'v {
    let suspension = traced.subject.suspension;
    let state = &moment.state;
    let plain = PLAIN
        .into_iter()
        .map(move |curve| whole(traced.subject.value(curve, state), decimals_of(curve)));
    let cogs = suspension.bicycle().cogs().iter();
    let by_cog = cogs.flat_map(move |&cog| {
        BY_COG.map(|curve| whole(suspension.value(curve, state, cog), decimals_of(curve)))
    });
    plain.chain(by_cog)
}

/// A number in its last decimal; none where it is none, or larger than the script can count.
#[expect(clippy::cast_possible_truncation)]
fn whole(value: f64, decimals: usize) -> Option<i64> {
    let scaled = (value * [1.0, 10.0, 100.0, 1000.0][decimals.min(3)]).round();
    (scaled.abs() < 1e15).then_some(scaled as i64)
}
