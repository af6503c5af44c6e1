//! Charts: each is one function from a report to a drawing, in three formats.

use crate::outcome::Report;

/// Where a drawing is shown.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Format {
    /// In the page on a wide screen: 800 wide (timeline and diagram 1100), text at least 13.
    Page,
    /// In the page on a phone: 340 wide, text at least 10; a drawing of its own, not a shrunk one.
    Phone,
    /// A slide or file of its own: 1280 × 720, text at least 22, finding and foot drawn in.
    Slide,
}

/// A finished drawing.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Drawing {
    /// The `<svg>` element, with `role="img"`, `<title>` and `<desc>` inside.
    pub svg: String,
    /// The finding, one sentence: the caption.
    pub finding: String,
    /// The same in numbers, for those who cannot see it.
    pub description: String,
}

/// The switch-over of `case` (index into `report.switches`) as `workload` (index) lived it.
#[must_use]
pub fn timeline(
    _report: &Report,
    _case: usize,
    _workload: usize,
    _format: Format,
) -> Option<Drawing> {
    None
}

/// Percentile curves of `workload`, every steady case and mend.
#[must_use]
pub fn percentiles(_report: &Report, _workload: usize, _format: Format) -> Option<Drawing> {
    None
}

/// Latency budget of `workload`, every steady case.
#[must_use]
pub fn budget(_report: &Report, _workload: usize, _format: Format) -> Option<Drawing> {
    None
}

/// Used healthy, used in an outage and spare, by part.
#[must_use]
pub fn headroom(_report: &Report, _format: Format) -> Option<Drawing> {
    None
}

/// Mean against the busiest 20 ms, by part, in steady case `case`.
#[must_use]
pub fn peaks(_report: &Report, _case: usize, _format: Format) -> Option<Drawing> {
    None
}

/// Utilization of links by case, as a heat map.
#[must_use]
pub fn heat(_report: &Report, _format: Format) -> Option<Drawing> {
    None
}

/// Load by member of the link groups with several members, in steady case `case`.
#[must_use]
pub fn members(_report: &Report, _case: usize, _format: Format) -> Option<Drawing> {
    None
}

/// The site as a diagram, coloured by the load of steady case `case`.
#[must_use]
pub fn diagram(_report: &Report, _case: usize, _format: Format) -> Option<Drawing> {
    None
}
