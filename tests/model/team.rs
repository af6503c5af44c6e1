//! A host's team of ports for file traffic: one port in use, another one standing by.

use super::fault::{CAUGHT, LOUD, SILENT};
use super::rig::{MS, S, US, at_times, direction, extremes, run, script, site};
use halfloom::model::{Compiled, LogKind, Script, Standing, Tally, TimerName};
use halfloom::site::{Action, Site};
use halfloom::unit::Side;
use halfloom::wire::Op;

const A: Option<Side> = Some(Side::A);

/// One host on two fabrics of an edge and a core each; file traffic.
fn team_site(team: &str, timers: &str) -> Site {
    let text = format!(
        "format = 1\n[[host]]\nname = \"app\"\n{team}\ntimers = {{ {timers} }}\n\
         [[switch]]\nname = \"edge\"\n[[switch]]\nname = \"core\"\n\
         [[array]]\nname = \"box\"\ncontrollers = 1\nread = {{ hit = \"100%\", hit_time = \"100us\" }}\n\
         [[link]]\nfrom = \"app\"\nto = \"edge\"\nspeed = \"25GbE\"\n\
         [[link]]\nfrom = \"edge\"\nto = \"core\"\nspeed = \"25GbE\"\n\
         [[link]]\nfrom = \"core\"\nto = \"box\"\nspeed = \"25GbE\"\n\
         [[workload]]\nname = \"w\"\nhosts = \"app\"\narray = \"box\"\nprotocol = \"nfs\"\n\
         sizes = \"4KiB\"\narrivals = {{ poisson = \"1/s\" }}\n"
    );
    site(&text)
}

fn team(timers: &str, ios: &[(u64, Op, u32)]) -> Compiled {
    let mut base = team_site("team = \"first\"", timers);
    at_times(&mut base, 1, ios);
    Compiled::new(&base, &[])
}

/// When the team noticed and moved, ps, and by which timers.
fn story(tally: &Tally) -> Vec<(u64, &'static str, Option<TimerName>)> {
    let entries = tally.log.iter();
    entries
        .filter_map(|entry| {
            let what = match entry.kind {
                LogKind::TeamNoticed { .. } => "noticed",
                LogKind::TeamMoved { .. } => "moved",
                _ => return None,
            };
            Some((entry.at.0, what, entry.timer.map(|(name, _)| name)))
        })
        .collect()
}

/// The link in use goes at 10 us, the call of a read not yet sent (it leaves after the adapter's 15 us). The team
/// notices after link-loss detection and uses the other port so much later; the call leaves again when TCP's timer
/// runs out for the first time after that: 0.2, 0.6, 1.4, 3.0 … s after it first left.
#[test]
fn the_call_leaves_again_with_the_first_retransmission_after_the_switch_over() {
    let at = 10 * US;
    for (timers, moved, stall) in [
        // The defaults: 100 and 50 ms.
        ("", 150, 200),
        ("team_switch = \"0s\"", 100, 200),
        // Over at 0.20001 s exactly, 5 us before the first retransmission at 0.200015 s.
        ("team_switch = \"100ms\"", 200, 200),
        ("team_switch = \"101ms\"", 201, 600),
        (
            "link_loss_detect = \"1s\", team_switch = \"350ms\"",
            1_350,
            1_400,
        ),
        (
            "link_loss_detect = \"1s\", team_switch = \"450ms\"",
            1_450,
            3_000,
        ),
        // A longer smallest timeout.
        ("tcp_rto_min = \"1s\"", 150, 1_000),
    ] {
        let compiled = team(timers, &CAUGHT);
        let normal = extremes(&run(&compiled, &[], S)).0;
        for (part, side) in [("app:A1~edge-A", None), ("edge-A", None), ("", A)] {
            let lost = script(&compiled, at, LOUD, part, side);
            let tally = run(&compiled, &[lost], 20 * S);
            let work = &tally.workloads[0];
            assert_eq!((work.completed_total, work.failed_total), (1, 0));
            // The same attempt: the connection has moved with it.
            assert_eq!((work.retried, work.late), (0, 0));
            assert_eq!(extremes(&tally).0, normal + stall * MS, "{timers}");
            let notice = story(&tally)[0];
            assert_eq!(
                (notice.1, notice.2),
                ("noticed", Some(TimerName::LinkLossDetect))
            );
            assert_eq!(
                story(&tally)[1],
                (at + moved * MS, "moved", Some(TimerName::TeamSwitch)),
                "{timers}"
            );
        }
    }
}

