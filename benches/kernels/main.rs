//! What the curves of a layout cost, eight layouts at a time and one at a time, with their
//! derivatives, and as ratios to a plain kernel for one linkage.
//!
//! Question: how much is left of what the divide and square root unit of the machine allows?

mod kernel;
mod plain;

use criterion::Criterion;
use kernel::{Kernel, Subject, lanes_are_layouts, lanes_are_positions};
use pivotwright::mechanism::Motion;
use pivotwright::number::{Dual, LANES, Lanes, Point, Scalar};
use plain::FourBar;
use std::hint::black_box;
use std::time::{Duration, Instant};

const REFERENCE: &str = "tests/it/data/layouts/03-four-bar.layout.json";
/// A linkage of which a body is turned: its angle at full stroke needs a Newton.
const TURNED: &str = "demo-data/trail-crew-six-bar.layout.json";
/// Total travel of the reference four-bar to which the fork is scaled, mm.
const TRAVEL: f64 = 150.0;
/// Variables differentiated in one pass, and coordinates of a search.
const PASS: usize = 6;
const COORDINATES: usize = 11;

/// All curves of eight layouts.
fn batched(subject: &Subject) -> impl FnMut() + '_ {
    let points: Vec<Point<Lanes>> = subject.points(0.01);
    let stroke = Lanes::from_f64(subject.stroke());
    let mut motion = Motion::empty(&subject.plan);
    let mut kernel = Kernel::new(subject, lanes_are_layouts());
    move || {
        motion.redraw(black_box(&points), stroke);
        kernel.fill(&motion, Lanes::from_f64(TRAVEL));
        black_box(&kernel.curves);
    }
}

/// All curves of one layout.
fn single(subject: &Subject) -> impl FnMut() + '_ {
    let points: Vec<Point<f64>> = subject.points(0.0);
    let mut drawn = Motion::empty(&subject.plan);
    let mut motion: Motion<'_, Lanes> = Motion::empty(&subject.plan);
    let mut kernel = Kernel::new(subject, lanes_are_positions());
    move || {
        drawn.redraw(black_box(&points), subject.stroke());
        motion.repeat(&drawn);
        kernel.fill(&motion, Lanes::from_f64(TRAVEL));
        black_box(&kernel.curves);
    }
}

/// Our formulas in plain numbers, position by position.
fn scalar(subject: &Subject) -> impl FnMut() + '_ {
    let points: Vec<Point<f64>> = subject.points(0.0);
    let mut motion = Motion::empty(&subject.plan);
    let mut kernel = Kernel::new(subject, lanes_are_layouts());
    move || {
        motion.redraw(black_box(&points), subject.stroke());
        kernel.fill(&motion, TRAVEL);
        black_box(&kernel.curves);
    }
}

/// The plain kernel for this linkage alone.
fn plain(subject: &Subject) -> impl FnMut() + '_ {
    let four_bar = FourBar::new(subject);
    let mut curves = vec![0.0; (3 + subject.bicycle.cogs().len()) * kernel::POSITIONS];
    move || {
        black_box(&four_bar).fill(TRAVEL, &mut curves);
        black_box(&curves);
    }
}

/// All curves of one layout with their derivatives by eleven coordinates.
fn derivatives(subject: &Subject) -> impl FnMut() + '_ {
    let points: Vec<Point<f64>> = subject.points(0.0);
    let mut drawn = Motion::empty(&subject.plan);
    let mut motion: Motion<'_, Dual<Lanes, PASS>> = Motion::empty(&subject.plan);
    let mut kernel = Kernel::new(subject, lanes_are_positions());
    let mut moved: Vec<Point<Dual<f64, PASS>>> = Vec::new();
    move || {
        for first in (0..COORDINATES).step_by(PASS) {
            moved.clear();
            // The coordinates that do not belong to this pass have an index out of range.
            moved.extend(black_box(&points).iter().enumerate().map(|(index, point)| {
                let variable = |value: f64, coordinate: usize| {
                    Dual::variable(value, (2 * index + coordinate).wrapping_sub(first))
                };
                Point::new(variable(point.x, 0), variable(point.y, 1))
            }));
            drawn.redraw(&moved, Dual::constant(subject.stroke()));
            motion.repeat(&drawn);
            kernel.fill(&motion, Dual::constant(Lanes::from_f64(TRAVEL)));
            black_box(&kernel.curves);
        }
    }
}

