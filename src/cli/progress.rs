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
    /// About so many runs beyond those planned.
    ahead: AtomicU64,
    done: AtomicU64,
    events: AtomicU64,
    /// The share that the bar shows, of [`WHOLE`]: it never falls, though more runs are planned on the way.
    share: AtomicU64,
    /// How far a long switch-over is, and how far its timers go, seconds; 0 where none is under way.
    reached: AtomicU64,
    about: AtomicU64,
    /// What is being done, where how much of it there is to do is not known beforehand.
    stage: Mutex<Option<String>>,
    started: Instant,
    lines: Option<Pace>,
}

impl Bar {
    pub(super) fn new(quiet: bool) -> Self {
        let terminal = std::io::stderr().is_terminal();
        let bar = ProgressBar::new(WHOLE);
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
            ahead: AtomicU64::new(0),
            done: AtomicU64::new(0),
            events: AtomicU64::new(0),
            share: AtomicU64::new(0),
            reached: AtomicU64::new(0),
            about: AtomicU64::new(0),
            stage: Mutex::new(None),
            started: Instant::now(),
            lines: (!quiet && !terminal).then(Pace::default),
        }
    }

    pub(super) fn finish(&self) {
        self.bar.finish_and_clear();
    }

    /// Moves the bar, forwards alone.
    fn advance(&self) {
        let share = share(
            self.done.load(Ordering::Relaxed),
            self.planned.load(Ordering::Relaxed),
            self.ahead.load(Ordering::Relaxed),
        );
        let before = self.share.fetch_max(share, Ordering::Relaxed);
        self.bar.set_position(before.max(share));
    }

    fn say(&self, least: Duration) {
        let elapsed = self.started.elapsed();
        let text = || {
            let stage = self.stage.lock().unwrap_or_else(PoisonError::into_inner);
            let said = words(
                stage.as_deref(),
                self.done.load(Ordering::Relaxed),
                self.planned.load(Ordering::Relaxed),
                self.ahead.load(Ordering::Relaxed),
                self.events.load(Ordering::Relaxed),
                elapsed,
            );
            with_switch_over(
                said,
                self.reached.load(Ordering::Relaxed),
                self.about.load(Ordering::Relaxed),
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
        self.planned.fetch_add(runs, Ordering::Relaxed);
    }

    fn ahead(&self, runs: u64) {
        self.ahead.store(runs, Ordering::Relaxed);
    }

    fn advanced(&self, events: u64) {
        self.events.fetch_add(events, Ordering::Relaxed);
        self.say(EVERY);
    }

    fn reached(&self, second: u64, about: u64) {
        if about >= LONG {
            self.reached.store(second, Ordering::Relaxed);
            self.about.store(about, Ordering::Relaxed);
        }
    }

    fn run_done(&self) {
        self.done.fetch_add(1, Ordering::Relaxed);
        self.about.store(0, Ordering::Relaxed);
        self.advance();
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

/// The whole of the bar.
const WHOLE: u64 = 10_000;

/// How much of the bar is done.
fn share(done: u64, planned: u64, ahead: u64) -> u64 {
    let all = planned.max(done).saturating_add(ahead).max(1);
    let share = u128::from(WHOLE) * u128::from(done) / u128::from(all);
    u64::try_from(share).unwrap_or(WHOLE)
}

/// `12 of 40 runs, 5.1 million events/s, 40 s left`; with a stage it is known about how many runs are to come, and so is the time.
#[allow(clippy::cast_precision_loss)]
fn words(
    stage: Option<&str>,
    done: u64,
    planned: u64,
    ahead: u64,
    events: u64,
    elapsed: Duration,
) -> String {
    let seconds = elapsed.as_secs_f64().max(1e-3);
    let rate = format!("{} million events/s", three(events as f64 / seconds / 1e6));
    if let Some(stage) = stage {
        let open = planned.saturating_sub(done);
        let left = match (done, open + ahead) {
            (0, _) | (_, 0) => String::new(),
            (done, more) => {
                let seconds = seconds * more as f64 / done as f64;
                format!(", about {} left", time(seconds))
            }
        };
        let under_way = match open {
            0 => String::new(),
            open => format!(", {open} under way"),
        };
        return format!("{stage}: {done} runs done{under_way}, {rate}{left}");
    }
    // Before the first run is over nothing is known of the time that the others take.
    let left = match (done, planned.saturating_sub(done)) {
        (0, _) => String::new(),
        (_, 0) => ", nearly done".to_owned(),
        (done, open) => format!(", {} left", time(seconds * open as f64 / done as f64)),
    };
    format!("{done} of {planned} runs, {rate}{left}")
}

/// A switch-over whose timers take so many seconds is told how far it is: it takes far longer than other runs, so that the time
/// which those took says nothing of what is left.
const LONG: u64 = 10;

/// The words with how far a long switch-over is, instead of a time that is left.
fn with_switch_over(said: String, reached: u64, about: u64) -> String {
    if about == 0 {
        return said;
    }
    let without = match said.rfind(", ") {
        Some(comma) if said.ends_with(" left") => &said[..comma],
        _ => &said,
    };
    if reached > about {
        format!("{without}, a switch-over at {reached} s, its timers over after about {about} s")
    } else {
        format!("{without}, a switch-over at {reached} of about {about} s")
    }
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
            words(None, done, 40, 0, 30_000_000, Duration::from_secs(seconds))
                .replace('\u{202F}', " ")
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
    fn a_search_names_its_stage_and_about_how_long_it_takes() {
        let after = |done, ahead| {
            let seconds = Duration::from_secs(8);
            words(Some("proof"), done, 20, ahead, 24_000_000, seconds).replace('\u{202F}', " ")
        };
        let said = "proof: 12 runs done, 8 under way, 3.00 million events/s";
        // 8 s for 12 runs: 28 more take 18.7 s.
        assert_eq!(after(12, 20), format!("{said}, about 19 s left"));
        assert!(after(12, 0).ends_with(", about 6 s left"));
        // Nothing is known before the first run is over, and nothing is left after the last.
        assert!(!after(0, 20).contains("left") && !after(20, 0).contains("left"));
    }

    #[test]
    fn the_bar_never_runs_backwards() {
        let bar = Bar::new(true);
        let position = || bar.bar.position();
        bar.planned(10);
        (0..10).for_each(|_| bar.run_done());
        let first = position();
        assert_eq!(first, WHOLE);
        // More is planned than was known of: it stays where it is until that is done too.
        bar.planned(30);
        bar.run_done();
        assert_eq!(position(), first);
        let other = Bar::new(true);
        other.ahead(30);
        other.planned(10);
        (0..10).for_each(|_| other.run_done());
        assert_eq!(other.bar.position(), WHOLE / 4);
        other.planned(20);
        other.ahead(70);
        other.run_done();
        assert_eq!(other.bar.position(), WHOLE / 4);
        other.ahead(0);
        (0..19).for_each(|_| other.run_done());
        assert_eq!(other.bar.position(), WHOLE);
    }

    #[test]
    fn a_long_switch_over_tells_how_far_it_is_instead_of_a_time() {
        let said = || "4 of 6 runs, 6.71 million events/s, 21 s left".to_owned();
        assert_eq!(with_switch_over(said(), 7, 0), said());
        assert_eq!(
            with_switch_over(said(), 62, 140),
            "4 of 6 runs, 6.71 million events/s, a switch-over at 62 of about 140 s"
        );
        let late = with_switch_over("0 of 6 runs".to_owned(), 150, 140);
        assert_eq!(
            late,
            "0 of 6 runs, a switch-over at 150 s, its timers over after about 140 s"
        );
        let bar = Bar::new(true);
        bar.reached(3, 9);
        assert_eq!(bar.about.load(Ordering::Relaxed), 0);
        bar.reached(3, 10);
        assert_eq!(bar.about.load(Ordering::Relaxed), 10);
        bar.run_done();
        assert_eq!(bar.about.load(Ordering::Relaxed), 0);
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
