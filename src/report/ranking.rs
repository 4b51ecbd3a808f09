//! The ranking of a search, for a person and as a table for machines.

use super::curves::{subject_of, wanted};
use super::table::{Table, fixed, signed};
use super::{CAUTION, words};
use crate::design::{Assessment, LIMIT_UNIT, RowSource};
use crate::input::{
    Brief, Clearance, Limit, LimitQuantity, Mechanism, Part, Place, PointId, RankBy, Relation,
    Target, Want,
};
use crate::study::{Blocker, Ending, Ranked, Study};
use std::fmt::Write;
use std::sync::Arc;

/// Columns that give way where a terminal is narrow, the first of them first: all of them stand in
/// the report and in the tables of the run folder.
const GIVE_WAY: [&str; 4] = ["worst target", "worst miss", "off straight", "anti-rise"];

/// What a person reads at the end of a search; columns give way where `width` letters are too few.
#[must_use]
pub fn text(brief: &Brief, study: &Study, width: Option<usize>) -> String {
    let mut text = headline(brief, study);
    let fits = |table: &str| {
        let longest = table.lines().map(|line| line.chars().count()).max();
        width.is_none_or(|width| longest.unwrap_or(0) <= width)
    };
    let mut table = self::table(brief, study, &[]).to_string();
    let mut dropped = 0;
    while !fits(&table) && dropped < GIVE_WAY.len() {
        dropped += 1;
        table = self::table(brief, study, &GIVE_WAY[..dropped]).to_string();
    }
    let _ = write!(text, "\n\n{table}");
    if dropped > 0 {
        text += "(columns that find no room here stand in the report)\n";
    }
    text += &sizes(brief, study);
    if study.layouts.iter().any(|layout| layout.as_built.is_some()) {
        text += "\nyield: share of frames as built in all bands, by which rows are ordered here.\n";
    }
    if study.feasible() {
        text += "\n\
score: root mean square of the worst residual of each target, 0 where wanted, 1 on
the edge of every band; rows that agree to 0.01 are ordered by play. play: how far
any one pivot may shift, mm, to first order, before a target or a limit (of the
brief, or the room given) breaks, and which. off straight: largest deviation of the
rate from the line between its ends. worst target: residual from -1 to 1 in its band.\n";
    } else {
        text += &blockers(brief, study.layouts.is_empty(), &study.blockers);
    }
    let _ = writeln!(text, "{CAUTION}");
    text
}

fn headline(brief: &Brief, study: &Study) -> String {
    let starts = study.starts;
    let early = if study.interrupted {
        ", ended early"
    } else {
        ""
    };
    let mut ended: Vec<String> = Vec::new();
    for (ending, count) in &study.endings {
        ended.push(format!("{count} {}", ending_words(*ending)));
    }
    let ended = format!("{starts} starts{early}: {}", ended.join(", "));
    let layouts = match study.layouts.len() {
        1 => "layout".to_owned(),
        count => format!("{count} layouts"),
    };
    let name = &brief.name;
    if study.feasible() {
        let feasible = match study.layouts.len() {
            1 => "1 feasible layout".to_owned(),
            count => format!("{count} distinct feasible layouts"),
        };
        format!("{name}: {feasible}\n({ended})")
    } else if study.layouts.is_empty() {
        format!(
            "{name}: nothing feasible, and no start gave a linkage that moves over the whole\n\
             stroke. The boxes may be far from any that does: start from a layout that `check`\n\
             accepts.\n({ended})"
        )
    } else {
        format!("{name}: nothing feasible. The nearest {layouts}, by worst violation:\n({ended})")
    }
}

pub(super) const fn ending_words(ending: Ending) -> &'static str {
    match ending {
        Ending::Feasible => "feasible",
        Ending::Infeasible => "stopped short of some target or limit",
        Ending::NotVerified => "met at the solver's samples but not between them",
        Ending::NotAssembled => "without a linkage that moves",
    }
}

/// What came of each size of shock with each chainring, where there are several.
fn sizes(brief: &Brief, study: &Study) -> String {
    if study.sizes.len() < 2 {
        return String::new();
    }
    let mut text = "\n".to_owned();
    for tally in &study.sizes {
        let own = |layout: &&Ranked| {
            layout.size == tally.size && ring_of(layout) == tally.chainring_teeth
        };
        let rows = study.layouts.iter().filter(own);
        // What is refined for the ranking is better than what a start ended in.
        let score = |layout: &Ranked| layout.feasible.then_some(layout.score);
        let scores = rows.clone().filter_map(score).chain(tally.best);
        let best = scores.min_by(f64::total_cmp);
        let best = best.map_or_else(String::new, |best| {
            format!(", best score {}", fixed(best, 3))
        });
        let ring = several_rings(brief).then(|| format!(", ring {}", tally.chainring_teeth));
        let first = study.layouts.iter().position(|layout| own(&layout));
        let first = first.map_or_else(String::new, |row| format!(", first at {}", row + 1));
        let _ = writeln!(
            text,
            "shock {} x {}{}: {} of {} starts feasible{best}, {} of the rows above{first}",
            fixed(tally.size.eye_to_eye, 0),
            tally.size.stroke,
            ring.unwrap_or_default(),
            tally.feasible,
            tally.starts,
            rows.count(),
        );
    }
    if brief.search.rank == RankBy::PerSize {
        text += "Rows are shared evenly among those that have a feasible layout.\n";
    }
    text
}

