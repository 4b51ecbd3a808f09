//! The report of a run, its figures, the files for CAD and the starting points.

use crate::cli::{program, run, told};
use crate::command_search::{names, read_json, workshop};
use approx::assert_abs_diff_eq;
use pivotwright::cli::files::load_brief;
use pivotwright::curves::Suspension;
use pivotwright::input::{Layout, Place};
use pivotwright::mechanism::Plan;
use pivotwright::report::{Subject, page, ranking};
use pivotwright::study::{Control, Search};
use roxmltree::{Document, Node};
use std::fs;
use std::path::{Path, PathBuf};

const FOUR_BAR: &str = "demo-data/trail-crew-m.layout.json";

/// A small run of the demo brief, with its folder and its brief's.
fn small_run(brief: &str) -> (tempfile::TempDir, PathBuf) {
    let (root, demo) = workshop();
    let folder = root.path().join("small");
    let mut command = program();
    command
        .current_dir(&demo)
        .args(["search", brief, "--quiet", "--keep", "3"]);
    command.args(["--starts", "64", "--out"]).arg(&folder);
    let (code, _, stderr) = told(&mut command);
    assert!(code < 2, "{stderr}");
    (root, folder)
}

fn report(folder: &Path, more: &[&str]) -> (i32, String, String) {
    told(program().arg("report").arg(folder).args(more))
}

fn on_layout(text: &str, test: impl FnOnce(&Subject)) {
    let layout = Layout::from_json("layout", text).unwrap();
    let plan = Plan::compile("layout", &layout.mechanism).unwrap();
    let suspension = Suspension::new(&plan, "layout", &layout).unwrap();
    test(&Subject::new(&layout, &suspension));
}

/// A page as XML: what HTML leaves out in void elements is put back.
fn texts<'a>(document: &'a Document, class: &str) -> Vec<Node<'a, 'a>> {
    let of_class = |node: &Node| {
        let classes = node.attribute("class").unwrap_or("");
        classes.split(' ').any(|one| one == class)
    };
    document.descendants().filter(of_class).collect()
}

#[test]
fn of_several_chainrings_each_layout_shows_its_own() {
    let (root, demo) = workshop();
    let brief = demo.join("trail-crew-m.brief.json");
    let mut changed = read_json(&brief);
    changed["chainring_teeth"] = serde_json::json!([30, 36]);
    changed["search"]["rank"] = "per_size".into();
    fs::write(&brief, changed.to_string()).unwrap();
    let folder = root.path().join("rings");
    let mut command = program();
    command.current_dir(&demo).args(["search", "--quiet"]);
    command.args(["--keep", "6", "--starts", "96", "--out"]);
    let (code, _, stderr) = told(command.arg(&folder).arg("trail-crew-m.brief.json"));
    assert!(code < 2, "{stderr}");
    let results = read_json(&folder.join("results.json"));
    let layouts = results["layouts"].as_array().unwrap();
    let ring = |layout: &serde_json::Value| layout["chainring_teeth"].as_u64().unwrap();
    let first = ring(&layouts[0]);
    assert!(layouts.iter().any(|layout| ring(layout) != first));
    let page = fs::read_to_string(folder.join("report.html")).unwrap();
    // Of the pose that is shown, the cog and a circle for each ring; that of the other ring stands
    // far outside.
    let shown = page.split("class=\"pose now\"").nth(1).unwrap();
    let shown = &shown[..shown.find("</g>").unwrap()];
    let circles: Vec<&str> = shown.split("<circle class=\"sprocket\"").skip(1).collect();
    assert_eq!(circles.len(), 3);
    let outside = |circle: &&&str| circle[..circle.find('>').unwrap()].contains("-9999");
    assert_eq!(circles.iter().filter(outside).count(), 1);
}

