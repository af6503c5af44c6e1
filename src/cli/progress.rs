//! A progress bar on the standard error: runs, events per second, remaining time.

use crate::study::Progress;
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use std::io::IsTerminal;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::{Duration, Instant};

/// The bar, or nothing when the standard error is no terminal or quiet was asked for.
#[derive(Debug)]
pub(super) struct Bar {
    bar: ProgressBar,
    planned: AtomicU64,
    events: AtomicU64,
    started: Instant,
}

impl Bar {
    pub(super) fn new(quiet: bool) -> Self {
        let bar = ProgressBar::new(0);
        if quiet || !std::io::stderr().is_terminal() {
            bar.set_draw_target(ProgressDrawTarget::hidden());
        }
        let style = ProgressStyle::with_template("{bar:30} {pos} of {len} runs, {msg}, {eta} left");
        if let Ok(style) = style {
            bar.set_style(style);
        }
        bar.enable_steady_tick(Duration::from_millis(200));
        Self {
            bar,
            planned: AtomicU64::new(0),
            events: AtomicU64::new(0),
            started: Instant::now(),
        }
    }

    pub(super) fn finish(&self) {
        self.bar.finish_and_clear();
    }
}

impl Progress for Bar {
    fn planned(&self, runs: u64) {
        let all = self.planned.fetch_add(runs, Ordering::Relaxed) + runs;
        self.bar.set_length(all);
    }

    #[allow(clippy::cast_precision_loss)]
    fn advanced(&self, events: u64) {
        let all = self.events.fetch_add(events, Ordering::Relaxed) + events;
        let seconds = self.started.elapsed().as_secs_f64().max(1e-3);
        self.bar.set_message(format!(
            "{:.1} million events/s",
            all as f64 / seconds / 1e6
        ));
    }

    fn run_done(&self) {
        self.bar.inc(1);
    }
}
