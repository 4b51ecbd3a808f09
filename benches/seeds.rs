//! How soon a search of the reference problem gets where it is wanted, over random seeds.
//!
//! Question: evaluations (derivatives counted as one each) and processor time from nothing to the
//! first feasible layout, to 20 distinct ones, and to within 1 % of the best score known? Medians:
//! evaluations over 100 seeds, milliseconds of one thread over the first five. Not a matter for
//! a statistical harness, since seeds differ more than repetitions: it prints a table.

use pivotwright::cli::files::load_brief;
use pivotwright::number::Point;
use pivotwright::study::{Search, Starts};
use std::path::Path;
use std::time::{SystemTime, UNIX_EPOCH};

const SEEDS: u64 = 100;
/// Seeds whose time is told.
const TIMED: u64 = 5;
/// Evaluations over which it is told, by repetition: processor time is counted in ticks.
const REPEATED: u64 = 20_000;
const DISTINCT: usize = 20;

/// How many evaluations it takes to one aim, where the best score known is given.
type Reach = fn(&mut Starts, f64) -> u64;

/// Evaluations until `done` says so: starts one after the other, in each what `start` does.
fn until(mut start: impl FnMut(u64) -> (u64, bool)) -> u64 {
    let mut evaluations = 0;
    for number in 0.. {
        let (spent, done) = start(number);
        evaluations += spent;
        if done {
            break;
        }
    }
    evaluations
}

/// What this thread has had of a processor, so that others on the machine do not count; where the
/// system does not tell, the time of day.
fn processor_seconds() -> f64 {
    let told = std::fs::read_to_string("/proc/thread-self/schedstat").ok();
    let nanoseconds = told.and_then(|text| text.split_whitespace().next()?.parse::<f64>().ok());
    nanoseconds.map_or_else(
        || {
            let since = SystemTime::now().duration_since(UNIX_EPOCH);
            since.map_or(0.0, |since| since.as_secs_f64())
        },
        |nanoseconds| 1e-9 * nanoseconds,
    )
}

fn first_feasible(starts: &mut Starts, _best: f64) -> u64 {
    until(|number| {
        let (layout, spent) = starts.meet(number);
        (spent, layout.is_some_and(|layout| layout.feasible))
    })
}

/// Layouts as they are first met: no score is lowered.
fn distinct(starts: &mut Starts, _best: f64) -> u64 {
    let mut kept: Vec<Vec<Point<f64>>> = Vec::new();
    until(|number| {
        let (layout, spent) = starts.meet(number);
        if let Some(layout) = layout.filter(|layout| layout.feasible) {
            let apart = |other: &Vec<Point<f64>>| {
                let mut pairs = layout.points.iter().zip(other);
                pairs.any(|(a, b)| (*a - *b).length() > 5.0)
            };
            if kept.iter().all(apart) {
                kept.push(layout.points);
            }
        }
        (spent, kept.len() >= DISTINCT)
    })
}

fn near_the_best(starts: &mut Starts, best: f64) -> u64 {
    until(|number| {
        let (layouts, spent) = starts.run(number);
        let near =
            |layout: &pivotwright::study::Single| layout.feasible && layout.score <= 1.01 * best;
        (spent, layouts.iter().any(near))
    })
}

fn median<T: Copy>(mut values: Vec<T>, less: impl Fn(&T, &T) -> std::cmp::Ordering) -> Option<T> {
    values.sort_by(less);
    values.get(values.len() / 2).copied()
}

fn main() {
    println!("problem  aim                    evaluations  milliseconds");
    for (name, best) in [("a", 0.50913), ("b", 0.3842)] {
        let file = format!("tests/it/data/reference/{name}.brief.json");
        let aims: [(&str, Reach); 3] = [
            ("first feasible", first_feasible),
            ("20 distinct", distinct),
            ("within 1 % of the best", near_the_best),
        ];
        for (aim, reach) in aims {
            let (mut evaluations, mut times) = (Vec::new(), Vec::new());
            for seed in 1..=SEEDS {
                let mut brief = load_brief(Path::new(&file)).expect("the brief is good");
                brief.search.seed = seed;
                let search = Search::new(brief, &file, 1).expect("the layout compiles");
                search.with_starts(|starts| {
                    let spent = reach(starts, best);
                    evaluations.push(spent);
                    if seed <= TIMED {
                        let repetitions = REPEATED / spent.max(1) + 1;
                        let begun = processor_seconds();
                        for _ in 0..repetitions {
                            reach(starts, best);
                        }
                        let seconds = processor_seconds() - begun;
                        times.push(1e3 * seconds / repetitions as f64);
                    }
                });
            }
            let evaluations = median(evaluations, u64::cmp).unwrap_or(0);
            let time = median(times, f64::total_cmp).unwrap_or(f64::NAN);
            println!("{name:<8} {aim:<22} {evaluations:>11}  {time:>12.2}");
        }
        let share = share_feasible(&file);
        println!(
            "{name:<8} {:<22} {:>10.1} %",
            "starts that end feasible",
            100.0 * share
        );
    }
}

/// Of a thousand starts.
fn share_feasible(file: &str) -> f64 {
    let brief = load_brief(Path::new(file)).expect("the brief is good");
    let search = Search::new(brief, file, 1).expect("the layout compiles");
    search.with_starts(|starts| {
        let feasible = (0..1000).filter(|number| {
            let (layouts, _) = starts.run(*number);
            layouts.iter().any(|layout| layout.feasible)
        });
        feasible.count() as f64 / 1000.0
    })
}
