//! What bands cost, and frontiers between targets, held against the brief solved and assessed
//! again; and the commands that tell of moves, as a user runs them.

use crate::cli::run;
use pivotwright::cli::files::load_brief;
use pivotwright::curves::Suspension;
use pivotwright::design::{Assessment, RowSource};
use pivotwright::input::{Brief, Layout, ObjectiveSet, Want};
use pivotwright::mechanism::Plan;
use pivotwright::study::cost::{gains, widenings};
use pivotwright::study::drift::resolved;
use pivotwright::study::trade::trade;
use pivotwright::study::{Control, Search, Study};
use serde_json::Value;
use std::path::Path;

const BRIEF: &str = "demo-data/trail-crew-m.brief.json";

fn brief() -> Brief {
    let mut brief = load_brief(Path::new(BRIEF)).unwrap();
    brief.search.starts = 96;
    brief.search.keep = 8;
    brief
}

fn study(brief: &Brief) -> Study {
    let search = Search::new(brief.clone(), "layout", 0).unwrap();
    search.run(|_| Control::GoOn).unwrap()
}

fn plan(brief: &Brief) -> Plan {
    Plan::compile("layout", &brief.layout.mechanism).unwrap()
}

fn assess(brief: &Brief, layout: &Layout) -> Assessment {
    let plan = Plan::compile("layout", &layout.mechanism).unwrap();
    let suspension = Suspension::new(&plan, "layout", layout).unwrap();
    let sets: Vec<&ObjectiveSet> = brief.objectives.iter().map(|(_, set)| set).collect();
    Assessment::new(&suspension, &sets, &brief.limits)
}

/// The allowance of target `number` of the brief.
fn allowance(brief: &mut Brief, number: usize) -> &mut f64 {
    let mut targets = brief
        .objectives
        .iter_mut()
        .flat_map(|(_, set)| &mut set.targets);
    match &mut targets.nth(number).unwrap().want {
        Want::Value { within, .. } => within,
        Want::StraightWithin(allowance) | Want::SpreadWithin(allowance) => allowance,
        want => panic!("{want:?}"),
    }
}

#[test]
fn the_cheapest_single_widening_is_just_enough() {
    // Straighter than any layout of this brief is.
    let mut brief = brief();
    let straight = 3;
    *allowance(&mut brief, straight) = 0.02;
    let study = study(&brief);
    assert!(!study.feasible());
    let nearest: Vec<&Layout> = study.layouts.iter().map(|ranked| &ranked.layout).collect();
    let told = widenings(&plan(&brief), &brief, &nearest).unwrap();
    let cheapest = told.single.first().unwrap();
    let RowSource::Target(number) = cheapest.source else {
        panic!("{cheapest:?}");
    };
    let own = told
        .single
        .iter()
        .find(|w| w.source == RowSource::Target(straight));
    assert!(
        own.is_some_and(|own| own.share >= cheapest.share),
        "{told:?}"
    );
    let common = told.common.unwrap();
    assert!(
        common > 0.0 && common < cheapest.share,
        "{common} {cheapest:?}"
    );
    // As much is enough, and nine tenths of it are not.
    let mut wider = brief.clone();
    *allowance(&mut wider, number) *= 1.0 + cheapest.share * 1.001;
    assert!(assess(&wider, &cheapest.layout).feasible(), "{cheapest:?}");
    let mut narrower = brief.clone();
    *allowance(&mut narrower, number) *= 1.0 + cheapest.share * 0.9;
    assert!(!self::study(&narrower).feasible(), "{cheapest:?}");
}

#[test]
fn gains_are_what_the_widened_brief_scores_less() {
    let brief = brief();
    let study = study(&brief);
    let best = &study.layouts[0];
    let told = gains(&plan(&brief), &brief, &best.layout).unwrap();
    assert!(
        told.score <= best.score + 1e-9,
        "{} {}",
        told.score,
        best.score
    );
    let first = told
        .gains
        .first()
        .expect("something holds a score of a half");
    let RowSource::Target(number) = first.source else {
        panic!("{first:?}");
    };
    // The same layout in the wider brief scores lower by no more than what is told.
    let mut wider = brief.clone();
    *allowance(&mut wider, number) += first.widened;
    let unmoved = told.score.min(assess(&wider, &best.layout).score());
    assert!(
        first.gain > 0.0 && told.score - unmoved <= first.gain + 1e-3,
        "{first:?}"
    );
    assert!(
        told.gains
            .windows(2)
            .all(|pair| pair[0].gain >= pair[1].gain)
    );
}

