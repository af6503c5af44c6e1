//! What a recording gives, on recordings worked out by hand.

use super::print::{SIZES_MAX, mix};
use super::statistics::depth_of;
use super::*;
use crate::scenario::Sample;

/// 1,000 I/Os a second of 1 ms are one outstanding, whatever a queue says; without latencies the queue counts.
#[test]
fn the_law_comes_before_a_recorded_queue() {
    let sample = |latency_us: Option<f64>| Sample {
        span_s: 10.0,
        reads: 1_000.0,
        read_bytes: 4.096e6,
        latency_us,
        queue: Some(32.0),
        ..Sample::default()
    };
    let depth = |sample: Sample| depth_of(&[sample]).unwrap();
    assert!((depth(sample(Some(1_000.0))) - 1.0).abs() < 1e-9);
    assert!((depth(sample(None)) - 32.0).abs() < 1e-9);
}

fn io(at_us: u64, op: Op, size: u64, latency_us: u64) -> Recorded {
    Recorded {
        at_ns: at_us * 1000,
        op,
        size,
        latency_ns: Some(latency_us * 1000),
    }
}

fn names() -> Names {
    Names {
        file: "t.csv".into(),
        workload: "recorded".into(),
        hosts: "app".into(),
        array: "store".into(),
        protocol: Some("fc-scsi".into()),
        replay: Replay::No,
    }
}

#[test]
fn counts_by_hand() {
    let ios = [
        io(0, Op::Read, 4096, 500),
        io(250, Op::Write, 8192, 1000),
        io(500, Op::Read, 4096, 250),
        io(1000, Op::Read, 1024, 250),
    ];
    let found = derive(&Recording::Trace(ios.to_vec()), &names());
    let work = &found.busiest;
    assert_eq!((work.iops, work.read_share), (4000.0, 0.75));
    assert_eq!(work.mb_s, 17.408);
    assert_eq!(work.read_sizes, [(4096, 2.0 / 3.0), (1024, 1.0 / 3.0)]);
    // 2 ms of latency in 1 ms; the third begins as the first ends, and three never meet.
    assert_eq!((found.depth, found.depth_most), (Some(2.0), Some(2)));
    assert_eq!(found.whole, found.busiest);
    assert!(
        found
            .toml
            .contains("\"4096B\" = 0.666666667, \"1024B\" = 0.333333333")
    );
    assert!(
        found
            .toml
            .contains("poisson = { value = \"4000/s\", basis = \"measured\"")
    );
}

#[test]
fn the_busiest_stretch_is_found() {
    let mut ios: Vec<Recorded> = (0..100)
        .map(|i| io(i * 10_000_000, Op::Read, 512, 1))
        .collect();
    ios.extend((0..1000).map(|i| io(500_000_000 + i * 1000, Op::Write, 512, 1)));
    ios.sort_by_key(|io| io.at_ns);
    let found = derive(&Recording::Trace(ios), &names());
    assert!(
        (201.0..=500.0).contains(&found.busiest_from_s),
        "{}",
        found.busiest_from_s
    );
    assert_eq!(
        (found.busiest.span_s, found.busiest.ios),
        (Some(300.0), Some(1030.0))
    );
}

