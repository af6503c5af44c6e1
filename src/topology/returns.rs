//! Parts that are lost under two names: the second loss takes nothing more away, and the part is there again only when both
//! have been restored.

use super::{Fabric, InForce, MemberId, NodeId, TakenBack};
use crate::site::{Action, Event, Fault, Heading, LossMode, Outage, Site, Slow};

/// An event that does less than it says: a return after which some of its links are still lost, or a loss of links that are
/// lost already.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StillOut {
    /// A return, or a loss.
    pub returns: bool,
    /// Links that are lost by other events too.
    pub links: usize,
    /// Links that the event concerns.
    pub of: usize,
    /// Those other losses: number of the event, from 1, and its target.
    pub by: Vec<(u32, String)>,
    /// A host is back by it that no other loss has, and asks for its work again, with links or without.
    pub hosts: bool,
}

impl StillOut {
    /// `still lost with A (event 1)`, or how many of them.
    #[must_use]
    pub fn words(&self) -> String {
        let by = self.by.iter();
        let by: Vec<String> = by
            .map(|(number, target)| format!("`{target}` (event {number})"))
            .collect();
        let with = if by.is_empty() {
            String::new()
        } else {
            format!(" with {}", by.join(" and "))
        };
        match (self.returns, self.links == self.of) {
            (true, true) if self.hosts => {
                format!("all its ways still lost{with}, and its work is asked for again")
            }
            (true, true) => format!("without effect: still lost{with}"),
            (true, false) => format!("{} of {} links still lost{with}", self.links, self.of),
            (false, _) => format!("already lost{with}"),
        }
    }
}

/// By event, in their order: what its return leaves out, or that its loss takes nothing more away; `None` where it does all
/// that it says.
#[must_use]
pub fn still_out(site: &Site, fabric: &Fabric) -> Vec<Option<StillOut>> {
    let mut losses = Losses::none(fabric);
    let mut in_force = InForce::default();
    let mut standing: Vec<(&Event, Vec<MemberId>)> = Vec::new();
    let mut known: Vec<(u32, &str, Vec<MemberId>)> = Vec::new();
    let follow = |event| {
        let event: &Event = event;
        // A flap has many events of the same parts.
        let same = known
            .iter()
            .position(|(number, target, _)| (*number, *target) == (event.number, &event.target));
        let same = same.unwrap_or_else(|| {
            let members = fabric.members_of(&event.parts, event.side);
            known.push((event.number, &event.target, members));
            known.len() - 1
        });
        let members = known[same].2.clone();
        let ways = ways_lost(event.action);
        let back = in_force.follow(&event.target, &members, event.action);
        if event.action == Action::Restore {
            standing.retain(|(own, _)| own.target != event.target);
            members
                .iter()
                .for_each(|member| losses.restore(*member, back));
            let stays = |member: &&MemberId| losses.are(**member);
            let out: Vec<MemberId> = members.iter().filter(stays).copied().collect();
            return (!out.is_empty()).then(|| StillOut {
                returns: true,
                links: out.len(),
                of: members.len(),
                by: keeping(&standing, &out),
                hosts: {
                    let others = standing.iter();
                    let lost = others.flat_map(|(own, _)| fabric.hosts_of(&own.parts));
                    let lost: Vec<usize> = lost.collect();
                    let own = fabric.hosts_of(&event.parts);
                    own.iter().any(|host| !lost.contains(host))
                },
            });
        }
        let out = |member: &MemberId| losses.are_of(*member, ways);
        // A signal that goes after the frames did is a loss to be seen.
        let loud = event.action == Action::Lose(LossMode::Loud);
        let seen = loud && standing.iter().any(|(own, _)| own.action != event.action);
        let gone = !ways.is_empty() && !members.is_empty() && !seen && members.iter().all(out);
        let found = gone.then(|| StillOut {
            returns: false,
            links: members.len(),
            of: members.len(),
            by: keeping(&standing, &members),
            hosts: false,
        });
        members.iter().for_each(|member| losses.lose(*member, ways));
        if !ways.is_empty() {
            standing.push((event, members));
        }
        found
    };
    site.events.iter().map(follow).collect()
}

/// Losses in force that have any of these members.
fn keeping(standing: &[(&Event, Vec<MemberId>)], out: &[MemberId]) -> Vec<(u32, String)> {
    let keeps = |members: &[MemberId]| members.iter().any(|member| out.contains(member));
    let mut by: Vec<(u32, String)> = Vec::new();
    for (event, members) in standing {
        let one = (event.number, event.target.clone());
        if keeps(members) && !by.contains(&one) {
            by.push(one);
        }
    }
    by
}

/// How often each link is lost in each way; a return takes one loss of each way back.
struct Losses(Vec<[u32; 2]>);

impl Losses {
    fn none(fabric: &Fabric) -> Self {
        Self(vec![[0; 2]; fabric.members.len()])
    }

    fn lose(&mut self, member: MemberId, ways: &[usize]) {
        for way in ways {
            self.0[member.0 as usize][*way] += 1;
        }
    }

    fn restore(&mut self, member: MemberId, back: TakenBack) {
        for (lost, way) in self.0[member.0 as usize].iter_mut().zip(back.ways) {
            *lost = lost.saturating_sub(u32::from(way));
        }
    }

