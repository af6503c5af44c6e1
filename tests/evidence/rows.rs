//! Queues and networks whose figures are known in closed form or were solved exactly, run by the model.
//!
//! The unit of time is the microsecond and, unless a row says otherwise, the mean service. A share "beyond" a
//! time is compared with one minus its percentile, which needs no bucket of a histogram.

use super::ledger::Ledger;
use super::rig::{Runs, count_above, direct, link, poisson, site, station, tree};
use halfloom::model::{Compiled, Limits, Stop, Watch, World};
use halfloom::site::{Arrivals, Replay, Site, TraceEntry};
use halfloom::topology::MemberId;
use halfloom::unit::{Duration, Instant};
use halfloom::wire::Op;
use rayon::prelude::*;
use std::sync::Arc;

const REPLICATIONS: u32 = 60;

/// So many I/Os in all replications together, after a warm-up of so many microseconds.
fn run(site: &Site, rate: f64, ios: f64, warm_up: f64) -> Runs {
    Runs::of(
        site,
        REPLICATIONS,
        warm_up,
        warm_up + ios / f64::from(REPLICATIONS) / rate,
    )
}

/// Start-up of a queue is over after some multiples of 1/(1−ρ)² services.
fn warm(rho: f64, service: f64) -> f64 {
    service * (8.0 / ((1.0 - rho) * (1.0 - rho))).clamp(200.0, 4_000.0)
}

/// The link and the answer of a station take 16 ps, of a link 800 ps.
const STATION: f64 = 16e-6;
const LINK: f64 = 800e-6;

pub(crate) fn one_server(ledger: &mut Ledger) {
    ledger.section("One server");
    published(ledger);
    exponential(ledger);
    constant(ledger);
    general(ledger);
    paced(ledger);
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
    for (rho, wait, p50, p90, p99, ios) in [
        (0.5, 1.0, 1.386_294, 4.605_17, 9.210_34, 4e5),
        (0.6, 1.5, 1.732_868, 5.756_463, 11.512_93, 6e5),
        (0.7, 2.333_333, 2.310_491, 7.675_284, 15.350_57, 8e5),
        (0.8, 4.0, 3.465_736, 11.512_93, 23.025_85, 1.5e6),
        (0.9, 9.0, 6.931_472, 23.025_85, 46.051_7, 3e6),
        (0.95, 19.0, 13.862_94, 46.051_7, 92.103_4, 6e6),
    ] {
        let name = format!("M/M/1, ρ {rho}");
        let mut site = station(&name, "{ exponential = \"1us\" }", 1, &poisson(rho));
        let times = [(p50, 0.5), (p90, 0.1), (p99, 0.01)];
        // At 0.9 and above the last hundredth would need runs ten times as long.
        let times = if rho < 0.9 { &times[..] } else { &times[..2] };
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
        }
    }
}

