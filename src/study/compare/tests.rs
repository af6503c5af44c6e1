use super::*;
use crate::outcome::{Inventory, PartDifference};
use crate::study::NoProgress;
use crate::study::inventory::inventory;
use crate::study::sample::{TRAMWAYS, origin, site_with};

const QUICK: [(&str, &str); 3] = [
    ("run.duration", "20ms"),
    ("run.warm_up", "4ms"),
    ("run.replications", "4"),
];

fn design(set: &[(&str, &str)]) -> Design {
    Design {
        name: set.last().map_or("as it is", |pair| pair.1).to_owned(),
        site: site_with(TRAMWAYS, &[&QUICK, set].concat()),
        digest: String::new(),
        set: Vec::new(),
    }
}

fn compared(designs: &[Design]) -> Comparison {
    compare(designs, origin(), Some(&[]), None, &NoProgress)
}

#[test]
fn a_design_differs_from_itself_by_exactly_nothing() {
    let found = compared(&[design(&[]), design(&[])]);
    assert!(found.differences.len() >= 3 && found.part_differences.len() >= 3);
    for row in &found.differences {
        assert_eq!(row.change, Change::Same, "{row:?}");
        let difference = row.difference.expect("nothing is saturated");
        assert_eq!(
            (difference.value, difference.low, difference.high),
            (0.0, Some(0.0), Some(0.0))
        );
    }
    for row in &found.part_differences {
        assert_eq!(
            (row.change, row.difference.map(|it| it.value)),
            (Change::Same, Some(0.0))
        );
    }
    assert_eq!(found.designs[0].matrix, found.designs[1].matrix);
    assert_eq!(found.designs[0].inventory, found.designs[1].inventory);
}

#[test]
fn a_slower_link_is_worse_and_an_array_that_serves_faster_is_better() {
    let slower = design(&[("array.depot.write.time", "\"240us\"")]);
    let faster = design(&[("array.depot.write.time", "\"160us\"")]);
    let found = compared(&[design(&[]), slower, faster]);
    // A constant 60 us more, 20 us less, of each write; `fleet` writes a quarter of its I/Os.
    let of = |design: usize| {
        let mut rows = found
            .differences
            .iter()
            .filter(|row| row.design == design && row.measure == MeasureKind::Mean);
        rows.find(|row| row.workload == "fleet")
            .expect("it is in both")
    };
    assert_eq!(of(1).change, Change::Worse);
    assert_eq!(of(2).change, Change::Better);
    let (up, down) = (of(1).difference.unwrap(), of(2).difference.unwrap());
    assert!(up.low.unwrap() > 0.0 && down.high.unwrap() < 0.0);
    // Half idle as the array is, hardly anything waits: a quarter of the change, and a little more of waiting.
    // 120k/s for 16 ms, four times, are 7680 I/Os, so the share of writes has a deviation of 0.0049: below the
    // quarter by 3.5 of them at most.
    assert!((13.9..18.0).contains(&up.value), "{}", up.value);
    assert!((-6.0..-4.6).contains(&down.value), "{}", down.value);
}

/// A design with more ports of a speed than its switches have is told to be one, and the others are not.
#[test]
fn a_design_beyond_the_ports_of_its_switch_says_so() {
    let few = design(&[("switch.san.ports", "{ \"32GFC\" = 2 }")]);
    let found = compared(&[design(&[]), few]);
    let said: Vec<&String> = found
        .notes
        .iter()
        .filter(|note| note.contains("port budget"))
        .collect();
    assert!(!said.is_empty());
    for note in said {
        assert!(
            note.starts_with("{ \"32GFC\" = 2 }: port budget, "),
            "{note}"
        );
        assert!(
            note.contains(" ports of 32GFC used, 2 there: it cannot be built"),
            "{note}"
        );
    }
}

