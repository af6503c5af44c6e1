//! What a scripted run leaves unjudged.

use crate::outcome::{Case, Matrix};

/// Whether a scripted run has steady promises beside it of which none is judged for the state that the events leave.
pub(super) fn leaves_unjudged(matrix: &Matrix) -> bool {
    let Some(column) = matrix.cases.iter().position(Case::is_scripted) else {
        return false;
    };
    let mut steady = matrix.rows.iter().filter(|row| !row.switching).peekable();
    steady.peek().is_some() && steady.all(|row| row.cells[column].is_none())
}
