//! A study as text: verdict, promises, workloads, links, parts, switch-over, growth, budget.

use super::align::{Aligned, with_ends, wrapped};
use super::mends::mends;
use super::theory::theory_text;
use super::windows::body as windows;
use crate::outcome::{
    BudgetPart, Cell, LeftOpen, MeasureKind, Population, Report, Row, Steady, Switch,
    SwitchWorkload, TheoryRow, Verdict, WorkloadFigures,
};
use crate::render::number::{
    NONE, Scale, THIN, UNFINISHED, UNMEASURED, about, at_place, count, is_over, margin, three,
    three_down,
};
use crate::render::words::{
    Flag, GROWTH_TITLE, Prose, answer, beyond_run_words, burst_words, filling_words, growth_words,
    hosts_without_path, least_and_most, longest_of, measure_name, partial_words, plural,
    precision_words, report_line, row_scale, sent_twice, short_span_words, stalls_by_timers,
    still_slow, stop_and_spike, target_words, timer_words,
};
use std::collections::BTreeMap;

/// The verdict alone, in sentences, with the line of origin.
#[must_use]
pub fn verdict_text(report: &Report) -> String {
    format!("{}{}", verdict(report), foot(report))
}

/// Everything a study found.
#[must_use]
pub fn report_text(report: &Report) -> String {
    let mut out = verdict(report);
    out.push_str(&matrix(report));
    out.push_str(&mends(report));
    for switch in &report.switches {
        out.push_str(&events(switch));
        out.push_str(&switch_summary(switch));
    }
    out.push_str(&parts(report));
    out.push_str(&growth(report));
    out.push_str(&figures(report));
    out.push_str(&theory(report));
    if let Some(found) = &report.windows {
        out.push_str(&windows(found));
    }
    out.push_str(&foot(report));
    out
}

/// Closed forms of the cases that were run, beside them.
fn theory(report: &Report) -> String {
    let run = |row: &&TheoryRow| {
        let mut cases = report.matrix.cases.iter();
        cases.any(|case| case.name == row.case)
    };
    let rows: Vec<TheoryRow> = report.review.theory.iter().filter(run).cloned().collect();
    theory_text(&rows, true)
}

/// What a run of the site as written found: verdict, promises, workloads, links.
#[must_use]
pub fn steady_text(report: &Report) -> String {
    let mut out = verdict(report);
    out.push_str(&matrix(report));
    out.push_str(&figures(report));
    out.push_str(&theory(report));
    for switch in &report.switches {
        out.push_str(&events(switch));
        out.push_str(&switch_summary(switch));
    }
    out.push_str(&foot(report));
    out
}

fn figures(report: &Report) -> String {
    [workloads(report), budget(report), links(report)].concat()
}

pub(super) fn foot(report: &Report) -> String {
    let notes = [
        burst_words(report),
        beyond_run_words(report),
        filling_words(report),
        partial_words(report),
    ];
    let notes = notes.into_iter().flatten();
    let note: String = notes.map(|words| wrapped(&words, 96)).collect();
    let precision: String = report
        .precision
        .iter()
        .flat_map(precision_words)
        .map(|sentence| wrapped(&sentence, 96))
        .collect();
    format!("{precision}{note}{}\n", report_line(report))
}

fn verdict(report: &Report) -> String {
    let answer = answer(report);
    let headline = answer.headline.plain();
    let mut out = wrapped(
        &match answer.flag {
            // The sentence says so itself.
            Flag::Unasked => headline,
            flag => format!("{}: {headline}", flag.word()),
        },
        96,
    );
    let rest: Vec<&Prose> = [&answer.holds, &answer.cause, &answer.mend, &answer.sure]
        .into_iter()
        .filter(|prose| !prose.is_empty())
        .collect();
    for prose in rest {
        out.push_str(&wrapped(&prose.plain(), 96));
    }
    out.push('\n');
    out
}

