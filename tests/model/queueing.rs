//! The model as a queue, against queueing theory.
//!
//! Protocol `plain` and stated rates: a frame of 1250 bytes at 10 Gb/s takes 1 us, the unit of every time
//! below. Each figure is the mean over 40 replications or more (seed 1), the warm-up named in each test left
//! out, and its two-sided 99.9 % t interval must contain the value from theory. Sources: Kleinrock, Queueing
//! Systems, vol. 1, chapters 3 and 5 (M/M/c, M/G/1, batches); Erlang 1909 and Crommelin 1932 (M/D/c); Roberts
//! and Virtamo 1991 (evenly paced sources); Tanenbaum and Wetherall, Computer Networks, 5th edition, chapter 3
//! (windows); all from memory, the values computed from the formulas.

use super::rig::{LIMITS, MS, US, contains, direction, run, site, steady, watch};
use halfloom::model::{Compiled, Stop, Tally, World};
use halfloom::site::{Measure, Promise, Site};
use halfloom::unit::Instant;

const REPLICATIONS: u32 = 40;

/// One host, one array, a link between them: a request, its service, a response of one byte.
fn direct(link: &str, array: &str, host: &str, request: u32, arrivals: &str) -> Site {
    site(&format!(
        "format = 1\n[[host]]\nname = \"app\"\n{host}\n\
         [[array]]\nname = \"box\"\ncontrollers = 1\n{array}\n\
         [[link]]\nfrom = \"app\"\nto = \"box\"\n{link}\n\
         [[workload]]\nname = \"w\"\nhosts = \"app\"\narray = \"box\"\nprotocol = \"plain\"\n\
         request = {request}\nresponse = 1\nframe = 1250\nread = \"0%\"\narrivals = {arrivals}\n"
    ))
}

/// The link is so fast that a request takes 8 ps.
fn station(law: &str, parallel: u32, arrivals: &str) -> Site {
    direct(
        "speed = \"1000Gb/s\"\npropagation = \"0s\"",
        &format!("parallel = {parallel}\nwrite = {{ time = {law} }}"),
        "",
        1,
        arrivals,
    )
}

/// The array takes no time: only the link serves. A request is `frames` frames.
fn link(frames: u32, rate: f64) -> Site {
    direct(
        "speed = \"10Gb/s\"\npropagation = \"0s\"",
        "parallel = 1000\nwrite = { time = \"0s\" }",
        "",
        1250 * frames,
        &poisson(rate),
    )
}

/// A Poisson stream of so many I/Os a microsecond.
fn poisson(rate: f64) -> String {
    format!("{{ poisson = \"{}k/s\" }}", rate * 1e3)
}

/// Has I/Os counted that take longer than each of these times, ps.
#[allow(clippy::cast_precision_loss)]
fn count_above(site: &mut Site, targets: &[u64]) {
    site.workloads[0].promises.healthy = targets
        .iter()
        .map(|target| Promise {
            measure: Measure::Mean,
            target: *target as f64,
            text: String::new(),
        })
        .collect();
}

fn replications(site: &Site, number: u32, from: u64, to: u64) -> (Compiled, Vec<Tally>) {
    let compiled = Compiled::new(site, &[]);
    let tallies = (0..number)
        .map(|replication| steady(&compiled, replication, from, to))
        .collect();
    (compiled, tallies)
}

/// One figure of every replication.
fn each(tallies: &[Tally], figure: impl Fn(&Tally) -> f64) -> Vec<f64> {
    tallies.iter().map(figure).collect()
}

/// Mean of the array's waits, us.
fn array_wait(tally: &Tally) -> f64 {
    tally.controllers[0].wait.mean().unwrap() / 1e6
}

/// Mean latency of a workload's writes, us.
fn latency(tally: &Tally, workload: usize) -> f64 {
    tally.workloads[workload].writes.latency.mean().unwrap() / 1e6
}

/// Share of the I/Os above the target at `position` (targets in rising order).
#[allow(clippy::cast_precision_loss)]
fn above(tally: &Tally, position: usize) -> f64 {
    let work = &tally.workloads[0];
    work.above[position].1 as f64 / work.writes.arrived as f64
}

/// Mean wait of the frames of a direction, us.
fn frame_wait(compiled: &Compiled, tally: &Tally, name: &str) -> f64 {
    direction(compiled, tally, name).wait.mean().unwrap() / 1e6
}

