//! One drawing of each kind of linkage.

use serde_json::{Value, json};

/// A kind of linkage.
pub struct Kind {
    pub name: &'static str,
    pub mechanism: fn() -> Value,
    pub idler: fn() -> Option<Value>,
}

const fn plain(name: &'static str, mechanism: fn() -> Value) -> Kind {
    Kind {
        name,
        mechanism,
        idler: || None,
    }
}

/// Kinds that close in pairs of links, by the shock or by one turned body.
pub const KINDS: [Kind; 18] = [
    plain("single pivot", single_pivot),
    plain("linkage-driven single pivot", driven_single_pivot),
    plain("four-bar, axle on the seat stay", seat_stay_four_bar),
    plain("four-bar, axle on the chain stay", chain_stay_four_bar),
    plain("four-bar, axle on the pivot", axle_pivot_four_bar),
    plain("two short links", short_links),
    plain("two short links, shock between them", short_links_floating),
    plain("six-bar with a guided yoke", yoke_six_bar),
    plain("floating brake", floating_brake),
    plain("single pivot, shock between arm and rocker", floating_shock),
    plain("four-bar, shock between stay and rocker", floating_four_bar),
    plain("four-bar, shock eye on a pin", eye_on_pin),
    plain("four-bar on a rigid truss", truss),
    plain("single pivot, caliper on the rocker", caliper_on_rocker),
    Kind {
        name: "high pivot, idler on the frame, chain over",
        mechanism: high_pivot,
        idler: || Some(json!({"point": "idler_frame", "teeth": 18, "wrap": "over"})),
    },
    Kind {
        name: "high pivot, idler on the arm, chain over",
        mechanism: high_pivot,
        idler: || Some(json!({"point": "idler_arm", "teeth": 16, "wrap": "over"})),
    },
    Kind {
        name: "four-bar, idler on the chain stay, chain under",
        mechanism: low_idler,
        idler: || Some(json!({"point": "idler_arm", "teeth": 12, "wrap": "under"})),
    },
    Kind {
        name: "four-bar, idler on the frame, chain under",
        mechanism: low_idler,
        idler: || Some(json!({"point": "idler_frame", "teeth": 14, "wrap": "under"})),
    },
];

/// Kinds that close in no order of pairs, whichever body is turned.
pub const CLOSURES: [Kind; 4] = [
    plain("six-bar, shock on the coupler", coupler_shock),
    plain("six-bar, shock on the rocker", rocker_shock),
    plain("six-bar, shock on the arm", arm_shock),
    plain("six-bar, shock between arm and coupler", inner_shock),
];

fn single_pivot() -> Value {
    json!({
        "points": {"axle": [-440, 20], "main_pivot": [-5, 85],
            "shock_arm": [-75, 230], "shock_frame": [135, 240]},
        "bodies": {"frame": ["main_pivot", "shock_frame"],
            "arm": ["main_pivot", "axle", "shock_arm"]},
        "shock": {"ends": ["shock_frame", "shock_arm"], "stroke": 50},
        "brake_body": "arm"
    })
}

fn driven_single_pivot() -> Value {
    json!({
        "points": {"axle": [-440, 20], "main_pivot": [5, 70], "rod_arm": [-200, 80],
            "rod_rocker": [-120, 280], "rocker_pivot": [-10, 260], "shock_rocker": [55, 310],
            "shock_frame": [45, 95]},
        "bodies": {"frame": ["main_pivot", "rocker_pivot", "shock_frame"],
            "arm": ["main_pivot", "axle", "rod_arm"], "rod": ["rod_arm", "rod_rocker"],
            "rocker": ["rocker_pivot", "rod_rocker", "shock_rocker"]},
        "shock": {"ends": ["shock_frame", "shock_rocker"], "stroke": 50},
        "brake_body": "arm"
    })
}

fn caliper_on_rocker() -> Value {
    let mut mechanism = driven_single_pivot();
    mechanism["brake_body"] = json!("rocker");
    mechanism
}

