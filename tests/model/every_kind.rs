//! Sites with parts of every kind, on which everything is lost at random for long enough that every timer runs out: LACP, the peer of
//! a pair, path selection, takeover, controller loss. Both executors must count the same, and every I/O and every frame is accounted
//! for, which each run asserts of itself when it ends.

use super::every::EveryKind;
use super::oracle::{Dice, difference};
use super::rig::{LIMITS, MS, S, US, site, watch};
use halfloom::model::{
    Compiled, Executor, Fast, LogKind, Plain, Script, Stop, Tally, TimerName, World,
};
use halfloom::site::{Action, Heading, LossMode, Slow};
use halfloom::unit::{Instant, Side};
use std::fmt::Write as _;

/// Bursts of all hosts come together, so often.
const EVERY: u64 = 500;

fn text(dice: &mut Dice) -> String {
    let mut head = String::from("[timers]\n");
    for (timer, choices) in [
        ("lacp", ["fast", "fast"]),
        ("peer_loss", ["300ms", "1s"]),
        ("fc_dead", ["2s", "6s"]),
        ("fast_io_fail", ["500ms", "2s"]),
        ("device_loss", ["3s", "60s"]),
        ("command_timeout", ["1s", "5s"]),
        ("keep_alive", ["700ms", "5s"]),
        ("reconnect", ["400ms", "2s"]),
        ("controller_loss", ["1s", "3s"]),
        ("path_check", ["300ms", "2s"]),
        ("quiesce", ["0s", "50ms"]),
        ("guest_detect", ["500ms", "2s"]),
        ("guest_restart", ["0s", "1s"]),
        ("team_probe", ["off", "400ms"]),
        ("iscsi_ping", ["500ms", "1s"]),
        ("iscsi_ping_timeout", ["500ms", "1s"]),
        ("iscsi_replacement", ["1s", "3s"]),
        ("failback", ["immediate", "manual"]),
        ("no_path", ["by-protocol", "queue"]),
    ] {
        let _ = writeln!(head, "{timer} = \"{}\"", dice.one(&choices));
    }
    // The rates that links may be slowed down to.
    head.push_str("[[event]]\nat = \"0s\"\nslow = \"edge-A\"\nrate = \"25%\"\n");
    let hosts = format!(
        "queue_depth = {}\npaths = \"{}\"\nguests = \"{}\"",
        dice.one(&[1, 4, 64]),
        dice.one(&["least-queue", "round-robin", "one-path", "nearest"]),
        dice.one(&["stay", "restart"])
    );
    let files = dice.one(&["nfs", "nvme-tcp", "iscsi", "nvme-rdma"]);
    let team = match files {
        "nfs" => dice.one(&["team = \"off\"", "team = \"first\"", "team = \"alternate\""]),
        _ => "",
    };
    let arrays = format!(
        "parallel = {}\ntakeover = \"{}\"",
        dice.one(&[1, 16]),
        dice.one(&["0s", "1s", "4s"])
    );
    let mut works = String::new();
    for (name, hosts, array, protocol) in [
        ("orders", "db", "vault", dice.one(&["fc-scsi", "fc-nvme"])),
        ("tape", "rack", "vault", dice.one(&["fc-scsi", "fc-nvme"])),
        ("files", "vm", "depot", files),
        ("mail", "rack", "depot", dice.one(&["nvme-tcp", "iscsi"])),
    ] {
        let _ = write!(
            works,
            "[[workload]]\nname = \"{name}\"\nhosts = \"{hosts}\"\narray = \"{array}\"\nprotocol = \"{protocol}\"\n\
             sizes = {{ \"4KiB\" = 0.5, \"32KiB\" = 0.5 }}\nread = \"60%\"\nvolumes = 4\nowner = \"{}\"\n\
             arrivals = {{ bursty = {{ peak = \"20k/s\", base = \"0/s\", burst = \"1ms\", every = \"{EVERY}ms\", together = true }} }}\n",
            dice.one(&["any", "alternate"])
        );
    }
    EveryKind {
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
    .text()
}

/// Losses of any part in the midst of bursts, most of them undone some time later.
fn scripts(dice: &mut Dice, compiled: &Compiled) -> Vec<Script> {
    let fabric = &compiled.fabric;
    let names = fabric.part_names();
    let groups = &compiled.site.groups;
    let mut scripts = Vec::new();
    for _ in 0..dice.one(&[1, 2, 3, 5]) {
        let at = dice.one(&[2, 3, 4, 7, 11, 16]) * EVERY * MS + dice.one(&[200, 500, 900]) * US;
        let action = match dice.one(&[0, 0, 1, 1, 2, 2, 3, 4, 5]) {
            0 => Action::Drain,
            1 => Action::Lose(LossMode::Loud),
            2 => Action::Lose(LossMode::Silent),
            3 => Action::LoseWay(dice.one(&[Heading::Arrays, Heading::Hosts])),
            4 => Action::Slow(Slow {
                rate_ppm: dice.one(&[250_000, Slow::WHOLE]),
                loss_ppb: dice.one(&[0, 100_000_000]),
            }),
            _ => Action::Slow(Slow {
                rate_ppm: Slow::WHOLE,
                loss_ppb: Slow::CERTAIN,
            }),
        };
        let (patterns, side) = match dice.one(&[0, 1, 2, 3, 4, 4, 4, 4]) {
            0 => (Vec::new(), Some(dice.one(&Side::BOTH))),
            1 => (groups[dice.one(&[0, 1])].parts.clone(), None),
            2 => (vec![dice.one(&["vault-c1", "depot-c2"]).to_owned()], None),
            3 => (vec![dice.one(&["edge-A", "edge-B"]).to_owned()], None),
            _ => {
                let index: Vec<usize> = (0..names.len()).collect();
                (vec![names[dice.one(&index)].clone()], None)
            }
        };
        let back = at + dice.one(&[200, 1_500, 4_000, 8_000]) * MS;
        let undone = dice.one(&[true, true, true, false]);
        for (at, action) in [(at, action), (back, Action::Restore)] {
            if at == back && !undone {
                continue;
            }
            scripts.push(Script {
                at: Instant(at),
                action,
                members: fabric.members_of(&patterns, side),
                nodes: fabric.nodes_of(&patterns, side),
                hosts: fabric.hosts_of(&patterns),
                target: String::new(),
                label: String::new(),
            });
        }
    }
    scripts
}

fn count<E: Executor>(compiled: &Compiled, scripts: &[Script]) -> Tally {
    let mut world = World::<E>::start(compiled, 0, watch(0, 20 * S), LIMITS);
    for script in scripts {
        world.add_script(script.clone());
    }
    world.run_until(Instant(20 * S), Stop::AtTheTime);
    let mut tally = world.finish();
    assert!(!tally.partial, "the event limit was reached");
    tally.events = 0;
    tally
}

#[test]
fn both_executors_count_the_same_with_every_kind_of_part() {
    const WANTED: [TimerName; 7] = [
        TimerName::Lacp,
        TimerName::PeerLoss,
        TimerName::ControllerLoss,
        TimerName::Takeover,
        TimerName::FabricDead,
        TimerName::SessionReplacement,
        TimerName::GuestRestart,
    ];
    let mut ran = [0_u32; WANTED.len()];
    let (mut completed, mut cut, mut retried) = (0, 0, 0);
    let (mut handed_over, mut dropped) = (0, 0);
    for seed in 5_000..5_040 {
        let mut dice = Dice::new(seed);
        let text = text(&mut dice);
        let compiled = Compiled::new(&site(&text), &[]);
        let scripts = scripts(&mut dice, &compiled);
        let fast = count::<Fast>(&compiled, &scripts);
        let plain = count::<Plain>(&compiled, &scripts);
        if let Some(difference) = difference(&fast, &plain) {
            panic!("seed {seed}, {difference}, of\n{text}\n{scripts:?}");
        }
        for work in &fast.workloads {
            completed += work.completed_total;
            retried += work.retried;
            assert_eq!(
                work.issued_total,
                work.completed_total + work.failed_total + work.backlog.level()
            );
        }
        for over in &fast.directions {
            cut += over.cut;
            assert!(over.offered >= over.delivered + over.cut + over.dropped);
        }
        for entry in &fast.log {
            let own = |timer: &TimerName| entry.timer.is_some_and(|(name, _)| name == *timer);
            if let Some(index) = WANTED.iter().position(own) {
                ran[index] += 1;
            }
            let handed = matches!(entry.kind, LogKind::TakenOver(_)) && entry.timer.is_none();
            handed_over += u32::from(handed);
            dropped += u32::from(matches!(entry.kind, LogKind::PortsDropped(_)));
        }
    }
    // The comparison means something only if much has happened, and every timer has run out.
    assert!(
        completed > 10_000 && cut > 5 && retried > 100,
        "{completed} {cut} {retried}"
    );
    assert!(ran.iter().all(|times| *times > 1), "{ran:?}");
    assert!(handed_over > 1 && dropped > 1, "{handed_over} {dropped}");
}
