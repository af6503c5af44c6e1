//! Timers: a global table, and one for each host family that differs.

use super::cursor::{Cursor, Fallback, Fault, choice, practice, published, standard};
use super::problem::Severity;
use super::tree::{Node, Origin, Value};
use super::value::{self, count, one_of, time, time_above_zero};
use crate::site::{Failback, LacpRate, NoPath, Timers};
use crate::unit::Duration;

const MULTIPATH: &str = "manual page of the usual open-source multipath tools, 2023";
const KERNEL: &str = "source of the usual open-source kernel, SCSI disk and FC transport drivers";
const KERNEL_NVME: &str = "source of the usual open-source kernel, NVMe over fabrics host";
const NO_PATH: &str = "manual page of the usual open-source multipath tools, 2023 (fail); source of the usual open-source kernel, NVMe multipath (queued again while a controller is live, resetting or connecting)";
const ISCSI: &str =
    "settings file of the usual open-source iSCSI initiator and distribution text; versions differ";
const KERNEL_TCP: &str = "source of the usual open-source kernel, TCP";

/// Timers of hosts that the preset `short` shortens: key, as written, and as time. Common practice, no source.
pub const SHORTENED: [(&str, &str, Duration); 4] = [
    ("fast_io_fail", "2s", Duration::from_ms(2_000)),
    ("iscsi_ping", "5s", Duration::from_ms(5_000)),
    ("iscsi_ping_timeout", "5s", Duration::from_ms(5_000)),
    ("iscsi_replacement", "15s", Duration::from_ms(15_000)),
];

/// A preset by its name.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Preset {
    /// What hosts come with.
    Default,
    /// Shortened for quick switch-over.
    Short,
}

impl Preset {
    const fn name(self) -> &'static str {
        match self {
            Self::Default => "default",
            Self::Short => "short",
        }
    }

    /// The default itself, or the shorter one of this preset.
    const fn pick(self, default: Fallback, short: &'static str) -> Fallback {
        match self {
            Self::Default => default,
            Self::Short => practice(short),
        }
    }
}

fn preset(node: &Node) -> Result<Preset, Fault> {
    one_of(&[("default", Preset::Default), ("short", Preset::Short)])(node)
}

/// The global `[timers]`.
pub(super) fn global(top: &Cursor<'_, '_>) -> Timers {
    match top.table("timers") {
        Some(mut cursor) => {
            "timers".clone_into(&mut cursor.path);
            "[timers]".clone_into(&mut cursor.who);
            let preset = cursor.input("preset", "timer preset", &preset, choice("default"));
            let timers = read(&cursor, preset, None);
            cursor.finish();
            timers
        }
        None => {
            let cursor = Cursor::new(top.ctx, &[], &Origin::Default, "timers", "[timers]");
            cursor.assume_default("preset", "timer preset", "default", choice("default"));
            read(&cursor, Preset::Default, None)
        }
    }
}

/// The timers of one host family: `timers = "short"` or `timers = { preset = "short", fast_io_fail = "2s" }`;
/// the global ones where nothing is stated.
pub(super) fn of_host(host: &Cursor<'_, '_>, global: &Timers) -> Timers {
    let is_text = host
        .entry("timers")
        .is_some_and(|entry| matches!(entry.node.value, Value::String(_)));
    if is_text {
        let cursor = Cursor::new(
            host.ctx,
            &[],
            &Origin::Default,
            format!("{}.timers", host.path),
            &host.who,
        );
        return match host.optional("timers", "timer preset", &preset) {
            Some(preset) => read(&cursor, preset, None),
            None => global.clone(),
        };
    }
    let Some(cursor) = host.table("timers") else {
        return global.clone();
    };
    let timers = match cursor.optional("preset", "timer preset", &preset) {
        Some(preset) => read(&cursor, preset, None),
        None => read(&cursor, Preset::Default, Some(global)),
    };
    for entry in cursor
        .all()
        .filter(|entry| FABRIC.contains(&entry.key.as_str()))
    {
        let at = &super::tree::unwrapped(&entry.node).origin;
        let message = format!(
            "`{}` of {} is a timer of the fabric and not of a host: it has no effect here",
            entry.key, cursor.who
        );
        let meant = format!(
            "`{}` in [timers], where it holds for the whole site",
            entry.key
        );
        cursor
            .ctx
            .problem(Severity::Warning, at, &message, &meant, "");
    }
    cursor.finish();
    timers
}

/// Whether a setting is one that is warned to have no effect: a timer of the fabric that hosts state.
#[must_use]
pub fn without_effect(key: &str) -> bool {
    let words: Vec<&str> = key.split('.').collect();
    matches!(words[..], ["host", .., "timers", field] if FABRIC.contains(&field))
}

