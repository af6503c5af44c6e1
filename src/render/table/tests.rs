//! Tables of the sample, whole, and what must hold for any.

use super::report::{budget, latency_cells, switch_summary};
use super::*;
use crate::outcome::{Change, Comparison, Estimated, Lack, PathHop, PathRow, PathSheet, Verdict};
use crate::render::number::{Scale, UNFINISHED};
use crate::render::sample::{sample_comparison, sample_headroom, sample_report, sample_windows};

/// Two invented paths, one a fabric; the one on B is narrow in the middle.
pub(crate) fn sheets() -> Vec<PathSheet> {
    let hop = |name: &str, speed: &str, gb_s: f64, onward: &str| PathHop {
        name: name.to_owned(),
        speed: speed.to_owned(),
        members: 1,
        encapsulation: if speed.ends_with("FC") { "FC" } else { "FCoE" }.to_owned(),
        nominal_gb_s: gb_s,
        usable_gb_s: gb_s * 0.97,
        onward: onward.to_owned(),
    };
    let path = |side: char, middle: f64| PathRow {
        side: Some(side),
        host_port: format!("db-1:{side}"),
        array_port: format!("vault-c1:{side}"),
        hops: vec![
            hop(
                &format!("db-1 > edge-{side}"),
                "100GbE",
                100.0,
                "cut-through",
            ),
            hop(&format!("edge-{side} > vault-c1"), "32GFC", middle, ""),
        ],
        idle_us: 2.61,
        idle_frame_bytes: 2180,
        narrowest: 1,
        host_bus: None,
        one_flow_gb_s: 27.2,
    };
    vec![PathSheet {
        host: "db-1".to_owned(),
        array: "vault".to_owned(),
        workloads: vec!["bookings".to_owned()],
        protocol: "fc-scsi".to_owned(),
        paths: vec![path('A', 112.0), path('B', 28.05)],
    }]
}

/// Two hops of one rate are both the narrowest, in the table and in the rows; a wider one is not.
#[test]
fn hops_that_are_as_narrow_are_all_named() {
    let mut sheets = sheets();
    let path = &mut sheets[0].paths[1];
    let mut wide = path.hops[0].clone();
    wide.usable_gb_s *= 2.0;
    path.hops[0].usable_gb_s = path.hops[1].usable_gb_s;
    path.hops.push(wide);
    sheets[0].paths.remove(0);
    assert_eq!(paths_text(&sheets, true).matches("narrowest").count(), 2);
    let rows = crate::render::csv::paths_csv(&sheets);
    let marked = rows.lines().filter(|row| row.contains(",true,")).count();
    assert_eq!(marked, 2, "{rows}");
}

/// Paths that differ in names alone are shown once, the others named; none is lost, and `all` shows each.
#[test]
fn alike_paths_are_shown_once() {
    let own = sheets();
    let mut twin = own[0].clone();
    twin.host = "db-9".to_owned();
    for path in &mut twin.paths {
        path.host_port = path.host_port.replace("db-1", "db-9");
        for hop in &mut path.hops {
            hop.name = hop.name.replace("db-1", "db-9");
        }
    }
    let mut other = twin.clone();
    other.host = "db-7".to_owned();
    for path in &mut other.paths {
        path.host_port = path.host_port.replace("db-9", "db-7");
        path.idle_us += 1.0;
    }
    let all = [own[0].clone(), twin, other];
    let rows = |text: &str| text.matches("idle ").count();
    let (each, folded) = (paths_text(&all, true), paths_text(&all, false));
    let paths: usize = all.iter().map(|sheet| sheet.paths.len()).sum();
    assert_eq!(rows(&each), paths, "{each}");
    assert!(rows(&folded) < rows(&each), "{folded}");
    assert!(folded.contains("more like it: "), "{folded}");
    for sheet in &all {
        for path in &sheet.paths {
            assert!(
                folded.contains(&path.host_port),
                "{}: {folded}",
                path.host_port
            );
        }
    }
    // What differs in a figure is shown by itself.
    assert!(
        folded.contains(&format!("\n{} to ", all[2].paths[0].host_port)),
        "{folded}"
    );
}

