//! How far the work can grow: by case, the largest load proven to keep every promise and the smallest proven
//! to break one.

use super::{Case, Cell, MeasureKind, Origin, PartUse, UnseenBursts, Verdict};
use serde::Serialize;

/// The whole answer.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Headroom {
    /// How to repeat it.
    pub origin: Origin,
    /// What grows.
    pub grows: Grows,
    /// Confidence that both ends of a case's bracket are right, per cent. It holds for each case by itself.
    pub confidence_percent: f64,
    /// Largest factor that was tried at most.
    pub most: f64,
    /// Healthy first, then the outages.
    pub cases: Vec<CaseHeadroom>,
    /// Use of every part at today's load, by case.
    pub parts: Vec<PartUse>,
    /// Whether the switch-overs were judged.
    pub switch_overs: SwitchOvers,
    /// Stopped before its end: what is proven is proven, what is not was not looked for to the end.
    pub partial: bool,
    /// What the factor multiplies, and what is taken for granted.
    pub notes: Vec<String>,
}

/// Whether switch-overs were judged at the loads that are proven.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum SwitchOvers {
    /// Each one, at the load of its case.
    Judged,
    /// Left out on request.
    NotAsked,
    /// Nothing is promised about switching.
    NothingPromised,
}

/// The switch-over of an outage at a proven load.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LoadSwitch {
    /// Times today's load, or hosts: the largest proven to keep every promise both healthy and in this case.
    pub factor: f64,
    /// Replications of the switch-over.
    pub replications: u32,
    /// All promises about switching together.
    pub verdict: Verdict,
    /// One row a promise about switching.
    pub rows: Vec<LoadRow>,
    /// Stopped by the event limit: no proof.
    pub partial: bool,
    /// When every workload had settled, seconds after the loss; `None`: not within the run.
    pub settled_s: Option<f64>,
    /// Frames times hops of all its runs.
    pub frame_hops: u64,
}

/// What grows.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Grows {
    /// `load`, or the family of hosts.
    pub what: String,
    /// Hosts of the family today, by which a factor is multiplied to give hosts; `None` when the load grows.
    pub hosts: Option<u32>,
    /// Where all work is in closed loops: the deepest, and what it keeps outstanding at each host today, by which a factor is
    /// multiplied to give a whole depth; else `None`.
    pub depth: Option<LoopDepth>,
    /// Why no more than [`Headroom::most`] can be built, in a few words; `None` where no more was asked for.
    pub limit: Option<String>,
}

impl Grows {
    /// What a factor is multiplied by to give a whole number; `None` where it is a load.
    #[must_use]
    pub fn today(&self) -> Option<u32> {
        self.hosts.or(self.depth.as_ref().map(|own| own.depth))
    }
}

/// A closed loop.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct LoopDepth {
    /// Workload.
    pub workload: String,
    /// I/Os outstanding at each host.
    pub depth: u32,
}

/// What ends a search though no promise broke.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Bound {
    /// No more was asked for.
    Asked,
    /// No more can be built.
    Buildable,
}

/// A throughput promise that wants more than is asked for today: below some load nothing can keep it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Floor {
    /// Workload.
    pub workload: String,
    /// Target as the user wrote it.
    pub target_text: String,
    /// Least factor at which as much is asked for, by arithmetic; in a closed loop the least load that was run and brought it.
    pub factor: f64,
    /// Of a closed loop the largest load below that was run and brought too little; what lies between was not run. `None` of open work.
    pub short: Option<f64>,
    /// Where both are neighbours in what the loop keeps outstanding, and the load is no whole number of that: the load between them
    /// from which on one more is outstanding, by rounding.
    pub step: Option<f64>,
    /// Asked for today, 10^6 bytes per second; `None` in a closed loop, of which only the runs know it.
    pub asked_mb_s: Option<f64>,
}

/// A promise that no load keeps.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Hopeless {
    /// Workload.
    pub workload: String,
    /// What was promised.
    pub measure: MeasureKind,
    /// Target as the user wrote it.
    pub target_text: String,
    /// How that is known.
    pub because: Because,
}

