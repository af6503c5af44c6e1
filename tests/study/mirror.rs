//! Which side is called A changes nothing but names.

use super::rig::{DEMO, ask, json, same, site};
use halfloom::outcome::Report;
use serde_json::Value;

/// Unequal fabrics: side `near` is fast and far away, side `far` is slow; the work waits on the slow one.
fn unequal(near: &str, far: &str) -> Report {
    let text = format!(
        r#"
format = 1
[run]
duration = "60ms"
warm_up = "10ms"
replications = 2
switch_replications = 2
settle_limit = "3s"
first = "{near}"
seed = 5
[timers]
fast_io_fail = "300ms"
[[host]]
name = "db"
count = 3
queue_depth = 6
[[switch]]
name = "fast"
fabric = "{near}"
[[switch]]
name = "slow"
fabric = "{far}"
delay = "2us"
forwarding = "store-and-forward"
[[array]]
name = "box"
parallel = 12
read = {{ hit = "70%", hit_time = "80us", miss_time = {{ exponential = "150us" }} }}
[[link]]
from = "db"
to = "fast"
speed = "32GFC"
length = "900m"
[[link]]
from = "fast"
to = "box"
speed = "32GFC"
[[link]]
from = "db"
to = "slow"
speed = "16GFC"
[[link]]
from = "slow"
to = "box"
speed = "16GFC"
ports = 2
[[workload]]
name = "orders"
hosts = "db"
array = "box"
protocol = "fc-scsi"
read = "75%"
sizes = {{ "8KiB" = 0.7, "64KiB" = 0.3 }}
arrivals = {{ poisson = "20k/s" }}
promise = {{ mean = "400us", p99 = "1500us", switching = {{ longest_io = "2s", failed = 0 }} }}
"#
    );
    ask(&site(&text, &[]), &[], true)
}

/// Every word, name and letter of a side in the mirror, and lists that go by name or side in the order of
/// their images.
fn image(value: &Value) -> Value {
    match value {
        Value::String(text) => Value::String(swapped(text)),
        Value::Array(items) => {
            let mut items: Vec<Value> = items.iter().map(image).collect();
            // Lists of named parts, and of lanes, are in topology order: A before B. Lists over time or
            // cases stay as they are.
            let key = |item: &Value| {
                let name = item.get("name").or_else(|| item.get("host_port"));
                let port = item.get("array_port").map(ToString::to_string);
                name.map(|name| format!("{name}{}", port.unwrap_or_default()))
            };
            if items.iter().all(|item| key(item).is_some()) {
                items.sort_by_key(key);
            }
            Value::Array(items)
        }
        Value::Object(map) => Value::Object(
            map.iter()
                .map(|(key, value)| (key.clone(), image(value)))
                .collect(),
        ),
        other => other.clone(),
    }
}

/// `edge-A`, `db-1:A1`, `A lost`, `A`, `side A` in the mirror.
fn swapped(text: &str) -> String {
    let chars: Vec<char> = text.chars().collect();
    let alone = |index: usize| {
        let word = |at: Option<usize>| {
            at.and_then(|at| chars.get(at))
                .is_some_and(|c| c.is_ascii_alphabetic())
        };
        !word(index.checked_sub(1)) && !word(Some(index + 1))
    };
    let swap = |(index, c): (usize, &char)| match c {
        'A' if alone(index) => 'B',
        'B' if alone(index) => 'A',
        other => *other,
    };
    chars.iter().enumerate().map(swap).collect()
}

/// Figures in the mirror; in the mirror twice they are the same, with lists in one order.
fn mirrored<T: serde::Serialize>(value: &T, times: usize) -> String {
    let tree = serde_json::from_str(&json(value)).expect("it is JSON");
    json(&(0..times).fold(tree, |tree, _| image(&tree)))
}

