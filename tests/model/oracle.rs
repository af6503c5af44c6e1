//! The executor of every figure against the plain one, which steps through each transmission: on random
//! sites both must count the same, every bin and bucket, whatever is lost and restored meanwhile.
//!
//! The sites are made so that much happens in the same instant: rates that are powers of two, frames of few
//! sizes, delays that are equal or zero, bursts of all hosts in one phase.

use super::rig::{LIMITS, MS, US, site, watch};
use halfloom::model::{
    Compiled, Executor, Fast, LogEntry, LogKind, Plain, Script, Stop, Tally, World,
};
use halfloom::site::{Action, Heading, LossMode, Slow};
use halfloom::topology::{MemberId, NodeId};
use halfloom::unit::{Instant, Side, mix64};
use std::fmt::Write as _;

/// Choices that follow from a seed.
pub(super) struct Dice {
    state: u64,
}

impl Dice {
    pub(super) fn new(seed: u64) -> Self {
        Self { state: mix64(seed) }
    }

    fn below(&mut self, count: u64) -> u64 {
        self.state = self.state.wrapping_add(0x9e37_79b9_7f4a_7c15);
        mix64(self.state) % count
    }

    pub(super) fn one<T: Copy>(&mut self, of: &[T]) -> T {
        let count = u64::try_from(of.len()).unwrap();
        of[usize::try_from(self.below(count)).unwrap()]
    }
}

/// The three families of sites: a language of frames without any rules, Fibre Channel, and IP.
#[derive(Clone, Copy, Debug)]
pub(super) enum Kind {
    Plain,
    Fc,
    Ip,
}

/// Timers of few choices each, so that they run out with one another.
pub(super) fn timers(dice: &mut Dice) -> String {
    let mut text = String::from("[timers]\n");
    for (timer, choices) in [
        ("link_loss_detect", ["0s", "20us"]),
        ("state_notice", ["0s", "50us"]),
        ("lag_rehash", ["0s", "100us"]),
        ("fc_reroute", ["0s", "250us"]),
        ("ethernet_reroute", ["0s", "250us"]),
        ("fc_dead", ["300us", "80s"]),
        ("fast_io_fail", ["100us", "500us"]),
        ("command_timeout", ["300us", "20ms"]),
        ("keep_alive", ["200us", "1ms"]),
        ("reconnect", ["200us", "1ms"]),
        ("tcp_rto_min", ["50us", "200us"]),
        ("path_check", ["100us", "700us"]),
        ("path_check_max", ["700us", "2ms"]),
        ("quiesce", ["0s", "30us"]),
        ("guest_detect", ["0s", "150us"]),
        ("guest_restart", ["0s", "500us"]),
        ("team_switch", ["0s", "80us"]),
        ("team_probe", ["off", "60us"]),
        ("iscsi_ping", ["0s", "150us"]),
        ("iscsi_ping_timeout", ["50us", "200us"]),
        ("iscsi_replacement", ["0s", "400us"]),
    ] {
        let _ = writeln!(text, "{timer} = \"{}\"", dice.one(&choices));
    }
    let _ = writeln!(text, "retries = {}", dice.one(&[1, 5]));
    let failback = dice.one(&["immediate", "manual", "300us"]);
    let _ = writeln!(text, "failback = \"{failback}\"");
    let device_loss = dice.one(&["600us", "900us", "60s"]);
    let _ = writeln!(text, "device_loss = \"{device_loss}\"");
    let _ = writeln!(text, "tcp_retries = {}", dice.one(&[1, 2, 15]));
    let no_path = dice.one(&["\"fail\"", "\"queue\"", "{ retry = 2 }", "\"by-protocol\""]);
    let controller_loss = dice.one(&["400us", "2ms", "600s"]);
    let _ = writeln!(text, "controller_loss = \"{controller_loss}\"");
    let _ = writeln!(text, "no_path = {no_path}");
    text
}

