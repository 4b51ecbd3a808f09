//! Parts and limits on them as people write them: read, written, at fault.

use super::sweeps::furnished;
use pivotwright::input::schema::{self, Kind};
use pivotwright::input::{BriefFile, Layout, ObjectiveSet};
use serde_json::{Value, json};

fn valid() -> Value {
    serde_json::from_str(&furnished().to_json()).unwrap()
}

#[test]
fn parts_are_written_as_they_are_read() {
    let layout = furnished();
    let text = layout.to_json();
    assert_eq!(Layout::from_json("again", &text).unwrap(), layout);
    let schema: Value = serde_json::from_str(schema::text(Kind::Layout)).unwrap();
    let validator = jsonschema::validator_for(&schema).unwrap();
    assert!(validator.is_valid(&serde_json::from_str(&text).unwrap()));
}

/// The one fault of a layout with this part has these words; schema and reader agree where the
/// schema can know.
fn fault(part: &Value, path: &str, words: &str, schema_knows: bool) {
    let mut layout = valid();
    layout["parts"] = json!({"it": part});
    let faults = Layout::from_json("f", &layout.to_string())
        .expect_err(words)
        .0;
    assert_eq!(faults.len(), 1, "{faults:#?}");
    let text = faults[0].to_string();
    assert_eq!(faults[0].path, path, "{text}");
    assert!(text.contains(words), "{text}");
    let schema: Value = serde_json::from_str(schema::text(Kind::Layout)).unwrap();
    let validator = jsonschema::validator_for(&schema).unwrap();
    assert_eq!(!validator.is_valid(&layout), schema_knows, "{text}");
}

#[test]
fn faults_of_circles_and_capsules_are_told() {
    fault(
        &json!({"circle": "alxe", "diameter": 3}),
        "parts.it.circle",
        "did you mean \"axle\"?",
        false,
    );
    fault(
        &json!({"circle": "axle"}),
        "parts.it.diameter",
        "a diameter in mm",
        true,
    );
    fault(
        &json!({"circle": "axle", "radius": 3, "diameter": 6}),
        "parts.it.radius",
        "twice the radius",
        true,
    );
    // One fault, not a second for the diameter that it took the place of.
    fault(
        &json!({"circle": "axle", "radius": 3}),
        "parts.it.radius",
        "twice the radius",
        true,
    );
    fault(&json!({"diameter": 3}), "parts.it", "exactly one of", true);
    fault(
        &json!({"circle": "axle", "diameter": 3, "from": 1}),
        "parts.it",
        "only beside \"along_shock\"",
        true,
    );
    fault(
        &json!({"circle": "axle", "diameter": 3, "body": "rocker"}),
        "parts.it.circle",
        "a point of the body \"rocker\"",
        false,
    );
    fault(
        &json!({"circle": [1, 2], "diameter": 3, "body": "roker"}),
        "parts.it.body",
        "did you mean \"rocker\"?",
        false,
    );
    fault(
        &json!({"circle": "axle", "diameter": 3, "layer": [9, 2]}),
        "parts.it.layer",
        "did you mean [2, 9]?",
        false,
    );
    fault(
        &json!({"capsule": ["axle", "axle"], "diameter": 3}),
        "parts.it.capsule[1]",
        "another place",
        true,
    );
    fault(
        &json!({"capsule": ["axle"], "diameter": 3}),
        "parts.it.capsule",
        "two places",
        true,
    );
}

#[test]
fn faults_of_polygons_shocks_and_chains_are_told() {
    let square = json!([[0, 0], [9, 0], [9, 9], [0, 9]]);
    fault(
        &json!({"polygon": [[0, 0], [9, 0]]}),
        "parts.it.polygon",
        "three corners or more",
        true,
    );
    fault(
        &json!({"polygon": [[0, 0], [9, 0], [1, 1], [0, 9]]}),
        "parts.it.polygon",
        "split it up",
        false,
    );
    fault(
        &json!({"polygon": [[0, 0], [9, 9], [9, 0], [0, 9]]}),
        "parts.it.polygon",
        "",
        false,
    );
    fault(
        &json!({"polygon": [[0, 0], [9, 0], [4, 0]]}),
        "parts.it.polygon",
        "enclose an area",
        false,
    );
    fault(
        &json!({"polygon": [[0, 0], [0, 0], [9, 0], [9, 9]]}),
        "parts.it.polygon[1]",
        "differs",
        false,
    );
    fault(
        &json!({"polygon": square, "layer": [-5, 5]}),
        "parts.it.layer[0]",
        "0 to 10000",
        true,
    );
    fault(
        &json!({"along_shock": "axle", "to": 3, "diameter": 3}),
        "parts.it.along_shock",
        "the end of the shock",
        false,
    );
    fault(
        &json!({"along_shock": "shock_frame", "from": 9, "to": 3, "diameter": 3}),
        "parts.it.to",
        "above 9",
        false,
    );
    fault(
        &json!({"along_shock": "shock_frame", "diameter": 3}),
        "parts.it.to",
        "a distance in mm",
        true,
    );
    fault(
        &json!({"chain": "over"}),
        "parts.it.chain",
        "\"upper\" or \"lower\"",
        true,
    );
    fault(
        &json!({"chain": "chainring", "cogs": [10]}),
        "parts.it.cogs",
        "no cogs beside the chainring",
        true,
    );
    fault(
        &json!({"chain": "upper", "cogs": [10, 11]}),
        "parts.it.cogs[1]",
        "a cog of the cassette",
        false,
    );
    let mut layout = valid();
    layout["parts"] = json!({"axle": {"circle": "axle", "diameter": 3}});
    let faults = Layout::from_json("f", &layout.to_string()).unwrap_err();
    assert!(
        faults.to_string().contains("a name that no point has"),
        "{faults}"
    );
}

