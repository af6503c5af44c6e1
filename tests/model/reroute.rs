//! Another way through the fabric: when it is in use, by which timer, and what vanishes until then.

use super::fault::{CAUGHT, LOUD, SILENT};
use super::rig::{MS, S, US, at_times, direction, extremes, run, script, site};
use halfloom::model::{Compiled, LogKind, Script, Tally, TimerName};
use halfloom::site::{Action, Slow};
use halfloom::wire::Op;

const DIRECT: &str = "edge-A~core-A";

/// One host on one fabric; from the edge to the core directly, or by way of a third switch.
fn two_ways(
    protocol: &str,
    speed: &str,
    members: u32,
    timers: &str,
    ios: &[(u64, Op, u32)],
) -> Compiled {
    let switches: String = ["edge", "mid", "core"]
        .map(|name| format!("[[switch]]\nname = \"{name}\"\nfabric = \"A\"\n"))
        .concat();
    let links: String = [
        ("app", "edge", 1),
        ("edge", "core", members),
        ("edge", "mid", 1),
        ("mid", "core", 1),
        ("core", "box", 1),
    ]
    .map(|(from, to, members)| {
        format!(
            "[[link]]\nfrom = \"{from}\"\nto = \"{to}\"\nspeed = \"{speed}\"\nmembers = {members}\n"
        )
    })
    .concat();
    let text = format!(
        "format = 1\n[timers]\n{timers}\n[[host]]\nname = \"app\"\nqueue_depth = \"unlimited\"\n{switches}\
         [[array]]\nname = \"box\"\ncontrollers = 1\nread = {{ hit = \"100%\", hit_time = \"100us\" }}\n{links}\
         [[workload]]\nname = \"w\"\nhosts = \"app\"\narray = \"box\"\nprotocol = \"{protocol}\"\n\
         sizes = \"4KiB\"\narrivals = {{ poisson = \"1/s\" }}\n"
    );
    let mut base = site(&text);
    at_times(&mut base, 1, ios);
    Compiled::new(&base, &[])
}

/// Latency of a lone read when the direct way is not there.
fn the_other_way(compiled: &Compiled) -> u64 {
    let mut base = compiled.site.clone();
    at_times(&mut base, 1, &CAUGHT);
    let lost = compiled.fabric.members_of(&[DIRECT.to_owned()], None);
    extremes(&run(&Compiled::new(&base, &lost), &[], S)).0
}

/// When the fabric took note, ps, and by which timer.
fn notes(tally: &Tally) -> Vec<(u64, TimerName)> {
    let entries = tally
        .log
        .iter()
        .filter(|entry| matches!(entry.kind, LogKind::Rerouted(_)));
    entries
        .map(|entry| (entry.at.0, entry.timer.expect("a timer acted").0))
        .collect()
}

/// Fibre Channel, a read a millisecond for a second; the direct link goes at 100.5 ms. The commands of the next
/// 500 ms vanish at the edge, 500 of them, and leave again after the command timeout of 30 s; from then on everything
/// goes by the third switch. The path itself never breaks, so that its host is told nothing.
#[test]
fn frames_vanish_until_fibre_channel_has_another_route() {
    let reads: Vec<(u64, Op, u32)> = (0..1000).map(|ms| (ms * MS, Op::Read, 4096)).collect();
    for (timers, vanish) in [
        ("", 500_u64),
        ("fc_reroute = \"0s\"", 0),
        ("fc_reroute = \"20ms\"", 20),
    ] {
        let compiled = two_ways("fc-scsi", "32GFC", 1, timers, &reads);
        let normal = extremes(&run(&compiled, &[], 2 * S)).0;
        let other = the_other_way(&compiled);
        assert!(other > normal);
        let at = 100 * MS + 500 * US;
        let lost = script(&compiled, at, LOUD, DIRECT, None);
        let tally = run(&compiled, &[lost], 100 * S);
        let work = &tally.workloads[0];
        assert_eq!((work.completed_total, work.failed_total), (1000, 0));
        assert_eq!((work.retried, work.late), (vanish, 0), "{timers}");
        let gone = direction(&compiled, &tally, "edge-A > core-A");
        assert_eq!((gone.delivered, gone.cut, gone.dropped), (101, 0, vanish));
        let third = direction(&compiled, &tally, "edge-A > mid-A");
        assert_eq!(third.delivered, 899);
        let longest = if vanish > 0 { 30 * S + other } else { other };
        assert_eq!(extremes(&tally), (normal, longest));
        assert_eq!(notes(&tally), [(at + vanish * MS, TimerName::Reroute)]);
        let standings = tally
            .log
            .iter()
            .filter(|entry| matches!(entry.kind, LogKind::Path { .. }));
        assert_eq!(standings.count(), 0);
    }
}

