//! How much too low a run finds waits because it begins empty.
//!
//! A nearly full queue fills for a long time, 4/(1 − ρ)² services and more, and a run that is shorter than that finds waits that are too
//! low, whatever its replications agree on. For every controller and link direction the busy share and the variance of what comes
//! are added up as arithmetic has them (`theory::start_up`), and each workload is told of the part, among those that its I/Os cross, that
//! makes the most of it.
//!
//! Assumed: hosts deal I/Os out as on an idle site; streams of different hosts are independent; paced ones add nothing but the spread of
//! what an I/O takes, and so do bursts of fixed length, which come in turn; others last as long as exponential ones do. A queue depth is a part that holds each I/O for
//! its latency on an idle site. Left out: closed loops and replays; parts before, which space requests out. Hosts that level their
//! paths move the queue to where there is room: where the runs had a part, or the emptiest of the paths, far from as busy as even shares
//! would, the lesser of the two counts.

use super::super::case::CasePlan;
use super::super::closed_forms::service;
use super::super::estimate::idle::host_ceiling;
use super::super::estimate::{Flows, Grain, asked, bytes_of, count, kinds, mix, path_weights};
use super::super::parts::depth_name;
use crate::model::{Compiled, Tally};
use crate::outcome::Filling;
use crate::site::{Arrivals, Burst, BurstLaw, PathPolicy, Per, Slow, Workload};
use crate::theory::start_up::{missing_between, relaxation};
use crate::topology::PathSet;

/// Less than this is lost in the interval of any figure and is not told. Our choice.
const MISSING_LEAST: f64 = 0.01;

/// Where every part is less busy, nothing comes in bursts and no depth bounds what is under way, queues forget within a dozen services and
/// nothing is added up. Our choice.
const BUSY_LEAST: f64 = 0.5;

/// Hosts that level their paths are taken to share parts as on an idle site if the runs had these as busy as that to this part. Our choice.
const GUESS: f64 = 0.1;

/// What comes to a part.
#[derive(Clone, Default)]
struct Coming {
    /// Busy share, 1 is full.
    busy: f64,
    /// By how much the work that comes varies, in seconds of work squared a second.
    variance: f64,
    /// Whose it is, by workload.
    of: Vec<usize>,
    /// Hosts that choose by what is under way need not bring it here; how busy the runs had the fullest part of the emptiest of
    /// their paths, the most of all such hosts.
    elsewhere: Option<f64>,
}

