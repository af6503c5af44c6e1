//! Teams of ports for file traffic in the state after a loss: one that does not notice it stays on its port, and what goes over
//! that port alone has no path, though the other ports of the host have some.
//!
//! A team notices that every link of the port in use has visibly lost its signal, and with a probe that nothing answers over it. A
//! switch that takes its host ports down for want of uplinks makes a loss visible; one that keeps them up does not.
//!
//! Left out: a second loss, this time visible, of a port that a team did not leave: it stays where it is.

use super::part::{MemberId, NodeId};
use super::{Fabric, PathSet};
use crate::site::{LossMode, Site, Team, UplinkLoss};
use crate::wire::Protocol;

/// What is lost, and how that shows itself.
#[derive(Clone, Copy, Debug)]
pub struct Loss<'a> {
    /// Links.
    pub members: &'a [MemberId],
    /// Nodes that are lost themselves.
    pub nodes: &'a [NodeId],
    /// With its signal, or without a sign.
    pub mode: LossMode,
    /// Links that have long been lost, and that teams have left where they could tell.
    pub before: &'a [MemberId],
}

/// Whether a team may stay on a port without a path at all: there is file traffic, and a team without a probe.
#[must_use]
pub fn may_stick(site: &Site) -> bool {
    let mut works = site.workloads.iter();
    let mut families = site.hosts.iter();
    works.any(|work| matches!(work.protocol, Protocol::Nfs(_)))
        && families.any(|family| family.team != Team::Off && family.timers.team_probe.is_none())
}

impl Fabric {
    /// The sets (indices into `left`, the path sets over what is left) whose team stays on a port without a path after a loss.
    #[must_use]
    pub fn stuck_teams(&self, site: &Site, left: &[PathSet], loss: Loss<'_>) -> Vec<usize> {
        let teams = |set: &PathSet| {
            let family = &site.hosts[self.hosts[set.host].family];
            let files = matches!(site.workloads[set.workloads[0]].protocol, Protocol::Nfs(_));
            files && family.team != Team::Off && family.timers.team_probe.is_none()
        };
        if !left.iter().any(teams) {
            return Vec::new();
        }
        let dark = self.dark(site, loss);
        let is_dark = |port: NodeId| {
            let out = &self.nodes[port.0 as usize].out;
            out.iter()
                .all(|direction| dark[direction.member().0 as usize])
        };
        let whole = self.path_sets(site, &self.all_alive());
        let stays = |index: &usize| {
            let (set, left) = (&whole[*index], &left[*index]);
            let host = &self.hosts[set.host];
            let Some(ports) = set.team_ports(site.hosts[host.family].team, true, host.index) else {
                return false;
            };
            // One that leaves its port takes the first of the others that is not dark, whatever lies behind it.
            let first = ports.first().copied();
            let lit = || ports.iter().copied().find(|port| !is_dark(*port));
            let on = first.filter(|port| !is_dark(*port)).or_else(lit);
            let leads = |port: NodeId| left.paths.iter().any(|path| path.host_port == port);
            !left.paths.is_empty() && !on.is_some_and(leads)
        };
        (0..left.len())
            .filter(|index| teams(&left[*index]))
            .filter(stays)
            .collect()
    }

    /// For each link whether it has visibly lost its signal, now or before: by itself, or because a switch without uplinks has taken it down.
    fn dark(&self, site: &Site, loss: Loss<'_>) -> Vec<bool> {
        let mut dark = vec![false; self.members.len()];
        for member in loss.before {
            dark[member.0 as usize] = true;
        }
        if loss.mode == LossMode::Silent {
            return dark;
        }
        for member in loss.members {
            dark[member.0 as usize] = true;
        }
        // What one switch takes down may be the uplinks of the next.
        loop {
            let before = dark.clone();
            for switch in &self.switches {
                let drops = site.switches[switch.family].on_uplink_loss != UplinkLoss::Keep;
                let out = &self.nodes[switch.node.0 as usize].out;
                let mut uplinks = out.iter().filter(|way| way.toward_array()).peekable();
                let watches = drops && uplinks.peek().is_some();
                if !watches || loss.nodes.contains(&switch.node) {
                    continue;
                }
                if uplinks.all(|way| dark[way.member().0 as usize]) {
                    let host_side = out.iter().filter(|way| !way.toward_array());
                    host_side.for_each(|way| dark[way.member().0 as usize] = true);
                }
            }
            if dark == before {
                return dark;
            }
        }
    }
}
