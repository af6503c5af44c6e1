//! The survivors of an outage are the site written without the lost parts.

use super::rig::{DEMO, ask, case, json, same, site};
use halfloom::outcome::Steady;
use halfloom::site::Site;

/// The demonstration site with side B alone, as one would write it: what is made on each fabric is made on B,
/// of the pair of LAN switches the second is left, and nothing can be lost.
fn demo_on(side: &str, lan: &str) -> String {
    let alone = DEMO
        .replace("fabric = \"each\"", &format!("fabric = \"{side}\""))
        .replace(
            "name = \"lan\"               # lan-1, lan-2: a pair that belongs to neither fabric\ncount = 2\n",
            &format!("name = \"{lan}\"\n"),
        )
        .replace("to = \"lan\"", &format!("to = \"{lan}\""))
        .replace("from = \"lan\"", &format!("from = \"{lan}\""));
    let (head, rest) = alone.split_once("[[outage]]").expect("outages");
    let variants = rest.split_once("[[variant]]").expect("a variant").1;
    assert!(
        !head.contains("\"each\"") && !head.contains("count = 2\n"),
        "{head}"
    );
    format!("{head}[[variant]]{variants}")
}

/// What differs by what the cases are called, and by the families' names in tiers.
fn plain(steady: &Steady, lan: &str) -> String {
    let mut steady = steady.clone();
    steady.case.name.clear();
    steady.case.outage = None;
    steady.case.lost = None;
    steady.case.carries = None;
    json(&steady)
        .replace(&format!("edge-{lan}\""), "edge-lan\"")
        .replace(&format!("\"{lan}-depot\""), "\"lan-depot\"")
        .replace(&format!("edge > {lan}\""), "edge > lan\"")
        .replace(&format!("\"{lan} > edge\""), "\"lan > edge\"")
        .replace(&format!("\"{lan} > depot\""), "\"lan > depot\"")
        .replace(&format!("depot > {lan}\""), "depot > lan\"")
}

const SHORT: [(&str, &str); 3] = [
    ("run.duration", "80ms"),
    ("run.warm_up", "20ms"),
    ("run.replications", "2"),
];

/// Byte for byte, on a site with chassis and their modules, a mesh, groups of links, cages, a Fibre Channel
/// array and an Ethernet array behind a shared pair: figures of every workload, link direction, controller,
/// host queue and path.
#[test]
fn survivors_of_the_demo_are_the_demo_with_one_side() {
    let whole = ask(&site(DEMO, &SHORT), &[], false);
    for (lost, side, lan) in [("A lost", "B", "lan-2"), ("B lost", "A", "lan-1")] {
        let alone = ask(&site(&demo_on(side, lan), &SHORT), &[], false);
        let (survivors, written) = (case(&whole, lost), case(&alone, "healthy"));
        assert!(survivors.ios > 20_000, "{}", survivors.ios);
        let (one, other) = (plain(survivors, lan), plain(written, lan));
        same(lost, &one, &other);
        // And it is not the healthy site.
        assert!(one != plain(case(&whole, "healthy"), lan));
    }
}

/// A pair of edge switches on each fabric, reached by one group over both of them.
fn across(fabric: &str) -> Site {
    let text = format!(
        r#"
format = 1
[run]
duration = "60ms"
warm_up = "10ms"
replications = 2
seed = 11
[[chassis]]
name = "bay"
count = 2
holds = {{ vm = 2 }}
[[host]]
name = "vm"
[[switch]]
name = "module"
per = "bay"
fabric = "{fabric}"
[[switch]]
name = "edge"
count = 2
fabric = "{fabric}"
[[array]]
name = "depot"
parallel = 16
read = {{ hit = "50%", hit_time = "90us", miss_time = {{ exponential = "200us" }} }}
[[link]]
from = "vm"
to = "module"
speed = "25GbE"
members = 2
[[link]]
from = "module"
to = "edge"
speed = "100GbE"
wiring = "mesh"
lag = "across"
[[link]]
from = "edge"
to = "depot"
speed = "25GbE"
wiring = "mesh"
lag = "across"
[[workload]]
name = "files"
hosts = "vm"
array = "depot"
protocol = "nvme-tcp"
read = "60%"
sizes = {{ "4KiB" = 0.5, "64KiB" = 0.5 }}
arrivals = {{ poisson = "30k/s" }}
"#
    );
    site(&text, &[])
}

#[test]
fn survivors_behind_groups_over_a_pair_are_the_site_with_one_side() {
    let whole = ask(&across("each"), &[], false);
    for (lost, side) in [("A lost", "B"), ("B lost", "A")] {
        let alone = ask(&across(side), &[], false);
        let survivors = case(&whole, lost);
        assert!(survivors.ios > 3_000);
        let written = plain(case(&alone, "healthy"), "lan");
        same(lost, &plain(survivors, "lan"), &written);
    }
}

/// One host, a switch a fabric, an array that takes 10 ms for any I/O and is never full: what arrives is completed
/// 10 ms and a few microseconds later, on one fabric as on two.
fn delay_line(arrivals: &str) -> Site {
    let text = format!(
        r#"
format = 1
[run]
duration = "420ms"
warm_up = "20ms"
replications = 3
switch_replications = 1
settle_limit = "300ms"

[[host]]
name = "app"
[[switch]]
name = "core"
[[array]]
name = "box"
controllers = 1
parallel = 4096
write = {{ time = "10ms" }}
[[link]]
from = "app"
to = "core"
speed = "1000Gb/s"
[[link]]
from = "core"
to = "box"
speed = "1000Gb/s"
[[workload]]
name = "orders"
hosts = "app"
array = "box"
protocol = "plain"
request = 100
response = 100
frame = 100
read = 0
sizes = "1B"
arrivals = {arrivals}
"#
    );
    site(&text, &[])
}

fn survivors_peak(arrivals: &str) -> (f64, f64) {
    let report = ask(&delay_line(arrivals), &["A"], true);
    let steady = &case(&report, "A lost").workloads[0];
    let peak = report.switches[0].workloads[0].survivors_peak_iops;
    assert_eq!(peak.to_bits(), steady.peak_iops.to_bits());
    (peak, steady.peak_offered_iops)
}

/// What the survivors carry is what they complete in the best whole bin of 20 ms. Paced at 10,000 a second: 200 in each
/// bin, 10,000 a second exactly, whatever the phase.
#[test]
fn what_survivors_carry_of_paced_work_is_its_rate() {
    assert_eq!(survivors_peak(r#"{ paced = "10k/s" }"#), (1e4, 1e4));
}

/// Bursts of 20 ms every 40 ms at 40,000 a second, all from 0 on: they arrive in the bins 0–20, 40–60, … and are completed
/// from 10 to 30, 50 to 70, …: half a burst in each whole bin, about 20,000 a second. 20 ms that begin anywhere would hold
/// a whole burst, 40,000 a second, which nobody keeps up for longer. The number in 10 ms is Poisson, mean 400, and the
/// largest of 20 bins lies with all but 1 in 10^6 below 400 + 6 × 20 = 520.
#[test]
fn what_survivors_carry_is_counted_in_whole_bins() {
    let bursts = r#"{ bursty = { peak = "40k/s", mean = "20k/s", burst = "20ms", every = "40ms", together = true, law = "fixed" } }"#;
    let (peak, offered) = survivors_peak(bursts);
    assert!(peak > 19_000.0 && peak < 26_000.0, "{peak}");
    assert!(offered > 39_000.0 && offered < 46_000.0, "{offered}");
}
