//! Figures of a switch-over: from shortly before a loss until things have settled.

use super::Case;
use serde::Serialize;

/// A switch-over, over all its replications. Times are relative to the loss (negative before it).
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Switch {
    /// Which outage.
    pub case: Case,
    /// Replications.
    pub replications: u32,
    /// Timer preset of the hosts concerned, `default` or `short`, or both names.
    pub preset: String,
    /// First and last instant shown.
    pub from_s: f64,
    /// Last instant.
    pub to_s: f64,
    /// Bin width.
    pub bin_s: f64,
    /// When every workload had settled; `None`: not within the limit.
    pub settled_s: Option<f64>,
    /// The limit that ended the run if not settled.
    pub limit_s: f64,
    /// Stopped by the event limit.
    pub partial: bool,
    /// The key of the limit that stopped a run.
    pub stopped_by: Option<&'static str>,
    /// Workloads, scenario order.
    pub workloads: Vec<SwitchWorkload>,
    /// Everything that happened, by name, in order of time (first replication; times are the same in all
    /// but where an I/O is concerned).
    pub events: Vec<NamedEvent>,
    /// State of the paths over time, one lane a side and workload group.
    pub lanes: Vec<PathLane>,
    /// Events handled, all replications.
    pub events_handled: u64,
    /// Frame-hops, all replications.
    pub frame_hops: u64,
    /// I/Os completed, all replications.
    pub ios: u64,
}

/// One workload in a switch-over.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SwitchWorkload {
    /// Name.
    pub name: String,
    /// Bins from `from_s`, averaged over the replications.
    pub bins: Vec<SwitchBin>,
    /// Longest I/O of each replication, in progress ones included.
    pub longest_io_s: Vec<f64>,
    /// Longest time without any completion, worst replication.
    pub longest_silence_s: f64,
    /// Share of the I/Os that were over after the loss, or unfinished at the end, that took longer than the
    /// promise (p99 or mean target); failed ones count as longer.
    pub above_promise_share: Option<f64>,
    /// Time in bins whose mean lies above the promise.
    pub above_promise_s: Option<f64>,
    /// I/Os completed after the loss, all replications.
    pub completed: u64,
    /// Attempts that were sent again, all replications.
    pub retried: u64,
    /// I/Os that failed, each replication.
    pub failed: Vec<u64>,
    /// Late responses of given-up attempts, all replications.
    pub late: u64,
    /// Fewest completed per second in 20 ms after the loss, mean over the replications bin by bin; longer bins where the
    /// run has none so short. `None`: the run ended before.
    pub completed_least_iops: Option<f64>,
    /// Most completed per second in 20 ms of the run, mean of the replications' own: work that was held comes out at once.
    pub completed_most_iops: f64,
    /// I/Os unfinished when the run ended, all replications.
    pub unfinished: u64,
    /// I/Os that had lost a frame or been sent again and were still not over when the run ended, each
    /// replication: nobody knows how long they take.
    pub hanging: Vec<u64>,
    /// Most I/Os arrived and not completed, worst replication.
    pub backlog_peak: u64,
    /// From the loss until the backlog was down to the survivors' steady mean, worst replication;
    /// `None`: not within the run.
    pub drain_s: Option<f64>,
    /// When this workload had settled, after the loss.
    pub settled_s: Option<f64>,
    /// What the survivors complete in steady state at most in 20 ms, I/Os per second.
    pub survivors_peak_iops: f64,
}

/// One bin of a switch-over.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct SwitchBin {
    /// Start, relative to the loss.
    pub t_s: f64,
    /// Arrived per second.
    pub offered_iops: f64,
    /// Completed per second.
    pub completed_iops: f64,
    /// Mean latency of the completed.
    pub mean_us: Option<f64>,
    /// p99 of the completed, from coarse buckets (at most 9 % high).
    pub p99_us: Option<f64>,
    /// Largest.
    pub max_us: Option<f64>,
    /// Age of the oldest unfinished I/O at the end of the bin, worst replication.
    pub oldest_us: f64,
    /// Arrived and not completed at the end of the bin, mean over replications.
    pub backlog: f64,
}

/// Something that happened, with its name.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct NamedEvent {
    /// Relative to the loss.
    pub t_s: f64,
    /// "A lost: all parts of side A, and lan-1".
    pub what: String,
    /// The timer that acted, with its value: "fast-io-fail, 5s"; `None` for a scripted event.
    pub timer: Option<String>,
    /// Workload concerned, if one.
    pub workload: Option<String>,
    /// I/Os concerned (held, retried).
    pub ios: Option<u64>,
    /// This ended the longest stall.
    pub ended_stall: bool,
}

/// The state of a group of paths over time.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PathLane {
    /// `A paths, fc-scsi`.
    pub name: String,
    /// Fabric of the host ports.
    pub side: Option<char>,
    /// Workloads that use them.
    pub workloads: Vec<String>,
    /// States in order of time, without gaps.
    pub spans: Vec<LaneSpan>,
}

/// One state of a lane.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LaneSpan {
    /// Start, relative to the loss.
    pub from_s: f64,
    /// End.
    pub to_s: f64,
    /// `up`, `loss not noticed`, `held by fast-io-fail, 5s`, `failed`, `some up`.
    pub state: String,
    /// For styling: `up`, `blocked`, `failed`, `mixed`.
    pub kind: String,
}
