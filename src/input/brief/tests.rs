use super::*;
use crate::input::fault::Fault;
use crate::input::layout::SagOf;
use crate::input::objectives::{self, Place};
use serde_json::{Value, json};

pub(in crate::input) fn valid() -> Value {
    json!({
        "name": "trail 140, size L",
        "layout": "trail.layout.json",
        "objectives": ["even.objectives.json"],
        "free": {
            "main_pivot": {"x": [5, 40], "y": [40, 80]},
            "stay_pivot": {"from": "axle", "x": [20, 50]},
            "rocker_stay": {"from": "rocker_pivot", "x": [-120, -60], "y": [-10, 60]},
            "shock_frame": {"from": "shock_rocker", "angle": [-110, -30]},
            "shock_rocker": {"from": "rocker_pivot", "x": [20, 90], "y": [-60, 60]}
        },
        "shock_sizes": [{"eye_to_eye": 200, "stroke": 51}, {"eye_to_eye": 200, "stroke": 57}],
        "chainring_teeth": [30, 34],
        "limits": [
            {"distance": ["main_pivot", "stay_pivot"], "at_least": 300},
            {"angle": ["stay_pivot", "rocker_stay", "rocker_pivot"], "between": [30, 150],
             "over": ["top", "end"]},
            {"coordinate": "shock_frame.y", "at_most": 400, "over": ["sag", 0.25]}
        ],
        "search": {"starts": 500, "seed": 7}
    })
}

fn layout() -> Layout {
    Layout::from_json("m", &crate::input::layout::tests::valid().to_string()).unwrap()
}

fn read_with(brief: &Value, layout: Layout) -> Result<Brief, Faults> {
    let file = BriefFile::from_json("b.json", &brief.to_string())?;
    let targets = objectives::tests::valid();
    let set = json!({"name": "even", "targets": targets}).to_string();
    let set = ObjectiveSet::from_json("o.json", &set)?;
    file.resolve(layout, vec![("o.json".into(), set)])
}

fn read(brief: &Value) -> Result<Brief, Faults> {
    read_with(brief, layout())
}

fn faults(pointer: &str, value: Value) -> Vec<Fault> {
    let mut brief = valid();
    let (parent, key) = pointer.rsplit_once('/').unwrap();
    match brief.pointer_mut(parent).unwrap() {
        Value::Array(items) => items[key.parse::<usize>().unwrap()] = value,
        parent => parent[key] = value,
    }
    read(&brief).expect_err(pointer).0
}

/// Exactly one fault, at `path`, whose text has `words`.
fn check(pointer: &str, value: Value, path: &str, words: &str) {
    let faults = faults(pointer, value);
    assert_eq!(faults.len(), 1, "{pointer}: {faults:#?}");
    let text = faults[0].to_string();
    assert_eq!(
        (&*faults[0].file, &*faults[0].path),
        ("b.json", path),
        "{text}"
    );
    assert!(text.contains(words), "{text}");
}

/// As [`check`], the fault being at the very place of the change.
fn check_here(pointer: &str, value: Value, words: &str) {
    let path = pointer.split('/').skip(1).fold(String::new(), |path, key| {
        if key.parse::<usize>().is_ok() {
            format!("{path}[{key}]")
        } else {
            json::join(&path, key)
        }
    });
    check(pointer, value, &path, words);
}

#[test]
fn a_brief_is_read_in_two_steps() {
    let file = BriefFile::from_json("b.json", &valid().to_string()).unwrap();
    assert_eq!(file.layout, "trail.layout.json");
    assert_eq!(file.objectives, ["even.objectives.json"]);
    let brief = read(&valid()).unwrap();
    let named = |name| brief.layout.mechanism.point_named(name).unwrap();
    assert_eq!(brief.name, "trail 140, size L");
    assert_eq!(
        brief.search,
        SearchOptions {
            starts: 500,
            seed: 7,
            ..SearchOptions::default()
        }
    );
    assert_eq!(brief.free[0].from, None);
    let (x, y) = (
        Axis::Free {
            low: 20.0,
            high: 50.0,
        },
        Axis::Drawn(2.6 - 18.3),
    );
    assert_eq!(brief.free[1].place, FreePlace::Cartesian { x, y });
    assert_eq!(
        brief.free[3].place,
        FreePlace::Angle {
            low: -110.0,
            high: -30.0
        }
    );
    let ends = (named("shock_frame"), named("shock_rocker"));
    assert_eq!(brief.constructed_end(), Some(ends));
    assert_eq!(brief.placing_order(), [0, 1, 2, 4, 3]);
    assert_eq!(brief.sizes().len(), 2);
    let variants = brief.variants().into_iter();
    let variants: Vec<_> = variants
        .map(|one| (one.size.stroke, one.chainring_teeth))
        .collect();
    assert_eq!(variants, [(51.0, 30), (51.0, 34), (57.0, 30), (57.0, 34)]);
    assert_eq!(
        brief.limits[1].bound,
        Bound::Between {
            low: 30.0,
            high: 150.0
        }
    );
    assert_eq!(brief.limits[1].over, Some((Place::Top, Place::End)));
    assert_eq!(brief.limits[0].bound.high(), None);
    let coordinate = LimitQuantity::Coordinate(named("shock_frame"), AxisName::Y);
    assert_eq!(brief.limits[2].quantity, coordinate);
}

