//! Every single part lost in turn: what stands in the same place answers the same, the loss of a part is the
//! site without it, and whoever is cut off is named.

use super::rig::{DEMO, json, origin, same, site};
use halfloom::outcome::{EachPart, PartCase, Verdict};
use halfloom::render::junit::junit_xml;
use halfloom::render::table::{each_part_text, report_text};
use halfloom::site::Site;
use halfloom::study::remedy::Search;
use halfloom::study::singles::{AskSingles, Symmetry, each_part, mended};
use halfloom::study::{Ask, NoProgress, study};
use halfloom::topology::Fabric;
use std::collections::BTreeSet;

fn run(site: &Site, ask: &AskSingles) -> EachPart {
    let report = each_part(site, origin(site), ask, &NoProgress);
    report.each_part.expect("it was asked for")
}

fn each(symmetry: Symmetry) -> AskSingles {
    AskSingles {
        symmetry,
        ..AskSingles::default()
    }
}

fn part<'e>(each: &'e EachPart, name: &str) -> (usize, &'e PartCase) {
    each.losses()
        .find(|(_, case)| case.part == name)
        .unwrap_or_else(|| panic!("no case `{name}`"))
}

/// Verdicts of a column, in the order of the promises.
fn verdicts(each: &EachPart, column: usize) -> Vec<Option<Verdict>> {
    let rows = each.matrix.rows.iter();
    rows.map(|row| row.cells[column].as_ref().map(|cell| cell.verdict))
        .collect()
}

/// Two hosts in a chassis with modules and two beside it, a group of two links, a cage, an array with two
/// controllers: a site small enough to lose each of its parts by itself. Service takes a constant time and
/// work is evenly paced, so that a verdict does not hang on random numbers. Links are 1GbE and work is heavy
/// enough that the loss of a switch or a group is too much for `store`, and of a port is not.
const SMALL: &str = r#"
format = 1
[run]
duration = "60ms"
warm_up = "20ms"
replications = 3
[[chassis]]
name = "bay"
count = 2
holds = { vm = 2 }
[[host]]
name = "vm"
[[host]]
name = "rack"
count = 4
[[switch]]
name = "module"
per = "bay"
[[switch]]
name = "edge"
[[array]]
name = "store"
controllers = 2
parallel = 8
read = { hit = "100%", hit_time = "100us" }
[[link]]
from = "vm"
to = "module"
speed = "10GbE"
[[link]]
from = "module"
to = "edge"
speed = "10GbE"
members = 2
[[link]]
from = "rack"
to = "edge"
speed = "10GbE"
cage = { legs = 4 }
[[link]]
from = "edge"
to = "store"
speed = "10GbE"
[[workload]]
name = "orders"
hosts = ["vm", "rack"]
array = "store"
protocol = "nvme-tcp"
read = "100%"
sizes = "64KiB"
connections = 16
arrivals = { paced = "48k/s" }
promise = { mean = "900us", p99 = "2ms" }
"#;

/// What was saved by symmetry is what a run of every part by itself says.
#[test]
fn parts_in_the_same_place_get_the_same_verdicts() {
    same_by_place(&[]);
    same_by_place(&[
        ("host.rack.adapter_per", "pair"),
        ("host.vm.adapter_per", "fabric"),
    ]);
}

fn same_by_place(set: &[(&str, &str)]) {
    same_of(&site(SMALL, set));
}

