//! An invented answer to "how far can the work grow".

use super::{cases, origin, rest};
use crate::outcome::{
    Breaks, CaseHeadroom, Cell, Estimated, Grows, Headroom, LoadPoint, LoadRow, LoadSwitch,
    MeasureKind, PartLoad, Purpose, RankedBy, SwitchOvers, Verdict,
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
            depth: None,
            met: Some(end * 0.975),
            unlike: false,
            holes: Vec::new(),
            missed: Some(end * 1.01),
            crossing: Some(end),
            no_crossing: None,
            certain: None,
            fitted: Some(5),
            knee: Some(end * 0.7),
            breaks: Some(Breaks {
                workload: "bookings".into(),
                measure: MeasureKind::Quantile(0.99),
                target_text: "2ms".into(),
                saturated: false,
                kept_by_others: false,
            }),
            ends: Some(part("san to edge, 32GFC", 91.0)),
            beside: None,
            next: Some(part("vault controllers", 84.0)),
            ranked_by: RankedBy::Mean,
            unwaited_percent: Some(35.0),
            bound: None,
            floor: None,
            hopeless: None,
            today: Some(Verdict::Met),
            switch_over: None,
            switch_tried: Vec::new(),
            switch_met: None,
            points: [0.3, 0.6, 0.8, 0.9, 0.975, 1.01, 1.1]
                .into_iter()
                .map(|share| point(share, end))
                .collect(),
        })
        .collect::<Vec<_>>();
    let cases = cases.into_iter().map(switched).collect();
    Headroom {
        origin: origin(),
        grows: Grows {
            what: "load".into(),
            hosts: None,
            depth: None,
            limit: None,
        },
        confidence_percent: 95.0,
        most: 64.0,
        cases,
        parts: rest::parts(),
        switch_overs: SwitchOvers::Judged,
        partial: false,
        notes: vec!["invented".into()],
    }
}

/// The switch-over of an outage: 5.1 s, where 20 s are promised.
fn switched(case: CaseHeadroom) -> CaseHeadroom {
    let cell = |value: f64, target: f64, unit: &'static str, text: &str| Cell {
        verdict: Verdict::Met,
        saturated: false,
        value: Some(Estimated {
            value,
            low: None,
            high: None,
        }),
        beyond: None,
        unit,
        target,
        target_text: text.into(),
        margin_percent: (target > 0.0).then_some(100.0 * (target - value) / target.max(1.0)),
        above_share: None,
        above_allowed: None,
        failed: 0,
        replications: 3,
        replications_needed: None,
        left_open: None,
    };
    let row = |measure, cell| LoadRow {
        workload: "bookings".into(),
        measure,
        cell,
    };
    let found = |factor| LoadSwitch {
        factor,
        replications: 3,
        verdict: Verdict::Met,
        rows: vec![
            row(MeasureKind::LongestIo, cell(5.13, 20.0, "s", "20s")),
            row(MeasureKind::Failed, cell(0.0, 0.0, "", "0")),
        ],
        partial: false,
        settled_s: Some(5.4),
        frame_hops: 0,
    };
    let proven = case.met.filter(|_| case.case.outage.is_some());
    CaseHeadroom {
        switch_over: proven.map(found),
        switch_met: proven,
        ..case
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
        depths: Vec::new(),
        replications: 10,
        verdict,
        saturated,
        lengthened_s: None,
        needs_s: None,
        partial: false,
        frame_hops: 0,
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
                failed: 0,
                replications: 10,
                replications_needed: None,
                left_open: None,
            },
        }],
        fullest: vec![part("san to edge, 32GFC", 91.0 * share)],
        ranked_by: RankedBy::Mean,
        unseen_bursts: Vec::new(),
    }
}
