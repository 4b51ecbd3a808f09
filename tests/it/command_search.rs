//! `search` as a user runs it: folders, files, streams, exit codes, and what ends it early.

use crate::cli::{program, told};
use assert_cmd::Command;
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use tempfile::TempDir;

pub const BRIEF: &str = "trail-crew-m.brief.json";

/// A folder with copies of the demo's briefs and layouts, the objective sets beside it.
pub fn workshop() -> (TempDir, PathBuf) {
    let root = tempfile::tempdir().unwrap();
    let project = Path::new(env!("CARGO_MANIFEST_DIR"));
    for folder in ["demo-data", "objectives"] {
        let copy = root.path().join(folder);
        fs::create_dir(&copy).unwrap();
        for entry in fs::read_dir(project.join(folder)).unwrap() {
            let file = entry.unwrap().path();
            if file.extension().is_some_and(|ending| ending == "json") {
                fs::copy(&file, copy.join(file.file_name().unwrap())).unwrap();
            }
        }
    }
    let demo = root.path().join("demo-data");
    (root, demo)
}

pub fn search(folder: &Path) -> Command {
    let mut command = program();
    command.current_dir(folder).arg("search");
    command
}

/// The names in a folder, in order.
pub fn names(folder: &Path) -> Vec<String> {
    let entries = fs::read_dir(folder).unwrap();
    let mut names: Vec<String> = entries
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    names
}

/// Every file below a folder but the one that depends on the clock.
pub fn files(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    let mut files = BTreeMap::new();
    for name in names(folder) {
        let path = folder.join(&name);
        if path.is_dir() {
            let inner = self::files(&path).into_iter();
            files.extend(inner.map(|(file, bytes)| (format!("{name}/{file}"), bytes)));
        } else if name != "times.json" {
            files.insert(name, fs::read(path).unwrap());
        }
    }
    files
}

pub fn read_json(path: &Path) -> Value {
    serde_json::from_str(&fs::read_to_string(path).unwrap()).unwrap()
}

/// A brief for the demo's four-bar with other targets and boxes.
fn write_brief(demo: &Path, name: &str, targets: &Value, free: &Value, more: &[(&str, Value)]) {
    let set = json!({"name": "own", "targets": targets});
    fs::write(demo.join("own.objectives.json"), set.to_string()).unwrap();
    let mut brief = json!({
        "name": name, "layout": "trail-crew-m.layout.json", "objectives": ["own.objectives.json"],
        "free": free, "search": {"starts": 16}
    });
    for (key, value) in more {
        brief[*key] = value.clone();
    }
    fs::write(demo.join(format!("{name}.brief.json")), brief.to_string()).unwrap();
}

#[test]
fn threads_and_repetition_change_no_byte_and_another_seed_does() {
    let (_root, demo) = workshop();
    let run = |out: &str, threads: &str, seed: &str| {
        let mut command = search(&demo);
        command.args([BRIEF, "--starts", "150", "--threads", threads]);
        let (code, text, err) = told(command.args(["--seed", seed, "--out", out]));
        assert_eq!(code, 0, "{err}");
        (files(&demo.join(out)), text.replace(out, "OUT"))
    };
    let one = run("run-a", "1", "7");
    let written: Vec<&String> = one.0.keys().collect();
    for file in [
        "results.json",
        "ranking.csv",
        "layouts/01.json",
        "layouts/20.json",
    ] {
        assert!(one.0.contains_key(file), "{written:?}");
    }
    for (out, threads) in [
        ("run-b", "2"),
        ("run-c", "3"),
        ("run-d", "1"),
        ("run-e", "2"),
    ] {
        let other = run(out, threads, "7");
        for (file, bytes) in &one.0 {
            assert!(
                other.0.get(file) == Some(bytes),
                "{file} differs with {threads} threads"
            );
        }
        assert_eq!(one.0.len(), other.0.len());
        assert_eq!(one.1, other.1);
    }
    let other = run("run-f", "2", "8").0;
    for file in ["ranking.csv", "layouts/01.json"] {
        assert!(other[file] != one.0[file], "{file} is the same");
    }
}

