//! How much work a review is: counted, not timed.

use super::review;
use crate::study::closed_forms;
use crate::study::estimate::{estimate, estimate_by_member_of};
use crate::study::sample::site_with;
use crate::topology::Fabric;
use crate::topology::route::TREES;
use crate::wire::protocol::PLANS;

/// Two groups of hosts on a mesh of two racks and two spines a fabric, each with an array; one with a queue depth. The counts are
/// set by the tests.
const MESH: &str = r#"
format = 1
[[host]]
name = "east"
queue_depth = 16
[[host]]
name = "west"
[[switch]]
name = "rack"
count = 2
[[switch]]
name = "spine"
count = 2
[[array]]
name = "mill"
controllers = 2
parallel = 8
read = { hit = "0%", miss_time = { exponential = "100us" } }
write = { time = "150us" }
[[array]]
name = "barn"
controllers = 2
parallel = 8
read = { hit = "0%", miss_time = { exponential = "100us" } }
write = { time = "150us" }
[[link]]
from = "east"
to = "rack"
speed = "25GbE"
[[link]]
from = "west"
to = "rack"
speed = "25GbE"
[[link]]
from = "rack"
to = "spine"
speed = "100GbE"
wiring = "mesh"
[[link]]
from = "spine"
to = "mill"
speed = "25GbE"
wiring = "mesh"
[[link]]
from = "spine"
to = "barn"
speed = "25GbE"
wiring = "mesh"
[[workload]]
name = "grist"
hosts = "east"
array = "mill"
protocol = "nvme-tcp"
read = "70%"
sizes = { "4KiB" = 0.9, "64KiB" = 0.1 }
arrivals = { poisson = "20k/s" }
promise = { p99 = "5ms" }
[[workload]]
name = "hay"
hosts = "west"
array = "barn"
protocol = "iscsi"
read = "70%"
sizes = { "4KiB" = 0.9, "64KiB" = 0.1 }
arrivals = { poisson = "20k/s" }
promise = { p99 = "5ms" }
"#;

/// Messages planned by a review of the mesh with so many hosts in each group.
fn planned(hosts: &str) -> u64 {
    let counts = [("host.east.count", hosts), ("host.west.count", hosts)];
    let site = site_with(MESH, &counts);
    on_one_thread(|| {
        let before = PLANS.get();
        let found = review(&site);
        // The controllers and what waits before them are told of.
        assert!(found.theory.iter().any(|row| row.figure == "mean wait"));
        PLANS.get() - before
    })
}

/// On a thread of its own, which the counters of work belong to: nothing is handed to others.
fn on_one_thread<T: Send>(work: impl FnOnce() -> T + Send) -> T {
    let pool = rayon::ThreadPoolBuilder::new().num_threads(1).build();
    pool.expect("a thread").install(work)
}

#[test]
fn messages_are_planned_for_kinds_of_work_and_not_for_hosts() {
    let few = planned("10");
    assert!(few > 0);
    assert_eq!(planned("40"), few);
}

#[test]
fn ways_that_an_estimate_has_found_are_not_looked_for_again() {
    let counts = [("host.east.count", "10"), ("host.west.count", "10")];
    let site = site_with(MESH, &counts);
    let fabric = Fabric::new(&site);
    on_one_thread(|| {
        let start = TREES.get();
        let known = estimate(&site, &fabric);
        let found = TREES.get();
        assert!(found > start);
        let members = estimate_by_member_of(&site, &fabric, &known);
        assert_eq!(members.cases.len(), 3);
        let rows = closed_forms::rows(&site, &fabric, &known);
        assert!(rows.iter().any(|row| row.figure == "stall"));
        assert_eq!(TREES.get(), found);
    });
}
