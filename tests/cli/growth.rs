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
        (&["--parts-chart", "p.txt"], "neither .svg nor .png"),
        (&["--page", "p.htm"], "does not end in .html"),
        (&["--chart", "no/load.svg"], "its folder does not exist"),
        (
            &["--chart", "a.svg", "--chart-of", "x"],
            "workloads: orders",
        ),
        (&["--set", "workload.orders.promise={}"], "promises nothing"),
        (
            &["--hosts", "app"],
            "the rate of `orders` is stated for the whole workload",
        ),
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
        &[
            "--chart",
            "l.svg",
            "--parts-chart",
            "p.svg",
            "--page",
            "l.html",
        ],
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
    let page = fs::read_to_string(place.path().join("l.html")).expect("it was written");
    let bars = fs::read_to_string(place.path().join("p.svg")).expect("it was written");
    for part in json["parts"].as_array().expect("parts") {
        let part = part["part"].as_str().expect("a name");
        assert!(page.contains(part) && bars.contains(part), "{part}");
    }
    let again = halfloom(
        place.path(),
        &[&arguments[..], &["--threads", "1"]].concat(),
    );
    assert_eq!(out(&again), out(&output));
}

/// Lost links are noticed after 0.1 s and held for 1 s, so the longest I/O is 1.1 s.
#[test]
fn headroom_judges_the_switch_over_or_says_that_it_does_not() {
    let place = tempfile::tempdir().expect("a temporary folder");
    let run = |promise: &str, more: &[&str]| {
        small_site(place.path(), promise);
        let arguments = [
            &["headroom", "small.toml", "--outage", "A", "--most", "4"][..],
            &SHORT,
            &["run.duration=20ms"],
            more,
        ]
        .concat();
        halfloom(place.path(), &arguments)
    };
    let with = |longest: &str| {
        format!(r#"{{ mean = "1s", switching = {{ longest_io = "{longest}", failed = 0 }} }}"#)
    };
    let met = run(&with("5s"), &[]);
    assert!(
        out(&met).contains("A lost, the switch-over at"),
        "{}",
        out(&met)
    );
    assert!(
        out(&met).contains(": met (orders longest I/O 1.1"),
        "{}",
        out(&met)
    );
    let missed = run(&with("500ms"), &[]);
    assert_eq!(code(&missed), 1);
    assert!(
        out(&missed).contains(": missed (orders longest I/O 1.1"),
        "{}",
        out(&missed)
    );
    // What is said of the load itself says so too, in the same sentence.
    let named = |output: &std::process::Output| {
        let text = out(output);
        let own = text.lines().find(|line| line.starts_with("A lost: "));
        own.expect("the case has its sentence").to_owned()
    };
    for (output, words) in [
        (&met, "the switch-over there is met"),
        (&missed, "the switch-over there is missed, and not met at "),
    ] {
        let said = named(output);
        assert!(
            said.contains("every steady promise holds at") && said.contains(words),
            "{said}"
        );
    }
    for (output, words) in [
        (
            run(&with("500ms"), &["--no-switch-over"]),
            "was not judged here: `failover` does",
        ),
        (
            run(EASY, &[]),
            "nothing is promised about the switch-over itself",
        ),
    ] {
        assert!(out(&output).contains(words), "{}", out(&output));
        assert!(!out(&output).contains("the switch-over at"));
    }
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
        assert!(row.ends_with(",0,0,0,same,,,false"), "{row}");
    }
}

