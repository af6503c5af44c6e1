//! How long a run must be before it may call a load met, and which parts a workload uses.
//!
//! A queue that is nearly full forgets slowly. A run that is short against that time begins with an empty queue and may
//! end before the backlog that breaks the promise has ever been there: it looks better than the truth, in every replication.
//!
//! The time is the relaxation time of one queue, T = (S ÷ c) × (1 + v²) ÷ 2 ÷ (1 − √ρ)², at least S, with service S of
//! one I/O, c requests at once, squared coefficient of variation v² and busy share ρ. For exponential service and c = 1 it is
//! the relaxation time S ÷ (1 − √ρ)² of M/M/1 (J. W. Cohen, *The Single Server Queue*; from memory); the factor
//! (1 + v²) ÷ 2 is that of heavy traffic (W. Whitt, *Planning queueing simulations*, Management Science 35, 1989; from
//! memory). How many of them a run needs, and by how much runs are lengthened at most, is our choice.
//!
//! Arrivals in bursts of random length (a two-state modulated Poisson stream) count by their asymptotic index of
//! dispersion, which takes the place of the 1 of arrivals at random: (I + v²) ÷ 2, with I = 1 + k × λ for a stream of rate
//! λ whose burst and pause have the rates a and b times its mean and lengths of means 1 ÷ σ and 1 ÷ τ: k = 2 (a − b)² σ τ ÷
//! (σ + τ)³ (W. Fischer and K. Meier-Hellstern, *The Markov-modulated Poisson process cookbook*, Performance Evaluation 18,
//! 1993; from memory). Streams in one phase add up before, others after. Such a queue remembers at least a burst and its
//! pause. Bursts of fixed lengths repeat: a run needs one whole cycle after its warm-up, and remembers no longer for them.
//!
//! The places that a host has for I/Os under way (its queue depth on all paths, or a bound of the workload) are servers as
//! well, each busy for the whole of an I/O; here its time on an idle site stands for that.
//!
//! A run that sees the beginning of a second burst and not its pause, or half a cycle, shows a load that never is: where
//! bursts are of fixed lengths, every run is made a whole number of cycles long after its warm-up, pilot runs too.
//!
//! Left out: replays (how long their bursts last is not known: they are taken as arrivals at random, which the notes
//! say), closed loops (which bound their own queues), and queues in a row, of which the slowest counts.

use crate::outcome::{Case, Purpose};
use crate::site::{Arrivals, BurstLaw, Outage, Site, WarmUp, Workload};
use crate::study::closed_forms::service;
use crate::study::estimate::{
    Flows, Grain, Levelled, alive_in, asked, bytes_of, idle, kinds, levelled, loads_of, mix,
    sets_in, weights_of,
};
use crate::topology::{Fabric, Path, PathSet};
use crate::unit::Duration;
use std::collections::{BTreeMap, BTreeSet};

/// The measured window of each run is at least so many relaxation times.
const WINDOW: f64 = 20.0;
/// The warm-up is at least so many.
const WARM_UP: f64 = 3.0;
/// A run is lengthened to at most so many times what the scenario states.
const LONGEST: f64 = 16.0;

/// What was done about the length of a run.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Length {
    /// Long enough as stated.
    Stated,
    /// Made this long, seconds.
    Made(f64),
    /// It would have to be this long, seconds, which is beyond the limit; infinite where the part is full.
    Short(f64),
}

