//! What learning brings over a search with as many evaluations that is even.
//!
//! Question: over ten pairs of runs with random seeds, how many times as many distinct feasible
//! layouts does the search that learns have at equal evaluations, and is its best score no worse?
//! Evaluations count derivatives as one each; layouts are distinct as the ranking counts them.
//! The numbers of evaluations are such that the archive still holds every cell apart: beyond,
//! its grid grows coarser and layouts are no longer counted one by one. Not a matter for a
//! statistical harness: what is counted is the same at every repetition. It prints a table.
//!
//! `cargo bench --bench learning -- starts A_BRIEF STARTS` looks at one long search instead: its
//! time, the memory it takes, and what it would write to its journal.

use pivotwright::cli::files::load_brief;
use pivotwright::study::{Budget, Control, Search, SearchError, Shard};
use std::path::Path;
use std::sync::atomic::AtomicBool;

const SEEDS: u64 = 10;

/// How a search stood.
#[derive(Clone, Copy, Debug)]
struct Stood {
    evaluations: f64,
    distinct: f64,
    best: f64,
}

/// A search with `seed`, up to `evaluations`: how it stood there, between the rounds around it.
fn stood(file: &str, seed: u64, evaluations: u64, even: bool) -> Stood {
    let mut brief = load_brief(Path::new(file)).expect("the brief is good");
    brief.search.seed = seed;
    let search = Search::new(brief, file, 0).expect("the layout compiles");
    let search = if even { search.evenly() } else { search };
    let never = AtomicBool::new(false);
    let nothing = Stood {
        evaluations: 0.0,
        distinct: 0.0,
        best: f64::INFINITY,
    };
    let mut last = [nothing; 2];
    let watch = |standing: &pivotwright::study::Standing| {
        let spent = standing.found().evaluations();
        last = [
            last[1],
            Stood {
                evaluations: spent as f64,
                distinct: standing.distinct(usize::MAX) as f64,
                best: standing.found().best_score().unwrap_or(f64::INFINITY),
            },
        ];
        Ok(if spent < evaluations {
            Control::GoOn
        } else {
            Control::Stop
        })
    };
    let budget = Budget::default();
    search
        .go_on::<SearchError>(search.begin(), Shard::WHOLE, &budget, &never, watch)
        .expect("threads start");
    let [before, after] = last;
    let part = (evaluations as f64 - before.evaluations) / (after.evaluations - before.evaluations);
    Stood {
        evaluations: evaluations as f64,
        distinct: before.distinct + part * (after.distinct - before.distinct),
        best: before.best,
    }
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    let middle = values.len() / 2;
    let even = values.len().is_multiple_of(2);
    let below = values[middle - usize::from(even)];
    0.5 * (below + values[middle])
}

fn main() {
    let arguments: Vec<String> = std::env::args().collect();
    if let [_, what, file, starts, ..] = &arguments[..]
        && what == "starts"
    {
        return long(file, starts.parse().expect("a number of starts"));
    }
    println!(
        "          evaluations  even  learning  ratio (least)  best score even  learning  worst pair"
    );
    for (name, file, evaluations) in [
        ("A", "tests/it/data/reference/a.brief.json", 40_000),
        ("B", "tests/it/data/reference/b.brief.json", 60_000),
        ("demo", "demo-data/trail-crew-m.brief.json", 60_000),
    ] {
        let pairs: Vec<[Stood; 2]> = (1..=SEEDS)
            .map(|seed| [true, false].map(|even| stood(file, seed, evaluations, even)))
            .collect();
        let of = |value: fn(&[Stood; 2]) -> f64| pairs.iter().map(value).collect::<Vec<f64>>();
        let ratios = of(|[even, learning]| learning.distinct / even.distinct);
        let worse = of(|[even, learning]| learning.best - even.best);
        println!(
            "{name:<8} {evaluations:>12} {:>5.0} {:>9.0} {:>6.2} {:>8.2} {:>15.4} {:>9.4} {:>+11.4}",
            median(of(|[even, _]| even.distinct)),
            median(of(|[_, learning]| learning.distinct)),
            median(ratios.clone()),
            ratios.into_iter().fold(f64::INFINITY, f64::min),
            median(of(|[even, _]| even.best)),
            median(of(|[_, learning]| learning.best)),
            worse.into_iter().fold(f64::NEG_INFINITY, f64::max),
        );
    }
}

/// Resident memory of this process, MB, where the system tells.
fn memory() -> f64 {
    let text = std::fs::read_to_string("/proc/self/statm").unwrap_or_default();
    let pages = text
        .split_whitespace()
        .nth(1)
        .and_then(|pages| pages.parse::<f64>().ok());
    pages.map_or(f64::NAN, |pages| pages * 4096.0 / 1e6)
}

fn long(file: &str, starts: u64) {
    let brief = load_brief(Path::new(file)).expect("the brief is good");
    let search = Search::new(brief, file, 0).expect("the layout compiles");
    let begun = std::time::Instant::now();
    let (mut journal, mut records, mut tell) = (0, Vec::new(), 10_000);
    let never = AtomicBool::new(false);
    let budget = Budget {
        starts: Some(starts),
        ..Budget::default()
    };
    println!("    starts  seconds  feasible  resident MB  journal MB");
    let watch = |standing: &pivotwright::study::Standing| {
        let record = standing.record();
        // What frames a record in the file has 24 bytes.
        journal += record.len() + 24;
        records.push(record);
        let found = standing.found();
        if found.starts() >= tell || found.starts() == starts {
            tell = 2 * found.starts();
            println!(
                "{:>10} {:>8.1} {:>9} {:>12.1} {:>11.2}",
                found.starts(),
                begun.elapsed().as_secs_f64(),
                found.feasible(),
                memory(),
                journal as f64 / 1e6
            );
        }
        Ok(Control::GoOn)
    };
    search
        .go_on::<SearchError>(search.begin(), Shard::WHOLE, &budget, &never, watch)
        .expect("threads start");
    let begun = std::time::Instant::now();
    let found = search.replay(records.iter().map(Vec::as_slice));
    assert!(found.is_ok_and(|found| found.starts() == starts));
    println!(
        "{} records are taken up again in {:.2} s",
        records.len(),
        begun.elapsed().as_secs_f64()
    );
}
