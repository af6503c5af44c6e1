//! The same networks and the same site in general-purpose simulation libraries, written without a look at
//! this program (`tests/independent`).
//!
//! `.ci/run` makes an environment with them under `target/independent`. Where it is absent the comparisons
//! are skipped, and say so.

use super::ledger::Ledger;
use super::rig::{Runs, origin, poisson, seed_of, site};
use halfloom::site::Site;
use halfloom::study::{Ask, NoProgress, study};
use rayon::prelude::*;
use std::collections::BTreeMap;
use std::path::PathBuf;
use std::process::Command;

/// Replications on either side: of networks whose times differ much, of the others, and of the site.
const MANY: u32 = 150;
const FEW: u32 = 40;
const OF_THE_SITE: u32 = 60;
/// What the upper edge of a histogram's bucket may add to a percentile.
const BUCKET: f64 = 0.008;

/// Figures by name, one value a replication.
type Figures = BTreeMap<String, Vec<f64>>;

fn python() -> Option<PathBuf> {
    let target = PathBuf::from(env!("CARGO_TARGET_TMPDIR"));
    let python = target.parent()?.join("independent/bin/python");
    python.exists().then_some(python)
}

/// Whether the other libraries are there.
pub(crate) fn present() -> bool {
    python().is_some()
}

/// The figures of the other programs by case; empty where they are absent.
pub(crate) struct Theirs {
    by_case: BTreeMap<&'static str, Figures>,
}

impl Theirs {
    /// Runs them all, as many at a time as there are threads.
    pub(crate) fn run() -> Self {
        let Some(python) = python() else {
            return Self {
                by_case: BTreeMap::new(),
            };
        };
        let cases = [
            ("networks.py", "closed-loop", FEW),
            ("dual_fabric.py", "healthy", OF_THE_SITE),
            ("dual_fabric.py", "lost", OF_THE_SITE),
            ("dual_fabric.py", "switch", OF_THE_SITE),
            ("networks.py", "tandem", FEW),
            ("networks.py", "station", MANY),
            ("networks.py", "at-random", MANY),
            ("networks.py", "in-turn", MANY),
            ("networks.py", "to-the-shorter", MANY),
        ];
        let run = |(script, case, replications): (&str, &'static str, u32)| {
            let script = PathBuf::from(env!("CARGO_MANIFEST_DIR"))
                .join("tests/independent")
                .join(script);
            let output = Command::new(&python)
                .arg(&script)
                .args([case, &replications.to_string()])
                .output()
                .expect("the other program starts");
            assert!(
                output.status.success(),
                "{case}: {}",
                String::from_utf8_lossy(&output.stderr)
            );
            let figures = serde_json::from_slice(&output.stdout).expect("figures as JSON");
            (case, figures)
        };
        Self {
            by_case: cases.into_par_iter().map(run).collect(),
        }
    }

    fn of(&self, case: &str) -> Option<&Figures> {
        let found = self.by_case.get(case);
        assert!(found.is_some() || self.by_case.is_empty(), "no case {case}");
        found
    }
}

fn compare(
    ledger: &mut Ledger,
    name: &str,
    theirs: Option<&Figures>,
    ours: Vec<(&str, Vec<f64>, f64)>,
) {
    for (figure, values, room) in ours {
        let other = theirs.map(|all| {
            all.get(figure)
                .unwrap_or_else(|| panic!("{name}: no `{figure}`"))
                .as_slice()
        });
        ledger.software(format!("{name}: {figure}"), other, &values, room);
    }
}

/// One host and an array of so many controllers; frames and answers of stated bytes.
fn bench(name: &str, host: &str, array: &str, request: u32, response: u32, arrivals: &str) -> Site {
    site(
        name,
        &format!(
            "format = 1\n[[host]]\nname = \"app\"\n{host}\n[[array]]\nname = \"box\"\n{array}\n\
             [[link]]\nfrom = \"app\"\nto = \"box\"\nspeed = \"10Gb/s\"\npropagation = \"0s\"\n\
             [[workload]]\nname = \"w\"\nhosts = \"app\"\narray = \"box\"\nprotocol = \"plain\"\n\
             request = {request}\nresponse = {response}\nframe = 1000000\nread = \"0%\"\narrivals = {arrivals}\n"
        ),
    )
}

