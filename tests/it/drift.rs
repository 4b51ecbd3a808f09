//! Drift boundaries held against a fresh look at the moved layout, and yields against plain
//! random frames looked at one by one.

use crate::linkages::{CLOSURES, KINDS, Random, movable, read, with_parts};
use crate::oracle::{Oracle, OracleCurves};
use pivotwright::curves::Suspension;
use pivotwright::design::Assessment;
use pivotwright::design::measure::{Batch, Interest, Sampled, Sampler};
use pivotwright::input::{
    Bound, Curve, Layout, Limit, LimitQuantity, ObjectiveSet, Place, PointId, Scatter,
};
use pivotwright::mechanism::{Assembly, Plan};
use pivotwright::number::{LANES, Lanes, Point, Vector};
use pivotwright::room::{Room, Sweep, neighbours};
use pivotwright::study::drift::{
    Break, CLOSENESS, DIRECTIONS, Drift, Exit, FARTHEST, MoveKind, Moved,
};
use pivotwright::study::tolerance::{
    OVERVIEW_FRAMES, Question, Source, overview, sweep_mass, tolerance,
};
use serde_json::json;
use std::sync::Arc;

/// Targets that `layout` meets, some with little room.
fn met_by(layout: &Layout, random: &mut Random) -> ObjectiveSet {
    let plan = Plan::compile("drawn", &layout.mechanism).unwrap();
    let suspension = Suspension::new(&plan, "drawn", layout).unwrap();
    let state = |place: Place| suspension.state(suspension.parameter_at(place));
    let rate = |place| state(place).leverage_rate();
    let bicycle = suspension.bicycle();
    let rise = state(Place::Sag).anti_rise(bicycle);
    let squat = state(Place::Sag).anti_squat(bicycle, bicycle.cogs()[2]);
    let teeth = bicycle.cogs()[2].teeth;
    let bend = suspension.summary(pivotwright::input::Summary::StraightnessMax);
    let mut about = |value: f64, within: f64| {
        let value = value + within * random.between(-0.9, 0.9);
        (value, within)
    };
    let (top, sag, end) = (
        about(rate(Place::Top), 0.05),
        about(rate(Place::Sag), 0.05),
        about(rate(Place::End), 0.08),
    );
    let (squat, rise) = (about(squat, 8.0), about(rise, 5.0));
    let travel = about(suspension.total_travel(), 3.0);
    let file = json!({"name": "met", "targets": [
        {"curve": "leverage_rate", "at": "top", "value": top.0, "within": top.1},
        {"curve": "leverage_rate", "at": "sag", "value": sag.0, "within": sag.1},
        {"curve": "leverage_rate", "at": "end", "value": end.0, "within": end.1},
        {"curve": "leverage_rate", "over": ["top", "end"], "straight_within": bend * 1.1 + 0.01},
        {"curve": "anti_squat", "at": "sag", "cogs": [teeth], "value": squat.0, "within": squat.1},
        {"curve": "anti_rise", "at": "sag", "value": rise.0, "within": rise.1},
        {"curve": "travel", "at": "end", "value": travel.0, "within": travel.1}
    ]});
    ObjectiveSet::from_json("met", &file.to_string()).unwrap()
}

/// Limits on the clearance of all pairs of parts that could touch, which `layout` keeps, some
/// with little room.
fn kept_by(layout: &Layout, random: &mut Random) -> Vec<Limit> {
    let plan = Plan::compile("drawn", &layout.mechanism).unwrap();
    let suspension = Suspension::new(&plan, "drawn", layout).unwrap();
    let pairs = neighbours(layout);
    let room = Room::new(&plan, suspension.bicycle(), &pairs);
    let sweep = Sweep::new(&suspension, &room);
    let limits = pairs.iter().enumerate().map(|(gap, pair)| Limit {
        quantity: LimitQuantity::Clearance(Arc::new(pair.clone())),
        bound: Bound::AtLeast(sweep.smallest(gap, 0.0, 1.0).value - random.between(0.1, 4.0)),
        over: Some((Place::Top, Place::End)),
    });
    limits.collect()
}