/// 20,000 reads of 8 KiB a second over SCSI on Fibre Channel: towards the host, each is four frames of 2,048 bytes and 36
/// around them (SOF, header, CRC, EOF) and one of 24 + 36 with the response, 8,396 bytes without gaps.
#[test]
fn counters_are_set_beside_the_links_that_they_name() {
    let place = tempfile::tempdir().expect("a temporary folder");
    small_site(place.path(), EASY);
    let reads = [
        "--set",
        "workload.orders.arrivals={ paced = \"20k/s\" }",
        "--set",
        "workload.orders.read=1",
    ];
    let (bytes, frames) = (8396_u64 * 20_000, 5_u64 * 20_000);
    let mut text = "time,part,direction,bytes,frames\n".to_owned();
    // All links of the host, reset between 10 s and 20 s; one port three times as busy as half of it; no frames counted.
    for (at, count) in [
        (0, 1000),
        (10, 1000 + 10 * bytes),
        (20, 7),
        (30, 7 + 10 * bytes),
    ] {
        let frames = count / bytes * frames + u64::from(at == 30);
        text += &format!("{at},app*,toward-host,{count},{frames}\n");
        let three = count * 3 / 2;
        if at <= 10 {
            text += &format!("{at},app:A1~core-A,toward-host,{three},\n");
        }
    }
    fs::write(place.path().join("c.csv"), &text).expect("it can be written");
    let run = |more: &[&str]| {
        let all = [
            &["measured", "small.toml", "c.csv", "--quiet"],
            &reads[..],
            more,
        ]
        .concat();
        halfloom(place.path(), &all)
    };
    let output = run(&["--json", "--csv", "r.csv"]);
    assert_eq!(code(&output), 0, "{}", err(&output));
    let json: serde_json::Value = serde_json::from_str(&out(&output)).expect("it is JSON");
    let row = |index: usize| &json["rows"][index];
    let within = |value: &serde_json::Value, wanted: f64, part: f64| {
        let value = value.as_f64().expect("a figure");
        assert!((value / wanted - 1.0).abs() < part, "{value}, {wanted}");
    };
    let near = |value, wanted| within(value, wanted, 0.005);
    // Evenly paced I/Os go to A and B in turn, but for those that find one of the two busier.
    assert_eq!(
        (&row(0)["part"], &row(1)["part"]),
        (&"app:A1~core-A".into(), &"app*".into())
    );
    within(&row(0)["ratio"], 3.0, 0.03);
    // Its interval is that of what is simulated over the replications.
    let (low, high) = (&row(0)["ratio_low"], &row(0)["ratio_high"]);
    let (low, high) = (low.as_f64().expect("low"), high.as_f64().expect("high"));
    let ratio = row(0)["ratio"].as_f64().expect("a figure");
    assert!(
        low < ratio && ratio < high && high / low < 1.2,
        "{low} {high}"
    );
    let rate = row(0)["measured_mb_s"].as_f64().expect("a figure");
    within(&row(0)["simulated_high_mb_s"], rate / low, 1e-9);
    near(&row(1)["ratio"], 1.0);
    near(&row(1)["simulated_mb_s"], 167.92);
    near(&row(1)["frames_ratio"], 1.0);
    assert_eq!(
        (&row(1)["resets"], &row(1)["span_s"]),
        (&1.into(), &20.0.into())
    );
    assert_eq!(row(0)["frames_ratio"], serde_json::Value::Null);
    let rows = fs::read_to_string(place.path().join("r.csv")).expect("it was written");
    assert_eq!(rows.lines().count(), 3);
    // With A lost, nothing is simulated on it, and B carries all.
    let lost = run(&["--outage", "A"]);
    assert!(
        out(&lost).contains("nothing is simulated there"),
        "{}",
        out(&lost)
    );
    fs::write(
        place.path().join("c.csv"),
        text.replace("app:A1~core-A", "app:A1~cor-A"),
    )
    .expect("it can be written");
    let unknown = run(&[]);
    assert_eq!(code(&unknown), 2);
    for said in [
        "the site has no link, port or switch `app:A1~cor-A`",
        "c.csv:3:",
        "did you mean `app:A1~core-A`?",
    ] {
        assert!(err(&unknown).contains(said), "{}", err(&unknown));
    }
}

