//! An invented study, so that everything that shows results can be tried without a simulation.
//!
//! No figure here was simulated. They hang together (shares add up, loads follow from one another, with
//! B lost everything mirrors A lost), but they prove nothing about any site. The title says so, and so
//! does every drawing made from it.

mod compare;
mod growth;
mod headroom;
mod links;
mod rest;
mod singles;
mod steady;
mod switch;
mod windows;

#[cfg(test)]
pub(crate) use steady::sample_bursts;

use crate::outcome::{
    Case, Cell, ChangedPart, Changes, Estimated, Matrix, MeasureKind, Mend, MendOrigin, MendSearch,
    Origin, RefusedMend, Report, Row, Steady, Verdict,
};

pub use compare::sample_comparison;
pub use growth::sample_growth;
pub use headroom::sample_headroom;
pub use windows::sample_windows;

/// Title of the sample: on every page and in every drawing's origin.
pub const TITLE: &str = "sample, invented figures";

/// The invented study: a healthy case, A lost and B lost; one promise of `bookings` is missed in both.
#[doc(hidden)]
#[must_use]
pub fn sample_report() -> Report {
    let cases = cases();
    let steady: Vec<Steady> = cases
        .iter()
        .map(|case| steady::steady(case, false))
        .collect();
    Report {
        origin: origin(),
        switches: cases[1..].iter().map(switch::switch).collect(),
        matrix: matrix(&cases, false),
        parts: rest::parts(),
        growth: rest::growth(&cases, false),
        mends: vec![mend(&cases)],
        mend_search: None,
        each_part: None,
        windows: None,
        picture: rest::picture(),
        review: rest::review(),
        assumptions: rest::assumptions(),
        precision: None,
        percentile_error_percent: 0.78,
        steady,
    }
}

/// The invented study with every single part lost in turn.
#[doc(hidden)]
#[must_use]
pub fn sample_singles() -> Report {
    Report {
        each_part: Some(singles::each_part()),
        ..sample_report()
    }
}

/// The invented study with proposed changes: one that does, one that does not, one that cannot be.
#[doc(hidden)]
#[must_use]
pub fn sample_mends() -> Report {
    let mut report = sample_report();
    let cases = cases();
    let stated = report.mends[0].clone();
    report.mends.push(Mend {
        name: "least-bytes paths at the hosts db".to_owned(),
        set: vec![("host.db.paths".to_owned(), "least-bytes".to_owned())],
        origin: MendOrigin::Proposed,
        changes: Changes {
            settings: 1,
            parts: vec![ChangedPart {
                kind: "setting".to_owned(),
                of: String::new(),
                count: 1,
            }],
            ..Changes::default()
        },
        matrix: matrix(&cases, false),
        growth: rest::growth(&cases, false),
        mends_all: false,
        repairs: false,
        left: Vec::new(),
        ..stated
    });
    report.mend_search = Some(MendSearch {
        most: 12,
        tried: 1,
        rounds: 1,
        sets_tried: 0,
        sets_untried: 0,
        calm: vec!["fleet, B lost".to_owned()],
        fixed: Vec::new(),
        refused: vec![RefusedMend {
            name: "64GFC from edge to san".to_owned(),
            set: vec![("link.edge-san.speed".to_owned(), "64GFC".to_owned())],
            reason: "the edge switches have no port for it".to_owned(),
        }],
        priced: false,
    });
    report
}

fn cases() -> Vec<Case> {
    let case = |name: &str, outage: Option<&str>, lost, carries| Case {
        name: name.to_owned(),
        outage: outage.map(str::to_owned),
        lost,
        carries,
    };
    vec![
        case("healthy", None, None, None),
        case("A lost", Some("A"), Some('A'), Some('B')),
        case("B lost", Some("B"), Some('B'), Some('A')),
    ]
}

fn origin() -> Origin {
    Origin {
        version: env!("CARGO_PKG_VERSION").to_owned(),
        title: TITLE.to_owned(),
        scenario: "ostrel.toml".to_owned(),
        digest: "5c1e90b7a2d44f0396b81c7ee0d5a9f3127b6648c9de01f4ab35708e92c6d1fa".to_owned(),
        seed: 7,
        replications: 10,
        switch_replications: 10,
        command: "halfloom report ostrel.toml --seed 7 --replications 10".to_owned(),
        set: Vec::new(),
    }
}

fn mend(cases: &[Case]) -> Mend {
    Mend {
        name: "light the two dark legs".to_owned(),
        set: vec![("link.edge-san.cage.lit".to_owned(), "4".to_owned())],
        origin: MendOrigin::Stated,
        changes: Changes {
            ports: 4,
            parts: vec![ChangedPart {
                kind: "port".to_owned(),
                of: "32GFC".to_owned(),
                count: 4,
            }],
            ..Changes::default()
        },
        ports_lacking: Vec::new(),
        matrix: matrix(cases, true),
        steady: cases
            .iter()
            .map(|case| steady::steady(case, true))
            .collect(),
        growth: rest::growth(cases, true),
        mends_all: true,
        repairs: false,
        left: Vec::new(),
    }
}

