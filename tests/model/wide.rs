//! Sites with a part of every kind whose times are a few choices of a few microseconds, so that much happens in the same
//! instant: chassis and modules, cages, groups, a pair joined crosswise, Fibre Channel over Ethernet, service of every law, mirror trips,
//! time that goes by size, replays, bursts of any length, options of protocols. Under random losses both executors must count the same,
//! and without any the one in the order of the flow too.

use super::every::EveryKind;
use super::oracle::{Dice, count, difference, timers};
use super::rig::{US, site};
use halfloom::model::{Compiled, Fast, Flow, Plain, Script, Stop};
use halfloom::site::{Action, Arrivals, Heading, LossMode, Replay, Site, Slow, TraceEntry};
use halfloom::topology::{MemberId, NodeId};
use halfloom::unit::{Duration, Instant, Side};
use halfloom::wire::Op;
use std::fmt::Write as _;
use std::sync::Arc;

/// Laws of service, most of them with few values.
const LAWS: [&str; 7] = [
    "\"20us\"",
    "\"0us\"",
    "{ exponential = \"40us\" }",
    "{ lognormal = { median = \"24us\", p99 = \"90us\" } }",
    "{ lognormal = { median = \"8us\", sigma = 0.5 } }",
    "{ mixture = [{ weight = 0.75, law = \"10us\" }, { weight = 0.25, law = { exponential = \"90us\" } }] }",
    "{ empirical = [\"10us\", \"10us\", \"30us\", \"200us\"] }",
];

const ARRIVALS: [&str; 8] = [
    "{ poisson = \"40k/s\" }",
    "{ paced = \"50k/s\" }",
    "{ bursty = { peak = \"300k/s\", mean = \"50k/s\", burst = \"200us\", every = \"1400us\", together = true } }",
    "{ bursty = { peak = \"300k/s\", base = \"10k/s\", burst = \"150us\", every = \"900us\" } }",
    "{ bursty = { peak = \"300k/s\", base = \"0/s\", burst = \"150us\", every = \"900us\", law = \"exponential\" } }",
    "{ closed = { depth = 3, think = \"0us\" } }",
    "{ closed = { depth = 2, think = \"40us\" } }",
    "{ poisson = \"40k/s\", outstanding = 3 }",
];

fn array(dice: &mut Dice) -> String {
    format!(
        "parallel = {}\ntakeover = \"{}\"\n\
         read = {{ hit = \"{}\", hit_time = {}, miss_time = {}, per_mib = \"{}\" }}\n\
         write = {{ time = {}, per_mib = \"{}\", mirror = \"{}\" }}",
        dice.one(&[1, 2, 16]),
        dice.one(&["0s", "400us"]),
        dice.one(&["0%", "50%", "100%"]),
        dice.one(&LAWS),
        dice.one(&LAWS),
        dice.one(&["0s", "256us", "1ms"]),
        dice.one(&LAWS),
        dice.one(&["0s", "256us"]),
        dice.one(&["0s", "5us"]),
    )
}

/// What the protocol of a workload may state of itself.
fn options(dice: &mut Dice, protocol: &str) -> String {
    let all: &[&str] = match protocol {
        "fc-scsi" => &[
            "",
            "data_field = 1024",
            "first_burst = 8192",
            "max_burst = 4096",
            "long_command = true",
        ],
        "fc-nvme" => &["", "data_field = 512", "extended_response = true"],
        "iscsi" => &[
            "",
            "mtu = 9000",
            "digests = \"both\"",
            "separate_status = true",
            "initial_r2t = false",
            "immediate_data = false",
            "connections = 3",
        ],
        "nvme-tcp" => &[
            "",
            "mtu = 1500",
            "in_capsule = 0",
            "success = true",
            "acks = \"never\"",
            "vlan = true",
            "max_h2c_data = 8192",
        ],
        "nfs" => &["", "version = \"v4.1\"", "ipv6 = true", "transfer = 8192"],
        _ => &["", "mtu = 4200", "in_capsule = 0"],
    };
    dice.one(all).to_owned()
}

