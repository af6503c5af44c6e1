//! What must be equal whatever the figures are: survivors and the site written without the lost side, a site
//! and its mirror image, a run and its repetition, a host and the same host beside strangers.

use super::rig::{LIMITS, MS, direction, direction_names, site, steady, watch};
use halfloom::measure::Histogram;
use halfloom::model::{
    BudgetSums, Compiled, DirectionTally, FlowCell, KindTally, Stop, Tally, World,
};
use halfloom::site::Site;
use halfloom::unit::{Duration, Instant, Side};

/// Exact figures of a histogram, and some of its buckets.
type Times = (u64, u128, Option<Duration>, Option<Duration>, Vec<Duration>);

fn times(histogram: &Histogram) -> Times {
    (
        histogram.count(),
        histogram.sum(),
        histogram.min(),
        histogram.max(),
        histogram.points().map(|(_, time)| time).collect(),
    )
}

/// Everything about a workload that a steady run counts.
#[derive(Debug, PartialEq)]
struct Work {
    totals: [u64; 6],
    kinds: Vec<([u64; 4], Times)>,
    budget: BudgetSums,
    above: Vec<(u64, u64)>,
    bins: Vec<FlowCell>,
}

fn work(tally: &Tally, index: usize) -> Work {
    let work = &tally.workloads[index];
    let kind = |kind: &KindTally| {
        let counts = [kind.arrived, kind.failed, kind.completed, kind.bytes];
        (counts, times(&kind.latency))
    };
    Work {
        totals: [
            work.issued_total,
            work.completed_total,
            work.failed_total,
            work.retried,
            work.late,
            work.resent,
        ],
        kinds: [&work.reads, &work.writes].map(kind).into(),
        budget: work.budget.clone(),
        above: work.above.clone(),
        bins: work.series.bins().to_vec(),
    }
}

fn works(tally: &Tally) -> Vec<Work> {
    (0..tally.workloads.len())
        .map(|index| work(tally, index))
        .collect()
}

/// Everything about a direction.
type Traffic = ([u64; 12], Times);

fn traffic(direction: &DirectionTally) -> Traffic {
    (
        [
            direction.frames,
            direction.payload,
            direction.bytes,
            direction.busy,
            direction.up,
            direction.queue_max,
            direction.ahead_max,
            direction.offered,
            direction.delivered,
            direction.dropped + direction.cut,
            direction.busy_total,
            direction.busy_until.0,
        ],
        times(&direction.wait),
    )
}

/// By name, in order of the names. Two link families between the same switches make directions of the same
/// name, so that of the family goes with it.
fn directions(compiled: &Compiled, tally: &Tally) -> Vec<(String, Traffic)> {
    let names = direction_names(compiled);
    let families = compiled.fabric.directions.iter().map(|d| d.family);
    let mut all: Vec<(String, Traffic)> = names
        .into_iter()
        .zip(families)
        .map(|(name, family)| format!("{name} over {}", compiled.site.links[family].name))
        .zip(tally.directions.iter().map(traffic))
        .collect();
    all.sort_by(|left, right| left.0.cmp(&right.0));
    all
}

