use super::*;
use crate::scenario::{self, Source, kinds};
use std::collections::BTreeSet;

fn validator() -> jsonschema::Validator {
    jsonschema::draft202012::new(&schema()).expect("the schema itself is sound")
}

/// A scenario as JSON.
fn json_of(text: &str) -> Value {
    let table: toml::Table = toml::from_str(text).expect("sound TOML");
    serde_json::to_value(table).expect("no dates, no odd numbers")
}

/// Every `.toml` below `scenarios`, with its text.
fn shipped() -> Vec<(String, String)> {
    let root = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("scenarios");
    let mut folders = vec![root];
    let mut found = Vec::new();
    while let Some(folder) = folders.pop() {
        for entry in std::fs::read_dir(folder).expect("it is there") {
            let path = entry.expect("readable").path();
            if path.is_dir() {
                folders.push(path);
            } else if path.extension().is_some_and(|end| end == "toml") {
                let text = std::fs::read_to_string(&path).expect("readable");
                found.push((path.display().to_string(), text));
            }
        }
    }
    assert!(found.len() > 8);
    found
}

#[test]
fn shipped_scenarios_and_starters_are_valid() {
    let validator = validator();
    let starters = kinds::KINDS
        .iter()
        .map(|kind| (kind.name.to_owned(), kind.text.to_owned()));
    for (name, text) in shipped().into_iter().chain(starters) {
        let json = json_of(&text);
        let errors: Vec<String> = validator
            .iter_errors(&json)
            .map(|error| format!("{}: {error}", error.instance_path()))
            .collect();
        assert!(errors.is_empty(), "{name}: {errors:#?}");
    }
}

/// A scenario with every table in it.
const WHOLE: &str = r#"
format = 1
title = "every table"
[run]
duration = "1s"
[[chassis]]
name = "enclosure"
holds = { app = 2 }
[[host]]
name = "app"
[[switch]]
name = "core"
ports = { "32GFC" = 8 }
on_uplink_loss = { action = "drop-host-ports", after = "1s" }
[[array]]
name = "store"
[array.read]
hit = { value = "60%", basis = "guessed" }
miss_time = { lognormal = { median = "240us", p99 = "900us" } }
[array.write]
time = { mixture = [{ weight = 0.9, law = "100us" }, { weight = 0.1, law = { exponential = "1ms" } }] }
[[link]]
from = "app"
to = "core"
speed = "32GFC"
[[link]]
from = "core"
to = "store"
speed = "32GFC"
cage = { legs = 1 }
[[workload]]
name = "work"
hosts = ["app"]
array = "store"
protocol = "fc-scsi"
sizes = { read = "8KiB", write = { "4KiB" = 0.5, "64KiB" = 0.5 } }
[workload.arrivals]
bursty = { peak = "2k/s", mean = "1k/s", burst = "40ms", every = "200ms" }
[workload.promise]
p99 = "2ms"
"p99.9" = "9ms"
[workload.promise.lost]
p99_9 = "12ms"
[workload.promise.switching]
failed = 0
[timers]
no_path = { retry = 3 }
[[outage]]
name = "A"
takes = "*-A"
[[group]]
name = "feed"
parts = ["core-A"]
[[event]]
at = "1s"
lose = "A"
[[shape]]
name = "office"
daily = [0, 0, 0, 0, 0, 0, 0, 0, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 0, 0, 0, 0, 0, "50%"]
[day]
shape = "office"
[growth]
from = "2027-01-01"
per_year = "25%"
hosts = { app = 0.5 }
[[step]]
name = "faster"
date = "2028-01-01"
set = { "array.store.parallel" = 64 }
[[variant]]
name = "more"
set = { "array.store.parallel" = 64 }
"#;

fn read(text: &str) -> Result<(), Vec<scenario::Problem>> {
    let source = Source {
        name: "x.toml",
        text,
    };
    let no_files = |_: &str| Err("no such file".to_owned());
    scenario::read(source, &[], &no_files).map(drop)
}

#[test]
fn a_scenario_of_every_table_is_valid_and_read() {
    read(WHOLE).unwrap_or_else(|problems| panic!("{}", scenario::render_problems(&problems)));
    let json = json_of(WHOLE);
    let errors: Vec<String> = validator()
        .iter_errors(&json)
        .map(|error| format!("{}: {error}", error.instance_path()))
        .collect();
    assert!(errors.is_empty(), "{errors:#?}");
}