/// Whether a layout with these points moves and meets the set, looked at afresh.
fn met(
    layout: &Layout,
    points: &[Point<f64>],
    stroke: f64,
    (set, limits): (&ObjectiveSet, &[Limit]),
) -> bool {
    let moved = layout.with_points("moved".into(), points, stroke);
    let Ok(plan) = Plan::compile("moved", &moved.mechanism) else {
        return false;
    };
    Suspension::new(&plan, "moved", &moved)
        .is_ok_and(|suspension| Assessment::new(&suspension, &[set], limits).feasible())
}

fn check_exit(
    name: &str,
    layout: &Layout,
    asked: (&ObjectiveSet, &[Limit]),
    drift: &Drift,
    moved: Moved,
    exit: &Exit,
) {
    let (sine, cosine) = libm_sincos(exit.direction);
    let stroke = layout.mechanism.shock.stroke;
    let good = |distance: f64| {
        let by = Vector::new(cosine * distance, sine * distance);
        drift
            .drawing(moved, by)
            .is_some_and(|points| met(layout, &points, stroke, asked))
    };
    let what = format!("{name}, {moved:?} at {} degrees", exit.direction);
    if exit.breaks.is_some() {
        assert!(
            !good(exit.distance + 0.01),
            "{what}: met beyond {}",
            exit.distance
        );
    }
    let inside = exit.distance - 0.01;
    for part in 1..=3 {
        let at = inside * f64::from(part) / 3.0;
        assert!(
            at <= 0.0 || good(at),
            "{what}: not met at {at} of {}",
            exit.distance
        );
    }
}

fn libm_sincos(degrees: f64) -> (f64, f64) {
    let radians = degrees.to_radians();
    (radians.sin(), radians.cos())
}

#[test]
fn a_hundred_random_boundaries_hold_inside_and_break_outside() {
    let mut random = Random::new(77);
    let (mut checked, mut built, mut parts) = (0, 0, 0);
    // One kind that closes only together is enough: the others differ in their shock alone.
    for (index, kind) in KINDS.iter().chain(&CLOSURES[..1]).enumerate() {
        let file = &movable(kind, 5100 + index as u64, 1)[0];
        // In every second layout parts keep clear of each other too.
        let (layout, limits) = if index % 2 == 0 {
            let layout = read(&with_parts(file));
            let limits = kept_by(&layout, &mut random);
            (layout, limits)
        } else {
            (read(file), Vec::new())
        };
        let set = met_by(&layout, &mut random);
        let plan = Plan::compile(kind.name, &layout.mechanism).unwrap();
        let suspension = Suspension::new(&plan, kind.name, &layout).unwrap();
        let drift = Drift::new(&layout, &suspension, &[&set], &limits);
        assert!(drift.missed.is_empty());
        let all = drift.movable();
        let chosen: Vec<Moved> = (0..3).map(|_| *random.pick(&all)).collect();
        for region in drift.regions(&chosen, 7) {
            let mut exits = vec![region.worst, *random.pick(&region.outline)];
            exits.push(*random.pick(&region.axes));
            for exit in exits {
                let asked = (&set, &*limits);
                check_exit(kind.name, &layout, asked, &drift, region.moved, &exit);
                parts += usize::from(matches!(exit.breaks, Some(Break::Limit(_))));
                checked += usize::from(exit.breaks.is_some());
                built += usize::from(region.moved.kind != MoveKind::Design);
            }
            let nearest = region.outline.iter().chain(&region.axes);
            let nearest = nearest
                .map(|exit| exit.distance)
                .fold(f64::INFINITY, f64::min);
            assert!(region.worst.distance <= nearest + 1e-5, "{}", kind.name);
        }
    }
    assert!(
        checked >= 100 && built >= 30 && parts >= 20,
        "{checked} {built} {parts}"
    );
}

/// How far every limit of a layout with these points is from its bound, of the continuous motion.
fn slacks(layout: &Layout, points: &[Point<f64>], limits: &[Limit]) -> Vec<f64> {
    let plan = Plan::compile("moved", &layout.mechanism).unwrap();
    let stroke = layout.mechanism.shock.stroke;
    let bicycle = pivotwright::curves::Bicycle::new(layout);
    let suspension = Suspension::assembled(&plan, bicycle, points, stroke);
    let assessment = Assessment::new(&suspension, &[], limits);
    assessment.limits.iter().map(|limit| limit.slack).collect()
}

