//! What a fault cuts, what it costs an I/O, and that every frame and every I/O is accounted for.

use super::rig::{MS, S, US, at_times, direction, extremes, run, script, site};
use super::stalls;
use halfloom::model::{Compiled, LogKind, Script, Standing, TimerName};
use halfloom::site::{Action, LossMode, NoPath, Site};
use halfloom::unit::Side;
use halfloom::wire::Op;

pub(super) const LOUD: Action = Action::Lose(LossMode::Loud);
pub(super) const SILENT: Action = Action::Lose(LossMode::Silent);

/// One host, one switch, one array on one fabric. A write is ten frames of 1250 B; at 10 Gb/s each takes
/// 1 us, and every link adds 100 ns of propagation.
pub(super) fn burst_site(speed: &str, forwarding: &str) -> Compiled {
    let text = format!(
        "format = 1\n[[host]]\nname = \"app\"\n\
         [[switch]]\nname = \"sw\"\nfabric = \"A\"\ndelay = \"0s\"\nforwarding = \"{forwarding}\"\n\
         [[array]]\nname = \"box\"\ncontrollers = 1\n\
         [[link]]\nfrom = \"app\"\nto = \"sw\"\nspeed = \"{speed}\"\npropagation = \"100ns\"\n\
         [[link]]\nfrom = \"sw\"\nto = \"box\"\nspeed = \"{speed}\"\npropagation = \"100ns\"\n\
         [[workload]]\nname = \"w\"\nhosts = \"app\"\narray = \"box\"\nprotocol = \"plain\"\n\
         request = 12500\nresponse = 1\nframe = 1250\nread = \"0%\"\n\
         arrivals = {{ poisson = \"1/s\" }}\n"
    );
    let mut site = site(&text);
    at_times(&mut site, 1, &[(0, Op::Write, 12_500)]);
    Compiled::new(&site, &[])
}

/// Frame k is on the first link from k to k + 1 us and arrives 100 ns later. What a loss at t leaves:
/// delivered (arrived before t), cut (started before t), dropped (the rest), and busy until t at most.
#[test]
fn a_burst_is_cut_where_the_fault_strikes() {
    let compiled = burst_site("10Gb/s", "store-and-forward");
    // When; delivered, cut, dropped; busy, ps.
    let rows = [
        // Nothing has left: frame 0 starts at 0, not before.
        (0, (0, 0, 10), 0),
        (1, (0, 1, 9), 1),
        // Frame 3 would start in the instant of the fault: it never leaves; frame 2 is in the cable.
        (3_000_000, (2, 1, 7), 3_000_000),
        (3_050_000, (2, 2, 6), 3_050_000),
        // Frame 2 would arrive in the instant of the fault and is lost …
        (3_100_000, (2, 2, 6), 3_100_000),
        // … a picosecond later it is there.
        (3_100_001, (3, 1, 6), 3_100_001),
        (3_500_000, (3, 1, 6), 3_500_000),
        // All sent: busy for the ten frames and not until the fault.
        (10_050_000, (9, 1, 0), 10_000_000),
        (10_100_001, (10, 0, 0), 10_000_000),
    ];
    for (at, (delivered, cut, dropped), busy) in rows {
        let lost = script(&compiled, at, LOUD, "app:A1~sw-A", None);
        let tally = run(&compiled, &[lost], MS);
        let first = direction(&compiled, &tally, "app:A1 > sw-A");
        assert_eq!(
            (first.delivered, first.cut, first.dropped),
            (delivered, cut, dropped),
            "at {at} ps"
        );
        assert_eq!(
            (first.offered, first.busy_total, first.busy),
            (10, busy, busy),
            "at {at} ps"
        );
        assert_eq!(first.delivered_bytes, 1250 * delivered);
        assert_eq!(
            first.cut_bytes + first.dropped_bytes,
            1250 * (10 - delivered)
        );
        // What had arrived goes on.
        let second = direction(&compiled, &tally, "sw-A > box-c1:A1");
        assert_eq!((second.offered, second.delivered), (delivered, delivered));
        assert_eq!((second.cut, second.dropped), (0, 0));
        assert_eq!(tally.discarded, 0);
    }
}

