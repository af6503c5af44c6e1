//! What scripted events leave of the paths, found without any work: timers alone decide.
//!
//! Left out: what only a command without an answer tells. A silent loss on Fibre Channel is then found by the checks of paths in
//! good standing, which may be later than a command timeout would be.

use super::compile::{Compiled, OutPath, Watch};
use super::fault::Script;
use super::world::{Limits, Stop, World};
use crate::site::Site;
use crate::unit::{Duration, Instant};

/// How much is simulated between two looks.
const STEP: Duration = Duration::from_ms(200);

/// Paths that are there once these events are over, and that no host takes into use again by itself.
#[must_use]
pub fn left_out(site: &Site, scripts: &[Script]) -> Vec<OutPath> {
    let mut compiled = Compiled::new(site, &[]);
    compiled.sources.clear();
    for set in &mut compiled.sets {
        set.sources.clear();
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
        return Vec::new();
    };
    let last = scripts.iter().map(|script| script.at).max();
    let fabric = compiled.fabric_takes_back();
    let mut until = last.unwrap_or_default() + fabric + STEP;
    loop {
        world.run_until(until, Stop::AtTheTime);
        if world.paths_decided() {
            return world.out_for_good();
        }
        if until >= limit + fabric {
            return Vec::new();
        }
        until += STEP;
    }
}
