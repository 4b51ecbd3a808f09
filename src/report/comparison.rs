//! Layouts side by side, and the differences that matter, worst first.
//!
//! A difference is measured by what would just be noticed, by a rider or in a test: see
//! [`CURVES`] and [`SUMMARIES`]. These are common practice and have no source. A curve is
//! compared at equal shares of the travel and at each layout's own sag, and counts by its
//! largest difference; a curve that depends on the cog, by that of the cogs that both
//! cassettes have. The first layout is the one that others are held against.

use super::table::{Table, fixed, signed};
use super::{CAUTION, Subject, json as machine, moved, words};
use crate::curves::{Cog, State};
use crate::input::{Curve, Place, Summary};
use serde_json::{Value, json as object};
use std::fmt::Write;

/// Curves that are compared, with the difference that would just be noticed, in their units.
pub const CURVES: [(Curve, f64); 10] = [
    (Curve::LeverageRate, 0.1),
    (Curve::AntiSquat, 10.0),
    (Curve::AntiRise, 10.0),
    (Curve::ChainGrowth, 5.0),
    (Curve::PedalKickback, 3.0),
    (Curve::PedalKickbackBraked, 3.0),
    (Curve::RearCentre, 5.0),
    (Curve::HeadAngle, 0.5),
    (Curve::BbHeight, 5.0),
    (Curve::Wheelbase, 10.0),
];

/// Numbers about the whole travel that are compared, with the same.
pub const SUMMARIES: [(Summary, f64); 7] = [
    (Summary::Progression, 3.0),
    (Summary::ProgressionFromSag, 3.0),
    (Summary::StraightnessMax, 0.05),
    (Summary::AntiSquatSpreadAtSag, 10.0),
    (Summary::AxleXGrowth, 5.0),
    (Summary::SagOfTravel, 0.02),
    (Summary::SagOfStroke, 0.02),
];

/// Total travel that would just be noticed, mm.
pub const TRAVEL: f64 = 5.0;

/// Into how many parts the travel is cut to find where curves differ most.
const PARTS: u32 = 20;

/// One way in which a layout differs from the first.
#[derive(Clone, Debug, PartialEq)]
pub struct Difference {
    /// Name of the curve or number, as in every file.
    pub quantity: &'static str,
    /// The same in plain words.
    pub words: &'static str,
    /// Its unit.
    pub unit: &'static str,
    /// Where the two differ most, for a curve.
    pub place: Option<Place>,
    /// On which cog, by its teeth, for a curve that depends on it.
    pub cog: Option<u32>,
    /// The value of the first layout.
    pub first: f64,
    /// The value of this layout.
    pub value: f64,
    /// The difference that would just be noticed.
    pub noticeable: f64,
}

impl Difference {
    /// The difference as a multiple of what would just be noticed; it matters from 1.
    #[must_use]
    pub fn times(&self) -> f64 {
        (self.value - self.first).abs() / self.noticeable
    }
}

/// How `other` differs from `first`, worst first; also by what would not be noticed.
#[must_use]
pub fn differences(first: &Subject, other: &Subject) -> Vec<Difference> {
    let pairs = paired_states(first, other);
    let mut differences: Vec<Difference> = CURVES
        .into_iter()
        .filter_map(|(curve, noticeable)| largest(first, other, &pairs, curve, noticeable))
        .collect();
    differences.extend(
        SUMMARIES
            .into_iter()
            .map(|(summary, noticeable)| Difference {
                quantity: summary.name(),
                words: words::summary(summary),
                unit: summary.unit(),
                place: None,
                cog: None,
                first: first.suspension.summary(summary),
                value: other.suspension.summary(summary),
                noticeable,
            }),
    );
    differences.push(Difference {
        quantity: "total_travel",
        words: "Total travel",
        unit: "mm",
        place: None,
        cog: None,
        first: first.suspension.total_travel(),
        value: other.suspension.total_travel(),
        noticeable: TRAVEL,
    });
    differences.sort_by(|one, another| another.times().total_cmp(&one.times()));
    differences
}

/// A place and both layouts there.
type Pair = (Place, State<f64>, State<f64>);

fn paired_states(first: &Subject, other: &Subject) -> Vec<Pair> {
    let between = (1..PARTS).map(|part| Place::Fraction(f64::from(part) / f64::from(PARTS)));
    [Place::Top, Place::Sag, Place::End]
        .into_iter()
        .chain(between)
        .map(|place| (place, first.at(place), other.at(place)))
        .collect()
}

