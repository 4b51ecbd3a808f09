//! The curves of one layout, as a person reads them: 80 columns wide.

use super::table::{Table, fixed, signed};
use super::{CAUTION, Subject, Verdict, clearances, words};
use crate::curves::State;
use crate::design::TargetResult;
use crate::input::{Curve, Direction, Place, Quantity, Summary, Target, Want};
use std::fmt::Write;

/// Places between those with a name, as fractions of total travel.
const BETWEEN: [f64; 4] = [0.2, 0.4, 0.6, 0.8];
/// A place that near to sag would say the same twice.
const NEAR_SAG: f64 = 0.04;

/// A row of the table of curves.
enum Line {
    Curve(Curve),
    InstantCentre,
}

/// Rows of the table of curves; those of a cog have tables of their own.
const LINES: [Line; 13] = [
    Line::Curve(Curve::Travel),
    Line::Curve(Curve::Stroke),
    Line::Curve(Curve::LeverageRate),
    Line::Curve(Curve::AntiRise),
    Line::Curve(Curve::AxleX),
    Line::Curve(Curve::AxleY),
    Line::Curve(Curve::RearCentre),
    Line::InstantCentre,
    Line::Curve(Curve::HeadAngle),
    Line::Curve(Curve::HeadAngleChange),
    Line::Curve(Curve::BbHeight),
    Line::Curve(Curve::Wheelbase),
    Line::Curve(Curve::ForkCompression),
];

/// The report on one layout.
#[must_use]
pub fn text(subject: &Subject, verdict: Option<&Verdict>) -> String {
    let columns = columns(subject);
    let mut text = format!("{}\n\n{}", subject.layout.name, head(subject));
    let _ = write!(text, "\n{}", curves(subject, &columns));
    let _ = write!(text, "\n{}", anti_squat(subject, &columns));
    let _ = write!(text, "\n{}", pedals(subject));
    text += &clearances::text(subject);
    if let Some(verdict) = verdict {
        let _ = write!(text, "\n{}", targets(verdict));
    }
    let _ = write!(text, "\n{CAUTION}\n");
    text
}

/// The summary in plain words.
fn head(subject: &Subject) -> String {
    let mut text = String::new();
    for (label, words) in about_leverage(subject)
        .into_iter()
        .chain(about_wheel(subject))
    {
        let _ = writeln!(text, "{label:<14} {words}");
    }
    text
}

type Labelled = (&'static str, String);

fn about_leverage(subject: &Subject) -> [Labelled; 6] {
    let of = |quantity, decimals| fixed(subject.suspension.summary(quantity), decimals);
    let percent = |quantity| fixed(subject.suspension.summary(quantity) * 100.0, 1);
    let sag = subject.at(Place::Sag);
    let rate = |place| fixed(subject.at(place).leverage_rate(), 3);
    let travel = format!(
        "{} mm from a {} mm shock, mean leverage rate {}",
        fixed(subject.suspension.total_travel(), 1),
        words::shock(subject.layout),
        of(Summary::LeverageMean, 3)
    );
    let sag = format!(
        "{} % of travel ({} mm), which is {} % of stroke ({} mm)",
        percent(Summary::SagOfTravel),
        fixed(sag.travel, 1),
        percent(Summary::SagOfStroke),
        fixed(sag.stroke, 1)
    );
    let rates = format!(
        "{} at top, {} at sag, {} at end",
        rate(Place::Top),
        rate(Place::Sag),
        rate(Place::End)
    );
    let extremes = format!(
        "greatest {} at {} mm, least {} at {} mm of travel",
        of(Summary::LeverageMax, 3),
        of(Summary::LeverageMaxAt, 1),
        of(Summary::LeverageMin, 3),
        of(Summary::LeverageMinAt, 1)
    );
    let progression = format!(
        "{} % from top to end, {} % from sag to end",
        of(Summary::Progression, 1),
        of(Summary::ProgressionFromSag, 1)
    );
    let straightness = format!(
        "rate within {} of the line from top to end, {} rms",
        of(Summary::StraightnessMax, 3),
        of(Summary::StraightnessRms, 3)
    );
    [
        ("Travel", travel),
        ("Sag", sag),
        ("Leverage rate", rates),
        ("", extremes),
        ("Progression", progression),
        ("Straightness", straightness),
    ]
}

fn about_wheel(subject: &Subject) -> [Labelled; 5] {
    let number = |quantity| subject.suspension.summary(quantity);
    let of = |quantity| fixed(number(quantity), 1);
    let squat = subject.values(Curve::AntiSquat, &subject.at(Place::Sag));
    let squat = squat.iter().map(|&(_, value)| value);
    let (least, most) = squat.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| {
        (low.min(value), high.max(value))
    });
    let squat = format!(
        "{} to {} % at sag over the cassette, a spread of {} %",
        fixed(least, 1),
        fixed(most, 1),
        of(Summary::AntiSquatSpreadAtSag)
    );
    let rise = format!(
        "{} to {} % over the travel",
        of(Summary::AntiRiseMin),
        of(Summary::AntiRiseMax)
    );
    let path = format!(
        "{} mm in x and {} mm of rear centre from top to end",
        signed(number(Summary::AxleXGrowth), 1),
        signed(number(Summary::RearCentreGrowth), 1),
    );
    [
        ("Anti-squat", squat),
        ("", format!("with the {}", words::fork(subject.layout))),
        ("Anti-rise", rise),
        ("Axle path", path),
        (
            "",
            format!("rearmost at x {} mm", of(Summary::AxleXRearmost)),
        ),
    ]
}