#[test]
fn each_run_gets_a_folder_of_its_own_beside_the_brief() {
    let (root, demo) = workshop();
    let before = names(&demo).len();
    fs::write(demo.join("trail-crew-m-3.run"), "a file in the way").unwrap();
    let brief = format!("demo-data/{BRIEF}");
    for folder in [
        "trail-crew-m.run",
        "trail-crew-m-2.run",
        "trail-crew-m-4.run",
    ] {
        let (code, text, err) = told(search(root.path()).args([&brief, "--starts", "20"]));
        assert_eq!(code, 0, "{err}");
        assert!(
            text.contains(&format!("Written to demo-data/{folder}")),
            "{text}"
        );
        let written = names(&demo.join(folder));
        for file in ["layouts", "ranking.csv", "results.json", "times.json"] {
            assert!(written.iter().any(|name| name == file), "{written:?}");
        }
    }
    let way = fs::read_to_string(demo.join("trail-crew-m-3.run")).unwrap();
    assert_eq!(way, "a file in the way");
    assert_eq!(names(&demo).len(), before + 4);
}

#[test]
fn a_folder_that_is_not_empty_is_refused_untouched_and_an_empty_one_is_used() {
    let (_root, demo) = workshop();
    fs::create_dir(demo.join("mine")).unwrap();
    let run = |out: &str| told(search(&demo).args([BRIEF, "--starts", "8", "--out", out]));
    assert_eq!(run("mine").0, 0);
    let before = files(&demo.join("mine"));
    let (code, text, err) = run("mine");
    assert_eq!((code, &*text), (2, ""));
    assert!(err.contains("--out") && err.contains("mine") && err.contains("not empty"));
    assert_eq!(err.trim_end().lines().count(), 1, "{err}");
    assert_eq!(files(&demo.join("mine")), before);
    assert_eq!(run("new/deep/folder").0, 0);
    assert!(demo.join("new/deep/folder/results.json").exists());
}

#[test]
fn a_place_that_cannot_be_written_to_is_told_of_before_the_search() {
    let (_root, demo) = workshop();
    let before = names(&demo);
    for out in [BRIEF.to_owned(), format!("{BRIEF}/below")] {
        let (code, text, err) =
            told(search(&demo).args([BRIEF, "--starts", "1000000000", "--out", &out]));
        assert_eq!((code, &*text), (2, ""), "{err}");
        assert!(err.contains("--out") && err.contains(&out), "{err}");
        assert!(!err.contains("panicked"), "{err}");
    }
    assert_eq!(names(&demo), before);
}

#[test]
fn slips_in_a_brief_are_told_and_nothing_is_written() {
    let (_root, demo) = workshop();
    let good = fs::read_to_string(demo.join(BRIEF)).unwrap();
    let slips = [
        (
            "\"stay_pivot\": {",
            "\"stay_pivott\": {",
            ["free.stay_pivott", "stay_pivot"],
        ),
        ("\"limits\"", "\"limit\"", ["limit", "limits"]),
        (
            "\"x\": [0, 30]",
            "\"x\": [30, 0]",
            ["free.main_pivot.x", "30"],
        ),
        (
            "\"stroke\": 57.5",
            "\"stroke\": 575",
            ["shock_sizes[0].stroke", "230"],
        ),
    ];
    for (from, to, words) in slips {
        assert!(good.contains(from), "{from}");
        fs::write(demo.join("slip.brief.json"), good.replacen(from, to, 1)).unwrap();
        let before = names(&demo);
        let (code, text, err) = told(search(&demo).arg("slip.brief.json"));
        assert_eq!((code, &*text), (2, ""), "{to}: {err}");
        assert!(err.starts_with("slip.brief.json"), "{err}");
        for word in words {
            assert!(err.contains(word), "{word} is not in: {err}");
        }
        assert!(!err.contains("panicked"), "{err}");
        assert_eq!(names(&demo), before);
    }
}

