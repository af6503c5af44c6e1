//! What a recording says of the work on a site, and the workload that stands for it.

use serde::Serialize;

/// A recording, its busiest stretch, and what of it is known.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Derived {
    /// Name of the file.
    pub file: String,
    /// `block trace` or `statistics`.
    #[serde(rename = "recording")]
    pub kind: &'static str,
    /// Rows of the file.
    pub rows: u64,
    /// The whole recording.
    pub whole: Work,
    /// The stretch that is modelled.
    pub busiest: Work,
    /// Where that starts, seconds from the start of the recording.
    pub busiest_from_s: f64,
    /// How bursty the stretch is, by time scale; empty where the recording cannot show it.
    pub dispersion: Vec<Dispersion>,
    /// Standard deviation ÷ mean of the gaps between I/Os.
    pub gap_variation: Option<f64>,
    /// Busiest window of 100 ms ÷ mean.
    pub peak_to_mean_100ms: Option<f64>,
    /// Busiest sample ÷ mean of the whole recording (statistics).
    pub peak_to_mean_sample: Option<f64>,
    /// Length of a sample (statistics), where it is known: nothing within it is.
    pub sample_s: Option<f64>,
    /// Steps of the clock of a trace, seconds, where they are longer than the gaps: nothing within them is known.
    pub clock_s: Option<f64>,
    /// I/Os outstanding on the mean, by Little's law; `None`: the recording does not say.
    pub depth: Option<f64>,
    /// Rows of the stretch that do not say what was outstanding, and all its rows.
    pub rows_without_depth: (u64, u64),
    /// Most I/Os outstanding at once (a trace with latencies).
    pub depth_most: Option<u64>,
    /// When I/Os arrive in the workload that stands for it.
    pub arrivals: DerivedArrivals,
    /// What could be said of it, in sentences.
    pub notes: Vec<String>,
    /// The `[[workload]]` table.
    pub toml: String,
}

/// Figures of a stretch.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Work {
    /// Length; `None`: one sample alone does not say how long it is.
    pub span_s: Option<f64>,
    /// I/Os; of statistics, rate × time, where that is known.
    pub ios: Option<f64>,
    /// I/Os a second.
    pub iops: f64,
    /// 10^6 bytes a second.
    pub mb_s: f64,
    /// Share of reads among the I/Os.
    pub read_share: f64,
    /// Share of reads among the bytes.
    pub read_byte_share: f64,
    /// Mean size; `None` where there was no such I/O.
    pub size_bytes: Option<f64>,
    /// Of reads.
    pub read_size_bytes: Option<f64>,
    /// Of writes.
    pub write_size_bytes: Option<f64>,
    /// Sizes and their shares among the reads, most frequent first; one mean size of statistics.
    pub read_sizes: Vec<(u64, f64)>,
    /// The same of writes.
    pub write_sizes: Vec<(u64, f64)>,
}

/// Variance ÷ mean of the I/Os in windows of one length: 1 is Poisson.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Dispersion {
    /// Length of the windows.
    pub window_s: f64,
    /// Of the recording; `None` with fewer than ten windows.
    pub recorded: Option<f64>,
    /// Of the arrivals that stand for it, by their law; of a replay as recorded.
    pub modelled: Option<f64>,
}

/// How long bursts last, and the times between them.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum DerivedLaw {
    /// Exponential times.
    Exponential,
    /// Always as long.
    Fixed,
}

/// When I/Os arrive.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum DerivedArrivals {
    /// Independent gaps.
    Poisson,
    /// Even gaps.
    Paced {
        /// I/Os a second.
        iops: f64,
    },
    /// A Poisson stream whose rate alternates between two values.
    Bursty {
        /// I/Os a second in a burst.
        peak: f64,
        /// Between bursts.
        base: f64,
        /// Mean length of a burst.
        burst_s: f64,
        /// Mean time from burst to burst.
        every_s: f64,
        /// Law of both times.
        law: DerivedLaw,
    },
    /// The recording itself.
    Replay,
}
