//! Reviews held against what can be seen on paper.

use super::*;
use crate::outcome::TierRow;
use crate::study::sample::{BENCH, TRAMWAYS, site, site_with};
use crate::wire::Protocol;

fn tier<'a>(review: &'a Review, name: &str, side: Option<char>) -> &'a TierRow {
    let found = review
        .tiers
        .iter()
        .find(|t| t.tier == name && t.side == side);
    found.unwrap_or_else(|| panic!("no tier {name}"))
}

fn of_kind<'a>(review: &'a Review, kind: &str) -> Vec<&'a ReviewFinding> {
    review.findings.iter().filter(|f| f.kind == kind).collect()
}

fn printed(values: &[Option<f64>]) -> Vec<String> {
    values
        .iter()
        .map(|value| value.map_or_else(|| "-".to_owned(), |value| format!("{value:.1}")))
        .collect()
}

#[test]
fn tiers_stand_from_hosts_to_arrays() {
    let review = review(&site(TRAMWAYS));
    let names: Vec<(String, Option<char>)> = review
        .tiers
        .iter()
        .map(|t| (t.tier.clone(), t.side))
        .collect();
    let both = |name: &str| [(name.to_owned(), Some('A')), (name.to_owned(), Some('B'))];
    let mut expected = [
        "db to module",
        "vm to module",
        "module to edge",
        "rack to edge",
        "edge to san",
        "edge to lan",
        "san to vault",
    ]
    .map(both)
    .concat();
    expected.push(("lan to depot".to_owned(), None));
    assert_eq!(names, expected);
    assert_eq!(review.cases, ["healthy", "A lost", "B lost"]);
}

#[test]
fn capacity_and_oversubscription_by_hand() {
    let review = review(&site(TRAMWAYS));
    let legs = tier(&review, "edge to san", Some('A'));
    // Two lit legs: 28.05 Gb/s each on the line, 27.2 usable.
    assert_eq!(
        (&*legs.links, legs.nominal_gb_s, legs.usable_gb_s),
        ("2 × 32GFC", 56.1, 54.4)
    );
    // Six module uplinks of 100 Gb/s can bring Fibre Channel; the four rack links carry only IP: 600 ÷ 54.4.
    assert_eq!(legs.oversubscription, Some(600.0 / (2.0 * 27.2)));
    // To the LAN switches all of them: 6 × 100 + 4 × 25 over 2 × 100.
    assert_eq!(
        tier(&review, "edge to lan", Some('B')).oversubscription,
        Some(3.5)
    );
    // Four hosts of 100 over two uplinks of 100; the first tier has none; 54.4 over four ports of 27.2.
    assert_eq!(
        tier(&review, "module to edge", Some('A')).oversubscription,
        Some(2.0)
    );
    assert_eq!(
        tier(&review, "db to module", Some('A')).oversubscription,
        None
    );
    assert_eq!(
        tier(&review, "san to vault", Some('A')).oversubscription,
        Some(0.5)
    );
}

#[test]
fn loads_by_case_by_hand() {
    // 22,535 bytes × 200,000/s = 4.507 GB/s over 13.6 GB/s healthy and 6.8 with a side lost; × 1.8 in a burst.
    let review = review(&site(TRAMWAYS));
    let a = tier(&review, "edge to san", Some('A'));
    assert_eq!(printed(&a.toward_host_percent), ["33.1", "-", "66.3"]);
    assert_eq!(printed(&a.burst_percent), ["59.7", "-", "119.3"]);
    let b = tier(&review, "edge to san", Some('B'));
    assert_eq!(printed(&b.toward_host_percent), ["33.1", "66.3", "-"]);
    // 165.97 us × 200,000/s ÷ 96 at once; healthy or not.
    let (name, parallel, mean, burst) = &review.controllers[0];
    assert_eq!((name.as_str(), *parallel), ("vault-c1", 48));
    assert_eq!(printed(mean), ["34.6", "34.6", "34.6"]);
    assert_eq!(printed(burst), ["62.2", "62.2", "62.2"]);
}

