//! What a local solve costs for four kinds of linkage, and how the cost of one candidate grows.
//!
//! Question: which part of a brief makes it dearer, and by how much? A candidate is its values
//! and derivatives by all free coordinates, as one step of a solver needs them.

#[path = "../tests/it/linkages/kinds.rs"]
#[allow(dead_code, reason = "drawings of more kinds than are measured")]
mod kinds;

use criterion::{BenchmarkId, Criterion, criterion_group, criterion_main};
use pivotwright::curves::Suspension;
use pivotwright::design::{DesignProblem, Purpose};
use pivotwright::input::{Brief, BriefFile, Curve, Layout, ObjectiveSet, Place, PointId, Summary};
use pivotwright::mechanism::Plan;
use pivotwright::optimise::{
    Derivatives, Evaluation, Feasible, FeasibleSettings, Minimiser, MinimiserSettings, Problem,
    place, unit_cube_point,
};
use serde_json::{Value, json};
use std::fs;
use std::hint::black_box;
use std::time::Duration;

const CASSETTE: [u32; 12] = [10, 12, 14, 16, 18, 21, 24, 28, 33, 39, 45, 51];

/// Half the width of the box of every free coordinate, mm.
const ROOM: f64 = 15.0;

fn demo(name: &str) -> Value {
    let text = fs::read_to_string(format!("demo-data/trail-crew-{name}.layout.json"));
    serde_json::from_str(&text.expect("the demo data is there")).expect("the layout is JSON")
}

/// The drawing of a kind, on the bicycle of the demo, with a stroke that it can move over.
fn drawn(kind: &kinds::Kind, stroke: f64) -> Value {
    let mut layout = demo("m");
    layout["mechanism"] = (kind.mechanism)();
    layout["mechanism"]["shock"]["stroke"] = json!(stroke);
    layout
}

