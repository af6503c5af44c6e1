//! A recorded trace in many copies over the fabric of the demonstration: every I/O of every copy, no more and
//! no less, and its bursts.
//!
//! The excerpt that ships is always replayed. The whole minute it is from does not ship; where it lies beside
//! the project it is replayed too, against the figures published with it (I/Os, bytes, size mix, peaks).

use super::rig::{DEMO, case, origin, site_with, work};
use halfloom::outcome::{Report, Steady, WorkloadFigures};
use halfloom::site::{Arrivals, Per, Replay, Site, WarmUp};
use halfloom::study::{NoProgress, simulate};
use halfloom::unit::Duration;
use halfloom::wire::Op;
use std::path::Path;

const SCENARIO: &str = include_str!("../../scenarios/ostrel-replay.toml");
const EXCERPT: &str = "traces/vm-disk-excerpt.csv";
/// Beside the project, perhaps.
const MINUTE: &str = "../../shared/data/vm-disk-cloudphysics-busy60s.csv";

/// The scenario that ships, with this trace, once around it, nothing left out.
fn replayed(trace: &str, copies: u32, aligned: bool) -> Site {
    let (copies, aligned) = (copies.to_string(), aligned.to_string());
    let set = [
        ("workload.machines.arrivals.replay", trace),
        ("workload.machines.arrivals.copies", copies.as_str()),
        ("workload.machines.arrivals.aligned", aligned.as_str()),
        ("run.replications", "1"),
        ("run.warm_up", "0s"),
    ];
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("scenarios");
    let mut site = site_with(SCENARIO, &set, &|name| {
        std::fs::read_to_string(folder.join(name)).map_err(|error| error.to_string())
    });
    site.run.duration = replay(&site).span;
    assert_eq!(site.run.warm_up, WarmUp::At(Duration::ZERO));
    site
}

fn replay(site: &Site) -> Replay {
    match &site.workloads[0].arrivals {
        Arrivals::Replay(replay) => replay.clone(),
        other => panic!("no replay: {other:?}"),
    }
}

fn run(site: &Site) -> Report {
    simulate(site, origin(site), &NoProgress)
}

/// What one copy asks for, counted from the trace itself.
#[derive(Debug, Default)]
struct Asked {
    reads: u64,
    writes: u64,
    read_bytes: u64,
    write_bytes: u64,
    /// Data frames of 2048 B (FC, common practice).
    read_frames: u64,
    write_frames: u64,
}

fn asked(replay: &Replay) -> Asked {
    let mut asked = Asked::default();
    for entry in replay.entries.iter() {
        let (size, frames) = (u64::from(entry.size), u64::from(entry.size).div_ceil(2048));
        match entry.op {
            Op::Read => {
                asked.reads += 1;
                asked.read_bytes += size;
                asked.read_frames += frames;
            }
            Op::Write => {
                asked.writes += 1;
                asked.write_bytes += size;
                asked.write_frames += frames;
            }
        }
    }
    asked
}

/// Frames and payload of the links of the array in one direction.
fn at_the_array(steady: &Steady, tier: &str) -> (u64, u64) {
    let links = steady.directions.iter().filter(|d| d.tier == tier);
    links.fold((0, 0), |sum, link| {
        (sum.0 + link.frames, sum.1 + link.payload_bytes)
    })
}

/// Arrivals in bins of the result's width, those wholly inside the run.
#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
fn binned(replay: &Replay, width: Duration) -> Vec<f64> {
    let mut bins = vec![0.0; (replay.span.0 / width.0) as usize];
    for entry in replay.entries.iter() {
        if let Some(bin) = bins.get_mut((entry.at.0 / width.0) as usize) {
            *bin += 1.0;
        }
    }
    bins
}

/// Variance ÷ mean of counts, 1 for a Poisson stream.
#[allow(clippy::cast_precision_loss)]
fn dispersion(counts: &[f64]) -> f64 {
    let n = counts.len() as f64;
    let mean = counts.iter().sum::<f64>() / n;
    let squares: f64 = counts.iter().map(|count| (count - mean).powi(2)).sum();
    squares / (n - 1.0) / mean
}

/// The counts of arrivals that a result shows over time.
fn shown(steady: &Steady, workload: &WorkloadFigures) -> Vec<f64> {
    let whole = |bin: &&halfloom::outcome::SteadyBin| bin.t_s + steady.bin_s <= steady.duration_s;
    let bins = workload.bins.iter().filter(whole);
    bins.map(|bin| (bin.offered_iops * steady.bin_s).round())
        .collect()
}

