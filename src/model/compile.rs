//! A site made ready to run: indices, and tables of every time that can be known beforehand.

use super::net::FEW;
use super::order::FlowOrder;
use super::standing::Standing;
use crate::site::{Action, Choose, Fault, Outage, PathPolicy, Site, Slow, Timers};
use crate::topology::{
    DirectionId, Fabric, MemberId, NodeId, NodeKind, Path, RouteContext, Routes,
};
use crate::unit::{Duration, Instant, Rate, mix_pair};
use crate::wire::{Encapsulation, Medium, Op, Protocol, Then, Toward};
use crate::workload::Template;
use std::collections::BTreeMap;
use std::sync::OnceLock;

/// Most hops a route may have: edge, two tiers of switches, array, and room to spare.
pub(crate) const HOPS_MAX: usize = 8;

/// What a run is to measure.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Watch {
    /// Figures count what happens from here on …
    pub from: Instant,
    /// … and before here.
    pub to: Instant,
    /// Keep coarse latency buckets and the oldest unfinished I/O for each bin (switch-over runs).
    pub transient: bool,
}

impl Watch {
    /// The part of [start, end) that lies in the window.
    pub(crate) fn overlap(&self, start: Instant, end: Instant) -> Duration {
        let (start, end) = (start.max(self.from), end.min(self.to));
        if start < end {
            end.since(start)
        } else {
            Duration::ZERO
        }
    }
}

/// Some frames of equal size in a volley.
#[derive(Clone, Copy, Debug)]
pub struct Run {
    pub(crate) count: u32,
    pub(crate) payload: u32,
}

/// Frames that leave together, one way.
#[derive(Clone, Debug)]
pub(crate) struct Volley {
    pub(crate) toward: Toward,
    pub(crate) then: Then,
    pub(crate) runs: std::ops::Range<u32>,
    pub(crate) frames: u32,
    /// Run of the pure ACK that answers every second frame.
    pub(crate) ack: Option<u32>,
    pub(crate) ready_to_transfer: bool,
}

/// Times of one run of frames on one class of link.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct FrameTime {
    /// Serialization, ps.
    pub(crate) ser: u64,
    /// Time of the header that a cut-through switch waits for, ps; `u64::MAX` where it must store.
    pub(crate) header: u64,
    /// Bytes on the wire, gap included.
    pub(crate) bytes: u32,
    /// Payload bytes among them.
    pub(crate) payload: u32,
}

/// A direction as the engine needs it.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Hop {
    pub(crate) to: NodeId,
    pub(crate) ends: bool,
    pub(crate) class: u32,
    /// Order of the usable rate among all rates: a higher one is faster.
    pub(crate) speed: u32,
    pub(crate) medium: Option<Medium>,
    pub(crate) latency: Duration,
    /// Of the receiving switch.
    pub(crate) delay: Duration,
    pub(crate) cut_through: bool,
    pub(crate) tier: u32,
    /// Member choice at the sender, and the sender's salt.
    pub(crate) choose: Choose,
    pub(crate) salt: u64,
}

/// A path with everything needed to use it.
#[derive(Clone, Debug)]
pub(crate) struct PathPlan {
    pub(crate) set: u32,
    pub(crate) path: Path,
    /// First flow: connection `c` towards the array is `flows + 2c`, towards the host one more.
    pub(crate) flows: u32,
    /// Order among the paths of the set by (hops, idle latency), equal values share a rank.
    pub(crate) nearness: u32,
}

/// One conversation in one direction.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Flow {
    pub(crate) table: u32,
    pub(crate) from: NodeId,
    pub(crate) hash: u64,
}

/// The paths of one host to one array over one protocol.
#[derive(Clone, Debug)]
pub(crate) struct SetPlan {
    pub(crate) host: usize,
    pub(crate) paths: std::ops::Range<u32>,
    /// Sources that use the set.
    pub(crate) sources: Vec<u32>,
    pub(crate) policy: PathPolicy,
    pub(crate) depth: u32,
    pub(crate) timers: Timers,
    pub(crate) protocol: Protocol,
    /// The team of its host, if the set goes over one port at a time.
    pub(crate) team: Option<TeamPlan>,
}

/// The ports of a team in order of preference: the one in front is used while it can be.
#[derive(Clone, Debug)]
pub(crate) struct TeamPlan {
    pub(crate) ports: Vec<NodeId>,
}