/// NVMe over TCP, the command caught: it leaves after the adapter's 15 us, and again 0.2, 0.6, 1.4 … s later. The first
/// of these after the change of the route gets through, the other way.
#[test]
fn tcp_finds_the_other_route_with_its_next_retransmission() {
    for (timers, stall) in [
        ("", 1_400),
        ("ethernet_reroute = \"599ms\"", 600),
        ("ethernet_reroute = \"601ms\"", 1_400),
        ("ethernet_reroute = \"150ms\"", 200),
        ("ethernet_reroute = \"3s\"", 3_000),
    ] {
        let compiled = two_ways("nvme-tcp", "25GbE", 1, timers, &CAUGHT);
        let lost = script(&compiled, 10 * US, LOUD, DIRECT, None);
        let tally = run(&compiled, &[lost], 60 * S);
        assert_eq!(tally.workloads[0].retried, 0);
        // A change after 3 s is over at 3.00001 s, 5 us before the retransmission at 3.000015 s.
        assert_eq!(
            extremes(&tally).0,
            stall * MS + the_other_way(&compiled),
            "{timers}"
        );
    }
    // At once: the command goes the other way straight away.
    let compiled = two_ways("nvme-tcp", "25GbE", 1, "ethernet_reroute = \"0s\"", &CAUGHT);
    let lost = script(&compiled, 10 * US, LOUD, DIRECT, None);
    let tally = run(&compiled, &[lost], 60 * S);
    assert_eq!(extremes(&tally).0, the_other_way(&compiled));
    assert_eq!(tally.workloads[0].resent, 0);
}

/// Between Fibre Channel switches a silent loss shows in the hellos that do not come, for 80 s (FSPF), whatever LACP
/// does elsewhere. A read a second from 1 s on, the loss at 0.5 s: one that comes at t is sent again 30 s apart until
/// it meets the other route at 80.5 s.
#[test]
fn a_silent_loss_between_fibre_channel_switches_lasts_for_the_dead_interval() {
    let reads: Vec<(u64, Op, u32)> = (1..=100).map(|s| (s * S, Op::Read, 4096)).collect();
    for (timers, dead) in [("lacp = \"fast\"", 80_u64), ("fc_dead = \"20s\"", 20)] {
        let compiled = two_ways("fc-scsi", "32GFC", 1, timers, &reads);
        let at = 500 * MS;
        let tally = run(
            &compiled,
            &[script(&compiled, at, SILENT, DIRECT, None)],
            300 * S,
        );
        let again = |t: u64| {
            (0..)
                .find(|k| t + 30 * k > dead)
                .expect("an attempt gets through")
        };
        let work = &tally.workloads[0];
        assert_eq!(work.completed_total, 100);
        assert_eq!(work.retried, (1..=100).map(again).sum::<u64>());
        assert_eq!(
            extremes(&tally).1,
            30 * again(1) * S + the_other_way(&compiled)
        );
        assert_eq!(notes(&tally), [(at + dead * S, TimerName::FabricDead)]);
    }
}

const fn damaged(loss_ppb: u32) -> Action {
    Action::Slow(Slow {
        rate_ppm: Slow::WHOLE,
        loss_ppb,
    })
}

const DAMAGED: Action = damaged(Slow::CERTAIN);

/// Which timer, by what is lost: a group of two between edge and core, and the other way beside it.
#[test]
fn each_loss_has_the_timer_of_its_place() {
    let one = "edge-A~core-A/1";
    let at = 5 * US;
    use TimerName::{FabricDead, Forwarding, Lacp, LagRehash, Reroute};
    for (speed, timers, action, part, expected) in [
        ("32GFC", "", LOUD, one, vec![(200 * MS, LagRehash)]),
        ("32GFC", "", SILENT, one, vec![(80 * S, FabricDead)]),
        ("32GFC", "", LOUD, DIRECT, vec![(500 * MS, Reroute)]),
        ("32GFC", "", SILENT, DIRECT, vec![(80 * S, FabricDead)]),
        // A port towards a host or an array hears no hellos.
        ("32GFC", "", SILENT, "app:A1~edge-A", vec![]),
        ("32GFC", "", SILENT, "core-A~box-c1:A1", vec![]),
        (
            "32GFC",
            "",
            LOUD,
            "app:A1~edge-A",
            vec![(200 * MS, Forwarding)],
        ),
        // Edge and middle look for another way; nobody is left at the core.
        (
            "32GFC",
            "",
            LOUD,
            "core-A",
            vec![(200 * MS, Forwarding), (500 * MS, Reroute)],
        ),
        ("32GFC", "", LOUD, "*-A", vec![(200 * MS, Forwarding)]),
        ("25GbE", "", LOUD, one, vec![(200 * MS, LagRehash)]),
        ("25GbE", "", LOUD, DIRECT, vec![(S, Reroute)]),
        ("25GbE", "", SILENT, one, vec![(90 * S, Lacp)]),
        // What damages every frame damages those of LACP and the hellos too; what damages most of them is not noticed.
        ("25GbE", "", DAMAGED, one, vec![(90 * S, Lacp)]),
        ("32GFC", "", DAMAGED, one, vec![(80 * S, FabricDead)]),
        ("25GbE", "", damaged(Slow::CERTAIN - 1), one, vec![]),
        ("25GbE", "lacp = \"fast\"", SILENT, one, vec![(3 * S, Lacp)]),
        (
            "25GbE",
            "lacp = \"fast\"",
            SILENT,
            DIRECT,
            vec![(3 * S, Lacp)],
        ),
        (
            "25GbE",
            "lacp = \"fast\"",
            SILENT,
            "app:A1~edge-A",
            vec![(3 * S, Lacp)],
        ),
    ] {
        let protocol = if speed == "32GFC" {
            "fc-nvme"
        } else {
            "nvme-tcp"
        };
        let compiled = two_ways(protocol, speed, 2, timers, &CAUGHT);
        let tally = run(
            &compiled,
            &[script(&compiled, at, action, part, None)],
            200 * S,
        );
        let expected: Vec<_> = expected
            .into_iter()
            .map(|(after, name)| (at + after, name))
            .collect();
        assert_eq!(notes(&tally), expected, "{speed} {action:?} {part}");
    }
}

