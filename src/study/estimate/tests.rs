//! Loads held against figures worked out by hand.

use super::*;
use crate::study::sample::{BENCH, TRAMWAYS, site, site_with};

/// `x` as it prints with so many decimals.
fn printed(x: f64, decimals: usize) -> String {
    format!("{x:.decimals$}")
}

/// Fullest direction that satisfies `wanted(from, to)`, per cent: mean and burst.
fn fullest(fabric: &Fabric, case: &CaseLoads, from: &str, to: &str) -> (f64, f64) {
    let name = |node: crate::topology::NodeId| fabric.nodes[node.0 as usize].name.as_str();
    fabric
        .directions
        .iter()
        .zip(&case.directions)
        .filter(|(ends, _)| name(ends.from).starts_with(from) && name(ends.to).starts_with(to))
        .filter_map(|(_, load)| *load)
        .map(|load| (100.0 * load.mean, 100.0 * load.burst))
        .fold((0.0, 0.0), |most: (f64, f64), load| {
            (most.0.max(load.0), most.1.max(load.1))
        })
}

#[test]
fn wire_bytes_of_a_booking_by_hand() {
    // A read of 8 KiB: four frames of 2,048 + 60 bytes and a response of 24 + 60: 4 × 2108 + 84 = 8516; of
    // 64 KiB 32 × 2108 + 84 = 67,540. A write draws a transfer-ready of 12 + 60 and a response: 156.
    // 0.7 × (0.6 × 8516 + 0.4 × 67,540) + 0.3 × 156 = 22,534.72.
    let tramways = site(TRAMWAYS);
    let bytes = per_io(&tramways.workloads[0]);
    assert_eq!(printed(bytes.to_host.native, 2), "22534.72");
    // As FCoE each frame has 28 bytes more: 88 instead of 60. Frames towards the host: reads 5 and 33, writes
    // 2: 0.7 × (0.6 × 5 + 0.4 × 33) + 0.3 × 2 = 11.94; 22,534.72 + 28 × 11.94 = 22,869.04. No frame is
    // shorter than 64 bytes: 88 + 12 = 100 on the wire.
    assert_eq!(printed(bytes.to_host.frames, 2), "11.94");
    assert_eq!(printed(bytes.to_host.fcoe, 2), "22869.04");
}

#[test]
fn pure_acks_are_part_of_the_load() {
    // Writes of 256 KiB in R2T pieces go as full frames of 9,038 bytes; each second one draws an ACK of
    // 52 bytes of IP with timestamps: 14 + 52 + 4 = 70, and 20 more on the wire: 90.
    let tramways = site(TRAMWAYS);
    let archive = &tramways.workloads[2];
    let plan = archive.protocol.plan(crate::wire::Op::Write, 256 << 10);
    let (to_host, acks): (u64, u64) =
        plan.volleys
            .iter()
            .fold((0, 0), |(bytes, acks), volley| match volley.toward {
                crate::wire::Toward::Array => (bytes, acks + u64::from(volley.frames() / 2)),
                crate::wire::Toward::Host => {
                    (bytes + volley.wire_bytes(Encapsulation::Ethernet), acks)
                }
            });
    // 262,144 bytes and a header of 24 in segments of 8,948: 29 full and one shorter, so 15 ACKs; the
    // command alone is one frame and draws none.
    assert_eq!(acks, 15);
    let expected = (to_host + 15 * 90) as f64;
    assert_eq!(per_io(archive).to_host.native, expected);
}