/// 9,700 I/Os a second that come evenly are 36.86 in the window of 3.8 ms, so 36 or 37 by where it ends; a longer service moves the ends,
/// and one I/O fewer in each replication, always, is no difference of throughput that the run can show.
#[test]
fn one_io_at_the_end_of_the_window_is_no_difference_of_throughput() {
    let paced = |time: &str| {
        let mut own = server(3, &[("array.box.write.time", time)]);
        own.site.workloads[0].arrivals = crate::site::Arrivals::Paced(9_700.0);
        own
    };
    let mut seen = 0;
    for time in [
        "\"30us\"", "\"40us\"", "\"50us\"", "\"60us\"", "\"70us\"", "\"80us\"", "\"90us\"",
    ] {
        let found = compared(&[paced("\"20us\""), paced(time)]);
        let own = |row: &&Difference| row.measure == MeasureKind::Throughput;
        let row = found.differences.iter().find(own).expect("it is compared");
        let difference = row.difference.expect("there are runs");
        seen += u32::from(difference.value != 0.0);
        assert!(
            matches!(row.change, Change::Same | Change::NotShown),
            "{time}: {row:?}"
        );
        let ends = difference.low.zip(difference.high).expect("an interval");
        assert!(
            difference.value == 0.0 || ends.0 <= 0.0 && ends.1 >= 0.0,
            "{time}: {row:?}"
        );
    }
    assert!(seen > 0, "no service takes an I/O over the end");
}

/// Twice the work is no worse design, and its I/Os are not the same.
#[test]
fn other_work_is_told_and_not_called_the_same() {
    let paired = |found: &Comparison| found.notes[0].contains("the same I/Os");
    let told = |found: &Comparison| {
        let own = |note: &&String| note.contains("its work is not that of the first design");
        found.notes.iter().find(own).cloned()
    };
    let faster = compared(&[
        design(&[]),
        design(&[("array.depot.write.time", "\"160us\"")]),
    ]);
    assert!(paired(&faster) && told(&faster).is_none());
    let mut more = design(&[]);
    let work = more
        .site
        .workloads
        .iter_mut()
        .find(|work| work.name == "fleet")
        .expect("it is there");
    work.read *= 0.5;
    let found = compared(&[design(&[]), more]);
    assert!(!paired(&found), "{:?}", found.notes);
    let said = told(&found).expect("it is told");
    assert!(said.contains("(fleet: share of reads)"), "{said}");
    let hosts = design(&[("chassis.bay.holds.vm", "3")]);
    let found = compared(&[design(&[]), hosts]);
    let said = told(&found).expect("it is told");
    assert!(said.contains("hosts") && !paired(&found), "{said}");
}

#[test]
fn one_replication_shows_no_difference_and_what_is_missing_is_said() {
    let set = [
        ("run.replications", "1"),
        ("array.vault.write.time", "\"450us\""),
    ];
    let mut other = design(&set);
    other.site.workloads[0].name = "renamed".to_owned();
    let mut first = design(&[]);
    first.site.run.replications = 1;
    let found = compared(&[first, other]);
    assert!(
        found
            .differences
            .iter()
            .all(|row| matches!(row.change, Change::Same | Change::NotShown))
    );
    assert!(found.notes.iter().any(|note| note.contains("`renamed`")));
}

#[test]
fn more_members_are_more_cables_and_ports() {
    let one = inventory(&design(&[]).site);
    let more = inventory(&design(&[("link.module-edge.members", "3")]).site);
    let cables = |of: &Inventory| of.cables.iter().find(|row| row.0 == "100GbE").unwrap().1;
    let ports = |of: &Inventory| of.ports.iter().find(|row| row.0 == "100GbE").unwrap().1;
    // Three chassis, a module on each fabric: six groups, a member more each.
    assert_eq!(cables(&more) - cables(&one), 6);
    assert_eq!(ports(&more) - ports(&one), 12);
    assert_eq!((one.modules, one.hosts, one.controllers), (6, 16, 4));
}

