//! One server: exponential, constant and general service, Poisson and paced arrivals.

use super::super::ledger::Ledger;
use super::super::rig::{Runs, count_above, direct, link, poisson, station};
use super::{LINK, STATION, run, spread, warm};
use halfloom::model::{Compiled, Limits, Stop, Watch, World};
use halfloom::site::{Arrivals, Replay, TraceEntry};
use halfloom::unit::{Duration, Instant};
use halfloom::wire::Op;
use rayon::prelude::*;
use std::sync::Arc;

pub(crate) fn one_server(ledger: &mut Ledger) {
    ledger.section("One server");
    published(ledger);
    exponential(ledger);
    constant(ledger);
    general(ledger);
    paced(ledger);
    spread_of_means(ledger);
    identities(ledger);
    bound(ledger);
}

fn published(ledger: &mut Ledger) {
    ledger.source("R package *queueing* 0.2.12, example after Rios Insua et al., *Investigación Operativa* (2004), ex. 10.3");
    let name = "M/M/1, λ 1/4, μ 1/3";
    let runs = run(
        &station(name, "{ exponential = \"3us\" }", 1, &poisson(0.25)),
        0.25,
        6e5,
        400.0,
    );
    ledger.theory(format!("{name}: wait"), 9.0, &runs.array_waits());
    ledger.theory(format!("{name}: sojourn"), 12.0, &runs.latencies(STATION));
    let waiting = runs.each(|tally| tally.controllers[0].waiting.mean().unwrap());
    ledger.theory(format!("{name}: number waiting"), 2.25, &waiting);
    ledger.theory(
        format!("{name}: utilization"),
        0.75,
        &runs.array_busy(0, 1.0),
    );

    ledger.source("Worked example of M/D/1: 20 arrivals an hour, 30 services an hour (public text on the queue); minutes read as microseconds");
    let name = "M/D/1, 20 and 30 an hour";
    let runs = run(
        &station(name, "\"2us\"", 1, &poisson(1.0 / 3.0)),
        1.0 / 3.0,
        4e5,
        400.0,
    );
    ledger.theory(format!("{name}: wait"), 2.0, &runs.array_waits());
    ledger.theory(format!("{name}: sojourn"), 4.0, &runs.latencies(STATION));
    let waiting = runs.each(|tally| tally.controllers[0].waiting.mean().unwrap());
    ledger.theory(format!("{name}: number waiting"), 2.0 / 3.0, &waiting);

    ledger.source("Law, *Simulation Modeling and Analysis*, output analysis (from memory; recomputed exactly)");
    let name = "M/M/1 from empty, λ 1, service 0.9: wait of the first 25";
    ledger.theory(name, 2.12449, &first_waits(name, 25, 20_000));
}

/// Mean wait of the first customers of an empty M/M/1, one value a replication: Poisson arrivals are laid
/// down beforehand, so that exactly so many come.
#[allow(
    clippy::cast_precision_loss,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss
)]
fn first_waits(name: &str, customers: usize, replications: u32) -> Vec<f64> {
    use rand::SeedableRng;
    let base = station(name, "{ exponential = \"900ns\" }", 1, &poisson(1.0));
    (0..replications)
        .into_par_iter()
        .map(|replication| {
            let seed = base.run.seed.wrapping_add(u64::from(replication));
            let mut random = rand_xoshiro::Xoshiro256PlusPlus::seed_from_u64(seed);
            let mut at = 0.0;
            let entries: Vec<TraceEntry> = (0..customers)
                .map(|_| {
                    let uniform = ((rand::Rng::next_u64(&mut random) >> 11) + 1) as f64
                        / (1_u64 << 53) as f64;
                    at -= uniform.ln() * 1e6;
                    TraceEntry {
                        at: Duration(at as u64),
                        op: Op::Write,
                        offset: 0,
                        size: 1,
                    }
                })
                .collect();
            let mut site = base.clone();
            site.workloads[0].arrivals = Arrivals::Replay(Replay {
                entries: Arc::new(entries),
                span: Duration::from_secs(9_000),
                copies: 1,
                speed: 1.0,
                aligned: true,
                file: String::new(),
            });
            let compiled = Compiled::new(&site, &[]);
            let watch = Watch {
                from: Instant::ZERO,
                to: Instant(1_000_000_000),
                transient: false,
            };
            let mut world = World::new(&compiled, replication, watch, Limits { events: 1 << 30 });
            world.run_until(Instant(2_000_000_000), Stop::AtTheTime);
            let tally = world.finish();
            assert_eq!(tally.controllers[0].served, customers as u64);
            tally.controllers[0].wait.mean().unwrap() / 1e6
        })
        .collect()
}

