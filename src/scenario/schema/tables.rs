//! The tables of a site, of the runs and of what happens.

use super::kind::Kind;
use super::kind::Kind::{
    Bytes, Count, CountFrom, Either, Map, Name, Numbers, Of, OneOrMore, Pattern, Settings,
    Table as Inner, Tables, Text, Words,
};
use super::{Key, Table, may, must};

const TIME: Kind = Of("time");
const SHARE: Kind = Of("share");

const fn table(name: &'static str, heading: &'static str, keys: &'static [Key]) -> Table {
    Table {
        name,
        heading,
        keys,
        one_of: &[],
    }
}

/// Keys, and those of what is wrong with a part: an outage and an event say it alike.
macro_rules! and_fault {
    ($($key:expr),* $(,)?) => {
        &[
            $($key,)*
            may("mode", MODES),
            may("way", Words(&["to-arrays", "to-hosts"])),
            may("rate", SHARE),
            may("loss", SHARE),
            may("period", TIME),
            may("count", Count(1, 100)),
            may("down", TIME),
        ]
    };
}

pub(super) const TOP: Table = table(
    "scenario",
    "At the top",
    &[
        must("format", Numbers(&[1])),
        may("title", Text),
        may("run", Inner("run")),
        may("chassis", Tables("chassis")),
        must("host", Tables("host")),
        may("switch", Tables("switch")),
        must("array", Tables("array")),
        must("link", Tables("link")),
        must("workload", Tables("workload")),
        may("timers", Inner("timers")),
        may("outage", Tables("outage")),
        may("group", Tables("group")),
        may("event", Tables("event")),
        may("shape", Tables("shape")),
        may("day", Inner("day_of_work")),
        may("growth", Inner("growth")),
        may("step", Tables("step")),
        may("variant", Tables("variant")),
    ],
);

const AUTO: Kind = Words(&["auto"]);
const UNLIMITED: Kind = Words(&["unlimited"]);
const OFF: Kind = Words(&["off"]);
const PRESETS: Kind = Words(&["default", "short"]);
const TIMERS: Kind = Inner("timers");
const LOSS: Kind = Words(&["keep", "drop-host-ports"]);
const UPLINK: Kind = Inner("uplink_loss");
const CHILDREN: Kind = Count(1, 1_024);
const NO_PATH: Kind = Words(&["by-protocol", "fail", "queue"]);
const RETRY: Kind = Inner("no_path_retry");
const FAILBACK: Kind = Words(&["immediate", "manual"]);
const GROWTH: Kind = Of("growth_rate");
const NAMED_SHAPE: Kind = Text;
const FACTORS: Kind = Of("factors");
const SHAPE: Kind = Either(&NAMED_SHAPE, &FACTORS);
const MODES: Kind = Words(&["loud", "silent"]);
const PARTS: Kind = OneOrMore(&Text);
const LINK_ENDS: Kind = Name;

/// When the load of a day is what.
pub(super) const SHAPES: Kind = SHAPE;