#[test]
fn clearances_in_lanes_are_those_of_each_layout_alone() {
    let mut random = Random::new(31);
    let (mut most, mut looks) = (0.0_f64, 0);
    for (index, kind) in KINDS.iter().enumerate() {
        let layout = read(&with_parts(&movable(kind, 600 + index as u64, 1)[0]));
        let limits = kept_by(&layout, &mut random);
        let plan = Plan::compile(kind.name, &layout.mechanism).unwrap();
        let suspension = Suspension::new(&plan, kind.name, &layout).unwrap();
        let mut sampler = Sampler::new(&suspension, &[], &limits);
        let (mut all, mut broken, mut least) =
            (Sampled::default(), Sampled::default(), Sampled::default());
        for spread in [0.2, 3.0] {
            let drawn = suspension.drawn();
            let moved: Vec<Vec<Point<f64>>> = (0..LANES)
                .map(|_| {
                    let mut by = || random.between(-spread, spread);
                    let points = drawn.iter();
                    points.map(|p| Point::new(p.x + by(), p.y + by())).collect()
                })
                .collect();
            let points: Vec<Point<Lanes>> = (0..drawn.len())
                .map(|point| {
                    let read = |axis: fn(&Point<f64>) -> f64| {
                        Lanes::from_array(std::array::from_fn(|lane| axis(&moved[lane][point])))
                    };
                    Point::new(read(|p| p.x), read(|p| p.y))
                })
                .collect();
            let batch = Batch {
                points: &points,
                stroke: Lanes::from_array([suspension.full_stroke(); LANES]),
                mass_shift: None,
            };
            sampler.look(&batch, Interest::Everything, &mut all);
            sampler.look(&batch, Interest::Broken, &mut broken);
            let one = |_: &Sampled| [1.0; LANES];
            sampler.look(&batch, Interest::Least(&one), &mut least);
            for lane in (0..LANES).filter(|&lane| all.margin[lane] > 0.0) {
                let exact = slacks(&layout, &moved[lane], &limits);
                for (limit, exact) in exact.into_iter().enumerate() {
                    let sampled = all.slacks[limit][lane];
                    // Parts that overlap have kinks along the travel, which samples cut off.
                    let low = limits[limit].bound.low().unwrap();
                    if exact + low > 0.0 {
                        most = most.max((sampled - exact).abs());
                    }
                    assert_eq!(sampled < 0.0, broken.slacks[limit][lane] < 0.0);
                    if sampled < 0.0 {
                        assert_eq!(sampled, broken.slacks[limit][lane]);
                    }
                    looks += 1;
                }
                let smallest = |sampled: &Sampled| {
                    let slacks = sampled.slacks.iter().map(|slacks| slacks[lane]);
                    slacks.fold(1.0, f64::min)
                };
                assert_eq!(smallest(&all), smallest(&least));
            }
        }
    }
    assert!(looks > 500);
    // What may break is looked for among all limits with less room than 1.5 mm.
    assert!(most < 0.5, "{most}");
}

#[test]
fn an_axle_moved_by_design_is_the_axle_moved_on_its_part() {
    let layout = read(&movable(&KINDS[2], 8, 1)[0]);
    let set = met_by(&layout, &mut Random::new(3));
    let plan = Plan::compile("four-bar", &layout.mechanism).unwrap();
    let suspension = Suspension::new(&plan, "four-bar", &layout).unwrap();
    let drift = Drift::new(&layout, &suspension, &[&set], &[]);
    let axle = layout.bicycle.rear_axle;
    let moved: Vec<Moved> = drift
        .movable()
        .into_iter()
        .filter(|m| m.point == axle)
        .collect();
    // The axle is no pivot here, so nothing else gives way when its hole is off.
    let [design, built] = &drift.regions(&moved, 12)[..] else {
        panic!("{moved:?}");
    };
    for (one, other) in design.outline.iter().zip(&built.outline) {
        assert!(
            (one.distance - other.distance).abs() < 1e-5,
            "{one:?} {other:?}"
        );
    }
}

