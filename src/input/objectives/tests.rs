use super::*;
use crate::input::layout::Layout;
use serde_json::{Value, json};

fn read(targets: &Value) -> Result<ObjectiveSet, Faults> {
    let set = json!({"name": "even pedalling", "targets": targets});
    ObjectiveSet::from_json("o.json", &set.to_string())
}

/// One target, one fault at `path` under the target, with `words`.
fn check(target: &Value, path: &str, words: &str) {
    let faults = read(&json!([target])).expect_err(words).0;
    assert_eq!(faults.len(), 1, "{target}: {faults:#?}");
    let text = faults[0].to_string();
    assert_eq!(
        (&*faults[0].file, &faults[0].path),
        ("o.json", &format!("targets[0]{path}"))
    );
    assert!(text.contains(words), "{text}");
}

pub(in crate::input) fn valid() -> Value {
    json!([
        {"curve": "leverage_rate", "at": "top", "value": 2.9, "within": 0.04},
        {"curve": "leverage_rate", "over": ["top", "end"], "straight_within": 0.05},
        {"curve": "leverage_rate", "over": ["sag", 0.9], "monotone": "falling"},
        {"curve": "anti_squat", "at": "sag", "cogs": "all", "value": 110, "within": 20},
        {"curve": "anti_squat", "at": 0.4, "cogs": [20, 25, 31], "spread_within": 12},
        {"curve": "anti_squat", "over": ["top", 0.6], "cogs": [25], "spread_within": 20},
        {"curve": "anti_rise", "over": ["top", "end"], "between": [45, 75], "weight": 0.5},
        {"curve": "progression", "between": [18, 30]},
        {"curve": "rear_centre_growth", "value": 4, "within": 3},
        {"curve": "rear_centre_growth", "at": "end", "value": 4, "within": 3}
    ])
}

#[test]
fn targets_are_read_in_order() {
    let set = read(&valid()).unwrap();
    assert_eq!(set.name, "even pedalling");
    assert_eq!(set.targets.len(), 10);
    assert_eq!(
        set.targets[0].want,
        Want::Value {
            value: 2.9,
            within: 0.04
        }
    );
    assert_eq!(set.targets[0].weight, 1.0);
    assert_eq!(set.targets[2].want, Want::Monotone(Direction::Falling));
    let place = Place::Fraction(0.4);
    let cogs = Cogs::Teeth(vec![20, 25, 31]);
    assert_eq!(
        set.targets[4].quantity,
        Quantity::At {
            curve: Curve::AntiSquat,
            place,
            cogs
        }
    );
    assert_eq!(set.targets[6].weight, 0.5);
    assert_eq!(
        set.targets[8].quantity,
        Quantity::Summary(Summary::RearCentreGrowth)
    );
    assert_eq!(set.targets[9].quantity.unit(), "mm");
}

#[test]
fn a_quantity_is_known_and_has_its_place() {
    let with = |mut target: Value, key: &str, value: Value| {
        target[key] = value;
        target
    };
    let rate = json!({"curve": "leverage_rate", "value": 2.5, "within": 0.1});
    check(&rate, "", "exactly one of \"at\", \"over\"");
    let both = with(
        with(rate.clone(), "at", json!("top")),
        "over",
        json!(["top", "end"]),
    );
    check(&both, "", "found \"at\", \"over\"");
    let at = with(rate, "at", json!("sag"));
    check(
        &with(at.clone(), "curve", json!("leverage_rat")),
        ".curve",
        "\"leverage_rate\"?",
    );
    check(
        &with(at.clone(), "curve", json!("instant_centre")),
        ".curve",
        "not a number",
    );
    check(
        &with(at.clone(), "curve", json!("progression")),
        ".at",
        "about the whole travel",
    );
    check(
        &with(at.clone(), "curve", json!("anti_squat")),
        ".cogs",
        "depends on the cog",
    );
    check(
        &with(at.clone(), "cogs", json!("all")),
        ".cogs",
        "does not depend on the cog",
    );
    check(
        &with(at.clone(), "at", json!("saag")),
        ".at",
        "did you mean \"sag\"?",
    );
    check(
        &with(at.clone(), "at", json!(60)),
        ".at",
        "did you mean 0.60?",
    );
    check(
        &with(at.clone(), "weight", json!(0)),
        ".weight",
        "a weight above 0",
    );
    check(
        &with(at, "wieght", json!(1)),
        ".wieght",
        "did you mean \"weight\"?",
    );
}