    /// Whether a link is lost in any way.
    fn are(&self, member: MemberId) -> bool {
        self.0[member.0 as usize] != [0, 0]
    }

    /// Whether it is lost in all these ways.
    fn are_of(&self, member: MemberId, ways: &[usize]) -> bool {
        ways.iter().all(|way| self.0[member.0 as usize][*way] > 0)
    }
}

/// Towards the arrays 0, towards the hosts 1.
const fn ways_lost(action: Action) -> &'static [usize] {
    match action {
        Action::Lose(_) => &[0, 1],
        Action::LoseWay(Heading::Arrays) => &[0],
        Action::LoseWay(Heading::Hosts) => &[1],
        Action::Drain | Action::Restore | Action::Slow(_) => &[],
    }
}

/// What is wrong with a site once all its events are over.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct AtTheEnd {
    /// Links over which nothing goes: lost, drained or damaging every frame.
    pub members: Vec<MemberId>,
    /// Nodes that are lost.
    pub nodes: Vec<NodeId>,
    /// Hosts that are lost themselves, by index.
    pub hosts: Vec<usize>,
    /// Other links that are slow or damage frames.
    pub slow: Vec<(MemberId, Slow)>,
}

/// The state that the events of a site leave.
#[must_use]
pub fn at_the_end(site: &Site, fabric: &Fabric) -> AtTheEnd {
    let mut losses = Losses::none(fabric);
    let mut in_force = InForce::default();
    let mut drained = vec![0_u32; fabric.members.len()];
    let mut ill = vec![Slow::WELL; fabric.members.len()];
    let mut nodes = vec![0_u32; fabric.nodes.len()];
    let mut hosts = vec![0_u32; fabric.hosts.len()];
    for event in &site.events {
        let members = fabric.members_of(&event.parts, event.side);
        let whole = fabric.nodes_of(&event.parts, event.side);
        let ways = ways_lost(event.action);
        let back = in_force.follow(&event.target, &members, event.action);
        for member in members {
            losses.lose(member, ways);
            match event.action {
                Action::Drain => drained[member.0 as usize] += 1,
                Action::Restore => {
                    losses.restore(member, back);
                    let drains = &mut drained[member.0 as usize];
                    *drains = drains.saturating_sub(u32::from(back.drain));
                    if back.slow {
                        ill[member.0 as usize] = Slow::WELL;
                    }
                }
                Action::Slow(slow) => ill[member.0 as usize] = slow,
                Action::Lose(_) | Action::LoseWay(_) => {}
            }
        }
        let count = |lost: &mut u32| match event.action {
            Action::Lose(_) => *lost += 1,
            Action::Restore => *lost = lost.saturating_sub(u32::from(back.whole)),
            Action::LoseWay(_) | Action::Drain | Action::Slow(_) => {}
        };
        for node in whole {
            count(&mut nodes[node.0 as usize]);
        }
        for host in fabric.hosts_of(&event.parts) {
            count(&mut hosts[host]);
        }
    }
    let members = (0_u32..).map(MemberId).take(fabric.members.len());
    let out = |member: &MemberId| {
        let index = member.0 as usize;
        losses.are(*member) || drained[index] > 0 || ill[index].damages_all()
    };
    let (gone, there): (Vec<MemberId>, Vec<MemberId>) = members.partition(out);
    let there = there.into_iter();
    let slow = there.map(|member| (member, ill[member.0 as usize]));
    let lost_nodes = (0_u32..).zip(&nodes).filter(|(_, lost)| **lost > 0);
    let lost_hosts = (0..hosts.len()).filter(|host| hosts[*host] > 0);
    AtTheEnd {
        members: gone,
        nodes: lost_nodes.map(|(node, _)| NodeId(node)).collect(),
        hosts: lost_hosts.collect(),
        slow: slow.filter(|(_, slow)| *slow != Slow::WELL).collect(),
    }
}

impl Fabric {
    /// Links over which nothing goes in the state after an outage.
    #[must_use]
    pub fn members_out(&self, outage: &Outage) -> Vec<MemberId> {
        let gone = outage.gone();
        gone.map_or_else(Vec::new, |_| self.members_of(&outage.takes, outage.side))
    }

    /// Nodes that are lost in the state after an outage: not those of which only links are.
    #[must_use]
    pub fn nodes_out(&self, outage: &Outage) -> Vec<NodeId> {
        match outage.fault {
            Fault::Lost => self.nodes_of(&outage.takes, outage.side),
            _ => Vec::new(),
        }
    }

    /// Hosts that are lost themselves in the state after an outage, by index.
    #[must_use]
    pub fn hosts_out(&self, outage: &Outage) -> Vec<usize> {
        match outage.fault {
            Fault::Lost => self.hosts_of(&outage.takes),
            _ => Vec::new(),
        }
    }

    /// Links that are there in the state after an outage, and what is wrong with them.
    #[must_use]
    pub fn slow_after(&self, outage: &Outage) -> Vec<(MemberId, Slow)> {
        outage.slow().map_or_else(Vec::new, |slow| {
            let members = self.members_of(&outage.takes, outage.side).into_iter();
            members.map(|member| (member, slow)).collect()
        })
    }
}
