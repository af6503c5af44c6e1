//! Recordings: what is counted is what their own description says, and the workload that stands for one brings the
//! same load.

use super::rig::{ask, case, site};
use halfloom::outcome::{Derived, DerivedArrivals};
use halfloom::scenario::recording;
use halfloom::site::Arrivals;
use halfloom::study::derive::{Names, Replay, by_law, derive};
use std::path::Path;

fn derived(text: &str) -> Derived {
    let found = recording("trace.csv", text).expect("it can be read");
    let names = Names {
        file: "trace.csv".into(),
        workload: "recorded".into(),
        hosts: "app".into(),
        array: "store".into(),
        protocol: Some("fc-scsi".into()),
        replay: Replay::No,
    };
    derive(&found, &names)
}

/// A trace that does not come with the project: `None` and a word where it is not there.
fn borrowed(name: &str) -> Option<String> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let beside = root.join("../shared/data").join(name);
    let given = std::env::var_os("HALFLOOM_TRACES").map(|place| Path::new(&place).join(name));
    let mut places = given.into_iter().chain([beside]);
    let found = places.find(|path| path.is_file());
    if found.is_none() {
        println!("skipped: {name} is not there");
    }
    std::fs::read_to_string(found?).ok()
}

/// The last digit that a figure is quoted with, and half a unit of it as what it may be off.
fn is(figure: f64, quoted: &str) {
    let places = quoted.split_once('.').map_or(0, |parts| parts.1.len());
    let unit = 10_f64.powi(-i32::try_from(places).expect("few"));
    let value: f64 = quoted.parse().expect("a number");
    assert!(
        (figure - value).abs() <= unit * 0.51,
        "{figure}, quoted as {quoted}"
    );
}

/// Simulates the workload as it is printed; offered rate and bytes must be those of the recording.
///
/// The number of I/Os in the runs has a variance of index × mean by the law that is printed, and a mean size one of
/// its own; 3.5 deviations are exceeded by chance once in 2,000.
fn brings_the_same_load(found: &Derived, seconds: u32, replications: u32) {
    let text = format!(
        "format = 1\n[run]\nduration = \"{seconds}s\"\nwarm_up = \"0s\"\nreplications = {replications}\n\
         [[host]]\nname = \"app\"\n[[switch]]\nname = \"core\"\n\
         [[array]]\nname = \"store\"\nparallel = 1000\n\
         [[link]]\nfrom = \"app\"\nto = \"core\"\nspeed = \"128GFC\"\n\
         [[link]]\nfrom = \"core\"\nto = \"store\"\nspeed = \"128GFC\"\n{}",
        found.toml
    );
    let printed = site(&text, &[]);
    // By arithmetic first: the law that is printed has the mean of the recording, but for the digits of its rates.
    let asked = match &printed.workloads[0].arrivals {
        Arrivals::Poisson(rate) => *rate,
        Arrivals::Bursty(burst) => {
            let duty = burst.burst.as_secs_f64() / burst.every.as_secs_f64();
            burst.peak * duty + burst.base * (1.0 - duty)
        }
        other => panic!("no law of a recording: {other:?}"),
    };
    let off = asked / found.busiest.iops - 1.0;
    assert!(off.abs() < 0.002, "{asked} for {}", found.busiest.iops);
    let report = ask(&printed, &["A"], false);
    let all = &case(&report, "healthy").workloads[0].all;
    let work = &found.busiest;
    let ios = work.iops * f64::from(seconds * replications);
    let index = by_law(found.arrivals, f64::from(seconds));
    let off = all.offered_iops.value / work.iops - 1.0;
    let may = 3.5 * (index / ios).sqrt();
    assert!(off.abs() < may && may < 0.3, "{off} of {may}");
    let size = all.throughput_mb_s.value * 1e6 / all.completed_iops.value;
    let mean = work.size_bytes.expect("there are I/Os");
    let squares: f64 = [
        (work.read_share, &work.read_sizes),
        (1.0 - work.read_share, &work.write_sizes),
    ]
    .iter()
    .map(|(share, sizes)| {
        let of_op = sizes
            .iter()
            .map(|(size, part)| part * (*size as f64 - mean).powi(2));
        share * of_op.sum::<f64>()
    })
    .sum();
    let may = 3.5 * (squares / ios).sqrt() + 1.0;
    assert!((size - mean).abs() < may, "{size} against {mean}, {may}");
    assert!(all.ios as f64 > 0.5 * ios);
}