#[test]
fn a_report_made_again_is_the_same_file() {
    let (root, folder) = small_run("trail-crew-m.brief.json");
    let written = fs::read(folder.join("report.html")).unwrap();
    // What the run was made from may be gone or changed by then.
    fs::remove_dir_all(root.path().join("demo-data")).unwrap();
    fs::remove_file(folder.join("report.html")).unwrap();
    let (code, stdout, stderr) = report(&folder, &[]);
    assert_eq!((code, stderr.as_str()), (0, ""));
    assert!(stdout.contains("report.html"), "{stdout}");
    assert!(fs::read(folder.join("report.html")).unwrap() == written);
    // Margins that are gone, or of other texts, are made again.
    let margins = fs::read_to_string(folder.join("margins.json")).unwrap();
    for other in ["", "{}", &margins.replace("\"of\":\"", "\"of\":\"0")] {
        fs::write(folder.join("margins.json"), other).unwrap();
        assert_eq!(report(&folder, &[]).0, 0);
        assert!(fs::read(folder.join("report.html")).unwrap() == written);
        assert_eq!(
            fs::read_to_string(folder.join("margins.json")).unwrap(),
            margins
        );
    }
}

#[test]
fn a_bare_search_writes_the_ranking_alone_and_its_report_is_made_later() {
    let (root, folder) = small_run("trail-crew-m.brief.json");
    let bare = root.path().join("bare");
    let mut command = program();
    command.current_dir(root.path().join("demo-data"));
    command.args([
        "search",
        "trail-crew-m.brief.json",
        "--quiet",
        "--keep",
        "3",
    ]);
    command
        .args(["--starts", "64", "--bare", "--out"])
        .arg(&bare);
    assert_eq!(told(&mut command).0, 0);
    assert_eq!(
        names(&bare),
        [
            "inputs",
            "journal",
            "layouts",
            "ranking.csv",
            "results.json",
            "times.json"
        ]
    );
    let same =
        |name: &str| fs::read(bare.join(name)).unwrap() == fs::read(folder.join(name)).unwrap();
    assert!(same("results.json"));
    assert_eq!(report(&bare, &[]).0, 0);
    assert!(same("report.html") && same("margins.json"));
    // What is gone on with without a report must not keep an old one.
    let more = ["--starts", "128", "--bare", "--quiet"];
    let (code, _, stderr) = told(program().arg("resume").arg(&folder).args(more));
    assert_eq!(code, 0, "{stderr}");
    for name in [
        "report.html",
        "margins.json",
        "cad/01.dxf",
        "sensitivity/01.csv",
    ] {
        assert!(!folder.join(name).exists(), "{name}");
    }
}

#[test]
fn regions_and_yields_on_the_page_are_those_of_drift_and_tolerance() {
    let (root, folder) = small_run("trail-crew-m.brief.json");
    let page = fs::read_to_string(folder.join("report.html")).unwrap();
    let brief = root.path().join("demo-data/trail-crew-m.brief.json");
    let brief = brief.to_str().unwrap();
    let layout = folder.join("layouts/02.json");
    let layout = layout.to_str().unwrap();
    let panel = page.split("data-panel=\"2\"").nth(1).unwrap();
    let panel = panel.split("data-panel=\"3\"").next().unwrap();
    let (_, told, _) = run(&["drift", layout, "--brief", brief, "--format", "json"]);
    let told: serde_json::Value = serde_json::from_str(&told).unwrap();
    let regions = told["regions"].as_array().unwrap().iter();
    let mut found = 0;
    for region in regions.filter(|region| region["move"] == "design") {
        let point = region["point"].as_str().unwrap().replace('_', " ");
        let words = format!("<strong>{point}</strong> ");
        let after = panel.split(&words).nth(1).unwrap();
        let shown: f64 = after.split(' ').next().unwrap().parse().unwrap();
        let exact = region["worst"]["distance"].as_f64().unwrap();
        // Shown to a hundredth.
        assert_abs_diff_eq!(shown, exact, epsilon = 0.0051);
        found += 1;
    }
    assert_eq!(found, 7);
    let of = ["--scatter", "0.15", "--frames", "1024", "--format", "json"];
    let (_, told, _) = run(&[&["tolerance", layout, "--brief", brief][..], &of].concat());
    let told: serde_json::Value = serde_json::from_str(&told).unwrap();
    let share = format!(
        "<strong>{:.1} %</strong>",
        100.0 * told["yield"].as_f64().unwrap()
    );
    assert!(panel.contains(&share), "{share}");
}