fn text(dice: &mut Dice) -> String {
    let mut head = timers(dice);
    for (timer, choices) in [("lacp", ["fast", "slow"]), ("peer_loss", ["0s", "200us"])] {
        let _ = writeln!(head, "{timer} = \"{}\"", dice.one(&choices));
    }
    // The rates that links may be slowed down to.
    head.push_str("[[event]]\nat = \"0s\"\nslow = \"edge-A\"\nrate = \"25%\"\n");
    let policies = ["least-queue", "round-robin", "least-bytes", "one-path"];
    let more = ["nearest", "random"];
    let hosts = format!(
        "queue_depth = {}\npaths = \"{}\"\nguests = \"{}\"",
        dice.one(&[1, 4, 64]),
        if dice.one(&[0, 1, 2]) == 0 {
            dice.one(&more)
        } else {
            dice.one(&policies)
        },
        dice.one(&["stay", "restart"])
    );
    let files = dice.one(&["nfs", "nvme-tcp", "iscsi", "nvme-rdma"]);
    let team = match files {
        "nfs" => dice.one(&["team = \"off\"", "team = \"first\"", "team = \"alternate\""]),
        _ => "",
    };
    let arrays = array(dice);
    let mut works = String::new();
    for (name, hosts, array, protocol) in [
        ("orders", "db", "vault", dice.one(&["fc-scsi", "fc-nvme"])),
        ("tape", "rack", "vault", dice.one(&["fc-scsi", "fc-nvme"])),
        ("files", "vm", "depot", files),
        ("mail", "rack", "depot", dice.one(&["nvme-tcp", "iscsi"])),
    ] {
        let _ = writeln!(
            works,
            "[[workload]]\nname = \"{name}\"\nhosts = \"{hosts}\"\narray = \"{array}\"\nprotocol = \"{protocol}\"\n{}\n\
             sizes = {{ \"4KiB\" = 0.5, \"16KiB\" = 0.5 }}\nread = \"{}\"\nvolumes = 4\nowner = \"{}\"\narrivals = {}",
            options(dice, protocol),
            dice.one(&["100%", "60%", "0%"]),
            dice.one(&["any", "alternate"]),
            dice.one(&ARRIVALS)
        );
    }
    let text = EveryKind {
        head: &head,
        hosts: &hosts,
        team,
        arrays: &arrays,
        lag: dice.one(&["single", "across"]),
        members: dice.one(&[1, 2, 3]),
        choose: (
            dice.one(&["flow", "pinned"]),
            dice.one(&["exchange", "frame", "flow"]),
        ),
        works: &works,
    }
    .text();
    // Jumbo frames on all Ethernet, which those that carry Fibre Channel need anyhow.
    let jumbo = |text: String, speed: &str| {
        text.replace(
            &format!("speed = \"{speed}\""),
            &format!("speed = \"{speed}\"\nmtu = 9000"),
        )
    };
    jumbo(jumbo(text, "25GbE"), "10GbE")
}

/// In one site of four the last workload is a recording: some I/Os in the same instants.
fn replayed(dice: &mut Dice, site: &mut Site) -> bool {
    if dice.one(&[0, 1, 2, 3]) > 0 {
        return false;
    }
    let entries = (0..40)
        .map(|index: u64| TraceEntry {
            at: Duration(index / 4 * 25 * US),
            op: dice.one(&[Op::Read, Op::Write]),
            offset: 4_096 * dice.one(&[0, 1, 2, 3]),
            size: dice.one(&[512, 4_096, 65_536]),
        })
        .collect();
    let work = site.workloads.last_mut().expect("there are four");
    work.arrivals = Arrivals::Replay(Replay {
        entries: Arc::new(entries),
        span: Duration(400 * US),
        copies: dice.one(&[1, 4, 6]),
        speed: dice.one(&[1.0, 0.5]),
        aligned: dice.one(&[true, false]),
        file: String::new(),
    });
    true
}

