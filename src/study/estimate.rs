//! What a site can be expected to carry, on numbers only: no run, no queue, no random number.
//!
//! For each case (healthy, then each outage) the I/O rates of the workloads times the wire bytes of their
//! exchanges give bytes per second on every link direction, and rates times mean service times give the
//! busy share of every controller. I/Os are spread evenly over the paths the host's policy would use on
//! an idle site, and frames evenly over equal-cost next hops and members. Pure ACKs are counted.
//!
//! What a hash does to the members of a link group is in `estimate_by_member`; else frames are even over them, as they are on the
//! average. Work whose guests run on other hosts than their own is counted there (`guests`). Left out: retries,
//! full queues (what hosts that level them make of unlike ways is in `level`), and work in a closed loop, which takes what there is: [`Estimate::asked`] marks it, and its
//! ceiling is [`idle::closed_ceiling`]. A burst figure has all bursty workloads in a burst at once, at all
//! of their hosts: the worst that can coincide.

mod demand;
mod guests;
pub mod idle;
mod level;
mod overload;
mod payload;
mod spread;

pub(crate) use demand::slowest_service_s;
pub use demand::{Asked, PerIo, WireBytes, asked, mean_service_s, mix, per_io};
pub(in crate::study) use demand::{Kind, kinds};
pub(crate) use guests::MovedWork;
pub(crate) use level::{Levelled, fullest, levelled, levelled_in_bursts, levels, weights_of};
pub(crate) use overload::overloaded;
pub use payload::{Data, data_at_ports};

pub(crate) use spread::{Flows, Grain, Shares, encapsulation_on, path_weights};

use super::case::CasePlan;
use crate::site::{Outage, Site, Slow, Workload};
use crate::topology::{DirectionId, Fabric, MemberId, Path, PathSet, Routes};
use crate::wire::{Encapsulation, Family, Protocol};
use rayon::prelude::*;
use std::sync::Arc;

/// Two rates or shares of the same thing: on the mean, and with every burst at its peak.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Load {
    /// Mean.
    pub mean: f64,
    /// In a burst; equals the mean where nothing is bursty.
    pub burst: f64,
}

impl Load {
    fn add(&mut self, other: Self, times: f64) {
        self.mean += other.mean * times;
        self.burst += other.burst * times;
    }

    /// Both parts divided by a capacity.
    #[must_use]
    pub fn over(self, capacity: f64) -> Self {
        Self {
            mean: self.mean / capacity,
            burst: self.burst / capacity,
        }
    }
}

/// One state of the site.
#[derive(Clone, Debug)]
pub struct CaseLoads {
    /// `healthy`, `A lost`.
    pub name: String,
    /// Index into [`Site::outages`]; `None` for healthy.
    pub outage: Option<usize>,
    /// Members that are there.
    pub alive: Vec<bool>,
    /// What is left of the rate of each member: 1 where it is not slow.
    pub left: Vec<f64>,
    /// Paths that are left.
    pub sets: Vec<PathSet>,
    /// Bytes on the wire per second, by direction.
    pub bytes: Vec<Load>,
    /// Busy share (1 is full) by direction; `None` where it is lost.
    pub directions: Vec<Option<Load>>,
    /// Busy share (1 is full) by controller; `None` where no port is left.
    pub controllers: Vec<Option<Load>>,
    /// Work that other hosts do than its own.
    pub(crate) moved: MovedWork,
    /// Routes found on the way.
    pub(crate) routes: Arc<Routes>,
    /// By direction: whether a closed loop may cross it, which no share above counts.
    pub closed: Vec<bool>,
    /// The same by controller.
    pub closed_controllers: Vec<bool>,
    /// How frames share members.
    pub(crate) grain: Grain,
}

/// The whole estimate.
#[derive(Clone, Debug)]
pub struct Estimate {
    /// Healthy first, then the outages in scenario order.
    pub cases: Vec<CaseLoads>,
    /// What each workload asks for, in scenario order.
    pub asked: Vec<Asked>,
}