/// A workload at a host.
#[derive(Clone, Debug)]
pub(crate) struct SourcePlan {
    pub(crate) workload: usize,
    pub(crate) host: usize,
    /// Position among the hosts that issue the workload.
    pub(crate) position: u32,
    pub(crate) of: u32,
    pub(crate) set: u32,
}

/// A site made ready to run, with some parts possibly absent from the start.
#[derive(Clone, Debug)]
pub struct Compiled {
    /// The site.
    pub site: Site,
    /// Its parts.
    pub fabric: Fabric,
    /// Members that are there.
    pub alive: Vec<bool>,
    /// Names of the tiers: link family and direction.
    pub tiers: Vec<String>,
    pub(crate) routes: Routes,
    pub(crate) hops: Vec<Hop>,
    pub(crate) classes: usize,
    /// Rate and medium of each class.
    class_list: Vec<Class>,
    /// Order of each class's rate among all rates.
    pub(crate) class_speeds: Vec<u32>,
    /// By run × classes + class.
    pub(crate) times: Vec<FrameTime>,
    /// The same by class × runs + run.
    times_by_class: Vec<FrameTime>,
    pub(crate) runs: Vec<Run>,
    pub(crate) volleys: Vec<Volley>,
    /// Volleys of each kind: by workload, then kind index.
    pub(crate) plans: Vec<Vec<std::ops::Range<u32>>>,
    pub(crate) templates: Vec<Template>,
    pub(crate) paths: Vec<PathPlan>,
    pub(crate) flows: Vec<Flow>,
    pub(crate) sets: Vec<SetPlan>,
    pub(crate) sources: Vec<SourcePlan>,
    /// Sources whose hosts are lost from the start, and those at whose hosts their work goes on.
    pub(crate) moved: Vec<(u32, Vec<u32>)>,
    /// Hosts that are lost from the start.
    pub(crate) absent: Vec<usize>,
    /// No work is asked for: only timers run.
    pub(crate) silent: bool,
    /// Paths that are out of use from the start though they are there.
    pub(crate) out: Vec<OutPath>,
    /// Found when first asked for.
    flow_order: OnceLock<Option<FlowOrder>>,
}

/// A path that is there and that its host never takes into use again by itself.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct OutPath {
    /// Set of paths: host, array and protocol.
    pub(crate) set: u32,
    pub(crate) host_port: NodeId,
    pub(crate) array_port: NodeId,
    pub(crate) standing: Standing,
}

impl OutPath {
    /// A path over a port of a team that stays on another one; `set` by index into [`Fabric::path_sets`].
    #[must_use]
    pub fn standing_by(set: usize, path: &Path) -> Self {
        Self {
            set: index(set),
            host_port: path.host_port,
            array_port: path.array_port,
            standing: Standing::Standby,
        }
    }

    /// Whether it is over a port of a team that stays on another one.
    #[must_use]
    pub fn stands_by(&self) -> bool {
        self.standing == Standing::Standby
    }

    /// Whether it is this path of a set, by index into [`Fabric::path_sets`].
    #[must_use]
    pub fn is_of(&self, set: usize, path: &Path) -> bool {
        (self.set, self.host_port, self.array_port) == (index(set), path.host_port, path.array_port)
    }

    pub(crate) fn is(&self, plan: &PathPlan) -> bool {
        let path = &plan.path;
        (self.set, self.host_port, self.array_port) == (plan.set, path.host_port, path.array_port)
    }
}

/// A path by the names of its ends.
#[derive(Clone, Debug)]
pub struct PathName<'a> {
    /// Host.
    pub host: &'a str,
    /// Workloads that use it.
    pub workloads: Vec<&'a str>,
    /// Their protocol.
    pub protocol: &'static str,
    /// Timers of the host.
    pub timers: &'a Timers,
    /// Host port.
    pub host_port: &'a str,
    /// Array port.
    pub array_port: &'a str,
    /// Fabric of the host port.
    pub side: Option<crate::unit::Side>,
    /// Its standing when a run begins.
    pub begins: Standing,
    /// Once removed with its port it is looked for when that is back.
    pub found_anew: bool,
}

/// Rate and medium of a direction: what a frame's times depend on.
type Class = (Rate, Option<Medium>);

