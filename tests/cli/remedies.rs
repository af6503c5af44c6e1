//! `failover --mends`, several scenarios, and the work sheet, as their users meet them.

use super::{code, err, halfloom, out, small_site};
use std::fs;

const EASY: &str = r#"{ mean = "1s" }"#;
/// Longer than half of fast-io-fail, shorter than all of it: missed until the timers are shorter than both.
const HASTY: &str = r#"{ mean = "1s", switching = { longest_io = "600ms" } }"#;
const NEVER: &str = r#"{ mean = "1us" }"#;

#[test]
fn what_cannot_be_mended_says_how_much_was_tried() {
    let place = tempfile::tempdir().expect("a temporary folder");
    small_site(place.path(), NEVER);
    let output = halfloom(
        place.path(),
        &[
            "failover",
            "small.toml",
            "--outage",
            "A",
            "--mends=4",
            "--quiet",
        ],
    );
    assert_eq!(code(&output), 1, "{}", err(&output));
    let text = out(&output);
    // The answer of an idle site is too slow for the promise, and no part is full: only the policy can be tried.
    assert!(
        text.contains("1 change of at most 4 proposed and simulated"),
        "{text}"
    );
    assert!(
        text.contains("with none of them every promise judged is met"),
        "{text}"
    );
    assert!(text.contains("a wider one would not help"), "{text}");
    assert!(
        text.contains("least-bytes paths at the hosts app"),
        "{text}"
    );
}

#[test]
fn a_missed_switching_promise_brings_up_the_timers() {
    let place = tempfile::tempdir().expect("a temporary folder");
    small_site(place.path(), HASTY);
    let arguments = [
        "failover",
        "small.toml",
        "--outage",
        "A",
        "--mends",
        "--json",
        "--quiet",
    ];
    let output = halfloom(place.path(), &arguments);
    assert_eq!(code(&output), 1, "{}", err(&output));
    let json: serde_json::Value = serde_json::from_str(&out(&output)).expect("it is JSON");
    assert_eq!(json["mend_search"]["most"], 12);
    let command = json["origin"]["command"].as_str().expect("a line");
    assert!(command.contains("--outage A --mends=12"), "{command}");
    let mends = json["mends"].as_array().expect("a list");
    let refused = json["mend_search"]["refused"].as_array().expect("a list");
    assert!(!mends.is_empty() || !refused.is_empty(), "{json}");
    for mend in mends {
        assert_eq!(mend["origin"], "proposed");
        assert_eq!(mend["changes"]["cables"], 0);
    }
}

#[test]
fn a_price_list_that_cannot_be_read_is_refused_before_any_run() {
    let place = tempfile::tempdir().expect("a temporary folder");
    small_site(place.path(), NEVER);
    fs::write(
        place.path().join("prices.csv"),
        "item,of,price\nport,32GFC,dear\n",
    )
    .expect("a file");
    let with = |file| {
        halfloom(
            place.path(),
            &["failover", "small.toml", "--mends", "--prices", file],
        )
    };
    let wrong = with("prices.csv");
    assert_eq!(code(&wrong), 2);
    assert!(err(&wrong).contains("prices.csv:2:"), "{}", err(&wrong));
    assert!(
        err(&wrong).contains("`dear` is no price"),
        "{}",
        err(&wrong)
    );
    assert_eq!(code(&with("no.csv")), 3);
    let alone = halfloom(
        place.path(),
        &["failover", "small.toml", "--prices", "prices.csv"],
    );
    assert_eq!(
        code(&alone),
        2,
        "prices order changes, and none was asked for"
    );
}

#[test]
fn several_scenarios_have_a_row_each_and_the_worst_decides() {
    let place = tempfile::tempdir().expect("a temporary folder");
    let missed = small_site(place.path(), NEVER);
    fs::rename(missed, place.path().join("missed.toml")).expect("the folder can be written");
    small_site(place.path(), EASY);
    fs::copy(
        place.path().join("small.toml"),
        place.path().join("again.toml"),
    )
    .expect("a copy");
    let run = |files: &[&str], more: &[&str]| {
        let arguments = [&["failover"], files, &["--outage", "A", "--quiet"], more].concat();
        halfloom(place.path(), &arguments)
    };
    let good = run(&["small.toml", "again.toml"], &[]);
    assert_eq!(code(&good), 0, "{}", err(&good));
    assert!(
        out(&good).starts_with("2 scenarios: none misses a promise."),
        "{}",
        out(&good)
    );
    let bad = run(&["small.toml", "missed.toml"], &["--csv", "rows.csv"]);
    assert_eq!(code(&bad), 1, "{}", err(&bad));
    let text = out(&bad);
    assert!(text.contains("1 with a promise missed"), "{text}");
    assert!(text.contains("failover missed.toml --outage A"), "{text}");
    let rows = fs::read_to_string(place.path().join("rows.csv")).expect("it was written");
    assert_eq!(rows.lines().count(), 3, "{rows}");
    assert!(
        rows.contains("missed.toml,Small,") && rows.contains(",missed,"),
        "{rows}"
    );
    let json = run(&["small.toml", "missed.toml"], &["--json"]);
    let json: serde_json::Value = serde_json::from_str(&out(&json)).expect("it is JSON");
    assert_eq!(json["kind"], "scenarios");
    assert_eq!(json["scenarios"].as_array().map(Vec::len), Some(2));
    // Each row is what a run of that file alone says.
    let alone = run(&["missed.toml"], &["--json"]);
    let alone: serde_json::Value = serde_json::from_str(&out(&alone)).expect("it is JSON");
    assert_eq!(json["reports"][1]["matrix"], alone["matrix"]);
    let junit = run(&["small.toml", "missed.toml"], &["--junit", "all.xml"]);
    assert_eq!(code(&junit), 1, "{}", err(&junit));
    let verdicts = fs::read_to_string(place.path().join("all.xml")).expect("it was written");
    for suite in ["small.toml: A lost", "missed.toml: A lost"] {
        assert!(
            verdicts.contains(&format!("<testsuite name=\"{suite}\"")),
            "{verdicts}"
        );
    }
    assert!(verdicts.contains("type=\"missed\""), "{verdicts}");
    // All are read before the first is run.
    let absent = run(&["small.toml", "absent.toml"], &[]);
    assert_eq!(code(&absent), 3);
    assert_eq!(out(&absent), "");
}