impl Estimate {
    /// Busy share on the mean (1 is full) of the fullest direction or controller in the case of that name; `None`
    /// where nothing is asked at a rate, as in a closed loop.
    #[must_use]
    pub fn fullest(&self, case: &str) -> Option<f64> {
        let case = self.cases.iter().find(|known| known.name == case)?;
        let all = case.directions.iter().chain(&case.controllers);
        let fullest = all.flatten().map(|load| load.mean).fold(0.0, f64::max);
        (fullest > 0.0).then_some(fullest)
    }

    /// The same with every bursty workload in a burst.
    #[must_use]
    pub fn fullest_in_bursts(&self, case: &str) -> Option<f64> {
        let case = self.cases.iter().find(|known| known.name == case)?;
        let all = case.directions.iter().chain(&case.controllers);
        let fullest = all.flatten().map(|load| load.burst).fold(0.0, f64::max);
        (fullest > 0.0).then_some(fullest)
    }
}

/// Estimates every case of a site.
#[must_use]
pub fn estimate(site: &Site, fabric: &Fabric) -> Estimate {
    estimate_of(site, fabric, Grain::Bundles)
}

/// The same with each flow on the member that its addresses give it, as the runs have it: what a hash makes full is known.
#[must_use]
pub(crate) fn estimate_by_member(site: &Site, fabric: &Fabric) -> Estimate {
    estimate_of(site, fabric, Grain::Members)
}

/// The same from an estimate of the same site, whose paths and routes need not be found again.
#[must_use]
pub(crate) fn estimate_by_member_of(site: &Site, fabric: &Fabric, known: &Estimate) -> Estimate {
    let again = |case: &CaseLoads| {
        let ground = (case.sets.clone(), case.routes.clone(), case.moved.clone());
        loads_over(site, fabric, case.outage, Grain::Members, ground)
    };
    Estimate {
        cases: known.cases.par_iter().map(again).collect(),
        asked: known.asked.clone(),
    }
}

fn estimate_of(site: &Site, fabric: &Fabric, grain: Grain) -> Estimate {
    let outages = (0..site.outages.len()).map(Some);
    let all: Vec<Option<usize>> = std::iter::once(None).chain(outages).collect();
    Estimate {
        cases: all
            .into_par_iter()
            .map(|outage| loads_of(site, fabric, outage, grain))
            .collect(),
        asked: site
            .workloads
            .iter()
            .map(|workload| asked(fabric, workload))
            .collect(),
    }
}

/// That nothing is counted for what is sent again, where outages damage frames.
pub(crate) fn damage_note(site: &Site) -> Option<String> {
    let damaging = site.outages.iter().filter(|outage| {
        let slow = outage.slow();
        outage.gone().is_none() && slow.is_some_and(|slow| slow.loss_ppb > 0)
    });
    let names: Vec<String> = damaging.map(Outage::state).collect();
    (!names.is_empty()).then(|| {
        format!(
            "what is full by arithmetic is about so with {}: nothing is counted for what is sent again there, nor for paths that hosts give up \
             because of damaged frames",
            names.join(", ")
        )
    })
}

/// Members that are there in a case.
#[must_use]
pub fn alive_in(site: &Site, fabric: &Fabric, outage: Option<usize>) -> Vec<bool> {
    let mut alive = fabric.all_alive();
    if let Some(outage) = outage.map(|index| &site.outages[index]) {
        for member in fabric.members_out(outage) {
            alive[member.0 as usize] = false;
        }
    }
    alive
}

/// The path sets that are left in a case, without the paths that no host takes into use.
pub(crate) fn sets_in(site: &Site, fabric: &Fabric, outage: Option<&Outage>) -> Vec<PathSet> {
    plan_in(site, fabric, outage).path_sets_by(site, fabric, &mut Arc::default())
}

fn plan_in(site: &Site, fabric: &Fabric, outage: Option<&Outage>) -> CasePlan {
    match outage {
        Some(outage) => CasePlan::outage(site, fabric, outage),
        None => CasePlan::healthy(),
    }
}

pub(crate) fn case_loads(site: &Site, fabric: &Fabric, outage: Option<usize>) -> CaseLoads {
    loads_of(site, fabric, outage, Grain::Bundles)
}

