//! Tests of the reader: the shipped scenarios, every kind of problem with its place, and that nothing panics.

use super::*;
use crate::site::{Arrivals, Basis, Carries, End, Measure, WarmUp};
use crate::unit::{Duration, Rate, Side};
use crate::wire::Protocol;
use proptest::prelude::*;

mod day;
mod events;
mod hops;
mod places;
mod syntax;
mod together;

const DEMO: &str = include_str!("../../scenarios/ostrel.toml");

fn no_files(_: &str) -> Result<String, String> {
    Err("no such file".to_owned())
}

fn read_text(text: &str, set: &[(&str, &str)]) -> Result<Loaded, Vec<Problem>> {
    let set: Vec<(String, String)> = set
        .iter()
        .map(|(key, value)| ((*key).to_owned(), (*value).to_owned()))
        .collect();
    read(
        Source {
            name: "x.toml",
            text,
        },
        &set,
        &no_files,
    )
}

fn site(text: &str, set: &[(&str, &str)]) -> Site {
    read_text(text, set)
        .map(|loaded| loaded.site)
        .unwrap_or_else(|problems| panic!("{}", render_problems(&problems)))
}

#[test]
fn every_shipped_scenario_and_starter_reads_without_a_warning() {
    let shipped = [
        ("ostrel", DEMO),
        (
            "ostrel-mended",
            include_str!("../../scenarios/ostrel-mended.toml"),
        ),
        (
            "ostrel-ethernet",
            include_str!("../../scenarios/ostrel-ethernet.toml"),
        ),
        (
            "eight-paths",
            include_str!("../../scenarios/eight-paths.toml"),
        ),
        (
            "eight-paths-policies",
            include_str!("../../scenarios/eight-paths-policies.toml"),
        ),
        ("25gbe", include_str!("../../scenarios/lessons/25gbe.toml")),
        ("32gfc", include_str!("../../scenarios/lessons/32gfc.toml")),
        ("label", include_str!("../../scenarios/lessons/label.toml")),
        (
            "block-size",
            include_str!("../../scenarios/lessons/block-size.toml"),
        ),
        (
            "jumbo-frames",
            include_str!("../../scenarios/lessons/jumbo-frames.toml"),
        ),
        (
            "cut-through",
            include_str!("../../scenarios/lessons/cut-through.toml"),
        ),
        (
            "busy-35",
            include_str!("../../scenarios/lessons/busy-35.toml"),
        ),
    ];
    let starters = kinds::KINDS.iter().map(|kind| (kind.name, kind.text));
    for (name, text) in shipped.into_iter().chain(starters) {
        let loaded = read_text(text, &[])
            .unwrap_or_else(|problems| panic!("{name}\n{}", render_problems(&problems)));
        assert_eq!(loaded.warnings, [], "{name}");
        assert!(!loaded.site.assumptions.is_empty(), "{name}");
    }
}

#[test]
fn the_demo_is_what_its_text_says() {
    let site = site(DEMO, &[]);
    assert_eq!(site.run.duration, Duration::from_ms(700));
    assert_eq!(site.run.warm_up, WarmUp::At(Duration::from_ms(100)));
    let counts: Vec<(&str, u32)> = site
        .hosts
        .iter()
        .map(|host| (host.name.as_str(), host.count))
        .collect();
    assert_eq!(counts, [("db", 6), ("vm", 6), ("rack", 4)]);
    let isl = site
        .links
        .iter()
        .find(|link| link.name == "edge-san")
        .unwrap();
    assert_eq!(
        (isl.members, isl.rate),
        (2, Rate::from_bits_per_second(27_200_000_000))
    );
    assert_eq!(isl.propagation, Duration::from_ns(100));
    assert_eq!(
        (isl.from, isl.to, isl.carries),
        (End::Switch(1), End::Switch(2), Carries::Fc)
    );
    let bookings = &site.workloads[0];
    let Arrivals::Bursty(burst) = &bookings.arrivals else {
        panic!("bursts");
    };
    // 200k × 200 ms = 360k × 40 ms + base × 160 ms, so base = 160k.
    assert!((burst.base - 160_000.0).abs() < 1e-6);
    assert_eq!(bookings.sizes.read, [(8192, 0.6), (65_536, 0.4)]);
    assert_eq!(bookings.promises.lost[0].measure, Measure::Quantile(0.99));
    assert_eq!(bookings.promises.lost[0].text, "2ms");
    let Protocol::NvmeTcp(options) = site.workloads[1].protocol else {
        panic!("NVMe/TCP");
    };
    assert_eq!(options.tcp.mtu, 9000);
    assert_eq!(site.outages[0].side, Some(Side::A));
    assert_eq!(site.outages[0].takes, ["*-A", "lan-1"]);
    let mended = &site.variants[0];
    assert_eq!(mended.name, "light the two dark legs");
    assert_eq!(
        mended.set,
        [("link.edge-san.cage.lit".to_owned(), "4".to_owned())]
    );
    assert_eq!(
        mended
            .site
            .links
            .iter()
            .find(|link| link.name == "edge-san")
            .unwrap()
            .members,
        4
    );
    // Guesses come first, and none is lost.
    let guessed: Vec<&str> = site
        .assumptions
        .iter()
        .take_while(|row| row.basis == Basis::Guessed)
        .map(|row| row.key.as_str())
        .collect();
    assert_eq!(
        guessed,
        [
            "array.vault.read.hit",
            "array.depot.read.hit",
            "workload.fleet.arrivals.poisson"
        ]
    );
}

