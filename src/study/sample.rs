//! Sites that the tests of this layer are worked out on by hand.

use crate::scenario::{Source, read};
use crate::site::Site;

/// A site from its text; the text is the test's own, so it has no mistakes.
pub(crate) fn site(text: &str) -> Site {
    site_with(text, &[])
}

/// The same with `key = value` pairs laid over it.
pub(crate) fn site_with(text: &str, set: &[(&str, &str)]) -> Site {
    let set: Vec<(String, String)> = set
        .iter()
        .map(|(key, value)| ((*key).to_owned(), (*value).to_owned()))
        .collect();
    let source = Source {
        name: "sample.toml",
        text,
    };
    match read(source, &set, &|name| Err(format!("no file {name}"))) {
        Ok(loaded) => loaded.site,
        Err(problems) => panic!("{problems:?}"),
    }
}

/// The tramways: two fabrics of three chassis and four rack hosts, `vault` on Fibre Channel behind two lit
/// legs, `depot` on Ethernet behind two shared switches. Delays are whole figures, and so are the lengths.
pub(crate) const TRAMWAYS: &str = r#"
format = 1
title = "Ostrel Valley Tramways"

[[chassis]]
name = "bay"
count = 3
holds = { db = 2, vm = 2 }

[[host]]
name = "db"
queue_depth = 64

[[host]]
name = "vm"
queue_depth = 64

[[host]]
name = "rack"
count = 4
queue_depth = 64

[[switch]]
name = "module"
per = "bay"
fabric = "each"
uplinks_max = 6
delay = "400ns"

[[switch]]
name = "edge"
fabric = "each"
ports = { "100GbE" = 32, "32GFC" = 16 }
delay = "500ns"

[[switch]]
name = "san"
fabric = "each"
ports = { "32GFC" = 24 }
delay = "700ns"

[[switch]]
name = "lan"
count = 2
fabric = "shared"
delay = "500ns"

[[array]]
name = "vault"
controllers = 2
parallel = 48
read = { hit = "60%", hit_time = "100us", miss_time = { lognormal = { median = "240us", p99 = "900us" } } }
write = { time = "150us" }

[[array]]
name = "depot"
controllers = 2
parallel = 32
read = { hit = "70%", hit_time = "120us", miss_time = { lognormal = { median = "260us", p99 = "1ms" } } }
write = { time = "180us" }

[[link]]
from = "db"
to = "module"
speed = "100GbE"
carries = "all"
mtu = 9000
length = "1m"

[[link]]
from = "vm"
to = "module"
speed = "100GbE"
carries = "all"
mtu = 9000
length = "1m"

[[link]]
from = "module"
to = "edge"
speed = "100GbE"
members = 2
carries = "all"
mtu = 9000
length = "10m"

[[link]]
from = "rack"
to = "edge"
speed = "25GbE"
mtu = 9000
cage = { legs = 4 }
length = "5m"

[[link]]
name = "edge-san"
from = "edge"
to = "san"
speed = "32GFC"
cage = { legs = 4, lit = 2 }
choose = "exchange"
length = "20m"

[[link]]
from = "san"
to = "vault"
speed = "32GFC"
ports = 2
length = "40m"

[[link]]
from = "edge"
to = "lan"
speed = "100GbE"
wiring = "mesh"
mtu = 9000
length = "30m"

[[link]]
from = "lan"
to = "depot"
speed = "25GbE"
wiring = "mesh"
mtu = 9000
length = "20m"

[[workload]]
name = "bookings"
hosts = "db"
array = "vault"
protocol = "fc-scsi"
read = "70%"
sizes = { "8KiB" = 0.6, "64KiB" = 0.4 }
arrivals = { bursty = { peak = "360k/s", mean = "200k/s", burst = "40ms", every = "200ms", together = true, law = "fixed" } }
promise = { p99 = "2ms" }

[[workload]]
name = "fleet"
hosts = "vm"
array = "depot"
protocol = "nvme-tcp"
read = "75%"
sizes = "8KiB"
arrivals = { poisson = "120k/s" }

[[workload]]
name = "archive"
hosts = "rack"
array = "depot"
protocol = "nvme-tcp"
read = 0
sizes = "256KiB"
arrivals = { paced = "6k/s" }

[[outage]]
name = "A"
takes = ["*-A", "lan-1"]

[[outage]]
name = "B"
takes = ["*-B", "lan-2"]
"#;

/// One host, one switch on fabric A, one controller: plain frames of stated sizes on stated rates.
pub(crate) const BENCH: &str = r#"
format = 1
title = "Bench"

[[host]]
name = "student"

[[switch]]
name = "bench"
fabric = "A"
delay = "1us"

[[array]]
name = "box"
controllers = 1
parallel = 10
read = { hit = "100%", hit_time = "20us" }

[[link]]
from = "student"
to = "bench"
speed = "8Gb/s"
length = "0m"

[[link]]
from = "bench"
to = "box"
speed = "4Gb/s"
length = "200m"

[[workload]]
name = "reads"
hosts = "student"
array = "box"
protocol = "plain"
request = "100B"
response = "1000B"
frame = "500B"
read = "100%"
sizes = "1000B"
arrivals = { closed = { depth = 4, think = "1us" } }
"#;

/// Where a result comes from: nothing here is printed.
pub(crate) fn origin() -> crate::outcome::Origin {
    crate::outcome::Origin {
        version: String::new(),
        title: String::new(),
        scenario: String::new(),
        digest: String::new(),
        seed: 1,
        replications: 1,
        switch_replications: 1,
        command: String::new(),
        set: Vec::new(),
    }
}
