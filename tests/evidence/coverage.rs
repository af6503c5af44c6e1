//! How often the intervals hold the true value, over thousands of independent repetitions of a known queue.
//!
//! M/M/1 at ρ 0.6: mean sojourn 2.5, its 99th percentile 11.51293 (Kleinrock, *Queueing Systems* 1, ch. 3). An interval
//! of nominal 95 % holds the true value less often when the figures of the replications are skewed, which those
//! of a queue are: nobody may expect 0.95. How often it must hold it is therefore found by a second way, the
//! plainest there is: Lindley's recursion on numbers of its own, with the same replications, run length and
//! rule. The two shares must agree, and neither may be far below the nominal one.

use super::ledger::Ledger;
use super::rig::{all_latencies, poisson, seed_of, station};
use halfloom::measure::{
    Decision, Estimate, Looks, mean_interval, quantile_interval, rank, relative_half_width,
};
use halfloom::model::{Compiled, Limits, Stop, Watch, World};
use halfloom::unit::Instant;
use rand::{Rng, SeedableRng};
use rand_xoshiro::Xoshiro256PlusPlus;
use rayon::prelude::*;

const RHO: f64 = 0.6;
const MEAN: f64 = 2.5;
const P99: f64 = 11.512_93;
const WARM_UP: f64 = 100.0;
/// The link and the answer take 16 ps.
const WIRES: f64 = 16e-6;

/// Who makes the sojourns.
#[derive(Clone, Copy)]
enum Way {
    Model,
    Recursion,
}

/// What one replication gives: its mean, and, where asked for, all sojourns or their p99.
struct Replication {
    mean: f64,
    p99: f64,
    sojourns: Vec<f64>,
}

struct Bench {
    compiled: Compiled,
    seed: u64,
    /// Length of the window, us.
    window: f64,
    keep: bool,
}

impl Bench {
    fn new(name: &str, window: f64, keep: bool) -> Self {
        let site = station(name, "{ exponential = \"1us\" }", 1, &poisson(RHO));
        Self {
            compiled: Compiled::new(&site, &[]),
            seed: seed_of(name) ^ seed_of("recursion"),
            window,
            keep,
        }
    }

    fn replication(&self, way: Way, number: u32) -> Replication {
        match way {
            Way::Model => self.model(number),
            Way::Recursion => self.recursion(number),
        }
    }

    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
    fn model(&self, number: u32) -> Replication {
        let at = |us: f64| Instant((us * 1e6) as u64);
        let watch = Watch {
            from: at(WARM_UP),
            to: at(WARM_UP + self.window),
            transient: false,
        };
        let mut world = World::new(&self.compiled, number, watch, Limits { events: 1 << 40 });
        let open = world.run_until(at(WARM_UP + self.window + 1e6), Stop::WhenMeasured);
        assert!(!open, "I/Os of the window are still unfinished");
        let latencies = all_latencies(&world.finish());
        Replication {
            mean: latencies.mean().expect("some came") / 1e6 - WIRES,
            p99: latencies.quantile(0.99).expect("some came").as_us_f64() - WIRES,
            // Values at the edges of their buckets, as the program merges them.
            sojourns: if self.keep {
                let mut all = Vec::new();
                let mut before = 0.0;
                for (share, time) in latencies.points() {
                    let upto = (share * latencies.count() as f64).round();
                    all.extend(std::iter::repeat_n(
                        time.as_us_f64() - WIRES,
                        (upto - before) as usize,
                    ));
                    before = upto;
                }
                all
            } else {
                Vec::new()
            },
        }
    }

    fn recursion(&self, number: u32) -> Replication {
        let mut random =
            Xoshiro256PlusPlus::seed_from_u64(self.seed.wrapping_add(u64::from(number)));
        let mut exponential = |mean: f64| {
            let uniform = ((random.next_u64() >> 11) + 1) as f64 / (1_u64 << 53) as f64;
            -mean * uniform.ln()
        };
        let (mut at, mut free, mut sojourns) = (0.0, 0.0_f64, Vec::new());
        loop {
            at += exponential(1.0 / RHO);
            if at >= WARM_UP + self.window {
                break;
            }
            free = free.max(at) + exponential(1.0);
            if at >= WARM_UP {
                sojourns.push(free - at);
            }
        }
        let mean = sojourns.iter().sum::<f64>() / sojourns.len() as f64;
        let p99 = if self.keep {
            nearest_rank(&mut sojourns)
        } else {
            f64::NAN
        };
        if !self.keep {
            sojourns.clear();
        }
        Replication {
            mean,
            p99,
            sojourns,
        }
    }

