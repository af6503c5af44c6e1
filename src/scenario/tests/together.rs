//! All errors at once: an error of one table hides none of another.

use super::*;

/// One error or more of every kind of table.
const ALL: &str = r#"format = 1
[run]
first = "C"
[timers]
preset = "slow"
[[chassis]]
name = "bay"
slots = "eight"
[[host]]
name = "db"
queue_depth = "many"
[[host]]
name = "vm"
paths = "shortest"
[[switch]]
name = "edge"
fabric = "each"
forwarding = "cut"
[[array]]
name = "vault"
read = { times = "100us" }
parallel = 0
[[link]]
from = "db"
to = "edge"
speed = "32GFC"
length = "40"
[[link]]
from = "vm"
to = "edge"
speed = "100GbE"
[[link]]
from = "edge"
to = "vault"
speed = "32GFC"
choose = "any"
[[shape]]
name = "office"
daily = [1]
[[workload]]
name = "orders"
hosts = "db"
array = "vault"
protocol = "fc-scsy"
arrivals = { poisson = "10k/s" }
sizes = "8KiB"
in_capsul = "4KiB"
promise = { p99 = "2" }
[[workload]]
name = "pages"
hosts = "dbb"
array = "vault"
protocol = "fc-scsi"
arrivals = { poisson = "10k/s", shape = "weekend" }
sizes = "8KiB"
promise = { p99 = "2ms", p999 = "1ms" }
[[workload]]
name = "files"
hosts = "vm"
array = "vault"
protocol = "nfs"
arrivals = { poisson = "1k/s" }
sizes = "8KiB"
[[group]]
name = "feed"
parts = ["edge-C"]
[[outage]]
name = "lan"
takes = ["lan-1"]
[[event]]
at = "100ms"
lose = "nothing"
[[event]]
at = "soon"
restore = "A"
[growth]
from = "2027-02-01"
per_year = "a lot"
[[step]]
name = "more"
date = "2020-01-01"
set = { "link.edge-vault.memberz" = 4 }
[[variant]]
name = "other"
set = { "link.nolink.members" = 4 }
"#;

/// Whatever else is wrong: names of parts and routes are looked up, growth and steps are read, options of a workload whose
/// protocol is misspelt are known, and so is what an override breaks beside all that.
#[test]
fn an_error_of_one_table_hides_none_of_another() {
    let found = read_text(ALL, &[("link.nowhere.mtu", "9000")]).expect_err("it is wrong");
    let all: Vec<&str> = found.iter().map(|own| own.message.as_str()).collect();
    for part in [
        "there is no link called `nowhere`",
        "`first` of [run] cannot be `C`",
        "`preset` of [timers] cannot be `slow`",
        "`slots` of chassis `bay` is a string",
        "`queue_depth` of host `db` is a string",
        "`paths` of host `vm` cannot be `shortest`",
        "`forwarding` of switch `edge` cannot be `cut`",
        "unknown key `times` in read of array `vault`",
        "`parallel` of array `vault` cannot be 0",
        "`length` of link `db-edge` is not a length",
        "`choose` of link `edge-vault` cannot be `any`",
        "`daily` of shape `office` has 1 factors",
        "`protocol` of workload `orders` cannot be `fc-scsy`",
        "unknown key `in_capsul` in workload `orders`",
        "`p99` of promise of workload `orders` is not a time",
        "`hosts` of workload `pages` names an unknown host `dbb`",
        "names an unknown shape `weekend`",
        "unknown key `p999` in promise of workload `pages`",
        "workload `files`: host `vm` cannot reach array `vault` with nfs",
        "no part is called `edge-C`",
        "no part is called `lan-1`",
        "no part is called `nothing`",
        "`at` of event 2 is not a time",
        "`per_year` of growth of the scenario is no growth",
        "before the day of the stated load, 2027-02-01",
        "unknown key `memberz` in link `edge-vault`",
        "there is no link called `nolink`",
    ] {
        let told = all.iter().filter(|own| own.contains(part)).count();
        assert_eq!(told, 1, "{part}: {all:#?}");
    }
    assert_eq!(all.len(), 27, "{all:#?}");
}

/// What follows from an error that changes which parts there are is not told as one more.
#[test]
fn a_name_is_not_missed_where_nobody_knows_how_many_parts_there_are() {
    let text = ALL.replace("name = \"edge\"", "name = \"edge\"\ncount = \"two\"");
    let found = read_text(&text, &[]).expect_err("it is wrong");
    let told = |part: &str| found.iter().any(|own| own.message.contains(part));
    assert!(told("`count` of switch `edge`"));
    assert!(!told("no part is called"));
    assert!(!told("cannot reach"));
}
