//! What comes of a layout as built, for a person and for machines.

use super::drift::break_words;
use super::sensitivity::name;
use super::table::{Table, fixed};
use super::{CAUTION, json as machine};
use crate::design::measure::Measure;
use crate::input::{Distribution, Layout};
use crate::mechanism::Hole;
use crate::study::tolerance::{Question, Share, Source, Spread, Tolerance};
use serde_json::{Value, json};
use std::fmt::Write;

/// Sources of variance that are named of each number.
const NAMED: usize = 3;

/// The least share that is named.
const LEAST_SHARE: f64 = 0.05;

/// The report.
#[must_use]
pub fn text(question: &Question, tolerance: &Tolerance) -> String {
    let (low, high) = tolerance.interval;
    let percent = |share: f64| fixed(100.0 * share, 2);
    let mut text = format!(
        "{}\n\nYield  {} % of {} frames are in all bands ({} to {} % with 95 % confidence)\n",
        question.layout.name,
        percent(tolerance.share_met()),
        tolerance.frames,
        percent(low),
        percent(high),
    );
    let _ = writeln!(text, "       {}", scatter(question));
    if !tolerance.misses.is_empty() {
        let mut table = Table::new(0);
        for &(part, count) in &tolerance.misses {
            let share = count as f64 / tolerance.frames as f64;
            let words = break_words(question.layout, question.sets, question.limits, part);
            table.row([format!("{} %", percent(share)), words]);
        }
        let _ = write!(text, "\nMissed by so many of the frames\n\n{table}");
    }
    let _ = write!(
        text,
        "\nEvery number over the frames, and what carries its variance\n\n"
    );
    let _ = write!(text, "{}", spreads(question.layout, tolerance));
    let _ = write!(text, "\n{}", holes(question.layout, tolerance));
    text += "\n\
Shares of variance are of first order, from exact slopes; by frames is what these and\n\
all other sources add up to over what the frames vary by (100 % where slopes tell all).\n\
Alone: the scatter that a hole may have with 99 % of the frames in all bands, all else\n\
exact. Together: the same with all scatter, the shock's too, multiplied alike.\n";
    let _ = writeln!(text, "{CAUTION}");
    text
}

fn scatter(question: &Question) -> String {
    let scatter = question.scatter;
    let how = match scatter.distribution {
        Distribution::Uniform => "anywhere in a disc of",
        Distribution::Normal => "normally, three standard deviations being",
    };
    let holes = if scatter.bodies.is_empty() && scatter.points.is_empty() {
        format!("{} mm about its place", scatter.all)
    } else {
        "its radius below".to_owned()
    };
    let mut text = format!(
        "every hole {how} {holes},\n       the shock's length within {} mm, its stroke within {} mm",
        scatter.eye_to_eye, scatter.stroke
    );
    if let Some([(left, right), (low, high)]) = scatter.centre_of_mass {
        let _ = write!(
            text,
            ", the centre of mass\n       at x {left} to {right} and y {low} to {high}"
        );
    }
    text
}

fn decimals(measure: &Measure) -> usize {
    match measure.unit {
        "mm/mm" => 4,
        "deg" => 3,
        _ => 2,
    }
}

fn spreads(layout: &Layout, tolerance: &Tolerance) -> Table {
    let mut table = Table::new(1);
    let headings = [
        "",
        "unit",
        "as drawn",
        "5 %",
        "50 %",
        "95 %",
        "by frames",
        "carried by",
    ];
    table.row(headings.map(String::from));
    for spread in &tolerance.spreads {
        let measure = &spread.measure;
        let number = |value: f64| fixed(value, decimals(measure));
        let unit = if measure.unit == "mm/mm" {
            ""
        } else {
            measure.unit
        };
        let mut row = vec![measure.name.clone(), unit.to_owned(), number(spread.drawn)];
        row.extend(spread.quantiles.map(number));
        row.push(if spread.deviation > 0.0 {
            format!("{} %", fixed(100.0 * spread.first_order, 0))
        } else {
            String::new()
        });
        row.push(carried(layout, spread));
        table.row(row);
    }
    table
}

fn carried(layout: &Layout, spread: &Spread) -> String {
    let named = spread.shares.iter().take(NAMED);
    let named = named.filter(|share| share.first_order >= LEAST_SHARE);
    let words = named.map(|share| {
        format!(
            "{} {} %",
            source(layout, share.source),
            fixed(100.0 * share.first_order, 0)
        )
    });
    words.collect::<Vec<_>>().join(", ")
}