/// Up to nine losses, returns, drains and slow-downs of any part or group, some in the same instant.
fn scripts(dice: &mut Dice, compiled: &Compiled) -> Vec<Script> {
    let fabric = &compiled.fabric;
    let names = fabric.part_names();
    let groups = &compiled.site.groups;
    let indices: Vec<usize> = (0..names.len()).collect();
    (0..dice.one(&[0, 1, 2, 3, 5, 7, 9]))
        .map(|_| {
            let at = Instant(dice.one(&[0, 1, 2, 3, 4, 5, 6, 7]) * 500 * US);
            let action = match dice.one(&[0, 1, 2, 3, 4, 5, 6, 7, 8]) {
                0 | 1 => Action::Lose(LossMode::Loud),
                2 => Action::Lose(LossMode::Silent),
                3 | 4 => Action::Restore,
                5 => Action::LoseWay(dice.one(&[Heading::Arrays, Heading::Hosts])),
                6 | 7 => Action::Slow(Slow {
                    rate_ppm: dice.one(&[250_000, Slow::WHOLE]),
                    loss_ppb: dice.one(&[0, 50_000_000, Slow::CERTAIN]),
                }),
                _ => Action::Drain,
            };
            let (parts, side) = match dice.one(&[0, 1, 2, 3, 4, 5]) {
                0 => (Vec::new(), Some(dice.one(&Side::BOTH))),
                1 => (groups[dice.one(&[0, 1])].parts.clone(), None),
                _ => (vec![names[dice.one(&indices)].clone()], None),
            };
            let (members, nodes): (Vec<MemberId>, Vec<NodeId>) = (
                fabric.members_of(&parts, side),
                fabric.nodes_of(&parts, side),
            );
            Script {
                at,
                action,
                members,
                nodes,
                hosts: fabric.hosts_of(&parts),
                target: String::new(),
                label: String::new(),
            }
        })
        .collect()
}

#[test]
fn sites_of_every_kind_and_law_count_the_same() {
    let (mut completed, mut cut, mut retried, mut late, mut waited) = (0, 0, 0, 0, 0);
    let (mut recordings, mut ordered) = (0, 0);
    for seed in 30_000..30_300 {
        let mut dice = Dice::new(seed);
        let text = text(&mut dice);
        let mut site = site(&text);
        recordings += u32::from(replayed(&mut dice, &mut site));
        let compiled = Compiled::new(&site, &[]);
        let scripts = scripts(&mut dice, &compiled);
        let stop = dice.one(&[Stop::AtTheTime, Stop::WhenMeasured]);
        let fast = count::<Fast>(&compiled, &scripts, stop);
        let plain = count::<Plain>(&compiled, &scripts, stop);
        let found = difference(&fast, &plain);
        assert!(
            found.is_none(),
            "seed {seed}, {found:?}, of\n{text}\n{scripts:?}"
        );
        if scripts.is_empty() && compiled.in_flow_order() {
            ordered += 1;
            let found = difference(&count::<Flow>(&compiled, &scripts, stop), &fast);
            assert!(found.is_none(), "seed {seed}, {found:?}, of\n{text}");
        }
        for work in &fast.workloads {
            completed += work.completed_total;
            retried += work.retried;
            late += work.late;
            assert_eq!(
                work.issued_total,
                work.completed_total + work.failed_total + work.backlog.level()
            );
        }
        cut += fast.directions.iter().map(|over| over.cut).sum::<u64>();
        let waits = fast
            .controllers
            .iter()
            .map(|over| over.wait.count() - over.wait.zeros());
        waited += waits.sum::<u64>();
    }
    // The comparison means something only if much has happened.
    assert!(
        completed > 100_000 && cut > 10 && retried > 100 && late > 10 && waited > 10_000,
        "{completed} {cut} {retried} {late} {waited}"
    );
    assert!(recordings > 40 && ordered > 10, "{recordings} {ordered}");
}
