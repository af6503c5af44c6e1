//! Figures of steady runs: one case, all replications together.

use super::Case;
use serde::Serialize;
use serde::ser::{SerializeStruct, Serializer};

/// A figure with its two-sided 95 % interval over the replications, where one can be given.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Estimated {
    /// The estimate.
    pub value: f64,
    /// Lower end of the interval.
    pub low: Option<f64>,
    /// Upper end of the interval.
    pub high: Option<f64>,
}

impl Estimated {
    /// The interval, unless there is none, or it is [too wide](Self::is_vague) to say anything, or all is zero.
    #[must_use]
    pub fn ends(&self) -> Option<(f64, f64)> {
        let nothing = |ends: &(f64, f64)| *ends == (0.0, 0.0);
        let ends = self.low.zip(self.high);
        ends.filter(|ends| !self.is_vague() && !nothing(ends))
    }

    /// Whether the interval reaches as far from the figure as zero does: "260, from 0 to 1 580" comes of too
    /// few replications and tells nobody anything.
    #[must_use]
    pub fn is_vague(&self) -> bool {
        let far = |end: f64| (end - self.value).abs() >= self.value.abs() && end != self.value;
        self.low.is_some_and(far) || self.high.is_some_and(far)
    }
}

/// Everything measured in the steady runs of one case. Serialized, what was not measured is null.
#[derive(Clone, Debug, PartialEq)]
pub struct Steady {
    /// Which case.
    pub case: Case,
    /// Independent replications.
    pub replications: u32,
    /// Start of the measured window.
    pub warm_up_s: f64,
    /// Where MSER-5 would cut; `None` when the run is too short for it to say.
    pub warm_up_found_s: Option<f64>,
    /// End of the measured window.
    pub duration_s: f64,
    /// Width of the bins of every series here.
    pub bin_s: f64,
    /// Some workload arrives faster than it can be carried: no mean is printed as if it were one.
    pub saturated: bool,
    /// Stopped by a limit: partial figures.
    pub partial: bool,
    /// The key of the limit that stopped a run.
    pub stopped_by: Option<&'static str>,
    /// The limit stopped every run within its warm-up: nothing was measured, and figures of parts and workloads mean nothing. What is
    /// `saturated` is so by arithmetic.
    pub unmeasured: bool,
    /// Workloads, in scenario order.
    pub workloads: Vec<WorkloadFigures>,
    /// Link directions, every member by itself, in topology order.
    pub directions: Vec<DirectionFigures>,
    /// Controllers.
    pub arrays: Vec<ArrayFigures>,
    /// Host queues, one for each host and workload.
    pub hosts: Vec<HostFigures>,
    /// Load by path.
    pub paths: Vec<PathFigures>,
    /// Bursts that the figures of the busiest 20 ms do not have from the runs as they are.
    pub unseen_bursts: Vec<UnseenBursts>,
    /// Events handled, over all replications.
    pub events: u64,
    /// Frames × link directions crossed, over all replications.
    pub frame_hops: u64,
    /// I/Os completed, over all replications.
    pub ios: u64,
}

impl Serialize for Steady {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut out = serializer.serialize_struct("Steady", 20)?;
        out.serialize_field("case", &self.case)?;
        out.serialize_field("replications", &self.replications)?;
        out.serialize_field("warm_up_s", &self.warm_up_s)?;
        out.serialize_field("warm_up_found_s", &self.warm_up_found_s)?;
        out.serialize_field("duration_s", &self.duration_s)?;
        out.serialize_field("bin_s", &self.bin_s)?;
        out.serialize_field("saturated", &self.saturated)?;
        out.serialize_field("partial", &self.partial)?;
        out.serialize_field("stopped_by", &self.stopped_by)?;
        out.serialize_field("unmeasured", &self.unmeasured)?;
        let measured = !self.unmeasured;
        if measured {
            out.serialize_field("workloads", &self.workloads)?;
        } else {
            let named: Vec<Named<'_>> = self.workloads.iter().map(Named).collect();
            out.serialize_field("workloads", &named)?;
        }
        out.serialize_field("directions", &measured.then_some(&self.directions))?;
        out.serialize_field("arrays", &measured.then_some(&self.arrays))?;
        out.serialize_field("hosts", &measured.then_some(&self.hosts))?;
        out.serialize_field("paths", &measured.then_some(&self.paths))?;
        out.serialize_field("unseen_bursts", &self.unseen_bursts)?;
        out.serialize_field("events", &self.events)?;
        out.serialize_field("frame_hops", &self.frame_hops)?;
        out.serialize_field("ios", &self.ios)?;
        out.end()
    }
}