/// What switches do after a loss: hosts wait for none of these.
const FABRIC: [&str; 6] = [
    "lag_rehash",
    "fc_reroute",
    "ethernet_reroute",
    "peer_loss",
    "fc_dead",
    "lacp",
];

/// What timers are read from: the table, the preset, and what holds where nothing is stated.
struct Reader<'r, 'c, 'a> {
    cursor: &'r Cursor<'c, 'a>,
    preset: Preset,
    base: Option<&'r Timers>,
}

impl Reader<'_, '_, '_> {
    /// A time, zero allowed.
    fn any(
        &self,
        key: &'static str,
        what: &str,
        default: Fallback,
        base: fn(&Timers) -> Duration,
    ) -> Duration {
        field(self.cursor, key, what, &time, default, self.base.map(base))
    }

    /// A time above zero.
    fn above(
        &self,
        key: &'static str,
        what: &str,
        default: Fallback,
        base: fn(&Timers) -> Duration,
    ) -> Duration {
        field(
            self.cursor,
            key,
            what,
            &time_above_zero,
            default,
            self.base.map(base),
        )
    }

    /// How a loss is noticed, and what the fabric then does.
    fn fabric(&self, timers: &mut Timers) {
        let signal = standard(
            "100ms",
            "FC-PH receiver time-out (R_T_TOV); the same taken for Ethernet",
        );
        timers.link_loss_detect = self.any(
            "link_loss_detect",
            "loss of signal until the port is down",
            signal,
            |base| base.link_loss_detect,
        );
        let notice = "notice of a loss beyond the local link";
        timers.state_notice = self.any("state_notice", notice, practice("500ms"), |base| {
            base.state_notice
        });
        let rehash = "lost LAG member avoided after";
        timers.lag_rehash = self.any("lag_rehash", rehash, practice("200ms"), |base| {
            base.lag_rehash
        });
        let route = "another FC route in use after";
        timers.fc_reroute = self.any("fc_reroute", route, practice("500ms"), |base| {
            base.fc_reroute
        });
        let route = "another Ethernet route in use after";
        timers.ethernet_reroute = self.any("ethernet_reroute", route, practice("1s"), |base| {
            base.ethernet_reroute
        });
        let peer = "lost switch of a pair replaced by its peer after";
        timers.peer_loss = self.any("peer_loss", peer, practice("1s"), |base| base.peer_loss);
        let dead = standard(
            "80s",
            "FC-SW, dead interval of fabric shortest path first; from memory, not checked",
        );
        let what = "silent link between FC switches given up after";
        timers.fc_dead = self.above("fc_dead", what, dead, |base| base.fc_dead);
        let slow = standard(
            "slow",
            "IEEE 802.1AX: every 30 s, given up after 90 s; the default in an open manual page",
        );
        let rates = one_of(&[("slow", LacpRate::Slow), ("fast", LacpRate::Fast)]);
        let default = self.preset.pick(slow, "fast");
        timers.lacp = field(
            self.cursor,
            "lacp",
            "LACP rate",
            &rates,
            default,
            self.base.map(|base| base.lacp),
        );
    }

    /// Fibre Channel and SCSI hosts.
    fn scsi(&self, timers: &mut Timers) {
        let hold = self.preset.pick(published("5s", MULTIPATH), SHORTENED[0].1);
        let what = "I/O held on a lost remote port";
        timers.fast_io_fail = field(
            self.cursor,
            "fast_io_fail",
            what,
            &off_or_time,
            hold,
            self.base.map(|base| base.fast_io_fail),
        );
        timers.device_loss = self.above(
            "device_loss",
            "remote port given up",
            published("60s", KERNEL),
            |base| base.device_loss,
        );
        let what = "attempt given up without an answer";
        timers.command_timeout =
            self.above("command_timeout", what, published("30s", KERNEL), |base| {
                base.command_timeout
            });
        let retries = published("5", KERNEL);
        let what = "attempts after the first";
        timers.retries = field(
            self.cursor,
            "retries",
            what,
            &count(0, 100),
            retries,
            self.base.map(|base| base.retries),
        );
    }

    /// Fast-io-fail is to be over before the port is removed: the usual open-source kernel takes no other pair (FC transport driver,
    /// where fast-io-fail is set; from memory), and the multipath tools turn the former off (manual page, 2023). Said where one of the two
    /// is stated; elsewhere it has been said of what holds for all.
    fn hold_below_removal(&self, timers: &Timers) {
        let stated = ["fast_io_fail", "device_loss"];
        let mut at = stated.iter().filter_map(|key| self.cursor.entry(key));
        let (Some(at), Some(hold)) = (at.next(), timers.fast_io_fail) else {
            return;
        };
        if hold >= timers.device_loss {
            let message = format!(
                "{}: I/O would be held on a lost remote port for {hold}, and the port is removed after {}",
                self.cursor.who, timers.device_loss
            );
            let expected = "fast_io_fail below device_loss, or \"off\" to hold until device_loss";
            self.cursor
                .ctx
                .error(&at.node.origin, &message, expected, "");
        }
    }

    /// NVMe hosts and TCP.
    fn nvme_and_tcp(&self, timers: &mut Timers) {
        let what = "silent controller noticed after";
        timers.keep_alive = self.above("keep_alive", what, published("5s", KERNEL_NVME), |base| {
            base.keep_alive
        });
        let what = "lost controller tried again every";
        timers.reconnect = self.above("reconnect", what, published("10s", KERNEL_NVME), |base| {
            base.reconnect
        });
        let what = "controller given up";
        timers.controller_loss = self.above(
            "controller_loss",
            what,
            published("600s", KERNEL_NVME),
            |base| base.controller_loss,
        );
        let what = "smallest retransmission timeout";
        timers.tcp_rto_min = self.above(
            "tcp_rto_min",
            what,
            published("200ms", KERNEL_TCP),
            |base| base.tcp_rto_min,
        );
        let what = "largest retransmission timeout";
        timers.tcp_rto_max =
            self.above("tcp_rto_max", what, published("120s", KERNEL_TCP), |base| {
                base.tcp_rto_max
            });
        let what = "retransmissions before TCP gives up";
        timers.tcp_retries = field(
            self.cursor,
            "tcp_retries",
            what,
            &count(1, 100),
            published("15", KERNEL_TCP),
            self.base.map(|base| base.tcp_retries),
        );
    }

    /// iSCSI: pings find a silent connection, then its session is held.
    fn iscsi(&self, timers: &mut Timers) {
        let pick = |base: &'static str, short| self.preset.pick(published(base, ISCSI), short);
        let what = "quiet iSCSI connection pinged after";
        timers.iscsi_ping = self.any("iscsi_ping", what, pick("10s", SHORTENED[1].1), |base| {
            base.iscsi_ping
        });
        let what = "iSCSI ping without an answer given up after";
        timers.iscsi_ping_timeout = self.above(
            "iscsi_ping_timeout",
            what,
            pick("10s", SHORTENED[2].1),
            |base| base.iscsi_ping_timeout,
        );
        let what = "I/O held on a lost iSCSI session";
        timers.iscsi_replacement = self.any(
            "iscsi_replacement",
            what,
            pick("120s", SHORTENED[3].1),
            |base| base.iscsi_replacement,
        );
    }

    /// Teams of ports for file traffic.
    fn team(&self, timers: &mut Timers) {
        let what = "file traffic moved to another port of a team";
        timers.team_switch = self.any("team_switch", what, practice("50ms"), |base| {
            base.team_switch
        });
        let what = "team: port without an answer given up";
        timers.team_probe = field(
            self.cursor,
            "team_probe",
            what,
            &off_or_time_above_zero,
            practice("off"),
            self.base.map(|base| base.team_probe),
        );
        let slow = timers
            .team_probe
            .is_some_and(|probe| probe + timers.team_switch >= timers.keep_alive);
        if slow {
            let at = ["team_probe", "team_switch", "keep_alive"]
                .iter()
                .find_map(|key| self.cursor.entry(key));
            let at = at.map_or(self.cursor.origin, |entry| &entry.node.origin);
            let message = format!(
                "{}: a team that probes would move its traffic after the mount has given up",
                self.cursor.who
            );
            let expected = "team_probe and team_switch together below keep_alive";
            self.cursor.ctx.error(at, &message, expected, "");
        }
    }

    /// Clusters of virtual servers.
    fn cluster(&self, timers: &mut Timers) {
        let what = "lost host of virtual servers noticed after";
        timers.guest_detect = self.any("guest_detect", what, practice("15s"), |base| {
            base.guest_detect
        });
        let what = "guests of a lost host running elsewhere after";
        timers.guest_restart = self.any("guest_restart", what, practice("60s"), |base| {
            base.guest_restart
        });
    }

    /// Multipath, whatever the protocol.
    fn multipath(&self, timers: &mut Timers) {
        let what = "failed path tried again every";
        timers.path_check = self.above("path_check", what, published("5s", MULTIPATH), |base| {
            base.path_check
        });
        let what = "path in good standing checked every";
        timers.path_check_max = self.above(
            "path_check_max",
            what,
            published("20s", MULTIPATH),
            |base| base.path_check_max,
        );
        if let Some(entry) = self.cursor.entry("path_check_max")
            && timers.path_check_max < timers.path_check
        {
            let message = format!(
                "{}: paths in good standing are checked more often than failed ones",
                self.cursor.who
            );
            let expected = "path_check at most path_check_max";
            self.cursor
                .ctx
                .error(&entry.node.origin, &message, expected, "");
        }
        let what = "path that is back used again";
        timers.failback = field(
            self.cursor,
            "failback",
            what,
            &failback,
            practice("immediate"),
            self.base.map(|base| base.failback),
        );
        let usual = published("by-protocol", NO_PATH);
        let what = "when no path is left";
        timers.no_path = field(
            self.cursor,
            "no_path",
            what,
            &no_path,
            usual,
            self.base.map(|base| base.no_path),
        );
        let what = "hold before an I/O is sent again";
        timers.quiesce = self.any("quiesce", what, practice("0s"), |base| base.quiesce);
    }
}

