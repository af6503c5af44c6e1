//! Statistics of host I/O: means over samples, their busiest stretch, and how the rate swings from one to the next.

use super::burst::{CALM, clockwork, error, in_step, index_of, run_length, two_states};
use super::clock::time_in_words;
use super::print::rounded;
use super::print::{notes_of_sizes, toml};
use super::{Names, STRETCH_S};
use crate::outcome::{Derived, DerivedArrivals, DerivedLaw, Dispersion, Work};
use crate::scenario::Sample;

pub(super) fn average(samples: &[Sample]) -> Work {
    let span: f64 = samples.iter().map(|sample| sample.span_s).sum();
    let weights: f64 = samples.iter().map(weight).sum();
    let over = |of: &dyn Fn(&Sample) -> f64| {
        let all = samples.iter().map(|sample| of(sample) * weight(sample));
        all.sum::<f64>() / weights
    };
    let (reads, writes) = (over(&|s| s.reads), over(&|s| s.writes));
    let (read_bytes, write_bytes) = (over(&|s| s.read_bytes), over(&|s| s.write_bytes));
    let mean = |bytes: f64, ios: f64| (ios > 0.0).then(|| bytes / ios);
    let alone = |size: Option<f64>| {
        let size = size.map(|size| (size.round().max(1.0) as u64, 1.0));
        size.into_iter().collect::<Vec<_>>()
    };
    let (read_size, write_size) = (mean(read_bytes, reads), mean(write_bytes, writes));
    Work {
        span_s: (span > 0.0).then_some(span),
        ios: (span > 0.0).then_some((reads + writes) * span),
        iops: reads + writes,
        mb_s: (read_bytes + write_bytes) / 1e6,
        read_share: reads / (reads + writes),
        read_byte_share: read_bytes / (read_bytes + write_bytes),
        size_bytes: mean(read_bytes + write_bytes, reads + writes),
        read_size_bytes: read_size,
        write_size_bytes: write_size,
        read_sizes: alone(read_size),
        write_sizes: alone(write_size),
    }
}

/// The end of a sample, seconds.
fn end_of(sample: &Sample) -> f64 {
    sample.from_s + sample.span_s
}

/// Whether a sample begins later than at `end`: some are missing between them.
fn is_apart(end: f64, next: &Sample) -> bool {
    next.from_s - end > 1e-6 * next.span_s
}

/// The stretch of statistics with the highest rate, of I/Os or bytes: as many samples as five minutes hold, at least one, none of them
/// missing. What an end or a gap cuts short would win by being short: it counts only where nothing is longer.
fn busiest_samples(samples: &[Sample], by: fn(&Work) -> f64) -> std::ops::Range<usize> {
    let most = STRETCH_S * (1.0 + 1e-9);
    let candidates = (0..samples.len()).map(|from| {
        let begin = samples[from].from_s;
        let follows = |to: usize| {
            let next = samples.get(to)?;
            (!is_apart(end_of(&samples[to - 1]), next)).then_some(next)
        };
        let mut to = from + 1;
        while follows(to).is_some_and(|next| end_of(next) - begin <= most) {
            to += 1;
        }
        let last = &samples[to - 1];
        let length_s = end_of(last) - begin;
        Stretch {
            whole: follows(to).is_some() || length_s + last.span_s > most,
            length_s,
            rate: by(&average(&samples[from..to])),
            range: from..to,
        }
    });
    let better = |best: Stretch, next: Stretch| if next.beats(&best) { next } else { best };
    candidates
        .reduce(better)
        .map_or(0..0, |stretch| stretch.range)
}

/// Samples that follow one another.
struct Stretch {
    range: std::ops::Range<usize>,
    /// Neither an end nor a gap cuts it short.
    whole: bool,
    length_s: f64,
    rate: f64,
}

impl Stretch {
    fn beats(&self, other: &Self) -> bool {
        if self.whole != other.whole {
            return self.whole;
        }
        let alike = self.whole || (self.length_s / other.length_s - 1.0).abs() <= 1e-9;
        if alike {
            self.rate > other.rate
        } else {
            self.length_s > other.length_s
        }
    }
}

/// Most gaps that are named each.
const GAPS_NAMED: usize = 3;

/// What is missing in the statistics, in a sentence.
fn gaps(samples: &[Sample]) -> Option<String> {
    let found: Vec<(f64, f64)> = samples
        .windows(2)
        .filter(|pair| is_apart(end_of(&pair[0]), &pair[1]))
        .map(|pair| (end_of(&pair[0]), pair[1].from_s))
        .collect();
    let named: Vec<String> = found
        .iter()
        .take(GAPS_NAMED)
        .map(|(from, to)| format!("{:.0}\u{202F}s from {from:.0}\u{202F}s on", to - from))
        .collect();
    let more = match found.len().saturating_sub(GAPS_NAMED) {
        0 => String::new(),
        more => format!(", and {more} more"),
    };
    (!found.is_empty()).then(|| {
        format!(
            "samples are missing: {}{more}. Nothing is assumed there: no figure counts that time, and no stretch reaches across it",
            named.join(", ")
        )
    })
}

