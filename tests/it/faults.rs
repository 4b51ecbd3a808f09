//! One bad file for each kind of mistake, through `check`: exit code 2, and the words that
//! tell what to mend.

use super::cli::{program, run, told};
use std::path::Path;

const LAYOUT: &str = include_str!("data/layouts/03-four-bar.layout.json");
const OBJECTIVES: &str = r#"{"name": "rate", "targets": [
    {"curve": "leverage_rate", "at": "top", "value": 2.9, "within": 0.1},
    {"curve": "anti_squat", "at": "sag", "cogs": [24, 28], "spread_within": 9}]}"#;
const BRIEF: &str = r#"{"name": "b", "layout": "l.layout.json", "objectives": ["o.objectives.json"],
    "free": {"main_pivot": {"x": [0, 30]}, "stay_pivot": {"from": "axle", "y": [-45, -10]}},
    "limits": [{"distance": ["main_pivot", "stay_pivot"], "at_least": 300}]}"#;

/// A slip: what is replaced by what, and the words that must be told, the path first.
type Slip = (&'static str, &'static str, &'static [&'static str]);

/// `text` with a slip in it, checked as the content of `file`.
fn check_slips(file: &str, text: &str, slips: &[Slip]) {
    let folder = tempfile::tempdir().unwrap();
    write(folder.path(), "l.layout.json", LAYOUT);
    write(folder.path(), "o.objectives.json", OBJECTIVES);
    for (from, to, words) in slips {
        assert!(text.contains(from), "{from}");
        write(folder.path(), file, &text.replacen(from, to, 1));
        let (code, out, err) = told(program().current_dir(folder.path()).args(["check", file]));
        assert_eq!((code, out.as_str()), (2, ""), "{from} -> {to}: {err}");
        assert!(err.starts_with(file), "{err}");
        for word in *words {
            assert!(
                err.contains(word),
                "{from} -> {to}: \"{word}\" not in: {err}"
            );
        }
        assert!(!err.contains("panicked"), "{err}");
    }
}

fn write(folder: &Path, file: &str, text: &str) {
    std::fs::write(folder.join(file), text).unwrap();
}

#[test]
fn faults_of_a_layout() {
    check_slips(
        "bad.layout.json",
        LAYOUT,
        &[
            // Syntax.
            ("[806, 31]", "[806, NaN]", &["line ", "column ", "JSON"]),
            ("[806, 31]", "[806, 1e999]", &["line ", "range"]),
            ("[806, 31],", "[806, 31]", &["line ", "expected"]),
            (LAYOUT, "", &["the end of the text"]),
            // Keys and values.
            (
                "\"fraction\": 0.3",
                "\"fraction\": 30",
                &["bicycle.sag.fraction", "found 30", "did you mean 0.30?"],
            ),
            (
                "\"head_angle\"",
                "\"head_angel\"",
                &["head_angel", "did you mean \"head_angle\"?"],
            ),
            (
                "\"of\": \"travel\"",
                "\"of\": \"stork\"",
                &["bicycle.sag.of", "did you mean \"stroke\"?"],
            ),
            (
                "\"stroke\": 62.5",
                "\"stroke\": 262.5",
                &[
                    "mechanism.shock.stroke",
                    "found 262.5",
                    "shorter than the eye-to-eye length of 230",
                ],
            ),
            (
                "[806, 31]",
                "[806, 1e300]",
                &["bicycle.front_axle", "1e+300", "10000"],
            ),
            (
                "[10, 12,",
                "[5, 12,",
                &["cassette_teeth[0]", "found 5", "from 6"],
            ),
            (
                "[10, 12,",
                "[12, 12,",
                &["cassette_teeth[1]", "each cog once"],
            ),
            (
                "[40, 815]",
                "[40, -815]",
                &["bicycle.centre_of_mass", "under the ground"],
            ),
            (
                "\"rocker_stay\", \"shock_rocker\"",
                "\"rocker_stai\", \"shock_rocker\"",
                &[
                    "mechanism.bodies.rocker[1]",
                    "did you mean \"rocker_stay\"?",
                ],
            ),
            (
                "\"brake_body\": \"seat_stay\"",
                "\"brake_body\": \"frame\"",
                &["mechanism.brake_body", "moves with the wheel"],
            ),
            (
                "\"brake_body\": \"seat_stay\"",
                "\"slider\": 1, \"brake_body\": \"seat_stay\"",
                &["sliders"],
            ),
            (
                "\"fork_travel\": 170",
                "\"fork_travel\": 170, \"fork_travel\": 170",
                &["the key \"fork_travel\" twice"],
            ),
            (
                "\"proportional\"",
                "400",
                &["bicycle.fork_compression", "at most the fork travel"],
            ),
        ],
    );
}