/// How it is known that no load keeps a promise.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Because {
    /// An I/O takes so long on the mean on an idle site, microseconds: arithmetic.
    IdleMean {
        /// Microseconds.
        latency_us: f64,
    },
    /// The wire and the adapters alone take so long for the fastest I/O on an idle site, microseconds: arithmetic.
    IdleWire {
        /// Microseconds.
        latency_us: f64,
    },
    /// It is proven to be broken at the least load that was tried, where hardly anything waits.
    LeastLoad {
        /// That load, times today's.
        factor: f64,
        /// The figure there, microseconds.
        latency_us: Option<f64>,
    },
    /// A part is full before so much is asked for: arithmetic.
    FullBefore {
        /// Load at which the fullest part is full on the mean.
        factor: f64,
        /// Asked for there, 10^6 bytes per second.
        throughput_mb_s: f64,
    },
    /// Up to the largest load that there is to try not so much is asked for: arithmetic.
    MostBefore {
        /// That load.
        factor: f64,
        /// Asked for there, 10^6 bytes per second.
        throughput_mb_s: f64,
    },
    /// No run of a closed loop brought so much, whatever was outstanding, and at least one load is proven to bring too little.
    NeverBrought {
        /// Least load that was run.
        least: f64,
        /// Largest load that was run.
        factor: f64,
        /// The most that any of the runs brought, 10^6 bytes per second.
        throughput_mb_s: f64,
    },
    /// A host of the workload has no path in this case.
    NoPath,
}

/// One case. Factors are times today's load, or times today's hosts.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CaseHeadroom {
    /// Which case.
    pub case: Case,
    /// The factor at which the fullest part is full on the mean, or the hosts of a workload have all under way that they
    /// may, whichever is less; by arithmetic without a run. `None` where all work is a closed loop.
    pub saturation: Option<f64>,
    /// The latter, where it is the less.
    pub depth: Option<DepthLimit>,
    /// Largest factor proven to keep every promise; `None`: none was proven.
    pub met: Option<f64>,
    /// Whether a load below `met` need not keep every promise though that one does: hosts look at queues over unlike ways. Then
    /// some were run.
    pub unlike: bool,
    /// Loads below `met` at which a promise is proven to be broken, in rising order: `met` is not every load up to it.
    pub holes: Vec<Hole>,
    /// Smallest factor above that proven to break a promise; `None`: none was proven.
    pub missed: Option<f64>,
    /// Where a curve through all runs crosses the promise; no proof, and `None` where it
    /// does not, or outside what is proven.
    pub crossing: Option<f64>,
    /// Why there is no crossing; `None` where there is one, or nothing was looked for.
    pub no_crossing: Option<NoCrossing>,
    /// By arithmetic every load above this breaks a promise: it is full there, and no run is needed to know it. `None` where that
    /// does not follow.
    pub certain: Option<f64>,
    /// Runs that the curve is fitted to; `None` where the crossing is interpolated between two.
    pub fitted: Option<u32>,
    /// The knee of the promised figure that breaks first: of the loads that were run, the one at which load ÷ latency is largest;
    /// `None` where it has no smaller ones on both sides, beyond the intervals.
    pub knee: Option<f64>,
    /// The promise that breaks at `missed`.
    pub breaks: Option<Breaks>,
    /// The fullest part at the smallest factor that was missed (else at the largest that was met), of those that the work
    /// of the broken promise uses (else of the one nearest its limit). `None` where no load keeps a promise: no part ends that.
    pub ends: Option<PartLoad>,
    /// A part on the way of the same work that is about as full there as `ends`, within a tenth of it by the same figure: it ends the
    /// case as well, for more of the other alone brings little. `None` where there is none, and where nothing was missed.
    pub beside: Option<PartLoad>,
    /// The part after these.
    pub next: Option<PartLoad>,
    /// By which figure of the parts `beside` and `next` are chosen.
    pub ranked_by: RankedBy,
    /// How much of the mean latency of the work of the broken promise is no waiting, per cent, at that factor; `None` of a
    /// throughput, of work that does not fit, and where nothing was missed.
    pub unwaited_percent: Option<f64>,
    /// What ended the search at `met`, where it was not a promise: the largest load or number that there is to try is
    /// itself proven to keep every promise.
    pub bound: Option<Bound>,
    /// Where `met` holds only from some load on.
    pub floor: Option<Floor>,
    /// A promise that no load keeps; then nothing is met.
    pub hopeless: Option<Hopeless>,
    /// Whether every promise holds at today's load: those about steady states proven, or by arithmetic where one is out of
    /// reach there, and those about switching where the switch-over was judged. `None` where nothing steady is promised in this
    /// case, and nothing was looked for.
    pub today: Option<Verdict>,
    /// The switch-over at a proven load; `None` when healthy, without such a load, or when none was judged.
    pub switch_over: Option<LoadSwitch>,
    /// Where it is not met there: the same at lower loads, in the order in which they were tried.
    pub switch_tried: Vec<LoadSwitch>,
    /// The largest of all these loads whose switch-over was met; `None`: that of none was.
    pub switch_met: Option<f64>,
    /// Every load that was run, in rising order.
    pub points: Vec<LoadPoint>,
}