pub(crate) fn networks(ledger: &mut Ledger, theirs: &Theirs) {
    ledger.section("Networks written again in general-purpose libraries");
    ledger.source("Ciw 3.2.7, tests/independent/networks.py");
    let name = "tandem with mixed service";
    let law = "{ mixture = [{ weight = 0.8, law = \"1us\" }, { weight = 0.2, law = { exponential = \"6us\" } }] }";
    let array = format!("controllers = 1\nparallel = 3\nwrite = {{ time = {law} }}");
    let runs = Runs::of(
        &bench(name, "", &array, 1250, 2500, &poisson(0.4)),
        FEW,
        500.0,
        8_500.0,
    );
    let found = theirs.of("tandem");
    compare(
        ledger,
        name,
        found,
        vec![
            ("sojourn mean", runs.latencies(0.0), 0.0),
            ("sojourn p99", runs.p99(), BUCKET),
            (
                "first link busy",
                runs.utilization("app:A1 > box-c1:A1"),
                0.0,
            ),
            ("station busy", runs.array_busy(0, 3.0), 0.0),
            (
                "last link busy",
                runs.utilization("box-c1:A1 > app:A1"),
                0.0,
            ),
        ],
    );

    let name = "eight servers, lognormal";
    let array = "controllers = 1\nparallel = 8\nwrite = { time = { lognormal = { median = \"80us\", sigma = 0.7 } } }";
    // A byte takes 0.8 ns each way, which is taken off.
    let wires = 1_600e-6;
    let runs = Runs::of(
        &bench(name, "", array, 1, 1, &poisson(0.06)),
        MANY,
        4_000.0,
        64_000.0,
    );
    let found = theirs.of("station");
    compare(
        ledger,
        name,
        found,
        vec![
            ("sojourn mean", runs.latencies(wires), 0.0),
            ("sojourn p99", runs.p99(), BUCKET),
            ("wait mean", runs.array_waits(), 0.0),
            ("busy", runs.array_busy(0, 8.0), 0.0),
        ],
    );

    for (policy, case) in [
        ("random", "at-random"),
        ("round-robin", "in-turn"),
        ("least-queue", "to-the-shorter"),
    ] {
        let name = format!("two servers, {policy}");
        let array = "controllers = 2\nparallel = 1\nwrite = { time = { lognormal = { median = \"15us\", sigma = 0.8 } } }";
        let site = bench(
            &name,
            &format!("paths = \"{policy}\""),
            array,
            1,
            1,
            &poisson(0.07),
        );
        let runs = Runs::of(&site, MANY, 4_000.0, 64_000.0);
        let found = theirs.of(case);
        let waits = runs.each(|tally| {
            let sums = tally
                .controllers
                .iter()
                .map(|c| (c.wait.sum(), c.wait.count()));
            let (sum, count) = sums.fold((0, 0), |all, one| (all.0 + one.0, all.1 + one.1));
            #[allow(clippy::cast_precision_loss)]
            let mean = sum as f64 / count as f64 / 1e6;
            mean
        });
        compare(
            ledger,
            &name,
            found,
            vec![
                ("sojourn mean", runs.latencies(wires), 0.0),
                ("sojourn p99", runs.p99(), BUCKET),
                ("wait mean", waits, 0.0),
            ],
        );
    }

    ledger.source("simpy 4.1.2, tests/independent/networks.py");
    let name = "closed loop";
    let array = "controllers = 1\nparallel = 10\nwrite = { time = { lognormal = { median = \"25us\", sigma = 0.6 } } }";
    let arrivals = "{ closed = { depth = 16, think = \"30us\" } }";
    let mut site = bench(name, "", array, 3_750, 2_500, arrivals);
    site.hosts[0].queue_depth = None;
    let runs = Runs::of(&site, FEW, 1_000.0, 41_000.0);
    let found = theirs.of("closed-loop");
    #[allow(clippy::cast_precision_loss)]
    let throughput = runs.each(|tally| tally.workloads[0].writes.completed as f64 / 40_000.0);
    compare(
        ledger,
        name,
        found,
        vec![
            ("throughput", throughput, 0.0),
            ("response mean", runs.latencies(0.0), 0.0),
            ("response p99", runs.p99(), BUCKET),
            ("station busy", runs.array_busy(0, 10.0), 0.0),
        ],
    );
}

