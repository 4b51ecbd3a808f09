//! What questions about a finished layout cost: drift, drift with the rest re-optimised, frames
//! as built, sensitivity.
//!
//! Question: does an engineer get the answer before the hand is off the key?

use criterion::{Criterion, criterion_group, criterion_main};
use pivotwright::cli::files::load_brief;
use pivotwright::curves::Suspension;
use pivotwright::design::measure::clearances;
use pivotwright::input::{ObjectiveSet, PointId, Scatter};
use pivotwright::mechanism::Plan;
use pivotwright::study::drift::{Drift, resolved};
use pivotwright::study::sensitivity::Sensitivity;
use pivotwright::study::tolerance::{Question, yield_of};
use pivotwright::study::{Control, Search};
use std::hint::black_box;
use std::path::Path;

const BRIEF: &str = "demo-data/trail-crew-m.brief.json";

/// Frames of one measurement: a million take some fifteen times as long.
const FRAMES: u64 = 1 << 16;

fn moves(criterion: &mut Criterion) {
    let mut brief = load_brief(Path::new(BRIEF)).expect("the demo brief is good");
    brief.search.starts = 64;
    brief.search.keep = 1;
    let search = Search::new(brief.clone(), "layout", 0).expect("the demo layout is good");
    let study = search.run(|_| Control::GoOn).expect("threads start");
    brief.layout = study.layouts[0].layout.clone();
    brief.shock_sizes.clear();
    let layout = brief.layout.clone();
    let plan = Plan::compile("layout", &layout.mechanism).expect("a ranked layout is good");
    let suspension = Suspension::new(&plan, "layout", &layout).expect("a ranked layout moves");
    let sets: Vec<&ObjectiveSet> = brief.objectives.iter().map(|(_, set)| set).collect();
    criterion.bench_function("sensitivity of every point", |bencher| {
        bencher.iter(|| Sensitivity::of_points(&layout, black_box(&suspension), &sets));
    });
    criterion.bench_function("sensitivity of every point, clearances too", |bencher| {
        bencher.iter(|| {
            let clearances = clearances(&layout, black_box(&suspension), &brief.limits);
            Sensitivity::with_clearances(&layout, &suspension, &sets, clearances, None)
        });
    });
    criterion.bench_function("drift of every point and hole", |bencher| {
        bencher.iter(|| {
            let drift = Drift::new(&layout, black_box(&suspension), &sets, &brief.limits);
            drift.regions(&drift.movable(), 0)
        });
    });
    criterion.bench_function("the same, of targets alone", |bencher| {
        bencher.iter(|| {
            let drift = Drift::new(&layout, black_box(&suspension), &sets, &[]);
            drift.regions(&drift.movable(), 0)
        });
    });
    let points: Vec<PointId> = brief.free.iter().map(|free| free.point).collect();
    criterion.bench_function("drift with the others re-optimised", |bencher| {
        bencher.iter(|| resolved(&plan, black_box(&brief), &points));
    });
    let scatter = Scatter::even(0.15);
    let question = Question {
        layout: &layout,
        sets: &sets,
        limits: &brief.limits,
        scatter: &scatter,
        frames: FRAMES,
        seed: 1,
    };
    criterion.bench_function("yield of 65536 frames", |bencher| {
        bencher.iter(|| yield_of(black_box(&question), &suspension));
    });
}

criterion_group! {
    name = benches;
    config = Criterion::default().sample_size(10);
    targets = moves
}
criterion_main!(benches);