#[test]
fn the_burst_is_found_where_the_mean_is_comfortable() {
    let review = review(&site(TRAMWAYS));
    let first = &review.findings[0];
    assert_eq!(
        (first.severity, &*first.kind),
        (Severity::Warning, "utilization")
    );
    assert_eq!(
        first.what,
        "edge to san, 32GFC: 66.3 % on the mean and 119.3 % in a burst (A lost or B lost): carries the \
         mean, but not a burst: a backlog grows as long as the burst lasts"
    );
    let warnings = review
        .findings
        .iter()
        .filter(|f| f.severity == Severity::Warning);
    assert_eq!(warnings.count(), 1, "{:#?}", review.findings);
    // Four lit legs: 33.1 and 59.7 % with a side lost, and nothing is left to warn of.
    let mended = super::review(&site_with(TRAMWAYS, &[("link.edge-san.cage.lit", "4")]));
    assert!(
        mended.findings.iter().all(|f| f.severity == Severity::Note),
        "{:#?}",
        mended.findings
    );
}

#[test]
fn the_bands_of_use_by_hand() {
    // The legs carry 66.28 % with a side lost at 200,000/s. × 1.1: 72.9 (check the percentiles); × 1.4: 92.8
    // (likely misses); × 1.6: 106.0 (cannot carry). Steady rates, so that no burst decides.
    for (rate, word) in [
        ("220k/s", "meets most latency targets"),
        ("280k/s", "carries the bytes, likely misses latency"),
        ("320k/s", "cannot carry the load"),
    ] {
        let mut tramways = site(TRAMWAYS);
        let rate: f64 = rate.trim_end_matches("k/s").parse::<f64>().unwrap() * 1e3;
        tramways.workloads[0].arrivals = crate::site::Arrivals::Poisson(rate);
        let review = review(&tramways);
        let found = of_kind(&review, "utilization");
        let legs = found
            .iter()
            .find(|f| f.what.starts_with("edge to san"))
            .unwrap();
        assert!(legs.what.ends_with(word), "{}", legs.what);
    }
}

#[test]
fn budgets_by_hand() {
    let review = review(&site(TRAMWAYS));
    let queues: Vec<&str> = of_kind(&review, "queue budget")
        .iter()
        .map(|f| &*f.what)
        .collect();
    // vault: six hosts, one path each to a port, 64 deep: 384. depot: ten hosts with two ports each: 1,280.
    assert!(
        queues[0].contains(" of vault can be sent 384 commands"),
        "{}",
        queues[0]
    );
    assert!(
        queues[1].contains(" of depot can be sent 1\u{202F}280 commands"),
        "{}",
        queues[1]
    );
    assert!(of_kind(&review, "port budget").is_empty());

    // 128 deep at both families: 2,560 > 2,048.
    let deep = [
        ("host.vm.queue_depth", "128"),
        ("host.rack.queue_depth", "128"),
    ];
    let deep = super::review(&site_with(TRAMWAYS, &deep));
    assert_eq!(
        of_kind(&deep, "queue budget")[0].severity,
        Severity::Warning
    );

    // An edge switch has six module uplinks, two LAN links, and one 100GbE port of four 25GbE legs: nine. Its
    // four-leg port of 32GFC counts once. san: two legs and four array ports.
    let mut tight = site(TRAMWAYS);
    tight.switches[1].ports = vec![("100GbE".to_owned(), 8), ("32GFC".to_owned(), 1)];
    tight.switches[2].ports = vec![("32GFC".to_owned(), 5)];
    tight.switches[0].uplinks_max = Some(1);
    let tight = super::review(&tight);
    let ports: Vec<&str> = of_kind(&tight, "port budget")
        .iter()
        .map(|f| &*f.what)
        .collect();
    assert_eq!(
        ports,
        [
            "edge-A and edge-B: 9 ports of 100GbE used, 8 there",
            "san-A and san-B: 6 ports of 32GFC used, 5 there",
            "module-1-A, module-2-A, module-3-A and 3 more: 2 uplinks, at most 1 stated",
        ]
    );
}

#[test]
fn a_hop_with_a_small_mtu_is_named() {
    let mut tramways = site(TRAMWAYS);
    // FCoE needs 2,048 + 46 bytes, NVMe/TCP here 9,000; the module uplinks pass 2,500.
    tramways.links[2].mtu = 2500;
    let found = review(&tramways);
    let [only] = of_kind(&found, "mtu")[..] else {
        panic!("{:#?}", found.findings);
    };
    assert_eq!(only.severity, Severity::Warning);
    assert_eq!(
        only.what,
        "module to edge: MTU 2500 is below the 9000 bytes that fleet (nvme-tcp) sends, first at module-1-A \
         > edge-A"
    );
    tramways.links[2].mtu = 2093;
    assert_eq!(
        of_kind(&review(&tramways), "mtu").len(),
        2,
        "FCoE breaks as well"
    );
    tramways.links[2].mtu = 9000;
    assert!(of_kind(&review(&tramways), "mtu").is_empty());
}