/// Share of plain random frames that meet the set, each looked at afresh.
fn random_frames(layout: &Layout, set: &ObjectiveSet, scatter: &Scatter, frames: u32) -> f64 {
    let drawn: Vec<Point<f64>> = layout.mechanism.points.iter().map(|p| p.position).collect();
    let assembly = Assembly::new(&layout.mechanism, &drawn).unwrap();
    let mut fitting = assembly.fitting::<f64>();
    let mut random = Random::new(2024);
    let mut count = 0;
    for _ in 0..frames {
        let mut offsets = Vec::new();
        for hole in assembly.holes() {
            let body = &layout.mechanism.bodies[hole.body.index()].name;
            let radius = scatter.radius(body, &layout.mechanism.points[hole.point.index()].name);
            // Rejection needs no knowledge of how a disc is filled evenly.
            let offset = loop {
                let (x, y) = (random.between(-1.0, 1.0), random.between(-1.0, 1.0));
                if x * x + y * y <= 1.0 {
                    break Vector::new(x * radius, y * radius);
                }
            };
            offsets.push(offset);
        }
        let longer = random.between(-scatter.eye_to_eye, scatter.eye_to_eye);
        assembly.fit(&offsets, longer, 30, &mut fitting);
        assert!(fitting.gap_squared < 1e-18);
        let stroke =
            layout.mechanism.shock.stroke + random.between(-scatter.stroke, scatter.stroke);
        count += u32::from(met(layout, &fitting.points, stroke, (set, &[])));
    }
    f64::from(count) / f64::from(frames)
}

/// The nearest edge is a circle about a point far away, with another limit nearer still that the
/// move does not touch: the violation is flat, and then grows.
#[test]
fn the_nearest_edge_is_found_however_near_others_are() {
    let text = include_str!("../../demo-data/trail-crew-m.layout.json");
    let layout = Layout::from_json("demo", text).unwrap();
    let points = &layout.mechanism.points;
    let bodies = layout.mechanism.bodies.iter();
    let ids: Vec<PointId> = bodies.flat_map(|body| body.points.clone()).collect();
    let id = |name: &str| {
        let named = ids.iter().find(|point| points[point.index()].name == name);
        *named.unwrap()
    };
    let between = |[a, b]: [PointId; 2]| points[b.index()].position - points[a.index()].position;
    let at_least = |[a, b]: [PointId; 2], room: f64| {
        let length = between([a, b]).length();
        Limit {
            quantity: LimitQuantity::Distance(a, b),
            bound: Bound::AtLeast(length - room),
            over: None,
        }
    };
    let moved = [id("axle"), id("stay_pivot")];
    let aside = [id("main_pivot"), id("rocker_pivot")];
    let plan = Plan::compile("demo", &layout.mechanism).unwrap();
    let suspension = Suspension::new(&plan, "demo", &layout).unwrap();
    let towards = between(moved);
    let direction = towards.y.atan2(towards.x).to_degrees().rem_euclid(360.0);
    for (room, aside_room) in [(0.004, 0.0002), (0.004, 1.0), (0.3, 0.0002), (3.0, 0.1)] {
        let limits = [at_least(moved, room), at_least(aside, aside_room)];
        let drift = Drift::new(&layout, &suspension, &[], &limits);
        let axle = Moved {
            point: moved[0],
            kind: MoveKind::Design,
        };
        let worst = drift.regions(&[axle], 0)[0].worst;
        assert_eq!(worst.breaks, Some(Break::Limit(0)));
        assert!(
            (worst.distance - room).abs() < 1e-3 * room + 1e-6,
            "{worst:?}"
        );
        assert!(
            (worst.direction - direction).abs() < 2.0,
            "{worst:?} {direction}"
        );
    }
}