#[test]
fn a_frontier_is_met_undominated_and_evenly_spread() {
    let brief = brief();
    let study = study(&brief);
    let layouts: Vec<&Layout> = study.layouts.iter().map(|ranked| &ranked.layout).collect();
    let pair = [3, 7];
    let told = trade(&plan(&brief), &brief, pair, &layouts, 15).unwrap();
    assert!(
        told.pulls_apart && told.points.len() >= 15,
        "{}",
        told.points.len()
    );
    for point in &told.points {
        let afresh = assess(&brief, &point.layout);
        assert!(afresh.feasible());
        for (number, residual) in pair.into_iter().zip(point.residuals) {
            assert!((afresh.targets[number].residual.abs() - residual).abs() < 1e-7);
        }
    }
    let steps: Vec<f64> = told
        .points
        .windows(2)
        .map(|pair| {
            let [one, other] = [0, 1].map(|index| pair[index].residuals);
            assert!(other[0] > one[0] && other[1] < one[1], "{one:?} {other:?}");
            (other[0] - one[0]).hypot(other[1] - one[1])
        })
        .collect();
    let mean = steps.iter().sum::<f64>() / steps.len() as f64;
    for step in &steps {
        assert!((0.4..1.9).contains(&(step / mean)), "{steps:?}");
    }
    // Nothing that the search found by itself is better in both.
    for ranked in &study.layouts {
        let own = pair.map(|number| ranked.assessment.targets[number].residual.abs());
        let better = |point: &pivotwright::study::trade::TradePoint| {
            point.residuals[0] <= own[0] + 1e-3 && point.residuals[1] <= own[1] + 1e-3
        };
        let ends = [told.points.first(), told.points.last()].map(Option::unwrap);
        let outside = own[0] > ends[1].residuals[0] || own[1] > ends[0].residuals[1];
        let between = told.points.windows(2).any(|two| {
            own[0] + 2e-3 >= two[0].residuals[0] && own[1] + 2e-3 >= two[1].residuals[1]
        });
        assert!(
            outside || between || told.points.iter().any(better),
            "{own:?}"
        );
    }
}

#[test]
fn a_pivot_goes_farther_if_the_rest_may_follow() {
    let brief = brief();
    let study = study(&brief);
    let layout = study.layouts[2].layout.clone();
    let mut own = brief.clone();
    own.layout = layout.clone();
    own.shock_sizes.clear();
    let plan = plan(&own);
    let points: Vec<_> = own.free.iter().map(|free| free.point).collect();
    let suspension = Suspension::new(&plan, "layout", &layout).unwrap();
    let sets: Vec<&ObjectiveSet> = own.objectives.iter().map(|(_, set)| set).collect();
    let held = pivotwright::study::drift::Drift::new(&layout, &suspension, &sets, &own.limits);
    let drifts = resolved(&plan, &own, &points);
    assert_eq!(drifts.len(), points.len());
    for drift in drifts {
        let moved = held
            .movable()
            .into_iter()
            .find(|moved| moved.point == drift.point);
        let region = &held.regions(&[moved.unwrap()], 0)[0];
        for (free, held) in drift.axes.iter().zip(&region.axes) {
            // Held, an end of the shock may take its other end out of the room that it has.
            let shock = layout.mechanism.shock.ends.contains(&drift.point);
            assert!(
                shock || free.distance >= held.distance - 0.05,
                "{drift:?}: held {}",
                held.distance
            );
            let stroke = layout.mechanism.shock.stroke;
            let there = layout.with_points("there".into(), &free.points, stroke);
            assert!(assess(&own, &there).feasible());
            let here = layout.mechanism.position(drift.point);
            let went = (there.mechanism.position(drift.point) - here).length();
            assert!(
                (went - free.distance).abs() < 1e-6,
                "{went} {}",
                free.distance
            );
        }
        let nearest = drift
            .axes
            .iter()
            .map(|exit| exit.distance)
            .fold(f64::INFINITY, f64::min);
        assert!(drift.worst.distance <= nearest);
    }
}

