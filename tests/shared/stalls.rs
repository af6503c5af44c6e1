//! How long a loss stops an I/O by the timers of its protocol: what is expected, with its source, and what the model does. Shared by
//! the tests of the model and the evidence.

use halfloom::model::{Compiled, Limits, Script, Stop, Watch, World};
use halfloom::scenario::{Source, read, render_problems};
use halfloom::site::{Action, Arrivals, LossMode, Replay, Site, TraceEntry};
use halfloom::unit::{Duration, Instant, Side};
use halfloom::wire::Op;
use std::sync::Arc;

const PS_PER_US: u64 = 1_000_000;
const PS_PER_MS: u64 = 1_000 * PS_PER_US;
const PS_PER_S: u64 = 1_000 * PS_PER_MS;

/// A protocol on a link that carries it, and its stalls.
pub(crate) struct Protocol {
    /// As the scenario names it, with what it needs to know.
    pub(crate) name: &'static str,
    pub(crate) speed: &'static str,
    /// By the default timers and by the short ones: a loud loss of the host's own link, a loud loss behind its switch, a
    /// silent loss.
    pub(crate) default: [Stall; 3],
    pub(crate) short: [Stall; 3],
}

/// What is expected, and whose timers add up to it.
#[derive(Clone, Copy)]
pub(crate) struct Stall {
    pub(crate) ms: u64,
    pub(crate) source: &'static str,
}

const fn of(ms: u64, source: &'static str) -> Stall {
    Stall { ms, source }
}

const OWN_SCSI: &str = "R_T_TOV of FC-PH 100 ms (from memory) + fast-io-fail 5 s, manual page of the usual open-source multipath tools, 2023";
const FAR_SCSI: &str =
    "the same, and the notice of a loss behind the switch 500 ms (common practice, no source)";
const OWN_SHORT: &str =
    "R_T_TOV of FC-PH 100 ms (from memory) + fast-io-fail 2 s (common practice, no source)";
const COMMAND: &str = "nobody tells the host: command timeout 30 s from the issue, source of the usual open-source kernel, SCSI disk driver (NVMe: from memory)";
const OWN_NVME: &str = "R_T_TOV of FC-PH 100 ms (from memory); a known port loss is sent elsewhere at once, source of the usual open-source kernel, NVMe over FC host (from memory)";
const ISCSI: &str = "ping 10 s + its timeout 10 s + session replacement 120 s, settings file of the usual open-source iSCSI initiator and distribution text";
const ISCSI_SHORT: &str = "ping 5 s + its timeout 5 s + session replacement 15 s (common practice; 15 s in upstream notes, from memory)";
const KEEP_ALIVE: &str = "keep-alive 5 s, source of the usual open-source kernel, NVMe over fabrics host; TCP tells nothing of a lost link (common practice, no source)";
const FILES: &str = "taken as for NVMe over TCP, 5 s (common practice, no source)";
const PLAIN: &str = "as NVMe over FC; a choice of this program";

/// The arithmetic is detection + hold; a command timeout counts from the issue.
pub(crate) const PROTOCOLS: [Protocol; 7] = [
    Protocol {
        name: "fc-scsi",
        speed: "32GFC",
        default: [
            of(5_100, OWN_SCSI),
            of(5_600, FAR_SCSI),
            of(30_000, COMMAND),
        ],
        short: [
            of(2_100, OWN_SHORT),
            of(2_600, FAR_SCSI),
            of(30_000, COMMAND),
        ],
    },
    Protocol {
        name: "fc-nvme",
        speed: "32GFC",
        default: [of(100, OWN_NVME), of(600, FAR_SCSI), of(30_000, COMMAND)],
        short: [of(100, OWN_NVME), of(600, FAR_SCSI), of(30_000, COMMAND)],
    },
    Protocol {
        name: "iscsi",
        speed: "25GbE",
        default: [of(140_000, ISCSI); 3],
        short: [of(25_000, ISCSI_SHORT); 3],
    },
    Protocol {
        name: "nvme-tcp",
        speed: "25GbE",
        default: [of(5_000, KEEP_ALIVE); 3],
        short: [of(5_000, KEEP_ALIVE); 3],
    },
    Protocol {
        name: "nvme-rdma",
        speed: "25GbE",
        default: [of(5_000, KEEP_ALIVE); 3],
        short: [of(5_000, KEEP_ALIVE); 3],
    },
    Protocol {
        name: "nfs",
        speed: "25GbE",
        default: [of(5_000, FILES); 3],
        short: [of(5_000, FILES); 3],
    },
    // A language of frames without rules of its own.
    Protocol {
        name: "plain\"\nrequest = 100\nresponse = 4096\nframe = \"4096B",
        speed: "25GbE",
        default: [of(100, PLAIN), of(600, PLAIN), of(30_000, PLAIN)],
        short: [of(100, PLAIN), of(600, PLAIN), of(30_000, PLAIN)],
    },
];

/// A loss, and which of the three stalls of a protocol it means.
pub(crate) struct Loss {
    pub(crate) what: &'static str,
    pub(crate) mode: LossMode,
    /// Parts; none: all of side A.
    pub(crate) pattern: &'static str,
    pub(crate) stall: usize,
}

