//! `check`: what files hold, or what is wrong with them.

use super::args::CheckArguments;
use super::files::{self, Kind, Source};
use super::search::contradiction_words;
use super::{Outcome, output, print, warn};
use crate::curves::Suspension;
use crate::design::{Assessment, Construction, contradictions};
use crate::input::fault::quoted;
use crate::input::{Axis, Brief, Faults, FreePlace, Layout, Mechanism, ObjectiveSet, PointId};
use crate::mechanism::Plan;
use crate::report::{Subject, clearances};
use std::fmt::Write;
use std::path::Path;

/// Checks every file, whatever is wrong with those before it.
pub(super) fn run(arguments: &CheckArguments) -> anyhow::Result<Outcome> {
    let mut outcome = Outcome::Met;
    for path in &arguments.files {
        match check(path) {
            Ok(line) => print(&format!("{line}\n"))?,
            Err(faults) => {
                output::complain(&faults.to_string());
                outcome = Outcome::BadInput;
            }
        }
    }
    Ok(outcome)
}

/// The line that says what the file at `path` holds, and below it how far its parts are apart.
fn check(path: &Path) -> Result<String, Faults> {
    let source = Source::read(path)?;
    match source.kind() {
        Some(Kind::Layout) => {
            let layout = source.layout()?;
            let plan = Plan::compile(&source.file, &layout.mechanism)?;
            let suspension = Suspension::new(&plan, &source.file, &layout)?;
            files::warn_of(&source.file, &layout, &suspension);
            let mut line = layout_line(&source.file, &layout, &suspension);
            if let Some(clearance) = clearances::line(&Subject::new(&layout, &suspension)) {
                let _ = write!(line, "\n  {clearance}");
            }
            Ok(line)
        }
        Some(Kind::Objectives) => {
            let set = source.objectives()?;
            Ok(objectives_line(&source.file, &set))
        }
        Some(Kind::Brief) => {
            let file = source.file.clone();
            let read = files::brief_from(path, source)?;
            let (layout_file, layout) = (&read.layout_file, &read.brief.layout);
            let plan = Plan::compile(layout_file, &layout.mechanism)?;
            // The drawn layout only starts the search, which may well mend its motion.
            let mut lines = brief_line(&file, &read.brief);
            match Suspension::new(&plan, layout_file, layout) {
                Ok(suspension) => {
                    files::warn_of(layout_file, layout, &suspension);
                    let assessment = Assessment::new(&suspension, &[], &read.brief.limits);
                    for line in clearances::limit_lines(&read.brief, &assessment.limits) {
                        let _ = write!(lines, "\n  {line}");
                    }
                }
                Err(faults) => warn(&format!("{faults}; {file} searches from it all the same")),
            }
            for point in outside_boxes(&read.brief) {
                warn(&format!(
                    "{file}: free.{point}: the layout draws it outside this box"
                ));
            }
            for contradiction in contradictions(&read.brief) {
                warn(&format!("{file}: {}", contradiction_words(&contradiction)));
            }
            Ok(lines)
        }
        None => Err(source.of_no_kind()),
    }
}

/// Free points that the layout draws outside their boxes: often a slip of unit or sign.
fn outside_boxes(brief: &Brief) -> Vec<&str> {
    let mechanism = &brief.layout.mechanism;
    let outside = brief.free.iter().filter(|free| {
        let drawn = mechanism.position(free.point);
        let origin = free.from.map(|from| mechanism.position(from));
        let (x, y) = origin.map_or((drawn.x, drawn.y), |from| {
            (drawn.x - from.x, drawn.y - from.y)
        });
        let beyond = |axis: Axis, value: f64| match axis {
            Axis::Free { low, high } => value < low - 1e-9 || value > high + 1e-9,
            Axis::Drawn(_) => false,
        };
        match free.place {
            FreePlace::Cartesian { x: across, y: up } => beyond(across, x) || beyond(up, y),
            FreePlace::Angle { .. } => false,
        }
    });
    outside
        .map(|free| mechanism.points[free.point.index()].name.as_str())
        .collect()
}

fn layout_line(file: &str, layout: &Layout, suspension: &Suspension) -> String {
    let mechanism = &layout.mechanism;
    format!(
        "{file}: layout {}: {} bodies, {}, 1 degree of freedom, {:.1} mm of travel from a \
         {:.1} x {} mm shock",
        quoted(&layout.name),
        mechanism.bodies.len(),
        counted(pivots(mechanism), "pivot"),
        suspension.total_travel(),
        mechanism.eye_to_eye(),
        mechanism.shock.stroke,
    )
}

/// Points that stand on several bodies.
fn pivots(mechanism: &Mechanism) -> usize {
    (0..mechanism.points.len())
        .filter(|&point| mechanism.bodies_of(PointId(point)).count() > 1)
        .count()
}

fn objectives_line(file: &str, set: &ObjectiveSet) -> String {
    let targets = counted(set.targets.len(), "target");
    format!("{file}: objective set {}: {targets}", quoted(&set.name))
}

fn brief_line(file: &str, brief: &Brief) -> String {
    let sizes = brief.sizes();
    // How many coordinates are free does not depend on the size of the shock.
    let free = sizes
        .first()
        .map_or(0, |&size| Construction::new(brief, size).variables().len());
    let targets = brief.objectives.iter().map(|(_, set)| set.targets.len());
    let mut line = format!(
        "{file}: brief {}: {} of {}, {} in {}, {}, ",
        quoted(&brief.name),
        counted(free, "free coordinate"),
        counted(brief.free.len(), "point"),
        counted(targets.sum(), "target"),
        counted(brief.objectives.len(), "objective set"),
        counted(brief.limits.len(), "limit"),
    );
    let _ = write!(line, "{}", counted(sizes.len(), "shock size"));
    let rings = brief.rings().len();
    if rings > 1 {
        let _ = write!(line, " with {}", counted(rings, "chainring"));
    }
    let _ = write!(line, ", from layout {}", quoted(&brief.layout.name));
    line
}

/// Such as "1 pivot" and "4 pivots".
fn counted(count: usize, noun: &str) -> String {
    let plural = if count == 1 { "" } else { "s" };
    format!("{count} {noun}{plural}")
}