/// Another speed of the two links from core to store: on each fabric a cable and two ports for each of the two controllers.
#[test]
fn a_price_list_puts_the_cost_of_a_design_beside_its_gain() {
    let place = tempfile::tempdir().expect("a temporary folder");
    small_site(place.path(), EASY);
    let list = |text: &str| fs::write(place.path().join("p.csv"), text).expect("it can be written");
    list("item,of,price\ncable,64GFC,100\nport,64GFC,1000\noptic,64GFC,200\n");
    let arguments = [
        &["compare", "small.toml", "--prices", "p.csv"][..],
        &["--variant", "link.core-store.speed=64GFC"],
        &SHORT,
        &["run.duration=20ms"],
    ]
    .concat();
    let output = halfloom(place.path(), &arguments);
    let text = out(&output);
    assert!(
        text.contains("What each costs by the price list, and what it gains"),
        "{text} {}",
        err(&output)
    );
    let json = halfloom(place.path(), &[&arguments[..], &["--json"]].concat());
    let json: serde_json::Value = serde_json::from_str(&out(&json)).expect("it is JSON");
    let (first, second) = (&json["designs"][0], &json["designs"][1]);
    let made = |row: &serde_json::Value, of: &str| row["inventory"][of].clone();
    let cables = second["changes"]["cables"].as_f64().expect("a number");
    assert_eq!(second["changes"]["ports"].as_f64(), Some(2.0 * cables));
    assert_eq!(
        second["changes"]["price"].as_f64(),
        Some(cables * (100.0 + 2.0 * 1200.0))
    );
    assert_eq!(first["changes"]["price"].as_f64(), Some(0.0));
    assert_eq!(made(first, "optics"), made(first, "ports"));
    assert!(text.contains("optics (one an end"), "{text}");
    // In the rows too, and with all digits: a price that adds up as it stands.
    list("item,of,price\ncable,64GFC,100000.25\nport,64GFC,1000\noptic,64GFC,200\n");
    let rows = halfloom(
        place.path(),
        &[&arguments[..], &["--csv", "d.csv"]].concat(),
    );
    let price = cables * (100_000.25 + 2.0 * 1200.0);
    let text = out(&rows).replace(['\u{202F}', '\u{2009}'], "");
    assert!(text.contains(&format!("{price}")), "{price} {text}");
    let rows = fs::read_to_string(place.path().join("d.csv")).expect("it was written");
    let row = rows.lines().find(|row| row.contains(",price_takes,"));
    let row = row.expect("a row of the price");
    assert!(row.contains(&format!(",{price},")), "{row}");
    list("item,of,price\ncable,64GFC,100\n");
    assert!(out(&halfloom(place.path(), &arguments)).contains("The price list lacks port 64GFC."));
    list("item,of,price\ncable,64GFC,dear\n");
    let wrong = halfloom(place.path(), &arguments);
    assert_eq!(code(&wrong), 2);
    assert!(err(&wrong).contains("p.csv:2:"), "{}", err(&wrong));
}

/// One fabric alone: with it lost there is no path, which is something else than too much work; a promise that is kept with
/// two fabrics is missed then, and the first sentence says so. Parts of another speed have the names of both.
#[test]
fn a_design_without_a_path_is_called_cut_off_and_changed_verdicts_are_told_first() {
    let place = tempfile::tempdir().expect("a temporary folder");
    let path = small_site(place.path(), EASY);
    let text = fs::read_to_string(&path).expect("it was written");
    let single = text.replace("name = \"core\"", "name = \"core\"\nfabric = \"A\"");
    fs::write(place.path().join("single.toml"), single).expect("it can be written");
    let arguments = [
        &["compare", "small.toml", "single.toml", "--outage", "A"][..],
        &["--variant", "link.core-store.speed=64GFC", "--csv", "d.csv"],
        &SHORT,
        &["run.duration=20ms"],
    ]
    .concat();
    let output = halfloom(place.path(), &arguments);
    let text = out(&output);
    assert_eq!(code(&output), 1, "{}", err(&output));
    let first = text.lines().next().expect("a sentence");
    assert!(
        first.contains("orders mean A lost, met → missed."),
        "{first}"
    );
    assert!(
        text.contains("cut off missed") && !text.contains("saturated"),
        "{text}"
    );
    let second = text.lines().nth(1).expect("a sentence");
    assert!(
        second.contains(": no promise changes its verdict."),
        "{second}"
    );
    assert!(text.contains("32GFC, there 64GFC"), "{text}");
    let rows = fs::read_to_string(place.path().join("d.csv")).expect("it was written");
    assert!(
        rows.lines()
            .any(|row| row.ends_with(",worse,,cut-off,false")),
        "{rows}"
    );
}

