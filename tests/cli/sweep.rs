//! Sweeps that are stopped, cut into pieces, and put together again.

use super::{code, command, err, halfloom, out, small_site};
use std::fs;
use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Command, Output, Stdio};
use std::time::Duration;

/// Twelve points of three cases, half a second or so in all.
const SWEEP: [&str; 8] = [
    "sweep",
    "small.toml",
    "--vary",
    "link.core-store.speed=16GFC,32GFC,64GFC",
    "--vary",
    "load=1..4",
    "--set",
    "run.replications=4",
];

pub(super) fn place() -> tempfile::TempDir {
    let place = tempfile::tempdir().expect("a temporary folder");
    small_site(place.path(), r#"{ p99 = "2ms" }"#);
    place
}

pub(super) fn swept(folder: &Path, more: &[&str]) -> Output {
    let output = halfloom(folder, &[&SWEEP, more].concat());
    assert!([0, 1].contains(&code(&output)), "{}", err(&output));
    output
}

pub(super) fn bytes(folder: &Path, name: &str) -> Vec<u8> {
    fs::read(folder.join(name)).expect("it was written")
}

/// A point that needs ports which the switches do not have is simulated, and told.
#[test]
fn a_point_beyond_the_ports_of_a_switch_is_named() {
    let place = place();
    let budget = "switch.core.ports={ \"32GFC\" = 8 }";
    let run = |set: &[&str]| {
        let sweep = [
            "sweep",
            "small.toml",
            "--vary",
            "link.core-store.speed=32GFC,64GFC",
            "--healthy",
        ];
        let quick = ["--set", "run.replications=1", "--set"];
        let output = halfloom(place.path(), &[&sweep[..], &quick, set].concat());
        assert!([0, 1].contains(&code(&output)), "{}", err(&output));
        out(&output)
    };
    let said = run(&[budget]);
    assert!(
        said.contains("Note: first at link.core-store.speed=64GFC: port budget, ")
            && said.contains("of 64GFC used, 0 there"),
        "{said}"
    );
    assert!(!run(&["run.seed=2"]).contains("port budget"));
}

/// Killed without warning at 50 moments, in the midst of runs and of writing, and gone on with each time.
#[test]
fn killed_fifty_times_it_ends_with_the_bytes_of_an_uninterrupted_run() {
    let place = place();
    let folder = place.path();
    swept(
        folder,
        &["--csv", "whole.csv", "--jsonl", "whole.jsonl", "--quiet"],
    );
    let whole = [bytes(folder, "whole.csv"), bytes(folder, "whole.jsonl")];
    let names = ["part.csv", "part.jsonl"];
    let started = std::time::Instant::now();
    swept(folder, &["--csv", "time.csv", "--quiet"]);
    let span = started.elapsed().as_micros();
    let (mut kills, mut resumed, mut ended) = (0, 0, 0);
    // Moments from a generator of our own, so that a failure can be looked into: MMIX's constants.
    let mut draw: u64 = 20_261_125;
    while kills < 50 {
        draw = draw
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        let part = u64::try_from(span).expect("less than ages") * (draw >> 32) / (1 << 32);
        let arguments = [&SWEEP[..], &["--csv", names[0], "--jsonl", names[1]]].concat();
        let mut child = command(folder, &arguments)
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .expect("the program starts");
        std::thread::sleep(Duration::from_micros(part / 2));
        if child.try_wait().expect("it can be asked").is_none() {
            // SIGKILL: nothing can be tidied up.
            child.kill().expect("it runs");
            child.wait().expect("it ends");
            kills += 1;
            for (name, whole) in names.iter().zip(&whole) {
                let left = fs::read(folder.join(name)).unwrap_or_default();
                assert!(whole.starts_with(&left), "{name} is no beginning");
                resumed += usize::from(left.len() > 2000);
            }
        }
        let done = names.iter().zip(&whole).all(|(name, whole)| {
            let left = fs::read(folder.join(name)).unwrap_or_default();
            left == *whole
        });
        if done || kills == 50 {
            swept(folder, &["--csv", names[0], "--jsonl", names[1], "--quiet"]);
            for (name, whole) in names.iter().zip(&whole) {
                assert_eq!(bytes(folder, name), *whole, "{name}");
                fs::remove_file(folder.join(name)).expect("it is there");
            }
            ended += 1;
        }
    }
    assert!(resumed > 10 && ended > 0, "{resumed} of {kills} had rows");
}

/// Ctrl-C, as a terminal sends it: the signal 2.
#[cfg(unix)]
fn interrupt(child: &std::process::Child) {
    let sent = Command::new("kill")
        .args(["-INT", &child.id().to_string()])
        .status()
        .expect("`kill` starts");
    assert!(sent.success());
}

/// Whole points, a message that says so, code 130; and the same command goes on to the bytes of an uninterrupted run.
#[cfg(unix)]
#[test]
fn a_sweep_that_is_interrupted_leaves_whole_points_and_goes_on() {
    let place = place();
    let folder = place.path();
    swept(
        folder,
        &["--csv", "whole.csv", "--jsonl", "whole.jsonl", "--quiet"],
    );
    let names = ["part.csv", "part.jsonl"];
    let whole = [bytes(folder, "whole.csv"), bytes(folder, "whole.jsonl")];
    let arguments = [
        &SWEEP[..],
        &["--csv", names[0], "--jsonl", names[1], "--threads", "1"],
    ]
    .concat();
    let mut child = command(folder, &arguments)
        .stdout(Stdio::null())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the program starts");
    // After the first rows, so that there is something to leave.
    let begun = || fs::read(folder.join(names[0])).is_ok_and(|left| left.len() > 2000);
    while !begun() {
        assert!(child.try_wait().expect("it can be asked").is_none());
        std::thread::sleep(Duration::from_millis(5));
    }
    interrupt(&child);
    let output = child.wait_with_output().expect("it ends");
    assert_eq!(output.status.code(), Some(130), "{}", err(&output));
    assert!(
        err(&output).contains("stopped; files hold whole points, and the same command goes on"),
        "{}",
        err(&output)
    );
    let left = bytes(folder, names[0]);
    assert!(whole[0].starts_with(&left) && left.len() < whole[0].len());
    // Three cases a point, and the header.
    let lines = left.split(|byte| *byte == b'\n').count() - 1;
    assert!(
        left.ends_with(b"\n") && lines > 3 && (lines - 1) % 3 == 0,
        "{lines}"
    );
    let output = halfloom(folder, &arguments);
    assert!(err(&output).contains("points are there and are not run again"));
    for (name, whole) in names.iter().zip(&whole) {
        assert_eq!(bytes(folder, name), *whole, "{name}");
    }
}

/// Runs a search long enough to be interrupted, does so once it tells of a stage behind it, and checks what every
/// interrupted search owes: code 130, a word of it, an answer, a table and drawings that say "Stopped".
#[cfg(unix)]
fn interrupted(folder: &Path, command_and_files: &[&str], table: &str, drawn: &[&str]) -> String {
    let slow = "--set run.duration=300ms --set run.replications=4 --threads 1";
    let all = [command_and_files, &slow.split(' ').collect::<Vec<_>>()].concat();
    let mut child = command(folder, &all)
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the program starts");
    // A line of progress says that some loads have been run.
    let mut lines = BufReader::new(child.stderr.take().expect("it is piped")).lines();
    let told = lines
        .by_ref()
        .map(|line| line.expect("it is text"))
        .find(|line| line.contains("the edge, round") || line.contains("proof, "));
    assert!(told.expect("a line a stage").contains(" runs done, "));
    interrupt(&child);
    let said: Vec<String> = lines.map(|line| line.expect("it is text")).collect();
    let output = child.wait_with_output().expect("it ends");
    assert_eq!(output.status.code(), Some(130), "{said:?}");
    assert!(
        said.iter()
            .any(|line| line.contains("stopping with what is there")),
        "{said:?}"
    );
    let text = out(&output);
    assert!(text.starts_with("Stopped before its end"), "{text}");
    let rows = fs::read_to_string(folder.join(table)).expect("it was written");
    assert!(rows.lines().count() > 1);
    assert!(
        rows.lines().skip(1).all(|row| row.ends_with(",stopped")),
        "{rows}"
    );
    for name in drawn {
        let file = fs::read_to_string(folder.join(name)).expect("it was written");
        assert!(file.contains("Stopped before its end"), "{name}");
    }
    text
}

/// Stopped in its second half, `headroom` writes what it has by then: a table, whole files, all marked; code 130.
#[cfg(unix)]
#[test]
fn a_headroom_that_is_interrupted_writes_what_it_has_and_marks_it() {
    let place = place();
    let folder = place.path();
    let all = "headroom small.toml --csv l.csv --page l.html --chart l.svg --parts-chart p.svg";
    let all: Vec<&str> = all.split(' ').collect();
    let text = interrupted(folder, &all, "l.csv", &["l.html", "l.svg"]);
    assert!(text.contains("Loads that were run, healthy"), "{text}");
    assert_eq!(fs::read_dir(folder).expect("there").count(), 5);
}

/// So does `growth`: text, table, page and picture are whole and say that they are of a search that was stopped.
#[cfg(unix)]
#[test]
fn a_growth_that_is_interrupted_writes_what_it_has_and_marks_it() {
    let place = place();
    let folder = place.path();
    let text = fs::read_to_string(folder.join("small.toml")).expect("it is there");
    let growth = "\n[growth]\nfrom = \"2027-01-01\"\nper_year = \"60%\"\n";
    fs::write(folder.join("small.toml"), text + growth).expect("it can be written");
    let all = "growth small.toml --csv g.csv --page g.html --chart g.svg";
    let all: Vec<&str> = all.split(' ').collect();
    interrupted(folder, &all, "g.csv", &["g.html", "g.svg"]);
    assert_eq!(fs::read_dir(folder).expect("there").count(), 4);
}

#[test]
fn rows_that_are_there_are_kept_and_not_run_again() {
    let place = place();
    let folder = place.path();
    swept(folder, &["--csv", "s.csv", "--quiet"]);
    let text = String::from_utf8(bytes(folder, "s.csv")).expect("it is text");
    // The first point's rows with another figure, and the second point torn: the mark stays, the torn one is mended.
    let lines: Vec<&str> = text.lines().collect();
    let spoilt = lines[1].replace(",healthy,orders,met,", ",healthy,orders,missed,");
    assert_ne!(spoilt, lines[1]);
    // With the check of a row that was written so it is one; without, it is run again and named.
    let (fields, _) = spoilt.rsplit_once(',').expect("a check");
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .from_reader(fields.as_bytes());
    let record = reader.records().next().expect("a row").expect("it is one");
    let fields_of_row: Vec<String> = record.iter().map(str::to_owned).collect();
    let marked = format!(
        "{fields},{}",
        halfloom::render::csv::sweep_check(&fields_of_row)
    );
    let damaged = text.replace(lines[1], &spoilt);
    fs::write(folder.join("s.csv"), &damaged).expect("it can be written");
    fs::write(folder.join("d.csv"), &damaged).expect("it can be written");
    let merged = halfloom(folder, &["merge", "d.csv"]);
    assert_eq!(code(&merged), 3, "{}", err(&merged));
    assert!(err(&merged).contains("line 2 was changed since it was written"));
    let output = halfloom(folder, &[&SWEEP[..], &["--csv", "s.csv"]].concat());
    assert!(
        err(&output).contains("s.csv:2: this row was changed since it was written; its point and those after it are run again"),
        "{}",
        err(&output)
    );
    assert_eq!(
        String::from_utf8(bytes(folder, "s.csv")).as_ref(),
        Ok(&text)
    );
    let mut cut = [lines[0], &marked, lines[2], lines[3], lines[4]].join("\n");
    cut.push_str("\n2,12,2,3,32G");
    fs::write(folder.join("s.csv"), cut).expect("it can be written");
    let output = halfloom(folder, &[&SWEEP[..], &["--csv", "s.csv"]].concat());
    assert_eq!(code(&output), 1, "the mark counts");
    assert!(err(&output).contains("1 of 12 points are there"));
    let wanted = text.replace(lines[1], &marked);
    assert_eq!(String::from_utf8(bytes(folder, "s.csv")), Ok(wanted));
}

#[test]
fn pieces_make_the_same_bytes_as_the_whole_at_any_number_of_threads() {
    let place = place();
    let folder = place.path();
    swept(
        folder,
        &[
            "--csv",
            "whole.csv",
            "--jsonl",
            "whole.jsonl",
            "--threads",
            "3",
        ],
    );
    for ending in ["csv", "jsonl"] {
        let mut names = Vec::new();
        for piece in 1..=5 {
            let name = format!("p{piece}.{ending}");
            let slice = format!("{piece}/5");
            let option = format!("--{ending}");
            let more = [
                "--slice",
                &slice,
                &option,
                &name,
                "--threads",
                "1",
                "--quiet",
            ];
            swept(folder, &more);
            names.insert(0, name);
        }
        // More pieces than points: one is without any, an empty file of JSON lines.
        let name = format!("none.{ending}");
        let option = format!("--{ending}");
        swept(folder, &["--slice", "13/13", &option, &name, "--quiet"]);
        assert_eq!(ending == "jsonl", bytes(folder, &name).is_empty());
        names.insert(0, name);
        let mut arguments = vec!["merge", "-o", "joined"];
        arguments.extend(names.iter().map(String::as_str));
        let output = halfloom(folder, &arguments);
        assert_eq!(code(&output), 0, "{}", err(&output));
        assert_eq!(
            bytes(folder, "joined"),
            bytes(folder, &format!("whole.{ending}"))
        );
        let alone = halfloom(folder, &["merge", &names.remove(0)]);
        assert_eq!(code(&alone), if ending == "jsonl" { 3 } else { 0 });
        let fewer = halfloom(folder, &["merge", &names[0], &names[2]]);
        assert_eq!(code(&fewer), 3);
        assert!(err(&fewer).contains("points are missing: "));
        let torn = bytes(folder, &names[0]);
        fs::write(folder.join("torn"), &torn[..torn.len() - 9]).expect("it can be written");
        let refused = halfloom(folder, &["merge", "torn", &names[1]]);
        assert!(err(&refused).contains("torn"), "{}", err(&refused));
    }
}

#[test]
fn a_sweep_says_what_is_wrong_before_anything_runs() {
    let place = place();
    let folder = place.path();
    fs::write(folder.join("other.csv"), "name,value\n").expect("it can be written");
    fs::write(folder.join("points.csv"), "load,run.seed\n1\n").expect("it can be written");
    for (arguments, words) in [
        (&[][..], "nothing is varied"),
        (&["--vary", "load"], "KEY=V1,V2"),
        (&["--vary", "load=0,1"], "0 is no load"),
        (&["--vary", "load=1", "--vary", "load=2"], "varied twice"),
        (&["--vary", "host.app.cuont=1,2"], "count"),
        (
            &["--vary", "link.core-store.speed=32GFC,33GFC"],
            "note: at the point link.core-store.speed=33GFC",
        ),
        (&["--points", "points.csv"], "points.csv:"),
        (&["--vary", "load=1,2", "--slice", "3/2"], "I from 1 to N"),
        (&["--vary", "load=1,2", "--outage", "C"], "outages: A, B"),
        (
            &["--vary", "load=1,2", "--csv", "other.csv"],
            "no row of this sweep",
        ),
    ] {
        let all = [&["sweep", "small.toml"], arguments].concat();
        let output = halfloom(folder, &all);
        assert!([2, 3].contains(&code(&output)), "{arguments:?}");
        assert!(err(&output).contains(words), "{}", err(&output));
    }
    assert_eq!(bytes(folder, "other.csv"), b"name,value\n");
    let other = halfloom(folder, &["merge", "other.csv"]);
    assert_eq!(code(&other), 3);
}

#[test]
fn what_is_varied_is_what_runs() {
    let place = place();
    let folder = place.path();
    fs::write(
        folder.join("points.csv"),
        "load,array.store.parallel\n1,4\n2,64\n",
    )
    .expect("it can be written");
    let all = [
        &["sweep", "small.toml", "--points", "points.csv", "--json"][..],
        &["--outage", "A", "--chart", "c.svg", "--quiet"],
    ]
    .concat();
    let output = halfloom(folder, &all);
    assert_eq!(code(&output), 0, "{}", err(&output));
    let rows: Vec<serde_json::Value> = out(&output)
        .lines()
        .map(|line| serde_json::from_str(line).expect("it is JSON"))
        .collect();
    let cases: Vec<&str> = rows.iter().filter_map(|row| row["case"].as_str()).collect();
    assert_eq!(cases, ["healthy", "A lost", "healthy", "A lost"]);
    // Twice the work arrives, of which the share of the controllers is the same by arithmetic, on sixteen times
    // as many that are worked on at once.
    let of = |row: usize, name: &str| rows[row][name].as_f64().expect("a figure");
    let twice = of(2, "offered_iops") / of(0, "offered_iops");
    assert!((twice - 2.0).abs() < 0.1, "{twice}");
    let share = of(0, "arithmetic_percent") / of(2, "arithmetic_percent");
    assert!((share - 8.0).abs() < 1.0, "{share}");
    let chart = fs::read_to_string(folder.join("c.svg")).expect("it was written");
    assert!(chart.contains("orders p99") && chart.contains("estimate"));
}

/// What a sweep took is said on the standard error; points with seeds of their own are not said to share them.
#[test]
fn a_sweep_says_what_it_took_and_whether_points_share_their_random_numbers() {
    let place = place();
    let seeds = ["sweep", "small.toml", "--vary", "run.seed=1,2"];
    let output = halfloom(place.path(), &seeds);
    let said = err(&output).replace('\u{202F}', " ");
    let line = said
        .lines()
        .find(|line| line.starts_with("2 points in "))
        .expect("a closing line");
    assert!(
        line.contains(" frame-hops, ") && line.ends_with(" a second"),
        "{line}"
    );
    if cfg!(target_os = "linux") {
        assert!(line.contains(" s of processor time, ") && line.contains(" cores in use"));
    }
    let text = out(&output);
    assert!(
        text.contains("the points have seeds of their own"),
        "{text}"
    );
    let loads = ["sweep", "small.toml", "--vary", "load=1,2", "--quiet"];
    let output = halfloom(place.path(), &loads);
    assert!(out(&output).contains("all points share their random numbers"));
    assert!(err(&output).is_empty(), "{}", err(&output));
}

/// Timers act while parts are lost, and rows are steady states: that no row can differ is said at once and under the table.
#[test]
fn a_key_that_no_row_depends_on_is_named() {
    let place = place();
    let timers = [
        "--vary",
        "host.app.timers.fast_io_fail=1s,9s",
        "--vary",
        "load=1,2",
    ];
    let all = [&["sweep", "small.toml"][..], &timers].concat();
    let output = halfloom(place.path(), &all);
    let wanted =
        "no row can differ because of `host.app.timers.fast_io_fail`: rows are steady states";
    assert!(err(&output).starts_with(&format!("note: {wanted}")));
    assert!(out(&output).contains(&format!("Note: {wanted}")));
    assert!(out(&output).contains("--switch-overs"));
    let output = halfloom(place.path(), &[&all[..], &["--quiet"]].concat());
    assert!(err(&output).is_empty(), "{}", err(&output));
    let steps = [
        "sweep",
        "small.toml",
        "--vary",
        "switch.core.uplinks_max=2,3",
    ];
    let output = halfloom(place.path(), &[&steps[..], &["--switch-overs"]].concat());
    assert!(err(&output).contains("and no switch-over depends on it"));
}

/// A verdict stands beside the figure of its own promise; that of all promises has a column of its own, with the promise that
/// decides it.
#[test]
fn each_promise_has_its_row_with_its_own_verdict() {
    let place = tempfile::tempdir().expect("a temporary folder");
    small_site(place.path(), r#"{ p99 = "2ms", mean = "1us" }"#);
    let folder = place.path();
    let all = "sweep small.toml --vary load=1,2 --healthy --replications 2 --set run.duration=60ms --quiet";
    let all: Vec<&str> = all.split(' ').collect();
    let output = halfloom(folder, &[&all[..], &["--csv", "s.csv"]].concat());
    assert_eq!(code(&output), 1, "{}", err(&output));
    let text = String::from_utf8(bytes(folder, "s.csv")).expect("it is text");
    let mut rows = text.lines().map(|line| line.split(',').collect::<Vec<_>>());
    let head = rows.next().expect("a header");
    let wanted = [
        "all_promises",
        "decided_by",
        "promise",
        "promise_verdict",
        "rows",
    ];
    let of = wanted.map(|name| head.iter().position(|known| *known == name));
    let found: Vec<[&str; 5]> = rows
        .map(|row| of.map(|at| row[at.expect("a column")]))
        .collect();
    let mut missed = ["missed", "mean", "mean", "missed", "2"];
    let mut met = ["missed", "mean", "p99", "met", "2"];
    let mut wanted = vec![missed, met, missed, met];
    if found[0][2] == "p99" {
        std::mem::swap(&mut missed, &mut met);
        wanted.rotate_left(1);
    }
    assert_eq!(found, wanted);
    // The table shows the one that decides, and says so.
    let table = out(&output);
    assert!(
        !table.contains("met") || table.contains("missed"),
        "{table}"
    );
    assert_eq!(table.matches("  mean  ").count(), 2, "{table}");
    assert!(
        table.contains("the row shows the one that decides"),
        "{table}"
    );
    // Rows begun with other columns are told as that, and are left alone.
    let old = text.replace("all_promises,decided_by", "verdict");
    fs::write(folder.join("old.csv"), &old).expect("it can be written");
    let refused = halfloom(folder, &[&all[..], &["--csv", "old.csv"]].concat());
    assert_eq!(code(&refused), 3, "{}", err(&refused));
    assert!(err(&refused).contains("other columns"), "{}", err(&refused));
    assert_eq!(bytes(folder, "old.csv"), old.as_bytes());
    let refused = halfloom(folder, &["merge", "old.csv"]);
    assert!(err(&refused).contains("other columns"), "{}", err(&refused));
}

/// With switch-overs a timer shows in its rows, as `failover` finds it.
#[test]
fn a_sweep_with_switch_overs_shows_what_a_timer_does() {
    let place = tempfile::tempdir().expect("a temporary folder");
    let promise = r#"{ p99 = "2ms", switching = { longest_io = "4s" } }"#;
    small_site(place.path(), promise);
    let folder = place.path();
    let all = "sweep small.toml --vary host.app.timers.fast_io_fail=1s,9s --outage A --switch-overs --quiet --csv s.csv";
    let all: Vec<&str> = all.split(' ').collect();
    let output = halfloom(folder, &all);
    assert_eq!(code(&output), 1, "{}", err(&output));
    assert!(out(&output).contains("longest silence, s"));
    let text = String::from_utf8(bytes(folder, "s.csv")).expect("it is text");
    let mut rows = text.lines().map(|line| line.split(',').collect::<Vec<_>>());
    let head = rows.next().expect("a header");
    let rows: Vec<Vec<&str>> = rows.collect();
    let of = |row: usize, name: &str| {
        let at = head.iter().position(|known| *known == name);
        rows[row][at.expect("a column")]
    };
    let verdicts = [0, 1, 2, 3].map(|row| of(row, "switch_verdict"));
    assert_eq!(verdicts, ["", "met", "", "missed"]);
    for row in [1, 3] {
        assert_eq!(of(row, "all_promises"), "met");
        let key = "host.app.timers.fast_io_fail";
        let set = format!("{key}={}", of(row, key));
        let alone = ["failover", "small.toml", "--outage", "A", "--set", &set];
        let output = halfloom(folder, &[&alone[..], &["--json", "--quiet"]].concat());
        let found: serde_json::Value = serde_json::from_str(&out(&output)).expect("it is JSON");
        let longest = found["switches"][0]["workloads"][0]["longest_io_s"].as_array();
        let longest = longest
            .expect("a list")
            .iter()
            .filter_map(serde_json::Value::as_f64);
        let longest = longest.fold(0.0, f64::max);
        let swept: f64 = of(row, "longest_io_s").parse().expect("a number");
        assert!((swept - longest).abs() < 1e-9, "{swept} {longest}");
    }
    // Rows are gone on with, and those of steady states alone belong to another sweep.
    let again = halfloom(folder, &all);
    assert_eq!(code(&again), 1, "{}", err(&again));
    let steady: Vec<&str> = all
        .into_iter()
        .filter(|word| *word != "--switch-overs")
        .collect();
    assert!(err(&halfloom(folder, &steady)).contains("no row of this sweep"));
}

/// Rows into a pipe come as they are; nothing is waited for, because nothing can be there to go on after.
#[cfg(unix)]
#[test]
fn rows_go_into_a_pipe() {
    use std::io::Read;
    let place = place();
    let all = "sweep small.toml --vary load=1,2 --quiet --csv /dev/stdout";
    let all: Vec<&str> = all.split(' ').collect();
    let mut child = command(place.path(), &all)
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .expect("the program starts");
    let mut pipe = child.stdout.take().expect("it is piped");
    let reader = std::thread::spawn(move || {
        let mut text = String::new();
        pipe.read_to_string(&mut text).map(|_| text)
    });
    let mut ended = None;
    for _ in 0..600 {
        ended = child.try_wait().expect("it can be asked");
        if ended.is_some() {
            break;
        }
        std::thread::sleep(Duration::from_millis(100));
    }
    if ended.is_none() {
        child.kill().expect("it runs");
    }
    assert_eq!(ended.and_then(|status| status.code()), Some(0));
    let text = reader.join().expect("it reads").expect("it is text");
    let rows = text
        .lines()
        .take_while(|line| !line.is_empty() && line.contains(','));
    let rows: Vec<&str> = rows.collect();
    assert!(
        rows[0].starts_with("point,points,row,rows,load,case"),
        "{text}"
    );
    assert_eq!(rows.iter().filter(|row| row.starts_with("2,2,")).count(), 3);
}
