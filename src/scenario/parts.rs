//! Chassis, hosts, switches and arrays.

use super::bus;
use super::cursor::{Cursor, Fault, choice, practice};
use super::names::Names;
use super::timers;
use super::tree::Node;
use super::value::{count, law, one_of, share, time, whole};
use crate::site::{
    AdapterPer, ArrayFamily, Chassis, Fabric, Forwarding, Guests, HostFamily, Numbered, PathPolicy,
    ReadService, SwitchFamily, Team, Timers, UplinkLoss, WriteService,
};
use crate::unit::{Duration, Side};
use crate::wire;

/// Most instances of a family.
const COUNT_MAX: u32 = 4096;

/// How many, and whether that was stated.
fn counted(cursor: &Cursor<'_, '_>) -> (u32, Numbered) {
    match cursor.optional("count", "number", &count(1, COUNT_MAX)) {
        Some(number) => (number, Numbered::Yes),
        None if cursor.has("count") => (1, Numbered::Yes),
        None => (1, Numbered::No),
    }
}

/// Reads every `[[chassis]]`.
pub(super) fn chassis(top: &Cursor<'_, '_>, names: &Names<'_>) -> Vec<Chassis> {
    (0..names.chassis.rows.len())
        .map(|index| {
            let cursor = names.chassis.cursor(top.ctx, index);
            cursor.entry("name");
            let (number, numbered) = counted(&cursor);
            let slots = cursor
                .optional("slots", "slots", &count(1, 1024))
                .unwrap_or(0);
            let holds = holds(&cursor, names);
            let held: u32 = holds
                .iter()
                .map(|(_, hosts)| *hosts)
                .fold(0, u32::saturating_add);
            if slots > 0 && held > slots {
                let message = format!("{} holds {held} hosts in {slots} slots", cursor.who);
                cursor.ctx.error(
                    cursor.origin,
                    &message,
                    "at most one host a slot",
                    "raise `slots` or hold fewer",
                );
            }
            let name = names.chassis.names[index].clone();
            cursor.finish();
            Chassis {
                name,
                count: number,
                numbered,
                slots,
                holds,
            }
        })
        .collect()
}

fn holds(cursor: &Cursor<'_, '_>, names: &Names<'_>) -> Vec<(usize, u32)> {
    let Some(table) = cursor.table("holds") else {
        return Vec::new();
    };
    let mut holds = Vec::new();
    for entry in table.all() {
        let key = Node {
            value: super::tree::Value::String(entry.key.clone()),
            origin: entry.origin.clone(),
        };
        match (names.hosts.find(&key), count(1, 1024)(&entry.node)) {
            (Ok(host), Ok(number)) => holds.push((host, number)),
            (host, number) => {
                if let Err(fault) = host {
                    cursor.fault("holds", &key, &fault);
                }
                if let Err(fault) = number {
                    table.fault(&entry.key, &entry.node, &fault);
                }
            }
        }
    }
    holds.sort_unstable();
    holds
}

/// Reads every `[[host]]`. `plain_only[i]` says that only workloads of protocol `plain` use family `i`.
pub(super) fn hosts(
    top: &Cursor<'_, '_>,
    names: &Names<'_>,
    chassis: &[Chassis],
    global: &Timers,
    plain_only: &[bool],
) -> Vec<HostFamily> {
    (0..names.hosts.rows.len())
        .map(|index| {
            let cursor = names.hosts.cursor(top.ctx, index);
            cursor.entry("name");
            let (mut number, mut numbered) = counted(&cursor);
            let home = home(&cursor, chassis, index);
            if let Some((_, held)) = home {
                if cursor.has("count") && number != held {
                    let message = format!(
                        "{} has count {number}, but its chassis hold {held}",
                        cursor.who
                    );
                    let help =
                        "leave `count` out, or make number of chassis × hosts in each equal to it";
                    cursor
                        .ctx
                        .error(cursor.origin, &message, "the two must agree", help);
                }
                (number, numbered) = (held.max(1), Numbered::Yes);
            }
            let paths = cursor.input("paths", "path policy", &policy(), choice("least-queue"));
            let depth = if plain_only.get(index).copied().unwrap_or(false) {
                choice("unlimited")
            } else {
                practice("64")
            };
            let queue_depth = cursor.input(
                "queue_depth",
                "commands in flight per path",
                &depth_or_unlimited,
                depth,
            );
            let timers = timers::of_host(&cursor, global);
            let team = cursor.input(
                "team",
                "team of ports for file traffic",
                &team(),
                choice("off"),
            );
            let kinds = one_of(&[("stay", Guests::Stay), ("restart", Guests::Restart)]);
            let guests = cursor.input("guests", "guests of a lost host", &kinds, choice("stay"));
            let alone = cursor
                .entry("guests")
                .filter(|_| guests == Guests::Restart && number < 2);
            if let Some(entry) = alone {
                let message = format!("{} has no other host to restart its guests on", cursor.who);
                let expected = "a family of two hosts at least";
                cursor.ctx.error(&entry.node.origin, &message, expected, "");
            }
            let per = one_of(&[
                ("port", AdapterPer::Port),
                ("pair", AdapterPer::Pair),
                ("fabric", AdapterPer::Fabric),
                ("host", AdapterPer::Host),
            ]);
            let adapter_per =
                cursor.input("adapter_per", "ports on one adapter", &per, choice("port"));
            let bus = bus::of_host(&cursor, adapter_per);
            let name = names.hosts.names[index].clone();
            cursor.finish();
            HostFamily {
                name,
                count: number,
                numbered,
                chassis: home.map(|(chassis, _)| chassis),
                paths,
                queue_depth,
                timers,
                guests,
                team,
                adapter_per,
                bus,
            }
        })
        .collect()
}