fn matrix(report: &Report) -> String {
    let mut table = Aligned::new(&["workload", "promise", "target"]);
    for case in &report.matrix.cases {
        table = table.number(&case.name);
    }
    for row in &report.matrix.rows {
        let scale = row_scale(row);
        let when = if row.switching { ", switch-over" } else { "" };
        let unit = if scale.unit.is_empty() {
            String::new()
        } else {
            format!(", {}", scale.unit)
        };
        let mut cells = vec![
            row.workload.clone(),
            format!("{}{when}{unit}", measure_name(row.measure)),
            target_words(row, &report.matrix.cases),
        ];
        cells.extend(
            row.cells
                .iter()
                .map(|cell| judged(row, cell.as_ref(), scale, true)),
        );
        table.row(cells);
    }
    table.text("Promises: figure, margin in per cent of the target, verdict")
}

/// Whether a figure without an interval is beyond its target, and three digits might not show it.
fn told_apart(cell: &Cell) -> bool {
    let alone = cell.value.is_some_and(|figure| figure.ends().is_none());
    alone && cell.verdict == Verdict::Missed
}

/// One judgement: figure (with the ends of its interval, or without), margin, verdict.
pub(super) fn judged(row: &Row, cell: Option<&Cell>, scale: Scale, ends: bool) -> String {
    let Some(cell) = cell else {
        return "not asked".to_owned();
    };
    let value = match (cell.value, cell.beyond) {
        _ if cell.saturated => String::new(),
        (Some(figure), _) if row.measure == MeasureKind::Failed => at_place(figure.value, 0),
        (Some(figure), _) if ends && !told_apart(cell) => with_ends(scale, &figure),
        (Some(figure), _) if told_apart(cell) => scale.apart(figure.value, cell.target),
        (Some(figure), _) => scale.figure(&figure).0,
        (None, Some(_)) if cell.is_cut_off() => "cut off".to_owned(),
        (None, Some(beyond)) => match cell.beyond_by_failing() {
            Some(failed) => format!("> {} ({} I/Os fail)", scale.three(beyond), count(failed)),
            None => format!("> {}", scale.three(beyond)),
        },
        (None, None) if cell.left_open == Some(LeftOpen::Stopped) => String::new(),
        (None, None) => "beyond".to_owned(),
    };
    let room = cell.margin_percent.map(margin);
    let word = match cell.left_open {
        Some(LeftOpen::Waiting(waiting)) => format!(
            "{}, waits to the end in {waiting} of {}",
            Flag::of(cell).word(),
            plural(cell.replications as usize, "run")
        ),
        Some(LeftOpen::RunTooShort | LeftOpen::Filling) => {
            format!("{}, run too short", Flag::of(cell).word())
        }
        Some(LeftOpen::Bursts) => format!("{}, too few bursts", Flag::of(cell).word()),
        Some(LeftOpen::Stopped) => format!("{}, run stopped", Flag::of(cell).word()),
        Some(LeftOpen::PilesUp) => format!("{}, work piles up after", Flag::of(cell).word()),
        None => Flag::of(cell).word().to_owned(),
    };
    let parts = [Some(value).filter(|v| !v.is_empty()), room, Some(word)];
    parts.into_iter().flatten().collect::<Vec<_>>().join(" ")
}

/// Microseconds of a population that are shown.
fn shown_us(population: &Population) -> Vec<f64> {
    let quantiles = population
        .quantiles
        .iter()
        .filter_map(|figure| figure.latency_us.map(|f| f.value).or(figure.beyond_us));
    quantiles
        .chain(population.mean_us.map(|f| f.value))
        .chain(population.max_us)
        .collect()
}

fn workloads(report: &Report) -> String {
    let mut out = rates(report);
    for index in 0..report.steady.first().map_or(0, |s| s.workloads.len()) {
        out.push_str(&latency(report, index));
    }
    out
}

