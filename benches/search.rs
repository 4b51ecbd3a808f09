//! What a whole search costs: the reference problem and the demo brief, one thread and two.
//!
//! Question: how long from a brief to a ranking, and what does a second thread bring?

use criterion::{Criterion, criterion_group, criterion_main};
use pivotwright::cli::files::load_brief;
use pivotwright::study::{Control, Search};
use std::path::Path;

fn searches(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("200 starts");
    group.sample_size(10);
    for (name, file) in [
        ("reference A", "tests/it/data/reference/a.brief.json"),
        ("reference B", "tests/it/data/reference/b.brief.json"),
        ("demo", "demo-data/trail-crew-m.brief.json"),
    ] {
        for threads in [1, 2] {
            let mut brief = load_brief(Path::new(file)).expect("the brief is good");
            brief.search.starts = 200;
            let search = Search::new(brief, file, threads).expect("the layout compiles");
            group.bench_function(format!("{name}, {threads} threads"), |bencher| {
                bencher.iter(|| search.run(|_| Control::GoOn).expect("threads start"));
            });
        }
    }
    group.finish();
}

criterion_group!(benches, searches);
criterion_main!(benches);
