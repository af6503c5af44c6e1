//! The same site with more or less work.

use crate::site::{Arrivals, Burst, Measure, Replay, Site, Workload};

/// `site` with `factor` times the work of every workload: rates, a closed loop's depth (rounded, at least 1),
/// the speed of a replay. Below 1, a throughput promised of an open workload shrinks with it: less cannot
/// come out than goes in.
#[must_use]
pub fn scaled(site: &Site, factor: f64) -> Site {
    let mut site = site.clone();
    site.variants.clear();
    for workload in &mut site.workloads {
        scale(workload, factor);
    }
    site
}

fn scale(workload: &mut Workload, factor: f64) {
    workload.arrivals = match &workload.arrivals {
        Arrivals::Poisson(rate) => Arrivals::Poisson(rate * factor),
        Arrivals::Paced(rate) => Arrivals::Paced(rate * factor),
        Arrivals::Bursty(burst) => Arrivals::Bursty(Burst {
            peak: burst.peak * factor,
            base: burst.base * factor,
            ..*burst
        }),
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
        Arrivals::Closed { depth, think } => Arrivals::Closed {
            depth: (f64::from(*depth) * factor).round().clamp(1.0, 65_536.0) as u32,
            think: *think,
        },
        Arrivals::Replay(replay) => Arrivals::Replay(Replay {
            speed: replay.speed * factor,
            ..replay.clone()
        }),
    };
    if factor < 1.0 && !matches!(workload.arrivals, Arrivals::Closed { .. }) {
        let promises = &mut workload.promises;
        let all = promises.healthy.iter_mut().chain(&mut promises.lost);
        for promise in all.filter(|promise| promise.measure == Measure::Throughput) {
            promise.target *= factor;
        }
    }
}