/// A random site as text.
pub(super) fn text(dice: &mut Dice, kind: Kind) -> String {
    let mut text = String::from("format = 1\n") + &timers(dice);
    let policies = [
        "least-queue",
        "round-robin",
        "least-bytes",
        "one-path",
        "random",
    ];
    let _ = writeln!(
        text,
        "[[host]]\nname = \"h\"\ncount = {}\npaths = \"{}\"\nqueue_depth = {}",
        1 + dice.below(4),
        dice.one(&policies),
        dice.one(&[1, 4, 64])
    );
    if !text.contains("count = 1\n") {
        let guests = dice.one(&["stay", "restart", "restart"]);
        let _ = writeln!(text, "guests = \"{guests}\"");
    }
    // The rates that links may be slowed down to.
    text.push_str("[[event]]\nat = \"0s\"\nslow = \"s0-A\"\nrate = \"25%\"\n");
    text.push_str("[[event]]\nat = \"0s\"\nslow = \"s0-A\"\nrate = \"50%\"\n");
    let tiers = 1 + dice.below(2);
    for tier in 0..tiers {
        let _ = writeln!(
            text,
            "[[switch]]\nname = \"s{tier}\"\nfabric = \"each\"\ndelay = \"{}\"\nforwarding = \"{}\"\non_uplink_loss = {}",
            dice.one(&["0ns", "500ns", "1us"]),
            dice.one(&["cut-through", "store-and-forward"]),
            dice.one(&[
                "\"keep\"",
                "{ action = \"drop-host-ports\", after = \"100us\" }"
            ])
        );
    }
    let law = ["\"50us\"", "{ exponential = \"80us\" }", "\"0us\""];
    let _ = writeln!(
        text,
        "[[array]]\nname = \"box\"\ncontrollers = {}\nparallel = {}\ntakeover = \"{}\"\nread = {{ hit = \"50%\", hit_time = \"20us\", miss_time = {} }}\nwrite = {{ time = {} }}",
        1 + dice.below(2),
        dice.one(&[1, 2, 8]),
        dice.one(&["0s", "400us", "2ms"]),
        dice.one(&law),
        dice.one(&law)
    );
    let speeds: &[&str] = match kind {
        Kind::Plain => &["4Gb/s", "8Gb/s"],
        Kind::Fc => &["8GFC", "16GFC", "32GFC"],
        Kind::Ip => &["10GbE", "25GbE"],
    };
    let chooses: &[&str] = match kind {
        Kind::Plain => &["flow", "pinned"],
        Kind::Fc => &["flow", "exchange", "frame", "pinned"],
        Kind::Ip => &["flow", "pinned"],
    };
    let length = dice.one(&["0m", "40m"]);
    let _ = writeln!(
        text,
        "[[link]]\nfrom = \"h\"\nto = \"s0\"\nspeed = \"{}\"\nlength = \"{length}\"",
        dice.one(speeds)
    );
    if tiers == 2 {
        let _ = writeln!(
            text,
            "[[link]]\nfrom = \"s0\"\nto = \"s1\"\nspeed = \"{}\"\nmembers = {}\nchoose = \"{}\"\nlength = \"{length}\"",
            dice.one(speeds),
            1 + dice.below(3),
            dice.one(chooses)
        );
    }
    let _ = writeln!(
        text,
        "[[link]]\nfrom = \"s{}\"\nto = \"box\"\nspeed = \"{}\"\nports = {}\nlength = \"{length}\"",
        tiers - 1,
        dice.one(speeds),
        1 + dice.below(2)
    );
    for name in ["w", "v"]
        .iter()
        .take(1 + usize::try_from(dice.below(2)).unwrap())
    {
        let arrivals = [
            "{ poisson = \"40k/s\" }",
            "{ paced = \"50k/s\" }",
            "{ bursty = { peak = \"400k/s\", mean = \"60k/s\", burst = \"200us\", every = \"1400us\", together = true } }",
            "{ closed = { depth = 3, think = \"0us\" } }",
            "{ closed = { depth = 2, think = \"40us\" } }",
            "{ poisson = \"40k/s\", outstanding = 3 }",
        ];
        let protocol = match kind {
            Kind::Plain => {
                "protocol = \"plain\"\nrequest = \"100B\"\nresponse = \"2000B\"\nframe = \"500B\""
                    .to_owned()
            }
            Kind::Fc => format!(
                "protocol = \"{}\"\nsizes = {{ \"4KiB\" = 0.5, \"16KiB\" = 0.5 }}",
                dice.one(&["fc-scsi", "fc-nvme"])
            ),
            Kind::Ip => format!(
                "protocol = \"{}\"\nconnections = 2\nsizes = {{ \"4KiB\" = 0.5, \"32KiB\" = 0.5 }}",
                dice.one(&["nvme-tcp", "iscsi", "nvme-rdma", "nfs"])
            ),
        };
        let _ = writeln!(
            text,
            "[[workload]]\nname = \"{name}\"\nhosts = \"h\"\narray = \"box\"\n{protocol}\nread = \"{}\"\narrivals = {}\nvolumes = 4\nowner = \"{}\"",
            dice.one(&["100%", "60%"]),
            dice.one(&arrivals),
            dice.one(&["any", "alternate"])
        );
    }
    // A team is of hosts with file traffic.
    if text.contains("\"nfs\"") {
        let team = dice.one(&["off", "first", "alternate"]);
        text = text.replace(
            "name = \"h\"\n",
            &format!("name = \"h\"\nteam = \"{team}\"\n"),
        );
    }
    text
}

