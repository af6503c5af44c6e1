//! Several designs under the same random numbers.

use super::{Case, Changes, Estimated, Matrix, MeasureKind, Origin};
use serde::Serialize;

/// The whole comparison; differences are against the first design.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Comparison {
    /// How to repeat it.
    pub origin: Origin,
    /// The designs, the first one first.
    pub designs: Vec<DesignRow>,
    /// Differences of figures of the work.
    pub differences: Vec<Difference>,
    /// Differences of how full the parts are.
    pub part_differences: Vec<PartDifference>,
    /// Start of the measured window, the same for all.
    pub warm_up_s: f64,
    /// Whether there was a price list.
    pub priced: bool,
    /// What could not be compared.
    pub notes: Vec<String>,
}

/// One design.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct DesignRow {
    /// What it is called.
    pub name: String,
    /// Digest of its scenario.
    pub digest: String,
    /// `key=value` pairs laid over it.
    pub set: Vec<(String, String)>,
    /// What it is made of.
    pub inventory: Inventory,
    /// What it takes that the first design does not have, and its price; nothing for the first.
    pub changes: Changes,
    /// What the first design has that this one does not need, and its price; nothing for the first.
    pub frees: Changes,
    /// In what its work is not that of the first design: then a difference is one of the work too. Nothing where it is the same.
    pub other_work: Vec<String>,
    /// Verdict for each promise and case.
    pub matrix: Matrix,
    /// A limit on events or memory stopped one of its runs: figures of the time simulated by then, and nothing met in that case.
    pub partial: bool,
}

impl DesignRow {
    /// How much dearer it is than the first design where both are built new: the price of what it takes less that of what
    /// it does not need. `None` where the price list lacks any of it, or there is none.
    #[must_use]
    pub fn dearer(&self) -> Option<f64> {
        Some(self.changes.price? - self.frees.price?)
    }
}

/// What a site is made of.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize)]
pub struct Inventory {
    /// Hosts.
    pub hosts: u32,
    /// Switches that are no modules of a chassis.
    pub switches: u32,
    /// Chassis modules.
    pub modules: u32,
    /// Controllers.
    pub controllers: u32,
    /// The same by family: hosts, switches, modules and controllers.
    pub devices: Vec<Device>,
    /// Cables by speed; a cage counts as one.
    pub cables: Vec<(String, u32)>,
    /// Ports in use by speed, at both ends; a cage takes one at its own end and each leg one.
    pub ports: Vec<(String, u32)>,
    /// Optics by speed: one an end of each cable, as if none were copper with its ends attached.
    pub optics: Vec<(String, u32)>,
    /// Legs of cages that are used, by speed.
    pub lit_legs: Vec<(String, u32)>,
    /// Legs of cages that are not.
    pub dark_legs: Vec<(String, u32)>,
}

/// Devices of one family.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Device {
    /// `host`, `switch`, `module` or `controller`.
    pub kind: String,
    /// Its family.
    pub of: String,
    /// How many.
    pub count: u32,
}

/// What a difference says.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Change {
    /// Exactly the same in every replication.
    Same,
    /// Better, beyond the interval.
    Better,
    /// Worse, beyond the interval.
    Worse,
    /// No difference that this run can show.
    NotShown,
}

/// Why a design has no figure.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Lack {
    /// The work arrives faster than it can be carried.
    Saturated,
    /// Not one I/O is completed: there is no path.
    CutOff,
    /// Too few I/Os are completed, or none is asked for.
    NoFigure,
}

/// One figure of one workload in one case, against the first design.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Difference {
    /// Index of the design, 1 for the second.
    pub design: usize,
    /// Case.
    pub case: Case,
    /// Workload.
    pub workload: String,
    /// Figure.
    pub measure: MeasureKind,
    /// Whether something is promised of it in this case.
    pub promised: bool,
    /// `us` or `MB/s`.
    pub unit: &'static str,
    /// The first design's; `None` where `first_lacks` says why.
    pub first: Option<f64>,
    /// This design's; `None` where `value_lacks` says why.
    pub value: Option<f64>,
    /// Why the first design has no figure.
    pub first_lacks: Option<Lack>,
    /// Why this design has none.
    pub value_lacks: Option<Lack>,
    /// This design's less the first's, mean over the replications.
    pub difference: Option<Estimated>,
    /// The first design's figure as the difference has it: the mean over the replications, of latencies by their number of I/Os. Of a percentile that is not the figure of
    /// all replications merged.
    pub base: Option<f64>,
    /// What it says.
    pub change: Change,
}

impl Difference {
    /// The difference in per cent of the first design's figure ([`base`](Self::base)); `None` where one of the two has no figure, or the
    /// first's is 0.
    #[must_use]
    pub fn percent(&self) -> Option<f64> {
        self.in_percent(self.difference?.value)
    }

    /// The ends of its 95 % interval in per cent of the same.
    #[must_use]
    pub fn percent_ends(&self) -> Option<(f64, f64)> {
        let found = self.difference?;
        Some((self.in_percent(found.low?)?, self.in_percent(found.high?)?))
    }

    fn in_percent(&self, amount: f64) -> Option<f64> {
        let first = self.base.filter(|first| *first > 0.0)?;
        // Never −0.
        Some(100.0 * amount / first + 0.0)
    }
}

/// How full a part is on the mean, against the first design: of several instances the one that arithmetic says is fullest,
/// of equals the first by name.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PartDifference {
    /// Index of the design.
    pub design: usize,
    /// Case.
    pub case: Case,
    /// `san to edge, 32GFC`; where the two designs call it differently, both.
    pub part: String,
    /// The first design's instance: `san-A > edge-A`.
    pub first_instance: Option<String>,
    /// This design's; another where that is the fullest here.
    pub value_instance: Option<String>,
    /// The first design's, per cent; `None`: it has no such part.
    pub first_percent: Option<f64>,
    /// This design's, per cent; `None`: it has no such part.
    pub value_percent: Option<f64>,
    /// This design's less the first's, points; `None` where only one of them has the part.
    pub difference: Option<Estimated>,
    /// What it says: less used is better; nothing of a part that only one of them has.
    pub change: Change,
}