/// The same on a site with a part of every kind. Work is evenly paced and light but for that on `depot`: four links of 10 Gb/s carry
/// 23 Gb/s to it, which three can and two cannot. Else a verdict hangs on who is cut off.
#[test]
fn parts_of_every_kind_get_the_verdicts_of_their_place() {
    let work = |name: &str, hosts: &str, array: &str, protocol: &str, rate: &str| {
        format!(
            "[[workload]]\nname = \"{name}\"\nhosts = \"{hosts}\"\narray = \"{array}\"\nprotocol = \"{protocol}\"\n\
             read = \"100%\"\nsizes = \"64KiB\"\nconnections = 16\narrivals = {{ paced = \"{rate}\" }}\n\
             promise = {{ mean = \"2ms\" }}\n"
        )
        .replace(
            "connections = 16\n",
            if protocol.starts_with("fc") { "" } else { "connections = 16\n" },
        )
    };
    let works = [
        work("orders", "db", "vault", "fc-scsi", "8k/s"),
        work("tape", "rack", "vault", "fc-nvme", "8k/s"),
        work("files", "vm", "depot", "nvme-tcp", "44k/s"),
        work("mail", "rack", "depot", "iscsi", "2k/s"),
    ];
    let text = super::every::EveryKind {
        head: "[run]\nduration = \"30ms\"\nwarm_up = \"10ms\"\nreplications = 2\n",
        hosts: "queue_depth = 64",
        team: "",
        arrays: "parallel = 64\nread = { hit = \"100%\", hit_time = \"100us\" }",
        lag: "single",
        members: 2,
        choose: ("flow", "exchange"),
        works: &works.concat(),
    }
    .text();
    let all = same_of(&site(&text, &[]));
    let kinds: BTreeSet<&str> = all.losses().map(|(_, case)| case.kind.as_str()).collect();
    let every = [
        "adapter",
        "array port",
        "cage",
        "chassis",
        "controller",
        "group",
        "host port",
        "link",
        "member",
        "module",
        "switch",
    ];
    assert_eq!(kinds, BTreeSet::from(every));
}

fn same_of(site: &Site) -> EachPart {
    let grouped = run(site, &each(Symmetry::Grouped));
    let all = run(site, &each(Symmetry::Each));
    assert_eq!(all.cases_saved, 0);
    assert_eq!(all.parts, grouped.parts);
    assert_eq!(all.cases_run, all.parts);
    assert_eq!(grouped.cases_run + grouped.cases_saved, grouped.parts);
    assert!(
        grouped.cases_run * 2 < grouped.parts,
        "{}",
        grouped.cases_run
    );
    let mut seen = BTreeSet::new();
    let mut missed = 0;
    for (column, case) in grouped.losses() {
        let own = verdicts(&grouped, column);
        missed += usize::from(own.contains(&Some(Verdict::Missed)));
        for name in std::iter::once(&case.part).chain(&case.alike) {
            let (alone, other) = part(&all, name);
            assert_eq!(own, verdicts(&all, alone), "{} and {name}", case.part);
            assert_eq!(case.cut_off.len(), other.cut_off.len(), "{name}");
            assert_eq!(case.kind, other.kind);
            assert!(seen.insert(name.clone()), "{name} twice");
        }
    }
    assert_eq!(seen.len(), grouped.parts as usize);
    // Some are missed and some are not, so that equal verdicts mean something.
    assert!(missed > 0 && missed < grouped.cases.len() - 1, "{missed}");
    // The part itself was the same run: its column is the same to the byte.
    let cells = |each: &EachPart, column: usize| {
        let rows = each.matrix.rows.iter();
        rows.map(|row| json(&row.cells[column])).collect::<String>()
    };
    for (column, case) in grouped.losses() {
        let (alone, _) = part(&all, &case.part);
        same(&case.part, &cells(&grouped, column), &cells(&all, alone));
    }
    all
}