const LAYOUT: &str = "demo-data/trail-crew-m.layout.json";
const RATE: &str = "objectives/straight-progressive-rate.objectives.json";

#[test]
fn slips_in_what_is_asked_of_a_layout_are_told() {
    let (code, _, told) = run(&[
        "drift",
        LAYOUT,
        "--objectives",
        RATE,
        "--point",
        "rocker_pivt",
    ]);
    assert_eq!(code, 2);
    assert!(told.contains("did you mean \"rocker_pivot\"?"), "{told}");
    let (code, _, told) = run(&["drift", LAYOUT]);
    assert_eq!(code, 2);
    assert!(told.contains("--objectives"), "{told}");
    let (code, _, told) = run(&[
        "drift",
        LAYOUT,
        "--objectives",
        RATE,
        "--others",
        "resolved",
    ]);
    assert_eq!(code, 2);
    assert!(told.contains("--brief"), "{told}");
    let (code, _, told) = run(&[
        "tolerance",
        LAYOUT,
        "--objectives",
        RATE,
        "--scatter",
        "-0.1",
    ]);
    assert_eq!(code, 2);
    assert!(told.contains("--scatter") || told.contains("-0"), "{told}");
    let high = "demo-data/trail-crew-high-pivot.layout.json";
    let (code, _, told) = run(&["sensitivity", high, "--brief", BRIEF]);
    assert_eq!(code, 2);
    assert!(told.contains("the linkage of"), "{told}");
    let (code, _, told) = run(&["trade", BRIEF, "--between", "straight", "leverage_rate"]);
    assert_eq!(code, 2);
    assert!(told.contains("words that only one target has"), "{told}");
    assert!(
        told.contains("4 leverage_rate top to end, straight within"),
        "{told}"
    );
    let (code, _, told) = run(&["trade", BRIEF, "--between", "5", "99"]);
    assert_eq!(code, 2);
    assert!(
        told.contains("met or not") && told.contains("found 99"),
        "{told}"
    );
}

#[test]
fn what_is_missed_as_drawn_is_left_out_and_said() {
    let (code, out, _) = run(&["drift", LAYOUT, "--objectives", RATE]);
    assert_eq!(code, 1);
    assert!(out.contains("Missed as drawn"), "{out}");
    let (code, out, _) = run(&[
        "tolerance",
        LAYOUT,
        "--objectives",
        RATE,
        "--scatter",
        "0.1",
        "--frames",
        "512",
    ]);
    assert_eq!(code, 1);
    assert!(out.contains("Yield  0.00 %"), "{out}");
}

#[test]
fn every_form_of_output_can_be_read() {
    for command in [
        vec!["sensitivity", LAYOUT, "--objectives", RATE],
        vec!["drift", LAYOUT, "--objectives", RATE, "--point", "axle"],
        vec![
            "tolerance",
            LAYOUT,
            "--objectives",
            RATE,
            "--scatter",
            "0.1",
            "--frames",
            "512",
        ],
    ] {
        let form = |form| {
            let mut command = command.clone();
            command.extend(["--format", form]);
            run(&command).1
        };
        let json: Value = serde_json::from_str(&form("json")).unwrap();
        assert!(json["name"].is_string());
        let csv = form("csv");
        let mut lines = csv.lines();
        let columns = lines.next().unwrap().split(',').count();
        assert!(lines.next().unwrap().split(',').count() >= columns);
    }
    let (_, outline, _) = run(&[
        "drift",
        LAYOUT,
        "--objectives",
        RATE,
        "--point",
        "axle",
        "--format",
        "csv",
    ]);
    let corners = outline
        .lines()
        .filter(|line| line.contains("axle,design,,outline"));
    assert_eq!(corners.count(), 360);
}
