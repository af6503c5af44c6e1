//! How far each family stands from the hosts.

use crate::site::{End, Site};

/// Layers of the families, counted from the hosts.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Layers {
    /// Host families: one before their first switch (0 for those without any).
    pub(crate) hosts: Vec<u32>,
    /// Switch families: the longest way from a host.
    pub(crate) switches: Vec<u32>,
    /// All arrays: one after the last switch.
    pub(crate) arrays: u32,
}

impl Layers {
    pub(crate) fn new(site: &Site) -> Self {
        let mut switches = vec![1_u32; site.switches.len()];
        // As many rounds as there are families: families joined in a ring would go on for ever.
        for _ in 0..site.switches.len() {
            for link in &site.links {
                if let (End::Switch(near), End::Switch(far)) = (link.from, link.to)
                    && near != far
                {
                    let limit = u32::try_from(site.switches.len()).unwrap_or(u32::MAX);
                    switches[far] = switches[far].max(switches[near] + 1).min(limit);
                }
            }
        }
        let first_switch = |host: usize| {
            let joined = site
                .links
                .iter()
                .filter_map(|link| match (link.from, link.to) {
                    (End::Host(own), End::Switch(switch)) if own == host => Some(switches[switch]),
                    _ => None,
                });
            joined.min().map_or(0, |layer| layer - 1)
        };
        Self {
            hosts: (0..site.hosts.len()).map(first_switch).collect(),
            arrays: switches.iter().max().copied().unwrap_or(0) + 1,
            switches,
        }
    }

    /// Layer of one end of a link.
    pub(crate) fn of(&self, end: End) -> u32 {
        match end {
            End::Host(host) => self.hosts[host],
            End::Switch(switch) => self.switches[switch],
            End::Array(_) => self.arrays,
        }
    }
}

/// Name of the family at one end of a link.
pub(crate) fn end_name(site: &Site, end: End) -> &str {
    match end {
        End::Host(host) => &site.hosts[host].name,
        End::Switch(switch) => &site.switches[switch].name,
        End::Array(array) => &site.arrays[array].name,
    }
}