#[test]
fn statistics_say_what_they_do_not_know() {
    let sample = |from: f64, reads: f64, latency: Option<f64>| Sample {
        from_s: from,
        span_s: 60.0,
        reads,
        writes: 100.0,
        read_bytes: reads * 8192.0,
        write_bytes: 409_600.0,
        latency_us: latency,
        queue: None,
    };
    let all: Vec<Sample> = (0..10)
        .map(|i| {
            sample(
                60.0 * f64::from(i),
                if i < 5 { 100.0 } else { 300.0 },
                Some(500.0),
            )
        })
        .collect();
    let found = derive(&Recording::Statistics(all), &names());
    assert_eq!(
        (found.busiest_from_s, found.busiest.span_s),
        (300.0, Some(300.0))
    );
    assert_eq!((found.busiest.iops, found.whole.iops), (400.0, 300.0));
    assert_eq!(found.depth, Some(0.2));
    assert!(found.dispersion.is_empty() && found.notes[0].contains("unknown"));
    assert!((found.peak_to_mean_sample.unwrap() - 4.0 / 3.0).abs() < 1e-12);
    // One busy minute counts the same wherever it is, also at the end, where no five minutes follow it.
    for busy in [0, 7, 19] {
        let all: Vec<Sample> = (0..20)
            .map(|i| {
                let reads = if i == busy { 1_900.0 } else { 900.0 };
                sample(60.0 * f64::from(i), reads, None)
            })
            .collect();
        let found = derive(&Recording::Statistics(all), &names()).busiest;
        assert_eq!((found.span_s, found.iops), (Some(300.0), 1_200.0), "{busy}");
    }
    // Ten minutes are missing before a busy one: its five minutes are those after it, and the gap is told.
    let gap: Vec<Sample> = (0..20)
        .map(|i| {
            let reads = if i == 10 { 1_900.0 } else { 900.0 };
            let late = if i < 10 { 0.0 } else { 600.0 };
            sample(late + 60.0 * f64::from(i), reads, None)
        })
        .collect();
    let found = derive(&Recording::Statistics(gap), &names());
    assert_eq!(
        (found.busiest_from_s, found.busiest.span_s),
        (1_200.0, Some(300.0))
    );
    assert_eq!(
        (found.busiest.iops, found.whole.span_s),
        (1_200.0, Some(1_200.0))
    );
    assert!(found.notes[0].starts_with("samples are missing: 600\u{202F}s from 600\u{202F}s on."));
    let blind = derive(
        &Recording::Statistics(vec![sample(0.0, 5.0, None)]),
        &names(),
    );
    assert_eq!(blind.depth, None);
    assert!(blind.toml.contains("unknown"));
}

/// One sample says rates, and not how long it is: neither a length nor a number of I/Os is told.
#[test]
fn a_sample_alone_has_no_length() {
    let text = "time,reads_per_s,writes_per_s,read_bytes_per_s,write_bytes_per_s,latency_us\n60,100,0,819200,0,500\n";
    let found = crate::scenario::recording("s.csv", text).expect("it can be read");
    let found = derive(&found, &names());
    let work = &found.busiest;
    assert_eq!((work.span_s, work.ios, found.sample_s), (None, None, None));
    assert_eq!((work.iops, found.depth), (100.0, Some(0.05)));
    let asked = found.notes.iter().find(|note| note.contains("one sample"));
    assert!(asked.expect("it is said").contains("two rows"));
    assert!(
        found.toml.contains("one sample of unknown length"),
        "{}",
        found.toml
    );
}

/// Thirty samples of 10 s, three in ten of them at 1,000 a second, the others at 100: two rates, of mean 370.
#[test]
fn swings_from_sample_to_sample_are_kept_where_they_can_be_told() {
    let samples = |count: usize, high: f64| -> Vec<Sample> {
        (0..count)
            .map(|i| {
                let reads = if i % 10 < 3 { high } else { 100.0 };
                Sample {
                    from_s: 10.0 * i as f64,
                    span_s: 10.0,
                    reads,
                    read_bytes: reads * 4096.0,
                    ..Sample::default()
                }
            })
            .collect()
    };
    let found = derive(&Recording::Statistics(samples(30, 1_000.0)), &names());
    let DerivedArrivals::Bursty {
        peak,
        base,
        burst_s,
        every_s,
        ..
    } = found.arrivals
    else {
        panic!("{:?}", found.arrivals);
    };
    let share = burst_s / every_s;
    assert!((share * peak + (1.0 - share) * base - 370.0).abs() < 1e-6);
    assert!(peak > 2.0 * base && burst_s > 5.0, "{:?}", found.arrivals);
    let first = &found.dispersion[0];
    assert_eq!(first.window_s, 10.0);
    let ratio = first.modelled.unwrap() / first.recorded.unwrap();
    assert!((0.7..1.4).contains(&ratio), "{first:?}");
    assert!(
        found
            .notes
            .iter()
            .any(|note| note.contains("from sample to sample"))
    );
    // Samples that follow one another without any order are bursts of their own length, and no higher than the highest.
    let order = [
        0, 1, 0, 0, 0, 1, 1, 0, 0, 0, 0, 1, 0, 0, 1, 0, 0, 0, 1, 0, 0, 1, 1, 0, 0, 0, 0, 0, 1, 0,
    ];
    let mixed: Vec<Sample> = samples(30, 0.0)
        .into_iter()
        .zip(order)
        .map(|(sample, high)| {
            let reads = [100.0, 900.0][high];
            Sample {
                reads,
                read_bytes: reads * 4096.0,
                ..sample
            }
        })
        .collect();
    let white = derive(&Recording::Statistics(mixed), &names());
    let DerivedArrivals::Bursty { peak, burst_s, .. } = white.arrivals else {
        panic!("{:?}", white.arrivals);
    };
    assert!(burst_s >= 10.0 && peak <= 901.0, "{:?}", white.arrivals);
    // Five samples are too few for a law: that the swing is lost is said, with its size.
    let few = derive(&Recording::Statistics(samples(5, 1_000.0)), &names());
    assert_eq!(few.arrivals, DerivedArrivals::Poisson);
    let lost = few
        .notes
        .iter()
        .find(|note| note.contains("from 100 to 1000"));
    assert!(
        lost.expect("it is said").contains("not kept"),
        "{:?}",
        few.notes
    );
}