/// [`case_loads`] of that grain.
pub(crate) fn loads_of(
    site: &Site,
    fabric: &Fabric,
    outage: Option<usize>,
    grain: Grain,
) -> CaseLoads {
    let gone = outage.map(|index| &site.outages[index]);
    let mut routes = Arc::default();
    let plan = plan_in(site, fabric, gone);
    let sets = plan.path_sets_by(site, fabric, &mut routes);
    let works = site.workloads.iter();
    let asks: Vec<Asked> = works.map(|work| asked(fabric, work)).collect();
    let moved = MovedWork::of(site, fabric, &plan, &sets, &asks);
    loads_over(site, fabric, outage, grain, (sets, routes, moved))
}

/// The same with the paths of the case, routes over its members, and work that other hosts do.
fn loads_over(
    site: &Site,
    fabric: &Fabric,
    outage: Option<usize>,
    grain: Grain,
    ground: (Vec<PathSet>, Arc<Routes>, MovedWork),
) -> CaseLoads {
    let slow = outage.map_or_else(Vec::new, |index| fabric.slow_after(&site.outages[index]));
    let there = (alive_in(site, fabric, outage), rate_left(fabric, &slow));
    loads_on(site, fabric, outage, grain, ground, there)
}

/// The same by member of any state: the members that are there, what the plan has of them slow and of work at other hosts, and the
/// paths that are left.
pub(crate) fn loads_where(
    site: &Site,
    fabric: &Fabric,
    alive: &[bool],
    plan: &CasePlan,
    sets: &[PathSet],
) -> CaseLoads {
    let works = site.workloads.iter();
    let asks: Vec<Asked> = works.map(|work| asked(fabric, work)).collect();
    let moved = MovedWork::of(site, fabric, plan, sets, &asks);
    let ground = (sets.to_vec(), Arc::default(), moved);
    let there = (alive.to_vec(), rate_left(fabric, &plan.slow));
    loads_on(site, fabric, None, Grain::Members, ground, there)
}

fn loads_on(
    site: &Site,
    fabric: &Fabric,
    outage: Option<usize>,
    grain: Grain,
    (sets, routes, moved): (Vec<PathSet>, Arc<Routes>, MovedWork),
    (alive, left): (Vec<bool>, Vec<f64>),
) -> CaseLoads {
    let mut bytes = vec![Load::default(); fabric.directions.len()];
    let mut busy = vec![Load::default(); fabric.controllers.len()];
    let mut closed = vec![false; fabric.directions.len()];
    let mut closed_controllers = vec![false; fabric.controllers.len()];
    let mut flows = Flows::with(fabric, &alive, routes).of(grain);
    let demands: Vec<(Asked, PerIo)> = site
        .workloads
        .iter()
        .map(|workload| (asked(fabric, workload), per_io(workload)))
        .collect();
    for set in &sets {
        for index in &set.workloads {
            let workload = &site.workloads[*index];
            let (asked, per_io) = &demands[*index];
            let Some(rate) = moved.at_host(asked, *index, set.host) else {
                let weights = path_weights(site, fabric, &mut flows, set, workload);
                for (path, _) in set.paths.iter().zip(weights).filter(|(_, w)| *w > 0.0) {
                    closed_controllers[path.controller] = true;
                    let (there, back) = flows
                        .of_work(workload, set.host)
                        .both_ways(path, set.family);
                    for (direction, _) in there.iter().chain(back) {
                        closed[direction.index()] = true;
                    }
                }
                continue;
            };
            let mut sums = (&mut bytes[..], &mut busy[..]);
            add_load(
                site,
                fabric,
                &mut flows,
                set,
                *index,
                (rate, per_io),
                &mut sums,
            );
        }
    }
    let routes = flows.found();
    CaseLoads {
        routes,
        name: outage.map_or_else(|| "healthy".to_owned(), |index| site.outages[index].state()),
        outage,
        directions: direction_use(fabric, &alive, &bytes, &left),
        controllers: controller_use(site, fabric, &alive, &busy),
        alive,
        left,
        sets,
        moved,
        bytes,
        closed,
        closed_controllers,
        grain,
    }
}