fn exponential(ledger: &mut Ledger) {
    ledger.source("Kleinrock, *Queueing Systems* 1, ch. 3 (from memory; formula): wait ρ/(1−ρ), sojourn exponential");
    type Row = (f64, f64, [f64; 3], [f64; 3], f64);
    #[rustfmt::skip]
    let rows: [Row; 6] = [
        (0.5, 1.0, [1.386_294, 4.605_17, 9.210_34], [0.0, 3.218_876, 7.824_046], 1e6),
        (0.6, 1.5, [1.732_868, 5.756_463, 11.512_93], [0.455_803_9, 4.479_399, 10.235_86], 2e6),
        (0.7, 2.333_333, [2.310_491, 7.675_284, 15.350_57], [1.121_574, 6.486_367, 14.161_65], 3e6),
        (0.8, 4.0, [3.465_736, 11.512_93, 23.025_85], [2.350_018, 10.397_21, 21.910_13], 5e6),
        (0.9, 9.0, [6.931_472, 23.025_85, 46.051_7], [5.877_867, 21.972_25, 44.998_1], 1.9e7),
        (0.95, 19.0, [13.862_94, 46.051_7, 92.103_4], [12.837_08, 45.025_84, 91.077_54], 1e7),
    ];
    for (rho, wait, [p50, p90, p99], waits, ios) in rows {
        let name = format!("M/M/1, ρ {rho}");
        let mut site = station(&name, "{ exponential = \"1us\" }", 1, &poisson(rho));
        let times = [(p50, 0.5), (p90, 0.1), (p99, 0.01)];
        // At 0.95 the last hundredth would need runs ten times as long.
        let times = if rho < 0.95 { &times[..] } else { &times[..2] };
        let targets: Vec<f64> = times.iter().map(|(time, _)| time + STATION).collect();
        count_above(&mut site, &targets);
        let runs = run(&site, rho, ios, warm(rho, 1.0));
        ledger.theory(format!("{name}: wait"), wait, &runs.array_waits());
        ledger.theory(
            format!("{name}: sojourn"),
            wait + 1.0,
            &runs.latencies(STATION),
        );
        for (position, (time, beyond)) in times.iter().enumerate() {
            ledger.theory(
                format!("{name}: sojourn beyond {time}"),
                *beyond,
                &runs.above(position),
            );
            let wait = waits[position];
            if wait > 0.0 {
                ledger.theory(
                    format!("{name}: wait beyond {wait}"),
                    *beyond,
                    &runs.array_beyond(wait),
                );
            }
        }
    }
}

fn constant(ledger: &mut Ledger) {
    ledger.source(
        "Pollaczek and Khinchine; Erlang (1909), Crommelin (1932) (computed in 400 digits)",
    );
    // Shares beyond half a service, 1, 2, 5 and 10, and times beyond which 50, 10 and 1 % wait; those of less than a thousandth are
    // left out, and those at 0 are the shares of waits at all.
    type Row = (f64, f64, [f64; 5], [f64; 3], f64);
    #[rustfmt::skip]
    let rows: [Row; 7] = [
        (0.1, 0.055_555_56, [0.053_856, 0.005_346_17, 0.0, 0.0, 0.0], [0.0, 0.0, 0.953_102], 6e5),
        (0.3, 0.214_285_7, [0.186_716, 0.055_098_8, 0.007_987_19, 0.0, 0.0], [0.0, 0.837_715, 1.890_87], 6e5),
        (0.6, 0.75, [0.460_056, 0.271_152, 0.109_262, 0.006_404_69, 0.0], [0.371_906, 2.098_38, 4.529_61], 2e6),
        (0.75, 1.5, [0.636_252, 0.470_75, 0.276_515, 0.053_184_5, 0.003_396_54], [0.924_196, 3.852_42, 8.037_39], 5e6),
        (0.85, 2.833_333, [0.770_561, 0.649_053, 0.477_213, 0.184_719, 0.037_917], [1.852_5, 6.937_76, 14.208_6], 4e6),
        (0.9, 4.5, [0.843_169, 0.754_04, 0.616_4, 0.331_291, 0.117_597], [3.013_05, 10.782_5, 21.898_2], 1e7),
        (0.95, 9.5, [0.0; 5], [0.0; 3], 6e6),
    ];
    for (rho, wait, shares, quantiles, ios) in rows {
        let name = format!("M/D/1 on a link, ρ {rho}");
        let mut site = link(&name, 1, &poisson(rho));
        let beyond = [0.5, 1.0, 2.0, 5.0, 10.0].into_iter().zip(shares);
        let mut tails: Vec<(f64, f64)> = beyond.filter(|(_, share)| *share > 0.0).collect();
        let percentiles = quantiles.into_iter().zip([0.5, 0.1, 0.01]);
        tails.extend(percentiles.filter(|(time, _)| *time > 0.0));
        // That any wait at all is as frequent as the link is busy.
        tails.push((0.0, rho));
        tails.sort_by(|one, other| one.0.total_cmp(&other.0));
        let targets: Vec<f64> = tails.iter().map(|(time, _)| time + 1.0 + LINK).collect();
        count_above(&mut site, &targets);
        let runs = run(&site, rho, ios, warm(rho, 1.0));
        ledger.theory(
            format!("{name}: wait"),
            wait,
            &runs.frame_waits("app:A1 > box-c1:A1"),
        );
        ledger.theory(
            format!("{name}: utilization"),
            rho,
            &runs.utilization("app:A1 > box-c1:A1"),
        );
        for (position, (time, beyond)) in tails.into_iter().enumerate() {
            ledger.theory(
                format!("{name}: wait beyond {time}"),
                beyond,
                &runs.above(position),
            );
        }
    }
}

