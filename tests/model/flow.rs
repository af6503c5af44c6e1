//! Runs in the order of the flow against runs with an event for every hop: on random sites without faults,
//! with and without an outage, both must count the same, every bin and bucket.

use super::oracle::{Dice, Kind, difference, text};
use super::rig::{LIMITS, MS, site, watch};
use halfloom::model::{Compiled, Executor, Fast, Flow, Plain, Stop, Tally, World};
use halfloom::unit::{Instant, Side};

const KINDS: [Kind; 3] = [Kind::Plain, Kind::Fc, Kind::Ip];

/// What an executor counts when a run is had in pieces of `step`; the number of its events is its own affair.
fn count<E: Executor>(compiled: &Compiled, window: (u64, u64), stop: Stop, step: u64) -> Tally {
    let mut world = World::<E>::start(compiled, 1, watch(window.0, window.1), LIMITS);
    let mut until = 0;
    while until < 8 * MS {
        until = (until + step).min(8 * MS);
        if !world.run_until(Instant(until), stop) {
            break;
        }
    }
    let mut tally = world.finish();
    assert!(!tally.partial, "the event limit was reached");
    tally.events = 0;
    tally
}

#[test]
fn in_the_order_of_the_flow_the_same_is_counted() {
    let (mut ordered, mut completed, mut hops) = (0, 0, 0);
    for seed in 20_000..21_500 {
        let mut dice = Dice::new(seed);
        let text = text(&mut dice, KINDS[usize::try_from(seed % 3).unwrap()]);
        let site = site(&text);
        let whole = Compiled::new(&site, &[]);
        let lost = match dice.one(&[0, 1, 2]) {
            0 => Vec::new(),
            1 => whole.fabric.members_of(&[], Some(Side::A)),
            _ => whole.fabric.members_of(&["box-c1".to_owned()], None),
        };
        let compiled = Compiled::new(&site, &lost);
        if !compiled.in_flow_order() {
            continue;
        }
        ordered += 1;
        let stop = dice.one(&[Stop::AtTheTime, Stop::WhenMeasured]);
        let window = dice.one(&[(MS, 5 * MS), (0, 2 * MS), (MS, 8 * MS)]);
        let step = dice.one(&[8 * MS, MS / 3, MS]);
        let flow = count::<Flow>(&compiled, window, stop, step);
        let fast = count::<Fast>(&compiled, window, stop, step);
        if let Some(difference) = difference(&flow, &fast) {
            panic!("seed {seed}, {stop:?}, {window:?}, {step}, {difference}, of\n{text}");
        }
        if seed % 10 == 0 {
            let plain = count::<Plain>(&compiled, window, stop, step);
            assert!(
                difference(&flow, &plain).is_none(),
                "seed {seed}, the oracle"
            );
        }
        completed += flow
            .workloads
            .iter()
            .map(|work| work.completed_total)
            .sum::<u64>();
        hops += flow.frame_hops;
    }
    assert!(
        ordered > 700 && completed > 80_000 && hops > 1_700_000,
        "{ordered} {completed} {hops}"
    );
}

#[test]
fn a_runaway_is_ended_and_its_frames_are_accounted_for() {
    let mut dice = Dice::new(20_001);
    let text = text(&mut dice, Kind::Fc);
    let compiled = Compiled::new(&site(&text), &[]);
    for events in [1, 10, 333, 5_000] {
        let limits = halfloom::model::Limits { events };
        let mut world = World::<Fast>::start(&compiled, 0, watch(0, MS), limits);
        world.run_until(Instant(8 * MS), Stop::AtTheTime);
        assert!(world.finish().partial);
        if compiled.in_flow_order() {
            let mut world = World::<Flow>::start(&compiled, 0, watch(0, MS), limits);
            world.run_until(Instant(8 * MS), Stop::AtTheTime);
            assert!(world.finish().partial);
        }
    }
}

/// One array's port is asked for twice what it carries; what waits there shares the next links with the work of
/// another array, which is not in its way. Stopped in pieces, so that the backlog is found half served.
#[test]
fn a_backlog_counts_the_same() {
    let text = r#"
format = 1
[run]
duration = "8ms"
warm_up = "0s"
replications = 1
[[host]]
name = "app"
count = 2
queue_depth = 4096
[[switch]]
name = "edge"
fabric = "shared"
[[switch]]
name = "core"
fabric = "shared"
[[array]]
name = "hot"
controllers = 1
parallel = 4000
read = { hit = "100%", hit_time = "50us" }
[[array]]
name = "cool"
controllers = 1
parallel = 4000
read = { hit = "100%", hit_time = "50us" }
[[link]]
from = "app"
to = "edge"
speed = "100GbE"
[[link]]
from = "edge"
to = "core"
speed = "100GbE"
[[link]]
from = "core"
to = "hot"
speed = "10GbE"
[[link]]
from = "core"
to = "cool"
speed = "100GbE"
[[workload]]
name = "much"
hosts = "app"
array = "hot"
protocol = "nvme-tcp"
read = "100%"
sizes = "8KiB"
arrivals = { poisson = "300k/s" }
[[workload]]
name = "little"
hosts = "app"
array = "cool"
protocol = "nvme-tcp"
read = "100%"
sizes = "8KiB"
arrivals = { poisson = "100k/s" }
"#;
    let compiled = Compiled::new(&site(text), &[]);
    assert!(compiled.in_flow_order());
    for (stop, step) in [
        (Stop::AtTheTime, 8 * MS),
        (Stop::AtTheTime, MS / 3),
        (Stop::WhenMeasured, MS),
    ] {
        let flow = count::<Flow>(&compiled, (0, 8 * MS), stop, step);
        let waits: u64 = flow.directions.iter().map(|link| link.queue_max).sum();
        assert!(waits > 1_000, "{waits} frames wait");
        let fast = count::<Fast>(&compiled, (0, 8 * MS), stop, step);
        let plain = count::<Plain>(&compiled, (0, 8 * MS), stop, step);
        for (name, other) in [("events", &fast), ("the oracle", &plain)] {
            let found = difference(&flow, other);
            assert!(found.is_none(), "{stop:?}, {step}, {name}: {found:?}");
        }
    }
}
