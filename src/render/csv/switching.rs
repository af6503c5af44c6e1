//! The figures of switch-overs: one row a case and workload, or a single part.
//!
//! Times are of the worst replication unless the column says otherwise, and count from the loss, or from what else began the case
//! (`counted_from`). Counts are of all replications together. A time that is not over when the run ends is told as the run has it, with
//! `longest_io_open`; one that never came within the run is empty.

use super::{maybe, names, number, side, to_text};
use crate::outcome::{Begin, EachPart, Report};

/// One row for each case with a switch-over and each of its workloads.
#[must_use]
pub fn switch_overs_csv(report: &Report) -> String {
    let header = names(&[
        "case",
        "lost",
        "workload",
        "replications",
        "timers",
        "counted_from",
        "longest_io_s",
        "longest_io_least_s",
        "longest_io_open",
        "longest_silence_s",
        "longest_silence_least_s",
        "stops",
        "stall_ended_s",
        "stall_ended_by",
        "longest_io_let_go_by",
        "above_promise_s",
        "above_promise_percent",
        "completed_ios",
        "retried_attempts",
        "failed_ios",
        "lost_with_host_ios",
        "unasked_ios",
        "late_responses",
        "unfinished_ios",
        "backlog_peak_ios",
        "drain_s",
        "settled_s",
        "partial",
    ]);
    let mut rows = Vec::new();
    for switch in &report.switches {
        for work in &switch.workloads {
            // Of the first replication: what let the work go on as a whole, where it stopped, and what let the longest I/O go.
            let last = work.stops.last();
            let freed = work.freed_by.as_ref();
            let freed = freed.map(|event| event.timer.as_ref().unwrap_or(&event.what).clone());
            let sum = |all: &[u64]| all.iter().sum::<u64>().to_string();
            rows.push(vec![
                switch.case.name.clone(),
                side(switch.case.lost),
                work.name.clone(),
                switch.replications.to_string(),
                switch.preset.clone(),
                began(switch.counted_from).to_owned(),
                maybe(work.longest_io_s.iter().copied().reduce(f64::max)),
                maybe(work.longest_io_s.iter().copied().reduce(f64::min)),
                work.longest_open.contains(&true).to_string(),
                number(work.longest_silence_s),
                maybe(work.silence_s.iter().copied().reduce(f64::min)),
                work.stops.len().to_string(),
                maybe(last.and_then(|stop| stop.to_s)),
                last.and_then(|stop| stop.ended_by.clone())
                    .unwrap_or_default(),
                freed.unwrap_or_default(),
                maybe(work.above_promise_s),
                maybe(work.above_promise_share.map(|share| 100.0 * share)),
                work.completed.to_string(),
                work.retried.to_string(),
                sum(&work.failed),
                sum(&work.lost_with_host),
                sum(&work.unasked),
                work.late.to_string(),
                work.unfinished.to_string(),
                work.backlog_peak.to_string(),
                maybe(work.drain_s),
                maybe(work.settled_s),
                switch.partial.to_string(),
            ]);
        }
    }
    to_text(&header, rows)
}

/// One row for each single part whose switch-over was simulated, all workloads together.
#[must_use]
pub fn singles_switch_overs_csv(each: &EachPart) -> String {
    let header = names(&[
        "case",
        "during",
        "kind",
        "part",
        "longest_io_s",
        "longest_io_open",
        "longest_silence_s",
        "retried_attempts",
        "failed_ios",
        "settled_s",
        "longest_io_let_go_by",
    ]);
    let mut rows = Vec::new();
    for (column, case) in each.cases.iter().enumerate() {
        let Some(switch) = &case.switch_over else {
            continue;
        };
        rows.push(vec![
            each.matrix.cases[column].name.clone(),
            each.during.clone().unwrap_or_default(),
            case.kind.clone(),
            case.part.clone(),
            number(switch.longest_io_s),
            switch.longest_open.to_string(),
            number(switch.longest_silence_s),
            switch.retried.to_string(),
            switch.failed.to_string(),
            maybe(switch.settled_s),
            switch.timer.clone().unwrap_or_default(),
        ]);
    }
    to_text(&header, rows)
}

const fn began(from: Begin) -> &'static str {
    match from {
        Begin::Loss => "loss",
        Begin::Drain => "drain",
        Begin::Outage => "outage",
        Begin::Event => "first event",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::render::sample::{sample_report, sample_singles};

    fn column(text: &str, name: &str) -> Vec<String> {
        let mut reader = ::csv::Reader::from_reader(text.as_bytes());
        let header = reader.headers().expect("it has one").clone();
        let at = header.iter().position(|own| own == name);
        let at = at.unwrap_or_else(|| panic!("no `{name}` in {header:?}"));
        let rows = reader.records();
        rows.map(|row| row.expect("it is whole")[at].to_owned())
            .collect()
    }

    #[test]
    fn each_switch_over_is_a_row_with_its_figures() {
        let mut report = sample_report();
        let work = &mut report.switches[0].workloads[0];
        work.longest_io_s = vec![5.5, 5.25];
        work.longest_silence_s = 2.5;
        work.silence_s = vec![2.5, 2.0];
        (work.retried, work.failed, work.late) = (7, vec![1, 2], 4);
        (work.backlog_peak, work.drain_s, work.settled_s) = (900, Some(1.5), None);
        (work.above_promise_s, work.above_promise_share) = (Some(6.0), Some(0.25));
        let text = switch_overs_csv(&report);
        let all: usize = report.switches.iter().map(|own| own.workloads.len()).sum();
        assert_eq!(column(&text, "case").len(), all);
        for (name, value) in [
            ("longest_io_s", "5.5"),
            ("longest_io_least_s", "5.25"),
            ("longest_silence_s", "2.5"),
            ("longest_silence_least_s", "2"),
            ("retried_attempts", "7"),
            ("failed_ios", "3"),
            ("late_responses", "4"),
            ("backlog_peak_ios", "900"),
            ("drain_s", "1.5"),
            ("settled_s", ""),
            ("above_promise_s", "6"),
            ("above_promise_percent", "25"),
            ("counted_from", "loss"),
        ] {
            assert_eq!(column(&text, name)[0], value, "{name}");
        }
    }

    #[test]
    fn each_single_part_with_a_switch_over_is_a_row() {
        let each = sample_singles().each_part.expect("it has parts");
        let own = each.cases.iter().filter_map(|own| own.switch_over.as_ref());
        let silences: Vec<String> = own.map(|own| number(own.longest_silence_s)).collect();
        assert!(!silences.is_empty());
        let text = singles_switch_overs_csv(&each);
        assert_eq!(column(&text, "longest_silence_s"), silences);
    }
}
