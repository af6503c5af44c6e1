//! Figures of a switch-over: from shortly before a loss until things have settled.

use super::Case;
use serde::Serialize;

/// A switch-over, over all its replications. Times are relative to [`counted_from`](Self::counted_from), which is the loss
/// unless something else comes first (negative before it).
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Switch {
    /// Which outage.
    pub case: Case,
    /// Replications.
    pub replications: u32,
    /// Timer preset of the hosts concerned, `default` or `short`, or both names.
    pub preset: String,
    /// Timers that the scenario states besides, each with its value: `fast_io_fail 2s`; of one family `host.db fast_io_fail 2s`.
    pub timers_stated: Vec<String>,
    /// What times count from.
    pub counted_from: Begin,
    /// What is done to parts.
    pub harm: Harm,
    /// How many times parts are lost in it.
    pub losses: u32,
    /// Parts are lost, and no signal tells of any of it: frames vanish.
    pub silent: bool,
    /// First and last instant shown.
    pub from_s: f64,
    /// Last instant.
    pub to_s: f64,
    /// Bin width.
    pub bin_s: f64,
    /// When every workload had settled; `None`: not within the limit.
    pub settled_s: Option<f64>,
    /// Whose steady run it was compared with.
    pub settles_to: Reference,
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

impl Switch {
    /// Which timers ran: `default`, or `default, with fast_io_fail 2s`; the first few by name.
    #[must_use]
    pub fn timers(&self) -> String {
        const NAMED: usize = 4;
        let named = &self.timers_stated[..self.timers_stated.len().min(NAMED)];
        let more = self.timers_stated.len() - named.len();
        match (named, more) {
            ([], _) => self.preset.clone(),
            (named, 0) => format!("{}, with {}", self.preset, named.join(", ")),
            (named, more) => format!(
                "{}, with {} and {more} more that are stated",
                self.preset,
                named.join(", ")
            ),
        }
    }

    /// A planned loss comes so many seconds after the drain. A choice of this program.
    pub const DRAIN_S: u32 = 1;
}

/// What a script does to parts: whether paths are lost, or only slow.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Harm {
    /// Some are lost or drained.
    Loss,
    /// Some are slow, or damage frames; none is lost.
    Slow,
    /// Both.
    Both,
}

/// What the times of a switch-over count from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Begin {
    /// The loss.
    Loss,
    /// The drain before it.
    Drain,
    /// An outage that takes nothing away: links become slow, or damage frames.
    Outage,
    /// The first of the scripted events, which is neither.
    Event,
}

impl Begin {
    /// `after the loss`.
    #[must_use]
    pub const fn after(self) -> &'static str {
        match self {
            Self::Loss => "after the loss",
            Self::Drain => "after the drain began",
            Self::Outage => "after the outage began",
            Self::Event => "after the first event",
        }
    }
}

/// The steady run that a switch-over settles to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Reference {
    /// That of what is left.
    Survivors,
    /// That of the whole site: everything is there again.
    Healthy,
    /// That of what is there, without paths that no host takes into use again by itself: given up for good, or to be failed back by
    /// hand.
    WithoutPaths,
    /// That of what is there, with guests on the hosts on which they were restarted: their own is there again, and nobody has moved
    /// them back.
    GuestsElsewhere,
    /// That of what is left, of which something stays slow or damages frames.
    StaysSlow,
}

impl Reference {
    /// In words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Survivors => "the survivors' own steady run",
            Self::Healthy => "the steady run of the whole site",
            Self::WithoutPaths => "the steady run without the paths that stay out of use",
            Self::GuestsElsewhere => "the steady run with guests where they were restarted",
            Self::StaysSlow => "the steady run with what stays slow",
        }
    }
}

