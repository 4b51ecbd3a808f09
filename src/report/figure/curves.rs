//! Which curves are shown, and how to read each.

use super::Figure;
use super::chart::{Chart, ChartLayout, Line, Wanted};
use super::wanted::{monotone, spread, wanted};
use crate::curves::{Cog, State};
use crate::input::{Curve, ObjectiveSet};
use crate::report::traced::Traced;
use crate::report::words;
use std::fmt::Write;

/// Curves over the travel, each with the least range of its axis and how to read it.
const SHOWN: [(Curve, &str, f64, &str); 7] = [
    (
        Curve::LeverageRate,
        "leverage-rate",
        0.2,
        "Millimetres of wheel travel for each millimetre of shock stroke. A falling curve firms up \
         towards the end (progressive). The thin straight line is the chord from top to end: the \
         curve's distance from it is its straightness.",
    ),
    (
        Curve::AntiSquat,
        "anti-squat",
        10.0,
        "How much of the rearward load shift the chain takes up when the rider drives, one line for \
         each cog, named by its teeth. At 100 % steady drive neither sinks nor lifts the suspension.",
    ),
    (
        Curve::AntiRise,
        "anti-rise",
        10.0,
        "How much of the forward load shift under the rear brake alone is kept from extending the \
         suspension. At 100 % braking neither sinks nor lifts it.",
    ),
    (
        Curve::PedalKickback,
        "pedal-kickback",
        2.0,
        "Degrees by which the travel from top turns the cranks backward if the wheel does not turn \
         in the frame, one line for each cog, named by its teeth. Chain growth has the same shape.",
    ),
    (
        Curve::PedalKickbackBraked,
        "pedal-kickback-braked",
        2.0,
        "The same if the wheel is held by its brake and turns with the part that carries the \
         caliper. The two conventions differ severalfold: compare like with like.",
    ),
    (
        Curve::HeadAngleChange,
        "head-angle-change",
        0.5,
        "Head angle on the ground less that at top; negative is slacker. It depends on how the fork \
         moves along.",
    ),
    (
        Curve::BbHeight,
        "bb-height",
        10.0,
        "Height of the bottom bracket over the ground line, with the fork moving along.",
    ),
];

/// The charts of all `traced` layouts, the first standing out, with what `sets` want.
#[must_use]
pub fn charts(traced: &[Traced], sets: &[&ObjectiveSet]) -> Vec<Figure> {
    let mut charts: Vec<Chart> = SHOWN
        .iter()
        .map(|&(curve, name, least_span, caption)| {
            let mut chart = over_travel(curve, traced, sets);
            chart.name = name;
            chart.least_span = least_span;
            chart.caption = format!("{caption}{}", marks(&chart, curve, sets));
            chart
        })
        .collect();
    charts.push(axle_path(traced));
    charts.into_iter().map(Chart::draw).collect()
}

/// What the marks in a chart mean, where there are any.
fn marks(chart: &Chart, curve: Curve, sets: &[&ObjectiveSet]) -> String {
    let mut text = String::new();
    let has = |gate: bool| {
        chart.layouts.iter().any(|layout| {
            let kind = |wanted: &Wanted| matches!(wanted, Wanted::Gate { .. }) == gate;
            layout.wanted.iter().any(kind)
        })
    };
    match (has(true), has(false)) {
        (true, true) => {
            text += " What is wanted is framed: gates at one place, dashed areas over a range.";
        }
        (true, false) => text += " Gates: what is wanted at that place.",
        (false, true) => text += " Dashed area: what is wanted over that range.",
        (false, false) => {}
    }
    if spread(curve, sets) {
        text += " A spread may lie at any height: its frame is laid about this layout's values.";
    }
    if let Some(direction) = monotone(curve, sets) {
        let _ = write!(text, " Wanted {direction} throughout.");
    }
    text
}

fn over_travel(curve: Curve, traced: &[Traced], sets: &[&ObjectiveSet]) -> Chart {
    let layouts = traced
        .iter()
        .map(|traced| ChartLayout {
            rank: traced.rank,
            sag: traced.at_sag().travel,
            lines: lines(curve, traced),
            chord: (curve == Curve::LeverageRate).then(|| chord(curve, traced)),
            wanted: wanted(curve, traced, sets),
        })
        .collect();
    let title = words::curve(curve);
    Chart {
        name: "",
        title: if curve == Curve::PedalKickbackBraked {
            "Pedal kickback, wheel braked".into()
        } else {
            title.into()
        },
        caption: String::new(),
        across: "travel of the rear axle, mm".into(),
        up: format!(
            "{}{}",
            title.to_lowercase().replace("bb", "BB"),
            words::unit(curve.unit())
        ),
        travel_up: false,
        least_span: 0.0,
        layouts,
    }
}

fn lines(curve: Curve, traced: &Traced) -> Vec<Line> {
    let suspension = traced.subject.suspension;
    let cogs = suspension.bicycle().cogs();
    let line = |cog: Cog| {
        let moments = traced.moments.iter();
        let pair = |state: &State<f64>| (state.travel, suspension.value(curve, state, cog));
        moments.map(|moment| pair(&moment.state)).collect()
    };
    if !curve.depends_on_cog() {
        let any = cogs.iter().take(1);
        return any
            .map(|&cog| Line {
                label: name(traced),
                outer: true,
                pairs: line(cog),
            })
            .collect();
    }
    let teeth = || cogs.iter().map(|cog| cog.teeth);
    let ends = [teeth().min(), teeth().max()];
    cogs.iter()
        .map(|&cog| Line {
            label: format!("{} t", cog.teeth),
            outer: ends.contains(&Some(cog.teeth)),
            pairs: line(cog),
        })
        .collect()
}

/// What a layout's line is called where there are several.
fn name(traced: &Traced) -> String {
    if traced.alone {
        String::new()
    } else {
        format!("no. {}", traced.rank)
    }
}

/// From the first to the last place of a curve without cogs.
fn chord(curve: Curve, traced: &Traced) -> [(f64, f64); 2] {
    let place = |index: usize| {
        let state = &traced.moments[index].state;
        (state.travel, traced.subject.value(curve, state))
    };
    [place(0), place(traced.moments.len() - 1)]
}

fn axle_path(traced: &[Traced]) -> Chart {
    let layouts = traced
        .iter()
        .map(|traced| {
            let top = traced.moments[0].state.axle.x;
            let states = traced.moments.iter().map(|moment| &moment.state);
            ChartLayout {
                rank: traced.rank,
                sag: traced.at_sag().travel,
                lines: vec![Line {
                    label: name(traced),
                    outer: true,
                    pairs: states
                        .map(|state| (state.axle.x - top, state.travel))
                        .collect(),
                }],
                chord: None,
                wanted: Vec::new(),
            }
        })
        .collect();
    Chart {
        name: "axle-path",
        title: "Axle path".into(),
        caption:
            "Where the rear axle goes in the frame, its rise upward and its way forward to the \
                  right, from where it is at top; left of zero it moves back, out of an obstacle's \
                  way. The two axes have different scales."
                .into(),
        across: "forward of where it is at top, mm".into(),
        up: "travel, mm".into(),
        travel_up: true,
        least_span: 10.0,
        layouts,
    }
}