/// Nanoseconds of one square root of eight lanes: what the machine's divider needs.
fn square_root() -> f64 {
    let mut numbers = [Lanes::from_f64(2.0); 12];
    let repeat = 2000;
    let all = repeat * numbers.len();
    least(
        &mut [&mut || {
            for _ in 0..repeat {
                for number in &mut numbers {
                    *number = number.sqrt() + 1.5;
                }
            }
            black_box(&numbers);
        }],
        40,
    )[0] / all as f64
}

/// The least time in nanoseconds of each, all taken in turn so that they meet the same machine.
fn least(runs: &mut [&mut dyn FnMut()], rounds: usize) -> Vec<f64> {
    let mut least = vec![f64::INFINITY; runs.len()];
    for _ in 0..rounds {
        for (run, least) in runs.iter_mut().zip(&mut least) {
            let start = Instant::now();
            let mut count = 0;
            while start.elapsed() < Duration::from_millis(2) {
                (0..8).for_each(|_| run());
                count += 8;
            }
            *least = least.min(start.elapsed().as_secs_f64() * 1e9 / f64::from(count));
        }
    }
    least
}

/// The plain kernel must compute what ours does, or its time tells nothing.
fn check(subject: &Subject) {
    let mut curves = vec![0.0; (3 + subject.bicycle.cogs().len()) * kernel::POSITIONS];
    FourBar::new(subject).fill(TRAVEL, &mut curves);
    let mut kernel = Kernel::new(subject, lanes_are_layouts());
    let points: Vec<Point<f64>> = subject.points(0.0);
    kernel.fill(
        &Motion::new(&subject.plan, &points, subject.stroke()),
        TRAVEL,
    );
    assert_eq!(kernel.curves.len(), curves.len());
    for (ours, plain) in kernel.curves.iter().zip(&curves) {
        assert!(
            (ours - plain).abs() < 1e-9 * plain.abs().max(1.0),
            "{ours} {plain}"
        );
    }
}

fn print_ratios(subject: &Subject, turned: &Subject) {
    check(subject);
    let lanes = LANES as f64;
    let times = least(
        &mut [
            &mut plain(subject),
            &mut scalar(subject),
            &mut batched(subject),
            &mut single(subject),
            &mut batched(turned),
            &mut derivatives(subject),
        ],
        100,
    );
    let root = square_root();
    // Two pairs, ground, chain, load transfer and leverage: nine, and one a cog.
    let bound = root * (9 + subject.bicycle.cogs().len()) as f64 * kernel::POSITIONS as f64 / lanes;
    println!("all curves of a layout, least of many interleaved rounds\n");
    println!("{:<52}{:>8}{:>18}", "", "ns", "of plain kernel");
    for (name, time) in [
        ("plain kernel for this four-bar alone", times[0]),
        ("our formulas in plain numbers", times[1]),
        ("eight layouts at a time, each", times[2] / lanes),
        ("one layout at a time", times[3]),
        (
            "a body turned (six-bar), eight at a time, each",
            times[4] / lanes,
        ),
        ("derivatives by 11 coordinates", times[5]),
        ("eight square roots at once", root),
        ("what divisions and square roots alone would take", bound),
    ] {
        println!("{name:<52}{time:>8.0}{:>18.3}", time / times[0]);
    }
    println!();
}

fn main() {
    let (subject, turned) = (Subject::load(REFERENCE), Subject::load(TURNED));
    let listing = std::env::args().any(|argument| argument == "--list" || argument == "--test");
    if !listing {
        print_ratios(&subject, &turned);
    }
    let mut criterion = Criterion::default().configure_from_args();
    criterion.bench_function("values, eight layouts", |b| {
        let mut run = batched(&subject);
        b.iter(&mut run);
    });
    criterion.bench_function("values, one layout", |b| {
        let mut run = single(&subject);
        b.iter(&mut run);
    });
    criterion.bench_function("values, eight layouts, a body turned", |b| {
        let mut run = batched(&turned);
        b.iter(&mut run);
    });
    criterion.bench_function("values, plain kernel", |b| {
        let mut run = plain(&subject);
        b.iter(&mut run);
    });
    criterion.bench_function("derivatives by 11 coordinates", |b| {
        let mut run = derivatives(&subject);
        b.iter(&mut run);
    });
    criterion.final_summary();
}
