//! An invented answer to "when does a promise break".

use super::{cases, origin};
use crate::outcome::{
    Breaks, Case, GrowthPlan, MeasureKind, PartLoad, Stage, StageCase, StageSearch, Standing,
};

/// Invented days: as it is, the loss of A breaks a promise before the step that would help; after the step all hold longer.
#[doc(hidden)]
#[must_use]
pub fn sample_growth() -> GrowthPlan {
    let stage = |name: &str, date: &str, until: Option<&str>, ends: [(&str, &str, f64); 3]| Stage {
        name: name.into(),
        date: date.into(),
        set: if until.is_some() {
            Vec::new()
        } else {
            vec![("link.edge-san.members".into(), "4".into())]
        },
        until: until.map(str::to_owned),
        search: StageSearch::Whole,
        cases: cases()
            .into_iter()
            .zip(ends)
            .map(|(case, end)| one(case, end, until))
            .collect(),
    };
    let early = ("2027-11-02", "2028-01-20", 1.22);
    let late = ("2030-05-30", "2030-09-01", 2.1);
    GrowthPlan {
        origin: origin(),
        from: "2027-01-01".into(),
        per_year_percent: vec![("bookings".into(), 25.0), ("archive".into(), 0.0)],
        confidence_percent: 95.0,
        years: 10.0,
        switching: false,
        unseen_bursts: Vec::new(),
        stages: vec![
            stage(
                "as it is",
                "2027-01-01",
                Some("2028-06-01"),
                [("2029-10-01", "2029-12-15", 1.85), early, early],
            ),
            stage(
                "light the dark legs & add ports",
                "2028-06-01",
                None,
                [("2032-03-01", "2032-06-01", 3.2), late, late],
            ),
        ],
        partial: false,
        cut: false,
        notes: vec!["invented".into()],
    }
}

fn one(case: Case, (holds, breaks, factor): (&str, &str, f64), until: Option<&str>) -> StageCase {
    StageCase {
        case,
        holds_until: Some(holds.into()),
        holds_factor: Some(factor),
        breaks_by: Some(breaks.into()),
        breaks_factor: Some(factor * 1.03),
        full_by: Some(breaks.into()),
        full_depth: None,
        hopeless: None,
        floor: None,
        asked_from: None,
        standing: if until.is_some_and(|until| holds >= until) {
            Standing::Holds
        } else {
            Standing::Breaks
        },
        breaks: Some(Breaks {
            workload: "bookings".into(),
            measure: MeasureKind::Quantile(0.99),
            target_text: "2ms".into(),
            saturated: false,
            kept_by_others: false,
        }),
        ends: Some(PartLoad {
            part: "san to edge, 32GFC".into(),
            instance: "san-B > edge-B".into(),
            mean_percent: 91.0,
            peak_percent: 99.0,
        }),
        cut: false,
    }
}
