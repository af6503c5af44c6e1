//! What a budget says.

use crate::render::chart::text::{THIN, sig, time};

use super::Bar;
use crate::render::words::plural;

pub(super) fn finding(bars: &[Bar], workload: &str) -> String {
    let said = mean(bars, workload);
    let mut open = bars
        .iter()
        .filter(|bar| bar.unfinished > 0 && !bar.saturated);
    let Some(first) = open.next() else {
        return said;
    };
    let ios = plural(
        usize::try_from(first.unfinished).unwrap_or(usize::MAX),
        "I/O",
    );
    let (was, more) = (
        if first.unfinished == 1 { "was" } else { "were" },
        match open.count() {
            0 => String::new(),
            others => format!(" (and in {} drawn)", plural(others, "other case")),
        },
    );
    format!(
        "{said} {}, {ios}{more} {was} not over when the run ended: what is told there is of the others.",
        first.with
    )
}

fn mean(bars: &[Bar], workload: &str) -> String {
    let Some(healthy) = bars.first() else {
        return String::new();
    };
    if let Some(bar) = bars.iter().find(|bar| bar.saturated) {
        return format!(
            "{}, {workload} does not fit: it arrives faster than it is carried, and has no mean.",
            bar.with
        );
    }
    let worst = bars.iter().skip(1).reduce(|worst, bar| {
        if bar.shown() > worst.shown() {
            bar
        } else {
            worst
        }
    });
    let Some(worst) = worst.filter(|worst| worst.total > healthy.total * 1.1) else {
        let largest = healthy.parts.iter().max_by(|a, b| a.us.total_cmp(&b.us));
        let largest = largest.map_or_else(String::new, |part| {
            format!("; the largest part is {}, {}", part.name, time(part.us, 2))
        });
        return format!(
            "{}, the mean of {workload} is {}{largest}.",
            healthy.with,
            time(healthy.total, 2)
        );
    };
    let before = |name: &str| {
        healthy
            .parts
            .iter()
            .find(|part| part.name == name)
            .map_or(0.0, |part| part.us)
    };
    let grown = worst
        .parts
        .iter()
        .max_by(|a, b| (a.us - before(&a.name)).total_cmp(&(b.us - before(&b.name))));
    let why = grown.map_or_else(String::new, |part| {
        let share = (part.us - before(&part.name)) / (worst.total - healthy.total);
        let much = if share > 0.95 {
            "all of the growth".to_owned()
        } else {
            format!("{}{THIN}% of the growth", sig(share * 100.0, 2))
        };
        format!(", and {much} is {}", part.name)
    });
    format!(
        "{}, the mean of {workload} grows from {} to {}{why}.",
        worst.with,
        time(healthy.total, 2),
        time(worst.total, 2)
    )
}

pub(super) fn description(bars: &[Bar], workload: &str) -> String {
    let rows: Vec<String> = bars
        .iter()
        .map(|bar| {
            if bar.saturated {
                return format!("{}: saturated, no mean", bar.name);
            }
            let parts: Vec<String> = bar
                .parts
                .iter()
                .map(|part| format!("{} {}", part.name, time(part.us, 3)))
                .collect();
            let open = match bar.unfinished {
                0 => String::new(),
                ios => format!(", without {ios} that were not over when the run ended"),
            };
            format!(
                "{}: {}, of it {}{open}",
                bar.name,
                time(bar.total, 3),
                parts.join(", ")
            )
        })
        .collect();
    format!("Mean latency of {workload}. {}.", rows.join("; "))
}
