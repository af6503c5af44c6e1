//! Invented parts, growth, picture, review and assumptions.

use crate::outcome::{
    AssumptionRow, Case, Growth, Lane, PartUse, Picture, PictureNode, Pipe, PipeLoad, Review,
    ReviewFinding, Severity, Shape, TierRow, UseInCase,
};

/// Part, detail, tier, instance on a side, then mean and peak healthy and with a fabric lost, members.
type Line = (
    &'static str,
    &'static str,
    &'static str,
    &'static str,
    [f64; 4],
    u32,
);

const LINES: [Line; 8] = [
    (
        "san to edge, 32GFC",
        "2 of 4 legs lit",
        "san > edge",
        "san-@ > edge-@",
        [33.1, 59.7, 66.3, 119.3],
        2,
    ),
    (
        "vault controllers",
        "48 in parallel each",
        "vault",
        "vault-c1",
        [35.0, 62.0, 35.0, 62.0],
        1,
    ),
    (
        "vault to san, 32GFC",
        "2 ports a controller and fabric",
        "vault > san",
        "vault-c1 > san-@",
        [16.6, 29.8, 33.1, 59.7],
        2,
    ),
    (
        "depot controllers",
        "32 in parallel each",
        "depot",
        "depot-c1",
        [33.0, 34.0, 33.0, 36.0],
        1,
    ),
    (
        "lan to depot, 25GbE",
        "2 a LAN switch",
        "lan > depot",
        "lan-# > depot-c1",
        [14.8, 14.8, 29.7, 29.7],
        1,
    ),
    (
        "edge to lan, 100GbE",
        "1 to each",
        "edge > lan",
        "edge-@ > lan-#",
        [3.7, 3.7, 14.8, 14.8],
        1,
    ),
    (
        "rack to edge, 25GbE",
        "4 hosts, one cage",
        "rack > edge",
        "rack-1 > edge-@",
        [6.4, 6.4, 12.7, 12.7],
        1,
    ),
    (
        "edge to module, 100GbE",
        "2 a chassis",
        "edge > module",
        "edge-@ > module-1-@",
        [3.5, 6.0, 7.0, 12.0],
        2,
    ),
];

pub(super) fn parts() -> Vec<PartUse> {
    LINES
        .iter()
        .map(
            |&(part, detail, tier, instance, [mean, peak, mean_lost, peak_lost], members)| {
                let share = 100.0 / f64::from(members);
                let uneven = if members > 1 { 1.01 } else { 1.0 };
                let used = |side: &str, lan: &str, mean_percent, peak_percent| {
                    Some(UseInCase {
                        instance: instance.replace('@', side).replace('#', lan),
                        mean_percent,
                        asked_mean_percent: Some(mean_percent),
                        peak_percent,
                        member_peak_percent: peak_percent * uneven,
                        fullest_member_share_percent: share * uneven,
                    })
                };
                PartUse {
                    part: part.to_owned(),
                    detail: detail.to_owned(),
                    tier: tier.to_owned(),
                    cases: vec![
                        used("A", "1", mean, peak),
                        used("B", "2", mean_lost, peak_lost),
                        used("A", "1", mean_lost, peak_lost),
                    ],
                }
            },
        )
        .collect()
}

pub(super) fn growth(cases: &[Case], mended: bool) -> Vec<Growth> {
    cases
        .iter()
        .map(|case| {
            let lost = case.lost.is_some();
            let (factor, part, next) = match (lost, mended) {
                (true, false) => (100.0 / 119.3, LINES[0].0, (LINES[1].0, 100.0 / 62.0)),
                (true, true) => (100.0 / 62.0, LINES[1].0, (LINES[2].0, 100.0 / 59.7)),
                (false, false) => (100.0 / 62.0, LINES[1].0, (LINES[0].0, 100.0 / 59.7)),
                (false, true) => (100.0 / 62.0, LINES[1].0, (LINES[3].0, 100.0 / 34.0)),
            };
            Growth {
                case: case.name.clone(),
                factor,
                part: part.to_owned(),
                next: Some((next.0.to_owned(), next.1)),
            }
        })
        .collect()
}