#[test]
fn what_may_be_left_out_has_defaults() {
    let mut value = valid();
    for key in ["shock_sizes", "chainring_teeth", "limits", "search"] {
        value.as_object_mut().unwrap().remove(key).unwrap();
    }
    let brief = read(&value).unwrap();
    assert_eq!(
        brief.search,
        SearchOptions {
            starts: 2000,
            keep: 20,
            distinct: 5.0,
            seed: 1,
            rank: RankBy::Overall
        }
    );
    assert!(brief.limits.is_empty() && brief.shock_sizes.is_empty());
    assert!(brief.chainring_teeth.is_empty());
    assert_eq!(brief.rings(), [30]);
    let eye_to_eye = brief.layout.mechanism.eye_to_eye();
    assert_eq!(
        brief.sizes(),
        [ShockSize {
            eye_to_eye,
            stroke: 55.0
        }]
    );
}

#[test]
fn keys_and_values_are_checked_before_the_layout_is_read() {
    check_here("/objectivs", json!([]), "did you mean \"objectives\"?");
    check_here("/name", json!(" "), "not blank");
    check_here("/layout", json!(3), "the path of a layout file");
    check_here("/objectives", json!([]), "one objective file or more");
    check(
        "/objectives",
        json!(["a", "a"]),
        "objectives[1]",
        "each objective file once",
    );
    check_here("/free", json!({}), "one free point or more");
    check_here("/free/main_pivot", json!({}), "nothing that is free");
    check_here(
        "/free/main_pivot/x",
        json!([40, 5]),
        "did you mean [5, 40]?",
    );
    check_here("/free/main_pivot/x", json!([5, 5]), "the empty range");
    check_here("/free/main_pivot/x/1", json!(1e300), "10000");
    check(
        "/free/shock_frame/x",
        json!([0, 5]),
        "free.shock_frame",
        "beside x or y",
    );
    check_here("/free/axle", json!({"angle": [0, 5]}), "without `from`");
    check(
        "/free/shock_frame/angle",
        json!([-300, 300]),
        "free.shock_frame",
        "than a turn",
    );
    check_here("/shock_sizes/0/stroke", json!(200), "shorter than");
    check_here("/shock_sizes/0/stroke", json!(-5), "above 0");
    check(
        "/shock_sizes/0/stroke",
        json!(57),
        "shock_sizes[1]",
        "each shock size once",
    );
    check_here("/search/starts", json!(0), "a whole number from 1");
    check_here("/search/seed", json!(-1), "found -1");
    check_here("/search/distinct", json!(0), "a distance in mm");
    check_here("/search/keep", json!(2.5), "found 2.5");
    let exact = BriefFile::from_json("b", "{\"name\":\"\",\"name\":1}").unwrap_err();
    assert!(
        exact
            .to_string()
            .contains("name: found the key \"name\" twice"),
        "{exact}"
    );
    assert!(
        BriefFile::from_json("b", "[]")
            .unwrap_err()
            .to_string()
            .contains("an empty list")
    );
}

#[test]
fn names_are_looked_up_in_the_layout() {
    let point = json!({"x": [0, 1]});
    check_here("/free/main_pivott", point.clone(), "\"main_pivot\"?");
    check_here(
        "/free/front_axle",
        point.clone(),
        "the front axle belongs to",
    );
    check_here("/free/stay_pivot/from", json!("axel"), "\"axle\"?");
    check_here("/limits/0/distance/1", json!("axel"), "\"axle\"?");
    check_here(
        "/limits/2/coordinate",
        json!("shock_fram.y"),
        "\"shock_frame.y\"?",
    );
    let mut value = valid();
    value["free"]["axle"] = point;
    assert!(
        read(&value).is_ok(),
        "the rear axle is a point like any other"
    );
}

