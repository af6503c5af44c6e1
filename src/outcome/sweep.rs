//! One point of a sweep: what a scenario with other values does, by case.

use super::{Case, Inventory, Matrix, PartLoad, Steady, Switch};
use serde::Serialize;

/// A point.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SweepPoint {
    /// What the site is made of.
    pub inventory: Inventory,
    /// What it takes of its switches beyond the ports that these state, in sentences.
    pub ports_lacking: Vec<String>,
    /// Verdict for each promise and case.
    pub matrix: Matrix,
    /// Steady figures, healthy first, then the outages asked for.
    pub steady: Vec<Steady>,
    /// The switch-over of each outage, where they were asked for.
    pub switches: Vec<Switch>,
    /// What arithmetic and the runs say of the parts, one for each case.
    pub cases: Vec<SweepCase>,
}

/// How full the parts are in one case.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SweepCase {
    /// Which case.
    pub case: Case,
    /// Use of the fullest part on the mean by arithmetic, without a run, per cent; `None` where all work is
    /// a closed loop. Hosts that level their queues share by what is free, the others as their paths are chosen.
    pub arithmetic_percent: Option<f64>,
    /// Whether a closed loop is at work, which that figure leaves out.
    pub leaves_out_closed: bool,
    /// The part with the busiest 20 ms.
    pub fullest: Option<PartLoad>,
}
