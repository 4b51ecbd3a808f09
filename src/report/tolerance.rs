//! What comes of a layout as built, for a person and for machines.

use super::drift::break_words;
use super::sensitivity::name;
use super::table::{Table, fixed};
use super::{CAUTION, json as machine};
use crate::design::measure::Measure;
use crate::input::{Distribution, Layout};
use crate::mechanism::Hole;
use crate::study::drift::Break;
use crate::study::tolerance::{MassSweep, Question, Share, Source, Spread, Tolerance};
use serde_json::{Value, json};
use std::fmt::Write;

/// Sources of variance that are named of each number.
const NAMED: usize = 3;

/// The least share that is named.
const LEAST_SHARE: f64 = 0.05;

/// The report.
#[must_use]
pub fn text(question: &Question, tolerance: &Tolerance, mass: Option<&MassSweep>) -> String {
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
    if let Some(mass) = mass {
        let _ = write!(text, "\n{}", mass_table(question, mass));
    }
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
    let holes =
        if scatter.bodies.is_empty() && scatter.points.is_empty() && scatter.holes.is_empty() {
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

/// The numbers that depend on the centre of mass, in the places of its range.
fn mass_table(question: &Question, mass: &MassSweep) -> String {
    let mut table = Table::new(1);
    let places = mass.places.iter();
    let places = places.map(|place| format!("{}, {}", fixed(place.x, 0), fixed(place.y, 0)));
    let heading = ["", "unit", "as drawn"].map(String::from);
    table.row(heading.into_iter().chain(places).collect::<Vec<_>>());
    for swept in &mass.numbers {
        let measure = &swept.measure;
        let number = |value: f64| fixed(value, decimals(measure));
        let mut row = vec![
            measure.name.clone(),
            measure.unit.to_owned(),
            number(swept.drawn),
        ];
        row.extend(swept.values.iter().map(|&value| number(value)));
        table.row(row);
    }
    let mut text = format!(
        "Over the range of the centre of mass (x, y in mm), every hole as drawn\n\n{table}"
    );
    let mut told: Vec<Break> = Vec::new();
    for &part in mass.missed.iter().flatten() {
        if told.contains(&part) {
            continue;
        }
        told.push(part);
        let places = mass.places.iter().zip(&mass.missed);
        let places: Vec<String> = places
            .filter(|(_, missed)| missed.contains(&part))
            .map(|(place, _)| format!("{}, {}", fixed(place.x, 0), fixed(place.y, 0)))
            .collect();
        let everywhere = places.len() == mass.places.len();
        let places = if everywhere {
            "in each of these places".to_owned()
        } else {
            format!("at {}", places.join("; "))
        };
        let words = break_words(question.layout, question.sets, question.limits, part);
        let _ = writeln!(text, "missed {places}: {words}");
    }
    if told.is_empty() {
        text += "All bands are met in each of these places.\n";
    }
    text
}

fn mass_json(question: &Question, mass: &MassSweep) -> Value {
    let numbers = mass.numbers.iter().map(|swept| {
        json!({"name": swept.measure.name, "unit": swept.measure.unit,
               "as_drawn": swept.drawn, "values": swept.values})
    });
    let missed = mass.missed.iter().map(|missed| {
        let words = missed
            .iter()
            .map(|&part| break_words(question.layout, question.sets, question.limits, part));
        words.collect::<Vec<_>>()
    });
    let places = mass.places.iter().map(|place| [place.x, place.y]);
    json!({
        "places": places.collect::<Vec<_>>(),
        "numbers": numbers.collect::<Vec<_>>(),
        "missed": missed.collect::<Vec<_>>(),
    })
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
        Source::CentreOfMass => "centre of mass".to_owned(),
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
pub fn json_text(question: &Question, tolerance: &Tolerance, mass: Option<&MassSweep>) -> String {
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
        "centre_of_mass": mass.map(|mass| mass_json(question, mass)),
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
pub fn csv(question: &Question, tolerance: &Tolerance, mass: Option<&MassSweep>) -> String {
    let layout = question.layout;
    let mut text = "number,as_drawn,q05,q50,q95,standard_deviation".to_owned();
    // Shares are sorted by size, columns have to stand.
    let sources: Vec<Source> = tolerance
        .holes
        .iter()
        .map(|limit| Source::Hole(limit.hole))
        .chain([Source::EyeToEye, Source::Stroke])
        .chain(mass.map(|_| Source::CentreOfMass))
        .collect();
    for &of in &sources {
        let _ = write!(text, ",{}", source(layout, of));
    }
    for place in mass.iter().flat_map(|mass| &mass.places) {
        let _ = write!(text, ",mass at {} {}", place.x, place.y);
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
        if let Some(mass) = mass {
            let swept = mass
                .numbers
                .iter()
                .find(|swept| swept.measure == spread.measure);
            for place in 0..mass.places.len() {
                // What does not depend on it is as drawn everywhere.
                let value = swept.map_or(drawn, |swept| swept.values[place]);
                let _ = write!(text, ",{value}");
            }
        }
        text.push('\n');
    }
    text
}
