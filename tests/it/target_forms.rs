//! Every form of target and limit: layouts that a search finds without it break it, those that
//! it finds with it keep it, as [`crate::trial::sampled`] sees for every layout found.

use crate::linkages::read;
use crate::trial::{Found, Trial, assert_close, moved, sampled};
use pivotwright::curves::Suspension;
use pivotwright::design::Assessment;
use pivotwright::input::{Layout, Limit, ObjectiveSet, Summary};
use pivotwright::study::Blocker;
use serde_json::{Value, json};

/// A four-bar, told what its sag is a fraction of.
fn four_bar(sag_of: &str) -> Value {
    let text = include_str!("../../demo-data/trail-crew-m.layout.json");
    let mut layout: Value = serde_json::from_str(text).unwrap();
    layout["bicycle"]["sag"]["of"] = json!(sag_of);
    layout
}

/// All pivots free, and one loose target.
fn loose(layout: Value) -> Trial {
    let mut free = json!({"shock_frame": {"from": "shock_rocker", "angle": [-105, -80]}});
    for name in [
        "main_pivot",
        "stay_pivot",
        "rocker_pivot",
        "rocker_stay",
        "shock_rocker",
    ] {
        let place = &layout["mechanism"]["points"][name];
        let (x, y) = (place[0].as_f64().unwrap(), place[1].as_f64().unwrap());
        free[name] = json!({"x": [x - 18.0, x + 12.0], "y": [y - 12.0, y + 18.0]});
    }
    let target = json!({"curve": "travel", "at": "end", "value": 150, "within": 20});
    let mut trial = Trial::new(layout, vec![target], free);
    trial.starts = 12;
    trial
}

/// The first target of `target` as it is held against a layout.
fn assess(layout: &Layout, target: &Value) -> Assessment {
    let set = json!({"name": "one", "targets": [target]}).to_string();
    let set = ObjectiveSet::from_json("one", &set).unwrap();
    moved(layout, |suspension| {
        Assessment::new(suspension, &[&set], &[])
    })
}

/// `target` is missed by something found without it, and met by something found with it.
fn asked_for(without: &Found, trial: &Trial, target: &Value) -> Found {
    let missed = without
        .layouts()
        .any(|layout| !assess(layout, target).feasible());
    assert!(missed, "{target} asks for nothing");
    let mut trial = trial.clone();
    trial.targets.push(target.clone());
    let found = trial.search();
    assert!(found.feasible(), "{target}: {:?}", found.study.endings);
    found
}

/// What a suspension has of a quantity, given as the target `{..., "value": 0, "within": 1}`.
fn own(layout: &Layout, quantity: &Value) -> f64 {
    let mut target = quantity.clone();
    target["value"] = json!(0);
    target["within"] = json!(1);
    assess(layout, &target).targets[0].values[0].value
}

#[test]
fn value_and_between_are_met_at_every_kind_of_place() {
    let trial = loose(four_bar("travel"));
    let (without, layout) = (trial.search(), read(&trial.layout));
    let quantities = [
        json!({"curve": "leverage_rate", "at": "top"}),
        json!({"curve": "leverage_rate", "at": "sag"}),
        json!({"curve": "leverage_rate", "at": "end"}),
        json!({"curve": "leverage_rate", "at": 0.62}),
        json!({"curve": "stroke", "at": 0.4}),
        json!({"curve": "axle_x", "at": "end"}),
        json!({"curve": "anti_rise", "at": "sag"}),
        json!({"curve": "anti_squat", "at": "sag", "cogs": [24]}),
        json!({"curve": "chain_growth", "at": "end", "cogs": [51]}),
        json!({"curve": "pedal_kickback", "at": "end", "cogs": [10]}),
        json!({"curve": "pedal_kickback_braked", "at": 0.5, "cogs": [24]}),
        json!({"curve": "rear_centre_growth", "at": "end"}),
        json!({"curve": "head_angle_change", "at": "end"}),
        json!({"curve": "wheelbase", "at": "end"}),
    ];
    for (index, quantity) in quantities.into_iter().enumerate() {
        let value = own(&layout, &quantity);
        let off = without
            .layouts()
            .map(|layout| (own(layout, &quantity) - value).abs())
            .fold(0.0, f64::max);
        let mut target = quantity;
        if index % 2 == 0 {
            target["value"] = json!(value);
            target["within"] = json!(0.3 * off);
        } else {
            target["between"] = json!([value - 0.1 * off, value + 0.4 * off]);
        }
        asked_for(&without, &trial, &target);
    }
}

