//! The lessons: every sum on a page is worked out again, every command runs, and every answer is the one
//! that the command gives.
//!
//! Sums stand in blocks marked `by-hand`, one a line: numbers with × ÷ + −, then `=` and the result, rounded to
//! the digits shown. The figures of the answers' tables are compared with the JSON of the command named here,
//! and with the sum by hand, each within the digits shown on the page or the tolerance stated here.

use super::{err, out, readme};
use serde_json::Value;
use std::path::Path;

/// Where in the JSON of a run a figure stands.
#[derive(Clone, Copy)]
enum Read {
    /// Payload per second of `wire`, MB/s.
    Wire,
    /// Completed payload per second, MB/s.
    Throughput,
    /// Mean latency, µs.
    Mean,
    /// The same, ms.
    MeanMs,
    /// 99th percentile, ms.
    P99Ms,
    /// Busy share of the direction that carries the data, per cent.
    Busy,
}

impl Read {
    fn of(self, json: &Value) -> f64 {
        let work = &json["steady"][0]["workloads"][0]["all"];
        let found = match self {
            Self::Wire => &json["links"][0]["goodput_mb_s"],
            Self::Throughput => &work["throughput_mb_s"]["value"],
            Self::Mean | Self::MeanMs => &work["mean_us"]["value"],
            Self::P99Ms => {
                let all = work["quantiles"].as_array().expect("percentiles");
                let found = all.iter().find(|one| one["q"] == 0.99);
                &found.expect("the 99th")["latency_us"]["value"]
            }
            Self::Busy => {
                let all = json["steady"][0]["directions"].as_array();
                let back = all
                    .expect("directions")
                    .iter()
                    .find(|one| one["toward_array"] == false);
                &back.expect("a way back")["utilization_percent"]
            }
        };
        let value = found
            .as_f64()
            .unwrap_or_else(|| panic!("no figure in {json}"));
        match self {
            Self::MeanMs | Self::P99Ms => value / 1e3,
            _ => value,
        }
    }
}

/// One figure of a page: the row of its table, the column (from 1, the row's name not counted), the command as
/// it stands on the page, and how far the run may be from the sum by hand, as a share of it.
struct Figure {
    row: &'static str,
    column: usize,
    command: &'static str,
    read: Read,
    within: f64,
}

const fn figure(
    row: &'static str,
    column: usize,
    command: &'static str,
    read: Read,
    within: f64,
) -> Figure {
    Figure {
        row,
        column,
        command,
        read,
        within,
    }
}

fn folder() -> std::path::PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("scenarios/lessons")
}

fn page(name: &str) -> String {
    std::fs::read_to_string(folder().join(name)).expect("the page is there")
}

/// The lines of every block of that kind.
fn block<'t>(text: &'t str, kind: &str) -> Vec<&'t str> {
    let start = format!("```{kind}");
    let mut inside = false;
    let mut found = Vec::new();
    for line in text.lines() {
        match line {
            _ if line == start => inside = true,
            "```" => inside = false,
            _ if inside => found.push(line),
            _ => {}
        }
    }
    found
}

/// `3125 × 65536 ÷ 69700`: products first, then sums.
fn value(sum: &str) -> f64 {
    let number = |text: &str| -> f64 {
        text.trim()
            .parse()
            .unwrap_or_else(|_| panic!("{text:?} in {sum:?} is no number"))
    };
    let product = |text: &str| -> f64 {
        let mut result = 1.0;
        let mut divide = false;
        for word in text.split_whitespace() {
            match word {
                "×" => divide = false,
                "÷" => divide = true,
                _ if divide => result /= number(word),
                _ => result *= number(word),
            }
        }
        result
    };
    sum.split(" + ")
        .map(|part| {
            let mut minus = part.split(" − ").map(product);
            minus.next().unwrap_or(0.0) - minus.sum::<f64>()
        })
        .sum()
}

/// Digits after the point.
fn digits(text: &str) -> usize {
    text.split_once('.').map_or(0, |(_, rest)| rest.len())
}

/// The cells of the row of that name, without the name.
fn row<'t>(text: &'t str, name: &str) -> Vec<&'t str> {
    let start = format!("| {name} |");
    let line = text.lines().find(|line| line.starts_with(&start));
    let line = line.unwrap_or_else(|| panic!("no row {name:?}"));
    line.trim_matches('|')
        .split('|')
        .skip(1)
        .map(str::trim)
        .collect()
}