#[test]
fn a_work_sheet_is_a_page_and_its_rows() {
    let place = tempfile::tempdir().expect("a temporary folder");
    small_site(place.path(), HASTY);
    let run = |sheet: &str| {
        halfloom(
            place.path(),
            &["failover", "small.toml", "--sheet", sheet, "--quiet"],
        )
    };
    let output = run("sheet.html");
    assert_eq!(code(&output), 1, "{}", err(&output));
    let read = |name: &str| fs::read_to_string(place.path().join(name)).expect("it was written");
    let page = read("sheet.html");
    for said in [
        "A lost",
        "B lost",
        "change window",
        "estimate",
        "longest I/O",
        "at most 600",
    ] {
        assert!(page.contains(said), "{said} is missing");
    }
    let rows = read("sheet.csv");
    assert!(rows.starts_with("step,case,when,what,"), "{rows}");
    for when in [",before,", ",during,", ",after,"] {
        assert!(rows.contains(when), "{when} is missing");
    }
    // With one fabric gone, its paths are none and the other's are as before.
    assert!(
        rows.contains("1,A lost,after,\"orders: paths in use on A, each host\",0,0,"),
        "{rows}"
    );
    assert!(
        rows.contains("1,A lost,after,\"orders: paths in use on B, each host\",2,2,"),
        "{rows}"
    );
    // Single parts are no steps of a sheet: that is said, and what to state instead.
    let refused = |more: &[&str]| {
        let arguments = [&["failover", "small.toml", "--sheet", "no.html"], more].concat();
        let output = halfloom(place.path(), &arguments);
        assert_eq!(code(&output), 2);
        err(&output)
    };
    assert!(
        refused(&["--each-part"]).contains("[[outage]]"),
        "{}",
        refused(&["--each-part"])
    );
    assert!(refused(&["--during", "A"]).contains("[[outage]]"));
    assert!(refused(&["small.toml"]).contains("the sheet of each by itself"));
    let wrong = run("sheet.txt");
    assert_eq!(code(&wrong), 2);
    assert!(
        err(&wrong).contains("does not end in .html"),
        "{}",
        err(&wrong)
    );
}

/// The verdicts of a run stand beside its figures, a row for each promise and case.
#[test]
fn a_csv_of_figures_has_its_verdicts_beside_it() {
    let place = tempfile::tempdir().expect("a temporary folder");
    small_site(place.path(), HASTY);
    for command in ["failover", "simulate"] {
        let arguments = [command, "small.toml", "--csv", "figures.csv", "--quiet"];
        let output = halfloom(place.path(), &arguments);
        let beside = place.path().join("figures-promises.csv");
        let rows = fs::read_to_string(&beside).unwrap_or_else(|_| panic!("{}", err(&output)));
        let mut reader = csv::Reader::from_reader(rows.as_bytes());
        let header = reader.headers().expect("it has one").clone();
        let column = header.iter().position(|name| name == "verdict");
        let column = column.expect("it has verdicts");
        let verdicts: Vec<String> = reader
            .records()
            .map(|row| row.expect("it is whole")[column].to_owned())
            .collect();
        assert_eq!(
            verdicts.iter().any(|verdict| verdict == "missed"),
            code(&output) == 1
        );
        assert!(verdicts.iter().any(|verdict| verdict == "met"), "{rows}");
        fs::remove_file(beside).expect("it is there");
        let third = place.path().join("figures-switch-overs.csv");
        // No event is scripted, so that nothing switches over in `simulate`.
        assert_eq!(third.exists(), command == "failover");
        if command == "failover" {
            let rows = fs::read_to_string(&third).expect("it is text");
            let mut reader = csv::Reader::from_reader(rows.as_bytes());
            let header = reader.headers().expect("it has one").clone();
            for name in [
                "longest_io_s",
                "longest_silence_s",
                "retried_attempts",
                "failed_ios",
                "late_responses",
                "backlog_peak_ios",
                "drain_s",
                "settled_s",
                "above_promise_s",
            ] {
                let column = header.iter().position(|own| own == name);
                assert!(column.is_some(), "{name}: {header:?}");
            }
            let cases: Vec<String> = reader
                .records()
                .map(|row| row.expect("it is whole")[0].to_owned())
                .collect();
            assert!(cases.len() >= 2 && cases[0] != cases[1], "{cases:?}");
            fs::remove_file(third).expect("it is there");
        }
    }
    let twice = [
        "failover",
        "small.toml",
        "--csv",
        "t.csv",
        "--junit",
        "t-promises.csv",
    ];
    let output = halfloom(place.path(), &twice);
    assert_eq!(code(&output), 2, "{}", err(&output));
}
