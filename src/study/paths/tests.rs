//! Paths held against hops and times worked out by hand.

use super::*;
use crate::study::sample::{BENCH, TRAMWAYS, site, site_with};

#[test]
fn a_fibre_channel_path_hop_by_hop() {
    let sheets = paths(&site(TRAMWAYS), Some("db-1"), Some("vault")).unwrap();
    let [sheet] = sheets.as_slice() else {
        panic!("one protocol joins them");
    };
    assert_eq!(
        (&*sheet.protocol, &*sheet.workloads),
        ("fc-scsi", &["bookings".to_owned()][..])
    );
    // Two controllers, two ports on each of two fabrics; controller 1 on A, on B, then its second ports.
    let ports: Vec<&str> = sheet.paths.iter().map(|p| p.array_port.as_str()).collect();
    let c = |n: u32| ["A1", "B1", "A2", "B2"].map(|port| format!("vault-c{n}:{port}"));
    assert_eq!(ports, [c(1), c(2)].concat());
    let first = &sheet.paths[0];
    let hops: Vec<(&str, &str, u32, &str, &str)> = first
        .hops
        .iter()
        .map(|h| {
            (
                &*h.name,
                &*h.speed,
                h.members,
                &*h.encapsulation,
                &*h.onward,
            )
        })
        .collect();
    assert_eq!(
        hops,
        [
            ("db-1:A1 > module-1-A", "100GbE", 1, "FCoE", "cut-through"),
            (
                "module-1-A > edge-A",
                "100GbE",
                2,
                "FCoE",
                "store-and-forward"
            ),
            ("edge-A > san-A", "32GFC", 2, "FC", "cut-through"),
            ("san-A > vault-c1:A1", "32GFC", 1, "FC", ""),
        ]
    );
    // 100GbE: 4 × 25.78125 Gb/s on the line; two 32GFC legs: 28.05 each, 27.2 without code and FEC.
    assert_eq!(first.hops[0].nominal_gb_s, 103.125);
    assert_eq!(
        (first.hops[2].nominal_gb_s, first.hops[2].usable_gb_s),
        (56.1, 54.4)
    );
    // The last hop has one member of 27.2 Gb/s; the two legs before have 54.4 together.
    assert_eq!((first.narrowest, first.one_flow_gb_s), (3, 27.2));
}

#[test]
fn the_idle_latency_of_a_fibre_channel_frame_by_hand() {
    // 2,048 bytes are 2,136 on Ethernet (88 more) and 2,108 on Fibre Channel (60 more). Picoseconds:
    // host to module: header 26 B at 100 Gb/s 2,080, fibre 1 m 5,000, FEC 5,280 bits ÷ 103.125 Gb/s = 51,200
    //   and 40,000 to decode, switch 400,000: 498,280.
    // module to edge: whole frame 170,880 (Fibre Channel follows, so it is stored), 10 m 50,000, FEC 91,200,
    //   switch 500,000: 812,080.
    // edge to san: header 28 B at 27.2 Gb/s 8,236, 20 m 100,000, FEC 5,280 ÷ 28.05 = 188,236 and 40,000,
    //   switch 700,000: 1,036,472.
    // san to vault: whole frame 620,000, 40 m 200,000, FEC 228,236: 1,048,236.
    let sheets = paths(&site(TRAMWAYS), Some("db-1"), None).unwrap();
    let path = &sheets[0].paths[0];
    assert_eq!(path.idle_frame_bytes, 2136);
    assert_eq!(path.idle_us, 3.395_068);
}

#[test]
fn a_stated_rate_stores_every_frame() {
    // 100 bytes in one frame: 100 ns at 8 Gb/s, 1 us in the switch, 200 ns at 4 Gb/s, 200 m 1 us.
    let sheets = paths(&site(BENCH), None, None).unwrap();
    let path = &sheets[0].paths[0];
    assert_eq!((sheets.len(), sheets[0].paths.len()), (1, 1));
    assert_eq!((path.idle_us, path.idle_frame_bytes), (2.3, 100));
    assert_eq!(path.hops[0].onward, "store-and-forward");
    assert_eq!(
        (path.hops[0].nominal_gb_s, path.hops[0].usable_gb_s),
        (8.0, 8.0)
    );
    assert_eq!((path.narrowest, path.one_flow_gb_s), (1, 4.0));
}

#[test]
fn equal_next_hops_stand_in_one_hop() {
    // One group over both LAN switches: each controller has one port, reached through either.
    let across = site_with(TRAMWAYS, &[("link.lan-depot.lag", "across")]);
    let sheets = paths(&across, Some("vm-1"), Some("depot")).unwrap();
    assert_eq!(sheets[0].paths.len(), 4, "two host ports × two array ports");
    let hops: Vec<(&str, u32, f64)> = sheets[0].paths[0]
        .hops
        .iter()
        .map(|h| (&*h.name, h.members, h.usable_gb_s))
        .collect();
    assert_eq!(
        hops[2..],
        [
            ("edge-A > lan-1 or lan-2", 2, 200.0),
            ("lan-1 or lan-2 > depot-c1:1", 2, 50.0)
        ]
    );
    assert_eq!(sheets[0].paths[0].one_flow_gb_s, 25.0);
}

#[test]
fn a_family_means_all_its_hosts() {
    let sheets = paths(&site(TRAMWAYS), Some("rack"), None).unwrap();
    let hosts: Vec<&str> = sheets.iter().map(|s| s.host.as_str()).collect();
    assert_eq!(hosts, ["rack-1", "rack-2", "rack-3", "rack-4"]);
}

