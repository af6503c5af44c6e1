//! Invented switch-overs.

use crate::outcome::{
    Begin, Case, Harm, LaneSpan, NamedEvent, PathLane, PathReturn, Reference, Switch, SwitchBin,
    SwitchWorkload, TimerStall,
};

const FROM_S: f64 = -1.0;
const TO_S: f64 = 7.0;
const BIN_S: f64 = 0.02;
/// What one fabric carries of `bookings`, thousand I/Os per second.
const SURVIVORS: f64 = 302_000.0;

pub(super) fn switch(case: &Case) -> Switch {
    let lost = case.lost.unwrap_or('A');
    let carries = case.carries.unwrap_or('B');
    Switch {
        case: case.clone(),
        replications: 10,
        preset: "default".to_owned(),
        timers_stated: Vec::new(),
        counted_from: Begin::Loss,
        harm: Harm::Loss,
        losses: 1,
        silent: false,
        from_s: FROM_S,
        to_s: TO_S,
        bin_s: BIN_S,
        settled_s: Some(5.4),
        settles_to: Reference::Survivors,
        limit_s: 60.0,
        partial: false,
        stopped_by: None,
        workloads: [
            workload("bookings", 200_000.0, 180.0, 5.1, 1536),
            workload("fleet", 120_000.0, 214.0, 5.06, 211),
            workload("archive", 6000.0, 412.0, 5.08, 9),
        ]
        .into_iter()
        .map(|work| SwitchWorkload {
            freed_by: freed(lost, &work.name),
            ..work
        })
        .collect(),
        events: events(lost),
        lanes: lanes(lost, carries),
        events_handled: 1_480_000_000,
        frame_hops: 690_000_000,
        ios: 29_400_000,
    }
}

fn workload(name: &str, iops: f64, mean_us: f64, stall_s: f64, held: u64) -> SwitchWorkload {
    let bursty = name == "bookings";
    SwitchWorkload {
        name: name.to_owned(),
        policies: vec!["least-queue".to_owned()],
        outstanding: None,
        rated: true,
        bins: bins(bursty, iops, mean_us, stall_s),
        longest_io_s: (0..10)
            .map(|run| stall_s + 0.003 + 0.001 * f64::from(run))
            .collect(),
        longest_open: vec![false; 10],
        no_path: false,
        failed_without_path: false,
        hosts: 6,
        without_path: Vec::new(),
        hosts_gone: 0,
        freed_by: None,
        failed_by: None,
        back: Some(PathReturn {
            s: 5.2,
            by: "the fabric, 200ms + path check, 5s".to_owned(),
            manual: false,
            given_up_s: None,
        }),
        by_timers: Some(TimerStall {
            s: 5.1,
            by: "link-loss detect, 100ms + fast-io-fail, 5s".to_owned(),
            cut_short: None,
        }),
        longest_silence_s: 0.0,
        silence_s: vec![0.0; 3],
        chance_silence_s: 0.0,
        stops: Vec::new(),
        above_promise_share: Some(if bursty { 0.262 } else { 0.0003 }),
        above_promise_s: Some(if bursty { 2.8 } else { 0.02 }),
        completed: (iops * TO_S * 10.0) as u64,
        retried: held * 10,
        completed_least_iops: Some(if bursty { iops * 0.4 } else { iops * 0.9 }),
        completed_most_iops: if bursty { SURVIVORS } else { iops * 1.04 },
        chance_most_iops: 0.0,
        failed: vec![0; 10],
        lost_with_host: vec![0; 10],
        unasked: vec![0; 10],
        late: 0,
        unfinished: 0,
        hanging: vec![0; 10],
        held: vec![held; 10],
        backlog_peak: held + if bursty { 2460 } else { 40 },
        drain_s: Some(stall_s + 0.3),
        fails_after: false,
        settled_s: Some(stall_s + 0.3),
        survivors_peak_iops: if bursty { SURVIVORS } else { iops * 1.04 },
    }
}

