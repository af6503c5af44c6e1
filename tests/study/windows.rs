//! In which hours of a day an outage may be brought about.

use super::rig::{Twin, eight_us, origin, site, workload, writes};
use halfloom::outcome::Window;
use halfloom::outcome::{JudgedBy, MeasureKind, OutageWindows, Verdict, Windows};
use halfloom::render::csv::windows_csv;
use halfloom::render::table::windows_text;
use halfloom::render::words::hour_margin;
use halfloom::study::NoProgress;
use halfloom::study::windows::{AskWindows, HourRuns, busiest_of, windows};

/// Writes over two links, A and B; one takes 8 us of a link (10,000 B at 10 Gb/s), the array takes no time. With one
/// link left that is one server with a constant service: M/D/1.
fn two_links() -> String {
    Twin {
        run: "duration = \"400ms\"\nwarm_up = \"20ms\"\nreplications = 6\nswitch_replications = 2\nbefore = \"20ms\"",
        ..eight_us()
    }
    .text()
}

fn work(name: &str, rate: &str, shape: &str, promise: &str) -> String {
    let arrivals = format!("{{ poisson = \"{rate}\"{shape} }}");
    workload(name, &writes(&arrivals, promise))
}

fn ask(needed: u32, runs: HourRuns) -> AskWindows {
    AskWindows {
        outages: Some(vec!["A".to_owned()]),
        needed,
        runs,
    }
}

fn found(text: &str, needed: u32, runs: HourRuns) -> Windows {
    windows(&site(text, &[]), &ask(needed, runs), &NoProgress)
}

/// A day in steps of 5 %, from 25 % at midnight up to 100 % at noon and down again.
fn day() -> String {
    let factors: Vec<String> = (0..24_u32)
        .map(|hour| {
            let up = if hour <= 12 { hour } else { 24 - hour };
            format!("{}", f64::from(25 + up * 625 / 100) / 100.0)
        })
        .collect();
    format!(", shape = [{}]", factors.join(", "))
}

fn factors(found: &Windows) -> &[f64] {
    &found.shapes[0].factors
}

/// Mean time in M/D/1 (Pollaczek and Khinchine; Kleinrock, Queueing Systems 1, 1975, section 5.6): S (1 + rho / 2 (1 - rho)), and
/// the store-and-forward second hop, 80 ns.
fn mean_us(rate: f64) -> f64 {
    let rho = rate * 8e-6;
    8.0 * (1.0 + rho / (2.0 * (1.0 - rho))) + 0.08
}

