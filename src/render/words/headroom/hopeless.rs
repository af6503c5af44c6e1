//! What is said of a promise that no load keeps.

use super::{counted, counted_missed, growth_unit};
use crate::outcome::{Because, Headroom, Hopeless};
use crate::render::number::{Scale, as_written, with_unit};
use crate::render::words::measure_name;

pub(super) fn megabytes(value: f64) -> String {
    let scale = Scale::of("MB/s", [value]);
    with_unit(&scale.three(value), scale.unit)
}

fn microseconds(value: f64) -> String {
    let scale = Scale::of("us", [value]);
    with_unit(&scale.three(value), scale.unit)
}

/// Which promise no load keeps, and how that is known. `loads` puts a factor into words with its unit.
#[must_use]
pub fn no_load_keeps(found: &Hopeless, loads: &dyn Fn(f64) -> String) -> String {
    let most = matches!(found.because, Because::MostBefore { .. });
    // Below the least load that was tried nothing waits less; above today's none was.
    let load = match found.because {
        Because::LeastLoad { .. } | Because::NeverBrought { .. } => "load that was tried",
        _ if most => "load that was to be tried",
        _ => "load at all",
    };
    kept_by_none(load, found, loads, ", where hardly anything waits,")
}

fn kept_by_none(
    load: &str,
    found: &Hopeless,
    loads: &dyn Fn(f64) -> String,
    waits: &str,
) -> String {
    let because = match &found.because {
        Because::IdleMean { latency_us } => format!(
            "even an empty fabric takes {} on the mean",
            microseconds(*latency_us)
        ),
        Because::IdleWire { latency_us } => format!(
            "even on an empty fabric the wire alone takes {} for the fastest I/O",
            microseconds(*latency_us)
        ),
        Because::LeastLoad { factor, latency_us } => {
            let at = loads(*factor);
            latency_us.map_or_else(
                || format!("it is broken even at {at}{waits} and below nothing was tried"),
                |us| format!("even at {at}{waits} it is {}", microseconds(us)),
            )
        }
        Because::FullBefore {
            factor,
            throughput_mb_s,
        } => format!(
            "a part is full at {}, where no more than {} is asked for",
            loads(*factor),
            megabytes(*throughput_mb_s)
        ),
        Because::MostBefore {
            factor,
            throughput_mb_s,
        } => format!(
            "up to {}, the most that was to be tried, no more than {} is asked for",
            loads(*factor),
            megabytes(*throughput_mb_s)
        ),
        Because::NeverBrought {
            least,
            factor,
            throughput_mb_s,
        } => format!(
            "from {} to {} no run brought more than {}",
            loads(*least),
            loads(*factor),
            megabytes(*throughput_mb_s)
        ),
        Because::NoPath => "its hosts have no path to the array".to_owned(),
    };
    format!(
        "no {load} keeps `{}` {} {}: {because}",
        found.workload,
        measure_name(found.measure),
        as_written(&found.target_text)
    )
}

pub(super) fn hopeless_sentence(name: &str, found: &Hopeless, headroom: &Headroom) -> String {
    let digits = match found.because {
        Because::LeastLoad { .. } => counted_missed,
        _ => counted,
    };
    let loads = |factor: f64| format!("{} {}", digits(headroom, factor), growth_unit(headroom));
    let said = match headroom.grows.hosts {
        None => no_load_keeps(found, &loads),
        Some(_) => {
            let tried = matches!(
                found.because,
                Because::LeastLoad { .. } | Because::NeverBrought { .. }
            );
            let number = if tried {
                "number of hosts that was tried"
            } else {
                "number of hosts"
            };
            kept_by_none(number, found, &loads, "")
        }
    };
    format!(
        "{name}: {said}. What would end it otherwise was not looked for: it shows once this is promised no more."
    )
}
