//! Work that does not fit.

use super::rig::{Twin, ask, case, json, reads, site, work};
use halfloom::outcome::{Report, Verdict};
use halfloom::render::json::report_json;
use halfloom::render::table::{report_text, steady_text};
use serde_json::Value;

/// 60,408 reads a second: 1.2 times what one link carries, 0.6 of what two do.
const ARRIVALS: &str = r#"{ poisson = "60408/s" }"#;

fn found(duration: &str) -> Report {
    let run = format!("duration = \"{duration}\"\nwarm_up = \"20ms\"\nreplications = 3");
    ask(&site(&reads(ARRIVALS, &run, ""), &[]), &["A"], false)
}

/// Twice and four times the run time give no other word: the survivors of A are saturated, and no mean, no
/// budget and no figure of a promise stands for them. Healthy, the same work has all of them.
#[test]
fn a_saturated_case_says_so_however_long_it_runs() {
    let mut worst = Vec::new();
    for duration in ["120ms", "240ms", "480ms"] {
        let report = found(duration);
        let (healthy, lost) = (case(&report, "healthy"), case(&report, "A lost"));
        assert!(!healthy.saturated, "{duration}");
        assert!(work(healthy, "orders").all.mean_us.is_some());
        let orders = work(lost, "orders");
        assert!(lost.saturated && orders.saturated, "{duration}");
        for population in [&orders.all, &orders.reads, &orders.writes] {
            assert_eq!(population.mean_us, None, "{duration}");
            let mut known = population.quantiles.iter();
            assert!(!known.any(|q| q.latency_us.is_some() || q.beyond_us.is_some()));
        }
        assert!(orders.budget.is_empty());
        // Throughput is a figure: it is what the link carries, and does not grow with the run.
        let carried = orders.all.throughput_mb_s.value;
        assert!((carried / 3_299.12 - 1.0).abs() < 0.002, "{carried}");
        for row in &report.matrix.rows {
            let [Some(met), Some(missed)] = &row.cells[..] else {
                panic!("two cases are judged");
            };
            assert_eq!(met.verdict, Verdict::Met, "{duration}");
            assert!(met.value.is_some() && !met.saturated);
            assert_eq!(missed.verdict, Verdict::Missed, "{duration}");
            assert!(missed.saturated && missed.value.is_none());
        }
        worst.push(orders.all.max_us.expect("some have finished"));
    }
    // The queue did grow all the time: 0.2 of the run in seconds ÷ 1.2 more at its end.
    assert!(
        worst[1] > 1.7 * worst[0] && worst[2] > 1.7 * worst[1],
        "{worst:?}"
    );
}

/// What is printed and what is written for machines say the same.
#[test]
fn a_saturated_case_is_printed_as_a_word() {
    for duration in ["120ms", "240ms"] {
        let report = found(duration);
        for text in [report_text(&report), steady_text(&report)] {
            let rows = |case: &str, kind: &str| -> Vec<String> {
                let lines = text.lines().map(|line| line.split_whitespace().collect());
                lines
                    .filter_map(|words: Vec<&str>| {
                        words
                            .join(" ")
                            .strip_prefix(&format!("{case} {kind} "))
                            .map(str::to_owned)
                    })
                    .collect()
            };
            let [lost] = &rows("A lost", "all")[..] else {
                panic!("one row\n{text}");
            };
            assert!(lost.starts_with("saturated "), "{lost}");
            let [healthy] = &rows("healthy", "all")[..] else {
                panic!("one row\n{text}");
            };
            assert!(
                healthy.starts_with(|c: char| c.is_ascii_digit()),
                "{healthy}"
            );
            assert!(!text.contains("NaN") && !text.contains("inf"), "{text}");
        }
        let value: Value = serde_json::from_str(&report_json(&report)).expect("it is JSON");
        let lost = &value["steady"][1];
        assert_eq!(lost["saturated"], true);
        assert_eq!(lost["workloads"][0]["saturated"], true);
        for kind in ["all", "reads", "writes"] {
            assert!(lost["workloads"][0][kind]["mean_us"].is_null());
        }
        assert_eq!(lost["workloads"][0]["budget"], json_array());
        assert!(value["steady"][0]["workloads"][0]["all"]["mean_us"]["value"].is_f64());
        for row in value["matrix"]["rows"].as_array().expect("rows") {
            assert!(row["cells"][1]["value"].is_null());
            assert_eq!(row["cells"][1]["saturated"], true);
        }
    }
}

fn json_array() -> Value {
    Value::Array(Vec::new())
}