/// Adds what a workload asks of each direction, in bytes, and of each controller, in seconds, over one set of paths.
fn add_load(
    site: &Site,
    fabric: &Fabric,
    flows: &mut Flows<'_>,
    set: &PathSet,
    index: usize,
    (rate, per_io): (Load, &PerIo),
    sums: &mut (&mut [Load], &mut [Load]),
) {
    let weights = path_weights(site, fabric, flows, set, &site.workloads[index]);
    let over = (set, &weights[..]);
    add_over(site, fabric, flows, over, index, (rate, per_io), sums);
}

/// The same with the share of the workload's I/Os at the host that each path carries.
fn add_over(
    site: &Site,
    fabric: &Fabric,
    flows: &mut Flows<'_>,
    (set, weights): (&PathSet, &[f64]),
    index: usize,
    (rate, per_io): (Load, &PerIo),
    (bytes, busy): &mut (&mut [Load], &mut [Load]),
) {
    let workload = &site.workloads[index];
    let service = mean_service_s(workload, &site.arrays[set.array]);
    for (path, weight) in set.paths.iter().zip(weights) {
        busy[path.controller].add(rate, weight * service);
        let (there, back) = flows
            .of_work(workload, set.host)
            .both_ways(path, set.family);
        for (shares, wire) in [(there, &per_io.to_array), (back, &per_io.to_host)] {
            for (direction, share) in shares.iter() {
                let one = wire_bytes(fabric, &workload.protocol, *direction, wire);
                bytes[direction.index()].add(rate, weight * share * one);
            }
        }
    }
}

/// Busy share on the mean that one workload alone makes of every direction, then of every controller, in a case; 0 where it is lost.
/// Counted is the own work of hosts that have a path in the case `left`: not that of lost ones, nor that of their guests.
pub(crate) fn shares_of(
    site: &Site,
    fabric: &Fabric,
    (case, left): (&CaseLoads, &CaseLoads),
    index: usize,
) -> Vec<f64> {
    let workload = &site.workloads[index];
    shares_by(site, fabric, (case, left), index, |flows, set| {
        path_weights(site, fabric, flows, &case.sets[set], workload)
    })
}

/// The same of that part of a workload alone whose paths the case has lost: what it asks of the parts on the ways that take over,
/// those among them that it crossed before too.
pub(crate) fn moved_shares_of(
    site: &Site,
    fabric: &Fabric,
    (healthy, case): (&CaseLoads, &CaseLoads),
    index: usize,
) -> Vec<f64> {
    let workload = &site.workloads[index];
    let mut before = Flows::with(fabric, &healthy.alive, healthy.routes.clone());
    shares_by(site, fabric, (case, case), index, |after, number| {
        let (had, left) = (&healthy.sets[number], &case.sets[number]);
        let gone = |path: &usize| {
            let path = &had.paths[*path];
            let same =
                |own: &Path| (own.host_port, own.array_port) == (path.host_port, path.array_port);
            !left.paths.iter().any(same)
        };
        let mut weights = vec![0.0; left.paths.len()];
        let had = spread::preferred(site, fabric, &mut before, had, workload).into_iter();
        let take_over = spread::preferred(site, fabric, after, left, workload);
        for ((share, chosen), (_, takers)) in had.zip(take_over) {
            let lost = chosen.iter().filter(|path| gone(path)).count();
            for path in &takers {
                weights[*path] += share * count(lost) / count(chosen.len()) / count(takers.len());
            }
        }
        weights
    })
}