pub(super) fn picture() -> Picture {
    let node = |name: &str, detail: &str, count, shape, lane, layer| PictureNode {
        name: name.to_owned(),
        detail: detail.to_owned(),
        count,
        shape,
        lane,
        chassis: (matches!(name, "db" | "vm") || name.starts_with("module"))
            .then(|| ("bay".to_owned(), 3)),
        lost_in: match (lane, name) {
            (Lane::A, _) | (_, "lan-1") => vec![1],
            (Lane::B, _) | (_, "lan-2") => vec![2],
            _ => Vec::new(),
        },
        layer,
        protocols: match name {
            "vault" => vec!["scsi-fc".to_owned()],
            "depot" => vec!["iscsi".to_owned()],
            _ => Vec::new(),
        },
    };
    let nodes = vec![
        node("db", "6 hosts, 2 each", 6, Shape::Host, Lane::Middle, 0),
        node("vm", "6 hosts, 2 each", 6, Shape::Host, Lane::Middle, 0),
        node("rack", "4 hosts", 4, Shape::Host, Lane::Middle, 1),
        node("module-A", "× 3", 3, Shape::Module, Lane::A, 1),
        node("module-B", "× 3", 3, Shape::Module, Lane::B, 1),
        node("edge-A", "Ethernet, FC", 1, Shape::Switch, Lane::A, 2),
        node("edge-B", "Ethernet, FC", 1, Shape::Switch, Lane::B, 2),
        node("san-A", "FC switch", 1, Shape::Switch, Lane::A, 3),
        node("san-B", "FC switch", 1, Shape::Switch, Lane::B, 3),
        node(
            "lan-1",
            "LAN switch, shared",
            1,
            Shape::Switch,
            Lane::Middle,
            3,
        ),
        node(
            "lan-2",
            "LAN switch, shared",
            1,
            Shape::Switch,
            Lane::Middle,
            3,
        ),
        node("vault", "2 controllers", 2, Shape::Array, Lane::Middle, 5),
        node("depot", "2 controllers", 2, Shape::Array, Lane::Middle, 4),
    ];
    let pipes = pipes(&nodes);
    Picture { nodes, pipes }
}

/// Near, far, label, detail, mean and peak healthy, factor with one fabric lost, towards the arrays.
type Bundle = (
    &'static str,
    &'static str,
    &'static str,
    &'static str,
    [f64; 2],
    f64,
    bool,
);

const BUNDLES: [Bundle; 9] = [
    ("db", "module-@", "6 × 100GbE", "", [3.0, 5.4], 2.0, false),
    ("vm", "module-@", "6 × 100GbE", "", [0.5, 0.6], 2.0, false),
    (
        "module-@",
        "edge-@",
        "6 × 100GbE",
        "",
        [3.5, 6.0],
        2.0,
        false,
    ),
    (
        "rack",
        "edge-@",
        "4 × 25GbE",
        "one cage",
        [6.4, 6.4],
        2.0,
        true,
    ),
    (
        "edge-@",
        "san-@",
        "2 × 32GFC",
        "2 of 4 legs lit",
        [33.1, 59.7],
        2.0,
        false,
    ),
    ("san-@", "vault", "4 × 32GFC", "", [16.6, 29.8], 2.0, false),
    ("edge-@", "lan-1", "1 × 100GbE", "", [3.7, 3.7], 4.0, true),
    ("edge-@", "lan-2", "1 × 100GbE", "", [3.7, 3.7], 4.0, true),
    ("lan-#", "depot", "2 × 25GbE", "", [14.8, 14.8], 2.0, true),
];

fn pipes(nodes: &[PictureNode]) -> Vec<Pipe> {
    let mut out = Vec::new();
    for &(near, far, label, detail, [mean, peak], factor, toward_array) in &BUNDLES {
        let lan_only = near == "lan-#";
        for (side, lan) in [("A", "1"), ("B", "2")] {
            let named = |name: &str| name.replace('@', side).replace('#', lan);
            let (near, far) = (named(near), named(far));
            let index = |name: &str| nodes.iter().position(|node| node.name == name).unwrap_or(0);
            let (from, to) = (index(&near), index(&far));
            let load = (0..3)
                .map(|case| {
                    let lost = |node: usize| nodes[node].lost_in.contains(&case);
                    let times = if case == 0 { 1.0 } else { factor };
                    (!lost(from) && !lost(to)).then_some(PipeLoad {
                        mean_percent: mean * times,
                        asked_peak_percent: peak * times,
                        fullest_percent: peak * times,
                        toward_array,
                    })
                })
                .collect();
            let lane = match side {
                _ if lan_only => Lane::Middle,
                "A" => Lane::A,
                _ => Lane::B,
            };
            out.push(Pipe {
                from,
                to,
                label: label.to_owned(),
                detail: detail.to_owned(),
                lane,
                load,
            });
        }
    }
    out
}

