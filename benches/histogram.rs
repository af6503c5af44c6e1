//! What it costs to record one latency.

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use halfloom::engine::Draws;
use halfloom::measure::Histogram;
use halfloom::unit::Duration;
use std::hint::black_box;

/// Latencies recorded in one iteration.
const COUNT: u64 = 10_000;
/// Mean latency, ps: 300 us.
const MEAN: f64 = 300e6;

#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
fn record(criterion: &mut Criterion) {
    let mut draws = Draws::named(&[1]);
    let times: Vec<Duration> = (0..COUNT)
        .map(|_| Duration((draws.exponential() * MEAN) as u64))
        .collect();
    let mut histogram = Histogram::new();
    let mut group = criterion.benchmark_group("histogram");
    group.throughput(Throughput::Elements(COUNT));
    group.bench_function("record", |b| {
        b.iter(|| {
            for time in &times {
                histogram.record(black_box(*time));
            }
        });
    });
    group.finish();
}

criterion_group! {
    name = benches;
    // Its plots would look for a font of the system; the printed figures are what is read.
    config = Criterion::default().without_plots();
    targets = record
}
criterion_main!(benches);
