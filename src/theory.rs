//! Closed forms of queueing theory and of plain arithmetic, for checks and for quick estimates.
//!
//! Numbers in, numbers out: one file a model, each with its assumptions and its source. Times are in any
//! one unit unless a type says picoseconds. A function returns `None` where the model has no steady state
//! (a utilization of 1 or more) or the arguments have no meaning.
//!
//! Left out: which part of a site a formula applies to, and anything whose assumptions a real
//! site could not come near.

pub mod batches;
pub mod chance;
pub mod closed_network;
pub mod failure;
pub mod fan_in;
pub mod many_servers;
pub mod pipeline;
pub mod single_queue;
pub mod start_up;
pub mod window;

/// Whether the numbers describe a load a queue can carry for ever: all finite, the rate not negative, the
/// utilization below 1.
fn steady(rate: f64, utilization: f64) -> bool {
    rate.is_finite() && rate >= 0.0 && (0.0..1.0).contains(&utilization)
}

/// Whether `got` rounds to `expected` when that is printed with `digits` significant figures: within one
/// unit of the last place, as printed values may be cut rather than rounded.
#[cfg(test)]
fn close(got: f64, expected: f64, digits: i32) -> bool {
    if expected == 0.0 {
        return got.abs() < 1e-12;
    }
    let place = 10_f64.powi(expected.abs().log10().floor() as i32 + 1 - digits);
    (got - expected).abs() <= place
}