#[test]
fn an_override_changes_one_value_and_the_digest() {
    let plain = read_text(DEMO, &[]).unwrap();
    let set = read_text(
        DEMO,
        &[
            ("run.seed", "3"),
            ("host.db.paths", "round-robin"),
            ("workload.fleet.arrivals.poisson", "90k/s"),
            ("workload.bookings.read", "0.5"),
        ],
    )
    .unwrap();
    assert_eq!(set.site.run.seed, 3);
    assert_eq!(set.site.hosts[0].paths, crate::site::PathPolicy::RoundRobin);
    assert_eq!(set.site.workloads[1].arrivals, Arrivals::Poisson(90_000.0));
    assert!((set.site.workloads[0].read - 0.5).abs() < f64::EPSILON);
    assert_ne!(plain.digest, set.digest);
    assert_eq!(plain.digest, read_text(DEMO, &[]).unwrap().digest);
    // The order in which overrides are given does not change what they mean.
    let one = read_text(DEMO, &[("run.seed", "3"), ("run.replications", "4")]).unwrap();
    let other = read_text(DEMO, &[("run.replications", "4"), ("run.seed", "3")]).unwrap();
    assert_eq!(one.digest, other.digest);
}

#[test]
fn a_trace_brings_its_sizes_and_reads() {
    let text = DEMO
        .replace(
            "arrivals = { paced = \"6k/s\", basis = \"specified\" }",
            "arrivals = { replay = \"t.csv\", copies = 2 }",
        )
        .replace("read = 0\nsizes = \"256KiB\"\n", "");
    let csv = "timestamp_ns,op,offset_bytes,size_bytes\n100,R,0,4096\n200,W,8,512\n300,R,0,4096\n500,R,0,512\n";
    let loaded = read(
        Source {
            name: "x.toml",
            text: &text,
        },
        &[],
        &|name| {
            assert_eq!(name, "t.csv");
            Ok(csv.to_owned())
        },
    )
    .unwrap_or_else(|problems| panic!("{}", render_problems(&problems)));
    let archive = &loaded.site.workloads[2];
    let Arrivals::Replay(replay) = &archive.arrivals else {
        panic!("a replay");
    };
    assert_eq!(replay.entries.len(), 4);
    assert_eq!(replay.entries[3].at, Duration::from_ns(400));
    // 400 ns over three gaps, and one mean gap more (rounded down).
    assert_eq!(replay.span, Duration(533_333));
    assert!((archive.read - 0.75).abs() < 1e-12);
    assert_eq!(archive.sizes.write, [(512, 1.0)]);
    let bad = csv
        .replace("200,W,8,512", "200,X,8,512")
        .replace("300,R", "3,R");
    let problems = read(
        Source {
            name: "x.toml",
            text: &text,
        },
        &[],
        &|_| Ok(bad.clone()),
    )
    .unwrap_err();
    let places: Vec<(Option<u32>, &str)> =
        problems.iter().map(|p| (p.line, p.file.as_str())).collect();
    assert_eq!(places, [(Some(3), "t.csv"), (Some(4), "t.csv")]);
}

