//! Work and promises.

use super::DayShape;
use crate::unit::Duration;
use crate::wire::Protocol;
use std::sync::Arc;

/// Whether a rate is for the whole workload or for each host.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Per {
    /// Split evenly over the hosts.
    Workload,
    /// Each host brings it.
    Host,
}

/// How long the bursts of an on/off source last.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum BurstLaw {
    /// Always the stated length, first burst at time 0 (or at a random phase when hosts are not together).
    Fixed,
    /// Exponential with the stated means: a two-state modulated Poisson stream.
    Exponential,
}

/// A Poisson stream whose rate alternates between two values.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Burst {
    /// I/Os per second in a burst.
    pub peak: f64,
    /// I/Os per second between bursts; may be 0.
    pub base: f64,
    /// Length of a burst (mean).
    pub burst: Duration,
    /// From the start of a burst to the start of the next (mean).
    pub every: Duration,
    /// Law of the lengths.
    pub law: BurstLaw,
    /// All hosts in one phase.
    pub together: bool,
}

/// One I/O of a recorded trace.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct TraceEntry {
    /// Since the start of the trace.
    pub at: Duration,
    /// Read or write.
    pub op: crate::wire::Op,
    /// Position in bytes.
    pub offset: u64,
    /// Size in bytes, at least 1.
    pub size: u32,
}

/// A recorded trace, replayed.
#[derive(Clone, Debug, PartialEq)]
pub struct Replay {
    /// The entries in order of time; never empty.
    pub entries: Arc<Vec<TraceEntry>>,
    /// Length of the trace: after it the replay starts again.
    pub span: Duration,
    /// Copies in all, dealt over the hosts.
    pub copies: u32,
    /// Time runs this many times faster.
    pub speed: f64,
    /// Whether all copies start at the beginning; else each is shifted around the circle at random.
    pub aligned: bool,
    /// File name as the scenario states it.
    pub file: String,
}

/// When I/Os arrive. Rates are I/Os per second, > 0, for the whole workload or each host by [`Per`].
#[derive(Clone, Debug, PartialEq)]
pub enum Arrivals {
    /// Independent exponential gaps.
    Poisson(f64),
    /// Evenly spaced at each host, random phase.
    Paced(f64),
    /// Bursts.
    Bursty(Burst),
    /// A fixed number outstanding at each host, with a pause between completion and next issue. Each begins at random within
    /// the first pause.
    Closed {
        /// I/Os outstanding per host.
        depth: u32,
        /// Pause.
        think: Duration,
        /// All begin at time zero instead, at every host.
        together: bool,
    },
    /// A trace.
    Replay(Replay),
}

/// Sizes with their shares; the shares of each list sum to 1.
#[derive(Clone, Debug, PartialEq)]
pub struct SizeMix {
    /// Reads: bytes and share.
    pub read: Vec<(u64, f64)>,
    /// Writes: bytes and share.
    pub write: Vec<(u64, f64)>,
}

/// Which controllers a volume is reached through.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Owner {
    /// All paths are equal.
    Any,
    /// Volume `i` is owned by controller `i` modulo their number; only the owner's paths are used while
    /// one of them is in good standing.
    Alternate,
}

/// What is promised of what.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Measure {
    /// Mean latency; target in picoseconds.
    Mean,
    /// A latency percentile, `0.99` for p99; target in picoseconds.
    Quantile(f64),
    /// Completed bytes per second; a lower limit.
    Throughput,
    /// The longest I/O of the switch-over; target in picoseconds.
    LongestIo,
    /// I/Os that failed in the switch-over; target a count.
    Failed,
}

/// One promise.
#[derive(Clone, Debug, PartialEq)]
pub struct Promise {
    /// Of what.
    pub measure: Measure,
    /// Target: picoseconds, bytes per second or a count, by the measure.
    pub target: f64,
    /// Target as the user wrote it.
    pub text: String,
}

/// The promises of a workload in each state. `lost` already holds what it inherits from `healthy`.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct Promises {
    /// With everything there.
    pub healthy: Vec<Promise>,
    /// With an outage, after it has settled.
    pub lost: Vec<Promise>,
    /// While it happens.
    pub switching: Vec<Promise>,
}

/// A stream of I/Os with one purpose.
#[derive(Clone, Debug, PartialEq)]
pub struct Workload {
    /// Name.
    pub name: String,
    /// Host families that issue it: indices into [`super::Site::hosts`], not empty.
    pub hosts: Vec<usize>,
    /// Index into [`super::Site::arrays`].
    pub array: usize,
    /// Protocol with its options.
    pub protocol: Protocol,
    /// Paid once for each message a host sends or receives.
    pub adapter: Duration,
    /// When I/Os arrive.
    pub arrivals: Arrivals,
    /// Rate per workload or per host.
    pub per: Per,
    /// Most I/Os of this workload that a host has under way, on all its paths together; those that come meanwhile wait in
    /// the host, and that wait counts. At least 1; `None`: the depth of the paths alone. A closed loop has none.
    pub outstanding: Option<u32>,
    /// How the work changes over a day; `None` when it does not, or that is not stated. Only a search for hours looks at
    /// it: a run has the stated rate, which is that of the busiest hour.
    pub shape: Option<DayShape>,
    /// Share of reads, 0..=1.
    pub read: f64,
    /// Sizes.
    pub sizes: SizeMix,
    /// Volumes, at least 1.
    pub volumes: u32,
    /// Ownership.
    pub owner: Owner,
    /// TCP or RDMA connections per host and path, at least 1; each is a flow for a LAG.
    pub connections: u32,
    /// Promises.
    pub promises: Promises,
}