/// Up to nine losses, returns, drains and slow-downs of parts drawn at random, some in the same instant.
pub(super) fn scripts(dice: &mut Dice, compiled: &Compiled) -> Vec<Script> {
    let fabric = &compiled.fabric;
    let members = u64::try_from(fabric.members.len()).unwrap();
    (0..dice.below(10))
        .map(|_| {
            let at = Instant(dice.below(8) * 500 * US);
            let action = match dice.below(9) {
                0 | 1 => Action::Lose(LossMode::Loud),
                2 => Action::Lose(LossMode::Silent),
                3 | 4 => Action::Restore,
                5 => Action::LoseWay(dice.one(&[Heading::Arrays, Heading::Hosts])),
                6 | 7 => Action::Slow(Slow {
                    rate_ppm: dice.one(&[250_000, 500_000, Slow::WHOLE]),
                    loss_ppb: dice.one(&[0, 50_000_000, 500_000_000]),
                }),
                _ => Action::Drain,
            };
            let mut hosts = Vec::new();
            let (members, nodes): (Vec<MemberId>, Vec<NodeId>) = match dice.below(3) {
                0 => {
                    let side = Some(dice.one(&Side::BOTH));
                    (fabric.members_of(&[], side), fabric.nodes_of(&[], side))
                }
                1 => {
                    let parts = [dice
                        .one(&["s0-A", "s0-B", "box-c1", "box", "h-1", "h-2", "h-*"])
                        .to_owned()];
                    hosts = fabric.hosts_of(&parts);
                    (
                        fabric.members_of(&parts, None),
                        fabric.nodes_of(&parts, None),
                    )
                }
                _ => {
                    let member = u32::try_from(dice.below(members)).unwrap();
                    (vec![MemberId(member)], Vec::new())
                }
            };
            Script {
                at,
                action,
                members,
                nodes,
                hosts,
                target: String::new(),
                label: String::new(),
            }
        })
        .collect()
}

/// What an executor counts; only the number of its events is its own affair.
pub(super) fn count<E: Executor>(compiled: &Compiled, scripts: &[Script], stop: Stop) -> Tally {
    let mut world = World::<E>::start(compiled, 0, watch(MS, 5 * MS), LIMITS);
    for script in scripts {
        world.add_script(script.clone());
    }
    world.run_until(Instant(8 * MS), stop);
    let mut tally = world.finish();
    assert!(!tally.partial, "the event limit was reached");
    tally.events = 0;
    tally
}

/// The first thing that two tallies do not agree on, in few words.
pub(super) fn difference(fast: &Tally, plain: &Tally) -> Option<String> {
    let logs = fast.log.iter().zip(&plain.log);
    if let Some((fast, plain)) = logs.clone().find(|(fast, plain)| fast != plain) {
        return Some(format!("log: {fast:?} or {plain:?}"));
    }
    for (index, (fast, plain)) in fast.workloads.iter().zip(&plain.workloads).enumerate() {
        let bins = fast.series.bins().iter().zip(plain.series.bins());
        if let Some((bin, cells)) = bins.enumerate().find(|(_, (fast, plain))| fast != plain) {
            return Some(format!("workload {index}, bin {bin}: {cells:?}"));
        }
    }
    for (index, (fast, plain)) in fast.directions.iter().zip(&plain.directions).enumerate() {
        let brief = |over: &halfloom::model::DirectionTally| {
            let counts = [
                over.offered,
                over.dropped,
                over.cut,
                over.delivered,
                over.frames,
            ];
            let peaks = [
                over.queue_max,
                over.ahead_max,
                over.busy,
                over.busy_total,
                over.up,
            ];
            (counts, peaks, over.busy_until, format!("{:?}", over.wait))
        };
        if fast != plain {
            let (fast, plain) = (brief(fast), brief(plain));
            return Some(format!("direction {index}:\n{fast:?} or\n{plain:?}"));
        }
    }
    (fast != plain).then(|| "something else".to_owned())
}