/// Every part that `outage` and `event` know by name is in exactly one case, but for whole hosts and arrays.
#[test]
fn every_part_of_the_demo_is_in_one_case() {
    let set = [
        ("run.duration", "30ms"),
        ("run.warm_up", "10ms"),
        ("run.replications", "1"),
    ];
    let site = site(DEMO, &set);
    let each = run(&site, &each(Symmetry::Grouped));
    let mut named: Vec<String> = Vec::new();
    for (_, case) in each.losses() {
        named.push(case.part.clone());
        named.extend(case.alike.iter().cloned());
        let also = case.also.iter().filter_map(|also| also.rsplit_once(' '));
        named.extend(also.map(|(_, name)| name.to_owned()));
    }
    let count = named.len();
    let found: BTreeSet<String> = named.into_iter().collect();
    assert_eq!(found.len(), count, "a part is there twice");
    let hosts = |name: &str| {
        ["db-", "vm-", "rack-"]
            .iter()
            .any(|family| name.starts_with(family))
            && !name.contains([':', '~', '/'])
    };
    let fabric = Fabric::new(&site);
    let takes = |name: &String| fabric.members_of(std::slice::from_ref(name), None);
    let taken: Vec<_> = found.iter().map(takes).collect();
    for name in fabric.part_names() {
        let whole = hosts(&name) || ["vault", "depot"].contains(&name.as_str());
        // The link of a port that another port stands for has no name of its own in the list.
        let listed = found.contains(&name) || taken.contains(&takes(&name));
        assert!(whole != listed, "{name}");
    }
    assert!(each.cases.iter().all(|case| case.cut_off.is_empty()));
}

/// The loss of a part by name is the outage that takes it: the same figures.
#[test]
fn one_part_lost_is_the_outage_that_takes_it() {
    let text = format!("{SMALL}\n[[outage]]\nname = \"group\"\ntakes = \"module-1-A~edge-A\"\n");
    let site = site(&text, &[]);
    let each = run(&site, &each(Symmetry::Grouped));
    let (column, _) = part(&each, "module-1-A~edge-A");
    let report = super::rig::ask(&site, &["group"], false);
    for (row, single) in report.matrix.rows.iter().zip(&each.matrix.rows) {
        assert_eq!(row.measure, single.measure);
        same("group", &json(&row.cells[1]), &json(&single.cells[column]));
    }
}

/// A group of one fate is a case: the same as the outage that takes it. It stands for no other part, and hosts that a group takes with it are not cut off.
#[test]
fn a_group_of_one_fate_is_lost_as_one() {
    let text = format!(
        "{SMALL}{}",
        r#"
[[group]]
name = "feed-1"
parts = ["edge-A", "store-c1"]
[[group]]
name = "feed-2"
parts = "edge-B"
[[group]]
name = "rack-row"
parts = ["bay-1", "rack-1"]
[[outage]]
name = "power"
takes = "feed-1"
"#
    );
    let site = site(&text, &[]);
    let each = run(&site, &each(Symmetry::Grouped));
    let (column, case) = part(&each, "feed-1");
    assert_eq!((case.kind.as_str(), case.alike.len()), ("group", 0));
    let report = super::rig::ask(&site, &["power"], false);
    for (row, single) in report.matrix.rows.iter().zip(&each.matrix.rows) {
        same("feed-1", &json(&row.cells[1]), &json(&single.cells[column]));
    }
    // A group of one part is a case of its own, and says the same as that part.
    let all = run(&site, &super::singles::each(Symmetry::Each));
    let (own, _) = part(&all, "feed-2");
    let (edge, _) = part(&all, "edge-B");
    for row in &all.matrix.rows {
        same("feed-2", &json(&row.cells[own]), &json(&row.cells[edge]));
    }
    let (_, row) = part(&each, "rack-row");
    assert_eq!(row.gone_hosts, ["vm-1", "vm-2", "rack-1"]);
    assert!(row.cut_off.is_empty(), "{:?}", row.cut_off);
}

