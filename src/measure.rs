//! Recording and statistics: what is counted while a run goes on, and what is said about it afterwards.
//!
//! Recording ([`Histogram`], [`Series`], [`TimeAverage`], [`LevelSeries`]) costs constant time and allocates
//! nothing after construction. Statistics (intervals, verdicts, warm-up, settling, saturation) read plain
//! slices of numbers, one number a replication or one a bin.
//!
//! Left out: what the numbers are about. Nothing here knows a host, a link or a fabric; times are
//! picoseconds where a type says so and otherwise whatever unit the caller put in.

mod histogram;
mod series;

pub use histogram::{Histogram, RELATIVE_ERROR, rank};
pub use series::{
    BINS, Cell, FINEST_BIN, LevelCell, LevelSeries, Peak, Series, Sum, TimeAverage, add_interval,
};