fn most(counts: &[f64]) -> f64 {
    counts.iter().copied().fold(0.0, f64::max)
}

/// All copies together: every count is that of the trace times the copies, to the frame and the byte.
#[allow(clippy::cast_precision_loss)]
fn every_io_of_every_copy(site: &Site, copies: u64) -> Report {
    let trace = replay(site);
    let asked = asked(&trace);
    let report = run(site);
    let steady = case(&report, "healthy");
    let machines = work(steady, "machines");
    assert_eq!(machines.reads.ios, copies * asked.reads);
    assert_eq!(machines.writes.ios, copies * asked.writes);
    assert_eq!((machines.all.unfinished, machines.all.failed), (0, 0));
    // The last I/O comes a mean gap before the end and is done by then.
    let seconds = steady.duration_s;
    let bytes = copies * (asked.read_bytes + asked.write_bytes);
    let carried = machines.all.throughput_mb_s.value * 1e6 * seconds;
    assert!((carried - bytes as f64).abs() < 1.0, "{carried} of {bytes}");
    // Commands and the data of writes; data and responses of reads, transfer-ready and responses of writes.
    let toward = copies * (asked.reads + asked.writes + asked.write_frames);
    let back = copies * (asked.read_frames + asked.reads + 2 * asked.writes);
    assert_eq!(
        at_the_array(steady, "san > vault"),
        (toward, copies * asked.write_bytes)
    );
    assert_eq!(
        at_the_array(steady, "vault > san"),
        (back, copies * asked.read_bytes)
    );
    // Over time: the trace's own arrivals, bin by bin, times the copies.
    let width = Duration((steady.bin_s * 1e12).round() as u64);
    let expected: Vec<f64> = binned(&trace, width)
        .iter()
        .map(|n| n * copies as f64)
        .collect();
    let counts = shown(steady, machines);
    assert_eq!(counts, expected);
    assert!(
        (dispersion(&counts) / (copies as f64 * dispersion(&binned(&trace, width))) - 1.0).abs()
            < 1e-9
    );
    report
}

/// Copies that start apart: as many I/Os, and the bytes but for those in flight at the end.
#[allow(clippy::cast_precision_loss)]
fn every_io_of_shifted_copies(site: &Site, copies: u64) -> Report {
    let asked = asked(&replay(site));
    let report = run(site);
    let steady = case(&report, "healthy");
    let machines = work(steady, "machines");
    assert_eq!(machines.reads.ios, copies * asked.reads);
    assert_eq!(machines.writes.ios, copies * asked.writes);
    assert_eq!((machines.all.unfinished, machines.all.failed), (0, 0));
    let bytes = (copies * (asked.read_bytes + asked.write_bytes)) as f64;
    let carried = machines.all.throughput_mb_s.value * 1e6 * steady.duration_s;
    assert!(
        carried <= bytes + 1.0 && carried > 0.999 * bytes,
        "{carried} of {bytes}"
    );
    report
}

/// The same sizes and reads at the same mean rate, without the bursts.
#[allow(clippy::cast_precision_loss)]
fn smoothed(site: &Site, copies: u32) -> Site {
    let trace = replay(site);
    let rate = f64::from(copies) * trace.entries.len() as f64 / trace.span.as_secs_f64();
    let mut smooth = site.clone();
    smooth.workloads[0].arrivals = Arrivals::Poisson(rate);
    smooth.workloads[0].per = Per::Workload;
    smooth
}

/// The fullest link between edge and SAN in the busiest bin, per cent.
fn asked_peak(report: &Report) -> f64 {
    let links = case(report, "healthy").directions.iter();
    let between = links.filter(|d| d.family == "edge-san");
    between.map(|d| d.asked_peak_percent).fold(0.0, f64::max)
}

fn counts(report: &Report) -> Vec<f64> {
    let steady = case(report, "healthy");
    shown(steady, work(steady, "machines"))
}

#[allow(clippy::cast_precision_loss)]
fn peak_to_mean(report: &Report) -> f64 {
    let counts = counts(report);
    most(&counts) * counts.len() as f64 / counts.iter().sum::<f64>()
}

/// The scenario is the demonstration's fabric and not one that looks like it.
#[test]
fn the_fabric_is_that_of_the_demonstration() {
    let fabric = |text: &'static str| {
        let from = text.find("# ------").expect("hosts");
        let to = text.find("work and promises").expect("work");
        &text[from..to]
    };
    assert_eq!(fabric(SCENARIO), fabric(DEMO));
}

