//! How far points may move before a band breaks, for a person and for machines.

use super::curves::{subject_of, wanted};
use super::ranking::{limit_words, source_words};
use super::sensitivity::name;
use super::table::{Table, fixed};
use super::{CAUTION, json as machine, words};
use crate::input::{BodyId, Brief, Layout, Limit, ObjectiveSet};
use crate::study::drift::{Break, Exit, MoveKind, Region, ResolvedDrift, ResolvedExit};
use crate::study::sensitivity::unit;
use serde_json::{Value, json};
use std::fmt::Write;

/// What a drift was asked about, for naming what breaks.
#[derive(Clone, Copy, Debug)]
pub struct Question<'a> {
    /// The layout.
    pub layout: &'a Layout,
    /// The objective sets.
    pub sets: &'a [&'a ObjectiveSet],
    /// The limits.
    pub limits: &'a [Limit],
    /// What is missed from the start.
    pub missed: &'a [Break],
}

/// What breaks, in words.
pub(super) fn break_words(
    layout: &Layout,
    sets: &[&ObjectiveSet],
    limits: &[Limit],
    part: Break,
) -> String {
    match part {
        Break::Target { objective, index } => sets
            .get(objective)
            .and_then(|set| set.targets.get(index))
            .map_or_else(String::new, |target| {
                format!("{}, {}", subject_of(target), wanted(&target.want))
            }),
        Break::Limit(index) => limits.get(index).map_or_else(String::new, |limit| {
            format!("limit: {}", limit_words(&layout.mechanism, limit))
        }),
        Break::Motion => "the motion ends before full stroke".to_owned(),
    }
}

impl Question<'_> {
    fn break_words(&self, part: Break) -> String {
        break_words(self.layout, self.sets, self.limits, part)
    }

    pub(super) fn exit_words(&self, exit: &Exit) -> String {
        let Some(part) = exit.breaks else {
            return format!("nothing within {} mm", fixed(exit.distance, 0));
        };
        let mut text = self.break_words(part);
        // A target at a place says so itself.
        let told = matches!(part, Break::Target { objective, index } if self.sets.get(objective)
            .and_then(|set| set.targets.get(index))
            .is_some_and(|target| matches!(target.quantity, crate::input::Quantity::At { .. })));
        if let Some(place) = exit.place.filter(|_| !told) {
            let _ = write!(text, ", at {}", words::place(place));
        }
        if let Some(teeth) = exit.cog {
            let _ = write!(text, " on {teeth} teeth");
        }
        text
    }

    fn body(&self, body: BodyId) -> &str {
        self.layout
            .mechanism
            .bodies
            .get(body.index())
            .map_or("", |body| &body.name)
    }

    /// What is moved, by name.
    fn moved(&self, region: &Region) -> String {
        let point = name(self.layout, region.moved.point);
        match region.moved.kind {
            MoveKind::Design => point.to_owned(),
            MoveKind::AsBuilt(body) => format!("{point} on {}", self.body(body)),
        }
    }
}

/// Drifts of several points.
#[must_use]
pub fn text(question: &Question, regions: &[Region]) -> String {
    let mut text = format!("{}\n", question.layout.name);
    text += &missed(question);
    for (design, heading) in [
        (
            true,
            "Design moves: how far each point of the drawing may go, mm, the others held\n\
             (an end of the shock takes its other end along at the shock's length)",
        ),
        (
            false,
            "As-built moves: how far each hole may be off on one part, mm, the rest as drawn",
        ),
    ] {
        let of_kind = |region: &&Region| (region.moved.kind == MoveKind::Design) == design;
        let rows: Vec<&Region> = regions.iter().filter(of_kind).collect();
        if rows.is_empty() {
            continue;
        }
        let _ = write!(text, "\n{heading}\n\n{}", summary(question, &rows));
    }
    text += "\n\
Along +x, -x, +y, -y and in the worst direction (degrees counter-clockwise from +x);\n\
0.01 mm farther the band named is broken, 0.01 mm nearer all hold. Points drawn in one\n\
place move together.\n";
    let _ = writeln!(text, "{CAUTION}");
    text
}

fn missed(question: &Question) -> String {
    let mut text = String::new();
    if !question.missed.is_empty() {
        text += "\nMissed as drawn, and so left out of what can break:\n";
        for &part in question.missed {
            let _ = writeln!(text, "  {}", question.break_words(part));
        }
    }
    text
}