/// An adapter takes all ports that are on it: one with the ports of both fabrics cuts its host off, one with those of a
/// fabric does what the port does, and says so.
#[test]
fn an_adapter_is_lost_with_all_its_ports() {
    let text = format!(
        "{SMALL}\n[[outage]]\nname = \"ports\"\ntakes = [\"rack-1:A1\", \"rack-1:B1\"]\n\
         [[outage]]\nname = \"adapter\"\ntakes = \"rack-1:adapter-1\"\n"
    );
    let pairs = site(
        &text,
        &[
            ("host.rack.adapter_per", "pair"),
            ("host.vm.adapter_per", "fabric"),
        ],
    );
    let each = run(&pairs, &each(Symmetry::Grouped));
    let (column, case) = part(&each, "rack-1:adapter-1");
    assert_eq!(case.kind, "adapter");
    assert_eq!(
        case.alike,
        ["rack-2:adapter-1", "rack-3:adapter-1", "rack-4:adapter-1"]
    );
    assert_eq!(case.cut_off[0].hosts, ["rack-1"]);
    assert!(verdicts(&each, column).contains(&Some(Verdict::Missed)));
    let report = super::rig::ask(&pairs, &["ports", "adapter"], false);
    for (row, single) in report.matrix.rows.iter().zip(&each.matrix.rows) {
        same("ports", &json(&row.cells[1]), &json(&single.cells[column]));
        same(
            "adapter",
            &json(&row.cells[2]),
            &json(&single.cells[column]),
        );
    }
    // The adapter of a fabric has one port here, and stands for it.
    let (_, case) = part(&each, "vm-1:adapter-A");
    assert!(
        case.also.iter().any(|also| also == "host port vm-1:A1"),
        "{:?}",
        case.also
    );
    assert!(case.cut_off.is_empty());
    let fabric = Fabric::new(&pairs);
    let names = fabric.part_names();
    for name in ["rack-4:adapter-1", "vm-4:adapter-A", "vm-4:adapter-B"] {
        assert!(names.iter().any(|known| known == name), "{name}");
    }
    let takes = |name: &str| fabric.members_of(&[name.to_owned()], None).len();
    assert_eq!((takes("rack-1:adapter-1"), takes("vm-1:adapter-A")), (2, 1));
    let whole = site(SMALL, &[("host.rack.adapter_per", "host")]);
    let taken = Fabric::new(&whole).members_of(&["rack-2:adapter".to_owned()], None);
    assert_eq!(taken.len(), 2);
    // Where each port is an adapter, the port is the part.
    let alone = Fabric::new(&site(SMALL, &[])).part_names();
    assert!(!alone.iter().any(|name| name.contains("adapter")));
}

/// Changes for single parts: what is judged is the state before and the parts that miss a promise, and a change keeps there what
/// losing those parts on the changed site keeps.
#[test]
fn changes_for_single_parts_do_what_they_say() {
    let site = site(SMALL, &[]);
    let ask = each(Symmetry::Grouped);
    let report = each_part(&site, origin(&site), &ask, &NoProgress);
    let before = report.each_part.clone().expect("it was asked for");
    let changed = |set: &[(String, String)]| {
        let set: Vec<(&str, &str)> = set
            .iter()
            .map(|(key, value)| (key.as_str(), value.as_str()))
            .collect();
        super::rig::site(SMALL, &set)
    };
    let search = Search {
        most: 2,
        prices: None,
    };
    let apply = |set: &[(String, String)]| Ok(changed(set));
    let found = mended(&site, report, &ask, &search, &apply, &NoProgress);
    assert_eq!(
        found.each_part.as_ref(),
        Some(&before),
        "the parts are as they were"
    );
    let missed: Vec<&PartCase> = before
        .losses()
        .filter(|(column, _)| verdicts(&before, *column).contains(&Some(Verdict::Missed)))
        .map(|(_, case)| case)
        .filter(|case| case.gone_hosts.is_empty())
        .take(6)
        .collect();
    let names: Vec<&str> = found
        .matrix
        .cases
        .iter()
        .filter_map(|case| case.outage.as_deref())
        .collect();
    let wanted: Vec<&str> = missed.iter().map(|case| case.part.as_str()).collect();
    assert!(!wanted.is_empty());
    assert_eq!(names, wanted);
    assert!(!found.mends.is_empty(), "something is proposed");
    let text = halfloom::render::table::each_part_text(&found).replace('\n', " ");
    assert!(
        text.contains("The loss of other parts is not simulated with them."),
        "{text}"
    );
    for mend in &found.mends {
        let again = run(&changed(&mend.set), &each(Symmetry::Each));
        for (case, name) in names.iter().enumerate() {
            let Some((column, _)) = again.losses().find(|(_, own)| own.part == *name) else {
                continue;
            };
            for (row, single) in mend.matrix.rows.iter().zip(&again.matrix.rows) {
                same(
                    name,
                    &json(&row.cells[case + 1]),
                    &json(&single.cells[column]),
                );
            }
        }
    }
}

