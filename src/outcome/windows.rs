//! The hours of a day in which an outage may be brought about on purpose.

use super::{Case, CutOff, Fullest, MeasureKind, Row, Verdict};
use serde::Serialize;

/// The hours of a day in which what each outage leaves keeps every promise.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Windows {
    /// Hours in a row that are needed.
    pub needed_hours: u32,
    /// How the work of each workload changes over the day, scenario order.
    pub shapes: Vec<WorkShape>,
    /// Different loads among the 24 hours, those without any work included.
    pub loads: u32,
    /// Whether hours were judged by busier or quieter ones; else each different load was simulated.
    pub bracketed: bool,
    /// Whether the drain and the loss were simulated too, and promises about switching judged on them; they are not
    /// where nothing is promised about switching.
    pub switch_judged: bool,
    /// Replications of each steady run.
    pub replications: u32,
    /// Replications of each switch-over.
    pub switch_replications: u32,
    /// Length of each steady run, warm-up included.
    pub duration_s: f64,
    /// One each, scenario order.
    pub outages: Vec<OutageWindows>,
    /// What is taken for granted.
    pub notes: Vec<String>,
}

/// The load of a workload over the day.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct WorkShape {
    /// Workload.
    pub workload: String,
    /// Whether the scenario states a shape; else every factor is 1.
    pub stated: bool,
    /// Factor of the stated rate, hour by hour from midnight.
    pub factors: Vec<f64>,
}

/// One outage.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct OutageWindows {
    /// The case.
    pub case: Case,
    /// What it takes, in words.
    pub takes: String,
    /// Hosts that are there and have no path while it is in force.
    pub cut_off: Vec<CutOff>,
    /// Loads of which the state with the outage in force was simulated.
    pub simulated: u32,
    /// Loads of which the way there was.
    pub ways_simulated: u32,
    /// The 24 hours from midnight on.
    pub hours: Vec<HourRow>,
    /// Hours in a row in which every promise is met, earliest first; one may run past midnight.
    pub windows: Vec<Window>,
    /// The longest of them, the earliest of several.
    pub longest: Option<Window>,
    /// Whether it is long enough; undecided where only hours that are undecided could make it so.
    pub verdict: Verdict,
}

/// Hours in a row.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub struct Window {
    /// Its first hour, 0 to 23.
    pub from_hour: u32,
    /// The hour at whose start it is over, 1 to 24; not above `from_hour` when it runs past midnight.
    pub to_hour: u32,
    /// How many hours.
    pub hours: u32,
}

/// How an hour was judged.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum JudgedBy {
    /// Its load was simulated.
    Simulated,
    /// Another hour has the same load.
    SameLoad,
    /// An hour in which no workload has more to do, and that misses a promise.
    QuieterHour,
    /// An hour in which no workload has less to do, and that keeps every promise.
    BusierHour,
    /// No workload has anything to do.
    NoWork,
}

/// One hour with the outage in force.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct HourRow {
    /// 0 for midnight to one o'clock.
    pub hour: u32,
    /// Smallest factor of any workload.
    pub least_factor: f64,
    /// Largest.
    pub most_factor: f64,
    /// Everything judged, together.
    pub verdict: Verdict,
    /// Promises of the state with the outage in force, together.
    pub state: Verdict,
    /// How that was judged.
    pub judged_by: JudgedBy,
    /// The hour whose figures these are: this one unless judged by another.
    pub figures_of_hour: u32,
    /// Promises about switching, together; `None`: not judged, as where the state keeps not every promise.
    pub switch_over: Option<Verdict>,
    /// How that was judged.
    pub switch_judged_by: Option<JudgedBy>,
    /// The hour of which the drain and the loss were simulated for it.
    pub switch_of_hour: Option<u32>,
    /// The smallest margin of any promise, per cent of its target; `None` where there is none.
    pub margin_percent: Option<f64>,
    /// The promise that is nearest to its limit, or furthest beyond it.
    pub tightest: Option<Tightest>,
    /// Some work does not fit.
    pub saturated: bool,
    /// A run was stopped by the event limit.
    pub partial: bool,
    /// The fullest part.
    pub fullest: Option<Fullest>,
    /// Longest I/O of the drain and the loss, all workloads and replications; `None`: not simulated.
    pub longest_io_s: Option<f64>,
    /// Every promise judged by a simulation of this hour, one cell a row; of hours judged by another it is empty.
    pub rows: Vec<Row>,
}

/// The promise that is nearest to its limit, or furthest beyond it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Tightest {
    /// Workload.
    pub workload: String,
    /// Of what.
    pub measure: MeasureKind,
    /// Target as it was written: `2ms`.
    pub target_text: String,
    /// Margin, per cent of the target; `None`: its work does not fit, I/Os failed, or none is allowed to.
    pub margin_percent: Option<f64>,
    /// How it was judged: the margin of a busier hour is a lower bound, that of a quieter one an upper.
    pub judged_by: JudgedBy,
}