/// I/Os larger than a scenario takes are printed at its limit, and that is said.
#[test]
fn sizes_that_scenarios_refuse_are_not_printed() {
    let sample = Sample {
        span_s: 60.0,
        reads: 0.25,
        read_bytes: 0.25 * 90e6,
        ..Sample::default()
    };
    let found = derive(&Recording::Statistics(vec![sample]), &names());
    assert!(
        found.toml.contains("sizes = { value = \"67108864B\", "),
        "{}",
        found.toml
    );
    assert!(
        found.notes.iter().any(|note| note.contains("64 MiB")),
        "{:?}",
        found.notes
    );
}

/// The busiest stretch is that with most I/Os; that another one has more bytes is said.
#[test]
fn busiest_is_by_ios_and_says_where_it_is_by_bytes() {
    let mut ios: Vec<Recorded> = (0..400)
        .map(|i| io(i * 1_000_000, Op::Read, 4096, 1))
        .collect();
    ios.extend((0..100).map(|i| io(1_000_000_000 + i * 2_000_000, Op::Write, 1 << 20, 1)));
    let found = derive(&Recording::Trace(ios), &names());
    assert!(found.busiest_from_s < 400.0);
    let said = "by bytes it is the one from 1000\u{202F}s on";
    assert!(found.notes[0].contains(said), "{:?}", found.notes);
}

/// Twelve windows of 1 ms with one or three I/Os in turn: mean 2, variance 12 ÷ 11. Of 10 ms there is one, which makes
/// no index: unknown of the recording is unknown of its replay, and not as calm as Poisson.
#[test]
fn a_replay_keeps_what_is_recorded_and_knows_no_more() {
    let at = |window: u64, count: u64| {
        (0..count).map(move |i| io(window * 1000 + i * 10, Op::Read, 512, 1))
    };
    let mut ios: Vec<Recorded> = (0..12).flat_map(|w| at(w, 1 + 2 * (w % 2))).collect();
    ios.push(io(12_000, Op::Read, 512, 1));
    let replay = Names {
        replay: Replay::Yes,
        ..names()
    };
    let found = derive(&Recording::Trace(ios.clone()), &replay);
    let first = &found.dispersion[0];
    assert!((first.recorded.unwrap() - 12.0 / 11.0 / 2.0).abs() < 1e-12);
    for row in &found.dispersion {
        assert_eq!(row.modelled, row.recorded, "{row:?}");
    }
    assert_eq!(found.dispersion[1].modelled, None);
    // Fitted, a law says something of every window.
    let fitted = derive(&Recording::Trace(ios), &names());
    assert!(
        fitted
            .dispersion
            .iter()
            .all(|row| row.modelled == Some(1.0))
    );
}

