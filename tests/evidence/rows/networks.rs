//! Messages of several frames, links in a row, links that merge, and the choice among paths.

use super::super::ledger::Ledger;
use super::super::rig::{Runs, count_above, direct, link, poisson, tree};
use super::{COMES_BACK, LINK, STATION, reads_of_exponential_size, run, spread, warm};

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
    two_exponential_stations(ledger);
    merging_and_chains(ledger);
    paced_sources(ledger);
    paths(ledger);
}

/// An array and the link back, both exponential: sojourns 2.5 and 5, independent of each other, so that the time through
/// both is that of two exponential phases.
fn two_exponential_stations(ledger: &mut Ledger) {
    ledger.source("Jackson; Burke (1956): open tandem M/M/1, M/M/1, λ 0.6, μ 1 and 0.8 (computed); exponential sizes on a grid");
    let name = "two exponential stations in a row";
    // The link takes 1.25 units.
    let unit = 0.8 * COMES_BACK;
    let rate = 0.6 / unit;
    let mut site = reads_of_exponential_size(
        name,
        "[[link]]\nfrom = \"app\"\nto = \"box\"\nspeed = \"8GFC\"\npropagation = \"0s\"\n",
        (1, 0.8),
        &format!("{{ poisson = \"{}/s\" }}", rate * 1e6),
    );
    // The command on its way there: 92 B.
    let rest = 92.0 / 850.0;
    let beyond = |time: f64| 2.0 * (-0.2 * time).exp() - (-0.4 * time).exp();
    let times = [5.0, 10.0, 20.0];
    count_above(&mut site, &times.map(|time| time * unit + rest));
    let runs = run(&site, rate, 1e6, 400.0 * unit);
    let sojourns: Vec<f64> = runs.latencies(rest).iter().map(|us| us / unit).collect();
    ledger.theory(format!("{name}: through both"), 7.5, &sojourns);
    let waits: Vec<f64> = runs.array_waits().iter().map(|us| us / unit).collect();
    ledger.theory(format!("{name}: wait at the first"), 1.5, &waits);
    for (position, time) in times.into_iter().enumerate() {
        ledger.theory(
            format!("{name}: through both beyond {time}"),
            beyond(time),
            &runs.above(position),
        );
    }
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
    // Shares that wait at all, longer than one service, than two; mean wait.
    for (hosts, trunk, rate, service, period, beyond, wait) in [
        (
            4_u32,
            "10Gb/s",
            800_000,
            1.0,
            5.0,
            [0.6, 0.136, 0.008],
            0.444,
        ),
        (
            12,
            "10Gb/s",
            800_000,
            1.0,
            15.0,
            [0.733_333_3, 0.364_426_2, 0.125_931_6],
            0.893_566_8,
        ),
        (
            20,
            "11Gb/s",
            1_000_000,
            10.0 / 11.0,
            22.0,
            [0.863_636_4, 0.595_302_9, 0.329_611_8],
            1.581,
        ),
        (
            40,
            "11Gb/s",
            1_000_000,
            10.0 / 11.0,
            44.0,
            [0.886_363_6, 0.679_688_6, 0.462_398_2],
            2.167_549,
        ),
    ] {
        let name = format!("{hosts} paced sources, period {period}");
        let arrivals = format!("{{ paced = \"{rate}/s\" }}");
        let mut site = tree(&name, hosts, "1000Gb/s", trunk, 1250, &arrivals);
        // Ports: 10 ns and 8 ps; the answer: one byte on the trunk; 2 ps of rounding.
        let rest = 0.010 + 8e-6 + service / 1250.0 + 2e-6;
        count_above(
            &mut site,
            &[1.0, 2.0, 3.0].map(|services| services * service + rest),
        );
        let length = period * service;
        // The phases are fixed within a run, which repeats itself: many short runs, a hundred at a time, as
        // each keeps a histogram for every direction.
        let (mut shares, mut means) = ([const { Vec::new() }; 3], Vec::new());
        // Of four sources one in 125 waits longer than two services.
        let replications = if hosts == 4 { 12_000 } else { 1_500 };
        for first in (0..replications).step_by(100) {
            let numbers = first..first + 100;
            let runs = Runs::numbered(&site, &[], numbers, 4.0 * length, 6.0 * length);
            for (position, shares) in shares.iter_mut().enumerate() {
                shares.extend(runs.above(position));
            }
            let frames = runs.frame_waits("sw-A > box-c1:A1");
            means.extend(frames.iter().map(|wait| wait / service));
        }
        for ((what, published), shares) in ["P(wait)", "P(wait > 1)", "P(wait > 2)"]
            .into_iter()
            .zip(beyond)
            .zip(&shares)
        {
            ledger.theory(format!("{name}: {what}"), published, shares);
        }
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
