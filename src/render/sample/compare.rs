//! An invented comparison.

use super::{cases, matrix, origin};
use crate::outcome::{
    Change, ChangedPart, Changes, Comparison, DesignRow, Device, Difference, Estimated, Inventory,
    MeasureKind, PartDifference,
};

/// Two invented designs: as it is, and with the two dark legs lit.
#[doc(hidden)]
#[must_use]
pub fn sample_comparison() -> Comparison {
    let cases = cases();
    let design = |name: &str, mended: bool| DesignRow {
        name: name.to_owned(),
        digest: origin().digest,
        set: Vec::new(),
        other_work: Vec::new(),
        inventory: Inventory {
            hosts: 24,
            switches: 6,
            modules: 6,
            controllers: 4,
            cables: vec![("32GFC".to_owned(), if mended { 12 } else { 8 })],
            ports: vec![("32GFC".to_owned(), if mended { 20 } else { 12 })],
            optics: vec![("32GFC".to_owned(), if mended { 20 } else { 12 })],
            lit_legs: vec![("32GFC".to_owned(), if mended { 8 } else { 4 })],
            dark_legs: vec![("32GFC".to_owned(), if mended { 0 } else { 4 })],
            devices: vec![Device {
                kind: "switch".to_owned(),
                of: "san".to_owned(),
                count: 2,
            }],
        },
        changes: Changes {
            ports: if mended { 8 } else { 0 },
            parts: mended
                .then(|| ChangedPart {
                    kind: "port".to_owned(),
                    of: "32GFC".to_owned(),
                    count: 8,
                })
                .into_iter()
                .collect(),
            price: mended.then_some(7_200.0),
            ..Changes::default()
        },
        frees: Changes {
            price: Some(0.0),
            ..Changes::default()
        },
        matrix: matrix(&cases, mended),
        partial: false,
    };
    let estimated = |value: f64, half: f64| Estimated {
        value,
        low: Some(value - half),
        high: Some(value + half),
    };
    Comparison {
        origin: origin(),
        designs: vec![
            design("ostrel.toml", false),
            design("ostrel-mended.toml", true),
        ],
        differences: vec![Difference {
            design: 1,
            case: cases[1].clone(),
            workload: "bookings".to_owned(),
            measure: MeasureKind::Quantile(0.99),
            promised: true,
            unit: "us",
            first: Some(14_020.0),
            value: Some(1_310.0),
            first_lacks: None,
            value_lacks: None,
            difference: Some(estimated(-12_710.0, 420.0)),
            base: Some(14_020.0),
            change: Change::Better,
        }],
        part_differences: vec![PartDifference {
            design: 1,
            case: cases[1].clone(),
            part: "san to edge, 32GFC".to_owned(),
            first_instance: Some("san-B > edge-B".to_owned()),
            value_instance: Some("san-B > edge-B".to_owned()),
            first_percent: Some(71.0),
            value_percent: Some(35.5),
            difference: Some(estimated(-35.5, 0.4)),
            change: Change::Better,
        }],
        warm_up_s: 0.2,
        priced: true,
        notes: vec!["invented".to_owned()],
    }
}
