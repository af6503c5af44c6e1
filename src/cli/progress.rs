//! How far a command is, on the standard error: a bar on a terminal, else a line at each stage and every ten seconds.

use super::{console, stop};
use crate::render::number::three;
use crate::study::Progress;
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use std::io::IsTerminal;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Mutex, PoisonError};
use std::time::{Duration, Instant};

/// Without a terminal a line is written so often while nothing else is to be said.
const EVERY: Duration = Duration::from_secs(10);
/// A new stage is told at once, but not more often than this: short runs need no lines.
const BETWEEN: Duration = Duration::from_secs(2);

/// The bar or the lines, or nothing when quiet was asked for.
#[derive(Debug)]
pub(super) struct Bar {
    bar: ProgressBar,
    planned: AtomicU64,
    done: AtomicU64,
    events: AtomicU64,
    /// What is being done, where how much of it there is to do is not known beforehand.
    stage: Mutex<Option<String>>,
    started: Instant,
    lines: Option<Pace>,
}

impl Bar {
    pub(super) fn new(quiet: bool) -> Self {
        let terminal = std::io::stderr().is_terminal();
        let bar = ProgressBar::new(0);
        if quiet || !terminal {
            bar.set_draw_target(ProgressDrawTarget::hidden());
        }
        if let Ok(style) = ProgressStyle::with_template("{bar:30} {msg}") {
            bar.set_style(style);
        }
        bar.enable_steady_tick(Duration::from_millis(200));
        Self {
            bar,
            planned: AtomicU64::new(0),
            done: AtomicU64::new(0),
            events: AtomicU64::new(0),
            stage: Mutex::new(None),
            started: Instant::now(),
            lines: (!quiet && !terminal).then(Pace::default),
        }
    }

    pub(super) fn finish(&self) {
        self.bar.finish_and_clear();
    }

    fn say(&self, least: Duration) {
        let elapsed = self.started.elapsed();
        let text = || {
            let stage = self.stage.lock().unwrap_or_else(PoisonError::into_inner);
            words(
                stage.as_deref(),
                self.done.load(Ordering::Relaxed),
                self.planned.load(Ordering::Relaxed),
                self.events.load(Ordering::Relaxed),
                elapsed,
            )
        };
        match &self.lines {
            Some(pace) if pace.due(elapsed, least) => console::complain(&text()),
            Some(_) => {}
            None => self.bar.set_message(text()),
        }
    }
}

impl Progress for Bar {
    fn planned(&self, runs: u64) {
        let all = self.planned.fetch_add(runs, Ordering::Relaxed) + runs;
        self.bar.set_length(all);
    }

    fn advanced(&self, events: u64) {
        self.events.fetch_add(events, Ordering::Relaxed);
        self.say(EVERY);
    }

    fn run_done(&self) {
        self.done.fetch_add(1, Ordering::Relaxed);
        self.bar.inc(1);
        self.say(EVERY);
    }

    fn stage(&self, what: &str) {
        *self.stage.lock().unwrap_or_else(PoisonError::into_inner) = Some(what.to_owned());
        self.say(BETWEEN);
    }

    fn stopped(&self) -> bool {
        stop::asked()
    }
}

/// When the last line was written, milliseconds after the start.
#[derive(Debug, Default)]
struct Pace(AtomicU64);

impl Pace {
    /// Whether a line is due so long after the start; one thread alone is told yes.
    fn due(&self, elapsed: Duration, least: Duration) -> bool {
        let now = u64::try_from(elapsed.as_millis()).unwrap_or(u64::MAX);
        let last = self.0.load(Ordering::Relaxed);
        let enough = u128::from(now.saturating_sub(last)) >= least.as_millis();
        enough
            && self
                .0
                .compare_exchange(last, now, Ordering::Relaxed, Ordering::Relaxed)
                .is_ok()
    }
}

/// `12 of 40 runs, 5.1 million events/s, 40 s left`; with a stage the remaining time is not known, and is not given.
#[allow(clippy::cast_precision_loss)]
fn words(stage: Option<&str>, done: u64, planned: u64, events: u64, elapsed: Duration) -> String {
    let seconds = elapsed.as_secs_f64().max(1e-3);
    let rate = format!("{} million events/s", three(events as f64 / seconds / 1e6));
    if let Some(stage) = stage {
        let open = planned.saturating_sub(done);
        return format!("{stage}: {done} runs done, {open} under way, {rate}");
    }
    // Before the first run is over nothing is known of the time that the others take.
    let left = match (done, planned.saturating_sub(done)) {
        (0, _) => String::new(),
        (_, 0) => ", nearly done".to_owned(),
        (done, open) => format!(", {} left", time(seconds * open as f64 / done as f64)),
    };
    format!("{done} of {planned} runs, {rate}{left}")
}

/// `40 s`, `3 min`, `2 h`: rounded up, as nothing takes no time.
fn time(seconds: f64) -> String {
    match seconds {
        s if s <= 99.0 => format!("{:.0} s", s.ceil().max(1.0)),
        s if s <= 5940.0 => format!("{:.0} min", (s / 60.0).ceil()),
        s => format!("{:.0} h", (s / 3600.0).ceil()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_time_left_is_told_once_a_run_is_over_and_never_nothing() {
        let after = |done, seconds| {
            words(None, done, 40, 30_000_000, Duration::from_secs(seconds)).replace('\u{202F}', " ")
        };
        assert_eq!(after(0, 10), "0 of 40 runs, 3.00 million events/s");
        assert_eq!(
            after(10, 10),
            "10 of 40 runs, 3.00 million events/s, 30 s left"
        );
        assert_eq!(
            after(39, 1),
            "39 of 40 runs, 30.0 million events/s, 1 s left"
        );
        assert_eq!(
            after(40, 10),
            "40 of 40 runs, 3.00 million events/s, nearly done"
        );
        assert_eq!(
            (time(100.0), time(7300.0)),
            ("2 min".to_owned(), "3 h".to_owned())
        );
    }

    #[test]
    fn a_search_names_its_stage_and_no_time() {
        let said = words(Some("proof"), 12, 20, 24_000_000, Duration::from_secs(8));
        assert_eq!(
            said,
            "proof: 12 runs done, 8 under way, 3.00 million events/s"
        );
    }

    #[test]
    fn lines_keep_their_distance() {
        let pace = Pace::default();
        let at = |seconds, least| pace.due(Duration::from_secs(seconds), least);
        assert!(!at(1, BETWEEN) && !at(9, EVERY));
        assert!(at(10, EVERY));
        assert!(!at(19, EVERY) && !at(11, BETWEEN));
        assert!(at(12, BETWEEN) && !at(21, EVERY) && at(22, EVERY));
    }
}
