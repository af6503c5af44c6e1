//! Networks in which everything takes a constant time: figures that must come out exactly.

use super::ledger::Ledger;
use super::rig::{Runs, direct, site};
use super::stalls;
use halfloom::site::Site;
use halfloom::unit::Duration;

/// Everything constant: throughput min(N/60, 1/20) from the first round on.
#[allow(clippy::cast_precision_loss)]
pub(crate) fn all_constant(ledger: &mut Ledger) {
    ledger.source("min(N/(sum of times), c_k/S_k), exact after the first round (by hand)");
    for (depth, throughput) in [(1, 1.0 / 60.0), (2, 2.0 / 60.0), (3, 0.05), (30, 0.05)] {
        let name = format!("{depth} outstanding: link 5, 2 servers of 40, pause 15, all constant");
        let mut site = direct(
            &name,
            "speed = \"10Gb/s\"",
            "controllers = 1\nparallel = 2\nwrite = { time = \"40us\" }",
            "",
            6250,
            &format!(
                "{{ closed = {{ depth = {depth}, think = \"14999200ps\", together = true }} }}"
            ),
        );
        site.hosts[0].queue_depth = None;
        let runs = Runs::of(&site, 1, 3_000.0, 63_000.0);
        let completed = runs.tallies[0].workloads[0].writes.completed;
        ledger.exact(
            format!("{name}: throughput"),
            throughput,
            completed as f64 / 60_000.0,
            1e-12,
        );
    }
    ledger.source("min(1/S, B/(S + 2p)): Tanenbaum and Wetherall, *Computer Networks*, 5th ed., ch. 3 (formula)");
    for (depth, rate) in [(8, 79_522.863), (100, 994_035.79), (167, 1_660_039.8)] {
        let name = format!("window of {depth} frames of 0.6 us over 50 us each way");
        let mut site = direct(
            &name,
            "speed = \"10Gb/s\"",
            "controllers = 1\nparallel = 1000\nwrite = { time = \"0s\" }",
            "",
            750,
            &format!("{{ closed = {{ depth = {depth} }} }}"),
        );
        site.links[0].propagation = Duration::from_us(50);
        let runs = Runs::of(&site, 1, 6_000.0, 66_000.0);
        // The answer is a byte of 800 ps and not nothing, which is taken off again.
        let round = runs.tallies[0].workloads[0].writes.latency.min().unwrap().0 - 800;
        ledger.exact(
            format!("{name}: frames a second"),
            rate,
            f64::from(depth) * 1e12 / round as f64,
            1e-7,
        );
    }
}

/// Picoseconds of a write over a line of links.
struct Line {
    /// Bytes of a frame on the wire, and frames of a request.
    frame: u32,
    frames: u32,
    /// Speed of each link.
    speeds: &'static [&'static str],
    propagation: &'static str,
    forwarding: &'static str,
}

impl Line {
    /// A host, a switch between any two links, an array that takes no time and answers with one byte.
    fn site(&self, name: &str) -> Site {
        let links = self.speeds.len();
        let mut text = String::from("format = 1\n[[host]]\nname = \"app\"\n");
        for number in 1..links {
            text += &format!(
                "[[switch]]\nname = \"s{number}\"\nfabric = \"A\"\ndelay = \"0s\"\nforwarding = \"{}\"\n",
                self.forwarding
            );
        }
        text +=
            "[[array]]\nname = \"box\"\ncontrollers = 1\nparallel = 9\nwrite = { time = \"0s\" }\n";
        for (number, speed) in self.speeds.iter().enumerate() {
            let end = |place: usize| match place {
                0 => "app".to_owned(),
                place if place == links => "box".to_owned(),
                place => format!("s{place}"),
            };
            text += &format!(
                "[[link]]\nfrom = \"{}\"\nto = \"{}\"\nspeed = \"{speed}\"\npropagation = \"{}\"\n",
                end(number),
                end(number + 1),
                self.propagation
            );
        }
        text += &format!(
            "[[workload]]\nname = \"w\"\nhosts = \"app\"\narray = \"box\"\nprotocol = \"plain\"\n\
             request = {}\nresponse = 1\nframe = {}\nread = \"0%\"\n\
             arrivals = {{ closed = {{ depth = 1, think = \"1s\", together = true }} }}\n",
            self.frame * self.frames,
            self.frame
        );
        site(name, &text)
    }

    /// From the first bit of the request to the arrival of its last, us: the answer taken off.
    #[allow(clippy::cast_precision_loss)]
    fn request(&self, name: &str) -> f64 {
        let site = self.site(name);
        let runs = Runs::of(&site, 1, 0.0, 500_000.0);
        let whole = runs.tallies[0].workloads[0].writes.latency.max().unwrap().0;
        let answer: u64 = site
            .links
            .iter()
            .map(|link| link.rate.serialize(1).0 + link.propagation.0)
            .sum();
        (whole - answer) as f64 / 1e6
    }
}

