//! `failover --windows` and `report --windows`, as their users meet them.

use super::{code, err, halfloom, out, small_site};
use std::fs;
use std::path::Path;

const DAY: &str = "day.shape=[1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5, 0]";

fn asked(place: &Path, more: &[&str]) -> std::process::Output {
    let mut arguments = vec![
        "failover",
        "small.toml",
        "--outage",
        "A",
        "--quiet",
        "--set",
        DAY,
    ];
    arguments.extend(more);
    halfloom(place, &arguments)
}

#[test]
fn the_exit_code_says_whether_there_are_as_many_hours_as_are_needed() {
    let place = tempfile::tempdir().expect("a temporary folder");
    small_site(place.path(), r#"{ mean = "1s" }"#);
    let output = asked(
        place.path(),
        &[
            "--windows=24",
            "--csv",
            "h.csv",
            "--chart",
            "h.svg",
            "--junit",
            "h.xml",
        ],
    );
    assert_eq!(code(&output), 0, "{}", err(&output));
    let text = out(&output);
    assert!(text.contains("00:00–24:00 (24\u{202F}h)"), "{text}");
    assert!(text.contains("no work"), "the last hour has none: {text}");
    let read = |name: &str| fs::read_to_string(place.path().join(name)).expect("it was written");
    assert_eq!(read("h.csv").lines().count(), 25);
    assert!(read("h.svg").starts_with("<svg") && read("h.xml").contains("failures=\"0\""));

    small_site(place.path(), r#"{ mean = "1us" }"#);
    let output = asked(place.path(), &["--windows=2", "--json"]);
    assert_eq!(code(&output), 1, "{}", err(&output));
    let json: serde_json::Value = serde_json::from_str(&out(&output)).expect("it is JSON");
    assert_eq!(json["kind"], "windows");
    let outage = &json["windows"]["outages"][0];
    // Only the hour without work is met, and two are needed.
    assert_eq!(outage["verdict"], "missed");
    assert_eq!(outage["longest"]["from_hour"], 23);
    let hours = outage["hours"].as_array().expect("hours");
    assert_eq!(hours.len(), 24);
    assert!(hours[..23].iter().all(|hour| hour["verdict"] == "missed"));
}

#[test]
fn what_cannot_be_judged_is_refused_before_any_run() {
    let place = tempfile::tempdir().expect("a temporary folder");
    small_site(place.path(), r#"{ mean = "1s" }"#);
    for (more, says) in [
        (&["--windows=25"][..], "25 is not in 1..=24"),
        (&["--each-hour"], "--windows"),
        (&["--windows", "--mends"], "looks for hours only"),
        (&["--chart", "h.svg"], "--windows"),
        (&["--windows", "--chart", "h.txt"], "neither .svg nor .png"),
        (&["--windows", "--set", "day.shape=[1, 2]"], "has 2 factors"),
    ] {
        let output = asked(place.path(), more);
        assert_eq!(code(&output), 2, "{more:?}");
        assert!(err(&output).contains(says), "{more:?}: {}", err(&output));
    }
    let text = fs::read_to_string(place.path().join("small.toml")).expect("it is there");
    let mute: Vec<&str> = text
        .lines()
        .filter(|line| !line.starts_with("promise"))
        .collect();
    fs::write(place.path().join("small.toml"), mute.join("\n")).expect("it can be written");
    let output = asked(place.path(), &["--windows"]);
    assert_eq!(code(&output), 2);
    assert!(
        err(&output).contains("promises nothing of an outage"),
        "{}",
        err(&output)
    );
}

#[test]
fn the_page_and_the_sheet_have_the_hours() {
    let place = tempfile::tempdir().expect("a temporary folder");
    small_site(place.path(), r#"{ mean = "1s" }"#);
    let output = asked(place.path(), &["--windows", "--sheet", "sheet.html"]);
    assert_eq!(code(&output), 0, "{}", err(&output));
    let sheet = fs::read_to_string(place.path().join("sheet.html")).expect("it was written");
    assert!(sheet.contains("00:00–24:00 (24\u{202F}h)"));
    assert!(sheet.contains("00:00–01:00, the busiest hour of the window 00:00–24:00"));
    assert!(
        out(&output).contains("windows 00:00–24:00"),
        "{}",
        out(&output)
    );
    let output = halfloom(
        place.path(),
        &[
            "report",
            "small.toml",
            "-o",
            "r",
            "--quiet",
            "--windows",
            "--set",
            DAY,
        ],
    );
    assert_eq!(code(&output), 0, "{}", err(&output));
    let page = fs::read_to_string(place.path().join("r/report.html")).expect("it was written");
    assert!(page.contains("id=\"windows\"") && place.path().join("r/windows.csv").exists());
    // Its sheet is that of the windows too: at the load of an hour, drained first.
    let sheet = fs::read_to_string(place.path().join("r/test-sheet.html")).expect("it was written");
    assert!(sheet.contains("00:00–01:00, the busiest hour of the window 00:00–24:00"));
    let rows = fs::read_to_string(place.path().join("r/test-sheet.csv")).expect("it was written");
    assert!(rows.contains("the busiest hour of the window"), "{rows}");
}

/// The sheet of windows tests the load at which its step is to be taken, drained first; the exit code stays that of the hours.
#[test]
fn the_sheet_of_a_window_is_at_its_load() {
    let place = tempfile::tempdir().expect("a temporary folder");
    // Four requests at once: the array is nearly full at the stated load, and half so at half of it.
    let slow = [
        "--set",
        "array.store.parallel=2",
        "--set",
        "run.duration=200ms",
    ];
    let day = "day.shape=[1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5]";
    let completed = |sheet: &str| -> f64 {
        let line = sheet
            .lines()
            .find(|line| line.contains("before,orders: I/Os completed"));
        let cells: Vec<&str> = line.expect("a line").split(',').collect();
        cells[4].parse().expect("a number")
    };
    let ask = |promise: &str, more: &[&str]| {
        small_site(place.path(), promise);
        let mut arguments = vec!["failover", "small.toml", "--outage", "A", "--quiet"];
        arguments.extend(["--set", day, "--sheet", "sheet.html"]);
        arguments.extend(slow);
        arguments.extend(more);
        let output = halfloom(place.path(), &arguments);
        let rows = fs::read_to_string(place.path().join("sheet.csv")).unwrap_or_default();
        (output, rows)
    };
    // Kept at half the load and not at the whole.
    let between = r#"{ mean = "BETWEEN" }"#;
    small_site(place.path(), r#"{ mean = "1s" }"#);
    let arguments = [
        "failover",
        "small.toml",
        "--outage",
        "A",
        "--windows",
        "--each-hour",
        "--quiet",
        "--json",
        "--set",
        day,
    ];
    let output = halfloom(place.path(), &[&arguments[..], &slow].concat());
    let json: serde_json::Value = serde_json::from_str(&out(&output)).expect("it is JSON");
    let both = [0, 12].map(|hour| {
        let rows = &json["windows"]["outages"][0]["hours"][hour]["rows"];
        rows[0]["cells"][0]["value"]["value"]
            .as_f64()
            .expect("a figure")
    });
    assert!(both[0] > both[1], "{both:?}");
    let middle = format!("{:.3}us", (both[0] + both[1]) / 2.0);
    let (output, rows) = ask(&between.replace("BETWEEN", &middle), &["--windows=12"]);
    assert_eq!(code(&output), 0, "{} {}", out(&output), err(&output));
    assert!(
        rows.contains("12:00–13:00, the busiest hour of the window"),
        "{rows}"
    );
    assert!(
        rows.contains("what is done, 1 of 2") && rows.contains("what is done, 2 of 2"),
        "{rows}"
    );
    assert!(!rows.contains("expected to miss"), "{rows}");
    let at_window = completed(&rows);
    let (output, rows) = ask(&between.replace("BETWEEN", &middle), &[]);
    assert_eq!(code(&output), 1);
    assert!(
        rows.contains("expected to miss: do not go on at this load"),
        "{rows}"
    );
    let stated = completed(&rows);
    assert!(
        (0.4..0.6).contains(&(at_window / stated)),
        "{at_window} {stated}"
    );
    // One hour too many is asked for: no exit 0, whatever the sheet says.
    let (output, rows) = ask(&between.replace("BETWEEN", &middle), &["--windows=13"]);
    assert_eq!(code(&output), 1);
    assert!(!rows.is_empty());
}

/// An outage whose parts stay has no window, and does not keep the others from theirs; asked for by name it is refused.
#[test]
fn slow_outages_are_left_out_of_the_hours_and_named() {
    let place = tempfile::tempdir().expect("a temporary folder");
    small_site(place.path(), r#"{ mean = "1s" }"#);
    let file = place.path().join("small.toml");
    let text = fs::read_to_string(&file).expect("it is there");
    let slow = "\n[[outage]]\nname = \"tired\"\ntakes = \"core-A\"\nrate = \"50%\"\n";
    fs::write(&file, text + slow).expect("it can be written");
    let output = halfloom(
        place.path(),
        &[
            "failover",
            "small.toml",
            "--windows",
            "--quiet",
            "--set",
            DAY,
        ],
    );
    assert_eq!(code(&output), 0, "{}", err(&output));
    let text = out(&output).replace('\n', " ");
    assert!(
        text.contains("o window is looked for where parts stay"),
        "{text}"
    );
    assert!(text.contains("tired"), "{text}");
    let output = halfloom(
        place.path(),
        &[
            "failover",
            "small.toml",
            "--windows",
            "--outage",
            "tired",
            "--quiet",
        ],
    );
    assert_eq!(code(&output), 2);
    let said = err(&output);
    assert!(
        said.contains("with --outage") && !said.contains("--during"),
        "{said}"
    );
}