#[test]
fn faults_of_a_mechanism_and_of_its_motion() {
    let spare =
        r#""chain_stay": ["main_pivot", "stay_pivot"], "spare": ["stay_pivot", "shock_frame"]"#;
    let chain_stay = r#""chain_stay": ["main_pivot", "stay_pivot"]"#;
    check_slips(
        "bad.layout.json",
        LAYOUT,
        &[
            // Structure.
            (
                chain_stay,
                spare,
                &["mechanism.bodies", "degrees of freedom", "doubly held"],
            ),
            (
                "\"rocker_pivot\", \"shock_frame\"],",
                "\"shock_frame\"],",
                &["mechanism.bodies", "degrees of freedom", "hanging loose"],
            ),
            (
                "\"stay_pivot\": [-411.0, -7.0]",
                "\"stay_pivot\": [5.9, 63.3]",
                &["mechanism.bodies.chain_stay", "coincide"],
            ),
            // Motion.
            (
                "\"stroke\": 62.5",
                "\"stroke\": 229",
                &["mechanism.shock.stroke", "at stroke ", "travel "],
            ),
            (
                "\"shock_frame\": [135.4, 176.4]",
                "\"shock_frame\": [-250, 450]",
                &["mechanism.shock.stroke", "wheel does not rise"],
            ),
        ],
    );
}

#[test]
fn faults_of_an_objective_set() {
    check_slips(
        "bad.objectives.json",
        OBJECTIVES,
        &[
            (
                "leverage_rate",
                "leverage_ratio",
                &["targets[0].curve", "did you mean \"leverage_rate\"?"],
            ),
            (
                "leverage_rate",
                "instant_centre",
                &["targets[0].curve", "not a number"],
            ),
            (
                ", \"within\": 0.1",
                "",
                &["targets[0].within", "found nothing"],
            ),
            (
                "\"at\": \"top\"",
                "\"at\": 30",
                &["targets[0].at", "did you mean 0.30?"],
            ),
            (
                "\"at\": \"top\"",
                "\"at\": \"top\", \"cogs\": [24]",
                &["targets[0].cogs", "does not depend on the cog"],
            ),
            (
                "\"cogs\": [24, 28], ",
                "",
                &["targets[1].cogs", "depends on the cog"],
            ),
            (
                "\"value\": 2.9, \"within\": 0.1",
                "\"monotone\": \"falling\"",
                &["targets[0].monotone", "over"],
            ),
            (
                "\"value\": 2.9, \"within\": 0.1",
                "\"between\": [3, 2]",
                &["targets[0].between", "inverted", "[2, 3]"],
            ),
        ],
    );
}

#[test]
fn faults_of_a_brief() {
    check_slips(
        "bad.brief.json",
        BRIEF,
        &[
            ("[0, 30]", "[30, 0]", &["free.main_pivot.x", "inverted"]),
            (
                "\"main_pivot\": {",
                "\"main_pivo\": {",
                &["free.main_pivo", "did you mean \"main_pivot\"?"],
            ),
            (
                "\"from\": \"axle\"",
                "\"from\": \"stay_pivot\"",
                &["free.stay_pivot", "the circle"],
            ),
            (
                "[\"main_pivot\", \"stay_pivot\"]",
                "[\"main_pivot\", \"stay_pivott\"]",
                &["limits[0].distance[1]", "did you mean \"stay_pivot\"?"],
            ),
            (
                "\"l.layout.json\"",
                "\"gone.layout.json\"",
                &[
                    "layout: found \"gone.layout.json\"",
                    "a file at gone.layout.json",
                ],
            ),
        ],
    );
}