/// Reads every timer; what is not stated is `base`'s, or else the preset's.
fn read(cursor: &Cursor<'_, '_>, preset: Preset, base: Option<&Timers>) -> Timers {
    let mut timers = base.cloned().unwrap_or(Timers {
        preset: preset.name(),
        ..Timers::ZERO
    });
    let reader = Reader {
        cursor,
        preset,
        base,
    };
    reader.fabric(&mut timers);
    reader.scsi(&mut timers);
    reader.nvme_and_tcp(&mut timers);
    reader.iscsi(&mut timers);
    reader.team(&mut timers);
    reader.cluster(&mut timers);
    reader.multipath(&mut timers);
    reader.hold_below_removal(&timers);
    if timers.tcp_rto_max < timers.tcp_rto_min {
        let at = cursor.entry("tcp_rto_max").or(cursor.entry("tcp_rto_min"));
        let at = at.map_or(cursor.origin, |entry| &entry.node.origin);
        let message = format!(
            "the largest retransmission timeout of {} is below the smallest",
            cursor.who
        );
        cursor
            .ctx
            .error(at, &message, "tcp_rto_min at most tcp_rto_max", "");
    }
    timers
}

fn field<T>(
    cursor: &Cursor<'_, '_>,
    key: &'static str,
    what: &str,
    parse: &impl Fn(&Node) -> Result<T, Fault>,
    default: Fallback,
    base: Option<T>,
) -> T {
    match base {
        Some(base) => cursor.optional(key, what, parse).unwrap_or(base),
        None => cursor.input(key, what, parse, default),
    }
}