pub(super) const ALL: &[Table] = &[
    table(
        "run",
        "`[run]`",
        &[
            may("duration", TIME),
            may("warm_up", Either(&AUTO, &TIME)),
            may("seed", CountFrom(0)),
            may("replications", Count(1, 10_000)),
            may("within", SHARE),
            may("replications_max", Count(10, 10_000)),
            may("switch_replications", Count(1, 1_000)),
            may("before", TIME),
            may("settle_limit", TIME),
            may("drain_limit", TIME),
            may("first", Words(&["A", "B"])),
            may("events_max", CountFrom(1)),
            may("memory_max", Of("size")),
        ],
    ),
    table(
        "chassis",
        "`[[chassis]]`",
        &[
            must("name", Name),
            may("count", Count(1, 4_096)),
            may("slots", Count(1, 1_024)),
            may("holds", Map(&CHILDREN)),
        ],
    ),
    table(
        "host",
        "`[[host]]`",
        &[
            must("name", Name),
            may("count", Count(1, 4_096)),
            may(
                "paths",
                Words(&[
                    "round-robin",
                    "least-queue",
                    "least-bytes",
                    "one-path",
                    "nearest",
                    "random",
                ]),
            ),
            may("queue_depth", Either(&Count(1, 65_536), &UNLIMITED)),
            may("guests", Words(&["stay", "restart"])),
            may("team", Words(&["off", "first", "alternate"])),
            may("adapter_per", Words(&["port", "pair", "fabric", "host"])),
            may("bus", Pattern("^PCIe[3-6]x(1|2|4|8|16)$")),
            may("bus_payload", Bytes(128, 4_096)),
            may("bus_per", Words(&["port", "adapter", "host"])),
            may("timers", Either(&PRESETS, &TIMERS)),
        ],
    ),
    table(
        "switch",
        "`[[switch]]`",
        &[
            must("name", Name),
            may("count", Count(1, 4_096)),
            may("per", Name),
            may("fabric", Words(&["each", "A", "B", "shared"])),
            may("delay", TIME),
            may("forwarding", Words(&["cut-through", "store-and-forward"])),
            may("ports", Inner("ports_by_technology")),
            may("uplinks_max", Count(1, 1_024)),
            may("on_uplink_loss", Either(&LOSS, &UPLINK)),
            may("salt", CountFrom(0)),
        ],
    ),
    table(
        "uplink_loss",
        "`[[switch]]`",
        &[
            must("action", LOSS).told_as("on_uplink_loss"),
            may("after", TIME).told_as("on_uplink_loss"),
        ],
    ),
    table(
        "array",
        "`[[array]]`",
        &[
            must("name", Name),
            may("controllers", Count(1, 64)),
            may("parallel", Count(1, 1_000_000)),
            may("port_commands", Count(1, 1_000_000)),
            may("takeover", TIME),
            may("read", Inner("array_read")),
            may("write", Inner("array_write")),
        ],
    ),
    table(
        "array_read",
        "`[[array]]`",
        &[
            may("hit", SHARE).told_as("read.hit"),
            may("hit_time", Of("law")).told_as("read.hit_time"),
            may("miss_time", Of("law")).told_as("read.miss_time"),
            may("per_mib", TIME).told_as("read.per_mib"),
        ],
    ),
    table(
        "array_write",
        "`[[array]]`",
        &[
            may("time", Of("law")).told_as("write.time"),
            may("per_mib", TIME).told_as("write.per_mib"),
            may("mirror", TIME).told_as("write.mirror"),
        ],
    ),
    Table {
        one_of: &[],
        ..table(
            "link",
            "`[[link]]`",
            &[
                may("name", Name),
                must("from", LINK_ENDS),
                must("to", LINK_ENDS),
                must("speed", Of("speed")),
                may("members", Count(1, 64)),
                may("ports", Count(1, 64)),
                may("cage", Inner("cage")),
                may("length", Of("length")),
                may("propagation", TIME),
                may("fec", Either(&OFF, &TIME)),
                may("carries", Words(&["ip", "fc", "all"])),
                may("choose", Words(&["flow", "exchange", "frame", "pinned"])),
                may("wiring", Words(&["dealt", "one-to-one", "mesh"])),
                may("lag", Words(&["single", "across"])),
                may("mtu", Bytes(576, 9_216)),
            ],
        )
    },
    table(
        "cage",
        "`[[link]]`",
        &[
            must("legs", Count(1, 64)).told_as("cage"),
            may("lit", Count(1, 64)).told_as("cage"),
        ],
    ),
    table(
        "timers",
        "`[timers]`",
        &[
            may("preset", PRESETS),
            may("link_loss_detect", TIME),
            may("state_notice", TIME),
            may("lag_rehash", TIME),
            may("fc_reroute", TIME),
            may("ethernet_reroute", TIME),
            may("peer_loss", TIME),
            may("fc_dead", TIME),
            may("lacp", Words(&["slow", "fast"])),
            may("fast_io_fail", Either(&OFF, &TIME)),
            may("device_loss", TIME),
            may("command_timeout", TIME),
            may("retries", Count(0, 100)),
            may("keep_alive", TIME),
            may("iscsi_ping", TIME),
            may("iscsi_ping_timeout", TIME),
            may("iscsi_replacement", TIME),
            may("reconnect", TIME),
            may("controller_loss", TIME),
            may("tcp_rto_min", TIME),
            may("tcp_rto_max", TIME),
            may("tcp_retries", Count(1, 100)),
            may("guest_detect", TIME),
            may("guest_restart", TIME),
            may("team_switch", TIME),
            may("team_probe", Either(&OFF, &TIME)),
            may("failback", Either(&FAILBACK, &TIME)),
            may("path_check", TIME),
            may("path_check_max", TIME),
            may("no_path", Either(&NO_PATH, &RETRY)),
            may("quiesce", TIME),
        ],
    ),
    table(
        "no_path_retry",
        "`[timers]`",
        &[must("retry", Count(1, 100_000)).told_as("no_path")],
    ),
    table(
        "outage",
        "`[[outage]]`",
        and_fault![must("name", Text), may("takes", PARTS)],
    ),
    table(
        "group",
        "`[[group]]`",
        &[must("name", Text), must("parts", PARTS)],
    ),
    Table {
        one_of: &[&["lose", "restore", "drain", "slow", "flap"]],
        ..table(
            "event",
            "`[[event]]`",
            and_fault![
                must("at", TIME),
                may("lose", PARTS),
                may("restore", PARTS),
                may("drain", PARTS),
                may("slow", PARTS),
                may("flap", PARTS),
            ],
        )
    },
    table(
        "shape",
        "`[[shape]]` and `[day]`",
        &[
            must("name", Name).told_as("shape.name"),
            must("daily", FACTORS).told_as("shape.daily"),
        ],
    ),
    table(
        "day_of_work",
        "`[[shape]]` and `[day]`",
        &[must("shape", SHAPE).told_as("day.shape")],
    ),
    table(
        "growth",
        "`[growth]` and `[[step]]`",
        &[
            must("from", Of("day")).told_as("growth.from"),
            may("per_year", GROWTH).told_as("growth.per_year"),
            may("hosts", Map(&GROWTH)).told_as("growth.hosts"),
        ],
    ),
    table(
        "step",
        "`[growth]` and `[[step]]`",
        &[
            must("name", Text).told_as("step.name"),
            must("date", Of("day")).told_as("step.date"),
            must("set", Settings).told_as("step.set"),
        ],
    ),
    table(
        "variant",
        "`[[variant]]`",
        &[must("name", Text), must("set", Settings)],
    ),
];