/// A reply that the loss catches in the array leaves towards the dead port, and again to the other one: the array
/// sends it 200 ms after it first left, by when the team has moved.
#[test]
fn the_reply_finds_the_other_port() {
    let compiled = team("", &CAUGHT);
    let normal = extremes(&run(&compiled, &[], S)).0;
    let lost = script(&compiled, 50 * US, LOUD, "app:A1~edge-A", None);
    let tally = run(&compiled, &[lost], 20 * S);
    let work = &tally.workloads[0];
    assert_eq!((work.completed_total, work.retried, work.resent), (1, 0, 1));
    assert_eq!(extremes(&tally).0, normal + 200 * MS);
    // Once in the array: nothing is asked for twice.
    assert_eq!(tally.controllers[0].served, 1);
    assert!(direction(&compiled, &tally, "edge-B > app:B1").delivered > 0);
    // The one acknowledgement of its three segments, and no call.
    assert_eq!(direction(&compiled, &tally, "app:B1 > edge-B").delivered, 1);
    assert_eq!([0, 1].map(|path| tally.paths[path].completed_total), [0, 1]);
}

/// Behind a link that is up a team without a probe sees nothing, however loud the loss is to others: the mount's
/// keep-alive gives the way up after 5 s, and the no-path policy decides; B is never tried. A probe finds it.
#[test]
fn only_a_probe_sees_behind_a_link_that_is_up() {
    let at = 10 * US;
    for (action, part) in [
        (LOUD, "edge-A~core-A"),
        (SILENT, "edge-A~core-A"),
        (SILENT, "app:A1~edge-A"),
        (SILENT, "edge-A"),
    ] {
        let compiled = team("", &CAUGHT);
        let lost = script(&compiled, at, action, part, None);
        let tally = run(&compiled, std::slice::from_ref(&lost), 100 * S);
        let work = &tally.workloads[0];
        assert_eq!((work.completed_total, work.failed_total), (0, 1), "{part}");
        assert_eq!((work.longest.0, story(&tally).len()), (at + 5 * S, 0));
        // With `queue` it hangs until the way is back, and is found by the next try, 10 s apart.
        let compiled = team("no_path = \"queue\"", &CAUGHT);
        let normal = extremes(&run(&compiled, &[], S)).0;
        let back = script(&compiled, 40 * S, Action::Restore, part, None);
        let tally = run(&compiled, &[lost.clone(), back], 100 * S);
        assert_eq!(tally.workloads[0].completed_total, 1);
        assert_eq!(extremes(&tally).0, at + 45 * S + normal, "{part}");
        assert!(story(&tally).is_empty());
        // A probe of a second: noticed then, moved 50 ms later; TCP's timer runs out at 1.4 s.
        let compiled = team("team_probe = \"1s\"", &CAUGHT);
        let tally = run(&compiled, &[lost], 100 * S);
        assert_eq!(extremes(&tally).0, normal + 1_400 * MS, "{part}");
        assert_eq!(
            story(&tally),
            [
                (at + S, "noticed", Some(TimerName::TeamProbe)),
                (at + S + 50 * MS, "moved", Some(TimerName::TeamSwitch)),
            ]
        );
    }
}