/// The chassis family that holds a host family, and how many of them in all.
fn home(cursor: &Cursor<'_, '_>, chassis: &[Chassis], host: usize) -> Option<(usize, u32)> {
    let mut homes = chassis.iter().enumerate().filter_map(|(index, family)| {
        let (_, each) = family.holds.iter().find(|(held, _)| *held == host)?;
        Some((index, family.count.saturating_mul(*each)))
    });
    let first = homes.next();
    if homes.next().is_some() {
        let message = format!("{} is held by two chassis families", cursor.who);
        cursor.ctx.error(
            cursor.origin,
            &message,
            "one at most",
            "make two host families of it",
        );
    }
    first
}

fn policy() -> impl Fn(&Node) -> Result<PathPolicy, Fault> {
    |node| one_of(&PathPolicy::ALL.map(|policy| (policy.name(), policy)))(node)
}

fn team() -> impl Fn(&Node) -> Result<Team, Fault> {
    one_of(&[
        ("off", Team::Off),
        ("first", Team::First),
        ("alternate", Team::Alternate),
    ])
}

fn depth_or_unlimited(node: &Node) -> Result<Option<u32>, Fault> {
    if node.as_str().is_some_and(|text| text == "unlimited") {
        return Ok(None);
    }
    count(1, 65_536)(node).map(Some).map_err(|mut fault| {
        fault.expected.push_str(", or \"unlimited\"");
        fault
    })
}

/// A switch family, with its delay only where it was stated: the default depends on its links.
pub(super) struct RawSwitch {
    pub family: SwitchFamily,
    pub delay_stated: bool,
}

/// Reads every `[[switch]]`.
pub(super) fn switches(
    top: &Cursor<'_, '_>,
    names: &Names<'_>,
    chassis: &[Chassis],
) -> Vec<RawSwitch> {
    (0..names.switches.rows.len())
        .map(|index| {
            let cursor = names.switches.cursor(top.ctx, index);
            let family = switch(&cursor, names, chassis, names.switches.names[index].clone());
            let delay = cursor.optional("delay", "forwarding delay", &time);
            cursor.finish();
            RawSwitch {
                family: SwitchFamily {
                    delay: delay.unwrap_or(Duration::ZERO),
                    ..family
                },
                delay_stated: delay.is_some(),
            }
        })
        .collect()
}

fn switch(
    cursor: &Cursor<'_, '_>,
    names: &Names<'_>,
    chassis: &[Chassis],
    name: String,
) -> SwitchFamily {
    cursor.entry("name");
    let (mut number, mut numbered) = counted(cursor);
    let per = cursor.get("per", &|node: &Node| names.chassis.find(node));
    let fabric = cursor.get("fabric", &fabric()).unwrap_or(Fabric::Each);
    if let Some(family) = per.and_then(|per| chassis.get(per)) {
        if cursor.has("count") {
            let message = format!("{} has both `per` and `count`", cursor.who);
            cursor.ctx.error(
                cursor.origin,
                &message,
                "one of the two",
                "`per` makes one for each chassis and fabric",
            );
        }
        if fabric == Fabric::Shared {
            let message = format!(
                "{} is a chassis module that belongs to neither fabric",
                cursor.who
            );
            cursor.ctx.error(
                cursor.origin,
                &message,
                "fabric = \"each\", \"A\" or \"B\"",
                "",
            );
        }
        (number, numbered) = (family.count, family.numbered);
    }
    SwitchFamily {
        name,
        count: number,
        numbered,
        per,
        fabric,
        delay: Duration::ZERO,
        forwarding: cursor.input(
            "forwarding",
            "forwarding",
            &one_of(&[
                ("cut-through", Forwarding::CutThrough),
                ("store-and-forward", Forwarding::StoreAndForward),
            ]),
            practice("cut-through"),
        ),
        ports: ports(cursor),
        uplinks_max: cursor.optional("uplinks_max", "most uplinks", &count(1, 1024)),
        on_uplink_loss: uplink_loss(cursor),
        salt: cursor.optional("salt", "salt of the member choice", &whole(0, u64::MAX)),
    }
}