/// What limits a missed case is a part that the work that misses goes over, though another is fuller.
#[test]
fn what_limits_a_missed_case_is_crossed_by_the_work_that_misses() {
    let work = |name: &str, rate: &str, mean: &str| {
        format!(
            "[[host]]\nname = \"{name}\"\n[[array]]\nname = \"{name}-box\"\ncontrollers = 1\n\
             [[link]]\nfrom = \"{name}\"\nto = \"core\"\nspeed = \"10GbE\"\n\
             [[link]]\nfrom = \"core\"\nto = \"{name}-box\"\nspeed = \"10GbE\"\n\
             [[workload]]\nname = \"{name}-work\"\nhosts = \"{name}\"\narray = \"{name}-box\"\nprotocol = \"nvme-tcp\"\n\
             read = \"100%\"\nsizes = \"64KiB\"\narrivals = {{ paced = \"{rate}\" }}\npromise = {{ mean = \"{mean}\" }}\n"
        )
    };
    let text = format!(
        "format = 1\nrun = {{ duration = \"60ms\", warm_up = \"20ms\", replications = 3 }}\n\
         [[switch]]\nname = \"core\"\n{}{}",
        work("busy", "20k/s", "5s"),
        work("idle", "1k/s", "1us")
    );
    let site = site(&text, &[]);
    let each = run(&site, &each(Symmetry::Grouped));
    let mut named = 0;
    for (column, case) in each.cases.iter().enumerate() {
        let fullest = case.fullest.as_ref().expect("something is measured");
        // Who is cut off crosses nothing.
        let missed = verdicts(&each, column) == [Some(Verdict::Met), Some(Verdict::Missed)];
        if missed && case.cut_off.is_empty() {
            let (part, what) = (&fullest.part, &fullest.instance);
            assert!(part.contains("idle"), "{}: {part}, {what}", case.part);
            assert!(what.contains("idle"), "{}: {part}, {what}", case.part);
            named += 1;
        }
    }
    assert!(named > 2, "{named}");
}

/// 150,000 reads of 8 KiB a second over one 8GFC of 850 MB/s (8.5 Gb/s × 8/10 ÷ 8, FC-PI-6, from memory): 145 % and the heads of frames. 64 I/Os a path hold
/// back what the link would be asked for, so that the runs see it full and no more; all tell what arithmetic says.
#[test]
fn of_a_full_part_behind_a_queue_depth_is_told_what_is_asked() {
    let text = "format = 1\nrun = { duration = \"60ms\", warm_up = \"20ms\", replications = 2 }\n\
         [[host]]\nname = \"app\"\n[[switch]]\nname = \"core\"\n[[array]]\nname = \"store\"\n\
         [[link]]\nfrom = \"app\"\nto = \"core\"\nspeed = \"8GFC\"\n\
         [[link]]\nfrom = \"core\"\nto = \"store\"\nspeed = \"16GFC\"\n\
         [[workload]]\nname = \"w\"\nhosts = \"app\"\narray = \"store\"\nprotocol = \"fc-scsi\"\nread = \"100%\"\n\
         sizes = \"8KiB\"\narrivals = { poisson = \"150k/s\" }\npromise = { p99 = \"2ms\" }\n";
    let during = AskSingles {
        during: Some("A".to_owned()),
        ..each(Symmetry::Grouped)
    };
    for (depth, ask, lost) in [
        ("64", each(Symmetry::Grouped), "core-A"),
        ("64", during, "store-c1"),
        ("unlimited", each(Symmetry::Grouped), "core-A"),
    ] {
        let site = site(text, &[("host.app.queue_depth", depth)]);
        let report = each_part(&site, origin(&site), &ask, &NoProgress);
        let found = report.each_part.as_ref().expect("it was asked for");
        let (_, case) = part(found, lost);
        let full = case.fullest.as_ref().expect("something is full");
        assert_eq!(full.instance, "core-B > app:B1");
        assert!((99.0..101.0).contains(&full.mean_percent), "{full:?}");
        assert!((145.0..155.0).contains(&full.asked_percent()), "{full:?}");
        let asked = format!("{:.0} % on the mean", full.asked_percent());
        let flat = |text: String| text.split_whitespace().collect::<Vec<_>>().join(" ");
        for said in [each_part_text(&report), junit_xml(&report)].map(flat) {
            assert!(said.contains(&asked), "{asked}: {said}");
            assert!(!said.contains("no part is full"), "{said}");
        }
        // The study of the outage says the same of the same state.
        let outage = Ask {
            outages: Some(vec!["A".to_owned()]),
            ..Ask::default()
        };
        let other = study(&site, origin(&site), &outage, &NoProgress);
        for said in [report_text(&other), junit_xml(&other)].map(flat) {
            assert!(said.contains(&asked), "{asked}: {said}");
        }
    }
}

