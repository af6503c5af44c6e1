//! Recorded traces: CSV with the head `timestamp_ns,op,offset_bytes,size_bytes` and, if recorded,
//! `latency_ns`, which is not used: it is what another system took.

use super::context::Context;
use super::problem::{Problem, Severity};
use crate::site::TraceEntry;
use crate::unit::Duration;
use crate::wire::{Op, SIZE_MAX};

const HEAD: &str = "timestamp_ns,op,offset_bytes,size_bytes";
/// Most I/Os of a trace.
const ENTRIES_MAX: usize = 5_000_000;
/// Longest trace: a day.
const SPAN_MAX_NS: u64 = 86_400_000_000_000;
/// After so many bad lines the rest is not looked at.
const PROBLEMS_MAX: usize = 10;

/// Reads a trace; the first I/O becomes time 0. `None` when it has problems, which are noted.
pub(super) fn read(ctx: &Context<'_>, file: &str, text: &str) -> Option<Vec<TraceEntry>> {
    let before = ctx.problems.borrow().len();
    let note = |number: usize, line: &str, message: &str, expected: &str| {
        note(ctx, file, (number, line), message, expected);
        ctx.problems.borrow().len() - before >= PROBLEMS_MAX
    };
    let mut entries: Vec<TraceEntry> = Vec::new();
    let mut first_ns = None;
    let head = text.lines().next().unwrap_or("");
    if head.trim() != HEAD && head.trim() != format!("{HEAD},latency_ns") {
        note(
            0,
            head,
            "the trace begins with an unknown head",
            &format!("{HEAD}[,latency_ns]"),
        );
        return None;
    }
    let lines = text.lines().enumerate().skip(1);
    for (number, line) in lines.filter(|(_, line)| !line.trim().is_empty()) {
        let stop = match entry(line, first_ns, entries.last()) {
            Ok(_) if entries.len() == ENTRIES_MAX => {
                note(
                    number,
                    line,
                    &format!("the trace has more than {ENTRIES_MAX} I/Os"),
                    "fewer",
                );
                true
            }
            Ok((ns, found)) => {
                first_ns.get_or_insert(ns);
                entries.push(found);
                false
            }
            Err((message, expected)) => note(number, line, &message, expected),
        };
        if stop {
            break;
        }
    }
    let short = entries.last().is_none_or(|last| last.at == Duration::ZERO);
    if short && ctx.problems.borrow().len() == before {
        note(
            0,
            head,
            "the trace is too short to have a rate",
            "two I/Os or more, at different times",
        );
    }
    (ctx.problems.borrow().len() == before).then_some(entries)
}

/// Notes a problem of line `number` (from 0) of a trace.
fn note(
    ctx: &Context<'_>,
    file: &str,
    (number, line): (usize, &str),
    message: &str,
    expected: &str,
) {
    let clip = |number: usize| u32::try_from(number).unwrap_or(u32::MAX);
    ctx.problems.borrow_mut().push(Problem {
        severity: Severity::Error,
        message: format!("{}{message}", ctx.prefix),
        file: file.to_owned(),
        line: Some(clip(number + 1)),
        column: 1,
        line_text: line
            .chars()
            .map(|c| if c.is_control() { ' ' } else { c })
            .collect(),
        length: clip(line.chars().count()).max(1),
        expected: expected.to_owned(),
        help: String::new(),
    });
}

type Wrong = (String, &'static str);

fn entry(
    line: &str,
    first_ns: Option<u64>,
    last: Option<&TraceEntry>,
) -> Result<(u64, TraceEntry), Wrong> {
    let fields: Vec<&str> = line.trim().split(',').map(str::trim).collect();
    let (&[ns, op, offset, size] | &[ns, op, offset, size, _]) = fields.as_slice() else {
        return Err((
            format!("the trace has a line of {} fields", fields.len()),
            "4 or 5 fields",
        ));
    };
    let whole = |text: &str, what: &str| {
        text.parse::<u64>()
            .map_err(|_| (format!("`{text}` is no {what}"), "a whole number"))
    };
    let ns = whole(ns, "time")?;
    let since = ns
        .checked_sub(first_ns.unwrap_or(ns))
        .filter(|since| *since <= SPAN_MAX_NS)
        .ok_or_else(|| {
            (
                format!("the time {ns} ns is out of order or more than a day on"),
                "times in order, a day in all",
            )
        })?;
    let at = Duration::from_ns(since);
    if last.is_some_and(|last| at < last.at) {
        return Err((
            format!("the time {ns} ns is before the line above"),
            "times in order",
        ));
    }
    let op = match op {
        "R" | "r" | "read" => Op::Read,
        "W" | "w" | "write" => Op::Write,
        other => return Err((format!("`{other}` is no operation"), "R or W")),
    };
    let offset = whole(offset, "offset")?;
    let size = whole(size, "size")?;
    match u32::try_from(size) {
        Ok(size) if size > 0 && u64::from(size) <= SIZE_MAX => Ok((
            ns,
            TraceEntry {
                at,
                op,
                offset,
                size,
            },
        )),
        _ => Err((
            format!("the size {size} is outside its limits"),
            "1 to 67108864 bytes",
        )),
    }
}