/// Lengthens the runs of `site` for the promises of `case`, as far as the limit allows: to whole cycles of bursts, and,
/// where they are to prove that promises are met, to what the queues remember.
pub(super) fn lengthen(site: &mut Site, fabric: &Fabric, case: &Case, purpose: Purpose) -> Length {
    let relaxation = match purpose {
        Purpose::ProveMet | Purpose::Below => relaxation_s(site, fabric, case),
        Purpose::Pilot | Purpose::ProveMissed => 0.0,
    };
    let stated = site.run.duration.as_secs_f64();
    let least = WARM_UP * relaxation;
    let warm_up = match site.run.warm_up {
        WarmUp::Auto => least,
        WarmUp::At(at) => least.max(at.as_secs_f64()),
    };
    let cycle = cycle_s(site, case);
    let window = (WINDOW * relaxation).max(cycle);
    let window = if cycle > 0.0 {
        // As stated, if that is enough; then a whole number of cycles.
        let window = window.max(stated - warm_up);
        (window / cycle - 1e-9).ceil() * cycle
    } else {
        window
    };
    let needed = warm_up + window;
    let enough = match site.run.warm_up {
        WarmUp::Auto => true,
        WarmUp::At(at) => at.as_secs_f64() >= least,
    };
    // Sums of seconds leave a residue, which is no length.
    let stated_s = stated * (1.0 + 1e-9);
    if enough && needed <= stated_s {
        return Length::Stated;
    }
    if needed > stated_s * LONGEST {
        return Length::Short(needed);
    }
    let ps = |seconds: f64| Duration::from_ps_f64(seconds * 1e12);
    site.run.duration = ps(needed.max(stated));
    if !enough {
        site.run.warm_up = WarmUp::At(ps(warm_up));
    }
    Length::Made(needed.max(stated))
}

/// Whether something is promised of a workload in a case.
fn promised(work: &Workload, case: &Case) -> bool {
    !super::outlook::promised(work, case).is_empty()
}

/// The longest cycle of bursts of fixed lengths of promised work, seconds; 0 without one.
fn cycle_s(site: &Site, case: &Case) -> f64 {
    let cycle = |work: &Workload| match &work.arrivals {
        Arrivals::Bursty(burst) if burst.law == BurstLaw::Fixed => burst.every.as_secs_f64(),
        _ => 0.0,
    };
    let own = site.workloads.iter().filter(|work| promised(work, case));
    own.map(cycle).fold(0.0, f64::max)
}

/// Bursts of random length: what they add to the index of dispersion for each I/O a second, and how long a burst and its
/// pause are on the mean, seconds.
#[derive(Clone, Copy, Default)]
struct Bursts {
    per_rate: f64,
    cycle_s: f64,
}

fn bursts(work: &Workload) -> Bursts {
    let Arrivals::Bursty(burst) = &work.arrivals else {
        return Bursts::default();
    };
    let (on, all) = (burst.burst.as_secs_f64(), burst.every.as_secs_f64());
    if burst.law == BurstLaw::Fixed || on >= all {
        return Bursts::default();
    }
    let mean = (burst.peak * on + burst.base * (all - on)) / all;
    let (ends, begins) = (1.0 / on, 1.0 / (all - on));
    let swing = (burst.peak - burst.base) / mean;
    Bursts {
        per_rate: 2.0 * swing * swing * ends * begins / (ends + begins).powi(3),
        cycle_s: all,
    }
}

/// Work at a queue: I/Os a second, and their mean and mean square service, each times that rate; what bursts add to the
/// variance of the I/Os that come, for each second.
#[derive(Clone, Default)]
struct Work {
    rate: f64,
    first: f64,
    second: f64,
    promised: bool,
    cycle_s: f64,
    /// Rates of streams in one phase, with what bursts add for each: by workload, and by host where those are apart.
    streams: BTreeMap<(usize, usize), (f64, f64)>,
}

impl Work {
    fn add(&mut self, rate: f64, first: f64, second: f64, promised: bool) {
        self.rate += rate;
        self.first += rate * first;
        self.second += rate * second;
        self.promised |= promised;
    }

    fn join(&mut self, other: Self) {
        self.rate += other.rate;
        self.first += other.first;
        self.second += other.second;
        self.promised |= other.promised;
        self.cycle_s = self.cycle_s.max(other.cycle_s);
        self.streams.extend(other.streams);
    }

    fn add_stream(&mut self, key: (usize, usize), rate: f64, bursts: Bursts) {
        if bursts.per_rate > 0.0 {
            self.cycle_s = self.cycle_s.max(bursts.cycle_s);
            let stream = self.streams.entry(key).or_insert((0.0, bursts.per_rate));
            stream.0 += rate;
        }
    }