/// Places to print, in order along the travel, with their headings.
fn columns(subject: &Subject) -> Vec<(String, State<f64>)> {
    let sag = subject.suspension.summary(Summary::SagOfTravel);
    let mut places = vec![Place::Top, Place::Sag, Place::End];
    let apart = |fraction: &f64| (fraction - sag).abs() >= NEAR_SAG;
    places.extend(BETWEEN.into_iter().filter(apart).map(Place::Fraction));
    let mut columns: Vec<_> = places
        .into_iter()
        .map(|place| (words::place(place), subject.at(place)))
        .collect();
    columns.sort_by(|(_, one), (_, other)| one.travel.total_cmp(&other.travel));
    columns
}

fn heading(first: &str, columns: &[(String, State<f64>)]) -> Vec<String> {
    // As wide as most values, so that tables stand under one another.
    let places = columns.iter().map(|(place, _)| format!("{place:>6}"));
    std::iter::once(first.to_owned()).chain(places).collect()
}

fn curves(subject: &Subject, columns: &[(String, State<f64>)]) -> String {
    let mut table = Table::new(1);
    table.row(heading("Along the travel", columns));
    for line in LINES {
        match line {
            Line::Curve(curve) => {
                let name = format!("{}{}", words::curve(curve), words::unit(curve.unit()));
                let decimals = words::decimals(curve.unit());
                let cells = columns
                    .iter()
                    .map(|(_, state)| fixed(subject.value(curve, state), decimals));
                table.row(std::iter::once(name).chain(cells));
            }
            Line::InstantCentre => {
                let centres = columns.iter().map(|(_, state)| state.instant_centre());
                let centres: Vec<_> = centres.collect();
                let cells = |axis: &str, value: fn(crate::number::Point<f64>) -> f64| {
                    let far = || "far".to_owned();
                    let cells = centres
                        .iter()
                        .map(|centre| centre.map_or_else(far, |centre| fixed(value(centre), 1)));
                    let name = format!("Instant centre {axis}, mm");
                    std::iter::once(name).chain(cells).collect::<Vec<_>>()
                };
                table.row(cells("x", |centre| centre.x));
                table.row(cells("y", |centre| centre.y));
            }
        }
    }
    table.to_string()
}

fn anti_squat(subject: &Subject, columns: &[(String, State<f64>)]) -> String {
    let mut table = Table::new(1);
    // As wide as the first column of the table of curves.
    table.row(heading(&format!("{:<22}", "Anti-squat, %"), columns));
    for &cog in subject.suspension.bicycle().cogs() {
        let value = |state| subject.suspension.value(Curve::AntiSquat, state, cog);
        let cells = columns.iter().map(|(_, state)| fixed(value(state), 1));
        table.row(std::iter::once(format!("{} teeth", cog.teeth)).chain(cells));
    }
    let (chain, fork) = (words::chain(subject.layout), words::fork(subject.layout));
    format!("{table}({chain}; {fork})\n")
}

