use super::{Drawing, Format};
use crate::outcome::Report;
pub(super) fn draw(
    _report: &Report,
    _case: usize,
    _workload: usize,
    _format: Format,
) -> Option<Drawing> {
    None
}
pub(super) fn numbered(_switch: &crate::outcome::Switch, _workload: usize) -> Vec<usize> {
    Vec::new()
}
