//! What changes per mm of each coordinate, for a person and for machines.

use super::curves::{subject_of, wanted};
use super::table::{Table, fixed, signed};
use super::{CAUTION, json as machine};
use crate::design::measure::Measure;
use crate::input::{Layout, ObjectiveSet, PointId};
use crate::study::sensitivity::{Coordinate, Effect, Sensitivity};
use serde_json::{Map, Value, json};
use std::fmt::Write;
use std::ops::Range;

/// Columns that stand side by side in one table.
const COLUMNS: usize = 7;

/// The report on one layout.
#[must_use]
pub fn text(layout: &Layout, sets: &[&ObjectiveSet], sensitivity: &Sensitivity) -> String {
    let mut text = format!(
        "{}\n\nChange per mm of each coordinate, the most influential first\n",
        layout.name
    );
    let of_parts = |measure: &Measure| measure.form.clearance().is_some();
    let curves = sensitivity.measures.iter().position(of_parts);
    let curves = curves.unwrap_or(sensitivity.measures.len());
    for block in blocks(0..curves) {
        let _ = write!(text, "\n{}", measures(sensitivity, block));
    }
    let parts = &sensitivity.measures[curves..];
    if !parts.is_empty() {
        text += "\nSmallest clearances over the travel: change per mm\n\n";
    }
    for measure in parts {
        let _ = writeln!(text, "{:>4} {}", measure.heading, measure.name);
    }
    for block in blocks(curves..sensitivity.measures.len()) {
        let _ = write!(text, "\n{}", measures(sensitivity, block));
    }
    if !sets.is_empty() {
        let _ = write!(text, "\n{}", targets(sets, sensitivity));
    }
    let _ = write!(text, "\n{}", pivots(layout, sensitivity));
    if !parts.is_empty() {
        text += "(clearances left out: `drift` tells how far they let a pivot go)\n";
    }
    text += "\n\
Each coordinate is moved on its own: the other points stay, and where an end of the\n\
shock is moved, its other end goes to the nearest place at the shock's length. The\n\
influence is the largest change of a residual where there are targets, else of what\n\
would just be noticed (0.1 of rate, 10 % of anti-squat or anti-rise, 5 mm of travel).\n";
    let _ = writeln!(text, "{CAUTION}");
    text
}

fn decimals(measure: &Measure) -> usize {
    match measure.unit {
        "mm/mm" => 4,
        _ => 2,
    }
}

/// So many columns at a time.
fn blocks(columns: Range<usize>) -> impl Iterator<Item = Range<usize>> {
    let last = columns.end;
    let firsts = columns.step_by(COLUMNS);
    firsts.map(move |first| first..(first + COLUMNS).min(last))
}

/// A table of some of the measures.
fn measures(sensitivity: &Sensitivity, block: Range<usize>) -> Table {
    let mut table = Table::new(1);
    let first = block.start;
    let columns = &sensitivity.measures[block];
    let row = |label: &str, cell: &dyn Fn(&Measure, usize) -> String| {
        let cells = columns
            .iter()
            .zip(first..)
            .map(|(measure, index)| cell(measure, index));
        std::iter::once(label.to_owned())
            .chain(cells)
            .collect::<Vec<_>>()
    };
    table.row(row("", &|measure, _| measure.heading.clone()));
    table.row(row("", &|measure, _| match measure.unit {
        "mm/mm" => String::new(),
        unit => unit.to_owned(),
    }));
    table.row(row("as drawn", &|measure, index| {
        fixed(sensitivity.values[index], decimals(measure))
    }));
    for coordinate in &sensitivity.coordinates {
        table.row(row(&coordinate.name, &|measure, index| {
            change(coordinate.slopes[index], decimals(measure))
        }));
    }
    table
}

/// A change; nothing where there is none at all, so that what matters stands out.
fn change(slope: f64, decimals: usize) -> String {
    if slope.abs() < 1e-9 {
        "-".to_owned()
    } else {
        signed(slope, decimals)
    }
}

/// The aim of each target whose residual is worst.
pub(super) fn worst_aims(sensitivity: &Sensitivity) -> Vec<usize> {
    let mut worst: Vec<usize> = Vec::new();
    for (number, aim) in sensitivity.aims.iter().enumerate() {
        let same = worst.iter_mut().find(|other| {
            let other = &sensitivity.aims[**other];
            (other.objective, other.index) == (aim.objective, aim.index)
        });
        let size = |number: usize| sensitivity.residuals[number].abs();
        match same {
            Some(other) if size(number) > size(*other) => *other = number,
            Some(_) => {}
            None => worst.push(number),
        }
    }
    worst
}

fn targets(sets: &[&ObjectiveSet], sensitivity: &Sensitivity) -> String {
    let worst = worst_aims(sensitivity);
    let mut text =
        "Targets: change of the worst residual (wanted in -1 to 1) per mm\n\n".to_owned();
    for (number, &aim) in worst.iter().enumerate() {
        let aim = &sensitivity.aims[aim];
        let target = sets
            .get(aim.objective)
            .and_then(|set| set.targets.get(aim.index));
        if let Some(target) = target {
            let _ = writeln!(
                text,
                "{:>4} {}, {}",
                format!("T{}", number + 1),
                subject_of(target),
                wanted(&target.want)
            );
        }
    }
    text.push('\n');
    let mut table = Table::new(1);
    let headings = (1..=worst.len()).map(|number| format!("T{number}"));
    table.row(std::iter::once(String::new()).chain(headings));
    let residuals = worst
        .iter()
        .map(|&aim| fixed(sensitivity.residuals[aim], 2));
    table.row(std::iter::once("as drawn".to_owned()).chain(residuals));
    for coordinate in &sensitivity.coordinates {
        let slopes = worst
            .iter()
            .map(|&aim| change(coordinate.residual_slopes[aim], 2));
        table.row(std::iter::once(coordinate.name.clone()).chain(slopes));
    }
    let _ = write!(text, "{table}");
    text
}