#[test]
fn limits_are_checked() {
    let limit = |value: Value, path: &str, words: &str| check("/limits/0", value, path, words);
    limit(
        json!({"distance": ["axle", "axle"], "at_least": 1}),
        "limits[0].distance",
        "twice",
    );
    limit(
        json!({"distance": ["axle"], "at_least": 1}),
        "limits[0].distance",
        "two points",
    );
    limit(
        json!({"angle": ["axle", "axle", "guide"], "at_most": 1}),
        "limits[0].angle",
        "twice",
    );
    limit(
        json!({"coordinate": "axle.z", "at_most": 1}),
        "limits[0].coordinate",
        "its axis",
    );
    limit(
        json!({"coordinate": "axle.x"}),
        "limits[0]",
        "\"at_least\", \"at_most\", \"between\"",
    );
    limit(
        json!({"coordinate": "axle.x", "at_least": 0, "at_most": 1}),
        "limits[0]",
        "exactly one",
    );
    limit(
        json!({"at_least": 0}),
        "limits[0]",
        "exactly one of \"distance\"",
    );
    let angle = json!(["axle", "main_pivot", "guide"]);
    limit(
        json!({"angle": angle, "at_least": 190}),
        "limits[0].at_least",
        "0 to 180",
    );
    limit(
        json!({"angle": angle, "between": [90, 20]}),
        "limits[0].between",
        "[20, 90]?",
    );
    let over = json!({"coordinate": "axle.x", "at_most": 0, "over": ["end", "top"]});
    limit(over, "limits[0].over", "its first place before");
    let mut layout = layout();
    layout.bicycle.sag.of = SagOf::Travel;
    let faults = read_with(&valid(), layout).unwrap_err().0;
    assert_eq!(faults[0].path, "limits[2].over");
}

#[test]
fn points_are_not_placed_in_a_circle() {
    let from = |point: &str| json!({"from": point, "x": [0, 1]});
    check(
        "/free/main_pivot",
        from("main_pivot"),
        "free.main_pivot",
        "\"main_pivot\" from \"main_pivot\"",
    );
    let mut value = valid();
    value["free"]["rocker_pivot"] = from("main_pivot");
    value["free"]["main_pivot"] = from("rocker_pivot");
    let text = read(&value).unwrap_err().to_string();
    assert!(
        text.contains("the circle \"main_pivot\" from \"rocker_pivot\" from"),
        "{text}"
    );
    // The second end is constructed about the first, which must not hang on the second.
    let mut value = valid();
    value["free"]["shock_frame"] = from("main_pivot");
    value["free"]["main_pivot"] = from("shock_rocker");
    let text = read(&value).unwrap_err().to_string();
    assert!(
        text.contains("the shock's length places \"shock_rocker\" from"),
        "{text}"
    );
}

#[test]
fn the_shock_keeps_its_length() {
    check_here(
        "/free/main_pivot",
        json!({"from": "axle", "angle": [0, 9]}),
        "an angle only",
    );
    let other = json!({"from": "axle", "angle": [0, 9]});
    check_here("/free/shock_frame", other, "`from` the other end");
    let carried = json!({"from": "main_pivot"});
    let mut value = valid();
    value["free"]["shock_frame"] = carried.clone();
    value["free"]
        .as_object_mut()
        .unwrap()
        .remove("shock_rocker")
        .unwrap();
    let text = read(&value).unwrap_err().to_string();
    assert!(text.contains("this end keeps the shock's length"), "{text}");
    let mut value = valid();
    value["free"]["stay_pivot"] = json!({"from": "axle"});
    let text = read(&value).unwrap_err().to_string();
    assert!(
        text.contains("free.stay_pivot: found nothing that is free"),
        "{text}"
    );
    value["free"]["stay_pivot"] = carried;
    assert!(read(&value).is_ok(), "carried along by a free point");
}

#[test]
fn a_shock_that_stays_keeps_its_drawn_length() {
    let mut value = valid();
    for end in ["shock_frame", "shock_rocker"] {
        value["free"].as_object_mut().unwrap().remove(end).unwrap();
    }
    let faults = read(&value).unwrap_err().0;
    assert_eq!(faults.len(), 2);
    assert_eq!(faults[0].path, "shock_sizes[0].eye_to_eye");
    let drawn: f64 = faults[0].suggestion.clone().unwrap().parse().unwrap();
    assert_eq!(drawn, layout().mechanism.eye_to_eye());
    value["shock_sizes"] = json!([{"eye_to_eye": drawn, "stroke": 50}]);
    assert_eq!(read(&value).unwrap().constructed_end(), None);
}

#[test]
fn faults_of_the_objectives_against_the_layout_come_along() {
    let mut cassette = crate::input::layout::tests::valid();
    cassette["bicycle"]["cassette_teeth"] = json!([20, 25]);
    let layout = Layout::from_json("m", &cassette.to_string()).unwrap();
    let faults = read_with(&valid(), layout).unwrap_err().0;
    assert_eq!(
        (&*faults[0].file, &*faults[0].path),
        ("o.json", "targets[4].cogs[2]")
    );
}

