//! Closed loops, bursty arrivals, and one of two fabrics lost.

use super::super::ledger::Ledger;
use super::super::rig::{Runs, count_above, direct, link, poisson, site, station};
use super::{COMES_BACK, LINK, REPLICATIONS, STATION, reads_of_exponential_size, run, warm};
use halfloom::model::Compiled;
use halfloom::topology::MemberId;

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
    super::super::exact::all_constant(ledger);
    exponential_links(ledger);
    ledger.section("Bursty arrivals");
    bursty(ledger);
    ledger.section("One of two fabrics lost");
    survivors(ledger);
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
            &format!("{{ closed = {{ depth = {depth}, think = \"0s\" }} }}"),
        );
        let runs = Runs::of(&site, REPLICATIONS, warm_up, warm_up + length(rate));
        both(ledger, &name, &runs, rate, response);
    }
    let name = "8 outstanding: exponential link 20, 4 servers of 60, pause 100";
    let pause = (5.0 * COMES_BACK * 1e6).round();
    let site = reads_of_exponential_size(
        name,
        "[[link]]\nfrom = \"app\"\nto = \"box\"\nspeed = \"8GFC\"\npropagation = \"0s\"\n",
        (4, 3.0),
        &format!("{{ closed = {{ depth = 8, think = \"{pause}ps\" }} }}"),
    );
    // Here the link takes 20.
    let rate = 0.037_743_134_9 / 2.0;
    let runs = Runs::of(&site, REPLICATIONS, warm_up, warm_up + length(rate * 4.0));
    let window = length(rate * 4.0);
    #[allow(clippy::cast_precision_loss)]
    let rates =
        runs.each(|tally| tally.workloads[0].reads.completed as f64 / window * COMES_BACK / 20.0);
    ledger.theory(format!("{name}: throughput"), rate * 2.0, &rates);
    let latencies: Vec<f64> = runs.latencies(0.0);
    let latencies: Vec<f64> = latencies.iter().map(|us| us / COMES_BACK * 20.0).collect();
    ledger.theory(format!("{name}: response"), 111.959_076, &latencies);
    ledger.source("Product form, mean value analysis (computed; convolution agrees): one of two fabrics lost under a closed loop");
    let name = "16 outstanding: two exponential links of 10 at random, 12 servers of 100";
    let links = "[[switch]]\nname = \"sw\"\ndelay = \"0s\"\nforwarding = \"store-and-forward\"\n\
         [[link]]\nfrom = \"app\"\nto = \"sw\"\nspeed = \"128GFC\"\npropagation = \"0s\"\nfec = \"0s\"\n\
         [[link]]\nfrom = \"sw\"\nto = \"box\"\nspeed = \"8GFC\"\npropagation = \"0s\"\n";
    let site = reads_of_exponential_size(
        name,
        links,
        (12, 10.0),
        "{ closed = { depth = 16, think = \"0s\" } }",
    );
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
            1e7,
        ),
        (
            "MMPP/D/1, bursts above capacity",
            (0.01, 0.01),
            (0.2, 1.2),
            26.966_88,
            66.326,
            136.29,
            2.4e7,
        ),
        (
            "MMPP/D/1, on and off",
            (0.02, 0.05),
            (0.0, 1.6),
            17.089_01,
            39.816,
            79.993,
            1e7,
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
        (0.48, 0.461_538, 12.0, 8e6),
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
