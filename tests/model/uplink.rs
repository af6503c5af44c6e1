//! Uplinks that go dark, and controllers that are given up for good.

use super::fault::{CAUGHT, LOUD, SILENT, dual, latency};
use super::rig::{MS, S, US, at_times, extremes, run, script, site};
use halfloom::model::{Compiled, LogKind, Standing, Tally, TimerName};
use halfloom::site::Action;
use halfloom::unit::Side;
use halfloom::wire::Op;

/// One host on two fabrics of two tiers; the edge switches do `what` when their uplinks are gone.
fn two_tiers(what: &str, ios: &[(u64, Op, u32)]) -> Compiled {
    let text = format!(
        "format = 1\n[[host]]\nname = \"app\"\npaths = \"one-path\"\n\
         [[switch]]\nname = \"edge\"\nfabric = \"each\"\non_uplink_loss = {what}\n\
         [[switch]]\nname = \"core\"\nfabric = \"each\"\n\
         [[array]]\nname = \"box\"\ncontrollers = 1\nread = {{ hit = \"100%\", hit_time = \"100us\" }}\n\
         [[link]]\nfrom = \"app\"\nto = \"edge\"\nspeed = \"32GFC\"\n\
         [[link]]\nfrom = \"edge\"\nto = \"core\"\nspeed = \"32GFC\"\nmembers = 2\n\
         [[link]]\nfrom = \"core\"\nto = \"box\"\nspeed = \"32GFC\"\n\
         [[workload]]\nname = \"w\"\nhosts = \"app\"\narray = \"box\"\nprotocol = \"fc-scsi\"\n\
         sizes = \"4KiB\"\narrivals = {{ poisson = \"1/s\" }}\n"
    );
    let mut site = site(&text);
    at_times(&mut site, 1, ios);
    Compiled::new(&site, &[])
}

fn times(tally: &Tally, kind: LogKind) -> Vec<u64> {
    let entries = tally.log.iter().filter(|entry| entry.kind == kind);
    entries.map(|entry| entry.at.0).collect()
}

/// Both uplinks of edge-A go dark at 50 us, a read under way. With its ports left up, its host is told of a
/// loss beyond its own link after 100 + 500 ms; with the ports taken down 200 ms later it sees its own link
/// go after 200 + 100 ms; without delay after 100 ms. Then fast-io-fail holds the path for 5 s more.
#[test]
fn hosts_notice_sooner_when_their_ports_go_down() {
    let at = 50 * US;
    for (what, dropped, noticed, timer) in [
        ("\"keep\"", None, 600 * MS, TimerName::StateNotice),
        (
            "\"drop-host-ports\"",
            Some(200 * MS),
            300 * MS,
            TimerName::LinkLossDetect,
        ),
        (
            "{ action = \"drop-host-ports\", after = \"0s\" }",
            Some(0),
            100 * MS,
            TimerName::LinkLossDetect,
        ),
        // Later than the notice: it comes first.
        (
            "{ action = \"drop-host-ports\", after = \"2s\" }",
            Some(2 * S),
            600 * MS,
            TimerName::StateNotice,
        ),
    ] {
        let compiled = two_tiers(what, &CAUGHT);
        let (normal, _) = extremes(&run(&compiled, &[], S));
        let lost = script(&compiled, at, LOUD, "edge-A~core-A", None);
        let tally = run(&compiled, &[lost], 20 * S);
        let expected: Vec<u64> = dropped.map(|after| at + after).into_iter().collect();
        assert_eq!(times(&tally, LogKind::PortsDropped(0)), expected, "{what}");
        let held = tally.log.iter().find(|entry| {
            matches!(
                entry.kind,
                LogKind::Path {
                    to: Standing::Blocked,
                    ..
                }
            )
        });
        let held = held.expect("the path is held");
        assert_eq!(
            (held.at.0, held.timer.unwrap().0),
            (at + noticed, timer),
            "{what}"
        );
        assert_eq!(extremes(&tally).1, at + noticed + 5 * S + normal, "{what}");
        assert_eq!(tally.workloads[0].retried, 1);
    }
}