/// Frames that wait in a switch are lost with it, and only those: the first link is 4 times as fast, so
/// frame k arrives at (k + 1)/4 + 0.1 us, and starts on the second link at 0.35 + k us.
#[test]
fn a_lost_switch_takes_what_waits_in_it() {
    let mut site = burst_site("10Gb/s", "store-and-forward").site;
    let fast = burst_site("40Gb/s", "store-and-forward").site;
    site.links[0] = fast.links[0].clone();
    let compiled = Compiled::new(&site, &[]);
    let at = 1_900_000;
    let tally = run(&compiled, &[script(&compiled, at, LOUD, "sw-A", None)], MS);
    // Before 1.9 us frames 0 to 6 have arrived (frame 6 at 1.85); frame 7 has left the host and is in the
    // cable until 2.1, frames 8 and 9 have not left.
    let first = direction(&compiled, &tally, "app:A1 > sw-A");
    assert_eq!((first.delivered, first.cut, first.dropped), (7, 1, 2));
    // Of the seven, frame 0 has left at 1.35 and arrived at 1.45; frame 1 is on the wire; five wait.
    let second = direction(&compiled, &tally, "sw-A > box-c1:A1");
    assert_eq!((second.delivered, second.cut, second.dropped), (1, 1, 5));
    assert_eq!(second.busy, at - 350_000);
    // With only the first link lost they go on.
    let cut = script(&compiled, at, LOUD, "app:A1~sw-A", None);
    let tally = run(&compiled, &[cut], MS);
    let second = direction(&compiled, &tally, "sw-A > box-c1:A1");
    assert_eq!((second.delivered, second.cut, second.dropped), (7, 0, 0));
}

/// On Ethernet a header is 22 B, 17.6 ns at 10 Gb/s: frame 3 starts at 3 us, its header is at the switch at
/// 3.1176 us and goes on. Cut at 3.5 us, the rest never comes: the spoilt frame takes its time on the second
/// link and is thrown away at the end.
#[test]
fn a_frame_cut_behind_its_header_is_discarded_at_its_end() {
    let compiled = burst_site("10GbE", "cut-through");
    for (at, second_link, discarded) in [
        // Header not there yet: nothing of it goes on.
        (3_117_600, 3, 0),
        (3_117_601, 4, 1),
        (3_500_000, 4, 1),
        // Frame 3 is whole; the header of frame 4 is on.
        (4_200_000, 5, 1),
    ] {
        let lost = script(&compiled, at, LOUD, "app:A1~sw-A", None);
        let tally = run(&compiled, &[lost], MS);
        let first = direction(&compiled, &tally, "app:A1 > sw-A");
        let whole = (at - 100_001) / US;
        assert_eq!((first.delivered, first.cut), (whole, 1), "at {at} ps");
        let second = direction(&compiled, &tally, "sw-A > box-c1:A1");
        assert_eq!(second.delivered, second_link, "at {at} ps");
        assert_eq!(second.busy, second_link * US);
        assert_eq!(tally.discarded, discarded, "at {at} ps");
    }
}

/// One host on one path whose every attempt times out after 300 us, for the array takes 500 us. Links of
/// 10 Gb/s and 100 ns; frames of 1250 B take 1 us a link.
fn slow_array(extra: &str, arrivals: &[(u64, Op, u32)]) -> Site {
    let text = format!(
        "format = 1\n[[host]]\nname = \"app\"\n\
         timers = {{ command_timeout = \"300us\", retries = 5, path_check = \"1ms\", no_path = \"queue\" }}\n\
         [[switch]]\nname = \"sw\"\nfabric = \"A\"\ndelay = \"0s\"\n\
         [[array]]\nname = \"box\"\ncontrollers = 1\nparallel = 64\n{extra}\n\
         [[link]]\nfrom = \"app\"\nto = \"sw\"\nspeed = \"10Gb/s\"\npropagation = \"100ns\"\n\
         [[link]]\nfrom = \"sw\"\nto = \"box\"\nspeed = \"10Gb/s\"\npropagation = \"100ns\"\n\
         [[workload]]\nname = \"w\"\nhosts = \"app\"\narray = \"box\"\nprotocol = \"plain\"\n\
         request = 1250\nresponse = 1250\nframe = 1250\nread = \"0%\"\n\
         arrivals = {{ poisson = \"1/s\" }}\n"
    );
    let mut site = site(&text);
    at_times(&mut site, 1, arrivals);
    site
}

