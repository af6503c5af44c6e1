//! Files: whole or not at all, and nobody else's.

use super::{code, err, halfloom, out, small_site};
use std::fs;
use std::path::Path;

const EASY: &str = r#"{ mean = "1s" }"#;

fn listing(folder: &Path) -> Vec<String> {
    let mut names: Vec<String> = fs::read_dir(folder)
        .expect("it is there")
        .map(|entry| entry.expect("it can be read").file_name())
        .map(|name| name.to_string_lossy().into_owned())
        .collect();
    names.sort();
    names
}

#[test]
fn a_report_goes_to_a_folder_named_after_the_scenario_and_nothing_else_is_left() {
    let place = tempfile::tempdir().expect("a temporary folder");
    small_site(place.path(), EASY);
    let output = halfloom(place.path(), &["report", "small.toml"]);
    assert_eq!(code(&output), 0, "{}", err(&output));
    assert_eq!(listing(place.path()), ["small", "small.toml"]);
    let page = Path::new("small").join("report.html");
    assert!(out(&output).contains(&page.display().to_string()));
    let text = fs::read_to_string(place.path().join(page)).expect("the page is there");
    assert!(text.contains("estimate"));
    // Self-contained: nothing is fetched.
    for fetch in ["src=\"http", "href=\"http", "@import", "url(http"] {
        assert!(!text.contains(fetch), "{fetch}");
    }
    let json = fs::read_to_string(place.path().join("small/report.json")).expect("it is there");
    let json: serde_json::Value = serde_json::from_str(&json).expect("it is JSON");
    assert_eq!(json["format"], 1);
}

#[test]
fn a_folder_of_others_is_refused_before_anything_runs_and_joined_on_request() {
    let place = tempfile::tempdir().expect("a temporary folder");
    small_site(place.path(), EASY);
    let folder = place.path().join("mine");
    fs::create_dir(&folder).expect("it can be made");
    fs::write(folder.join("thesis.txt"), "years of work").expect("it can be written");
    let refused = halfloom(place.path(), &["report", "small.toml", "-o", "mine"]);
    assert_eq!(code(&refused), 3, "{}", err(&refused));
    assert!(err(&refused).contains("--force"), "{}", err(&refused));
    assert_eq!(listing(&folder), ["thesis.txt"]);

    let arguments = ["report", "small.toml", "-o", "mine", "--force"];
    let forced = halfloom(place.path(), &arguments);
    assert_eq!(code(&forced), 0, "{}", err(&forced));
    assert!(listing(&folder).contains(&"report.html".to_owned()));
    let kept = fs::read_to_string(folder.join("thesis.txt")).expect("it is still there");
    assert_eq!(kept, "years of work");
    assert_eq!(listing(place.path()), ["mine", "small.toml"]);
}

#[test]
fn a_table_file_has_one_head_and_one_row_a_case_and_workload() {
    let place = tempfile::tempdir().expect("a temporary folder");
    small_site(place.path(), EASY);
    let arguments = ["failover", "small.toml", "--csv", "out.csv", "--json"];
    let output = halfloom(place.path(), &arguments);
    assert_eq!(code(&output), 0, "{}", err(&output));
    let table = fs::read_to_string(place.path().join("out.csv")).expect("it was written");
    let mut lines = table.lines();
    let columns = lines.next().expect("a head").split(',').count();
    let rows: Vec<&str> = lines.collect();
    // Healthy, A lost, B lost; one workload.
    assert_eq!(rows.len(), 3, "{table}");
    assert!(rows.iter().all(|row| row.split(',').count() == columns));
    let json: serde_json::Value = serde_json::from_str(&out(&output)).expect("it is JSON");
    assert_eq!(json["format"], 1);
    assert_eq!(
        listing(place.path()),
        [
            "out-promises.csv",
            "out-switch-overs.csv",
            "out.csv",
            "small.toml"
        ]
    );
}

#[test]
fn every_starter_is_sound() {
    let place = tempfile::tempdir().expect("a temporary folder");
    let list = out(&halfloom(place.path(), &["new", "--list"]));
    let kinds: Vec<&str> = list
        .lines()
        .skip(1)
        .filter_map(|line| line.split_whitespace().next())
        .collect();
    assert!(kinds.len() >= 4, "{list}");
    for kind in kinds {
        let text = halfloom(place.path(), &["new", kind]);
        assert_eq!(code(&text), 0);
        fs::write(place.path().join("site.toml"), out(&text)).expect("it can be written");
        let output = halfloom(place.path(), &["check", "site.toml", "--defaults"]);
        assert_eq!(code(&output), 0, "{kind}: {}", err(&output));
        assert_eq!(err(&output), "", "{kind}");
    }
}