/// By workload: the part that makes the mean wait the most too low, where that is more than a hundredth.
pub(super) fn filling(
    compiled: &Compiled,
    plan: &CasePlan,
    (sets, flows): (&[PathSet], Flows<'_>),
    tallies: &[Tally],
) -> Vec<Option<Filling>> {
    let site = &compiled.site;
    let mut worst: Vec<Option<Filling>> = vec![None; site.workloads.len()];
    let used = used(compiled, tallies);
    let bursts = |work: &Workload| matches!(work.arrivals, Arrivals::Bursty(_));
    let light = used.iter().all(|share| *share < BUSY_LEAST);
    if light
        && !site
            .workloads
            .iter()
            .any(|work| bursts(work) || bounded(compiled, work))
    {
        return worst;
    }
    let (from, to) = (tallies[0].from.as_secs_f64(), tallies[0].to.as_secs_f64());
    for (part, coming) in coming(compiled, plan, (sets, flows), &used)
        .iter()
        .enumerate()
    {
        if coming.of.is_empty() {
            continue;
        }
        let far = |share: f64| (share - coming.busy).abs() > GUESS * coming.busy;
        let busy = match coming.elsewhere {
            // The queue goes where there is room.
            Some(free) if far(used[part]) || far(free) => used[part].min(free),
            _ => coming.busy,
        };
        if busy <= 0.0 || coming.variance <= 0.0 {
            continue;
        }
        let memory_s = relaxation(busy, coming.variance).unwrap_or(f64::INFINITY);
        let missing = if memory_s.is_finite() {
            missing_between(from, to, memory_s)
        } else {
            1.0
        };
        if missing < MISSING_LEAST {
            continue;
        }
        for index in &coming.of {
            let own = &mut worst[*index];
            if own
                .as_ref()
                .is_none_or(|known| known.missing_share < missing)
            {
                *own = Some(Filling {
                    part: name(compiled, part),
                    busy_percent: 100.0 * busy,
                    memory_s: memory_s.is_finite().then_some(memory_s),
                    // Pollaczek and Khinchine, where one is served at a time; near that where several are.
                    wait_s: memory_s
                        .is_finite()
                        .then(|| coming.variance / (2.0 * (1.0 - busy))),
                    missing_share: missing,
                    enough_s: memory_s.is_finite().then(|| enough(from, to, memory_s)),
                });
            }
        }
    }
    worst
}

/// A duration of the run after which less is missing than is told, its warm-up growing with it.
fn enough(from: f64, to: f64, memory_s: f64) -> f64 {
    let mut times = 1.0;
    while missing_between(from * times, to * times, memory_s) >= MISSING_LEAST {
        times *= 1.1;
    }
    to * times
}

fn name(compiled: &Compiled, part: usize) -> String {
    let directions = compiled.fabric.directions.len();
    match part.checked_sub(directions) {
        None => {
            let direction = u32::try_from(part).unwrap_or(u32::MAX);
            compiled.direction_name(crate::topology::DirectionId(direction))
        }
        Some(other) => match other.checked_sub(compiled.fabric.controllers.len()) {
            None => compiled.fabric.controllers[other].name.clone(),
            Some(workload) => depth_name(&compiled.site.workloads[workload].name),
        },
    }
}

/// How busy the runs had every direction, then every controller; 1 is full. After them 0 for each workload.
#[allow(clippy::cast_precision_loss)]
fn used(compiled: &Compiled, tallies: &[Tally]) -> Vec<f64> {
    let runs = tallies.len() as f64;
    let mean = |of: &dyn Fn(&Tally) -> f64| tallies.iter().map(of).sum::<f64>() / runs;
    let directions = (0..compiled.fabric.directions.len()).map(|index| {
        mean(&|tally| {
            let own = &tally.directions[index];
            own.busy as f64 / (own.up as f64).max(1.0)
        })
    });
    let controllers = compiled.fabric.controllers.iter().enumerate();
    let controllers = controllers.map(|(index, controller)| {
        let parallel = f64::from(compiled.site.arrays[controller.array].parallel);
        mean(&|tally| tally.controllers[index].busy.mean().unwrap_or(0.0) / parallel)
    });
    // Of depths only arithmetic knows.
    let depths = compiled.site.workloads.iter().map(|_| 0.0);
    directions.chain(controllers).chain(depths).collect()
}

/// Whether a queue depth bounds what is under way of a workload.
fn bounded(compiled: &Compiled, work: &Workload) -> bool {
    let mut hosts = work.hosts.iter();
    work.outstanding.is_some()
        || hosts.any(|family| compiled.site.hosts[*family].queue_depth.is_some())
}

/// What comes to every direction, then to every controller, which the runs had so busy; then, of each workload, to the queue depth of the
/// host of which it asks the most.
fn coming(
    compiled: &Compiled,
    plan: &CasePlan,
    (sets, flows): (&[PathSet], Flows<'_>),
    shares: &[f64],
) -> Vec<Coming> {
    let (site, fabric) = (&compiled.site, &compiled.fabric);
    let mut left = vec![1.0; fabric.members.len()];
    for (member, slow) in &plan.slow {
        left[member.0 as usize] = f64::from(slow.rate_ppm) / f64::from(Slow::WHOLE);
    }
    let directions = fabric.directions.len();
    let mut all = vec![Coming::default(); shares.len()];
    let depths = directions + fabric.controllers.len();
    let mut flows = flows.of(Grain::Members);
    let asked: Vec<_> = site
        .workloads
        .iter()
        .map(|work| asked(fabric, work))
        .collect();
    let kinds: Vec<_> = site.workloads.iter().map(kinds).collect();
    for set in sets.iter().filter(|set| !plan.hosts.contains(&set.host)) {
        for index in &set.workloads {
            let work = &site.workloads[*index];
            let hosts = fabric.hosts.iter();
            let hosts = hosts.filter(|host| work.hosts.contains(&host.family));
            let Some(spread) = spread(work, count(hosts.count())) else {
                continue;
            };
            let Some(rate) = asked[*index].at_host(set.host) else {
                continue;
            };
            let array = &site.arrays[set.array];
            let kinds = &kinds[*index];
            if bounded(compiled, work) {
                let own = at_depth(compiled, &mut flows, set, *index, (rate.mean, spread));
                let known = &mut all[depths + index];
                if let Some(own) = own.filter(|own| own.busy > known.busy) {
                    *known = own;
                }
            }
            let weights = path_weights(site, fabric, &mut flows, set, work);
            let used = set.paths.iter().zip(weights).filter(|(_, w)| *w > 0.0);
            let used: Vec<_> = used.collect();
            let policy = site.hosts[fabric.hosts[set.host].family].paths;
            let levels = matches!(policy, PathPolicy::LeastQueue | PathPolicy::LeastBytes);
            let ways: Vec<_> = used
                .iter()
                .map(|(path, _)| {
                    let (there, back) = flows.of_work(work, set.host).both_ways(path, set.family);
                    (there.to_vec(), back.to_vec())
                })
                .collect();
            // How busy the fullest part of the emptiest path is.
            let fullest = used.iter().zip(&ways).map(|((path, _), (there, back))| {
                let links = there.iter().chain(back.iter());
                let links = links.map(|(direction, _)| shares[direction.index()]);
                links.fold(shares[directions + path.controller], f64::max)
            });
            let free = fullest.fold(f64::INFINITY, f64::min);
            let free = (levels && used.len() > 1).then_some(free);
            for ((path, weight), ways) in used.iter().zip(&ways) {
                let mut others = used
                    .iter()
                    .filter(|(own, _)| own.controller != path.controller);
                let controller = &mut all[directions + path.controller];
                controller.may_go(free.filter(|_| others.next().is_some()));
                let rate = rate.mean * weight;
                let parallel = f64::from(array.parallel);
                let takes = kinds.iter().map(|kind| {
                    let (mean, second, _) = service(array, kind.op, kind.size);
                    (kind.share, mean / parallel, second / (parallel * parallel))
                });
                all[directions + path.controller].add(*index, rate, spread, takes);
                for (hops, toward_array) in [(&ways.0, true), (&ways.1, false)] {
                    for (direction, share) in hops.iter() {
                        let own = &fabric.directions[direction.index()];
                        let bytes_s =
                            own.rate.bits_per_second() / 8.0 * left[direction.index() / 2];
                        let takes = kinds.iter().map(|kind| {
                            let bytes = bytes_of(fabric, work, kind, *direction, toward_array);
                            let time = bytes / bytes_s;
                            (kind.share, time, time * time)
                        });
                        all[direction.index()].may_go(free);
                        all[direction.index()].add(*index, rate * share, spread, takes);
                    }
                }
            }
        }
    }
    all
}

/// What comes to the places under way of a workload at one host: each I/O takes one for as long as on an idle site.
fn at_depth(
    compiled: &Compiled,
    flows: &mut Flows<'_>,
    set: &PathSet,
    index: usize,
    (rate, spread): (f64, f64),
) -> Option<Coming> {
    let (site, fabric) = (&compiled.site, &compiled.fabric);
    let most = host_ceiling(site, fabric, flows, set, index, usize::MAX)?;
    let work = &site.workloads[index];
    let array = &site.arrays[set.array];
    let takes = mix(work);
    let takes = takes.iter().map(|(op, size, share)| {
        let (mean, second, _) = service(array, *op, *size);
        (*share, mean, second)
    });
    let (first, second) = takes.fold((0.0, 0.0), |sum, (share, mean, square)| {
        (sum.0 + share * mean, sum.1 + share * square)
    });
    // No more than that of the service alone: the way adds none.
    let variation = if first > 0.0 {
        second / (first * first)
    } else {
        1.0
    };
    let mut own = Coming::default();
    let one = 1.0 / most;
    own.add(
        index,
        rate,
        spread,
        std::iter::once((1.0, one, one * one * variation)),
    );
    Some(own)
}

impl Coming {
    /// Hosts may take another way, of which the fullest part is that busy; `None`: they do not.
    fn may_go(&mut self, free: Option<f64>) {
        if let Some(free) = free {
            self.elsewhere = Some(self.elsewhere.map_or(free, |known| known.max(free)));
        }
    }

    /// Adds I/Os of a workload: `rate` a second, and of each kind its share and the first two moments of what it takes.
    fn add(
        &mut self,
        workload: usize,
        rate: f64,
        spread: f64,
        takes: impl Iterator<Item = (f64, f64, f64)>,
    ) {
        let (mut first, mut second) = (0.0, 0.0);
        for (share, mean, square) in takes {
            first += share * mean;
            second += share * square;
        }
        if first <= 0.0 || rate <= 0.0 {
            return;
        }
        self.busy += rate * first;
        // The variance of a sum of so many: that of each, and that of their number.
        self.variance += rate * (second + (spread - 1.0) * first * first).max(0.0);
        if self.of.last() != Some(&workload) && !self.of.contains(&workload) {
            self.of.push(workload);
        }
    }
}

/// The variance of the number of I/Os of a long time ÷ its mean: 1 where they come at random, 0 where they come evenly; `None` where
/// their number is no matter of chance. At so many hosts.
fn spread(work: &Workload, hosts: f64) -> Option<f64> {
    match &work.arrivals {
        Arrivals::Poisson(_) => Some(1.0),
        Arrivals::Paced(_) => Some(0.0),
        Arrivals::Bursty(burst) => {
            let each = match work.per {
                Per::Workload => 1.0 / hosts.max(1.0),
                Per::Host => 1.0,
            };
            // What hosts do together adds up with its square.
            let times = if burst.together { hosts } else { 1.0 };
            Some(1.0 + times * beyond_random(burst, each))
        }
        Arrivals::Closed { .. } | Arrivals::Replay(_) => None,
    }
}

/// By how much the number of I/Os of bursts is more spread than one at random, at a host with that part of the rates: a Poisson stream
/// that alternates between two rates for exponential times (W. Fischer and K. Meier-Hellstern, "The Markov-modulated Poisson process
/// (MMPP) cookbook", *Performance Evaluation* 18, 1993, the limit of the index of dispersion; from memory). Bursts of fixed length come in turn: a cycle
/// brings as much as the next, but for chance.
fn beyond_random(burst: &Burst, each: f64) -> f64 {
    let on = burst.burst.as_secs_f64();
    let off = burst.every.as_secs_f64() - on;
    if on <= 0.0 || off <= 0.0 || burst.law == BurstLaw::Fixed {
        return 0.0;
    }
    let (leave, enter) = (1.0 / on, 1.0 / off);
    let mean = each * (burst.peak * on + burst.base * off) / (on + off);
    let apart = each * (burst.peak - burst.base);
    2.0 * apart * apart * leave * enter / ((leave + enter).powi(3) * mean)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::unit::Duration;

    /// A switched Poisson stream that is off half of the time: the number varies by what comes in a burst.
    #[test]
    fn bursts_are_more_spread_than_chance() {
        let burst = Burst {
            peak: 2_000.0,
            base: 0.0,
            burst: Duration::from_ms(10),
            every: Duration::from_ms(20),
            law: crate::site::BurstLaw::Exponential,
            together: false,
        };
        // Mean 1000/s. The variance of the number in a time t is mean t + 2 t times the integral of the covariance of the rate, which is
        // 1000² e^(−200 s): 2 × 1000² / 200 = 10 000 a second, ten times the mean.
        assert!((beyond_random(&burst, 1.0) - 10.0).abs() < 1e-9);
        // At each of ten hosts a tenth of that.
        assert!((beyond_random(&burst, 0.1) - 1.0).abs() < 1e-9);
        // What comes in turn is no matter of chance.
        let fixed = Burst {
            law: BurstLaw::Fixed,
            ..burst
        };
        assert_eq!(beyond_random(&fixed, 1.0), 0.0);
    }
}
