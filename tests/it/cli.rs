//! The program as a user runs it: exit codes, streams, and what the outputs hold.

use assert_cmd::Command;
use pivotwright::curves::{Cog, State, Suspension};
use pivotwright::input::{Curve, Layout, Place, Summary};
use pivotwright::mechanism::Plan;
use serde_json::Value;
use std::io::Read;
use std::process::Stdio;

const FOUR_BAR: &str = include_str!("data/layouts/03-four-bar.layout.json");
const FOUR_BAR_PATH: &str = "tests/it/data/layouts/03-four-bar.layout.json";
const HIGH_PIVOT_PATH: &str = "tests/it/data/layouts/05-high-pivot.layout.json";

pub fn program() -> Command {
    assert_cmd::cargo::cargo_bin_cmd!("pivotwright")
}

/// Exit code, stdout and stderr of a run.
pub fn run(arguments: &[&str]) -> (i32, String, String) {
    told(program().args(arguments))
}

pub fn told(command: &mut Command) -> (i32, String, String) {
    let output = command.output().unwrap();
    let text = |bytes| String::from_utf8(bytes).unwrap();
    let code = output.status.code().expect("no signal");
    (code, text(output.stdout), text(output.stderr))
}

/// Runs `test` on the four-bar in motion.
fn on_four_bar(test: impl FnOnce(&Layout, &Suspension)) {
    let layout = Layout::from_json("four-bar", FOUR_BAR).unwrap();
    let plan = Plan::compile("four-bar", &layout.mechanism).unwrap();
    test(
        &layout,
        &Suspension::new(&plan, "four-bar", &layout).unwrap(),
    );
}

fn bits(value: &Value) -> u64 {
    value.as_f64().unwrap().to_bits()
}

fn assert_sample(suspension: &Suspension, sample: &Value, state: &State<f64>) {
    let cogs = suspension.bicycle().cogs();
    let value = |curve, cog: Cog| suspension.value(curve, state, cog).to_bits();
    for curve in Curve::ALL {
        let written = &sample[curve.name()];
        if curve.depends_on_cog() {
            assert_eq!(written.as_object().unwrap().len(), cogs.len());
            for &cog in cogs {
                assert_eq!(bits(&written[cog.teeth.to_string()]), value(curve, cog));
            }
        } else {
            assert_eq!(bits(written), value(curve, cogs[0]), "{}", curve.name());
        }
    }
    let centre = state.instant_centre().unwrap();
    let written = &sample["instant_centre"];
    assert_eq!(bits(&written[0]), centre.x.to_bits());
    assert_eq!(bits(&written[1]), centre.y.to_bits());
}

#[test]
fn json_is_read_back_bit_for_bit() {
    let (code, out, _) = run(&["curves", FOUR_BAR_PATH, "--format", "json"]);
    assert_eq!(code, 0);
    let told: Value = serde_json::from_str(&out).unwrap();
    on_four_bar(|layout, suspension| {
        assert_eq!(told["name"], layout.name);
        for (key, number) in [
            ("total_travel", suspension.total_travel()),
            ("stroke", layout.mechanism.shock.stroke),
            ("eye_to_eye", layout.mechanism.eye_to_eye()),
        ] {
            assert_eq!(bits(&told[key]), number.to_bits(), "{key}");
        }
        let named = [
            ("top", Place::Top),
            ("sag", Place::Sag),
            ("end", Place::End),
        ];
        for (key, place) in named {
            let state = suspension.state(suspension.parameter_at(place));
            assert_sample(suspension, &told["at"][key], &state);
        }
        let samples = told["samples"].as_array().unwrap();
        assert_eq!(samples.len(), 21);
        for (index, sample) in samples.iter().enumerate() {
            let place = Place::Fraction(index as f64 / 20.0);
            let state = suspension.state(suspension.parameter_at(place));
            assert_sample(suspension, sample, &state);
        }
        for quantity in Summary::ALL {
            let value = suspension.summary(quantity).to_bits();
            assert_eq!(bits(&told["summary"][quantity.name()]), value);
        }
    });
}

