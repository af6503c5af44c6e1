//! Measured port counters beside simulated ones.

use super::{Case, Origin};
use serde::Serialize;

/// The whole comparison, the largest difference first.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Measured {
    /// How to repeat the simulation.
    pub origin: Origin,
    /// The state that was simulated.
    pub case: Case,
    /// A limit stopped a run: what is simulated is of the time simulated by then.
    pub partial: bool,
    /// Name of the file of counters.
    pub file: String,
    /// One for each part and direction, ranked by how far the ratio is from 1, either way: that of bytes or that of frames, whichever is farther.
    pub rows: Vec<MeasuredRow>,
    /// What was left out or taken for granted.
    pub notes: Vec<String>,
}

/// One part in one direction.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct MeasuredRow {
    /// As the file names it.
    pub part: String,
    /// True from hosts towards arrays.
    pub toward_array: bool,
    /// Links that it means.
    pub links: u32,
    /// Time between first and last reading, less what was left out.
    pub span_s: f64,
    /// Measured, 10^6 bytes a second; `None` when not counted.
    pub measured_mb_s: Option<f64>,
    /// Simulated, 10^6 bytes a second, counted as devices do.
    pub simulated_mb_s: f64,
    /// Lower end of its 95 % interval over the replications; `None` where there is none.
    pub simulated_low_mb_s: Option<f64>,
    /// Upper end.
    pub simulated_high_mb_s: Option<f64>,
    /// Measured ÷ simulated; `None` when nothing was simulated there, or no bytes were counted.
    pub ratio: Option<f64>,
    /// The ratio to the upper end of what is simulated.
    pub ratio_low: Option<f64>,
    /// The ratio to the lower end; `None` where that is nothing.
    pub ratio_high: Option<f64>,
    /// Measured frames a second; `None` when not counted.
    pub measured_frames_s: Option<f64>,
    /// Simulated frames a second.
    pub simulated_frames_s: f64,
    /// Measured ÷ simulated frames.
    pub frames_ratio: Option<f64>,
    /// Times a counter went back, and the stretch was left out.
    pub resets: u32,
}

impl MeasuredRow {
    /// How far the ratio of bytes is from 1, either way: the size of its logarithm, without bound where one of both is nothing. `None`
    /// where none were counted.
    #[must_use]
    pub fn bytes_apart(&self) -> Option<f64> {
        Some(apart(self.ratio, self.measured_mb_s?))
    }

    /// The same of frames.
    #[must_use]
    pub fn frames_apart(&self) -> Option<f64> {
        Some(apart(self.frames_ratio, self.measured_frames_s?))
    }

    /// The farther of both.
    #[must_use]
    pub fn apart(&self) -> f64 {
        let both = self.bytes_apart().into_iter().chain(self.frames_apart());
        both.fold(0.0, f64::max)
    }
}

fn apart(ratio: Option<f64>, measured: f64) -> f64 {
    match ratio {
        Some(ratio) if ratio > 0.0 => libm::log(ratio).abs(),
        Some(_) => f64::INFINITY,
        None if measured > 0.0 => f64::INFINITY,
        None => 0.0,
    }
}
