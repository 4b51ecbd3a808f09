//! Shocks to try: by their sizes, or of the sizes that are in stock everywhere.

use super::{SAME_LENGTH, ShockSize};
use crate::input::json::{FARTHEST, Node, Object, number_text};
use std::fmt::Write;

/// Sizes of shocks with an eyelet at both ends, mm: length, and strokes (common practice, no
/// source).
const EYELET: [(f64, &[f64]); 4] = [
    (190.0, &[40.0, 42.5, 45.0]),
    (210.0, &[50.0, 52.5, 55.0]),
    (230.0, &[57.5, 60.0, 62.5, 65.0]),
    (250.0, &[67.5, 70.0, 72.5, 75.0]),
];

/// The same with a trunnion at one end, from whose bolts' axis the length counts.
const TRUNNION: [(f64, &[f64]); 4] = [
    (165.0, &[37.5, 40.0, 42.5, 45.0]),
    (185.0, &[47.5, 50.0, 52.5, 55.0]),
    (205.0, &[57.5, 60.0, 62.5, 65.0]),
    (225.0, &[67.5, 70.0, 72.5, 75.0]),
];

/// Reads the sizes to try. Where the length cannot change, `fixed_length` is that of the layout.
pub(super) fn read(node: Node, fixed_length: Option<f64>) -> Option<Vec<ShockSize>> {
    let Some(node) = node.given() else {
        return Some(Vec::new());
    };
    let items = node.list(
        "a list of shock sizes, each with eye_to_eye and stroke, or with stock and a range of strokes",
    )?;
    let read: Vec<_> = items.iter().map(|item| entry(item, fixed_length)).collect();
    let mut sizes: Vec<ShockSize> = Vec::new();
    let mut complete = true;
    for (item, of_item) in items.iter().zip(read) {
        let Some(of_item) = of_item else {
            complete = false;
            continue;
        };
        if of_item.iter().any(|size| sizes.contains(size)) {
            complete = false;
            item.sink
                .fault(&item.path, "a shock size twice", "each shock size once");
        }
        sizes.extend(of_item);
    }
    complete.then_some(sizes)
}

fn entry(node: &Node, fixed_length: Option<f64>) -> Option<Vec<ShockSize>> {
    let object = node.object(
        &["eye_to_eye", "stroke", "stock"],
        "an object with eye_to_eye and stroke, or with stock and a range of strokes",
    )?;
    if object.get("stock").given().is_some() {
        stock(&object, fixed_length)
    } else {
        single(&object, fixed_length).map(|size| vec![size])
    }
}

fn stock(object: &Object, fixed_length: Option<f64>) -> Option<Vec<ShockSize>> {
    let all = object
        .get("stock")
        .choice(&[("eyelet", &EYELET), ("trunnion", &TRUNNION)]);
    let range = |key: &str, what: &str| match object.get(key).given() {
        None => Some((0.0, FARTHEST)),
        Some(node) => node.bounds(what, |node| node.number_within(0.0, FARTHEST, what)),
    };
    let strokes = range("stroke", "the range of strokes in mm");
    let lengths = range("eye_to_eye", "the range of lengths in mm");
    let (all, strokes, lengths) = (all?, strokes?, lengths?);
    let within = |(low, high): (f64, f64), value: f64| low <= value && value <= high;
    let good_length = |length: f64| {
        let fits = |drawn: f64| (length - drawn).abs() <= SAME_LENGTH;
        within(lengths, length) && fixed_length.is_none_or(fits)
    };
    let sizes: Vec<ShockSize> = all
        .iter()
        .filter(|(length, _)| good_length(*length))
        .flat_map(|(length, of_length)| {
            of_length.iter().map(|&stroke| ShockSize {
                eye_to_eye: *length,
                stroke,
            })
        })
        .filter(|size| within(strokes, size.stroke))
        .collect();
    if !sizes.is_empty() {
        return Some(sizes);
    }
    let listed: Vec<_> = all.iter().map(|(length, of)| listed(*length, of)).collect();
    let mut expected = format!("a range with a size in stock: {}", listed.join(", "));
    if let Some(drawn) = fixed_length {
        let drawn = number_text(drawn);
        let _ = write!(
            expected,
            "; the length stays {drawn} mm, because neither end is free"
        );
    }
    object.node().fault(expected)
}

/// Such as "190 x 40/42.5/45".
fn listed(length: f64, strokes: &[f64]) -> String {
    let strokes: Vec<_> = strokes.iter().map(|&stroke| number_text(stroke)).collect();
    format!("{} x {}", number_text(length), strokes.join("/"))
}

fn single(object: &Object, fixed_length: Option<f64>) -> Option<ShockSize> {
    let length = |key| {
        object
            .get(key)
            .number("a length in mm, above 0 and at most 10000", |length| {
                0.0 < length && length <= FARTHEST
            })
    };
    let (eye_to_eye, stroke) = (length("eye_to_eye"), length("stroke"));
    let (eye_to_eye, stroke) = (eye_to_eye?, stroke?);
    if stroke >= eye_to_eye {
        let length = number_text(eye_to_eye);
        let expected = format!("a stroke shorter than the eye-to-eye length of {length} mm");
        return object.get("stroke").fault(expected);
    }
    if let Some(drawn) = fixed_length.filter(|drawn| (eye_to_eye - drawn).abs() > SAME_LENGTH) {
        let expected = "the drawn length, because neither end of the shock is free";
        let suggestion = Some(number_text(drawn));
        return object
            .get("eye_to_eye")
            .fault_suggesting(expected, suggestion);
    }
    Some(ShockSize { eye_to_eye, stroke })
}