#[test]
fn csv_has_a_row_for_each_sample_and_a_column_for_each_cog() {
    let (code, out, _) = run(&["curves", FOUR_BAR_PATH, "--format", "csv", "--samples", "5"]);
    assert_eq!(code, 0);
    let rows: Vec<Vec<&str>> = out.lines().map(|line| line.split(',').collect()).collect();
    assert_eq!(rows.len(), 6);
    let columns = 13 + 2 + 4 * 12;
    assert!(rows.iter().all(|row| row.len() == columns));
    assert_eq!(rows[0][..3], ["travel", "stroke", "leverage_rate"]);
    for name in [
        "instant_centre_x",
        "anti_squat_10",
        "pedal_kickback_braked_51",
    ] {
        assert!(rows[0].contains(&name), "{name}");
    }
    on_four_bar(|_, suspension| {
        let column = rows[0]
            .iter()
            .position(|&name| name == "anti_squat_24")
            .unwrap();
        let state = suspension.state(suspension.parameter_at(Place::Fraction(0.75)));
        let cog = suspension.bicycle().cogs()[6];
        let value: f64 = rows[4][column].parse().unwrap();
        assert_eq!(value, suspension.value(Curve::AntiSquat, &state, cog));
    });
}

#[test]
fn a_table_names_places_units_fork_and_caution_within_80_columns() {
    for path in [FOUR_BAR_PATH, HIGH_PIVOT_PATH] {
        let (code, out, _) = run(&["curves", path]);
        assert_eq!(code, 0);
        assert!(out.lines().all(|line| line.chars().count() <= 80), "{out}");
        let fork = if path == FOUR_BAR_PATH {
            "fork moving in proportion to the rear"
        } else {
            "fork held at 45 mm"
        };
        for words in [
            "top",
            "sag",
            "end",
            "% of travel",
            "% of stroke",
            fork,
            "deg",
            "51 teeth",
        ] {
            // The high pivot's cassette ends at 50.
            let words = if path == HIGH_PIVOT_PATH {
                words.replace("51", "50")
            } else {
                words.into()
            };
            assert!(out.contains(&words), "{words} in {out}");
        }
        assert!(out.contains("Kinematics only: nothing here speaks of strength"));
        assert!(out.contains("ISO 4210") && out.ends_with("before anyone rides it.\n"));
        assert!(!out.contains('\u{1b}'), "no colours when piped");
    }
}

