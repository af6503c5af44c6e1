//! Section 3: the seconds after a loss.

use super::Context;
use super::html::section as framed;
use super::html::{Column, Table, below, esc, figure, sentence};
use crate::outcome::{NamedEvent, Switch, SwitchWorkload};
use crate::render::chart::{Format, timeline};
use crate::render::number::{NONE, Scale, THIN, about, at_place, count, three};
use crate::render::words::{
    hosts_without_path, least_bin, longest_of, over_timers, plural, sent_twice, stalls_by_timers,
    still_slow, stop_and_spike, timer_words,
};
use std::fmt::Write as _;

pub(super) fn section(context: &Context<'_>) -> String {
    let switches = &context.report.switches;
    let mut body = String::new();
    if switches.is_empty() {
        body.push_str("<p class=\"plain\">No switch-over was run: this study is of steady states only. <code>halfloom failover</code> runs one.</p>\n");
    }
    for (index, switch) in switches.iter().enumerate() {
        body.push_str(&one(context, index, switch));
    }
    framed(
        "switch",
        3,
        "What happens in the seconds after the loss?",
        &body,
    )
}

/// A switch-over is shown with its case; the first also when healthy is chosen, which has none.
fn class(context: &Context<'_>, index: usize, switch: &Switch) -> String {
    let Some(k) = context.case_index(&switch.case.name) else {
        return String::new();
    };
    let healthy = if index == 0 { " in0" } else { "" };
    format!("only in{k}{healthy}")
}

fn one(context: &Context<'_>, index: usize, switch: &Switch) -> String {
    let workload = switch
        .workloads
        .iter()
        .position(|workload| workload.name == context.first_workload())
        .unwrap_or(0);
    let drawing = |format| timeline(context.report, index, workload, format);
    let chart = figure(
        context,
        "full",
        drawing(Format::Page),
        drawing(Format::Phone),
    );
    let note = note(context, switch, workload);
    format!(
        "<div class=\"{}\">{chart}{}{}</div>\n",
        class(context, index, switch),
        below(&events(switch), &note),
        workloads(switch)
    )
}

fn events(switch: &Switch) -> String {
    if switch.events.is_empty() {
        return String::new();
    }
    let stall = if switch.events.iter().any(|event| event.ended_stall) {
        "; ▶ let work go on that had stopped or hung"
    } else {
        ""
    };
    let mut out = format!(
        "<table class=\"ev\"><caption>Events with {}{stall}</caption><thead><tr><th scope=\"col\">no</th><th scope=\"col\" class=\"r\">s</th><th scope=\"col\">what happened</th><th scope=\"col\">timer that acted</th></tr></thead>\n<tbody>",
        esc(&switch.case.name)
    );
    for (number, event) in switch.events.iter().enumerate() {
        out.push_str(&event_row(number + 1, event));
    }
    out.push_str("</tbody></table>\n");
    out
}

fn event_row(number: usize, event: &NamedEvent) -> String {
    let hot = if event.ended_stall {
        " class=\"hot\""
    } else {
        ""
    };
    let arrow = if event.ended_stall { "▶ " } else { "" };
    let workload = event
        .workload
        .as_ref()
        .map_or_else(String::new, |name| format!("<i>{}</i>: ", esc(name)));
    format!(
        "<tr{hot}><td>{number}</td><td class=\"r nw\">{}</td><th scope=\"row\">{arrow}{workload}{}</th><td>{}</td></tr>\n",
        seconds(event.t_s),
        esc(&event.what),
        event
            .timer
            .as_ref()
            .map_or_else(|| NONE.to_owned(), |timer| esc(&timer_words(timer))),
    )
}

/// Instants of the list: milliseconds below a second, else three digits.
fn seconds(t_s: f64) -> String {
    if t_s.abs() < 1.0 {
        at_place(t_s, -3)
    } else {
        three(t_s)
    }
}

fn maybe_seconds(value: Option<f64>, limit: f64) -> String {
    value.map_or_else(|| format!("> {}", three(limit)), three)
}