#[test]
fn unlike_mtus_on_the_ways_of_a_workload_are_noted() {
    let mut tramways = site(TRAMWAYS);
    tramways.links[2].mtu = 4000;
    for workload in &mut tramways.workloads {
        if let Protocol::NvmeTcp(options) = &mut workload.protocol {
            options.tcp.mtu = 4000;
        }
    }
    let found = review(&tramways);
    let notes: Vec<&str> = of_kind(&found, "mtu")
        .iter()
        .filter(|note| note.severity == Severity::Note)
        .map(|note| note.what.as_str())
        .collect();
    let [only] = notes[..] else {
        panic!("{notes:#?}");
    };
    let says = "fleet crosses links of unlike MTU (4000 on module to edge; 9000 on ";
    assert!(only.starts_with(says), "{only}");
}

/// 120 Mb/s over 50 and 100: hosts that level carry it at 80 %, and a host in turn without a depth does not.
#[test]
fn a_slow_link_beside_a_whole_one_is_judged_by_what_hosts_level() {
    let text = |host: &str| {
        format!(
            "format = 1\n[[host]]\nname = \"app\"\n{host}\n[[switch]]\nname = \"core\"\n[[array]]\nname = \"store\"\n\
             controllers = 1\nparallel = 1000\nread = {{ hit = \"100%\", hit_time = \"10us\" }}\n\
             [[link]]\nfrom = \"app\"\nto = \"core\"\nspeed = \"200Mb/s\"\n[[link]]\nfrom = \"core\"\nto = \"store\"\nspeed = \"1Gb/s\"\n\
             [[workload]]\nname = \"w\"\nhosts = \"app\"\narray = \"store\"\nprotocol = \"plain\"\nrequest = \"100B\"\nresponse = \"1000B\"\n\
             frame = \"1000B\"\narrivals = {{ poisson = \"15k/s\" }}\nread = \"100%\"\n\
             [[outage]]\nname = \"tired\"\ntakes = \"core-A\"\nrate = \"25%\"\n"
        )
    };
    let says = |host: &str| -> Vec<String> {
        let found = review(&site(&text(host)));
        let all = of_kind(&found, "utilization").into_iter();
        all.map(|finding| finding.what.clone()).collect()
    };
    // 50 + 200 Mb/s: 48 %.
    for host in [
        "paths = \"least-queue\"",
        "paths = \"round-robin\"\nqueue_depth = 64",
    ] {
        let said = says(host);
        assert!(
            said.iter().all(|what| !what.contains("cannot carry")),
            "{said:?}"
        );
    }
    let said = says("paths = \"round-robin\"\nqueue_depth = \"unlimited\"");
    assert!(
        said.iter().any(|what| what.contains("cannot carry")),
        "{said:?}"
    );
}

#[test]
fn one_fabric_is_a_note_and_a_closed_loop_has_a_ceiling() {
    let review = review(&site(BENCH));
    assert_eq!(of_kind(&review, "one fabric")[0].severity, Severity::Note);
    assert_eq!(
        of_kind(&review, "one path")[0].what,
        "one path to box, so that any fault on it cuts off: student"
    );
    let single: Vec<&str> = of_kind(&review, "single point")
        .iter()
        .map(|f| &*f.what)
        .collect();
    // The controller's only link goes with it and is not named again.
    assert_eq!(
        single,
        [
            "the loss of controller box-c1 alone cuts off from box: student",
            "the loss of link student:A1~bench-A alone cuts off from box: student",
            "the loss of switch bench-A alone cuts off from box: student",
        ]
    );
    // 4 ÷ (26.8 us + 1 us): see the estimate's tests.
    assert!(
        of_kind(&review, "ceiling")[0]
            .what
            .contains("at most 143\u{202F}885 I/Os")
    );
    assert!(of_kind(&review, "unequal fabrics").is_empty());
    assert_eq!(review.tiers[0].toward_array_percent, [Some(0.0), None]);
}