/// Three writes at 0, 2 and 4 ms; the host's link is away from 2.25 to 3.25 ms.
///
/// The first makes six attempts, at 0, 0.3, … 1.5 ms, fails at 1.8 ms, and draws six late responses, the last
/// at about 2.0 ms. The second's first attempt at 2 ms is answered at 2.5 ms into a dead link; when it times
/// out at 2.3 ms the path is given up. The check at 3.3 ms finds it again, and five more attempts, at 3.3 to
/// 4.5 ms, draw five late responses; it fails at 4.8 ms. The third is as the first.
#[test]
fn a_flap_of_a_millisecond_and_impatient_hosts() {
    let ios = [0, 2 * MS, 4 * MS].map(|at| (at, Op::Write, 1250));
    let compiled = Compiled::new(&slow_array("write = { time = \"500us\" }", &ios), &[]);
    let link = "app:A1~sw-A";
    let scripts = [
        script(&compiled, 2_250 * US, LOUD, link, None),
        script(&compiled, 3_250 * US, Action::Restore, link, None),
    ];
    let tally = run(&compiled, &scripts, S);
    let work = &tally.workloads[0];
    assert_eq!(
        (work.issued_total, work.completed_total, work.failed_total),
        (3, 0, 3)
    );
    assert_eq!((work.retried, work.late), (15, 17));
    let failed: Vec<u64> = tally
        .log
        .iter()
        .filter(|entry| matches!(entry.kind, LogKind::IoFailed { .. }))
        .map(|entry| entry.at.0)
        .collect();
    assert_eq!(failed, [1_800 * US, 4_800 * US, 5_800 * US]);
    // 18 attempts; every request reached the array, one response was dropped at the dead link.
    let requests = direction(&compiled, &tally, "app:A1 > sw-A");
    assert_eq!((requests.offered, requests.delivered), (18, 18));
    let responses = direction(&compiled, &tally, "sw-A > app:A1");
    assert_eq!((responses.delivered, responses.dropped), (17, 1));
    assert_eq!(tally.controllers[0].served, 18);
}

/// Exponential service of mean 200 us against a timeout of 300 us, 2000 writes paced 50 us apart: some are
/// answered in time, some late, some never. Without a fault every attempt is answered once.
#[test]
fn every_attempt_is_answered_once() {
    let ios: Vec<(u64, Op, u32)> = (0..2000)
        .map(|number| (number * 50 * US, Op::Write, 1250))
        .collect();
    let law = "write = { time = { exponential = \"200us\" } }";
    let compiled = Compiled::new(&slow_array(law, &ios), &[]);
    let tally = run(&compiled, &[], S);
    let work = &tally.workloads[0];
    assert_eq!(work.issued_total, 2000);
    assert_eq!(work.completed_total + work.failed_total, 2000);
    assert!(work.completed_total > 1900 && work.late > 100);
    // Attempts = I/Os + retries; one answer of each I/O that completed was in time.
    let attempts = 2000 + work.retried;
    assert_eq!(tally.controllers[0].served, attempts);
    assert_eq!(work.late, attempts - work.completed_total);
    // With the link away for 1 ms in the middle some answers never come.
    let link = "app:A1~sw-A";
    let scripts = [
        script(&compiled, 50 * MS, LOUD, link, None),
        script(&compiled, 51 * MS, Action::Restore, link, None),
    ];
    let tally = run(&compiled, &scripts, S);
    let work = &tally.workloads[0];
    let requests = direction(&compiled, &tally, "app:A1 > sw-A");
    let responses = direction(&compiled, &tally, "sw-A > app:A1");
    assert_eq!(work.issued_total, 2000);
    assert_eq!(work.completed_total + work.failed_total, 2000);
    assert!(responses.cut + responses.dropped > 0);
    assert_eq!(work.late, responses.delivered - work.completed_total);
    assert_eq!(
        tally.controllers[0].served,
        requests.offered - requests.cut - requests.dropped
    );
    assert_eq!(tally.controllers[0].served, responses.offered);
}