/// M/G/1: means, and times beyond which 50, 10 and 1 % wait.
fn general(ledger: &mut Ledger) {
    ledger.source("Pollaczek and Khinchine, λE[S²]/(2(1−ρ)); percentiles by a compound geometric sum of residual lives (computed)");
    let lognormal = |v: f64| {
        let square = (1.0 + v * v).ln();
        // The median in picoseconds, so that the mean is one microsecond.
        let median = ((-square / 2.0).exp() * 1e6).round();
        format!(
            "{{ lognormal = {{ median = \"{median}ps\", sigma = {} }} }}",
            square.sqrt()
        )
    };
    #[rustfmt::skip]
    let laws = [
        (0.5, 0.8, 2.5, [1.532_7, 6.383_1, 13.326_3], 4e6, 200.0),
        (1.0, 0.6, 1.5, [0.402_96, 4.476_7, 11.498_9], 4e6, 200.0),
        (2.0, 0.5, 2.5, [0.0, 7.134_7, 29.736_7], 8e6, 400.0),
        (2.0, 0.8, 10.0, [3.999_3, 27.307_3, 74.075_4], 2e7, 2_000.0),
    ];
    for (v, rho, wait, quantiles, ios, warm_up) in laws {
        let name = format!("M/G/1, lognormal v {v}, ρ {rho}");
        let site = station(&name, &lognormal(v), 1, &poisson(rho));
        let runs = run(&site, rho, ios, warm_up);
        ledger.theory(format!("{name}: wait"), wait, &runs.array_waits());
        waits_beyond(ledger, &name, &runs, quantiles);
    }
    #[rustfmt::skip]
    let sizes = [
        ((1_u32, 0.8), 16_u32, 0.5, 0.125, 6.5, [0.0, 20.281_6, 45.866_5], 2e6, 2_000.0),
        ((1, 0.8), 16, 0.8, 0.2, 26.0, [15.835_1, 66.198_1, 137.657], 6e6, 8_000.0),
        ((2, 0.6), 8, 0.7, 0.159_090_9, 7.424_242, [4.306_24, 19.986_1, 42.478_3], 3e6, 2_000.0),
    ];
    for ((few, often), many, rho, rate, wait, quantiles, ios, warm_up) in sizes {
        let name = format!(
            "M/G/1, {few} and {many} at {often} and {:.1}, ρ {rho}",
            1.0 - often
        );
        let law = format!(
            "{{ mixture = [{{ weight = {often}, law = \"{few}us\" }}, {{ weight = {}, law = \"{many}us\" }}] }}",
            1.0 - often
        );
        let runs = run(&station(&name, &law, 1, &poisson(rate)), rate, ios, warm_up);
        ledger.theory(format!("{name}: wait"), wait, &runs.array_waits());
        waits_beyond(ledger, &name, &runs, quantiles);
    }
}

/// A median, a p90 and a p99 of the wait, as shares beyond them; those of 0 are left out.
fn waits_beyond(ledger: &mut Ledger, name: &str, runs: &Runs, quantiles: [f64; 3]) {
    for (time, share) in quantiles.into_iter().zip([0.5, 0.1, 0.01]) {
        if time > 0.0 {
            ledger.theory(
                format!("{name}: wait beyond {time}"),
                share,
                &runs.array_beyond(time),
            );
        }
    }
}