#[test]
fn a_clock_is_paced_and_a_handful_of_ios_is_unknown() {
    let every = |count: u64| -> Recording {
        let all = (0..count).map(|i| io(i * 1000, Op::Read, 512, 1));
        Recording::Trace(all.collect())
    };
    let paced = derive(&every(101), &names());
    // 100 gaps of 1 ms; that 101 I/Os came in 100 ms is an end of the recording and no rate of it.
    assert!(matches!(paced.arrivals, DerivedArrivals::Paced { iops } if iops == 1000.0));
    assert!(
        paced
            .toml
            .contains("arrivals = { paced = { value = \"1000/s\", "),
        "{}",
        paced.toml
    );
    // Even gaps have no dispersion in windows of whole gaps, recorded or modelled.
    for row in &paced.dispersion[..2] {
        assert_eq!(
            (row.recorded, row.modelled),
            (Some(0.0), Some(0.0)),
            "{row:?}"
        );
    }
    assert!(!paced.notes[0].contains("independent"));
    // At half an I/O a window: one in two holds one, variance 1/4 ÷ mean 1/2.
    assert!((by_law(DerivedArrivals::Paced { iops: 500.0 }, 0.001) - 0.5).abs() < 1e-12);
    let few = derive(&every(50), &names());
    assert_eq!(few.arrivals, DerivedArrivals::Poisson);
    assert!(few.notes[0].contains("unknown") && !few.notes[0].contains("independent"));
}

#[test]
fn the_law_of_two_rates_has_its_limits() {
    let law = DerivedArrivals::Bursty {
        peak: 100.0,
        base: 0.0,
        burst_s: 1.0,
        every_s: 2.0,
        law: DerivedLaw::Exponential,
    };
    // Long windows: 1 + 2 × ¼ × 100² ÷ (50 × 2); short ones are Poisson.
    assert!((by_law(law, 1e6) - 51.0).abs() < 1e-3);
    assert!((by_law(law, 1e-9) - 1.0).abs() < 1e-6);
    assert_eq!(by_law(DerivedArrivals::Poisson, 1.0), 1.0);
}

/// Bursts of 0.1 s every 0.5 s at 1,000 and else 0 I/Os a second, 200 on the mean: windows of whole cycles see no more than
/// chance. In a window of 0.1 s that begins anywhere the time in a burst is a triangle: its squares are 2 ÷ 3 × 0.1³ ÷ 0.5 on
/// the mean, 0.02² less is its variance, and 1,000² times that over 20 I/Os comes on top of chance.
#[test]
fn the_law_of_fixed_bursts_is_that_on_paper() {
    let law = |base: f64| DerivedArrivals::Bursty {
        peak: 1_000.0,
        base,
        burst_s: 0.1,
        every_s: 0.5,
        law: DerivedLaw::Fixed,
    };
    assert!((by_law(law(0.0), 1.0) - 1.0).abs() < 1e-6);
    assert!((by_law(law(0.0), 2.5) - 1.0).abs() < 1e-6);
    let variance = 2.0 / 3.0 * 0.001 / 0.5 - 0.0004;
    assert!((by_law(law(0.0), 0.1) - 1.0 - 1e6 * variance / 20.0).abs() < 1e-6);
    // Without a difference there are no bursts.
    assert!((by_law(law(1_000.0), 0.1) - 1.0).abs() < 1e-9);
    // The mean over phases by counting: windows of 0.3 s, a thousand phases.
    let overlap = |phase: f64| {
        let within = |from: f64| (from + 0.1).min(phase + 0.3) - from.max(phase);
        [0.0, 0.5]
            .map(|from| within(from).max(0.0))
            .iter()
            .sum::<f64>()
    };
    let phases: Vec<f64> = (0..1000).map(|i| overlap(f64::from(i) * 0.0005)).collect();
    let squares = phases.iter().map(|time| (time - 0.06).powi(2)).sum::<f64>() / 1000.0;
    let counted = 1.0 + 1e6 * squares / 60.0;
    assert!((by_law(law(0.0), 0.3) / counted - 1.0).abs() < 1e-3);
}