/// What is left of a rate.
fn slowed(rate: Rate, rate_ppm: u32) -> Rate {
    rate.times(u64::from(rate_ppm), u64::from(Slow::WHOLE))
}

/// What is left of the rate of links that an outage slows down.
const fn rate_left(outage: &Outage) -> Option<u32> {
    match outage.fault {
        Fault::Slow(slow) => Some(slow.rate_ppm),
        _ => None,
    }
}

impl Compiled {
    /// Makes a site ready, without the members in `lost`.
    #[must_use]
    pub fn new(site: &Site, lost: &[MemberId]) -> Self {
        let fabric = Fabric::new(site);
        let mut alive = fabric.all_alive();
        for member in lost {
            alive[member.0 as usize] = false;
        }
        let mut compiled = Self {
            site: site.clone(),
            fabric,
            alive,
            tiers: Vec::new(),
            routes: Routes::default(),
            hops: Vec::new(),
            classes: 0,
            class_list: Vec::new(),
            class_speeds: Vec::new(),
            times: Vec::new(),
            times_by_class: Vec::new(),
            runs: Vec::new(),
            volleys: Vec::new(),
            plans: Vec::new(),
            templates: Vec::new(),
            paths: Vec::new(),
            flows: Vec::new(),
            sets: Vec::new(),
            sources: Vec::new(),
            moved: Vec::new(),
            absent: Vec::new(),
            silent: false,
            out: Vec::new(),
            flow_order: OnceLock::new(),
        };
        compiled.add_hops();
        compiled.add_plans();
        let by_class = (0..compiled.classes).flat_map(|class| {
            let runs = compiled.times.chunks(compiled.classes);
            runs.map(move |run| run[class])
        });
        compiled.times_by_class = by_class.collect();
        compiled.add_paths();
        compiled
    }

    /// The classes of directions: those of the links, and those to which an event or an outage may slow one down.
    fn find_classes(&mut self) {
        let mut classes: Vec<Class> = Vec::new();
        let mut add = |class: Class| {
            if !classes.contains(&class) {
                classes.push(class);
            }
        };
        let slow: Vec<u32> = self
            .site
            .events
            .iter()
            .filter_map(|event| match event.action {
                Action::Slow(slow) => Some(slow.rate_ppm),
                _ => None,
            })
            .chain(self.site.outages.iter().filter_map(rate_left))
            .collect();
        let links = self.fabric.directions.iter();
        links.clone().for_each(|d| add((d.rate, d.medium)));
        for ppm in slow {
            links
                .clone()
                .for_each(|d| add((slowed(d.rate, ppm), d.medium)));
        }
        let mut rates: Vec<Rate> = classes.iter().map(|(rate, _)| *rate).collect();
        rates.sort_unstable();
        rates.dedup();
        let speed = |(rate, _): &Class| rates.binary_search(rate).map_or(0, index);
        self.class_speeds = classes.iter().map(speed).collect();
        self.classes = classes.len().max(1);
        self.class_list = classes;
    }

    /// The class of a direction that has so much of its rate left.
    ///
    /// # Panics
    /// When no event or outage of the site slows a link down to that.
    pub(crate) fn slow_class(&self, direction: DirectionId, rate_ppm: u32) -> u32 {
        let own = &self.fabric.directions[direction.index()];
        let class = (slowed(own.rate, rate_ppm), own.medium);
        let found = self.class_list.iter().position(|known| *known == class);
        index(found.expect("times of slow links are made with the site's events and outages"))
    }

    fn add_hops(&mut self) {
        self.find_classes();
        let mut tiers: BTreeMap<(usize, bool), u32> = BTreeMap::new();
        for (index, direction) in self.fabric.directions.iter().enumerate() {
            let class = (direction.rate, direction.medium);
            let class = self.class_list.iter().position(|known| *known == class);
            let class = class.map_or(u32::MAX, self::index);
            let toward_array = index % 2 == 0;
            let next_tier = u32::try_from(tiers.len()).unwrap_or(u32::MAX);
            let tier = *tiers
                .entry((direction.family, toward_array))
                .or_insert(next_tier);
            if tier == next_tier {
                self.tiers
                    .push(tier_name(&self.site, direction.family, toward_array));
            }
            let node = &self.fabric.nodes[direction.to.0 as usize];
            self.hops.push(Hop {
                to: direction.to,
                ends: !matches!(node.kind, NodeKind::Switch(_)),
                class,
                speed: self.class_speeds[class as usize],
                medium: direction.medium,
                latency: direction.latency,
                delay: node.delay,
                cut_through: node.forwarding == crate::site::Forwarding::CutThrough,
                tier,
                choose: direction.choose,
                salt: self.fabric.nodes[direction.from.0 as usize].digest,
            });
        }
    }