impl CaseHeadroom {
    /// What the switch-over says of today's load: one that was judged there; else a load below one that is met is taken to be
    /// met, and one above one that is missed to be missed. `None` where none was judged.
    #[must_use]
    pub fn switch_today(&self) -> Option<Verdict> {
        let runs = || self.switch_over.iter().chain(&self.switch_tried);
        let of = |verdict: Verdict| runs().filter(move |run| run.verdict == verdict);
        let near = |factor: f64| (factor - 1.0).abs() < 1e-9;
        if let Some(there) = runs().find(|run| near(run.factor)) {
            return Some(there.verdict);
        }
        if of(Verdict::Met).any(|run| run.factor >= 1.0) {
            Some(Verdict::Met)
        } else if of(Verdict::Missed).any(|run| run.factor <= 1.0) {
            Some(Verdict::Missed)
        } else {
            self.switch_over.as_ref().map(|_| Verdict::Undecided)
        }
    }
}

impl Headroom {
    /// The steady promises that were judged, each once, in the order in which cases have them.
    #[must_use]
    pub fn promises(&self) -> Vec<&LoadRow> {
        let mut found: Vec<&LoadRow> = Vec::new();
        let rows = self.cases.iter().filter_map(|case| {
            let mut points = case.points.iter();
            points.find(|point| !point.rows.is_empty())
        });
        for row in rows.flat_map(|point| &point.rows) {
            if !found.iter().any(|known| known.is_of(row)) {
                found.push(row);
            }
        }
        found
    }

    /// Whether a limit on events or memory stopped a run. A number of hosts that cannot be built has no runs.
    #[must_use]
    pub fn is_cut(&self) -> bool {
        let cut = |case: &CaseHeadroom| {
            let mut switched = case.switch_over.iter().chain(&case.switch_tried);
            let mut points = case.points.iter();
            points.any(|point| point.partial && point.replications > 0)
                || switched.any(|own| own.partial)
        };
        self.cases.iter().any(cut)
    }

    /// Bursts that some busiest 20 ms of parts do not have from the runs as they are, each workload once: nearest today's load.
    #[must_use]
    pub fn unseen_bursts(&self) -> Vec<UnseenBursts> {
        let points = self.cases.iter().flat_map(|case| &case.points);
        let mut points: Vec<&LoadPoint> = points.collect();
        let far = |point: &LoadPoint| (point.factor - 1.0).abs();
        points.sort_by(|one, other| far(one).total_cmp(&far(other)));
        let mut found: Vec<UnseenBursts> = Vec::new();
        for own in points.into_iter().flat_map(|point| &point.unseen_bursts) {
            if !found.iter().any(|known| known.workload == own.workload) {
                found.push(own.clone());
            }
        }
        found
    }

    /// Which of them is proven to break at the lowest load.
    #[must_use]
    pub fn breaks_first(&self) -> Option<usize> {
        let cases = self.cases.iter();
        let (_, first) = cases
            .filter_map(|case| Some((case.missed?, case.breaks.as_ref()?)))
            .min_by(|left, right| left.0.total_cmp(&right.0))?;
        let own = |row: &&LoadRow| row.workload == first.workload && row.measure == first.measure;
        self.promises().iter().position(own)
    }
}

impl LoadRow {
    /// Whether both are about the same promise.
    #[must_use]
    pub fn is_of(&self, other: &Self) -> bool {
        self.workload == other.workload && self.measure == other.measure
    }
}