/// Bursts of 100 ms every half second, at random within, are said as what they are, and not as bursts by chance.
#[test]
fn bursts_of_a_clock_keep_their_length_and_their_distance() {
    use rand::{RngExt, SeedableRng};
    let mut random = rand_xoshiro::Xoshiro256PlusPlus::seed_from_u64(7);
    let mut ios = Vec::new();
    for burst in 0..100_u64 {
        let count = (0..10_000)
            .filter(|_| random.random_range(0..20) == 0)
            .count();
        let mut times: Vec<u64> = (0..count)
            .map(|_| random.random_range(0..100_000))
            .collect();
        times.sort_unstable();
        ios.extend(
            times
                .into_iter()
                .map(|at| io(burst * 500_000 + at, Op::Read, 4096, 1)),
        );
    }
    let found = derive(&Recording::Trace(ios), &names());
    let DerivedArrivals::Bursty {
        peak,
        base,
        burst_s,
        every_s,
        law: DerivedLaw::Fixed,
    } = found.arrivals
    else {
        panic!("{:?}", found.arrivals);
    };
    assert!((every_s - 0.5).abs() < 0.003, "{every_s}");
    assert!((burst_s - 0.1).abs() < 0.01, "{burst_s}");
    assert!(
        (peak - 5_000.0).abs() < 500.0 && base < 100.0,
        "{peak} {base}"
    );
    for row in &found.dispersion {
        if let Some((recorded, modelled)) = row.recorded.zip(row.modelled)
            && recorded > 2.0
        {
            assert!((0.75..1.33).contains(&(modelled / recorded)), "{row:?}");
        }
    }
    assert!(found.toml.contains("law = \"fixed\""), "{}", found.toml);
    assert!(
        found
            .notes
            .iter()
            .any(|note| note.contains("as of a clock"))
    );
}

/// 1,000 I/Os a second, stamped in whole seconds: below a second nothing is known, and the last second is a whole one.
#[test]
fn a_clock_that_is_coarser_than_the_gaps_says_nothing_below_its_steps() {
    let of = |step_us: u64| {
        let at = |i: u64| i * 1_000 / step_us * step_us;
        let ios = (0..20_000).map(|i| io(at(i), Op::Read, 4096, 1)).collect();
        derive(&Recording::Trace(ios), &names())
    };
    let found = of(1_000_000);
    assert_eq!(found.clock_s, Some(1.0));
    assert_eq!(
        (found.busiest.iops, found.busiest.span_s),
        (1_000.0, Some(20.0))
    );
    let known: Vec<bool> = found
        .dispersion
        .iter()
        .map(|row| row.recorded.is_some())
        .collect();
    assert_eq!(known, [false, false, false, true, false]);
    assert_eq!(
        (found.gap_variation, found.peak_to_mean_100ms),
        (None, None)
    );
    assert_eq!(found.arrivals, DerivedArrivals::Poisson);
    assert!(!found.notes.iter().any(|note| note.contains("independent")));
    assert!(
        found.notes[0].contains("below 1\u{202F}s is unknown"),
        "{:?}",
        found.notes
    );
    let tenth = of(10_000);
    assert_eq!(tenth.clock_s, Some(0.01));
    assert_eq!(tenth.dispersion[0].recorded, None);
    assert!(tenth.dispersion[1].recorded.is_some());
    // A clock as fine as the gaps hides nothing.
    let fine = of(1_000);
    assert_eq!(fine.clock_s, None);
    assert!(matches!(fine.arrivals, DerivedArrivals::Paced { .. }));
}

/// Poisson arrivals from 0.5 s to 60.5 s, stamped in whole seconds: the halves at both ends are neither bursts nor a lower rate.
#[test]
fn a_recording_that_ends_within_a_step_has_its_rate_and_no_bursts() {
    use rand::{RngExt, SeedableRng};
    let mut random = rand_xoshiro::Xoshiro256PlusPlus::seed_from_u64(5);
    let mut times: Vec<u64> = (0..120_000)
        .map(|_| random.random_range(500_000..60_500_000_u64))
        .collect();
    times.sort_unstable();
    let stamped = times.into_iter().map(|at| at / 1_000_000 * 1_000_000);
    let ios = stamped.map(|at| io(at, Op::Read, 4096, 1)).collect();
    let found = derive(&Recording::Trace(ios), &names());
    assert!(
        (found.busiest.iops / 2_000.0 - 1.0).abs() < 0.003,
        "{}",
        found.busiest.iops
    );
    assert_eq!(found.arrivals, DerivedArrivals::Poisson);
    for row in &found.dispersion {
        assert!(row.recorded.is_none_or(|index| index < 2.0), "{row:?}");
    }
}