pub(super) fn from_statistics(samples: &[Sample], names: &Names) -> Derived {
    let best = busiest_samples(samples, |work| work.iops);
    let part = &samples[best.clone()];
    let (whole, busiest) = (average(samples), average(part));
    let depth = depth_of(part);
    let longest = part.iter().map(|sample| sample.span_s).fold(0.0, f64::max);
    let busiest_sample = samples.iter().map(rate).fold(0.0, f64::max);
    let by_bytes = &samples[busiest_samples(samples, |work| work.mb_s)];
    let other = by_bytes
        .first()
        .and_then(|first| super::by_bytes(&busiest, first.from_s, average(by_bytes).mb_s));
    let swings = Swings::of(part, busiest.iops);
    let arrivals = swings.arrivals;
    let notes = gaps(samples)
        .into_iter()
        .chain(other)
        .chain(apart(samples))
        .chain(disagree(part))
        .chain(swings.words(part))
        .chain([
            if longest > 0.0 {
                format!(
                    "how bursty the work is within {longest} s is unknown: the statistics are means. Poisson arrivals are the \
                     calmest that independent requests can be; real ones rarely are that calm"
                )
            } else {
                "how long the one sample is is unknown, and so is how bursty the work is within it: two rows or more say it, \
                 for a sample begins where the one before ends. Rates, mix and sizes do not depend on it"
                    .to_owned()
            },
            "sizes are unknown but for their means: all reads have one size, and all writes"
                .to_owned(),
        ])
        .chain(notes_of_sizes(&busiest))
        .collect();
    let mut derived = Derived {
        file: names.file.clone(),
        kind: "statistics",
        rows: samples.len() as u64,
        busiest_from_s: part[0].from_s,
        dispersion: swings.dispersion(),
        gap_variation: None,
        peak_to_mean_100ms: None,
        peak_to_mean_sample: Some(busiest_sample / whole.iops),
        sample_s: (longest > 0.0).then_some(longest),
        clock_s: None,
        depth,
        rows_without_depth: (
            part.iter().filter(|sample| blind(sample)).count() as u64,
            part.len() as u64,
        ),
        depth_most: None,
        arrivals,
        notes,
        toml: String::new(),
        whole,
        busiest,
    };
    derived.toml = toml(&derived, names);
    derived
}

fn rate(sample: &Sample) -> f64 {
    sample.reads + sample.writes
}

/// What a sample counts for in a mean: its length; one alone, of unknown length, is all there is.
fn weight(sample: &Sample) -> f64 {
    if sample.span_s > 0.0 {
        sample.span_s
    } else {
        1.0
    }
}

/// Rows in which I/Os and bytes do not go together.
fn apart(samples: &[Sample]) -> Option<String> {
    let odd = |sample: &&Sample| !sample.goes_together();
    let count = samples.iter().filter(odd).count();
    (count > 0).then(|| {
        format!(
            "in {count} of {} rows there are bytes without I/Os or I/Os without bytes, as where small figures were rounded: both \
             are counted as they stand",
            samples.len()
        )
    })
}

/// Fewest samples that tell of a law.
const SAMPLES_MIN: usize = 10;

/// How the rate swings from sample to sample.
struct Swings {
    /// Windows of whole samples: length, and the index of dispersion in them.
    recorded: Vec<(f64, f64)>,
    /// How long all of them are, seconds.
    span_s: f64,
    arrivals: DerivedArrivals,
}

impl Swings {
    fn of(part: &[Sample], iops: f64) -> Self {
        let span = part[0].span_s;
        let alike = part
            .iter()
            .all(|sample| (sample.span_s - span).abs() <= 1e-6 * span);
        if part.len() < SAMPLES_MIN || !alike {
            return Self {
                recorded: Vec::new(),
                span_s: 0.0,
                arrivals: DerivedArrivals::Poisson,
            };
        }
        let counts = |samples: usize| -> Vec<f64> {
            let groups = part.chunks_exact(samples);
            let sum = |group: &[Sample]| group.iter().map(|one| rate(one) * span).sum();
            groups.map(sum).collect()
        };
        let sizes = [1, 2, 5, 10, 20, 50, 100];
        let sizes = sizes.iter().copied();
        let sizes: Vec<usize> = sizes.filter(|n| part.len() / n >= SAMPLES_MIN).collect();
        let recorded: Vec<(f64, f64)> = sizes
            .iter()
            .filter_map(|n| Some((*n as f64 * span, index_of(&counts(*n))?)))
            .collect();
        let grid: Vec<(f64, Vec<f64>)> = sizes
            .iter()
            .map(|n| (*n as f64 * span, counts(*n)))
            .collect();
        let chance = two_states(&grid, iops, &recorded);
        let samples = grid
            .first()
            .map(|(span, counts)| (*span, counts.as_slice()));
        let clock = samples.and_then(|samples| clockwork(samples, iops, &recorded));
        let swings = recorded.iter().any(|(_, index)| *index >= CALM);
        let arrivals = match clock.filter(|_| swings) {
            Some((distance, law)) if distance < error(chance, &recorded) => law,
            _ => chance,
        };
        Self {
            arrivals,
            recorded,
            span_s: part.len() as f64 * span,
        }
    }