/// An adapter that carries the ports of both fabrics is a single point, and its ports share its bus.
#[test]
fn an_adapter_for_both_fabrics_is_a_single_point() {
    let with = |set: &[(&str, &str)]| review(&site_with(TRAMWAYS, set));
    let single = |review: &Review| -> Vec<String> {
        let found = of_kind(review, "single point");
        found.iter().map(|finding| finding.what.clone()).collect()
    };
    assert!(single(&with(&[])).is_empty());
    assert!(single(&with(&[("host.rack.adapter_per", "fabric")])).is_empty());
    for (per, name) in [("pair", "adapter-1"), ("host", "adapter")] {
        let found = single(&with(&[("host.rack.adapter_per", per)]));
        assert_eq!(found.len(), 1, "{found:?}");
        let says = format!("the loss of adapter rack-1:{name}");
        assert!(found[0].starts_with(&says), "{found:?}");
        assert!(found[0].contains("rack"), "{found:?}");
    }
    let bus = |set: &[(&str, &str)]| {
        let all = [set, &[("host.rack.bus", "PCIe3x8")]].concat();
        of_kind(&with(&all), "host bus")[0].what.clone()
    };
    let (own, shared) = (bus(&[]), bus(&[("host.rack.adapter_per", "pair")]));
    assert!(own.contains("behind each port of rack"), "{own}");
    assert!(shared.contains("behind each adapter of rack"), "{shared}");
    let whole = bus(&[("host.rack.bus_per", "host")]);
    assert_eq!(
        whole.replace("all ports of", "each adapter of"),
        shared,
        "two ports in all"
    );
}

/// One host family on both fabrics, another on A alone, B with one uplink where A has two.
const LOPSIDED: &str = r#"
format = 1
title = "Lopsided"

[[host]]
name = "web"
count = 2
queue_depth = 32

[[host]]
name = "tape"
queue_depth = 32

[[switch]]
name = "west"
fabric = "A"

[[switch]]
name = "east"
fabric = "B"

[[array]]
name = "box"
controllers = 1

[[link]]
from = "web"
to = "west"
speed = "10GbE"

[[link]]
from = "web"
to = "east"
speed = "10GbE"

[[link]]
from = "tape"
to = "west"
speed = "10GbE"

[[link]]
from = "west"
to = "box"
speed = "25GbE"
ports = 2

[[link]]
from = "east"
to = "box"
speed = "25GbE"

[[workload]]
name = "pages"
hosts = ["web", "tape"]
array = "box"
protocol = "iscsi"
read = "100%"
sizes = "8KiB"
arrivals = { poisson = "1k/s" }
"#;

#[test]
fn a_host_on_one_side_and_unequal_fabrics_are_found() {
    let review = review(&site(LOPSIDED));
    // tape has two paths (two array ports), both on A.
    let one: Vec<&str> = of_kind(&review, "one fabric")
        .iter()
        .map(|f| &*f.what)
        .collect();
    assert_eq!(one, ["paths to box over fabric A alone: tape"]);
    let unequal: Vec<&str> = of_kind(&review, "unequal fabrics")
        .iter()
        .map(|f| &*f.what)
        .collect();
    assert_eq!(
        unequal,
        [
            "array links that stand on one fabric only: 50.0 Gb/s on fabric A, 25.0 Gb/s on fabric B, usable",
            "host links that stand on one fabric only: 30.0 Gb/s on fabric A, 20.0 Gb/s on fabric B, usable",
        ]
    );
    let single: Vec<&str> = of_kind(&review, "single point")
        .iter()
        .map(|f| &*f.what)
        .collect();
    assert_eq!(
        single,
        [
            "the loss of controller box-c1 alone cuts off from box: all 2 web hosts and tape",
            "the loss of link tape:A1~west-A alone cuts off from box: tape",
            "the loss of switch west-A alone cuts off from box: tape",
        ]
    );
}

