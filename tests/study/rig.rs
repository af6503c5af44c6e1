//! What the tests share: from text to reports.

use halfloom::outcome::{Origin, Report, Steady, Switch, SwitchWorkload, WorkloadFigures};
use halfloom::scenario::{Source, read, render_problems};
use halfloom::site::Site;
use halfloom::study::{Ask, NoProgress, study};
use proptest::test_runner::{Config, RngAlgorithm, TestRng, TestRunner};

/// The demonstration site.
pub(crate) const DEMO: &str = include_str!("../../scenarios/ostrel.toml");

/// Reads a scenario that must be sound, with these values laid over it.
pub(crate) fn site(text: &str, set: &[(&str, &str)]) -> Site {
    site_with(text, set, &|name| Err(format!("no file {name}")))
}

/// The same with traces.
pub(crate) fn site_with(
    text: &str,
    set: &[(&str, &str)],
    files: &dyn Fn(&str) -> Result<String, String>,
) -> Site {
    let set: Vec<(String, String)> = set
        .iter()
        .map(|(key, value)| ((*key).to_owned(), (*value).to_owned()))
        .collect();
    let source = Source {
        name: "test.toml",
        text,
    };
    match read(source, &set, files) {
        Ok(loaded) => loaded.site,
        Err(problems) => panic!("{}", render_problems(&problems)),
    }
}

/// Where a report comes from: nothing here is printed but by chance.
pub(crate) fn origin(site: &Site) -> Origin {
    Origin {
        version: "test".into(),
        title: "Test".into(),
        scenario: "test.toml".into(),
        digest: String::new(),
        seed: site.run.seed,
        replications: site.run.replications,
        switch_replications: site.run.switch_replications,
        command: String::new(),
        set: Vec::new(),
    }
}

/// Healthy and the outages named (all without a name), with or without the switch-overs.
pub(crate) fn ask(site: &Site, outages: &[&str], switch: bool) -> Report {
    let names = outages.iter().map(|name| (*name).to_owned()).collect();
    let ask = Ask {
        outages: (!outages.is_empty()).then_some(names),
        switch,
        mends: false,
        planned: false,
    };
    study(site, origin(site), &ask, &NoProgress)
}

/// The steady figures of a case.
pub(crate) fn case<'r>(report: &'r Report, name: &str) -> &'r Steady {
    report
        .steady
        .iter()
        .find(|steady| steady.case.name == name)
        .unwrap_or_else(|| panic!("no case `{name}`"))
}

/// A workload of a case.
pub(crate) fn work<'r>(steady: &'r Steady, name: &str) -> &'r WorkloadFigures {
    steady
        .workloads
        .iter()
        .find(|work| work.name == name)
        .unwrap_or_else(|| panic!("no workload `{name}`"))
}

/// A workload of a switch-over.
pub(crate) fn moved<'r>(switch: &'r Switch, name: &str) -> &'r SwitchWorkload {
    switch
        .workloads
        .iter()
        .find(|work| work.name == name)
        .unwrap_or_else(|| panic!("no workload `{name}`"))
}

/// Figures as the JSON contract writes them.
pub(crate) fn json<T: serde::Serialize>(value: &T) -> String {
    serde_json::to_string_pretty(value).expect("results can be written")
}

/// Hosts on Fibre Channel, one switch a fabric, an array that takes no time to speak of; reads of 64 KiB.
/// The sum by hand: 32GFC carries 3400 MB/s (28.05 Gb/s × 64/66 ÷ 8, FC-PI-6), and a read takes 32 data
/// frames of 2108 B and a response of 84 B (FC-FS, FCP-4), 67,540 B: 50,340 a second and link.
pub(crate) fn reads(arrivals: &str, run: &str, timers: &str) -> String {
    format!(
        r#"
format = 1
[run]
{run}
[timers]
{timers}
[[host]]
name = "app"
queue_depth = 64
[[switch]]
name = "core"
[[array]]
name = "box"
controllers = 1
parallel = 64
read = {{ hit = "100%", hit_time = "20us" }}
[[link]]
from = "app"
to = "core"
speed = "32GFC"
[[link]]
from = "core"
to = "box"
speed = "32GFC"
[[workload]]
name = "orders"
hosts = "app"
array = "box"
protocol = "fc-scsi"
read = "100%"
sizes = "64KiB"
arrivals = {arrivals}
promise = {{ mean = "1ms", p99 = "5ms" }}
"#
    )
}

/// Two figures as text, line by line: the first line that differs is shown, not the whole.
pub(crate) fn same(what: &str, one: &str, other: &str) {
    for (number, (left, right)) in one.lines().zip(other.lines()).enumerate() {
        assert_eq!(left, right, "{what}, line {}", number + 1);
    }
    assert_eq!(one.len(), other.len(), "{what}, one goes on");
}

/// Random cases whose numbers follow from the test's name.
pub(crate) fn runner(name: &str, cases: u32) -> TestRunner {
    let mut seed = [0; 32];
    for (index, byte) in name.bytes().enumerate() {
        seed[index % 32] ^= byte;
    }
    let config = Config {
        cases,
        failure_persistence: None,
        ..Config::default()
    };
    TestRunner::new_with_rng(config, TestRng::from_seed(RngAlgorithm::ChaCha, &seed))
}