/// The smallest value of a chart's strongest curve, read by its ticks.
fn least_of_chart(file: &str) -> f64 {
    let document = Document::parse(file).unwrap();
    let number = |node: &Node, name| node.attribute(name).unwrap().parse::<f64>().unwrap();
    let up: Vec<(f64, f64)> = texts(&document, "upright")
        .iter()
        .map(|tick| {
            (
                number(tick, "y") - 4.0,
                tick.text().unwrap().parse().unwrap(),
            )
        })
        .collect();
    let value = scale(&up);
    let shown = &texts(&document, "shown")[0];
    let curve = shown
        .children()
        .find(|node| node.attribute("class") == Some("curve"));
    let path = curve
        .unwrap()
        .attribute("d")
        .unwrap()
        .replace(['M', 'l'], " ");
    let numbers: Vec<f64> = path
        .split_whitespace()
        .map(|n| n.parse().unwrap())
        .collect();
    // The paper of the curves stands below the head of its file.
    let top = number(&shown.parent().unwrap(), "y");
    let places = numbers.iter().skip(1).step_by(2).scan(top, |y, step| {
        *y += step;
        Some(value(*y))
    });
    places.fold(f64::INFINITY, f64::min)
}

#[test]
fn clearances_over_the_travel_come_down_to_what_the_limits_reach() {
    let (_root, folder) = small_run("trail-crew-m.brief.json");
    let pictures = folder.join("pictures");
    assert_eq!(report(&folder, &["--svg", pictures.to_str().unwrap()]).0, 0);
    let results = read_json(&folder.join("results.json"));
    let limits = results["layouts"][0]["limits"].as_array().unwrap();
    let parts: Vec<_> = limits
        .iter()
        .filter(|limit| !limit["between"].is_null())
        .collect();
    let mut read = 0;
    for (index, limit) in parts.iter().enumerate() {
        let path = pictures.join(format!("clearance-{}.svg", index + 1));
        let Ok(file) = fs::read_to_string(path) else {
            // Far from their limits in every layout.
            assert!(limit["slack"].as_f64().unwrap() > 40.0);
            continue;
        };
        let value = limit["value"].as_f64().unwrap();
        // A tenth of a pixel, and the least between two of 41 moments.
        assert_abs_diff_eq!(least_of_chart(&file), value, epsilon = 0.06);
        read += 1;
    }
    assert!(read >= 6, "{read}");
}

#[test]
fn a_report_holds_answer_ranking_provenance_and_cautions() {
    let (_root, folder) = small_run("trail-crew-m.brief.json");
    let page = fs::read_to_string(folder.join("report.html")).unwrap();
    let results = read_json(&folder.join("results.json"));
    let limits = results["layouts"][0]["limits"].as_array().unwrap().len();
    let answer = format!("3 distinct layouts meet all 11 targets and all {limits} limits");
    assert!(page.contains(&answer), "{answer}");
    for layout in results["layouts"].as_array().unwrap() {
        let score = format!("{:.3}", layout["score"].as_f64().unwrap());
        assert!(page.contains(&format!(">{score}<")), "score {score}");
    }
    for input in results["inputs"].as_array().unwrap() {
        assert!(page.contains(input["sha256"].as_str().unwrap()));
    }
    assert!(page.contains("seed 1, 64 starts"));
    assert!(page.contains("ISO 4210"));
    assert!(page.contains("sign-off"));
    for away in ["http://", "https://", "src=", "@import", "url("] {
        let places = page.matches(away).count();
        let names = page.matches("http://www.w3.org/2000/svg").count();
        assert_eq!(places, if away == "http://" { names } else { 0 }, "{away}");
    }
}

#[test]
fn a_report_where_nothing_is_feasible_names_what_stands_in_the_way() {
    let (_root, folder) = small_run("trail-crew-impossible.brief.json");
    let page = fs::read_to_string(folder.join("report.html")).unwrap();
    assert!(page.contains("Nothing meets all"), "no answer");
    assert!(page.contains("The nearest layouts"));
    assert!(page.contains("pedal_kickback"), "the target in the way");
    assert!(page.contains("MISSED"));
}

