//! Links with constant transmission times that feed each other: several into one, and a chain.
//!
//! Messages of one frame, Poisson at the sources, store-and-forward, room without limit. With constant
//! service a frame that waits upstream does not wait again downstream, so that the sum over the stages
//! is that of one queue at the narrowest place.

use super::single_queue::constant;

/// Mean waits of a two-stage tree of equal links.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FanIn {
    /// At each of the feeding links.
    pub first_stage: f64,
    /// At the link that they share.
    pub second_stage: f64,
    /// Both together: that of one link fed by all the sources.
    pub total: f64,
}

/// `sources` equal links, each with `rate` messages a time unit, merging into one of the same speed with
/// `service` time a message. Literature: concentrating trees with constant service (Morrison; Shalmon and
/// Kaplan, about 1979 to 1984; from memory); confirmed by simulation.
#[must_use]
pub fn fan_in(sources: u32, rate: f64, service: f64) -> Option<FanIn> {
    let first_stage = constant(rate, service)?.wait;
    let total = constant(rate * f64::from(sources), service)?.wait;
    (sources > 0).then_some(FanIn {
        first_stage,
        second_stage: total - first_stage,
        total,
    })
}

/// The mean total wait over a chain of links with these service times: that of one link with the slowest,
/// wherever it stands (a known reduction for constant-service tandems; from memory, confirmed by
/// simulation). Behind a link that is not faster than those after it nothing waits at all. `None` for no
/// link, or for a slowest that is overloaded.
#[must_use]
pub fn chain_wait(rate: f64, services: &[f64]) -> Option<f64> {
    let slowest = services.iter().copied().reduce(f64::max)?;
    Some(constant(rate, slowest)?.wait)
}

#[cfg(test)]
mod tests {
    use super::super::close;
    use super::*;

    #[test]
    fn waits_of_the_tree_equal_the_table() {
        // Four into one at 0.8: simulated 0.12498 ± 0.000076, 1.8781 ± 0.0037 and 2.0031 ± 0.0037.
        let got = fan_in(4, 0.2, 1.0).unwrap();
        assert!(close(got.first_stage, 0.125, 12) && close(got.second_stage, 1.875, 12));
        assert!(close(got.total, 2.0, 12));
        // One link into one: all the wait is at the first.
        assert_eq!(fan_in(1, 0.7, 1.0).map(|got| got.second_stage), Some(0.0));
        assert_eq!((fan_in(5, 0.2, 1.0), fan_in(0, 0.2, 1.0)), (None, None));
    }

    #[test]
    fn waits_of_a_chain_equal_the_table() {
        // 0.7 then 1.0 at a rate of 0.75: simulated 1.5011 ± 0.0026. The order does not matter.
        assert!(close(chain_wait(0.75, &[0.7, 1.0]).unwrap(), 1.5, 12));
        assert!(close(chain_wait(0.75, &[1.0, 0.7]).unwrap(), 1.5, 12));
        // Equal links: only the first queue waits.
        assert_eq!(
            chain_wait(0.75, &[1.0; 5]),
            constant(0.75, 1.0).map(|means| means.wait)
        );
        assert_eq!(
            (chain_wait(0.75, &[]), chain_wait(0.75, &[1.4])),
            (None, None)
        );
    }
}
