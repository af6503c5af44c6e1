//! Invented loads of links and controllers.

use crate::outcome::{ArrayFigures, Case, DirectionFigures};

/// One link family: its ends, members and load with both fabrics up.
struct Family {
    near: &'static str,
    far: &'static str,
    /// Near instances on each side, and far ones each near one reaches.
    near_count: u32,
    far_count: u32,
    members: u32,
    speed: &'static str,
    usable_mb_s: f64,
    /// Per cent of the busier direction and of the other: mean, peak.
    toward_array: (f64, f64),
    toward_host: (f64, f64),
    /// Factor on all loads with one fabric lost.
    lost_factor: f64,
    /// False for links that belong to neither fabric.
    sided: bool,
}

const fn family(
    (near, near_count): (&'static str, u32),
    (far, far_count): (&'static str, u32),
    (members, speed, usable_mb_s): (u32, &'static str, f64),
    toward_array: (f64, f64),
    toward_host: (f64, f64),
) -> Family {
    Family {
        near,
        far,
        near_count,
        far_count,
        members,
        speed,
        usable_mb_s,
        toward_array,
        toward_host,
        lost_factor: 2.0,
        sided: true,
    }
}

fn families() -> Vec<Family> {
    let ge = 12_500.0;
    let fc = 3400.0;
    vec![
        family(
            ("db", 6),
            ("module", 1),
            (1, "100GbE", ge),
            (1.1, 2.0),
            (3.0, 5.4),
        ),
        family(
            ("vm", 6),
            ("module", 1),
            (1, "100GbE", ge),
            (0.3, 0.4),
            (0.5, 0.6),
        ),
        family(
            ("module", 3),
            ("edge", 1),
            (2, "100GbE", ge),
            (1.4, 2.4),
            (3.5, 6.0),
        ),
        family(
            ("rack", 4),
            ("edge", 1),
            (1, "25GbE", 3125.0),
            (6.4, 6.4),
            (0.1, 0.1),
        ),
        family(
            ("edge", 1),
            ("san", 1),
            (2, "32GFC", fc),
            (24.9, 44.8),
            (33.1, 59.7),
        ),
        family(
            ("san", 1),
            ("vault", 2),
            (2, "32GFC", fc),
            (12.5, 22.5),
            (16.6, 29.8),
        ),
        Family {
            lost_factor: 4.0,
            ..family(
                ("edge", 1),
                ("lan", 2),
                (1, "100GbE", ge),
                (3.7, 3.7),
                (1.5, 1.6),
            )
        },
        Family {
            sided: false,
            ..family(
                ("lan", 2),
                ("depot", 2),
                (1, "25GbE", 3125.0),
                (14.8, 14.8),
                (6.1, 6.4),
            )
        },
    ]
}

pub(super) fn directions(case: &Case, mended: bool) -> Vec<DirectionFigures> {
    let mut out = Vec::new();
    for mut family in families() {
        if mended && family.far == "san" {
            family.members = 4;
            family.toward_array = (family.toward_array.0 / 2.0, family.toward_array.1 / 2.0);
            family.toward_host = (family.toward_host.0 / 2.0, family.toward_host.1 / 2.0);
        }
        let sides: &[Option<char>] = if family.sided {
            &[Some('A'), Some('B')]
        } else {
            &[None]
        };
        for &side in sides {
            if side.is_none() || side != case.lost {
                instances(&family, side, case, &mut out);
            }
        }
    }
    out
}

fn instances(family: &Family, side: Option<char>, case: &Case, out: &mut Vec<DirectionFigures>) {
    let lost_lan = match case.lost {
        Some('A') => 1,
        Some('B') => 2,
        _ => 0,
    };
    for near in 1..=family.near_count {
        for far in 1..=family.far_count {
            let of = |name: &str, number: u32, count: u32| match (name, side) {
                ("module", Some(side)) => format!("module-{}-{side}", near.div_ceil(2)),
                ("edge" | "san", Some(side)) => format!("{name}-{side}"),
                ("vault" | "depot", _) => format!("{name}-c{number}"),
                _ if count > 1 => format!("{name}-{number}"),
                _ => name.to_owned(),
            };
            let near_name = if family.near == "module" {
                format!("module-{near}-{}", side.unwrap_or('A'))
            } else {
                of(family.near, near, family.near_count)
            };
            let far_name = of(family.far, far, family.far_count);
            let lan = [
                family.near == "lan" && near == lost_lan,
                family.far == "lan" && far == lost_lan,
            ];
            if lan.contains(&true) {
                continue;
            }
            for member in 1..=family.members {
                // Flows never share members exactly evenly.
                let skew = if family.members == 1 {
                    1.0
                } else {
                    1.0 + 0.02 * (f64::from(member) - (f64::from(family.members) + 1.0) / 2.0)
                };
                let factor = skew
                    * if case.lost.is_some() {
                        family.lost_factor
                    } else {
                        1.0
                    };
                out.push(direction(
                    family,
                    (&near_name, &far_name),
                    side,
                    member,
                    true,
                    factor,
                ));
                out.push(direction(
                    family,
                    (&near_name, &far_name),
                    side,
                    member,
                    false,
                    factor,
                ));
            }
        }
    }
}

fn direction(
    family: &Family,
    (near, far): (&str, &str),
    side: Option<char>,
    member: u32,
    toward_array: bool,
    factor: f64,
) -> DirectionFigures {
    let (from, to) = if toward_array {
        (near, far)
    } else {
        (far, near)
    };
    let (mean, peak) = if toward_array {
        family.toward_array
    } else {
        family.toward_host
    };
    let (mean, asked) = (mean * factor, peak * factor);
    let wire_mb_s = family.usable_mb_s * mean / 100.0;
    let payload_mb_s = wire_mb_s * 0.97;
    let crowded = asked > 100.0;
    let (first, second) = if toward_array {
        (family.near, family.far)
    } else {
        (family.far, family.near)
    };
    DirectionFigures {
        name: if family.members > 1 {
            format!("{from} > {to}/{member}")
        } else {
            format!("{from} > {to}")
        },
        family: format!("{} to {}", family.near, family.far),
        tier: format!("{first} > {second}"),
        from: from.to_owned(),
        to: to.to_owned(),
        side,
        toward_array,
        speed: family.speed.to_owned(),
        usable_mb_s: family.usable_mb_s,
        utilization_percent: mean,
        peak_percent: asked.min(100.0),
        asked_peak_percent: asked,
        asked_peak_by_arithmetic: false,
        frames: (wire_mb_s * 2e6 / 2100.0) as u64,
        payload_bytes: (payload_mb_s * 2e6) as u64,
        overhead_bytes: ((wire_mb_s - payload_mb_s) * 2e6) as u64,
        payload_mb_s,
        wait_mean_us: if crowded { 2108.0 } else { 0.02 * mean },
        wait_mean_low_us: None,
        wait_mean_high_us: None,
        wait_p50_us: if crowded { 90.0 } else { 0.0 },
        wait_p99_us: if crowded { 13_300.0 } else { 0.5 * mean },
        wait_p999_us: if crowded { 14_600.0 } else { 0.9 * mean },
        queue_mean: if crowded { 4500.0 } else { 0.01 * mean },
        queue_max: if crowded { 24_800 } else { 60 },
        queue_max_bytes: if crowded { 52_300_000 } else { 126_000 },
    }
}

pub(super) fn arrays(case: &Case) -> Vec<ArrayFigures> {
    let depot_peak = if case.lost.is_some() { 36.0 } else { 34.0 };
    let arrays = [
        ("vault", 48, 35.0, 62.0, 200_000_u64, 166.4),
        ("depot", 32, 34.0 * 0.97, depot_peak, 126_000, 186.0),
    ];
    let mut out = Vec::new();
    for (family, parallel, mean, peak, iops, service_mean_us) in arrays {
        for number in 1..=2 {
            out.push(ArrayFigures {
                name: format!("{family}-c{number}"),
                family: family.to_owned(),
                parallel,
                utilization_percent: mean,
                peak_percent: peak,
                asked_peak_percent: peak,
                asked_peak_by_arithmetic: false,
                served: iops,
                wait_mean_us: 1.2,
                wait_mean_low_us: None,
                wait_mean_high_us: None,
                wait_p99_us: 21.0,
                service_mean_us,
                queue_mean: 0.1,
                queue_max: 17,
            });
        }
    }
    out
}