fn seat_stay_four_bar() -> Value {
    json!({
        "points": {"axle": [-439, 22], "main_pivot": [25, 64], "stay_pivot": [-402, 0],
            "rocker_pivot": [-11, 259], "rocker_stay": [-118, 298], "shock_rocker": [56, 307],
            "shock_frame": [44, 98]},
        "bodies": {"frame": ["main_pivot", "rocker_pivot", "shock_frame"],
            "chain_stay": ["main_pivot", "stay_pivot"],
            "seat_stay": ["stay_pivot", "axle", "rocker_stay"],
            "rocker": ["rocker_pivot", "rocker_stay", "shock_rocker"]},
        "shock": {"ends": ["shock_frame", "shock_rocker"], "stroke": 60},
        "brake_body": "seat_stay"
    })
}

fn chain_stay_four_bar() -> Value {
    let mut mechanism = seat_stay_four_bar();
    mechanism["points"]["stay_pivot"] = json!([-400, 60]);
    mechanism["bodies"]["chain_stay"] = json!(["main_pivot", "stay_pivot", "axle"]);
    mechanism["bodies"]["seat_stay"] = json!(["stay_pivot", "rocker_stay"]);
    mechanism
}

fn axle_pivot_four_bar() -> Value {
    let mut mechanism = seat_stay_four_bar();
    mechanism["points"]
        .as_object_mut()
        .unwrap()
        .remove("stay_pivot");
    mechanism["bodies"]["chain_stay"] = json!(["main_pivot", "axle"]);
    mechanism["bodies"]["seat_stay"] = json!(["axle", "rocker_stay"]);
    mechanism["axle_body"] = json!("seat_stay");
    mechanism
}

fn short_links() -> Value {
    json!({
        "points": {"axle": [-438, 18], "low_frame": [10, 45], "low_rear": [-70, 20],
            "up_frame": [-20, 250], "up_rear": [-115, 275], "shock_link": [60, 290],
            "shock_frame": [50, 80]},
        "bodies": {"frame": ["low_frame", "up_frame", "shock_frame"],
            "low_link": ["low_frame", "low_rear"],
            "triangle": ["low_rear", "up_rear", "axle"],
            "up_link": ["up_frame", "up_rear", "shock_link"]},
        "shock": {"ends": ["shock_frame", "shock_link"], "stroke": 50},
        "brake_body": "triangle"
    })
}

fn short_links_floating() -> Value {
    json!({
        "points": {"axle": [-438, 18], "low_frame": [0, 60], "low_rear": [-90, 30],
            "up_frame": [-20, 260], "up_rear": [-115, 275], "shock_up": [70, 290],
            "shock_low": [60, 70]},
        "bodies": {"frame": ["low_frame", "up_frame"],
            "low_link": ["low_frame", "low_rear", "shock_low"],
            "triangle": ["low_rear", "up_rear", "axle"],
            "up_link": ["up_frame", "up_rear", "shock_up"]},
        "shock": {"ends": ["shock_up", "shock_low"], "stroke": 50},
        "brake_body": "triangle"
    })
}

fn yoke_six_bar() -> Value {
    json!({
        "points": {"axle": [-439, 22], "main_pivot": [25, 64], "stay_pivot": [-402, 0],
            "rocker_pivot": [-11, 259], "rocker_stay": [-118, 298], "rocker_yoke": [45, 300],
            "yoke_guide": [60, 190], "guide_frame": [-20, 160], "yoke_shock": [85, 220],
            "shock_frame": [55, 30]},
        "bodies": {"frame": ["main_pivot", "rocker_pivot", "guide_frame", "shock_frame"],
            "chain_stay": ["main_pivot", "stay_pivot"],
            "seat_stay": ["stay_pivot", "axle", "rocker_stay"],
            "rocker": ["rocker_pivot", "rocker_stay", "rocker_yoke"],
            "yoke": ["rocker_yoke", "yoke_guide", "yoke_shock"],
            "guide": ["guide_frame", "yoke_guide"]},
        "shock": {"ends": ["yoke_shock", "shock_frame"], "stroke": 50},
        "brake_body": "seat_stay"
    })
}