/// The same by what each path carries, `weights`, of the set of a number in the case.
fn shares_by(
    site: &Site,
    fabric: &Fabric,
    (case, left): (&CaseLoads, &CaseLoads),
    index: usize,
    mut weights: impl FnMut(&mut Flows<'_>, usize) -> Vec<f64>,
) -> Vec<f64> {
    let mut bytes = vec![Load::default(); fabric.directions.len()];
    let mut busy = vec![Load::default(); fabric.controllers.len()];
    let mut flows = Flows::with(fabric, &case.alive, case.routes.clone()).of(case.grain);
    let workload = &site.workloads[index];
    let (asked, per_io) = (asked(fabric, workload), per_io(workload));
    let sets = case.sets.iter().zip(&left.sets).enumerate();
    let sets =
        sets.filter(|(_, (set, left))| set.workloads.contains(&index) && !left.paths.is_empty());
    for (number, (set, _)) in sets {
        if let Some(rate) = asked.at_host(set.host) {
            let weights = weights(&mut flows, number);
            let mut sums = (&mut bytes[..], &mut busy[..]);
            let over = (set, &weights[..]);
            add_over(
                site,
                fabric,
                &mut flows,
                over,
                index,
                (rate, &per_io),
                &mut sums,
            );
        }
    }
    let directions = direction_use(fabric, &case.alive, &bytes, &case.left);
    let controllers = controller_use(site, fabric, &case.alive, &busy);
    let all = directions.into_iter().chain(controllers);
    all.map(|load| load.map_or(0.0, |load| load.mean)).collect()
}

/// Bytes of one I/O of a kind on a direction that carries all of it.
pub(in crate::study) fn bytes_of(
    fabric: &Fabric,
    workload: &Workload,
    kind: &Kind,
    direction: DirectionId,
    toward_array: bool,
) -> f64 {
    let wire = if toward_array {
        &kind.wires.to_array
    } else {
        &kind.wires.to_host
    };
    wire_bytes(fabric, &workload.protocol, direction, wire)
}

/// Bytes of one I/O on a direction that carries all of it.
fn wire_bytes(
    fabric: &Fabric,
    protocol: &Protocol,
    direction: DirectionId,
    wire: &WireBytes,
) -> f64 {
    match encapsulation_on(fabric, protocol, direction) {
        Some(Encapsulation::Fcoe) => wire.fcoe,
        Some(_) => wire.native,
        None => 0.0,
    }
}

/// What is left of the rate of each member in a case: 1 where it is not slow.
fn rate_left(fabric: &Fabric, slow: &[(MemberId, Slow)]) -> Vec<f64> {
    let mut left = vec![1.0; fabric.members.len()];
    for (member, slow) in slow {
        left[member.0 as usize] = f64::from(slow.rate_ppm) / f64::from(Slow::WHOLE);
    }
    left
}

fn direction_use(
    fabric: &Fabric,
    alive: &[bool],
    bytes: &[Load],
    left: &[f64],
) -> Vec<Option<Load>> {
    let capacity =
        |index: usize| fabric.directions[index].rate.bits_per_second() / 8.0 * left[index / 2];
    (0..fabric.directions.len())
        .map(|index| alive[index / 2].then(|| bytes[index].over(capacity(index))))
        .collect()
}

fn controller_use(
    site: &Site,
    fabric: &Fabric,
    alive: &[bool],
    busy: &[Load],
) -> Vec<Option<Load>> {
    let reached = |port: &crate::topology::NodeId| {
        fabric
            .members
            .iter()
            .zip(alive)
            .any(|(member, alive)| *alive && member.far == *port)
    };
    fabric
        .controllers
        .iter()
        .zip(busy)
        .map(|(controller, busy)| {
            let parallel = f64::from(site.arrays[controller.array].parallel);
            controller
                .ports
                .iter()
                .any(reached)
                .then(|| busy.over(parallel))
        })
        .collect()
}

/// A count as a float: sites have far fewer than 2^52 parts.
#[allow(clippy::cast_precision_loss)]
pub(crate) fn count(n: usize) -> f64 {
    n as f64
}

/// The encapsulation on a protocol's own kind of link: what a stated rate without a technology carries.
#[must_use]
pub fn native(protocol: &Protocol) -> Encapsulation {
    match protocol.family() {
        Family::Fc => Encapsulation::FibreChannel,
        Family::Ip => Encapsulation::Ethernet,
        Family::Any => Encapsulation::Plain,
    }
}

#[cfg(test)]
mod tests;
