//! Promises by cases.

use super::{Case, Estimated};
use serde::Serialize;

/// The answer to one promise in one case.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Verdict {
    /// Even the unfavourable one-sided 95 % bound keeps the promise.
    Met,
    /// Even the favourable bound breaks it.
    Missed,
    /// Neither: more replications would decide, or a longer run.
    Undecided,
}

/// What kind of figure a row judges.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum MeasureKind {
    /// Mean latency.
    Mean,
    /// A latency percentile, as a fraction.
    Quantile(f64),
    /// Throughput.
    Throughput,
    /// Longest I/O of the switch-over.
    LongestIo,
    /// Failed I/Os of the switch-over.
    Failed,
}

/// All promises in all cases.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Matrix {
    /// Columns: healthy first, then each outage; of a scripted run, healthy and `scripted events`.
    pub cases: Vec<Case>,
    /// Rows: one promise of one workload.
    pub rows: Vec<Row>,
}

/// One promise of one workload in every case.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Row {
    /// Workload.
    pub workload: String,
    /// What is judged.
    pub measure: MeasureKind,
    /// Whether it is judged in the switch-over (else in the steady state of the case).
    pub switching: bool,
    /// One for each case, `None` where nothing was promised.
    pub cells: Vec<Option<Cell>>,
}

/// One judgement.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Cell {
    /// The verdict.
    pub verdict: Verdict,
    /// The work does not fit: it arrives faster than it can be carried.
    pub saturated: bool,
    /// The figure: microseconds, MB/s, seconds (longest I/O) or a count, by the measure. `None` when
    /// saturated or when the figure lies beyond what was measured.
    pub value: Option<Estimated>,
    /// Set when the figure is only known to be greater than this.
    pub beyond: Option<f64>,
    /// Unit of `value`, `beyond` and `target`: `us`, `MB/s`, `s`, or empty for a count.
    pub unit: &'static str,
    /// Target in that unit.
    pub target: f64,
    /// Target as the user wrote it.
    pub target_text: String,
    /// Room left in per cent of the target; negative outside.
    pub margin_percent: Option<f64>,
    /// Percentile promises: share of I/Os above the target.
    pub above_share: Option<f64>,
    /// The promised share above the target, 1 − q.
    pub above_allowed: Option<f64>,
    /// Latency promises of a steady state: I/Os that failed, all replications; each is above any target.
    pub failed: u64,
    /// Replications judged.
    pub replications: u32,
    /// Undecided: about so many replications in all would decide.
    pub replications_needed: Option<u32>,
    /// Undecided for another reason than too few replications.
    pub left_open: Option<LeftOpen>,
}

/// Why a judgement stays open, whatever the number of replications.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum LeftOpen {
    /// In so many replications of the switch-over an I/O still waits when the run ends: nobody knows for how long, nor whether it fails.
    Waiting(u32),
    /// The run is too short to show what becomes of its I/Os.
    RunTooShort,
    /// The run begins empty, and the queue of a nearly full part fills for longer than it lasts: with what is missing of its wait the promise
    /// would not be kept.
    Filling,
    /// All runs together hold too few bursts of work that it depends on, or none from its beginning to its end.
    Bursts,
    /// A limit on events or memory stopped a run before its end.
    Stopped,
    /// The state after the switch-over is asked for more than it carries: the longer it lasts, the longer I/Os wait.
    PilesUp,
}

impl Cell {
    /// Whether nothing at all was completed: the latency is greater than nothing, and that is all there is to
    /// say.
    #[must_use]
    pub fn is_cut_off(&self) -> bool {
        !self.saturated && self.value.is_none() && self.beyond == Some(0.0)
    }

    /// I/Os that failed, where it is because of them that the figure lies beyond what was measured.
    #[must_use]
    pub fn beyond_by_failing(&self) -> Option<u64> {
        let beyond = !self.saturated && self.value.is_none() && !self.is_cut_off();
        (beyond && self.failed > 0).then_some(self.failed)
    }
}
