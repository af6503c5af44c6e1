//! From a recording to a workload: the busiest five minutes of it, by I/Os, as figures and as a `[[workload]]`.
//!
//! Rate, mix and sizes are counted. How bursty a trace is shows in the index of dispersion (variance ÷ mean of the
//! I/Os in windows of one length; 1 is Poisson); arrivals that alternate between two rates for exponential times are
//! fitted to it, with the same mean exactly. Statistics hide what happens within a sample, and that is said; swings from
//! sample to sample are fitted where there are enough of them.
//!
//! Left out: what order sizes and operations come in, places on the disk, and correlation over times longer than
//! the bursts that are fitted; a replay keeps all of it.

mod burst;
mod clock;
mod print;
mod statistics;

use crate::outcome::{Derived, DerivedArrivals, DerivedLaw, Dispersion, Work};
use crate::scenario::{Recorded, Recording};
use crate::wire::Op;
use burst::{dispersion, dispersion_anywhere, fitted, gap_variation, kept, most_at_once, peak};
use clock::{coarse_clock_s, length_s, resolves, whole_steps};
use print::{notes_of_sizes, toml};
use statistics::from_statistics;
use std::collections::BTreeMap;

pub use burst::by_law;

/// Length of the stretch that is modelled.
pub const STRETCH_S: f64 = 300.0;
/// Time scales of the index of dispersion.
const SCALES_S: [f64; 5] = [0.001, 0.01, 0.1, 1.0, 10.0];
const NS: f64 = 1e9;

/// What to call things in the workload.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Names {
    /// The recording.
    pub file: String,
    /// The workload.
    pub workload: String,
    /// Its hosts.
    pub hosts: String,
    /// Its array.
    pub array: String,
    /// Its protocol, where it is stated: no recording has it.
    pub protocol: Option<String>,
    /// Replay the trace instead of fitting arrivals to it.
    pub replay: Replay,
}

/// Whether arrivals are fitted or replayed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Replay {
    /// Fit.
    No,
    /// Replay the whole trace.
    Yes,
}

/// Derives a workload.
#[must_use]
pub fn derive(recording: &Recording, names: &Names) -> Derived {
    match recording {
        Recording::Trace(all) => from_trace(all, names),
        Recording::Statistics(all) => from_statistics(all, names),
    }
}

/// Sizes and how often each occurs.
type Counts = BTreeMap<u64, u64>;

fn counts(ios: &[Recorded], op: Op) -> Counts {
    let mut found = Counts::new();
    for io in ios.iter().filter(|io| io.op == op) {
        *found.entry(io.size).or_insert(0) += 1;
    }
    found
}

fn sum(counts: &Counts) -> (f64, f64) {
    let ios: u64 = counts.values().sum();
    let bytes: u64 = counts.iter().map(|(size, count)| size * count).sum();
    (ios as f64, bytes as f64)
}

/// Most frequent first; equal ones by size.
fn sizes(counts: &Counts) -> Vec<(u64, f64)> {
    let (all, _) = sum(counts);
    let mut list: Vec<(u64, u64)> = counts.iter().map(|(size, count)| (*size, *count)).collect();
    list.sort_by(|left, right| right.1.cmp(&left.1).then(left.0.cmp(&right.0)));
    list.into_iter()
        .map(|(size, count)| (size, count as f64 / all))
        .collect()
}

fn work(ios: &[Recorded], span_s: f64) -> Work {
    let (reads, writes) = (counts(ios, Op::Read), counts(ios, Op::Write));
    let ((read_ios, read_bytes), (write_ios, write_bytes)) = (sum(&reads), sum(&writes));
    let mean = |bytes: f64, ios: f64| (ios > 0.0).then(|| bytes / ios);
    let (all, bytes) = (read_ios + write_ios, read_bytes + write_bytes);
    Work {
        span_s: Some(span_s),
        ios: Some(all),
        iops: all / span_s,
        mb_s: bytes / span_s / 1e6,
        read_share: read_ios / all,
        read_byte_share: read_bytes / bytes,
        size_bytes: mean(bytes, all),
        read_size_bytes: mean(read_bytes, read_ios),
        write_size_bytes: mean(write_bytes, write_ios),
        read_sizes: sizes(&reads),
        write_sizes: sizes(&writes),
    }
}

