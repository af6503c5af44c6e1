//! Exit codes and messages.

use super::{code, command, err, halfloom, out, small_site};
use std::fs;
use std::process::Stdio;

/// A mean within a second and a throughput of one byte a second: nothing alive misses them.
const EASY: &str = r#"{ mean = "1s", throughput = "1kB/s" }"#;
/// A mean below the array's own service time.
const HOPELESS: &str = r#"{ mean = "1us" }"#;

#[test]
fn met_is_0_for_one_run_and_for_a_failover() {
    let place = tempfile::tempdir().expect("a temporary folder");
    small_site(place.path(), EASY);
    for arguments in [&["simulate", "small.toml"], &["failover", "small.toml"]] {
        let output = halfloom(place.path(), arguments);
        assert_eq!(code(&output), 0, "{}{}", out(&output), err(&output));
        assert!(out(&output).contains("estimate"), "{}", out(&output));
        // No terminal, no progress.
        assert_eq!(err(&output), "");
    }
}

#[test]
fn missed_is_1() {
    let place = tempfile::tempdir().expect("a temporary folder");
    small_site(place.path(), HOPELESS);
    for arguments in [&["simulate", "small.toml"], &["failover", "small.toml"]] {
        let output = halfloom(place.path(), arguments);
        assert_eq!(code(&output), 1, "{}{}", out(&output), err(&output));
        assert!(out(&output).contains("missed"), "{}", out(&output));
    }
}

