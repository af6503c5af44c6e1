//! The fold held against what the site says.

use super::*;
use crate::outcome::{Case, DirectionFigures, PictureNode, Shape};
use crate::study::sample::{BENCH, TRAMWAYS, site};

fn cases(site: &Site) -> Vec<Option<&Outage>> {
    std::iter::once(None)
        .chain(site.outages.iter().map(Some))
        .collect()
}

fn node<'a>(picture: &'a Picture, name: &str) -> (usize, &'a PictureNode) {
    let mut nodes = picture.nodes.iter().enumerate();
    nodes.find(|(_, node)| node.name == name).unwrap()
}

fn pipe<'a>(picture: &'a Picture, from: &str, to: &str) -> &'a Pipe {
    let (from, to) = (node(picture, from).0, node(picture, to).0);
    let mut pipes = picture.pipes.iter();
    pipes.find(|p| (p.from, p.to) == (from, to)).unwrap()
}

#[test]
fn families_become_nodes() {
    let tramways = site(TRAMWAYS);
    let fabric = Fabric::new(&tramways);
    let picture = picture(&tramways, &fabric, &cases(&tramways), &[]);
    let rows: Vec<_> = picture
        .nodes
        .iter()
        .map(|n| (&*n.name, &*n.detail, n.count, n.lane, n.layer, &*n.lost_in))
        .collect();
    // Hosts of a chassis stand at 0, its modules at 1, edge 2; the rack hosts one before edge; san and lan one
    // after it; arrays last. Case 1 is A lost, with lan-1; case 2 is B lost, with lan-2.
    assert_eq!(
        rows,
        [
            ("db", "6 hosts, 2 each", 6, Lane::Middle, 0, &[][..]),
            ("vm", "6 hosts, 2 each", 6, Lane::Middle, 0, &[]),
            ("rack", "4 hosts", 4, Lane::Middle, 1, &[]),
            ("module-A", "3 modules", 3, Lane::A, 1, &[1]),
            ("module-B", "3 modules", 3, Lane::B, 1, &[2]),
            ("edge-A", "Ethernet and FC switch", 1, Lane::A, 2, &[1]),
            ("edge-B", "Ethernet and FC switch", 1, Lane::B, 2, &[2]),
            ("san-A", "FC switch", 1, Lane::A, 3, &[1]),
            ("san-B", "FC switch", 1, Lane::B, 3, &[2]),
            ("lan-1", "Ethernet switch", 1, Lane::Middle, 3, &[1]),
            ("lan-2", "Ethernet switch", 1, Lane::Middle, 3, &[2]),
            ("vault", "2 controllers", 1, Lane::Middle, 4, &[]),
            ("depot", "2 controllers", 1, Lane::Middle, 4, &[]),
        ]
    );
    assert_eq!(node(&picture, "db").1.chassis, Some(("bay".to_owned(), 3)));
    assert_eq!(node(&picture, "module-A").1.shape, Shape::Module);
    assert_eq!(node(&picture, "rack").1.chassis, None);
}

#[test]
fn a_pair_with_one_fate_stays_one_node() {
    let mut tramways = site(TRAMWAYS);
    for outage in &mut tramways.outages {
        outage.takes.retain(|pattern| !pattern.starts_with("lan"));
    }
    let fabric = Fabric::new(&tramways);
    let picture = picture(&tramways, &fabric, &cases(&tramways), &[]);
    let lan = node(&picture, "lan").1;
    assert_eq!((lan.count, &*lan.detail), (2, "2 Ethernet switches"));
    // Edge to lan is then one pipe of two links.
    assert_eq!(pipe(&picture, "edge-A", "lan").label, "2 × 100GbE");
}

