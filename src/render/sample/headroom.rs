//! An invented answer to "how far can the work grow".

use super::{cases, origin, rest};
use crate::outcome::{
    Breaks, CaseHeadroom, Cell, Estimated, Grows, Headroom, LoadPoint, LoadRow, MeasureKind,
    PartLoad, Purpose, Verdict,
};

/// Invented loads: the promise of 2 ms breaks at 1.9 healthy, at 1.3 with a fabric lost.
#[doc(hidden)]
#[must_use]
pub fn sample_headroom() -> Headroom {
    let cases = cases()
        .into_iter()
        .zip([1.9, 1.3, 1.3])
        .map(|(case, end)| CaseHeadroom {
            case,
            saturation: Some(end * 1.1),
            met: Some(end * 0.975),
            missed: Some(end * 1.01),
            crossing: Some(end),
            fitted: Some(5),
            knee: Some(end * 0.7),
            breaks: Some(Breaks {
                workload: "bookings".into(),
                measure: MeasureKind::Quantile(0.99),
                target_text: "2ms".into(),
                saturated: false,
            }),
            ends: Some(part("san to edge, 32GFC", 91.0)),
            next: Some(part("vault controllers", 84.0)),
            points: [0.3, 0.6, 0.8, 0.9, 0.975, 1.01, 1.1]
                .into_iter()
                .map(|share| point(share, end))
                .collect(),
        })
        .collect();
    Headroom {
        origin: origin(),
        grows: Grows {
            what: "load".into(),
            hosts: None,
        },
        confidence_percent: 95.0,
        most: 64.0,
        cases,
        parts: rest::parts(),
        notes: vec!["invented".into()],
    }
}

fn part(name: &str, percent: f64) -> PartLoad {
    PartLoad {
        part: name.into(),
        instance: "san-B > edge-B".into(),
        mean_percent: percent,
        peak_percent: percent + 4.0,
    }
}

fn point(share: f64, end: f64) -> LoadPoint {
    let saturated = share > 1.05;
    let us = 500.0 + 1500.0 * share.powi(6);
    let verdict = match share {
        _ if share < 0.98 => Verdict::Met,
        _ => Verdict::Missed,
    };
    LoadPoint {
        factor: share * end,
        purpose: match share {
            0.975 => Purpose::ProveMet,
            1.01 => Purpose::ProveMissed,
            _ => Purpose::Pilot,
        },
        replications: 10,
        verdict,
        saturated,
        partial: false,
        rows: vec![LoadRow {
            workload: "bookings".into(),
            measure: MeasureKind::Quantile(0.99),
            cell: Cell {
                verdict,
                saturated,
                value: (!saturated).then_some(Estimated {
                    value: us,
                    low: Some(us * 0.96),
                    high: Some(us * 1.04),
                }),
                beyond: None,
                unit: "us",
                target: 2000.0,
                target_text: "2ms".into(),
                margin_percent: (!saturated).then_some((2000.0 - us) / 20.0),
                above_share: Some(0.01 * share.powi(9)),
                above_allowed: Some(0.01),
                replications: 10,
                replications_needed: None,
            },
        }],
        fullest: vec![part("san to edge, 32GFC", 91.0 * share)],
    }
}