/// Two tiers of switches, groups of links, two controllers, two protocols, reads and writes, service times
/// that vary. `fabric` is where the switches stand, `first` the side whose paths come first.
fn two_tiers(fabric: &str, first: &str, seed: u64) -> Site {
    site(&format!(
        r#"
format = 1
[run]
first = "{first}"
seed = {seed}
[[host]]
name = "db"
count = 5
[[host]]
name = "vm"
count = 3
paths = "round-robin"
[[switch]]
name = "edge"
fabric = "{fabric}"
[[switch]]
name = "core"
fabric = "{fabric}"
forwarding = "store-and-forward"
[[array]]
name = "box"
controllers = 2
parallel = 6
read = {{ hit = "60%", hit_time = "60us", miss_time = {{ lognormal = {{ median = "200us", p99 = "900us" }} }} }}
write = {{ time = {{ exponential = "100us" }}, mirror = "15us" }}
[[link]]
from = "db"
to = "edge"
speed = "32GFC"
[[link]]
name = "fc-trunk"
from = "edge"
to = "core"
speed = "32GFC"
members = 2
choose = "exchange"
[[link]]
name = "fc-ports"
from = "core"
to = "box"
speed = "32GFC"
ports = 2
[[link]]
from = "vm"
to = "edge"
speed = "25GbE"
[[link]]
name = "ip-trunk"
from = "edge"
to = "core"
speed = "25GbE"
members = 3
choose = "flow"
[[link]]
name = "ip-ports"
from = "core"
to = "box"
speed = "25GbE"
[[workload]]
name = "orders"
hosts = "db"
array = "box"
protocol = "fc-scsi"
read = "70%"
sizes = {{ "8KiB" = 0.8, "64KiB" = 0.2 }}
arrivals = {{ poisson = "30k/s" }}
promise = {{ p99 = "1ms", p50 = "250us" }}
[[workload]]
name = "files"
hosts = "vm"
array = "box"
protocol = "nvme-tcp"
read = "50%"
sizes = "32KiB"
arrivals = {{ poisson = "15k/s" }}
"#
    ))
}

fn first_run(compiled: &Compiled) -> Tally {
    steady(compiled, 0, 10 * MS, 60 * MS)
}

/// A site that has lost a fabric, and has got over it, is the site written without it.
#[test]
fn survivors_are_the_site_without_the_lost_side() {
    let whole = two_tiers("each", "A", 1);
    for side in Side::BOTH {
        let healthy = Compiled::new(&whole, &[]);
        let lost = healthy.fabric.members_of(&[], Some(side));
        let survivors = Compiled::new(&whole, &lost);
        let alone = Compiled::new(&two_tiers(side.other().letter(), "A", 1), &[]);
        let (one, other) = (first_run(&survivors), first_run(&alone));
        assert!(one.workloads[0].completed_total > 1_000);
        assert_eq!(works(&one), works(&other), "without {side}");
        assert_eq!(one.paths, other.paths);
        // The survivors have the directions of the lost side too, silent ones.
        let there = directions(&alone, &other);
        for (name, traffic) in directions(&survivors, &one) {
            match there.iter().find(|(known, _)| *known == name) {
                Some((_, expected)) => assert_eq!(traffic, *expected, "{name}"),
                None => assert_eq!((traffic.0[2], traffic.0[7]), (0, 0), "{name}"),
            }
        }
        // And it is another site than the healthy one.
        assert_ne!(works(&one), works(&first_run(&healthy)));
    }
}

/// `edge-A` and `db-1:A1` in the mirror.
fn mirrored(name: &str) -> String {
    let swapped = |text: &str, mark: char| {
        text.replace(&format!("{mark}A"), "\u{0}")
            .replace(&format!("{mark}B"), &format!("{mark}A"))
            .replace('\u{0}', &format!("{mark}B"))
    };
    swapped(&swapped(name, '-'), ':')
}

/// The traffic of the directions of `one` must be that of their mirror images in `other`.
fn mirror_images(one: (&Compiled, &Tally), other: (&Compiled, &Tally)) {
    assert_eq!(works(one.1), works(other.1));
    let mut images: Vec<(String, Traffic)> = directions(other.0, other.1)
        .into_iter()
        .map(|(name, traffic)| (mirrored(&name), traffic))
        .collect();
    images.sort_by(|left, right| left.0.cmp(&right.0));
    assert_eq!(directions(one.0, one.1), images);
}

/// A site whose fabrics are equal, with B first: everything that A carried, B carries.
#[test]
fn a_site_with_b_first_is_its_mirror_image() {
    let [a, b] = ["A", "B"].map(|first| Compiled::new(&two_tiers("each", first, 1), &[]));
    let [one, other] = [&a, &b].map(first_run);
    mirror_images((&a, &one), (&b, &other));
    // The image is not the thing itself: the two fabrics do not carry the same.
    assert_ne!(directions(&a, &one), directions(&b, &other));
}

