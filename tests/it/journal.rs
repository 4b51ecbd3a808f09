//! Runs that are ended by whatever and go on, and runs in shares.
#![cfg(unix)]

use crate::cli::{program, told};
use crate::command_search::{BRIEF, files, search, workshop};
use assert_cmd::Command;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Child, Stdio};
use std::time::{Duration, Instant};
use tempfile::TempDir;

/// Starts of the runs here; several rounds, and enough that something is learnt three times.
const STARTS: &str = "260";

fn begin(demo: &Path, out: &str) -> Command {
    begin_with(demo, out, STARTS)
}

fn begin_with(demo: &Path, out: &str, starts: &str) -> Command {
    let mut command = search(demo);
    command.args([BRIEF, "--starts", starts, "--keep", "3", "--quiet"]);
    command.args(["--out", out]);
    command
}

fn resume(demo: &Path, run: &str) -> Command {
    let mut command = program();
    command.current_dir(demo).args(["resume", run, "--quiet"]);
    command
}

/// The demo with a run that was never ended, in `whole`.
fn with_whole_run() -> (TempDir, PathBuf) {
    let (root, demo) = workshop();
    let (code, _, err) = told(&mut begin(&demo, "whole"));
    assert_eq!(code, 0, "{err}");
    (root, demo)
}

/// A process of its own, that can be killed.
fn spawned(command: &Command) -> Child {
    let mut own = std::process::Command::new(command.get_program());
    own.args(command.get_args());
    own.current_dir(command.get_current_dir().unwrap());
    own.stdout(Stdio::null()).stderr(Stdio::null());
    own.spawn().unwrap()
}

fn assert_same(demo: &Path, run: &str) {
    let (whole, other) = (files(&demo.join("whole")), files(&demo.join(run)));
    let names = |files: &std::collections::BTreeMap<String, Vec<u8>>| {
        files.keys().cloned().collect::<Vec<_>>()
    };
    assert_eq!(names(&whole), names(&other));
    for (file, bytes) in &whole {
        assert!(other[file] == *bytes, "{file} differs");
    }
}

fn copy(from: &Path, to: &Path) {
    for (name, bytes) in files(from) {
        let file = to.join(name);
        fs::create_dir_all(file.parent().unwrap()).unwrap();
        fs::write(file, bytes).unwrap();
    }
}

fn signal(child: &Child, name: &str) {
    let sent = std::process::Command::new("kill")
        .args(["-s", name, &child.id().to_string()])
        .status()
        .unwrap();
    assert!(sent.success());
}

/// Waits until a journal has more than its first record.
fn wait_for_rounds(journal: &Path) {
    let begun = Instant::now();
    let size = || fs::metadata(journal).map_or(0, |data| data.len());
    while size() < 4000 {
        assert!(begun.elapsed() < Duration::from_mins(2), "no round came");
        std::thread::sleep(Duration::from_millis(5));
    }
}

#[test]
fn a_run_killed_at_fifty_moments_ends_as_one_that_never_was() {
    let (_root, demo) = with_whole_run();
    // Numbers without a pattern; any will do.
    let mut random = 12_345_u64;
    let mut killed = 0;
    for _ in 0..50 {
        let mut command = begin(&demo, "killed");
        command.arg("--resume");
        let mut child = spawned(&command);
        random = random
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1);
        std::thread::sleep(Duration::from_millis(5 + (random >> 33) % 145));
        child.kill().unwrap();
        killed += u32::from(!child.wait().unwrap().success());
    }
    assert!(killed >= 25, "only {killed} were still at work");
    let (code, _, err) = told(begin(&demo, "killed").arg("--resume"));
    assert_eq!(code, 0, "{err}");
    assert_same(&demo, "killed");
}

