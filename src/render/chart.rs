//! Charts: each is one function from a report to a drawing, in three formats.
//!
//! A drawing is a list of shapes in its own units (`canvas`), laid out with the widths of an embedded font
//! (`text`) and written as SVG 1.1: charts through `plotters`, the diagram by hand. Colours are one value a
//! role (`palette`), so that a page can map them. A function returns `None` when the report has nothing
//! for it to show.
//!
//! Left out: interaction, and pages around the drawings.

mod axis;
mod budget;
mod canvas;
mod diagram;
mod differences;
mod frame;
mod growth;
mod headroom;
mod heat;
mod hours;
mod ladder;
mod lines;
mod load;
mod margin;
mod members;
pub mod palette;
mod peaks;
mod percentiles;
mod place;
mod rows;
mod sizes;
mod sweep;
mod text;
mod timeline;

use crate::outcome::{
    Comparison, Exchange, GrowthPlan, Headroom, Origin, Report, Sizes, Switch, Windows,
};
use crate::render::sweep::SweepTable;
use crate::render::words::unseen_in;

/// The embedded fonts, for whoever turns drawings into pixels.
pub(super) mod fonts {
    pub(in crate::render) use super::text::{BOLD, PLAIN};
    /// Name of the family in both files.
    pub(in crate::render) const FAMILY: &str = "DejaVu Sans";
}

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
pub fn timeline(report: &Report, case: usize, workload: usize, format: Format) -> Option<Drawing> {
    timeline::draw(report, case, workload, format)
}

/// Percentile curves of `workload`, every steady case and mend.
#[must_use]
pub fn percentiles(report: &Report, workload: usize, format: Format) -> Option<Drawing> {
    percentiles::draw(report, workload, format)
}

/// Latency budget of `workload`, every steady case.
#[must_use]
pub fn budget(report: &Report, workload: usize, format: Format) -> Option<Drawing> {
    budget::draw(report, workload, format)
}

/// Used healthy, used in an outage and spare, by part.
#[must_use]
pub fn headroom(report: &Report, format: Format) -> Option<Drawing> {
    headroom::draw(
        &report.parts,
        &report.matrix.cases.iter().collect::<Vec<_>>(),
        (&report.origin, &unseen_in(report)),
        format,
    )
}

/// The same of the loads that `headroom` ran: parts at today's load.
#[must_use]
pub fn part_bars(found: &Headroom, format: Format) -> Option<Drawing> {
    let cases: Vec<_> = found.cases.iter().map(|own| &own.case).collect();
    headroom::draw(
        &found.parts,
        &cases,
        (&found.origin, &found.unseen_bursts()),
        format,
    )
}

/// Promised figures of each design against the first one's, with their intervals; `None` where no figure is promised.
#[must_use]
pub fn design_differences(comparison: &Comparison, format: Format) -> Option<Drawing> {
    differences::draw(comparison, format)
}

/// The load over the years against what is proven, healthy and in each outage, with the planned steps.
#[must_use]
pub fn growth_curve(plan: &GrowthPlan, format: Format) -> Option<Drawing> {
    growth::draw(plan, format)
}

/// Latency against load: promise number `promise` (index into the promises of the healthy case), every case.
#[must_use]
pub fn load_curve(headroom: &Headroom, promise: usize, format: Format) -> Option<Drawing> {
    load::draw(headroom, promise, format)
}

/// The promised figure of `workload` (the first with a promise) against one or two varied values; `None` where more
/// are varied, or nothing was run.
#[must_use]
pub fn sweep_chart(
    table: &SweepTable,
    origin: &Origin,
    workload: Option<&str>,
    format: Format,
) -> Option<Drawing> {
    sweep::draw(table, origin, workload, format)
}

/// `None` where a limit ended the runs of steady case `case` within their warm-up: there is nothing to draw.
fn measured(report: &Report, case: usize) -> Option<()> {
    let steady = report.steady.get(case);
    (!steady.is_some_and(|steady| steady.unmeasured)).then_some(())
}

/// Mean against the busiest 20 ms, by part, in steady case `case`; `None` where nothing was measured.
#[must_use]
pub fn peaks(report: &Report, case: usize, format: Format) -> Option<Drawing> {
    measured(report, case)?;
    peaks::draw(report, case, format)
}

/// Utilization of links by case, as a heat map.
#[must_use]
pub fn heat(report: &Report, format: Format) -> Option<Drawing> {
    heat::draw(report, format)
}

/// Load by member of the link groups with several members, in steady case `case`; `None` where nothing was measured.
#[must_use]
pub fn members(report: &Report, case: usize, format: Format) -> Option<Drawing> {
    measured(report, case)?;
    members::draw(report, case, format)
}

/// The hours of a day in which each outage may be brought about; `None` without an outage.
#[must_use]
pub fn hours(origin: &Origin, windows: &Windows, format: Format) -> Option<Drawing> {
    hours::draw(origin, windows, format)
}

/// The site as a diagram, coloured by the load of steady case `case`; `None` where nothing was measured.
#[must_use]
pub fn diagram(report: &Report, case: usize, format: Format) -> Option<Drawing> {
    measured(report, case)?;
    diagram::draw(report, case, format)
}

/// The messages of one I/O between host and array on the first of its links, and where its bytes go.
#[must_use]
pub fn ladder(exchange: &Exchange, format: Format) -> Option<Drawing> {
    ladder::draw(exchange, format)
}

/// Payload rate against the size of an I/O, one curve a protocol, link and MTU.
#[must_use]
pub fn sizes(sizes: &Sizes, format: Format) -> Option<Drawing> {
    sizes::draw(sizes, format)
}

/// Events of a switch-over that `workload` (index) has to do with, as indices into `switch.events`: the
/// n-th of them carries the number n + 1 in its timeline.
#[must_use]
pub fn numbered_events(switch: &Switch, workload: usize) -> Vec<usize> {
    timeline::numbered(switch, workload)
}

#[cfg(test)]
mod tests;
