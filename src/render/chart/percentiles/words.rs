//! What percentile curves say.

use crate::outcome::{Report, Verdict};
use crate::render::chart::text::{bare_percent, percentile, sig, target, time};

use super::{Curve, Promise, along, rarity};

/// `p99 14.0 ms (13.6 to 14.4)`.
pub(super) fn figure(curve: &Curve, judged: f64) -> String {
    let name = percentile(judged);
    match (curve.saturated, curve.value, curve.beyond) {
        (true, ..) => "saturated: waiting grows without end".to_owned(),
        (_, Some((value, Some(low), Some(high))), _) => {
            let scale = if value >= 1e6 {
                1e-6
            } else if value >= 100.0 {
                1e-3
            } else {
                1.0
            };
            format!(
                "{name} {} ({} to {})",
                time(value, 3),
                sig(low * scale, 3),
                sig(high * scale, 3)
            )
        }
        (_, Some((value, ..)), _) => format!("{name} {}", time(value, 3)),
        (_, None, Some(beyond)) => format!("{name} over {}", time(beyond, 3)),
        _ if curve.points.is_empty() => "no I/O".to_owned(),
        _ => format!("{name} not known"),
    }
}

pub(super) fn finding(report: &Report, workload: &str, curves: &[Curve], judged: f64) -> String {
    let plain: Vec<&Curve> = curves.iter().filter(|curve| !curve.mended).collect();
    // Each case beside its own promise; where some have none, those that have one come first.
    let any = plain.iter().any(|curve| curve.promised.is_some());
    let rank = |curve: &Curve| {
        let value = curve
            .value
            .map_or(curve.beyond.unwrap_or(0.0), |value| value.0);
        match &curve.promised {
            _ if curve.saturated => f64::INFINITY,
            Some((us, _)) => value / us,
            None if any => -1.0,
            None => value,
        }
    };
    let Some(worst) = plain.iter().copied().reduce(|worst, curve| {
        if rank(curve) > rank(worst) {
            curve
        } else {
            worst
        }
    }) else {
        return String::new();
    };
    if worst.saturated {
        return format!(
            "{}, {workload} does not fit: it arrives faster than it is carried, and waiting grows without end.",
            worst.with
        );
    }
    let name = percentile(judged);
    let value = match (worst.value, worst.beyond) {
        (Some(value), _) => time(value.0, 2),
        (None, Some(beyond)) => format!("over {}", time(beyond, 2)),
        _ => "not known".to_owned(),
    };
    let promise = worst
        .promised
        .as_ref()
        .map_or_else(String::new, |(_, text)| {
            format!(", promise {}", target(text))
        });
    let missed = report.matrix.rows.iter().any(|row| {
        row.workload == workload
            && !row.switching
            && row
                .cells
                .iter()
                .flatten()
                .any(|cell| cell.verdict == Verdict::Missed)
    });
    let mend = report
        .shown_mends()
        .next()
        .zip(curves.iter().find(|curve| curve.mended))
        .filter(|_| missed);
    let mend = mend.and_then(|(mend, curve)| {
        Some(format!(
            "; with the change “{}” it is {}",
            mend.name,
            time(curve.value?.0, 2)
        ))
    });
    format!(
        "{}, {name} of {workload} is {value}{promise}{}.",
        worst.with,
        mend.unwrap_or_default()
    )
}

/// `, A lost`: in which cases something is promised; nothing where it is in all.
pub(super) fn of_cases(promise: &Promise) -> String {
    match promise.cases.as_slice() {
        _ if promise.everywhere => String::new(),
        [] => String::new(),
        [one] => format!(", {one}"),
        [one, other] => format!(", {one} and {other}"),
        [one, more @ ..] => format!(", {one} and {} more cases", more.len()),
    }
}

pub(super) fn description(workload: &str, curves: &[Curve], promises: &[Promise]) -> String {
    let rows: Vec<String> = curves
        .iter()
        .map(|curve| {
            if curve.saturated {
                return format!("{}: saturated", curve.name);
            }
            let at: Vec<String> = [0.5, 0.9, 0.99, 0.999]
                .iter()
                .filter_map(|&q| {
                    Some(format!(
                        "{} % within {}",
                        bare_percent(q),
                        time(along(&curve.points, rarity(q))?, 3)
                    ))
                })
                .collect();
            format!("{}: {}", curve.name, at.join(", "))
        })
        .collect();
    let promises: Vec<String> = promises
        .iter()
        .map(|promise| {
            format!(
                " The promise is {} at {} %{}.",
                target(&promise.text),
                bare_percent(promise.q),
                of_cases(promise)
            )
        })
        .collect();
    format!(
        "Latency of {workload}. {}.{}",
        rows.join("; "),
        promises.concat()
    )
}
