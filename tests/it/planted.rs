//! Planted problems: the targets are a layout's own curves, so that something feasible is known
//! to exist, and every point is free in a box of 40 mm that is not centred on it.

use crate::linkages::{CLOSURES, KINDS, Random, movable, read};
use crate::trial::{Trial, moved};
use pivotwright::curves::Suspension;
use pivotwright::input::{Curve, Place, Summary};
use serde_json::{Value, json};

/// How many problems are planted for each kind.
const PROBLEMS: usize = 2;

/// Within how many starts a feasible layout has to be found.
const STARTS: u64 = 16;

const BOX: f64 = 40.0;

/// A place on a curve, with the value of the layout itself in the middle of the band.
fn at(suspension: &Suspension, curve: Curve, place: (&str, Place), within: f64) -> Value {
    let state = suspension.state(suspension.parameter_at(place.1));
    let value = suspension.value(curve, &state, suspension.bicycle().cogs()[0]);
    json!({"curve": curve.name(), "at": place.0, "value": value, "within": within})
}

fn anti_squat(suspension: &Suspension, cog: usize) -> Value {
    let cog = suspension.bicycle().cogs()[cog];
    let state = suspension.state(suspension.parameter_at(Place::Sag));
    let value = suspension.value(Curve::AntiSquat, &state, cog);
    json!({"curve": "anti_squat", "at": "sag", "cogs": [cog.teeth], "value": value, "within": 4})
}

/// The layout's own curves as targets.
pub fn own_curves(suspension: &Suspension) -> Vec<Value> {
    let straightness = suspension.summary(Summary::StraightnessMax);
    let [least, most] =
        [Summary::AntiRiseMin, Summary::AntiRiseMax].map(|quantity| suspension.summary(quantity));
    let leverage = |place| at(suspension, Curve::LeverageRate, place, 0.03);
    let last = suspension.bicycle().cogs().len() - 1;
    vec![
        leverage(("top", Place::Top)),
        leverage(("sag", Place::Sag)),
        leverage(("end", Place::End)),
        json!({"curve": "leverage_rate", "over": ["top", "end"],
            "straight_within": 1.1 * straightness + 0.005}),
        at(suspension, Curve::Travel, ("end", Place::End), 1.5),
        at(suspension, Curve::AxleX, ("end", Place::End), 3.0),
        anti_squat(suspension, 0),
        anti_squat(suspension, last / 2),
        anti_squat(suspension, last),
        json!({"curve": "anti_rise", "over": ["top", "end"], "between": [least - 4.0, most + 4.0]}),
    ]
}

/// Every point in a box of 40 mm that leans up to 8 mm, and 4 at least, to one side.
fn boxes(layout: &Value, random: &mut Random) -> Value {
    let mut free = json!({});
    for (name, place) in layout["mechanism"]["points"].as_object().unwrap() {
        let mut side = |value: &Value| {
            let lean = random.between(4.0, 8.0);
            let lean = if random.between(0.0, 1.0) < 0.5 {
                -lean
            } else {
                lean
            };
            let low = value.as_f64().unwrap() - 0.5 * BOX + lean;
            json!([low, low + BOX])
        };
        free[name] = json!({"x": side(&place[0]), "y": side(&place[1])});
    }
    free
}

/// Plants a problem in `layout`: something feasible is found.
fn plant(name: &str, layout: &Value, seed: u64) {
    let targets = moved(&read(layout), own_curves);
    let free = boxes(layout, &mut Random::new(seed));
    let mut trial = Trial::new(layout.clone(), targets, free);
    trial.starts = STARTS;
    trial.seed = seed;
    let found = trial.search();
    let [first, second] = found.brief.layout.mechanism.shock.ends;
    assert_eq!(found.brief.constructed_end(), Some((second, first)));
    assert!(
        found.feasible(),
        "{name}, problem {seed}: {:?}, violation {:?}",
        found.study.endings,
        found.study.layouts.first().map(|ranked| ranked.violation)
    );
}

/// Plants problems in random layouts of the kind of that name.
fn plant_kind(name: &str) {
    let kind = KINDS.iter().chain(&CLOSURES).find(|kind| kind.name == name);
    for (seed, layout) in (1..).zip(movable(kind.unwrap(), 1, PROBLEMS)) {
        plant(name, &layout, seed);
    }
}

#[test]
fn every_kind_is_planted() {
    let text = include_str!("planted.rs");
    for kind in KINDS.iter().chain(&CLOSURES) {
        assert!(
            text.contains(&format!("=> \"{}\"", kind.name)),
            "{}",
            kind.name
        );
    }
}

macro_rules! planted {
    ($($test:ident => $kind:literal)*) => {
        $(
            #[test]
            fn $test() {
                plant_kind($kind);
            }
        )*
    };
}

planted! {
    single_pivot_is_found_again => "single pivot"
    driven_single_pivot_is_found_again => "linkage-driven single pivot"
    four_bar_with_the_axle_on_the_seat_stay_is_found_again => "four-bar, axle on the seat stay"
    four_bar_with_the_axle_on_the_chain_stay_is_found_again => "four-bar, axle on the chain stay"
    four_bar_with_the_axle_on_the_pivot_is_found_again => "four-bar, axle on the pivot"
    two_short_links_are_found_again => "two short links"
    shock_between_two_short_links_is_found_again => "two short links, shock between them"
    six_bar_with_a_yoke_is_found_again => "six-bar with a guided yoke"
    floating_brake_is_found_again => "floating brake"
    shock_between_arm_and_rocker_is_found_again => "single pivot, shock between arm and rocker"
    shock_between_stay_and_rocker_is_found_again => "four-bar, shock between stay and rocker"
    shock_eye_on_a_pin_is_found_again => "four-bar, shock eye on a pin"
    rigid_truss_is_found_again => "four-bar on a rigid truss"
    caliper_on_the_rocker_is_found_again => "single pivot, caliper on the rocker"
    idler_on_the_frame_is_found_again => "high pivot, idler on the frame, chain over"
    idler_on_the_arm_is_found_again => "high pivot, idler on the arm, chain over"
    idler_over_the_chain_is_found_again => "four-bar, idler on the chain stay, chain under"
    idler_over_the_chain_on_the_frame_is_found_again => "four-bar, idler on the frame, chain under"
    closure_with_the_shock_on_the_coupler_is_found_again => "six-bar, shock on the coupler"
    closure_with_the_shock_on_the_rocker_is_found_again => "six-bar, shock on the rocker"
    closure_with_the_shock_on_the_arm_is_found_again => "six-bar, shock on the arm"
    closure_with_the_shock_inside_is_found_again => "six-bar, shock between arm and coupler"
}

/// The layouts that come with the project.
#[test]
fn demo_layouts_are_found_again() {
    let layouts = [
        include_str!("../../demo-data/trail-crew-m.layout.json"),
        include_str!("../../demo-data/trail-crew-single-pivot.layout.json"),
        include_str!("../../demo-data/trail-crew-short-links.layout.json"),
        include_str!("../../demo-data/trail-crew-high-pivot.layout.json"),
        include_str!("../../demo-data/trail-crew-six-bar.layout.json"),
    ];
    for layout in layouts {
        let layout: Value = serde_json::from_str(layout).unwrap();
        plant(&layout["name"].to_string(), &layout, 1);
    }
}
