//! Who is joined to whom: a site's families expanded into nodes, ports, links and routes.
//!
//! A [`Fabric`] holds every part by name. Salts, addresses and orders are made from names without the
//! fabric's letter and from positions within a family, so that leaving parts out shifts nothing, and so
//! that calling A what was B changes nothing but the letter.
//!
//! Left out: anything that happens in time. Routes are computed for a given set of members that are gone;
//! when a fabric learns of a loss is `model`'s business.

mod build;
mod in_force;
mod part;
mod path;
mod returns;
pub(crate) mod route;
mod teams;

pub use build::Fabric;
pub use in_force::{InForce, TakenBack};
pub use part::{
    Controller, Direction, DirectionId, HostInstance, Member, MemberId, Node, NodeId, NodeKind,
    SwitchInstance,
};
pub use path::{Path, PathSet};
pub use returns::{AtTheEnd, StillOut, at_the_end, still_out};
pub use route::{RouteContext, Routes};
pub use teams::{Loss, may_stick};

use crate::site::Site;

/// A workload whose host cannot reach its array.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Unreachable {
    /// Index of the workload.
    pub workload: usize,
    /// Host that has no path.
    pub host: String,
    /// Array that cannot be reached.
    pub array: String,
    /// Protocol that no chain of links carries.
    pub protocol: &'static str,
}

/// Every host of every workload that has no path to its array in the whole site.
#[must_use]
pub fn unreachable(site: &Site) -> Vec<Unreachable> {
    let fabric = Fabric::new(site);
    let sets = fabric.path_sets(site, &fabric.all_alive());
    let mut missing = Vec::new();
    for set in &sets {
        if set.paths.is_empty() {
            for workload in &set.workloads {
                missing.push(Unreachable {
                    workload: *workload,
                    host: fabric.hosts[set.host].name.clone(),
                    array: site.arrays[set.array].name.clone(),
                    protocol: site.workloads[*workload].protocol.key(),
                });
            }
        }
    }
    missing
}

/// Names of all parts that can be lost, in order: hosts, chassis, switches, arrays, controllers, adapters,
/// ports, links, members, cages.
#[must_use]
pub fn part_names(site: &Site) -> Vec<String> {
    Fabric::new(site).part_names()
}

/// Whether `pattern` (`*` stands for any run of characters) matches the whole of `name`.
#[must_use]
pub fn matches(pattern: &str, name: &str) -> bool {
    let mut parts = pattern.split('*');
    let Some(first) = parts.next() else {
        return false;
    };
    let Some(mut rest) = name.strip_prefix(first) else {
        return false;
    };
    let parts: Vec<&str> = parts.collect();
    let Some((last, middle)) = parts.split_last() else {
        return rest.is_empty();
    };
    for part in middle {
        match rest.find(part) {
            Some(at) => rest = &rest[at + part.len()..],
            None => return false,
        }
    }
    rest.ends_with(last)
}

#[cfg(test)]
mod tests {
    use super::matches;

    #[test]
    fn patterns_match_whole_names() {
        assert!(matches("*-A", "edge-A"));
        assert!(!matches("*-A", "edge-AB"));
        assert!(matches("edge-A", "edge-A"));
        assert!(!matches("edge-A", "edge-A2"));
        assert!(matches("m*-1-*", "module-1-B"));
        assert!(matches("*", "anything"));
        assert!(!matches("a*a", "a"));
    }
}