/// A workload of which nothing was measured.
struct Named<'a>(&'a WorkloadFigures);

impl Serialize for Named<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut out = serializer.serialize_struct("WorkloadFigures", 12)?;
        out.serialize_field("name", &self.0.name)?;
        out.serialize_field("saturated", &self.0.saturated)?;
        out.serialize_field("service_beyond_run_s", &self.0.service_beyond_run_s)?;
        out.serialize_field("filling", &self.0.filling)?;
        for figure in [
            "all",
            "reads",
            "writes",
            "budget",
            "curve",
            "bins",
            "peak_iops",
            "peak_offered_iops",
        ] {
            out.serialize_field(figure, &None::<f64>)?;
        }
        out.end()
    }
}

/// Bursts of a workload that runs hardly see, or that are shorter than 20 ms.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct UnseenBursts {
    /// Workload.
    pub workload: String,
    /// Which of both.
    pub why: Unseen,
    /// Length of a burst (mean), seconds.
    pub burst_s: f64,
    /// From burst to burst (mean), seconds.
    pub every_s: f64,
    /// What a run measures, seconds.
    pub measured_s: f64,
    /// A run of that measured time sees enough of them, seconds.
    pub enough_s: f64,
    /// The direction or controller that is asked for most while all such work is in a burst; `None` where it asks no part for anything.
    pub part: Option<String>,
    /// What that is asked for then by arithmetic, per cent of what it can do; of rare bursts in 20 ms.
    pub percent: f64,
    /// What the runs had for it in the busiest 20 ms, per cent.
    pub seen_percent: f64,
    /// Workloads of which these runs cannot show that a promise is met: all of them together hold too few such bursts, or the burst asks a part for
    /// more than it carries and outlasts a run.
    pub hides: Vec<String>,
}

/// Why bursts are not in the busiest 20 ms of runs as they are.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Unseen {
    /// A run measures too few of them.
    Rare,
    /// They are shorter than 20 ms, over which their work is spread.
    Short,
}

/// One workload in a steady case.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct WorkloadFigures {
    /// Name.
    pub name: String,
    /// Backlog grows without end, or too many I/Os are unfinished, or arithmetic says that more must cross a part than
    /// it carries.
    pub saturated: bool,
    /// An I/O of the slowest kind takes so long in its array, seconds on the mean, that the run cannot show what becomes of it: longer
    /// than half of the run, or than unmeasured traffic goes on after it. Then only arithmetic says that work does not fit; `None`
    /// otherwise.
    pub service_beyond_run_s: Option<f64>,
    /// The nearly full part whose queue makes waits of this run too low, as runs begin empty; `None` where it is by less than a
    /// hundredth, or the workload is saturated.
    pub filling: Option<Filling>,
    /// Reads and writes together.
    pub all: Population,
    /// Reads alone.
    pub reads: Population,
    /// Writes alone.
    pub writes: Population,
    /// Where the mean latency is spent. The parts add up to the mean of all I/Os exactly (in whole
    /// picoseconds, before division). Empty when saturated.
    pub budget: Vec<BudgetPart>,
    /// Percentile curve, reads and writes together, pooled over the replications.
    pub curve: Vec<CurvePoint>,
    /// Over time, summed over the replications' bins and divided by their number.
    pub bins: Vec<SteadyBin>,
    /// Completed I/Os per second in the busiest 20 ms.
    pub peak_iops: f64,
    /// Arrived I/Os per second in the busiest 20 ms.
    pub peak_offered_iops: f64,
}