#[test]
fn a_journal_cut_in_its_last_record_goes_on_to_the_same_end() {
    let (_root, demo) = with_whole_run();
    let whole = fs::read(demo.join("whole/journal")).unwrap();
    let marker = [0xf5, b'r', b'd', 0xff];
    let last = whole.windows(4).rposition(|bytes| bytes == marker).unwrap();
    for (index, length) in [last + 1, last + 17, whole.len() - 1]
        .into_iter()
        .enumerate()
    {
        let run = format!("cut-{index}");
        copy(&demo.join("whole"), &demo.join(&run));
        fs::write(demo.join(&run).join("journal"), &whole[..length]).unwrap();
        let (code, _, err) = told(&mut resume(&demo, &run));
        assert_eq!(code, 0, "{err}");
        assert!(err.contains("warning") && err.contains("torn off"), "{err}");
        assert_same(&demo, &run);
    }
    // At its very end nothing is torn, and nothing is told.
    copy(&demo.join("whole"), &demo.join("end"));
    fs::write(demo.join("end/journal"), &whole[..last]).unwrap();
    let (code, _, err) = told(&mut resume(&demo, "end"));
    assert_eq!((code, &*err), (0, ""));
    assert_same(&demo, "end");
}

#[test]
fn what_cannot_be_gone_on_with_is_refused_and_left_as_it_is() {
    let (_root, demo) = with_whole_run();
    let journal = fs::read(demo.join("whole/journal")).unwrap();
    let changed = |from: &str, to: &str| {
        let at = journal
            .windows(from.len())
            .position(|bytes| bytes == from.as_bytes())
            .unwrap();
        let mut changed = journal.clone();
        changed[at..at + from.len()].copy_from_slice(to.as_bytes());
        changed
    };
    let mut middle = journal.clone();
    middle[journal.len() / 2] ^= 1;
    let cases = [
        ("journal", middle, "damaged in the middle"),
        (
            "journal",
            changed("journal 2", "journal 1"),
            "another version",
        ),
        ("journal", changed("\"seed\":1", "\"seed\":2"), "damaged"),
        ("journal", Vec::new(), "another version"),
        (
            "inputs/1-trail-crew-m.brief.json",
            b"{}".to_vec(),
            "other bytes",
        ),
    ];
    for (index, (file, bytes, words)) in cases.into_iter().enumerate() {
        let run = format!("bad-{index}");
        copy(&demo.join("whole"), &demo.join(&run));
        fs::write(demo.join(&run).join(file), bytes).unwrap();
        let before = files(&demo.join(&run));
        let (code, text, err) = told(&mut resume(&demo, &run));
        assert_eq!((code, &*text), (2, ""), "{err}");
        assert!(err.contains(words) && err.contains(&run), "{words}: {err}");
        assert!(!err.contains("panicked"), "{err}");
        assert!(files(&demo.join(&run)) == before, "{words}");
    }
    let (code, _, err) = told(&mut resume(&demo, "nowhere"));
    assert_eq!(code, 2);
    assert!(err.contains("nowhere") && err.contains("journal"), "{err}");
}

#[test]
fn a_run_at_work_is_refused_to_a_second_process_and_signals_end_it_well() {
    let (_root, demo) = with_whole_run();
    for (run, signals) in [("term", &["TERM"][..]), ("int", &["INT", "INT"])] {
        let mut command = search(&demo);
        command.args([
            BRIEF, "--starts", "1000000", "--keep", "3", "--quiet", "--out", run,
        ]);
        let mut child = spawned(&command);
        wait_for_rounds(&demo.join(run).join("journal"));
        let (code, text, err) = told(&mut resume(&demo, run));
        assert_eq!((code, &*text), (2, ""), "{err}");
        assert!(err.contains("another process"), "{err}");
        for name in signals {
            signal(&child, name);
            std::thread::sleep(Duration::from_millis(20));
        }
        child.wait().unwrap();
        // Far enough along that it is a run of as many starts as the unbroken one or more.
        let (code, _, err) = told(resume(&demo, run).args(["--starts", STARTS]));
        assert_eq!(code, 0, "{err}");
        let results = fs::read_to_string(demo.join(run).join("results.json")).unwrap();
        if results.contains(&format!("\"starts\": {STARTS},")) {
            let whole = fs::read_to_string(demo.join("whole/results.json")).unwrap();
            assert!(results == whole, "{run}");
        }
    }
}