/// With 110,000/s in the busiest hour and a mean of 16 us promised, theory says that an hour may have 75 % of that.
/// Every hour further than two hundredths from the edge is judged as theory does, with few runs and with all.
#[test]
fn hours_are_judged_as_theory_says() {
    let text = format!(
        "{}{}",
        two_links(),
        work("w", "110k/s", &day(), r#"{ mean = "16us" }"#)
    );
    let few = found(&text, 12, HourRuns::Needed);
    let all = found(&text, 12, HourRuns::Each);
    for found in [&few, &all] {
        let outage = &found.outages[0];
        let mut judged = 0;
        for (row, factor) in outage.hours.iter().zip(factors(found)) {
            let mean = mean_us(110_000.0 * factor);
            let wanted = match mean / 16.0 {
                share if share < 0.96 => Verdict::Met,
                share if share > 1.04 => Verdict::Missed,
                _ => continue,
            };
            judged += 1;
            assert_eq!(
                row.verdict, wanted,
                "hour {} at {factor}: {mean} us",
                row.hour
            );
            assert_eq!(row.switch_over, None, "nothing is promised of it");
        }
        assert!(judged >= 20, "{judged}");
        assert!(!found.switch_judged);
        // 0.72 of the load is met from 16:00 on, and 0.68 until 08:00.
        let longest = outage.longest.expect("the night is quiet");
        assert!(
            longest.from_hour > longest.to_hour,
            "it runs past midnight: {longest:?}"
        );
        assert!((14..=17).contains(&longest.hours), "{longest:?}");
        assert_eq!(outage.verdict, Verdict::Met);
    }
    let (few, all) = (&few.outages[0], &all.outages[0]);
    let verdicts = |outage: &OutageWindows| -> Vec<Verdict> {
        outage.hours.iter().map(|row| row.verdict).collect()
    };
    assert_eq!(verdicts(few), verdicts(all), "fewer runs find the same");
    // 13 different loads: 4 decide (2^4 > 13), and one more for each undecided.
    assert!(
        few.simulated <= 6 && all.simulated == 13,
        "{} {}",
        few.simulated,
        all.simulated
    );
    // Figures of a simulated hour are those of theory; margins of others are bounds by their hour.
    for row in all
        .hours
        .iter()
        .filter(|row| !row.saturated && row.hour < 9)
    {
        let theory = mean_us(110_000.0 * row.most_factor);
        let margin = row.margin_percent.expect("a mean has one");
        assert!(
            (margin - 100.0 * (1.0 - theory / 16.0)).abs() < 3.0,
            "{row:?}"
        );
    }
    for (few, all) in few.hours.iter().zip(&all.hours) {
        let (few_margin, all_margin) = (few.margin_percent, all.margin_percent);
        match few.judged_by {
            JudgedBy::Simulated | JudgedBy::SameLoad => assert_eq!(few_margin, all_margin),
            JudgedBy::BusierHour => assert!(few_margin <= all_margin, "{few:?}"),
            JudgedBy::QuieterHour => assert!(few_margin >= all_margin || all.saturated, "{few:?}"),
            JudgedBy::NoWork => panic!("there is work in every hour"),
        }
    }
}

/// A window that is longer than the night is missed, and undecided hours leave it open.
#[test]
fn a_window_must_be_as_long_as_is_needed() {
    let text = format!(
        "{}{}",
        two_links(),
        work("w", "110k/s", &day(), r#"{ mean = "16us" }"#)
    );
    let long = found(&text, 20, HourRuns::Needed);
    assert_eq!(long.outages[0].verdict, Verdict::Missed);
    let shown = windows_text(&origin(&site(&text, &[])), &long);
    assert!(
        shown.starts_with("missed: There are not 20 hours in a row"),
        "{shown}"
    );
}

/// One workload by day, the other by night: neither hour is quieter than the other, so both are simulated. A workload
/// with nothing to do is not there, and an hour without any work keeps every promise.
#[test]
fn work_by_day_and_work_by_night_are_simulated_both() {
    let by_day = ", shape = \"office\"";
    let by_night = ", shape = \"batch\"";
    let text = format!(
        "{}{}{}{}",
        two_links(),
        work("day", "100k/s", by_day, r#"{ mean = "40us" }"#),
        work("night", "120k/s", by_night, r#"{ mean = "40us" }"#),
        r#"
[[shape]]
name = "office"
daily = [0, 0, 0, 0, 0, 0, 0, 0, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 0, 0, 0, 0, 0, 0]
[[shape]]
name = "batch"
daily = [1, 1, 1, 1, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0]
"#
    );
    let found = found(&text, 10, HourRuns::Needed);
    let outage = &found.outages[0];
    // rho 0.8 by day: 24 us; 0.96 by night: 104 us.
    assert!(mean_us(100_000.0) < 25.0 && mean_us(120_000.0) > 100.0);
    assert_eq!((found.loads, outage.simulated), (3, 2));
    for row in &outage.hours {
        let (wanted, by) = match row.hour {
            0 => (Verdict::Missed, JudgedBy::Simulated),
            1..=3 => (Verdict::Missed, JudgedBy::SameLoad),
            8 => (Verdict::Met, JudgedBy::Simulated),
            9..=17 => (Verdict::Met, JudgedBy::SameLoad),
            _ => (Verdict::Met, JudgedBy::NoWork),
        };
        assert_eq!((row.verdict, row.judged_by), (wanted, by), "{row:?}");
        let who = row
            .tightest
            .as_ref()
            .map(|tightest| tightest.workload.as_str());
        let busy = match row.hour {
            0..=3 => Some("night"),
            8..=17 => Some("day"),
            _ => None,
        };
        assert_eq!(who, busy, "hour {}", row.hour);
    }
    let window = outage.longest.expect("all but four hours");
    assert_eq!(
        (window.from_hour, window.to_hour, window.hours),
        (4, 24, 20)
    );
    let rows = windows_csv(&found);
    assert_eq!(rows.lines().count(), 25);
    assert!(
        rows.starts_with("case,hour,factor_day,factor_night,verdict,"),
        "{rows}"
    );
}

/// The way there is judged too where it is promised: the parts are drained, so no I/O is lost and none hangs.
#[test]
fn a_drain_is_judged_at_the_load_of_the_hour() {
    let promise = |longest: &str| {
        format!("{{ mean = \"1ms\", switching = {{ longest_io = \"{longest}\", failed = 0 }} }}")
    };
    let shape =
        ", shape = [1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 0.2, 0.2]";
    let of = |longest: &str| {
        let text = format!(
            "{}{}",
            two_links(),
            work("w", "60k/s", shape, &promise(longest))
        );
        found(&text, 1, HourRuns::Each)
    };
    let kept = of("5ms");
    assert!(kept.switch_judged && kept.switch_replications == 2);
    for row in &kept.outages[0].hours {
        assert_eq!(row.switch_over, Some(Verdict::Met), "{row:?}");
        // A loss without a drain takes a link-loss detection of 100 ms.
        assert!(
            row.longest_io_s.is_some_and(|longest| longest < 0.005),
            "{row:?}"
        );
    }
    // No I/O takes less than its 8 us, so a promise of 7 us is missed on the way, though the state keeps its own.
    let missed = of("7us");
    for row in &missed.outages[0].hours {
        assert_eq!(
            (row.state, row.switch_over),
            (Verdict::Met, Some(Verdict::Missed))
        );
        assert_eq!(row.verdict, Verdict::Missed);
    }
    assert_eq!(missed.outages[0].longest, None);
}

/// `[day]` gives every workload a shape, one of its own wins, and `constant` is none.
#[test]
fn a_shape_for_all_gives_way_to_one_of_its_own() {
    let own = ", shape = \"constant\"";
    let day = "\n[day]\nshape = \"office\"\n[[shape]]\nname = \"office\"\ndaily = [1, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5, \"50%\"]\n";
    let promise = r#"{ mean = "1ms" }"#;
    let text = format!(
        "{}{}{}{day}",
        two_links(),
        work("one", "10k/s", "", promise),
        work("two", "10k/s", own, promise)
    );
    let site = site(&text, &[]);
    let at = |work: usize, hour: usize| site.workloads[work].shape.map(|shape| shape.at(hour));
    assert_eq!(
        (at(0, 0), at(0, 23), at(1, 23)),
        (Some(1.0), Some(0.5), None)
    );
    // A run has the stated rate, whatever the shape says.
    let plain = super::rig::site(&text.replace(day, ""), &[]);
    assert_eq!(site.workloads[0].arrivals, plain.workloads[0].arrivals);
}

/// The same bytes at one thread and at two.
#[test]
fn threads_change_no_hour() {
    let text = format!(
        "{}{}",
        two_links(),
        work(
            "w",
            "110k/s",
            &day(),
            r#"{ mean = "16us", switching = { longest_io = "1s" } }"#
        )
    );
    let text = text.replace("400ms", "60ms");
    let site = site(&text, &[]);
    let at = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build();
        pool.expect("a pool")
            .install(|| windows(&site, &ask(1, HourRuns::Needed), &NoProgress))
    };
    assert_eq!(at(1), at(2));
}

/// A throughput promised shrinks with the work of the hour, and an hour that is judged by a busier one shows its own target, not that
/// of the other. Work that an hour has not is none of its promises.
#[test]
fn a_borrowed_hour_shows_its_own_throughput() {
    let text = format!(
        "{}{}{}",
        two_links(),
        work("w", "40k/s", &day(), r#"{ throughput = "100MB/s" }"#),
        work(
            "noon",
            "10k/s",
            ", shape = [0,0,0,0,0,0,0,0,0,0,0,0,1,0,0,0,0,0,0,0,0,0,0,0]",
            r#"{ throughput = "10MB/s" }"#
        )
    );
    let found = found(&text, 12, HourRuns::Needed);
    let hours = &found.outages[0].hours;
    let borrowed = hours
        .iter()
        .filter(|row| row.judged_by == JudgedBy::BusierHour);
    assert!(borrowed.clone().count() > 10);
    for row in hours {
        let tightest = row.tightest.as_ref().expect("something is promised");
        if row.hour == 12 {
            continue;
        }
        let factor = factors(&found)[row.hour as usize];
        assert_eq!(tightest.workload, "w", "hour {}", row.hour);
        assert_eq!(
            tightest.target_text,
            format!("100MB/s × {factor}"),
            "hour {}",
            row.hour
        );
    }
    let csv = windows_csv(&found);
    assert!(csv.contains("100MB/s × 0.25"), "{csv}");
}

/// A throughput with 5 % to spare is nearer its limit than a mean with most of it, in an hour that is simulated and in others; theirs
/// is about that.
#[test]
fn a_throughput_that_is_kept_may_be_the_tightest() {
    let text = format!(
        "{}{}",
        two_links(),
        work(
            "w",
            "40k/s",
            &day(),
            r#"{ mean = "1s", throughput = "380MB/s" }"#
        )
    );
    let found = found(&text, 12, HourRuns::Needed);
    for row in &found.outages[0].hours {
        let tightest = row.tightest.as_ref().expect("something is promised");
        assert_eq!(
            tightest.measure,
            MeasureKind::Throughput,
            "hour {}",
            row.hour
        );
        let shown = hour_margin(row);
        assert!(!shown.contains("at least"), "{shown}");
        assert_eq!(
            shown.contains("about"),
            row.judged_by == JudgedBy::BusierHour,
            "{shown}"
        );
    }
}

/// A workload that fills the link by day and one that asks for little at night: their factors add up to most in the hour in which both
/// have something to do, and the link is fullest in another.
#[test]
fn the_busiest_hour_is_that_in_which_the_fullest_part_is_fullest() {
    let shape = |of: [f64; 4]| {
        let all: Vec<String> = (0..24)
            .map(|hour: usize| of.get(hour).copied().unwrap_or(0.0).to_string())
            .collect();
        format!(", shape = [{}]", all.join(", "))
    };
    let promise = r#"{ mean = "1s" }"#;
    let text = format!(
        "{}{}{}",
        two_links(),
        work("large", "100k/s", &shape([0.2, 0.8, 1.0, 1.0]), promise),
        work("small", "1k/s", &shape([1.0, 1.0, 0.2, 0.1]), promise),
    );
    let site = site(&text, &[]);
    let of = |from_hour: u32, hours: u32| {
        let to_hour = (from_hour + hours - 1) % 24 + 1;
        let window = Window {
            from_hour,
            to_hour,
            hours,
        };
        busiest_of(&site, &window, Some("A"))
    };
    // 80 + 1, 100 + 0.2 and 100 + 0.1 thousand a second.
    assert_eq!(of(0, 4), 2);
    assert_eq!(of(0, 2), 1);
    // Nothing to do, and past midnight.
    assert_eq!((of(5, 3), of(22, 4)), (5, 1));
}