/// A promise that is broken on the first day is a promise that is not kept, whatever growth comes after it.
#[test]
fn growth_from_a_broken_promise_is_not_met() {
    let place = tempfile::tempdir().expect("a temporary folder");
    for (promise, wanted) in [(EASY, 0), (r#"{ mean = "1us" }"#, 1)] {
        let path = small_site(place.path(), promise);
        let text = fs::read_to_string(&path).expect("it was written");
        let text = format!("{text}\n[growth]\nfrom = \"2027-01-01\"\nper_year = \"25%\"\n");
        fs::write(&path, text).expect("it can be written");
        let arguments = [
            &["growth", "small.toml", "--outage", "A"][..],
            &SHORT,
            &["run.duration=20ms"],
        ]
        .concat();
        let output = halfloom(place.path(), &arguments);
        assert_eq!(code(&output), wanted, "{} {}", out(&output), err(&output));
    }
}

/// Of frames and bytes the farther ratio ranks, and a file of which nothing can be compared is no success.
#[test]
fn counters_rank_by_frames_too_and_none_compared_is_no_success() {
    let place = tempfile::tempdir().expect("a temporary folder");
    small_site(place.path(), EASY);
    let run = |text: &str| {
        fs::write(place.path().join("c.csv"), text).expect("it can be written");
        let all = ["measured", "small.toml", "c.csv", "--quiet", "--json"];
        halfloom(place.path(), &all)
    };
    // Bytes of both some thousandth of what is simulated; frames of the second far fewer than those of the first.
    let head = "time,part,direction,bytes,frames\n";
    let output = run(&format!(
        "{head}0,app:A1~core-A,toward-host,0,0\n10,app:A1~core-A,toward-host,400000,400000\n\
         0,app:B1~core-B,toward-host,0,0\n10,app:B1~core-B,toward-host,800000,1\n"
    ));
    assert_eq!(code(&output), 0, "{}", err(&output));
    let json: serde_json::Value = serde_json::from_str(&out(&output)).expect("it is JSON");
    let figure = |row: usize, name: &str| json["rows"][row][name].as_f64().expect("a figure");
    assert_eq!(json["rows"][0]["part"], "app:B1~core-B");
    assert!(figure(0, "frames_ratio") < figure(1, "frames_ratio"));
    assert!(figure(0, "ratio") > figure(1, "ratio"));
    // Every counter was reset between its two readings.
    let output = run(&format!(
        "{head}0,app:A1~core-A,toward-host,400000,9\n10,app:A1~core-A,toward-host,5,1\n"
    ));
    assert_eq!(code(&output), 2, "{}", err(&output));
    assert!(
        err(&output).contains("no counter of c.csv can be compared: `app:A1~core-A` toward-host: 2 readings, and no two with time and no reset"),
        "{}",
        err(&output)
    );
}

/// The exit code has one meaning, with a step and without: whether all promises are proven to hold on all days looked at. Four times the work
/// of today fits, a million times does not.
#[test]
fn growth_ends_with_0_only_where_all_days_hold() {
    let place = tempfile::tempdir().expect("a temporary folder");
    let path = small_site(place.path(), EASY);
    let text = fs::read_to_string(&path).expect("it was written");
    let step = "[[step]]\nname = \"more\"\ndate = \"2027-07-01\"\nset = { \"array.store.parallel\" = 64 }\n";
    for step in ["", step] {
        let grown = "[growth]\nfrom = \"2027-01-01\"\nper_year = \"300%\"\n";
        fs::write(&path, format!("{text}\n{grown}{step}")).expect("it can be written");
        for (years, wanted) in [("1", 0), ("10", 1)] {
            let arguments = [
                &["growth", "small.toml", "--healthy", "--years", years][..],
                &SHORT,
                &["run.duration=20ms"],
            ]
            .concat();
            let output = halfloom(place.path(), &arguments);
            let said = out(&output);
            assert_eq!(
                code(&output),
                wanted,
                "{years} {step} {said} {}",
                err(&output)
            );
        }
    }
    let help = out(&halfloom(place.path(), &["growth", "--help"]));
    let help = help.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        help.contains("exit code is 0 only where every steady promise is proven to hold"),
        "{help}"
    );
    assert!(help.contains("`failover` judges what is promised of the switch-over"));
    let readme = fs::read_to_string("README.md").expect("it is there");
    assert!(readme.contains("with `growth`: a day within `--years` on which a steady promise"));
}

/// What the help says to add can be added as it stands.
#[test]
fn the_table_that_growth_asks_for_can_be_pasted() {
    let place = tempfile::tempdir().expect("a temporary folder");
    let path = small_site(place.path(), EASY);
    let arguments = [
        &["growth", "small.toml", "--healthy"][..],
        &SHORT,
        &["run.duration=20ms"],
    ]
    .concat();
    let output = halfloom(place.path(), &arguments);
    assert_eq!(code(&output), 2, "{}", err(&output));
    let said = err(&output);
    let (_, table) = said.split_once("add a table:\n").expect("it helps");
    let text = fs::read_to_string(&path).expect("it was written");
    fs::write(&path, format!("{text}\n{table}")).expect("it can be written");
    let output = halfloom(place.path(), &arguments);
    assert!(code(&output) < 2, "{}", err(&output));
}

/// What arithmetic says stands on the standard error before any run, and not where silence was asked for.
#[test]
fn growth_has_an_answer_by_arithmetic_first() {
    let place = tempfile::tempdir().expect("a temporary folder");
    let path = small_site(place.path(), EASY);
    let text = fs::read_to_string(&path).expect("it was written");
    let text = format!("{text}\n[growth]\nfrom = \"2027-01-01\"\nper_year = \"25%\"\n");
    fs::write(&path, text).expect("it can be written");
    let all = "growth small.toml --outage A --years 1 --replications 2 --set run.duration=20ms";
    let all: Vec<&str> = all.split(' ').collect();
    let output = halfloom(place.path(), &all);
    let said = err(&output);
    let first = said.lines().next().expect("a line");
    assert!(
        first.starts_with(
            "by arithmetic the fullest part is full on the mean, as it is (from 2027-01-01): healthy "
        ),
        "{first}"
    );
    let quiet = halfloom(place.path(), &[&all[..], &["--quiet"]].concat());
    assert_eq!(err(&quiet), "");
}