/// M/M/1: mean wait ρ/(1−ρ), the sojourn exponential with rate 1−ρ, so its p-quantile is −ln(1−p)/(1−ρ).
/// Warm-up 3 of 60 ms. The links add 16 ps.
#[test]
fn one_exponential_server() {
    // The 99th at 0.8 would need runs five times as long.
    for (rho, wait, quantiles) in [
        (0.5, 1.0, &[1.386_294, 4.605_17, 9.210_34][..]),
        (0.8, 4.0, &[3.465_736, 11.512_93]),
    ] {
        let mut site = station("{ exponential = \"1us\" }", 1, &poisson(rho));
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
        let targets: Vec<u64> = quantiles.iter().map(|t| (t * 1e6) as u64 + 16).collect();
        count_above(&mut site, &targets);
        let (_, tallies) = replications(&site, REPLICATIONS, 3 * MS, 60 * MS);
        contains("mean wait", &each(&tallies, array_wait), wait);
        contains("sojourn", &each(&tallies, |t| latency(t, 0)), wait + 1.0);
        for (position, beyond) in [0.5, 0.1, 0.01][..quantiles.len()].iter().enumerate() {
            let shares = each(&tallies, |t| above(t, position));
            contains("sojourn beyond its quantile", &shares, *beyond);
        }
    }
}

/// M/D/1 on a link: mean wait ρ/(2(1−ρ)) and Crommelin's tail. Warm-up 3 of 60 ms. An I/O takes its wait,
/// 1 us, and 800 ps for the response.
#[test]
fn one_link_with_frames_of_one_size() {
    for (rho, mean, tails) in [
        (
            0.6,
            0.75,
            [(0, 0.6), (1, 0.271_152), (2, 0.109_262), (5, 0.006_404_69)],
        ),
        (
            0.9,
            4.5,
            [(0, 0.9), (1, 0.754_04), (5, 0.331_291), (10, 0.117_597)],
        ),
    ] {
        let mut site = link(1, rho);
        count_above(&mut site, &tails.map(|(t, _)| (t + 1) * US + 800));
        let (compiled, tallies) = replications(&site, REPLICATIONS, 3 * MS, 60 * MS);
        let waits = each(&tallies, |t| frame_wait(&compiled, t, "app:A1 > box-c1:A1"));
        contains("mean wait", &waits, mean);
        for (position, (time, beyond)) in tails.into_iter().enumerate() {
            let shares = each(&tallies, |t| above(t, position));
            contains(&format!("wait beyond {time}"), &shares, beyond);
        }
    }
}

/// M/M/c: mean wait C/(c − a) with Erlang's C. Warm-up 1 of 8 ms.
#[test]
fn several_exponential_servers() {
    for (servers, rho, wait) in [
        (2, 0.7, 0.960_784),
        (4, 0.8, 0.745_541),
        (8, 0.7, 0.112_751),
        (16, 0.9, 0.369_59),
    ] {
        let arrivals = poisson(rho * f64::from(servers));
        let site = station("{ exponential = \"1us\" }", servers, &arrivals);
        let (_, tallies) = replications(&site, REPLICATIONS, MS, 8 * MS);
        contains("mean wait", &each(&tallies, array_wait), wait);
    }
}

/// M/D/c: P(wait), mean. Warm-up 1 of 8 ms. An I/O that does not wait takes 1 us and 16 ps; 100 ps more let
/// two requests on one link in the same instant pass.
#[test]
fn several_constant_servers() {
    for (servers, rho, waits, wait) in [
        (4, 0.85, 0.673_338, 0.588_766),
        (8, 0.7, 0.251_569, 0.062_68),
        (8, 0.92, 0.739_849, 0.603_389),
    ] {
        let arrivals = poisson(rho * f64::from(servers));
        let mut site = station("\"1us\"", servers, &arrivals);
        count_above(&mut site, &[US + 116]);
        let (_, tallies) = replications(&site, REPLICATIONS, MS, 8 * MS);
        contains("mean wait", &each(&tallies, array_wait), wait);
        contains("P(wait)", &each(&tallies, |t| above(t, 0)), waits);
    }
}

/// Messages of 8 frames: wait of the first λ E[X²]/(2(1−ρ)) = 6, sojourn 14, of a frame picked at random
/// 6 + E[X(X−1)]/(2 E[X]) = 9.5. Warm-up 10 of 150 ms.
#[test]
fn messages_of_eight_frames() {
    let (compiled, tallies) = replications(&link(8, 0.075), REPLICATIONS, 10 * MS, 150 * MS);
    let sojourn = each(&tallies, |t| latency(t, 0) - 800e-6);
    contains("sojourn", &sojourn, 14.0);
    let waits = each(&tallies, |t| frame_wait(&compiled, t, "app:A1 > box-c1:A1"));
    contains("wait of a frame", &waits, 9.5);
}

