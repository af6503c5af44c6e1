//! Which part limits a workload in a case: the fullest on its way, or the queue depth of its hosts.

use crate::outcome::{Steady, UseInCase};
use crate::site::Site;
use crate::study::estimate::{Estimate, Flows};
use crate::study::parts::{controller_use, depth_use, fullest, is_in_the_way};
use crate::topology::Fabric;
use std::collections::BTreeSet;

/// A part that can be made wider.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Part {
    /// Index into [`Site::links`].
    Link(usize),
    /// Controllers: index into [`Site::arrays`].
    Array(usize),
    /// Queue depth of the hosts of a workload: index into [`Site::workloads`].
    Depth(usize),
}

/// The parts that the I/Os of a workload pass, the fullest first, with how full: the busier direction, its
/// fullest instance. A queue depth is among them where it is in the way; `loads` has the case.
pub(super) fn limits(
    site: &Site,
    loads: &Estimate,
    steady: &Steady,
    workload: usize,
) -> Vec<(Part, UseInCase)> {
    let mut found: Vec<(Part, UseInCase)> = on_the_way(site, workload)
        .into_iter()
        .filter_map(|part| Some((part, used(site, steady, part)?)))
        .collect();
    found.sort_by(|left, right| right.1.peak_percent.total_cmp(&left.1.peak_percent));
    let fullest = found.first();
    let fullest = fullest.map(|(_, used)| (used.mean_percent, used.peak_percent));
    let mut cases = loads.cases.iter();
    let case = cases.find(|case| case.name == steady.case.name);
    let depth = case.and_then(|case| {
        let left = (case.alive.as_slice(), case.sets.as_slice());
        depth_use(site, &Fabric::new(site), left, workload)
    });
    if let Some(depth) = depth.filter(|depth| is_in_the_way(depth, fullest)) {
        found.insert(0, (Part::Depth(workload), depth));
    }
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
        Part::Depth(_) => None,
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