fn rates(report: &Report) -> String {
    let mut table = Aligned::new(&[
        "workload",
        "case",
        ">offered, I/Os per s",
        ">completed",
        ">MB/s",
        ">failed",
        ">unfinished",
    ]);
    for steady in &report.steady {
        for workload in &steady.workloads {
            let all = &workload.all;
            if steady.unmeasured {
                let mut cells = vec![workload.name.clone(), steady.case.name.clone()];
                cells.push(UNMEASURED.to_owned());
                cells.resize(7, NONE.to_owned());
                table.row(cells);
                continue;
            }
            table.row(vec![
                workload.name.clone(),
                steady.case.name.clone(),
                three(all.offered_iops.value),
                with_ends(Scale::PLAIN, &all.completed_iops),
                with_ends(Scale::PLAIN, &all.throughput_mb_s),
                count(all.failed),
                count(all.unfinished),
            ]);
        }
    }
    table.text("Offered and completed, with 95 % intervals")
}

fn latency(report: &Report, index: usize) -> String {
    let of = |steady: &Steady| steady.workloads.get(index).cloned();
    let all: Vec<(String, WorkloadFigures)> = report
        .steady
        .iter()
        .filter_map(|steady| Some((steady.case.name.clone(), of(steady)?)))
        .collect();
    let Some((_, first)) = all.first() else {
        return String::new();
    };
    let scale = Scale::of_us(all.iter().flat_map(|(_, w)| shown_us(&w.all)));
    let mut table = Aligned::new(&[
        "case", "I/Os", ">mean", ">p50", ">p90", ">p95", ">p99", ">p99.9", ">max",
    ]);
    for (case, figures) in &all {
        for (kind, population) in [
            ("all", &figures.all),
            ("reads", &figures.reads),
            ("writes", &figures.writes),
        ] {
            if population.ios > 0 {
                let mut cells = vec![case.clone(), kind.to_owned()];
                cells.extend(latency_cells(population, figures.saturated, scale));
                table.row(cells);
            }
        }
    }
    table.text(&format!(
        "Latency of {}, {}, with 95 % intervals",
        first.name, scale.unit
    ))
}

pub(super) fn latency_cells(population: &Population, saturated: bool, scale: Scale) -> Vec<String> {
    let figure = |figure| with_ends(scale, &figure);
    let mut out = vec![match population.mean_us {
        _ if saturated => "saturated".to_owned(),
        Some(_) if population.unfinished > 0 => UNFINISHED.to_owned(),
        Some(mean) => figure(mean),
        None => NONE.to_owned(),
    }];
    for q in [0.5, 0.9, 0.95, 0.99, 0.999] {
        let found = population.quantiles.iter().find(|f| (f.q - q).abs() < 1e-9);
        out.push(match found.map(|f| (f.latency_us, f.beyond_us)) {
            Some((Some(latency), _)) => figure(latency),
            // Above nothing says nothing: not one was completed.
            Some((None, Some(beyond))) if beyond > 0.0 => format!("> {}", scale.three(beyond)),
            _ => NONE.to_owned(),
        });
    }
    out.push(
        population
            .max_us
            .filter(|_| !saturated)
            .map_or_else(|| NONE.to_owned(), |max| scale.three(max)),
    );
    out
}

pub(super) fn budget(report: &Report) -> String {
    let mut out = String::new();
    let workloads = report.steady.first().map_or(&[][..], |s| &s.workloads);
    for (index, workload) in workloads.iter().enumerate() {
        let name = |part: &BudgetPart| match &part.tier {
            Some(tier) => format!("{}, {tier}", part.part),
            None if part.part == "propagation" => "propagation, with FEC latency".to_owned(),
            None => part.part.clone(),
        };
        let budgets: Vec<&[BudgetPart]> = report
            .steady
            .iter()
            .map(|steady| steady.workloads.get(index).map_or(&[][..], |w| &w.budget))
            .collect();
        let mut names: Vec<String> = Vec::new();
        for part in budgets.iter().flat_map(|budget| budget.iter()) {
            if !names.contains(&name(part)) {
                names.push(name(part));
            }
        }
        let mut table = Aligned::new(&["part"]);
        for steady in &report.steady {
            table = table.number(&steady.case.name);
        }
        for wanted in names {
            let mut cells = vec![wanted.clone()];
            for budget in &budgets {
                let part = budget.iter().find(|part| name(part) == wanted);
                cells.push(part.map_or_else(|| NONE.to_owned(), |part| three(part.mean_us)));
            }
            table.row(cells);
        }
        let open = |steady: &Steady| {
            let work = steady.workloads.get(index);
            work.is_some_and(|work| !work.saturated && work.all.unfinished > 0)
        };
        if report.steady.iter().any(open) {
            let mark = |steady| if open(steady) { UNFINISHED } else { "" }.to_owned();
            let mut cells = vec!["I/Os not over".to_owned()];
            cells.extend(report.steady.iter().map(mark));
            table.row(cells);
        }
        out.push_str(&table.text(&format!(
            "Where the mean latency of {} is spent, µs; the parts add up to it",
            workload.name
        )));
    }
    out
}