fn hole(layout: &Layout, hole: Hole) -> String {
    let body = layout.mechanism.bodies.get(hole.body.index());
    let body = body.map_or("", |body| &body.name);
    format!("{} on {body}", name(layout, hole.point))
}

pub(super) fn source(layout: &Layout, of: Source) -> String {
    match of {
        Source::Hole(of) => hole(layout, of),
        Source::EyeToEye => "shock length".to_owned(),
        Source::Stroke => "stroke".to_owned(),
    }
}

fn holes(layout: &Layout, tolerance: &Tolerance) -> String {
    let mut text = match tolerance.factor {
        Some(factor) => format!(
            "Scatter for a yield of 99 %: {} times what was asked about\n\n",
            fixed(factor, 3)
        ),
        None => "Scatter for a yield of 99 %: none, something is missed without any\n\n".to_owned(),
    };
    let mut table = Table::new(1);
    table.row(["", "asked", "together", "alone, mm"].map(String::from));
    let scatter = |radius: Option<f64>| radius.map_or_else(|| "-".to_owned(), |r| fixed(r, 3));
    for limit in &tolerance.holes {
        table.row([
            hole(layout, limit.hole),
            fixed(limit.radius, 3),
            scatter(limit.together),
            scatter(limit.alone),
        ]);
    }
    let _ = write!(text, "{table}");
    text
}

/// Everything, every number in full.
#[must_use]
pub fn json_text(question: &Question, tolerance: &Tolerance) -> String {
    let layout = question.layout;
    let misses: Vec<Value> = tolerance
        .misses
        .iter()
        .map(|&(part, count)| {
            let words = break_words(layout, question.sets, question.limits, part);
            json!({"what": words, "frames": count})
        })
        .collect();
    let holes: Vec<Value> = tolerance
        .holes
        .iter()
        .map(|limit| {
            json!({"hole": hole(layout, limit.hole), "radius": limit.radius,
                   "together": limit.together, "alone": limit.alone})
        })
        .collect();
    let (low, high) = tolerance.interval;
    machine::text(&json!({
        "name": layout.name,
        "frames": tolerance.frames,
        "met": tolerance.met,
        "yield": tolerance.share_met(),
        "interval": [low, high],
        "misses": misses,
        "numbers": tolerance.spreads.iter().map(|s| spread_json(layout, s)).collect::<Vec<_>>(),
        "factor": tolerance.factor,
        "holes": holes,
    }))
}

fn spread_json(layout: &Layout, spread: &Spread) -> Value {
    let share = |share: &Share| {
        json!({"source": source(layout, share.source), "first_order": share.first_order,
               "sampled": share.sampled})
    };
    json!({
        "name": spread.measure.name,
        "unit": spread.measure.unit,
        "as_drawn": spread.drawn,
        "quantiles": {"5": spread.quantiles[0], "50": spread.quantiles[1],
                      "95": spread.quantiles[2]},
        "standard_deviation": spread.deviation,
        "first_order_over_frames": spread.first_order,
        "shares": spread.shares.iter().map(share).collect::<Vec<_>>(),
    })
}

/// One row a number, its quantiles and the share of every source.
#[must_use]
pub fn csv(question: &Question, tolerance: &Tolerance) -> String {
    let layout = question.layout;
    let mut text = "number,as_drawn,q05,q50,q95,standard_deviation".to_owned();
    // Shares are sorted by size, columns have to stand.
    let sources: Vec<Source> = tolerance
        .holes
        .iter()
        .map(|limit| Source::Hole(limit.hole))
        .chain([Source::EyeToEye, Source::Stroke])
        .collect();
    for &of in &sources {
        let _ = write!(text, ",{}", source(layout, of));
    }
    text.push('\n');
    for spread in &tolerance.spreads {
        let [low, middle, high] = spread.quantiles;
        let (name, drawn, deviation) = (&spread.measure.name, spread.drawn, spread.deviation);
        let _ = write!(text, "{name},{drawn},{low},{middle},{high},{deviation}");
        for of in &sources {
            let share = spread.shares.iter().find(|share| share.source == *of);
            let _ = write!(text, ",{}", share.map_or(0.0, |share| share.first_order));
        }
        text.push('\n');
    }
    text
}
