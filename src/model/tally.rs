//! What one run counts. Pure sums: runs are put together higher up.

use super::compile::Watch;
use super::standing::LogEntry;
use crate::measure::{Cell, Clumps, Histogram, LevelSeries, Peak, Series, Sum, TimeAverage};
use crate::unit::{Duration, Instant};
use crate::wire::Op;
use std::collections::BTreeSet;

/// Everything one run counted.
#[derive(Clone, Debug, PartialEq)]
pub struct Tally {
    /// Start of the measured window.
    pub from: Instant,
    /// End of it.
    pub to: Instant,
    /// By workload.
    pub workloads: Vec<WorkloadTally>,
    /// By direction.
    pub directions: Vec<DirectionTally>,
    /// By controller.
    pub controllers: Vec<ControllerTally>,
    /// By source (workload at a host).
    pub sources: Vec<SourceTally>,
    /// By path.
    pub paths: Vec<PathTally>,
    /// What happened, in order of time.
    pub log: Vec<LogEntry>,
    /// What became of the I/Os of some of its lines: those lines whose I/Os did not all go elsewhere at once.
    pub fates: Vec<Fate>,
    /// Events handled.
    pub events: u64,
    /// Frames × directions.
    pub frame_hops: u64,
    /// Frames that found no route, or were thrown away at their end because a fault had cut them.
    pub discarded: u64,
    /// Stopped by a limit before its time.
    pub partial: bool,
    /// The key of that limit: `run.events_max` or `run.memory_max`.
    pub stopped_by: Option<&'static str>,
    /// When the run stopped.
    pub ended: Instant,
}

/// What became of the I/Os of a line of the log.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Fate {
    /// Index of the line.
    pub entry: usize,
    /// I/Os that failed with it.
    pub failed: u64,
    /// I/Os that wait in their host.
    pub waiting: u64,
    /// No path of the host takes I/Os by then.
    pub pathless: bool,
    /// Volumes of a lost controller are without one by then.
    pub unserved: bool,
}

/// Coarse latency buckets of one bin: eight an octave of microseconds, up to 2^16 s.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Coarse {
    counts: [u32; Self::BUCKETS],
    max: u64,
}

impl Coarse {
    const BUCKETS: usize = 256;

    /// Bucket of a latency: 8 per power of two above 1 us.
    fn bucket(latency: Duration) -> usize {
        let us = latency.0 / 1_000_000;
        if us < 8 {
            return usize::try_from(us).unwrap_or(0);
        }
        let octave = u64::from(63 - us.leading_zeros());
        let step = (us >> (octave - 3)) & 7;
        usize::try_from((octave - 2) * 8 + step)
            .unwrap_or(usize::MAX)
            .min(Self::BUCKETS - 1)
    }

    /// Upper edge of a bucket, in microseconds.
    fn edge_us(bucket: usize) -> u64 {
        if bucket < 8 {
            return bucket as u64 + 1;
        }
        let (octave, step) = (bucket as u64 / 8 + 2, bucket as u64 % 8);
        (8 + step + 1) << (octave - 3)
    }

    /// Counts one.
    pub fn record(&mut self, latency: Duration) {
        self.counts[Self::bucket(latency)] += 1;
        self.max = self.max.max(latency.0);
    }

    /// The q-quantile by nearest rank, at the upper edge of its bucket, never above the maximum.
    #[must_use]
    pub fn quantile(&self, q: f64) -> Option<Duration> {
        let count: u64 = self.counts.iter().map(|n| u64::from(*n)).sum();
        if count == 0 {
            return None;
        }
        let rank = crate::measure::rank(q, count);
        let mut seen = 0;
        for (bucket, n) in self.counts.iter().enumerate() {
            seen += u64::from(*n);
            if seen >= rank {
                return Some(Duration(
                    Duration::from_us(Self::edge_us(bucket)).0.min(self.max),
                ));
            }
        }
        Some(Duration(self.max))
    }

