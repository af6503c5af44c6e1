//! A whole study: every case, the verdicts, the parts, and where it all came from.

use super::{EachPart, Matrix, Picture, Precision, Review, Steady, Switch};
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
    /// `san to edge, 32GFC`; a controller: `vault controllers`.
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
    /// The fullest instance: `san-B > edge-B`.
    pub instance: String,
    /// Mean of the run.
    pub mean_percent: f64,
    /// Asked in the busiest 20 ms; over 100 when it cannot keep up.
    pub peak_percent: f64,
    /// Load of the fullest single member in its busiest 20 ms.
    pub member_peak_percent: f64,
    /// Share of the bundle's bytes on its fullest member, per cent (100 ÷ members when even).
    pub fullest_member_share_percent: f64,
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
    /// Judgements with it, same rows and cases as the report's (steady promises only).
    pub matrix: Matrix,
    /// Steady figures with it, same cases.
    pub steady: Vec<Steady>,
    /// Where growth ends with it, by case.
    pub growth: Vec<Growth>,
    /// Every promise judged is met with it.
    pub mends_all: bool,
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
    /// Every single part lost in turn; `None` when not asked.
    pub each_part: Option<EachPart>,
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