/// The flap in the middle of a run stopped while I/Os are in flight: completed + failed + in flight = issued
/// is asserted where the run is finished, for open and closed loads.
#[test]
fn counts_agree_wherever_a_run_stops() {
    for arrivals in [
        "{ closed = { depth = 8, think = \"20us\" } }",
        "{ paced = \"20k/s\" }",
    ] {
        let base = slow_array(
            "write = { time = { exponential = \"200us\" } }",
            &[(0, Op::Write, 1)],
        );
        let text = format!(
            "format = 1\n[[host]]\nname = \"app\"\n[[array]]\nname = \"box\"\n\
             [[link]]\nfrom = \"app\"\nto = \"box\"\nspeed = \"1Gb/s\"\n\
             [[workload]]\nname = \"w\"\nhosts = \"app\"\narray = \"box\"\nprotocol = \"plain\"\n\
             request = 1\nresponse = 1\nframe = 1\narrivals = {arrivals}\n"
        );
        let mut load = base.clone();
        load.workloads[0].arrivals = site(&text).workloads[0].arrivals.clone();
        let compiled = Compiled::new(&load, &[]);
        let mut in_flight = 0;
        for step in 0..40 {
            let scripts = [
                script(&compiled, 3 * MS, LOUD, "app:A1~sw-A", None),
                script(&compiled, 4 * MS, Action::Restore, "app:A1~sw-A", None),
            ];
            let tally = run(&compiled, &scripts, 2_900 * US + step * 97_123_457);
            let work = &tally.workloads[0];
            in_flight += work.issued_total - work.completed_total - work.failed_total;
        }
        assert!(in_flight > 0, "{arrivals}");
    }
}

/// Host, one switch a fabric, array; the host uses A while it can.
pub(super) fn dual(protocol: &str, speed: &str, timers: &str, ios: &[(u64, Op, u32)]) -> Compiled {
    let text = stalls::text(protocol, speed, timers);
    let mut site = site(&text);
    at_times(&mut site, 1, ios);
    Compiled::new(&site, &[])
}

pub(super) const CAUGHT: [(u64, Op, u32); 1] = [(0, Op::Read, 4096)];

/// Latency of the only I/O, ps.
pub(super) fn latency(compiled: &Compiled, scripts: &[Script]) -> u64 {
    let tally = run(compiled, scripts, 200 * S);
    let work = &tally.workloads[0];
    assert_eq!((work.completed_total, work.failed_total), (1, 0));
    extremes(&tally).0
}

/// What an I/O that a loss catches at 50 us, in service, costs beyond its normal time.
fn cost(protocol: &str, speed: &str, timers: &str, loss: (Action, &str, Option<Side>)) -> u64 {
    let compiled = dual(protocol, speed, timers, &CAUGHT);
    let normal = latency(&compiled, &[]);
    assert!(normal > 100 * US && normal < 200 * US);
    let lost = script(&compiled, 50 * US, loss.0, loss.1, loss.2);
    latency(&compiled, &[lost]) - normal
}

/// SCSI over FC holds a lost port: link-loss detection (R_T_TOV of FC-FS, 100 ms) and fast-io-fail (5 s, the
/// default of open-source multipath tools) pass before the I/O is sent again.
#[test]
fn a_loud_loss_costs_scsi_detection_and_hold() {
    let at = 50 * US;
    let side = (LOUD, "", Some(Side::A));
    assert_eq!(cost("fc-scsi", "32GFC", "", side), at + 100 * MS + 5 * S);
    let link = (LOUD, "app:A1~core-A", None);
    assert_eq!(cost("fc-scsi", "32GFC", "", link), at + 100 * MS + 5 * S);
    // Beyond the local link the state notice comes on top, 500 ms.
    let far = (LOUD, "core-A~box-c1:A1", None);
    assert_eq!(cost("fc-scsi", "32GFC", "", far), at + 600 * MS + 5 * S);
    // The short preset holds for 2 s.
    let short = "timers = \"short\"";
    assert_eq!(cost("fc-scsi", "32GFC", short, side), at + 100 * MS + 2 * S);
    // Without fast-io-fail the port is held until device loss, 60 s; the command's own 30 s wait meanwhile, as
    // in the FC transport of the usual open-source kernel (from memory).
    for command in ["30s", "90s"] {
        let off = format!("timers = {{ fast_io_fail = \"off\", command_timeout = \"{command}\" }}");
        let expected = at + 100 * MS + 60 * S;
        assert_eq!(cost("fc-scsi", "32GFC", &off, side), expected);
    }
}