    /// The largest, exact.
    #[must_use]
    pub const fn max(&self) -> Duration {
        Duration(self.max)
    }
}

impl Default for Coarse {
    fn default() -> Self {
        Self {
            counts: [0; Self::BUCKETS],
            max: 0,
        }
    }
}

impl Cell for Coarse {
    fn absorb(&mut self, other: &Self) {
        for (own, more) in self.counts.iter_mut().zip(other.counts) {
            *own += more;
        }
        self.max = self.max.max(other.max);
    }
}

/// One bin of a workload.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct FlowCell {
    /// I/Os that arrived.
    pub arrived: u64,
    /// I/Os that completed.
    pub completed: u64,
    /// Sum of their latencies, ps.
    pub latency: u128,
    /// Their payload bytes.
    pub bytes: u64,
    /// I/Os that failed, without those lost with their hosts.
    pub failed: u64,
}

impl Cell for FlowCell {
    fn absorb(&mut self, other: &Self) {
        self.arrived += other.arrived;
        self.completed += other.completed;
        self.latency += other.latency;
        self.bytes += other.bytes;
        self.failed += other.failed;
    }

    fn since(&self, before: &Self) -> Self {
        Self {
            arrived: self.arrived - before.arrived,
            completed: self.completed - before.completed,
            failed: self.failed - before.failed,
            latency: self.latency - before.latency,
            bytes: self.bytes - before.bytes,
        }
    }

    fn raise(&mut self, other: &Self) {
        self.arrived = self.arrived.max(other.arrived);
        self.completed = self.completed.max(other.completed);
        self.latency = self.latency.max(other.latency);
        self.bytes = self.bytes.max(other.bytes);
    }
}

/// Where the time of the measured I/Os went: sums in picoseconds that add up to the sum of latencies.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct BudgetSums {
    /// I/Os summed.
    pub count: u64,
    /// Waiting in the host for a path.
    pub host_queue: u128,
    /// Adapters.
    pub adapter: u128,
    /// On the wire, waits behind own frames included.
    pub serialization: u128,
    /// Propagation and FEC latency.
    pub propagation: u128,
    /// Forwarding delays.
    pub switch: u128,
    /// Waiting behind other frames, by tier.
    pub queueing: Vec<u128>,
    /// Waiting in the array.
    pub array_queue: u128,
    /// Service.
    pub service: u128,
    /// Mirror trips.
    pub mirror: u128,
    /// Ready-to-transfer volleys.
    pub extra_trip: u128,
    /// From the first issue to the last, and attempts in which frames were lost.
    pub retry: u128,
}

impl BudgetSums {
    /// The sum of all parts.
    #[must_use]
    pub fn total(&self) -> u128 {
        self.host_queue
            + self.adapter
            + self.serialization
            + self.propagation
            + self.switch
            + self.queueing.iter().sum::<u128>()
            + self.array_queue
            + self.service
            + self.mirror
            + self.extra_trip
            + self.retry
    }

    /// Adds another's sums.
    pub fn merge(&mut self, other: &Self) {
        self.count += other.count;
        self.host_queue += other.host_queue;
        self.adapter += other.adapter;
        self.serialization += other.serialization;
        self.propagation += other.propagation;
        self.switch += other.switch;
        self.array_queue += other.array_queue;
        self.service += other.service;
        self.mirror += other.mirror;
        self.extra_trip += other.extra_trip;
        self.retry += other.retry;
        self.queueing
            .resize(self.queueing.len().max(other.queueing.len()), 0);
        for (own, more) in self.queueing.iter_mut().zip(&other.queueing) {
            *own += more;
        }
    }
}

/// Reads or writes of a workload.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct KindTally {
    /// Arrived in the window.
    pub arrived: u64,
    /// Latency of those that arrived in the window and completed.
    pub latency: Histogram,
    /// Of those that arrived in the window, failed.
    pub failed: u64,
    /// Completed in the window, whenever they arrived.
    pub completed: u64,
    /// Payload of those.
    pub bytes: u64,
}