/// Whether the brief has several chainrings to try, so that it has to be told which is meant.
pub(super) fn several_rings(brief: &Brief) -> bool {
    brief.rings().len() > 1
}

/// Teeth of the chainring of a layout.
pub(super) fn ring_of(layout: &Ranked) -> u32 {
    layout.layout.bicycle.chainring_teeth
}

fn table(brief: &Brief, study: &Study, without: &[&str]) -> Table {
    let mut table = Table::new(0);
    let worth = if study.feasible() {
        ["score", "play"]
    } else {
        ["violation", "score"]
    };
    let mut headings: Vec<String> = [
        "rank",
        worth[0],
        worth[1],
        "shock",
        "travel",
        "rate top",
        "sag",
        "end",
        "off straight",
        "squat at sag",
        "anti-rise",
        if study.feasible() {
            "worst target"
        } else {
            "worst miss"
        },
    ]
    .map(String::from)
    .into();
    // Only where frames as built were asked about.
    let built = study.layouts.iter().any(|layout| layout.as_built.is_some());
    if built {
        headings.insert(1, "yield".to_owned());
    }
    let rings = several_rings(brief);
    if rings {
        let after = headings.iter().position(|heading| heading == "shock");
        headings.insert(after.map_or(0, |shock| shock + 1), "ring".to_owned());
    }
    let kept: Vec<bool> = headings
        .iter()
        .map(|heading| !without.contains(&&**heading))
        .collect();
    let keep = |row: Vec<String>| {
        let cells = row.into_iter().zip(&kept);
        cells.filter(|(_, kept)| **kept).map(|(cell, _)| cell)
    };
    table.row(keep(headings));
    for (index, layout) in study.layouts.iter().enumerate() {
        let [low, high] = layout.key.anti_squat_at_sag;
        let [least, most] = layout.key.anti_rise;
        let worth = if study.feasible() {
            [fixed(layout.score, 3), play(layout)]
        } else {
            [fixed(layout.violation, 3), fixed(layout.score, 3)]
        };
        let [worth, second] = worth;
        let mut row = vec![format!("{}", index + 1)];
        if built {
            let percent = layout.as_built.map(|share| fixed(100.0 * share, 2));
            row.push(percent.map_or_else(String::new, |percent| format!("{percent} %")));
        }
        row.extend([worth, second]);
        row.push(format!(
            "{} x {}",
            fixed(layout.size.eye_to_eye, 0),
            layout.size.stroke
        ));
        if rings {
            row.push(ring_of(layout).to_string());
        }
        row.push(fixed(layout.key.travel, 1));
        row.extend(layout.key.leverage.map(|rate| fixed(rate, 3)));
        row.push(fixed(layout.key.straightness, 3));
        row.push(format!("{} to {}", fixed(low, 0), fixed(high, 0)));
        row.push(format!("{} to {}", fixed(least, 0), fixed(most, 0)));
        row.push(worst(brief, &layout.assessment));
        table.row(keep(row));
    }
    table
}

/// The distance to the nearest edge, and whether a target or something of the brief's own.
fn play(layout: &Ranked) -> String {
    layout.edge.as_ref().map_or_else(String::new, |edge| {
        let what = match edge.breaks {
            RowSource::Target(_) => "target",
            RowSource::Limit(_) | RowSource::EndBox => "limit",
            RowSource::Motion => "motion",
        };
        format!("{} {what}", fixed(edge.distance, 2))
    })
}

/// The target, or where none is feasible the target or limit, that is farthest off.
pub(super) fn worst(brief: &Brief, assessment: &Assessment) -> String {
    let target = assessment
        .targets
        .iter()
        .max_by(|a, b| a.residual.abs().total_cmp(&b.residual.abs()));
    let limit = assessment
        .limits
        .iter()
        .min_by(|a, b| a.slack.total_cmp(&b.slack));
    let beyond = target.map_or(0.0, |target| target.residual.abs() - 1.0);
    if let Some(limit) = limit.filter(|limit| -limit.slack / LIMIT_UNIT > beyond.max(0.0)) {
        let words = brief.limits.get(limit.index);
        let words = words.map(|limit| limit_words(&brief.layout.mechanism, limit));
        return format!("{} {}", signed(limit.slack, 2), words.unwrap_or_default());
    }
    target.map_or_else(String::new, |worst| {
        let subject = self::target(brief, worst.objective, worst.index);
        let subject = subject.map_or_else(String::new, subject_of);
        format!("{} {subject}", signed(worst.residual, 2))
    })
}

