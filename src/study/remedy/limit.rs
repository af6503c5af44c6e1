//! Which part limits a workload in a case: the fullest on its way.

use crate::outcome::{Steady, UseInCase};
use crate::site::Site;
use crate::study::estimate::Flows;
use crate::study::parts::{controller_use, fullest};
use crate::topology::Fabric;
use std::collections::BTreeSet;

/// A part that can be made wider.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Part {
    /// Index into [`Site::links`].
    Link(usize),
    /// Controllers: index into [`Site::arrays`].
    Array(usize),
}

/// The parts that the I/Os of a workload pass, the fullest first, with how full: the busier direction, its
/// fullest instance.
pub(super) fn limits(site: &Site, steady: &Steady, workload: usize) -> Vec<(Part, UseInCase)> {
    let mut found: Vec<(Part, UseInCase)> = on_the_way(site, workload)
        .into_iter()
        .filter_map(|part| Some((part, used(site, steady, part)?)))
        .collect();
    found.sort_by(|left, right| right.1.peak_percent.total_cmp(&left.1.peak_percent));
    found
}

fn used(site: &Site, steady: &Steady, part: Part) -> Option<UseInCase> {
    match part {
        Part::Link(link) => {
            let family = &site.links[link].name;
            [true, false]
                .into_iter()
                .filter_map(|toward_array| {
                    let own: Vec<_> = steady
                        .directions
                        .iter()
                        .filter(|d| d.family == *family && d.toward_array == toward_array)
                        .cloned()
                        .collect();
                    fullest(&own)
                })
                .max_by(|left, right| left.peak_percent.total_cmp(&right.peak_percent))
        }
        Part::Array(array) => controller_use(steady, &site.arrays[array].name),
    }
}

/// Every family of links and the controllers that a workload's I/Os pass while everything is there.
fn on_the_way(site: &Site, workload: usize) -> BTreeSet<Part> {
    let fabric = Fabric::new(site);
    let alive = fabric.all_alive();
    let mut flows = Flows::new(&fabric, &alive);
    let mut found = BTreeSet::from([Part::Array(site.workloads[workload].array)]);
    let mut walked = BTreeSet::new();
    for set in fabric.path_sets(site, &alive) {
        if !set.workloads.contains(&workload) {
            continue;
        }
        for path in &set.paths {
            // Ports behind one switch share their way from there on; a host's own port is one of its family's.
            if !walked.insert((
                fabric.hosts[set.host].family,
                path.host_port,
                path.array_port,
            )) {
                continue;
            }
            for level in flows.levels(path.host_port, path.array_port, path.side, set.family) {
                for (direction, _) in level {
                    found.insert(Part::Link(fabric.directions[direction.0 as usize].family));
                }
            }
        }
    }
    found
}