fn distance(exit: &Exit) -> String {
    if exit.breaks.is_some() {
        fixed(exit.distance, 2)
    } else {
        format!("> {}", fixed(exit.distance, 0))
    }
}

fn summary(question: &Question, regions: &[&Region]) -> Table {
    let mut table = Table::new(1);
    let headings = [
        "",
        "+x",
        "-x",
        "+y",
        "-y",
        "worst",
        "towards",
        "what breaks there",
    ];
    table.row(headings.map(String::from));
    for region in regions {
        let mut row = vec![question.moved(region)];
        row.extend(region.axes.iter().map(distance));
        row.push(distance(&region.worst));
        row.push(fixed(region.worst.direction, 0));
        row.push(question.exit_words(&region.worst));
        table.row(row);
    }
    table
}

/// One point in depth: a polar table of its regions.
#[must_use]
pub fn polar(question: &Question, regions: &[Region], step: usize) -> String {
    let mut text = format!("{}\n", question.layout.name);
    text += &missed(question);
    for region in regions {
        let kind = match region.moved.kind {
            MoveKind::Design => "design move, the others held",
            MoveKind::AsBuilt(_) => "as-built move, the rest as drawn",
        };
        let moved = question.moved(region);
        let _ = writeln!(text, "\n{moved}: {kind}\n");
        let mut table = Table::new(0);
        table.row(["degrees", "mm", "what breaks there"].map(String::from));
        for exit in region.outline.iter().step_by(step.max(1)) {
            table.row(polar_row(question, exit));
        }
        let _ = write!(text, "{table}");
        let worst = &region.worst;
        let _ = writeln!(
            text,
            "worst: {} mm at {} degrees, {}",
            distance(worst),
            fixed(worst.direction, 1),
            question.exit_words(worst)
        );
    }
    let _ = writeln!(text, "\nDegrees counter-clockwise from +x.\n{CAUTION}");
    text
}

fn polar_row(question: &Question, exit: &Exit) -> [String; 3] {
    [
        fixed(exit.direction, 0),
        distance(exit),
        question.exit_words(exit),
    ]
}

/// Everything, every number in full.
#[must_use]
pub fn json_text(question: &Question, regions: &[Region]) -> String {
    let missed = question
        .missed
        .iter()
        .map(|&part| question.break_words(part));
    machine::text(&json!({
        "name": question.layout.name,
        "missed": missed.collect::<Vec<_>>(),
        "regions": regions.iter().map(|region| region_json(question, region)).collect::<Vec<_>>(),
    }))
}

fn region_json(question: &Question, region: &Region) -> Value {
    let (kind, body) = match region.moved.kind {
        MoveKind::Design => ("design", None),
        MoveKind::AsBuilt(body) => ("as_built", Some(question.body(body))),
    };
    let [right, left, up, down] = &region.axes;
    let outline = region.outline.iter();
    json!({
        "point": name(question.layout, region.moved.point),
        "move": kind,
        "body": body,
        "axes": {"+x": exit_json(question, right), "-x": exit_json(question, left),
                 "+y": exit_json(question, up), "-y": exit_json(question, down)},
        "worst": exit_json(question, &region.worst),
        "outline": outline.map(|exit| exit_json(question, exit)).collect::<Vec<_>>(),
    })
}

fn exit_json(question: &Question, exit: &Exit) -> Value {
    let breaks = match exit.breaks {
        None => Value::Null,
        Some(Break::Target { objective, index }) => {
            let set = question.sets.get(objective).map(|set| &set.name);
            json!({"objective": set, "index": index})
        }
        Some(Break::Limit(index)) => json!({"limit": index}),
        Some(Break::Motion) => json!("motion"),
    };
    json!({"direction": exit.direction, "distance": exit.distance, "breaks": breaks,
           "place": exit.place.map(machine::place), "cog": exit.cog})
}