/// At 0.95 of one link the same case has a mean: the word is not said of every busy link. M/D/1 by hand:
/// 67,540 B take 19.865 us; the wait for the port is at most 0.95/(2 × 0.05) = 9.5 of them.
#[test]
fn a_busy_case_is_not_a_saturated_one() {
    let text = reads(
        r#"{ poisson = "47823/s" }"#,
        "duration = \"400ms\"\nwarm_up = \"50ms\"\nreplications = 3",
        "",
    );
    let report = ask(&site(&text, &[]), &["A"], false);
    let lost = case(&report, "A lost");
    assert!(!lost.saturated);
    let mean = work(lost, "orders").all.mean_us.expect("a mean").value;
    assert!(mean > 100.0 && mean < 500.0, "{mean}");
    assert!(json(lost).contains("\"saturated\": false"));
}

/// 51,347 reads a second are 1.02 of one link. In a run of 12 ms the backlog grows to about 12 I/Os only, and 5 ms are kept;
/// yet it grows for ever, so no latency is called met. Healthy, on two links, it is.
#[test]
fn a_load_of_102_per_cent_is_never_met_however_short_the_run() {
    for duration in ["4ms", "12ms", "40ms"] {
        for paths in ["least-queue", "round-robin"] {
            let run = format!("duration = \"{duration}\"\nwarm_up = \"1ms\"\nreplications = 4");
            let text = reads(r#"{ poisson = "51347/s" }"#, &run, "");
            let policy = [("host.app.paths", paths)];
            let report = ask(&site(&text, &policy), &["A", "B"], false);
            for row in &report.matrix.rows {
                for (index, cell) in row.cells.iter().enumerate() {
                    let cell = cell.as_ref().expect("it is promised");
                    assert_eq!(cell.saturated, index > 0, "{duration} {row:?}");
                    let wanted = [Verdict::Met, Verdict::Missed][usize::from(index > 0)];
                    // A run of 4 ms may be too short to prove what is met.
                    assert!(
                        cell.verdict == wanted || (index == 0 && duration == "4ms"),
                        "{duration} {row:?}"
                    );
                }
            }
            let text = report_text(&report);
            assert!(text.contains("saturated"), "{text}");
        }
    }
}

/// 100 reads a second of 3 s each, 300 at a time where 1,000 are served: it fits, and a run of 2 s cannot show it.
fn long_service(host: &str, run: &str, promise: &str) -> Report {
    let work = format!(
        "protocol = \"fc-scsi\"\nread = \"100%\"\nsizes = \"4KiB\"\narrivals = {{ paced = \"100/s\" }}\n\
         promise = {{ {promise} }}"
    );
    let twin = Twin {
        run: &format!("replications = 2\n{run}"),
        host,
        array: "controllers = 1\nparallel = 1000\nread = { hit = \"100%\", hit_time = \"3s\" }",
        near: "speed = \"32GFC\"",
        far: "speed = \"32GFC\"",
        name: "archive",
        work: &work,
        ..Twin::default()
    };
    ask(&site(&twin.text(), &[]), &["A"], false)
}

#[test]
fn service_longer_than_the_run_is_no_saturation() {
    const DEEP: &str = "queue_depth = 1000";
    const SHORT: &str = "duration = \"2s\"\ndrain_limit = \"1s\"";
    let verdicts = |report: &Report| -> Vec<Verdict> {
        let cells = report.matrix.rows.iter().map(|row| row.cells[0].as_ref());
        cells.flatten().map(|cell| cell.verdict).collect()
    };
    let report = long_service(
        DEEP,
        SHORT,
        "mean = \"4s\", p99 = \"5s\", throughput = \"0.3MB/s\"",
    );
    let archive = work(case(&report, "healthy"), "archive");
    assert!(!archive.saturated && archive.all.mean_us.is_none());
    assert_eq!(archive.service_beyond_run_s, Some(3.0));
    assert_eq!(verdicts(&report), [Verdict::Undecided; 3]);
    let text = report_text(&report);
    assert!(
        text.contains("The run is too short for archive (3\u{202f}s)"),
        "{text}"
    );
    // What all have waited for longer than is missed, whatever they take in the end.
    let report = long_service(DEEP, SHORT, "mean = \"100ms\", p99 = \"200ms\"");
    assert_eq!(verdicts(&report), [Verdict::Missed; 2]);
    assert!(report.steady.iter().all(|steady| !steady.saturated));
    // Only a drain limit that is too short.
    let report = long_service(
        DEEP,
        "duration = \"8s\"\nwarm_up = \"4s\"\ndrain_limit = \"1s\"",
        "mean = \"4s\"",
    );
    assert_eq!(verdicts(&report), [Verdict::Undecided]);
    // A run that is long enough.
    let report = long_service(
        DEEP,
        "duration = \"8s\"\nwarm_up = \"4s\"\ndrain_limit = \"4s\"",
        "mean = \"4s\", p99 = \"5s\"",
    );
    assert_eq!(verdicts(&report), [Verdict::Met; 2]);
    assert!(!report_text(&report).contains("too short for"));
    // Work that its hosts' depth lets through no more of does not fit, however short the run.
    let report = long_service("queue_depth = 10", SHORT, "mean = \"4s\"");
    assert!(report.steady.iter().all(|steady| steady.saturated));
}
