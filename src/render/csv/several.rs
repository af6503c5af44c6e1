//! Several scenarios, one row each.

use super::{maybe, names, to_text};
use crate::render::several::ScenarioRow;

/// One row a scenario: its verdict, its worst judgement, and the fullest part there.
#[must_use]
pub fn several_csv(rows: &[ScenarioRow]) -> String {
    let header = names(&[
        "scenario",
        "title",
        "digest",
        "verdict",
        "met",
        "judged",
        "case",
        "workload",
        "measure",
        "value",
        "unit",
        "target",
        "margin_percent",
        "part",
        "part_peak_percent",
        "partial",
        "command",
    ]);
    let text = |value: &Option<String>| value.clone().unwrap_or_default();
    let rows = rows.iter().map(|row| {
        vec![
            row.scenario.clone(),
            row.title.clone(),
            row.digest.clone(),
            row.verdict.to_owned(),
            row.met.to_string(),
            row.judged.to_string(),
            text(&row.case),
            text(&row.workload),
            text(&row.measure),
            maybe(row.value),
            row.unit.to_owned(),
            text(&row.target_text),
            maybe(row.margin_percent),
            text(&row.part),
            maybe(row.peak_percent),
            row.partial.to_string(),
            row.command.clone(),
        ]
    });
    to_text(&header, rows.collect())
}