/// Messages of two sizes: the first frame waits λ E[X²]/(2(1−ρ)) whatever the message, a frame picked at random
/// E[X(X−1)]/(2 E[X]) longer. Warm-up 20 of 220 ms.
#[test]
fn messages_of_two_sizes() {
    for (frames, [often, seldom], first_wait, frame_wait_mean) in [
        // 0.7 of the link, half of each.
        ([1_u32, 16], [0.5, 0.5], 17.637_25, 24.696_08),
        // 0.5 of the link.
        ([4, 64], [0.8, 0.2], 26.0, 51.5),
    ] {
        let rate = if frames[0] == 1 {
            0.082_352_94
        } else {
            0.031_25
        };
        let mut site = link(frames[0], rate * often);
        let mut large = link(frames[1], rate * seldom).workloads.remove(0);
        "large".clone_into(&mut large.name);
        site.workloads.push(large);
        let (compiled, tallies) = replications(&site, REPLICATIONS, 20 * MS, 220 * MS);
        for (workload, frames) in frames.map(f64::from).into_iter().enumerate() {
            let first = each(&tallies, |t| latency(t, workload) - frames - 800e-6);
            contains("wait of the first frame", &first, first_wait);
        }
        let waits = each(&tallies, |t| frame_wait(&compiled, t, "app:A1 > box-c1:A1"));
        contains("wait of a frame", &waits, frame_wait_mean);
    }
}

/// `hosts` hosts on links of their own to a switch that stores and takes no time, one link on.
fn tree(hosts: u32, port: &str, trunk: &str, request: u32, arrivals: &str) -> Site {
    site(&format!(
        "format = 1\n[[host]]\nname = \"app\"\ncount = {hosts}\n\
         [[switch]]\nname = \"sw\"\nfabric = \"A\"\ndelay = \"0s\"\nforwarding = \"store-and-forward\"\n\
         [[array]]\nname = \"box\"\ncontrollers = 1\nparallel = 1000\nwrite = {{ time = \"0s\" }}\n\
         [[link]]\nfrom = \"app\"\nto = \"sw\"\nspeed = \"{port}\"\npropagation = \"0s\"\n\
         [[link]]\nfrom = \"sw\"\nto = \"box\"\nspeed = \"{trunk}\"\npropagation = \"0s\"\n\
         [[workload]]\nname = \"w\"\nhosts = \"app\"\narray = \"box\"\nprotocol = \"plain\"\n\
         request = {request}\nresponse = 1\nframe = {request}\nread = \"0%\"\narrivals = {arrivals}\n"
    ))
}

/// Four links into one of the same speed, 0.8 of it: both stages together wait like one M/D/1 at 0.8, which
/// is 2; the first stage is M/D/1 at 0.2, 0.125; the second has the rest. (Concentrating trees with constant
/// service: Morrison; Shalmon and Kaplan, about 1980.) Warm-up 3 of 30 ms.
#[test]
fn links_merging_into_one() {
    let site = tree(4, "10Gb/s", "10Gb/s", 1250, &poisson(0.8));
    let (compiled, tallies) = replications(&site, REPLICATIONS, 3 * MS, 30 * MS);
    let first = each(&tallies, |tally| {
        let waits = (1..=4).map(|host| {
            let name = format!("app-{host}:A1 > sw-A");
            frame_wait(&compiled, tally, &name)
        });
        waits.sum::<f64>() / 4.0
    });
    contains("first stage", &first, 0.125);
    let second = each(&tallies, |t| frame_wait(&compiled, t, "sw-A > box-c1:A1"));
    contains("second stage", &second, 1.875);
    // Two transmissions and a response of one byte over two links.
    let total = each(&tallies, |t| latency(t, 0) - 2.0 - 1600e-6);
    contains("both", &total, 2.0);
}

