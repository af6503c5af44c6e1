//! The event sets against each other: the calendar that runs use, a plain heap, a tournament tree.
//!
//! The hold model: a set holds a fixed number of events; the first is taken and one is added at a random
//! time later (D. W. Jones, "An empirical comparison of priority-queue and event-set implementations",
//! Communications of the ACM 29, 1986). 128 live events are a small site, 10,000 a large one. The mean
//! hold grows with their number, so that ten events happen in each microsecond whatever the number is: the
//! time between events, not their number, is what a busy fabric fixes.

use criterion::{BenchmarkId, Criterion, Throughput, criterion_group, criterion_main};
use halfloom::engine::{Calendar, Draws, EventQueue, Key, Tournament};
use halfloom::unit::Instant;
use std::hint::black_box;

/// Live events.
const LIVE: [usize; 2] = [128, 10_000];
/// Holds in one iteration.
const HOLDS: u64 = 10_000;
/// Mean time between two events of the whole set, ps.
const GAP: f64 = 100_000.0;

/// Keys to come, each later than the one given, without the cost of drawing.
struct Later {
    times: Vec<u64>,
    number: usize,
}

impl Later {
    #[allow(
        clippy::cast_precision_loss,
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss
    )]
    fn new(live: usize) -> Self {
        let mut draws = Draws::named(&[live as u64]);
        let mean = GAP * live as f64;
        Self {
            times: (0..1 << 16)
                .map(|_| (draws.exponential() * mean) as u64)
                .collect(),
            number: 0,
        }
    }

    fn after(&mut self, now: Instant) -> Key {
        self.number += 1;
        Key {
            at: Instant(now.0 + self.times[self.number % self.times.len()]),
            tie: self.number as u128,
        }
    }
}

fn calendar(live: usize) -> impl FnMut() {
    let mut later = Later::new(live);
    let mut set = Calendar::new();
    for event in 0..live {
        set.push(later.after(Instant::ZERO), event);
    }
    move || {
        for _ in 0..HOLDS {
            if let Some((key, event)) = set.pop() {
                set.push(later.after(key.at), black_box(event));
            }
        }
    }
}

fn heap(live: usize) -> impl FnMut() {
    let mut later = Later::new(live);
    let mut set = EventQueue::with_capacity(live);
    for event in 0..live {
        set.push(later.after(Instant::ZERO), event);
    }
    move || {
        for _ in 0..HOLDS {
            if let Some((key, event)) = set.pop() {
                set.push(later.after(key.at), black_box(event));
            }
        }
    }
}

fn tournament(live: usize) -> impl FnMut() {
    let mut later = Later::new(live);
    let mut set = Tournament::new(live);
    for source in 0..live {
        set.set(source, later.after(Instant::ZERO));
    }
    move || {
        for _ in 0..HOLDS {
            let (source, key) = set.least();
            set.set(black_box(source), later.after(key.at));
        }
    }
}

fn hold(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("hold");
    group.throughput(Throughput::Elements(HOLDS));
    for live in LIVE {
        let mut run = calendar(live);
        group.bench_function(BenchmarkId::new("calendar", live), |b| b.iter(&mut run));
        let mut run = heap(live);
        group.bench_function(BenchmarkId::new("heap", live), |b| b.iter(&mut run));
        let mut run = tournament(live);
        group.bench_function(BenchmarkId::new("tournament", live), |b| b.iter(&mut run));
    }
    group.finish();
}

criterion_group! {
    name = benches;
    // Its plots would look for a font of the system; the printed figures are what is read.
    config = Criterion::default().without_plots();
    targets = hold
}
criterion_main!(benches);