    fn add_plans(&mut self) {
        for workload in self.site.workloads.clone() {
            let template = Template::new(&workload);
            let plans = template
                .kinds
                .iter()
                .map(|(op, size)| self.add_plan(&workload.protocol, *op, *size))
                .collect();
            self.plans.push(plans);
            self.templates.push(template);
        }
    }

    fn add_plan(&mut self, protocol: &Protocol, op: Op, size: u64) -> std::ops::Range<u32> {
        let first_volley = index(self.volleys.len());
        for volley in &protocol.plan(op, size).volleys {
            let first_run = index(self.runs.len());
            for run in &volley.runs {
                self.add_run(protocol, run.count, run.payload, |e| run.wire(e));
            }
            let end_run = index(self.runs.len());
            let ack = volley.ack_bytes.map(|bytes| {
                self.add_run(protocol, 1, 0, |_| bytes);
                end_run
            });
            self.volleys.push(Volley {
                toward: volley.toward,
                then: volley.then,
                runs: first_run..end_run,
                frames: volley.frames(),
                ack,
                ready_to_transfer: volley.ready_to_transfer,
            });
        }
        first_volley..index(self.volleys.len())
    }

    fn add_run(
        &mut self,
        protocol: &Protocol,
        count: u32,
        payload: u32,
        wire: impl Fn(Encapsulation) -> u32,
    ) {
        self.runs.push(Run { count, payload });
        for (rate, medium) in &self.class_list {
            // A stated rate has no medium: frames cross it as they are on their own kind of link.
            let encapsulation = medium.map_or(Some(native(protocol)), |medium| {
                protocol.encapsulation(medium)
            });
            let time = encapsulation.map_or_else(FrameTime::default, |encapsulation| {
                let bytes = wire(encapsulation);
                let header = encapsulation.cut_through_header(*medium, protocol.vlan());
                FrameTime {
                    ser: rate.serialize(u64::from(bytes)).0,
                    header: header.map_or(u64::MAX, |bytes| rate.serialize(bytes).0),
                    bytes,
                    payload,
                }
            });
            self.times.push(time);
        }
    }

    fn add_paths(&mut self) {
        let site = self.site.clone();
        let sets = self.fabric.path_sets(&site, &self.alive);
        let mut positions = vec![0_u32; site.workloads.len()];
        let issuing: Vec<u32> = site
            .workloads
            .iter()
            .map(|w| {
                self.fabric
                    .hosts
                    .iter()
                    .filter(|host| w.hosts.contains(&host.family))
                    .count()
            })
            .map(index)
            .collect();
        for (set_index, set) in sets.iter().enumerate() {
            let family = &site.hosts[self.fabric.hosts[set.host].family];
            let first_path = index(self.paths.len());
            let connections = set
                .workloads
                .iter()
                .map(|w| site.workloads[*w].connections)
                .max()
                .unwrap_or(1);
            for path in &set.paths {
                let flows = self.add_flows(path, set.family, connections.max(1));
                self.paths.push(PathPlan {
                    set: index(set_index),
                    path: *path,
                    flows,
                    nearness: 0,
                });
            }
            let mut sources = Vec::new();
            for workload in &set.workloads {
                sources.push(index(self.sources.len()));
                self.sources.push(SourcePlan {
                    workload: *workload,
                    host: set.host,
                    position: positions[*workload],
                    of: issuing[*workload],
                    set: index(set_index),
                });
                positions[*workload] += 1;
            }
            let protocol = site.workloads[set.workloads[0]].protocol;
            let files = matches!(protocol, Protocol::Nfs(_));
            let number = self.fabric.hosts[set.host].index;
            let ports = set.team_ports(family.team, files, number);
            self.sets.push(SetPlan {
                host: set.host,
                paths: first_path..index(self.paths.len()),
                sources,
                policy: family.paths,
                depth: family.queue_depth.unwrap_or(u32::MAX),
                timers: family.timers.clone(),
                protocol,
                team: ports.map(|ports| TeamPlan { ports }),
            });
            self.rank_by_distance(first_path);
        }
    }