/// A switch that takes its host ports down when its uplinks are gone shows a team what it could not see.
#[test]
fn ports_taken_down_show_a_team_the_loss() {
    let mut base = team_site("team = \"first\"", "");
    base.switches[0].on_uplink_loss =
        halfloom::site::UplinkLoss::DropHostPorts(halfloom::unit::Duration(200 * MS));
    at_times(&mut base, 1, &CAUGHT);
    let compiled = Compiled::new(&base, &[]);
    let normal = extremes(&run(&compiled, &[], S)).0;
    let at = 10 * US;
    let lost = script(&compiled, at, LOUD, "edge-A~core-A", None);
    let tally = run(&compiled, &[lost], 100 * S);
    // 200 ms until the ports go down, 100 until that is seen, 50 to move: the retransmission at 600 ms.
    assert_eq!(story(&tally)[1].0, at + 350 * MS);
    assert_eq!(extremes(&tally).0, normal + 600 * MS);
}

/// A away from 1 s to 20 s, reads a second apart: over A, over B, and by the failback over A again.
#[test]
fn failback_decides_when_the_preferred_port_is_used_again() {
    let reads: Vec<(u64, Op, u32)> = (0..40).map(|n| (n * S, Op::Read, 4096)).collect();
    for (failback, back, over_a) in [
        // Link up is seen after 100 ms.
        ("immediate", Some((20 * S + 100 * MS, 0)), 2 + 19),
        ("7s", Some((27 * S + 100 * MS, 7 * S)), 2 + 12),
        ("manual", None, 2),
    ] {
        let compiled = team(&format!("failback = \"{failback}\""), &reads);
        let scripts = [
            script(&compiled, S + 500 * US, LOUD, "app:A1~edge-A", None),
            script(&compiled, 20 * S, Action::Restore, "app:A1~edge-A", None),
        ];
        let tally = run(&compiled, &scripts, 60 * S);
        let work = &tally.workloads[0];
        assert_eq!((work.completed_total, work.retried), (40, 0));
        let moves = story(&tally);
        let last = moves.last().copied();
        match back {
            Some((at, _)) => assert_eq!(last, Some((at, "moved", Some(TimerName::Failback)))),
            None => assert_eq!(last.unwrap().0, S + 500 * US + 150 * MS),
        }
        assert_eq!(
            [0, 1].map(|path| tally.paths[path].completed_total),
            [over_a, 40 - over_a],
            "{failback}"
        );
        // With B lost afterwards, A is used whatever the failback says.
        let more: Vec<Script> = scripts
            .iter()
            .cloned()
            .chain([script(
                &compiled,
                30 * S + 500 * US,
                LOUD,
                "app:B1~edge-B",
                None,
            )])
            .collect();
        let tally = run(&compiled, &more, 60 * S);
        assert_eq!(tally.workloads[0].completed_total, 40);
        assert_eq!(tally.paths[0].completed_total, over_a.max(2 + 9));
    }
}

/// Both ports are lost: the I/Os hang at the mount, and the first port that is back is used.
#[test]
fn a_team_without_any_port_waits_for_one() {
    let compiled = team("no_path = \"queue\", keep_alive = \"60s\"", &CAUGHT);
    let normal = extremes(&run(&compiled, &[], S)).0;
    let scripts = [
        script(&compiled, 10 * US, LOUD, "app:A1~edge-A", None),
        script(&compiled, 10 * US, LOUD, "app:B1~edge-B", None),
        script(&compiled, 10 * S, Action::Restore, "app:B1~edge-B", None),
    ];
    let tally = run(&compiled, &scripts, 60 * S);
    // Seen and moved at 10.15 s; TCP's timer runs out at 0.2 × (2^6 - 1) = 12.6 s.
    assert_eq!(story(&tally).last().unwrap().0, 10 * S + 150 * MS);
    assert_eq!(extremes(&tally).0, normal + 12_600 * MS);
    assert_eq!(tally.workloads[0].retried, 0);
    // A link that is back before the loss is noticed moves nothing.
    let scripts = [
        script(&compiled, 10 * US, LOUD, "app:A1~edge-A", None),
        script(&compiled, 50 * MS, Action::Restore, "app:A1~edge-A", None),
    ];
    let tally = run(&compiled, &scripts, 60 * S);
    assert!(story(&tally).is_empty());
    assert_eq!(extremes(&tally).0, normal + 200 * MS);
}