/// A queue that a run, which begins empty, does not see filled: by arithmetic (`theory::start_up`).
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Filling {
    /// The link direction, the controller, or the queue depth of the hosts of a workload.
    pub part: String,
    /// How busy it is on the mean, per cent.
    pub busy_percent: f64,
    /// Relaxation time of its queue, seconds: what is left of the start shrinks e-fold in it. `None` where it never settles.
    pub memory_s: Option<f64>,
    /// Mean wait there in the long run, seconds, as that of requests that come at random and are served one at a time. `None` where it never
    /// settles.
    pub wait_s: Option<f64>,
    /// The share, 0 to 1, of the steady mean wait by which that of the measured window falls short.
    pub missing_share: f64,
    /// The duration of a run, seconds, that leaves less than a hundredth out; `None` where none does.
    pub enough_s: Option<f64>,
}

/// Counts and latency of one kind of I/O.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Population {
    /// I/Os that arrived in the window, all replications.
    pub ios: u64,
    /// Of them unfinished when the run ended; they rank last.
    pub unfinished: u64,
    /// Of them failed.
    pub failed: u64,
    /// Arrived per second.
    pub offered_iops: Estimated,
    /// Completed per second, in the window.
    pub completed_iops: Estimated,
    /// Payload completed in the window.
    pub throughput_mb_s: Estimated,
    /// Mean latency; `None` when there was no I/O or the workload is saturated.
    pub mean_us: Option<Estimated>,
    /// Least and greatest mean of a replication: what one measurement of that length may show.
    pub mean_each_us: Option<(f64, f64)>,
    /// Percentiles: 0.5, 0.9, 0.95, 0.99, 0.999; all unknown when the workload is saturated.
    pub quantiles: Vec<QuantileFigure>,
    /// Smallest latency, exact.
    pub min_us: Option<f64>,
    /// Largest latency, exact; no interval exists for it. Of a saturated workload only what the run showed before it ended.
    pub max_us: Option<f64>,
}

/// One percentile.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct QuantileFigure {
    /// 0.99 for p99.
    pub q: f64,
    /// Latency at the upper edge of its histogram bucket (at most 0.8 % high).
    pub latency_us: Option<Estimated>,
    /// Least and greatest percentile of a replication: what one measurement of that length may show.
    pub each_us: Option<(f64, f64)>,
    /// Set instead when the percentile lies among unfinished I/Os: it is greater than this.
    pub beyond_us: Option<f64>,
}

impl QuantileFigure {
    /// A percentile of which nothing is known.
    #[must_use]
    pub const fn unknown(q: f64) -> Self {
        Self {
            q,
            latency_us: None,
            each_us: None,
            beyond_us: None,
        }
    }
}

/// A point of a percentile curve.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct CurvePoint {
    /// Percentile as a fraction, < 1.
    pub q: f64,
    /// Latency.
    pub latency_us: f64,
}

/// One part of the mean latency.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct BudgetPart {
    /// `host queue`, `adapter`, `serialization`, `propagation`, `switch`, `queueing`, `array queue`,
    /// `service`, `mirror trip`, `extra round trip`, `retry`.
    pub part: String,
    /// For `queueing`: the link family and direction, `san > edge`.
    pub tier: Option<String>,
    /// Share of the mean latency in microseconds.
    pub mean_us: f64,
}

/// One bin of a steady workload.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct SteadyBin {
    /// Start of the bin since the run began.
    pub t_s: f64,
    /// Arrived per second.
    pub offered_iops: f64,
    /// Completed per second.
    pub completed_iops: f64,
    /// Mean latency of those completed; `None` when none was.
    pub mean_us: Option<f64>,
}