/// Two dark legs lit on each side: four legs of 32GFC end in four more ports, each with an optic. At 900 a port and 150 an
/// optic that is 4200; without a price for optics they cost nothing, and what the list lacks is named. The gain stands beside it.
#[test]
fn what_a_design_costs_stands_beside_what_it_gains() {
    let priced = |text: &str| {
        let list = list_of(text).expect("it can be read");
        let designs = [design(&[]), design(&[("link.edge-san.cage.lit", "4")])];
        compare(&designs, origin(), Some(&[]), Some(&list), &NoProgress)
    };
    let found = priced("item,of,price\nport,32GFC,900\noptic,32GFC,150\n");
    assert!(found.priced);
    let [first, second] = &found.designs[..] else {
        panic!("two designs");
    };
    assert_eq!(
        (first.changes.price, first.changes.parts.len()),
        (Some(0.0), 0)
    );
    assert_eq!(second.changes.price, Some(4.0 * 900.0 + 4.0 * 150.0));
    assert_eq!(
        (second.frees.price, second.dearer()),
        (Some(0.0), second.changes.price)
    );
    // The other way round it takes nothing, and as much becomes free.
    let designs = [design(&[("link.edge-san.cage.lit", "4")]), design(&[])];
    let list = list_of("item,of,price\nport,32GFC,900\noptic,32GFC,150\n").expect("it can be read");
    let back = compare(&designs, origin(), Some(&[]), Some(&list), &NoProgress);
    assert_eq!(
        (back.designs[1].changes.price, back.designs[1].dearer()),
        (Some(0.0), Some(-4200.0))
    );
    let only_ports = priced("item,of,price\nport,32GFC,900\n");
    assert_eq!(only_ports.designs[1].changes.price, Some(3600.0));
    let lacking = priced("item,of,price\nport,16GFC,900\n");
    assert_eq!(lacking.designs[1].changes.price, None);
    assert_eq!(lacking.designs[1].changes.unpriced, ["port 32GFC"]);
    // One more host and one more switch are devices with prices of their own.
    let list = list_of(
        "item,of,price\nhost,rack,8000\ncable,25GbE,1\nport,25GbE,2\ncable,4 × 25GbE in a cage,3\nport,4 × 25GbE in a cage,4\n",
    )
    .expect("it can be read");
    let designs = [design(&[]), design(&[("host.rack.count", "5")])];
    let found = compare(&designs, origin(), Some(&[]), Some(&list), &NoProgress);
    let takes = &found.designs[1].changes;
    assert!(
        takes
            .parts
            .iter()
            .any(|p| p.kind == "host" && p.of == "rack" && p.count == 1)
    );
    // The fifth host needs a leg, with its port, of one more cage on each fabric.
    assert_eq!(takes.price, Some(8000.0 + 2.0 * (3.0 + 4.0 + 2.0)));
}

/// A seed, a duration and an outage are no settings of a design; a path policy is one.
#[test]
fn how_a_design_is_run_is_no_setting_of_it() {
    use crate::study::remedy::{Optics, changes};
    let site = design(&[]).site;
    let set = |keys: &[&str]| {
        let set: Vec<(String, String)> = keys
            .iter()
            .map(|key| ((*key).to_owned(), "1".to_owned()))
            .collect();
        changes(&site, &site, &set, None, Optics::Counted)
    };
    let run = set(&["run.seed", "run.duration", "outage.A.takes", "title"]);
    assert_eq!((run.settings, run.parts.len()), (0, 0));
    assert_eq!(set(&["run.seed", "host.db.paths"]).settings, 1);
    // Controllers are counted as what they are.
    assert_eq!(set(&["array.vault.controllers"]).settings, 0);
    // What is warned to have no effect is none either.
    let timers = ["host.db.timers.lag_rehash", "host.db.timers.fast_io_fail"];
    assert_eq!((set(&timers[..1]).settings, set(&timers).settings), (0, 1));
}

/// A link of its own from the edge to the Ethernet array: a part that the first design has not.
#[test]
fn a_part_of_one_design_is_shown_as_such() {
    let link = "\n[[link]]\nfrom = \"edge\"\nto = \"depot\"\nspeed = \"25GbE\"\nwiring = \"mesh\"\nmtu = 9000\n";
    let other = Design {
        site: site_with(&format!("{TRAMWAYS}{link}"), &QUICK),
        ..design(&[])
    };
    let is_new = |row: &&PartDifference| row.part.contains("edge") && row.part.contains("depot");
    for (designs, first, value) in [
        ([design(&[]), other.clone()], false, true),
        ([other, design(&[])], true, false),
    ] {
        let found = compared(&designs);
        let mut rows = found.part_differences.iter();
        let row = rows.find(is_new).expect("one of them has it");
        assert_eq!(
            (row.first_percent.is_some(), row.value_percent.is_some()),
            (first, value)
        );
        assert_eq!((row.difference, row.change), (None, Change::NotShown));
    }
}

#[test]
fn a_percentile_that_differs_by_less_than_its_buckets_is_neither_better_nor_worse() {
    // One bucket of 700 further in every replication: no spread at all, and yet nothing that could be told.
    let (first, value) = ([700.0; 3], [695.8; 3]);
    let step = resolution(&first, &value);
    assert!((step - 700.0 / 128.0).abs() < 1e-9);
    let found = difference(&first, &value, step);
    assert_eq!(change(&found, false), Change::NotShown);
    let shown = signed(&found);
    assert!(shown.low.expect("three runs") < 0.0 && shown.high.expect("three runs") > 0.0);
    // A mean is exact, and a step beyond the bucket is one.
    assert_eq!(
        change(&difference(&first, &value, 0.0), false),
        Change::Better
    );
    let value = [690.0; 3];
    assert_eq!(
        change(&difference(&first, &value, step), false),
        Change::Better
    );
}