/// A drain moves a team on purpose: nothing is lost, and the loss that follows finds nothing.
#[test]
fn a_drain_moves_a_team_without_a_stall() {
    let reads: Vec<(u64, Op, u32)> = (0..20).map(|n| (n * 100 * MS, Op::Read, 4096)).collect();
    let compiled = team("", &reads);
    let (normal, _) = extremes(&run(&compiled, &[], 3 * S));
    let scripts = [
        script(&compiled, 500 * MS + 50 * US, Action::Drain, "", A),
        script(&compiled, S + 50 * US, LOUD, "", A),
    ];
    let tally = run(&compiled, &scripts, 10 * S);
    let work = &tally.workloads[0];
    assert_eq!(
        (work.completed_total, work.retried, work.resent),
        (20, 0, 0)
    );
    // The reply of the read under way at the drain goes to the other port already.
    assert_eq!(extremes(&tally), (normal, normal));
    assert_eq!(
        [0, 1].map(|path| tally.paths[path].completed_total),
        [5, 15]
    );
}

/// Hosts take turns or all prefer A; standing by means that nothing goes there. Other protocols of the same hosts
/// use all their paths.
#[test]
fn which_port_is_in_front() {
    for (word, share) in [
        ("first", [40, 0]),
        ("alternate", [20, 20]),
        ("off", [20, 20]),
    ] {
        let mut base = team_site(
            &format!("count = 2\npaths = \"round-robin\"\nteam = \"{word}\""),
            "",
        );
        let ios: Vec<(u64, Op, u32)> = (0..20).map(|n| (n * MS, Op::Read, 4096)).collect();
        at_times(&mut base, 2, &ios);
        let compiled = Compiled::new(&base, &[]);
        let tally = run(&compiled, &[], S);
        let over = |side: Side| -> u64 {
            let paths = compiled.path_names().zip(&tally.paths);
            paths
                .filter(|(name, _)| name.side == Some(side))
                .map(|(_, path)| path.completed_total)
                .sum()
        };
        assert_eq!(Side::BOTH.map(over), share, "{word}");
        let standing = compiled
            .path_names()
            .filter(|path| path.begins == Standing::Standby);
        assert_eq!(standing.count(), if word == "off" { 0 } else { 2 });
    }
}

/// Losses are counted: a port that is lost by its own name and its link's is back with the second return, whichever
/// comes first, and is used again only then.
#[test]
fn a_port_lost_twice_needs_two_returns() {
    let reads: Vec<(u64, Op, u32)> = (0..10).map(|n| (n * S, Op::Read, 4096)).collect();
    let compiled = team("", &reads);
    let link = "app:A1~edge-A";
    let port = "app:A1";
    for (first, second) in [(link, port), (port, link)] {
        let scripts = [
            script(&compiled, S + 500 * MS, LOUD, port, None),
            script(&compiled, 2 * S + 500 * MS, LOUD, link, None),
            script(&compiled, 3 * S + 500 * MS, Action::Restore, first, None),
            script(&compiled, 5 * S + 500 * MS, Action::Restore, second, None),
        ];
        let tally = run(&compiled, &scripts, 20 * S);
        let work = &tally.workloads[0];
        assert_eq!((work.completed_total, work.resent), (10, 0));
        // Away at 1.65 s, back at 5.6 s; a third return would change nothing.
        let at: Vec<u64> = story(&tally).iter().map(|entry| entry.0 / MS).collect();
        assert_eq!(at, [1_600, 1_650, 5_600]);
        assert_eq!(
            [0, 1].map(|path| tally.paths[path].completed_total),
            [2 + 4, 4]
        );
        let again = [
            &scripts[..],
            &[script(&compiled, 7 * S, Action::Restore, port, None)],
        ]
        .concat();
        assert_eq!(story(&run(&compiled, &again, 20 * S)), story(&tally));
    }
}
