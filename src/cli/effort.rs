//! What a command took: time, processor time, cores in use, and frame-hops a second, as one line for the standard error.
//!
//! Left out: processor time on systems that do not tell it; there the line has the time alone.

use crate::render::number::{about, three};
use std::time::Instant;

/// What was there when it began.
#[derive(Debug)]
pub(super) struct Effort {
    began: Instant,
    processor_s: Option<f64>,
}

impl Effort {
    pub(super) fn begin() -> Self {
        Self {
            began: Instant::now(),
            processor_s: processor_s(),
        }
    }

    /// `93.1 s; 181 s of processor time, 1.94 cores in use`.
    pub(super) fn time_words(&self) -> String {
        let seconds = self.began.elapsed().as_secs_f64().max(1e-3);
        let processor = self.processor_s.zip(processor_s());
        time(seconds, processor.map(|(from, to)| to - from))
    }

    /// `24 points in 38.2 s; 74.1 s of processor time, 1.94 cores in use; 412 million frame-hops, 10.8 million a second`.
    pub(super) fn words(&self, what: &str, hops: u64) -> String {
        let seconds = self.began.elapsed().as_secs_f64().max(1e-3);
        let processor = self.processor_s.zip(processor_s());
        line(what, seconds, processor.map(|(from, to)| to - from), hops)
    }
}

#[allow(
    clippy::cast_precision_loss,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss
)]
fn line(what: &str, seconds: f64, processor: Option<f64>, hops: u64) -> String {
    let rate = (hops as f64 / seconds).round() as u64;
    format!(
        "{what} in {}; {} frame-hops, {} a second",
        time(seconds, processor),
        about(hops),
        about(rate)
    )
}

fn time(seconds: f64, processor: Option<f64>) -> String {
    let processor = processor.map_or_else(String::new, |used| {
        format!(
            "; {} s of processor time, {} cores in use",
            three(used),
            three(used / seconds)
        )
    });
    format!("{} s{processor}", three(seconds))
}

/// Time that all threads of this program have had a processor so far, seconds; `None` where the system does not tell.
fn processor_s() -> Option<f64> {
    #[cfg(unix)]
    {
        let time = rustix::time::clock_gettime(rustix::time::ClockId::ProcessCPUTime);
        #[allow(clippy::cast_precision_loss)]
        Some(time.tv_sec as f64 + time.tv_nsec as f64 / 1e9)
    }
    #[cfg(not(unix))]
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_line_divides_by_the_time_that_passed() {
        assert_eq!(
            line("24 points", 4.0, Some(7.5), 8000).replace('\u{202F}', " "),
            "24 points in 4.00 s; 7.50 s of processor time, 1.88 cores in use; 8 000 frame-hops, 2 000 a second"
        );
        assert!(!line("one point", 4.0, None, 0).contains("cores"));
    }

    #[cfg(unix)]
    #[test]
    fn work_takes_processor_time() {
        let before = processor_s().expect("the system tells");
        while processor_s().expect("it still does") <= before {
            std::hint::black_box((0..1000_u64).sum::<u64>());
        }
    }
}