/// Hosts that ask for nothing, so many that the site has more than 2,048 link directions: from there on what has arrived is counted in batches.
fn idle_hosts(kind: Kind) -> String {
    let speed = match kind {
        Kind::Plain => "4Gb/s",
        Kind::Fc => "8GFC",
        Kind::Ip => "10GbE",
    };
    format!(
        "[[host]]\nname = \"idle\"\ncount = 600\n[[link]]\nfrom = \"idle\"\nto = \"s0\"\nspeed = \"{speed}\"\n"
    )
}

/// The same on large sites, whose figures are counted in batches, some of which the runs fill.
#[test]
fn large_sites() {
    let (mut most, mut cut, mut losses) = (0, 0, 0);
    for (kind, first) in [(Kind::Plain, 0), (Kind::Fc, 1_000), (Kind::Ip, 2_000)] {
        for seed in first..first + 18 {
            let mut dice = Dice::new(seed);
            let text = text(&mut dice, kind) + &idle_hosts(kind);
            let compiled = Compiled::new(&site(&text), &[]);
            let scripts = scripts(&mut dice, &compiled);
            let stop = dice.one(&[Stop::AtTheTime, Stop::WhenMeasured]);
            let fast = count::<Fast>(&compiled, &scripts, stop);
            assert!(fast.directions.len() > 2_048, "{}", fast.directions.len());
            let plain = count::<Plain>(&compiled, &scripts, stop);
            if let Some(difference) = difference(&fast, &plain) {
                panic!("seed {seed}, {difference}, of\n{text}\n{scripts:?}");
            }
            let delivered = |group: &[halfloom::model::DirectionTally]| {
                group.iter().map(|over| over.delivered).sum::<u64>()
            };
            most = most.max(fast.directions.chunks(128).map(delivered).max().unwrap());
            cut += fast.directions.iter().map(|over| over.cut).sum::<u64>();
            losses += scripts.len();
        }
    }
    // Several batches of a group of neighbours were full, and faults came while others were not.
    assert!(
        most > 4 * 1_024 && cut > 10 && losses > 50,
        "{most} {cut} {losses}"
    );
}

fn both_count_the_same(kind: Kind, seeds: std::ops::Range<u64>) {
    let (mut completed, mut cut, mut retried, mut late) = (0, 0, 0, 0);
    let (mut discarded, mut moved, mut restarted) = (0, 0, 0);
    for seed in seeds {
        let mut dice = Dice::new(seed);
        let text = text(&mut dice, kind);
        let compiled = Compiled::new(&site(&text), &[]);
        let scripts = scripts(&mut dice, &compiled);
        let stop = dice.one(&[Stop::AtTheTime, Stop::WhenMeasured]);
        let fast = count::<Fast>(&compiled, &scripts, stop);
        let plain = count::<Plain>(&compiled, &scripts, stop);
        if let Some(difference) = difference(&fast, &plain) {
            panic!("seed {seed}, {difference}, of\n{text}\n{scripts:?}");
        }
        for work in &fast.workloads {
            completed += work.completed_total;
            retried += work.retried;
            late += work.late;
        }
        discarded += fast.discarded;
        let moves = |entry: &&LogEntry| matches!(entry.kind, LogKind::TeamMoved { .. });
        moved += fast.log.iter().filter(moves).count();
        let starts = |entry: &&LogEntry| matches!(entry.kind, LogKind::GuestsRestarted(_));
        restarted += fast.log.iter().filter(starts).count();
        cut += fast.directions.iter().map(|over| over.cut).sum::<u64>();
    }
    // The comparison means something only if much has happened.
    assert!(
        completed > 10_000 && cut > 10 && retried > 100,
        "{completed} {cut} {retried}"
    );
    assert!(late > 10 && discarded > 1_000, "{late} {discarded}");
    assert!(restarted > 30, "{restarted}");
    assert!(moved > 50 || !matches!(kind, Kind::Ip), "{moved}");
}

#[test]
fn frames_without_rules() {
    both_count_the_same(Kind::Plain, 0..1_000);
}

#[test]
fn fibre_channel() {
    both_count_the_same(Kind::Fc, 1_000..1_500);
}

#[test]
fn ip() {
    both_count_the_same(Kind::Ip, 2_000..2_800);
}