#[test]
fn completions_and_the_manual_know_every_command() {
    let place = tempfile::tempdir().expect("a temporary folder");
    let man = out(&halfloom(place.path(), &["man"]));
    for name in [
        "new", "check", "path", "rates", "wire", "simulate", "failover", "report", "schema",
    ] {
        let heading = format!(".SH \"HALFLOOM {}\"", name.to_uppercase());
        assert!(man.contains(&heading), "{name}");
        for shell in ["bash", "zsh", "fish"] {
            let script = out(&halfloom(place.path(), &["completions", shell]));
            assert!(script.contains(name), "{shell} {name}");
        }
    }
}

#[test]
fn wire_writes_all_its_files_or_none() {
    let place = tempfile::tempdir().expect("a temporary folder");
    let run = |png: &str| {
        let arguments = [
            "wire", "--sweep", "--csv", "a.csv", "--svg", "a.svg", "--png", png,
        ];
        halfloom(place.path(), &arguments)
    };
    let output = run("nowhere/a.png");
    assert_eq!(code(&output), 3, "{}", err(&output));
    assert!(!place.path().join("a.csv").exists() && !place.path().join("a.svg").exists());
    let output = run("a.png");
    assert_eq!(code(&output), 0, "{}", err(&output));
    let csv = fs::read_to_string(place.path().join("a.csv")).expect("it was written");
    // A head, and 14 sizes for each of two pairs.
    assert_eq!(csv.lines().count(), 1 + 2 * 14);
    let svg = fs::read_to_string(place.path().join("a.svg")).expect("it was written");
    assert!(svg.contains("estimate ·"));
    let png = fs::read(place.path().join("a.png")).expect("it was written");
    assert_eq!(&png[..8], b"\x89PNG\r\n\x1a\n");
}

#[test]
fn wire_refuses_what_does_not_go_together() {
    let place = tempfile::tempdir().expect("a temporary folder");
    for (arguments, part) in [
        (&["wire"][..], "--protocol"),
        (&["wire", "--sweep", "--pair", "iscsi"], "PROTOCOL@LINK"),
        (
            &["wire", "--sweep", "--pair", "iscsi@32GFC"],
            "cannot cross",
        ),
        (
            &["wire", "--sweep", "--pair", "morse@32GFC"],
            "no protocol `morse`",
        ),
        (
            &["wire", "--sweep", "--pair", "fc-scsi@3GFC"],
            "no link technology `3GFC`",
        ),
        (
            &["wire", "--sweep", "--protocol", "nfs"],
            "cannot be used with",
        ),
        (
            &["wire", "--protocol", "nfs", "--mtu", "1500,9000"],
            "--sweep",
        ),
        (
            &["wire", "--protocol", "nfs", "--option", "version=v5"],
            "did you mean `v3`",
        ),
        (
            &["wire", "--protocol", "nfs", "--option", "success=true"],
            "unknown key `success`",
        ),
        (
            &["wire", "--protocol", "nfs", "--length", "3 miles"],
            "a length",
        ),
    ] {
        let output = halfloom(place.path(), arguments);
        assert_eq!(code(&output), 2, "{arguments:?}: {}", err(&output));
        assert!(
            err(&output).contains(part),
            "{arguments:?}: {}",
            err(&output)
        );
        assert!(output.stdout.is_empty(), "{arguments:?}");
    }
}