/// Cuts, doubles and swaps pieces of a valid text.
fn mutated(text: &str, edits: &[(usize, usize, u8, String)]) -> String {
    let mut text: Vec<char> = text.chars().collect();
    for (at, length, kind, piece) in edits {
        let at = at % text.len().max(1);
        let end = (at + length).min(text.len());
        match kind % 3 {
            0 => drop(text.drain(at..end)),
            1 => {
                let copy: Vec<char> = text[at..end].to_vec();
                text.splice(at..at, copy);
            }
            _ => drop(text.splice(at..end, piece.chars())),
        }
    }
    text.into_iter().collect()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(300))]

    #[test]
    fn no_text_panics(text in "\\PC{0,200}") {
        if let Err(problems) = read_text(&text, &[]) {
            prop_assert!(!problems.is_empty());
            prop_assert!(render_problems(&problems).contains("error"));
        }
    }

    #[test]
    fn no_mutation_of_a_valid_text_panics(
        edits in prop::collection::vec((0..8000_usize, 0..20_usize, any::<u8>(), "[-a-zA-Z0-9\\[\\]{}=\"., \n]{0,8}"), 1..5)
    ) {
        if let Err(problems) = read_text(&mutated(DEMO, &edits), &[]) {
            prop_assert!(!problems.is_empty());
            prop_assert!(render_problems(&problems).contains("error"));
        }
    }

    #[test]
    fn no_override_panics(key in "[a-z.\"-]{0,30}", value in "\\PC{0,30}") {
        let _ = read_text(DEMO, &[(&key, &value)]);
    }

    #[test]
    fn no_value_at_a_known_key_panics(
        key in prop::sample::select(vec![
            "run.duration", "run.seed", "run.warm_up", "host.rack.count", "host.db.timers", "switch.edge.ports",
            "switch.lan.count", "array.vault.read", "array.vault.controllers", "link.edge-san.cage", "link.edge-san.members",
            "link.edge-lan.lag", "link.san-vault.ports", "link.edge-lan.speed", "workload.bookings.sizes",
            "workload.bookings.arrivals", "workload.fleet.promise", "workload.fleet.hosts", "outage.A.takes",
        ]),
        value in prop::sample::select(vec![
            "0", "-1", "1e308", "nan", "inf", "18446744073709551616", "\"\"", "[]", "{}", "{ basis = 1 }", "[{}]",
            "{ value = {} }", "\"0s\"", "\"999999999h\"", "true", "2000-01-01", "4096", "64", "\"across\"", "\"*\"",
            "{ legs = 64, lit = 1 }", "{ lognormal = { median = \"1ps\", p99 = \"24h\" } }",
        ])
    ) {
        let _ = read_text(DEMO, &[(key, value)]);
    }
}

/// Two links join the same two switches, and a third joins a host straight to an array.
const TWICE: &str = r#"
format = 1
title = "Twice"
[[host]]
name = "h"
[[switch]]
name = "edge"
[[switch]]
name = "san"
[[array]]
name = "box"
controllers = 1
[[link]]
from = "h"
to = "edge"
speed = "32GFC"
[[link]]
name = "old"
from = "edge"
to = "san"
speed = "16GFC"
members = 2
cage = { legs = 2 }
[[link]]
name = "new"
from = "edge"
to = "san"
speed = "32GFC"
cage = { legs = 1 }
[[link]]
from = "san"
to = "box"
speed = "32GFC"
[[link]]
name = "direct"
from = "h"
to = "box"
speed = "32GFC"
[[workload]]
name = "w"
hosts = "h"
array = "box"
protocol = "fc-scsi"
arrivals = { poisson = "1k/s" }
sizes = "8KiB"
"#;

#[test]
fn directions_and_bundles_of_two_links_between_the_same_parts_have_names_of_their_own() {
    let site = site(TWICE, &[]);
    let fabric = crate::topology::Fabric::new(&site);
    let count = u32::try_from(fabric.directions.len()).unwrap();
    let mut names: Vec<String> = (0..count)
        .map(|index| fabric.direction_name(&site, crate::topology::DirectionId(index)))
        .collect();
    for name in [
        "edge-A > san-A (old)/2",
        "edge-A > san-A (new)",
        "h:A1 > edge-A",
    ] {
        assert!(names.iter().any(|known| known == name), "{name}: {names:?}");
    }
    names.sort();
    names.dedup();
    assert_eq!(names.len(), fabric.directions.len());
    let mut members: Vec<String> = fabric.members.iter().map(|m| m.name()).collect();
    assert!(members.contains(&"edge-B~san-B~new".to_owned()));
    members.sort();
    members.dedup();
    assert_eq!(members.len(), fabric.members.len());
    // What one cage holds is of one link.
    for one in &fabric.members {
        let fate = |other: &&crate::topology::Member| one.cage.is_some() && other.cage == one.cage;
        assert!(
            fabric
                .members
                .iter()
                .filter(fate)
                .all(|m| m.family == one.family)
        );
    }
}

