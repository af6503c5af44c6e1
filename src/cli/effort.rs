//! What a command took: time, processor time, cores in use, and frame-hops a second, as one line for the standard error.
//!
//! Left out: processor time on systems that do not tell it as files; there the line has the time alone.

use crate::render::number::{about, three};
use std::time::Instant;

/// Ticks a second of the times in `/proc/self/stat`: `USER_HZ`, 100 on every Linux that programs see (proc(5)).
const TICKS: f64 = 100.0;

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
    let processor = processor.map_or_else(String::new, |used| {
        format!(
            "; {} s of processor time, {} cores in use",
            three(used),
            three(used / seconds)
        )
    });
    let rate = (hops as f64 / seconds).round() as u64;
    format!(
        "{what} in {} s{processor}; {} frame-hops, {} a second",
        three(seconds),
        about(hops),
        about(rate)
    )
}

/// Time that all threads of this program have had a processor so far, seconds.
fn processor_s() -> Option<f64> {
    ticks(&std::fs::read_to_string("/proc/self/stat").ok()?)
}

/// User and system time in a line of `/proc/PID/stat`: the 14th and 15th field (proc(5)); the name, the second field, may
/// hold blanks and ends with the last bracket.
fn ticks(stat: &str) -> Option<f64> {
    let after = stat.rsplit_once(')')?.1;
    let mut fields = after.split_whitespace().skip(11);
    let mut next = || fields.next()?.parse::<f64>().ok();
    Some((next()? + next()?) / TICKS)
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

    #[test]
    fn times_are_found_behind_a_name_with_blanks_and_brackets() {
        let stat = "7 (a ) b) S 1 7 7 0 -1 4194560 10 0 0 0 250 50 9 9 20 0 1 0 5 0 0";
        assert_eq!(ticks(stat), Some(3.0));
        assert_eq!(ticks("7 (x) S 1"), None);
        assert_eq!(ticks(""), None);
    }
}