#[test]
fn flags_go_before_what_the_brief_says() {
    let (_root, demo) = workshop();
    let mut command = search(&demo);
    command.args([BRIEF, "--starts", "40", "--keep", "3", "--seed", "5"]);
    let (code, text, _) = told(command.args(["--out", "o"]));
    assert_eq!(code, 0);
    let results = read_json(&demo.join("o/results.json"));
    assert_eq!(results["starts"], 40);
    assert_eq!(results["seed"], 5);
    assert_eq!(results["layouts"].as_array().unwrap().len(), 3);
    assert_eq!(
        names(&demo.join("o/layouts")),
        ["01.json", "02.json", "03.json"]
    );
    assert!(text.contains("3 distinct feasible layouts"), "{text}");
    let inputs = results["inputs"].as_array().unwrap();
    assert_eq!(inputs.len(), 6);
    assert!(
        inputs
            .iter()
            .all(|input| input["sha256"].as_str().unwrap().len() == 64)
    );
}

/// Numbers of a table, results and layout files, which have to be the same.
#[test]
fn ranking_results_and_layouts_agree() {
    let (_root, demo) = workshop();
    let (code, _, err) = told(search(&demo).args([BRIEF, "--starts", "60", "--out", "o"]));
    assert_eq!(code, 0, "{err}");
    let out = demo.join("o");
    let results = read_json(&out.join("results.json"));
    let layouts = results["layouts"].as_array().unwrap();
    let csv = fs::read_to_string(out.join("ranking.csv")).unwrap();
    let mut rows = csv.lines().map(|line| line.split(',').collect::<Vec<_>>());
    let head = rows.next().unwrap();
    let rows: Vec<Vec<&str>> = rows.collect();
    assert_eq!(rows.len(), layouts.len());
    for (rank, (row, layout)) in rows.iter().zip(layouts).enumerate() {
        assert_eq!(layout["rank"], rank + 1);
        let cell = |name: &str| {
            let column = head.iter().position(|column| *column == name).unwrap();
            row[column]
        };
        let number = |name: &str| cell(name).parse::<f64>().unwrap();
        for key in ["score", "robustness", "violation"] {
            assert_eq!(number(key), layout[key].as_f64().unwrap());
        }
        for key in ["eye_to_eye", "stroke"] {
            assert_eq!(number(key), layout["shock"][key].as_f64().unwrap());
        }
        assert_eq!(cell("file"), layout["file"]);
        let file = read_json(&out.join(cell("file")));
        for (name, value) in layout["free"].as_object().unwrap() {
            let (point, axis) = name.rsplit_once('.').unwrap();
            let axis = usize::from(axis == "y");
            let place = &file["mechanism"]["points"][point][axis];
            assert_eq!(place.as_f64(), value.as_f64());
            assert_eq!(number(name), value.as_f64().unwrap());
        }
        let stroke = &file["mechanism"]["shock"]["stroke"];
        assert_eq!(stroke.as_f64(), layout["shock"]["stroke"].as_f64());
    }
}

#[test]
fn written_layouts_are_input_that_meets_the_objectives() {
    let (_root, demo) = workshop();
    let (code, _, _) = told(search(&demo).args([BRIEF, "--starts", "60", "--out", "o"]));
    assert_eq!(code, 0);
    let brief = read_json(&demo.join(BRIEF));
    let objectives = brief["objectives"].as_array().unwrap();
    let results = read_json(&demo.join("o/results.json"));
    for layout in results["layouts"].as_array().unwrap() {
        let file = format!("o/{}", layout["file"].as_str().unwrap());
        let mut command = program();
        command.current_dir(&demo).args(["curves", &file]);
        command.args(["--format", "json", "--objectives"]);
        let objectives = objectives.iter().map(|file| file.as_str().unwrap());
        let (code, text, err) = told(command.args(objectives));
        assert_eq!(code, 0, "{file}: {err}");
        let curves: Value = serde_json::from_str(&text).unwrap();
        assert_eq!(curves["targets"], layout["targets"], "{file}");
    }
}