/// Frames one behind the other over several links.
pub(crate) fn pipelines(ledger: &mut Ledger) {
    ledger.section("Pipelines and windows, to the picosecond");
    ledger.source("(n + k − 1)S + kp stored, nS + (k − 1)h + kp cut through, h the header's time; ΣS + (n − 1) max S + Σp for unequal links (formula; one frame over two links: Kurose and Ross, *Computer Networking*, ch. 1)");
    const TEN: &str = "10Gb/s";
    const ODD: &str = "8.8Gb/s";
    const FIFTY: &str = "50Gb/s";
    let stored = "store-and-forward";
    let cut = "cut-through";
    for (name, line, expected) in [
        (
            "1 frame of 1 us, 2 links, stored",
            Line {
                frame: 1_250,
                frames: 1,
                speeds: &[TEN; 2],
                propagation: "0s",
                forwarding: stored,
            },
            2.0,
        ),
        (
            "3 frames of 1 us, 2 links, stored",
            Line {
                frame: 1_250,
                frames: 3,
                speeds: &[TEN; 2],
                propagation: "0s",
                forwarding: stored,
            },
            4.0,
        ),
        (
            "16 frames of 640 ns, 3 links of 100 ns, stored",
            Line {
                frame: 704,
                frames: 16,
                speeds: &[ODD; 3],
                propagation: "100ns",
                forwarding: stored,
            },
            11.820,
        ),
        (
            "16 frames of 1 us, 3 links of 100 ns, cut through after 17.6 ns",
            Line {
                frame: 1_250,
                frames: 16,
                speeds: &["10GbE"; 3],
                propagation: "100ns",
                forwarding: cut,
            },
            16.0 + 2.0 * 0.0176 + 0.3,
        ),
        (
            "32 frames of 655.36 ns, 5 links of 50 ns, stored",
            Line {
                frame: 4_096,
                frames: 32,
                speeds: &[FIFTY; 5],
                propagation: "50ns",
                forwarding: stored,
            },
            23.842_96,
        ),
        (
            "32 frames of 3.2768 us, 5 links of 50 ns, cut through after 17.6 ns",
            Line {
                frame: 4_096,
                frames: 32,
                speeds: &["10GbE"; 5],
                propagation: "50ns",
                forwarding: cut,
            },
            32.0 * 3.2768 + 4.0 * 0.0176 + 0.25,
        ),
        (
            "10 frames of 2, 5 and 3 us, links of 1 us, stored",
            Line {
                frame: 7_500,
                frames: 10,
                speeds: &["30Gb/s", "12Gb/s", "20Gb/s"],
                propagation: "1us",
                forwarding: stored,
            },
            58.0,
        ),
    ] {
        ledger.exact(
            format!("{name}: last bit, us"),
            expected,
            line.request(name),
            1e-9,
        );
    }
    ledger.source("Tanenbaum and Wetherall, *Computer Networks*, 5th ed., ch. 3, exercise on the satellite channel (public worked solution; a second is read as a microsecond)");
    for (window, rate) in [
        (1, 6_781.456_95),
        (7, 47_470.198_7),
        (15, 64_000.0),
        (127, 64_000.0),
    ] {
        // 512-byte frames of 64 ms and 270 ms one way: here 64 ns and 270 ns.
        let name = format!("window of {window} frames of 64 ms over 270 ms");
        let mut site = direct(
            &name,
            "speed = \"1000Gb/s\"",
            "controllers = 1\nparallel = 1000\nwrite = { time = \"0s\" }",
            "",
            8_000,
            &format!("{{ closed = {{ depth = {window} }} }}"),
        );
        site.hosts[0].queue_depth = None;
        site.links[0].propagation = Duration(270_000);
        let runs = Runs::of(&site, 1, 600.0, 6_600.0);
        let completed = runs.tallies[0].workloads[0].writes.completed as f64;
        // Frames of 4,096 bits a microsecond, which stands for a second; the answer's 8 ps count with it.
        ledger.exact(
            format!("{name}: bits a second"),
            rate,
            completed / 6_000.0 * 4_096.0,
            2e-4,
        );
    }
}

/// How long a loss stops an I/O that it catches, for every protocol that has timers of its own: as they add up, to the picosecond.
#[allow(clippy::cast_precision_loss)]
pub(crate) fn stalls(ledger: &mut Ledger) {
    ledger.section("What a loss costs, to the picosecond");
    let us = |ps: u64| ps as f64 / 1e6;
    for row in stalls::all() {
        // The protocol of the lessons does as this program has it do, which no source knows; a whole side goes with each link.
        if row.protocol.starts_with("plain") || row.loss.pattern.is_empty() {
            continue;
        }
        ledger.source(row.source);
        let name = format!("{}, {} timers: {}", row.protocol, row.timers, row.loss.what);
        ledger.exact(name, us(row.expected), us(row.simulated), 1e-12);
    }
}
