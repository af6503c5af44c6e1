use super::*;
use crate::study::NoProgress;
use crate::study::sample::{TRAMWAYS, site_with};

fn origin() -> Origin {
    Origin {
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
    compare(designs, origin(), Some(&[]), &NoProgress)
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
        assert_eq!((row.change, row.difference.value), (Change::Same, 0.0));
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
