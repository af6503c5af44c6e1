//! Routes, which share what they know of the ways to a switch, against a search of its own for each port.

use super::rig::{MS, at_times, direction, run, site};
use halfloom::engine::Draws;
use halfloom::model::Compiled;
use halfloom::site::Carries;
use halfloom::topology::{DirectionId, Fabric, NodeId, NodeKind, RouteContext, Routes};
use halfloom::wire::{Family, Op};
use std::collections::VecDeque;

/// Whether a direction can be used: alive, of the fabric, and carrying the family.
fn usable(fabric: &Fabric, alive: &[bool], context: RouteContext, direction: DirectionId) -> bool {
    let member = direction.member().0 as usize;
    let carries = fabric.directions[direction.index()].carries;
    let carried = matches!(
        (context.family, carries),
        (Family::Any, _)
            | (_, Carries::All)
            | (Family::Fc, Carries::Fc)
            | (Family::Ip, Carries::Ip)
    );
    let side = fabric.members[member].side;
    alive[member] && carried && (side.is_none() || context.side.is_none() || side == context.side)
}

/// Hops to the destination from every node, by going backwards; ports pass nothing on.
fn hops(fabric: &Fabric, alive: &[bool], context: RouteContext) -> Vec<Option<u32>> {
    let mut hops = vec![None; fabric.nodes.len()];
    hops[context.to.0 as usize] = Some(0);
    let mut open = VecDeque::from([(context.to, 0)]);
    while let Some((node, far)) = open.pop_front() {
        for direction in (0..).map(DirectionId).take(fabric.directions.len()) {
            let ends = &fabric.directions[direction.index()];
            let from = ends.from.0 as usize;
            if ends.to == node && hops[from].is_none() && usable(fabric, alive, context, direction)
            {
                hops[from] = Some(far + 1);
                if matches!(fabric.nodes[from].kind, NodeKind::Switch(_)) {
                    open.push_back((ends.from, far + 1));
                }
            }
        }
    }
    hops
}

#[test]
fn shared_ways_are_those_of_a_search_for_each_port() {
    let sites = [
        include_str!("../../scenarios/ostrel.toml"),
        include_str!("../../scenarios/ostrel-ethernet.toml"),
    ];
    let mut draws = Draws::named(&[0x726f_7574_6573]);
    let mut compared = 0;
    for text in sites {
        let fabric = Fabric::new(&site(text));
        for round in 0..12 {
            // From everything alive to nearly nothing.
            let gone = f64::from(round) * 0.06;
            let alive: Vec<bool> = fabric
                .members
                .iter()
                .map(|_| draws.uniform() >= gone)
                .collect();
            let mut routes = Routes::default();
            for (index, port) in (0_u32..).zip(&fabric.nodes) {
                let hosts = match port.kind {
                    NodeKind::Switch(_) => continue,
                    NodeKind::HostPort(_) => true,
                    NodeKind::ArrayPort(_) => false,
                };
                for family in [Family::Fc, Family::Ip, Family::Any] {
                    let context = RouteContext {
                        family,
                        side: port.side,
                        to: NodeId(index),
                    };
                    let table = routes.table(&fabric, &alive, context);
                    let hops = hops(&fabric, &alive, context);
                    for (from, node) in (0_u32..).zip(&fabric.nodes) {
                        let alike = match node.kind {
                            NodeKind::Switch(_) => false,
                            NodeKind::HostPort(_) => hosts,
                            NodeKind::ArrayPort(_) => !hosts,
                        };
                        // No frame goes from a host to a host, or from an array to an array.
                        if alike || from == index {
                            continue;
                        }
                        let closer = |direction: &DirectionId| {
                            let far = fabric.directions[direction.index()].to.0 as usize;
                            usable(&fabric, &alive, context, *direction)
                                && hops[from as usize].is_some()
                                && hops[far].map(|hops| hops + 1) == hops[from as usize]
                        };
                        let expected: Vec<_> = node.out.iter().copied().filter(closer).collect();
                        let found = routes.next(&fabric, table, NodeId(from));
                        assert_eq!(found, expected, "{} to {}", node.name, port.name);
                        compared += usize::from(!expected.is_empty());
                    }
                }
            }
        }
    }
    assert!(compared > 10_000, "{compared} ways compared");
}

/// Reads of 64 KiB over Fibre Channel: 32 frames of 2,048 B and the response come back, all of one exchange on one member.
/// Exchanges are spread evenly: each member has N ÷ m of them, to five standard deviations of a binomial (a chance of 6
/// in 10 million for each of the nine).
#[test]
fn an_exchange_keeps_to_one_member_and_exchanges_are_spread_evenly() {
    let exchanges = 3_000_u32;
    for members in [2_u32, 3, 4] {
        let text = format!(
            "format = 1\n[[host]]\nname = \"app\"\npaths = \"one-path\"\n\
             [[switch]]\nname = \"edge\"\n[[switch]]\nname = \"core\"\n\
             [[array]]\nname = \"box\"\ncontrollers = 1\nread = {{ hit = \"100%\", hit_time = \"10us\" }}\n\
             [[link]]\nfrom = \"app\"\nto = \"edge\"\nspeed = \"32GFC\"\n\
             [[link]]\nfrom = \"edge\"\nto = \"core\"\nspeed = \"32GFC\"\nmembers = {members}\nchoose = \"exchange\"\n\
             [[link]]\nfrom = \"core\"\nto = \"box\"\nspeed = \"32GFC\"\n\
             [[workload]]\nname = \"w\"\nhosts = \"app\"\narray = \"box\"\nprotocol = \"fc-scsi\"\n\
             sizes = \"64KiB\"\narrivals = {{ poisson = \"1/s\" }}\n"
        );
        let mut site = site(&text);
        let ios: Vec<(u64, Op, u32)> = (0..exchanges)
            .map(|number| (u64::from(number) * MS / 10, Op::Read, 65_536))
            .collect();
        at_times(&mut site, 1, &ios);
        let compiled = Compiled::new(&site, &[]);
        let tally = run(&compiled, &[], u64::from(exchanges) * MS);
        assert_eq!(tally.workloads[0].completed_total, u64::from(exchanges));
        let frames = |number: u32| {
            let name = format!("core-A > edge-A/{number}");
            direction(&compiled, &tally, &name).frames
        };
        let found: Vec<u64> = (1..=members).map(frames).collect();
        assert!(found.iter().all(|frames| frames % 33 == 0), "{found:?}");
        assert_eq!(found.iter().sum::<u64>(), 33 * u64::from(exchanges));
        let (all, share) = (f64::from(exchanges), 1.0 / f64::from(members));
        let five = 5.0 * (all * share * (1.0 - share)).sqrt();
        for frames in found {
            let own = frames as f64 / 33.0;
            assert!(
                (own - all * share).abs() < five,
                "{own} of {all} in {members}"
            );
        }
    }
}