#[test]
fn yield_agrees_with_plain_random_frames() {
    for (index, number) in [(2, 41), (0, 42), (14, 43)] {
        let kind = &KINDS[index];
        let layout = read(&movable(kind, number, 1)[0]);
        let set = met_by(&layout, &mut Random::new(number));
        let plan = Plan::compile(kind.name, &layout.mechanism).unwrap();
        let suspension = Suspension::new(&plan, kind.name, &layout).unwrap();
        let scatter = Scatter::even(0.25);
        let question = Question {
            layout: &layout,
            sets: &[&set],
            limits: &[],
            scatter: &scatter,
            frames: 8192,
            seed: 5,
        };
        let study = tolerance(&question, &suspension).unwrap();
        let frames = 400;
        let plain = random_frames(&layout, &set, &scatter, frames);
        // Four standard deviations of the plain share.
        let share = study.share_met();
        let bound =
            4.0 * (share * (1.0 - share) / f64::from(frames)).sqrt() + 2.0 / f64::from(frames);
        assert!(
            (share - plain).abs() <= bound,
            "{}: {share}, plain {plain}",
            kind.name
        );
        assert!(share > 0.02, "{}: {share}", kind.name);
        for spread in &study.spreads {
            let name = &spread.measure.name;
            assert!(
                (0.8..1.2).contains(&spread.first_order),
                "{}, {name}: {}",
                kind.name,
                spread.first_order
            );
            let carried: f64 = spread.shares.iter().map(|share| share.sampled).sum();
            assert!(
                (0.8..1.2).contains(&carried),
                "{}, {name}: {carried}",
                kind.name
            );
            for share in &spread.shares {
                assert!(
                    (share.sampled - share.first_order).abs() < 0.05,
                    "{name}: {share:?}"
                );
            }
        }
    }
}

#[test]
fn a_range_of_the_centre_of_mass_is_swept_and_scattered() {
    let layout = read(&movable(&KINDS[2], 12, 1)[0]);
    let set = met_by(&layout, &mut Random::new(12));
    let plan = Plan::compile("four-bar", &layout.mechanism).unwrap();
    let suspension = Suspension::new(&plan, "four-bar", &layout).unwrap();
    let mass = layout.bicycle.centre_of_mass;
    let mut scatter = Scatter::even(0.1);
    scatter.centre_of_mass = Some([(mass.x - 15.0, mass.x + 25.0), (mass.y, mass.y + 30.0)]);
    let question = Question {
        layout: &layout,
        sets: &[&set],
        limits: &[],
        scatter: &scatter,
        frames: 8192,
        seed: 2,
    };
    let sweep = sweep_mass(&question, &suspension).unwrap();
    assert_eq!(sweep.places.len(), 5);
    let sag = suspension.state(suspension.parameter_at(Place::Sag)).stroke;
    let mut cogs = suspension.bicycle().cogs().to_vec();
    cogs.sort_by_key(|cog| cog.teeth);
    let named = format!("anti_squat_sag_{}", cogs[0].teeth);
    let all = suspension.bicycle().cogs();
    let cog = all.iter().position(|cog| *cog == cogs[0]).unwrap();
    let mut swept = sweep.numbers.iter();
    let squat = swept.find(|swept| swept.measure.name == named).unwrap();
    for (place, value) in sweep.places.iter().zip(&squat.values) {
        let mut moved = layout.clone();
        moved.bicycle.centre_of_mass = *place;
        let oracle = Oracle::follow(&moved).unwrap();
        let slow = OracleCurves::new(&oracle).value(Curve::AntiSquat, sag, cog);
        assert!((value - slow).abs() < 1e-6, "{place:?}: {value} {slow}");
    }
    assert!(sweep.numbers.iter().all(|swept| swept.measure.unit == "%"));
    let study = tolerance(&question, &suspension).unwrap();
    let of_squat = study.spreads.iter().find(|s| s.measure.name == named);
    let mut shares = of_squat.unwrap().shares.iter();
    let share = shares
        .find(|share| share.source == Source::CentreOfMass)
        .unwrap();
    assert!(share.first_order > 0.1, "{share:?}");
    assert!(
        (share.first_order - share.sampled).abs() < 0.05,
        "{share:?}"
    );
}

#[test]
fn frames_are_the_same_on_any_number_of_threads() {
    let layout = read(&movable(&KINDS[2], 9, 1)[0]);
    let set = met_by(&layout, &mut Random::new(9));
    let plan = Plan::compile("four-bar", &layout.mechanism).unwrap();
    let scatter = Scatter::even(0.2);
    let run = |threads: usize| {
        let pool = rayon_pool(threads);
        pool.install(|| {
            let suspension = Suspension::new(&plan, "four-bar", &layout).unwrap();
            let question = Question {
                layout: &layout,
                sets: &[&set],
                limits: &[],
                scatter: &scatter,
                frames: 5000,
                seed: 3,
            };
            tolerance(&question, &suspension).unwrap()
        })
    };
    assert_eq!(run(1), run(3));
}

