//! How precise the steady figures are, when a precision was asked for.

use super::MeasureKind;
use serde::Serialize;

/// What `--within` did.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Precision {
    /// Relative precision asked for, per cent.
    pub within_percent: f64,
    /// Largest half width, per cent of the figure, that counts as narrow enough: γ ÷ (1+γ).
    pub narrow_percent: f64,
    /// Whether two looks in succession found every figure narrow enough.
    pub reached: bool,
    /// Replications at each look; the last is what all figures rest on.
    pub looks: Vec<u32>,
    /// Most replications allowed.
    pub replications_max: u32,
    /// Figures it went by.
    pub figures: u32,
    /// Level of each one's interval at the looks, per cent: all together 95 (Bonferroni).
    pub level_percent: f64,
    /// The figure with the relatively widest interval at the last look.
    pub widest: Option<WidestFigure>,
    /// Figures it could not go by.
    pub left_out: Vec<LeftOut>,
    /// The key of the limit that stopped a run: more replications would be cut as well, so that none were run.
    pub stopped_by: Option<&'static str>,
}

/// A figure and how wide its interval is.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct WidestFigure {
    /// Case.
    pub case: String,
    /// Workload.
    pub workload: String,
    /// What is measured.
    pub measure: MeasureKind,
    /// Half the interval at `level_percent`, per cent of the figure; `None` around zero.
    pub half_width_percent: Option<f64>,
}

/// A figure that has no interval.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LeftOut {
    /// Case.
    pub case: String,
    /// Workload.
    pub workload: String,
    /// What is measured.
    pub measure: MeasureKind,
    /// Why.
    pub why: String,
}