/// One uplink of two is enough; a loss without a signal is not seen; a switch lost itself does nothing.
#[test]
fn ports_stay_up_as_long_as_an_uplink_shines() {
    let compiled = two_tiers("\"drop-host-ports\"", &CAUGHT);
    for (action, parts) in [
        (LOUD, "edge-A~core-A/1"),
        (SILENT, "edge-A~core-A"),
        (LOUD, "edge-A"),
    ] {
        let lost = script(&compiled, 50 * US, action, parts, None);
        let tally = run(&compiled, &[lost], 100 * S);
        assert!(
            times(&tally, LogKind::PortsDropped(0)).is_empty(),
            "{parts}"
        );
    }
}

/// The ports come back with the first uplink, and the path with them; a loss shorter than the delay is not
/// noticed at all.
#[test]
fn ports_come_back_with_an_uplink() {
    let compiled = two_tiers("\"drop-host-ports\"", &CAUGHT);
    for (back, seen) in [(2 * S, true), (150 * MS, false)] {
        let scripts = [
            script(&compiled, 50 * US, LOUD, "edge-A~core-A", None),
            script(&compiled, back, Action::Restore, "edge-A~core-A/2", None),
        ];
        let tally = run(&compiled, &scripts, 100 * S);
        assert_eq!(!times(&tally, LogKind::PortsDropped(0)).is_empty(), seen);
        let expected: &[u64] = if seen { &[back] } else { &[] };
        assert_eq!(times(&tally, LogKind::PortsBack(0)), expected);
        let work = &tally.workloads[0];
        assert_eq!((work.completed_total, work.failed_total), (1, 0));
    }
}

/// The last uplink of a core takes its ports to the edge down, and so the edge's uplinks: the hosts see it
/// after both delays.
#[test]
fn dark_uplinks_cascade() {
    let mut site = two_tiers("\"drop-host-ports\"", &CAUGHT).site;
    site.switches[1].on_uplink_loss = site.switches[0].on_uplink_loss;
    let compiled = Compiled::new(&site, &[]);
    let at = 50 * US;
    let lost = script(&compiled, at, LOUD, "core-A~box-c1:A1", None);
    let tally = run(&compiled, &[lost], 20 * S);
    let switch = |name: &str| {
        let fabric = &compiled.fabric;
        let found = fabric
            .switches
            .iter()
            .position(|switch| fabric.nodes[switch.node.0 as usize].name == name);
        u32::try_from(found.unwrap()).unwrap()
    };
    let dropped = |name| times(&tally, LogKind::PortsDropped(switch(name)));
    assert_eq!(dropped("core-A"), [at + 200 * MS]);
    assert_eq!(dropped("edge-A"), [at + 400 * MS]);
}

/// Fabric A is gone from 50 us to 60 s. Keep-alive notices it after 5 s; a new connection is tried every 10 s.
/// With 25 s until the controller is given up, the third try in vain is the last: the kernel counts tries,
/// 25 / 10 rounded up. Without, the path is back at the first try after the return.
#[test]
fn a_controller_is_given_up_for_good() {
    for (limit, last) in [(25 * S, Standing::Removed), (600 * S, Standing::Up)] {
        let mut site = dual("nvme-tcp", "25GbE", "", &CAUGHT).site;
        site.hosts[0].timers.controller_loss = halfloom::unit::Duration(limit);
        let compiled = Compiled::new(&site, &[]);
        let at = 50 * US;
        let scripts = [
            script(&compiled, at, LOUD, "", Some(Side::A)),
            script(&compiled, 60 * S, Action::Restore, "", Some(Side::A)),
        ];
        let tally = run(&compiled, &scripts, 100 * S);
        let of_path = tally.log.iter().filter_map(|entry| match entry.kind {
            LogKind::Path { path: 0, to } => Some((entry.at.0, to)),
            _ => None,
        });
        let changes: Vec<_> = of_path.collect();
        let (when, standing) = *changes.last().expect("the path changes");
        let tries = if last == Standing::Removed { 3 } else { 6 };
        assert_eq!((when, standing), (at + 5 * S + tries * 10 * S, last));
        assert_eq!(tally.workloads[0].completed_total, 1);
        assert!(latency(&compiled, &[]) < MS);
    }
}
