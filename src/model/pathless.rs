//! Sets of paths of which none is in good standing: what waits for one, and for how long.
//!
//! With `no_path = { retry = n }` time is counted for the whole set, a host's multipath device: from when its last path
//! is given up, whether or not anything waits then. Once that is n path checks ago all that waits fails, and what
//! comes later fails at once, until a path is in good standing again; the next time without one is counted anew
//! (manual page of the usual open-source multipath tools).
//!
//! By protocol, all but NVMe fail at once; NVMe waits as long as one of its controllers is still tried: what waits fails when the last of them has
//! been lost for `controller_loss` (source of the usual open-source kernel, NVMe multipath: I/Os are queued again while
//! a controller is live, resetting or connecting, and fail when none is).
//!
//! A host that was lost itself has had none since its return.
//!
//! A set that has no path from the beginning of a run on has been without one for long.
//!
//! Left out: the phase of the checks. The time ends n whole intervals after the last path was given up.

use super::attempt::tie;
use super::compile::SetPlan;
use super::notice::tried_again_by;
use super::standing::{Standing, TimerName};
use super::world::{Event, Executor, World};
use crate::engine::{EventSet, Key};
use crate::site::NoPath;
use crate::unit::{Duration, Instant};

/// What a set of paths is about while it has none.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Pathless {
    /// Since when it has had none; `None` while it has one.
    since: Option<Instant>,
    /// Whether it has had none from the beginning on.
    always: bool,
    /// It will be looked at again.
    pending: bool,
}

impl Pathless {
    pub(crate) const WITH_PATHS: Self = Self {
        since: None,
        always: false,
        pending: false,
    };
}

/// From check to check: never no time, or a host would look for ever in one instant.
fn interval(plan: &SetPlan) -> Duration {
    plan.timers.path_check.max(Duration::from_us(1))
}

/// How long a set without a path holds what waits.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Patience {
    /// So long after its last path was given up.
    For(Duration),
    /// As long as one of its paths is still tried.
    WhileTried,
    /// Until a path returns.
    Endless,
}

fn patience(plan: &SetPlan) -> Patience {
    match plan.timers.no_path {
        NoPath::ByProtocol if plan.protocol.is_nvme() => Patience::WhileTried,
        NoPath::ByProtocol | NoPath::Fail => Patience::For(Duration::ZERO),
        NoPath::Retry(checks) => {
            Patience::For(Duration(interval(plan).0.saturating_mul(checks.into())))
        }
        NoPath::Queue => Patience::Endless,
    }
}

impl<E: Executor> World<'_, E> {
    /// Sets that have no path when the run begins.
    pub(super) fn start_pathless(&mut self) {
        for set in 0..self.compiled.sets.len() {
            if !self.has_path(set) {
                let pathless = &mut self.pathless[set];
                pathless.since = Some(self.now);
                pathless.always = true;
            }
        }
    }

    /// Whether a set has a path that takes I/Os, or would if there were no other.
    fn has_path(&self, set: usize) -> bool {
        let mut paths = self.compiled.sets[set].paths.clone();
        paths.any(|path| {
            let state = &self.paths[path as usize];
            state.takes_ios() || state.is_in_reserve()
        })
    }

    /// Whether a host knows a path of a set that carries frames.
    pub(super) fn has_found_a_path(&self, set: usize) -> bool {
        let mut paths = self.compiled.sets[set].paths.clone();
        paths.any(|path| {
            let state = &self.paths[path as usize];
            state.connected && (state.takes_ios() || state.is_in_reserve())
        })
    }

    /// Whether a path of a set may come back by itself: it is given up for now, not for good.
    fn is_tried(&self, set: usize) -> bool {
        let mut paths = self.compiled.sets[set].paths.clone();
        paths.any(|path| {
            let standing = self.paths[path as usize].standing;
            !matches!(standing, Standing::Removed | Standing::Drained)
        })
    }

    /// A path has changed its standing: its set may have lost its last one, or have one again.
    pub(super) fn look_at_set(&mut self, path: u32) {
        let set = self.compiled.paths[path as usize].set as usize;
        let has_path = self.has_path(set);
        let pathless = &mut self.pathless[set];
        if has_path {
            pathless.since = None;
            pathless.always = false;
            return;
        }
        pathless.since.get_or_insert(self.now);
        let waits = patience(&self.compiled.sets[set]) == Patience::WhileTried;
        if waits && !self.is_tried(set) {
            // What waits fails now, not when it would be looked at next.
            self.look_at_pathless(self.compiled.paths[path as usize].set, Instant::ZERO);
        }
    }

    /// A host that is back counts from now on, not from when it was lost.
    pub(super) fn pathless_from_now(&mut self, host: usize) {
        for set in 0..self.compiled.sets.len() {
            if self.compiled.sets[set].host == host && !self.has_path(set) {
                self.pathless[set].since = Some(self.now);
                self.pathless[set].always = false;
            }
        }
    }

    /// Whether I/Os for which there is no path fail at once.
    pub(super) fn fails_at_once(&self, set: u32) -> bool {
        let plan = &self.compiled.sets[set as usize];
        let state = self.pathless[set as usize];
        match patience(plan) {
            Patience::For(patience) => {
                state.always || state.since.is_none_or(|since| self.now >= since + patience)
            }
            Patience::WhileTried => state.always || !self.is_tried(set as usize),
            Patience::Endless => false,
        }
    }

    /// I/Os wait without any path: look again when their time is over, or after a check where it never is.
    pub(super) fn plan_pathless(&mut self, set: u32) {
        let plan = &self.compiled.sets[set as usize];
        let state = &mut self.pathless[set as usize];
        if state.pending {
            return;
        }
        state.pending = true;
        let due = match (patience(plan), state.since) {
            (Patience::For(patience), Some(since)) => since + patience,
            _ => self.now + interval(plan),
        };
        self.look_at_pathless(set, due);
    }

    /// A set without a path is looked at then, but not before the next instant.
    fn look_at_pathless(&mut self, set: u32, due: Instant) {
        let plan = &self.compiled.sets[set as usize];
        let host = u32::try_from(plan.host).unwrap_or(0);
        let key = Key {
            at: due.max(self.now + Duration(1)),
            tie: tie::timer(host, set, tie::Watching::NoPath),
        };
        self.queue.push(key, Event::Pathless { set });
    }

    /// A set is looked at again.
    pub(crate) fn pathless(&mut self, set: u32) {
        self.pathless[set as usize].pending = false;
        let plan = &self.compiled.sets[set as usize];
        let over = self.pathless[set as usize].since.is_some() && self.fails_at_once(set);
        if over {
            let timer = match patience(plan) {
                Patience::WhileTried => {
                    // As in the line of the path that was given up last: so long in whole tries.
                    let (_, every) = tried_again_by(&plan.protocol, &plan.timers);
                    let tries = plan
                        .timers
                        .controller_loss
                        .0
                        .div_ceil(every.0.max(1))
                        .max(1);
                    let tried = Duration(every.0.saturating_mul(tries));
                    (TimerName::ControllerLoss, tried)
                }
                Patience::For(patience) => (TimerName::NoPath, patience),
                Patience::Endless => (TimerName::NoPath, Duration::ZERO),
            };
            for source in &plan.sources {
                let mut waiting = std::mem::take(&mut self.sources[*source as usize].waiting);
                for io in waiting.drain(..) {
                    self.fail_io(io, Some(timer));
                }
                // A closed loop whose I/O fails brings the next one later: nothing has come meanwhile.
                self.sources[*source as usize].waiting = waiting;
            }
        }
        self.dispatch(set);
    }
}