#[test]
fn unknown_names_are_answered_with_near_ones() {
    let tramways = site(TRAMWAYS);
    let error = paths(&tramways, Some("rak-2"), None).unwrap_err();
    assert!(
        error.starts_with("there is no host `rak-2`; near it: `rack-2`"),
        "{error}"
    );
    let error = paths(&tramways, None, Some("zzz")).unwrap_err();
    assert_eq!(
        error,
        "there is no array `zzz`; known are: `vault`, `depot`"
    );
    let error = paths(&tramways, Some("db-1"), Some("depot")).unwrap_err();
    assert!(
        error.starts_with("no workload joins host `db-1` and array `depot`; `"),
        "{error}"
    );
}

/// PCI Express 3, x2 (secondary source): 2 × 7.8769 Gb/s × 256/280 = 14.404 into the host, × 256/276 = 14.612 out of
/// it; the narrowest hop, 32GFC, carries 27.2 × 2048/2108 = 26.426 of data.
#[test]
fn a_bus_stands_beside_the_narrowest_hop() {
    let of = |bus: &str| {
        let site = site_with(TRAMWAYS, &[("host.db.bus", bus)]);
        let sheets = paths(&site, Some("db-1"), None).unwrap();
        sheets[0].paths[0]
            .host_bus
            .clone()
            .expect("a bus is stated")
    };
    let narrow = of("PCIe3x2");
    assert!((narrow.into_host_gb_s - 14.403_516).abs() < 1e-5);
    assert!((narrow.out_of_host_gb_s - 14.612_263).abs() < 1e-5);
    assert!((narrow.hop_payload_gb_s - 27.2 * 2048.0 / 2108.0).abs() < 1e-9);
    assert!(narrow.narrower && !narrow.shared);
    assert!(!of("PCIe4x8").narrower);
    let sheets = paths(&site(TRAMWAYS), None, None).unwrap();
    assert!(
        sheets
            .iter()
            .flat_map(|s| &s.paths)
            .all(|p| p.host_bus.is_none())
    );
}

/// Four links in a row, the middle ones named; every hop has its encapsulation, its rate and its place.
#[test]
fn every_protocol_has_its_path() {
    let chain = |protocol: &str, first: &str, middle: &str, last: &str| {
        format!(
            "format = 1\n[[host]]\nname = \"app\"\n[[switch]]\nname = \"edge\"\nfabric = \"A\"\n\
             [[switch]]\nname = \"san\"\nfabric = \"A\"\n[[array]]\nname = \"box\"\ncontrollers = 1\n\
             [[link]]\nfrom = \"app\"\nto = \"edge\"\n{first}\n[[link]]\nfrom = \"edge\"\nto = \"san\"\n{middle}\n\
             [[link]]\nfrom = \"san\"\nto = \"box\"\n{last}\n[[workload]]\nname = \"w\"\nhosts = \"app\"\n\
             array = \"box\"\nprotocol = \"{protocol}\"\narrivals = {{ poisson = \"1k/s\" }}\n"
        )
    };
    let (ten, hundred) = ("speed = \"10GbE\"", "speed = \"100GbE\"");
    let (both, fibre) = ("speed = \"100GbE\"\ncarries = \"all\"", "speed = \"32GFC\"");
    // Wrapping of the three hops, the narrowest, its usable rate, wire bytes of the largest data frame on the
    // first hop.
    let rows = [
        (
            "fc-scsi",
            [both, both, fibre],
            ["FCoE", "FCoE", "FC"],
            2,
            27.2,
            2136,
        ),
        (
            "fc-nvme",
            [fibre, fibre, fibre],
            ["FC", "FC", "FC"],
            0,
            27.2,
            2108,
        ),
        (
            "iscsi",
            [hundred, ten, hundred],
            ["Ethernet"; 3],
            1,
            10.0,
            1538,
        ),
        (
            "nvme-tcp",
            [hundred, hundred, ten],
            ["Ethernet"; 3],
            2,
            10.0,
            1538,
        ),
        // READ responses carry 4 bytes more in the first and the last packet; the middle ones 1024 + 82.
        (
            "nvme-rdma",
            [ten, hundred, hundred],
            ["Ethernet"; 3],
            0,
            10.0,
            1110,
        ),
        (
            "nfs",
            [hundred, ten, hundred],
            ["Ethernet"; 3],
            1,
            10.0,
            1538,
        ),
        ("plain", [hundred, hundred, ten], ["plain"; 3], 2, 10.0, 500),
    ];
    for (protocol, [first, middle, last], wrapped, narrowest, usable, frame) in rows {
        let more = if protocol == "plain" {
            "request = \"100B\"\nresponse = \"1000B\"\nframe = \"500B\"\nsizes = \"1000B\"\n"
        } else {
            "sizes = \"8KiB\"\n"
        };
        let text = chain(protocol, first, middle, last) + more;
        let sheets = paths(&site(&text), None, None).unwrap();
        let [sheet] = sheets.as_slice() else {
            panic!("{protocol}: one pair");
        };
        let path = &sheet.paths[0];
        let got: Vec<&str> = path.hops.iter().map(|hop| &*hop.encapsulation).collect();
        assert_eq!(got, wrapped, "{protocol}");
        assert_eq!(path.narrowest, narrowest, "{protocol}");
        assert_eq!(path.hops[narrowest].usable_gb_s, usable, "{protocol}");
        assert!(path.idle_us > 0.0, "{protocol}");
        if protocol != "plain" {
            assert_eq!(path.idle_frame_bytes, frame, "{protocol}");
        }
    }
}
