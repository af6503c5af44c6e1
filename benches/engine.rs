//! The event sets against each other: the calendar that runs use, a plain heap, a tournament tree.
//!
//! The hold model: a set holds a fixed number of events; the first is taken and one is added at a random
//! time later (D. W. Jones, "An empirical comparison of priority-queue and event-set implementations",
//! Communications of the ACM 29, 1986). 128 live events are a small site, 10,000 a large one. The mean
//! hold grows with their number, so that ten events happen in each microsecond whatever the number is: the
//! time between events, not their number, is what a busy fabric fixes.
//!
//! A crowd: all events are due in one instant, and each is planned again for the next such instant, as timers of
//! many paths are after a loss. The ring beside them: entries come and go, so many held at once.

use criterion::{BenchmarkId, Criterion, Throughput, criterion_group, criterion_main};
use halfloom::engine::{Calendar, Draws, EventQueue, Key, Ring, Tournament};
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

/// Time between two instants of a crowd, ps.
const ROUND: u64 = 1_000_000_000;

/// The key of an event of the round after `now`, its tie word as good as at random.
const fn next_round(now: Instant, event: u64) -> Key {
    Key {
        at: Instant((now.0 / ROUND + 1) * ROUND),
        tie: event.wrapping_mul(0x9e37_79b9_7f4a_7c15) as u128,
    }
}

fn crowd(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("crowd");
    group.throughput(Throughput::Elements(HOLDS));
    for live in LIVE.map(|live| live as u64) {
        let (mut calendar, mut heap) = (Calendar::new(), EventQueue::with_capacity(LIVE[1]));
        for event in 0..live {
            calendar.push(next_round(Instant::ZERO, event), event);
            heap.push(next_round(Instant::ZERO, event), event);
        }
        group.bench_function(BenchmarkId::new("calendar", live), |b| {
            b.iter(|| {
                for _ in 0..HOLDS {
                    if let Some((key, event)) = calendar.pop() {
                        calendar.push(next_round(key.at, black_box(event)), event);
                    }
                }
            });
        });
        group.bench_function(BenchmarkId::new("heap", live), |b| {
            b.iter(|| {
                for _ in 0..HOLDS {
                    if let Some((key, event)) = heap.pop() {
                        heap.push(next_round(key.at, black_box(event)), event);
                    }
                }
            });
        });
    }
    group.finish();
}

/// Entries of a ring as large as a frame on a link, by how many are held.
fn ring(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("ring");
    group.throughput(Throughput::Elements(HOLDS));
    for held in [1_u64, 64] {
        let mut ring: Ring<[u64; 8]> = Ring::new();
        (0..held).for_each(|entry| ring.push([entry; 8]));
        group.bench_function(BenchmarkId::new("push and pop", held), |b| {
            b.iter(|| {
                for entry in 0..HOLDS {
                    ring.push(black_box([entry; 8]));
                    black_box(ring.pop());
                }
            });
        });
    }
    group.finish();
}

criterion_group! {
    name = benches;
    // Its plots would look for a font of the system; the printed figures are what is read.
    config = Criterion::default().without_plots();
    targets = hold, crowd, ring
}
criterion_main!(benches);