    /// Variance of the I/Os that come over their mean, over long times.
    fn dispersion(&self) -> f64 {
        let of = |(rate, per_rate): &(f64, f64)| rate * rate * per_rate;
        1.0 + self.streams.values().map(of).sum::<f64>() / self.rate
    }

    fn relaxation_s(&self, servers: f64) -> f64 {
        if !self.promised || self.first <= 0.0 {
            return 0.0;
        }
        let service = self.first / self.rate;
        let variation = (self.second / self.rate / (service * service) - 1.0).max(0.0);
        let arrivals = self.dispersion();
        let busy = self.first / servers;
        if busy >= 1.0 {
            return f64::INFINITY;
        }
        let idle = 1.0 - busy.sqrt();
        (service / servers * (arrivals + variation) / 2.0 / (idle * idle))
            .max(service)
            .max(self.cycle_s)
    }
}

/// The longest relaxation time, seconds, of the links and controllers that promised work uses in a case, and of its hosts.
fn relaxation_s(site: &Site, fabric: &Fabric, case: &Case) -> f64 {
    parts_relaxation_s(site, fabric, case).max(hosts_relaxation_s(site, fabric, case))
}

/// The same of the places that hosts have for I/Os under way.
fn hosts_relaxation_s(site: &Site, fabric: &Fabric, case: &Case) -> f64 {
    let alive = alive_of(site, fabric, case);
    let mut flows = Flows::new(fabric, &alive);
    let mut seen = BTreeSet::new();
    let mut longest: f64 = 0.0;
    for set in &sets_of(site, fabric, case) {
        // Hosts of a family are alike.
        if !seen.insert((fabric.hosts[set.host].family, set.workloads.clone())) {
            continue;
        }
        let mut all = Work::default();
        for index in &set.workloads {
            let Some(own) = at_host(site, fabric, case, &mut flows, set, *index) else {
                continue;
            };
            if let Some(bound) = site.workloads[*index].outstanding {
                longest = longest.max(own.relaxation_s(f64::from(bound)));
            }
            all.join(own);
        }
        if let Some(slots) = idle::path_slots(site, fabric, &mut flows, set) {
            longest = longest.max(all.relaxation_s(slots));
        }
    }
    longest
}

/// The I/Os of a workload at one host, each as long as on an idle site.
fn at_host(
    site: &Site,
    fabric: &Fabric,
    case: &Case,
    flows: &mut Flows<'_>,
    set: &PathSet,
    index: usize,
) -> Option<Work> {
    let workload = &site.workloads[index];
    let rate = asked(fabric, workload).at_host(set.host)?.mean;
    let kinds = idle::kind_times(site, fabric, flows, workload, set.paths.first()?)?;
    let mut own = Work::default();
    own.add_stream((index, set.host), rate, bursts(workload));
    for ((op, size, share), kind) in mix(workload).into_iter().zip(kinds) {
        let (first, second, _) = service(&site.arrays[set.array], op, size);
        let wire = kind.wire_s;
        let square = wire * wire + 2.0 * wire * first + second;
        let promised = promised(workload, case);
        own.add(rate * share, wire + first, square, promised);
    }
    Some(own)
}