/// Rate, travel and straightness of which no linkage has all three.
#[test]
fn contradictions_are_warned_of_for_each_shock_and_the_search_runs() {
    let (_root, demo) = workshop();
    let targets = json!([
        {"curve": "leverage_rate", "at": "top", "value": 2.95, "within": 0.05},
        {"curve": "leverage_rate", "at": "end", "value": 2.10, "within": 0.05},
        {"curve": "leverage_rate", "over": ["top", "end"], "straight_within": 0.02},
        {"curve": "travel", "at": "end", "value": 151, "within": 1}
    ]);
    let free = json!({"shock_rocker": {"x": [40, 80], "y": [270, 320]},
        "shock_frame": {"from": "shock_rocker", "angle": [-100, -60]}});
    let size = |stroke: f64| json!({"eye_to_eye": 230, "stroke": stroke});
    let sizes = json!([size(60.0), size(55.0), size(57.5)]);
    write_brief(
        &demo,
        "straight",
        &targets,
        &free,
        &[("shock_sizes", sizes)],
    );
    let (code, text, err) = told(search(&demo).args(["straight.brief.json", "--out", "o"]));
    assert_eq!(code, 1, "{err}");
    assert!(text.contains("nothing feasible"), "{text}");
    assert!(demo.join("o/results.json").exists());
    let warnings: Vec<&str> = err
        .lines()
        .filter(|line| line.starts_with("warning: "))
        .collect();
    assert_eq!(warnings.len(), 2, "{err}");
    // The mean of the upper ends of both bands, widened by the allowance, by hand:
    // (3.02 - 2.17) / ln(3.02 / 2.17) = 2.5718, times 55 and 57.5 mm.
    for (warning, words) in warnings.iter().zip([
        ["230 x 55 ", "141.4", "150.000 to 152.000"],
        ["230 x 57.5 ", "147.8", "150.000 to 152.000"],
    ]) {
        for word in words {
            assert!(warning.contains(word), "{word} is not in: {warning}");
        }
    }
}

#[test]
fn nothing_feasible_ends_with_1_the_nearest_layouts_and_what_blocks() {
    let (_root, demo) = workshop();
    let brief = "trail-crew-impossible.brief.json";
    let (code, text, err) = told(search(&demo).args([brief, "--starts", "60", "--out", "o"]));
    assert_eq!(code, 1, "{err}");
    assert!(
        text.contains("nothing feasible. The nearest 20 layouts"),
        "{text}"
    );
    assert!(text.contains("(60 starts: 60 stopped short"), "{text}");
    assert!(text.contains("Missed by each of the nearest"), "{text}");
    assert!(text.contains("  little pedal kickback"), "{text}");
    let results = read_json(&demo.join("o/results.json"));
    let layouts = results["layouts"].as_array().unwrap();
    assert_eq!(layouts.len(), 20);
    assert_eq!(names(&demo.join("o/layouts")).len(), 20);
    let violations: Vec<f64> = layouts
        .iter()
        .map(|layout| layout["violation"].as_f64().unwrap())
        .collect();
    assert!(
        violations[0] > 0.0 && violations.windows(2).all(|pair| pair[1] > pair[0] - 2e-9),
        "{violations:?}"
    );
    assert!(layouts.iter().all(|layout| layout["feasible"] == false));
    let blockers = results["blockers"].as_array().unwrap();
    let kickback = blockers
        .iter()
        .find(|blocker| blocker["objective"] == "little pedal kickback")
        .unwrap();
    // What its band has to widen to is the least that any of the nearest layouts misses it by.
    let residual = |layout: &Value| {
        let targets = layout["targets"].as_array().unwrap();
        let target = targets.iter().find(|target| {
            target["objective"] == kickback["objective"] && target["index"] == kickback["index"]
        });
        target.unwrap()["residual"].as_f64().unwrap().abs()
    };
    let least = layouts.iter().map(residual).fold(f64::INFINITY, f64::min);
    assert!(least > 1.0);
    assert_eq!(kickback["residual"].as_f64().unwrap().abs(), least);
    let nearest = ["curves", "o/layouts/01.json", "--objectives"];
    let mut curves = program();
    curves.current_dir(&demo).args(nearest);
    let sets = read_json(&demo.join(brief))["objectives"].clone();
    let sets = sets.as_array().unwrap().iter();
    assert_eq!(
        told(curves.args(sets.map(|set| set.as_str().unwrap()))).0,
        1
    );
}