/// First and last (excluded) I/O of the stretch with most of `weight`.
fn busiest(ios: &[Recorded], weight: impl Fn(&Recorded) -> u64) -> std::ops::Range<usize> {
    let stretch = (STRETCH_S * NS) as u64;
    let (mut best, mut from) = (0..0, 0);
    let (mut most, mut now) = (0, 0_u64);
    for to in 0..ios.len() {
        now += weight(&ios[to]);
        while ios[to].at_ns - ios[from].at_ns >= stretch {
            now -= weight(&ios[from]);
            from += 1;
        }
        if now > most {
            (most, best) = (now, from..to + 1);
        }
    }
    best
}

/// Another stretch is worth naming where it has so many times the bytes.
const BYTES_APART: f64 = 1.1;

/// Where the stretch with most bytes is another one than that with most I/Os.
fn by_bytes(busiest: &Work, from_s: f64, mb_s: f64) -> Option<String> {
    (mb_s > BYTES_APART * busiest.mb_s).then(|| {
        format!(
            "the stretch is the busiest by I/Os; by bytes it is the one from {from_s:.0}\u{202F}s on, with {mb_s:.1} MB/s \
             where this one has {:.1}",
            busiest.mb_s
        )
    })
}

fn from_trace(ios: &[Recorded], names: &Names) -> Derived {
    let clock_s = coarse_clock_s(ios);
    let end = length_s(ios, clock_s);
    let range = busiest(ios, |_| 1);
    let part = &ios[range.clone()];
    let from_s = part.first().map_or(0, |first| first.at_ns) as f64 / NS;
    // A recording shorter than the stretch is taken whole, over its own length.
    let span = if end <= STRETCH_S { end } else { STRETCH_S };
    let (steps, steps_s) = whole_steps(part, clock_s, span);
    let recorded: Vec<Option<f64>> = SCALES_S
        .iter()
        .map(|scale| {
            let known = resolves(clock_s, *scale);
            known.then(|| dispersion(steps, *scale, steps_s)).flatten()
        })
        .collect();
    let arrivals = match names.replay {
        Replay::Yes => DerivedArrivals::Replay,
        Replay::No => fitted(part, span, clock_s, &recorded),
    };
    // Bursts of a clock may go in step with the windows: what is compared is windows that begin anywhere.
    let fixed = matches!(
        arrivals,
        DerivedArrivals::Bursty {
            law: DerivedLaw::Fixed,
            ..
        }
    );
    let anywhere = |(scale, recorded): (&f64, &Option<f64>)| {
        let again = recorded.filter(|_| fixed);
        again.map_or(*recorded, |_| dispersion_anywhere(steps, *scale, steps_s))
    };
    let recorded: Vec<Option<f64>> = SCALES_S.iter().zip(&recorded).map(anywhere).collect();
    let (whole, busiest) = (work(ios, end), work(part, span));
    let fullest = &ios[self::busiest(ios, |io| io.size)];
    let fullest_from = fullest.first().map_or(0, |first| first.at_ns) as f64 / NS;
    let fullest_bytes: u64 = fullest.iter().map(|io| io.size).sum();
    let other = by_bytes(&busiest, fullest_from, fullest_bytes as f64 / span / 1e6);
    let dispersion = SCALES_S
        .iter()
        .zip(&recorded)
        .map(|(scale, recorded)| Dispersion {
            window_s: *scale,
            recorded: *recorded,
            modelled: match arrivals {
                // A replay brings the recording itself: what is unknown of the one is of the other.
                DerivedArrivals::Replay => *recorded,
                other => Some(by_law(other, *scale)),
            },
        })
        .collect();
    let latencies: Vec<(u64, u64)> = part
        .iter()
        .filter_map(|io| Some((io.at_ns, io.latency_ns?)))
        .collect();
    let known = latencies.len() == part.len();
    let total: u64 = latencies.iter().map(|row| row.1).sum();
    let mut derived = Derived {
        file: names.file.clone(),
        kind: "block trace",
        rows: ios.len() as u64,
        busiest_from_s: from_s,
        gap_variation: gap_variation(part).filter(|_| clock_s.is_none()),
        peak_to_mean_100ms: peak(part, 0.1, span).filter(|_| resolves(clock_s, 0.1)),
        peak_to_mean_sample: None,
        sample_s: None,
        clock_s,
        depth: known.then(|| total as f64 / NS / span),
        rows_without_depth: ((part.len() - latencies.len()) as u64, part.len() as u64),
        depth_most: known.then(|| most_at_once(&latencies)),
        notes: other
            .into_iter()
            .chain(kept(part, clock_s, arrivals, &recorded))
            .collect(),
        toml: String::new(),
        whole,
        busiest,
        dispersion,
        arrivals,
    };
    derived.notes.extend(notes_of_sizes(&derived.busiest));
    derived.toml = toml(&derived, names);
    derived
}

#[cfg(test)]
mod tests;
