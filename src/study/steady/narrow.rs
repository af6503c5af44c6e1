//! How wide the intervals of the promised figures are, for a precision that was asked for.

use super::super::case::CasePlan;
use super::Replications;
use super::figures::interval_of;
use crate::measure::{Looks, level, relative_half_width};
use crate::outcome::{LeftOut, MeasureKind, Precision, WidestFigure};
use crate::site::{Measure, Promise, Site};

/// A figure the rule goes by.
struct Wanted<'a> {
    case: usize,
    workload: usize,
    names: (&'a str, &'a str),
    measure: Measure,
}

impl Wanted<'_> {
    fn left_out(&self, why: &str) -> LeftOut {
        LeftOut {
            case: self.names.0.to_owned(),
            workload: self.names.1.to_owned(),
            measure: kind(self.measure),
            why: why.to_owned(),
        }
    }
}

/// Widths at one look.
pub(super) struct Widths {
    figures: usize,
    widest: Option<(f64, WidestFigure)>,
    left_out: Vec<LeftOut>,
    /// The limit that stopped a run.
    pub(super) stopped_by: Option<&'static str>,
}

/// Every steady figure that is promised in a case; where a workload has no such promise, its mean.
fn wanted<'a>(site: &'a Site, plans: &'a [CasePlan]) -> Vec<Wanted<'a>> {
    let mut all = Vec::new();
    for (case, plan) in plans.iter().enumerate() {
        for (workload, work) in site.workloads.iter().enumerate() {
            let promises: &[Promise] = match plan.case.outage {
                Some(_) => &work.promises.lost,
                None => &work.promises.healthy,
            };
            let mut measures: Vec<Measure> = Vec::new();
            for promise in promises {
                if !measures.contains(&promise.measure) {
                    measures.push(promise.measure);
                }
            }
            if measures.is_empty() {
                measures.push(Measure::Mean);
            }
            all.extend(measures.into_iter().map(|measure| Wanted {
                case,
                workload,
                names: (&plan.case.name, &work.name),
                measure,
            }));
        }
    }
    all
}

/// The intervals of all wanted figures, each at the level at which all hold together.
pub(super) fn widths(site: &Site, plans: &[CasePlan], runs: &Replications<'_>) -> Widths {
    let wanted = wanted(site, plans);
    let mut widths = Widths {
        figures: wanted.len(),
        widest: None,
        left_out: Vec::new(),
        stopped_by: (0..plans.len())
            .flat_map(|case| runs.tallies(case))
            .find_map(|tally| tally.stopped_by),
    };
    let level = level(wanted.len());
    for figure in &wanted {
        let compiled = &runs.compiled[figure.case];
        let tallies = runs.tallies(figure.case);
        let estimate = interval_of(compiled, tallies, figure.workload, figure.measure, level);
        let (value, half) = match estimate.map(|it| (it.value, it.half_width)) {
            Ok((value, Some(half))) => (value, half),
            Ok((_, None)) => {
                widths
                    .left_out
                    .push(figure.left_out("one replication has no interval"));
                continue;
            }
            Err(why) => {
                widths.left_out.push(figure.left_out(why));
                continue;
            }
        };
        let relative = relative_half_width(value, half);
        if widths
            .widest
            .as_ref()
            .is_none_or(|(most, _)| relative > *most)
        {
            let shown = WidestFigure {
                case: figure.names.0.to_owned(),
                workload: figure.names.1.to_owned(),
                measure: kind(figure.measure),
                half_width_percent: relative.is_finite().then_some(relative * 100.0),
            };
            widths.widest = Some((relative, shown));
        }
    }
    widths
}

impl Widths {
    /// The largest relative half width; `None` when no figure has an interval.
    pub(super) fn widest_half(&self) -> Option<f64> {
        self.widest.as_ref().map(|(relative, _)| *relative)
    }

    /// For the result.
    pub(super) fn precision(
        self,
        site: &Site,
        within: f64,
        looks: &Looks,
        reached: bool,
    ) -> Precision {
        let figures = self.figures;
        Precision {
            within_percent: within * 100.0,
            narrow_percent: looks.limit() * 100.0,
            reached,
            looks: looks.made().to_vec(),
            replications_max: site.run.replications_max,
            figures: u32::try_from(figures - self.left_out.len()).unwrap_or(u32::MAX),
            level_percent: level(figures) * 100.0,
            widest: self.widest.map(|(_, shown)| shown),
            left_out: self.left_out,
            stopped_by: self.stopped_by,
        }
    }
}

const fn kind(measure: Measure) -> MeasureKind {
    match measure {
        Measure::Mean => MeasureKind::Mean,
        Measure::Quantile(q) => MeasureKind::Quantile(q),
        Measure::Throughput => MeasureKind::Throughput,
        Measure::LongestIo => MeasureKind::LongestIo,
        Measure::Failed => MeasureKind::Failed,
    }
}