#[test]
fn the_tramways_by_hand() {
    let tramways = site(TRAMWAYS);
    let fabric = Fabric::new(&tramways);
    let cases = estimate(&tramways, &fabric).cases;
    let [healthy, a_lost, b_lost] = cases.as_slice() else {
        panic!("three cases");
    };
    assert_eq!(
        [&*healthy.name, &*a_lost.name, &*b_lost.name],
        ["healthy", "A lost", "B lost"]
    );
    let per_cent = |case: &CaseLoads, from: &str, to: &str| {
        let (mean, burst) = fullest(&fabric, case, from, to);
        (printed(mean, 1), printed(burst, 1))
    };
    let text = |mean: &str, burst: &str| (mean.to_owned(), burst.to_owned());
    // san to edge: 200,000/s × 22,535 bytes = 4.507 GB/s over two legs of 3.4 GB/s on each side: 13.6 GB/s
    // healthy, 6.8 with A lost. In a burst 360,000/s.
    assert_eq!(per_cent(healthy, "san", "edge"), text("33.1", "59.7"));
    assert_eq!(per_cent(a_lost, "san", "edge"), text("66.3", "119.3"));
    assert_eq!(per_cent(b_lost, "san", "edge"), text("66.3", "119.3"));
    // vault to san: eight ports, 27.2 GB/s; half of them with a side lost.
    assert_eq!(per_cent(healthy, "vault", "san").1, "29.8");
    assert_eq!(per_cent(a_lost, "vault", "san").1, "59.7");
    // A chassis has a third of the bookings (FCoE: 120,000/s × 22,869 B = 2.744 GB/s in a burst) and of the
    // fleet (40,000/s × about 6.4 kB = 0.25 GB/s) over 4 × 12.5 GB/s.
    assert_eq!(per_cent(healthy, "edge", "module").1, "6.0");
    assert_eq!(per_cent(a_lost, "edge", "module").1, "12.0");
    // Towards depot: 1.855 GB/s of writes, commands and ACKs. edge to lan 50 GB/s; with A and lan-1 lost one
    // link of 12.5. lan to depot 4 × 3.125 GB/s, then two of them.
    assert_eq!(per_cent(healthy, "edge", "lan").0, "3.7");
    assert_eq!(per_cent(a_lost, "edge", "lan").0, "14.8");
    assert_eq!(per_cent(healthy, "lan", "depot").0, "14.8");
    assert_eq!(per_cent(a_lost, "lan", "depot").0, "29.7");
    // One rack host: 1,500/s × 256 KiB and headers, 0.398 GB/s over two links of 3.125 GB/s.
    assert_eq!(per_cent(healthy, "rack", "edge").0, "6.4");
    assert_eq!(per_cent(a_lost, "rack", "edge").0, "12.7");
}

#[test]
fn controllers_by_hand() {
    // A miss has the median 240 us and p99 900 us: sigma = ln(900/240) ÷ 2.32635 = 0.56817, mean = 240 ×
    // exp(sigma² ÷ 2) = 282.03 us. A booking holds a slot for 0.7 × (0.6 × 100 + 0.4 × 282.03) + 0.3 × 150 =
    // 165.97 us; 100,000/s a controller ÷ 48 = 34.6 %, in a burst 62.2 %.
    let tramways = site(TRAMWAYS);
    let fabric = Fabric::new(&tramways);
    let cases = estimate(&tramways, &fabric).cases;
    for case in &cases {
        let vault = case.controllers[0].unwrap();
        assert_eq!(printed(100.0 * vault.mean, 1), "34.6", "{}", case.name);
        assert_eq!(printed(100.0 * vault.burst, 1), "62.2");
        // Controllers serve the same whichever side is lost.
        assert_eq!(case.controllers[0], case.controllers[1]);
    }
}

#[test]
fn no_byte_is_lost_between_hosts_and_arrays() {
    let tramways = site(TRAMWAYS);
    let fabric = Fabric::new(&tramways);
    for case in estimate(&tramways, &fabric).cases {
        let into = |to: &str| -> f64 {
            fabric
                .directions
                .iter()
                .zip(&case.bytes)
                .filter(|(ends, _)| fabric.nodes[ends.to.0 as usize].name.starts_with(to))
                .map(|(_, load)| load.mean)
                .sum()
        };
        // 22,534.72 bytes × 200,000/s arrive at db as FCoE: × 22,869.04.
        assert!((into("db-") / (200e3 * 22_869.04) - 1.0).abs() < 1e-9);
        let vault = per_io(&tramways.workloads[0]).to_array.native * 200e3;
        assert!((into("vault-") / vault - 1.0).abs() < 1e-9);
    }
}

