//! When I/Os arrive.

use super::cursor::{Cursor, choice};
use super::day::Shapes;
use super::trace;
use super::value::{
    count, io_rate, io_rate_or_zero, number, one_of, switch, text, time, time_above_zero,
};
use crate::site::{Arrivals, Burst, BurstLaw, DayShape, Per, Replay, TraceEntry};
use crate::unit::Duration;
use std::sync::Arc;

/// Reads files that a scenario names.
pub(super) type Files<'f> = &'f dyn Fn(&str) -> Result<String, String>;

/// The kinds, one of which every workload has.
pub(super) const KINDS: [&str; 5] = ["poisson", "paced", "bursty", "closed", "replay"];
const EXAMPLE: &str = "{ poisson = \"20k/s\" }";

/// When the I/Os of a workload come, and how many of them a host has under way.
pub(super) struct When {
    pub(super) arrivals: Arrivals,
    pub(super) per: Per,
    pub(super) outstanding: Option<u32>,
    pub(super) shape: Option<DayShape>,
}

/// Reads `arrivals` of a workload. `None` when it is missing or wrong.
pub(super) fn arrivals(
    workload: &Cursor<'_, '_>,
    shapes: &Shapes<'_, '_>,
    files: Files<'_>,
    used: &mut Vec<String>,
) -> Option<When> {
    if !workload.has("arrivals") {
        workload.need("arrivals", &text, EXAMPLE);
        return None;
    }
    let cursor = workload.table("arrivals")?;
    let stated: Vec<&str> = KINDS.into_iter().filter(|kind| cursor.has(kind)).collect();
    if stated.len() != 1 {
        let message = format!(
            "{} states {} kinds",
            cursor.who,
            if stated.is_empty() {
                "none of the"
            } else {
                "several"
            }
        );
        let help = format!("for example arrivals = {EXAMPLE}");
        cursor.ctx.error(
            cursor.origin,
            &message,
            &format!("exactly one of: {}", KINDS.join(", ")),
            &help,
        );
    }
    let per = one_of(&[("workload", Per::Workload), ("host", Per::Host)]);
    let found = match stated.first().copied() {
        Some("poisson") => cursor
            .optional("poisson", "mean rate (Poisson)", &io_rate)
            .map(Arrivals::Poisson),
        Some("paced") => cursor
            .optional("paced", "evenly spaced arrivals", &io_rate)
            .map(Arrivals::Paced),
        Some("bursty") => cursor.table("bursty").and_then(bursty),
        Some("closed") => cursor.table("closed").and_then(closed),
        Some("replay") => replay(&cursor, files, used),
        _ => None,
    };
    for kind in stated.iter().skip(1) {
        cursor.entry(
            KINDS
                .into_iter()
                .find(|known| known == kind)
                .unwrap_or("poisson"),
        );
    }
    let rated = !matches!(stated.first(), Some(&("closed" | "replay")));
    let per = if rated {
        cursor.input("per", "rate per", &per, choice("workload"))
    } else {
        Per::Host
    };
    // A closed loop has its depth.
    let outstanding = if stated.first() == Some(&"closed") {
        None
    } else {
        cursor.optional(
            "outstanding",
            "most I/Os under way at each host, all paths together; the others wait there",
            &count(1, OUTSTANDING_MAX),
        )
    };
    let shape = shapes.of(&cursor);
    // With nothing understood the other keys cannot be judged.
    if stated.len() == 1 {
        cursor.finish();
    }
    found.map(|arrivals| When {
        arrivals,
        per,
        outstanding,
        shape,
    })
}

fn bursty(cursor: Cursor<'_, '_>) -> Option<Arrivals> {
    let peak = cursor.needed("peak", "rate in a burst", &io_rate, "\"360k/s\"");
    let mean = cursor.optional("mean", "mean rate", &io_rate);
    let base = cursor.optional("base", "rate between bursts", &io_rate_or_zero);
    let burst = cursor.needed("burst", "length of a burst", &time_above_zero, "\"40ms\"");
    let every = cursor.needed(
        "every",
        "from burst to burst",
        &time_above_zero,
        "\"200ms\"",
    );
    let together = cursor.input(
        "together",
        "all hosts in one phase",
        &switch,
        choice("false"),
    );
    let laws = one_of(&[
        ("fixed", BurstLaw::Fixed),
        ("exponential", BurstLaw::Exponential),
    ]);
    let law = cursor.input("law", "law of burst lengths", &laws, choice("fixed"));
    if cursor.has("mean") == cursor.has("base") {
        let message = format!("{} needs the mean or the base, and not both", cursor.who);
        let help = "the one follows from the other";
        cursor
            .ctx
            .error(cursor.origin, &message, "either mean or base", help);
    }
    let found = peak
        .zip(burst)
        .zip(every)
        .and_then(|((peak, burst), every)| {
            let base = base_rate(&cursor, (mean, base), peak, (burst, every))?;
            Some(Arrivals::Bursty(Burst {
                peak,
                base,
                burst,
                every,
                law,
                together,
            }))
        });
    cursor.finish();
    found
}

