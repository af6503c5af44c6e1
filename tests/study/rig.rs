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

/// Nothing lost.
pub(crate) fn ask_healthy(site: &Site) -> Report {
    let ask = Ask {
        outages: Some(Vec::new()),
        switch: false,
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
    let work = format!(
        "protocol = \"fc-scsi\"\nread = \"100%\"\nsizes = \"64KiB\"\narrivals = {arrivals}\n\
         promise = {{ mean = \"1ms\", p99 = \"5ms\" }}"
    );
    Twin {
        run,
        timers,
        host: "queue_depth = 64",
        array: "controllers = 1\nparallel = 64\nread = { hit = \"100%\", hit_time = \"20us\" }",
        near: "speed = \"32GFC\"",
        far: "speed = \"32GFC\"",
        name: "orders",
        work: &work,
        ..Twin::default()
    }
    .text()
}

/// One family of hosts, one switch a fabric, one array and perhaps a workload: of each table the lines that a test states.
#[derive(Default)]
pub(crate) struct Twin<'t> {
    pub(crate) run: &'t str,
    pub(crate) timers: &'t str,
    /// The host `app`.
    pub(crate) host: &'t str,
    /// The switch `core`.
    pub(crate) switch: &'t str,
    /// The array `box`.
    pub(crate) array: &'t str,
    /// The link from the hosts to the switch.
    pub(crate) near: &'t str,
    /// The link from the switch to the array.
    pub(crate) far: &'t str,
    /// The workload; without a name there is none.
    pub(crate) name: &'t str,
    pub(crate) work: &'t str,
    /// Further tables.
    pub(crate) more: &'t str,
}

impl Twin<'_> {
    pub(crate) fn text(&self) -> String {
        let work = if self.name.is_empty() {
            String::new()
        } else {
            workload(self.name, self.work)
        };
        format!(
            "format = 1\n[run]\n{}\n[timers]\n{}\n[[host]]\nname = \"app\"\n{}\n[[switch]]\nname = \"core\"\n{}\n\
             [[array]]\nname = \"box\"\n{}\n[[link]]\nfrom = \"app\"\nto = \"core\"\n{}\n\
             [[link]]\nfrom = \"core\"\nto = \"box\"\n{}\n{work}{}\n",
            self.run,
            self.timers,
            self.host,
            self.switch,
            self.array,
            self.near,
            self.far,
            self.more
        )
    }
}

/// A workload of the hosts `app` on the array `box`.
pub(crate) fn workload(name: &str, work: &str) -> String {
    format!("[[workload]]\nname = \"{name}\"\nhosts = \"app\"\narray = \"box\"\n{work}\n")
}

/// Two links that take 8 us for a request of 10,000 B (10 Gb/s), an array that takes no time.
pub(crate) fn eight_us<'t>() -> Twin<'t> {
    Twin {
        switch: "delay = \"0s\"",
        array: "controllers = 1\nparallel = 1000\nwrite = { time = \"0s\" }",
        near: "speed = \"10Gb/s\"\npropagation = \"0s\"",
        far: "speed = \"1000Gb/s\"\npropagation = \"0s\"",
        ..Twin::default()
    }
}

/// Writes of 10,000 B, each answered by one byte.
pub(crate) fn writes(arrivals: &str, promise: &str) -> String {
    format!(
        "protocol = \"plain\"\nrequest = 10000\nresponse = 1\nframe = 10000\nread = \"0%\"\narrivals = {arrivals}\n\
         promise = {promise}"
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