fn floating_brake() -> Value {
    json!({
        "points": {"axle": [-440, 20], "main_pivot": [-5, 85], "shock_arm": [-75, 230],
            "shock_frame": [135, 240], "rod_carrier": [-410, 130], "rod_frame": [-30, 170]},
        "bodies": {"frame": ["main_pivot", "shock_frame", "rod_frame"],
            "arm": ["main_pivot", "axle", "shock_arm"], "carrier": ["axle", "rod_carrier"],
            "rod": ["rod_carrier", "rod_frame"]},
        "shock": {"ends": ["shock_frame", "shock_arm"], "stroke": 50},
        "brake_body": "carrier", "axle_body": "arm"
    })
}

fn floating_shock() -> Value {
    json!({
        "points": {"axle": [-440, 20], "main_pivot": [5, 70], "rod_arm": [-200, 80],
            "rod_rocker": [-120, 280], "rocker_pivot": [-10, 260], "shock_rocker": [70, 310],
            "shock_arm": [60, 85]},
        "bodies": {"frame": ["main_pivot", "rocker_pivot"],
            "arm": ["main_pivot", "axle", "rod_arm", "shock_arm"], "rod": ["rod_arm", "rod_rocker"],
            "rocker": ["rocker_pivot", "rod_rocker", "shock_rocker"]},
        "shock": {"ends": ["shock_rocker", "shock_arm"], "stroke": 50},
        "brake_body": "arm"
    })
}

fn floating_four_bar() -> Value {
    let mut mechanism = seat_stay_four_bar();
    mechanism["points"]["shock_frame"] = json!([65, 95]);
    mechanism["bodies"]["frame"] = json!(["main_pivot", "rocker_pivot"]);
    mechanism["bodies"]["chain_stay"] = json!(["main_pivot", "stay_pivot", "shock_frame"]);
    mechanism
}

fn eye_on_pin() -> Value {
    let mut mechanism = seat_stay_four_bar();
    mechanism["points"]["shock_rocker"] = json!([-118, 298]);
    mechanism["points"]["shock_frame"] = json!([85, 330]);
    mechanism["bodies"]["seat_stay"] = json!(["stay_pivot", "axle", "rocker_stay", "shock_rocker"]);
    mechanism["bodies"]["rocker"] = json!(["rocker_pivot", "rocker_stay"]);
    mechanism
}

/// The rocker's pivot stands on two struts instead of the frame.
fn truss() -> Value {
    let mut mechanism = seat_stay_four_bar();
    mechanism["points"]["strut_low"] = json!([0, 120]);
    mechanism["points"]["strut_front"] = json!([120, 280]);
    mechanism["bodies"]["frame"] = json!(["main_pivot", "strut_low", "strut_front", "shock_frame"]);
    mechanism["bodies"]["strut_a"] = json!(["strut_low", "rocker_pivot"]);
    mechanism["bodies"]["strut_b"] = json!(["strut_front", "rocker_pivot"]);
    mechanism
}

fn high_pivot() -> Value {
    json!({
        "points": {"axle": [-431, 20], "main_pivot": [0, 182], "link_arm": [-150, 153],
            "rocker_pivot": [-21, 45], "link_rocker": [-70, 10], "shock_rocker": [-100, 65],
            "shock_frame": [107, 176], "idler_frame": [5, 143], "idler_arm": [-25, 165]},
        "bodies": {"frame": ["main_pivot", "rocker_pivot", "shock_frame", "idler_frame"],
            "arm": ["main_pivot", "axle", "link_arm", "idler_arm"],
            "link": ["link_arm", "link_rocker"],
            "rocker": ["rocker_pivot", "link_rocker", "shock_rocker"]},
        "shock": {"ends": ["shock_frame", "shock_rocker"], "stroke": 55},
        "brake_body": "arm"
    })
}

