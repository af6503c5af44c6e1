//! Every single part lost in turn, invented.

use super::{Promise, cell, within};
use crate::outcome::{
    Case, Cell, CutOff, EachPart, Estimated, Fullest, Matrix, MeasureKind, PartCase, PartSwitch,
    Row,
};

/// Healthy, a port, a switch that is too much for the rest, a controller that cuts a host off.
pub(super) fn each_part() -> EachPart {
    EachPart {
        during: None,
        parts: 9,
        cases_run: 3,
        cases_saved: 6,
        grouped: true,
        replications: 4,
        duration_s: 0.7,
        switch_replications: 2,
        cases: vec![
            part("", ""),
            PartCase {
                also: vec!["link db-1:A1~module-1-A".to_owned()],
                alike: ["db-1:B1", "db-2:A1", "db-2:B1", "db-3:A1", "db-3:B1"]
                    .map(str::to_owned)
                    .to_vec(),
                switch_over: Some(PartSwitch {
                    settled_s: Some(5.4),
                    longest_io_s: 5.11,
                    longest_open: false,
                    no_path: false,
                    failed_without_path: false,
                    longest_silence_s: 0.002,
                    failed: 0,
                    retried: 128,
                    timer: Some("fast-io-fail, 5s".to_owned()),
                }),
                ..part("host port", "db-1:A1")
            },
            PartCase {
                alike: vec!["san-B".to_owned()],
                ..part("switch", "san-A")
            },
            PartCase {
                cut_off: vec![CutOff {
                    array: "vault".to_owned(),
                    hosts: vec!["db-1".to_owned(), "db-2".to_owned()],
                    workloads: vec!["bookings".to_owned()],
                }],
                ..part("controller", "vault-c1")
            },
        ],
        matrix: matrix(),
    }
}

fn part(kind: &str, name: &str) -> PartCase {
    PartCase {
        kind: kind.to_owned(),
        part: name.to_owned(),
        also: Vec::new(),
        alike: Vec::new(),
        gone_hosts: Vec::new(),
        cut_off: Vec::new(),
        fullest: Some(Fullest {
            part: "san to edge, 32GFC".to_owned(),
            instance: "san-B > edge-B".to_owned(),
            mean_percent: 66.0,
            asked_mean_percent: None,
            peak_percent: 119.0,
        }),
        switch_over: None,
        saturated: false,
        partial: false,
    }
}

fn matrix() -> Matrix {
    let case = |name: &str| Case {
        name: if name.is_empty() {
            "healthy".to_owned()
        } else {
            format!("{name} lost")
        },
        outage: (!name.is_empty()).then(|| name.to_owned()),
        lost: None,
        carries: None,
    };
    let p99 = Promise {
        workload: "bookings",
        measure: MeasureKind::Quantile(0.99),
        unit: "us",
        target: 2000.0,
        text: "2ms",
        switching: false,
    };
    let longest = Promise {
        measure: MeasureKind::LongestIo,
        unit: "s",
        target: 20.0,
        text: "20s",
        switching: true,
        ..p99
    };
    let lone = Estimated {
        value: 5.11,
        low: None,
        high: None,
    };
    let row = |promise: &Promise<'_>, cells: Vec<Option<Cell>>| Row {
        workload: promise.workload.to_owned(),
        measure: promise.measure,
        switching: promise.switching,
        cells,
    };
    let figures =
        [718.0, 760.0, 14_020.0, 2_400.0].map(|value| Some(cell(&p99, within(value, 20.0))));
    Matrix {
        cases: ["", "db-1:A1", "san-A", "vault-c1"].map(case).to_vec(),
        rows: vec![
            row(&p99, figures.to_vec()),
            row(&longest, vec![None, Some(cell(&longest, lone)), None, None]),
        ],
    }
}