#[test]
fn targets_over_a_range_hold_all_along_it() {
    let trial = loose(four_bar("travel"));
    let without = trial.search();
    let targets = [
        json!({"curve": "anti_rise", "over": ["top", "end"], "value": 52, "within": 8}),
        json!({"curve": "anti_rise", "over": ["sag", 0.8], "between": [46, 54]}),
        json!({"curve": "anti_squat", "over": ["top", 0.6], "cogs": "all", "between": [65, 150]}),
        json!({"curve": "leverage_rate", "over": [0.1, "sag"], "value": 2.72, "within": 0.12}),
        json!({"curve": "leverage_rate", "over": ["top", "end"], "straight_within": 0.03}),
        json!({"curve": "leverage_rate", "over": ["sag", "end"], "straight_within": 0.01}),
        json!({"curve": "anti_squat", "over": ["top", 0.5], "cogs": [10, 51],
            "straight_within": 1.5}),
        json!({"curve": "anti_squat", "at": "sag", "cogs": "all", "spread_within": 26}),
        json!({"curve": "anti_squat", "over": ["top", 0.6], "cogs": [24], "spread_within": 25}),
        json!({"curve": "anti_squat", "over": [0.1, 0.4], "cogs": [18, 24, 51],
            "spread_within": 26}),
        json!({"curve": "anti_rise", "over": ["top", "end"], "spread_within": 6}),
        json!({"curve": "anti_rise", "over": ["top", "end"], "monotone": "falling"}),
        json!({"curve": "axle_x", "over": ["sag", "end"], "monotone": "rising"}),
    ];
    for target in targets {
        asked_for(&without, &trial, &target);
    }
}

#[test]
fn every_summary_quantity_may_be_a_target() {
    for quantity in Summary::ALL {
        // Of the two shares of sag, one is given by the layout.
        let sag_of = if quantity == Summary::SagOfStroke {
            "travel"
        } else {
            "stroke"
        };
        let trial = loose(four_bar(sag_of));
        let without = trial.search();
        let summary = |suspension: &Suspension| suspension.summary(quantity);
        let value = moved(&read(&trial.layout), summary);
        let off = without
            .layouts()
            .map(|layout| (moved(layout, summary) - value).abs())
            .fold(0.0, f64::max);
        let target = json!({"curve": quantity.name(), "value": value, "within": 0.3 * off});
        let found = asked_for(&without, &trial, &target);
        for layout in found.layouts() {
            let miss = (moved(layout, summary) - value).abs();
            assert!(miss <= 0.3 * off * (1.0 + 1e-9), "{}", quantity.name());
        }
    }
}

#[test]
fn sag_of_stroke_is_where_the_shock_is_compressed_that_far() {
    let trial = loose(four_bar("stroke"));
    let without = trial.search();
    let target = json!({"curve": "leverage_rate", "at": "sag", "value": 2.65, "within": 0.01});
    let found = asked_for(&without, &trial, &target);
    for layout in found.layouts() {
        moved(layout, |suspension| {
            let stroke = 0.3 * layout.mechanism.shock.stroke;
            let state = suspension.state(suspension.parameter_at_stroke(stroke));
            assert!((state.leverage_rate() - 2.65).abs() <= 0.01 * (1.0 + 1e-6));
            assert!(state.travel / suspension.total_travel() > 0.31);
        });
    }
}

#[test]
fn a_heavier_target_is_missed_by_less() {
    let residuals = [1.0, 100.0].map(|weight| {
        let mut trial = loose(four_bar("travel"));
        // Both together cannot be exact: the mean rate is the travel over the stroke.
        trial.targets = vec![
            json!({"curve": "travel", "at": "end", "value": 150, "within": 3, "weight": weight}),
            json!({"curve": "leverage_mean", "value": 2.53, "within": 0.06}),
        ];
        let found = trial.search();
        let best = found
            .study
            .layouts
            .iter()
            .min_by(|a, b| a.score.total_cmp(&b.score))
            .unwrap();
        best.assessment.targets[0].residual.abs()
    });
    assert!(residuals[1] < 0.1 * residuals[0], "{residuals:?}");
}

/// Its leverage rate falls from 3.52 to 3.17 at two thirds of the travel, and rises to 3.42.
fn late_riser() -> Value {
    let mut layout = four_bar("travel");
    let points = &mut layout["mechanism"]["points"];
    points["rocker_pivot"] = json!([-15.0, 244.0]);
    points["rocker_stay"] = json!([-130.7, 276.8]);
    points["shock_rocker"] = json!([32.8, 279.3]);
    points["shock_frame"] = json!([50.3, 120.1]);
    layout
}

fn rate_of_the_late_riser(reach: f64) -> Trial {
    let mut trial = loose(late_riser());
    let layout = read(&trial.layout);
    trial.targets = ["top", "sag", "end"]
        .map(|place| {
            let rate = json!({"curve": "leverage_rate", "at": place});
            json!({"curve": "leverage_rate", "at": place,
                "value": own(&layout, &rate), "within": 0.1})
        })
        .to_vec();
    trial.free = json!({});
    for name in ["rocker_stay", "shock_rocker", "shock_frame"] {
        let place = &trial.layout["mechanism"]["points"][name];
        let (x, y) = (place[0].as_f64().unwrap(), place[1].as_f64().unwrap());
        trial.free[name] = json!({"x": [x - reach, x + reach], "y": [y - reach, y + reach]});
    }
    trial
}