/// One direction of one member of one link.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct DirectionFigures {
    /// `edge-A > san-A` and, with several members, `/2`.
    pub name: String,
    /// Link family.
    pub family: String,
    /// Link family and direction, `edge > san`: what figures are pooled by.
    pub tier: String,
    /// Sending part.
    pub from: String,
    /// Receiving part.
    pub to: String,
    /// Fabric, or `None` for a link of neither.
    pub side: Option<char>,
    /// True from hosts towards arrays.
    pub toward_array: bool,
    /// Label of the technology.
    pub speed: String,
    /// Usable rate of this member.
    pub usable_mb_s: f64,
    /// Busy time ÷ up-time in the window.
    pub utilization_percent: f64,
    /// Busiest 20 ms.
    pub peak_percent: f64,
    /// Asked of it in the busiest 20 ms: serialization time of the frames that became ready, ÷ 20 ms.
    /// Over 100 when it cannot keep up.
    pub asked_peak_percent: f64,
    /// That is more than the runs saw: bursts of which they measure too few, by arithmetic.
    pub asked_peak_by_arithmetic: bool,
    /// Frames delivered in the window.
    pub frames: u64,
    /// Storage payload delivered.
    pub payload_bytes: u64,
    /// Everything else on the wire, gaps included.
    pub overhead_bytes: u64,
    /// Payload rate.
    pub payload_mb_s: f64,
    /// Mean wait of a frame.
    pub wait_mean_us: f64,
    /// Lower end of its 95 % interval; `None` with one replication.
    pub wait_mean_low_us: Option<f64>,
    /// Upper end.
    pub wait_mean_high_us: Option<f64>,
    /// Percentiles of the wait.
    pub wait_p50_us: f64,
    /// p99.
    pub wait_p99_us: f64,
    /// p99.9.
    pub wait_p999_us: f64,
    /// Mean number of frames waiting.
    pub queue_mean: f64,
    /// Most frames waiting at once.
    pub queue_max: u64,
    /// Most bytes waiting at once.
    pub queue_max_bytes: u64,
}

/// One controller.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ArrayFigures {
    /// `vault-c1`.
    pub name: String,
    /// Array family.
    pub family: String,
    /// Requests worked on at once at most.
    pub parallel: u32,
    /// Mean busy share of those.
    pub utilization_percent: f64,
    /// Busiest 20 ms.
    pub peak_percent: f64,
    /// Asked of it in the busiest 20 ms: service time of the requests that arrived ÷ (20 ms × parallel).
    pub asked_peak_percent: f64,
    /// That is more than the runs saw: bursts of which they measure too few, by arithmetic.
    pub asked_peak_by_arithmetic: bool,
    /// Requests served in the window.
    pub served: u64,
    /// Mean wait.
    pub wait_mean_us: f64,
    /// Lower end of its 95 % interval; `None` with one replication.
    pub wait_mean_low_us: Option<f64>,
    /// Upper end.
    pub wait_mean_high_us: Option<f64>,
    /// p99 of the wait.
    pub wait_p99_us: f64,
    /// Mean service time.
    pub service_mean_us: f64,
    /// Mean number waiting.
    pub queue_mean: f64,
    /// Most waiting at once.
    pub queue_max: u64,
}

/// The queue of one workload at one host.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct HostFigures {
    /// Host.
    pub host: String,
    /// Workload.
    pub workload: String,
    /// I/Os given a path in the window.
    pub issued: u64,
    /// Mean wait for a path.
    pub wait_mean_us: f64,
    /// Most waiting at once.
    pub queue_max: u64,
}

/// One path of one host.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PathFigures {
    /// Host.
    pub host: String,
    /// Workload whose protocol it carries.
    pub workload: String,
    /// Host port.
    pub host_port: String,
    /// Array port.
    pub array_port: String,
    /// Fabric of the host port.
    pub side: Option<char>,
    /// I/Os completed over it in the window.
    pub completed: u64,
    /// Over a port of a team that is not in use.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub standby: bool,
}
