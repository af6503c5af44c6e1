//! `failover --each-part` and `--during` as their users meet them.

use super::{code, err, halfloom, out, small_site};
use std::fs;

const EASY: &str = r#"{ mean = "1s" }"#;

#[test]
fn every_part_is_lost_and_what_was_run_is_said() {
    let place = tempfile::tempdir().expect("a temporary folder");
    small_site(place.path(), EASY);
    let arguments = [
        "failover",
        "small.toml",
        "--each-part",
        "--csv",
        "parts.csv",
    ];
    let output = halfloom(place.path(), &arguments);
    assert_eq!(code(&output), 0, "{}", err(&output));
    let text = out(&output);
    assert!(text.contains("every promise judged is met"), "{text}");
    assert!(
        text.contains("No single part leaves a host without a path."),
        "{text}"
    );
    assert!(text.contains("3 replications of 0.0400"), "{text}");
    assert!(
        text.contains("The switch-overs were not simulated."),
        "{text}"
    );
    assert!(text.ends_with('\n') && text.contains("estimate"), "{text}");
    assert!(err(&output).contains(" cases, "), "{}", err(&output));
    assert!(
        err(&output).contains(" saved by symmetry, in "),
        "{}",
        err(&output)
    );
    #[cfg(unix)]
    assert!(err(&output).contains(" cores in use"), "{}", err(&output));
    let table = fs::read_to_string(place.path().join("parts.csv")).expect("it was written");
    assert!(table.lines().count() > 4, "{table}");
    assert!(
        table.contains("core-A lost,,switch,core-A,,core-B,"),
        "{table}"
    );

    let json = halfloom(
        place.path(),
        &["failover", "small.toml", "--each-part", "--json", "--quiet"],
    );
    assert_eq!(err(&json), "");
    let json: serde_json::Value = serde_json::from_str(&out(&json)).expect("it is JSON");
    let each = &json["each_part"];
    let run = each["cases_run"].as_u64().expect("a count");
    assert_eq!(
        each["cases"].as_array().expect("cases").len() as u64,
        run + 1
    );
    let saved = each["cases_saved"].as_u64().expect("a count");
    assert!(saved > 0 && run + saved == each["parts"].as_u64().expect("a count"));
}

/// With one switch out, the other is all there is: a promise is missed, and who is cut off is named.
#[test]
fn a_second_loss_is_a_miss_and_exit_1() {
    let place = tempfile::tempdir().expect("a temporary folder");
    small_site(place.path(), EASY);
    let output = halfloom(place.path(), &["failover", "small.toml", "--during", "A"]);
    assert_eq!(code(&output), 1, "{}", err(&output));
    let text = out(&output);
    assert!(text.contains("while A is out"), "{text}");
    assert!(
        text.contains("switch core-B cuts off app from store"),
        "{text}"
    );
}

/// Whatever the command, the file has a test for each case and promise; it is refused before the runs.
#[test]
fn verdicts_go_to_a_file_for_automation() {
    let place = tempfile::tempdir().expect("a temporary folder");
    small_site(place.path(), r#"{ mean = "1us" }"#);
    for (arguments, suites) in [
        (&["simulate", "small.toml"][..], 1),
        (&["failover", "small.toml"], 3),
        (&["failover", "small.toml", "--during", "A"], 4),
        (&["report", "small.toml"], 3),
    ] {
        let all = [arguments, &["--quiet", "--junit", "verdicts.xml"]].concat();
        let output = halfloom(place.path(), &all);
        assert_eq!(code(&output), 1, "{arguments:?}: {}", err(&output));
        let text = fs::read_to_string(place.path().join("verdicts.xml")).expect("it was written");
        let document = roxmltree::Document::parse(&text).expect("it is well-formed");
        let count = |tag: &str| {
            document
                .descendants()
                .filter(|n| n.has_tag_name(tag))
                .count()
        };
        assert_eq!(count("testsuite"), suites, "{text}");
        assert!(
            count("failure") >= suites && count("testcase") >= suites,
            "{text}"
        );
        let refused = [arguments, &["--junit", "no/such/folder.xml"]].concat();
        assert_eq!(code(&halfloom(place.path(), &refused)), 3, "{arguments:?}");
    }
}

#[test]
fn what_does_not_go_together_is_refused() {
    let place = tempfile::tempdir().expect("a temporary folder");
    small_site(place.path(), EASY);
    for (arguments, said) in [
        (&["--no-symmetry"][..], "--each-part"),
        (&["--switch-overs"], "--each-part"),
        (&["--each-part", "--planned"], "--planned"),
        (&["--each-part", "--outage", "A"], "--outage"),
        (&["--during", "C"], "there is no outage `C`"),
    ] {
        let all = [&["failover", "small.toml"], arguments].concat();
        let output = halfloom(place.path(), &all);
        assert_eq!(code(&output), 2, "{arguments:?}");
        assert!(
            err(&output).contains(said),
            "{arguments:?}: {}",
            err(&output)
        );
    }
}