#[test]
fn all_links_between_two_nodes_are_one_pipe() {
    let tramways = site(TRAMWAYS);
    let fabric = Fabric::new(&tramways);
    let picture = picture(&tramways, &fabric, &cases(&tramways), &[]);
    let text = |from: &str, to: &str| {
        let pipe = pipe(&picture, from, to);
        (pipe.label.clone(), pipe.detail.clone(), pipe.lane)
    };
    let row = |label: &str, detail: &str, lane| (label.to_owned(), detail.to_owned(), lane);
    assert_eq!(text("db", "module-A"), row("6 × 100GbE", "", Lane::A));
    assert_eq!(text("module-B", "edge-B"), row("6 × 100GbE", "", Lane::B));
    assert_eq!(
        text("rack", "edge-A"),
        row("4 × 25GbE", "one cage", Lane::A)
    );
    assert_eq!(
        text("edge-A", "san-A"),
        row("2 × 32GFC", "2 of 4 legs lit", Lane::A)
    );
    assert_eq!(text("san-B", "vault"), row("4 × 32GFC", "", Lane::B));
    assert_eq!(text("edge-A", "lan-2"), row("1 × 100GbE", "", Lane::A));
    assert_eq!(text("lan-1", "depot"), row("2 × 25GbE", "", Lane::Middle));
    // db, vm, rack, edge to san, san to vault and module to edge twice; edge to lan four times, lan to depot twice.
    assert_eq!(picture.pipes.len(), 6 * 2 + 4 + 2);
    assert!(
        picture.pipes.iter().all(|p| p.load == [None; 3]),
        "no figures, no load"
    );
}

#[test]
fn a_bench_has_three_nodes_in_a_row() {
    let bench = site(BENCH);
    let fabric = Fabric::new(&bench);
    let picture = picture(&bench, &fabric, &cases(&bench), &[]);
    let rows: Vec<(&str, &str, u32)> = picture
        .nodes
        .iter()
        .map(|n| (&*n.name, &*n.detail, n.layer))
        .collect();
    assert_eq!(
        rows,
        [
            ("student", "1 host", 0),
            ("bench-A", "switch", 1),
            ("box", "1 controller", 2)
        ]
    );
    assert_eq!(picture.pipes.len(), 2);
}

/// Figures of one direction; only what a pipe needs differs from zero.
fn figures(name: &str, family: &str, utilization: f64, asked: f64) -> DirectionFigures {
    DirectionFigures {
        name: name.to_owned(),
        family: family.to_owned(),
        tier: String::new(),
        from: String::new(),
        to: String::new(),
        side: None,
        toward_array: true,
        speed: String::new(),
        usable_mb_s: 0.0,
        utilization_percent: utilization,
        peak_percent: 0.0,
        asked_peak_percent: asked,
        asked_peak_by_arithmetic: false,
        frames: 0,
        payload_bytes: 0,
        overhead_bytes: 0,
        payload_mb_s: 0.0,
        wait_mean_us: 0.0,
        wait_mean_low_us: None,
        wait_mean_high_us: None,
        wait_p50_us: 0.0,
        wait_p99_us: 0.0,
        wait_p999_us: 0.0,
        queue_mean: 0.0,
        queue_max: 0,
        queue_max_bytes: 0,
    }
}

fn steady(directions: Vec<DirectionFigures>) -> Steady {
    Steady {
        case: Case {
            name: String::new(),
            outage: None,
            lost: None,
            carries: None,
        },
        replications: 1,
        warm_up_s: 0.0,
        warm_up_found_s: None,
        duration_s: 1.0,
        bin_s: 1.0,
        saturated: false,
        partial: false,
        stopped_by: None,
        unmeasured: false,
        workloads: Vec::new(),
        directions,
        arrays: Vec::new(),
        hosts: Vec::new(),
        paths: Vec::new(),
        unseen_bursts: Vec::new(),
        events: 0,
        frame_hops: 0,
        ios: 0,
    }
}

#[test]
fn the_busier_direction_counts_with_all_members_together() {
    let tramways = site(TRAMWAYS);
    let fabric = Fabric::new(&tramways);
    let legs = || {
        vec![
            figures("edge-A > san-A/1", "edge-san", 4.0, 5.0),
            figures("edge-A > san-A/2", "edge-san", 6.0, 7.0),
            figures("san-A > edge-A/1", "edge-san", 30.0, 55.0),
            figures("san-A > edge-A/2", "edge-san", 36.0, 65.0),
        ]
    };
    // The same figures in every case: those of lost links must not show.
    let runs = [steady(legs()), steady(legs()), steady(legs())];
    let picture = picture(&tramways, &fabric, &cases(&tramways), &runs);
    let load = crate::outcome::PipeLoad {
        mean_percent: 33.0,
        asked_peak_percent: 60.0,
        fullest_percent: 65.0,
        toward_array: false,
    };
    assert_eq!(
        pipe(&picture, "edge-A", "san-A").load,
        [Some(load), None, Some(load)]
    );
    assert_eq!(pipe(&picture, "edge-B", "san-B").load, [None; 3]);
}