/// Behind a link that is not faster nothing ever waits; a slower second link makes the whole chain wait like
/// M/D/1 with the slowest service: 0.7 us then 1 us at 0.75 a microsecond, 1.5. Warm-up 3 of 30 ms.
#[test]
fn links_in_a_chain() {
    let equal = tree(1, "10Gb/s", "10Gb/s", 1250, &poisson(0.75));
    let (compiled, tallies) = replications(&equal, REPLICATIONS, 3 * MS, 30 * MS);
    for tally in &tallies {
        let second = direction(&compiled, tally, "sw-A > box-c1:A1");
        assert!(second.wait.count() > 15_000);
        assert_eq!((second.wait.sum(), second.queue_max), (0, 0));
    }
    let first = each(&tallies, |t| frame_wait(&compiled, t, "app-1:A1 > sw-A"));
    contains("first link", &first, 1.5);
    // 875 B take 0.7 us at 10 Gb/s and 1 us at 7 Gb/s; a byte takes 800 and 1143 ps.
    let slower = tree(1, "10Gb/s", "7Gb/s", 875, &poisson(0.75));
    let (_, tallies) = replications(&slower, REPLICATIONS, 3 * MS, 30 * MS);
    let total = each(&tallies, |t| latency(t, 0) - 1.7 - 1943e-6);
    contains("both links", &total, 1.5);
}

/// Evenly paced sources in random phase: N of period T on one link of unit service (N*D/D/1). 1000 draws of
/// the phases; each run repeats itself after T. Warm-up 45 of 105 us. The ports add 10,000 and 8 ps.
#[test]
fn evenly_paced_sources() {
    for (hosts, rate, waits, mean) in [
        (4, "800k/s", 0.6, 0.444),
        (12, "800k/s", 0.733_333_3, 0.893_566_8),
    ] {
        let arrivals = format!("{{ paced = \"{rate}\" }}");
        let mut site = tree(hosts, "1000Gb/s", "10Gb/s", 1250, &arrivals);
        count_above(&mut site, &[10_000 + US + 800 + 8]);
        let (compiled, tallies) = replications(&site, 1000, 45 * US, 105 * US);
        contains("P(wait)", &each(&tallies, |t| above(t, 0)), waits);
        let wait = each(&tallies, |t| frame_wait(&compiled, t, "sw-A > box-c1:A1"));
        contains("mean wait", &wait, mean);
    }
}

/// One Poisson stream over two links, 0.7 of each: at random each is M/D/1, 1.16667; in turn M/D/2, 0.49361.
/// Warm-up 3 of 30 ms.
#[test]
fn two_paths_at_random_and_in_turn() {
    for (policy, wait) in [("random", 1.166_67), ("round-robin", 0.493_61)] {
        let site = direct(
            "speed = \"10Gb/s\"\npropagation = \"0s\"\nports = 2",
            "parallel = 1000\nwrite = { time = \"0s\" }",
            &format!("paths = \"{policy}\""),
            1250,
            &poisson(1.4),
        );
        let (compiled, tallies) = replications(&site, REPLICATIONS, 3 * MS, 30 * MS);
        assert_eq!(tallies[0].paths.len(), compiled.fabric.members.len());
        let total = each(&tallies, |t| latency(t, 0) - 1.0 - 800e-6);
        contains(policy, &total, wait);
    }
}

/// 32 customers, 4 exponential servers of mean 1, constant pause of 6: throughput 3.84657163 whatever the law
/// of the pause, response 2.31909635 (machine repair). Warm-up 1 of 11 ms.
#[test]
#[allow(clippy::cast_precision_loss)]
fn a_closed_loop_with_a_pause() {
    let arrivals = "{ closed = { depth = 32, think = \"6us\" } }";
    let site = station("{ exponential = \"1us\" }", 4, arrivals);
    let (_, tallies) = replications(&site, REPLICATIONS, MS, 11 * MS);
    let throughput = each(&tallies, |t| t.workloads[0].writes.completed as f64 / 10e3);
    contains("throughput", &throughput, 3.846_571_63);
    contains("response", &each(&tallies, |t| latency(t, 0)), 2.319_096_35);
}

/// Everything constant: link 5, two servers of 40, pause 15 (less the response of 800 ps). Throughput is
/// min(N/60, 1/20) from the first round on; with 30 a cycle takes 600, so a response 585.
#[test]
fn a_closed_loop_of_constants() {
    for (depth, completed) in [(1, 1000), (2, 2000), (3, 3000), (30, 3000)] {
        let site = direct(
            "speed = \"10Gb/s\"\npropagation = \"0s\"",
            "parallel = 2\nwrite = { time = \"40us\" }",
            "queue_depth = \"unlimited\"",
            6250,
            &format!(
                "{{ closed = {{ depth = {depth}, think = \"14999200ps\", together = true }} }}"
            ),
        );
        let compiled = Compiled::new(&site, &[]);
        let (from, to) = (3 * MS, 63 * MS);
        let mut world = World::new(&compiled, 0, watch(from, to), LIMITS);
        world.run_until(Instant(to + MS), Stop::AtTheTime);
        let writes = world.finish().workloads.remove(0).writes;
        assert_eq!(writes.completed, completed, "{depth} outstanding");
        let cycle = if depth == 30 { 600 } else { 60 };
        let response = cycle * US - 14_999_200;
        let extremes = (
            writes.latency.min().unwrap().0,
            writes.latency.max().unwrap().0,
        );
        if depth != 3 {
            assert_eq!(extremes, (response, response), "{depth} outstanding");
        }
    }
}

