//! How a study tells whoever waits how far it is.

use std::sync::atomic::{AtomicU64, Ordering};

/// Told by the threads that run; must be quick.
pub trait Progress: Sync {
    /// So many more runs are to come.
    fn planned(&self, runs: u64);
    /// A run has handled so many more events.
    fn advanced(&self, events: u64);
    /// A run is over.
    fn run_done(&self);
    /// What is done from here on, in a few words; how many runs it will take in all is then known about, if at all.
    fn stage(&self, _what: &str) {}
    /// About so many runs are to come beyond those planned, as far as can be known now; 0 once there are no more.
    fn ahead(&self, _runs: u64) {}
    /// A switch-over under way has come to so many simulated seconds after its first event; its timers end after `about`.
    fn reached(&self, _second: u64, _about: u64) {}
    /// Whether whoever waits wants no more: what is under way ends early, and what is there so far counts.
    fn stopped(&self) -> bool {
        false
    }
}

/// Runs that are told of at once, before those who run them tell of each part: who waits then sees one total from the start, and
/// not one that grows while it is worked off.
pub(crate) struct Ahead<'a> {
    inner: &'a dyn Progress,
    told: AtomicU64,
}

impl<'a> Ahead<'a> {
    /// Tells of so many runs.
    pub(crate) fn new(inner: &'a dyn Progress, runs: u64) -> Self {
        inner.planned(runs);
        Self {
            inner,
            told: AtomicU64::new(runs),
        }
    }
}

impl Progress for Ahead<'_> {
    fn planned(&self, runs: u64) {
        let take = |told: u64| Some(told.saturating_sub(runs));
        let told = self
            .told
            .fetch_update(Ordering::Relaxed, Ordering::Relaxed, take);
        let more = runs.saturating_sub(told.unwrap_or(0));
        if more > 0 {
            self.inner.planned(more);
        }
    }
    fn advanced(&self, events: u64) {
        self.inner.advanced(events);
    }
    fn run_done(&self) {
        self.inner.run_done();
    }
    fn stage(&self, what: &str) {
        self.inner.stage(what);
    }
    fn ahead(&self, runs: u64) {
        self.inner.ahead(runs);
    }
    fn reached(&self, second: u64, about: u64) {
        self.inner.reached(second, about);
    }
    fn stopped(&self) -> bool {
        self.inner.stopped()
    }
}

/// Tells nobody.
#[derive(Clone, Copy, Debug, Default)]
pub struct NoProgress;

impl Progress for NoProgress {
    fn planned(&self, _runs: u64) {}
    fn advanced(&self, _events: u64) {}
    fn run_done(&self) {}
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;

    /// Notes every total that it is told.
    #[derive(Default)]
    pub(crate) struct Totals {
        all: AtomicU64,
        pub(crate) told: std::sync::Mutex<Vec<u64>>,
        pub(crate) done: AtomicU64,
    }

    impl Progress for Totals {
        fn planned(&self, runs: u64) {
            let all = self.all.fetch_add(runs, Ordering::Relaxed) + runs;
            self.told.lock().expect("nobody fails with it").push(all);
        }
        fn advanced(&self, _events: u64) {}
        fn run_done(&self) {
            self.done.fetch_add(1, Ordering::Relaxed);
        }
    }

    #[test]
    fn what_is_told_ahead_is_not_told_again() {
        let totals = Totals::default();
        let ahead = Ahead::new(&totals, 10);
        for runs in [4, 6, 3] {
            ahead.planned(runs);
        }
        assert_eq!(*totals.told.lock().unwrap(), [10, 13]);
    }
}