/// Two members go one after the other, and come back: the first loss is a rehash, the second takes the route away;
/// the first return brings it back, the second is a rehash again.
#[test]
fn the_last_member_takes_the_route_with_it() {
    let compiled = two_ways("fc-nvme", "32GFC", 2, "", &CAUGHT);
    let member = |at, action, number: u32| -> Script {
        script(
            &compiled,
            at,
            action,
            &format!("edge-A~core-A/{number}"),
            None,
        )
    };
    use TimerName::{LagRehash, Reroute};
    let scripts = [
        member(S, LOUD, 1),
        member(2 * S, LOUD, 2),
        member(3 * S, Action::Restore, 1),
        member(4 * S, Action::Restore, 2),
    ];
    let expected = [
        (1_200 * MS, LagRehash),
        (2_500 * MS, Reroute),
        (3_500 * MS, Reroute),
        (4_200 * MS, LagRehash),
    ];
    assert_eq!(notes(&run(&compiled, &scripts, 10 * S)), expected);
    // Closer together the second loss makes a route of the first; so it is, whichever is named first.
    for swapped in [false, true] {
        let mut both = [member(S, LOUD, 1), member(S, LOUD, 2)];
        if swapped {
            both.reverse();
        }
        assert_eq!(
            notes(&run(&compiled, &both, 10 * S)),
            [(1_500 * MS, Reroute)]
        );
    }
    // A loss that is over before anybody has noted it changes nothing.
    let short = [member(S, LOUD, 1), member(S, LOUD, 2)]
        .into_iter()
        .chain([1, 2].map(|number| member(S + 100 * MS, Action::Restore, number)))
        .collect::<Vec<_>>();
    assert_eq!(notes(&run(&compiled, &short, 10 * S)), []);
}

/// A pair of switches with groups over both, towards hosts and arrays: the peer of a lost switch serves its groups
/// after a second, and TCP's next retransmission after that gets through.
#[test]
fn the_peer_of_a_lost_switch_takes_its_groups() {
    for (timers, after, stall) in [("", S, 1_400), ("peer_loss = \"100ms\"", 100 * MS, 200)] {
        let text = format!(
            "format = 1\n[timers]\n{timers}\n[[host]]\nname = \"app\"\n\
             [[switch]]\nname = \"lan\"\ncount = 2\nfabric = \"shared\"\n\
             [[array]]\nname = \"box\"\ncontrollers = 1\nread = {{ hit = \"100%\", hit_time = \"100us\" }}\n\
             [[link]]\nfrom = \"app\"\nto = \"lan\"\nspeed = \"25GbE\"\nwiring = \"mesh\"\nlag = \"across\"\n\
             [[link]]\nfrom = \"lan\"\nto = \"box\"\nspeed = \"25GbE\"\nwiring = \"mesh\"\nlag = \"across\"\n\
             [[workload]]\nname = \"w\"\nhosts = \"app\"\narray = \"box\"\nprotocol = \"nvme-tcp\"\nconnections = 1\n\
             sizes = \"4KiB\"\narrivals = {{ poisson = \"1/s\" }}\n"
        );
        let mut base = site(&text);
        at_times(&mut base, 1, &CAUGHT);
        let compiled = Compiled::new(&base, &[]);
        let healthy = run(&compiled, &[], S);
        let normal = extremes(&healthy).0;
        let used = |switch: &str| {
            direction(&compiled, &healthy, &format!("app:1 > {switch}")).delivered > 0
        };
        let (first, second) = if used("lan-1") {
            ("lan-1", "lan-2")
        } else {
            ("lan-2", "lan-1")
        };
        assert!(used(first) && !used(second));
        let lost = script(&compiled, 10 * US, LOUD, first, None);
        let tally = run(&compiled, &[lost], 60 * S);
        assert_eq!(extremes(&tally).0, normal + stall * MS);
        assert_eq!(notes(&tally), [(10 * US + after, TimerName::PeerLoss)]);
    }
}
