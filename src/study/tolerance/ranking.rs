//! A ranking by yield: what is built well comes before what scores well.

use super::{Question, yield_of};
use crate::curves::Suspension;
use crate::input::{Brief, ObjectiveSet, Scatter};
use crate::mechanism::Plan;
use crate::study::Study;
use rayon::prelude::*;

/// Frames by which each layout is judged, the same ones for all.
const FRAMES: u64 = 1 << 13;

/// Orders the feasible layouts of `study` by the share of their frames in all bands, the largest
/// first; those with the same share stay as they were ranked.
pub fn rank_by_yield(study: &mut Study, brief: &Brief, scatter: &Scatter) {
    study.scatter = Some(scatter.all);
    let sets: Vec<&ObjectiveSet> = brief.objectives.iter().map(|(_, set)| set).collect();
    study.layouts.par_iter_mut().for_each(|ranked| {
        let layout = &ranked.layout;
        let Ok(plan) = Plan::compile(&layout.name, &layout.mechanism) else {
            return;
        };
        let Ok(suspension) = Suspension::new(&plan, &layout.name, layout) else {
            return;
        };
        let question = Question {
            layout,
            sets: &sets,
            limits: &brief.limits,
            scatter,
            frames: FRAMES,
            seed: brief.search.seed,
        };
        ranked.as_built = yield_of(&question, &suspension);
    });
    let share = |share: Option<f64>| share.unwrap_or(-1.0);
    study.layouts.sort_by(|one, other| {
        let feasible = other.feasible.cmp(&one.feasible);
        feasible.then(share(other.as_built).total_cmp(&share(one.as_built)))
    });
    for (index, ranked) in study.layouts.iter_mut().enumerate() {
        ranked.layout.name = format!("{}, layout {}", brief.name, index + 1);
    }
}