/// Why a workload stops.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum StopCause {
    /// One of its hosts at least had no path that answers.
    NoPath,
    /// Each of its hosts had a path that answers: what was under way hung on others, or failed with them.
    LostPaths,
    /// Volumes were between a lost controller and its partner.
    Volumes,
    /// Its hosts were lost themselves.
    HostsLost,
}

/// A time in which a workload stopped: nothing of it was completed while some of it hung or failed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stopped {
    /// The completion before it, or the first event of the script.
    pub from: Instant,
    /// The completion after it; `None`: the run ended before.
    pub to: Option<Instant>,
    /// The line of the log that let work go on; `None` where it has not.
    pub by: Option<usize>,
    /// Why it stopped.
    pub cause: StopCause,
}

impl Stopped {
    /// A shorter time without a completion is not looked at. A choice of this program.
    pub const LEAST: Duration = Duration::from_ms(1);

    /// Whether a time without a completion beside an I/O of that age is a stop: from half of it on the workload did not go
    /// on beside what hung. A choice of this program.
    #[must_use]
    pub fn is_stop(silence: Duration, oldest: Duration) -> bool {
        silence >= Self::LEAST && silence.0 >= oldest.0.div_ceil(2)
    }

    /// How long a time without a completion is no more than chance: the longest before the first event, or seven times as long as a
    /// completion took on average, which one in a thousand gaps of completions at random is (e^-7). A rule of our own.
    #[must_use]
    pub fn by_chance(before: &Before) -> Duration {
        let mean = before.lasted.0 / before.completed.max(1);
        match before.completed {
            0 => Duration::ZERO,
            _ => Duration(mean.saturating_mul(7)).max(before.silence),
        }
    }

    /// Whether a time without a completion is one that the workload did not know before, however old what hangs beside it: it lasts
    /// for at least 20 ms, 20 times as long as a completion took on average, and twice as long as the longest did. Choices of this
    /// program; of completions at random one in half a billion comes that late.
    #[must_use]
    pub fn stands_out(silence: Duration, before: &Before) -> bool {
        let mean = before.lasted.0 / before.completed.max(1);
        before.completed > 0
            && silence >= Duration::from_ms(20)
            && silence.0 >= mean.saturating_mul(20)
            && silence.0 >= before.silence.0.saturating_mul(2)
    }
}

/// What a workload did before the first event of the script.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Before {
    /// How long it ran; zero: there was no event.
    pub lasted: Duration,
    /// Completed in that time.
    pub completed: u64,
    /// Longest time without a completion.
    pub silence: Duration,
}

