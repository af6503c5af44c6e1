//! Runs in the order of the flow against runs with an event for every hop: on random sites without faults,
//! with and without an outage, both must count the same, every bin and bucket.

use super::oracle::{Dice, Kind, difference, text};
use super::rig::{LIMITS, MS, site, watch};
use halfloom::model::{Compiled, Executor, Fast, Flow, Plain, Stop, Tally, World};
use halfloom::unit::{Duration, Instant, Side};

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
    let (mut ordered, mut in_turns, mut completed, mut hops) = (0, 0, 0, 0);
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
        in_turns += u32::from(compiled.turns().is_some());
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
        ordered > 700 && in_turns > 600 && completed > 80_000 && hops > 1_700_000,
        "{ordered} {in_turns} {completed} {hops}"
    );
}

/// Two switches with a host and an array each; `box-b` is where the work of `app-a` goes, and `back` that of `app-b`.
fn two_switches(back: &str) -> String {
    let part = |kind: &str, more: &str| format!("[[{kind}]]\n{more}\n");
    let link = |from: &str, to: &str| {
        let ends = format!("from = \"{from}\"\nto = \"{to}\"\n");
        part(
            "link",
            &(ends + "speed = \"10Gb/s\"\npropagation = \"300ns\""),
        )
    };
    let work = |name: &str, host: &str, array: &str| {
        let ends = format!("name = \"{name}\"\nhosts = \"{host}\"\narray = \"{array}\"\n");
        let frames = "request = \"100B\"\nresponse = \"5000B\"\nframe = \"1000B\"\n";
        let load = "read = \"50%\"\narrivals = { poisson = \"90k/s\" }";
        part(
            "workload",
            &(ends + "protocol = \"plain\"\n" + frames + load),
        )
    };
    let mut text = "format = 1\n[run]\nduration = \"8ms\"\nreplications = 1\n".to_owned();
    for name in ["app-a", "app-b"] {
        text += &part(
            "host",
            &format!("name = \"{name}\"\ncount = 2\nqueue_depth = 32"),
        );
    }
    for name in ["left", "right"] {
        let more = format!("name = \"{name}\"\nfabric = \"shared\"\ndelay = \"200ns\"");
        text += &part("switch", &(more + "\nforwarding = \"store-and-forward\""));
    }
    for name in ["box-a", "box-b"] {
        let read = "read = { hit = \"100%\", hit_time = \"20us\" }\nwrite = { time = \"15us\" }";
        text += &part(
            "array",
            &format!("name = \"{name}\"\ncontrollers = 1\nparallel = 8\n{read}"),
        );
    }
    text += &link("app-a", "left");
    text += &link("app-b", "right");
    text += &link("left", "right");
    text += &link("left", "box-a");
    text += &link("right", "box-b");
    text += &work("there", "app-a", "box-b");
    text + &work("back", "app-b", back)
}

/// Where requests and responses share a direction between switches, both sides go on together; where each direction
/// is one way only, they take turns as long as the shortest messages need: whole frames on each of the links.
#[test]
fn hosts_and_arrays_take_turns_where_their_ways_are_apart() {
    let shared = Compiled::new(&site(&two_switches("box-a")), &[]);
    let apart = Compiled::new(&site(&two_switches("box-b")), &[]);
    assert!(shared.in_flow_order() && apart.in_flow_order());
    assert_eq!(shared.turns(), None);
    // Of `app-b`, over two links and one switch: requests of 100 B are 80 ns at 10 Gb/s, responses' frames of
    // 1,000 B 800 ns; 300 ns a link, 200 ns a switch.
    let way = |frame: u64| Duration((2 * (frame + 300) + 200) * 1_000);
    assert_eq!(apart.turns(), Some((way(80), way(800))));
    for compiled in [shared, apart] {
        for (stop, step) in [(Stop::AtTheTime, MS / 3), (Stop::WhenMeasured, 8 * MS)] {
            let flow = count::<Flow>(&compiled, (MS, 6 * MS), stop, step);
            let done: u64 = flow.workloads.iter().map(|work| work.completed_total).sum();
            assert!(done > 900, "{done}");
            let fast = count::<Fast>(&compiled, (MS, 6 * MS), stop, step);
            let plain = count::<Plain>(&compiled, (MS, 6 * MS), stop, step);
            for (name, other) in [("events", &fast), ("the oracle", &plain)] {
                let found = difference(&flow, other);
                assert!(found.is_none(), "{stop:?}, {step}, {name}: {found:?}");
            }
        }
    }
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

/// The sites that come with the program, whole and with each of their nodes gone in turn.
#[test]
fn real_sites_count_the_same_without_any_of_their_nodes() {
    let texts = [
        include_str!("../../scenarios/ostrel.toml"),
        include_str!("../../scenarios/ostrel-ethernet.toml"),
        include_str!("../../scenarios/eight-paths.toml"),
        include_str!("../../scenarios/lessons/cut-through.toml"),
        include_str!("../../scenarios/lessons/jumbo-frames.toml"),
    ];
    let (mut in_turns, mut completed) = (0, 0);
    for text in texts {
        let site = site(text);
        let whole = Compiled::new(&site, &[]);
        let names = whole.fabric.nodes.iter().map(|node| node.name.clone());
        let losses = names.map(|name| whole.fabric.members_of(&[name], None));
        for lost in std::iter::once(Vec::new()).chain(losses) {
            let compiled = Compiled::new(&site, &lost);
            if !compiled.in_flow_order() {
                continue;
            }
            in_turns += u32::from(compiled.turns().is_some());
            let window = (MS / 10, MS / 2);
            let flow = count::<Flow>(&compiled, window, Stop::WhenMeasured, MS / 4);
            let fast = count::<Fast>(&compiled, window, Stop::WhenMeasured, MS / 4);
            let found = difference(&flow, &fast);
            assert!(found.is_none(), "{}: {lost:?}: {found:?}", site.title);
            let done = flow.workloads.iter().map(|work| work.completed_total);
            completed += done.sum::<u64>();
        }
    }
    assert!(
        in_turns > 100 && completed > 50_000,
        "{in_turns} {completed}"
    );
}