#[test]
fn a_run_whose_input_was_changed_is_refused() {
    let (_root, folder) = small_run("trail-crew-m.brief.json");
    let inputs = names(&folder.join("inputs"));
    assert_eq!(inputs.len(), 6);
    let layout = folder.join("inputs").join(&inputs[1]);
    let text = fs::read_to_string(&layout).unwrap();
    fs::write(&layout, text.replace("-439.0", "-438.0")).unwrap();
    let (code, _, stderr) = report(&folder, &[]);
    assert_eq!(code, 2);
    assert!(
        stderr.contains("SHA-256") && stderr.contains("2-trail-crew-m"),
        "{stderr}"
    );
    let (code, _, stderr) = report(&folder.join("layouts"), &[]);
    assert_eq!(code, 2);
    assert!(
        stderr.contains("the folder of a finished search"),
        "{stderr}"
    );
    fs::write(folder.join("results.json"), "{\"version\": 3}").unwrap();
    let (code, _, stderr) = report(&folder, &[]);
    assert_eq!(code, 2);
    assert!(stderr.contains("results.json"), "{stderr}");
}

#[test]
fn names_are_never_taken_for_markup() {
    let name = "</script><script>alert(1)</script> & \\\"x\\\" <b>";
    let text = fs::read_to_string(FOUR_BAR).unwrap();
    let text = text.replace("trail crew 150, size M, four-bar", name);
    let text = text.replace("rocker_pivot", "<i>");
    on_layout(&text, |subject| {
        let html = page::one(subject, None);
        assert!(!html.contains("<script>alert") && !html.contains("<b>") && !html.contains("<i>"));
        assert_eq!(html.matches("</script>").count(), 2);
        assert!(html.contains("&lt;/script&gt;&lt;script&gt;alert(1)"));
        for figure in page::one_figures(subject, None) {
            let file = figure.file();
            Document::parse(&file).unwrap_or_else(|error| panic!("{}: {error}", figure.name));
            assert!(!file.contains("<i>"));
        }
    });
}

/// The line through the places of an axis' ticks: value = origin + step * place.
fn scale(ticks: &[(f64, f64)]) -> impl Fn(f64) -> f64 {
    let ((first, low), (last, high)) = (ticks[0], ticks[ticks.len() - 1]);
    move |place| low + (place - first) / (last - first) * (high - low)
}

/// A chart read back with an XML reader of its own, by its ticks, as a person would.
#[test]
fn a_chart_read_by_its_ticks_gives_the_curve() {
    let text = fs::read_to_string(FOUR_BAR).unwrap();
    on_layout(&text, |subject| {
        let figures = page::one_figures(subject, None);
        let chart = figures.iter().find(|figure| figure.name == "leverage-rate");
        let file = chart.unwrap().file();
        let document = Document::parse(&file).unwrap();
        let number = |node: &Node, name| node.attribute(name).unwrap().parse::<f64>().unwrap();
        let ticks = texts(&document, "tick");
        let value = |node: &Node| node.text().unwrap().parse::<f64>().unwrap();
        let upright = |node: &Node| node.attribute("class").unwrap().contains("upright");
        let (up, across): (Vec<Node>, Vec<Node>) = ticks.into_iter().partition(upright);
        // A label stands four px below the line that it names.
        let up: Vec<_> = up
            .iter()
            .map(|tick| (number(tick, "y") - 4.0, value(tick)))
            .collect();
        let across: Vec<_> = across
            .iter()
            .map(|tick| (number(tick, "x"), value(tick)))
            .collect();
        assert!(up.len() >= 4 && across.len() >= 4);
        let (rate, travel) = (scale(&up), scale(&across));
        let curve = &texts(&document, "curve")[0];
        let path = curve.attribute("d").unwrap().replace(['M', 'l'], " ");
        let mut numbers: Vec<f64> = path
            .split_whitespace()
            .map(|n| n.parse().unwrap())
            .collect();
        assert!(numbers.len() >= 80);
        // After the first place each is a step from the one before.
        for index in 2..numbers.len() {
            numbers[index] += numbers[index - 2];
        }
        for pair in numbers.chunks(2) {
            let fraction = travel(pair[0]) / subject.suspension.total_travel();
            let state = subject.at(Place::Fraction(fraction.clamp(0.0, 1.0)));
            // A tenth of a pixel of some three hundred, and as much across.
            assert_abs_diff_eq!(rate(pair[1]), state.leverage_rate(), epsilon = 1e-3);
        }
    });
}

