//! A site with a part of every kind: chassis with modules, cages, link groups, Ethernet and Fibre Channel, a pair that belongs to
//! neither fabric and is joined crosswise, adapters with several ports, and groups of one fate.

/// What tests vary of it.
pub(crate) struct EveryKind<'t> {
    /// `[run]` and `[timers]`.
    pub(crate) head: &'t str,
    /// Further lines of every host.
    pub(crate) hosts: &'t str,
    /// Further lines of the hosts with file traffic.
    pub(crate) team: &'t str,
    /// Further lines of every array.
    pub(crate) arrays: &'t str,
    /// `single` or `across`, of the links at the pair.
    pub(crate) lag: &'t str,
    /// Members of the groups between switches.
    pub(crate) members: u64,
    /// How they are chosen on Ethernet, and on Fibre Channel.
    pub(crate) choose: (&'t str, &'t str),
    /// Workloads of `db` and `rack` on `vault`, and of `vm` and `rack` on `depot`.
    pub(crate) works: &'t str,
}

impl EveryKind<'_> {
    pub(crate) fn text(&self) -> String {
        let Self {
            head,
            hosts,
            team,
            arrays,
            lag,
            members,
            choose: (ethernet, fc),
            works,
        } = self;
        format!(
            r#"
format = 1
{head}
[[chassis]]
name = "bay"
count = 2
holds = {{ db = 1, vm = 2 }}
[[host]]
name = "db"
{hosts}
[[host]]
name = "vm"
{hosts}
{team}
[[host]]
name = "rack"
count = 4
adapter_per = "fabric"
{hosts}
[[switch]]
name = "module"
per = "bay"
on_uplink_loss = {{ action = "drop-host-ports", after = "200ms" }}
[[switch]]
name = "edge"
[[switch]]
name = "san"
[[switch]]
name = "lan"
count = 2
fabric = "shared"
[[array]]
name = "vault"
controllers = 2
{arrays}
[[array]]
name = "depot"
controllers = 2
{arrays}
[[link]]
from = "db"
to = "module"
speed = "25GbE"
carries = "all"
[[link]]
from = "vm"
to = "module"
speed = "25GbE"
[[link]]
from = "module"
to = "edge"
speed = "25GbE"
members = {members}
choose = "{ethernet}"
carries = "all"
[[link]]
from = "rack"
to = "edge"
speed = "10GbE"
cage = {{ legs = 4 }}
[[link]]
from = "rack"
to = "san"
speed = "16GFC"
[[link]]
from = "edge"
to = "san"
speed = "16GFC"
cage = {{ legs = 4, lit = {members} }}
choose = "{fc}"
[[link]]
from = "san"
to = "vault"
speed = "16GFC"
ports = 2
[[link]]
from = "edge"
to = "lan"
speed = "25GbE"
wiring = "mesh"
lag = "{lag}"
[[link]]
from = "lan"
to = "depot"
speed = "10GbE"
wiring = "mesh"
{works}
[[group]]
name = "feed-1"
parts = ["edge-A", "san-A", "lan-1"]
[[group]]
name = "feed-2"
parts = ["edge-B", "san-B", "lan-2"]
"#
        )
    }
}