#[test]
fn boxes_in_which_nothing_assembles_are_an_answer() {
    let (_root, demo) = workshop();
    let targets = json!([{"curve": "travel", "at": "end", "value": 150, "within": 3}]);
    // The eyes are 250 mm apart in height alone, and the shock is 230 mm long.
    let shock = json!({"shock_rocker": {"x": [50, 70], "y": [320, 340]},
        "shock_frame": {"x": [50, 70]}});
    // The rocker is so long that the stay cannot follow it.
    let rocker = json!({"rocker_stay": {"x": [2000, 2020], "y": [2000, 2020]}});
    // The shock is pulled instead of pushed.
    let above = json!({"shock_frame": {"from": "shock_rocker", "angle": [85, 95]}});
    for (name, free) in [("shock", shock), ("rocker", rocker), ("above", above)] {
        let ends = if name == "shock" {
            ["shock_rocker", "shock_frame"]
        } else {
            ["shock_frame", "shock_rocker"]
        };
        let file = demo.join("trail-crew-m.layout.json");
        let mut layout = read_json(&file);
        layout["mechanism"]["shock"]["ends"] = json!(ends);
        fs::write(&file, layout.to_string()).unwrap();
        write_brief(&demo, name, &targets, &free, &[]);
        let brief = format!("{name}.brief.json");
        let (code, text, err) = told(search(&demo).arg(&brief));
        assert_eq!((code, &*err), (1, ""), "{name}: {text}");
        assert!(text.contains("nothing feasible"), "{name}: {text}");
        assert!(text.contains("no start gave a linkage"), "{name}: {text}");
        let out = demo.join(format!("{name}.run"));
        let results = read_json(&out.join("results.json"));
        assert_eq!(results["starts"], 16);
        assert_eq!(results["layouts"], json!([]), "{name}");
        let rows = fs::read_to_string(out.join("ranking.csv")).unwrap();
        assert_eq!(rows.lines().count(), 1);
    }
}

#[cfg(target_os = "linux")]
mod interrupted {
    use super::{BRIEF, read_json, workshop};
    use std::process::{Child, Command, Stdio};
    use std::time::Duration;

    /// Whether the process has a handler for SIGINT, which is number 2.
    fn handles_interrupts(child: &Child) -> bool {
        let status = std::fs::read_to_string(format!("/proc/{}/status", child.id())).unwrap();
        let caught = status
            .lines()
            .find_map(|line| line.strip_prefix("SigCgt:"))
            .unwrap();
        u64::from_str_radix(caught.trim(), 16).unwrap() & 2 != 0
    }

    #[test]
    fn ctrl_c_ends_a_search_with_what_was_found() {
        let (_root, demo) = workshop();
        let mut child = Command::new(env!("CARGO_BIN_EXE_pivotwright"))
            .current_dir(&demo)
            .args(["search", BRIEF, "--starts", "1000000000", "--out", "o"])
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        while !handles_interrupts(&child) {
            assert!(child.try_wait().unwrap().is_none(), "ended by itself");
            std::thread::sleep(Duration::from_millis(5));
        }
        let sent = Command::new("kill")
            .args(["-INT", &child.id().to_string()])
            .status()
            .unwrap();
        assert!(sent.success());
        let output = child.wait_with_output().unwrap();
        let text = String::from_utf8(output.stdout).unwrap();
        let err = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(0), "{text}{err}");
        assert!(text.contains("ended early"), "{text}");
        assert!(err.contains("ended early"), "{err}");
        let results = read_json(&demo.join("o/results.json"));
        let starts = results["starts"].as_u64().unwrap();
        assert!((1..1_000_000_000).contains(&starts));
        let endings = results["endings"].as_object().unwrap();
        let ended: u64 = endings.values().map(|count| count.as_u64().unwrap()).sum();
        assert_eq!(ended, starts);
        let layouts = results["layouts"].as_array().unwrap();
        assert!(!layouts.is_empty());
        for layout in layouts {
            assert_eq!(layout["feasible"], true);
            assert!(
                demo.join("o")
                    .join(layout["file"].as_str().unwrap())
                    .exists()
            );
        }
    }
}
