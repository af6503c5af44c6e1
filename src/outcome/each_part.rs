//! Every single part lost in turn.

use super::Matrix;
use super::report::asked_percent;
use serde::Serialize;

/// What the loss of each single part does, one part at a time.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct EachPart {
    /// The outage that is in force all the while; `None` when everything else is there.
    pub during: Option<String>,
    /// Single parts that can be lost, parts that fall together counted once.
    pub parts: u32,
    /// Of them simulated.
    pub cases_run: u32,
    /// Of them not simulated, because they stand in the same place as one that was.
    pub cases_saved: u32,
    /// Whether parts in the same place were grouped.
    pub grouped: bool,
    /// Replications of each steady run.
    pub replications: u32,
    /// Length of each steady run, warm-up included.
    pub duration_s: f64,
    /// Replications of each switch-over; 0: only the state after each loss was simulated.
    pub switch_replications: u32,
    /// One for each column of `matrix`: the state before (healthy, or the outage that is in force), then one
    /// for each part simulated.
    pub cases: Vec<PartCase>,
    /// The verdicts, column by column.
    pub matrix: Matrix,
}

impl EachPart {
    /// The cases in which a part is lost, each with its column of the matrix.
    pub fn losses(&self) -> impl Iterator<Item = (usize, &PartCase)> {
        self.cases.iter().enumerate().skip(1)
    }
}

/// One part lost.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PartCase {
    /// `chassis`, `module`, `switch`, `controller`, `host port`, `array port`, `cage`, `link`, `member`, `group`; empty
    /// in the state before.
    pub kind: String,
    /// Name of the part; empty in the state before.
    pub part: String,
    /// Other parts whose loss is the same: `link db-1:A1~module-1-A`.
    pub also: Vec<String>,
    /// Parts in the same place, which were not simulated: the answer holds for them but for random numbers.
    pub alike: Vec<String>,
    /// Hosts that go with it: their work is not asked for.
    pub gone_hosts: Vec<String>,
    /// Hosts that are still there and have no path left.
    pub cut_off: Vec<CutOff>,
    /// The fullest part in this case of those that the work crosses that misses a promise of the state after, of all where it crosses none.
    /// When nothing was measured, by arithmetic, and `None` where that has no part over full.
    pub fullest: Option<Fullest>,
    /// What happened on the way; `None` when it was not simulated.
    pub switch_over: Option<PartSwitch>,
    /// Some work does not fit.
    pub saturated: bool,
    /// Stopped by the event limit.
    pub partial: bool,
}

/// Hosts without a path to an array.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct CutOff {
    /// Array that cannot be reached.
    pub array: String,
    /// Hosts.
    pub hosts: Vec<String>,
    /// Workloads concerned.
    pub workloads: Vec<String>,
}

/// The fullest part of a case, by what it is asked for in the busiest 20 ms.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Fullest {
    /// `san to edge, 32GFC`.
    pub part: String,
    /// `san-B > edge-B`.
    pub instance: String,
    /// Mean of the run: what it did.
    pub mean_percent: f64,
    /// What is asked of it on the mean by arithmetic, as of [`super::UseInCase::asked_mean_percent`]; `None` too where all work fits.
    pub asked_mean_percent: Option<f64>,
    /// Asked in the busiest 20 ms; over 100 when it cannot keep up.
    pub peak_percent: f64,
}

impl Fullest {
    /// What is asked of it on the mean, per cent, as [`super::UseInCase::asked_percent`].
    #[must_use]
    pub fn asked_percent(&self) -> f64 {
        asked_percent(self.mean_percent, self.asked_mean_percent)
    }

    /// The most that is known to be asked of it, per cent, as [`super::UseInCase::most_asked_percent`].
    #[must_use]
    pub fn most_asked_percent(&self) -> f64 {
        self.peak_percent.max(self.asked_percent())
    }
}

/// The switch-over of one part.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PartSwitch {
    /// When all had settled, after the loss; `None`: not within the limit.
    pub settled_s: Option<f64>,
    /// Longest I/O of any workload and replication.
    pub longest_io_s: f64,
    /// It was not over when the run ended.
    pub longest_open: bool,
    /// I/Os waited at the end at a host that had no path for them.
    pub no_path: bool,
    /// I/Os failed because their host had no path for them.
    pub failed_without_path: bool,
    /// Longest time without any completion of a workload.
    pub longest_silence_s: f64,
    /// I/Os that failed, all workloads and replications.
    pub failed: u64,
    /// I/Os sent again, all workloads and replications.
    pub retried: u64,
    /// The timer that ended the stall, with its value; `None` when none had to.
    pub timer: Option<String>,
}