#[test]
fn ranges_and_cogs_are_checked() {
    let with = |mut target: Value, key: &str, value: Value| {
        target[key] = value;
        target
    };
    let over = |range: Value| json!({"curve": "travel", "over": range, "spread_within": 1});
    for range in [
        json!(["end", "top"]),
        json!([0.5, 0.5]),
        json!(["sag", "sag"]),
        json!([1, "end"]),
    ] {
        check(&over(range), ".over", "its first place before its second");
    }
    check(&over(json!(["top"])), ".over", "[from, to]");
    let cogs = |cogs: Value| with(over(json!(["top", "end"])), "cogs", cogs);
    let squat = |list: Value| with(cogs(list), "curve", json!("anti_squat"));
    check(&squat(json!([])), ".cogs", "one cog or more");
    check(&squat(json!("al")), ".cogs", "\"all\" or a list");
    check(&squat(json!([20, 20])), ".cogs[1]", "each cog once");
    check(&squat(json!([20.5])), ".cogs[0]", "a whole number");
    let summary = json!({"curve": "progression", "cogs": "all", "between": [1, 2]});
    check(&summary, ".cogs", "does not depend on one cog");
}

/// A target about anti-rise at sag, with `rest`.
fn at(rest: &Value) -> Value {
    let mut target = json!({"curve": "anti_rise", "at": "sag"});
    for (key, value) in rest.as_object().unwrap() {
        target[key] = value.clone();
    }
    target
}

#[test]
fn exactly_one_thing_is_wanted_and_makes_sense() {
    check(&at(&json!({})), "", "found none of them");
    check(
        &at(&json!({"value": 1, "within": 1, "between": [1, 2]})),
        "",
        "\"value\", \"between\"",
    );
    check(&at(&json!({"value": 1})), ".within", "an allowance above 0");
    check(&at(&json!({"value": 1, "within": 0})), ".within", "found 0");
    check(
        &at(&json!({"value": 1, "within": -1})),
        ".within",
        "found -1",
    );
    check(
        &at(&json!({"value": 1e300, "within": 1})),
        ".value",
        "found 1e+300",
    );
    check(&at(&json!({"within": 1})), ".value", "because `within`");
    check(
        &at(&json!({"between": [1, 2], "within": 1})),
        ".value",
        "because `within`",
    );
    check(
        &at(&json!({"between": [70, 50]})),
        ".between",
        "did you mean [50, 70]?",
    );
    check(
        &at(&json!({"between": [50, 50]})),
        ".between",
        "the empty range",
    );
}

#[test]
fn some_wants_need_several_values() {
    check(
        &at(&json!({"straight_within": 1})),
        ".straight_within",
        "`over` a range",
    );
    check(
        &at(&json!({"monotone": "falling"})),
        ".monotone",
        "`over` a range",
    );
    check(
        &at(&json!({"spread_within": 1})),
        ".spread_within",
        "several values",
    );
    let one_cog = json!({"curve": "anti_squat", "at": 0, "cogs": [20], "spread_within": 1});
    check(&one_cog, ".spread_within", "several values");
    let down = json!({"curve": "anti_rise", "over": ["top", "end"], "monotone": "down"});
    check(&down, ".monotone", "\"rising\" or \"falling\"");
    check(
        &json!({"curve": "progression", "monotone": "rising"}),
        ".monotone",
        "one number",
    );
    assert!(
        read(&json!([]))
            .unwrap_err()
            .to_string()
            .contains("targets: found an empty list")
    );
    let two = json!([at(&json!({"value": 1})), at(&json!({}))]);
    assert_eq!(read(&two).unwrap_err().0.len(), 2);
}

#[test]
fn a_layout_shows_further_faults() {
    let layout = |edit: fn(&mut Value)| {
        let mut value = crate::input::layout::tests::valid();
        edit(&mut value);
        Layout::from_json("m", &value.to_string()).unwrap()
    };
    let set = read(&json!([
        {"curve": "anti_squat", "at": "sag", "cogs": [20, 24], "value": 100, "within": 9},
        {"curve": "travel", "over": ["sag", 0.25], "spread_within": 90},
        {"curve": "anti_squat", "at": "sag", "cogs": "all", "spread_within": 9}
    ]))
    .unwrap();
    let faults = set.check_against("o.json", &layout(|_| ()));
    assert_eq!(
        faults.len(),
        1,
        "sag of stroke is not known in travel: {faults:?}"
    );
    assert_eq!(faults[0].path, "targets[0].cogs[1]");
    assert!(
        faults[0]
            .to_string()
            .contains("found 24, expected a cog of the cassette")
    );
    assert_eq!(faults[0].suggestion.as_deref(), Some("25"));
    let faults = set.check_against(
        "o.json",
        &layout(|value| {
            value["bicycle"]["sag"] = json!({"fraction": 0.3, "of": "travel"});
            value["bicycle"]["cassette_teeth"] = json!([20]);
        }),
    );
    let paths: Vec<_> = faults.iter().map(|fault| &*fault.path).collect();
    assert_eq!(
        paths,
        [
            "targets[0].cogs[1]",
            "targets[1].over",
            "targets[2].spread_within"
        ]
    );
}