#[test]
fn lost_parts_have_no_load_and_closed_loops_no_rate() {
    let tramways = site(TRAMWAYS);
    let fabric = Fabric::new(&tramways);
    let cases = estimate(&tramways, &fabric).cases;
    for (index, direction) in fabric.directions.iter().enumerate() {
        let on_a = fabric.members[index / 2].side == Some(crate::unit::Side::A);
        let name = &fabric.nodes[direction.from.0 as usize].name;
        if on_a || name == "lan-1" {
            assert_eq!(cases[1].directions[index], None, "{name}");
        }
    }
    let bench = site(BENCH);
    let fabric = Fabric::new(&bench);
    let estimate = estimate(&bench, &fabric);
    assert_eq!(estimate.asked[0].total(), None);
    assert_eq!(estimate.cases.len(), 2, "healthy and the only fabric lost");
    assert_eq!(estimate.cases[0].directions[0], Some(Load::default()));
    assert_eq!(estimate.cases[1].controllers, [None]);
}

#[test]
fn a_closed_loop_is_bounded_by_depth_over_idle_latency() {
    // Request 100 B: 100 ns at 8 Gb/s, stored (a stated rate has no header to look at), 1 us delay, 200 ns at
    // 4 Gb/s, 1 us of fibre: 2.3 us. Service 20 us. Response two frames of 500 B: the first takes 1 us and
    // 1 us of fibre, 1 us delay; the second ends 1 us later, at 2 us, and is ready at 4 us, after which it
    // takes 0.5 us: 4.5 us. 26.8 us and 1 us of thought: 4 ÷ 27.8 us = 143,885 I/Os a second.
    let bench = site_with(BENCH, &[]);
    let fabric = Fabric::new(&bench);
    let estimate = estimate(&bench, &fabric);
    let path = estimate.cases[0].sets[0].paths[0];
    let alive = fabric.all_alive();
    let latency = idle::io_latency_s(
        &bench,
        &fabric,
        &mut Flows::new(&fabric, &alive),
        &bench.workloads[0],
        &path,
    );
    assert_eq!(printed(1e6 * latency.unwrap(), 6), "26.800000");
    let ceiling = idle::closed_ceiling(&bench, &fabric, &estimate.cases[0], 0);
    assert_eq!(printed(ceiling.unwrap(), 0), "143885");
    // The only fabric lost: no path, no ceiling.
    assert_eq!(
        idle::closed_ceiling(&bench, &fabric, &estimate.cases[1], 0),
        None
    );
}

#[test]
fn one_path_and_owners_narrow_the_choice() {
    let policy = [("host.db.paths", "one-path")];
    let one = site_with(TRAMWAYS, &policy);
    let fabric = Fabric::new(&one);
    let cases = estimate(&one, &fabric).cases;
    // Everything goes over the first path, controller 1 on A: side B is idle, and san-A carries it all.
    let mean = |case: &CaseLoads, from, to| printed(fullest(&fabric, case, from, to).0, 1);
    assert_eq!(mean(&cases[0], "san-A", "edge-A"), "66.3");
    assert_eq!(mean(&cases[0], "san-B", "edge-B"), "0.0");
    assert_eq!(mean(&cases[1], "san-B", "edge-B"), "66.3");
    assert_eq!(cases[0].controllers[1].unwrap().mean, 0.0);

    // Three volumes on two controllers: the first owns two of them, two thirds of 34.6 % × 2.
    let owned = site_with(
        TRAMWAYS,
        &[
            ("workload.bookings.volumes", "3"),
            ("workload.bookings.owner", "alternate"),
        ],
    );
    let fabric = Fabric::new(&owned);
    let case = &estimate(&owned, &fabric).cases[0];
    assert_eq!(
        printed(100.0 * case.controllers[0].unwrap().mean, 1),
        "46.1"
    );
    assert_eq!(
        printed(100.0 * case.controllers[1].unwrap().mean, 1),
        "23.1"
    );
}