    fn add_flows(&mut self, path: &Path, family: crate::wire::Family, connections: u32) -> u32 {
        let first = index(self.flows.len());
        let (host, array) = (path.host_port, path.array_port);
        let context = |to| RouteContext {
            family,
            side: path.side,
            to,
        };
        let there = self.routes.table(&self.fabric, &self.alive, context(array));
        let back = self.routes.table(&self.fabric, &self.alive, context(host));
        for connection in 0..connections {
            for (table, from, to) in [(there, host, array), (back, array, host)] {
                let hash = flow_hash(&self.fabric, from, to, connection);
                self.flows.push(Flow { table, from, hash });
            }
        }
        first
    }

    /// Ranks the paths from `first` on by hops and idle latency.
    fn rank_by_distance(&mut self, first: u32) {
        let distance: Vec<(u32, u64)> = self.paths[first as usize..]
            .iter()
            .map(|plan| self.distance(plan))
            .collect();
        let mut ranks: Vec<(u32, u64)> = distance.clone();
        ranks.sort_unstable();
        ranks.dedup();
        for (plan, own) in self.paths[first as usize..].iter_mut().zip(distance) {
            plan.nearness = ranks.binary_search(&own).map_or(0, index);
        }
    }

    fn distance(&self, plan: &PathPlan) -> (u32, u64) {
        let flow = &self.flows[plan.flows as usize];
        let (mut node, mut hops, mut latency) = (flow.from, 0, 0);
        while let Some(direction) = self.routes.next(&self.fabric, flow.table, node).first() {
            let hop = &self.hops[direction.index()];
            hops += 1;
            latency += hop.latency.0 + hop.delay.0;
            node = hop.to;
            if hop.ends || hops as usize > HOPS_MAX {
                break;
            }
        }
        (hops, latency)
    }

    /// Times of a run on a class of directions.
    #[inline]
    pub(crate) fn time_on(&self, run: u32, class: u32) -> &FrameTime {
        &self.times[run as usize * self.classes + class as usize]
    }

    /// Times of every run on a class of directions.
    #[inline]
    pub(crate) fn times_on(&self, class: u32) -> &[FrameTime] {
        let runs = self.runs.len();
        &self.times_by_class[class as usize * runs..][..runs]
    }

    /// Times of a run on a direction.
    pub(crate) fn time(&self, run: u32, direction: DirectionId) -> FrameTime {
        self.times[run as usize * self.classes + self.hops[direction.index()].class as usize]
    }

    /// The order in which frames cross the directions, where there is one.
    pub(crate) fn flow_order(&self) -> Option<&FlowOrder> {
        let found = || FlowOrder::new(self);
        self.flow_order.get_or_init(found).as_ref()
    }

    /// Whether runs without a script may be had in the order of the flow (executor [`Flow`](super::Flow)):
    /// frames never come back to a link, none are dealt out in turn, the shortest way is not too short, and
    /// there are at most 2,048 link directions. On larger sites a direction has hardly more than one frame in
    /// a stretch, and events are faster (`benches/README.md`).
    #[must_use]
    pub fn in_flow_order(&self) -> bool {
        self.hops.len() <= FEW && self.flow_order().is_some()
    }

    /// The shortest way of a message to an array and back to a host in such a run, 16 us each at most, where no link direction belongs to
    /// both: hosts and arrays take turns then, each as far as the other's way is long.
    #[must_use]
    pub fn turns(&self) -> Option<(Duration, Duration)> {
        let round = self.flow_order()?.round?;
        Some((Duration(round.there), Duration(round.back)))
    }

    /// Leaves paths out of use from the start on, as a run of the same site has left them: other paths stand as usual.
    pub fn begin_without(&mut self, paths: &[OutPath]) {
        self.out = paths.to_vec();
        for plan in &mut self.sets {
            let Some(team) = &mut plan.team else {
                continue;
            };
            // A team is on the first port of which not all paths are out of use.
            let used = |port: &NodeId| {
                let mut own = self.paths[plan.paths.start as usize..plan.paths.end as usize].iter();
                own.any(|path| {
                    path.path.host_port == *port && !paths.iter().any(|out| out.is(path))
                })
            };
            if team.ports.iter().any(used) {
                team.ports.retain(used);
            }
        }
    }