fn constant(ledger: &mut Ledger) {
    ledger.source(
        "Pollaczek and Khinchine; Erlang (1909), Crommelin (1932) (computed in 400 digits)",
    );
    type Row = (f64, f64, [(f64, f64); 3], f64);
    #[rustfmt::skip]
    let rows: [Row; 6] = [
        (0.1, 0.055_555_56, [(0.0, 0.1), (0.5, 0.053_856), (1.0, 0.005_346_17)], 6e5),
        (0.3, 0.214_285_7, [(0.5, 0.186_716), (1.0, 0.055_098_8), (2.0, 0.007_987_19)], 6e5),
        (0.6, 0.75, [(1.0, 0.271_152), (2.0, 0.109_262), (5.0, 0.006_404_69)], 8e5),
        (0.75, 1.5, [(1.0, 0.470_75), (2.0, 0.276_515), (5.0, 0.053_184_5)], 8e5),
        (0.85, 2.833_333, [(1.0, 0.649_053), (5.0, 0.184_719), (10.0, 0.037_917)], 1.2e6),
        (0.9, 4.5, [(1.0, 0.754_04), (5.0, 0.331_291), (10.0, 0.117_597)], 1.6e6),
    ];
    for (rho, wait, tails, ios) in rows {
        let name = format!("M/D/1 on a link, ρ {rho}");
        let mut site = link(&name, 1, &poisson(rho));
        count_above(&mut site, &tails.map(|(time, _)| time + 1.0 + LINK));
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

/// M/G/1 by name, law, rate and wait, with the 90th percentile of the wait.
fn general(ledger: &mut Ledger) {
    ledger.source("Pollaczek and Khinchine, λE[S²]/(2(1−ρ))");
    let lognormal = |v: f64| {
        let square = (1.0 + v * v).ln();
        // The median in picoseconds, so that the mean is one microsecond.
        let median = ((-square / 2.0).exp() * 1e6).round();
        format!(
            "{{ lognormal = {{ median = \"{median}ps\", sigma = {} }} }}",
            square.sqrt()
        )
    };
    let two = |one: u32, many: u32, often: f64| {
        format!(
            "{{ mixture = [{{ weight = {often}, law = \"{one}us\" }}, {{ weight = {}, law = \"{many}us\" }}] }}",
            1.0 - often
        )
    };
    for (name, law, rate, wait, ios, warm_up) in [
        (
            "M/G/1, lognormal v 0.5, ρ 0.8",
            lognormal(0.5),
            0.8,
            2.5,
            1e6,
            200.0,
        ),
        (
            "M/G/1, lognormal v 1, ρ 0.6",
            lognormal(1.0),
            0.6,
            1.5,
            1e6,
            200.0,
        ),
        (
            "M/G/1, lognormal v 2, ρ 0.5",
            lognormal(2.0),
            0.5,
            2.5,
            3e6,
            400.0,
        ),
        (
            "M/G/1, lognormal v 2, ρ 0.8",
            lognormal(2.0),
            0.8,
            10.0,
            6e6,
            2_000.0,
        ),
        (
            "M/G/1, 1 and 16 at 0.8 and 0.2, ρ 0.5",
            two(1, 16, 0.8),
            0.125,
            6.5,
            5e5,
            2_000.0,
        ),
        (
            "M/G/1, 1 and 16 at 0.8 and 0.2, ρ 0.8",
            two(1, 16, 0.8),
            0.2,
            26.0,
            1.5e6,
            8_000.0,
        ),
        (
            "M/G/1, 2 and 8 at 0.6 and 0.4, ρ 0.7",
            two(2, 8, 0.6),
            0.159_090_9,
            7.424_242,
            6e5,
            2_000.0,
        ),
    ] {
        let runs = run(&station(name, &law, 1, &poisson(rate)), rate, ios, warm_up);
        ledger.theory(format!("{name}: wait"), wait, &runs.array_waits());
    }
}

fn paced(ledger: &mut Ledger) {
    ledger.source(
        "D/M/1: σ = exp(−(1−σ)/ρ), wait σ/(1−σ) (Kleinrock 1, ch. 6, from memory; computed)",
    );
    for (rho, waits, wait, ios) in [
        (0.5, 0.203_187_87, 0.255_000_975, 3e5),
        (0.7, 0.466_996_422, 0.876_160_014, 4e5),
        (0.8, 0.628_629_796, 1.692_730_84, 6e5),
        (0.9, 0.806_899_833, 4.178_659_42, 1e6),
        (0.95, 0.901_695_11, 9.172_433_95, 2e6),
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
    }
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

/// One Poisson stream over several equal links of unit time.
fn spread(name: &str, links: u32, policy: &str, rate: f64) -> Site {
    direct(
        name,
        &format!("speed = \"10Gb/s\"\nports = {links}"),
        "controllers = 1\nparallel = 1000\nwrite = { time = \"0s\" }",
        &format!("paths = \"{policy}\""),
        1250,
        &poisson(rate),
    )
}

pub(crate) fn several_servers(ledger: &mut Ledger) {
    ledger.section("Several servers");
    ledger.source("GNU Octave *queueing* toolbox, test of M/M/m (ETH Zürich course slides)");
    for (servers, number_waiting, sojourn) in
        [(2_u32, 7.673_684, 1.052_632), (4, 0.105_163_9, 0.211_684_9)]
    {
        let name = format!("M/M/{servers}, λ 9, μ 5");
        // A time unit of 5 us: service 1 us, 1.8 a microsecond.
        let runs = run(
            &station(&name, "{ exponential = \"1us\" }", servers, &poisson(1.8)),
            1.8,
            1.5e6,
            1_000.0,
        );
        let waiting = runs.each(|tally| tally.controllers[0].waiting.mean().unwrap());
        ledger.theory(format!("{name}: number waiting"), number_waiting, &waiting);
        ledger.theory(
            format!("{name}: sojourn"),
            sojourn * 5.0,
            &runs.latencies(STATION),
        );
    }
    ledger.source("Erlang C by the recursion of Erlang B (1917); wait C/(c − a) (computed)");
    #[rustfmt::skip]
    let rows: [(u32, [(f64, f64); 4]); 10] = [
        (1, [(0.5, 1.0), (0.7, 2.333_33), (0.8, 4.0), (0.9, 9.0)]),
        (2, [(0.333_333, 0.333_333), (0.576_471, 0.960_784), (0.711_111, 1.777_78), (0.852_632, 4.263_16)]),
        (3, [(0.236_842, 0.157_895), (0.492_344, 0.547_049), (0.647_191, 1.078_65), (0.817_061, 2.723_54)]),
        (4, [(0.173_913, 0.086_956_5), (0.428_654, 0.357_212), (0.596_432, 0.745_541), (0.787_753, 1.969_38)]),
        (6, [(0.099_143_2, 0.033_047_7), (0.335_978, 0.186_654), (0.517_772, 0.431_477), (0.740_126, 1.233_54)]),
        (8, [(0.059_044, 0.014_761), (0.270_603, 0.112_751), (0.457_645, 0.286_028), (0.701_533, 0.876_916)]),
        (16, [(0.009_018_81, 0.001_127_35), (0.129_676, 0.027_015_8), (0.304_884, 0.095_276_2), (0.591_343, 0.369_59)]),
        (24, [(0.001_574_33, 0.000_131_194), (0.068_571_5, 0.009_523_82), (0.217_509, 0.045_314_5), (0.515_921, 0.214_967)]),
        (32, [(0.000_291_058, 1.819_11e-5), (0.038_019_5, 0.003_960_36), (0.160_623, 0.025_097_4), (0.458_197, 0.143_186)]),
        (64, [(4.26372e-7, 1.332_41e-8), (0.004_412_55, 0.000_229_82), (0.056_056_4, 0.004_379_4), (0.310_663, 0.048_541_1)]),
    ];
    for (servers, cells) in rows {
        for (rho, (waits, wait)) in [0.5, 0.7, 0.8, 0.9].into_iter().zip(cells) {
            // Rarer waits than one in a hundred or so would need runs out of all proportion.
            if wait < 0.005 {
                continue;
            }
            let name = format!("M/M/{servers}, ρ {rho}");
            let rate = rho * f64::from(servers);
            let runs = run(
                &station(&name, "{ exponential = \"1us\" }", servers, &poisson(rate)),
                rate,
                6e5,
                warm(rho, 1.0),
            );
            ledger.theory(format!("{name}: P(wait)"), waits, &runs.array_delayed());
            ledger.theory(format!("{name}: wait"), wait, &runs.array_waits());
        }
    }
    delay_tables(ledger);
    constant_servers(ledger);
    ledger.source("Markov chain of M/H2/c, truncated (computed; confirmed by another simulation)");
    for (servers, fast, means, rate, (waits, wait), ios) in [
        (
            4_u32,
            0.9,
            (200, 5_000),
            4.117_647,
            (0.449_615_5, 1.191_328),
            1.5e6,
        ),
        (
            8,
            0.8,
            (100, 2_000),
            13.333_33,
            (0.478_018, 0.450_319_8),
            1.5e6,
        ),
        (
            16,
            0.95,
            (100, 4_000),
            32.542_37,
            (0.048_255_73, 0.008_815_152),
            6e6,
        ),
    ] {
        let name = format!("M/H2/{servers}");
        let law = format!(
            "{{ mixture = [{{ weight = {fast}, law = {{ exponential = \"{}ns\" }} }}, \
             {{ weight = {}, law = {{ exponential = \"{}ns\" }} }}] }}",
            means.0,
            1.0 - fast,
            means.1
        );
        let runs = run(
            &station(&name, &law, servers, &poisson(rate)),
            rate,
            ios,
            500.0,
        );
        ledger.theory(format!("{name}: P(wait)"), waits, &runs.array_delayed());
        ledger.theory(format!("{name}: wait"), wait, &runs.array_waits());
    }
}

/// Loads at which printed tables of Erlang C give the probability of waiting.
fn delay_tables(ledger: &mut Ledger) {
    for (source, servers, erlang, waits) in [
        (
            "Published teletraffic exercise, 10 servers and 6 erlang (printed about 0.10; recomputed)",
            10_u32,
            6.0,
            0.101_299_2,
        ),
        (
            "Printed table of Erlang C, text on trunked radio: 8 servers, 3.87 erlang (printed 0.05; recomputed)",
            8,
            3.87,
            0.050_085,
        ),
        (
            "Printed table of Erlang C, text on trunked radio: 10 servers, 4.08 erlang (printed 0.01; recomputed)",
            10,
            4.08,
            0.010_052,
        ),
    ] {
        ledger.source(source);
        let name = format!("M/M/{servers}, {erlang} erlang");
        let site = station(
            &name,
            "{ exponential = \"1us\" }",
            servers,
            &poisson(erlang),
        );
        let runs = run(&site, erlang, 1.5e6, 200.0);
        ledger.theory(format!("{name}: P(wait)"), waits, &runs.array_delayed());
    }
}

fn constant_servers(ledger: &mut Ledger) {
    ledger.source("M/D/c: embedded chain; Franx, *Operations Research Letters* 29 (2001) (from memory; computed)");
    type Row = (u32, [(f64, f64, f64); 4]);
    #[rustfmt::skip]
    let rows: [Row; 5] = [
        (2, [(0.323_259, 0.176_741, 1.563_9), (0.565_367, 0.493_61, 3.135_1), (0.773_484, 1.316_7, 6.995_7), (0.877_101, 2.770_72, 13.721)]),
        (4, [(0.163_294, 0.049_651_7, 0.710_81), (0.409_948, 0.189_708, 1.488), (0.673_338, 0.588_766, 3.417_3), (0.818_207, 1.310_33, 6.779_8)]),
        (8, [(0.054_292_4, 0.009_321_01, 0.292_43), (0.251_569, 0.062_68, 0.685_62), (0.549_297, 0.248_819, 1.650_5), (0.739_849, 0.603_389, 3.331_3)]),
        (16, [(0.008_337_74, 0.000_810_234, 0.0), (0.117_622, 0.016_073_2, 0.310_72), (0.406_405, 0.096_521, 0.784_12), (0.639_324, 0.267_286, 1.623_8)]),
        (32, [(0.000_276_369, 1.487_45e-5, 0.0), (0.034_212_7, 0.002_604_09, 0.098_318), (0.258_364, 0.032_687_6, 0.363_38), (0.516_55, 0.111_742, 0.782_26)]),
    ];
    for (servers, cells) in rows {
        for (rho, (waits, wait, p99)) in [0.5, 0.7, 0.85, 0.92].into_iter().zip(cells) {
            if waits < 0.005 {
                continue;
            }
            let name = format!("M/D/{servers}, ρ {rho}");
            let rate = rho * f64::from(servers);
            let mut site = station(&name, "\"1us\"", servers, &poisson(rate));
            // 100 ps more let two requests of one instant pass on the one link.
            let mut targets = vec![1.0 + STATION + 1e-4];
            // From 0.85 on the last hundredth would need runs ten times as long.
            let p99 = if rho < 0.85 { p99 } else { 0.0 };
            if p99 > 0.0 {
                targets.push(1.0 + STATION + p99);
            }
            count_above(&mut site, &targets);
            let runs = run(&site, rate, 1e6, warm(rho, 1.0));
            ledger.theory(format!("{name}: P(wait)"), waits, &runs.above(0));
            ledger.theory(format!("{name}: wait"), wait, &runs.array_waits());
            if p99 > 0.0 {
                ledger.theory(format!("{name}: wait beyond {p99}"), 0.01, &runs.above(1));
            }
        }
    }
}

pub(crate) fn batches_and_networks(ledger: &mut Ledger) {
    ledger.section("Messages of several frames");
    ledger.source("M[X]/D/1: first frame λE[X²]/(2(1−ρ)), any frame + E[X(X−1)]/(2E[X]) (Kleinrock 1, from memory; confirmed by another simulation)");
    type Sizes = &'static [(u32, f64)];
    let rows: [(&str, Sizes, f64, f64, f64); 3] = [
        ("always 8 frames, ρ 0.6", &[(8, 1.0)], 0.075, 6.0, 9.5),
        (
            "1 or 16 frames, ρ 0.7",
            &[(1, 0.5), (16, 0.5)],
            0.082_352_94,
            17.637_25,
            24.696_08,
        ),
        (
            "4 or 64 frames, ρ 0.5",
            &[(4, 0.8), (64, 0.2)],
            0.031_25,
            26.0,
            51.5,
        ),
    ];
    for (name, sizes, rate, first, any) in rows {
        let mut site = link(name, sizes[0].0, &poisson(rate * sizes[0].1));
        for (frames, share) in &sizes[1..] {
            let mut more = link(name, *frames, &poisson(rate * share))
                .workloads
                .remove(0);
            more.name = format!("w{frames}");
            site.workloads.push(more);
        }
        let runs = run(&site, rate, 4e5, 20_000.0);
        for (workload, (frames, _)) in sizes.iter().enumerate() {
            let waits = runs.each(|tally| {
                tally.workloads[workload].writes.latency.mean().unwrap() / 1e6
                    - f64::from(*frames)
                    - LINK
            });
            ledger.theory(
                format!("{name}: wait of the first frame of {frames}"),
                first,
                &waits,
            );
        }
        ledger.theory(
            format!("{name}: wait of any frame"),
            any,
            &runs.frame_waits("app:A1 > box-c1:A1"),
        );
    }
    ledger.section("Several links");
    merging_and_chains(ledger);
    paced_sources(ledger);
    paths(ledger);
}

fn merging_and_chains(ledger: &mut Ledger) {
    ledger.source("Concentrating trees with constant service: Morrison; Shalmon and Kaplan (about 1980, from memory; confirmed by another simulation)");
    let name = "four links into one, ρ 0.8";
    let runs = run(
        &tree(name, 4, "10Gb/s", "10Gb/s", 1250, &poisson(0.8)),
        0.8,
        1e6,
        400.0,
    );
    let first = runs.each(|tally| {
        let wait = |host: u32| {
            let index = runs.direction(&format!("app-{host}:A1 > sw-A"));
            tally.directions[index].wait.mean().unwrap() / 1e6
        };
        (1..=4).map(wait).sum::<f64>() / 4.0
    });
    ledger.theory(format!("{name}: first stage"), 0.125, &first);
    ledger.theory(
        format!("{name}: second stage"),
        1.875,
        &runs.frame_waits("sw-A > box-c1:A1"),
    );
    ledger.theory(
        format!("{name}: both"),
        2.0,
        &runs.latencies(2.0 + 2.0 * LINK),
    );
    ledger.source("Chains with constant service: behind a link that is not faster nothing waits; a slower one makes the chain wait like M/D/1 there (from memory; confirmed)");
    let name = "two equal links, ρ 0.75";
    let runs = run(
        &tree(name, 1, "10Gb/s", "10Gb/s", 1250, &poisson(0.75)),
        0.75,
        4e5,
        400.0,
    );
    ledger.theory(
        format!("{name}: first link"),
        1.5,
        &runs.frame_waits("app-1:A1 > sw-A"),
    );
    #[allow(clippy::cast_precision_loss)]
    let second: u128 = runs
        .tallies
        .iter()
        .map(|t| t.directions[runs.direction("sw-A > box-c1:A1")].wait.sum())
        .sum();
    #[allow(clippy::cast_precision_loss)]
    ledger.exact(
        format!("{name}: second link, ps in all"),
        0.0,
        second as f64,
        0.0,
    );
    let name = "0.7 then 1, rate 0.75";
    let runs = run(
        &tree(name, 1, "10Gb/s", "7Gb/s", 875, &poisson(0.75)),
        0.75,
        6e5,
        400.0,
    );
    ledger.theory(
        format!("{name}: both links"),
        1.5,
        &runs.latencies(1.7 + 1943e-6),
    );
}

fn paced_sources(ledger: &mut Ledger) {
    ledger.source("N*D/D/1: Eckberg (1979); Roberts and Virtamo (1991) (from memory; confirmed by another simulation)");
    // Hosts, trunk, rate of all together, service in us; the period is `period` services.
    for (hosts, trunk, rate, service, period, waits, wait) in [
        (4_u32, "10Gb/s", 800_000, 1.0, 5.0, 0.6, 0.444),
        (12, "10Gb/s", 800_000, 1.0, 15.0, 0.733_333_3, 0.893_566_8),
        (
            20,
            "11Gb/s",
            1_000_000,
            10.0 / 11.0,
            22.0,
            0.863_636_4,
            1.581,
        ),
        (
            40,
            "11Gb/s",
            1_000_000,
            10.0 / 11.0,
            44.0,
            0.886_363_6,
            2.167_549,
        ),
    ] {
        let name = format!("{hosts} paced sources, period {period}");
        let arrivals = format!("{{ paced = \"{rate}/s\" }}");
        let mut site = tree(&name, hosts, "1000Gb/s", trunk, 1250, &arrivals);
        // Ports: 10 ns and 8 ps; the answer: one byte on the trunk; 2 ps of rounding.
        let rest = 0.010 + 8e-6 + service / 1250.0 + 2e-6;
        count_above(&mut site, &[service + rest]);
        let length = period * service;
        // The phases are fixed within a run, which repeats itself: many short runs, a hundred at a time, as
        // each keeps a histogram for every direction.
        let (mut shares, mut means) = (Vec::new(), Vec::new());
        for first in (0..1_500).step_by(100) {
            let numbers = first..first + 100;
            let runs = Runs::numbered(&site, &[], numbers, 4.0 * length, 6.0 * length);
            shares.extend(runs.above(0));
            let frames = runs.frame_waits("sw-A > box-c1:A1");
            means.extend(frames.iter().map(|wait| wait / service));
        }
        ledger.theory(format!("{name}: P(wait)"), waits, &shares);
        ledger.theory(format!("{name}: wait"), wait, &means);
    }
}

fn paths(ledger: &mut Ledger) {
    for (links, rho, at_random, in_turn, ios) in [
        (2_u32, 0.7, 1.166_67, 0.493_61, 8e5),
        (2, 0.9, 4.5, 2.146_92, 2e6),
        (4, 0.8, 2.0, 0.386_095, 8e5),
        (8, 0.9, 4.5, 0.449_973, 2e6),
    ] {
        let rate = rho * f64::from(links);
        let equals = "M/D/1 on each link; strict rotation = M/D/c; fewest in system with ties going on from the last used = rotation (computed)";
        ledger.source(equals);
        for (policy, wait) in [
            ("random", at_random),
            ("round-robin", in_turn),
            ("least-queue", in_turn),
        ] {
            let name = format!("{links} links, ρ {rho}, {policy}");
            let warm_up = warm(rho, 1.0);
            let runs = run(&spread(&name, links, policy, rate), rate, ios, warm_up);
            ledger.theory(format!("{name}: wait"), wait, &runs.latencies(1.0 + LINK));
        }
    }
    ledger.source("Two exponential servers: M/M/1 each; shortest queue by Markov chain (computed)");
    for (rho, at_random, shortest, ios) in [
        (0.5, 1.0, 0.426_320_8, 6e5),
        (0.7, 2.333_33, 1.108_197, 8e5),
        (0.8, 4.0, 1.955_737, 1.2e6),
    ] {
        for (policy, wait) in [("random", at_random), ("least-queue", shortest)] {
            let name = format!("two exponential servers, ρ {rho}, {policy}");
            let site = direct(
                &name,
                "speed = \"1000Gb/s\"",
                "controllers = 2\nparallel = 1\nwrite = { time = { exponential = \"1us\" } }",
                &format!("paths = \"{policy}\""),
                1,
                &poisson(2.0 * rho),
            );
            let runs = run(&site, 2.0 * rho, ios, warm(rho, 1.0));
            ledger.theory(
                format!("{name}: wait"),
                wait,
                &runs.latencies(1.0 + STATION),
            );
        }
    }
}

pub(crate) fn closed_and_bursty(ledger: &mut Ledger) {
    ledger.section("Closed loops");
    ledger.source("Machine repair M/M/c//N; the same for any law of the pause (computed)");
    for (depth, servers, pause, throughput, response, busy) in [
        (2_u32, 1_u32, "1500ns", 0.689_655_172, 1.4, 0.689_655),
        (3, 1, "2us", 0.789_473_684, 1.8, 0.789_474),
        (5, 1, "4us", 0.800_933_126, 2.242_718_45, 0.800_933),
        (10, 2, "4us", 1.708_532_48, 1.852_976_23, 0.854_266),
        (32, 4, "6us", 3.846_571_63, 2.319_096_35, 0.961_643),
        (64, 16, "3us", 15.098_592_7, 1.238_805_66, 0.943_662),
        (128, 64, "1us", 62.151_299_6, 1.059_490_32, 0.971_114),
    ] {
        let name = format!("{depth} outstanding, {servers} exponential, pause {pause}");
        let arrivals = format!("{{ closed = {{ depth = {depth}, think = \"{pause}\" }} }}");
        let mut site = station(&name, "{ exponential = \"1us\" }", servers, &arrivals);
        site.hosts[0].queue_depth = None;
        let length = 4e5 / f64::from(REPLICATIONS) / throughput;
        let runs = Runs::of(&site, REPLICATIONS, 200.0, 200.0 + length);
        #[allow(clippy::cast_precision_loss)]
        let rates = runs.each(|tally| tally.workloads[0].writes.completed as f64 / length);
        ledger.theory(format!("{name}: throughput"), throughput, &rates);
        ledger.theory(
            format!("{name}: response"),
            response,
            &runs.latencies(STATION),
        );
        ledger.theory(
            format!("{name}: utilization"),
            busy,
            &runs.array_busy(0, f64::from(servers)),
        );
    }
    ledger.source("Product form, one outstanding: no queueing (computed)");
    let name = "1 outstanding: link 20, 4 exponential servers of 60, pause 100";
    let site = direct(
        name,
        "speed = \"10Gb/s\"",
        "controllers = 1\nparallel = 4\nwrite = { time = { exponential = \"60us\" } }",
        "",
        25_000,
        "{ closed = { depth = 1, think = \"100us\" } }",
    );
    let length = 2e6;
    let runs = Runs::of(&site, REPLICATIONS, 1_000.0, 1_000.0 + length);
    #[allow(clippy::cast_precision_loss)]
    let rates = runs.each(|tally| tally.workloads[0].writes.completed as f64 / length);
    ledger.theory(format!("{name}: throughput"), 1.0 / (180.0 + LINK), &rates);
    ledger.theory(format!("{name}: response"), 80.0, &runs.latencies(LINK));
    super::exact::all_constant(ledger);
    exponential_links(ledger);
    ledger.section("Bursty arrivals");
    bursty(ledger);
    ledger.section("One of two fabrics lost");
    survivors(ledger);
}

/// Reads over 8GFC whose sizes are an exponential law's on a grid of 4 KiB, so that the link they come back on is an
/// exponential server: (2j − 1) x 2 KiB with chance p(1 − p)^(j − 1), 1/p = 16.5. That is 32 frames on the mean, with a
/// squared coefficient of variation of 255.75/256. A frame of 2,048 B is 2,108 B on the wire with its delimiters and
/// fill words, the status 84 B, at 850 MB/s (FC-FS and FC-PI: `src/wire` has the clauses): 79.459 us, and the array
/// takes what the row says in terms of it. The command's 92 B the other way add 0.1 us.
const COMES_BACK: f64 = (32.0 * 2_108.0 + 84.0) / 850.0;

/// `links` between a host and an array of so many servers; a switch and the way on to the host, where there is one,
/// take 0.3 us for the last frame and the status.
fn reads_of_exponential_size(
    name: &str,
    links: &str,
    (servers, service): (u32, f64),
    depth: u32,
) -> Site {
    let p: f64 = 1.0 / 16.5;
    let grid = 200;
    let sizes: Vec<String> = (1..=grid)
        .map(|j| {
            let tail = if j == grid { 1.0 } else { p };
            let chance = tail * (1.0 - p).powi(j - 1);
            format!("\"{}KiB\" = {chance:e}", (2 * j - 1) * 2)
        })
        .collect();
    let mut site = site(
        name,
        &format!(
            "format = 1\n[[host]]\nname = \"app\"\npaths = \"random\"\n\
             [[array]]\nname = \"box\"\ncontrollers = 1\nparallel = {servers}\n\
             read = {{ hit = \"0%\", miss_time = {{ exponential = \"{}ps\" }} }}\n{links}\
             [[workload]]\nname = \"w\"\nhosts = \"app\"\narray = \"box\"\nprotocol = \"fc-scsi\"\n\
             adapter = \"0s\"\nread = \"100%\"\nsizes = {{ {} }}\n\
             arrivals = {{ closed = {{ depth = {depth}, think = \"0s\" }} }}\n",
            (service * COMES_BACK * 1e6).round(),
            sizes.join(", ")
        ),
    );
    site.hosts[0].queue_depth = None;
    site
}

/// Products of exponential stations: a link and an array, and an array behind two links of which one is lost.
fn exponential_links(ledger: &mut Ledger) {
    let length = |rate: f64| 150_000.0 / f64::from(REPLICATIONS) / rate * COMES_BACK / 10.0;
    let warm_up = 30_000.0;
    let both = |ledger: &mut Ledger, name: &str, runs: &Runs, rate: f64, response: f64| {
        #[allow(clippy::cast_precision_loss)]
        let rates = runs.each(|tally| {
            tally.workloads[0].reads.completed as f64 / length(rate) * COMES_BACK / 10.0
        });
        ledger.theory(format!("{name}: throughput"), rate, &rates);
        let latencies: Vec<f64> = runs.latencies(0.0);
        let latencies: Vec<f64> = latencies.iter().map(|us| us / COMES_BACK * 10.0).collect();
        ledger.theory(format!("{name}: response"), response, &latencies);
    };
    ledger.source("Product form, mean value analysis in 120 digits and convolution (computed); exponential sizes on a grid");
    for (depth, rate, response) in [
        (16, 0.078_527_130_1, 203.751_238),
        (32, 0.079_961_311_4, 400.193_537),
    ] {
        let name = format!("{depth} outstanding: exponential link 10, 8 servers of 100");
        let site = reads_of_exponential_size(
            &name,
            "[[link]]\nfrom = \"app\"\nto = \"box\"\nspeed = \"8GFC\"\npropagation = \"0s\"\n",
            (8, 10.0),
            depth,
        );
        let runs = Runs::of(&site, REPLICATIONS, warm_up, warm_up + length(rate));
        both(ledger, &name, &runs, rate, response);
    }
    ledger.source("Product form, mean value analysis (computed; convolution agrees): one of two fabrics lost under a closed loop");
    let name = "16 outstanding: two exponential links of 10 at random, 12 servers of 100";
    let links = "[[switch]]\nname = \"sw\"\ndelay = \"0s\"\nforwarding = \"store-and-forward\"\n\
         [[link]]\nfrom = \"app\"\nto = \"sw\"\nspeed = \"128GFC\"\npropagation = \"0s\"\nfec = \"0s\"\n\
         [[link]]\nfrom = \"sw\"\nto = \"box\"\nspeed = \"8GFC\"\npropagation = \"0s\"\n";
    let site = reads_of_exponential_size(name, links, (12, 10.0), 16);
    let outage = site.outages.iter().find(|outage| outage.name == "A");
    let outage = outage.expect("there by itself");
    let whole = Compiled::new(&site, &[]);
    let lost: Vec<MemberId> = whole.fabric.members_of(&outage.takes, outage.side);
    let to = |rate: f64| warm_up + length(rate);
    let rate = 0.116_164;
    let runs = Runs::of(&site, REPLICATIONS, warm_up, to(rate));
    both(ledger, name, &runs, rate, 137.736_3);
    let rate = 0.095_591_92;
    let runs = Runs::without(&site, &lost, REPLICATIONS, warm_up, to(rate));
    both(ledger, &format!("{name}, one lost"), &runs, rate, 167.378_2);
}

/// Two-state modulated Poisson arrivals on one link.
fn bursty(ledger: &mut Ledger) {
    ledger.source("MMPP/D/1: Fischer and Meier-Hellstern, *Performance Evaluation* 18 (1993) (from memory; confirmed by another simulation)");
    // Leaving rates and arrival rates of the quiet and the busy state.
    for (name, leave, rates, wait, p90, p99, ios) in [
        (
            "MMPP/D/1, mild",
            (0.02, 0.03),
            (0.4, 1.1),
            5.254_241,
            14.427,
            31.576,
            4e6,
        ),
        (
            "MMPP/D/1, bursts above capacity",
            (0.01, 0.01),
            (0.2, 1.2),
            26.966_88,
            66.326,
            136.29,
            1.2e7,
        ),
        (
            "MMPP/D/1, on and off",
            (0.02, 0.05),
            (0.0, 1.6),
            17.089_01,
            39.816,
            79.993,
            5e6,
        ),
        (
            "MMPP/D/1, equal rates",
            (0.1, 0.1),
            (0.6, 0.6),
            0.75,
            2.098_4,
            4.529_6,
            8e5,
        ),
    ] {
        let (quiet, busy): (f64, f64) = (1.0 / leave.0, 1.0 / leave.1);
        let mean = (quiet * rates.0 + busy * rates.1) / (quiet + busy);
        let ns = |us: f64| (us * 1e6).round();
        // Equal rates are no bursts: they are written as what they are.
        let arrivals = if rates.0 == rates.1 {
            poisson(mean)
        } else {
            format!(
                "{{ bursty = {{ peak = \"{}/s\", base = \"{}/s\", burst = \"{}ps\", every = \"{}ps\", law = \"exponential\" }} }}",
                rates.1 * 1e6,
                rates.0 * 1e6,
                ns(busy),
                ns(busy + quiet)
            )
        };
        let mut site = link(name, 1, &arrivals);
        count_above(&mut site, &[p90, p99].map(|time| time + 1.0 + LINK));
        let runs = run(&site, mean, ios, 5_000.0);
        ledger.theory(
            format!("{name}: wait"),
            wait,
            &runs.frame_waits("app:A1 > box-c1:A1"),
        );
        ledger.theory(format!("{name}: wait beyond {p90}"), 0.1, &runs.above(0));
        ledger.theory(format!("{name}: wait beyond {p99}"), 0.01, &runs.above(1));
    }
}

/// Two equal fabrics at random, then the survivor alone: the wait grows by 2(1−ρ)/(1−2ρ).
fn survivors(ledger: &mut Ledger) {
    ledger.source("M/D/1 at ρ and 2ρ (formula)");
    for (rho, before, after, ios) in [
        (0.2, 0.125, 0.333_333, 5e5),
        (0.3, 0.214_286, 0.75, 6e5),
        (0.35, 0.269_231, 1.166_67, 8e5),
        (0.4, 0.333_333, 2.0, 1e6),
        (0.45, 0.409_091, 4.5, 2e6),
    ] {
        let name = format!("two fabrics at {rho} each");
        let site = site(
            &name,
            &format!(
                "format = 1\n[[host]]\nname = \"app\"\npaths = \"random\"\n\
                 [[switch]]\nname = \"sw\"\ndelay = \"0s\"\nforwarding = \"store-and-forward\"\n\
                 [[array]]\nname = \"box\"\ncontrollers = 1\nparallel = 1000\nwrite = {{ time = \"0s\" }}\n\
                 [[link]]\nfrom = \"app\"\nto = \"sw\"\nspeed = \"10Gb/s\"\npropagation = \"0s\"\n\
                 [[link]]\nfrom = \"sw\"\nto = \"box\"\nspeed = \"1000Gb/s\"\npropagation = \"0s\"\n\
                 [[workload]]\nname = \"w\"\nhosts = \"app\"\narray = \"box\"\nprotocol = \"plain\"\n\
                 request = 1250\nresponse = 1\nframe = 1250\nread = \"0%\"\narrivals = {}\n",
                poisson(2.0 * rho)
            ),
        );
        let outage = site
            .outages
            .iter()
            .find(|outage| outage.name == "A")
            .expect("there by itself");
        let whole = Compiled::new(&site, &[]);
        let lost: Vec<MemberId> = whole.fabric.members_of(&outage.takes, outage.side);
        // A request: 1 us and 10 ns; the answer: 8 and 800 ps.
        let rest = 1.010 + 808e-6;
        let length = |rate: f64| ios / f64::from(REPLICATIONS) / rate;
        let warm_up = warm(2.0 * rho, 1.0);
        let both = Runs::of(&site, REPLICATIONS, warm_up, warm_up + length(2.0 * rho));
        ledger.theory(
            format!("{name}: wait with both"),
            before,
            &both.latencies(rest),
        );
        let one = Runs::without(
            &site,
            &lost,
            REPLICATIONS,
            warm_up,
            warm_up + length(2.0 * rho),
        );
        ledger.theory(
            format!("{name}: wait on the survivor"),
            after,
            &one.latencies(rest),
        );
    }
}