fn hold(name: &str, figures: &[Figure]) {
    let text = page(name);
    let sums: Vec<(f64, &str)> = block(&text, "by-hand")
        .into_iter()
        .map(|line| {
            let (sum, result) = line.split_once(" = ").unwrap_or_else(|| panic!("{line:?}"));
            let shown: f64 = result.parse().unwrap_or_else(|_| panic!("{line:?}"));
            let half = 0.5 * 10_f64.powi(-i32::try_from(digits(result)).expect("few digits"));
            let got = value(sum);
            assert!(
                (got - shown).abs() <= half * 1.000_001,
                "{name}: {line} gives {got}"
            );
            (shown, result)
        })
        .collect();
    assert!(sums.len() >= 3, "{name}: {} sums", sums.len());
    for part in [
        "**Question.**",
        "## By hand",
        "## Run it",
        "## The answer",
        "## What to change next",
    ] {
        assert!(text.contains(part), "{name}: no {part}");
    }
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    for figure in figures {
        assert!(
            text.lines().any(|line| line == figure.command),
            "{name}: no command {}",
            figure.command
        );
        let quiet = if matches!(figure.read, Read::Wire) {
            ""
        } else {
            " --quiet"
        };
        let output = readme::shell(root, &format!("{} --json{quiet}", figure.command));
        let json: Value = serde_json::from_str(&out(&output))
            .unwrap_or_else(|error| panic!("{}: {error}: {}", figure.command, err(&output)));
        let cells = row(&text, figure.row);
        let got = figure.read.of(&json);
        let shown = cells[figure.column];
        let printed = format!("{got:.*}", digits(shown));
        assert_eq!(
            printed, shown,
            "{name}: {}, by {}",
            figure.row, figure.command
        );
        let hand = sums.iter().find(|sum| sum.1 == cells[0]);
        let (hand, _) = hand.unwrap_or_else(|| panic!("{name}: no sum gives {}", cells[0]));
        assert!(
            (got / hand - 1.0).abs() <= figure.within,
            "{name}: {}, {got} against {hand} by hand",
            figure.row
        );
    }
}

#[test]
fn two_names() {
    let by = |row, command, simulated| {
        [
            figure(row, 1, command, Read::Wire, 1e-4),
            figure(row, 2, simulated, Read::Throughput, 1e-3),
        ]
    };
    let ethernet = by(
        "25GbE",
        "halfloom wire --protocol nvme-tcp --size 64KiB --over 25GbE --success",
        "halfloom simulate scenarios/lessons/25gbe.toml",
    );
    let fibre = by(
        "32GFC",
        "halfloom wire --protocol fc-scsi --size 64KiB --over 32GFC",
        "halfloom simulate scenarios/lessons/32gfc.toml",
    );
    hold("25gbe-and-32gfc.md", &ethernet);
    hold("25gbe-and-32gfc.md", &fibre);
}

#[test]
fn a_label() {
    let wire = "halfloom wire --protocol fc-scsi --size 64KiB --over 16GFC";
    let run = "halfloom simulate scenarios/lessons/label.toml";
    hold(
        "label.md",
        &[
            figure("16GFC", 1, wire, Read::Wire, 1e-4),
            figure("16GFC", 2, run, Read::Throughput, 1e-3),
        ],
    );
}

#[test]
fn block_size() {
    const SMALL: &str =
        "halfloom simulate scenarios/lessons/block-size.toml --set workload.reads.sizes=512B";
    const USUAL: &str = "halfloom simulate scenarios/lessons/block-size.toml";
    const LARGE: &str =
        "halfloom simulate scenarios/lessons/block-size.toml --set workload.reads.sizes=64KiB";
    hold(
        "block-size.md",
        &[
            figure("512 B", 1, SMALL, Read::Throughput, 1e-3),
            figure("4 KiB", 1, USUAL, Read::Throughput, 1e-3),
            figure("64 KiB", 1, LARGE, Read::Throughput, 1e-3),
        ],
    );
}

#[test]
fn jumbo_frames() {
    const USUAL: &str = "halfloom simulate scenarios/lessons/jumbo-frames.toml";
    const JUMBO: &str =
        "halfloom simulate scenarios/lessons/jumbo-frames.toml --set link.student-box.mtu=9000";
    const SMALL: &str = "halfloom simulate scenarios/lessons/jumbo-frames.toml \
        --set link.student-box.mtu=9000 --set workload.reads.sizes=512B";
    hold(
        "jumbo-frames.md",
        &[
            figure("64 KiB, MTU 1500", 1, USUAL, Read::Throughput, 1e-3),
            figure("64 KiB, MTU 9000", 1, JUMBO, Read::Throughput, 1e-3),
            figure("512 B, MTU 9000", 1, SMALL, Read::Throughput, 1e-3),
        ],
    );
    // The page says that the last command but one is refused, with the hop named.
    let command =
        "halfloom check scenarios/lessons/jumbo-frames.toml --set workload.reads.mtu=9000";
    assert!(page("jumbo-frames.md").contains(command));
    let output = readme::shell(Path::new(env!("CARGO_MANIFEST_DIR")), command);
    assert_eq!(output.status.code(), Some(2));
    assert!(
        err(&output).contains("do not fit link `student-box`"),
        "{}",
        err(&output)
    );
}

