//! A short steady run of the demo site, from time zero, in frame-hops a second: one frame carried over one
//! link direction is one. The figure to watch: everything else a run does is paid for in it.

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use halfloom::model::{Compiled, Limits, Stop, Tally, Watch, World};
use halfloom::scenario::{Source, read, render_problems};
use halfloom::unit::Instant;
use std::hint::black_box;

/// Short enough to be repeated; bursts and warm-up do not matter to the cost of a frame.
const SET: [(&str, &str); 2] = [("run.duration", "20ms"), ("run.warm_up", "5ms")];

fn compiled() -> Compiled {
    let source = Source {
        name: "ostrel.toml",
        text: include_str!("../scenarios/ostrel.toml"),
    };
    let set = SET.map(|(key, value)| (key.to_owned(), value.to_owned()));
    match read(source, &set, &|name| Err(format!("no file {name}"))) {
        Ok(loaded) => Compiled::new(&loaded.site, &[]),
        Err(problems) => panic!("{}", render_problems(&problems)),
    }
}

fn one(compiled: &Compiled) -> Tally {
    let end = Instant::ZERO + compiled.site.run.duration;
    let watch = Watch {
        from: Instant::ZERO,
        to: end,
        transient: false,
    };
    let limits = Limits {
        events: compiled.site.run.events_max,
    };
    let mut world = World::new(compiled, 0, watch, limits);
    world.run_until(end, Stop::AtTheTime);
    world.finish()
}

fn steady(criterion: &mut Criterion) {
    let compiled = compiled();
    let tally = one(&compiled);
    assert!(!tally.partial, "the event limit was reached");
    let hops: u64 = tally.directions.iter().map(|over| over.delivered).sum();
    let mut group = criterion.benchmark_group("site");
    group.sample_size(10);
    group.throughput(Throughput::Elements(hops));
    group.bench_function("ostrel, 20 ms", |b| b.iter(|| one(black_box(&compiled))));
    group.finish();
}

criterion_group! {
    name = benches;
    // Its plots would look for a font of the system; the printed figures are what is read.
    config = Criterion::default().without_plots();
    targets = steady
}
criterion_main!(benches);