/// `check` and `path` have their figures as rows too, the same as in the JSON.
#[test]
fn check_and_path_write_their_figures_as_rows() {
    let place = tempfile::tempdir().expect("a temporary folder");
    small_site(place.path(), EASY);
    let json = |arguments: &[&str]| -> serde_json::Value {
        let output = halfloom(place.path(), &[arguments, &["--json"]].concat());
        assert_eq!(code(&output), 0, "{}", err(&output));
        serde_json::from_str(&out(&output)).expect("it is JSON")
    };
    let rows = |name: &str| -> Vec<Vec<String>> {
        let text = fs::read_to_string(place.path().join(name)).expect("it was written");
        let split = |line: &str| line.split(',').map(str::to_owned).collect();
        text.lines().map(split).collect()
    };
    let review = &json(&["check", "small.toml", "--csv", "check.csv"])["review"];
    let tiers = review["tiers"].as_array().expect("tiers").len();
    let controllers = review["controllers"].as_array().expect("controllers").len();
    let found = rows("check.csv");
    // Healthy, A lost, B lost.
    assert_eq!(found.len(), 1 + 3 * (tiers + controllers));
    let at = |name: &str| {
        found[0]
            .iter()
            .position(|head| head == name)
            .expect("a column")
    };
    let first = &review["tiers"][0];
    let healthy: f64 = found[1][at("toward_host_percent")]
        .parse()
        .expect("a number");
    let wanted = first["toward_host_percent"][0].as_f64().expect("a number");
    assert!(
        (healthy - wanted).abs() < 1e-9 && healthy > 0.0,
        "{healthy} {wanted}"
    );
    assert_eq!(found[1][at("case")], "healthy");
    let paths = &json(&["path", "small.toml", "--csv", "path.csv"])["paths"];
    let hops: usize = paths[0]["paths"]
        .as_array()
        .expect("paths")
        .iter()
        .map(|path| path["hops"].as_array().expect("hops").len())
        .sum();
    assert_eq!(rows("path.csv").len(), 1 + hops);
    for command in ["check", "path"] {
        let output = halfloom(place.path(), &[command, "small.toml", "--csv", "no/x.csv"]);
        assert_eq!(code(&output), 3, "{command}");
        assert!(out(&output).is_empty(), "asked before anything is printed");
    }
}

/// A closed loop takes what there is: no figure is made up for it, and what would grow of it is said.
#[test]
fn a_closed_loop_is_called_so_where_others_have_a_load() {
    let place = tempfile::tempdir().expect("a temporary folder");
    small_site(place.path(), EASY);
    let closed = [
        "--set",
        "workload.orders.arrivals={ closed = { depth = 8 } }",
    ];
    let check = halfloom(
        place.path(),
        &[&["check", "small.toml"][..], &closed].concat(),
    );
    let text = out(&check);
    assert!(text.contains("closed: as fast as it goes"), "{text}");
    assert!(
        text.contains("8 outstanding at each host ÷ idle latency allow at most"),
        "{text}"
    );
    let open = out(&halfloom(place.path(), &["check", "small.toml"]));
    assert!(!open.contains("closed:"), "{open}");
    let arguments = [
        &[
            "headroom",
            "small.toml",
            "--outage",
            "A",
            "--quiet",
            "--most",
            "2",
        ][..],
        &["--replications", "2", "--set", "run.duration=15ms"],
        &closed,
    ]
    .concat();
    let text = out(&halfloom(place.path(), &arguments));
    let words = "`orders` is a closed loop and has no rate to multiply: what grows is the number outstanding at each host, 8 today";
    assert!(text.contains(words), "{text}");
}

/// Error correction of the link is part of the idle latency: two crossings of 25GbE, each the code word of 5280 bits and 40 ns.
#[test]
fn wire_takes_an_error_correction_and_refuses_what_would_be_ignored() {
    let place = tempfile::tempdir().expect("a temporary folder");
    let base = [
        "wire",
        "--protocol",
        "nvme-tcp",
        "--over",
        "25GbE",
        "--json",
    ];
    let idle = |fec: &[&str]| -> f64 {
        let output = halfloom(place.path(), &[&base[..], fec].concat());
        assert_eq!(code(&output), 0, "{}", err(&output));
        let json: serde_json::Value = serde_json::from_str(&out(&output)).expect("it is JSON");
        json["links"][0]["fec_us"].as_f64().expect("a number")
    };
    let usual = idle(&[]);
    assert!(usual > 0.0);
    assert_eq!(idle(&["--fec", "rs528"]).to_bits(), usual.to_bits());
    assert_eq!(idle(&["--fec", "none"]).to_bits(), 0.0_f64.to_bits());
    // Firecode: 2112 bits on the one lane of 25.78125 Gb/s, 81.92 ns, and 40 ns; RS(528,514): 204.8 and 40.
    let firecode = idle(&["--fec", "firecode"]);
    assert!(
        (firecode / usual - 121.92 / 244.8).abs() < 1e-4,
        "{firecode} {usual}"
    );
    for (arguments, words) in [
        (&["--sweep", "--size", "4KiB"][..], "cannot be used with"),
        (&["--sweep", "--fec", "none"], "cannot be used with"),
        (
            &["--protocol", "fc-scsi", "--over", "32GFC", "--fec", "none"],
            "32GFC has: RS(528,514)",
        ),
    ] {
        let output = halfloom(place.path(), &[&["wire"][..], arguments].concat());
        assert_eq!(code(&output), 2, "{arguments:?}");
        assert!(err(&output).contains(words), "{}", err(&output));
    }
    // All that fit and have it: of the Fibre Channel speeds only those that can do without.
    let output = halfloom(
        place.path(),
        &["wire", "--protocol", "fc-scsi", "--fec", "none"],
    );
    assert!(
        out(&output).contains("16GFC") && !out(&output).contains("32GFC"),
        "{}",
        out(&output)
    );
}