fn note(context: &Context<'_>, switch: &Switch, workload: usize) -> String {
    let settled = switch.settled_s.map_or_else(
        || format!("Not settled within {}{THIN}s.", three(switch.limit_s)),
        |s| {
            format!(
                "Settled {}{THIN}s {}: from then on as {}.",
                three(s),
                switch.counted_from.after(),
                switch.settles_to.words().replace('\'', "’")
            )
        },
    );
    let mut out = format!(
        "<p><b>When it is over.</b> {settled} Timers: <i>{}</i>.</p><p>{}, {} I/Os completed.</p>",
        esc(&switch.timers()),
        plural(switch.replications as usize, "replication"),
        about(switch.ios),
    );
    if switch.partial {
        let limit = switch.stopped_by.unwrap_or("a limit");
        let _ = write!(out, "<p><b>Partial.</b> {limit} stopped it.</p>");
    }
    if let Some(workload) = switch.workloads.get(workload) {
        let _ = write!(
            out,
            "<p>A hang shows in completions only once it is over; the line “oldest unfinished I/O” shows it while it lasts. The longest time without any completion of <i>{}</i> is {}.</p>",
            esc(&workload.name),
            Scale::of("s", [workload.longest_silence_s]).two(workload.longest_silence_s)
        );
    }
    if let Some((workload, least)) = switch
        .workloads
        .get(workload)
        .and_then(|workload| Some((workload, workload.completed_least_iops?)))
    {
        let _ = write!(
            out,
            "<p><b>Stop and spike.</b> In the emptiest {} {} {} I/Os a second of <i>{}</i> are completed, in the fullest {}; the busiest 20{THIN}ms of {} have {}.</p>",
            least_bin(switch),
            switch.counted_from.after(),
            three(least),
            esc(&workload.name),
            three(workload.completed_most_iops),
            switch.settles_to.words().replace('\'', "’"),
            three(workload.survivors_peak_iops),
        );
    }
    for (stall, names) in stalls_by_timers(switch) {
        let _ = write!(
            out,
            "<p><b>Which timers.</b> <i>{}</i>: {}</p>",
            esc(&names.join(", ")),
            esc(&stall)
        );
    }
    for why in stop_and_spike(switch)
        .into_iter()
        .chain(hosts_without_path(switch))
        .chain(sent_twice(switch))
        .chain(still_slow(switch))
    {
        let _ = write!(out, "<p>{}</p>", sentence(&why));
    }
    if context.report.switches.len() > 1 && switch.workloads.len() > 1 {
        out.push_str(
            "<p>Drawn for one workload; the other drawings are files beside this page.</p>",
        );
    }
    out
}

fn workloads(switch: &Switch) -> String {
    let silence = Scale::of("s", switch.workloads.iter().map(|w| w.longest_silence_s));
    let columns = vec![
        Column::words("workload"),
        Column::number("stall by timers alone, s"),
        Column::number("longest I/O, s"),
        Column::number("difference, s"),
        Column::number(&format!("silence, {}", silence.unit)),
        Column::number("completed at least, per s"),
        Column::number("at most, per s"),
        Column::number("above promise, % of I/Os"),
        Column::number("sent again"),
        Column::number("failed"),
        Column::number("late"),
        Column::number("backlog at most"),
        Column::number("drained after, s"),
    ];
    let caption = format!(
        "What each workload felt with {}: {}; completed at least and at most are the emptiest {} and the fullest 20\u{202F}ms {}",
        esc(&switch.case.name),
        match switch.replications {
            1 => "one run".to_owned(),
            many => format!(
                "times and backlog are those of the worst of {many} runs, counts those of all runs together"
            ),
        },
        least_bin(switch),
        switch.counted_from.after()
    );
    let mut table = Table::new("", caption, columns);
    for workload in &switch.workloads {
        table.row("", &workload_cells(switch, workload, silence));
    }
    let key = if table.is_empty() { "" } else { KEY };
    format!("{}{key}", table.html())
}

/// What the columns mean.
const KEY: &str = "<p class=\"key\">Stall by timers alone: detection, hold and quiet time one after the other, for an I/O that the loss catches. Longest I/O: from its arrival in the host until it is completed or failed, “>” where it was not over when the run ended; the difference is by how much it is longer than the timers. Silence: the longest time without a completion. Completed at least and at most: I/Os a second in the emptiest and the fullest moment; what was held comes out at once. Above promise: I/Os over or unfinished that took longer than the workload’s latency target. Sent again: attempts after the first. Late: answers that came after their attempt was given up. Backlog: I/Os arrived and not completed. Drained: when that was down to the mean of the state that it settles to.</p>\n";

fn workload_cells(switch: &Switch, workload: &SwitchWorkload, silence: Scale) -> Vec<String> {
    let share = workload
        .above_promise_share
        .map_or_else(|| "–".to_owned(), |share| three(share * 100.0));
    vec![
        esc(&workload.name),
        workload
            .by_timers
            .as_ref()
            .map_or_else(|| NONE.to_owned(), |stall| three(stall.s)),
        longest_of(workload),
        over_timers(workload).map_or_else(|| NONE.to_owned(), three),
        silence.three(workload.longest_silence_s),
        workload
            .completed_least_iops
            .map_or_else(|| NONE.to_owned(), three),
        three(workload.completed_most_iops),
        share,
        about(workload.retried),
        count(workload.failed.iter().sum()),
        count(workload.late),
        count(workload.backlog_peak),
        if workload.all_fails() {
            "all fails".to_owned()
        } else {
            maybe_seconds(workload.drain_s, switch.to_s)
        },
    ]
}
