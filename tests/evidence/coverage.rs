//! How often the intervals hold the true value, over thousands of independent repetitions of a known queue.
//!
//! M/M/1 at ρ 0.6: mean sojourn 2.5, its 99th percentile 11.51293 (Kleinrock, *Queueing Systems* 1, ch. 3). An interval
//! of nominal 95 % holds the true value less often when the figures of the replications are skewed, which those
//! of a queue are: nobody may expect 0.95. How often it must hold it is therefore found by a second way, the
//! plainest there is: Lindley's recursion on numbers of its own, with the same replications, run length and
//! rule. The two shares must agree. Nor may the model's be lower than that of as many exponential values, which are more
//! skewed than any mean or percentile of a long run (the shortfall by skewness of row S3: Law, *Simulation Modeling and Analysis*, output
//! analysis, from memory): that floor is drawn here too.

use super::ledger::Ledger;
use super::rig::{all_latencies, origin, poisson, seed_of, station};
use halfloom::measure::{
    Decision, Estimate, Histogram, Looks, mean_interval, pooled, quantile_interval, rank,
    relative_half_width,
};
use halfloom::model::{Compiled, Limits, Stop, Watch, World};
use halfloom::outcome::Estimated;
use halfloom::site::Site;
use halfloom::study::{NoProgress, simulate};
use halfloom::unit::{Duration, Instant};
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

/// What one replication gives: its mean, and, where asked for, all sojourns and their p99.
struct Replication {
    mean: f64,
    ios: u64,
    p99: f64,
    sojourns: Sojourns,
}

enum Sojourns {
    NotKept,
    InBuckets(Box<Histogram>),
    Each(Vec<f64>),
}