/// NVMe over FC requeues at once on a known port loss.
#[test]
fn a_loud_loss_costs_nvme_over_fc_its_detection() {
    let at = 50 * US;
    let side = (LOUD, "", Some(Side::A));
    assert_eq!(cost("fc-nvme", "32GFC", "", side), at + 100 * MS);
    let far = (LOUD, "core-A~box-c1:A1", None);
    assert_eq!(cost("fc-nvme", "32GFC", "", far), at + 600 * MS);
}

/// NVMe/TCP waits for its keep-alive, 5 s by default, however the loss shows itself.
#[test]
fn a_loss_costs_nvme_over_tcp_its_keep_alive() {
    let at = 50 * US;
    for action in [LOUD, SILENT] {
        let side = (action, "", Some(Side::A));
        assert_eq!(cost("nvme-tcp", "25GbE", "", side), at + 5 * S);
    }
}

/// iSCSI pings a connection quiet for 10 s, waits 10 s for the answer, and holds the session's I/Os 120 s for a
/// new one; 5, 5 and 15 s with the short timers (settings of the usual open-source initiator and its advice for
/// multipath). Command timeouts, 30 s, wait meanwhile. It makes no difference how the loss shows itself.
#[test]
fn a_loss_costs_iscsi_ping_and_replacement() {
    let at = 50 * US;
    for action in [LOUD, SILENT] {
        let side = (action, "", Some(Side::A));
        assert_eq!(cost("iscsi", "25GbE", "", side), at + 140 * S);
        let short = "timers = \"short\"";
        assert_eq!(cost("iscsi", "25GbE", short, side), at + 25 * S);
        let own = "timers = { iscsi_ping = \"0s\", iscsi_ping_timeout = \"2s\", iscsi_replacement = \"1s\" }";
        assert_eq!(cost("iscsi", "25GbE", own, side), at + 3 * S);
    }
}

/// Frames that vanish behind a signal that stays: only the command timeout tells, 30 s from its issue.
#[test]
fn a_silent_loss_costs_fibre_channel_the_command_timeout() {
    let side = (SILENT, "", Some(Side::A));
    for protocol in ["fc-scsi", "fc-nvme"] {
        assert_eq!(cost(protocol, "32GFC", "", side), 30 * S);
        let short = "timers = \"short\"";
        assert_eq!(cost(protocol, "32GFC", short, side), 30 * S);
    }
}

/// The timer that ended the stall is in the log, and nothing else was: the loss at 50 us, detection, hold.
#[test]
fn the_log_names_the_timers() {
    let compiled = dual("fc-scsi", "32GFC", "", &CAUGHT);
    let lost = script(&compiled, 50 * US, LOUD, "", Some(Side::A));
    let tally = run(&compiled, &[lost], 6 * S);
    let timers: Vec<(u64, TimerName)> = tally
        .log
        .iter()
        .filter(|entry| matches!(entry.kind, LogKind::Path { .. }))
        .filter_map(|entry| Some((entry.at.0, entry.timer?.0)))
        .collect();
    assert_eq!(
        timers,
        [
            (50 * US + 100 * MS, TimerName::LinkLossDetect),
            (50 * US + 5_100 * MS, TimerName::FastIoFail)
        ]
    );
    assert_eq!(
        (tally.workloads[0].retried, tally.workloads[0].late),
        (1, 0)
    );
}

/// Both fabrics lost at 1 ms, NVMe over FC: the paths fail at 101 ms. An I/O that comes at 200 ms …
fn pathless(no_path: &str, scripts: &[(u64, Action)]) -> (Compiled, halfloom::model::Tally) {
    let timers = format!("timers = {{ no_path = {no_path} }}");
    let compiled = dual("fc-nvme", "32GFC", &timers, &[(200 * MS, Op::Read, 4096)]);
    let scripts: Vec<Script> = scripts
        .iter()
        .flat_map(|(at, action)| {
            Side::BOTH.map(|side| script(&compiled, *at, *action, "", Some(side)))
        })
        .collect();
    let tally = run(&compiled, &scripts, 100 * S);
    (compiled, tally)
}