#[test]
fn every_text_ends_with_the_word_estimate() {
    let report = sample_report();
    for text in [
        report_text(&report),
        steady_text(&report),
        review_text(&report.review),
        paths_text(&sheets(), true),
        paths_text(&[], false),
        assumptions_text(&report.assumptions),
        assumptions_text(&[]),
        headroom_text(&sample_headroom()),
        comparison_text(&sample_comparison()),
        windows_text(&report.origin, &sample_windows()),
    ] {
        let last = text.lines().last().unwrap();
        assert!(last.starts_with("estimate · "), "{last}");
        assert!(text.ends_with('\n') && !text.contains('\u{1b}'));
        assert!(text.lines().all(|line| line == line.trim_end()));
    }
}

#[test]
fn it_is_said_whether_the_bandwidth_of_the_first_hop_is_there_all_the_way() {
    let text = paths_text(&sheets(), true).replace('\u{202F}', " ");
    assert!(text.contains("fabric A: the 97.0 Gb/s of the first hop are there all the way\n"));
    assert!(text.contains(
        "fabric B: the 97.0 Gb/s of the first hop are not there all the way: edge-B > vault-c1 has 27.2 Gb/s"
    ));
}

/// Hosts whose ports reach the same ports of an array stand in one list, which a large family does not fill.
#[test]
fn paths_that_are_alike_name_a_family_once() {
    let one = sheets().remove(0);
    let mut all = one.clone();
    all.paths.clear();
    for host in 1..=16 {
        for array in ["c1:1", "c2:1"] {
            // The first host reaches one more.
            let more = (host == 1).then_some("c2:2");
            for array in std::iter::once(array).chain(more.filter(|_| array == "c2:1")) {
                all.paths.push(PathRow {
                    host_port: format!("db-{host}:A1"),
                    array_port: array.to_owned(),
                    ..one.paths[0].clone()
                });
            }
        }
    }
    let text = paths_text(&[all], false);
    let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        text.contains(
            "and 32 more like it: each of db-1:A1, db-2:A1, … db-16:A1 (16) to each of c1:1, c2:1; db-1:A1 to c2:2"
        ),
        "{text}"
    );
}

#[test]
fn names_cannot_send_escapes_to_the_terminal() {
    let mut report = sample_report();
    report.steady[0].workloads[0].name = "a\u{1b}[2Jb\nc".to_owned();
    report.matrix.rows[0].workload = "x\u{1b}]0;t\u{7}".to_owned();
    let text = report_text(&report);
    assert!(!text.chars().any(|c| c.is_control() && c != '\n'));
}

#[test]
fn tables_of_the_sample() {
    let report = sample_report();
    insta::assert_snapshot!("report", report_text(&report));
    insta::assert_snapshot!("windows", windows_text(&report.origin, &sample_windows()));
    insta::assert_snapshot!("review", review_text(&report.review));
    insta::assert_snapshot!("paths", paths_text(&sheets(), true));
    insta::assert_snapshot!("assumptions", assumptions_text(&report.assumptions));
}

#[test]
fn the_largest_difference_is_one_that_changes_a_verdict_however_wide_its_interval() {
    let mut comparison = sample_comparison();
    let large = &mut comparison.differences[0];
    large.change = Change::NotShown;
    let mut small = large.clone();
    small.workload = "archive".to_owned();
    small.difference = Some(Estimated {
        value: -90.0,
        low: Some(-91.0),
        high: Some(-89.0),
    });
    small.change = Change::Better;
    comparison.differences.push(small);
    let text = comparison_text(&comparison);
    assert!(
        text.contains("promised figure: bookings p99 A lost, 90.7 % less, though with an interval that holds 0"),
        "{text}"
    );
    let first = text.lines().next().unwrap_or_default();
    let place = |words: &str| first.find(words).expect("it is said");
    assert!(place("missed → met") < place("Better in"), "{first}");
    // What did not fit at all is beyond any per cent.
    let none = &mut comparison.differences[1];
    none.first = None;
    none.first_lacks = Some(Lack::Saturated);
    none.difference = None;
    let text = comparison_text(&comparison);
    assert!(
        text.contains("promised figure: archive p99 A lost, saturated → 1.31 ms."),
        "{text}"
    );
}