#[test]
fn objectives_decide_the_exit_code() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("rate.objectives.json");
    let path = file.to_str().unwrap();
    let write = |value: f64| {
        let text = format!(
            "{{\"name\": \"rate\", \"targets\": [
              {{\"curve\": \"leverage_rate\", \"at\": \"top\", \"value\": {value}, \"within\": 0.1}},
              {{\"curve\": \"anti_squat\", \"over\": [\"top\", 0.5], \"cogs\": [24],
                \"between\": [0, 500]}},
              {{\"curve\": \"progression\", \"between\": [0, 90]}}]}}"
        );
        std::fs::write(&file, text).unwrap();
    };
    write(2.95);
    let (code, out, _) = run(&["curves", FOUR_BAR_PATH, "--objectives", path]);
    assert_eq!(code, 0, "{out}");
    assert!(out.contains("Targets: 3 of 3 met"), "{out}");
    write(2.0);
    let (code, out, _) = run(&["curves", FOUR_BAR_PATH, "--objectives", path]);
    assert_eq!(code, 1);
    assert!(
        out.contains("2 of 3 met") && out.contains("MISSED"),
        "{out}"
    );
    let json = &[
        "curves",
        FOUR_BAR_PATH,
        "--format",
        "json",
        "--objectives",
        path,
    ];
    let (code, out, _) = run(json);
    assert_eq!(code, 1);
    let told: Value = serde_json::from_str(&out).unwrap();
    let targets = told["targets"].as_array().unwrap();
    assert_eq!(targets.len(), 3);
    assert_eq!(targets[0]["objective"], "rate");
    assert_eq!(targets[0]["met"], false);
    assert_eq!(targets[0]["values"][0]["place"], "top");
    assert_eq!(targets[1]["values"][0]["cog"], 24);
    assert!(targets[2]["values"][0]["place"].is_null());
    let (code, out, err) = run(&[
        "curves",
        FOUR_BAR_PATH,
        "--format",
        "csv",
        "--objectives",
        path,
    ]);
    assert_eq!(code, 1);
    assert!(!out.contains("MISSED") && err.contains("MISSED"));
}

#[test]
fn a_single_file_may_come_from_stdin() {
    let (code, out, _) = told(program().args(["curves", "-"]).write_stdin(FOUR_BAR));
    assert_eq!(code, 0);
    assert!(out.starts_with("four-bar"));
    let (code, out, _) = told(program().args(["check", "-"]).write_stdin(FOUR_BAR));
    assert_eq!(code, 0);
    assert!(
        out.starts_with("standard input: layout \"four-bar"),
        "{out}"
    );
}

#[test]
fn check_says_what_each_file_holds() {
    let (code, out, _) = run(&[
        "check",
        FOUR_BAR_PATH,
        "tests/it/data/reference/a.objectives.json",
        "tests/it/data/reference/a.brief.json",
    ]);
    assert_eq!(code, 0);
    let lines: Vec<&str> = out.lines().collect();
    assert_eq!(lines.len(), 3);
    for (line, words) in lines.iter().zip([
        "4 bodies, 4 pivots, 1 degree of freedom, 154.4 mm of travel from a 230.0 x 62.5 mm shock",
        "19 targets",
        "free coordinates",
    ]) {
        assert!(line.contains(words), "{line}");
    }
}

#[test]
fn layouts_are_compared_worst_difference_first() {
    let (code, out, _) = run(&["compare", FOUR_BAR_PATH, HIGH_PIVOT_PATH]);
    assert_eq!(code, 0);
    assert!(
        out.contains("B against A: what matters, worst first"),
        "{out}"
    );
    let json = &[
        "compare",
        FOUR_BAR_PATH,
        HIGH_PIVOT_PATH,
        FOUR_BAR_PATH,
        "--format",
        "json",
    ];
    let (_, out, _) = run(json);
    let told: Value = serde_json::from_str(&out).unwrap();
    assert_eq!(told["layouts"].as_array().unwrap().len(), 3);
    let times: Vec<f64> = told["differences"]
        .as_array()
        .unwrap()
        .iter()
        .map(|difference| difference["times"].as_f64().unwrap())
        .collect();
    assert!(times[0] >= 1.0 && times.is_sorted_by(|a, b| a >= b));
    let (_, out, _) = run(&["compare", FOUR_BAR_PATH, FOUR_BAR_PATH]);
    assert!(out.contains("no difference that would be noticed"), "{out}");
}

#[test]
fn schemas_are_json() {
    for kind in ["layout", "objectives", "brief"] {
        let (code, out, _) = run(&["schema", kind]);
        assert_eq!(code, 0);
        assert!(serde_json::from_str::<Value>(&out).unwrap()["$schema"].is_string());
    }
}

#[test]
fn a_reader_that_leaves_is_no_error() {
    let mut child = std::process::Command::new(assert_cmd::cargo::cargo_bin!("pivotwright"))
        .args([
            "curves",
            HIGH_PIVOT_PATH,
            "--format",
            "csv",
            "--samples",
            "500",
        ])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    drop(child.stdout.take());
    let mut told = String::new();
    child
        .stderr
        .take()
        .unwrap()
        .read_to_string(&mut told)
        .unwrap();
    assert_eq!(child.wait().unwrap().code(), Some(0));
    assert!(!told.contains("pipe") && !told.contains("panic"), "{told}");
}

#[test]
fn bad_usage_ends_with_2_and_help_with_0() {
    for (arguments, words) in [
        (&["curvs", "x"][..], "curves"),
        (&["curves"], "LAYOUT"),
        (&["curves", FOUR_BAR_PATH, "--samples", "1"], "--samples"),
        (&["curves", FOUR_BAR_PATH, "--format", "jsn"], "json"),
        (&["compare", FOUR_BAR_PATH], "2"),
        (&["schema", "layot"], "layout"),
        (&["search", "x", "--keep", "0"], "--keep"),
        (&[], "Usage"),
    ] {
        let (code, out, err) = run(arguments);
        assert_eq!((code, out.as_str()), (2, ""), "{arguments:?}");
        assert!(err.contains(words), "{arguments:?}: {err}");
    }
    for command in ["search", "curves", "compare", "check", "schema"] {
        let (code, out, _) = run(&[command, "--help"]);
        assert_eq!(code, 0);
        assert!(out.contains("Example") && out.contains("Reads"), "{out}");
    }
}

#[test]
fn what_deceives_is_warned_of_on_stderr() {
    let (_, _, err) = run(&["curves", FOUR_BAR_PATH]);
    assert!(
        err.contains("ground line is drawn tilted by 0.32 degrees"),
        "{err}"
    );
    let level = FOUR_BAR.replace("[806, 31]", "[806, 24]").replace(
        "\"brake_body\": \"seat_stay\"",
        "\"brake_body\": \"chain_stay\"",
    );
    let (code, _, err) = told(program().args(["curves", "-"]).write_stdin(level));
    assert_eq!(code, 0);
    assert!(!err.contains("tilted"), "{err}");
    assert!(
        err.contains("\"chain_stay\" does not carry the rear axle"),
        "{err}"
    );
}