/// One workload in a switch-over.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SwitchWorkload {
    /// Name.
    pub name: String,
    /// Path policies of its hosts, each once: `least-queue`; `team` for file traffic over one port of a team at a time.
    pub policies: Vec<String>,
    /// Most of its I/Os that may be under way at all its hosts together, by a bound of its own or the depth of its closed
    /// loop; `None`: only the depth of the paths bounds them.
    pub outstanding: Option<u64>,
    /// It comes at a rate of its own, whatever becomes of it; not so a closed loop.
    pub rated: bool,
    /// Bins from `from_s`, averaged over the replications.
    pub bins: Vec<SwitchBin>,
    /// When paths that come back are in use again, by the timers; `None` without any path.
    pub back: Option<PathReturn>,
    /// How long the timers alone stop an I/O that is caught by the loss: detection, hold and quiet time one after the other.
    /// `None` where no host loses some of its paths and keeps others, and where more than one loss is scripted.
    pub by_timers: Option<TimerStall>,
    /// Longest I/O of each replication, in progress ones included.
    pub longest_io_s: Vec<f64>,
    /// Of each replication, whether its longest I/O was not over when the run ended: it takes longer than is told.
    pub longest_open: Vec<bool>,
    /// I/Os waited at the end at a host that had no path for them, in any replication.
    pub no_path: bool,
    /// I/Os failed because their host had no path for them, in any replication.
    pub failed_without_path: bool,
    /// Hosts that it has.
    pub hosts: u32,
    /// Those of them that had no path for I/Os, in any replication: some waited for one at the end, or failed for want of one.
    pub without_path: Vec<String>,
    /// Hosts whose work nobody does when the run ends: they are lost, and nobody is left to run their guests, or all hosts
    /// of the workload are lost.
    pub hosts_gone: u32,
    /// What let the longest I/O end, at the instant of that end (first replication). `None`: it was not held up, or
    /// is not over.
    pub freed_by: Option<NamedEvent>,
    /// The first of its I/Os that failed, with the timer that made it (first replication); `None`: none did.
    pub failed_by: Option<NamedEvent>,
    /// Longest time without any completion, worst replication.
    pub longest_silence_s: f64,
    /// The same of each replication.
    pub silence_s: Vec<f64>,
    /// Times without a completion up to this are chance: the longest before the first event, or seven times the mean, in any replication.
    pub chance_silence_s: f64,
    /// The times in which nothing of it was completed while some of it hung or failed, in order (first replication).
    pub stops: Vec<WorkStop>,
    /// Share of the I/Os that were over after the loss, or unfinished at the end, that took longer than the
    /// promise (p99 or mean target); failed ones count as longer.
    pub above_promise_share: Option<f64>,
    /// Time in bins whose mean lies above the promise: a bin in which an I/O fails does, and so does one in which nothing is
    /// completed while the oldest I/O has waited for longer than is promised.
    pub above_promise_s: Option<f64>,
    /// I/Os completed after the loss, all replications.
    pub completed: u64,
    /// Attempts that were sent again, all replications.
    pub retried: u64,
    /// I/Os that failed, each replication, without those lost with their hosts.
    pub failed: Vec<u64>,
    /// I/Os that were under way in a host that was lost itself, each replication.
    pub lost_with_host: Vec<u64>,
    /// I/Os that nobody asked for, because the host that would have was lost, each replication.
    pub unasked: Vec<u64>,
    /// Late responses of given-up attempts, all replications.
    pub late: u64,
    /// Fewest completed per second in 20 ms after the loss, mean over the replications bin by bin; longer bins where the
    /// run has none so short. `None`: the run ended before.
    pub completed_least_iops: Option<f64>,
    /// Most completed per second in 20 ms after the loss, mean of the replications' own: work that was held comes out at once.
    pub completed_most_iops: f64,
    /// Up to this the most completed per second in 20 ms is chance: what independent completions at the mean rate of the state that it
    /// settles to exceed in any 20 ms of one run in a hundred.
    pub chance_most_iops: f64,
    /// I/Os unfinished when the run ended, all replications.
    pub unfinished: u64,
    /// I/Os that had lost a frame or been sent again and were still not over when the run ended, each
    /// replication: nobody knows how long they take.
    pub hanging: Vec<u64>,
    /// Most I/Os that hung on lost paths at once, each counted once, each replication: held when paths were given up or
    /// attempts timed out, or still without an answer at the end. Never more than may be under way.
    pub held: Vec<u64>,
    /// Most I/Os arrived and not completed, worst replication.
    pub backlog_peak: u64,
    /// From the loss until the backlog was down to the survivors' steady mean, worst replication: the beginning of the
    /// first bin after its highest in which it is at most half an I/O or five per cent above that; zero where it never was
    /// higher; `None`: not within the run, or `fails_after`. One I/O that hangs is a backlog. Of several losses, drains and returns each has its own
    /// highest, and the last to be over counts.
    pub drain_s: Option<f64>,
    /// All that comes fails in the state that it settles to, once hosts wait no longer for a path: a backlog that is gone then has failed, and
    /// not been worked off. In the run itself nothing may have failed yet.
    pub fails_after: bool,
    /// When this workload had settled, after the loss.
    pub settled_s: Option<f64>,
    /// What the survivors complete in steady state at most in 20 ms, I/Os per second.
    pub survivors_peak_iops: f64,
}