pub(super) fn review() -> Review {
    let fact = |severity, kind: &str, what: &str, advice: &str| ReviewFinding {
        severity,
        kind: kind.to_owned(),
        what: what.to_owned(),
        advice: advice.to_owned(),
    };
    let steady = |value: f64| vec![Some(value); 3];
    Review {
        cases: ["healthy", "A lost", "B lost"].map(str::to_owned).to_vec(),
        tiers: tiers(),
        closed_controllers: vec![vec![false; 3]; 4],
        controllers: vec![
            ("vault-c1".to_owned(), 48, steady(35.0), steady(62.0)),
            ("vault-c2".to_owned(), 48, steady(35.0), steady(62.0)),
            ("depot-c1".to_owned(), 32, steady(33.0), steady(33.0)),
            ("depot-c2".to_owned(), 32, steady(33.0), steady(33.0)),
        ],
        theory: Vec::new(),
        findings: vec![
            fact(
                Severity::Warning,
                "utilization",
                "With A lost, san to edge on B is asked for 119 % in a burst of bookings.",
                "Light the two dark legs of each cage, or spread the bursts.",
            ),
            fact(
                Severity::Note,
                "oversubscription",
                "The hosts of fabric A can ask edge to san for 12.9 times what it carries.",
                "Look at the busiest 20 ms, not at the mean.",
            ),
        ],
    }
}

fn tiers() -> Vec<TierRow> {
    let mut tiers = Vec::new();
    for side in ['A', 'B'] {
        let lost = |case: usize| (case == 1 && side == 'A') || (case == 2 && side == 'B');
        let by_case = |healthy: f64| {
            (0..3)
                .map(|case| {
                    (!lost(case)).then_some(if case == 0 { healthy } else { 2.0 * healthy })
                })
                .collect()
        };
        let tier =
            |tier: &str, links: &str, gb_s: [f64; 2], over, to_array, to_host, burst| TierRow {
                tier: tier.to_owned(),
                side: Some(side),
                links: links.to_owned(),
                nominal_gb_s: gb_s[0],
                usable_gb_s: gb_s[1],
                oversubscription: over,
                toward_array_percent: by_case(to_array),
                toward_host_percent: by_case(to_host),
                burst_percent: by_case(burst),
                closed: vec![false; 3],
            };
        tiers.push(tier(
            "module to edge",
            "6 × 100GbE",
            [600.0, 600.0],
            Some(2.0),
            1.4,
            3.5,
            6.0,
        ));
        tiers.push(tier(
            "edge to san",
            "2 × 32GFC",
            [56.1, 54.4],
            Some(12.9),
            24.9,
            33.1,
            59.7,
        ));
        tiers.push(tier(
            "san to vault",
            "4 × 32GFC",
            [112.2, 108.8],
            Some(0.5),
            12.5,
            16.6,
            29.8,
        ));
    }
    tiers
}

pub(super) fn assumptions() -> Vec<AssumptionRow> {
    let row = |key: &str, what: &str, value: &str, mark: &str, source: &str, line| AssumptionRow {
        key: key.to_owned(),
        what: what.to_owned(),
        value: value.to_owned(),
        mark: mark.to_owned(),
        source: source.to_owned(),
        line,
    };
    vec![
        row(
            "array.vault.read.hit",
            "read hits of vault",
            "60%",
            "guessed",
            "the scenario says so",
            Some(61),
        ),
        row(
            "workload.bookings.arrivals.burst",
            "length of a burst",
            "40ms",
            "guessed",
            "the scenario says so",
            Some(84),
        ),
        row(
            "host.db.timers.fast_io_fail",
            "SCSI remote port held",
            "5s",
            "common practice",
            "preset default",
            None,
        ),
        row(
            "workload.bookings.promise.p99",
            "promise of bookings",
            "2ms",
            "stated",
            "the scenario",
            Some(92),
        ),
        row(
            "link.length",
            "length of a link",
            "10m",
            "common practice",
            "no source",
            None,
        ),
        row(
            "rate.32GFC",
            "line rate of 32GFC",
            "28.05 GBd",
            "standard",
            "INCITS 512-2013 (FC-PI-6)",
            None,
        ),
    ]
}
