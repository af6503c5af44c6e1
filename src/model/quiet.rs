//! What scripted events leave of the paths, found without any work: timers alone decide.
//!
//! Left out: what only a command without an answer tells. A silent loss on Fibre Channel is then found by the checks of paths in
//! good standing, which may be later than a command timeout would be.

use super::absent::Elsewhere;
use super::compile::{Compiled, OutPath, Watch};
use super::fault::Script;
use super::world::{Executor, Limits, Stop, World};
use crate::site::Site;
use crate::unit::{Duration, Instant};

/// How much is simulated between two looks.
const STEP: Duration = Duration::from_ms(200);

/// What is there once events are over, and is not used as before until somebody sees to it.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct LeftOut {
    /// Paths that no host takes into use again by itself.
    pub out: Vec<OutPath>,
    /// Guests that stay away from their host.
    pub guests: Vec<Elsewhere>,
}

/// What these events leave out once they are over.
#[must_use]
pub fn left_out(site: &Site, scripts: &[Script]) -> LeftOut {
    let mut compiled = Compiled::new(site, &[]);
    compiled.silent = true;
    let hosts = scripts.iter().flat_map(|script| &script.hosts);
    // Guests belong to the work of a host.
    if !hosts.clone().any(|host| compiled.restarts(*host)) {
        compiled.sources.clear();
        for set in &mut compiled.sets {
            set.sources.clear();
        }
    }
    let watch = Watch {
        from: Instant::ZERO,
        to: Instant(u64::MAX / 2),
        transient: false,
    };
    let limits = Limits {
        events: site.run.events_max,
    };
    let mut world = World::new(&compiled, 0, watch, limits);
    for script in scripts {
        world.add_script(script.clone());
    }
    let ends = scripts
        .iter()
        .map(|script| script.at + compiled.longest_chain(script.action));
    let Some(limit) = ends.max() else {
        return LeftOut::default();
    };
    let last = scripts.iter().map(|script| script.at).max();
    let fabric = compiled.fabric_takes_back();
    let mut until = last.unwrap_or_default() + fabric + STEP;
    loop {
        world.run_until(until, Stop::AtTheTime);
        if world.paths_decided() {
            return world.left_out();
        }
        if until >= limit + fabric {
            return LeftOut::default();
        }
        until += STEP;
    }
}

impl<E: Executor> World<'_, E> {
    /// What is there and is not used as before until somebody sees to it, once every path has found its standing.
    #[must_use]
    pub fn left_out(&self) -> LeftOut {
        LeftOut {
            out: self.out_for_good(),
            guests: self.guests_elsewhere(),
        }
    }
}
