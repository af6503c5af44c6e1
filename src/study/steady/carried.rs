//! What a workload carries per second.
//!
//! Whole I/Os are counted in a window. Where they come evenly spaced, that is up to one more or less at each host by where the
//! window ends, in every replication alike if chance has it so; their rate is known, and while the work fits it is what is carried.
//! Elsewhere no interval is narrower than one I/O to each side. Left out: the rate of a replay, which is that of its trace.

use super::SteadyRuns;
use super::figures::service_beyond_run;
use crate::measure::{Estimate, mean_interval};
use crate::model::{Compiled, Tally};
use crate::site::{Arrivals, Workload};
use crate::study::bounds::asked_bytes_s;
use crate::study::cut::measured_s;
use crate::unit::Duration;

/// What one workload carries.
pub(in crate::study) struct Carried {
    /// MB/s, one value a replication.
    pub(in crate::study) rates: Vec<f64>,
    /// What one I/O more or less makes of it, MB/s; 0 where the rate is known.
    pub(in crate::study) grain: f64,
}

impl Carried {
    /// Of the runs of a case.
    pub(in crate::study) fn of(runs: &SteadyRuns, index: usize) -> Self {
        let fits = !runs.figures.workloads[index].saturated;
        Self::of_tallies(&runs.compiled, &runs.tallies, index, fits)
    }

    /// The same; `fits`: the work does not pile up.
    #[allow(clippy::cast_precision_loss)]
    pub(super) fn of_tallies(
        compiled: &Compiled,
        tallies: &[Tally],
        index: usize,
        fits: bool,
    ) -> Self {
        let window = tallies[0].to.since(tallies[0].from).as_secs_f64();
        let work = &compiled.site.workloads[index];
        // What begins together keeps together while the pause never changes: one lump, which a window has or has not.
        let lump = match work.arrivals {
            Arrivals::Closed {
                depth,
                think,
                together: true,
            } if think > Duration::ZERO => {
                let hosts = compiled.fabric.hosts.iter();
                let hosts = hosts.filter(|host| work.hosts.contains(&host.family));
                f64::from(depth) * hosts.count() as f64
            }
            _ => 1.0,
        };
        let largest = lump * largest(work) as f64 / 1e6;
        let own = tallies.iter().map(|tally| &tally.workloads[index]);
        let counted = own.clone();
        let counted = counted.map(|own| (own.reads.bytes + own.writes.bytes) as f64 / 1e6 / window);
        let counted = Self {
            rates: counted.collect(),
            grain: largest / window,
        };
        let failed = own.map(|own| own.reads.failed + own.writes.failed);
        let fits =
            fits && failed.sum::<u64>() == 0 && service_beyond_run(&compiled.site, index).is_none();
        let Some(known) = known(compiled, work).filter(|_| fits) else {
            return counted;
        };
        let hosts = compiled.fabric.hosts.iter();
        let hosts = hosts.filter(|host| work.hosts.contains(&host.family));
        // At each host the window cuts off less than one.
        let reach = counted.grain * hosts.count() as f64 * (1.0 + 1e-9);
        if counted
            .rates
            .iter()
            .all(|rate| (rate - known).abs() <= reach)
        {
            return Self {
                rates: vec![known; tallies.len()],
                grain: 0.0,
            };
        }
        counted
    }

    /// The mean with its interval.
    pub(in crate::study) fn interval(&self, confidence: f64) -> Estimate {
        no_finer(mean_interval(&self.rates, confidence), self.grain)
    }
}

/// An interval that is no narrower than one step of what is counted to each side.
pub(super) fn no_finer(estimate: Estimate, grain: f64) -> Estimate {
    Estimate {
        half_width: estimate.half_width.map(|half| half.max(grain)),
        ..estimate
    }
}

/// The largest I/O over what was simulated of a window, 10^6 bytes per second: whole I/Os are counted, and a throughput is known no finer.
#[allow(clippy::cast_precision_loss)]
pub(crate) fn one_io_mb_s(work: &Workload, tallies: &[Tally]) -> f64 {
    largest(work) as f64 / 1e6 / measured_s(tallies)
}

/// Bytes of the largest I/O.
pub(super) fn largest(work: &Workload) -> u64 {
    sizes(work).max().unwrap_or(0)
}

/// Sizes that occur.
fn sizes(work: &Workload) -> impl Iterator<Item = u64> {
    let of = |occurs: bool, mix: &[(u64, f64)]| -> Vec<u64> {
        let own = mix.iter().filter(|(_, share)| occurs && *share > 0.0);
        own.map(|(size, _)| *size).collect()
    };
    let reads = of(work.read > 0.0, &work.sizes.read);
    let writes = of(work.read < 1.0, &work.sizes.write);
    reads.into_iter().chain(writes)
}

/// MB/s that come, where that is no matter of chance: evenly spaced and all of one size.
fn known(compiled: &Compiled, work: &Workload) -> Option<f64> {
    let one = sizes(work).all(|size| size == largest(work));
    let paced = matches!(work.arrivals, Arrivals::Paced(_)) && one;
    asked_bytes_s(&compiled.fabric, work)
        .filter(|_| paced)
        .map(|bytes| bytes / 1e6)
}