fn rayon_pool(threads: usize) -> rayon::ThreadPool {
    rayon::ThreadPoolBuilder::new()
        .num_threads(threads)
        .build()
        .unwrap()
}

#[test]
fn outlines_for_a_picture_are_those_of_drift() {
    let mut random = Random::new(9);
    let mut compared = 0;
    for (index, number) in [(2, 21), (0, 22), (14, 23)] {
        let layout = read(&movable(&KINDS[index], number, 1)[0]);
        let set = met_by(&layout, &mut random);
        let name = KINDS[index].name;
        let plan = Plan::compile(name, &layout.mechanism).unwrap();
        let suspension = Suspension::new(&plan, name, &layout).unwrap();
        let drift = Drift::new(&layout, &suspension, &[&set], &[]);
        let outlines = drift.outlines();
        let moved: Vec<Moved> = outlines.iter().map(|outline| outline.moved).collect();
        let design = |moved: &Moved| moved.kind == MoveKind::Design;
        assert_eq!(
            moved,
            drift
                .movable()
                .into_iter()
                .filter(design)
                .collect::<Vec<_>>()
        );
        let directions = u32::try_from(DIRECTIONS).unwrap();
        for (outline, region) in outlines.iter().zip(drift.regions(&moved, directions)) {
            let what = format!("{name}, {:?}", outline.moved.point);
            for (ray, exit) in outline.rays.iter().zip(&region.outline) {
                let exact = exit.distance.min(FARTHEST);
                assert!(
                    (ray.distance - exact).abs() <= CLOSENESS * exact + 1e-4,
                    "{what}: {ray:?} {exit:?}"
                );
                compared += usize::from(ray.breaks.is_some());
                assert!(ray.breaks.is_some() || exit.distance >= FARTHEST * (1.0 - CLOSENESS));
            }
            let (nearest, worst) = (
                outline.nearest.distance,
                region.worst.distance.min(FARTHEST),
            );
            assert!(
                (nearest - worst).abs() <= 1e-4 * worst + 1e-5,
                "{what}: {nearest} {worst}"
            );
        }
    }
    assert!(compared > 200, "{compared}");
}

#[test]
fn an_overview_of_frames_is_the_study_of_as_many() {
    let layout = read(&movable(&KINDS[2], 31, 1)[0]);
    let set = met_by(&layout, &mut Random::new(31));
    let plan = Plan::compile("four-bar", &layout.mechanism).unwrap();
    let suspension = Suspension::new(&plan, "four-bar", &layout).unwrap();
    let scatter = Scatter::even(0.2);
    let question = Question {
        layout: &layout,
        sets: &[&set],
        limits: &[],
        scatter: &scatter,
        frames: OVERVIEW_FRAMES,
        seed: 4,
    };
    let (study, overview) = (
        tolerance(&question, &suspension).unwrap(),
        overview(&question, &suspension).unwrap(),
    );
    assert_eq!((overview.frames, overview.met), (study.frames, study.met));
    assert!(overview.met > 0 && overview.met < overview.frames);
    assert_eq!(overview.interval, study.interval);
    let misses: Vec<_> = overview.misses.iter().map(|m| (m.part, m.frames)).collect();
    assert_eq!(misses, study.misses);
    for (few, many) in overview.spreads.iter().zip(&study.spreads) {
        assert_eq!(few.measure.name, many.measure.name);
        assert_eq!(few.quantiles, many.quantiles);
        for (source, share) in &few.carriers {
            let same = many.shares.iter().find(|other| other.source == *source);
            let difference = (same.unwrap().sampled - share).abs();
            assert!(difference < 1e-9, "{}: {difference}", few.measure.name);
        }
    }
    // What the frames miss goes with the places of its own holes.
    for missed in &overview.misses {
        let carried: f64 = missed.carriers.iter().map(|(_, share)| share).sum();
        assert!(carried > 0.5 && carried < 1.3, "{missed:?}");
    }
}
