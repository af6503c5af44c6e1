//! Loss and return of parts: what is cut, who notices when, and what is sent again.

use super::attempt::tie;
use super::compile::Compiled;
use super::guests::GuestState;
use super::ill::Ill;
use super::net::{Links, LostFrame, ReceiverGone};
use super::standing::{LogEntry, LogKind, Standing};
use super::team::TeamState;
use super::uplink::{UplinkWatch, watches};
use super::world::{Event, Executor, World};
use crate::engine::{EventSet, Key};
use crate::site::{Action, Heading, LossMode};
use crate::topology::{DirectionId, InForce, MemberId, NodeId, TakenBack};
use crate::unit::Instant;

/// A scripted event, its parts found.
#[derive(Clone, Debug)]
pub struct Script {
    /// When.
    pub at: Instant,
    /// What.
    pub action: Action,
    /// Members concerned.
    pub members: Vec<MemberId>,
    /// Ports and switches concerned.
    pub nodes: Vec<NodeId>,
    /// Hosts that are lost themselves, by index into the fabric's: not those that lose their ports alone.
    pub hosts: Vec<usize>,
    /// Name of what it acts on: a return takes back what was done by the same name.
    pub target: String,
    /// For people.
    pub label: String,
}

/// What is lost, and who knows.
#[derive(Debug)]
pub(crate) struct FaultState {
    /// First loss of the run.
    pub(crate) since: Option<Instant>,
    /// How the latest loss shows itself: that of the paths it breaks.
    pub(super) mode: LossMode,
    /// For each direction how many losses it suffers from.
    ways_lost: Vec<u32>,
    /// When a member was lost or came back last, and how.
    pub(super) changed: Vec<(Instant, LossMode)>,
    /// For each node how many losses it suffers from.
    nodes_lost: Vec<u32>,
    /// For each host how many losses it suffers from itself.
    hosts_lost: Vec<u32>,
    /// For each host how often it is emptied on purpose, itself or with its chassis.
    hosts_drained: Vec<u32>,
    /// Members that the fabric no longer uses.
    pub(super) shunned: Vec<bool>,
    /// For each member how often it is drained: no new I/O is to go over it.
    drained: Vec<u32>,
    /// What has not been taken back yet.
    in_force: InForce,
    pub(crate) script: Vec<Script>,
    scratch: Vec<LostFrame>,
    pub(crate) uplinks: Vec<UplinkWatch>,
    pub(crate) ill: Ill,
    /// For each set of paths what its team is about.
    pub(super) teams: Vec<TeamState>,
    /// For each host what is known of its guests.
    pub(super) guests: Vec<GuestState>,
}

impl FaultState {
    pub(crate) fn new(compiled: &Compiled) -> Self {
        let members = compiled.fabric.members.len();
        Self {
            since: None,
            mode: LossMode::Loud,
            ways_lost: compiled
                .alive
                .iter()
                .flat_map(|alive| [u32::from(!alive); 2])
                .collect(),
            changed: vec![(Instant::ZERO, LossMode::Loud); members],
            nodes_lost: vec![0; compiled.fabric.nodes.len()],
            hosts_lost: (0..compiled.fabric.hosts.len())
                .map(|host| u32::from(compiled.absent.contains(&host)))
                .collect(),
            hosts_drained: vec![0; compiled.fabric.hosts.len()],
            shunned: compiled.alive.iter().map(|alive| !alive).collect(),
            drained: vec![0; members],
            in_force: InForce::default(),
            script: Vec::new(),
            scratch: Vec::new(),
            uplinks: watches(compiled),
            ill: Ill::new(compiled),
            teams: vec![TeamState::new(); compiled.sets.len()],
            guests: (0..compiled.fabric.hosts.len())
                .map(|host| GuestState::new(compiled.absent.contains(&host)))
                .collect(),
        }
    }

    /// Whether a host is lost itself, by name or with its chassis.
    pub(crate) fn host_is_lost(&self, host: usize) -> bool {
        self.hosts_lost[host] > 0
    }

    /// Whether a host is emptied on purpose: what it has begun goes on over its paths.
    pub(super) fn host_is_drained(&self, host: usize) -> bool {
        self.hosts_drained[host] > 0
    }

    pub(crate) fn node_is_lost(&self, node: NodeId) -> bool {
        self.nodes_lost[node.0 as usize] > 0
    }

    /// When a lost member was lost, and how; `None` while it is there.
    pub(crate) fn lost_since(&self, member: MemberId) -> Option<(Instant, LossMode)> {
        self.is_lost(member)
            .then(|| self.changed[member.0 as usize])
    }

    /// Whether nothing comes through over a member, one way or the other.
    fn is_lost(&self, member: MemberId) -> bool {
        let first = member.0 as usize * 2;
        let lost = self.ways_lost[first] > 0 || self.ways_lost[first + 1] > 0;
        lost || self.ill.damages_all(member)
    }

    /// Whether the fabric has not taken note yet of a link that is back.
    pub(super) fn comes_into_use(&self) -> bool {
        let mut members = self.there().into_iter().zip(&self.shunned);
        members.any(|(there, shunned)| there && *shunned)
    }

