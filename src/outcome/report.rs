//! A whole study: every case, the verdicts, the parts, and where it all came from.

use super::{EachPart, Matrix, Picture, Precision, Review, Steady, Switch, Windows};
use serde::Serialize;

/// A state of the site that is studied.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Case {
    /// `healthy`, `A lost`, `B lost`, `power feed 2 lost`.
    pub name: String,
    /// Name of the outage; `None` for healthy.
    pub outage: Option<String>,
    /// The side that is gone as a whole, if one is.
    pub lost: Option<char>,
    /// The side that carries everything, when the other is gone as a whole.
    pub carries: Option<char>,
}

impl Case {
    /// The run of a scenario with its scripted events.
    #[must_use]
    pub fn scripted() -> Self {
        Self {
            name: "scripted events".into(),
            outage: None,
            lost: None,
            carries: None,
        }
    }

    /// Whether it is that run.
    #[must_use]
    pub fn is_scripted(&self) -> bool {
        *self == Self::scripted()
    }
}

/// What is needed to repeat a run to the byte.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Origin {
    /// Program version.
    pub version: String,
    /// Title of the scenario.
    pub title: String,
    /// File name of the scenario, without folders.
    pub scenario: String,
    /// SHA-256 of the scenario text and everything set on the command line, hexadecimal.
    pub digest: String,
    /// Seed.
    pub seed: u64,
    /// Replications of steady runs.
    pub replications: u32,
    /// Replications of switch-over runs.
    pub switch_replications: u32,
    /// Command line that repeats it.
    pub command: String,
    /// `key=value` pairs set on the command line.
    pub set: Vec<(String, String)>,
}

/// How busy one part is, by case.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PartUse {
    /// `san to edge, 32GFC`; a controller: `vault controllers`. In headroom `one member of san to edge, 32GFC` where a hash leaves one
    /// fuller than its bundle.
    pub part: String,
    /// "2 of 4 legs lit", "48 in parallel each".
    pub detail: String,
    /// Tier (`san > edge`, as in `DirectionFigures::tier`) or array family.
    pub tier: String,
    /// One for each case of the matrix. The fullest instance (bundle of members, or controller) of the
    /// family counts; `None` when no instance is left.
    pub cases: Vec<Option<UseInCase>>,
}

/// One part in one case: per cent of its capacity.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct UseInCase {
    /// The fullest instance: `san-B > edge-B`; of a single member `san-B > edge-B/2`.
    pub instance: String,
    /// Mean of the run: what it did.
    pub mean_percent: f64,
    /// What is asked of it on the mean by arithmetic, without a run; `None` where that is not known, as of closed loops.
    pub asked_mean_percent: Option<f64>,
    /// Asked in the busiest 20 ms; over 100 when it cannot keep up.
    pub peak_percent: f64,
    /// Load of the fullest single member in its busiest 20 ms.
    pub member_peak_percent: f64,
    /// Share of the bundle's bytes on its fullest member, per cent (100 ÷ members when even).
    pub fullest_member_share_percent: f64,
}

impl UseInCase {
    /// What is asked of it on the mean, per cent. A part that is asked for more than it can do does 100 %, and what it did says
    /// nothing of how much came; that is then as arithmetic has it.
    #[must_use]
    pub fn asked_percent(&self) -> f64 {
        asked_percent(self.mean_percent, self.asked_mean_percent)
    }

    /// The most that is known to be asked of it, per cent: in the busiest 20 ms, or on the mean where that is more. What hosts hold back
    /// does not come to a part, so that its busiest moment may be asked for less than arithmetic has for the mean.
    #[must_use]
    pub fn most_asked_percent(&self) -> f64 {
        self.peak_percent.max(self.asked_percent())
    }
}

/// The same of what a part did on the mean and what arithmetic asks of it.
pub(super) fn asked_percent(mean_percent: f64, asked_mean_percent: Option<f64>) -> f64 {
    let over = asked_mean_percent.filter(|asked| *asked > 100.0);
    over.map_or(mean_percent, |asked| asked.max(mean_percent))
}

/// Times today's load at which a part is full, by arithmetic: 100 ÷ its peak.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Growth {
    /// Case.
    pub case: String,
    /// Times today's load.
    pub factor: f64,
    /// Part.
    pub part: String,
    /// The next part, and its factor.
    pub next: Option<(String, f64)>,
}

/// A change that was simulated.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Mend {
    /// "light the two dark legs on each side".
    pub name: String,
    /// What it sets.
    pub set: Vec<(String, String)>,
    /// Who thought of it.
    pub origin: MendOrigin,
    /// What it takes.
    pub changes: Changes,
    /// What it takes of switches beyond the ports that these state, where it is not so without it: it cannot be built so.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub ports_lacking: Vec<String>,
    /// Judgements with it, same cases as the report's; those of the switch-over only where it was run again.
    pub matrix: Matrix,
    /// Steady figures with it, same cases.
    pub steady: Vec<Steady>,
    /// Where growth ends with it, by case.
    pub growth: Vec<Growth>,
    /// Every promise judged is met with it.
    pub mends_all: bool,
    /// No promise judged is missed with it, one is without it, and only what is undecided without it stays so.
    pub repairs: bool,
    /// What is left to bound the stalls of switch-overs that are missed with it all the same.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub left: Vec<StallLeft>,
}