/// One workload.
#[derive(Clone, Debug, PartialEq)]
pub struct WorkloadTally {
    /// Reads.
    pub reads: KindTally,
    /// Writes.
    pub writes: KindTally,
    /// For each latency target watched (ps): I/Os of the window that took longer, failed ones included.
    pub above: Vec<(u64, u64)>,
    /// For each of these targets, when those came.
    pub clumps: Vec<Clumps>,
    /// Latency budget of the window's completed I/Os.
    pub budget: BudgetSums,
    /// Over time.
    pub series: Series<FlowCell>,
    /// Coarse latencies over time (switch-over runs).
    pub coarse: Option<Series<Coarse>>,
    /// Age of the oldest unfinished I/O, ps (switch-over runs).
    pub oldest: Series<Peak>,
    /// Arrived and not completed.
    pub backlog: LevelSeries,
    /// Whole run: time from arrival to the end of all I/Os that have ended, completed or failed, summed, ps.
    pub in_system: u128,
    /// All I/Os of the run: arrived, completed, failed.
    pub issued_total: u64,
    /// Completed in the whole run.
    pub completed_total: u64,
    /// Failed in the whole run.
    pub failed_total: u64,
    /// Of them, lost with their hosts.
    pub lost_with_host: u64,
    /// Attempts after the first.
    pub retried: u64,
    /// Responses of attempts given up.
    pub late: u64,
    /// Lost TCP messages sent again.
    pub resent: u64,
    /// What it did before the first event of the script.
    pub before: Before,
    /// Longest I/O that completed or failed after the first event of the script (whole run where there is none).
    pub longest: Duration,
    /// The line of the log that let the longest I/O end: `None` when nothing had to, or nothing has.
    pub longest_by: Option<usize>,
    /// The longest I/O failed.
    pub longest_failed: bool,
    /// The longest I/O was not over when the run ended.
    pub longest_open: bool,
    /// At the end of the run I/Os wait at a host that has no path for them.
    pub pathless: bool,
    /// Hosts, by index, that had no path for I/Os of it: some wait for one at the end of the run, or have failed for want of one
    /// after the loss.
    pub pathless_hosts: BTreeSet<usize>,
    /// Longest time without a completion after the loss, and when the last one was.
    pub silence: Duration,
    /// Last completion.
    pub last_completion: Instant,
    /// An I/O has failed since then.
    pub failing: bool,
    /// Times after the loss in which nothing was completed while something hung, in order.
    pub stops: Vec<Stopped>,
    /// Completed after the loss.
    pub completed_after: u64,
    /// Above each target of `above` after the loss: completed, failed, and unfinished and that old at the end.
    pub above_after: Vec<u64>,
    /// When the last I/O that had been retried, or had lost a frame, finished.
    pub last_disturbed: Instant,
    /// When a path of its hosts last changed its standing, but for paths given up that are removed or stand by.
    pub last_standing: Instant,
    /// I/Os that have been retried or have lost a frame and are not finished yet.
    pub hanging: u64,
    /// Most I/Os that hung at once, each counted once, when attempts were taken back or the run ended. Those that wait in
    /// a host without any path are not among them.
    pub held: u64,
    /// I/Os that would have come, but for the guests of a lost host not running.
    pub unasked: u64,
    /// I/Os have failed for want of a path after the loss.
    pub failed_pathless: bool,
    /// Hosts that were lost with its guests and have nobody left to run them, when the run ends; all its hosts, where all are
    /// lost themselves.
    pub nowhere: u32,
    /// Failed after the loss.
    pub failed_after: u64,
    /// Unfinished at the end.
    pub unfinished: u64,
}

impl WorkloadTally {
    pub(crate) fn new(targets: &[u64], tiers: usize, watch: Watch) -> Self {
        Self {
            reads: KindTally::default(),
            writes: KindTally::default(),
            above: targets.iter().map(|target| (*target, 0)).collect(),
            clumps: targets
                .iter()
                .map(|target| Clumps::new(*target, watch.from, watch.to))
                .collect(),
            budget: BudgetSums {
                queueing: vec![0; tiers],
                ..BudgetSums::default()
            },
            series: Series::watched(watch.from, watch.to),
            coarse: watch.transient.then(Series::new),
            oldest: Series::new(),
            backlog: LevelSeries::new(),
            in_system: 0,
            issued_total: 0,
            completed_total: 0,
            failed_total: 0,
            lost_with_host: 0,
            retried: 0,
            late: 0,
            resent: 0,
            before: Before::default(),
            longest: Duration::ZERO,
            longest_by: None,
            longest_failed: false,
            longest_open: false,
            pathless: false,
            pathless_hosts: BTreeSet::new(),
            silence: Duration::ZERO,
            last_completion: Instant::ZERO,
            failing: false,
            stops: Vec::new(),
            completed_after: 0,
            above_after: vec![0; targets.len()],
            last_disturbed: Instant::ZERO,
            last_standing: Instant::ZERO,
            hanging: 0,
            held: 0,
            unasked: 0,
            failed_pathless: false,
            nowhere: 0,
            failed_after: 0,
            unfinished: 0,
        }
    }