/// Some 600 I/Os a replication say nothing of one in a million: the rule of three allows 3 in 600.
#[test]
fn undecided_is_1() {
    let place = tempfile::tempdir().expect("a temporary folder");
    small_site(place.path(), r#"{ "p99.9999" = "1s" }"#);
    let output = halfloom(place.path(), &["simulate", "small.toml"]);
    assert_eq!(code(&output), 1, "{}{}", out(&output), err(&output));
    assert!(out(&output).contains("undecided"), "{}", out(&output));
}

/// `check` warns of a part whose loss cuts hosts off and ends well, for it judges no promise; losing each part judges it.
#[test]
fn a_single_point_is_a_warning_of_check_and_a_miss_of_each_part() {
    let place = tempfile::tempdir().expect("a temporary folder");
    small_site(place.path(), EASY);
    let file = place.path().join("small.toml");
    let text = fs::read_to_string(&file).expect("it is there");
    let one = text.replace("name = \"store\"\n", "name = \"store\"\ncontrollers = 1\n");
    fs::write(&file, one).expect("it can be written");
    let output = halfloom(place.path(), &["check", "small.toml"]);
    let said = out(&output) + &err(&output);
    assert!(said.contains("store-c1"), "{said}");
    assert_eq!(code(&output), 0, "{}", err(&output));
    let each = ["failover", "small.toml", "--each-part", "--quiet"];
    let output = halfloom(place.path(), &each);
    assert_eq!(code(&output), 1, "{}", err(&output));
}

#[test]
fn wrong_arguments_are_2_and_near_names_are_offered() {
    let place = tempfile::tempdir().expect("a temporary folder");
    small_site(place.path(), EASY);
    let cases: [(&[&str], &str); 11] = [
        (&["chek", "small.toml"], "'check'"),
        (&["simulate", "small.toml", "--sed", "3"], "'--seed'"),
        (&["simulate"], "SCENARIO.toml"),
        (&["simulate", "small.toml", "--seed", "-1"], "--seed"),
        (
            &["simulate", "small.toml", "--replications", "0"],
            "1..=10000",
        ),
        (&["simulate", "small.toml", "--set", "run"], "KEY=VALUE"),
        (
            &["failover", "small.toml", "--outage", "C"],
            "outages: A, B",
        ),
        (&["path", "small.toml", "--from", "nobody"], "nobody"),
        (
            &["workload", "small.toml", "--toml", "--protocol", "nvme"],
            "a protocol of scenarios: fc-scsi, ",
        ),
        (&["wire", "--protocol", "iscsi", "--over", "32GFC"], "iscsi"),
        (
            &["wire", "--protocol", "nfs", "--in-capsule", "4KiB"],
            "--in-capsule",
        ),
    ];
    for (arguments, says) in cases {
        let output = halfloom(place.path(), arguments);
        assert_eq!(code(&output), 2, "{arguments:?}: {}", err(&output));
        assert!(
            err(&output).contains(says),
            "{arguments:?}: {}",
            err(&output)
        );
        assert_eq!(out(&output), "", "{arguments:?}");
    }
}

#[test]
fn a_wrong_scenario_is_2_with_all_its_errors_and_their_lines() {
    let place = tempfile::tempdir().expect("a temporary folder");
    let path = small_site(place.path(), EASY);
    let text = fs::read_to_string(&path).expect("it is there");
    let broken = text
        .replace("to = \"store\"", "to = \"stor\"")
        .replace("sizes = \"8KiB\"", "sizes = \"8KiB\"\nsize = \"8KiB\"");
    let line = |what: &str| {
        let found = broken.lines().position(|line| line == what);
        found.expect("the line is there") + 1
    };
    fs::write(&path, &broken).expect("it can be written");
    for command in ["check", "simulate", "failover", "report"] {
        let output = halfloom(place.path(), &[command, "small.toml"]);
        assert_eq!(code(&output), 2, "{command}");
        for what in ["to = \"stor\"", "size = \"8KiB\""] {
            let place = format!("small.toml:{}:", line(what));
            assert!(err(&output).contains(&place), "{command}: {}", err(&output));
        }
    }
    assert!(!place.path().join("small").exists());
}

#[test]
fn what_is_no_scenario_text_is_2() {
    let place = tempfile::tempdir().expect("a temporary folder");
    let junk: Vec<u8> = (0..=255).cycle().take(5000).collect();
    for (name, bytes) in [
        ("empty.toml", &b""[..]),
        ("junk.toml", &junk),
        ("page.toml", b"<html></html>"),
        ("nul.toml", b"format = 1\0"),
    ] {
        fs::write(place.path().join(name), bytes).expect("it can be written");
        let output = halfloom(place.path(), &["check", name]);
        assert_eq!(code(&output), 2, "{name}: {}", err(&output));
        assert!(err(&output).contains(name), "{name}: {}", err(&output));
    }
}

#[test]
fn what_cannot_be_read_or_written_is_3_and_named() {
    let place = tempfile::tempdir().expect("a temporary folder");
    small_site(place.path(), EASY);
    fs::create_dir(place.path().join("folder")).expect("it can be made");
    let cases: [(&[&str], &str); 6] = [
        (&["check", "nosuch.toml"], "nosuch.toml"),
        (&["check", "folder"], "folder"),
        (
            &["rates", "--csv", "no/such/folder.csv"],
            "no/such/folder.csv",
        ),
        (&["rates", "--csv", "folder"], "folder"),
        (
            &["simulate", "small.toml", "--csv", "no/such.csv"],
            "no/such.csv",
        ),
        (&["report", "small.toml", "-o", "small.toml"], "small.toml"),
    ];
    for (arguments, says) in cases {
        let output = halfloom(place.path(), arguments);
        assert_eq!(code(&output), 3, "{arguments:?}: {}", err(&output));
        assert!(
            err(&output).contains(says),
            "{arguments:?}: {}",
            err(&output)
        );
        assert_eq!(out(&output), "", "{arguments:?}");
    }
}

/// A reader that goes away early is no fault: `halfloom man | head -1`.
#[test]
fn a_closed_pipe_is_0_and_silent() {
    let place = tempfile::tempdir().expect("a temporary folder");
    for arguments in [
        &["man"][..],
        &["rates"],
        &["new"],
        &["completions", "bash"],
        &["schema"],
        &["--help"],
        &["wire", "--protocol", "iscsi"],
    ] {
        let mut child = command(place.path(), arguments)
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("the program starts");
        drop(child.stdout.take());
        let output = child.wait_with_output().expect("it ends");
        assert_eq!(code(&output), 0, "{arguments:?}: {}", err(&output));
        assert_eq!(err(&output), "", "{arguments:?}");
    }
}

#[cfg(target_os = "linux")]
#[test]
fn a_full_disk_behind_the_output_is_3() {
    let place = tempfile::tempdir().expect("a temporary folder");
    for arguments in [&["rates"][..], &["--help"]] {
        let full = fs::OpenOptions::new().write(true).open("/dev/full");
        let output = command(place.path(), arguments)
            .stdout(full.expect("the device is there"))
            .output()
            .expect("the program starts");
        assert_eq!(code(&output), 3, "{arguments:?}: {}", err(&output));
    }
}

/// Code 130 is tested with the sweeps that are stopped. Code 101 itself is tested beside the guard in `src/cli.rs`: no input is known that leads to it.
#[test]
fn every_code_is_explained_in_the_help() {
    let place = tempfile::tempdir().expect("a temporary folder");
    let help = out(&halfloom(place.path(), &["--help"]));
    let codes: Vec<&str> = help
        .lines()
        .skip_while(|line| !line.starts_with("Exit codes:"))
        .skip(1)
        .map_while(|line| line.strip_prefix("  "))
        .filter_map(|line| line.split_whitespace().next())
        .collect();
    assert_eq!(codes, ["0", "1", "2", "3", "101", "130"], "{help}");
}

/// Every flag says what it is without: a default, or what it needs.
#[test]
fn every_option_says_its_default_or_is_required() {
    let place = tempfile::tempdir().expect("a temporary folder");
    for name in [
        "check", "path", "wire", "simulate", "failover", "report", "rates",
    ] {
        let help = out(&halfloom(place.path(), &[name, "-h"]));
        assert!(help.contains("Usage: halfloom"), "{name}");
        for value in [
            "--seed",
            "--replications",
            "--threads",
            "--csv",
            "--size",
            "--mtu",
        ] {
            let Some(line) = help.lines().position(|line| line.contains(value)) else {
                continue;
            };
            let entry: Vec<&str> = help.lines().skip(line).take(4).collect();
            assert!(
                entry.join(" ").contains("[default:"),
                "{name} {value}: {help}"
            );
        }
    }
}

/// A promise about switching is judged on the run with the scripted events, and has its say in the exit code.
#[test]
fn simulate_judges_switching_promises_on_the_scripted_run() {
    let place = tempfile::tempdir().expect("a temporary folder");
    let events = "\n[[event]]\nat = \"30ms\"\nlose = \"A\"\n";
    for (longest, expected) in [("5s", 0), ("1ms", 1)] {
        let file = small_site(
            place.path(),
            &format!("{{ switching = {{ longest_io = \"{longest}\", failed = 0 }} }}"),
        );
        let text = std::fs::read_to_string(&file).expect("just written") + events;
        std::fs::write(&file, text).expect("the folder can be written");
        let output = halfloom(place.path(), &["simulate", "small.toml", "--quiet"]);
        assert_eq!(code(&output), expected, "{}", err(&output));
        let text = out(&output);
        assert!(text.contains("scripted events"), "{text}");
        assert!(text.contains("longest I/O, switch-over"), "{text}");
        assert!(
            text.starts_with(if expected == 0 {
                "met:"
            } else {
                "missed: With the scripted events"
            }),
            "{text}"
        );
    }
}

/// A switch-over ends when all has settled, or at its limit. Runs that go on for the sake of a slower one get
/// wider bins, and must not be told to have never settled.
#[test]
fn a_switch_over_that_ended_before_its_limit_has_settled() {
    let place = tempfile::tempdir().expect("a temporary folder");
    let starter = halfloom(place.path(), &["new", "minimal"]);
    fs::write(place.path().join("m.toml"), starter.stdout).expect("the folder can be written");
    let arguments = [
        "failover",
        "m.toml",
        "--json",
        "--quiet",
        "--replications",
        "2",
        "--set",
        "run.duration=200ms",
    ];
    let json: serde_json::Value =
        serde_json::from_str(&out(&halfloom(place.path(), &arguments))).expect("it is JSON");
    let switches = json["switches"].as_array().expect("a list");
    assert_eq!(switches.len(), 2);
    for switch in switches {
        let number = |key: &str| switch[key].as_f64();
        let (end, limit) = (number("to_s"), number("limit_s"));
        assert!(
            end < limit,
            "{end:?} of {limit:?}: the case this test is for"
        );
        assert!(number("settled_s").is_some(), "ended after {end:?}");
    }
}

/// What a limit cut is marked in every form, and ends with 1: also where no promise is judged, and where what is counted over the time
/// that was simulated is the figure of the whole.
#[test]
fn what_a_limit_cut_is_1_and_marked() {
    let place = tempfile::tempdir().expect("a temporary folder");
    small_site(place.path(), EASY);
    let write = |name: &str, text: &str| {
        fs::write(place.path().join(name), text).expect("it can be written");
    };
    write(
        "c.csv",
        "time,part,direction,bytes,frames\n0,app:A1~core-A,toward-host,0,0\n300,app:A1~core-A,toward-host,24000000000,\n",
    );
    let cut = "run.events_max=4000";
    let ask = |arguments: &[&str]| {
        let output = halfloom(place.path(), arguments);
        (code(&output), out(&output))
    };
    let column = |file: &str, name: &str| -> Vec<String> {
        let text = fs::read_to_string(place.path().join(file)).expect("it is written");
        let mut lines = text.lines().map(|line| line.split(',').collect::<Vec<_>>());
        let header = lines.next().expect("a header");
        let at = header.iter().position(|own| *own == name);
        let at = at.unwrap_or_else(|| panic!("no {name} in {header:?}"));
        lines.map(|row| row[at].to_owned()).collect()
    };
    let measured = [
        "measured",
        "small.toml",
        "c.csv",
        "--csv",
        "m.csv",
        "--quiet",
    ];
    assert_eq!(ask(&measured).0, 0);
    let whole: f64 = column("m.csv", "simulated_mb_s")[0]
        .parse()
        .expect("a number");
    assert_eq!(column("m.csv", "partial"), ["false"]);
    let mut with = measured.to_vec();
    with.extend(["--set", cut]);
    let (ended, said) = ask(&with);
    assert_eq!(ended, 1, "{said}");
    assert!(
        said.contains("partial: run.events_max stopped a run"),
        "{said}"
    );
    assert_eq!(column("m.csv", "partial"), ["true"]);
    let short: f64 = column("m.csv", "simulated_mb_s")[0]
        .parse()
        .expect("a number");
    assert!((short / whole - 1.0).abs() < 0.35, "{short} and {whole}");

    let simulate = [
        "simulate",
        "small.toml",
        "--csv",
        "s.csv",
        "--quiet",
        "--set",
        cut,
    ];
    assert_eq!(ask(&simulate).0, 1);
    assert_eq!(column("s.csv", "partial"), ["true"]);
    assert!(
        column("s-promises.csv", "left_open")
            .iter()
            .all(|own| own == "stopped")
    );

    let headroom = [
        "headroom",
        "small.toml",
        "--healthy",
        "--quiet",
        "--set",
        cut,
    ];
    let (ended, said) = ask(&headroom);
    assert_eq!(ended, 1, "{said}");
    assert!(
        said.contains("partial: a limit (run.events_max, run.memory_max) stopped runs"),
        "{said}"
    );
    assert!(!said.contains("too near"), "{said}");

    let small = fs::read_to_string(place.path().join("small.toml")).expect("it is there");
    let grows = "[growth]\nfrom = \"2027-01-01\"\nper_year = \"60%\"\n";
    write("growing.toml", &format!("{small}\n{grows}"));
    let growth = [
        "growth",
        "growing.toml",
        "--healthy",
        "--years",
        "2",
        "--quiet",
        "--set",
        cut,
    ];
    let (ended, said) = ask(&growth);
    assert_eq!(ended, 1, "{said}");
    assert!(
        said.contains("partial: a limit (run.events_max, run.memory_max) stopped runs"),
        "{said}"
    );

    // Quiet hours end before the limit, busy ones do not: the hours asked for are there, and the runs are told as partial.
    let low = ["0.1"; 12].join(", ");
    let day = format!(
        "[day]\nshape = \"half\"\n[[shape]]\nname = \"half\"\ndaily = [{low}, {}]\n",
        ["1"; 12].join(", ")
    );
    write("day.toml", &format!("{small}\n{day}"));
    let hours = [
        "failover",
        "day.toml",
        "--windows",
        "--outage",
        "A",
        "--quiet",
        "--set",
        cut,
    ];
    let (ended, said) = ask(&hours);
    assert!(
        said.contains("Partial") && said.contains("in which every promise judged is met"),
        "{said}"
    );
    assert_eq!(ended, 1, "{said}");

    let two = [
        "failover",
        "small.toml",
        "small.toml",
        "--outage",
        "A",
        "--csv",
        "rows.csv",
        "--quiet",
        "--set",
        cut,
    ];
    assert_eq!(ask(&two).0, 1);
    assert_eq!(column("rows.csv", "partial"), ["true", "true"]);
}