/// Changes that make the scenario above wrong where a schema can see it.
const WRONG: [(&str, &str); 23] = [
    ("format = 1", "format = 2"),
    ("duration = \"1s\"", "duration = 1"),
    ("duration = \"1s\"", "duration = \"1 second\""),
    ("duration = \"1s\"", "durations = \"1s\""),
    ("holds = { app = 2 }", "holds = { app = \"two\" }"),
    ("name = \"core\"", "name = \"core\"\nfabric = \"C\""),
    ("ports = { \"32GFC\" = 8 }", "ports = { \"33GFC\" = 8 }"),
    (
        "hit = { value = \"60%\", basis = \"guessed\" }",
        "hit = { value = \"60%\", basis = \"felt\" }",
    ),
    ("cage = { legs = 1 }", "cage = { legs = 1, light = 1 }"),
    (
        "speed = \"32GFC\"\ncage",
        "speed = \"32GFC\"\nlength = \"1m\"\npropagation = \"5ns\"\ncage",
    ),
    (
        "protocol = \"fc-scsi\"",
        "protocol = \"fc-scsi\"\nin_capsule = 4096",
    ),
    (
        "peak = \"2k/s\", mean",
        "peak = \"2k/s\", base = \"1k/s\", mean",
    ),
    ("bursty = {", "poisson = \"1k/s\"\nbursty = {"),
    ("p99 = \"2ms\"", "q99 = \"2ms\""),
    ("lose = \"A\"", "lose = \"A\"\nrestore = \"A\""),
    ("from = \"2027-01-01\"", "from = \"January\""),
    ("lose = \"A\"", "flap = \"A\""),
    ("lose = \"A\"", "flap = \"A\"\nperiod = \"1s\""),
    ("lose = \"A\"", "slow = \"A\""),
    ("value = \"60%\"", "value = \"140%\""),
    ("value = \"60%\"", "value = \"100.5%\""),
    ("p99 = \"2ms\"", "p0 = \"2ms\""),
    ("name = \"work\"", "name = \"work-A\""),
];

#[test]
fn what_the_reader_refuses_in_one_place_the_schema_refuses() {
    let validator = validator();
    for (from, to) in WRONG {
        assert!(WHOLE.contains(from), "{from}");
        let text = WHOLE.replacen(from, to, 1);
        assert!(read(&text).is_err(), "the reader takes {to}");
        assert!(
            !validator.is_valid(&json_of(&text)),
            "the schema takes {to}"
        );
    }
}

/// Where in the scenario above an unknown key goes for a table to have it, by the table's name.
const PLACES: [(&str, &str); 22] = [
    ("scenario", "format = 1"),
    ("run", "[run]"),
    ("chassis", "[[chassis]]"),
    ("host", "[[host]]"),
    ("switch", "[[switch]]"),
    ("array", "[[array]]"),
    ("array_read", "[array.read]"),
    ("array_write", "[array.write]"),
    ("link", "[[link]]"),
    ("workload", "[[workload]]"),
    ("arrivals", "[workload.arrivals]"),
    ("promise", "[workload.promise]"),
    ("promise_lost", "[workload.promise.lost]"),
    ("promise_switching", "[workload.promise.switching]"),
    ("timers", "[timers]"),
    ("outage", "[[outage]]"),
    ("group", "[[group]]"),
    ("event", "[[event]]"),
    ("shape", "[[shape]]"),
    ("day_of_work", "[day]"),
    ("growth", "[growth]"),
    ("step", "[[step]]"),
];

/// The keys that the reader names beside an unknown one, and how many more it has.
fn keys_of_the_reader(text: &str) -> (BTreeSet<String>, usize) {
    let problems = read(text).expect_err("an unknown key");
    let problem = problems
        .iter()
        .find(|problem| problem.message.contains("`qqqqqqqqqq`"))
        .unwrap_or_else(|| panic!("{}", scenario::render_problems(&problems)));
    let list = problem.expected.split_once(": ").expect("keys here: …").1;
    let (list, more) = list.split_once(" and ").unwrap_or((list, "0 more"));
    let more = more.trim_end_matches(" more").parse().expect("a number");
    (list.split(", ").map(str::to_owned).collect(), more)
}