#[test]
fn cut_through() {
    const CUT: &str = "halfloom simulate scenarios/lessons/cut-through.toml";
    const STORE: &str = "halfloom simulate scenarios/lessons/cut-through.toml \
        --set switch.first.forwarding=store-and-forward \
        --set switch.second.forwarding=store-and-forward \
        --set switch.third.forwarding=store-and-forward";
    const SMALL: &str = "halfloom simulate scenarios/lessons/cut-through.toml \
        --set workload.reads.mtu=1500 --set switch.first.forwarding=store-and-forward \
        --set switch.second.forwarding=store-and-forward \
        --set switch.third.forwarding=store-and-forward";
    // Nothing is random and nothing waits: to the last digit.
    hold(
        "cut-through.md",
        &[
            figure("cut-through", 1, CUT, Read::Mean, 1e-9),
            figure("store-and-forward", 1, STORE, Read::Mean, 1e-9),
            figure("store-and-forward, MTU 1500", 1, SMALL, Read::Mean, 1e-9),
        ],
    );
}

#[test]
fn busy_35() {
    const RANDOM: &str = "halfloom simulate scenarios/lessons/busy-35.toml \
        --set 'workload.reads.arrivals={ poisson = \"50k/s\" }'";
    const BURSTS: &str = "halfloom simulate scenarios/lessons/busy-35.toml";
    const FASTER: &str =
        "halfloom simulate scenarios/lessons/busy-35.toml --set link.student-box.speed=25GbE";
    hold(
        "busy-35.md",
        &[
            figure("at random, mean, µs", 1, RANDOM, Read::Mean, 0.01),
            figure("in bursts, busy, %", 1, BURSTS, Read::Busy, 0.02),
            // A burst is a number of reads that varies by its root: 4000 by 63.
            figure("in bursts, mean, ms", 1, BURSTS, Read::MeanMs, 0.05),
            figure(
                "in bursts, 99th percentile, ms",
                1,
                BURSTS,
                Read::P99Ms,
                0.05,
            ),
        ],
    );
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let code = |command: &str| {
        readme::shell(root, &format!("{command} --quiet"))
            .status
            .code()
    };
    // Met, missed, met again.
    assert_eq!(
        [code(RANDOM), code(BURSTS), code(FASTER)],
        [Some(0), Some(1), Some(0)]
    );
    assert!(page("busy-35.md").contains(FASTER));
}

/// Every page is in the list, every scenario belongs to a page, and every command of every page runs.
#[test]
fn every_page_is_listed_and_every_command_runs() {
    let list = page("README.md");
    let place = tempfile::tempdir().expect("a temporary folder");
    let scenarios = Path::new(env!("CARGO_MANIFEST_DIR")).join("scenarios");
    readme::copy(&scenarios, &place.path().join("scenarios"));
    let mut pages = 0;
    for entry in std::fs::read_dir(folder()).expect("the lessons are there") {
        let name = entry.expect("they can be listed").file_name();
        let name = name.to_string_lossy().into_owned();
        assert!(
            name == "README.md" || list.contains(&name),
            "{name} is in no list"
        );
        if !name.ends_with(".md") || name == "README.md" {
            continue;
        }
        pages += 1;
        let text = page(&name);
        let commands = block(&text, "sh");
        assert!(commands.len() >= 2, "{name}");
        for line in commands {
            let output = readme::shell(place.path(), line);
            let code = output.status.code().expect("it ended by itself");
            assert!(
                matches!(code, 0 | 1),
                "{name}: `{line}` ended with {code}: {}",
                err(&output)
            );
        }
    }
    assert_eq!(pages, 6);
}

/// The evaluator of sums itself.
#[test]
fn sums_are_worked_out_products_first() {
    for (sum, result) in [
        ("2 + 3 × 4", 14.0),
        ("10 − 4 ÷ 2 + 1", 9.0),
        ("3125 × 65536 ÷ 69700", 3125.0 * 65_536.0 / 69_700.0),
        ("7", 7.0),
    ] {
        assert!((value(sum) - result).abs() < 1e-9, "{sum}");
    }
}