/// … fails at once, …
#[test]
fn without_a_path_an_io_fails_at_once() {
    let (_, tally) = pathless("\"fail\"", &[(MS, LOUD)]);
    let work = &tally.workloads[0];
    assert_eq!((work.completed_total, work.failed_total), (0, 1));
    assert_eq!((work.longest.0, work.reads.failed), (0, 1));
}

/// … or when the host has had no path for three path checks, 15 s after 101 ms, …
#[test]
fn without_a_path_an_io_fails_after_so_many_checks() {
    let (_, tally) = pathless("{ retry = 3 }", &[(MS, LOUD)]);
    let work = &tally.workloads[0];
    assert_eq!((work.completed_total, work.failed_total), (0, 1));
    assert_eq!(work.longest.0, 15_101 * MS - 200 * MS);
}

/// … or waits: the fabrics come back at 20 s and are used by their switches from 20.2 s on; the checks at
/// 5.101, 10.101, … find the paths at 25.101 s, which is in time for five checks without any.
#[test]
fn without_a_path_an_io_waits_for_one() {
    for policy in ["\"queue\"", "{ retry = 6 }", "{ retry = 5 }"] {
        let (compiled, tally) = pathless(policy, &[(MS, LOUD), (20 * S, Action::Restore)]);
        let normal = latency(&compiled, &[]);
        let work = &tally.workloads[0];
        assert_eq!((work.completed_total, work.failed_total), (1, 0));
        assert_eq!(extremes(&tally).0, 25_101 * MS - 200 * MS + normal);
    }
    // Four are over at 20.101 s, before the paths are found.
    let (_, tally) = pathless("{ retry = 4 }", &[(MS, LOUD), (20 * S, Action::Restore)]);
    assert_eq!(tally.workloads[0].failed_total, 1);
    assert_eq!(tally.workloads[0].longest.0, 20_101 * MS - 200 * MS);
}

/// Checks without any path are counted for all paths of the host and not for each I/O. Lost at 1 ms, given up at 101 ms,
/// two checks: those that come at 0.2 and 9 s both fail at 10.101 s, that of 12 s at once. The paths are back in use at
/// 25.101 s, so that the one of 26 s is served. Lost again at 30 s, given up at 30.1: that of 31 s waits for two more
/// checks, until 40.1 s.
#[test]
fn checks_without_a_path_are_counted_for_the_host() {
    let times = [200 * MS, 9 * S, 12 * S, 26 * S, 31 * S];
    let ios = times.map(|at| (at, Op::Read, 4096));
    let timers = "timers = { no_path = { retry = 2 } }";
    let compiled = dual("fc-nvme", "32GFC", timers, &ios);
    let events = [(MS, LOUD), (20 * S, Action::Restore), (30 * S, LOUD)];
    let scripts: Vec<Script> = events
        .iter()
        .flat_map(|(at, action)| {
            Side::BOTH.map(|side| script(&compiled, *at, *action, "", Some(side)))
        })
        .collect();
    let tally = run(&compiled, &scripts, 100 * S);
    let work = &tally.workloads[0];
    assert_eq!((work.completed_total, work.failed_total), (1, 4));
    let failed = tally.log.iter().filter_map(|entry| {
        matches!(entry.kind, LogKind::IoFailed { .. }).then_some((entry.at.0, entry.timer))
    });
    let waited = Some((TimerName::NoPath, halfloom::unit::Duration::from_secs(10)));
    let at_once = Some((TimerName::NoPath, halfloom::unit::Duration::ZERO));
    assert_eq!(
        failed.collect::<Vec<_>>(),
        [
            (10_101 * MS, waited),
            (10_101 * MS, waited),
            (12 * S, at_once),
            (40_100 * MS, waited),
        ]
    );
}