#[test]
fn the_pictures_of_the_guide_are_what_the_program_draws() {
    let folder = tempfile::tempdir().unwrap();
    let mut command = program();
    command.args(["curves", FOUR_BAR, "--objectives"]);
    for set in [
        "straight-progressive-rate",
        "flat-anti-squat",
        "steady-anti-rise",
    ] {
        command.arg(format!("objectives/{set}.objectives.json"));
    }
    command.arg("--svg").arg(folder.path());
    told(&mut command);
    let kept = Path::new("demo-data/pictures");
    assert_eq!(names(folder.path()), names(kept));
    for name in names(kept) {
        let same =
            fs::read(folder.path().join(&name)).unwrap() == fs::read(kept.join(&name)).unwrap();
        assert!(same, "{name} is drawn otherwise now");
    }
}

#[test]
fn exported_points_keep_the_lengths_of_the_exported_parameters() {
    let folder = tempfile::tempdir().unwrap();
    let layout = "demo-data/trail-crew-six-bar.layout.json";
    let to = folder.path().to_str().unwrap();
    let (code, stdout, _) = run(&["export", layout, "--to", to]);
    assert_eq!(code, 0);
    assert_eq!(stdout.lines().count(), 5);
    let read = |ending: &str| {
        fs::read_to_string(folder.path().join(format!("trail-crew-six-bar.{ending}"))).unwrap()
    };
    let parameters = read("parameters.csv");
    let mut rows = parameters.lines();
    assert_eq!(rows.next(), Some("name,value,unit"));
    let lengths: Vec<(&str, f64)> = rows
        .map(|row| row.split(',').collect::<Vec<_>>())
        .filter(|row| row[0].contains("_to_") && row[2] == "mm")
        .map(|row| (row[0], row[1].parse().unwrap()))
        .collect();
    let points = read("points.csv");
    let mut rows = points.lines().map(|row| row.split(',').collect::<Vec<_>>());
    let heading = rows.next().unwrap();
    let rows: Vec<Vec<f64>> = rows
        .map(|row| row[1..].iter().map(|cell| cell.parse().unwrap()).collect())
        .collect();
    assert_eq!(rows.len(), 3 + 101);
    let column = |name: &str| heading.iter().position(|cell| *cell == name).unwrap() - 1;
    let mut checked = 0;
    for body in [
        "chain_stay",
        "upper_link",
        "pull_link",
        "shock_lever",
        "seat_stay",
    ] {
        for (name, length) in &lengths {
            let Some(between) = name.strip_prefix(&format!("{body}_")) else {
                continue;
            };
            let (one, other) = between.split_once("_to_").unwrap();
            for row in &rows {
                let [dx, dy] = ["x", "y"].map(|axis| {
                    row[column(&format!("{other}_{axis}"))] - row[column(&format!("{one}_{axis}"))]
                });
                // A rigid body keeps the distance of its holes.
                assert_abs_diff_eq!(dx.hypot(dy), *length, epsilon = 1e-9);
                checked += 1;
            }
        }
    }
    assert!(checked > 9 * 100, "{checked}");
    assert!(read("dxf").contains("AC1009"));
}

