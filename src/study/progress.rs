//! How a study tells whoever waits how far it is.

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
    /// Whether whoever waits wants no more: what is under way ends early, and what is there so far counts.
    fn stopped(&self) -> bool {
        false
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