#[test]
fn the_loss_of_a_side_takes_links_straight_from_host_to_array() {
    let site = site(TWICE, &[]);
    let fabric = crate::topology::Fabric::new(&site);
    let outage = site
        .outages
        .iter()
        .find(|outage| outage.name == "A")
        .unwrap();
    let gone = fabric.members_of(&outage.takes, outage.side);
    let left: Vec<Option<Side>> = (0_u32..)
        .zip(&fabric.members)
        .filter(|(index, _)| !gone.contains(&crate::topology::MemberId(*index)))
        .map(|(_, member)| member.side)
        .collect();
    assert!(!left.is_empty() && left.iter().all(|side| *side == Some(Side::B)));
}

/// One timer may be set where the timers of a family are the name of a preset: the others stay those of the preset.
#[test]
fn a_timer_is_set_beside_the_name_of_a_preset() {
    let text = TWICE.replacen("[[host]]\n", "[[host]]\ntimers = \"short\"\n", 1);
    assert_ne!(text, TWICE);
    let timers = |set: &[(&str, &str)]| site(&text, set).hosts[0].timers.clone();
    let preset = timers(&[]);
    let name = site(&text, &[]).hosts[0].name.clone();
    let key = format!("host.{name}.timers.team_probe");
    let set = timers(&[(&key, "1s")]);
    assert_eq!(set.team_probe, Some(crate::unit::Duration::from_ms(1_000)));
    assert_eq!(
        crate::site::Timers {
            team_probe: preset.team_probe,
            ..set
        },
        preset
    );
}

#[test]
fn the_command_limit_of_a_port_has_a_key_and_a_marked_default() {
    let mark = |set: &[(&str, &str)]| {
        let site = site(TWICE, set);
        let key = "array.box.port_commands";
        let input = site
            .assumptions
            .iter()
            .find(|input| input.key == key)
            .unwrap();
        (site.arrays[0].port_commands, input.basis)
    };
    assert_eq!(mark(&[]), (2048, Basis::CommonPractice));
    assert_eq!(
        mark(&[("array.box.port_commands", "512")]),
        (512, Basis::Stated)
    );
}

#[test]
fn a_protocol_is_read_by_itself_with_options_as_in_a_workload() {
    let read = |word: &str, options: &[(&str, &str)]| {
        let options: Vec<(String, String)> = options
            .iter()
            .map(|(key, value)| ((*key).to_owned(), (*value).to_owned()))
            .collect();
        protocol(word, &options)
    };
    for word in Protocol::KEYS.into_iter().filter(|word| *word != "plain") {
        assert_eq!(
            read(word, &[]).ok(),
            Protocol::with_defaults(word),
            "{word}"
        );
    }
    let Ok(Protocol::Iscsi(iscsi)) = read(
        "iscsi",
        &[
            ("first_burst", "128KiB"),
            ("initial_r2t", "false"),
            ("acks", "never"),
        ],
    ) else {
        panic!("sound options");
    };
    assert_eq!(
        (iscsi.first_burst, iscsi.tcp.acks),
        (131_072, crate::wire::Acks::Never)
    );
    assert_eq!(iscsi.initial_r2t, crate::wire::InitialR2t::No);
    let problems = read("nfs", &[("version", "v5"), ("in_capsule", "0")]).unwrap_err();
    let text = render_problems(&problems);
    assert!(
        text.contains("version=v5") && text.contains("--option"),
        "{text}"
    );
    assert!(text.contains("unknown key `in_capsule`"), "{text}");
    assert!(read("morse", &[]).is_err());
}