/// `sh` with the program in `$PW`.
fn shell(demo: &Path, wrapped: &[&str], script: &str) -> (i32, String) {
    let mut command = std::process::Command::new(wrapped.first().unwrap_or(&"sh"));
    if let [_, rest @ ..] = wrapped {
        command.args(rest).arg("sh");
    }
    let output = command
        .args(["-c", script])
        .current_dir(demo)
        .env("PW", program().get_program())
        .env("BRIEF", BRIEF)
        .output()
        .unwrap();
    let text = String::from_utf8_lossy(&output.stderr).into_owned();
    (output.status.code().unwrap_or(-1), text)
}

#[test]
fn a_disk_that_is_full_costs_nothing_but_the_round_at_hand() {
    let (_root, demo) = with_whole_run();
    // A file that may not grow is what every system has.
    let script = "trap '' XFSZ; ulimit -f 40; \"$PW\" search $BRIEF --starts 260 --keep 3 --quiet \
                  --out small";
    let (code, err) = shell(&demo, &[], script);
    assert_eq!(code, 2, "{err}");
    assert!(
        err.contains("cannot write") && err.contains("resume small"),
        "{err}"
    );
    let (code, _, err) = told(&mut resume(&demo, "small"));
    assert_eq!(code, 0, "{err}");
    assert_same(&demo, "small");
}

/// What needs the right to mount something, in a name space of its own.
#[test]
fn a_full_or_read_only_file_system_is_told_of_and_the_run_goes_on_elsewhere() {
    let (_root, demo) = with_whole_run();
    let apart = ["unshare", "-rm"];
    let can = std::process::Command::new("unshare")
        .args(["-rm", "true"])
        .status();
    if !can.is_ok_and(|status| status.success()) {
        eprintln!("not looked at: no right to mount a file system here");
        return;
    }
    // Full while the journal is written, and while the ranking is.
    for size in ["44k", "60k"] {
        let script = format!(
            "mkdir full-{size} && mount -t tmpfs -o size={size} none full-{size} || exit 9
            \"$PW\" search $BRIEF --starts 260 --keep 3 --quiet --out full-{size}/run; code=$?
            cp -r full-{size}/run copy-{size}; exit $code"
        );
        let (code, err) = shell(&demo, &apart, &script);
        assert_eq!(code, 2, "{err}");
        assert!(err.contains("No space left"), "{err}");
        assert!(err.contains(&format!("resume full-{size}/run")), "{err}");
        let copy = format!("copy-{size}");
        let (code, _, err) = told(&mut resume(&demo, &copy));
        assert_eq!(code, 0, "{err}");
        assert_same(&demo, &copy);
    }
    let before = files(&demo.join("whole"));
    let script = "mkdir ro && mount --bind whole ro && mount -o remount,ro,bind ro || exit 9
        \"$PW\" resume ro --quiet";
    let (code, err) = shell(&demo, &apart, script);
    assert_eq!(code, 2, "{err}");
    assert!(
        err.contains("ro/journal") && err.contains("Read-only"),
        "{err}"
    );
    assert!(files(&demo.join("whole")) == before);
}