#[test]
fn the_rounding_of_a_sum_is_no_difference() {
    let first = [0.1 + 0.2, 1.0, 2.0];
    let value = [0.3, 1.0, 2.0];
    assert!(first != value, "or nothing is tested");
    let found = difference(&first, &value, 0.0);
    assert_eq!((found.value, found.half_width), (0.0, Some(0.0)));
    assert_eq!(change(&found, false), Change::Same);
}

/// Differences of both signs that cancel leave no dust behind, and are no proof that nothing differs either.
#[test]
fn what_is_left_of_differences_that_cancel_is_nothing() {
    let (first, value) = ([0.1, 0.2, 0.3, 0.7], [0.2, 0.7, 0.1, 0.3]);
    let sum: f64 = first
        .iter()
        .zip(value)
        .map(|(first, value)| value - first)
        .sum();
    assert!(sum != 0.0, "or nothing is tested");
    let found = difference(&first, &value, 0.0);
    assert_eq!(found.value, 0.0);
    assert_eq!(change(&found, false), Change::NotShown);
}

/// A faster link takes cables, ports and optics of its own, with or without a price list, and frees as many of the old.
#[test]
fn a_link_of_another_speed_takes_optics_too() {
    let designs = [design(&[]), design(&[("link.edge-san.speed", "64GFC")])];
    let count = |changes: &crate::outcome::Changes, kind: &str, of: &str| {
        let mut parts = changes
            .parts
            .iter()
            .filter(|part| part.kind == kind && part.of == of);
        parts.next().map_or(0, |part| part.count)
    };
    let found = compared(&designs);
    let row = &found.designs[1];
    // Two lit legs on each fabric, an optic at the end of each.
    assert_eq!(count(&row.changes, "optic", "64GFC"), 4);
    assert_eq!(count(&row.changes, "port", "64GFC"), 4);
    assert_eq!(count(&row.frees, "optic", "32GFC"), 4);
    let list = list_of(
        "item,of,price\nport,64GFC,900\nport,32GFC,1\ncable,4 × 64GFC in a cage,5\nport,4 × 64GFC in a cage,7\n",
    );
    let list = list.expect("it can be read");
    let priced = compare(&designs, origin(), Some(&[]), Some(&list), &NoProgress);
    assert_eq!(
        priced.designs[1].changes.price,
        Some(4.0 * 900.0 + 2.0 * (5.0 + 7.0))
    );
    assert!(
        priced
            .notes
            .iter()
            .any(|note| note.contains("names no optic"))
    );
}

fn list_of(text: &str) -> Result<PriceList, Vec<crate::scenario::Problem>> {
    crate::scenario::prices("p.csv", text).map(PriceList::new)
}

/// Hosts with a link on each fabric to one server of a constant time; `set` changes it.
fn server(seed: u32, set: &[(&str, &str)]) -> Design {
    let text = format!(
        "format = 1\n[run]\nseed = {seed}\nduration = \"4ms\"\nwarm_up = \"200us\"\nreplications = 8\n[[host]]\nname = \"app\"\n\
         [[switch]]\nname = \"core\"\nfabric = \"each\"\ndelay = \"0s\"\n[[array]]\nname = \"box\"\ncontrollers = 1\nparallel = 1\n\
         write = {{ time = \"1us\" }}\n[[link]]\nname = \"cable\"\nfrom = \"app\"\nto = \"core\"\nspeed = \"1000Gb/s\"\n\
         propagation = \"0s\"\n[[link]]\nname = \"port\"\nfrom = \"core\"\nto = \"box\"\nspeed = \"1000Gb/s\"\n\
         propagation = \"0s\"\n[[workload]]\nname = \"w\"\nhosts = \"app\"\n\
         array = \"box\"\nprotocol = \"plain\"\nrequest = 1250\nresponse = 1\nframe = 1250\nread = 0\n\
         arrivals = {{ poisson = \"500k/s\" }}\n"
    );
    Design {
        site: site_with(&text, set),
        ..design(&[])
    }
}

