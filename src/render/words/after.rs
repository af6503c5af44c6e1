//! What a scripted run leaves unjudged.

use super::Prose;
use crate::outcome::{Case, Matrix, Reference, Report};

/// Whether a scripted run has steady promises beside it of which none is judged for the state that the events leave.
pub(super) fn leaves_unjudged(matrix: &Matrix) -> bool {
    let Some(column) = matrix.cases.iter().position(Case::is_scripted) else {
        return false;
    };
    let mut steady = matrix.rows.iter().filter(|row| !row.switching).peekable();
    steady.peek().is_some() && steady.all(|row| row.cells[column].is_none())
}

/// Why nothing is judged of the state that the events leave, where something stays slow in it.
pub(super) fn unjudged_words(report: &Report) -> Prose {
    let slow = report
        .switches
        .iter()
        .any(|switch| switch.case.is_scripted() && switch.settles_to == Reference::WithoutSlow);
    if !slow || !leaves_unjudged(&report.matrix) {
        return Prose::new();
    }
    Prose::new().text(
        "Of the state that the events leave nothing is judged: a part stays slow in it, and the timeline alone shows what becomes of the work.",
    )
}