/// The rate between bursts, stated or from the mean, if it makes sense beside the rest.
fn base_rate(
    cursor: &Cursor<'_, '_>,
    (mean, base): (Option<f64>, Option<f64>),
    peak: f64,
    (burst, every): (Duration, Duration),
) -> Option<f64> {
    let complain = |key: &'static str, says: &str, expected: &str, help: &str| {
        let at = cursor
            .entry(key)
            .map_or(cursor.origin, |entry| &entry.node.origin);
        cursor
            .ctx
            .error(at, &format!("{} {says}", cursor.who), expected, help);
    };
    if burst >= every {
        complain(
            "burst",
            "has bursts that never end",
            "shorter than `every`",
            "",
        );
        return None;
    }
    let base = base.or_else(|| mean.map(|mean| base_of(mean, peak, burst, every)))?;
    if base < 0.0 {
        let lowest = peak * (burst.as_secs_f64() / every.as_secs_f64());
        let says = "has more I/Os in its bursts than its mean allows";
        let expected = format!("a mean of at least {lowest:.0}/s");
        complain(
            "mean",
            says,
            &expected,
            "lower the peak or shorten the bursts",
        );
        return None;
    }
    if base > peak {
        complain(
            "peak",
            "has a peak below the rate between bursts",
            "above the mean",
            "",
        );
        return None;
    }
    Some(base)
}

/// The rate between bursts from mean × every = peak × burst + base × (every − burst); a hair below zero
/// from rounding is zero.
fn base_of(mean: f64, peak: f64, burst: Duration, every: Duration) -> f64 {
    let (burst, every) = (burst.as_secs_f64(), every.as_secs_f64());
    let base = (mean * every - peak * burst) / (every - burst);
    if base.abs() < 1e-9 * peak { 0.0 } else { base }
}

fn closed(cursor: Cursor<'_, '_>) -> Option<Arrivals> {
    let depth = cursor.needed(
        "depth",
        "I/Os outstanding per host",
        &count(1, 65_536),
        "16",
    );
    let think = cursor.input("think", "pause after a completion", &time, choice("0s"));
    let together = cursor.input(
        "together",
        "all begin at once, not at random within a pause",
        &switch,
        choice("false"),
    );
    cursor.finish();
    depth.map(|depth| Arrivals::Closed {
        depth,
        think,
        together,
    })
}

/// Most I/Os of a workload that a host may be allowed to have under way.
const OUTSTANDING_MAX: u32 = 1_000_000;

/// Most copies of a trace.
const COPIES_MAX: u32 = 100_000;

fn replay(cursor: &Cursor<'_, '_>, files: Files<'_>, used: &mut Vec<String>) -> Option<Arrivals> {
    let file = cursor.optional("replay", "recorded trace", &text);
    let copies = cursor.input(
        "copies",
        "copies of the trace",
        &count(1, COPIES_MAX),
        choice("1"),
    );
    let speed = cursor.input(
        "speed",
        "times faster than recorded",
        &number(0.001, 1000.0),
        choice("1"),
    );
    let aligned = cursor.input(
        "aligned",
        "all copies start together",
        &switch,
        choice("false"),
    );
    let file = file?;
    let text = match files(&file) {
        Ok(text) => text,
        Err(why) => {
            let at = cursor
                .entry("replay")
                .map_or(cursor.origin, |entry| &entry.node.origin);
            let message = format!("the trace `{file}` cannot be read: {why}");
            cursor.ctx.error(
                at,
                &message,
                "a CSV file, its path from the scenario's folder",
                "",
            );
            return None;
        }
    };
    let entries = trace::read(cursor.ctx, &file, &text)?;
    used.push(text);
    let span = span(&entries);
    Some(Arrivals::Replay(Replay {
        entries: Arc::new(entries),
        span,
        copies,
        speed,
        aligned,
        file,
    }))
}

/// The last arrival and one mean gap, so that a replay that starts again keeps the mean rate.
fn span(entries: &[TraceEntry]) -> Duration {
    let last = entries.last().map_or(Duration::ZERO, |entry| entry.at);
    last + last / (entries.len() as u64).saturating_sub(1).max(1)
}
