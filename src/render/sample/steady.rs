//! Invented steady figures: workloads, queues and paths.

use super::{links, within};
use crate::outcome::{
    BudgetPart, Case, CurvePoint, Estimated, HostFigures, PathFigures, Population, QuantileFigure,
    Steady, SteadyBin, WorkloadFigures,
};

const WINDOW_S: f64 = 2.0;
const BIN_S: f64 = 0.02;

pub(super) fn steady(case: &Case, mended: bool) -> Steady {
    let crowded = case.lost.is_some() && !mended;
    Steady {
        case: case.clone(),
        replications: 10,
        warm_up_s: 0.2,
        warm_up_found_s: Some(0.08),
        duration_s: 0.2 + WINDOW_S,
        bin_s: BIN_S,
        saturated: false,
        partial: false,
        stopped_by: None,
        unmeasured: false,
        workloads: vec![bookings(crowded), fleet(case), archive(case)],
        directions: links::directions(case, mended),
        arrays: links::arrays(case),
        hosts: hosts(crowded),
        paths: paths(case),
        unseen_bursts: Vec::new(),
        events: 412_000_000,
        frame_hops: 188_000_000,
        ios: 6_520_000,
    }
}

/// Percentiles of a curve, as (q, microseconds).
type Curve = [(f64, f64)];

/// `bookings` where the links have room.
const BOOKINGS: [(f64, f64); 14] = [
    (0.01, 118.0),
    (0.1, 133.0),
    (0.25, 151.0),
    (0.5, 180.0),
    (0.75, 236.0),
    (0.9, 344.0),
    (0.95, 454.0),
    (0.98, 604.0),
    (0.99, 718.0),
    (0.995, 846.0),
    (0.998, 1020.0),
    (0.999, 1160.0),
    (0.9995, 1310.0),
    (0.9999, 1690.0),
];

/// `bookings` with one fabric lost: each burst waits for the narrow link.
const CROWDED: [(f64, f64); 14] = [
    (0.01, 121.0),
    (0.1, 142.0),
    (0.25, 181.0),
    (0.5, 305.0),
    (0.75, 4150.0),
    (0.9, 9150.0),
    (0.95, 11_600.0),
    (0.98, 13_200.0),
    (0.99, 14_020.0),
    (0.995, 14_500.0),
    (0.998, 15_000.0),
    (0.999, 15_300.0),
    (0.9995, 15_600.0),
    (0.9999, 16_400.0),
];

fn bookings(crowded: bool) -> WorkloadFigures {
    let curve = if crowded { &CROWDED } else { &BOOKINGS };
    let queue = if crowded { 2110.3 } else { 6.8 };
    let budget = vec![
        part("host queue", None, if crowded { 2.1 } else { 1.9 }),
        part("adapter", None, 15.2),
        part("serialization", None, 7.1),
        part("propagation", None, 2.6),
        part("switch", None, 8.4),
        part("queueing", Some("san > edge"), queue),
        part("queueing", Some("vault > san"), 0.9),
        part("queueing", Some("edge > module"), 0.3),
        part("array queue", None, 1.2),
        part("service", None, 166.4),
    ];
    let peak = if crowded { 302_100.0 } else { 360_400.0 };
    figures(
        "bookings",
        200_000.0,
        30_408.0,
        0.7,
        curve,
        budget,
        (peak, 360_400.0),
    )
}

fn fleet(case: &Case) -> WorkloadFigures {
    let more = if case.lost.is_some() { 5.0 } else { 0.0 };
    let curve: Vec<(f64, f64)> = BOOKINGS
        .iter()
        .map(|&(q, us)| (q, us * if q < 0.6 { 1.04 } else { 1.173 } + more))
        .collect();
    let budget = vec![
        part("adapter", None, 16.0),
        part("serialization", None, 2.9),
        part("propagation", None, 2.1),
        part("switch", None, 5.2),
        part("queueing", Some("lan > edge"), 0.4 + 0.4 * more),
        part("queueing", Some("depot > lan"), 0.9 + 0.6 * more),
        part("array queue", None, 0.5),
        part("service", None, 186.0),
    ];
    figures(
        "fleet",
        120_000.0,
        8192.0,
        0.75,
        &curve,
        budget,
        (124_600.0, 124_900.0),
    )
}

fn archive(case: &Case) -> WorkloadFigures {
    let more = if case.lost.is_some() { 31.0 } else { 0.0 };
    let curve: Vec<(f64, f64)> = BOOKINGS
        .iter()
        .map(|&(q, us)| (q, 300.0 + us * 0.6 + more))
        .collect();
    let budget = vec![
        part("adapter", None, 18.0),
        part("serialization", None, 96.0),
        part("propagation", None, 2.1),
        part("switch", None, 7.9),
        part("queueing", Some("lan > depot"), 42.0 + more),
        part("array queue", None, 0.6),
        part("service", None, 182.0),
        part("extra round trip", None, 64.0),
    ];
    figures(
        "archive",
        6000.0,
        262_144.0,
        0.0,
        &curve,
        budget,
        (6050.0, 6050.0),
    )
}

fn part(part: &str, tier: Option<&str>, mean_us: f64) -> BudgetPart {
    BudgetPart {
        part: part.to_owned(),
        tier: tier.map(str::to_owned),
        mean_us,
    }
}