/// Mean utilization and peak asked of one tier in one direction: the mean over its members, and the fullest.
#[derive(Clone, Copy, Default)]
struct TierUse {
    sum: f64,
    members: u32,
    peak: f64,
}

fn links(report: &Report) -> String {
    let mut tiers: Vec<(String, Option<char>)> = Vec::new();
    let mut by_case: Vec<BTreeMap<usize, TierUse>> = Vec::new();
    for steady in &report.steady {
        let mut uses = BTreeMap::<usize, TierUse>::new();
        for direction in &steady.directions {
            let key = (direction.tier.clone(), direction.side);
            let index = tiers
                .iter()
                .position(|tier| *tier == key)
                .unwrap_or_else(|| {
                    tiers.push(key);
                    tiers.len() - 1
                });
            let tier = uses.entry(index).or_default();
            tier.sum += direction.utilization_percent;
            tier.members += 1;
            tier.peak = tier.peak.max(direction.asked_peak_percent);
        }
        by_case.push(uses);
    }
    let mut table = Aligned::new(&["tier and direction", "fabric"]);
    for steady in &report.steady {
        table = table.number(&steady.case.name);
    }
    for (index, (tier, side)) in tiers.iter().enumerate() {
        let mut cells = vec![
            tier.clone(),
            side.map_or_else(|| "neither".to_owned(), String::from),
        ];
        for (uses, steady) in by_case.iter().zip(&report.steady) {
            cells.push(uses.get(&index).map_or_else(
                || "lost".to_owned(),
                |tier| {
                    if steady.unmeasured {
                        return UNMEASURED.to_owned();
                    }
                    let mean = tier.sum / f64::from(tier.members);
                    format!("{}  {}", three(mean), three(tier.peak))
                },
            ));
        }
        table.row(cells);
    }
    table.text(
        "Links: mean over the members, then what is asked of the fullest in the busiest 20 ms, %",
    )
}

fn parts(report: &Report) -> String {
    let mut table = Aligned::new(&["part", "detail"]);
    for case in &report.matrix.cases {
        table = table.number(&case.name);
    }
    for part in &report.parts {
        let mut cells = vec![part.part.clone(), part.detail.clone()];
        for used in &part.cases {
            cells.push(used.as_ref().map_or_else(
                || "lost".to_owned(),
                |used| {
                    let over = if is_over(used.peak_percent) {
                        " over"
                    } else {
                        ""
                    };
                    format!(
                        "{}  {}{over}",
                        three(used.mean_percent),
                        three(used.peak_percent)
                    )
                },
            ));
        }
        table.row(cells);
    }
    table.text("Parts, the fullest of each family: mean, then asked in the busiest 20 ms, %")
}

fn growth(report: &Report) -> String {
    let mut table = Aligned::new(&["case", ">full at", "part", ">next at", "next part"]);
    let mended = report.shown_mends().flat_map(|mend| {
        mend.growth
            .iter()
            .map(|growth| (format!("{}, {}", growth.case, mend.name), growth))
    });
    let plain = report
        .growth
        .iter()
        .map(|growth| (growth.case.clone(), growth));
    for (case, growth) in plain.chain(mended) {
        let (part, factor) = growth.next.clone().map_or_else(
            || (NONE.to_owned(), NONE.to_owned()),
            |(part, factor)| (part, three_down(factor)),
        );
        table.row(vec![
            case,
            three_down(growth.factor),
            growth.part.clone(),
            factor,
            part,
        ]);
    }
    let mut out = table.text(GROWTH_TITLE);
    let notes = [growth_words(report), short_span_words(report)];
    for said in notes.into_iter().flatten() {
        out.push_str(&format!("{}\n", wrapped(&said, 96)));
    }
    out
}