fn largest(
    first: &Subject,
    other: &Subject,
    pairs: &[Pair],
    curve: Curve,
    noticeable: f64,
) -> Option<Difference> {
    let mut worst: Option<Difference> = None;
    for (place, one, another) in pairs {
        for (cog, value) in first.values(curve, one) {
            let others = other.values(curve, another);
            let same = |&&(of, _): &&(Option<Cog>, f64)| teeth(of) == teeth(cog);
            let Some(&(_, other_value)) = others.iter().find(same) else {
                continue;
            };
            let difference = Difference {
                quantity: curve.name(),
                words: words::curve(curve),
                unit: curve.unit(),
                place: Some(*place),
                cog: teeth(cog),
                first: value,
                value: other_value,
                noticeable,
            };
            let larger = |worst: &Difference| difference.times() > worst.times();
            if worst.as_ref().is_none_or(larger) {
                worst = Some(difference);
            }
        }
    }
    worst
}

fn teeth(cog: Option<Cog>) -> Option<u32> {
    cog.map(|cog| cog.teeth)
}

/// The comparison for machines; each subject with the name of its file.
#[must_use]
pub fn json(subjects: &[(&str, Subject)]) -> Value {
    let layouts = subjects.iter().map(|(file, subject)| {
        let mut layout = serde_json::Map::new();
        layout.insert("file".into(), (*file).into());
        layout.extend(machine::overview(subject));
        layout.insert("summary".into(), machine::summary(subject));
        Value::from(layout)
    });
    let layouts: Vec<Value> = layouts.collect();
    let mut all = Vec::new();
    if let Some(((_, first), others)) = subjects.split_first() {
        for (index, (_, other)) in others.iter().enumerate() {
            let numbered = |difference| (index + 1, difference);
            all.extend(differences(first, other).into_iter().map(numbered));
        }
    }
    all.sort_by(|(_, one), (_, another)| another.times().total_cmp(&one.times()));
    let differences: Vec<Value> = all
        .iter()
        .map(|(layout, difference)| {
            object!({
                "layout": layout,
                "quantity": difference.quantity,
                "unit": difference.unit,
                "place": difference.place.map(machine::place),
                "cog": difference.cog,
                "first": difference.first,
                "value": difference.value,
                "noticeable": difference.noticeable,
                "times": difference.times(),
            })
        })
        .collect();
    object!({ "layouts": layouts, "differences": differences, "moved": moves(subjects) })
}

/// Which points of the other layouts stand elsewhere than in the first.
fn moves(subjects: &[(&str, Subject)]) -> Vec<Value> {
    let Some(((_, first), others)) = subjects.split_first() else {
        return Vec::new();
    };
    let mut moves = Vec::new();
    for (index, (_, other)) in others.iter().enumerate() {
        for point in moved::moved_points(first.layout, other.layout) {
            let by = point.by();
            moves.push(object!({
                "layout": index + 1,
                "point": point.name,
                "first": [point.first.x, point.first.y],
                "value": [point.other.x, point.other.y],
                "distance": by.length(),
            }));
        }
    }
    moves
}

/// The comparison as a person reads it; each subject with the name of its file.
#[must_use]
pub fn text(subjects: &[(&str, Subject)]) -> String {
    let mut text = String::new();
    for (index, (file, subject)) in subjects.iter().enumerate() {
        let _ = writeln!(text, "{}  {} ({file})", letter(index), subject.layout.name);
    }
    let notes = notes(subjects);
    if !notes.is_empty() {
        let _ = write!(text, "\n{notes}");
    }
    let _ = write!(text, "\n{}", side_by_side(subjects));
    if let Some(((_, first), others)) = subjects.split_first() {
        for (index, (_, other)) in others.iter().enumerate() {
            let name = letter(index + 1);
            let moved = moved::moved_points(first.layout, other.layout);
            if !moved.is_empty() {
                let _ = write!(text, "\n{}", moved::text(&name, &moved));
            }
            let _ = write!(text, "\n{}", changes(&name, &differences(first, other)));
        }
    }
    let _ = write!(text, "\n{CAUTION}\n");
    text
}

/// What differs besides the linkage, so that nobody puts its effect down to the linkage.
fn notes(subjects: &[(&str, Subject)]) -> String {
    let each = |told: fn(&Subject) -> String| {
        let all = subjects.iter().map(|(_, subject)| told(subject));
        let all: Vec<String> = all.collect();
        let differ = all.windows(2).any(|pair| pair[0] != pair[1]);
        let named = all.iter().enumerate();
        let named = named.map(|(index, told)| format!("{} {told}", letter(index)));
        differ.then(|| named.collect::<Vec<_>>().join("; "))
    };
    let mut text = String::new();
    let fork = |subject: &Subject| words::fork(subject.layout).replace("fork ", "");
    if let Some(forks) = each(fork) {
        let _ = writeln!(
            text,
            "Forks move differently ({forks}),\n\
             which shows in anti-squat, anti-rise, head angle, BB height and wheelbase."
        );
    }
    if let Some(heights) = each(|subject| {
        let height = subject.at(Place::Top).ground.mass_height;
        format!("{} mm", fixed(height, 0))
    }) {
        let _ = writeln!(
            text,
            "Centres of mass stand at different heights at top ({heights}):\n\
             anti-squat and anti-rise go as one over it."
        );
    }
    if let Some(chains) = each(|subject| words::chain(subject.layout)) {
        let _ = writeln!(text, "Chains run differently ({chains}).");
    }
    if shown_cogs(subjects).is_empty() {
        text += "No cog is common to all: what depends on the cog is not set side by side.\n";
    }
    text
}