#[test]
fn an_excerpt_in_many_copies_is_replayed_whole() {
    // 36.7 MB/s a copy on the mean; a link between edge and SAN carries 3400.
    let together = every_io_of_every_copy(&replayed(EXCERPT, 12, true), 12);
    let apart = every_io_of_shifted_copies(&replayed(EXCERPT, 12, false), 12);
    let smooth = run(&smoothed(&replayed(EXCERPT, 12, true), 12));
    assert!(peak_to_mean(&together) > peak_to_mean(&apart));
    assert!(peak_to_mean(&apart) > peak_to_mean(&smooth));
    assert!(asked_peak(&together) > 2.0 * asked_peak(&smooth));
}

/// The busiest minute of the published recording, four copies. Its figures: 24,088 I/Os of which 0.4768 reads,
/// 18.85 MB/s, 8192 B 0.4551 and 65,536 B 0.4356 of the reads, 65,536 B 0.3980 and 69,632 B 0.3854 of the
/// writes, 3140 I/Os a second in the busiest 100 ms, 7.82 times the mean, dispersion 46 in 100 ms.
#[test]
#[allow(clippy::cast_precision_loss)]
fn a_recorded_minute_in_many_copies_is_replayed_whole() {
    let place = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("scenarios")
        .join(MINUTE);
    if !place.exists() {
        println!("skipped: {} is not there", place.display());
        return;
    }
    const COPIES: u32 = 4;
    let aligned = replayed(MINUTE, COPIES, true);
    let trace = replay(&aligned);
    let one = asked(&trace);
    assert_eq!((one.reads, one.writes), (11_486, 12_602));
    let mb_s = (one.read_bytes + one.write_bytes) as f64 / 1e6 / 59.996_318;
    assert!((mb_s - 18.85).abs() < 0.005, "{mb_s}");
    let sizes = &aligned.workloads[0].sizes;
    for (mix, size, share) in [
        (&sizes.read, 8_192, 0.455_1),
        (&sizes.read, 65_536, 0.435_6),
        (&sizes.read, 4_096, 0.060_4),
        (&sizes.write, 65_536, 0.398_0),
        (&sizes.write, 69_632, 0.385_4),
        (&sizes.write, 61_440, 0.071_6),
    ] {
        let found = mix
            .iter()
            .find(|(known, _)| *known == size)
            .expect("a size")
            .1;
        assert!((found - share).abs() < 0.000_05, "{size}: {found}");
    }
    assert!((aligned.workloads[0].read - 0.4768).abs() < 0.000_05);
    let tenths = binned(&trace, Duration::from_ms(100));
    assert!((most(&tenths) / 0.1 - 3_140.0).abs() < 1e-9);
    assert!(
        (dispersion(&tenths) - 46.0).abs() < 0.5,
        "{}",
        dispersion(&tenths)
    );

    let together = every_io_of_every_copy(&aligned, u64::from(COPIES));
    let apart = every_io_of_shifted_copies(&replayed(MINUTE, COPIES, false), u64::from(COPIES));
    let smooth = run(&smoothed(&aligned, COPIES));
    for (name, report) in [
        ("together", &together),
        ("apart", &apart),
        ("smooth", &smooth),
    ] {
        let machines = work(case(report, "healthy"), "machines");
        println!(
            "{name}: {} I/Os, {:.1} MB/s, peak ÷ mean {:.2} in {} s, dispersion {:.1}, edge-san peak {:.1} %, p99 {:.0} us",
            machines.all.ios,
            machines.all.throughput_mb_s.value,
            peak_to_mean(report),
            case(report, "healthy").bin_s,
            dispersion(&counts(report)),
            asked_peak(report),
            machines.all.quantiles[3]
                .latency_us
                .map_or(f64::NAN, |found| found.value),
        );
    }
    // A Poisson stream of 257 a bin: dispersion 1 ± 0.073 over 374 bins, peak about 3 standard deviations
    // above the mean, 1.19. Copies that start apart keep the dispersion of one, of which four add up.
    let bin = case(&together, "healthy").bin_s;
    assert!((bin - 0.16).abs() < 1e-9, "{bin}");
    assert!((dispersion(&counts(&smooth)) - 1.0).abs() < 0.3);
    assert!(peak_to_mean(&smooth) < 1.35);
    assert!(peak_to_mean(&together) > 5.0);
    assert!(peak_to_mean(&apart) > 1.5 && dispersion(&counts(&apart)) > 20.0);
    assert!(asked_peak(&together) > 4.0 * asked_peak(&smooth));
}