fn fabric() -> impl Fn(&Node) -> Result<Fabric, Fault> {
    let word = one_of(&[
        ("each", Fabric::Each),
        ("A", Fabric::Only(Side::A)),
        ("B", Fabric::Only(Side::B)),
        ("shared", Fabric::Shared),
    ]);
    move |node| {
        word(node).map_err(|fault| {
            fault.help(
                "\"each\" makes one for fabric A and one for B; \"shared\" belongs to neither",
            )
        })
    }
}

/// The port budget: `{ "100GbE" = 32 }`.
fn ports(cursor: &Cursor<'_, '_>) -> Vec<(String, u32)> {
    let Some(table) = cursor.table("ports") else {
        return Vec::new();
    };
    let mut ports = Vec::new();
    for entry in table.all() {
        let Some(technology) = wire::technology(&entry.key) else {
            let labels = labels();
            let message = format!(
                "`{}` in the port budget of {} is no link technology",
                entry.key, cursor.who
            );
            let expected = super::problem::near_or_list(&entry.key, "technologies", &labels);
            cursor.ctx.error(&entry.origin, &message, &expected, "");
            continue;
        };
        match count(0, 4096)(&entry.node) {
            Ok(number) => ports.push((technology.label.to_owned(), number)),
            Err(fault) => table.fault(&entry.key, &entry.node, &fault),
        }
    }
    ports
}

/// Every label of a link technology.
pub(super) fn labels() -> Vec<&'static str> {
    wire::technologies()
        .iter()
        .map(|technology| technology.label)
        .collect()
}

/// `"keep"`, `"drop-host-ports"`, or `{ action = "drop-host-ports", after = "200ms" }`.
fn uplink_loss(cursor: &Cursor<'_, '_>) -> UplinkLoss {
    const WHAT: &str = "when all uplinks are gone";
    const AFTER: Duration = Duration::from_ms(200);
    let words = one_of(&[
        ("keep", UplinkLoss::Keep),
        ("drop-host-ports", UplinkLoss::DropHostPorts(AFTER)),
    ]);
    let is_table = cursor.entry("on_uplink_loss").is_some_and(|entry| {
        entry
            .node
            .as_table()
            .is_some_and(|entries| entries.iter().any(|inner| inner.key == "action"))
    });
    if !is_table {
        return cursor.input("on_uplink_loss", WHAT, &words, practice("keep"));
    }
    let Some(table) = cursor.table("on_uplink_loss") else {
        return UplinkLoss::Keep;
    };
    let action = table
        .optional("action", WHAT, &words)
        .unwrap_or(UplinkLoss::Keep);
    let loss = match action {
        UplinkLoss::Keep => UplinkLoss::Keep,
        UplinkLoss::DropHostPorts(_) => UplinkLoss::DropHostPorts(table.input(
            "after",
            "host ports dropped after",
            &time,
            practice("200ms"),
        )),
    };
    table.finish();
    loss
}

/// Reads every `[[array]]`.
pub(super) fn arrays(top: &Cursor<'_, '_>, names: &Names<'_>) -> Vec<ArrayFamily> {
    (0..names.arrays.rows.len())
        .map(|index| {
            let cursor = names.arrays.cursor(top.ctx, index);
            cursor.entry("name");
            let array = ArrayFamily {
                name: names.arrays.names[index].clone(),
                controllers: cursor.input(
                    "controllers",
                    "controllers",
                    &count(1, 64),
                    practice("2"),
                ),
                parallel: cursor.input(
                    "parallel",
                    "requests worked on at once per controller",
                    &count(1, 1_000_000),
                    practice("32"),
                ),
                takeover: cursor.input(
                    "takeover",
                    "volumes of a lost controller served by its partner after",
                    &time,
                    practice("10s"),
                ),
                port_commands: cursor.input(
                    "port_commands",
                    "commands that one port accepts at once",
                    &count(1, 1_000_000),
                    practice("2048"),
                ),
                read: read_service(cursor.table_or_empty("read")),
                write: write_service(cursor.table_or_empty("write")),
            };
            cursor.finish();
            array
        })
        .collect()
}

/// Keys of the table `read` of an array.
pub(super) const READ: [&str; 4] = ["hit", "hit_time", "miss_time", "per_mib"];

fn read_service(cursor: Cursor<'_, '_>) -> ReadService {
    let [hit, hit_time, miss_time, per_mib] = READ;
    let service = ReadService {
        hit: cursor.input(hit, "share of hits", &share, practice("50%")),
        hit_time: cursor.input(hit_time, "time of a hit", &law, practice("100us")),
        miss_time: cursor.input(miss_time, "time of a miss", &law, practice("250us")),
        per_mib: cursor.input(per_mib, "added per MiB", &time, choice("0s")),
    };
    cursor.finish();
    service
}

fn write_service(cursor: Cursor<'_, '_>) -> WriteService {
    let service = WriteService {
        time: cursor.input("time", "time of a write", &law, practice("150us")),
        per_mib: cursor.input("per_mib", "added per MiB", &time, choice("0s")),
        mirror: cursor.input(
            "mirror",
            "trip to the other controller and back",
            &time,
            choice("0s"),
        ),
    };
    cursor.finish();
    service
}