#[test]
fn shocks_in_stock_are_listed_by_kind_and_range() {
    let sizes = |entries: Value| {
        let mut brief = valid();
        brief["shock_sizes"] = entries;
        let brief = read(&brief).map_err(|faults| faults.to_string())?;
        let size = |size: &ShockSize| (size.eye_to_eye, size.stroke);
        Ok::<_, String>(brief.shock_sizes.iter().map(size).collect::<Vec<_>>())
    };
    let some = sizes(json!([
        {"stock": "eyelet", "stroke": [55, 60]},
        {"stock": "trunnion", "stroke": [42.5, 50], "eye_to_eye": [170, 300]},
        {"eye_to_eye": 200, "stroke": 57}
    ]));
    let expected = [
        (210.0, 55.0),
        (230.0, 57.5),
        (230.0, 60.0),
        (185.0, 47.5),
        (185.0, 50.0),
        (200.0, 57.0),
    ];
    assert_eq!(some.unwrap(), expected);
    assert_eq!(sizes(json!([{"stock": "eyelet"}])).unwrap().len(), 14);
    assert_eq!(sizes(json!([{"stock": "trunnion"}])).unwrap().len(), 16);
    for (entries, words) in [
        (json!([{"stock": "eyelit"}]), "did you mean \"eyelet\"?"),
        (
            json!([{"stock": "eyelet", "stroke": [45.5, 49]}]),
            "190 x 40/42.5/45, 210 x 50/52.5/55",
        ),
        (json!([{"stock": "eyelet", "stroke": 60}]), "as [low, high]"),
        (
            json!([{"stock": "eyelet"}, {"eye_to_eye": 230, "stroke": 60}]),
            "each shock size once",
        ),
    ] {
        let faults = sizes(entries).expect_err(words);
        assert!(faults.contains(words), "{faults}");
    }
}

#[test]
fn chainrings_are_a_list_of_different_teeth() {
    check_here("/chainring_teeth", json!([]), "one chainring or more");
    check_here("/chainring_teeth", json!(32), "as a list of their teeth");
    check(
        "/chainring_teeth",
        json!([32, 34, 32]),
        "chainring_teeth[2]",
        "each chainring once",
    );
    for (teeth, words) in [
        (json!("32"), "a whole number"),
        (json!(32.5), "a whole number"),
        (json!(null), "a whole number"),
        (json!(5), "from 6 to 100"),
        (json!(101), "from 6 to 100"),
    ] {
        check_here("/chainring_teeth/1", teeth, words);
    }
    // Every fault at once.
    let found = faults("/chainring_teeth", json!([5, 30, 30, "x"]));
    let paths: Vec<_> = found.iter().map(|fault| &*fault.path).collect();
    let expected = [
        "chainring_teeth[0]",
        "chainring_teeth[2]",
        "chainring_teeth[3]",
    ];
    assert_eq!(paths, expected, "{found:#?}");
    for good in [json!([6]), json!([30, 32.0])] {
        let mut brief = valid();
        brief["chainring_teeth"] = good;
        assert!(read(&brief).is_ok());
    }
}

#[test]
fn a_chainring_without_a_chain_run_is_a_fault() {
    let near = layout();
    let idler = near.bicycle.idler.unwrap();
    let place = near.mechanism.position(idler.point);
    let apart = place.x.hypot(place.y);
    // Pitch radius of a sprocket: ISO 606.
    let radius = |teeth: u32| 12.7 / (2.0 * (std::f64::consts::PI / f64::from(teeth)).sin());
    let fits = |teeth: &u32| radius(*teeth) - radius(idler.teeth) < apart;
    let largest = (30..100).rev().find(fits).unwrap();
    assert!(!fits(&(largest + 1)));
    let mut brief = valid();
    brief["chainring_teeth"] = json!([largest]);
    assert!(read(&brief).is_ok());
    check(
        "/chainring_teeth",
        json!([30, largest + 1]),
        "chainring_teeth[1]",
        "a chain run to the idler",
    );
}

#[test]
fn the_ranking_is_overall_or_per_size() {
    assert_eq!(read(&valid()).unwrap().search.rank, RankBy::Overall);
    let mut brief = valid();
    brief["search"]["rank"] = json!("per_size");
    assert_eq!(read(&brief).unwrap().search.rank, RankBy::PerSize);
    check_here(
        "/search/rank",
        json!("per_sizes"),
        "did you mean \"per_size\"?",
    );
    check_here("/search/rank", json!(true), "\"overall\" or \"per_size\"");
}
