//! What the script moves: positions and curves of every layout at every moment, rounded to
//! what can be seen.

use super::Page;
use super::chosen::{BY_COG, PLAIN};
use crate::input::{Curve, Summary};
use crate::report::figure::Stage;
use crate::report::traced::{Moment, Traced};
use crate::report::words;
use serde_json::{Value, json};

/// The data as JSON that may stand in a page.
pub(super) fn json(page: &Page) -> String {
    let layouts: Vec<Value> = page
        .traced
        .iter()
        .enumerate()
        .map(|(index, traced)| layout(traced, page.stage.as_ref(), index))
        .collect();
    let cogs = page
        .traced
        .first()
        .map_or(0, |traced| traced.subject.suspension.bicycle().cogs().len());
    let by_cog = (0..cogs).flat_map(|_| BY_COG);
    let decimals: Vec<usize> = PLAIN.into_iter().chain(by_cog).map(decimals_of).collect();
    let numbers: Vec<usize> = Summary::ALL
        .into_iter()
        .map(|summary| words::decimals(summary.unit()))
        .collect();
    let value = json!({"decimals": decimals, "numbers": numbers, "layouts": layouts});
    // Nothing in it may end the element that it stands in.
    value.to_string().replace('<', "\\u003c")
}

fn decimals_of(curve: Curve) -> usize {
    words::decimals(curve.unit())
}

fn layout(traced: &Traced, stage: Option<&Stage>, index: usize) -> Value {
    let places: Vec<Value> = stage
        .and_then(|stage| stage.places.get(index))
        .into_iter()
        .flatten()
        .map(|places| {
            let flat = places.iter().flat_map(|place| match place {
                Some(point) => [rounded(point.x, 1), rounded(point.y, 1)],
                None => [Value::Null, Value::Null],
            });
            Value::from(flat.collect::<Vec<_>>())
        })
        .collect();
    let values: Vec<Value> = traced
        .moments
        .iter()
        .map(|moment| values(traced, moment))
        .collect();
    let numbers: Vec<Value> = Summary::ALL
        .into_iter()
        .map(|summary| {
            let value = traced.subject.suspension.summary(summary);
            rounded(value, words::decimals(summary.unit()))
        })
        .collect();
    json!({"rank": traced.rank, "sag": traced.sag, "places": places, "values": values,
        "numbers": numbers})
}

/// Every curve at one moment, in the order of the tables.
fn values(traced: &Traced, moment: &Moment) -> Value {
    let suspension = traced.subject.suspension;
    let state = &moment.state;
    let cogs = suspension.bicycle().cogs();
    let plain = PLAIN
        .into_iter()
        .map(|curve| rounded(traced.subject.value(curve, state), decimals_of(curve)));
    let by_cog = cogs.iter().flat_map(|&cog| {
        BY_COG.map(|curve| rounded(suspension.value(curve, state, cog), decimals_of(curve)))
    });
    plain.chain(by_cog).collect::<Vec<_>>().into()
}

/// A number with so many decimals, as short as it can be written.
fn rounded(value: f64, decimals: usize) -> Value {
    let text = format!("{value:.decimals$}");
    let text = if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.')
    } else {
        &text
    };
    let whole = text.parse::<i64>().map(Value::from);
    // What is no number is null.
    whole.unwrap_or_else(|_| text.parse::<f64>().map_or(Value::Null, Value::from))
}