/// On a site that has lost both fabrics before the run, nothing is left to wait for: what is counted in checks fails at once.
#[test]
fn a_host_without_paths_from_the_beginning_waits_for_none() {
    let timers = "timers = { no_path = { retry = 12 } }";
    let whole = dual("fc-nvme", "32GFC", timers, &CAUGHT);
    let all: Vec<_> = (0_u32..)
        .take(whole.fabric.members.len())
        .map(halfloom::topology::MemberId)
        .collect();
    let tally = run(&Compiled::new(&whole.site, &all), &[], S);
    let work = &tally.workloads[0];
    assert_eq!((work.completed_total, work.failed_total), (0, 1));
}

/// A closed loop without a pause whose I/Os fail at once for want of a path must let time go on. Four I/Os
/// are caught by the loss at 1 ms and fail when the paths do, at 101 ms; then four fail at every path check,
/// 5.101, 10.101 and 15.101 s.
#[test]
fn a_closed_loop_without_paths_does_not_stand_still() {
    let mut site = dual("fc-nvme", "32GFC", "", &CAUGHT).site;
    site.workloads[0].arrivals = halfloom::site::Arrivals::Closed {
        depth: 4,
        think: halfloom::unit::Duration::ZERO,
        together: false,
    };
    site.hosts[0].timers.no_path = NoPath::Fail;
    let compiled = Compiled::new(&site, &[]);
    let lost = Side::BOTH.map(|side| script(&compiled, MS, LOUD, "", Some(side)));
    let tally = run(&compiled, &lost, 16 * S);
    assert_eq!(tally.workloads[0].failed_total, 4 * 4);
    let work = &tally.workloads[0];
    assert_eq!(work.issued_total, work.completed_total + work.failed_total);
}

/// By protocol, NVMe waits as long as a controller is tried: over FC from the notice at 100.05 ms, every 5 s, and after 12 s in the third
/// try, at 15.1 s, not any more; what waits fails then, and what comes later at once. A return before that carries it. SCSI fails when its last
/// path is given up, after the hold of 5 s.
#[test]
fn nvme_without_a_path_waits_for_its_controllers() {
    let both = |compiled: &Compiled, at: u64, action: Action| {
        Side::BOTH.map(|side| script(compiled, at, action, "", Some(side)))
    };
    let timers = "timers = { controller_loss = \"12s\" }";
    let ios = [(0, Op::Read, 4096), (20 * S, Op::Read, 4096)];
    let given_up = 50 * US + 100 * MS + 15 * S;
    for (protocol, longest) in [
        ("fc-nvme", given_up + 1),
        ("fc-scsi", 50 * US + 100 * MS + 5 * S),
    ] {
        let compiled = dual(protocol, "32GFC", timers, &ios);
        let tally = run(&compiled, &both(&compiled, 50 * US, LOUD), 60 * S);
        let work = &tally.workloads[0];
        assert_eq!(
            (work.completed_total, work.failed_total),
            (0, 2),
            "{protocol}"
        );
        assert_eq!(work.longest.0, longest, "{protocol}");
    }
    let compiled = dual("fc-nvme", "32GFC", timers, &CAUGHT);
    let back = both(&compiled, 8 * S, Action::Restore);
    let scripts = [both(&compiled, 50 * US, LOUD), back].concat();
    let tally = run(&compiled, &scripts, 60 * S);
    let work = &tally.workloads[0];
    assert_eq!((work.completed_total, work.failed_total), (1, 0));
    assert!(work.longest.0 > 8 * S && work.longest.0 < given_up);
    // Without a stated time it is 600 s.
    let compiled = dual("fc-nvme", "32GFC", "", &CAUGHT);
    let tally = run(&compiled, &both(&compiled, 50 * US, LOUD), 500 * S);
    assert_eq!(tally.workloads[0].failed_total, 0);
}