/// M/D/1 with 500k/s: a mean of s (2 − ρ) ÷ 2 (1 − ρ), 1.5 us where a service takes s = 1 us and 16/15 us where it takes 0.8 us (L.
/// Kleinrock, *Queueing Systems*, vol. 1, chapter 5, from memory); the wire takes the same of both, and both bring the same. Of 100
/// intervals of 95 % fewer than 89 hold the truth with a chance of 0.4 %, and all of them with one of 0.6 %. A request may wait for
/// another on a link, 10 ns each, alike in both.
#[test]
fn intervals_of_paired_differences_hold_the_known_difference() {
    let truth = 16.0 / 15.0 - 1.5;
    let (mut held, mut told, mut width) = (0, 0, 0.0);
    for seed in 1..=100 {
        let faster = ("array.box.write.time", "\"800ns\"");
        let designs = [server(seed, &[]), server(seed, &[faster])];
        let found = compared(&designs);
        let of = |measure: MeasureKind| {
            let own = |row: &&Difference| row.measure == measure;
            found.differences.iter().find(own).expect("it is compared")
        };
        let row = of(MeasureKind::Mean);
        let (low, high) = row.difference.and_then(|it| it.ends()).expect("eight runs");
        held += u32::from(low <= truth && truth <= high);
        width += (high - low) / 100.0;
        assert_eq!(row.change, Change::Better, "{row:?}");
        told += u32::from(of(MeasureKind::Throughput).change != Change::NotShown);
    }
    assert!((89..=99).contains(&held), "{held} of 100 hold {truth}");
    // An interval that says nothing holds everything.
    assert!(width < 0.1, "{width} us wide on the mean");
    // Four or more of 100 ends of a window by chance are no finding; what is the same is hardly ever called other.
    assert!(
        told <= 11,
        "{told} of 100 tell a difference of what was asked"
    );
}

/// A host that deals in turn and one that deals at random ask the same of both links. Each seed may tell a difference by
/// chance with 5 %: five or more of twenty with one of 0.3 %. The fuller link of each run differed in eighteen.
#[test]
fn links_that_are_asked_the_same_differ_by_chance_alone() {
    let (mut told, mut differ) = (0, 0);
    for seed in 1..=20 {
        let of = |policy: &str| server(seed, &[("host.app.paths", policy)]);
        let found = compared(&[of("\"random\""), of("\"round-robin\"")]);
        let own = |row: &&PartDifference| row.part.contains("core to box");
        let row = found.part_differences.iter().find(own);
        let row = row.expect("it is there");
        assert_eq!(row.first_instance, row.value_instance);
        assert_eq!(row.first_instance.as_deref(), Some("core-A > box-c1:A1"));
        differ += u32::from(row.difference.is_some_and(|it| it.value != 0.0));
        told += u32::from(matches!(row.change, Change::Better | Change::Worse));
    }
    assert!(differ >= 15, "or nothing is tested");
    assert!(told <= 4, "{told} of 20 tell a difference");
}

/// The link of a family that is shown is the one that arithmetic says is fullest: the controller of the array's that has most
/// volumes, and of unlike links the slow one; it is the same link in both designs where it is fullest in both.
#[test]
fn the_link_that_is_shown_is_the_fullest_by_arithmetic() {
    let three = [
        ("workload.w.volumes", "3"),
        ("workload.w.owner", "\"alternate\""),
        ("array.box.controllers", "2"),
    ];
    let found = compared(&[server(1, &three), server(1, &three)]);
    let instances: Vec<Option<&str>> = found
        .part_differences
        .iter()
        .map(|row| row.first_instance.as_deref())
        .collect();
    // Two of three volumes are the first controller's.
    assert!(
        instances.contains(&Some("box-c1")) && instances.contains(&Some("core-A > box-c1:A1")),
        "{instances:?}"
    );
    let two = [("array.box.controllers", "2")];
    let found = compared(&[server(1, &three), server(1, &two)]);
    let row = found
        .part_differences
        .iter()
        .find(|row| row.part == "box controllers");
    let row = row.expect("it is there");
    assert_eq!(
        row.first_instance, row.value_instance,
        "fullest in one, as full as the other in the other"
    );
}