/// File traffic of a team of ports: two hosts with a port on each fabric, one of which is in use. By hand: where
/// both are used each carries half of what the host asks for, in a team the one in use carries all of it.
#[test]
fn a_team_asks_of_the_port_in_use_alone() {
    const TEAM: &str = r#"
format = 1
[[host]]
name = "vm"
count = 2
team = "first"
[[switch]]
name = "core"
[[array]]
name = "filer"
controllers = 2
[[link]]
from = "vm"
to = "core"
speed = "25GbE"
[[link]]
from = "core"
to = "filer"
speed = "25GbE"
[[workload]]
name = "files"
hosts = "vm"
array = "filer"
protocol = "nfs"
read = "60%"
sizes = { read = "32KiB", write = "8KiB" }
arrivals = { poisson = "3k/s" }
"#;
    let of = |team: &str| {
        let site = site_with(TEAM, &[("host.vm.team", team)]);
        let fabric = Fabric::new(&site);
        let cases = estimate(&site, &fabric).cases;
        let mean = |case: &CaseLoads, from: &str, to: &str| fullest(&fabric, case, from, to).0;
        [
            mean(&cases[0], "filer", "core-A"),
            mean(&cases[0], "filer", "core-B"),
            mean(&cases[0], "core-A", "vm-1"),
            mean(&cases[0], "core-B", "vm-2"),
            // A lost.
            mean(&cases[1], "filer", "core-B"),
        ]
    };
    let near = |got: [f64; 5], times: [f64; 5], one: f64| {
        for (got, times) in got.into_iter().zip(times) {
            assert!((got - times * one).abs() < 1e-9, "{got} {times} {one}");
        }
    };
    // Without a team all is spread over both fabrics: each of the four array ports has a quarter, and each port of a host one too.
    let spread = of("off");
    let one = spread[0];
    assert!(one > 0.1, "{one}");
    near(spread, [1.0, 1.0, 1.0, 1.0, 2.0], one);
    // All over A; after its loss all over B.
    near(of("first"), [2.0, 0.0, 2.0, 0.0, 2.0], one);
    // One host over A, the other over B.
    near(of("alternate"), [1.0, 1.0, 2.0, 2.0, 2.0], one);
}

/// A host that prefers some of its paths has the places on those alone, healthy and with a fabric lost; with owners each has its
/// own, and more volumes of one make its paths the narrow ones.
#[test]
fn a_depth_counts_on_the_paths_that_are_preferred() {
    let ceiling = |set: &[(&str, &str)], case: usize| -> f64 {
        let site = site_with(TRAMWAYS, set);
        let fabric = Fabric::new(&site);
        let cases = estimate(&site, &fabric).cases;
        let of = |work: &crate::site::Workload| work.name == "bookings";
        let index = site.workloads.iter().position(of).expect("it is there");
        idle::depth_ceiling_at_best(&site, &fabric, &cases[case], index)
            .expect("there is a depth")
            .0
    };
    let near =
        |got: f64, expected: f64| assert!((got / expected - 1.0).abs() < 1e-9, "{got} {expected}");
    let one = [("host.db.paths", "one-path")];
    let (all, few) = (ceiling(&[], 0), ceiling(&one, 0));
    near(ceiling(&one, 1), few);
    let paths = (all / few).round();
    assert!(paths >= 2.0, "{paths}");
    near(all, paths * few);
    // Two of three volumes are those of one controller: its preferred path takes two thirds of the work.
    let owned = [
        ("host.db.paths", "one-path"),
        ("workload.bookings.volumes", "3"),
        ("workload.bookings.owner", "alternate"),
    ];
    near(ceiling(&owned, 0), 1.5 * few);
}