#[test]
fn a_loss_that_leaves_a_longer_way_is_no_single_point() {
    // With a second way round over more switches every I/O takes the short one, and yet none is cut off.
    let ring = r#"
format = 1
title = "Ring"
[[host]]
name = "h"
[[switch]]
name = "near"
fabric = "A"
[[switch]]
name = "detour"
fabric = "A"
[[switch]]
name = "far"
fabric = "A"
[[array]]
name = "box"
controllers = 1
[[link]]
from = "h"
to = "near"
speed = "10GbE"
[[link]]
from = "near"
to = "far"
speed = "10GbE"
[[link]]
from = "near"
to = "detour"
speed = "10GbE"
[[link]]
from = "detour"
to = "far"
speed = "10GbE"
[[link]]
from = "far"
to = "box"
speed = "10GbE"
[[workload]]
name = "w"
hosts = "h"
array = "box"
protocol = "iscsi"
sizes = "4KiB"
read = "100%"
arrivals = { poisson = "10/s" }
"#;
    let review = review(&site(ring));
    let single: Vec<&str> = of_kind(&review, "single point")
        .iter()
        .map(|f| &*f.what)
        .collect();
    assert!(
        single.iter().any(|what| what.contains("switch near-A")),
        "{single:?}"
    );
    assert!(
        !single.iter().any(|what| what.contains("near-A~far-A")),
        "{single:?}"
    );
    assert!(
        !single.iter().any(|what| what.contains("detour")),
        "{single:?}"
    );
}

/// A feed that carries the only switch of `tape` and the one of the array on the other side takes both of its ways: it is a single
/// point though neither part is. Hosts that go with it are not cut off.
#[test]
fn a_group_of_one_fate_that_cuts_off_is_a_single_point() {
    let fed = |parts: &str| {
        let text = format!("{LOPSIDED}\n[[group]]\nname = \"feed\"\nparts = [{parts}]\n");
        let review = review(&site(&text));
        let found = of_kind(&review, "single point").into_iter();
        let found: Vec<String> = found.map(|finding| finding.what.clone()).collect();
        found.into_iter().find(|what| what.contains("group"))
    };
    assert_eq!(
        fed("\"west-A\", \"east-B\"").as_deref(),
        Some("the loss of group feed alone cuts off from box: all 2 web hosts and tape")
    );
    assert_eq!(fed("\"east-B\""), None);
    assert_eq!(
        fed("\"west-A\", \"east-B\", \"tape\"").as_deref(),
        Some("the loss of group feed alone cuts off from box: all 2 web hosts")
    );
}

/// Two hosts on one link each: each link cuts off its own host, and not both.
#[test]
fn links_that_cut_off_their_own_hosts_are_not_said_to_cut_off_all() {
    let text = BENCH.replace("name = \"student\"", "name = \"student\"\ncount = 2");
    let review = review(&site(&text));
    let links: Vec<&str> = of_kind(&review, "single point")
        .iter()
        .map(|finding| &*finding.what)
        .filter(|what| what.contains("link"))
        .collect();
    assert_eq!(
        links,
        [
            "the loss of link student-1:A1~bench-A and student-2:A1~bench-A (each) alone cuts off those that hang on it from \
             box: all of them together all 2 student hosts"
        ]
    );
}

/// A switch that has no link to the array leaves hosts on one fabric, though they have ports on both: another port would not help.
#[test]
fn the_advice_for_hosts_on_one_fabric_is_about_what_is_missing() {
    let advice = |text: &str| {
        of_kind(&review(&site(text)), "one fabric")[0]
            .advice
            .clone()
    };
    assert!(advice(LOPSIDED).contains("a port on each fabric"));
    let text = LOPSIDED.replace(
        "[[link]]\nfrom = \"east\"\nto = \"box\"\nspeed = \"25GbE\"\n",
        "",
    );
    assert_ne!(text, LOPSIDED);
    let both = advice(&text.replace("hosts = [\"web\", \"tape\"]", "hosts = \"web\""));
    assert!(both.contains("They have ports on both fabrics"), "{both}");
}

#[test]
fn an_outage_that_leaves_no_path_is_found() {
    let power = format!(
        "{TRAMWAYS}\n[[outage]]\nname = \"room\"\ntakes = [\"san-*\"]\n\n[[outage]]\nname = \"bay 1\"\n\
         takes = [\"bay-1\"]\n"
    );
    let review = review(&site(&power));
    // A lost chassis takes its own hosts with it: nobody is cut off.
    let cut: Vec<&str> = of_kind(&review, "cut off")
        .iter()
        .map(|f| &*f.what)
        .collect();
    assert_eq!(
        cut,
        ["with room lost there is no path to vault: all 6 db hosts"]
    );
}

#[test]
fn names_in_words() {
    let names = |n: usize| -> Vec<String> { (1..=n).map(|i| format!("n{i}")).collect() };
    assert_eq!(some(&names(0)), "");
    assert_eq!(some(&names(1)), "n1");
    assert_eq!(some(&names(2)), "n1 and n2");
    assert_eq!(some(&names(3)), "n1, n2 and n3");
    assert_eq!(some(&names(4)), "n1, n2, n3 and 1 more");
}