fn events(switch: &Switch) -> String {
    let mut table = Aligned::new(&[">s", "what happened", "workload", "timer", ""]);
    let marked = match switch.workloads.iter().any(SwitchWorkload::stopped) {
        true => "ended the stall",
        false => "let the longest I/O go",
    };
    for event in &switch.events {
        table.row(vec![
            at_place(event.t_s, -3),
            event.what.clone(),
            event.workload.clone().unwrap_or_default(),
            event.timer.as_deref().map_or_else(String::new, timer_words),
            if event.ended_stall {
                marked.to_owned()
            } else {
                String::new()
            },
        ]);
    }
    table.text(&format!(
        "Switch-over, {}: events, seconds {}",
        switch.case.name,
        switch.counted_from.after()
    ))
}

pub(super) fn switch_summary(switch: &Switch) -> String {
    let silence = Scale::of("s", switch.workloads.iter().map(|w| w.longest_silence_s));
    let silence_head = format!(">silence, {}", silence.unit);
    let mut table = Aligned::new(&[
        "workload",
        ">by timers, s",
        ">longest I/O, s",
        &silence_head,
        ">least /s",
        ">most /s",
        ">above promise, %",
        ">sent again",
        ">failed",
        ">late",
        ">backlog",
        ">drained, s",
        ">settled, s",
    ]);
    for workload in &switch.workloads {
        let within = |value: Option<f64>, limit: f64| {
            value.map_or_else(|| format!("> {}", three(limit)), three)
        };
        table.row(vec![
            workload.name.clone(),
            workload
                .by_timers
                .as_ref()
                .map_or_else(|| NONE.to_owned(), |stall| three(stall.s)),
            longest_of(workload),
            silence.three(workload.longest_silence_s),
            workload
                .completed_least_iops
                .map_or_else(|| NONE.to_owned(), three),
            three(workload.completed_most_iops),
            workload
                .above_promise_share
                .map_or_else(|| NONE.to_owned(), |share| three(100.0 * share)),
            about(workload.retried),
            count(workload.failed.iter().sum()),
            count(workload.late),
            count(workload.backlog_peak),
            if workload.all_fails() {
                "all fails".to_owned()
            } else {
                within(workload.drain_s, switch.to_s)
            },
            within(workload.settled_s, switch.limit_s),
        ]);
    }
    table.text(&format!(
        "Switch-over, {}: {}{}; timers {}{}",
        switch.case.name,
        match switch.replications {
            1 => "of one run, ".to_owned(),
            many =>
                format!("times and backlog of the worst of {many} runs, counts of all together, "),
        },
        least_and_most(switch),
        switch.timers(),
        switch.settled_s.map_or_else(
            || format!(", not settled within {}{THIN}s", three(switch.limit_s)),
            |s| format!(", settled after {}{THIN}s", three(s))
        )
    )) + &by_timers(switch)
        + &spikes(switch)
}

/// Which timers make up the stall, each sum once.
fn by_timers(switch: &Switch) -> String {
    let mut said: Vec<String> = Vec::new();
    for (stall, names) in stalls_by_timers(switch) {
        said.push(wrapped(
            &format!("By timers, {}: {stall}", names.join(", ")),
            120,
        ));
    }
    if !said.is_empty() {
        said.push("\n".to_owned());
    }
    said.concat()
}

/// Why work stopped or did not, where any of it hung.
fn spikes(switch: &Switch) -> String {
    let mut said = stop_and_spike(switch);
    said.extend(hosts_without_path(switch));
    said.extend(sent_twice(switch));
    said.extend(still_slow(switch));
    if said.is_empty() {
        return String::new();
    }
    let said: String = said.iter().map(|why| wrapped(why, 120)).collect();
    format!("{said}\n")
}