/// 10,000 I/Os that pause for a second: in the first quarter of it 2,500 begin, give or take four times the 43 of a binomial
/// count, unless all begin together. No two hosts begin alike.
#[test]
fn loops_begin_at_random_within_a_pause() {
    let begun = |together: bool, replication: u32| {
        let site = direct(
            "speed = \"100Gb/s\"\npropagation = \"0s\"",
            "parallel = 10000\nwrite = { time = \"0s\" }",
            "queue_depth = \"unlimited\"",
            750,
            &format!("{{ closed = {{ depth = 10000, think = \"1s\", together = {together} }} }}"),
        );
        let compiled = Compiled::new(&site, &[]);
        let mut world = World::new(&compiled, replication, watch(0, 250 * MS), LIMITS);
        world.run_until(Instant(250 * MS), Stop::AtTheTime);
        world.finish().workloads.remove(0).issued_total
    };
    assert_eq!(begun(true, 0), 10_000);
    let each = [0, 1, 2].map(|replication| begun(false, replication));
    assert!(
        each.iter().all(|begun| begun.abs_diff(2500) < 173),
        "{each:?}"
    );
    assert!(each[0] != each[1] || each[1] != each[2], "{each:?}");
}

/// A window of B frames of 0.6 us over 50 us each way: min(1/S, B/(S + 2p)) frames a second. The answer here
/// is a byte of 800 ps and not nothing, which is taken off again.
#[test]
#[allow(clippy::cast_precision_loss)]
fn a_window_on_a_long_link() {
    let window = |depth: u32| {
        let site = direct(
            "speed = \"10Gb/s\"\npropagation = \"50us\"",
            "parallel = 1000\nwrite = { time = \"0s\" }",
            "",
            750,
            &format!("{{ closed = {{ depth = {depth} }} }}"),
        );
        let compiled = Compiled::new(&site, &[]);
        let mut world = World::new(&compiled, 0, watch(6 * MS, 66 * MS), LIMITS);
        world.run_until(Instant(67 * MS), Stop::AtTheTime);
        world.finish().workloads.remove(0).writes
    };
    for (depth, rate) in [(8, 79_522.863), (100, 994_035.79), (167, 1_660_039.8)] {
        let writes = window(depth);
        let latency = writes.latency.min().unwrap().0;
        assert_eq!(writes.latency.max().unwrap().0, latency);
        let got = f64::from(depth) * 1e12 / (latency - 800) as f64;
        assert!((got / rate - 1.0).abs() < 1e-7, "{depth}: {got}");
    }
    for depth in [169, 200] {
        // 60 ms of 1/S.
        assert_eq!(window(depth).completed, 100_000);
    }
}

/// The figures that every run must agree on: Little's law holds to the picosecond for what waits at the
/// array when the window starts and ends empty, and busy time is served requests × service.
#[test]
#[allow(clippy::cast_precision_loss)]
fn littles_law_and_the_utilization_law() {
    let mut site = station("\"1us\"", 2, "{ poisson = \"1/s\" }");
    let ios: Vec<(u64, halfloom::wire::Op, u32)> = (0..900)
        .map(|number| {
            // Bursts of nine every 5 us: 9 us of work for two servers.
            let at = number / 9 * 5 * US + number % 9;
            (at, halfloom::wire::Op::Write, 1)
        })
        .collect();
    super::rig::at_times(&mut site, 1, &ios);
    let tally = run(&Compiled::new(&site, &[]), &[], MS);
    let array = &tally.controllers[0];
    assert_eq!((array.served, array.service), (900, 900 * u128::from(US)));
    let window = MS as f64;
    let busy = array.busy.mean().unwrap() * window;
    assert!((busy - 900.0 * US as f64).abs() < 1.0, "{busy}");
    let waiting = array.waiting.mean().unwrap() * window;
    assert!(array.wait.sum() > 0);
    assert!((waiting - array.wait.sum() as f64).abs() < 1.0, "{waiting}");
}