/// NVMe whose two fabrics are both lost for a minute, in one instant: both paths are given up in one instant too, and what the first lets
/// go is taken by the second and let go again before anything of it has left. Each I/O that hung is sent again once, when a path is
/// back, and that is all that is counted.
#[test]
fn without_a_path_for_a_minute_each_io_is_sent_again_once() {
    let ios: Vec<(u64, Op, u32)> = (0..1_200).map(|n| (n * 100 * MS, Op::Read, 4096)).collect();
    for (protocol, speed, noticed, every) in [
        ("nvme-tcp", "25GbE", 5 * S, 10 * S),
        ("fc-nvme", "32GFC", 100 * MS, 5 * S),
    ] {
        let compiled = dual(protocol, speed, "", &ios);
        let lost = 10 * S + 10 * US;
        let scripts = [(lost, LOUD), (lost + 60 * S, Action::Restore)].map(|(at, action)| {
            Side::BOTH.map(|side| script(&compiled, at, action, "", Some(side)))
        });
        let tally = run(&compiled, &scripts.concat(), 200 * S);
        let work = &tally.workloads[0];
        assert_eq!((work.completed_total, work.failed_total), (1_200, 0));
        // The one that was caught, and what came until the paths were given up.
        let hung = 1 + noticed / (100 * MS);
        let given_up = tally.log.iter().filter(|entry| {
            let to = Standing::Failed;
            matches!(entry.kind, LogKind::Path { to: own, .. } if own == to)
        });
        let given_up: Vec<(u64, u64)> = given_up.map(|entry| (entry.at.0, entry.ios)).collect();
        assert!(
            given_up.iter().all(|(at, _)| *at == lost + noticed),
            "{given_up:?}"
        );
        assert_eq!(given_up.iter().map(|(_, ios)| ios).sum::<u64>(), work.held);
        assert_eq!(work.held, hung, "{protocol}");
        assert_eq!(work.retried, work.held, "{protocol}");
        // The next try after the switches forward over the returned links.
        let back = tally.log.iter().find(|entry| {
            let to = Standing::Up;
            matches!(entry.kind, LogKind::Path { to: own, .. } if own == to)
        });
        let tries = (60 * S + 200 * MS - noticed).div_ceil(every);
        let back = back.map(|entry| entry.at.0);
        assert_eq!(back, Some(lost + noticed + tries * every), "{protocol}");
    }
}

/// Parts lost twice need two returns, and a return too many changes nothing: `core-A` is lost with side A
/// and once more by its name. I/Os at 0, 3.5 ms (still lost) and 10 ms (back).
#[test]
fn losses_and_returns_are_counted() {
    let ios = [0, 3_500 * US, 10 * MS].map(|at| (at, Op::Read, 4096));
    let compiled = dual("fc-scsi", "32GFC", "", &ios);
    let normal = latency(&dual("fc-scsi", "32GFC", "", &CAUGHT), &[]);
    let a = Some(Side::A);
    let events = |events: &[(u64, Action, &str, Option<Side>)]| -> Vec<Script> {
        events
            .iter()
            .map(|(at, action, pattern, side)| script(&compiled, at * MS, *action, pattern, *side))
            .collect()
    };
    let scripts = events(&[
        (1, LOUD, "", a),
        (2, LOUD, "core-A", None),
        (3, Action::Restore, "", a),
        (4, Action::Restore, "core-A", None),
        (5, Action::Restore, "", a),
        (6, Action::Restore, "core-A", None),
    ]);
    let tally = run(&compiled, &scripts, 100 * S);
    let work = &tally.workloads[0];
    assert_eq!((work.completed_total, work.failed_total), (3, 0));
    // The one at 3.5 ms went into the dead link, which was back before anybody noticed: 30 s.
    assert_eq!(extremes(&tally), (normal, 30 * S + normal));
    assert_eq!(work.retried, 1);
    let link = direction(&compiled, &tally, "app:A1 > core-A");
    // Two commands that came through, one dropped, one sent again.
    assert_eq!((link.offered, link.delivered, link.dropped), (4, 3, 1));
    // The link was away from 1 to 4 ms and for no longer, of the 100 s counted.
    assert_eq!(link.up, 100 * S - 3 * MS);
    // A loss after all those returns still is one.
    let more = [scripts.clone(), events(&[(9, LOUD, "core-A", None)])].concat();
    let tally = run(&compiled, &more, 100 * S);
    let link = direction(&compiled, &tally, "app:A1 > core-A");
    assert_eq!(link.dropped, 2);
    assert_eq!(tally.workloads[0].completed_total, 3);
}
