use super::*;
use crate::scenario::Recording;
use crate::study::derive::{Replay, derive};

fn names(protocol: Option<&str>) -> Names {
    Names {
        file: "t.csv".into(),
        workload: "recorded".into(),
        hosts: "app".into(),
        array: "store".into(),
        protocol: protocol.map(str::to_owned),
        replay: Replay::No,
    }
}

/// Thirty samples of 10 s, of reads alone.
fn samples(reads: impl Fn(u32) -> f64, latency_us: f64, queue: Option<f64>) -> Recording {
    let of = |number: u32| Sample {
        from_s: 10.0 * f64::from(number),
        span_s: 10.0,
        reads: reads(number),
        writes: 0.0,
        read_bytes: reads(number) * 4096.0,
        write_bytes: 0.0,
        latency_us: Some(latency_us),
        queue,
    };
    Recording::Statistics((0..30).map(of).collect())
}

/// 9,000 and 1,000 a second, ten seconds each in turn: 90,000 and 10,000 in a window, whose variance (over 29) is 40,000² × 30 ÷ 29,
/// over a mean of 50,000. The workload begins with a burst and is in step with these windows, as the recording is; two of them
/// together hold the same each time.
#[test]
fn bursts_of_a_clock_are_in_step_in_the_workload_as_well() {
    let recording = samples(
        |number| if number % 2 == 0 { 9_000.0 } else { 1_000.0 },
        500.0,
        None,
    );
    let found = derive(&recording, &names(None));
    assert!(
        matches!(
            found.arrivals,
            DerivedArrivals::Bursty {
                law: DerivedLaw::Fixed,
                ..
            }
        ),
        "{:?}",
        found.arrivals
    );
    let row = &found.dispersion[0];
    let by_hand = 40_000.0_f64.powi(2) * 30.0 / 29.0 / 50_000.0;
    assert_eq!(row.window_s, 10.0);
    assert!((row.recorded.expect("it is known") / by_hand - 1.0).abs() < 1e-9);
    assert!(
        (row.modelled.expect("so is this") / by_hand - 1.0).abs() < 1e-3,
        "{row:?}"
    );
    let two = &found.dispersion[1];
    assert_eq!(two.window_s, 20.0);
    assert!(
        (two.modelled.expect("it is known") - 1.0).abs() < 1e-6,
        "{two:?}"
    );
}

/// 1,000 a second that take 5 ms each are 5 at once by Little's law.
#[test]
fn a_queue_that_is_not_rate_times_latency_is_told_of() {
    let notes =
        |queue: Option<f64>| derive(&samples(|_| 1_000.0, 5_000.0, queue), &names(None)).notes;
    let told = |queue: Option<f64>| {
        notes(queue)
            .into_iter()
            .find(|note| note.contains("disagree"))
    };
    assert_eq!(told(None), None);
    assert_eq!(told(Some(5.0)), None);
    assert_eq!(told(Some(7.0)), None);
    assert_eq!(told(Some(3.5)), None);
    let more = told(Some(12.0)).expect("2.4 times as many");
    assert!(
        more.contains("factor of 1.5: 12 and 5 outstanding"),
        "{more}"
    );
    assert!(told(Some(3.0)).is_some());
    assert!(told(Some(0.0)).is_some());
}

#[test]
fn a_protocol_that_nobody_stated_is_marked_as_a_placeholder() {
    let toml =
        |protocol: Option<&str>| derive(&samples(|_| 1_000.0, 500.0, None), &names(protocol)).toml;
    let open = toml(None);
    assert!(
        open.contains("# a placeholder: no recording says the protocol"),
        "{open}"
    );
    assert!(open.contains("\nprotocol = \"fc-scsi\"\n"), "{open}");
    let stated = toml(Some("nfs"));
    assert!(
        stated.contains("\nprotocol = \"nfs\"\n") && !stated.contains("placeholder"),
        "{stated}"
    );
}