/// What ended the longest I/O of a workload in a switch-over.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct StallLeft {
    /// Case.
    pub case: String,
    /// Workload.
    pub workload: String,
    /// The timer with its value; empty where none has.
    pub timer: String,
}

/// Who thought of a change.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum MendOrigin {
    /// The scenario: a variant of it.
    #[default]
    Stated,
    /// The program, for what was missed.
    Proposed,
}

/// What a change takes: only what has to be there in addition; what becomes free is not set off against it.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Changes {
    /// Cables, new or of another kind.
    pub cables: u32,
    /// Ports, new or of another kind, at both ends.
    pub ports: u32,
    /// Values set otherwise that take no part: timers, policies.
    pub settings: u32,
    /// All of it by kind.
    pub parts: Vec<ChangedPart>,
    /// By the price list; `None` without one, or when it lacks an item.
    pub price: Option<f64>,
    /// Items that the price list lacks.
    pub unpriced: Vec<String>,
}

/// Things of one kind that a change takes.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct ChangedPart {
    /// `cable`, `port`, `setting`, or `parallel` (one request worked on at once in one controller).
    pub kind: String,
    /// Speed, as in an inventory, or array; empty for a setting.
    pub of: String,
    /// How many more.
    pub count: u32,
}

/// What was tried in search of changes.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct MendSearch {
    /// Changes that might be simulated at most.
    pub most: u32,
    /// Changes that were simulated.
    pub tried: u32,
    /// Layers: 1 for single changes, one more for each change on top of the best before.
    pub rounds: u32,
    /// Workloads and cases with a latency missed though no part on their way is even 40 % full in the busiest 20 ms:
    /// time goes where a wider part does not help.
    pub calm: Vec<String>,
    /// Workloads and cases of which a promise about switching is missed, and no timer that another preset shortens bounds the stall:
    /// with what does, where anything is known to.
    pub fixed: Vec<StallLeft>,
    /// Changes that the scenario does not admit.
    pub refused: Vec<RefusedMend>,
    /// Whether a price list ordered them.
    pub priced: bool,
    /// Sets of up to three of the changes proposed at first that were simulated because they cost less than the cheapest that mended
    /// everything by then; they count in `tried` too.
    pub sets_tried: u32,
    /// Such sets that cost less and were not simulated, because no run was left.
    pub sets_untried: u32,
}

/// A change that the scenario does not admit.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct RefusedMend {
    /// What it is called.
    pub name: String,
    /// What it would set.
    pub set: Vec<(String, String)>,
    /// Why not.
    pub reason: String,
}

/// One input with its mark, for the page.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct AssumptionRow {
    /// Key.
    pub key: String,
    /// For people.
    pub what: String,
    /// Value.
    pub value: String,
    /// `guessed`, `common practice`, `stated`, `measured`, `published`, `standard`.
    pub mark: String,
    /// Says who.
    pub source: String,
    /// Line in the scenario.
    pub line: Option<u32>,
}

/// Everything a study found.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Report {
    /// How to repeat it.
    pub origin: Origin,
    /// Steady cases: healthy first.
    pub steady: Vec<Steady>,
    /// Switch-overs, one an outage; empty when not asked.
    pub switches: Vec<Switch>,
    /// The verdicts.
    pub matrix: Matrix,
    /// Parts by use in the worst outage, fullest first.
    pub parts: Vec<PartUse>,
    /// Growth by arithmetic, one a case.
    pub growth: Vec<Growth>,
    /// Changes that were simulated.
    pub mends: Vec<Mend>,
    /// The search for further changes; `None` when not asked.
    pub mend_search: Option<MendSearch>,
    /// Every single part lost in turn; `None` when not asked.
    pub each_part: Option<EachPart>,
    /// The hours in which each outage may be brought about; `None` when not asked.
    pub windows: Option<Windows>,
    /// The site as a diagram.
    pub picture: Picture,
    /// The static review.
    pub review: Review,
    /// Every input with its mark, guesses first.
    pub assumptions: Vec<AssumptionRow>,
    /// How precise the steady figures are; `None` when no precision was asked for.
    pub precision: Option<Precision>,
    /// Relative error of every printed percentile, at most.
    pub percentile_error_percent: f64,
}

impl Report {
    /// Whether a limit on events or memory stopped one of its runs; those of single parts are told apart.
    #[must_use]
    pub fn is_cut(&self) -> bool {
        let steady = self.steady.iter().map(|own| own.partial);
        steady
            .chain(self.switches.iter().map(|own| own.partial))
            .any(|cut| cut)
    }

    /// The changes that are shown in pictures and long tables: the scenario's own, and of those proposed the first
    /// that mends everything, or every miss.
    pub fn shown_mends(&self) -> impl Iterator<Item = &Mend> {
        let mut proposed = false;
        self.mends.iter().filter(move |mend| {
            let enough = mend.mends_all || mend.repairs;
            let first = mend.origin == MendOrigin::Proposed && enough && !proposed;
            proposed |= first;
            first || mend.origin == MendOrigin::Stated
        })
    }
}