fn figures(
    name: &str,
    iops: f64,
    bytes: f64,
    read: f64,
    curve: &Curve,
    budget: Vec<BudgetPart>,
    (peak_iops, peak_offered_iops): (f64, f64),
) -> WorkloadFigures {
    let mean_us: f64 = budget.iter().map(|part| part.mean_us).sum();
    let kind = |share: f64| population(iops * share, bytes, mean_us, curve);
    WorkloadFigures {
        name: name.to_owned(),
        saturated: false,
        service_beyond_run_s: None,
        filling: None,
        all: kind(1.0),
        reads: kind(read),
        writes: kind(1.0 - read),
        budget,
        curve: curve
            .iter()
            .map(|&(q, latency_us)| CurvePoint { q, latency_us })
            .collect(),
        bins: bins(name, iops, mean_us, peak_iops),
        peak_iops,
        peak_offered_iops,
    }
}

fn population(iops: f64, bytes: f64, mean_us: f64, curve: &Curve) -> Population {
    let none = iops <= 0.0;
    let rate = within(iops, iops * 0.002);
    let quantiles = [0.5, 0.9, 0.95, 0.99, 0.999].map(|q| {
        let us = curve
            .iter()
            .find(|point| point.0 >= q)
            .map_or(0.0, |point| point.1);
        QuantileFigure {
            q,
            latency_us: (!none).then(|| within(us, us * 0.025)),
            each_us: (!none).then_some((us * 0.97, us * 1.04)),
            beyond_us: None,
        }
    });
    Population {
        ios: (iops * WINDOW_S * 10.0).round().max(0.0) as u64,
        unfinished: 0,
        failed: 0,
        offered_iops: rate,
        completed_iops: rate,
        throughput_mb_s: Estimated {
            value: iops * bytes / 1e6,
            ..within(iops * bytes / 1e6, iops * bytes / 5e8)
        },
        mean_us: (!none).then(|| within(mean_us, mean_us * 0.01)),
        mean_each_us: (!none).then_some((mean_us * 0.98, mean_us * 1.02)),
        quantiles: quantiles.to_vec(),
        min_us: (!none).then(|| curve[0].1 * 0.9),
        max_us: (!none).then(|| curve[curve.len() - 1].1 * 1.3),
    }
}

/// `bookings` comes in bursts of 40 ms every 200 ms; the others evenly.
fn bins(name: &str, iops: f64, mean_us: f64, peak_iops: f64) -> Vec<SteadyBin> {
    let mut left = 0.0;
    (0..(WINDOW_S / BIN_S) as usize)
        .map(|index| {
            let wiggle = 1.0 + 0.015 * (index as f64 * 1.7).sin();
            let offered_iops = wiggle
                * match (name, index % 10) {
                    ("bookings", 0 | 1) => iops * 1.78,
                    ("bookings", _) => iops * 0.8,
                    _ => iops,
                };
            let completed_iops = (offered_iops + left).min(peak_iops);
            left += offered_iops - completed_iops;
            SteadyBin {
                t_s: 0.2 + index as f64 * BIN_S,
                offered_iops,
                completed_iops,
                mean_us: Some(mean_us * wiggle),
            }
        })
        .collect()
}

fn hosts(crowded: bool) -> Vec<HostFigures> {
    let families = [
        ("db", 6, "bookings", 666_700_u64),
        ("vm", 6, "fleet", 400_000),
        ("rack", 4, "archive", 30_000),
    ];
    let mut out = Vec::new();
    for (host, count, workload, issued) in families {
        for number in 1..=count {
            out.push(HostFigures {
                host: format!("{host}-{number}"),
                workload: workload.to_owned(),
                issued,
                wait_mean_us: if crowded && host == "db" { 2.1 } else { 0.4 },
                queue_max: if crowded && host == "db" { 312 } else { 9 },
            });
        }
    }
    out
}

fn paths(case: &Case) -> Vec<PathFigures> {
    let sides: Vec<char> = ['A', 'B']
        .into_iter()
        .filter(|side| case.lost != Some(*side))
        .collect();
    let families = [
        ("db", 6, "bookings", "vault", 666_700_u64),
        ("vm", 6, "fleet", "depot", 400_000),
        ("rack", 4, "archive", "depot", 30_000),
    ];
    let mut out = Vec::new();
    for (host, count, workload, array, ios) in families {
        for number in 1..=count {
            for &side in &sides {
                for controller in 1..=2 {
                    out.push(PathFigures {
                        host: format!("{host}-{number}"),
                        workload: workload.to_owned(),
                        host_port: format!("{host}-{number}:{side}"),
                        array_port: format!("{array}-c{controller}:{side}"),
                        side: Some(side),
                        completed: ios / (2 * sides.len() as u64),
                        standby: false,
                    });
                }
            }
        }
    }
    out
}

/// Bursts of a workload that runs do not show as they are: a part is asked for half as much again as it can do, the runs saw half of that it can.
#[cfg(test)]
pub(crate) fn sample_bursts(
    why: crate::outcome::Unseen,
    workload: &str,
) -> crate::outcome::UnseenBursts {
    crate::outcome::UnseenBursts {
        workload: workload.to_owned(),
        why,
        burst_s: 5.0,
        every_s: 25.0,
        measured_s: 1.8,
        enough_s: 75.0,
        part: Some("vault-c1".to_owned()),
        percent: 150.0,
        seen_percent: 50.0,
        hides: vec![workload.to_owned()],
    }
}
