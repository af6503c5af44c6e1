//! Headroom, comparisons and sweeps as their users meet them.

use super::{code, err, halfloom, out, small_site};
use std::fs;

const EASY: &str = r#"{ mean = "1s" }"#;
const SHORT: [&str; 4] = ["--quiet", "--replications", "3", "--set"];

#[test]
fn headroom_says_what_is_wrong_before_anything_runs() {
    let place = tempfile::tempdir().expect("a temporary folder");
    small_site(place.path(), EASY);
    for (arguments, words) in [
        (&["--outage", "C"][..], "outages: A, B"),
        (&["--most", "1"], "a factor above 1"),
        (&["--chart", "load.txt"], "neither .svg nor .png"),
        (&["--chart", "no/load.svg"], "its folder does not exist"),
        (
            &["--chart", "a.svg", "--chart-of", "x"],
            "workloads: orders",
        ),
        (&["--set", "workload.orders.promise={}"], "promises nothing"),
    ] {
        let all = [&["headroom", "small.toml"], arguments].concat();
        let output = halfloom(place.path(), &all);
        assert!([2, 3].contains(&code(&output)), "{arguments:?}");
        assert!(err(&output).contains(words), "{}", err(&output));
    }
    assert_eq!(fs::read_dir(place.path()).expect("there").count(), 1);
}

#[test]
fn headroom_writes_table_json_rows_and_chart_that_agree() {
    let place = tempfile::tempdir().expect("a temporary folder");
    small_site(place.path(), r#"{ mean = "1s", p90 = "60us" }"#);
    let arguments = [
        &["headroom", "small.toml", "--outage", "A"][..],
        &SHORT,
        &["run.duration=20ms", "--json", "--csv", "l.csv"],
        &["--chart", "l.svg"],
    ]
    .concat();
    let output = halfloom(place.path(), &arguments);
    assert!([0, 1].contains(&code(&output)), "{}", err(&output));
    let json: serde_json::Value = serde_json::from_str(&out(&output)).expect("it is JSON");
    assert_eq!(
        (&json["kind"], &json["format"]),
        (&"headroom".into(), &1.into())
    );
    let rows = fs::read_to_string(place.path().join("l.csv")).expect("it was written");
    let points: usize = json["cases"]
        .as_array()
        .expect("cases")
        .iter()
        .map(|case| case["points"].as_array().expect("points").len())
        .sum();
    // Two promises a load, and the header.
    assert_eq!(rows.lines().count(), 2 * points + 1);
    let chart = fs::read_to_string(place.path().join("l.svg")).expect("it was written");
    assert!(chart.contains("estimate"));
    let again = halfloom(
        place.path(),
        &[&arguments[..], &["--threads", "1"]].concat(),
    );
    assert_eq!(out(&again), out(&output));
}

#[test]
fn a_comparison_needs_two_designs_that_can_be_read() {
    let place = tempfile::tempdir().expect("a temporary folder");
    small_site(place.path(), EASY);
    for (arguments, words) in [
        (&["small.toml"][..], "nothing to compare it with"),
        (&["small.toml", "none.toml"], "none.toml"),
        (
            &["small.toml", "--variant", "link.app-cor.members=2"],
            "app-core",
        ),
        (&["small.toml", "--variant", "seed"], "KEY=VALUE"),
        (
            &["small.toml", "small.toml", "--outage", "C"],
            "outages: A, B",
        ),
    ] {
        let output = halfloom(place.path(), &[&["compare"], arguments].concat());
        assert!([2, 3].contains(&code(&output)), "{arguments:?}");
        assert!(err(&output).contains(words), "{}", err(&output));
    }
}

#[test]
fn the_same_scenario_twice_differs_in_nothing() {
    let place = tempfile::tempdir().expect("a temporary folder");
    small_site(place.path(), EASY);
    fs::copy(
        place.path().join("small.toml"),
        place.path().join("twin.toml"),
    )
    .expect("a copy");
    let arguments = [
        &["compare", "small.toml", "twin.toml", "--variant"][..],
        &["link.core-store.ports=2; array.store.parallel=4", "--csv"],
        &["d.csv", "--quiet", "--replications", "3"],
    ]
    .concat();
    let output = halfloom(place.path(), &arguments);
    assert_eq!(code(&output), 0, "{}", err(&output));
    let text = out(&output);
    let twin = "design 2 (twin.toml): exactly the same figures as design 1 (small.toml).";
    assert!(text.contains(twin), "{text}");
    let rows = fs::read_to_string(place.path().join("d.csv")).expect("it was written");
    let of_twin = rows.lines().filter(|row| row.starts_with("2,"));
    assert!(of_twin.clone().count() > 6);
    for row in of_twin {
        assert!(row.ends_with(",0,0,0,same"), "{row}");
    }
}