#[test]
fn shares_in_any_order_and_number_of_threads_are_the_search_of_all_starts() {
    let (_root, demo) = workshop();
    let (code, _, err) = told(begin(&demo, "whole").arg("--even"));
    assert_eq!(code, 0, "{err}");
    let mut runs: Vec<String> = Vec::new();
    for number in [3, 1, 7, 2, 6, 5, 4] {
        let run = format!("share-{number}");
        let mut command = begin(&demo, &run);
        command.args(["--even", "--shard", &format!("{number}/7")]);
        let (code, _, err) = told(command.args(["--threads", &number.to_string()]));
        assert!(code < 2, "{err}");
        runs.push(run);
    }
    let merge = |runs: &[String], out: &str| {
        let mut command = program();
        command.current_dir(&demo).arg("merge").args(runs);
        told(command.args(["--out", out]))
    };
    let (code, _, err) = merge(&runs, "merged");
    assert_eq!((code, &*err), (0, ""));
    let (whole, merged) = (files(&demo.join("whole")), files(&demo.join("merged")));
    for (file, bytes) in &whole {
        if file != "journal" {
            assert!(merged[file] == *bytes, "{file} differs");
        }
    }
    assert_eq!(whole.len(), merged.len());
    runs.reverse();
    assert_eq!(merge(&runs, "backwards").0, 0);
    let by_hand = |out: &str| files(&demo.join(out));
    assert!(by_hand("backwards") == merged);
    // Parts of it are merged again; what does not fit is refused.
    assert_eq!(merge(&runs[..3], "some").0, 0);
    let (code, _, err) = merge(&["some".into(), runs[1].clone()], "twice");
    assert_eq!(code, 2);
    assert!(err.contains(&runs[1]) && err.contains("once more"), "{err}");
    let (code, _, err) = merge(&["whole".into(), runs[1].clone()], "other");
    assert_eq!(code, 2);
    assert!(err.contains("another number of shares"), "{err}");
    let rest = [&["some".to_owned()], &runs[3..]].concat();
    assert_eq!(merge(&rest, "nested").0, 0);
    assert!(by_hand("nested")["results.json"] == merged["results.json"]);
}

#[test]
fn shares_that_learn_make_one_run_in_whatever_order_they_come() {
    let (_root, demo) = workshop();
    let share = |number: u32, more: &[&str]| {
        let run = format!("share-{number}{}", more.concat());
        let mut command = begin_with(&demo, &run, "700");
        command.args(["--shard", &format!("{number}/2")]);
        let (code, _, err) = told(command.args(more));
        assert_eq!(code, 0, "{err}");
        run
    };
    let merge = |runs: [&String; 2], out: &str| {
        let mut command = program();
        command.current_dir(&demo).arg("merge").args(runs);
        told(command.args(["--out", out]))
    };
    let (one, two) = (share(1, &[]), share(2, &[]));
    for (runs, out) in [([&one, &two], "merged"), ([&two, &one], "backwards")] {
        let (code, _, err) = merge(runs, out);
        assert_eq!((code, &*err), (0, ""));
    }
    let read = |run: &str| files(&demo.join(run));
    assert!(read("merged") == read("backwards"));
    let best = |run: &str| {
        let results = crate::command_search::read_json(&demo.join(run).join("results.json"));
        assert_eq!(results["layouts"].as_array().unwrap().len(), 3);
        results["layouts"][0]["score"].as_f64().unwrap()
    };
    // Scores that agree to a step of 0.01 count as equal.
    let step = |run: &str| (best(run) * 100.0).floor();
    assert!(step("merged") <= step(&one).min(step(&two)));
    // What learns and what does not are no shares of one search.
    let even = share(2, &["--even"]);
    let (code, _, err) = merge([&one, &even], "mixed");
    assert_eq!(code, 2);
    assert!(err.contains("--even") && err.contains(&even), "{err}");
    assert!(!demo.join("mixed").exists());
    let [learnt, even] = [&two, &even].map(|run| read(run)["ranking.csv"].clone());
    assert!(learnt != even, "nothing was learnt");
}

#[test]
fn threads_and_budgets_on_the_way_change_nothing_that_is_found() {
    let (_root, demo) = with_whole_run();
    for threads in ["1", "5"] {
        let (code, _, err) = told(begin(&demo, threads).args(["--threads", threads]));
        assert_eq!(code, 0, "{err}");
        assert_same(&demo, threads);
    }
    // Ended in the middle of rounds, before and after something was learnt.
    let ended = ["150", "151", "205", STARTS];
    let (code, _, err) = told(&mut begin_with(&demo, "grown", "100"));
    assert_eq!(code, 0, "{err}");
    for starts in ended {
        let (code, _, err) = told(resume(&demo, "grown").args(["--starts", starts]));
        assert_eq!(code, 0, "{err}");
    }
    let [mut whole, mut grown] = ["whole", "grown"].map(|run| files(&demo.join(run)));
    for files in [&mut whole, &mut grown] {
        // It tells of the budgets and of more rounds.
        assert!(files.remove("journal").is_some());
    }
    assert!(whole == grown);
}