#[test]
fn every_table_has_the_keys_of_the_reader() {
    let schema = schema();
    for (name, place) in PLACES {
        let text = WHOLE.replacen(place, &format!("{place}\nqqqqqqqqqq = 1"), 1);
        let (known, more) = keys_of_the_reader(&text);
        let table = if name == "scenario" {
            &schema
        } else {
            &schema["$defs"][name]
        };
        let mut own: BTreeSet<String> = table["properties"]
            .as_object()
            .expect("a table")
            .keys()
            .cloned()
            .collect();
        own.remove("basis");
        own.remove("source");
        match name {
            // Percentiles are a pattern; the reader names some of them.
            "promise" | "promise_lost" => {
                let percentiles = known.iter().filter(|key| key.starts_with('p'));
                own.extend(percentiles.cloned());
            }
            // One kind stated, the reader names none of the others, nor what goes with them.
            "arrivals" => {
                for key in [
                    "poisson", "paced", "closed", "replay", "copies", "speed", "aligned",
                ] {
                    assert!(own.remove(key));
                }
            }
            "workload" => {
                let rules = table["allOf"].as_array().expect("one each protocol");
                let rule = rules
                    .iter()
                    .find(|rule| rule["if"]["properties"]["protocol"]["const"] == "fc-scsi");
                let names = rule.expect("a rule")["then"]["propertyNames"]["enum"].clone();
                own = serde_json::from_value(names).expect("words");
                own.remove("basis");
                own.remove("source");
            }
            _ => {}
        }
        let unknown: Vec<&String> = known.difference(&own).collect();
        assert!(unknown.is_empty(), "{name}: the schema lacks {unknown:?}");
        assert_eq!(
            own.len(),
            known.len() + more,
            "{name}: {own:?} against {known:?}"
        );
    }
}

#[test]
fn every_option_of_a_protocol_is_one_of_the_readers() {
    for protocol in work::PROTOCOLS {
        let needed = if protocol == "plain" {
            "request = \"1KiB\"\nresponse = \"1KiB\"\nframe = \"1KiB\"\n"
        } else {
            ""
        };
        let from = "protocol = \"fc-scsi\"\n";
        let to = format!("protocol = \"{protocol}\"\n{needed}qqqqqqqqqq = 1\n");
        let (known, more) = keys_of_the_reader(&WHOLE.replacen(from, &to, 1));
        let own: BTreeSet<String> = work::options(protocol)
            .iter()
            .map(|key| key.name.to_owned())
            .collect();
        let common = work::ALL[0].keys.len();
        assert_eq!(
            own.len() + common,
            known.len() + more,
            "{protocol}: {known:?}"
        );
        let text = WHOLE.replacen(from, &to, 1);
        for key in &own {
            let there = needed.lines().any(|line| line.starts_with(key.as_str()));
            let text = text.replacen("qqqqqqqqqq = 1", &format!("{key} = []"), 1);
            if !there {
                let problems = read(&text).expect_err("a list is no option");
                let unknown = format!("unknown key `{key}`");
                assert!(
                    problems
                        .iter()
                        .all(|problem| !problem.message.contains(&unknown))
                );
            }
        }
    }
}

#[test]
fn every_key_has_its_row_in_the_documentation_and_every_row_its_key() {
    let meanings = Meanings::read();
    let mut used = BTreeSet::new();
    for table in tables::ALL.iter().chain(work::ALL) {
        for key in table.keys {
            let inner = matches!(key.kind, Kind::Table(_))
                && !["cage", "promise", "sizes"].contains(&key.name);
            let told = meanings.of(table.heading, key.row, "");
            let headed = ["lost", "switching", "read", "write"].contains(&key.name);
            assert!(
                told.is_some() || headed || inner,
                "{} of {}",
                key.name,
                table.name
            );
            if told.is_some() {
                used.insert((table.heading.to_owned(), key.row.to_owned()));
            }
        }
    }
    for protocol in work::PROTOCOLS {
        for key in work::options(protocol) {
            let heading = "Options of the protocols";
            assert!(
                meanings.of(heading, key.name, protocol).is_some(),
                "{}",
                key.name
            );
            used.insert((heading.to_owned(), key.name.to_owned()));
        }
    }
    for key in tables::TOP.keys {
        used.insert(("At the top".to_owned(), key.name.to_owned()));
    }
    for told in &meanings.0 {
        for key in &told.keys {
            let percentile = told.heading == "`promise`" && key.starts_with('p');
            let place = (told.heading.clone(), key.clone());
            assert!(
                percentile || used.contains(&place),
                "{place:?} has no key in the schema"
            );
        }
    }
}

#[test]
fn what_a_key_means_and_its_default_come_with_it() {
    let schema = schema();
    let seed = &schema["$defs"]["run"]["properties"]["seed"];
    assert_eq!(seed["default"], 1);
    let text = seed["description"].as_str().expect("a text");
    assert!(text.starts_with("Seed of all random numbers."), "{text}");
    let duration = &schema["$defs"]["run"]["properties"]["duration"];
    assert_eq!(duration["default"], "2s");
}
