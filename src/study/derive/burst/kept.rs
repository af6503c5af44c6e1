//! What arrivals keep of a recording, in sentences.

use super::super::clock::time_in_words;
use super::super::print::rounded;
use super::super::{NS, SCALES_S};
use super::{CALM, IOS_MIN, few};
use crate::outcome::{DerivedArrivals, DerivedLaw};
use crate::scenario::Recorded;

/// A run sees bursts only where it is longer than many of them. Our choice.
pub(in crate::study::derive) fn run_length(every_s: f64) -> String {
    format!(
        "a burst comes every {} s on the mean: a run that is not many times as long sees few of them, or none, and its load \
         is then another; set run.duration to twenty times that or more",
        rounded(every_s)
    )
}

/// What the arrivals that are printed keep of a recording, and what not.
pub(in crate::study::derive) fn kept(
    ios: &[Recorded],
    clock_s: Option<f64>,
    arrivals: DerivedArrivals,
    recorded: &[Option<f64>],
) -> Vec<String> {
    let clock = clock_s.map(|step| {
        let step = time_in_words(step);
        let what = match arrivals {
            DerivedArrivals::Replay => "a replay brings all I/Os of a step at one instant",
            DerivedArrivals::Poisson => "arrivals are Poisson for want of anything known",
            DerivedArrivals::Paced { .. } => {
                "within a step arrivals are as even as the steps are, which is the calmest that they can be"
            }
            _ => "within a step arrivals are Poisson for want of anything known",
        };
        format!(
            "how bursty the work is below {step} is unknown: all times are whole steps of {step}, and many I/Os share one; {what}"
        )
    });
    let said = match arrivals {
        DerivedArrivals::Poisson if clock.is_some() && !few(ios) => calmer(recorded),
        DerivedArrivals::Poisson if clock.is_some() => Vec::new(),
        DerivedArrivals::Poisson if !few(ios) => match calmer(recorded) {
            none if none.is_empty() => vec![INDEPENDENT.to_owned()],
            calmer => calmer,
        },
        _ => of_arrivals(ios, arrivals),
    };
    clock.into_iter().chain(said).collect()
}

/// What the mean is over whole times from burst to burst, where a recording ends within one: with its last burst it holds one more
/// of them than of the silences between.
fn cut_off(ios: &[Recorded], every_s: f64) -> String {
    let ends = ios.first().zip(ios.last());
    let (first, last) = ends.map_or((0, 0), |(first, last)| (first.at_ns, last.at_ns));
    let cycles = (last - first) as f64 / NS / every_s;
    let whole = cycles.floor() * every_s;
    let within = ios.partition_point(|io| ((io.at_ns - first) as f64) < whole * NS) as f64;
    let (mean, own) = (within / whole, ios.len() as f64 / (cycles * every_s));
    if cycles < 1.0 || (own / mean - 1.0).abs() < APART {
        return String::new();
    }
    format!(
        ". The recording is {cycles:.1} of these times long: its mean is {} I/Os a second as it is, and {} over whole ones",
        rounded(own),
        rounded(mean)
    )
}

/// Means that differ by less are told as one. Our choice.
const APART: f64 = 0.02;

/// Three significant digits.
fn rounded_time(seconds: f64) -> f64 {
    let unit = libm::pow(10.0, libm::floor(libm::log10(seconds.max(1e-9))) - 2.0);
    (seconds / unit).round() * unit
}

const INDEPENDENT: &str = "the gaps are as good as independent: arrivals are Poisson, which keeps the mean rate and adds no bursts";

/// That a recording is calmer than the chance that is printed; nothing where it is not.
fn calmer(recorded: &[Option<f64>]) -> Vec<String> {
    let known = || recorded.iter().flatten().copied();
    let (least, most) = known().fold((f64::INFINITY, 0.0_f64), |(least, most), index| {
        (least.min(index), most.max(index))
    });
    if known().next().is_none() || most * CALM > 1.0 {
        return Vec::new();
    }
    vec![format!(
        "I/Os come more evenly than by chance: variance ÷ mean is {least:.2} to {most:.2} where Poisson arrivals have 1. They are \
         printed as Poisson, which keeps the mean rate and is burstier than the recording; `paced` would be calmer than it, and --replay \
         brings it as it is"
    )]
}

fn of_arrivals(ios: &[Recorded], arrivals: DerivedArrivals) -> Vec<String> {
    match arrivals {
        DerivedArrivals::Poisson if few(ios) => vec![format!(
            "how bursty the work is is unknown: {} I/Os are too few to tell, {IOS_MIN} or more would; arrivals are Poisson for \
             want of anything known, and keep the mean rate alone",
            ios.len()
        )],
        DerivedArrivals::Paced { .. } => vec![
            "I/Os come as evenly as those of a clock: arrivals are paced, which keeps the mean rate and adds no chance"
                .to_owned(),
        ],
        DerivedArrivals::Poisson => vec![INDEPENDENT.to_owned()],
        DerivedArrivals::Bursty {
            peak,
            base,
            burst_s,
            every_s,
            law: DerivedLaw::Fixed,
        } => vec![
            format!(
                "kept: the mean rate exactly, and that bursts come as of a clock, one every {}. How long they are, {}, and the rates in \
                 and between them, {} and {} I/Os a second, are those that come nearest to the index of dispersion by window, and not \
                 counted burst by burst: bursts shorter than {} look alike",
                time_in_words(rounded_time(every_s)),
                time_in_words(rounded_time(burst_s)),
                rounded(peak),
                rounded(base),
                time_in_words(SCALES_S[0])
            ) + &cut_off(ios, every_s),
            "not kept: how one burst differs from another, which sizes and operations come together, and places on the disk; \
             --replay keeps all of it"
                .to_owned(),
            run_length(every_s),
        ],
        DerivedArrivals::Bursty { every_s, .. } => vec![
            "kept: the mean rate exactly, and how strongly the rate swings between bursts and the time between them, as \
             far as two rates can (see the index of dispersion by window)"
                .to_owned(),
            "not kept: the highest peaks, regular periods, swings longer than the bursts, which sizes and operations \
             come together, and places on the disk; --replay keeps all of it"
                .to_owned(),
            run_length(every_s),
        ],
        DerivedArrivals::Replay => vec![
            "the trace is replayed whole, with every burst as recorded; the figures are those of its busiest stretch"
                .to_owned(),
        ],
    }
}