fn paced(ledger: &mut Ledger) {
    ledger.source(
        "D/M/1: σ = exp(−(1−σ)/ρ), wait σ/(1−σ) (Kleinrock 1, ch. 6, from memory; computed)",
    );
    for (rho, waits, wait, p99, ios) in [
        (0.5, 0.203_187_87, 0.255_000_975, 3.779_493, 1e6),
        (0.7, 0.466_996_422, 0.876_160_014, 7.211_465, 1.5e6),
        (0.8, 0.628_629_796, 1.692_730_84, 11.150_48, 3e6),
        (0.9, 0.806_899_833, 4.178_659_42, 22.737_5, 1.1e7),
        (0.95, 0.901_695_11, 9.172_433_95, 45.793_16, 2.4e7),
    ] {
        let name = format!("D/M/1, ρ {rho}");
        let rate = format!("{{ paced = \"{}/s\" }}", (rho * 1e6_f64).round());
        let runs = run(
            &station(&name, "{ exponential = \"1us\" }", 1, &rate),
            rho,
            ios,
            warm(rho, 1.0),
        );
        ledger.theory(format!("{name}: P(wait)"), waits, &runs.array_delayed());
        ledger.theory(format!("{name}: wait"), wait, &runs.array_waits());
        ledger.theory(
            format!("{name}: wait beyond {p99}"),
            0.01,
            &runs.array_beyond(p99),
        );
    }
}

/// How far the mean wait of a run is from its expectation: so many I/Os times the variance of their mean wait.
fn spread_of_means(ledger: &mut Ledger) {
    ledger.source("M/M/1, asymptotic variance of mean waits ρ(2+5ρ−4ρ²+ρ³)/(1−ρ)⁴ (Daley 1968, Whitt 1989, from memory; another simulation agrees at 0.5)");
    for (rho, expected, ios) in [(0.5, 29.0, 8e3), (0.7, 335.567_9, 2e4), (0.8, 1_976.0, 6e4)] {
        let name = format!("M/M/1, ρ {rho}: I/Os times variance of their mean wait");
        let site = station(&name, "{ exponential = \"1us\" }", 1, &poisson(rho));
        let warm_up = warm(rho, 1.0);
        let mut means = Vec::new();
        for first in (0..1_200).step_by(100) {
            let numbers = first..first + 100;
            let runs = Runs::numbered(&site, &[], numbers, warm_up, warm_up + ios / rho);
            means.extend(runs.array_waits());
        }
        ledger.variance(name, expected, &means, ios);
    }
}

/// Sources together are one stream, and a clock that goes at another rate changes nothing.
fn identities(ledger: &mut Ledger) {
    ledger.source("M/M/1; Poisson streams together are a Poisson stream (identity)");
    let name = "M/M/1, ρ 0.8, the stream of eight hosts";
    let site = direct(
        name,
        "speed = \"1000Gb/s\"",
        "controllers = 1\nparallel = 1\nwrite = { time = { exponential = \"1us\" } }",
        "count = 8",
        1,
        &poisson(0.8),
    );
    let runs = run(&site, 0.8, 2e6, warm(0.8, 1.0));
    ledger.theory(format!("{name}: wait"), 4.0, &runs.array_waits());
    ledger.source(
        "all rates divided by ten, all times multiplied by ten, the same random numbers (identity)",
    );
    let name = "M/M/1, ρ 0.8, ten times slower";
    let wait = |law: &str, rate: f64, times: f64| {
        let site = station(name, law, 1, &poisson(rate));
        let runs = Runs::of(&site, 4, 400.0 * times, 40_400.0 * times);
        runs.array_waits().iter().sum::<f64>()
    };
    let (fast, slow) = (
        wait("{ exponential = \"1us\" }", 0.8, 1.0),
        wait("{ exponential = \"10us\" }", 0.08, 10.0),
    );
    // Each time is a whole number of picoseconds: of a wait of some us half of one is 10^-7.
    ledger.exact(
        format!("{name}: wait, times that of the fast one"),
        10.0,
        slow / fast,
        1e-6,
    );
}

/// An inequality that holds for any single queue: a mean above it is a defect.
fn bound(ledger: &mut Ledger) {
    ledger.source("Kingman, *Biometrika* 49 (1962): wait at most λ(σ_a² + σ_s²)/(2(1−ρ))");
    let exponential = "{ exponential = \"1us\" }";
    for (name, law, arrivals, rate, bound) in [
        ("M/M/1, ρ 0.8, bound", exponential, poisson(0.8), 0.8, 5.125),
        (
            "M/D/1, ρ 0.6, bound",
            "\"1us\"",
            poisson(0.6),
            0.6,
            2.083_333,
        ),
        (
            "D/M/1, ρ 0.8, bound",
            exponential,
            "{ paced = \"800k/s\" }".to_owned(),
            0.8,
            2.0,
        ),
    ] {
        let runs = run(&station(name, law, 1, &arrivals), rate, 3e5, 400.0);
        ledger.at_most(format!("{name}: wait"), bound, &runs.array_waits());
    }
    let name = "E2/D/1, ρ 0.9, bound";
    let runs = run(&spread(name, 2, "round-robin", 1.8), 1.8, 1e6, 800.0);
    ledger.at_most(
        format!("{name}: wait"),
        2.777_778,
        &runs.latencies(1.0 + LINK),
    );
}