fn parts_relaxation_s(site: &Site, fabric: &Fabric, case: &Case) -> f64 {
    let mut directions = vec![Work::default(); fabric.directions.len()];
    let mut controllers = vec![Work::default(); fabric.controllers.len()];
    let named = |name: &String| site.outages.iter().position(|outage| outage.name == *name);
    let outage = case.outage.as_ref().and_then(named);
    let loads = loads_of(site, fabric, outage, Grain::Members);
    let levelled = levelled(site, fabric, &loads);
    let asks: Vec<_> = site.workloads.iter().map(|w| asked(fabric, w)).collect();
    let kinds: Vec<_> = site.workloads.iter().map(kinds).collect();
    walk(
        site,
        fabric,
        case,
        levelled.as_ref(),
        |flows, set, workload, path, weight| {
            let work = &site.workloads[workload];
            let promised = promised(work, case);
            let bursts = bursts(work);
            let together = matches!(&work.arrivals, Arrivals::Bursty(burst) if burst.together);
            let key = (workload, if together { usize::MAX } else { set.host });
            let rate = asks[workload].at_host(set.host);
            let Some(rate) = rate.map(|rate| rate.mean * weight) else {
                return;
            };
            let (there, back) = flows.of_work(work, set.host).both_ways(path, set.family);
            controllers[path.controller].add_stream(key, rate, bursts);
            for (direction, part) in there.iter().chain(back) {
                directions[direction.index()].add_stream(key, rate * part, bursts);
            }
            for kind in &kinds[workload] {
                let rate = rate * kind.share;
                let (first, second, _) = service(&site.arrays[set.array], kind.op, kind.size);
                controllers[path.controller].add(rate, first, second, promised);
                for (shares, toward_array) in [(there, true), (back, false)] {
                    for (direction, part) in shares {
                        let bytes = bytes_of(fabric, work, kind, *direction, toward_array);
                        let capacity = fabric.directions[direction.index()].rate.bits_per_second();
                        let time = bytes * 8.0 / capacity;
                        directions[direction.index()].add(rate * part, time, time * time, promised);
                    }
                }
            }
        },
    );
    let links = directions.iter().map(|work| work.relaxation_s(1.0));
    let arrays = controllers.iter().enumerate().map(|(index, work)| {
        let array = &site.arrays[fabric.controllers[index].array];
        work.relaxation_s(f64::from(array.parallel))
    });
    links.chain(arrays).fold(0.0, f64::max)
}

/// The links that are there in a case.
fn alive_of(site: &Site, fabric: &Fabric, case: &Case) -> Vec<bool> {
    let named = |outage: &Outage| Some(&outage.name) == case.outage.as_ref();
    alive_in(site, fabric, site.outages.iter().position(named))
}

/// The path sets that are left in a case.
fn sets_of(site: &Site, fabric: &Fabric, case: &Case) -> Vec<PathSet> {
    let named = |outage: &&Outage| Some(&outage.name) == case.outage.as_ref();
    sets_in(site, fabric, site.outages.iter().find(named))
}

/// Calls `found` with every path of every workload that is used in a case, and its share of the work of its host, even ones
/// where nothing else is said.
fn walk(
    site: &Site,
    fabric: &Fabric,
    case: &Case,
    levelled: Option<&Levelled>,
    mut found: impl FnMut(&mut Flows<'_>, &PathSet, usize, &Path, f64),
) {
    let alive = alive_of(site, fabric, case);
    let mut flows = Flows::new(fabric, &alive).of(Grain::Members);
    for set in &sets_of(site, fabric, case) {
        for index in &set.workloads {
            let weights = weights_of(levelled, site, fabric, &mut flows, set, *index);
            for (path, weight) in set.paths.iter().zip(weights).filter(|(_, w)| *w > 0.0) {
                found(&mut flows, set, *index, path, weight);
            }
        }
    }
}

/// The parts that a workload uses in a case, by the names that figures have.
#[derive(Debug, Default)]
pub(super) struct Used {
    /// From and to of link directions.
    pub(super) links: BTreeSet<(String, String)>,
    /// Controllers.
    pub(super) controllers: BTreeSet<String>,
}

impl Used {
    /// What either uses.
    pub(super) fn and(mut self, other: Self) -> Self {
        self.links.extend(other.links);
        self.controllers.extend(other.controllers);
        self
    }
}

/// What the workload of that name uses.
pub(super) fn used_by(site: &Site, fabric: &Fabric, case: &Case, workload: &str) -> Used {
    let mut used = Used::default();
    walk(site, fabric, case, None, |flows, set, index, path, _| {
        if site.workloads[index].name != workload {
            return;
        }
        let controller = &fabric.controllers[path.controller];
        used.controllers.insert(controller.name.clone());
        let (there, back) = flows.both_ways(path, set.family);
        for (id, _) in there.iter().chain(back) {
            let direction = &fabric.directions[id.index()];
            let name = |node: crate::topology::NodeId| fabric.nodes[node.0 as usize].name.clone();
            used.links
                .insert((name(direction.from), name(direction.to)));
        }
    });
    used
}

#[cfg(test)]
mod tests;