fn bins(bursty: bool, iops: f64, mean_us: f64, stall_s: f64) -> Vec<SwitchBin> {
    let mut backlog = 0.0;
    (0..((TO_S - FROM_S) / BIN_S).round() as usize)
        .map(|index| {
            let t_s = FROM_S + index as f64 * BIN_S;
            let wiggle =
                1.0 + 0.012 * (index as f64 * 2.3).sin() + 0.008 * (index as f64 * 0.71).cos();
            let load = match (bursty, index % 10) {
                (true, 0 | 1) => 1.8,
                (true, _) => 0.8,
                _ => 1.0,
            };
            let offered_iops = iops * load * wiggle;
            let most = if bursty && t_s >= 0.0 {
                SURVIVORS
            } else {
                f64::INFINITY
            };
            let completed_iops = (offered_iops + backlog / BIN_S).min(most);
            backlog += (offered_iops - completed_iops) * BIN_S;
            let waiting_us = backlog / SURVIVORS * 1e6;
            let released = t_s >= stall_s && t_s < stall_s + BIN_S;
            let p99_us = if released {
                stall_s * 1e6
            } else {
                mean_us * 3.9 * wiggle + waiting_us * 1.6
            };
            let held = (0.0..stall_s).contains(&t_s);
            SwitchBin {
                t_s,
                offered_iops,
                completed_iops,
                failed_iops: 0.0,
                mean_us: Some(mean_us * wiggle + waiting_us),
                p99_us: Some(p99_us),
                max_us: Some(p99_us * 1.3),
                oldest_us: if held {
                    (t_s + BIN_S) * 1e6
                } else {
                    mean_us * 2.0 + waiting_us
                },
                backlog: backlog + iops * mean_us / 1e6 + if held { 1536.0 } else { 0.0 },
            }
        })
        .collect()
}

/// The event that let the work of a workload go.
fn freed(lost: char, name: &str) -> Option<NamedEvent> {
    let own = |event: &NamedEvent| {
        event.workload.as_deref() == Some(name) && event.what.contains("sent again")
    };
    events(lost).into_iter().find(own)
}

fn events(lost: char) -> Vec<NamedEvent> {
    let lan = if lost == 'A' { "lan-1" } else { "lan-2" };
    let event =
        |t_s, what: String, timer: Option<&str>, workload: Option<&str>, ios, ended_stall| {
            NamedEvent {
                t_s,
                what,
                timer: timer.map(str::to_owned),
                workload: workload.map(str::to_owned),
                ios,
                ended_stall,
            }
        };
    vec![
        event(
            0.0,
            format!("{lost} lost: all parts of side {lost}, and {lan}"),
            None,
            None,
            None,
            false,
        ),
        event(
            0.1,
            format!("loss of light seen: {lost} paths held with 1\u{202F}536 I/Os on the way"),
            Some("link-loss, 100ms"),
            Some("bookings"),
            Some(1536),
            false,
        ),
        event(
            5.06,
            "connections given up, 211 I/Os sent again".to_owned(),
            Some("keep-alive, 5s"),
            Some("fleet"),
            Some(211),
            false,
        ),
        event(
            5.08,
            "connections given up, 9 I/Os sent again".to_owned(),
            Some("keep-alive, 5s"),
            Some("archive"),
            Some(9),
            false,
        ),
        event(
            5.1,
            format!("{lost} paths given up, 1\u{202F}536 I/Os sent again"),
            Some("fast-io-fail, 5s"),
            Some("bookings"),
            Some(1536),
            true,
        ),
        event(5.4, "settled".to_owned(), None, None, None, false),
    ]
}

fn lanes(lost: char, carries: char) -> Vec<PathLane> {
    let span = |from_s, to_s, state: &str, kind: &str| LaneSpan {
        from_s,
        to_s,
        state: state.to_owned(),
        kind: kind.to_owned(),
    };
    let lane = |side: char, protocol: &str, workloads: &[&str]| PathLane {
        name: format!("{side} paths, {protocol}"),
        side: Some(side),
        workloads: workloads.iter().map(|name| (*name).to_owned()).collect(),
        spans: match (side == lost, protocol) {
            (false, _) => vec![span(FROM_S, TO_S, "up", "up")],
            (true, "fc-scsi") => vec![
                span(FROM_S, 0.0, "up", "up"),
                span(0.0, 0.1, "loss not noticed", "blocked"),
                span(0.1, 5.1, "held by fast-io-fail, 5s", "blocked"),
                span(5.1, TO_S, "failed", "failed"),
            ],
            _ => vec![
                span(FROM_S, 0.0, "up", "up"),
                span(0.0, 5.06, "loss not noticed", "blocked"),
                span(5.06, TO_S, "failed", "failed"),
            ],
        },
    };
    let mut sides = [lost, carries];
    sides.sort_unstable();
    let mut out = Vec::new();
    for (protocol, workloads) in [
        ("fc-scsi", &["bookings"][..]),
        ("nvme-tcp", &["fleet", "archive"][..]),
    ] {
        for side in sides {
            out.push(lane(side, protocol, workloads));
        }
    }
    out
}