fn falling() -> Value {
    json!({"curve": "leverage_rate", "over": ["top", "end"], "monotone": "falling"})
}

#[test]
fn a_rate_that_turns_up_late_is_told_by_monotone_alone() {
    let mut trial = rate_of_the_late_riser(1.0);
    assert!(trial.search().feasible());
    trial.targets.push(falling());
    let found = trial.search();
    assert!(!found.feasible());
    assert!(!found.study.layouts.is_empty());
    let named = found.study.blockers.iter().any(
        |blocker| matches!(blocker, Blocker::Target { objective: 0, index: 3, residual } if residual.abs() > 1.0),
    );
    assert!(named, "{:?}", found.study.blockers);
}

#[test]
fn with_room_a_falling_rate_is_found_where_others_turn_up() {
    let mut trial = rate_of_the_late_riser(40.0);
    trial.targets.pop();
    trial.starts = 24;
    asked_for(&trial.search(), &trial, &falling());
}

/// What is wanted is taken from one of the layouts found without the limit, so it can be had.
#[test]
fn limits_of_every_form_hold() {
    let trial = loose(four_bar("travel"));
    let without = trial.search();
    let quantities = [
        ("distance", json!(["stay_pivot", "rocker_pivot"])),
        ("distance", json!(["main_pivot", "shock_frame"])),
        (
            "angle",
            json!(["stay_pivot", "rocker_stay", "rocker_pivot"]),
        ),
        ("coordinate", json!("shock_rocker.y")),
        ("coordinate", json!("rocker_stay.x")),
    ];
    for (kind, of) in quantities {
        for bound in ["at_least", "at_most", "between"] {
            for over in [None, Some(json!(["top", "end"])), Some(json!([0.2, "sag"]))] {
                let mut limit = json!({kind: of, "at_least": 0});
                if let Some(over) = over {
                    limit["over"] = over;
                }
                limit_holds(&without, &trial, limit, bound);
            }
        }
    }
}

/// Least and greatest value of a limit's quantity, as far as the limit looks.
fn extent(layout: &Layout, limit: &Limit) -> [f64; 2] {
    let values = moved(layout, |suspension| {
        sampled::limit_values(suspension, limit)
    });
    let least = values.iter().copied().fold(f64::INFINITY, f64::min);
    let most = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    [least, most]
}

fn limit_holds(without: &Found, trial: &Trial, mut limit: Value, bound: &str) {
    let mut trial = trial.clone();
    trial.limits = vec![limit.clone()];
    let read = trial.read().unwrap().limits[0].clone();
    let mut extents: Vec<[f64; 2]> = without.layouts().map(|l| extent(l, &read)).collect();
    extents.sort_by(|a, b| a[0].total_cmp(&b[0]));
    let middle = extents[extents.len() / 2];
    limit.as_object_mut().unwrap().remove("at_least");
    let [low, high] = [middle[0] - 0.5, middle[1] + 0.5];
    limit[bound] = match bound {
        "at_least" => json!(low),
        "at_most" => json!(high),
        _ => json!([low, high]),
    };
    let broken = extents.iter().any(|[least, most]| match bound {
        "at_least" => *least < low,
        "at_most" => *most > high,
        _ => *least < low || *most > high,
    });
    assert!(broken, "{limit} asks for nothing");
    trial.limits = vec![limit.clone()];
    let found = trial.search();
    assert!(found.feasible(), "{limit}: {:?}", found.study.endings);
}

#[test]
fn a_limit_without_a_range_holds_at_full_extension_only() {
    let mut trial = loose(four_bar("travel"));
    trial.limits = vec![json!({"coordinate": "shock_rocker.y", "at_least": 285})];
    let found = trial.search();
    let mut whole = trial.clone();
    whole.limits[0]["over"] = json!(["top", "end"]);
    let whole = whole.read().unwrap().limits[0].clone();
    assert!(found.feasible());
    assert!(
        found
            .layouts()
            .any(|layout| extent(layout, &whole)[0] < 280.0),
        "the eye never sinks, so nothing was tried"
    );
}

#[test]
fn a_band_that_is_met_counts_nothing_in_the_score() {
    let mut trial = loose(four_bar("travel"));
    trial.targets = vec![
        json!({"curve": "anti_squat", "at": "sag", "cogs": "all", "spread_within": 60}),
        json!({"curve": "travel", "at": "end", "between": [140, 160], "weight": 3}),
    ];
    let found = trial.search();
    assert!(found.feasible());
    for ranked in &found.study.layouts {
        let spread = moved(&ranked.layout, |suspension| {
            suspension.summary(Summary::AntiSquatSpreadAtSag)
        });
        let residual = ranked.assessment.targets[0].residual;
        assert_close("spread", residual, spread / 60.0, 1e-12);
        // Three quarters of the weight is on the band.
        assert_close("score", ranked.score, 0.5 * spread / 60.0, 1e-12);
    }
}