    /// Share of `repetitions` studies whose estimate, from replications numbered from the second argument on,
    /// passes.
    fn share(&self, repetitions: u32, stride: u32, study: impl Fn(u32) -> bool + Sync) -> f64 {
        let hits = (0..repetitions)
            .into_par_iter()
            .filter(|repetition| study(repetition * stride))
            .count();
        hits as f64 / f64::from(repetitions)
    }
}

fn nearest_rank(values: &mut [f64]) -> f64 {
    let wanted = usize::try_from(rank(0.99, values.len() as u64)).expect("it fits") - 1;
    *values.select_nth_unstable_by(wanted, f64::total_cmp).1
}

fn holds(estimate: &Estimate, truth: f64) -> bool {
    let half = estimate.half_width.expect("an interval");
    (estimate.value - truth).abs() <= half
}

const WAYS: [Way; 2] = [Way::Model, Way::Recursion];

/// The checks; `long` ones are only made for the page.
pub(crate) fn coverage(ledger: &mut Ledger, long: bool) {
    ledger.section("How often intervals hold the true value");
    ledger.source("Lindley's recursion with the same replications, length and rule (tests/evidence/coverage.rs)");
    mean(ledger);
    within(ledger);
    percentile(ledger, long);
}

fn mean(ledger: &mut Ledger) {
    let bench = Bench::new("coverage of the mean", 300.0, false);
    let shares = WAYS.map(|way| {
        bench.share(10_000, 10, |first| {
            let means: Vec<f64> = (first..first + 10)
                .map(|r| bench.replication(way, r).mean)
                .collect();
            holds(&mean_interval(&means, 0.95), MEAN)
        })
    });
    ledger.coverage(
        "95 % interval of the mean, M/M/1 at 0.6, 10 replications of 300 us (180 I/Os): share of 10,000 that hold it",
        Some((shares[0], shares[1])),
        10_000,
        0.88,
    );
}

/// The rule of `--within` for one figure.
fn within(ledger: &mut Ledger) {
    const WITHIN: f64 = 0.10;
    let bench = Bench::new("coverage by precision", 300.0, false);
    let stopped = |way: Way, first: u32| {
        let mut looks = Looks::new(WITHIN, 10, 1_000);
        let mut means: Vec<f64> = Vec::new();
        loop {
            let from = u32::try_from(means.len()).expect("few");
            means.extend(
                (from..looks.replications()).map(|r| bench.replication(way, first + r).mean),
            );
            let estimate = mean_interval(&means, 0.95);
            let half = estimate.half_width.expect("several");
            match looks.look(Some(relative_half_width(estimate.value, half))) {
                Decision::RunTo(_) => {}
                decision => {
                    assert_eq!(decision, Decision::Narrow);
                    return estimate;
                }
            }
        }
    };
    let found = WAYS.map(|way| {
        let studies: Vec<(bool, bool)> = (0..1_000_u32)
            .into_par_iter()
            .map(|repetition| {
                let estimate = stopped(way, repetition * 1_000);
                let near = (estimate.value - MEAN).abs() <= WITHIN * MEAN;
                (holds(&estimate, MEAN), near)
            })
            .collect();
        let share = |which: fn(&(bool, bool)) -> bool| {
            studies.iter().filter(|study| which(study)).count() as f64 / 1_000.0
        };
        (share(|study| study.0), share(|study| study.1))
    });
    ledger.coverage(
        "interval of the mean when `--within 10%` stops: share of 1,000 that hold it",
        Some((found[0].0, found[1].0)),
        1_000,
        0.90,
    );
    ledger.coverage(
        "mean when `--within 10%` stops: share of 1,000 within 10 % of the true one",
        Some((found[0].1, found[1].1)),
        1_000,
        0.93,
    );
}

fn percentile(ledger: &mut Ledger, long: bool) {
    let shares = long.then(|| {
        // Some 10,500 I/Os a replication: 105 above the p99.
        let bench = Bench::new("coverage of p99", 17_500.0, true);
        WAYS.map(|way| {
            bench.share(2_000, 5, |first| {
                let (mut merged, mut each) = (Vec::new(), Vec::new());
                for number in first..first + 5 {
                    let mut one = bench.replication(way, number);
                    each.push(one.p99);
                    merged.append(&mut one.sojourns);
                }
                holds(
                    &quantile_interval(nearest_rank(&mut merged), &each, 0.95, true),
                    P99,
                )
            })
        })
    });
    ledger.coverage(
        "95 % interval of p99, 5 replications of 17.5 ms (10,500 I/Os): share of 2,000 that hold it",
        shares.map(|both| (both[0], both[1])),
        2_000,
        0.88,
    );
}
