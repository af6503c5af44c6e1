//! Whether a run allocates once it is warm: memory follows what is in flight, so it grows only where more is
//! in flight than ever before, which becomes rarer and rarer.

use halfloom::model::{Compiled, Executor, Fast, Flow, Limits, Stop, Watch, World};
use halfloom::scenario::{Source, read, render_problems};
use halfloom::unit::{Duration, Instant};

#[global_allocator]
static COUNTED: dhat::Alloc = dhat::Alloc;

fn compiled(text: &str) -> Compiled {
    let source = Source {
        name: "test.toml",
        text,
    };
    match read(source, &[], &|name| Err(format!("no file {name}"))) {
        Ok(loaded) => Compiled::new(&loaded.site, &[]),
        Err(problems) => panic!("{}", render_problems(&problems)),
    }
}

/// Blocks allocated and events handled between `warm` and `end`.
fn allocated<E: Executor>(text: &str, warm: Duration, end: Duration) -> (u64, u64) {
    let compiled = compiled(text);
    let watch = Watch {
        from: Instant::ZERO,
        to: Instant::ZERO + end,
        transient: false,
    };
    let limits = Limits {
        events: 100_000_000,
    };
    let mut world = World::<E>::start(&compiled, 0, watch, limits);
    world.run_until(Instant::ZERO + warm, Stop::AtTheTime);
    let (blocks, events) = (dhat::HeapStats::get().total_blocks, world.events());
    world.run_until(Instant::ZERO + end, Stop::AtTheTime);
    let after = dhat::HeapStats::get().total_blocks;
    let handled = world.events() - events;
    let _ = world.finish();
    (after - blocks, handled)
}

/// One test, because the allocator counts for the whole program.
#[test]
fn a_warm_run_allocates_nothing() {
    let _profiler = dhat::Profiler::builder().testing().build();
    let lite = include_str!("../benches/scenarios/storage-lite.toml");
    let demo = include_str!("../scenarios/ostrel.toml");
    for (name, text, warm, end) in [
        ("storage-lite", lite, 250, 500),
        ("the demonstration", demo, 450, 650),
    ] {
        let (warm, end) = (Duration::from_ms(warm), Duration::from_ms(end));
        for (executor, (blocks, events)) in [
            ("events", allocated::<Fast>(text, warm, end)),
            ("flow", allocated::<Flow>(text, warm, end)),
        ] {
            println!("{name}, {executor}: {blocks} blocks in {events} events");
            assert!(events > 1_000_000, "{name}, {executor}: {events} events");
            assert!(
                blocks * 1_000_000 < events,
                "{name}, {executor}: {blocks} blocks in {events} events, one in a million or more"
            );
        }
    }
}