/// Hosts with one port hang on every part of their way; the others do not.
#[test]
fn whoever_is_cut_off_is_named_with_the_part() {
    let text = format!(
        "{SMALL}\n[[host]]\nname = \"lone\"\n[[link]]\nfrom = \"lone\"\nto = \"solo\"\nspeed = \"10GbE\"\n\
         [[switch]]\nname = \"solo\"\nfabric = \"A\"\n[[link]]\nfrom = \"solo\"\nto = \"store\"\nspeed = \"10GbE\"\n\
         [[workload]]\nname = \"notes\"\nhosts = \"lone\"\narray = \"store\"\nprotocol = \"nvme-tcp\"\n\
         sizes = \"4KiB\"\narrivals = {{ poisson = \"1k/s\" }}\npromise = {{ mean = \"2ms\" }}\n"
    );
    let site = site(&text, &[]);
    let each = run(&site, &each(Symmetry::Grouped));
    let cutting: Vec<&str> = each
        .losses()
        .filter(|(_, case)| !case.cut_off.is_empty())
        .map(|(_, case)| case.part.as_str())
        .collect();
    assert_eq!(cutting, ["solo-A", "lone:A1"]);
    for name in cutting {
        let (column, case) = part(&each, name);
        assert_eq!(case.cut_off[0].hosts, ["lone"]);
        assert_eq!(case.cut_off[0].workloads, ["notes"]);
        let notes = each.matrix.rows.iter().find(|row| row.workload == "notes");
        let cell = notes
            .and_then(|row| row.cells[column].as_ref())
            .expect("it is judged");
        assert_eq!(cell.verdict, Verdict::Missed, "{name}");
    }
}

/// The hosts of a lost chassis ask for nothing, and nobody else's work changes: as many I/Os arrive at the
/// others as with everything there.
#[test]
fn hosts_that_go_with_their_chassis_are_not_missed() {
    let site = site(SMALL, &[]);
    let each = run(&site, &each(Symmetry::Grouped));
    let (column, case) = part(&each, "bay-1");
    assert_eq!(case.gone_hosts, ["vm-1", "vm-2"]);
    assert!(case.cut_off.is_empty());
    assert_eq!(verdicts(&each, column), [Some(Verdict::Met); 2]);
}

