use super::{Drawing, Format};
use crate::outcome::Report;
pub(super) fn draw(_report: &Report, _case: usize, _format: Format) -> Option<Drawing> {
    None
}