/// A design that promises otherwise is not the same, though its figures are; a verdict that differs beside a figure that does not
/// is explained.
#[test]
fn promises_that_differ_are_told_beside_figures_that_do_not() {
    let mut comparison = sample_comparison();
    comparison.designs[1].matrix = comparison.designs[0].matrix.clone();
    let row = &mut comparison.differences[0];
    row.change = Change::Same;
    row.value = row.first;
    let first_line = |text: &str| text.lines().next().unwrap_or_default().to_owned();
    let same = first_line(&comparison_text(&comparison));
    assert!(
        same.ends_with("exactly the same figures as design 1 (ostrel.toml)."),
        "{same}"
    );
    let cell = |comparison: &mut Comparison, to: Verdict, target: f64, text: &str| {
        let row = &mut comparison.designs[1].matrix.rows[0];
        let cell = row.cells[1].as_mut().expect("it is judged");
        (cell.verdict, cell.target) = (to, target);
        text.clone_into(&mut cell.target_text);
    };
    cell(&mut comparison, Verdict::Met, 20_000.0, "20ms");
    let text = comparison_text(&comparison);
    assert!(
        first_line(&text).contains("bookings p99 A lost, missed → met (promised 2ms, there 20ms)"),
        "{text}"
    );
    assert!(text.contains("p99 2ms or 20ms"), "{text}");
    assert!(text.contains("the same; the verdict differs"), "{text}");
    cell(&mut comparison, Verdict::Missed, 1_000.0, "1ms");
    let text = comparison_text(&comparison);
    assert!(
        first_line(&text)
            .contains("bookings p99 A lost, missed as before (promised 2ms, there 1ms)"),
        "{text}"
    );
    cell(&mut comparison, Verdict::Undecided, 2_000.0, "2ms");
    comparison.differences[0].change = Change::NotShown;
    let text = comparison_text(&comparison);
    assert!(
        first_line(&text)
            .contains("missed → undecided (though this run cannot show a difference of the figure"),
        "{text}"
    );
    assert!(
        text.contains("no difference that this run can show; the verdict differs"),
        "{text}"
    );
    // Where neither carries any there is nothing to compare, and no likeness to count.
    let mut idle = comparison.clone();
    let row = &mut idle.differences[0];
    (row.first, row.value, row.difference) = (None, None, None);
    let text = comparison_text(&idle);
    assert!(
        first_line(&text).contains("othing to compare in 1, where neither carries any"),
        "{text}"
    );
    // What only one of them promises is no difference to be silent about.
    comparison.designs[1].matrix.rows.remove(0);
    let text = comparison_text(&comparison);
    assert!(
        first_line(&text).contains("bookings p99 A lost, missed → not promised"),
        "{text}"
    );
}

/// An interval that reaches over the target beside "met" is explained by what the verdict goes by.
#[test]
fn a_verdict_against_the_interval_shown_says_what_was_counted() {
    let said = "Verdicts of percentiles go by the I/Os counted above the target";
    let mut found = sample_headroom();
    assert!(!headroom_text(&found).contains(said));
    let cell = &mut found.cases[0].points[4].rows[0].cell;
    cell.value.as_mut().expect("it has one").high = Some(2_040.0);
    (cell.above_share, cell.above_allowed) = (Some(0.0081), Some(0.01));
    let text = headroom_text(&found).replace('\n', " ");
    assert!(text.contains(said), "{text}");
    assert!(
        text.contains("0.810 % of bookings are above 2\u{202F}ms, where 1.00 % may be"),
        "{text}"
    );
}

/// Below today's load a throughput is promised of less work: the head of the column says so.
#[test]
fn a_promise_of_throughput_shrinks_below_todays_load() {
    let mut found = sample_headroom();
    assert!(!headroom_text(&found).contains("below 1 times that"));
    found.cases[0].points[0].rows[0].cell.target *= 0.5;
    assert!(headroom_text(&found).contains("below 1 times that"));
}

/// Some I/Os were not over when the run ended: no mean and no sum of parts is told as if it were known; and a workload of which nothing
/// fails is not said to fail.
#[test]
fn a_mean_of_what_is_not_over_is_no_figure() {
    let mut report = sample_report();
    let mut work = report.steady[0].workloads[0].clone();
    let row = |work: &crate::outcome::WorkloadFigures| {
        latency_cells(&work.all, work.saturated, Scale::of_us([100.0]))[0].clone()
    };
    assert_ne!(row(&work), UNFINISHED);
    assert!(!budget(&report).contains(UNFINISHED));
    work.all.unfinished = 4;
    assert_eq!(row(&work), UNFINISHED);
    report.steady[0].workloads[0] = work;
    assert_eq!(budget(&report).matches(UNFINISHED).count(), 1);
    let mut switch = report.switches[0].clone();
    let work = &mut switch.workloads[0];
    (work.fails_after, work.failed) = (true, vec![0, 3]);
    assert!(switch_summary(&switch).contains("all fails"));
    switch.workloads[0].failed = vec![0, 0];
    assert!(!switch_summary(&switch).contains("all fails"));
}