    /// The first event of the script comes: what is told of the time after it begins anew.
    pub(crate) fn first_event(&mut self, now: Instant) {
        self.before = Before {
            lasted: now.since(Instant::ZERO),
            completed: self.completed_total,
            silence: self.silence.max(now.since(self.last_completion)),
        };
        self.longest = Duration::ZERO;
        self.longest_by = None;
        self.longest_failed = false;
        self.silence = Duration::ZERO;
        self.failing = false;
        (self.completed_after, self.failed_after) = (0, 0);
        self.above_after.fill(0);
    }

    /// Of one kind.
    pub fn kind(&mut self, op: Op) -> &mut KindTally {
        match op {
            Op::Read => &mut self.reads,
            Op::Write => &mut self.writes,
        }
    }
}

/// One link direction.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct DirectionTally {
    /// Delivered in the window.
    pub frames: u64,
    /// Their payload.
    pub payload: u64,
    /// Their bytes on the wire.
    pub bytes: u64,
    /// Wait of the frames delivered in the window.
    pub wait: Histogram,
    /// Busy time within the window, ps.
    pub busy: u64,
    /// Up-time within the window, ps.
    pub up: u64,
    /// Busy time over the whole run, by bin.
    pub busy_series: Series<Sum>,
    /// Serialization time of the frames that became ready, by bin.
    pub asked_series: Series<Sum>,
    /// Most frames waiting at once in the window.
    pub queue_max: u64,
    /// Longest time of work ahead of a frame in the window, ps.
    pub ahead_max: u64,
    /// Whole run: frames that came to it.
    pub offered: u64,
    /// Whole run: never put on the wire.
    pub dropped: u64,
    /// Whole run: on the wire when the link was lost.
    pub cut: u64,
    /// Whole run: arrived.
    pub delivered: u64,
    /// Whole run: bytes of the same four.
    pub offered_bytes: u64,
    /// Bytes never put on the wire.
    pub dropped_bytes: u64,
    /// Bytes of frames cut.
    pub cut_bytes: u64,
    /// Bytes delivered.
    pub delivered_bytes: u64,
    /// Whole run: exact sum of times on the wire, and the last instant it was busy.
    pub busy_total: u64,
    /// The last instant it was busy.
    pub busy_until: Instant,
}

impl DirectionTally {
    /// Nothing counted yet. A steady run goes on to the end of its window; one that follows a loss may end
    /// long before, and has finer bins then.
    /// With `few` directions on the site all have all their memory at once.
    pub(crate) fn watched(watch: Watch, few: bool) -> Self {
        let reach = if watch.transient {
            Instant::ZERO
        } else {
            watch.to
        };
        let series = || Series::watched(watch.from, watch.to).reaching(reach);
        Self {
            wait: if few {
                Histogram::with_memory()
            } else {
                Histogram::new()
            },
            busy_series: series(),
            asked_series: series(),
            ..Self::default()
        }
    }
}

/// One controller.
#[derive(Clone, Debug, PartialEq)]
pub struct ControllerTally {
    /// Requests whose service ended in the window.
    pub served: u64,
    /// Their waits.
    pub wait: Histogram,
    /// Sum of their service times, ps.
    pub service: u128,
    /// Requests worked on.
    pub busy: TimeAverage,
    /// The same by bin.
    pub busy_series: LevelSeries,
    /// Service time of the requests that came, by bin, ps.
    pub asked_series: Series<Sum>,
    /// Requests waiting.
    pub waiting: TimeAverage,
    /// Whole run: requests that came, and those that were finished.
    pub came: u64,
    /// Whole run: requests finished.
    pub finished: u64,
    /// Whole run: service times of the finished ones, summed, ps.
    pub service_total: u128,
    /// Waits of those whose service has begun, as far as they lie in the window, summed, ps.
    pub waited: u128,
}

/// One workload at one host.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct SourceTally {
    /// Given a path in the window.
    pub issued: u64,
    /// Their waits, summed, ps.
    pub wait: u128,
    /// Most waiting at once in the window.
    pub queue_max: u64,
}

/// One path.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct PathTally {
    /// I/Os completed over it in the window.
    pub completed: u64,
    /// I/Os completed over it in the whole run.
    pub completed_total: u64,
}
