//! The files that come with the project: they are good, and the layouts are plausible.
//!
//! The ranges are common practice, no source.

use crate::trial::search;
use pivotwright::cli::files::load_brief;
use pivotwright::curves::Suspension;
use pivotwright::input::schema::{self, Kind};
use pivotwright::input::{Layout, Place, Summary};
use pivotwright::mechanism::Plan;
use std::fs;
use std::path::{Path, PathBuf};

fn files(folder: &str, ending: &str) -> Vec<PathBuf> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join(folder);
    let mut files: Vec<PathBuf> = fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.to_string_lossy().ends_with(ending))
        .collect();
    files.sort();
    files
}

#[test]
fn every_demo_file_is_valid_by_its_schema() {
    let kinds = [
        (Kind::Layout, "demo-data", ".layout.json", 5),
        (Kind::Brief, "demo-data", ".brief.json", 2),
        (Kind::Objectives, "objectives", ".objectives.json", 5),
    ];
    for (kind, folder, ending, least) in kinds {
        let schema = serde_json::from_str(schema::text(kind)).unwrap();
        let validator = jsonschema::validator_for(&schema).unwrap();
        let files = files(folder, ending);
        assert!(files.len() >= least, "{ending}: {} files", files.len());
        for file in files {
            let value = serde_json::from_str(&fs::read_to_string(&file).unwrap()).unwrap();
            if let Err(error) = validator.validate(&value) {
                panic!("{}: {error}", file.display());
            }
        }
    }
}

#[test]
fn every_demo_file_passes_the_check() {
    let all = files("demo-data", ".json")
        .into_iter()
        .chain(files("objectives", ".json"));
    let output = assert_cmd::Command::cargo_bin("pivotwright")
        .unwrap()
        .arg("check")
        .args(all)
        .unwrap();
    assert!(
        output.stderr.is_empty(),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
}

#[test]
fn demo_layouts_are_plausible() {
    for file in files("demo-data", ".layout.json") {
        let name = file.file_name().unwrap().to_string_lossy().into_owned();
        let layout = Layout::from_json(&name, &fs::read_to_string(&file).unwrap()).unwrap();
        let plan = Plan::compile(&name, &layout.mechanism).unwrap();
        let suspension = Suspension::new(&plan, &name, &layout).unwrap();
        let within = |what: &str, value: f64, low: f64, high: f64| {
            assert!(
                (low..=high).contains(&value),
                "{name}: {what} {value}, not {low} to {high}"
            );
        };
        let leverage = |place| {
            suspension
                .state(suspension.parameter_at(place))
                .leverage_rate()
        };
        within("travel", suspension.total_travel(), 145.0, 155.0);
        within("rate at top", leverage(Place::Top), 2.7, 3.1);
        within("rate at sag", leverage(Place::Sag), 2.5, 2.8);
        within("rate at end", leverage(Place::End), 2.0, 2.35);
        within(
            "progression",
            suspension.summary(Summary::Progression),
            15.0,
            30.0,
        );
        let sag = suspension.state(suspension.parameter_at(Place::Sag));
        let middle = suspension
            .bicycle()
            .cogs()
            .iter()
            .find(|cog| cog.teeth == 24)
            .unwrap();
        within(
            "anti-squat",
            sag.anti_squat(suspension.bicycle(), *middle),
            95.0,
            120.0,
        );
        within(
            "cog spread",
            suspension.summary(Summary::AntiSquatSpreadAtSag),
            20.0,
            45.0,
        );
        // On a swing arm turning about one pivot more is usual than on a stay.
        let swing_arm = name.contains("single-pivot") || name.contains("high-pivot");
        let most = if swing_arm { 105.0 } else { 75.0 };
        within("anti-rise", sag.anti_rise(suspension.bicycle()), 45.0, most);
    }
}

/// Each is held against its targets and limits at finer positions than the solver's and at the
/// extrema between them by the vocabulary of [`crate::trial`].
#[test]
fn demo_search_gives_twenty_layouts_that_hold_between_the_solvers_positions() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-data");
    let mut brief = load_brief(&folder.join("trail-crew-m.brief.json")).unwrap();
    brief.search.starts = 300;
    let found = search(brief, 2);
    assert_eq!(found.layouts().count(), 20);
    assert!(found.feasible());
}
