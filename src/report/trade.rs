//! A frontier between two targets, for a person and for machines.

use super::cost::{target, target_words};
use super::table::{Table, fixed};
use super::{CAUTION, json as machine, words};
use crate::input::{Brief, Target, Want};
use crate::study::trade::{Pair, Trade, TradePoint};
use serde_json::{Value, json};
use std::fmt::Write;

/// What a target's worst residual is in its unit, and what to call that.
fn amount(target: &Target, residual: f64) -> f64 {
    match target.want {
        Want::Value { within, .. } => residual * within,
        Want::Between { low, high } => residual * 0.5 * (high - low),
        Want::SpreadWithin(allowance) | Want::StraightWithin(allowance) => residual * allowance,
        Want::Monotone(_) => residual,
    }
}

const fn amount_words(want: &Want) -> &'static str {
    match want {
        Want::Value { .. } => "off its value",
        Want::Between { .. } => "off the middle",
        Want::SpreadWithin(_) => "spread",
        Want::StraightWithin(_) => "off straight",
        Want::Monotone(_) => "turned back",
    }
}

/// A table from the best for the first target to the best for the second.
#[must_use]
pub fn text(brief: &Brief, pair: Pair, trade: &Trade) -> String {
    let [Some(first), Some(second)] = pair.map(|number| target(brief, number)) else {
        return String::new();
    };
    let mut text = format!(
        "{}: what one target costs the other\n\n  A  {}\n  B  {}\n\n",
        brief.name,
        target_words(first),
        target_words(second)
    );
    if !trade.pulls_apart {
        text += "They do not pull apart: one layout is best for both.\n\n";
    }
    let mut table = Table::new(0);
    let heading = |letter: &str, target: &Target| {
        format!(
            "{letter} {}{}",
            amount_words(&target.want),
            words::unit(target.quantity.unit())
        )
    };
    table.row([
        "layout".to_owned(),
        heading("A", first),
        "residual".to_owned(),
        heading("B", second),
        "residual".to_owned(),
        "score".to_owned(),
    ]);
    for (index, point) in trade.points.iter().enumerate() {
        let cells = [first, second].into_iter().zip(point.residuals);
        let mut row = vec![format!("{}", index + 1)];
        for (target, residual) in cells {
            let decimals = words::decimals(target.quantity.unit()) + 1;
            row.push(fixed(amount(target, residual), decimals));
            row.push(fixed(residual, 3));
        }
        row.push(fixed(point.assessment.score(), 3));
        table.row(row);
    }
    let _ = write!(text, "{table}");
    text += "\n\
Each layout meets the whole brief, verified on its continuous curves; no layout found\n\
is better in both. Residuals are the worst of the target in size, 1 on the edge.\n";
    let _ = writeln!(text, "{CAUTION}");
    text
}

fn coordinates(point: &TradePoint) -> impl Iterator<Item = (String, f64)> + '_ {
    point.layout.mechanism.points.iter().flat_map(|point| {
        let place = point.position;
        [
            (format!("{}.x", point.name), place.x),
            (format!("{}.y", point.name), place.y),
        ]
    })
}

/// One row a layout, every number in full.
#[must_use]
pub fn csv(brief: &Brief, pair: Pair, trade: &Trade) -> String {
    let mut text = "layout,a,a_residual,b,b_residual,score,eye_to_eye,stroke".to_owned();
    if let Some(point) = trade.points.first() {
        for (name, _) in coordinates(point) {
            let _ = write!(text, ",{name}");
        }
    }
    text.push('\n');
    for (index, point) in trade.points.iter().enumerate() {
        let _ = write!(text, "{}", index + 1);
        for (number, residual) in pair.into_iter().zip(point.residuals) {
            let amount = target(brief, number).map_or(f64::NAN, |t| amount(t, residual));
            let _ = write!(text, ",{amount},{residual}");
        }
        let mechanism = &point.layout.mechanism;
        let (score, length) = (point.assessment.score(), mechanism.eye_to_eye());
        let _ = write!(text, ",{score},{length},{}", mechanism.shock.stroke);
        for (_, value) in coordinates(point) {
            let _ = write!(text, ",{value}");
        }
        text.push('\n');
    }
    text
}

/// Everything, every number in full.
#[must_use]
pub fn json_text(brief: &Brief, pair: Pair, trade: &Trade) -> String {
    let points: Vec<Value> = trade
        .points
        .iter()
        .map(|point| {
            let coordinates: serde_json::Map<String, Value> = coordinates(point)
                .map(|(name, value)| (name, value.into()))
                .collect();
            json!({"residuals": point.residuals, "score": point.assessment.score(),
                   "eye_to_eye": point.layout.mechanism.eye_to_eye(),
                   "stroke": point.layout.mechanism.shock.stroke, "coordinates": coordinates})
        })
        .collect();
    let words = pair.map(|number| target(brief, number).map(target_words));
    machine::text(
        &json!({"name": brief.name, "between": pair.map(|number| number + 1),
        "targets": words, "pulls_apart": trade.pulls_apart, "points": points}),
    )
}