/// A site with unequal fabrics: `near` is fast and has a longer way, `far` is slow.
fn unequal(near: &str, far: &str) -> Site {
    site(&format!(
        r#"
format = 1
[run]
first = "{near}"
[[host]]
name = "db"
count = 4
queue_depth = 4
[[switch]]
name = "fast"
fabric = "{near}"
[[switch]]
name = "slow"
fabric = "{far}"
delay = "2us"
[[array]]
name = "box"
parallel = 8
[[link]]
from = "db"
to = "fast"
speed = "32GFC"
length = "900m"
[[link]]
from = "fast"
to = "box"
speed = "32GFC"
[[link]]
from = "db"
to = "slow"
speed = "8GFC"
[[link]]
from = "slow"
to = "box"
speed = "16GFC"
ports = 2
[[workload]]
name = "orders"
hosts = "db"
array = "box"
protocol = "fc-nvme"
sizes = {{ "4KiB" = 0.5, "128KiB" = 0.5 }}
arrivals = {{ poisson = "20k/s" }}
"#
    ))
}

/// What stood on A stands on B and the other way round, and B comes first.
#[test]
fn a_site_with_its_sides_swapped_is_its_mirror_image() {
    let a = Compiled::new(&unequal("A", "B"), &[]);
    let b = Compiled::new(&unequal("B", "A"), &[]);
    let [one, other] = [&a, &b].map(first_run);
    mirror_images((&a, &one), (&b, &other));
}

/// At 1 % of the slower fabric's rate, with one size and one service time, least-queue deals I/Os out in turn:
/// the two fabrics differ by at most one at every host, whichever comes first.
#[test]
fn an_idle_site_favours_no_fabric() {
    let text = |policy: &str| {
        format!(
            r#"
format = 1
[[host]]
name = "db"
count = 7
paths = "{policy}"
[[switch]]
name = "core"
[[array]]
name = "box"
controllers = 1
parallel = 64
read = {{ hit = "100%", hit_time = "100us" }}
[[link]]
from = "db"
to = "core"
speed = "32GFC"
[[link]]
from = "core"
to = "box"
speed = "32GFC"
[[workload]]
name = "orders"
hosts = "db"
array = "box"
protocol = "fc-scsi"
read = "100%"
sizes = "8KiB"
arrivals = {{ poisson = "4k/s" }}
"#
        )
    };
    // Each command is one frame.
    let sent = |policy: &str| -> Vec<(u64, u64)> {
        let compiled = Compiled::new(&site(&text(policy)), &[]);
        let tally = steady(&compiled, 0, 0, 500 * MS);
        // 2 × 27.2 Gb/s carry 780,000 reads of 8516 B a second; 4000 are half a per cent.
        assert!(tally.workloads[0].completed_total > 1_800);
        (1..=7)
            .map(|host| {
                let of = |side| {
                    let name = format!("db-{host}:{side}1 > core-{side}");
                    direction(&compiled, &tally, &name).delivered
                };
                (of('A'), of('B'))
            })
            .collect()
    };
    let counts = sent("least-queue");
    for (a, b) in &counts {
        assert!(a.abs_diff(*b) <= 1, "{counts:?}");
    }
    let (a, b) = counts
        .iter()
        .fold((0, 0), |sum, (a, b)| (sum.0 + a, sum.1 + b));
    assert!(a.abs_diff(b) <= 7, "{counts:?}");
    // Not so at random: the test can fail.
    assert!(sent("random").iter().any(|(a, b)| a.abs_diff(*b) > 1));
}

