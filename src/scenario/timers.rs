//! Timers: a global table, and one for each host family that differs.

use super::cursor::{Cursor, Fallback, Fault, choice, practice, published, standard};
use super::tree::{Node, Origin, Value};
use super::value::{self, count, one_of, time, time_above_zero};
use crate::site::{LacpRate, NoPath, Timers};
use crate::unit::Duration;

const MULTIPATH: &str = "manual page of the usual open-source multipath tools, 2023";
const KERNEL: &str = "source of the usual open-source kernel, SCSI disk and FC transport drivers";
const KERNEL_NVME: &str = "source of the usual open-source kernel, NVMe over fabrics host";
const KERNEL_TCP: &str = "source of the usual open-source kernel, TCP";

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
    cursor.finish();
    timers
}

/// Reads every timer; what is not stated is `base`'s, or else the preset's.
fn read(cursor: &Cursor<'_, '_>, preset: Preset, base: Option<&Timers>) -> Timers {
    let any =
        |key, what, default, base: Option<Duration>| field(cursor, key, what, &time, default, base);
    let above = |key, what, default, base: Option<Duration>| {
        field(cursor, key, what, &time_above_zero, default, base)
    };
    Timers {
        preset: base.map_or(preset.name(), |base| base.preset),
        link_loss_detect: any(
            "link_loss_detect",
            "loss of signal until the port is down",
            standard(
                "100ms",
                "FC-PH receiver time-out (R_T_TOV); the same taken for Ethernet",
            ),
            base.map(|base| base.link_loss_detect),
        ),
        state_notice: any(
            "state_notice",
            "notice of a loss beyond the local link",
            practice("500ms"),
            base.map(|base| base.state_notice),
        ),
        fast_io_fail: field(
            cursor,
            "fast_io_fail",
            "I/O held on a lost remote port",
            &off_or_time,
            preset.pick(published("5s", MULTIPATH), "2s"),
            base.map(|base| base.fast_io_fail),
        ),
        device_loss: above(
            "device_loss",
            "remote port given up",
            published("60s", KERNEL),
            base.map(|base| base.device_loss),
        ),
        command_timeout: above(
            "command_timeout",
            "attempt given up without an answer",
            published("30s", KERNEL),
            base.map(|base| base.command_timeout),
        ),
        retries: field(
            cursor,
            "retries",
            "attempts after the first",
            &count(0, 100),
            published("5", KERNEL),
            base.map(|base| base.retries),
        ),
        path_check: above(
            "path_check",
            "failed path tried again every",
            published("5s", MULTIPATH),
            base.map(|base| base.path_check),
        ),
        no_path: field(
            cursor,
            "no_path",
            "when no path is left",
            &no_path,
            published("fail", MULTIPATH),
            base.map(|base| base.no_path),
        ),
        keep_alive: above(
            "keep_alive",
            "silent controller noticed after",
            published("5s", KERNEL_NVME),
            base.map(|base| base.keep_alive),
        ),
        reconnect: above(
            "reconnect",
            "lost controller tried again every",
            published("10s", KERNEL_NVME),
            base.map(|base| base.reconnect),
        ),
        controller_loss: above(
            "controller_loss",
            "controller given up",
            published("600s", KERNEL_NVME),
            base.map(|base| base.controller_loss),
        ),
        tcp_rto_min: above(
            "tcp_rto_min",
            "smallest retransmission timeout",
            published("200ms", KERNEL_TCP),
            base.map(|base| base.tcp_rto_min),
        ),
        tcp_rto_max: above(
            "tcp_rto_max",
            "largest retransmission timeout",
            published("120s", KERNEL_TCP),
            base.map(|base| base.tcp_rto_max),
        ),
        quiesce: any(
            "quiesce",
            "hold before an I/O is sent again",
            practice("0s"),
            base.map(|base| base.quiesce),
        ),
        lag_rehash: any(
            "lag_rehash",
            "lost LAG member avoided after",
            practice("200ms"),
            base.map(|base| base.lag_rehash),
        ),
        lacp: field(
            cursor,
            "lacp",
            "LACP rate",
            &one_of(&[("slow", LacpRate::Slow), ("fast", LacpRate::Fast)]),
            preset.pick(
                standard(
                    "slow",
                    "IEEE 802.1AX: 30 s, given up after 90 s; default seen in an open manual page",
                ),
                "fast",
            ),
            base.map(|base| base.lacp),
        ),
    }
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

/// `"fail"`, `"queue"`, or `{ retry = 12 }` path checks.
fn no_path(node: &Node) -> Result<NoPath, Fault> {
    const EXPECTED: &str = "\"fail\", \"queue\" or { retry = 12 }";
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
    value::one_of(&[("fail", NoPath::Fail), ("queue", NoPath::Queue)])(node).map_err(wrong)
}
