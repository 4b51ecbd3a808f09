//! `results.json` of a run folder: everything a search found, every number in full.

use super::json;
use super::ranking::{free_coordinates, layout_file, ring_of, several_rings, source_words};
use crate::input::Brief;
use crate::study::{Blocker, NearestEdge, Ranked, SizeTally, Study};
use serde_json::{Map, Value, json};

/// An input file of a run and the hash of its text.
#[derive(Clone, Debug, PartialEq, Eq, serde::Deserialize)]
pub struct InputFile {
    /// The name, relative to the brief.
    pub file: String,
    /// SHA-256 of its bytes, in hexadecimal.
    pub sha256: String,
}

/// The text of `results.json`.
#[must_use]
pub fn text(brief: &Brief, inputs: &[InputFile], study: &Study) -> String {
    let inputs: Vec<Value> = inputs
        .iter()
        .map(|input| json!({"file": input.file, "sha256": input.sha256}))
        .collect();
    let layouts: Vec<Value> = study
        .layouts
        .iter()
        .enumerate()
        .map(|(index, ranked)| layout(brief, index + 1, ranked))
        .collect();
    json::text(&json!({
        "version": env!("CARGO_PKG_VERSION"),
        "seed": brief.search.seed,
        "inputs": inputs,
        "starts": study.starts,
        "evaluations": study.evaluations,
        "scatter": study.scatter,
        "endings": study.endings,
        "milestones": study.milestones,
        "shock_sizes": study.sizes.iter().map(|tally| size_tally(brief, tally)).collect::<Vec<_>>(),
        "blockers": study.blockers.iter().map(|blocker| self::blocker(brief, blocker)).collect::<Vec<_>>(),
        "layouts": layouts,
    }))
}

fn size_tally(brief: &Brief, tally: &SizeTally) -> Value {
    let mut value = json!({
        "eye_to_eye": tally.size.eye_to_eye,
        "stroke": tally.size.stroke,
        "starts": tally.starts,
        "feasible": tally.feasible,
        "best_score": tally.best,
    });
    add_ring(brief, tally.chainring_teeth, &mut value);
    value
}

/// Names the chainring, where there are several to try.
fn add_ring(brief: &Brief, teeth: u32, value: &mut Value) {
    if several_rings(brief) {
        value["chainring_teeth"] = teeth.into();
    }
}

fn objective_name(brief: &Brief, objective: usize) -> &str {
    brief
        .objectives
        .get(objective)
        .map_or("", |(_, set)| &set.name)
}

fn blocker(brief: &Brief, blocker: &Blocker) -> Value {
    match *blocker {
        Blocker::Target {
            objective,
            index,
            residual,
        } => json!({
            "objective": objective_name(brief, objective),
            "index": index,
            "residual": residual,
        }),
        Blocker::Limit {
            index,
            value,
            shortfall,
        } => {
            json!({"limit": index, "value": value, "shortfall": shortfall})
        }
    }
}

fn layout(brief: &Brief, rank: usize, ranked: &Ranked) -> Value {
    let free: Map<String, Value> = free_coordinates(brief)
        .map(|(name, coordinate)| (name, coordinate(ranked).into()))
        .collect();
    let targets: Vec<Value> = ranked
        .assessment
        .targets
        .iter()
        .map(|result| json::target(objective_name(brief, result.objective), result))
        .collect();
    let limits: Vec<Value> = ranked
        .assessment
        .limits
        .iter()
        .map(|limit| {
            json!({
                "index": limit.index,
                "value": limit.value,
                "place": limit.place.map(json::place),
                "slack": limit.slack,
                "holds": limit.holds,
                "between": limit.between,
            })
        })
        .collect();
    let mut value = json!({
        "rank": rank,
        "file": layout_file(rank),
        "feasible": ranked.feasible,
        "score": ranked.score,
        "robustness": ranked.edge.as_ref().map_or(0.0, |edge| edge.distance),
        "violation": ranked.violation,
        "yield": ranked.as_built,
        "start": ranked.start,
        "shock": {"eye_to_eye": ranked.size.eye_to_eye, "stroke": ranked.size.stroke},
        "free": free,
        "targets": targets,
        "limits": limits,
        "nearest_edge": ranked.edge.as_ref().map(|edge| nearest_edge(brief, edge)),
    });
    add_ring(brief, ring_of(ranked), &mut value);
    value
}

fn nearest_edge(brief: &Brief, edge: &NearestEdge) -> Value {
    let points = &brief.layout.mechanism.points;
    json!({
        "point": points.get(edge.point.index()).map(|point| &point.name),
        "distance": edge.distance,
        "breaks": source_words(brief, edge.breaks),
    })
}
