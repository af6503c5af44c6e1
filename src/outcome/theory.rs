//! What closed forms say of a part, beside what was simulated.

use serde::Serialize;

/// How far a closed form can be trusted where its assumptions hold.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Trust {
    /// The figure itself.
    Exact,
    /// Near it.
    Approximation,
    /// Never above it.
    AtMost,
    /// Never below it.
    AtLeast,
}

/// One figure from theory.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct TheoryRow {
    /// Case.
    pub case: String,
    /// Controller, link direction or workload.
    pub part: String,
    /// What it is: `mean wait`, `throughput`, `mean latency`, `stall`, `drain`.
    pub figure: &'static str,
    /// Unit of both values: `us`, `IOPS`, `s`.
    pub unit: &'static str,
    /// The value from theory.
    pub value: f64,
    /// How far it can be trusted.
    pub trust: Trust,
    /// The formula by name.
    pub by: &'static str,
    /// What it assumes.
    pub assumes: &'static str,
    /// The simulated figure; `None` where nothing was simulated.
    pub simulated: Option<f64>,
    /// Lower end of its 95 % interval, where it has one: a drain is that of the worst run.
    pub simulated_low: Option<f64>,
    /// Upper end.
    pub simulated_high: Option<f64>,
    /// Of a drain, the workloads whose I/Os it is about.
    #[serde(skip)]
    pub of: Vec<String>,
}

impl TheoryRow {
    /// A row with nothing simulated beside it: what `figure` (its name, unit and value) of a part is in a case, by which formula and under which
    /// assumption.
    #[must_use]
    pub fn new(
        case: &str,
        part: String,
        (figure, unit, value): (&'static str, &'static str, f64),
        trust: Trust,
        (by, assumes): (&'static str, &'static str),
    ) -> Self {
        Self {
            case: case.to_owned(),
            part,
            figure,
            unit,
            value,
            trust,
            by,
            assumes,
            simulated: None,
            simulated_low: None,
            simulated_high: None,
            of: Vec::new(),
        }
    }
}