/// A, B, ..., Z, AA, AB, ...
fn letter(index: usize) -> String {
    let last = char::from(b'A' + u8::try_from(index % 26).unwrap_or(0));
    match index / 26 {
        0 => last.to_string(),
        before => letter(before - 1) + &last.to_string(),
    }
}

fn side_by_side(subjects: &[(&str, Subject)]) -> Table {
    let mut table = Table::new(1);
    let letters = (0..subjects.len()).map(letter);
    table.row(std::iter::once(String::new()).chain(letters));
    let mut row = |name: String, cell: &dyn Fn(&Subject) -> String| {
        let cells = subjects.iter().map(|(_, subject)| cell(subject));
        table.row(std::iter::once(name).chain(cells));
    };
    row("Total travel, mm".into(), &|subject| {
        fixed(subject.suspension.total_travel(), 1)
    });
    row("Shock, mm".into(), &|subject| words::shock(subject.layout));
    for summary in Summary::ALL {
        let name = format!("{}{}", words::summary(summary), words::unit(summary.unit()));
        row(name, &|subject| {
            let value = subject.suspension.summary(summary);
            fixed(value, words::decimals(summary.unit()))
        });
    }
    let cogs = shown_cogs(subjects);
    for place in [Place::Top, Place::Sag, Place::End] {
        row(String::new(), &|_| String::new());
        row(format!("At {}", words::place(place)), &|_| String::new());
        for curve in Curve::ALL {
            let from_top = matches!(
                curve,
                Curve::RearCentreGrowth
                    | Curve::ChainGrowth
                    | Curve::PedalKickback
                    | Curve::PedalKickbackBraked
                    | Curve::HeadAngleChange
            );
            // What counts from top is nothing there.
            if from_top && place == Place::Top {
                continue;
            }
            let (name, unit) = (words::curve(curve), words::unit(curve.unit()));
            let decimals = words::decimals(curve.unit());
            if !curve.depends_on_cog() {
                row(format!("  {name}{unit}"), &|subject| {
                    fixed(subject.value(curve, &subject.at(place)), decimals)
                });
                continue;
            }
            for &cog in &cogs {
                row(format!("  {name}, {cog} teeth{unit}"), &|subject| {
                    let values = subject.values(curve, &subject.at(place));
                    let value = values.iter().find(|&&(of, _)| teeth(of) == Some(cog));
                    fixed(value.map_or(f64::NAN, |&(_, value)| value), decimals)
                });
            }
        }
    }
    table
}

/// The smallest, the middle and the largest of the cogs that all cassettes have.
fn shown_cogs(subjects: &[(&str, Subject)]) -> Vec<u32> {
    let cassette = |subject: &Subject| subject.layout.bicycle.cassette_teeth.clone();
    let Some(((_, first), others)) = subjects.split_first() else {
        return Vec::new();
    };
    let mut common = cassette(first);
    common.retain(|cog| {
        let has = |(_, other): &(&str, Subject)| cassette(other).contains(cog);
        others.iter().all(has)
    });
    common.sort_unstable();
    let last = common.len().saturating_sub(1);
    let mut shown: Vec<u32> = [0, last / 2, last]
        .into_iter()
        .filter_map(|index| common.get(index).copied())
        .collect();
    shown.dedup();
    shown
}

/// The differences that matter, or that none does.
fn changes(name: &str, differences: &[Difference]) -> String {
    let matters = differences
        .iter()
        .filter(|difference| difference.times() >= 1.0);
    let mut table = Table::new(3);
    table.row(["times", "", "where", "A", name, "change", "noticed from"].map(str::to_owned));
    let mut count = 0;
    for difference in matters {
        count += 1;
        let decimals = words::decimals(difference.unit);
        let unit = words::unit(difference.unit);
        let cog = difference.cog;
        let cog = cog.map_or_else(String::new, |teeth| format!(" on {teeth} teeth"));
        table.row([
            format!("{:>5}", fixed(difference.times(), 1)),
            format!("{}{unit}", difference.words),
            difference.place.map_or_else(String::new, words::place) + &cog,
            fixed(difference.first, decimals),
            fixed(difference.value, decimals),
            signed(difference.value - difference.first, decimals),
            difference.noticeable.to_string(),
        ]);
    }
    if count == 0 {
        return format!("{name} against A: no difference that would be noticed\n");
    }
    format!(
        "{name} against A: what matters, worst first (in multiples of what would be noticed)\n{table}"
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn letters_go_on_after_the_last() {
        assert_eq!([0, 25, 26, 52].map(letter), ["A", "Z", "AA", "BA"]);
    }
}