impl SwitchWorkload {
    /// From this share of the longest I/O on a silence is a stop: the workload did not go on beside what hung. A choice of
    /// this program.
    pub const STOP: f64 = 0.5;

    /// Whether a silence beside a longest I/O is a stop.
    #[must_use]
    pub fn is_stop(silence_s: f64, longest_s: f64) -> bool {
        silence_s > 0.0 && silence_s >= Self::STOP * longest_s
    }

    /// Whether all that comes after the loss fails, and some of it did while the run lasted.
    #[must_use]
    pub fn all_fails(&self) -> bool {
        self.fails_after && self.failed.iter().any(|failed| *failed > 0)
    }

    /// Whether some of it hung and nothing else of it was completed meanwhile.
    #[must_use]
    pub fn stopped(&self) -> bool {
        if !self.stops.is_empty() {
            return true;
        }
        let longest = self.longest_io_s.iter().copied().fold(0.0, f64::max);
        let silence = self.longest_silence_s;
        self.hung() && silence > self.chance_silence_s && Self::is_stop(silence, longest)
    }

    /// Whether some of its hosts had no path for I/Os, and others had.
    #[must_use]
    pub fn partly_without_path(&self) -> bool {
        !self.without_path.is_empty() && self.without_path.len() < self.hosts as usize
    }

    /// Whether any of it hung.
    #[must_use]
    pub fn hung(&self) -> bool {
        let still = self.hanging.iter().any(|hanging| *hanging > 0);
        still || self.retried > 0
    }

    /// I/Os that hung in the first replication, which is the one that the events are of.
    #[must_use]
    pub fn held_first(&self) -> u64 {
        self.held.first().copied().unwrap_or(0)
    }
}

/// A time in which a workload stopped.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct WorkStop {
    /// The last completion before it, or the first event.
    pub from_s: f64,
    /// The first completion after it; `None`: none came before the run ended.
    pub to_s: Option<f64>,
    /// How long, s: to the end of the run where it is not over.
    pub s: f64,
    /// What let work go on: the timer of that line, else what the line says; `None` where nothing has.
    pub ended_by: Option<String>,
    /// Why nothing of it was completed.
    pub cause: StopCause,
}

/// Why a workload stops.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum StopCause {
    /// A host of it had no path that answers.
    NoPath,
    /// Every host had a path that answers: what was under way hung on what is lost, or failed with it.
    LostPaths,
    /// Volumes had no controller.
    Volumes,
    /// Its hosts were lost themselves.
    HostsLost,
}

/// How restored paths come back into use.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PathReturn {
    /// At most so many seconds after the restored part is there.
    pub s: f64,
    /// The timers, one after the other: `route change, 200ms + path check, 5s`.
    pub by: String,
    /// They are found by then and stay unused until somebody fails them back.
    pub manual: bool,
    /// After so many seconds away they are given up for good: a host no longer tries them by itself.
    pub given_up_s: Option<f64>,
}

/// The stall that timers account for.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct TimerStall {
    /// Seconds.
    pub s: f64,
    /// The timers, one after the other: `iSCSI ping and its timeout, 10s + iSCSI session replacement, 5s`.
    pub by: String,
    /// What the sum would be if no command timed out before the loss is noticed; `None` where none does.
    #[serde(skip)]
    pub cut_short: Option<Box<Self>>,
}

impl TimerStall {
    /// The sum, and what it would be if no command timed out first.
    pub(crate) fn sums(&self) -> impl Iterator<Item = &Self> {
        std::iter::once(self).chain(self.cut_short.as_deref())
    }
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
    /// Failed per second.
    pub failed_iops: f64,
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
    /// This ended a stop of a workload: I/Os were completed because of it. Where none stopped, it let the longest I/O of a
    /// workload be completed.
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