/// Two clocks of 1,000 a second, gaps of 0.3 and 0.7 ms in turn, come as evenly as one of 2,000; gaps of four exponential parts
/// vary half as much as independent ones, and what is printed varies more: that is said.
#[test]
fn what_is_calmer_than_chance_is_paced_or_said_to_be() {
    use rand::{RngExt, SeedableRng};
    let both = (0..20_000_u64).flat_map(|i| [i * 1_000, i * 1_000 + 300]);
    let ios = both.map(|at| io(at, Op::Read, 4096, 1)).collect();
    let found = derive(&Recording::Trace(ios), &names());
    let DerivedArrivals::Paced { iops } = found.arrivals else {
        panic!("{:?}", found.arrivals);
    };
    assert!((iops - 2_000.0).abs() < 0.1, "{iops}");
    assert!(found.notes[0].contains("as evenly as those of a clock"));
    // By a coarse clock too: three in each millisecond.
    let ios = (0..60_000_u64).map(|i| io(i / 3 * 1_000, Op::Read, 4096, 1));
    let found = derive(&Recording::Trace(ios.collect()), &names());
    assert_eq!(found.arrivals, DerivedArrivals::Paced { iops: 3_000.0 });
    assert!(
        found.notes[0].contains("below 1\u{202F}ms is unknown"),
        "{:?}",
        found.notes
    );
    let mut random = rand_xoshiro::Xoshiro256PlusPlus::seed_from_u64(3);
    let mut at = 0.0;
    let ios = (0..20_000).map(|_| {
        let parts: f64 = (0..4)
            .map(|_| -libm::log(random.random_range(1e-9..1.0)))
            .sum();
        at += parts * 250.0;
        io(at as u64, Op::Read, 4096, 1)
    });
    let found = derive(&Recording::Trace(ios.collect()), &names());
    assert_eq!(found.arrivals, DerivedArrivals::Poisson);
    assert!(
        found.notes[0].contains("burstier than the recording")
            && !found.notes[0].contains("as good as independent"),
        "{:?}",
        found.notes
    );
}

/// Samples of 1 s, 100 I/Os a second and each tenth 1,900: a burst of a second every ten. One step in the middle is no law, and
/// the words do not call it calm.
#[test]
fn swings_of_a_clock_are_kept_and_a_single_step_is_told() {
    let of = |rate: &dyn Fn(usize) -> f64| {
        let sample = |i: usize| Sample {
            from_s: i as f64,
            span_s: 1.0,
            reads: rate(i),
            read_bytes: rate(i) * 4096.0,
            ..Sample::default()
        };
        let all = (0..300).map(sample).collect();
        derive(&Recording::Statistics(all), &names())
    };
    let found = of(&|i| if i % 10 == 9 { 1_900.0 } else { 100.0 });
    let DerivedArrivals::Bursty {
        peak,
        base,
        burst_s,
        every_s,
        law: DerivedLaw::Fixed,
    } = found.arrivals
    else {
        panic!("{:?}", found.arrivals);
    };
    let near = |is: f64, wanted: f64| assert!((is / wanted - 1.0).abs() < 0.01, "{is} {wanted}");
    near(peak, 1_900.0);
    near(base, 100.0);
    near(every_s, 10.0);
    near(burst_s, 1.0);
    let turns = of(&|i| if i % 2 == 0 { 1_800.0 } else { 200.0 });
    let fixed = matches!(
        turns.arrivals,
        DerivedArrivals::Bursty {
            law: DerivedLaw::Fixed,
            ..
        }
    );
    assert!(fixed, "{:?}", turns.arrivals);
    let step = of(&|i| if i < 150 { 200.0 } else { 1_800.0 });
    assert_eq!(step.arrivals, DerivedArrivals::Poisson);
    let said = |found: &Derived, words: &str| found.notes.iter().any(|note| note.contains(words));
    assert!(
        said(&step, "too few of them to fit a law to"),
        "{:?}",
        step.notes
    );
    assert!(!said(&step, "no further than Poisson"));
}

