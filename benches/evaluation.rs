//! What one candidate costs: values, derivatives, one local solve.
//!
//! Question: how far is a candidate of the reference problem from what the machine allows?

use criterion::{Criterion, criterion_group, criterion_main};
use pivotwright::cli::files::load_brief;
use pivotwright::design::{DesignProblem, Purpose};
use pivotwright::mechanism::Plan;
use pivotwright::optimise::{
    Derivatives, Evaluation, Feasible, FeasibleSettings, Minimiser, MinimiserSettings, Problem,
    place, unit_cube_point,
};
use std::hint::black_box;
use std::path::Path;

fn reference(criterion: &mut Criterion) {
    for (name, file) in [
        ("reference A", "tests/it/data/reference/a.brief.json"),
        ("reference B", "tests/it/data/reference/b.brief.json"),
    ] {
        let brief = load_brief(Path::new(file)).expect("the reference brief is good");
        let plan = Plan::compile(file, &brief.layout.mechanism).expect("the layout is good");
        let problem = DesignProblem::new(&plan, &brief, brief.variants()[0]);
        let mut meet = problem.with_purpose(Purpose::Meet, 1e-3);
        let x = sample(&mut meet);
        let mut values = Evaluation::default();
        values.resize(&meet);
        let mut slopes = Derivatives::default();
        slopes.resize(&meet);
        criterion.bench_function(&format!("{name}: values"), |bencher| {
            bencher.iter(|| values.fill(&mut meet, black_box(&x)));
        });
        criterion.bench_function(&format!("{name}: derivatives"), |bencher| {
            bencher.iter(|| slopes.fill(&mut meet, black_box(&x)));
        });
        let mut stage = Feasible::new(FeasibleSettings::default());
        criterion.bench_function(&format!("{name}: first feasible point"), |bencher| {
            bencher.iter(|| stage.solve(&mut meet, black_box(&x)));
        });
        let met = stage.solve(&mut meet, &x).x;
        let mut score = problem.with_purpose(Purpose::Score, 1e-3);
        let from = score
            .with_slacks(&met)
            .expect("a feasible point can be evaluated");
        let mut stage = Minimiser::new(MinimiserSettings::default());
        criterion.bench_function(&format!("{name}: best score"), |bencher| {
            bencher.iter(|| stage.solve(&mut score, black_box(&from)));
        });
    }
}

/// The first sample that assembles.
fn sample(problem: &mut DesignProblem) -> Vec<f64> {
    let mut x = vec![0.0; problem.variables().len()];
    for index in 0.. {
        unit_cube_point(1, index, &mut x);
        place(&mut x, problem.bounds(), 1.0);
        if problem.margin(&x) > 1e-2 {
            break;
        }
    }
    x
}

criterion_group!(benches, reference);
criterion_main!(benches);