/// The same seed and replication give the same run; others do not.
#[test]
fn a_run_can_be_repeated() {
    let compiled = Compiled::new(&two_tiers("each", "A", 7), &[]);
    let all = |tally: &Tally| (works(tally), directions(&compiled, tally), tally.events);
    let one = all(&first_run(&compiled));
    assert_eq!(one, all(&first_run(&compiled)));
    assert_eq!(
        one,
        all(&first_run(&Compiled::new(&two_tiers("each", "A", 7), &[])))
    );
    let replication = steady(&compiled, 1, 10 * MS, 60 * MS);
    assert_ne!(one.0, works(&replication));
    let seed = Compiled::new(&two_tiers("each", "A", 8), &[]);
    assert_ne!(one.0, works(&first_run(&seed)));
}

/// A family of hosts with work of its own, read before the others and so numbered before them. Apart, on its
/// own switch and array, it changes nothing at all for the others; on the same switch and array it changes
/// what they wait for, and not what they ask for and when.
#[test]
fn a_stranger_shifts_no_draws() {
    let stranger = |switch: &str, array: &str| {
        format!(
            r#"
[[host]]
name = "aa"
count = 3
[[switch]]
name = "{switch}"
[[array]]
name = "{array}"
[[link]]
from = "aa"
to = "{switch}"
speed = "32GFC"
[[link]]
from = "{switch}"
to = "{array}"
speed = "32GFC"
[[workload]]
name = "batch"
hosts = "aa"
array = "{array}"
protocol = "fc-scsi"
sizes = "256KiB"
arrivals = {{ poisson = "8k/s" }}
"#
        )
    };
    let known = r#"
[[host]]
name = "db"
count = 4
[[switch]]
name = "core"
[[array]]
name = "box"
parallel = 4
[[link]]
from = "db"
to = "core"
speed = "32GFC"
[[link]]
from = "core"
to = "box"
speed = "32GFC"
[[workload]]
name = "orders"
hosts = "db"
array = "box"
protocol = "fc-scsi"
sizes = { "8KiB" = 0.5, "32KiB" = 0.5 }
arrivals = { poisson = "20k/s" }
"#;
    let run = |text: &str| {
        let compiled = Compiled::new(&site(&format!("format = 1\n{text}")), &[]);
        // All runs end together, long after the last I/O of the window.
        let mut world = World::new(&compiled, 0, watch(10 * MS, 60 * MS), LIMITS);
        world.run_until(Instant(100 * MS), Stop::AtTheTime);
        let tally = world.finish();
        let own = compiled
            .site
            .workloads
            .iter()
            .position(|w| w.name == "orders");
        work(&tally, own.unwrap())
    };
    let alone = run(known);
    let mut apart = run(&format!("{}{known}", stranger("other", "store")));
    // The stranger's links stand first, and so do their tiers, in which nothing waits.
    assert_eq!(apart.budget.queueing[..4], [0; 4]);
    apart.budget.queueing.drain(..4);
    assert_eq!(alone, apart);
    let shared = stranger("core", "box")
        .replace(
            "[[switch]]\nname = \"core\"\n[[array]]\nname = \"box\"\n",
            "",
        )
        .replace(
            "[[link]]\nfrom = \"core\"\nto = \"box\"\nspeed = \"32GFC\"\n",
            "",
        );
    let beside = run(&format!("{shared}{known}"));
    // As many I/Os of each kind in the window, at the same times: arrivals are equal in every bin.
    for kind in 0..2 {
        assert_eq!(alone.kinds[kind].0[0], beside.kinds[kind].0[0]);
    }
    let arrived = |work: &Work| -> Vec<u64> { work.bins.iter().map(|bin| bin.arrived).collect() };
    assert_eq!(arrived(&alone), arrived(&beside));
    assert_eq!(alone.budget.service, beside.budget.service);
    assert_eq!(alone.budget.mirror, beside.budget.mirror);
    // They do wait for the stranger.
    assert!(beside.budget.queueing.iter().sum::<u128>() > alone.budget.queueing.iter().sum());
}