/// An estimate with an interval of `half` either way.
fn within(value: f64, half: f64) -> Estimated {
    Estimated {
        value,
        low: Some(value - half),
        high: Some(value + half),
    }
}

/// What a row promises, in the unit of its figures.
struct Promise<'a> {
    workload: &'a str,
    measure: MeasureKind,
    unit: &'static str,
    target: f64,
    text: &'a str,
    switching: bool,
}

fn cell(promise: &Promise<'_>, figure: Estimated) -> Cell {
    let more_is_better = promise.measure == MeasureKind::Throughput;
    let met = if more_is_better {
        figure.value >= promise.target
    } else {
        figure.value <= promise.target
    };
    let room = if more_is_better {
        figure.value - promise.target
    } else {
        promise.target - figure.value
    };
    let quantile = match promise.measure {
        MeasureKind::Quantile(q) => Some(1.0 - q),
        _ => None,
    };
    Cell {
        verdict: if met { Verdict::Met } else { Verdict::Missed },
        saturated: false,
        value: Some(figure),
        beyond: None,
        unit: promise.unit,
        target: promise.target,
        target_text: promise.text.to_owned(),
        margin_percent: (promise.target > 0.0).then(|| 100.0 * room / promise.target),
        above_share: quantile.map(|_| if met { 0.0004 } else { 0.262 }),
        above_allowed: quantile,
        failed: 0,
        replications: 10,
        replications_needed: None,
        left_open: None,
    }
}

fn row(promise: &Promise<'_>, figures: [Option<Estimated>; 3]) -> Row {
    Row {
        workload: promise.workload.to_owned(),
        measure: promise.measure,
        switching: promise.switching,
        cells: figures
            .iter()
            .map(|figure| figure.map(|figure| cell(promise, figure)))
            .collect(),
    }
}

/// Judgements without the mend (with the switch-over) or with it (steady promises only).
fn matrix(cases: &[Case], mended: bool) -> Matrix {
    let steady = |workload, measure, unit, target, text| Promise {
        workload,
        measure,
        unit,
        target,
        text,
        switching: false,
    };
    let lost = if mended {
        within(717.0, 18.0)
    } else {
        within(14_020.0, 410.0)
    };
    let mirrored = if mended {
        within(716.0, 18.0)
    } else {
        within(13_840.0, 430.0)
    };
    let mut rows = vec![
        row(
            &steady("bookings", MeasureKind::Quantile(0.99), "us", 2000.0, "2ms"),
            [Some(within(718.0, 17.5)), Some(lost), Some(mirrored)],
        ),
        row(
            &steady("fleet", MeasureKind::Mean, "us", 400.0, "400us"),
            [
                Some(within(214.0, 2.0)),
                Some(within(219.0, 2.1)),
                Some(within(219.0, 2.0)),
            ],
        ),
        row(
            &steady("fleet", MeasureKind::Quantile(0.99), "us", 1500.0, "1.5ms"),
            [
                Some(within(842.0, 11.0)),
                Some(within(856.0, 12.0)),
                Some(within(855.0, 12.0)),
            ],
        ),
        row(
            &steady(
                "archive",
                MeasureKind::Throughput,
                "MB/s",
                1500.0,
                "1.5GB/s",
            ),
            [
                Some(within(1573.0, 0.4)),
                Some(within(1573.0, 0.5)),
                Some(within(1573.0, 0.5)),
            ],
        ),
    ];
    if !mended {
        rows.extend(switching_rows());
    }
    Matrix {
        cases: cases.to_vec(),
        rows,
    }
}

fn switching_rows() -> Vec<Row> {
    let longest = [("bookings", 5.112), ("fleet", 5.071), ("archive", 5.094)];
    let asked = |workload, measure, unit, target, text| Promise {
        workload,
        measure,
        unit,
        target,
        text,
        switching: true,
    };
    let plain = |value| {
        Some(Estimated {
            value,
            low: None,
            high: None,
        })
    };
    let mut rows: Vec<Row> = Vec::new();
    for (name, seconds) in longest {
        let promise = asked(name, MeasureKind::LongestIo, "s", 20.0, "20s");
        rows.push(row(
            &promise,
            [None, plain(seconds), plain(seconds + 0.002)],
        ));
    }
    for (name, _) in longest {
        let promise = asked(name, MeasureKind::Failed, "", 0.0, "0");
        rows.push(row(&promise, [None, plain(0.0), plain(0.0)]));
    }
    rows
}