/// What the chain does from top to end on every cog.
fn pedals(subject: &Subject) -> String {
    let curves = [
        Curve::ChainGrowth,
        Curve::PedalKickback,
        Curve::PedalKickbackBraked,
    ];
    let end = subject.at(Place::End);
    let mut table = Table::new(1);
    let names = curves.map(|curve| format!("{}, {}", words::curve(curve), curve.unit()));
    table.row(std::iter::once("From top to end".to_owned()).chain(names));
    for &cog in subject.suspension.bicycle().cogs() {
        let cells = curves.map(|curve| {
            let value = subject.suspension.value(curve, &end, cog);
            fixed(value, words::decimals(curve.unit()))
        });
        table.row(std::iter::once(format!("{} teeth", cog.teeth)).chain(cells));
    }
    format!(
        "{table}(upper run; kickback where the wheel does not turn in the frame,\n\
         braked where it turns with the body that carries the caliper)\n"
    )
}

/// Each target: whether it is met, by how much, and where it is worst.
#[must_use]
pub fn targets(verdict: &Verdict) -> String {
    let met = verdict.targets.iter().filter(|target| target.met).count();
    let mut text = format!(
        "Targets: {met} of {} met (met where the residual is from -1 to 1)\n",
        verdict.targets.len()
    );
    let mut table = Table::new(5);
    for (number, set) in verdict.sets.iter().enumerate() {
        table.row([set.name.clone()]);
        let results = verdict.targets.iter().filter(|r| r.objective == number);
        for (target, result) in set.targets.iter().zip(results) {
            table.row([
                format!("  {}", if result.met { "met" } else { "MISSED" }),
                format!("{:>6}", signed(result.residual, 2)),
                subject_of(target),
                reached(target, result),
                format!("wanted {}", wanted(&target.want)),
            ]);
        }
    }
    let _ = write!(text, "{table}");
    text
}

/// What a target is about.
pub(super) fn subject_of(target: &Target) -> String {
    match &target.quantity {
        Quantity::At { curve, place, .. } => {
            format!("{} at {}", curve.name(), words::place(*place))
        }
        Quantity::Over {
            curve, from, to, ..
        } => {
            let (from, to) = (words::place(*from), words::place(*to));
            format!("{} {from} to {to}", curve.name())
        }
        Quantity::Summary(summary) => summary.name().into(),
    }
}

/// The value that decides a target, and where it stands.
pub(super) fn reached(target: &Target, result: &TargetResult) -> String {
    let decimals = words::decimals(target.quantity.unit());
    if let (Want::SpreadWithin(_), [low, high]) = (&target.want, &result.values[..]) {
        let spread = fixed(high.value - low.value, decimals);
        let (low, high) = (fixed(low.value, decimals), fixed(high.value, decimals));
        return format!("{spread} ({low} to {high})");
    }
    // The last of equals, which no order prefers.
    let worst = result
        .values
        .iter()
        .max_by(|a, b| a.residual.abs().total_cmp(&b.residual.abs()));
    let Some(worst) = worst else {
        return String::new();
    };
    let over = matches!(target.quantity, Quantity::Over { .. });
    let place = worst.place.filter(|_| over);
    let mut text = fixed(worst.value, decimals);
    if let Some(place) = place {
        let _ = write!(text, " at {}", words::place(place));
    }
    if let Some(teeth) = worst.cog {
        let _ = write!(text, " on {teeth} teeth");
    }
    text
}

pub(super) fn wanted(want: &Want) -> String {
    match want {
        Want::Value { value, within } => format!("{value} within {within}"),
        Want::Between { low, high } => format!("{low} to {high}"),
        Want::StraightWithin(allowance) => format!("straight within {allowance}"),
        Want::SpreadWithin(allowance) => format!("a spread within {allowance}"),
        Want::Monotone(Direction::Rising) => "rising throughout".into(),
        Want::Monotone(Direction::Falling) => "falling throughout".into(),
    }
}
