//! Readers that several files share: teeth, places along the travel, ranges of them.

use super::fault::{Fault, nearest, quoted};
use super::json::{Node, Sink, number_text};
use super::objectives::Place;

/// Fewest teeth that a sprocket can turn with.
const FEWEST_TEETH: u64 = 6;
/// More teeth than any chainring has.
const MOST_TEETH: u64 = 100;

/// The teeth of one sprocket.
pub(super) fn teeth(node: &Node, what: &str) -> Option<u32> {
    node.whole(FEWEST_TEETH, MOST_TEETH, what)
        .and_then(|teeth| u32::try_from(teeth).ok())
}

/// The teeth of one or more cogs, all different.
pub(super) fn distinct_teeth(node: &Node, what: &str) -> Option<Vec<u32>> {
    let items = node.list(&format!("{what}, as a list"))?;
    if items.is_empty() {
        return node.fault(format!("{what}, one cog or more"));
    }
    let mut cogs = Vec::with_capacity(items.len());
    let mut complete = true;
    for item in items {
        match teeth(&item, "teeth of a cog") {
            Some(cog) if cogs.contains(&cog) => {
                complete = false;
                item.fault::<()>("each cog once");
            }
            Some(cog) => cogs.push(cog),
            None => complete = false,
        }
    }
    complete.then_some(cogs)
}

/// The fraction, as text, that a number given in percent stands for.
pub(super) fn percent(number: f64) -> Option<String> {
    if !(1.0 < number && number < 100.0) {
        return None;
    }
    // Dividing 33.3 by 100 leaves digits that nobody wrote.
    let text = format!("{:.6}", number / 100.0);
    let whole = text.trim_end_matches('0');
    Some(format!("{whole:0<4}"))
}

/// `top`, `sag`, `end` or a fraction of total travel.
pub(super) fn place(node: &Node) -> Option<Place> {
    let expected = "\"top\", \"sag\", \"end\" or a fraction of the total travel, 0 to 1";
    if let Some(text) = node.as_text() {
        return match text {
            "top" => Some(Place::Top),
            "sag" => Some(Place::Sag),
            "end" => Some(Place::End),
            _ => {
                let near = nearest(text, ["top", "sag", "end"]).map(quoted);
                node.fault_suggesting(expected, near)
            }
        };
    }
    match node.as_number() {
        Some(number) if (0.0..=1.0).contains(&number) => Some(Place::Fraction(number)),
        number => node.fault_suggesting(expected, number.and_then(percent)),
    }
}

/// `[from, to]`, from the upper end of the travel downwards.
pub(super) fn range(node: &Node) -> Option<(Place, Place)> {
    let [from, to] = node.list_of("a range of the travel as [from, to]")?;
    let (from, to) = (place(&from), place(&to));
    let (from, to) = (from?, to?);
    match range_fault(node.sink, &node.path, from, to, None) {
        None => Some((from, to)),
        Some(fault) => {
            node.sink.push(fault);
            None
        }
    }
}

/// The fault of a range that is inverted or empty, as far as that can be told.
///
/// Sag lies strictly between top and end; where exactly is known only where it is a fraction
/// of travel.
pub(super) fn range_fault(
    sink: &Sink,
    path: &str,
    from: Place,
    to: Place,
    sag_of_travel: Option<f64>,
) -> Option<Fault> {
    let backwards = match (fraction(from, sag_of_travel), fraction(to, sag_of_travel)) {
        (Some(from), Some(to)) => from >= to,
        (None, Some(to)) => to <= 0.0,
        (Some(from), None) => from >= 1.0,
        (None, None) => true,
    };
    backwards.then(|| {
        let found = format!("the range [{}, {}]", place_text(from), place_text(to));
        Fault::new(sink.file, path, found, "its first place before its second")
    })
}

fn fraction(place: Place, sag_of_travel: Option<f64>) -> Option<f64> {
    match place {
        Place::Top => Some(0.0),
        Place::Sag => sag_of_travel,
        Place::End => Some(1.0),
        Place::Fraction(fraction) => Some(fraction),
    }
}

/// The place as it stands in a file.
fn place_text(place: Place) -> String {
    match place {
        Place::Top => quoted("top"),
        Place::Sag => quoted("sag"),
        Place::End => quoted("end"),
        Place::Fraction(fraction) => number_text(fraction),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn percent_is_written_as_a_fraction() {
        assert_eq!(percent(30.0).as_deref(), Some("0.30"));
        assert_eq!(percent(33.3).as_deref(), Some("0.333"));
        assert_eq!(percent(5.0).as_deref(), Some("0.05"));
        assert_eq!(percent(0.3), None);
        assert_eq!(percent(250.0), None);
    }

    #[test]
    fn a_range_through_sag_is_judged_as_far_as_known() {
        let sink = Sink::new("f.json");
        let bad = |from, to, sag| range_fault(&sink, "", from, to, sag).is_some();
        assert!(!bad(Place::Sag, Place::Fraction(0.2), None));
        assert!(bad(Place::Sag, Place::Fraction(0.2), Some(0.3)));
        assert!(!bad(Place::Fraction(0.2), Place::Sag, Some(0.3)));
        assert!(bad(Place::Sag, Place::Top, None));
        assert!(bad(Place::End, Place::Sag, None));
        assert!(bad(Place::Sag, Place::Sag, None));
    }
}
