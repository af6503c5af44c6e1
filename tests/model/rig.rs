//! What the tests share: from text to tallies.

use halfloom::measure::mean_interval;
use halfloom::model::{Compiled, DirectionTally, Limits, Script, Stop, Tally, Watch, World};
use halfloom::scenario::{Source, read, render_problems};
use halfloom::site::{Action, Arrivals, Replay, Site, TraceEntry};
use halfloom::topology::DirectionId;
use halfloom::unit::{Duration, Instant, Side};
use halfloom::wire::Op;
use std::sync::Arc;

/// No run of these tests needs more.
pub(crate) const LIMITS: Limits = Limits { events: 50_000_000 };

/// Picoseconds of a microsecond, a millisecond and a second.
pub(crate) const US: u64 = 1_000_000;
pub(crate) const MS: u64 = 1_000 * US;
pub(crate) const S: u64 = 1_000 * MS;

/// Reads a scenario that must be sound.
pub(crate) fn site(text: &str) -> Site {
    let source = Source {
        name: "test.toml",
        text,
    };
    match read(source, &[], &|name| Err(format!("no file {name}"))) {
        Ok(loaded) => loaded.site,
        Err(problems) => panic!("{}", render_problems(&problems)),
    }
}

/// Replaces the arrivals of the first workload: each of `hosts` hosts issues these I/Os, (when in
/// picoseconds, what, bytes), and then nothing for longer than any test runs.
pub(crate) fn at_times(site: &mut Site, hosts: u32, ios: &[(u64, Op, u32)]) {
    let entries = ios
        .iter()
        .map(|(at, op, size)| TraceEntry {
            at: Duration(*at),
            op: *op,
            offset: 0,
            size: *size,
        })
        .collect();
    site.workloads[0].arrivals = Arrivals::Replay(Replay {
        entries: Arc::new(entries),
        // Times are kept as floating-point picoseconds, exact up to 2^53 ps, 9007 s.
        span: Duration(9_000 * S),
        copies: hosts,
        speed: 1.0,
        aligned: true,
        file: String::new(),
    });
}

/// Picoseconds of a time in whole seconds as a scenario writes it.
pub(crate) fn site_time(text: &str) -> u64 {
    let seconds = text.strip_suffix('s').expect("seconds");
    seconds.parse::<u64>().expect("whole seconds") * S
}

/// Counts everything that happens in [from, to), ps.
pub(crate) fn watch(from: u64, to: u64) -> Watch {
    Watch {
        from: Instant(from),
        to: Instant(to),
        transient: false,
    }
}

/// One run to `until` (ps), everything counted from 0 on.
pub(crate) fn run(compiled: &Compiled, scripts: &[Script], until: u64) -> Tally {
    let mut world = World::new(compiled, 0, watch(0, until), LIMITS);
    for script in scripts {
        world.add_script(script.clone());
    }
    world.run_until(Instant(until), Stop::AtTheTime);
    let tally = world.finish();
    assert!(!tally.partial, "the event limit was reached");
    tally
}

/// One replication of a steady run; traffic goes on until what arrived in the window has finished.
pub(crate) fn steady(compiled: &Compiled, replication: u32, from: u64, to: u64) -> Tally {
    let mut world = World::new(compiled, replication, watch(from, to), LIMITS);
    let open = world.run_until(Instant(10 * to), Stop::WhenMeasured);
    assert!(!open, "I/Os of the window are still unfinished");
    world.finish()
}

/// A scripted event on the parts that `pattern` means, or on a whole side.
pub(crate) fn script(
    compiled: &Compiled,
    at: u64,
    action: Action,
    pattern: &str,
    side: Option<Side>,
) -> Script {
    let patterns: Vec<String> = if pattern.is_empty() {
        Vec::new()
    } else {
        vec![pattern.to_owned()]
    };
    let script = Script {
        at: Instant(at),
        action,
        members: compiled.fabric.members_of(&patterns, side),
        nodes: compiled.fabric.nodes_of(&patterns, side),
        hosts: compiled.fabric.hosts_of(&patterns),
        target: String::new(),
        label: pattern.to_owned(),
    };
    assert!(!script.members.is_empty(), "`{pattern}` means no part");
    script
}

/// The tally of the direction of that name.
pub(crate) fn direction<'t>(
    compiled: &Compiled,
    tally: &'t Tally,
    name: &str,
) -> &'t DirectionTally {
    let names = direction_names(compiled);
    let index = names.iter().position(|known| known == name);
    &tally.directions[index.unwrap_or_else(|| panic!("no `{name}` among {names:?}"))]
}

/// The names of all directions, by index.
pub(crate) fn direction_names(compiled: &Compiled) -> Vec<String> {
    (0..compiled.fabric.directions.len())
        .map(|index| compiled.direction_name(DirectionId(u32::try_from(index).unwrap())))
        .collect()
}

/// Latencies of all I/Os of the first workload: shortest and longest, ps.
pub(crate) fn extremes(tally: &Tally) -> (u64, u64) {
    let work = &tally.workloads[0];
    let kinds = [&work.reads.latency, &work.writes.latency];
    let least = kinds.iter().filter_map(|kind| kind.min()).min();
    let most = kinds.iter().filter_map(|kind| kind.max()).max();
    (
        least.expect("an I/O has completed").0,
        most.expect("an I/O has completed").0,
    )
}

/// The published value must lie in the two-sided 99.9 % t interval of the mean over replications.
pub(crate) fn contains(what: &str, values: &[f64], published: f64) {
    assert!(values.len() >= 30, "{what}: too few replications");
    let estimate = mean_interval(values, 0.999);
    let half = estimate.half_width.expect("several replications");
    assert!(
        half < 0.2 * published,
        "{what}: {} ± {half} is too wide to say anything",
        estimate.value
    );
    assert!(
        (estimate.value - published).abs() <= half,
        "{what}: {published} is outside {} ± {half}",
        estimate.value
    );
}