/// Steady figures of every case, both switch-overs and the verdicts: what stood on A stands on B.
#[test]
fn a_scenario_with_its_sides_swapped_gives_swapped_results() {
    let (one, mut other) = (unequal("A", "B"), unequal("B", "A"));
    assert!(one.steady[0].ios > 1_500);
    let names: Vec<&str> = one.steady.iter().map(|s| s.case.name.as_str()).collect();
    assert_eq!(names, ["healthy", "A lost", "B lost"]);
    // A comes before B among outages, whatever stands on it.
    other.steady.swap(1, 2);
    other.switches.swap(0, 1);
    other.matrix.cases.swap(1, 2);
    for row in &mut other.matrix.rows {
        row.cells.swap(1, 2);
    }
    for (left, right) in one.steady.iter().zip(&other.steady) {
        same(&left.case.name, &mirrored(left, 2), &mirrored(right, 1));
        assert!(json(left) != json(right));
    }
    assert_eq!(one.switches.len(), 2);
    for (left, right) in one.switches.iter().zip(&other.switches) {
        assert!(left.workloads[0].retried > 0, "{}", left.case.name);
        same(&left.case.name, &mirrored(left, 2), &mirrored(right, 1));
    }
    same(
        "verdicts",
        &mirrored(&one.matrix, 2),
        &mirrored(&other.matrix, 1),
    );
    // The two fabrics are not alike: a case is not its own image.
    let [lost_a, lost_b] = [1, 2].map(|case| mirrored(&one.steady[case], 2));
    assert!(lost_a != mirrored(&other.steady[2], 1) && lost_a != lost_b);
}

/// The demonstration's two fabrics are alike, and the LAN switches belong to neither: with B first among equals, B
/// carries what A carried, healthy and with either side lost.
#[test]
fn the_demonstration_with_b_first_is_its_mirror_image() {
    let found = |first: &'static str| {
        let set = [
            ("run.first", first),
            ("run.duration", "60ms"),
            ("run.warm_up", "10ms"),
            ("run.replications", "1"),
            ("outage.A.takes", "*-A"),
            ("outage.B.takes", "*-B"),
        ];
        ask(&site(DEMO, &set), &[], false)
    };
    let (one, mut other) = (found("A"), found("B"));
    other.steady.swap(1, 2);
    for (left, right) in one.steady.iter().zip(&other.steady) {
        same(&left.case.name, &mirrored(left, 2), &mirrored(right, 1));
    }
    // Idle or not, the first one is somebody: healthy is not its own image.
    assert!(mirrored(&one.steady[0], 2) != mirrored(&one.steady[0], 1));
}

/// At 1 % of what the fabrics carry, with one size and one service time, each host and so each side gets
/// equal counts: every path gets the next I/O in turn. 200 reads a host, 4 paths, at 250 us of service
/// and 2.5 ms between arrivals of evenly paced hosts: never two at once.
#[test]
fn an_idle_site_gives_both_sides_equal_counts() {
    let text = |policy: &str, first: &str| {
        format!(
            r#"
format = 1
[run]
duration = "500ms"
warm_up = "0s"
replications = 1
first = "{first}"
[[host]]
name = "db"
count = 6
paths = "{policy}"
[[switch]]
name = "core"
[[array]]
name = "box"
controllers = 2
read = {{ hit = "100%", hit_time = "250us" }}
[[link]]
from = "db"
to = "core"
speed = "32GFC"
[[link]]
from = "core"
to = "box"
speed = "32GFC"
[[workload]]
name = "orders"
hosts = "db"
array = "box"
protocol = "fc-scsi"
read = "100%"
sizes = "64KiB"
arrivals = {{ paced = "400/s", per = "host" }}
"#
        )
    };
    for policy in ["least-queue", "least-bytes", "round-robin"] {
        for first in ["A", "B"] {
            let report = ask(&site(&text(policy, first), &[]), &[], false);
            let steady = &report.steady[0];
            // 6 × 200 reads of 67,540 B over 4 ports of 3400 MB/s in half a second: 1.2 % of what they carry.
            assert_eq!(steady.workloads[0].all.ios, 1_200);
            // Completions: the last I/O of a host may end after the window.
            for path in &steady.paths {
                assert!((49..=50).contains(&path.completed), "{policy} {path:?}");
            }
            let commands = |side: char| -> u64 {
                steady
                    .directions
                    .iter()
                    .filter(|d| d.side == Some(side) && d.toward_array && d.tier == "db > core")
                    .map(|d| d.frames)
                    .sum()
            };
            assert_eq!(
                (commands('A'), commands('B')),
                (600, 600),
                "{policy} {first}"
            );
        }
    }
    // Not so at random: the test can fail.
    let report = ask(&site(&text("random", "A"), &[]), &[], false);
    assert!(
        report.steady[0]
            .paths
            .iter()
            .any(|path| !(49..=50).contains(&path.completed))
    );
}