#[test]
fn faults_of_files_that_a_brief_names_are_named_by_these_files() {
    let folder = tempfile::tempdir().unwrap();
    let check = || {
        told(
            program()
                .current_dir(folder.path())
                .args(["check", "b.brief.json"]),
        )
    };
    write(folder.path(), "b.brief.json", BRIEF);
    write(
        folder.path(),
        "l.layout.json",
        &LAYOUT.replace("0.3,", "30,"),
    );
    write(folder.path(), "o.objectives.json", "{}");
    let (code, _, err) = check();
    assert_eq!(code, 2);
    for start in [
        "l.layout.json: bicycle.sag",
        "o.objectives.json: name",
        "o.objectives.json: targets",
    ] {
        assert!(
            err.lines().any(|line| line.starts_with(start)),
            "{start}: {err}"
        );
    }
    write(folder.path(), "l.layout.json", LAYOUT);
    write(
        folder.path(),
        "o.objectives.json",
        &OBJECTIVES.replace("28]", "27]"),
    );
    let (code, _, err) = check();
    assert_eq!(code, 2);
    assert!(
        err.contains("targets[1].cogs[1]: found 27") && err.contains("did you mean 28?"),
        "{err}"
    );
    // A drawn layout that does not move far enough is only where the search starts.
    write(
        folder.path(),
        "l.layout.json",
        &LAYOUT.replace("62.5", "229"),
    );
    write(folder.path(), "o.objectives.json", OBJECTIVES);
    let (code, out, err) = check();
    assert_eq!((code, out.lines().count()), (0, 1), "{err}");
    assert!(
        err.starts_with("warning: ") && err.contains("at stroke"),
        "{err}"
    );
}

#[test]
fn all_faults_of_a_stage_and_all_files_are_told() {
    let folder = tempfile::tempdir().unwrap();
    let two = LAYOUT
        .replace("0.3,", "30,")
        .replace("\"head_angle\": 64", "\"head_angle\": 640");
    write(folder.path(), "two.layout.json", &two);
    write(folder.path(), "good.layout.json", LAYOUT);
    write(folder.path(), "odd.json", "{\"name\": 1}");
    std::fs::write(folder.path().join("bytes.json"), [b'{', 0xff]).unwrap();
    let files = [
        "check",
        "two.layout.json",
        "odd.json",
        "bytes.json",
        "gone.json",
        ".",
        "good.layout.json",
    ];
    let (code, out, err) = told(program().current_dir(folder.path()).args(files));
    assert_eq!(code, 2);
    assert!(
        out.starts_with("good.layout.json: layout ") && out.lines().count() == 1,
        "{out}"
    );
    let faults: Vec<&str> = err
        .lines()
        .filter(|line| !line.starts_with("warning"))
        .collect();
    for (fault, start) in faults.iter().zip([
        "two.layout.json: bicycle.head_angle: found 640",
        "two.layout.json: bicycle.sag.fraction: found 30",
        "odd.json: found an object with the keys \"name\", expected a layout",
        "bytes.json: found bytes that are no UTF-8",
        "gone.json: found nothing that can be read (no such file",
        ".: found nothing that can be read (is a directory",
    ]) {
        assert!(fault.starts_with(start), "{start}: {fault}");
    }
    assert_eq!(faults.len(), 6, "{err}");
}

#[test]
fn a_file_of_another_kind_is_one_fault() {
    let brief = "tests/it/data/reference/a.brief.json";
    let (code, out, err) = run(&["curves", brief]);
    assert_eq!((code, out.as_str()), (2, ""));
    assert_eq!(err, format!("{brief}: found a brief, expected a layout\n"));
}
