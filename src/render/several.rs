//! Several scenarios beside each other: one row each, with its verdict, its worst judgement and what limits there.
//!
//! Left out: differences between them, which `compare` works out under the same random numbers.

use super::number::{NONE, two, whole_percent, with_unit};
use super::words::{Flag, answer, fullest_part, measure_name, row_scale};
use crate::outcome::Report;
use serde::Serialize;

/// One scenario.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ScenarioRow {
    /// File name, without folders.
    pub scenario: String,
    /// Title.
    pub title: String,
    /// SHA-256 of its text and of what was set.
    pub digest: String,
    /// `saturated`, `missed`, `undecided`, `met` or `no promise stated`: the worst of all judgements.
    pub verdict: &'static str,
    /// Judgements that are met, of all.
    pub met: u32,
    /// Judgements.
    pub judged: u32,
    /// Case of the worst, or tightest, judgement; `None` where nothing is judged.
    pub case: Option<String>,
    /// Its workload.
    pub workload: Option<String>,
    /// What is judged: `p99`.
    pub measure: Option<String>,
    /// Its figure; `None` when saturated.
    pub value: Option<f64>,
    /// `us`, `MB/s`, `s` or empty.
    pub unit: &'static str,
    /// Target as stated.
    pub target_text: Option<String>,
    /// Room left in per cent of the target.
    pub margin_percent: Option<f64>,
    /// The fullest part in that case: `san to edge, 32GFC`.
    pub part: Option<String>,
    /// What it is asked for in the busiest 20 ms, per cent.
    pub peak_percent: Option<f64>,
    /// A limit on events or memory stopped one of its runs.
    pub partial: bool,
    /// Command line that repeats it.
    pub command: String,
    /// Figure as it is shown.
    #[serde(skip)]
    shown: String,
    /// The verdict's flag.
    #[serde(skip)]
    flag: Flag,
}

/// The rows, in the order given.
#[must_use]
pub fn scenario_rows(reports: &[Report]) -> Vec<ScenarioRow> {
    reports.iter().map(row).collect()
}

fn row(report: &Report) -> ScenarioRow {
    let answer = answer(report);
    let worst = answer.worst.and_then(|(of, case)| {
        let row = &report.matrix.rows[of];
        Some((row, case, row.cells[case].as_ref()?))
    });
    let cells = || {
        report
            .matrix
            .rows
            .iter()
            .flat_map(|row| row.cells.iter().flatten())
    };
    let count = |n: usize| u32::try_from(n).unwrap_or(u32::MAX);
    let part = worst.and_then(|(_, case, _)| fullest_part(report, case));
    let shown = worst.map_or_else(
        || NONE.to_owned(),
        |(row, case, cell)| {
            let scale = row_scale(row);
            let value = match (cell.saturated, cell.value, cell.beyond) {
                (true, ..) => "does not fit".to_owned(),
                (_, Some(figure), _) => with_unit(&scale.three(figure.value), scale.unit),
                (_, None, Some(_)) if cell.is_cut_off() => "cut off".to_owned(),
                (_, None, Some(beyond)) => {
                    format!("> {}", with_unit(&scale.three(beyond), scale.unit))
                }
                (_, None, None) => "beyond".to_owned(),
            };
            let state = &report.matrix.cases[case].name;
            let when = if row.switching { ", switch-over" } else { "" };
            format!(
                "{} {} {value}, {state}{when} (promised {})",
                row.workload,
                measure_name(row.measure),
                cell.target_text
            )
        },
    );
    ScenarioRow {
        scenario: report.origin.scenario.clone(),
        title: report.origin.title.clone(),
        digest: report.origin.digest.clone(),
        verdict: answer.flag.word(),
        met: count(cells().filter(|cell| Flag::of(cell) == Flag::Met).count()),
        judged: count(cells().count()),
        case: worst.map(|(_, case, _)| report.matrix.cases[case].name.clone()),
        workload: worst.map(|(row, ..)| row.workload.clone()),
        measure: worst.map(|(row, ..)| measure_name(row.measure)),
        value: worst.and_then(|(.., cell)| Some(cell.value?.value)),
        unit: worst.map_or("", |(.., cell)| cell.unit),
        target_text: worst.map(|(.., cell)| cell.target_text.clone()),
        margin_percent: worst.and_then(|(.., cell)| cell.margin_percent),
        part: part.map(|(part, _)| part.part.clone()),
        peak_percent: part.map(|(_, used)| used.peak_percent),
        partial: report.is_cut(),
        command: report.origin.command.clone(),
        shown,
        flag: answer.flag,
    }
}

impl ScenarioRow {
    /// What limits, in words: `edge to san, 32GFC, 119 % in the busiest 20 ms`.
    #[must_use]
    pub fn limit(&self) -> String {
        let Some((part, peak)) = self.part.as_ref().zip(self.peak_percent) else {
            return NONE.to_owned();
        };
        format!(
            "{part}, {} in the busiest {}",
            with_unit(&whole_percent(peak), "%"),
            with_unit("20", "ms")
        )
    }

    /// The worst judgement as it is shown.
    #[must_use]
    pub fn worst(&self) -> &str {
        &self.shown
    }

    /// Margin as it is shown.
    #[must_use]
    pub fn room(&self) -> String {
        self.margin_percent
            .map_or_else(|| NONE.to_owned(), |margin| with_unit(&two(margin), "%"))
    }

    /// The worst flag of the scenario.
    #[must_use]
    pub const fn flag(&self) -> Flag {
        self.flag
    }
}