/// One layout for each way in which a mechanism is compiled, and the simplest of all.
fn four_kinds() -> [(&'static str, Value); 4] {
    [
        ("single pivot", demo("single-pivot")),
        ("four-bar", demo("m")),
        ("six-bar that turns a body", demo("six-bar")),
        (
            "six-bar that closes at once",
            drawn(&kinds::CLOSURES[1], 18.0),
        ),
    ]
}

/// A brief whose targets are the layout's own curves, with `free` of its points in boxes.
fn brief(layout: &Value, cogs: &[u32], free: usize) -> Brief {
    let mut layout = layout.clone();
    layout["bicycle"]["cassette_teeth"] = json!(cogs);
    let layout = Layout::from_json("layout", &layout.to_string()).expect("the layout is good");
    let targets = own_curves(&layout);
    let set = json!({"name": "own", "targets": targets}).to_string();
    let set = ObjectiveSet::from_json("objectives", &set).expect("the targets are good");
    let mechanism = &layout.mechanism;
    let ends = mechanism.shock.ends.map(PointId::index);
    let mut boxes = json!({});
    let points = mechanism.points.iter().enumerate();
    // The shock's ends would make its length a question too.
    let points = points.filter(|(index, _)| !ends.contains(index)).take(free);
    for (_, point) in points {
        let side = |at: f64| json!([at - ROOM, at + ROOM]);
        boxes[&point.name] = json!({"x": side(point.position.x), "y": side(point.position.y)});
    }
    let file = json!({"name": "bench", "layout": "layout", "objectives": ["objectives"],
        "free": boxes, "search": {"starts": 1}});
    let file = BriefFile::from_json("brief", &file.to_string()).expect("the brief is good");
    file.resolve(layout, vec![("objectives".to_owned(), set)])
        .expect("the brief fits the layout")
}

fn own_curves(layout: &Layout) -> Vec<Value> {
    let plan = Plan::compile("layout", &layout.mechanism).expect("the layout compiles");
    let suspension = Suspension::new(&plan, "layout", layout).expect("the layout moves");
    let cog = suspension.bicycle().cogs()[0];
    let at = |curve: Curve, name: &str, place: Place, within: f64| {
        let state = suspension.state(suspension.parameter_at(place));
        let value = suspension.value(curve, &state, cog);
        json!({"curve": curve.name(), "at": name, "value": value, "within": within})
    };
    let straightness = suspension.summary(Summary::StraightnessMax);
    let [least, most] = [Summary::AntiRiseMin, Summary::AntiRiseMax].map(|s| suspension.summary(s));
    let mut targets = vec![
        at(Curve::LeverageRate, "top", Place::Top, 0.05),
        at(Curve::LeverageRate, "sag", Place::Sag, 0.05),
        at(Curve::LeverageRate, "end", Place::End, 0.05),
        at(Curve::Travel, "end", Place::End, 2.0),
        json!({"curve": "leverage_rate", "over": ["top", "end"],
            "straight_within": 1.2 * straightness + 0.01}),
        json!({"curve": "anti_rise", "over": ["top", "end"], "between": [least - 5.0, most + 5.0]}),
    ];
    let sag = suspension.state(suspension.parameter_at(Place::Sag));
    for cog in suspension.bicycle().cogs() {
        let value = suspension.value(Curve::AntiSquat, &sag, *cog);
        targets.push(
            json!({"curve": "anti_squat", "at": "sag", "cogs": [cog.teeth],
            "value": value, "within": 8}),
        );
    }
    targets
}

/// The problem of a brief with a sample from which a feasible layout is met.
fn prepare<R>(brief: &Brief, use_it: impl FnOnce(&mut DesignProblem, &[f64]) -> R) -> R {
    let plan = Plan::compile("layout", &brief.layout.mechanism).expect("the layout compiles");
    let problem = DesignProblem::new(&plan, brief, brief.variants()[0]);
    let mut meet = problem.with_purpose(Purpose::Meet, 1e-3);
    let mut x = vec![0.0; meet.variables().len()];
    let mut stage = Feasible::new(FeasibleSettings::default());
    for index in 0..1000 {
        unit_cube_point(1, index, &mut x);
        place(&mut x, meet.bounds(), 1.0);
        if meet.margin(&x) > 1e-2 && stage.solve(&mut meet, &x).violation <= 0.0 {
            return use_it(&mut meet, &x);
        }
    }
    panic!("no start of a thousand meets a layout's own curves");
}

fn local_solve(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("local solve, both stages");
    group
        .measurement_time(Duration::from_secs(3))
        .sample_size(20);
    for (name, layout) in four_kinds() {
        prepare(&brief(&layout, &CASSETTE, 9), |meet, x| {
            let mut feasible = Feasible::new(FeasibleSettings::default());
            let mut minimiser = Minimiser::new(MinimiserSettings {
                row_tolerance: 2e-4,
                fall_tolerance: 1e-4,
                ..MinimiserSettings::default()
            });
            let mut score = meet.with_purpose(Purpose::Score, 1e-3);
            group.bench_function(name, |bencher| {
                bencher.iter(|| {
                    let met = feasible.solve(meet, black_box(x)).x;
                    let from = score
                        .with_slacks(&met)
                        .expect("a layout that was met moves");
                    minimiser.solve(&mut score, &from)
                });
            });
        });
    }
    group.finish();
}

fn growth(criterion: &mut Criterion) {
    let four_bar = demo("m");
    one_candidate(
        criterion,
        "bodies",
        four_kinds().map(|(name, layout)| {
            let bodies = layout["mechanism"]["bodies"]
                .as_object()
                .map_or(0, serde_json::Map::len);
            (format!("{bodies}, {name}"), brief(&layout, &CASSETTE, 1))
        }),
    );
    one_candidate(
        criterion,
        "free coordinates",
        [1, 2, 3, 4, 5].map(|points| {
            (
                (2 * points).to_string(),
                brief(&four_bar, &CASSETTE, points),
            )
        }),
    );
    one_candidate(
        criterion,
        "cogs",
        [1, 3, 6, 12].map(|cogs| (cogs.to_string(), brief(&four_bar, &CASSETTE[..cogs], 5))),
    );
    positions(criterion, &four_bar);
}

/// Values and derivatives of one candidate of each brief.
fn one_candidate(
    criterion: &mut Criterion,
    what: &str,
    briefs: impl IntoIterator<Item = (String, Brief)>,
) {
    let mut group = criterion.benchmark_group(format!("one candidate, by {what}"));
    short(&mut group);
    for (name, brief) in briefs {
        prepare(&brief, |meet, x| {
            let (mut values, mut slopes) = (Evaluation::default(), Derivatives::default());
            values.resize(meet);
            slopes.resize(meet);
            group.bench_function(BenchmarkId::from_parameter(name), |bencher| {
                bencher.iter(|| {
                    let evaluated = values.fill(meet, black_box(x));
                    evaluated.and_then(|()| slopes.fill(meet, black_box(x)))
                });
            });
        });
    }
    group.finish();
}

/// Leverage rate, anti-rise and anti-squat on every cog at positions of a layout that moves.
fn positions(criterion: &mut Criterion, layout: &Value) {
    let layout = Layout::from_json("layout", &layout.to_string()).expect("the layout is good");
    let plan = Plan::compile("layout", &layout.mechanism).expect("the layout compiles");
    let suspension = Suspension::new(&plan, "layout", &layout).expect("the layout moves");
    let mut group = criterion.benchmark_group("all curves, by positions");
    short(&mut group);
    for positions in [8_u32, 31, 121, 481] {
        group.bench_function(BenchmarkId::from_parameter(positions), |bencher| {
            bencher.iter(|| {
                let mut sum = 0.0;
                for position in 0..positions {
                    let q = f64::from(position) / f64::from(positions - 1);
                    let state = suspension.state(black_box(q));
                    sum += state.leverage_rate() + state.anti_rise(suspension.bicycle());
                    for cog in suspension.bicycle().cogs() {
                        sum += state.anti_squat(suspension.bicycle(), *cog);
                    }
                }
                sum
            });
        });
    }
    group.finish();
}

fn short(group: &mut criterion::BenchmarkGroup<'_, criterion::measurement::WallTime>) {
    group
        .warm_up_time(Duration::from_millis(300))
        .measurement_time(Duration::from_secs(1))
        .sample_size(20);
}

criterion_group!(benches, local_solve, growth);
criterion_main!(benches);
