//! The same seed gives the same bytes.

use super::{halfloom, out, small_site};
use std::fs;

const PROMISE: &str = r#"{ mean = "1s", p99 = "2ms" }"#;

fn failover(folder: &std::path::Path, extra: &[&str]) -> String {
    let mut arguments = vec!["failover", "small.toml", "--json"];
    arguments.extend_from_slice(extra);
    out(&halfloom(folder, &arguments))
}

#[test]
fn one_thread_or_three_print_the_same() {
    let place = tempfile::tempdir().expect("a temporary folder");
    small_site(place.path(), PROMISE);
    let one = failover(place.path(), &["--threads", "1"]);
    assert!(one.len() > 1000);
    assert_eq!(one, failover(place.path(), &["--threads", "3"]));
}

#[test]
fn another_seed_prints_something_else() {
    let place = tempfile::tempdir().expect("a temporary folder");
    small_site(place.path(), PROMISE);
    let means = |text: &str| {
        let json: serde_json::Value = serde_json::from_str(text).expect("it is JSON");
        json["steady"].to_string()
    };
    let one = means(&failover(place.path(), &["--seed", "1"]));
    assert_ne!(one, means(&failover(place.path(), &["--seed", "2"])));
    // Seed 1 is what a scenario without a seed gets.
    assert_eq!(one, means(&failover(place.path(), &[])));
}

/// The line that a result prints repeats it, whatever folder the scenario was in.
#[test]
fn the_printed_command_line_repeats_the_run() {
    let place = tempfile::tempdir().expect("a temporary folder");
    small_site(place.path(), PROMISE);
    let extra = [
        "--outage",
        "B",
        "--planned",
        "--seed",
        "5",
        "--set",
        "run.duration=\"30ms\"",
    ];
    let first = failover(place.path(), &extra);
    let json: serde_json::Value = serde_json::from_str(&first).expect("it is JSON");
    let line = json["origin"]["command"].as_str().expect("a command line");
    let script = line.replacen("halfloom", "\"$PROGRAM\"", 1);
    let output = std::process::Command::new("sh")
        .args(["-c", &format!("{script} --json")])
        .env("PROGRAM", env!("CARGO_BIN_EXE_halfloom"))
        .current_dir(place.path())
        .output()
        .expect("a shell starts");
    assert_eq!(out(&output), first);
}

#[test]
fn a_report_is_the_same_file_by_file() {
    let place = tempfile::tempdir().expect("a temporary folder");
    small_site(place.path(), PROMISE);
    for (folder, threads) in [("one", "1"), ("two", "2")] {
        let arguments = ["report", "small.toml", "-o", folder, "--threads", threads];
        halfloom(place.path(), &arguments);
    }
    let mut compared = 0;
    for entry in fs::read_dir(place.path().join("one")).expect("it was written") {
        let entry = entry.expect("it can be read");
        let other = place.path().join("two").join(entry.file_name());
        let bytes = |path| fs::read(path).expect("a file");
        assert!(
            bytes(entry.path()) == bytes(other),
            "{:?}",
            entry.file_name()
        );
        compared += 1;
    }
    assert!(compared > 5);
}

/// A report of planned losses says that they are, and so does the line that repeats it.
#[test]
fn a_report_may_be_of_planned_losses() {
    let place = tempfile::tempdir().expect("a temporary folder");
    small_site(place.path(), PROMISE);
    let arguments = ["report", "small.toml", "-o", "page", "--planned"];
    let output = halfloom(place.path(), &arguments);
    assert!(
        out(&output).contains("The losses are planned"),
        "{}",
        out(&output)
    );
    let page = fs::read_to_string(place.path().join("page/report.html")).expect("it was written");
    assert!(page.contains("--planned"));
    assert!(page.contains("The losses are planned"));
}