fn off_or_time(node: &Node) -> Result<Option<Duration>, Fault> {
    match node.as_str().map(String::as_str) {
        Some("off") => Ok(None),
        _ => time(node).map(Some),
    }
}

fn off_or_time_above_zero(node: &Node) -> Result<Option<Duration>, Fault> {
    match node.as_str().map(String::as_str) {
        Some("off") => Ok(None),
        _ => time_above_zero(node).map(Some).map_err(|fault| Fault {
            expected: "\"off\" or a time above zero".to_owned(),
            ..fault
        }),
    }
}

/// `"immediate"`, `"manual"`, or a time.
fn failback(node: &Node) -> Result<Failback, Fault> {
    match node.as_str().map(String::as_str) {
        Some("immediate") => Ok(Failback::Immediate),
        Some("manual") => Ok(Failback::Manual),
        _ => time_above_zero(node)
            .map(Failback::After)
            .map_err(|fault| Fault {
                expected: "\"immediate\", \"manual\" or a time above zero".to_owned(),
                ..fault
            }),
    }
}

/// `"by-protocol"`, `"fail"`, `"queue"`, or `{ retry = 12 }` path checks.
fn no_path(node: &Node) -> Result<NoPath, Fault> {
    const EXPECTED: &str = "\"by-protocol\", \"fail\", \"queue\" or { retry = 12 }";
    let wrong = |fault: Fault| Fault {
        expected: EXPECTED.to_owned(),
        ..fault
    };
    if let Some([entry]) = node.as_table().map(Vec::as_slice)
        && entry.key == "retry"
    {
        return count(1, 100_000)(&entry.node)
            .map(NoPath::Retry)
            .map_err(|fault| fault.at(&entry.node.origin));
    }
    value::one_of(&[
        ("by-protocol", NoPath::ByProtocol),
        ("fail", NoPath::Fail),
        ("queue", NoPath::Queue),
    ])(node)
    .map_err(wrong)
}