#[test]
fn the_excerpt_that_comes_with_the_project_is_stood_for() {
    let found = derived(include_str!("../../scenarios/traces/vm-disk-excerpt.csv"));
    assert_eq!(found.rows, 3000);
    assert!(matches!(found.arrivals, DerivedArrivals::Bursty { .. }));
    brings_the_same_load(&found, 60, 8);
}

/// Figures of the description that lies beside the traces (mean IOPS, MB/s, mix, sizes, dispersion, gaps, depth).
#[test]
fn the_busy_minute_of_a_disk_equals_its_description() {
    let Some(text) = borrowed("vm-disk-cloudphysics-busy60s.csv") else {
        return;
    };
    let found = derived(&text);
    let work = &found.whole;
    assert_eq!((found.rows, work), (24_088, &found.busiest));
    is(work.span_s.unwrap(), "59.996318");
    is(work.iops, "401.5");
    is(work.mb_s, "18.85");
    is(work.read_share, "0.4768");
    is(work.read_byte_share, "0.3418");
    is(work.size_bytes.unwrap(), "46939");
    is(work.read_size_bytes.unwrap(), "33642");
    is(work.write_size_bytes.unwrap(), "59059");
    let top = |sizes: &[(u64, f64)], wanted: &[(u64, &str)]| {
        for ((size, share), (known, quoted)) in sizes.iter().zip(wanted) {
            assert_eq!(size, known);
            is(*share, quoted);
        }
    };
    top(
        &work.read_sizes,
        &[
            (8192, "0.4551"),
            (65_536, "0.4356"),
            (4096, "0.0604"),
            (512, "0.0145"),
        ],
    );
    top(
        &work.write_sizes,
        &[(65_536, "0.3980"), (69_632, "0.3854"), (61_440, "0.0716")],
    );
    is(found.gap_variation.unwrap(), "3.77");
    is(found.peak_to_mean_100ms.unwrap(), "7.82");
    for (row, quoted) in found.dispersion.iter().zip(["5.8", "10.4", "46", "282"]) {
        is(row.recorded.unwrap(), quoted);
    }
    assert_eq!(found.depth, None);
    brings_the_same_load(&found, 60, 8);
}

#[test]
fn two_hours_of_a_disk_equal_their_description() {
    let Some(text) = borrowed("vm-disk-cloudphysics.csv") else {
        return;
    };
    let found = derived(&text);
    let work = &found.whole;
    assert_eq!(found.rows, 113_872);
    is(work.span_s.unwrap(), "7200.089885");
    is(work.iops, "15.82");
    is(work.mb_s, "0.584");
    is(work.read_share, "0.4125");
    is(work.read_byte_share, "0.4273");
    is(work.size_bytes.unwrap(), "36936");
    is(work.read_size_bytes.unwrap(), "38264");
    is(work.write_size_bytes.unwrap(), "36004");
    assert_eq!(work.read_sizes[0].0, 65_536);
    is(work.read_sizes[0].1, "0.4649");
    is(work.write_sizes[0].1, "0.2474");
    assert!(found.busiest.span_s == Some(300.0) && found.busiest.iops > work.iops);
    brings_the_same_load(&found, 300, 8);
}

#[test]
fn a_benchmark_on_a_drive_equals_its_description() {
    let Some(text) = borrowed("nvme-ycsb-rocksdb-opencas.csv") else {
        return;
    };
    let found = derived(&text);
    let work = &found.whole;
    assert_eq!(found.rows, 64_189);
    is(work.span_s.unwrap(), "24.650525");
    is(work.iops, "2604.0");
    is(work.mb_s, "339.4");
    is(work.read_share, "0.0000");
    is(work.size_bytes.unwrap(), "130324");
    is(work.write_size_bytes.unwrap(), "130325");
    is(work.write_sizes[0].1, "0.9934");
    is(found.depth.unwrap(), "39.2");
    assert_eq!(found.depth_most, Some(1098));
    is(found.gap_variation.unwrap(), "25.0");
    for (row, quoted) in found.dispersion.iter().zip(["56", "370", "624", "337"]) {
        is(row.recorded.unwrap(), quoted);
    }
    brings_the_same_load(&found, 20, 4);
}
