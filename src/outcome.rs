//! What a study found: the result types, below `study`, which fills them, and `render`, which shows them.
//!
//! These types are the JSON contract (`"format": 1`): every field name ends with its unit, and a change
//! of meaning is a new format number. Numbers are plain `f64` in the unit named; counts are integers.
//! `_us` microseconds, `_ms` milliseconds, `_s` seconds, `_mb_s` 10^6 bytes per second, `_iops` I/Os per
//! second, `_percent` per cent, `_share` a fraction of 1.
//!
//! Left out: layout, rounding and wording, which are `render`'s.

mod compare;
mod derived;
mod each_part;
mod exchange;
mod growth;
mod headroom;
mod matrix;
mod measured;
mod picture;
mod precision;
mod report;
mod review;
mod steady;
mod sweep;
mod switch;
mod theory;
mod windows;

pub use compare::{
    Change, Comparison, DesignRow, Device, Difference, Inventory, Lack, PartDifference,
};
pub use derived::{Derived, DerivedArrivals, DerivedLaw, Dispersion, Work};
pub use each_part::{CutOff, EachPart, Fullest, PartCase, PartSwitch};
pub use exchange::{
    AccountRow, Exchange, FramesAlike, LayerRow, LinkRow, Message, Series, SizePoint, Sizes, Total,
    Way,
};
pub use growth::{GrowthPlan, Stage, StageCase, StageSearch, Standing};
pub use headroom::{
    Because, Bound, Breaks, CaseHeadroom, DepthLimit, Floor, Grows, Headroom, Hole, Hopeless,
    LoadPoint, LoadRow, LoadSwitch, LoopDepth, NoCrossing, PartLoad, Purpose, RankedBy,
    SwitchOvers,
};
pub use matrix::{Cell, LeftOpen, Matrix, MeasureKind, Row, Verdict};
pub use measured::{Measured, MeasuredRow};
pub use picture::{Lane, Picture, PictureNode, Pipe, PipeLoad, Shape};
pub use precision::{LeftOut, Precision, WidestFigure};
pub use report::{
    AssumptionRow, Case, ChangedPart, Changes, Growth, Mend, MendOrigin, MendSearch, Origin,
    PartUse, RefusedMend, Report, StallLeft, UseInCase,
};
pub use review::{
    ControllerRow, HostBusRow, PathHop, PathRow, PathSheet, Review, ReviewFinding, Severity,
    TierRow,
};
pub use steady::{
    ArrayFigures, BudgetPart, CurvePoint, DirectionFigures, Estimated, Filling, HostFigures,
    PathFigures, Population, QuantileFigure, Steady, SteadyBin, Unseen, UnseenBursts,
    WorkloadFigures,
};
pub use sweep::{SweepCase, SweepPoint};
pub use switch::{
    Begin, Harm, LaneSpan, NamedEvent, PathLane, PathReturn, Reference, StopCause, Switch,
    SwitchBin, SwitchWorkload, TimerStall, WorkStop,
};
pub use theory::{TheoryRow, Trust};
pub use windows::{HourRow, JudgedBy, OutageWindows, Tightest, Window, Windows, WorkShape};