/// Twelve bursts of a second each ten seconds, cut off after the last: 540 a second as recorded, 500 over whole times, and both are said.
/// Poisson arrivals of 500 a second over two minutes vary in eleven windows of 10 s as chance has it: that is no burst.
#[test]
fn an_end_within_a_cycle_is_told_and_few_windows_prove_nothing() {
    use rand::{RngExt, SeedableRng};
    let bursts = (0..12_u64).flat_map(|burst| {
        (0..5_000_u64).map(move |i| io(burst * 10_000_000 + i * 200 + i % 7, Op::Read, 512, 1))
    });
    let found = derive(&Recording::Trace(bursts.collect()), &names());
    let told =
        "11.1 of these times long: its mean is 541 I/Os a second as it is, and 500 over whole ones";
    assert!(found.notes[0].contains(told), "{:?}", found.notes);
    for seed in 0..20 {
        let mut random = rand_xoshiro::Xoshiro256PlusPlus::seed_from_u64(seed);
        let mut times: Vec<u64> = (0..30_000)
            .map(|_| random.random_range(0..120_000_000_u64))
            .collect();
        times.sort_unstable();
        let ios = times
            .into_iter()
            .map(|at| io(at, Op::Read, 512, 1))
            .collect();
        let found = derive(&Recording::Trace(ios), &names());
        assert_eq!(found.arrivals, DerivedArrivals::Poisson, "seed {seed}");
    }
}

/// The mark of a measurement is at what was counted, and at nothing else.
#[test]
fn only_what_was_counted_is_marked_as_measured() {
    let ios = (0..200).map(|i| io(i * i * 7, Op::Read, 4096, 1)).collect();
    let found = derive(&Recording::Trace(ios), &names());
    for line in found.toml.lines() {
        let counted = line.starts_with("read =") || line.starts_with("sizes =");
        if counted {
            assert!(
                line.contains("basis = \"measured\", source = \"t.csv"),
                "{line}"
            );
        }
        let bare = ["basis", "source", "name", "protocol"];
        let own = bare.iter().any(|key| line.starts_with(&format!("{key} =")));
        assert!(!own || !line.contains("measured"), "{line}");
    }
    // One of thirty samples without a latency does not make a recording without any.
    let sample = |i: usize| Sample {
        from_s: i as f64,
        span_s: 1.0,
        reads: 100.0,
        read_bytes: 409_600.0,
        latency_us: (i != 3).then_some(500.0),
        ..Sample::default()
    };
    let found = derive(
        &Recording::Statistics((0..30).map(sample).collect()),
        &names(),
    );
    assert_eq!((found.depth, found.rows_without_depth), (None, (1, 30)));
    assert!(
        found
            .toml
            .contains("1 of the 30 rows of the stretch have neither a latency nor a queue"),
        "{}",
        found.toml
    );
}

#[test]
fn many_sizes_keep_their_mean_and_shares_add_up() {
    let sizes: Vec<(u64, f64)> = (1..=100).map(|i| (i * 512, 0.01)).collect();
    let text = mix(&sizes);
    let parts: Vec<(u64, f64)> = text
        .trim_matches(['{', '}', ' '])
        .split(", ")
        .map(|part| {
            let (size, share) = part.split_once(" = ").unwrap();
            let size = size.trim_matches('"').trim_end_matches('B');
            (size.parse().unwrap(), share.parse().unwrap())
        })
        .collect();
    assert_eq!(parts.len(), SIZES_MAX);
    let mean: f64 = parts.iter().map(|row| row.0 as f64 * row.1).sum();
    assert!((mean - 25_856.0).abs() < 1.0, "{mean}");
    let whole: f64 = parts.iter().map(|row| row.1).sum();
    assert!((whole - 1.0).abs() < 1e-9);
}
