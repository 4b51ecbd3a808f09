//! Searches with limits on parts: what is found is clear of everything, what cannot be is said.

use crate::trial;
use pivotwright::cli::files::load_brief;
use pivotwright::curves::Suspension;
use pivotwright::design::{DesignProblem, Purpose, RowSource};
use pivotwright::input::{Brief, BriefFile};
use pivotwright::mechanism::Plan;
use pivotwright::optimise::{Derivatives, Evaluation, Problem, place, unit_cube_point};
use pivotwright::study::{Blocker, Control, Search};
use serde_json::{Value, json};
use std::path::Path;

const FILE: &str = "demo-data/trail-crew-m.brief.json";

fn demo() -> Brief {
    load_brief(Path::new(FILE)).unwrap()
}

/// The demo brief with another text.
fn changed(change: impl FnOnce(&mut Value)) -> Brief {
    let mut value =
        serde_json::from_str(include_str!("../../../demo-data/trail-crew-m.brief.json")).unwrap();
    change(&mut value);
    let Brief {
        mut layout,
        objectives,
        ..
    } = demo();
    layout.parts.clear();
    let file = BriefFile::from_json(FILE, &value.to_string()).unwrap();
    file.resolve(layout, objectives)
        .unwrap_or_else(|faults| panic!("{faults}"))
}

fn clearances(brief: &Brief) -> usize {
    brief
        .limits
        .iter()
        .filter(|limit| limit.clearance().is_some())
        .count()
}

/// `trial::search` looks at every limit of every layout found at many positions, with distances
/// by geo.
#[test]
fn layouts_found_are_clear_of_everything() {
    let brief = changed(|brief| brief["search"]["starts"] = json!(64));
    assert!(clearances(&brief) >= 12);
    let found = trial::search(brief, 2);
    assert!(found.feasible(), "{:?}", found.study.endings);
    // A layout is written with the parts around it.
    for layout in found.layouts() {
        assert_eq!(layout.parts, found.brief.layout.parts);
    }
}

#[test]
fn the_demo_brief_has_twenty_distinct_layouts_that_can_be_built() {
    let found = trial::search(changed(|brief| brief["search"]["starts"] = json!(400)), 2);
    let feasible = found.study.layouts.iter().filter(|layout| layout.feasible);
    assert_eq!(feasible.count(), 20);
}

#[test]
fn a_tyre_through_the_seat_tube_is_named_as_what_blocks() {
    let brief = changed(|brief| {
        brief["parts"]["seat_tube"]["capsule"] = json!([[-40, 60], [-150, 480]]);
        brief["search"]["starts"] = json!(32);
    });
    let tyre = brief.limits.iter().position(|limit| {
        let named = |name| {
            move |clearance: &pivotwright::input::Clearance| {
                clearance.first.iter().any(|part| part.name == name)
            }
        };
        limit.clearance().is_some_and(named("tyre"))
    });
    let search = Search::new(brief, FILE, 2).unwrap();
    let study = search.run(|_| Control::GoOn).unwrap();
    assert!(!study.feasible());
    let blocking = study.blockers.iter().find_map(|blocker| match *blocker {
        Blocker::Limit {
            index, shortfall, ..
        } if Some(index) == tyre => Some(shortfall),
        _ => None,
    });
    assert!(
        blocking.is_some_and(|shortfall| shortfall > 1.0),
        "{:?}",
        study.blockers
    );
}

#[test]
fn an_upper_bound_draws_parts_near() {
    let brief = changed(|brief| {
        let near =
            json!({"clearance": ["shock_body", "bottle"], "at_most": 12, "over": [0.6, 0.8]});
        brief["limits"].as_array_mut().unwrap().push(near);
        brief["search"]["starts"] = json!(48);
    });
    let found = trial::search(brief, 2);
    assert!(found.feasible(), "{:?}", found.study.endings);
}

/// The rows that a solver sees of limits on parts, against differences of themselves.
#[test]
fn rows_of_clearances_have_exact_derivatives_away_from_ties() {
    const STEP: f64 = 1e-4;
    let brief = changed(|brief| {
        let chain = json!({"clearance": ["upper_chain", "bottle"], "at_least": -500});
        brief["limits"].as_array_mut().unwrap().push(chain);
    });
    let first = brief
        .limits
        .iter()
        .position(|limit| limit.clearance().is_some())
        .unwrap();
    let plan = Plan::compile(FILE, &brief.layout.mechanism).unwrap();
    let problem = DesignProblem::new(&plan, &brief, brief.variants()[1]);
    let mut problem = problem.with_purpose(Purpose::Meet, 0.0);
    let (mut checked, mut ties) = (0, 0);
    let mut values = [
        Evaluation::default(),
        Evaluation::default(),
        Evaluation::default(),
    ];
    let mut slopes = Derivatives::default();
    for values in &mut values {
        values.resize(&problem);
    }
    slopes.resize(&problem);
    for index in 0..60 {
        let mut x = vec![0.0; problem.variables().len()];
        unit_cube_point(5, index, &mut x);
        place(&mut x, problem.bounds(), 1.0);
        if problem.margin(&x) < 1e-2 || values[2].fill(&mut problem, &x).is_err() {
            continue;
        }
        slopes.fill(&mut problem, &x).unwrap();
        for variable in 0..x.len() {
            for (values, step) in values.iter_mut().zip([STEP, -STEP]) {
                let mut moved = x.clone();
                moved[variable] += step;
                values.fill(&mut problem, &moved).unwrap();
            }
            for row in 0..problem.rows().len() {
                let of_parts = |source| matches!(source, RowSource::Limit(limit) if limit >= first);
                if !of_parts(problem.row_source(row)) {
                    continue;
                }
                let [ahead, behind, here] = [0, 1, 2].map(|index| values[index].rows[row]);
                let bend = (ahead - 2.0 * here + behind).abs();
                // Where another pair, edge or sample takes over the slope jumps.
                if bend > 1e-8 {
                    ties += 1;
                    continue;
                }
                let difference = (ahead - behind) / (2.0 * STEP);
                let slope = slopes.rows[row * x.len() + variable];
                assert!(
                    (slope - difference).abs() <= 1e-6 * (1.0 + slope.abs()),
                    "row {row} by {variable}: {slope} {difference}"
                );
                checked += 1;
            }
        }
    }
    assert!(checked > 5000 && ties * 20 < checked, "{checked} {ties}");
}

/// The drawn layout is judged by the continuous motion, and `between` names the parts.
#[test]
fn what_is_drawn_is_assessed_as_it_is() {
    let brief = demo();
    let plan = Plan::compile(FILE, &brief.layout.mechanism).unwrap();
    let suspension = Suspension::new(&plan, FILE, &brief.layout).unwrap();
    let assessment = pivotwright::design::Assessment::new(&suspension, &[], &brief.limits);
    for (limit, result) in brief.limits.iter().zip(&assessment.limits) {
        trial::sampled::check_limit(&suspension, limit, result);
        assert_eq!(result.between.is_some(), limit.clearance().is_some());
    }
    let broken: Vec<_> = assessment
        .limits
        .iter()
        .filter(|limit| limit.between.is_some() && !limit.holds)
        .collect();
    assert_eq!(broken.len(), 1);
    assert_eq!(
        broken[0].between,
        Some(["shock_shaft".to_owned(), "down_tube".to_owned()])
    );
}