/// Six hosts over two links of 8GFC to an array, 64 KiB each: full at 12,587 a second with one of them, or with the slow one in turn.
const IMAGES: &str = r#"
format = 1
[run]
duration = "600ms"
warm_up = "100ms"
replications = 6
[[host]]
name = "img"
count = 6
paths = "round-robin"
[[switch]]
name = "core"
fabric = "each"
[[array]]
name = "vault"
controllers = 1
parallel = 4096
read = { hit = "100%", hit_time = "100us" }
[[link]]
from = "img"
to = "core"
speed = "32GFC"
[[link]]
name = "last"
from = "core"
to = "vault"
speed = "8GFC"
[[workload]]
name = "scans"
hosts = "img"
array = "vault"
protocol = "fc-nvme"
arrivals = { poisson = "9k/s" }
read = "100%"
sizes = "64KiB"
promise = { mean = "1ms", lost = { mean = "3ms" } }
[[outage]]
name = "slow"
takes = "core-A~vault-c1:A1"
rate = "25%"
"#;

fn images(set: &[(&str, &str)]) -> Design {
    Design {
        site: site_with(IMAGES, set),
        ..design(&[])
    }
}

/// One replication alone may look as if waiting grew without end, where all of them together do not: it has a mean all the same.
#[test]
fn a_replication_that_looks_full_alone_takes_no_difference_away() {
    let mut alone = 0;
    for seed in ["1", "3"] {
        let run = [("run.seed", seed)];
        let levels = [run[0], ("host.img.paths", "\"least-queue\"")];
        let designs = [images(&run), images(&levels)];
        let found = compare(
            &designs,
            origin(),
            Some(&["slow".to_owned()]),
            None,
            &NoProgress,
        );
        let mut rows = found.differences.iter();
        let row = rows.find(|row| row.measure == MeasureKind::Mean && row.case.outage.is_some());
        let row = row.expect("the mean is promised");
        if row.first.is_none() || row.value.is_none() {
            continue;
        }
        let sites = alike(&designs);
        let runs = run_of(&sites[0]);
        let single = |index: usize| steady::figures_of(&runs, index..index + 1);
        alone += (0..6)
            .filter(|index| single(*index).workloads[0].saturated)
            .count();
        assert_eq!(row.change, Change::Better, "seed {seed}: {row:?}");
        assert!(
            row.difference.is_some_and(|found| found.value < -1_000.0),
            "{row:?}"
        );
    }
    assert!(
        alone > 0,
        "no replication looked full: the test shows nothing"
    );
}

fn run_of(site: &Site) -> SteadyRuns {
    let fabric = Fabric::new(site);
    let plans = case::cases(site, &fabric, Some(&["slow".to_owned()]));
    steady::run_from(site, &plans, 0, &NoProgress).remove(1)
}

/// The per cent of a percentile is of the mean of the replications' own, as the difference is; close to full the merged figure is another.
#[test]
fn the_per_cent_of_a_percentile_is_of_what_its_difference_is_of() {
    let busy = [("workload.scans.arrivals.poisson", "\"24600/s\"")];
    let faster = [busy[0], ("link.last.speed", "\"16GFC\"")];
    let found = compared(&[images(&busy), images(&faster)]);
    let mut rows = found.differences.iter();
    let row = rows.find(|row| row.measure == MeasureKind::Quantile(0.99));
    let row = row.expect("it is usual");
    let (base, first) = (
        row.base.expect("it is known"),
        row.first.expect("so is this"),
    );
    assert!((base / first - 1.0).abs() > 0.01, "{row:?}");
    let difference = row.difference.expect("both have it").value;
    assert_eq!(row.percent(), Some(100.0 * difference / base));
    // What is left is the mean of the second design's own, which its merged figure is near: it is far from full.
    let left = base + difference;
    let value = row.value.expect("it is known");
    assert!((left / value - 1.0).abs() < 0.1, "{left} and {value}");
}

/// The difference of two means is that of the means of all I/Os: replications count by how many they have, which is a matter of chance.
#[test]
fn a_difference_of_means_is_that_of_the_means_that_are_told() {
    let busy = [("workload.scans.arrivals.poisson", "\"24600/s\"")];
    let faster = [busy[0], ("link.last.speed", "\"16GFC\"")];
    let found = compared(&[images(&busy), images(&faster)]);
    let mut rows = found.differences.iter();
    let row = rows.find(|row| row.measure == MeasureKind::Mean);
    let row = row.expect("it is usual");
    let (first, value) = (
        row.first.expect("it is known"),
        row.value.expect("so is this"),
    );
    let difference = row.difference.expect("both have it").value;
    assert!((difference / (value - first) - 1.0).abs() < 1e-9, "{row:?}");
}