/// The case of an outage that is written, behind the healthy one and those of the two fabrics.
const GONE: usize = 3;

/// Four hosts of one family, of which an outage takes one or the two of a chassis; the links of those that are left carry their work too.
#[test]
fn guests_of_lost_hosts_are_counted_where_they_run() {
    let text = |guests: &str, takes: &str| {
        format!(
            "format = 1\n[[chassis]]\nname = \"bay\"\ncount = 2\nholds = {{ vm = 2 }}\n\
             [[host]]\nname = \"vm\"\nguests = \"{guests}\"\n\
             [[switch]]\nname = \"core\"\n[[array]]\nname = \"box\"\n\
             [[link]]\nfrom = \"vm\"\nto = \"core\"\nspeed = \"32GFC\"\n\
             [[link]]\nfrom = \"core\"\nto = \"box\"\nspeed = \"32GFC\"\n\
             [[workload]]\nname = \"w\"\nhosts = \"vm\"\narray = \"box\"\nprotocol = \"fc-scsi\"\n\
             arrivals = {{ poisson = \"40k/s\" }}\nsizes = \"8KiB\"\nread = \"100%\"\n\
             [[outage]]\nname = \"gone\"\ntakes = [\"{takes}\"]\n"
        )
    };
    for (guests, takes, host_link, uplink) in [
        ("restart", "vm-1", 4.0 / 3.0, 1.0),
        ("restart", "bay-1", 2.0, 1.0),
        ("stay", "vm-1", 1.0, 0.75),
        ("stay", "bay-1", 1.0, 0.5),
        // Nobody is left: nothing comes.
        ("restart", "vm-*", 0.0, 0.0),
    ] {
        let site = site(&text(guests, takes));
        let fabric = Fabric::new(&site);
        let estimate = estimate(&site, &fabric);
        let of =
            |case: usize, from: &str, to: &str| fullest(&fabric, &estimate.cases[case], from, to).0;
        for (from, to, grows) in [("core", "vm", host_link), ("box", "core", uplink)] {
            let (healthy, lost) = (of(0, from, to), of(GONE, from, to));
            assert!(healthy > 0.1);
            assert!(
                (lost - healthy * grows).abs() < 1e-9,
                "{guests}, {takes}, {from}: {healthy} and {lost}"
            );
        }
    }
}

/// A chassis that flaps for long enough is there again, and its guests are not.
#[test]
fn guests_that_stay_elsewhere_are_counted_there() {
    let text = "format = 1\n[[host]]\nname = \"vm\"\ncount = 2\nguests = \"restart\"\n\
                timers = { guest_detect = \"1s\", guest_restart = \"2s\" }\n\
                [[switch]]\nname = \"core\"\n[[array]]\nname = \"box\"\n\
                [[link]]\nfrom = \"vm\"\nto = \"core\"\nspeed = \"32GFC\"\n\
                [[link]]\nfrom = \"core\"\nto = \"box\"\nspeed = \"32GFC\"\n\
                [[workload]]\nname = \"w\"\nhosts = \"vm\"\narray = \"box\"\nprotocol = \"fc-scsi\"\n\
                arrivals = { poisson = \"40k/s\" }\nsizes = \"8KiB\"\nread = \"100%\"\n\
                [[outage]]\nname = \"gone\"\ntakes = [\"vm-1\"]\ncount = 1\nperiod = \"60s\"\ndown = \"20s\"\n";
    let site = site(text);
    let fabric = Fabric::new(&site);
    let estimate = estimate(&site, &fabric);
    let of = |case: usize, to: &str| fullest(&fabric, &estimate.cases[case], "core", to).0;
    assert!((of(GONE, "vm-2") - 2.0 * of(0, "vm-2")).abs() < 1e-9);
    assert!(of(0, "vm-1") > 0.1 && of(GONE, "vm-1") < 1e-9);
}
