//! The ranking of a search, for a person and as a table for machines.

use super::curves::{subject_of, wanted};
use super::table::{Table, fixed, signed};
use super::{CAUTION, words};
use crate::design::RowSource;
use crate::input::{Brief, Limit, LimitQuantity, Mechanism, PointId, Target, Want};
use crate::study::{Blocker, Ending, Ranked, Study};
use std::fmt::Write;

/// What a person reads at the end of a search.
#[must_use]
pub fn text(brief: &Brief, study: &Study) -> String {
    let mut text = headline(brief, study);
    let _ = write!(text, "\n\n{}", table(brief, study));
    if study.feasible() {
        text += "\nscore: 0 is exact on every target, 1 on the edge of every one. may move: how far \
                 any one\npivot may shift, to first order, before a target or limit breaks. off: \
                 largest deviation of\nthe rate from a straight line.\n";
    } else {
        text += &blockers(brief, study);
    }
    let _ = writeln!(text, "{CAUTION}");
    text
}

fn headline(brief: &Brief, study: &Study) -> String {
    let count = study.layouts.len();
    let feasible = study.endings.get(&Ending::Feasible).copied().unwrap_or(0);
    let starts = study.starts;
    let early = if study.interrupted {
        ", ended early"
    } else {
        ""
    };
    if study.feasible() {
        let s = if count == 1 { "" } else { "s" };
        return format!(
            "{}: {count} distinct feasible layout{s} ({feasible} of {starts} starts ended feasible{early})",
            brief.name
        );
    }
    if study.layouts.is_empty() {
        return format!(
            "{}: nothing feasible, and none of {starts} starts{early} gave a linkage that moves over \
             the whole stroke.\nThe boxes may be far from any that does: start from a layout that \
             `check` accepts.",
            brief.name
        );
    }
    format!(
        "{}: nothing feasible in {starts} starts{early}. The {count} nearest layouts, by worst violation:",
        brief.name
    )
}

fn table(brief: &Brief, study: &Study) -> Table {
    let mut table = Table::new(0);
    let worth = if study.feasible() {
        ["score", "may move"]
    } else {
        ["violation", "score"]
    };
    table.row(
        [
            "rank",
            worth[0],
            worth[1],
            "shock",
            "travel",
            "rate top",
            "sag",
            "end",
            "off",
            "anti-squat sag",
            "anti-rise",
            "worst target",
        ]
        .map(String::from),
    );
    for (index, layout) in study.layouts.iter().enumerate() {
        let [low, high] = layout.key.anti_squat_at_sag;
        let [least, most] = layout.key.anti_rise;
        let worth = if study.feasible() {
            [fixed(layout.score, 3), may_move(layout)]
        } else {
            [fixed(layout.violation, 3), fixed(layout.score, 3)]
        };
        let [worth, second] = worth;
        let mut row = vec![format!("{}", index + 1), worth, second];
        row.push(format!(
            "{} x {}",
            fixed(layout.size.eye_to_eye, 0),
            layout.size.stroke
        ));
        row.push(fixed(layout.key.travel, 1));
        row.extend(layout.key.leverage.map(|rate| fixed(rate, 3)));
        row.push(fixed(layout.key.straightness, 3));
        row.push(format!("{} to {}", fixed(low, 0), fixed(high, 0)));
        row.push(format!("{} to {}", fixed(least, 0), fixed(most, 0)));
        row.push(worst_target(brief, layout));
        table.row(row);
    }
    table
}

fn may_move(layout: &Ranked) -> String {
    layout
        .edge
        .as_ref()
        .map_or_else(String::new, |edge| fixed(edge.distance, 2))
}

fn worst_target(brief: &Brief, layout: &Ranked) -> String {
    let worst = layout
        .assessment
        .targets
        .iter()
        .max_by(|a, b| a.residual.abs().total_cmp(&b.residual.abs()));
    worst.map_or_else(String::new, |worst| {
        let target = target(brief, worst.objective, worst.index);
        let subject = target.map_or_else(String::new, subject_of);
        format!("{} {subject}", signed(worst.residual, 2))
    })
}

fn target(brief: &Brief, objective: usize, index: usize) -> Option<&Target> {
    brief.objectives.get(objective)?.1.targets.get(index)
}

fn blockers(brief: &Brief, study: &Study) -> String {
    if study.layouts.is_empty() {
        return String::new();
    }
    if study.blockers.is_empty() {
        return "\nNo target or limit is missed by all of them: each gives way somewhere, not all at \
                once.\n"
            .to_owned();
    }
    let mut text =
        "\nMissed by every one of them, with what it would have to give at least:\n".to_owned();
    let mut table = Table::new(3);
    for blocker in &study.blockers {
        match *blocker {
            Blocker::Target {
                objective,
                index,
                factor,
            } => {
                let Some(target) = target(brief, objective, index) else {
                    continue;
                };
                let set = brief
                    .objectives
                    .get(objective)
                    .map_or("", |(_, set)| &set.name);
                table.row([
                    format!("  {set}"),
                    format!("{}, {}", subject_of(target), wanted(&target.want)),
                    widening(&target.want, factor),
                ]);
            }
            Blocker::Limit { index, shortfall } => {
                let Some(limit) = brief.limits.get(index) else {
                    continue;
                };
                table.row([
                    "  limit".to_owned(),
                    limit_words(&brief.layout.mechanism, limit),
                    format!("{} {} more", fixed(shortfall, 2), limit_unit(limit)),
                ]);
            }
        }
    }
    let _ = write!(text, "{table}");
    text + "Widening one may need less of another; `--starts` looks longer.\n"
}