/// The site of tests/independent/dual_fabric.py, which says it in words.
const DUAL: &str = r#"
format = 1
[run]
duration = "14ms"
warm_up = "2ms"
replications = 2
switch_replications = 60
before = "2ms"
settle_limit = "12ms"
[timers]
link_loss_detect = "1ms"
fast_io_fail = "4ms"
[[host]]
name = "app"
count = 2
queue_depth = 64
paths = "least-queue"
[[switch]]
name = "core"
delay = "700ns"
forwarding = "cut-through"
[[array]]
name = "box"
controllers = 2
parallel = 4
read = { hit = "60%", hit_time = "20us", miss_time = { lognormal = { median = "60us", p99 = "240us" } }, per_mib = "80us" }
write = { time = "30us" }
[[link]]
from = "app"
to = "core"
speed = "16GFC"
propagation = "10ns"
fec = "off"
[[link]]
from = "core"
to = "box"
speed = "32GFC"
propagation = "50ns"
fec = "150ns"
[[workload]]
name = "w"
hosts = "app"
array = "box"
protocol = "fc-scsi"
adapter = "1us"
read = "70%"
sizes = { "8KiB" = 0.8, "64KiB" = 0.2 }
arrivals = { poisson = "120k/s" }
"#;

pub(crate) fn dual_fabric(ledger: &mut Ledger, theirs: &Theirs) {
    ledger.section("A small dual-fabric site written again frame by frame");
    ledger.source("simpy 4.1.2, tests/independent/dual_fabric.py");
    let site = site("dual-fabric", DUAL);
    let outage = site
        .outages
        .iter()
        .find(|outage| outage.name == "A")
        .expect("there by itself");
    let whole = halfloom::model::Compiled::new(&site, &[]);
    let lost = whole.fabric.members_of(&outage.takes, outage.side);
    for (case, gone, fabrics) in [("healthy", Vec::new(), "AB"), ("lost", lost, "B")] {
        let name = format!("dual fabric, {case}");
        let runs = Runs::without(&site, &gone, OF_THE_SITE, 2_000.0, 14_000.0);
        let found = theirs.of(case);
        let mut ours: Vec<(String, Vec<f64>, f64)> = vec![
            ("mean".into(), runs.latencies(0.0), 0.0),
            ("p99".into(), runs.p99(), BUCKET),
        ];
        for fabric in fabrics.chars() {
            for (number, host) in [(1, true), (2, true), (1, false), (2, false)] {
                let core = format!("core-{fabric}");
                let (end, port) = if host {
                    let end = format!("app-{number}");
                    (end.clone(), format!("{end}:{fabric}1"))
                } else {
                    let end = format!("box-c{number}");
                    (end.clone(), format!("{end}:{fabric}1"))
                };
                let (up, down) = if host {
                    (
                        (format!("{port} > {core}"), format!("{end} > {core}")),
                        (format!("{core} > {port}"), format!("{core} > {end}")),
                    )
                } else {
                    (
                        (format!("{core} > {port}"), format!("{core} > {end}")),
                        (format!("{port} > {core}"), format!("{end} > {core}")),
                    )
                };
                for (direction, figure) in [up, down] {
                    ours.push((figure, runs.utilization(&direction), 0.0));
                }
            }
        }
        for (index, controller) in ["box-c1", "box-c2"].into_iter().enumerate() {
            ours.push((controller.into(), runs.array_busy(index, 4.0), 0.0));
        }
        let ours = ours
            .iter()
            .map(|(name, values, room)| (name.as_str(), values.clone(), *room))
            .collect();
        compare(ledger, &name, found, ours);
    }
    // The whole study as `failover` runs it: the loss comes 2 ms after the warm-up of 2 ms.
    let mut site = site.clone();
    site.run.seed = seed_of("dual-fabric, switch-over");
    let ask = Ask {
        outages: Some(vec!["A".to_owned()]),
        switch: true,
        ..Ask::default()
    };
    let report = study(&site, origin(&site), &ask, &NoProgress);
    let longest: Vec<f64> = report.switches[0].workloads[0]
        .longest_io_s
        .iter()
        .map(|s| s * 1e6)
        .collect();
    assert!(
        report.switches[0].workloads[0]
            .failed
            .iter()
            .all(|failed| *failed == 0)
    );
    let found = theirs.of("switch");
    compare(
        ledger,
        "dual fabric, A lost under way",
        found,
        vec![("longest", longest, 0.0)],
    );
}