#[test]
fn a_clock_that_jumped_ends_nothing_early() {
    let (_root, demo) = with_whole_run();
    // What a clock would have to have done to make such times, and what is none.
    let later = std::time::SystemTime::now() + Duration::from_hours(24 * 365);
    for (index, seconds) in ["-5.0", "1e300", "\"soon\"", "0.25"]
        .into_iter()
        .enumerate()
    {
        let run = format!("jump-{index}");
        let (code, _, err) = told(&mut begin_with(&demo, &run, "100"));
        assert_eq!(code, 0, "{err}");
        let times = demo.join(&run).join("times.json");
        fs::write(&times, format!("{{\"seconds\": {seconds}}}")).unwrap();
        for file in [&times, &demo.join(&run).join("journal")] {
            let file = fs::File::options().write(true).open(file).unwrap();
            file.set_modified(later).unwrap();
        }
        let budget = ["--starts", STARTS, "--for", "10h"];
        let (code, _, err) = told(resume(&demo, &run).args(budget));
        assert_eq!((code, &*err), (0, ""), "{seconds}");
        let read = |run: &str, file: &str| fs::read(demo.join(run).join(file)).unwrap();
        assert!(read("whole", "results.json") == read(&run, "results.json"));
        let times = crate::command_search::read_json(&times);
        let told = times["seconds"].as_f64().unwrap();
        assert!(told > 0.0 && told < 36_000.0, "{seconds}: {told}");
    }
}

#[test]
fn budgets_end_a_search_and_a_further_one_goes_on() {
    let (_root, demo) = workshop();
    let starts = |run: &str| {
        let text = fs::read_to_string(demo.join(run).join("results.json")).unwrap();
        let results: serde_json::Value = serde_json::from_str(&text).unwrap();
        results["starts"].as_u64().unwrap()
    };
    let run = |out: &str, arguments: &[&str]| {
        let mut command = search(&demo);
        command.args([BRIEF, "--keep", "3", "--quiet", "--out", out]);
        told(command.args(arguments))
    };
    let (code, _, err) = run("time", &["--for", "1s"]);
    assert_eq!((code, &*err), (0, ""));
    let taken = starts("time");
    assert!(taken >= 64 && taken.is_multiple_of(64), "{taken}");
    // As many starts at once are the same search, whatever the clock said.
    let all = taken.to_string();
    assert_eq!(run("starts", &["--starts", &all]).0, 0);
    let read = |run: &str, file: &str| fs::read(demo.join(run).join(file)).unwrap();
    assert!(read("time", "results.json") == read("starts", "results.json"));
    let more = (taken + 100).to_string();
    assert_eq!(told(resume(&demo, "time").args(["--starts", &more])).0, 0);
    assert_eq!(starts("time"), taken + 100);
    assert_eq!(
        run("distinct", &["--until-distinct", "3", "--starts", "5000"]).0,
        0
    );
    assert!(starts("distinct") < 5000);
    assert!(read("distinct", "layouts/03.json").len() > 100);
    // Nothing assembles in a box of its own kind, so nothing new ever comes.
    let brief = fs::read_to_string(demo.join(BRIEF)).unwrap();
    let brief = brief.replace(
        "\"x\": [0, 30], \"y\": [45, 85]",
        "\"x\": [0, 0.1], \"y\": [800, 800.1]",
    );
    fs::write(demo.join(BRIEF), brief).unwrap();
    let (code, _, err) = run(
        "stagnant",
        &["--until-stagnant", "128", "--starts", "100000"],
    );
    assert!(code < 2, "{err}");
    assert!(starts("stagnant") < 5000, "{}", starts("stagnant"));
    for slip in ["8", "h", "1h8", "0s", "99999999999999999999h", "5d", ""] {
        let (code, _, err) = run("slip", &["--for", slip]);
        assert_eq!(code, 2, "{slip}");
        assert!(err.contains("--for"), "{err}");
    }
}