/// The healthy site alone: no case of an outage, the command that repeats it says so, and a sweep of it is another than that with outages.
#[test]
fn the_healthy_site_can_be_asked_for_alone() {
    let place = tempfile::tempdir().expect("a temporary folder");
    small_site(place.path(), r#"{ mean = "60us" }"#);
    let growth = "\n[growth]\nfrom = \"2027-01-01\"\nper_year = \"60%\"\n";
    let path = place.path().join("small.toml");
    let text = fs::read_to_string(&path).expect("it is there");
    fs::write(&path, text + growth).expect("it can be written");
    let quick = [
        "--quiet",
        "--replications",
        "2",
        "--set",
        "run.duration=20ms",
    ];
    for command in [
        &["headroom", "small.toml"][..],
        &["growth", "small.toml"],
        &["sweep", "small.toml", "--vary", "load=1,2"],
        &[
            "compare",
            "small.toml",
            "--variant",
            "link.app-core.speed=64GFC",
        ],
    ] {
        let words = [command, &quick].concat();
        let output = halfloom(place.path(), &[&words[..], &["--healthy"]].concat());
        assert!([0, 1].contains(&code(&output)), "{}", err(&output));
        let said = out(&output);
        assert!(
            said.contains("healthy") && !said.contains("A lost"),
            "{said}"
        );
        let both = halfloom(
            place.path(),
            &[&words[..], &["--healthy", "--outage", "A"]].concat(),
        );
        assert_eq!(code(&both), 2, "{}", out(&both));
    }
    let sweep = [
        "sweep",
        "small.toml",
        "--vary",
        "load=1,2",
        "--csv",
        "rows.csv",
    ];
    let first = halfloom(place.path(), &[&sweep[..], &quick, &["--healthy"]].concat());
    assert!([0, 1].contains(&code(&first)), "{}", err(&first));
    let other = halfloom(place.path(), &[&sweep[..], &quick].concat());
    assert!(
        ![0, 1].contains(&code(&other)),
        "rows of another sweep are not gone on with"
    );
    let again = [
        &["headroom", "small.toml", "--healthy", "--json"][..],
        &quick,
    ]
    .concat();
    let json: serde_json::Value =
        serde_json::from_str(&out(&halfloom(place.path(), &again))).expect("it is JSON");
    let command = json["origin"]["command"].as_str().expect("a text");
    assert!(command.contains("--healthy"), "{command}");
}

/// A value that another has to change with is no dead end.
#[test]
fn a_point_that_is_refused_names_the_table_of_points() {
    let place = tempfile::tempdir().expect("a temporary folder");
    small_site(place.path(), EASY);
    let output = halfloom(
        place.path(),
        &[
            "sweep",
            "small.toml",
            "--vary",
            "array.store.controllers=1,0",
        ],
    );
    assert_eq!(code(&output), 2);
    let said = err(&output);
    assert!(
        said.contains("at the point array.store.controllers=0"),
        "{said}"
    );
    assert!(said.contains("--points FILE.csv"), "{said}");
}

/// A part that the site does not have is named beside what else is wrong with the counters, in the order of their lines.
#[test]
fn every_problem_of_counters_is_told_at_once() {
    let place = tempfile::tempdir().expect("a temporary folder");
    small_site(place.path(), EASY);
    let counters = "time,part,direction,bytes,frames\n0,core-A,toward-host,0,0\n300,core-A,toward-host,-5,0\n\
                    10,nowhere,toward-host,1,1\n20,core-A,up,1,1\n";
    fs::write(place.path().join("c.csv"), counters).expect("it can be written");
    let output = halfloom(place.path(), &["measured", "small.toml", "c.csv"]);
    assert_eq!(code(&output), 2);
    let said = err(&output);
    let places = ["c.csv:3:", "c.csv:4:", "c.csv:5:"].map(|place| said.find(place));
    let places: Vec<usize> = places
        .into_iter()
        .map(|place| place.expect("it is told"))
        .collect();
    assert!(places.is_sorted() && said.contains("`nowhere`"), "{said}");
}