/// While A is out, a part of B cuts off everybody that hangs on it, and parts of A are no cases.
#[test]
fn a_second_loss_while_an_outage_is_in_force() {
    let site = site(SMALL, &[]);
    let ask = AskSingles {
        during: Some("A".to_owned()),
        ..AskSingles::default()
    };
    let each = run(&site, &ask);
    assert_eq!(each.matrix.cases[0].name, "A lost");
    for (_, case) in each.losses() {
        for name in std::iter::once(&case.part).chain(&case.alike) {
            let of_a = name.contains("-A") || name.contains(":A");
            assert!(!of_a, "{name} is out already");
        }
    }
    let (_, edge) = part(&each, "edge-B");
    assert_eq!(edge.cut_off[0].hosts.len(), 8);
    let (_, module) = part(&each, "module-1-B");
    assert_eq!(module.cut_off[0].hosts, ["vm-1", "vm-2"]);
    let (_, member) = part(&each, "module-1-B~edge-B/1");
    assert!(member.cut_off.is_empty());
    let (_, controller) = part(&each, "store-c1");
    assert!(controller.cut_off.is_empty());
}

/// The switch-over of a part is that of the outage that takes it.
#[test]
fn switch_overs_are_those_of_the_outage() {
    let text = format!(
        "{SMALL}\n[timers]\nkeep_alive = \"300ms\"\ntcp_rto_min = \"50ms\"\n\
         [[outage]]\nname = \"edge-A\"\ntakes = \"edge-A\"\n[[outage]]\nname = \"bay-1\"\ntakes = \"bay-1\"\n"
    );
    let text = text.replace(
        "promise = {",
        "promise = { switching = { longest_io = \"2s\", failed = 0 }, ",
    );
    let set = [
        ("run.switch_replications", "1"),
        ("run.settle_limit", "2s"),
        ("workload.orders.arrivals.paced", "8k/s"),
    ];
    let site = site(&text, &set);
    let each = run(
        &site,
        &AskSingles {
            switch: true,
            ..AskSingles::default()
        },
    );
    assert_eq!(each.switch_replications, 1);
    let report = super::rig::ask(&site, &["edge-A", "bay-1"], true);
    // Where hosts go with the part too.
    for (index, name) in ["edge-A", "bay-1"].into_iter().enumerate() {
        let (column, case) = part(&each, name);
        let short = case.switch_over.as_ref().expect("it was simulated");
        let whole = &report.switches[index];
        assert_eq!(short.settled_s, whole.settled_s);
        let longest = whole.workloads.iter().map(|work| work.longest_io_s[0]);
        assert!((short.longest_io_s - longest.fold(0.0, f64::max)).abs() < 1e-15);
        for (row, single) in report.matrix.rows.iter().zip(&each.matrix.rows) {
            assert_eq!(row.switching, single.switching);
            let own = &row.cells[index + 1];
            same(name, &json(own), &json(&single.cells[column]));
        }
    }
    let longest = part(&each, "edge-A").1.switch_over.as_ref();
    assert!(longest.is_some_and(|short| short.longest_io_s > 0.05));
}

/// A small site by number: hosts on both fabrics or on A alone, one controller or two, groups, cages, a second tier.
/// Work is so light that a promise is missed only by who has no path.
fn by_number(number: u32) -> String {
    let bit = |place: u32| number >> place & 1 == 1;
    let mut text = String::from(
        "format = 1\n[run]\nduration = \"12ms\"\nwarm_up = \"2ms\"\nreplications = 2\n\
         [[switch]]\nname = \"edge\"\n[[switch]]\nname = \"solo\"\nfabric = \"A\"\n",
    );
    let controllers = 1 + u32::from(bit(0));
    text += &format!(
        "[[array]]\nname = \"store\"\ncontrollers = {controllers}\nread = {{ hit = \"100%\", hit_time = \"100us\" }}\n"
    );
    let (last, members) = if bit(1) {
        text += "[[switch]]\nname = \"core\"\n";
        ("core", 1 + u32::from(bit(2)))
    } else {
        ("edge", 1)
    };
    if last == "core" {
        text += &format!(
            "[[link]]\nfrom = \"edge\"\nto = \"core\"\nspeed = \"25GbE\"\nmembers = {members}\n"
        );
    }
    text += &format!("[[link]]\nfrom = \"{last}\"\nto = \"store\"\nspeed = \"25GbE\"\n");
    text += &format!("[[link]]\nfrom = \"solo\"\nto = \"{last}\"\nspeed = \"25GbE\"\n");
    for (family, (place, count)) in [("db", (3, 2)), ("web", (5, 1)), ("tape", (7, 1))] {
        let to = if bit(place) { "solo" } else { "edge" };
        let cage = if bit(place + 1) && count > 1 {
            "cage = { legs = 2 }\n"
        } else {
            ""
        };
        text += &format!(
            "[[host]]\nname = \"{family}\"\ncount = {count}\n\
             [[link]]\nfrom = \"{family}\"\nto = \"{to}\"\nspeed = \"25GbE\"\n{cage}\
             [[workload]]\nname = \"work-{family}\"\nhosts = \"{family}\"\narray = \"store\"\nprotocol = \"nvme-tcp\"\n\
             read = \"100%\"\nsizes = \"4KiB\"\narrivals = {{ paced = \"2k/s\" }}\npromise = {{ mean = \"5ms\" }}\n"
        );
    }
    text
}

