//! What a report costs: the page of a run of twenty layouts, and of one layout.
//!
//! A run is made first, so the bench takes some seconds before it measures.

use criterion::{Criterion, criterion_group, criterion_main};
use pivotwright::cli::files::read_brief;
use pivotwright::report::margins::Margins;
use pivotwright::report::page;
use pivotwright::report::results::{self, InputFile};
use pivotwright::report::run::{Run, RunTexts};
use pivotwright::study::{Control, Search};
use std::path::Path;

fn demo_run() -> RunTexts {
    let sources = read_brief(Path::new("demo-data/trail-crew-m.brief.json")).expect("the demo");
    let inputs: Vec<InputFile> = sources
        .inputs
        .iter()
        .map(|source| InputFile {
            file: source.file.clone(),
            sha256: String::new(),
        })
        .collect();
    let search = Search::new(sources.brief, &sources.layout_file, 0).expect("the demo");
    let study = search.run(|_| Control::GoOn).expect("threads");
    assert_eq!(study.layouts.len(), 20);
    RunTexts {
        results: results::text(search.brief(), &inputs, &study),
        inputs: sources
            .inputs
            .into_iter()
            .map(|source| source.text)
            .collect(),
        layouts: study
            .layouts
            .iter()
            .map(|ranked| ranked.layout.to_json())
            .collect(),
    }
}

fn report(criterion: &mut Criterion) {
    let texts = demo_run();
    let run = Run::from_texts("demo", &texts).expect("a run");
    let margins = Margins::of(&run, "the demo")
        .expect("layouts that move")
        .text();
    let make = || {
        let run = Run::from_texts("demo", &texts).expect("a run");
        let margins = Margins::from_text(&margins, "the demo", 20).expect("margins");
        page::run(&run, &margins).expect("a page")
    };
    println!(
        "the page of {} layouts has {} bytes",
        texts.layouts.len(),
        make().len()
    );
    criterion.bench_function("report of 20 layouts", |bencher| bencher.iter(make));
    criterion.bench_function(
        "its margins: 20 layouts, every region and yield",
        |bencher| {
            bencher.iter(|| Margins::of(&run, "the demo").expect("layouts that move"));
        },
    );
}

criterion_group!(benches, report);
criterion_main!(benches);