/// 32GFC and above always correct errors (FC-FS-4, 5.4), and so does 50GbE (IEEE 802.3cd, clause 134).
#[test]
fn error_correction_that_is_always_on_cannot_be_turned_off() {
    let place = tempfile::tempdir().expect("a temporary folder");
    small_site(place.path(), EASY);
    let set = |speed: &str, fec: &str| {
        let (speed, fec) = (
            format!("link.core-store.speed={speed}"),
            format!("link.core-store.fec={fec}"),
        );
        halfloom(
            place.path(),
            &["check", "small.toml", "--set", &speed, "--set", &fec],
        )
    };
    for (speed, fec, wanted) in [
        ("32GFC", "off", 2),
        ("64GFC", "off", 2),
        ("16GFC", "off", 0),
        ("32GFC", "150ns", 0),
        ("8GFC", "off", 0),
    ] {
        let output = set(speed, fec);
        assert_eq!(code(&output), wanted, "{speed} {fec}: {}", err(&output));
        if wanted == 2 {
            let text = err(&output);
            assert!(
                text.contains(&format!("turns off what {speed} cannot do without")),
                "{text}"
            );
            assert!(text.contains("state what was measured"), "{text}");
        }
    }
}

/// Whatever a file is called on the way to it.
#[test]
fn no_result_replaces_what_is_read_or_another_result() {
    let place = tempfile::tempdir().expect("a temporary folder");
    small_site(place.path(), EASY);
    fs::create_dir(place.path().join("sub")).expect("it can be made");
    fs::write(place.path().join("piece.csv"), "kept\n").expect("it can be written");
    let before = fs::read(place.path().join("small.toml")).expect("it is there");
    let read = "is read, and is to be written too";
    let twice = "two results are to go to";
    for (arguments, said) in [
        ("simulate small.toml --csv small.toml", read),
        ("simulate small.toml --csv sub/../small.toml", read),
        ("check small.toml --csv ./small.toml", read),
        ("merge piece.csv -o piece.csv", read),
        ("simulate small.toml --csv all --junit sub/../all", twice),
        (
            "failover small.toml --outage A --sheet s.html --csv s.csv",
            twice,
        ),
        (
            "headroom small.toml --page page.html --csv page.html",
            twice,
        ),
        (
            "sweep small.toml --vary load=1,2 --csv rows --jsonl rows",
            twice,
        ),
        ("wire --sweep --csv sizes.svg --svg sizes.svg", twice),
    ] {
        let words: Vec<&str> = arguments.split(' ').collect();
        let output = halfloom(place.path(), &words);
        assert_eq!(code(&output), 2, "{arguments}: {}", err(&output));
        assert!(err(&output).contains(said), "{}", err(&output));
        assert!(err(&output).contains("help: "), "{}", err(&output));
        assert_eq!(
            listing(place.path()),
            ["piece.csv", "small.toml", "sub"],
            "{arguments}"
        );
    }
    let after = fs::read(place.path().join("small.toml")).expect("it is there");
    assert_eq!(after, before);
    // One scenario may be named twice.
    let twice = [
        "failover",
        "small.toml",
        "small.toml",
        "--outage",
        "A",
        "--csv",
        "rows.csv",
    ];
    let output = halfloom(place.path(), &twice);
    assert_eq!(code(&output), 0, "{}", err(&output));
}