fn widening(want: &Want, factor: f64) -> String {
    let wider = |allowance: f64| fixed(allowance * factor, 3);
    match want {
        Want::Value { within, .. } => format!("within {} (x {})", wider(*within), fixed(factor, 2)),
        Want::Between { low, high } => {
            let (middle, half) = (0.5 * (low + high), 0.5 * (high - low) * factor);
            format!("{} to {}", fixed(middle - half, 2), fixed(middle + half, 2))
        }
        Want::StraightWithin(allowance) | Want::SpreadWithin(allowance) => {
            format!("within {} (x {})", wider(*allowance), fixed(factor, 2))
        }
        Want::Monotone(_) => "the curve turns back".to_owned(),
    }
}

fn limit_unit(limit: &Limit) -> &'static str {
    match limit.quantity {
        LimitQuantity::Angle(..) => "deg",
        LimitQuantity::Distance(..) | LimitQuantity::Coordinate(..) => "mm",
    }
}

/// A limit in words.
pub(super) fn limit_words(mechanism: &Mechanism, limit: &Limit) -> String {
    let name = |point: PointId| {
        mechanism
            .points
            .get(point.index())
            .map_or("", |point| &point.name)
    };
    let quantity = match limit.quantity {
        LimitQuantity::Distance(a, b) => format!("distance {} to {}", name(a), name(b)),
        LimitQuantity::Angle(a, middle, b) => {
            format!("angle at {} from {} to {}", name(middle), name(a), name(b))
        }
        LimitQuantity::Coordinate(point, axis) => format!("{}.{}", name(point), axis_name(axis)),
    };
    let bound = match (limit.bound.low(), limit.bound.high()) {
        (Some(low), Some(high)) => format!("{low} to {high}"),
        (Some(low), None) => format!("at least {low}"),
        (None, Some(high)) => format!("at most {high}"),
        (None, None) => String::new(),
    };
    let over = limit.over.map_or_else(String::new, |(from, to)| {
        format!(", {} to {}", words::place(from), words::place(to))
    });
    format!("{quantity}, {bound}{over}")
}

const fn axis_name(axis: crate::input::AxisName) -> &'static str {
    match axis {
        crate::input::AxisName::X => "x",
        crate::input::AxisName::Y => "y",
    }
}

/// What a row belongs to, in words.
pub(super) fn source_words(brief: &Brief, source: RowSource) -> String {
    match source {
        RowSource::Target(number) => {
            let targets = brief.objectives.iter().flat_map(|(_, set)| &set.targets);
            targets
                .skip(number)
                .map(subject_of)
                .next()
                .unwrap_or_default()
        }
        RowSource::Limit(index) => {
            let limit = brief.limits.get(index);
            limit.map_or_else(String::new, |limit| {
                limit_words(&brief.layout.mechanism, limit)
            })
        }
        RowSource::EndBox => "box of the shock end that its length places".to_owned(),
        RowSource::Motion => "motion over the whole stroke".to_owned(),
    }
}

/// The ranking as comma-separated values, one row a layout, every number in full.
#[must_use]
pub fn csv(brief: &Brief, study: &Study) -> String {
    let mut text = "rank,file,feasible,score,robustness,violation,eye_to_eye,stroke,total_travel,\
                    leverage_rate_top,leverage_rate_sag,leverage_rate_end,straightness_max,\
                    anti_squat_sag_min,anti_squat_sag_max,anti_rise_min,anti_rise_max"
        .to_owned();
    let names: Vec<String> = free_coordinates(brief).map(|(name, _)| name).collect();
    for name in &names {
        let _ = write!(text, ",{name}");
    }
    text.push('\n');
    for (index, layout) in study.layouts.iter().enumerate() {
        let rank = index + 1;
        let key = &layout.key;
        let robustness = layout.edge.as_ref().map_or(0.0, |edge| edge.distance);
        let _ = write!(text, "{rank},{},{}", layout_file(rank), layout.feasible);
        let numbers = [layout.score, robustness, layout.violation]
            .into_iter()
            .chain([layout.size.eye_to_eye, layout.size.stroke, key.travel])
            .chain(key.leverage)
            .chain([key.straightness])
            .chain(key.anti_squat_at_sag)
            .chain(key.anti_rise)
            .chain(free_coordinates(brief).map(|(_, coordinate)| coordinate(layout)));
        for number in numbers {
            let _ = write!(text, ",{number}");
        }
        text.push('\n');
    }
    text
}

/// The file of the layout of that rank, in the run folder.
#[must_use]
pub fn layout_file(rank: usize) -> String {
    format!("layouts/{rank:02}.json")
}

/// How a coordinate is read off a layout.
pub(super) type Coordinate = Box<dyn Fn(&Ranked) -> f64>;

/// Every coordinate of every free point, by name.
pub(super) fn free_coordinates(brief: &Brief) -> impl Iterator<Item = (String, Coordinate)> + '_ {
    brief.free.iter().flat_map(|free| {
        let point = free.point;
        let name = &brief.layout.mechanism.points[point.index()].name;
        let x: Coordinate = Box::new(move |ranked| ranked.layout.mechanism.position(point).x);
        let y: Coordinate = Box::new(move |ranked| ranked.layout.mechanism.position(point).y);
        [(format!("{name}.x"), x), (format!("{name}.y"), y)]
    })
}
