//! Several servers behind one queue.

use super::super::ledger::Ledger;
use super::super::rig::{count_above, poisson, station};
use super::{STATION, run, warm};

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
    let rows: [(u32, [(f64, f64); 5]); 10] = [
        (1, [(0.5, 1.0), (0.7, 2.333_33), (0.8, 4.0), (0.9, 9.0), (0.97, 32.333_3)]),
        (2, [(0.333_333, 0.333_333), (0.576_471, 0.960_784), (0.711_111, 1.777_78), (0.852_632, 4.263_16), (0.955_228, 15.920_5)]),
        (3, [(0.236_842, 0.157_895), (0.492_344, 0.547_049), (0.647_191, 1.078_65), (0.817_061, 2.723_54), (0.943_852, 10.487_2)]),
        (4, [(0.173_913, 0.086_956_5), (0.428_654, 0.357_212), (0.596_432, 0.745_541), (0.787_753, 1.969_38), (0.934_279, 7.785_66)]),
        (6, [(0.099_143_2, 0.033_047_7), (0.335_978, 0.186_654), (0.517_772, 0.431_477), (0.740_126, 1.233_54), (0.918_305, 5.101_69)]),
        (8, [(0.059_044, 0.014_761), (0.270_603, 0.112_751), (0.457_645, 0.286_028), (0.701_533, 0.876_916), (0.904_947, 3.770_61)]),
        (16, [(0.009_018_81, 0.001_127_35), (0.129_676, 0.027_015_8), (0.304_884, 0.095_276_2), (0.591_343, 0.369_59), (0.864_408, 1.800_85)]),
        (24, [(0.001_574_33, 0.000_131_194), (0.068_571_5, 0.009_523_82), (0.217_509, 0.045_314_5), (0.515_921, 0.214_967), (0.834_145, 1.158_54)]),
        (32, [(0.000_291_058, 1.819_11e-5), (0.038_019_5, 0.003_960_36), (0.160_623, 0.025_097_4), (0.458_197, 0.143_186), (0.809_22, 0.842_937)]),
        (64, [(4.26372e-7, 1.332_41e-8), (0.004_412_55, 0.000_229_82), (0.056_056_4, 0.004_379_4), (0.310_663, 0.048_541_1), (0.735_566, 0.383_107)]),
    ];
    for (servers, cells) in rows {
        let rhos = [0.5, 0.7, 0.8, 0.9, 0.97];
        for (rho, (waits, wait)) in rhos.into_iter().zip(cells) {
            // Rarer waits than one in a thousand, and many servers at 0.97, would need runs out of all proportion.
            if waits < 1e-3 || (rho > 0.95 && servers > 8) {
                continue;
            }
            let ios = match rho {
                0.97 => 1.2e7,
                0.9 => 3e6,
                // Of more servers waits come in rarer and longer spells.
                _ if servers == 64 => f64::max(2.5e6, 6e4 / waits),
                _ => f64::max(2.5e6, 4e4 / waits),
            };
            let name = format!("M/M/{servers}, ρ {rho}");
            let rate = rho * f64::from(servers);
            let runs = run(
                &station(&name, "{ exponential = \"1us\" }", servers, &poisson(rate)),
                rate,
                ios,
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
            3e6,
        ),
        (
            8,
            0.8,
            (100, 2_000),
            13.333_33,
            (0.478_018, 0.450_319_8),
            3e6,
        ),
        (
            16,
            0.95,
            (100, 4_000),
            32.542_37,
            (0.048_255_73, 0.008_815_152),
            1.6e7,
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
            if waits < 1e-3 {
                continue;
            }
            let name = format!("M/D/{servers}, ρ {rho}");
            let rate = rho * f64::from(servers);
            let mut site = station(&name, "\"1us\"", servers, &poisson(rate));
            // 100 ps more let two requests of one instant pass on the one link.
            let mut targets = vec![1.0 + STATION + 1e-4];
            if p99 > 0.0 {
                targets.push(1.0 + STATION + p99);
            }
            count_above(&mut site, &targets);
            let ios = match rho {
                0.92 => 1.4e7,
                0.85 => 5e6,
                _ => 1.5e6,
            };
            let runs = run(&site, rate, ios, warm(rho, 1.0));
            ledger.theory(format!("{name}: P(wait)"), waits, &runs.above(0));
            ledger.theory(format!("{name}: wait"), wait, &runs.array_waits());
            if p99 > 0.0 {
                ledger.theory(format!("{name}: wait beyond {p99}"), 0.01, &runs.above(1));
            }
        }
    }
}