    /// For each member whether it is there.
    pub(super) fn there(&self) -> Vec<bool> {
        let members = (0_u32..).take(self.changed.len());
        members
            .map(|member| !self.is_lost(MemberId(member)))
            .collect()
    }
}

impl<E: Executor> World<'_, E> {
    /// Adds a scripted event; to be called before the run starts.
    pub fn add_script(&mut self, script: Script) {
        let index = u32::try_from(self.fault.script.len()).unwrap_or(u32::MAX);
        let key = Key {
            at: script.at,
            tie: tie::ranked(tie::FAULT, u128::from(index)),
        };
        self.fault.script.push(script);
        self.queue.push(key, Event::Script { index });
    }

    /// The busiest [`PEAK_WINDOW`](crate::measure::PEAK_WINDOW) of each workload is looked for from `at` on; to be called
    /// before the run starts.
    pub fn busiest_from(&mut self, at: Instant) {
        for workload in &mut self.tally.workloads {
            workload.series.peak_from(at);
        }
    }

    /// The scripted events, in the order in which they were added.
    #[must_use]
    pub fn scripts(&self) -> &[Script] {
        &self.fault.script
    }

    pub(crate) fn script(&mut self, index: u32) {
        let script = self.fault.script[index as usize].clone();
        if self
            .tally
            .log
            .iter()
            .all(|entry| !matches!(entry.kind, LogKind::Script(_)))
        {
            for workload in &mut self.tally.workloads {
                workload.first_event(self.now);
            }
        }
        self.log(LogEntry {
            at: self.now,
            kind: LogKind::Script(index),
            timer: None,
            ios: 0,
        });
        let in_force = &mut self.fault.in_force;
        let back = in_force.follow(&script.target, &script.members, script.action);
        match script.action {
            Action::Lose(mode) => self.lose(&script, mode),
            Action::LoseWay(heading) => {
                self.fault.since.get_or_insert(self.now);
                self.lose_ways(&script.members, LossMode::Silent, &[heading]);
            }
            Action::Slow(slow) => {
                self.fault.since.get_or_insert(self.now);
                self.slow(&script.members, slow);
            }
            Action::Restore => self.restore(&script, back),
            Action::Drain => {
                for member in &script.members {
                    self.fault.drained[member.0 as usize] += 1;
                }
                for host in &script.hosts {
                    self.fault.hosts_drained[*host] += 1;
                }
                self.hand_volumes_over(&script.nodes);
                self.look_at_hosts();
                self.look_at_paths();
            }
        }
    }

    fn lose(&mut self, script: &Script, mode: LossMode) {
        self.fault.since.get_or_insert(self.now);
        for node in &script.nodes {
            self.fault.nodes_lost[node.0 as usize] += 1;
        }
        for host in &script.hosts {
            self.fault.hosts_lost[*host] += 1;
        }
        self.lose_members(&script.members, mode);
        self.look_at_controllers();
        self.look_at_hosts();
    }

    /// Takes members away, and lets everybody concerned take note.
    pub(crate) fn lose_members(&mut self, members: &[MemberId], mode: LossMode) {
        self.lose_ways(members, mode, &[Heading::Arrays, Heading::Hosts]);
    }

    fn lose_ways(&mut self, members: &[MemberId], mode: LossMode, ways: &[Heading]) {
        self.fault.mode = mode;
        for member in members {
            let known = self.fault.lost_since(*member);
            // A signal that goes after the frames did is a loss to be seen.
            if known.is_none_or(|(_, known)| known == LossMode::Silent && mode == LossMode::Loud) {
                self.fault.changed[member.0 as usize] = (self.now, mode);
            }
            for heading in ways {
                let direction = DirectionId(member.0 * 2 + u32::from(*heading == Heading::Hosts));
                self.fault.ways_lost[direction.index()] += 1;
                let to = self.compiled.hops[direction.index()].to;
                let receiver = if self.fault.nodes_lost[to.0 as usize] > 0 {
                    ReceiverGone::Yes
                } else {
                    ReceiverGone::No
                };
                let mut lost = std::mem::take(&mut self.fault.scratch);
                self.net.lose(
                    self.compiled,
                    (direction, receiver),
                    self.now,
                    &mut lost,
                    &mut self.queue,
                );
                for LostFrame { frame, goes_on } in lost.drain(..) {
                    if goes_on {
                        self.net.spoil(&frame);
                    } else {
                        self.frame_lost(frame);
                    }
                }
                self.fault.scratch = lost;
            }
        }
        self.plan_reroute(members, Some(mode));
        self.look_at_paths();
        self.look_at_uplinks();
    }

    /// Nothing comes through any more over members that are there.
    pub(super) fn lost_sight_of(&mut self, members: &[MemberId], mode: LossMode) {
        self.fault.mode = mode;
        for member in members {
            self.fault.changed[member.0 as usize] = (self.now, mode);
        }
        self.plan_reroute(members, Some(mode));
        self.look_at_paths();
        self.look_at_uplinks();
    }

    /// Something comes through again.
    pub(super) fn in_sight_again(&mut self, members: &[MemberId]) {
        for member in members {
            self.fault.changed[member.0 as usize] = (self.now, LossMode::Loud);
        }
        self.plan_reroute(members, None);
        self.look_at_paths();
        self.look_at_uplinks();
    }

    fn restore(&mut self, script: &Script, back: TakenBack) {
        let less = |count: &mut u32, taken: bool| *count = count.saturating_sub(u32::from(taken));
        for node in &script.nodes {
            less(&mut self.fault.nodes_lost[node.0 as usize], back.whole);
        }
        for host in &script.hosts {
            let was_lost = self.fault.host_is_lost(*host);
            less(&mut self.fault.hosts_lost[*host], back.whole);
            less(&mut self.fault.hosts_drained[*host], back.drain);
            if was_lost && !self.fault.host_is_lost(*host) {
                // Before its links carry anything again: nothing that it held goes on.
                self.forget_paths(*host);
            }
        }
        for member in &script.members {
            less(&mut self.fault.drained[member.0 as usize], back.drain);
        }
        if back.slow {
            self.heal(&script.members);
        }
        let served = self.look_at_controllers();
        self.take_volumes_back(&script.nodes);
        for array in &served {
            self.has_its_volumes(*array);
        }
        self.restore_members(&script.members, back.ways);
        self.look_at_hosts();
        for array in served {
            self.volumes_are_back(array);
        }
    }

    /// Takes one loss of each of these ways of members back, and lets everybody concerned take note.
    pub(crate) fn restore_members(&mut self, members: &[MemberId], ways: [bool; 2]) {
        for member in members {
            if !self.fault.is_lost(*member) {
                continue;
            }
            let directions = [DirectionId(member.0 * 2), DirectionId(member.0 * 2 + 1)];
            for (direction, taken) in directions.into_iter().zip(ways) {
                let lost = &mut self.fault.ways_lost[direction.index()];
                if taken && *lost > 0 {
                    *lost -= 1;
                    self.net.restore(direction, self.now);
                }
            }
            if !self.fault.is_lost(*member) {
                self.fault.changed[member.0 as usize] = (self.now, LossMode::Loud);
            }
        }
        self.plan_reroute(members, None);
        self.look_at_paths();
        self.look_at_uplinks();
    }

    /// Compares what every path can carry with what its host believes, and plans who notices what when.
    pub(super) fn look_at_paths(&mut self) {
        let there = self.fault.there();
        let usable: Vec<bool> = there
            .iter()
            .zip(&self.fault.shunned)
            .map(|(there, shunned)| *there && !shunned)
            .collect();
        let open: Vec<bool> = usable
            .iter()
            .zip(&self.fault.drained)
            .map(|(usable, drained)| *usable && *drained == 0)
            .collect();
        let routes = self.compiled.routes.again(&self.compiled.fabric, &usable);
        let undrained = self.compiled.routes.again(&self.compiled.fabric, &open);
        let kept: Vec<bool> = self.fault.drained.iter().map(|own| *own == 0).collect();
        let kept = (!kept.iter().all(|kept| *kept))
            .then(|| self.compiled.routes.again(&self.compiled.fabric, &kept));
        for path in 0..self.paths.len() {
            let flow = self.compiled.paths[path].flows as usize;
            let joined = |routes: &crate::topology::Routes| {
                [flow, flow + 1].iter().all(|flow| {
                    let flow = &self.compiled.flows[*flow];
                    !routes
                        .next(&self.compiled.fabric, flow.table, flow.from)
                        .is_empty()
                })
            };
            let (connected, clear) = (joined(&routes), joined(&undrained));
            let path_id = u32::try_from(path).unwrap_or(u32::MAX);
            if connected != self.paths[path].connected {
                self.paths[path].connected = connected;
                self.paths[path].epoch += 1;
                if connected {
                    self.path_returns(path_id);
                } else {
                    self.path_breaks(path_id, &there);
                }
            } else if !connected
                && matches!(
                    self.paths[path].standing,
                    Standing::Unnoticed | Standing::Returned
                )
            {
                self.notice_sooner(path_id, &there);
            }
            // A host that is emptied itself asks for nothing new; what has come still goes over its paths.
            let host = self.compiled.sets[self.compiled.paths[path].set as usize].host;
            let alone = self.fault.host_is_drained(host);
            let drained = connected && !clear && !alone;
            let shut = |kept: &crate::topology::Routes| !joined(kept);
            self.paths[path].shut = !connected && !alone && kept.as_ref().is_some_and(shut);
            if drained != self.paths[path].drained {
                self.paths[path].drained = drained;
                match (drained, self.paths[path].standing) {
                    (true, Standing::Up | Standing::Returned) => {
                        self.change_standing(path_id, Standing::Drained, None, 0)
                    }
                    (false, Standing::Drained) if connected => {
                        self.change_standing(path_id, Standing::Up, None, 0);
                        self.dispatch(self.compiled.paths[path].set);
                    }
                    _ => {}
                }
            }
        }
        self.look_at_teams();
    }
}