    /// Tier of a direction: `edge > san`.
    #[must_use]
    pub fn tier_of(&self, direction: DirectionId) -> &str {
        &self.tiers[self.hops[direction.index()].tier as usize]
    }

    /// Host and workload of every source, in the order of their tallies.
    pub fn source_names(&self) -> impl Iterator<Item = (&str, &str)> {
        self.sources.iter().map(|source| {
            let host = &self.fabric.hosts[source.host].name;
            (
                host.as_str(),
                self.site.workloads[source.workload].name.as_str(),
            )
        })
    }

    /// Every path, in the order of their tallies.
    pub fn path_names(&self) -> impl Iterator<Item = PathName<'_>> {
        self.paths.iter().map(|plan| {
            let set = &self.sets[plan.set as usize];
            let name = |node: NodeId| self.fabric.nodes[node.0 as usize].name.as_str();
            let workloads = set.sources.iter().map(|source| {
                let workload = self.sources[*source as usize].workload;
                self.site.workloads[workload].name.as_str()
            });
            PathName {
                host: &self.fabric.hosts[set.host].name,
                workloads: workloads.collect(),
                protocol: set.protocol.key(),
                timers: &set.timers,
                host_port: name(plan.path.host_port),
                array_port: name(plan.path.array_port),
                side: plan.path.side,
                begins: self.begins(plan),
                found_anew: set.protocol.is_found_anew(),
            }
        })
    }

    /// The standing of a path when a run begins: in a team those over other ports than the first stand by.
    pub(crate) fn begins(&self, plan: &PathPlan) -> Standing {
        if let Some(out) = self.out.iter().find(|out| out.is(plan)) {
            return out.standing;
        }
        match &self.sets[plan.set as usize].team {
            Some(team) if team.ports[0] != plan.path.host_port => Standing::Standby,
            _ => Standing::Up,
        }
    }

    /// The host of a path, by index into the fabric's.
    #[must_use]
    pub fn host_of_path(&self, path: u32) -> Option<usize> {
        let plan = self.paths.get(path as usize)?;
        Some(self.sets[plan.set as usize].host)
    }

    /// The first path of a set: index into [`Self::path_names`].
    #[must_use]
    pub fn first_path(&self, set: u32) -> u32 {
        self.sets[set as usize].paths.start
    }

    /// Name of a direction, as the fabric gives it.
    #[must_use]
    pub fn direction_name(&self, direction: DirectionId) -> String {
        self.fabric.direction_name(&self.site, direction)
    }
}

/// The encapsulation on a protocol's own kind of link.
fn native(protocol: &Protocol) -> Encapsulation {
    match protocol.family() {
        crate::wire::Family::Fc => Encapsulation::FibreChannel,
        crate::wire::Family::Ip => Encapsulation::Ethernet,
        crate::wire::Family::Any => Encapsulation::Plain,
    }
}

/// `edge > san`: a link family in one direction.
fn tier_name(site: &Site, family: usize, toward_array: bool) -> String {
    let name = |end: crate::site::End| match end {
        crate::site::End::Host(index) => site.hosts[index].name.clone(),
        crate::site::End::Switch(index) => site.switches[index].name.clone(),
        crate::site::End::Array(index) => site.arrays[index].name.clone(),
    };
    let link = &site.links[family];
    let (near, far) = (name(link.from), name(link.to));
    let base = if toward_array {
        format!("{near} > {far}")
    } else {
        format!("{far} > {near}")
    };
    // Two families between the same ends keep their own names apart.
    let twins = site
        .links
        .iter()
        .filter(|other| other.from == link.from && other.to == link.to)
        .count();
    if twins > 1 {
        format!("{base} ({})", link.name)
    } else {
        base
    }
}

fn index(n: usize) -> u32 {
    u32::try_from(n).expect("parts of a site are limited where it is read")
}

/// What the addresses of a flow and the number of its connection make, by which switches choose a member for it.
pub(crate) fn flow_hash(fabric: &Fabric, from: NodeId, to: NodeId, connection: u32) -> u64 {
    let address = |node: NodeId| fabric.nodes[node.0 as usize].digest;
    mix_pair(mix_pair(address(from), address(to)), u64::from(connection))
}