fn low_idler() -> Value {
    let mut mechanism = seat_stay_four_bar();
    mechanism["points"]["idler_arm"] = json!([-130, 70]);
    mechanism["points"]["idler_frame"] = json!([-120, 75]);
    mechanism["bodies"]["chain_stay"] = json!(["main_pivot", "stay_pivot", "idler_arm"]);
    mechanism["bodies"]["frame"] =
        json!(["main_pivot", "rocker_pivot", "shock_frame", "idler_frame"]);
    mechanism
}

/// Arm and coupler, joined by two links, and the coupler to the frame by a rocker: turned by the
/// arm, coupler and three links close only together; turned by the rocker, arm and coupler do.
fn six_bar(shock: [&str; 2], frame: &[&str], arm: &[&str], extra: [(&str, Value); 2]) -> Value {
    let mut mechanism = json!({
        "points": {"axle": [-440, 20], "main_pivot": [10, 70], "arm_low": [-190, 70],
            "arm_high": [-80, 160], "coupler_low": [-165, 210], "coupler_high": [-60, 240],
            "coupler_rocker": [-120, 300], "rocker_pivot": [0, 290]},
        "bodies": {"frame": frame, "arm": arm,
            "link_low": ["arm_low", "coupler_low"], "link_high": ["arm_high", "coupler_high"],
            "coupler": ["coupler_low", "coupler_high", "coupler_rocker"],
            "rocker": ["rocker_pivot", "coupler_rocker"]},
        "shock": {"ends": shock, "stroke": 50},
        "brake_body": "arm"
    });
    for (name, place) in extra {
        mechanism["points"][name] = place;
    }
    mechanism
}

const FRAME: [&str; 3] = ["main_pivot", "rocker_pivot", "shock_frame"];
const ARM: [&str; 4] = ["main_pivot", "axle", "arm_low", "arm_high"];

fn coupler_shock() -> Value {
    let extra = [
        ("shock_frame", json!([140, 380])),
        ("shock_coupler", json!([-80, 310])),
    ];
    let mut mechanism = six_bar(["shock_frame", "shock_coupler"], &FRAME, &ARM, extra);
    mechanism["bodies"]["coupler"] = json!([
        "coupler_low",
        "coupler_high",
        "coupler_rocker",
        "shock_coupler"
    ]);
    mechanism
}

fn rocker_shock() -> Value {
    let extra = [
        ("shock_frame", json!([50, 110])),
        ("shock_rocker", json!([65, 320])),
    ];
    let mut mechanism = six_bar(["shock_frame", "shock_rocker"], &FRAME, &ARM, extra);
    mechanism["bodies"]["rocker"] = json!(["rocker_pivot", "coupler_rocker", "shock_rocker"]);
    mechanism
}

fn arm_shock() -> Value {
    let extra = [
        ("shock_frame", json!([150, 230])),
        ("shock_arm", json!([-60, 220])),
    ];
    let arm = ["main_pivot", "axle", "arm_low", "arm_high", "shock_arm"];
    six_bar(["shock_frame", "shock_arm"], &FRAME, &arm, extra)
}

fn inner_shock() -> Value {
    let extra = [
        ("shock_coupler", json!([60, 250])),
        ("shock_arm", json!([80, 90])),
    ];
    let arm = ["main_pivot", "axle", "arm_low", "arm_high", "shock_arm"];
    let frame = ["main_pivot", "rocker_pivot"];
    let mut mechanism = six_bar(["shock_coupler", "shock_arm"], &frame, &arm, extra);
    mechanism["bodies"]["coupler"] = json!([
        "coupler_low",
        "coupler_high",
        "coupler_rocker",
        "shock_coupler"
    ]);
    mechanism
}
