//! Recording and statistics: what is counted while a run goes on, and what is said about it afterwards.
//!
//! Recording ([`Histogram`], [`Series`], [`TimeAverage`], [`LevelSeries`]) costs constant time and allocates
//! nothing after construction. Statistics (intervals, verdicts, warm-up, settling, saturation) read plain
//! slices of numbers, one number a replication or one a bin.
//!
//! Left out: what the numbers are about. Nothing here knows a host, a link or a fabric; times are
//! picoseconds where a type says so and otherwise whatever unit the caller put in.

mod binomial;
mod clumps;
mod histogram;
mod interval;
mod pooled;
mod saturation;
mod sequential;
mod series;
mod settle;
mod verdict;
mod warm_up;

pub use clumps::{Clumps, clump_size};
pub use histogram::{Histogram, RELATIVE_ERROR, rank};
pub use interval::{Estimate, mean_interval, paired_difference, quantile_interval, t_quantile};
pub use pooled::pooled;
pub use saturation::{Growth, backlog_grows, backlog_growth};
pub use sequential::{Decision, FIRST_LOOK, Looks, level, next_look, relative_half_width};
pub use series::{
    BINS, Cell, FINEST_BIN, LevelCell, LevelSeries, PEAK_WINDOW, Peak, Series, Sum, TimeAverage,
    add_interval,
};
pub use settle::{Joined, band, band_of_few, settled};
pub use verdict::{
    Judgement, Trust, VERDICT_CONFIDENCE, Verdict, judge_at_least, judge_at_least_with,
    judge_at_most, judge_at_most_with, judge_counted_at_least, judge_every, judge_fraction,
    judge_fraction_at,
};
pub use warm_up::{BATCH, mser5};