/// Queue depths that let no more through: paths × depth (or what a workload may have outstanding) ÷ idle latency.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct DepthLimit {
    /// The workload that waits in its hosts.
    pub workload: String,
    /// The factor at which as much is asked for on the mean, the paths to itself. An I/O takes longer than on an idle site, so
    /// that less is carried.
    pub factor: f64,
}

/// A load at which a promise is broken though a larger one keeps all.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Hole {
    /// Times today's load, or hosts.
    pub factor: f64,
    /// The promise.
    pub breaks: Breaks,
}

/// Why no load is given at which the promise is crossed.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum NoCrossing {
    /// Loads that keep the promise were run, and none that breaks it, or the other way round.
    OneSided,
    /// The runs rise by no more than chance.
    Flat,
    /// Too few runs lie near the promise.
    Few,
    /// Every load at which the work fits keeps the promise by far: it breaks because work piles up without end, and its figure comes
    /// from the I/Os that do not wait there.
    PilesUp,
    /// The runs have it there, and that is no load between the proven ends, or none at which the work fits.
    Outside {
        /// Times today's load, or hosts.
        factor: f64,
    },
}

/// The promise that breaks first.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Breaks {
    /// Workload.
    pub workload: String,
    /// What was promised.
    pub measure: MeasureKind,
    /// Target as the user wrote it.
    pub target_text: String,
    /// Work piles up without end, so that there is no figure.
    pub saturated: bool,
    /// Of a percentile, with that: no more of the I/Os that were counted are above the target than may be; those over ways that are
    /// not full keep it.
    pub kept_by_others: bool,
}

/// By which figure parts are ranked at some load.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum RankedBy {
    /// The mean of the run.
    Mean,
    /// What is asked for in the busiest 20 ms: a promise about latency decides there, all that comes is carried, and some part is asked in
    /// that moment for more than it can do though the mean fills none.
    Busiest,
}

impl RankedBy {
    /// The figure of a part, per cent.
    #[must_use]
    pub const fn figure(self, part: &PartLoad) -> f64 {
        match self {
            Self::Mean => part.mean_percent,
            Self::Busiest => part.peak_percent,
        }
    }
}

/// How full a part is at some load.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PartLoad {
    /// `san to edge, 32GFC`.
    pub part: String,
    /// Fullest instance.
    pub instance: String,
    /// Mean of the run.
    pub mean_percent: f64,
    /// Asked in the busiest 20 ms.
    pub peak_percent: f64,
}

/// What a load was run for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Purpose {
    /// To find the edge; proves nothing.
    Pilot,
    /// To prove that every promise is kept.
    ProveMet,
    /// To prove that a promise is broken.
    ProveMissed,
    /// To see whether a load below the one that is met keeps every promise as well.
    Below,
}

/// One load.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LoadPoint {
    /// Times today's load.
    pub factor: f64,
    /// What for.
    pub purpose: Purpose,
    /// The closed loops as they ran: whole numbers.
    pub depths: Vec<LoopDepth>,
    /// Replications.
    pub replications: u32,
    /// All promises together, at this test's share of the error (a pilot run: at 95 % for each side).
    pub verdict: Verdict,
    /// Its runs were made this long, seconds, warm-up included, as they would have been too short for what queues
    /// remember; `None`: as stated.
    pub lengthened_s: Option<f64>,
    /// Its runs are too short to call it met: so long, seconds, would do; `None` where they are not.
    pub needs_s: Option<f64>,
    /// A workload arrives faster than it can be carried.
    pub saturated: bool,
    /// Stopped by the event limit: no proof.
    pub partial: bool,
    /// Frames times hops of all its runs.
    pub frame_hops: u64,
    /// One row a promise.
    pub rows: Vec<LoadRow>,
    /// The three fullest parts of those that work uses of which a promise is judged, by `ranked_by`.
    pub fullest: Vec<PartLoad>,
    /// By which figure they are the fullest.
    pub ranked_by: RankedBy,
    /// Bursts that the busiest 20 ms of parts do not have from its runs as they are.
    pub unseen_bursts: Vec<UnseenBursts>,
}

/// One promise at one load.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LoadRow {
    /// Workload.
    pub workload: String,
    /// What was promised.
    pub measure: MeasureKind,
    /// The figure and its verdict.
    pub cell: Cell,
}