/// What `check` finds without a run (single points) is what losing each part in turn finds, and the simulation
/// agrees: work is missed in a case when, and only when, a host of it has no path left.
#[test]
fn single_points_found_without_a_run_are_those_that_a_run_confirms() {
    let (mut cutting, mut harmless) = (0, 0);
    for number in (0..512).step_by(13) {
        let site = site(&by_number(number), &[]);
        let each = run(&site, &each(Symmetry::Each));
        let review = halfloom::study::review::review(&site);
        let mut said: BTreeSet<(String, String)> = BTreeSet::new();
        for finding in review.findings.iter().filter(|f| f.kind == "single point") {
            let what = finding
                .what
                .replace(" those that hang on it from ", " from ");
            let rest = what.strip_prefix("the loss of ").expect("so it begins");
            let (parts, rest) = rest
                .split_once(" alone cuts off from ")
                .expect("so it goes on");
            let (array, _) = rest.split_once(':').expect("then who");
            let (_, names) = parts.split_once(' ').expect("a kind and names");
            for name in names
                .trim_end_matches(" (each)")
                .replace(" and ", ", ")
                .split(", ")
            {
                said.insert((name.to_owned(), array.to_owned()));
            }
        }
        let mut found: BTreeSet<(String, String)> = BTreeSet::new();
        for (column, case) in each.losses() {
            let own: Vec<&str> = std::iter::once(case.part.as_str())
                .chain(
                    case.also
                        .iter()
                        .filter_map(|also| Some(also.split_once(' ')?.1)),
                )
                .chain(
                    case.also
                        .iter()
                        .filter_map(|also| Some(also.rsplit_once(' ')?.1)),
                )
                .collect();
            for cut in &case.cut_off {
                found.extend(
                    own.iter()
                        .map(|name| ((*name).to_owned(), cut.array.clone())),
                );
                let named = own
                    .iter()
                    .any(|name| said.contains(&((*name).to_owned(), cut.array.clone())));
                assert!(
                    named,
                    "{number}: check does not name {own:?}, it has {said:?}"
                );
            }
            for row in &each.matrix.rows {
                let without = case
                    .cut_off
                    .iter()
                    .any(|cut| cut.workloads.contains(&row.workload));
                let cell = row.cells[column].as_ref().expect("it is judged");
                let expected = if without {
                    Verdict::Missed
                } else {
                    Verdict::Met
                };
                assert_eq!(
                    cell.verdict, expected,
                    "{number}: {} lost, {}",
                    case.part, row.workload
                );
                cutting += u32::from(without);
                harmless += u32::from(!without);
            }
        }
        for pair in &said {
            assert!(
                found.contains(pair),
                "{number}: no run confirms {pair:?}; {found:?}"
            );
        }
    }
    // Both happen often, so that agreement means something.
    assert!(cutting > 50 && harmless > 500, "{cutting} {harmless}");
}