/// Exits as rows; of an outline each is a corner of the safe region's polygon, in the
/// coordinates of the layout.
#[must_use]
pub fn csv(question: &Question, regions: &[Region]) -> String {
    let mut text = "point,move,body,ray,direction,distance,x,y,breaks\n".to_owned();
    for region in regions {
        let point = name(question.layout, region.moved.point);
        let (kind, body) = match region.moved.kind {
            MoveKind::Design => ("design", ""),
            MoveKind::AsBuilt(body) => ("as_built", question.body(body)),
        };
        let here = question.layout.mechanism.position(region.moved.point);
        let rays = ["+x", "-x", "+y", "-y"].into_iter().zip(&region.axes);
        let outline = region.outline.iter().map(|exit| ("outline", exit));
        let rows = rays.chain([("worst", &region.worst)]).chain(outline);
        for (ray, exit) in rows {
            let corner = here + unit(exit.direction) * exit.distance;
            let breaks = exit.breaks.map(|part| question.break_words(part));
            let breaks = breaks.unwrap_or_default().replace('"', "\"\"");
            let _ = writeln!(
                text,
                "{point},{kind},{body},{ray},{},{},{},{},\"{breaks}\"",
                exit.direction, exit.distance, corner.x, corner.y
            );
        }
    }
    text
}

/// Drifts where the other points may follow.
#[must_use]
pub fn resolved_text(brief: &Brief, drifts: &[ResolvedDrift]) -> String {
    let mut text = format!(
        "{}\n\nDesign moves: how far each point may go, mm, if the other free points of the brief \
         follow\n\n",
        brief.layout.name
    );
    let mut table = Table::new(1);
    let headings = [
        "",
        "+x",
        "-x",
        "+y",
        "-y",
        "worst",
        "towards",
        "what holds it back there",
    ];
    table.row(headings.map(String::from));
    for drift in drifts {
        let mut row = vec![name(&brief.layout, drift.point).to_owned()];
        row.extend(drift.axes.iter().map(resolved_distance));
        row.push(resolved_distance(&drift.worst));
        row.push(fixed(drift.worst.direction, 0));
        row.push(holds(brief, &drift.worst));
        table.row(row);
    }
    let _ = write!(text, "{table}");
    text += "\n\
Each distance is that of a layout that meets everything, verified on its continuous\n\
curves; the point itself may leave the box that the brief gives it, the others not.\n";
    let _ = writeln!(text, "{CAUTION}");
    text
}

fn resolved_distance(exit: &ResolvedExit) -> String {
    if exit.holds.is_some() {
        fixed(exit.distance, 2)
    } else {
        format!("> {}", fixed(exit.distance, 0))
    }
}

fn holds(brief: &Brief, exit: &ResolvedExit) -> String {
    exit.holds.map_or_else(
        || "nothing within reach".to_owned(),
        |source| source_words(brief, source),
    )
}

/// The same, every number in full.
#[must_use]
pub fn resolved_json(brief: &Brief, drifts: &[ResolvedDrift]) -> String {
    let exit = |exit: &ResolvedExit| {
        let points = brief.layout.mechanism.points.iter().zip(&exit.points);
        let points: serde_json::Map<String, Value> = points
            .map(|(point, place)| (point.name.clone(), json!([place.x, place.y])))
            .collect();
        json!({"direction": exit.direction, "distance": exit.distance,
               "holds": exit.holds.map(|source| source_words(brief, source)), "points": points})
    };
    let drifts: Vec<Value> = drifts
        .iter()
        .map(|drift| {
            let [right, left, up, down] = &drift.axes;
            json!({"point": name(&brief.layout, drift.point),
                   "axes": {"+x": exit(right), "-x": exit(left), "+y": exit(up), "-y": exit(down)},
                   "worst": exit(&drift.worst)})
        })
        .collect();
    machine::text(&json!({"name": brief.layout.name, "drifts": drifts}))
}

/// The same as rows.
#[must_use]
pub fn resolved_csv(brief: &Brief, drifts: &[ResolvedDrift]) -> String {
    let mut text = "point,ray,direction,distance,holds\n".to_owned();
    for drift in drifts {
        let point = name(&brief.layout, drift.point);
        let rays = ["+x", "-x", "+y", "-y"].into_iter().zip(&drift.axes);
        for (ray, exit) in rays.chain([("worst", &drift.worst)]) {
            let words = holds(brief, exit).replace('"', "\"\"");
            let (direction, distance) = (exit.direction, exit.distance);
            let _ = writeln!(text, "{point},{ray},{direction},{distance},\"{words}\"");
        }
    }
    text
}