/// The faults of a brief about the furnished layout with these parts, regions and limit.
fn brief(parts: &Value, regions: &Value, limit: &Value) -> Result<usize, String> {
    let brief = json!({
        "name": "b", "layout": "l", "objectives": ["o"],
        "free": {"main_pivot": {"x": [0, 30]}},
        "parts": parts, "regions": regions, "limits": [limit]
    });
    let set = json!({"name": "o", "targets": [{"curve": "leverage_rate", "at": "top", "value": 3, "within": 1}]});
    let set = ObjectiveSet::from_json("o", &set.to_string()).unwrap();
    let file =
        BriefFile::from_json("b", &brief.to_string()).map_err(|faults| faults.to_string())?;
    let brief = file.resolve(furnished(), vec![("o".into(), set)]);
    brief
        .map(|brief| brief.limits.len())
        .map_err(|faults| faults.to_string())
}

#[test]
fn limits_on_parts_name_parts_points_and_regions() {
    let lamp = json!({"lamp": {"circle": [100, 400], "diameter": 30, "layer": [0, 20]}});
    let zone = json!({"zone": {"polygon": [[0, 0], [90, 0], [0, 90]]}});
    let read = |limit: &Value| brief(&lamp, &zone, limit);
    for good in [
        json!({"clearance": ["tyre", "lamp"], "at_least": 3}),
        json!({"clearance": [["tyre", "yoke"], ["lamp", "rocker_pivot"]], "at_least": -3}),
        json!({"inside": ["main_pivot", "zone"], "at_least": 3}),
        json!({"clearance": ["main_pivot", "zone"], "between": [3, 9], "over": ["sag", "end"]}),
    ] {
        assert_eq!(read(&good), Ok(1), "{good}");
    }
    for (bad, words) in [
        (
            json!({"clearance": ["tyre", "lampp"], "at_least": 3}),
            "limits[0].clearance[1]: found \"lampp\"",
        ),
        (
            json!({"clearance": ["tyre", "lampp"], "at_least": 3}),
            "did you mean \"lamp\"?",
        ),
        (json!({"clearance": ["tyre"], "at_least": 3}), "two parts"),
        (
            json!({"clearance": ["tyre", []], "at_least": 3}),
            "one part or more",
        ),
        (
            json!({"clearance": ["tyre", ["lamp", "lamp"]], "at_least": 3}),
            "each part once",
        ),
        (
            json!({"clearance": ["tyre", ["lamp", "tyre"]], "at_least": 3}),
            "on both sides",
        ),
        (
            json!({"clearance": ["tyre", "lamp"]}),
            "exactly one of \"at_least\"",
        ),
        (
            json!({"clearance": ["tyre", "lamp"], "inside": ["tyre", "lamp"], "at_least": 3}),
            "exactly one of",
        ),
    ] {
        let faults = read(&bad).expect_err(words);
        assert!(faults.contains(words), "{faults}");
    }
    let aside = json!({"aside": {"circle": [0, 0], "diameter": 3, "layer": [20, 30]}, "lamp": lamp["lamp"]});
    let limit = json!({"clearance": ["aside", "lamp"], "at_least": 3});
    let faults = brief(&aside, &zone, &limit).unwrap_err();
    assert!(faults.contains("lie beside each other"), "{faults}");
    let twice = json!({"tyre": {"circle": [0, 0], "diameter": 3}});
    let faults = brief(
        &twice,
        &json!({}),
        &json!({"coordinate": "axle.x", "at_most": 0}),
    )
    .unwrap_err();
    assert!(
        faults.contains("parts.tyre: found the name \"tyre\", expected a name that no part has"),
        "{faults}"
    );
}