const fn loss(what: &'static str, mode: LossMode, pattern: &'static str, stall: usize) -> Loss {
    Loss {
        what,
        mode,
        pattern,
        stall,
    }
}

const FAR: &str = "core-A~box-c1:A1";

/// Loud and silent, of a whole side, of the host's own link and of one behind its switch.
pub(crate) const LOSSES: [Loss; 5] = [
    loss("side A goes dark", LossMode::Loud, "", 0),
    loss("its own link goes dark", LossMode::Loud, "app:A1~core-A", 0),
    loss("a link behind its switch goes dark", LossMode::Loud, FAR, 1),
    loss("side A falls silent", LossMode::Silent, "", 2),
    loss(
        "a link behind its switch falls silent",
        LossMode::Silent,
        FAR,
        2,
    ),
];

/// The site of every row: host, one switch a fabric, array; the host uses A while it can.
pub(crate) fn text(protocol: &str, speed: &str, timers: &str) -> String {
    format!(
        "format = 1\n[[host]]\nname = \"app\"\npaths = \"one-path\"\n{timers}\n\
         [[switch]]\nname = \"core\"\n[[array]]\nname = \"box\"\ncontrollers = 1\n\
         read = {{ hit = \"100%\", hit_time = \"100us\" }}\n\
         [[link]]\nfrom = \"app\"\nto = \"core\"\nspeed = \"{speed}\"\n\
         [[link]]\nfrom = \"core\"\nto = \"box\"\nspeed = \"{speed}\"\n\
         [[workload]]\nname = \"w\"\nhosts = \"app\"\narray = \"box\"\nprotocol = \"{protocol}\"\n\
         sizes = \"4KiB\"\narrivals = {{ poisson = \"1/s\" }}\n"
    )
}

/// A loss in a row: what is expected and what came out, ps beyond the I/O's own time.
pub(crate) struct Found {
    pub(crate) protocol: &'static str,
    pub(crate) timers: &'static str,
    pub(crate) loss: &'static Loss,
    pub(crate) source: &'static str,
    pub(crate) expected: u64,
    pub(crate) simulated: u64,
}

/// Every loss of every protocol, by both presets: one read of 4 KiB that the loss catches in service.
pub(crate) fn all() -> Vec<Found> {
    let mut found = Vec::new();
    for protocol in &PROTOCOLS {
        for (timers, stalls) in [("default", protocol.default), ("short", protocol.short)] {
            let preset = format!("timers = \"{timers}\"");
            let compiled = one_read(&text(protocol.name, protocol.speed, &preset));
            let normal = latency(&compiled, None);
            for loss in &LOSSES {
                let Stall { ms, source } = stalls[loss.stall];
                let at = 50 * PS_PER_US;
                // A command timeout counts from the issue, at 0.
                let from = if source == COMMAND || source == PLAIN && loss.stall == 2 {
                    0
                } else {
                    at
                };
                let taken = latency(&compiled, Some((at, loss))) - normal;
                found.push(Found {
                    protocol: protocol.name,
                    timers,
                    loss,
                    source,
                    expected: ms * PS_PER_MS,
                    simulated: taken - from,
                });
            }
        }
    }
    found
}

fn one_read(text: &str) -> Compiled {
    let source = Source {
        name: "stall.toml",
        text,
    };
    let mut site: Site = match read(source, &[], &|file| Err(format!("no file {file}"))) {
        Ok(loaded) => loaded.site,
        Err(problems) => panic!("{}", render_problems(&problems)),
    };
    let entry = TraceEntry {
        at: Duration::ZERO,
        op: Op::Read,
        offset: 0,
        size: 4096,
    };
    site.workloads[0].arrivals = Arrivals::Replay(Replay {
        entries: Arc::new([entry].into_iter().collect()),
        span: Duration(9_000 * PS_PER_S),
        copies: 1,
        speed: 1.0,
        aligned: true,
        file: String::new(),
    });
    Compiled::new(&site, &[])
}

/// Latency of the only I/O, ps, with a loss at an instant or without.
fn latency(compiled: &Compiled, lost: Option<(u64, &Loss)>) -> u64 {
    let until = Instant(200 * PS_PER_S);
    let watch = Watch {
        from: Instant(0),
        to: until,
        transient: false,
    };
    let limits = Limits { events: 50_000_000 };
    let mut world = World::new(compiled, 0, watch, limits);
    if let Some((at, loss)) = lost {
        let patterns: Vec<String> = Some(loss.pattern.to_owned())
            .filter(|pattern| !pattern.is_empty())
            .into_iter()
            .collect();
        let side = patterns.is_empty().then_some(Side::A);
        world.add_script(Script {
            at: Instant(at),
            action: Action::Lose(loss.mode),
            members: compiled.fabric.members_of(&patterns, side),
            nodes: compiled.fabric.nodes_of(&patterns, side),
            hosts: compiled.fabric.hosts_of(&patterns),
            target: String::new(),
            label: String::new(),
        });
    }
    world.run_until(until, Stop::AtTheTime);
    let tally = world.finish();
    let work = &tally.workloads[0];
    assert_eq!((work.completed_total, work.failed_total), (1, 0));
    work.reads.latency.max().expect("it has completed").0
}