fn target(brief: &Brief, objective: usize, index: usize) -> Option<&Target> {
    brief.objectives.get(objective)?.1.targets.get(index)
}

pub(super) fn blockers(brief: &Brief, without_layouts: bool, blockers: &[Blocker]) -> String {
    if without_layouts {
        return String::new();
    }
    if blockers.is_empty() {
        return "\nNo target or limit is missed by all of them: each gives way somewhere, not all at \
                once.\n"
            .to_owned();
    }
    let mut text =
        "\nMissed by each of the nearest, with what it would have to give at least. They pull\nagainst each other: the worst miss is shared out, so widening one may free another.\n".to_owned();
    let mut table = Table::new(3);
    for blocker in blockers {
        match *blocker {
            Blocker::Target {
                objective,
                index,
                residual,
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
                    widening(&target.want, residual),
                ]);
            }
            Blocker::Limit {
                index,
                value,
                shortfall,
            } => {
                let Some(limit) = brief.limits.get(index) else {
                    continue;
                };
                let unit = limit_unit(limit);
                table.row([
                    "  limit".to_owned(),
                    limit_words(&brief.layout.mechanism, limit),
                    format!(
                        "{} {unit} at best, {} off",
                        fixed(value, 2),
                        fixed(shortfall, 2)
                    ),
                ]);
            }
        }
    }
    let _ = write!(text, "{table}");
    text
}

/// What a target would have to allow for the nearest residual to be met.
fn widening(want: &Want, residual: f64) -> String {
    let factor = residual.abs();
    let wider = |allowance: f64| {
        format!(
            "within {} (x {})",
            fixed(allowance * factor, 3),
            fixed(factor, 2)
        )
    };
    match want {
        Want::Value { within, .. } => wider(*within),
        Want::Between { low, high } => {
            let edge = 0.5 * (low + high) + 0.5 * (high - low) * residual;
            format!(
                "{} {}",
                if residual > 0.0 { "up to" } else { "down to" },
                fixed(edge, 2)
            )
        }
        Want::StraightWithin(allowance) | Want::SpreadWithin(allowance) => wider(*allowance),
        Want::Monotone(_) => {
            format!(
                "turns back by {} % of its whole change",
                fixed((factor - 1.0) * 100.0, 1)
            )
        }
    }
}

pub(super) fn limit_unit(limit: &Limit) -> &'static str {
    match limit.quantity {
        LimitQuantity::Angle(..) => "deg",
        LimitQuantity::Distance(..)
        | LimitQuantity::Coordinate(..)
        | LimitQuantity::Clearance(_) => "mm",
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
    let quantity = match &limit.quantity {
        &LimitQuantity::Distance(a, b) => format!("distance {} to {}", name(a), name(b)),
        &LimitQuantity::Angle(a, middle, b) => {
            format!("angle at {} from {} to {}", name(middle), name(a), name(b))
        }
        &LimitQuantity::Coordinate(point, axis) => format!("{}.{}", name(point), axis_name(axis)),
        LimitQuantity::Clearance(clearance) => clearance_words(clearance),
    };
    let bound = match (limit.bound.low(), limit.bound.high()) {
        (Some(low), Some(high)) => format!("{low} to {high}"),
        (Some(low), None) => format!("at least {low}"),
        (None, Some(high)) => format!("at most {high}"),
        (None, None) => String::new(),
    };
    // Parts have to keep clear of each other over the whole travel, unless said otherwise.
    let usual = limit.clearance().map(|_| (Place::Top, Place::End));
    let over = limit.over.filter(|over| Some(*over) != usual);
    let over = over.map_or_else(String::new, |(from, to)| {
        format!(", {} to {}", words::place(from), words::place(to))
    });
    format!("{quantity}, {bound}{over}")
}

/// Such as "clearance of tyre to post and bottle".
fn clearance_words(clearance: &Clearance) -> String {
    let names = |parts: &[Arc<Part>]| {
        let names: Vec<_> = parts.iter().map(|part| &*part.name).collect();
        names.join(" and ")
    };
    let (first, second) = (names(&clearance.first), names(&clearance.second));
    match clearance.relation {
        Relation::Apart => format!("clearance of {first} to {second}"),
        Relation::Inside => format!("{first} inside {second}"),
    }
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
    let rings = several_rings(brief);
    if rings {
        text.push_str(",chainring_teeth");
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
        if rings {
            let _ = write!(text, ",{}", ring_of(layout));
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