/// The p99 of all replications together.
fn merged_p99(all: Vec<Sojourns>) -> f64 {
    let (mut buckets, mut each) = (Histogram::new(), Vec::new());
    for one in all {
        match one {
            Sojourns::NotKept => panic!("they were to be kept"),
            Sojourns::InBuckets(own) => buckets.merge(&own),
            Sojourns::Each(mut own) => each.append(&mut own),
        }
    }
    if each.is_empty() {
        buckets.quantile(0.99).expect("some came").as_us_f64() - WIRES
    } else {
        nearest_rank(&mut each)
    }
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
            ios: latencies.count(),
            p99: latencies.quantile(0.99).expect("some came").as_us_f64() - WIRES,
            sojourns: if self.keep {
                Sojourns::InBuckets(Box::new(latencies))
            } else {
                Sojourns::NotKept
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
        let ios = sojourns.len() as u64;
        let p99 = if self.keep {
            nearest_rank(&mut sojourns)
        } else {
            f64::NAN
        };
        let sojourns = if self.keep {
            Sojourns::Each(sojourns)
        } else {
            Sojourns::NotKept
        };
        Replication {
            mean,
            ios,
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
    whole_studies(ledger, long);
}

/// How often the interval of nominal 95 % over so many exponential values holds their mean: the lowest share that is put up with.
fn of_exponential_values(values: u32) -> f64 {
    const REPETITIONS: u32 = 400_000;
    let mut random = Xoshiro256PlusPlus::seed_from_u64(seed_of("exponential values"));
    let mut exponential = || {
        let uniform = ((random.next_u64() >> 11) + 1) as f64 / (1_u64 << 53) as f64;
        -uniform.ln()
    };
    let holding = (0..REPETITIONS).filter(|_| {
        let values: Vec<f64> = (0..values).map(|_| exponential()).collect();
        holds(&mean_interval(&values, 0.95), 1.0)
    });
    // To three digits, as the page has it; its own error is 0.0005.
    (holding.count() as f64 / f64::from(REPETITIONS) * 1e3).floor() / 1e3
}

/// Whether an interval from the means, the merged p99 and the p99 of each replication holds the truth.
type Holding = fn(&[(f64, u64)], f64, &[f64]) -> bool;

/// Studies as the program runs them, warm-up found by themselves: their intervals of the mean, those of the mean when `--within` stops,
/// and those of p99. The plain way cuts at a fixed time.
fn whole_studies(ledger: &mut Ledger, long: bool) {
    const REPETITIONS: u32 = 1_000;
    let named = "as a study gives it, warm-up by itself";
    // 1,800 I/Os a replication; for p99 18,000, of which 180 are above it.
    let (short, many) = (studies("coverage of whole studies", 3_000.0), 10);
    let (mean, _) = short.shares(REPETITIONS, many, None);
    ledger.coverage(
        format!("95 % interval of the mean {named}, 10 replications of 3 ms (1,800 I/Os): share of 1,000 that hold it"),
        Some(mean),
        REPETITIONS,
        of_exponential_values(many),
    );
    let (stopped, _) = short.shares(REPETITIONS, many, Some(0.05));
    ledger.coverage(
        format!("95 % interval of the mean {named}, when one asked for 5 % stops: share of 1,000 that hold it"),
        Some(stopped),
        REPETITIONS,
        of_exponential_values(many),
    );
    let p99 = long.then(|| {
        studies("coverage of whole studies, p99", 30_000.0)
            .shares(500, many, None)
            .1
    });
    ledger.coverage(
        format!("95 % interval of p99 {named}, 10 replications of 30 ms (18,000 I/Os): share of 500 that hold it"),
        p99,
        500,
        of_exponential_values(many),
    );
}

/// A site of which studies are made, and the plain way of the same length.
struct Studies {
    name: &'static str,
    site: Site,
    plain: Bench,
}

#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
fn studies(name: &'static str, length: f64) -> Studies {
    let mut site = station(name, "{ exponential = \"1us\" }", 1, &poisson(RHO));
    site.run.duration = Duration((length * 1e6) as u64);
    Studies {
        name,
        site,
        plain: Bench::new(name, length - WARM_UP, true),
    }
}

impl Studies {
    /// Shares of so many studies whose intervals hold the mean, and p99: the program's and the plain way's of each.
    fn shares(
        &self,
        repetitions: u32,
        replications: u32,
        within: Option<f64>,
    ) -> ((f64, f64), (f64, f64)) {
        let one = |repetition: u32| {
            let mut site = self.site.clone();
            site.run.replications = replications;
            site.run.within = within;
            site.run.seed =
                seed_of(self.name) ^ u64::from(repetition).wrapping_mul(0x9e37_79b9_7f4a_7c15);
            let report = simulate(&site, origin(&site), &NoProgress);
            let all = &report.steady[0].workloads[0].all;
            let p99 = all.quantiles.iter().find(|quantile| quantile.q == 0.99);
            (all.mean_us, p99.and_then(|quantile| quantile.latency_us))
        };
        let found: Vec<(Option<Estimated>, Option<Estimated>)> =
            (0..repetitions).into_par_iter().map(one).collect();
        let plain = |of: Holding| {
            self.plain.share(repetitions, replications, |first| {
                let (mut means, mut all, mut each) = (Vec::new(), Vec::new(), Vec::new());
                for number in first..first + replications {
                    let one = self.plain.replication(Way::Recursion, number);
                    means.push((one.mean, one.ios));
                    each.push(one.p99);
                    all.push(one.sojourns);
                }
                of(&means, merged_p99(all), &each)
            })
        };
        let means: Vec<_> = found.iter().map(|one| one.0).collect();
        let quantiles: Vec<_> = found.iter().map(|one| one.1).collect();
        let holding = |of: Holding, all: &[Option<Estimated>], truth: f64| {
            (told_and_holding(all, truth + WIRES), plain(of))
        };
        (
            holding(|means, _, _| holds(&mean_of_all(means), MEAN), &means, MEAN),
            holding(
                |_, merged, each| holds(&quantile_interval(merged, each, 0.95, true), P99),
                &quantiles,
                P99,
            ),
        )
    }
}

/// Share of the intervals that hold the truth; a study may say that it cannot tell, but hardly any does here. Not a number where none tells:
/// short runs tell nothing of p99.
#[allow(clippy::cast_precision_loss)]
fn told_and_holding(found: &[Option<Estimated>], truth: f64) -> f64 {
    let ends = found
        .iter()
        .map(|one| one.and_then(|one| Some((one.low?, one.high?))));
    let told: Vec<(f64, f64)> = ends.flatten().collect();
    assert!(
        told.is_empty() || told.len() * 100 >= found.len() * 98,
        "{} of {} tell",
        told.len(),
        found.len()
    );
    let holding = told
        .iter()
        .filter(|(low, high)| *low <= truth && truth <= *high);
    holding.count() as f64 / told.len() as f64
}

/// The mean of all I/Os with its interval, from the mean and the number of each replication.
fn mean_of_all(means: &[(f64, u64)]) -> Estimate {
    mean_interval(&pooled(means.iter().copied()), 0.95)
}

fn mean(ledger: &mut Ledger) {
    let bench = Bench::new("coverage of the mean", 300.0, false);
    let shares = WAYS.map(|way| {
        bench.share(10_000, 10, |first| {
            let means: Vec<(f64, u64)> = (first..first + 10)
                .map(|r| bench.replication(way, r))
                .map(|one| (one.mean, one.ios))
                .collect();
            holds(&mean_of_all(&means), MEAN)
        })
    });
    ledger.coverage(
        "95 % interval of the mean, M/M/1 at 0.6, 10 replications of 300 us (180 I/Os): share of 10,000 that hold it",
        Some((shares[0], shares[1])),
        10_000,
        of_exponential_values(10),
    );
}

/// The rule of `--within` for one figure.
fn within(ledger: &mut Ledger) {
    const WITHIN: f64 = 0.10;
    let bench = Bench::new("coverage by precision", 300.0, false);
    let stopped = |way: Way, first: u32| {
        let mut looks = Looks::new(WITHIN, 10, 1_000);
        let mut means: Vec<(f64, u64)> = Vec::new();
        loop {
            let from = u32::try_from(means.len()).expect("few");
            means.extend(
                (from..looks.replications())
                    .map(|r| bench.replication(way, first + r))
                    .map(|one| (one.mean, one.ios)),
            );
            let estimate = mean_of_all(&means);
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
        of_exponential_values(10),
    );
    ledger.coverage(
        "mean when `--within 10%` stops: share of 1,000 within 10 % of the true one",
        Some((found[0].1, found[1].1)),
        1_000,
        0.95,
    );
}

fn percentile(ledger: &mut Ledger, long: bool) {
    let shares = long.then(|| {
        // Some 10,500 I/Os a replication: 105 above the p99.
        let bench = Bench::new("coverage of p99", 17_500.0, true);
        WAYS.map(|way| {
            bench.share(2_000, 5, |first| {
                let (mut all, mut each) = (Vec::new(), Vec::new());
                for number in first..first + 5 {
                    let one = bench.replication(way, number);
                    each.push(one.p99);
                    all.push(one.sojourns);
                }
                let merged = merged_p99(all);
                holds(&quantile_interval(merged, &each, 0.95, true), P99)
            })
        })
    });
    ledger.coverage(
        "95 % interval of p99, 5 replications of 17.5 ms (10,500 I/Os): share of 2,000 that hold it",
        shares.map(|both| (both[0], both[1])),
        2_000,
        of_exponential_values(5),
    );
}