#[test]
fn a_bus_is_read_and_said_not_to_be_simulated() {
    let minimal = kinds::KINDS
        .iter()
        .find(|kind| kind.name == "minimal")
        .expect("a starter");
    let host = site(minimal.text, &[]).hosts[0].name.clone();
    let with = |key: &str, value: &str| {
        let key = format!("host.{host}.{key}");
        let bus = format!("host.{host}.bus");
        if key == bus {
            read_text(minimal.text, &[(&key, value)])
        } else {
            read_text(minimal.text, &[(&bus, "PCIe4x8"), (&key, value)])
        }
    };
    let loaded = with("bus_per", "host").expect("sound");
    let own = loaded.site.hosts[0].bus.expect("stated");
    assert_eq!(
        (own.bus.label(), own.bus.max_payload),
        ("PCIe4x8".to_owned(), 256)
    );
    assert_eq!(own.per, crate::site::BusPer::Host);
    let warned = render_problems(&loaded.warnings);
    assert!(
        warned.contains("is not simulated") && warned.contains("1 warning"),
        "{warned}"
    );
    let listed = loaded
        .site
        .assumptions
        .iter()
        .any(|row| row.what.contains("not simulated"));
    assert!(listed, "reports list it among the inputs");
    for (key, value) in [
        ("bus", "PCIe2x8"),
        ("bus", "4"),
        ("bus_payload", "300"),
        ("bus_per", "rack"),
    ] {
        assert!(with(key, value).is_err(), "{key} = {value}");
    }
    let alone = format!("host.{host}.bus_payload");
    let problems = read_text(minimal.text, &[(&alone, "512")]).unwrap_err();
    assert!(render_problems(&problems).contains("and no `bus`"));
}

/// Whatever else is wrong, names of parts in groups, outages, events and what variants set are looked up in the same pass.
#[test]
fn everything_that_is_wrong_is_told_in_one_pass() {
    let kind = kinds::KINDS.iter().find(|kind| kind.name == "dual-fabric");
    let text = kind.expect("a starter").text;
    let text = text.replace("read = \"70%\"", "read = \"170%\"");
    let text = format!(
        "{text}\n[[group]]\nname = \"feed\"\nparts = [\"core-Z\", \"store-c1\"]\n\
         [[outage]]\nname = \"one\"\ntakes = \"*-C\"\n[[outage]]\nname = \"one\"\ntakes = \"store-c1\"\n\
         [[outage]]\nname = \"half\"\n[[outage]]\nname = \"half\"\ntakes = \"store-c1\"\n\
         [[variant]]\nname = \"v\"\nset = {{ \"link.core-stor.speed\" = \"64GFC\", \"host.app.colour\" = \"red\" }}\n\
         [[step]]\nname = \"s\"\ndate = \"2027-01-01\"\nset = {{ \"host.app.count\" = 0 }}\n\
         [[event]]\nat = \"1s\"\nlose = \"feed2\"\n"
    );
    let problems = read_text(&text, &[]).expect_err("it is wrong");
    let told: Vec<String> = problems
        .iter()
        .filter(|problem| problem.severity == Severity::Error)
        .map(|problem| format!("{} | {}", problem.message, problem.expected))
        .collect();
    let says = [
        ("`read` of workload `orders`", "a share"),
        ("no part is called `core-Z`", "did you mean `core-A`?"),
        ("no part has a name like `*-C`", "did you mean `*-A`?"),
        ("the outage `one` is there twice", "each name once"),
        ("outage `half` has no `takes`", "it needs one"),
        // Even of two of which one is wrong in itself.
        ("the outage `half` is there twice", "each name once"),
        (
            "in variant `v`, there is no link called `core-stor`",
            "core-store",
        ),
        ("in variant `v`", "colour"),
        ("in step `s`", ""),
        ("no part is called `feed2`", "did you mean `feed`?"),
    ];
    for (message, expected) in says {
        let found = told
            .iter()
            .any(|own| own.contains(message) && own.contains(expected));
        assert!(found, "{message} {expected}: {told:#?}");
    }
    // What is wrong with the scenario is not said again for each variant and step.
    assert_eq!(told.len(), says.len(), "{told:#?}");
    let twice = problems
        .iter()
        .find(|problem| problem.message == "the outage `one` is there twice")
        .expect("it is told");
    let first = text.lines().position(|line| line == "[[outage]]");
    let first = format!("it is already in line {}:", first.expect("it is there") + 1);
    assert!(twice.help.starts_with(&first), "{}", twice.help);
}

#[test]
fn the_name_of_links_is_told_to_be_no_part() {
    let minimal = kinds::kind("minimal").expect("it is there").text;
    let text = format!("{minimal}\n[[event]]\nat = \"1ms\"\nlose = \"app-core\"\n");
    let problems = read_text(&text, &[]).expect_err("it is wrong");
    let says = "`app-core` names links in overrides; its parts go by their ends: `app*~core*`";
    let found = problems
        .iter()
        .any(|problem| problem.help.starts_with(says));
    assert!(found, "{}", render_problems(&problems));
}