/// PCI Express 3 (secondary source): a lane carries 8 Gb/s × 128/130 × 256/280 = 7.2018 Gb/s, 900.2 MB/s, of data
/// into the host. A db host reads 200,000 ÷ 6 × 0.7 × (0.6 × 8192 + 0.4 × 65,536) = 726.4 MB/s, in a burst 1.8
/// times as much: on two ports 40 % (73) of one lane's bus each, on one port 81 % (145); on two lanes shared by both
/// ports 40 % (73) whatever is lost.
#[test]
fn a_bus_behind_the_ports_is_held_against_the_data() {
    let with = |set: &[(&str, &str)]| {
        let review = review(&site_with(TRAMWAYS, set));
        let found = of_kind(&review, "host bus");
        assert_eq!(found.len(), 1, "one family states a bus");
        found[0].clone()
    };
    let one = with(&[("host.db.bus", "PCIe3x1")]);
    for part in [
        "PCIe3x1 behind each port of db carries 7.2 Gb/s of data in and 7.3 out",
        "less than 100GbE (100.0 Gb/s with headers)",
        "40 % (73 % in a burst) healthy",
        "81 % (145 % in a burst) A lost",
    ] {
        assert!(one.what.contains(part), "{part}: {}", one.what);
    }
    assert_eq!(one.severity, Severity::Warning);
    assert!(one.advice.starts_with("No run simulates the bus"));
    let both = with(&[("host.db.bus", "PCIe3x2"), ("host.db.bus_per", "host")]);
    for part in [
        "all ports of db",
        "40 % (73 % in a burst) healthy",
        "40 % (73 % in a burst) A lost",
    ] {
        assert!(both.what.contains(part), "{part}: {}", both.what);
    }
    assert_eq!(both.severity, Severity::Note);
    let ample = with(&[
        ("host.db.bus", "PCIe 5.0 x16"),
        ("host.db.bus_payload", "512"),
    ]);
    assert!(ample.what.contains("enough for 100GbE"), "{}", ample.what);
    assert!(of_kind(&review(&site(TRAMWAYS)), "host bus").is_empty());
}

/// By hand: a read of the bench sends 1000 B at 4 Gb/s (2 us), is 1 us on the way in each direction and 1 us in
/// the switch each way, so no read takes less than 6 us; its service alone takes 20 us. 10,000 reads a second
/// of 1000 B are 10 MB/s.
#[test]
fn promises_that_no_run_can_keep() {
    let asked = |promise: &str| {
        let text = BENCH.replace(
            "arrivals = { closed = { depth = 4, think = \"1us\" } }",
            &format!("arrivals = {{ poisson = \"10k/s\" }}\npromise = {{ {promise} }}"),
        );
        let review = review(&site(&text));
        let found: Vec<String> = of_kind(&review, "promise")
            .iter()
            .map(|finding| finding.what.clone())
            .collect();
        found.join("; ")
    };
    let impossible = asked("p99 = \"5us\"");
    assert!(
        impossible.starts_with("reads: p99 of 5us cannot be kept: the wire alone"),
        "{impossible}"
    );
    assert_eq!(asked("p99 = \"20us\""), "");
    let impossible = asked("mean = \"20us\"");
    assert!(
        impossible.starts_with("reads: a mean of 20us cannot be kept"),
        "{impossible}"
    );
    assert_eq!(asked("mean = \"100us\""), "");
    assert_eq!(
        asked("throughput = \"11MB/s\""),
        "reads: a throughput of 11MB/s cannot be kept: no more than 10.0 MB/s is asked for"
    );
    assert_eq!(asked("throughput = \"9MB/s\""), "");
}

/// Where nothing is promised the review says so, once; where something is, not.
#[test]
fn a_site_that_promises_nothing_is_told_so() {
    let said = |site: &Site| {
        let review = review(site);
        let notes = of_kind(&review, "promise");
        notes
            .iter()
            .filter(|note| note.what.contains("no command can give a verdict"))
            .count()
    };
    let mut own = site(TRAMWAYS);
    assert_eq!(said(&own), 0);
    for workload in &mut own.workloads {
        workload.promises = crate::site::Promises::default();
    }
    assert_eq!(said(&own), 1);
}