#[test]
fn every_starting_point_searches_successfully_as_written() {
    let table = "demo-data/starting-points";
    let kinds: Vec<String> = names(Path::new(table))
        .into_iter()
        .filter(|name| !name.contains('.'))
        .collect();
    assert_eq!(kinds.len(), 4);
    let root = tempfile::tempdir().unwrap();
    for kind in kinds {
        let folder = root.path().join(&kind);
        let path = folder.to_str().unwrap();
        let (code, _, stderr) = run(&["new", path, "--linkage", &kind]);
        assert_eq!(code, 0, "{stderr}");
        assert_eq!(names(&folder).len(), 6);
        let brief = folder.join("bike.brief.json");
        let brief = brief.to_str().unwrap();
        let (code, stdout, stderr) = run(&["search", brief, "--quiet", "--starts", "64"]);
        assert_eq!((code, stderr.as_str()), (0, ""), "{kind}: {stdout}");
        assert!(folder.join("bike.run/report.html").exists());
        let (code, _, stderr) = run(&["new", path, "--linkage", &kind]);
        assert_eq!(code, 2);
        assert!(stderr.contains("not empty"), "{stderr}");
    }
    let other = root.path().join("other");
    let (code, _, stderr) = run(&["new", other.to_str().unwrap(), "--linkage", "sliding"]);
    assert_eq!(code, 2);
    assert!(stderr.contains("four-bar") && !other.exists(), "{stderr}");
    let (code, _, stderr) = run(&["new", other.to_str().unwrap()]);
    assert_eq!(code, 2);
    assert!(stderr.contains("--linkage"), "{stderr}");
}

#[test]
fn plots_are_as_wide_as_the_terminal_and_plain_where_asked() {
    let plot = |more: &[&str], environment: &[(&str, &str)]| {
        let mut command = program();
        command.args(["curves", FOUR_BAR, "--plot"]).args(more);
        command
            .env_remove("LC_ALL")
            .env_remove("NO_COLOR")
            .env("LANG", "en_GB.UTF-8");
        command.envs(environment.iter().copied());
        let (code, stdout, _) = told(&mut command);
        assert_eq!(code, 0);
        stdout
    };
    for (columns, width) in [("60", 60), ("100", 100), ("9", 30)] {
        let text = plot(&[], &[("COLUMNS", columns)]);
        let widest = text.lines().map(|line| line.chars().count()).max().unwrap();
        assert!(widest <= width && widest > width - 8, "{widest} of {width}");
        assert!(text.contains('⠉') && text.contains("51 t"));
        assert!(!text.contains('\u{1b}'), "colour without a terminal");
    }
    let ascii = plot(&["--ascii"], &[]);
    assert!(ascii.is_ascii() && ascii.contains("***"));
    assert!(plot(&[], &[("LC_ALL", "C")]).is_ascii());
}

#[test]
fn shells_and_man_know_every_command() {
    let commands = [
        "new", "search", "curves", "report", "compare", "export", "check", "schema",
    ];
    for shell in ["bash", "zsh", "fish"] {
        let (code, text, _) = run(&["completions", shell]);
        assert_eq!(code, 0);
        for command in commands {
            assert!(text.contains(command), "{shell}: {command}");
        }
    }
    let (code, text, _) = run(&["manual"]);
    assert_eq!(code, 0);
    assert!(text.contains(".TH pivotwright 1"));
    for command in commands {
        assert!(
            text.contains(&format!(".SH {}\n", command.to_uppercase())),
            "{command}"
        );
    }
}

#[test]
fn the_ranking_gives_columns_up_where_a_terminal_is_narrow() {
    let mut brief = load_brief(Path::new("demo-data/trail-crew-m.brief.json")).unwrap();
    (brief.search.starts, brief.search.keep) = (24, 2);
    let search = Search::new(brief, "layout", 0).unwrap();
    let study = search.run(|_| Control::GoOn).unwrap();
    let table = |width: Option<usize>| {
        let text = ranking::text(search.brief(), &study, width);
        let lines: Vec<String> = text.lines().skip(3).take(3).map(String::from).collect();
        lines
    };
    let longest = |lines: &[String]| lines.iter().map(|line| line.chars().count()).max().unwrap();
    let whole = table(None);
    assert!(
        whole[0].starts_with("rank") && whole[0].contains("worst target"),
        "{whole:?}"
    );
    assert_eq!(table(Some(longest(&whole))), whole);
    let narrow = table(Some(100));
    assert!(
        longest(&narrow) <= 100 && longest(&whole) > 100,
        "{narrow:?}"
    );
    assert!(!narrow[0].contains("worst target") && narrow[0].contains("play"));
}