/// The strongest and the harmless direction of each pivot.
fn pivots(layout: &Layout, sensitivity: &Sensitivity) -> String {
    let mut text =
        "Directions: what matters most, and where a pivot moves most freely\n\n".to_owned();
    for pivot in &sensitivity.pivots {
        let name = name(layout, pivot.point);
        let measure = |effect: &Effect| &sensitivity.measures[effect.measure];
        let strongest = measure(&pivot.strongest);
        let _ = writeln!(
            text,
            "{name}: {}: {} {} per mm",
            direction(&pivot.strongest),
            signed(pivot.strongest.slope, decimals(strongest).max(3)),
            words(strongest),
        );
        let harmless = measure(&pivot.harmless);
        let _ = writeln!(
            text,
            "{:width$}  harmless {}, or back: no more than {} {} per mm",
            "",
            direction(&pivot.harmless),
            fixed(pivot.harmless.slope.abs(), decimals(harmless).max(3)),
            words(harmless),
            width = name.chars().count(),
        );
    }
    text
}

/// A number with its unit in words, such as `% of anti_squat_sag_10`.
fn words(measure: &Measure) -> String {
    match measure.unit {
        "mm/mm" => format!("of {}", measure.name),
        unit => format!("{unit} of {}", measure.name),
    }
}

/// A direction against the line to the axle, as one sees it in a drawing.
fn direction(effect: &Effect) -> String {
    let Some(angle) = effect.to_axle_line else {
        return format!("at {} degrees", fixed(effect.direction, 0));
    };
    let side = if angle < 0.0 { "below" } else { "above" };
    let whither = if effect.towards_axle {
        "towards"
    } else {
        "away from"
    };
    let (size, axle) = (fixed(angle.abs(), 0), "the axle");
    match size.as_str() {
        "0" => format!("{whither} {axle}"),
        "90" => format!("square to the line to {axle}, {side} it"),
        _ => format!("{size} degrees {side} the line to {axle}, {whither} it"),
    }
}

pub(super) fn name(layout: &Layout, point: PointId) -> &str {
    layout
        .mechanism
        .points
        .get(point.index())
        .map_or("", |point| &point.name)
}

/// Every number in full.
#[must_use]
pub fn json(layout: &Layout, sets: &[&ObjectiveSet], sensitivity: &Sensitivity) -> Value {
    let measures: Vec<Value> = sensitivity
        .measures
        .iter()
        .zip(&sensitivity.values)
        .map(|(measure, value)| {
            json!({"name": measure.name, "unit": measure.unit, "value": value,
                   "noticeable": measure.noticeable})
        })
        .collect();
    let worst = worst_aims(sensitivity);
    let targets: Vec<Value> = worst
        .iter()
        .map(|&number| {
            let aim = &sensitivity.aims[number];
            let set = sets.get(aim.objective).map_or("", |set| set.name.as_str());
            json!({"objective": set, "index": aim.index, "residual": sensitivity.residuals[number]})
        })
        .collect();
    let coordinates: Vec<Value> = sensitivity
        .coordinates
        .iter()
        .map(|coordinate| coordinate_json(sensitivity, &worst, coordinate))
        .collect();
    let pivots: Vec<Value> = sensitivity
        .pivots
        .iter()
        .map(|pivot| {
            json!({"point": name(layout, pivot.point),
                   "strongest": effect_json(sensitivity, &pivot.strongest),
                   "harmless": effect_json(sensitivity, &pivot.harmless)})
        })
        .collect();
    json!({"name": layout.name, "measures": measures, "targets": targets,
           "per_mm": coordinates, "directions": pivots})
}

fn coordinate_json(sensitivity: &Sensitivity, worst: &[usize], coordinate: &Coordinate) -> Value {
    let changes: Map<String, Value> = sensitivity
        .measures
        .iter()
        .zip(&coordinate.slopes)
        .map(|(measure, slope)| (measure.name.clone(), (*slope).into()))
        .collect();
    let residuals: Vec<f64> = worst
        .iter()
        .map(|&aim| coordinate.residual_slopes[aim])
        .collect();
    json!({"coordinate": coordinate.name, "influence": coordinate.influence,
           "changes": changes, "residuals": residuals})
}

fn effect_json(sensitivity: &Sensitivity, effect: &Effect) -> Value {
    json!({"direction": effect.direction, "to_axle_line": effect.to_axle_line,
           "towards_axle": effect.towards_axle,
           "measure": sensitivity.measures[effect.measure].name, "per_mm": effect.slope})
}

/// One row a coordinate, one column a number, under a heading; every number in full.
#[must_use]
pub fn csv(sensitivity: &Sensitivity) -> String {
    let mut text = "coordinate,influence".to_owned();
    for measure in &sensitivity.measures {
        let _ = write!(text, ",{}", measure.name);
    }
    let worst = worst_aims(sensitivity);
    for number in 1..=worst.len() {
        let _ = write!(text, ",residual_{number}");
    }
    text.push('\n');
    for coordinate in &sensitivity.coordinates {
        let _ = write!(text, "{},{}", coordinate.name, coordinate.influence);
        for slope in &coordinate.slopes {
            let _ = write!(text, ",{slope}");
        }
        for &aim in &worst {
            let _ = write!(text, ",{}", coordinate.residual_slopes[aim]);
        }
        text.push('\n');
    }
    text
}

/// The text of [`json()`].
#[must_use]
pub fn json_text(layout: &Layout, sets: &[&ObjectiveSet], sensitivity: &Sensitivity) -> String {
    machine::text(&json(layout, sets, sensitivity))
}