    fn dispersion(&self) -> Vec<Dispersion> {
        let row = |(window_s, recorded): &(f64, f64)| {
            let windows = (self.span_s / window_s + 1e-6).floor() as usize;
            Dispersion {
                window_s: *window_s,
                recorded: Some(*recorded),
                modelled: Some(in_step(self.arrivals, *window_s, windows)),
            }
        };
        self.recorded.iter().map(row).collect()
    }

    /// What of the swings is kept.
    fn words(&self, part: &[Sample]) -> Vec<String> {
        let rates = || part.iter().map(rate);
        let (least, most) = (
            rates().fold(f64::INFINITY, f64::min),
            rates().fold(0.0, f64::max),
        );
        let range = format!("from {least:.0} to {most:.0} I/Os a second");
        let most_index = self.recorded.iter().map(|row| row.1).fold(0.0, f64::max);
        match self.arrivals {
            DerivedArrivals::Bursty {
                peak,
                base,
                burst_s,
                every_s,
                law: DerivedLaw::Fixed,
            } => vec![
                format!(
                    "kept: the mean rate exactly, and that the rate swings as of a clock ({range}): {} I/Os a second for {}, every {}, and {} \
                     between; not kept: how one swing differs from another",
                    rounded(peak),
                    time_in_words(burst_s),
                    time_in_words(every_s),
                    rounded(base)
                ),
                run_length(every_s),
            ],
            DerivedArrivals::Bursty { every_s, .. } => vec![
                format!(
                    "kept: the mean rate exactly, and how the rate swings from sample to sample ({range}), as far as two rates can; \
                     not kept: its highest samples, and regular periods"
                ),
                run_length(every_s),
            ],
            _ if part.len() < 2 || most == least => Vec::new(),
            _ if self.recorded.is_empty() => vec![format!(
                "not kept: the swings from sample to sample, {range}; arrivals have the mean rate of the stretch alone, for a law \
                 takes {SAMPLES_MIN} samples of one length in five minutes"
            )],
            _ if most_index >= CALM => vec![format!(
                "not kept: the swings from sample to sample, {range}: too few of them to fit a law to, though variance ÷ mean reaches {} \
                 where the Poisson arrivals that are printed have 1. The workload is calmer than the recording and never as busy as its \
                 busiest samples: cut the recording to those to size for them",
                rounded(most_index)
            )],
            _ => vec![format!(
                "the rate of the samples goes {range}, no further than Poisson arrivals of the mean rate do"
            )],
        }
    }
}

/// Whether a busy sample says nothing of what was outstanding.
fn blind(sample: &Sample) -> bool {
    rate(sample) > 0.0 && sample.latency_us.is_none() && sample.queue.is_none()
}

/// From this factor between what is outstanding by Little's law and by the queue on it is said that they disagree: a choice of this
/// program.
const DISAGREE: f64 = 1.5;

/// Where a recording has both, that the queue is not rate × latency, as it has to be by Little's law.
fn disagree(part: &[Sample]) -> Option<String> {
    let both = part.iter().filter_map(|sample| {
        let by_law = rate(sample) * sample.latency_us? / 1e6;
        Some((
            by_law * weight(sample),
            sample.queue? * weight(sample),
            weight(sample),
        ))
    });
    let (law, queue, span) = both.fold((0.0, 0.0, 0.0), |(law, queue, span), own| {
        (law + own.0, queue + own.1, span + own.2)
    });
    let (most, least) = (f64::max(law, queue), f64::min(law, queue));
    (span > 0.0 && most > DISAGREE * least).then(|| {
        format!(
            "the queue and rate × latency disagree by more than a factor of {DISAGREE}: {} and {} outstanding on the mean, which are one by \
             Little's law. The latter is printed; check the units of the columns, and whether the queue is what waits alone, or counts \
             another layer",
            rounded(queue / span),
            rounded(law / span)
        )
    })
}

/// Little's law where latency is known, else the queue itself; `None` where a busy sample has neither.
pub(super) fn depth_of(part: &[Sample]) -> Option<f64> {
    let each = part.iter().map(|sample| {
        let rate = rate(sample);
        let by_law = sample.latency_us.map(|latency| rate * latency / 1e6);
        let idle = (rate == 0.0).then_some(0.0);
        Some(by_law.or(sample.queue).or(idle)? * weight(sample))
    });
    let total: f64 = each.collect::<Option<Vec<f64>>>()?.iter().sum();
    Some(total / part.iter().map(weight).sum::<f64>())
}

#[cfg(test)]
mod tests;
