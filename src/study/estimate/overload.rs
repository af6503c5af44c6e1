//! Work that cannot fit, whatever its hosts choose: found by arithmetic alone.
//!
//! A pool is all directions of one link family (one way), or all controllers of one array, among which some work can
//! choose. What must cross a pool is added up and held against what the whole pool can carry, so that neither a path
//! policy nor a hash nor a full queue could make room: if that is 100 % or more, the backlog grows for ever, and a run of
//! finite length may only not show it yet. At exactly 100 % that is so because of chance: what is not made up for in one moment never
//! is. Work without chance fits there, where nothing was held before: evenly paced I/Os of one kind and size, which hold an array for one time, bring to a pool in any time
//! what it can carry in that time and a few I/Os more at most, so that no more than those ever wait (the bound of a flow with an
//! envelope of rate and burst at a server of that rate: J.-Y. Le Boudec and P. Thiran, *Network Calculus*, 2001, theorem 1.4.1; from
//! memory). Work that shares such a pool with other work counts as not fitting too: whose
//! I/Os wait depends on the depths of the hosts, and no run says what becomes of it.
//!
//! What other work brings to a pool is counted after the narrowest pool that it crosses elsewhere. Left out: closed loops,
//! which never bring more than is carried (as nothing at all: a lower bound); replays that are longer than the run, whose
//! mean rate is not that of the run; a single part of a pool that is full while another is not.

use super::spread::preferred;
use super::{Flows, asked, mean_service_s, per_io, wire_bytes};
use crate::site::{ArrayFamily, Arrivals, Law, PathPolicy, Site, Workload};
use crate::topology::{Fabric, PathSet};

/// From this share of a pool on its work does not fit: all of it, less the rounding of sums.
const FULL: f64 = 1.0 - 1e-9;

/// Work that never changes fits up to all of a pool, and no longer beyond the rounding of sums.
const OVER_FULL: f64 = 1.0 + 1e-9;

/// Where work competes: a link family and which way, or an array.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Kind {
    Link(usize, bool),
    Array(usize),
}

/// One thing of a pool: a direction, or a controller.
type Thing = (Kind, usize);

/// Work of one workload from one host that has the same paths to choose from.
struct Unit {
    workload: usize,
    /// Chance picks its path or its volume, and with that what it comes to.
    by_chance: bool,
    /// Of each kind that all of its paths cross: the things it can choose among, and what it brings, in bytes (or
    /// requests held) a second. The things rise.
    brings: Vec<(Kind, Vec<usize>, f64)>,
}

/// By workload: whether some of it must cross what is asked for all it can carry or more. `flows` are those over the members that
/// are there, `sets` the paths over them that are used, `gone` the hosts whose work is not asked for; `stalled`: something was lost before, so that
/// what was held meanwhile comes on top.
#[must_use]
pub(crate) fn overloaded(
    site: &Site,
    fabric: &Fabric,
    flows: Flows<'_>,
    sets: &[PathSet],
    (gone, stalled): (&[usize], bool),
) -> Vec<bool> {
    let units = units(site, fabric, flows, sets, gone);
    let pools = Pools::of(site, fabric, &units);
    let mut found = vec![false; site.workloads.len()];
    for (pool, crossing) in pools.crossing.iter().enumerate() {
        for (index, over) in found.iter_mut().enumerate() {
            let mut own = crossing.iter();
            if *over || !own.any(|unit| units[*unit].workload == index) {
                continue;
            }
            let share = pools.share_for(&units, pool, index);
            // What a stall has held needs room to be worked off.
            *over = match !stalled && pools.is_even(site, &units, pool) {
                true => share > OVER_FULL,
                false => share >= FULL,
            };
        }
    }
    found
}

/// Whether a workload's I/Os are evenly paced, all of one kind and one size.
fn comes_evenly(work: &Workload) -> bool {
    let one = |sizes: &[(u64, f64)]| sizes.len() == 1;
    let alike = match work.read {
        share if share <= 0.0 => one(&work.sizes.write),
        share if share >= 1.0 => one(&work.sizes.read),
        _ => false,
    };
    alike && matches!(work.arrivals, Arrivals::Paced(_))
}

/// Whether an array takes one time for each I/O of a workload of one kind.
fn is_held_evenly(work: &Workload, array: &ArrayFamily) -> bool {
    let constant = |law: &Law| matches!(law, Law::Constant(_));
    if work.read <= 0.0 {
        return constant(&array.write.time);
    }
    let read = &array.read;
    (read.hit >= 1.0 && constant(&read.hit_time)) || (read.hit <= 0.0 && constant(&read.miss_time))
}

fn units(
    site: &Site,
    fabric: &Fabric,
    mut flows: Flows<'_>,
    sets: &[PathSet],
    gone: &[usize],
) -> Vec<Unit> {
    let demands: Vec<_> = site.workloads.iter().map(|w| asked(fabric, w)).collect();
    let wires: Vec<_> = site.workloads.iter().map(per_io).collect();
    let mut units = Vec::new();
    for set in sets {
        if gone.contains(&set.host) {
            continue;
        }
        for index in set.workloads.iter().copied() {
            let workload = &site.workloads[index];
            let long = match &workload.arrivals {
                Arrivals::Replay(replay) => {
                    replay.span.as_secs_f64() / replay.speed > site.run.duration.as_secs_f64()
                }
                _ => false,
            };
            let rate = demands[index].at_host(set.host).filter(|_| !long);
            let Some(rate) = rate else { continue };
            let policy = site.hosts[fabric.hosts[set.host].family].paths;
            let at_random = policy == PathPolicy::Random;
            for (share, candidates) in preferred(site, fabric, &mut flows, set, workload) {
                let rate = rate.mean * share;
                let mut brings = on_links(
                    fabric,
                    &mut flows,
                    set,
                    workload,
                    &wires[index],
                    &candidates,
                );
                let busy = mean_service_s(workload, &site.arrays[set.array]);
                let controllers = candidates.iter().map(|path| set.paths[*path].controller);
                let mut controllers: Vec<usize> = controllers.collect();
                controllers.sort_unstable();
                controllers.dedup();
                brings.push((Kind::Array(set.array), controllers, busy));
                brings.retain(|(_, things, bring)| !things.is_empty() && *bring > 0.0);
                for bring in &mut brings {
                    bring.2 *= rate;
                }
                units.push(Unit {
                    workload: index,
                    by_chance: share < 1.0 - 1e-9 || candidates.len() > 1 && at_random,
                    brings,
                });
            }
        }
    }
    units
}

/// What one I/O brings to each link family, each way, that all the candidates cross; the things of each rise.
fn on_links(
    fabric: &Fabric,
    flows: &mut Flows<'_>,
    set: &PathSet,
    workload: &crate::site::Workload,
    wire: &super::PerIo,
    candidates: &[usize],
) -> Vec<(Kind, Vec<usize>, f64)> {
    // Kinds are few, so that looking through them is cheap.
    let mut found: Vec<Crossed> = Vec::new();
    for path in candidates {
        let (there, back) = flows.both_ways(&set.paths[*path], set.family);
        for (shares, bytes, out) in [(there, &wire.to_array, true), (back, &wire.to_host, false)] {
            for (direction, share) in shares {
                let family = fabric.members[direction.index() / 2].family;
                let kind = Kind::Link(family, out);
                let place = found.iter().position(|own| own.kind == kind);
                let place = place.unwrap_or_else(|| {
                    found.push(Crossed::of(kind));
                    found.len() - 1
                });
                let own = &mut found[place];
                own.things.push(direction.index());
                let bytes = wire_bytes(fabric, &workload.protocol, *direction, bytes);
                *own.now.get_or_insert(0.0) += share * bytes;
            }
        }
        for own in &mut found {
            if let Some(bytes) = own.now.take() {
                // Whichever path is chosen brings at least this.
                own.least = own.least.min(bytes);
                own.paths += 1;
            }
        }
    }
    found.retain(|own| own.paths == candidates.len());
    found.sort_by_key(|own| own.kind);
    let one = |mut own: Crossed| {
        own.things.sort_unstable();
        own.things.dedup();
        (own.kind, own.things, own.least)
    };
    found.into_iter().map(one).collect()
}

/// A link family, one way, as the paths of a unit cross it.
struct Crossed {
    kind: Kind,
    things: Vec<usize>,
    /// Bytes that the path looked at brings.
    now: Option<f64>,
    least: f64,
    paths: usize,
}

impl Crossed {
    const fn of(kind: Kind) -> Self {
        Self {
            kind,
            things: Vec::new(),
            now: None,
            least: f64::INFINITY,
            paths: 0,
        }
    }
}

/// Things that compete, put together.
struct Pools {
    /// By unit: the pools it crosses, and the part of each that it asks for.
    of_unit: Vec<Vec<(usize, f64)>>,
    /// By pool: the units that cross it, rising.
    crossing: Vec<Vec<usize>>,
    /// By pool: all that is asked.
    asked: Vec<f64>,
}

impl Pools {
    fn of(site: &Site, fabric: &Fabric, units: &[Unit]) -> Self {
        let number = |(kind, thing): Thing| match kind {
            Kind::Link(_, out) => 2 * thing + usize::from(out),
            Kind::Array(_) => 2 * fabric.directions.len() + thing,
        };
        // Each thing points towards one of its pool, the first of all to itself.
        let all = 2 * fabric.directions.len() + fabric.controllers.len();
        let mut towards: Vec<usize> = (0..all).collect();
        let mut things: Vec<Option<Thing>> = vec![None; all];
        for (kind, own, _) in units.iter().flat_map(|unit| &unit.brings) {
            let mut head = None;
            for thing in own {
                let thing = (*kind, *thing);
                let place = number(thing);
                things[place] = Some(thing);
                let one = root(&mut towards, place);
                let other = head.map_or(one, |head| root(&mut towards, head));
                towards[one.max(other)] = one.min(other);
                head = Some(one.min(other));
            }
        }
        let mut things: Vec<Thing> = things.into_iter().flatten().collect();
        things.sort_unstable();
        let mut pool_of = vec![None; all];
        let mut capacity: Vec<f64> = Vec::new();
        for thing in things {
            let pool = *pool_of[root(&mut towards, number(thing))].get_or_insert_with(|| {
                capacity.push(0.0);
                capacity.len() - 1
            });
            capacity[pool] += match thing.0 {
                Kind::Link(..) => fabric.directions[thing.1].rate.bits_per_second() / 8.0,
                Kind::Array(array) => f64::from(site.arrays[array].parallel),
            };
        }
        let mut asked = vec![0.0; capacity.len()];
        let mut crossing = vec![Vec::new(); capacity.len()];
        let mut of_unit = Vec::with_capacity(units.len());
        for (index, unit) in units.iter().enumerate() {
            let mut own = Vec::with_capacity(unit.brings.len());
            for (kind, things, bring) in &unit.brings {
                let first = things.first().map(|first| number((*kind, *first)));
                let pool = first.and_then(|first| pool_of[root(&mut towards, first)]);
                let Some(pool) = pool else { continue };
                let share = bring / capacity[pool];
                own.push((pool, share));
                asked[pool] += share;
                if crossing[pool].last() != Some(&index) {
                    crossing[pool].push(index);
                }
            }
            of_unit.push(own);
        }
        Self {
            of_unit,
            crossing,
            asked,
        }
    }

    /// Whether all that crosses a pool comes without chance: paced, of one kind and size, and held for one time.
    fn is_even(&self, site: &Site, units: &[Unit], pool: usize) -> bool {
        let mut crossing = self.crossing[pool].iter().map(|unit| &units[*unit]);
        crossing.all(|unit| {
            let work = &site.workloads[unit.workload];
            !unit.by_chance && comes_evenly(work) && is_held_evenly(work, &site.arrays[work.array])
        })
    }

    /// What is asked of a pool, work of others counted as far as other pools let it through.
    fn share_for(&self, units: &[Unit], pool: usize, workload: usize) -> f64 {
        let mut sum = 0.0;
        for index in &self.crossing[pool] {
            let of = &self.of_unit[*index];
            let Some((_, share)) = of.iter().find(|(own, _)| *own == pool) else {
                continue;
            };
            let elsewhere = of.iter().filter(|(other, _)| *other != pool);
            let through = elsewhere
                .map(|(other, _)| 1.0 / self.asked[*other].max(1.0))
                .fold(1.0, f64::min);
            sum += share
                * if units[*index].workload == workload {
                    1.0
                } else {
                    through
                };
        }
        sum
    }
}

/// The one that all of a pool point towards in the end; the way there is made shorter.
fn root(towards: &mut [usize], mut thing: usize) -> usize {
    while towards[thing] != thing {
        towards[thing] = towards[towards[thing]];
        thing = towards[thing];
    }
    thing
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::study::estimate::alive_in;
    use crate::study::sample::site_with;

    /// Two hosts, two ports of 8 Gb/s each to a switch a side, one link of 8 Gb/s a side to the box: frames of 1000 bytes,
    /// so 1,000,000 a second fill a link, and 2,000,000 both.
    const TWIN: &str = r#"
format = 1
[[host]]
name = "one"
[[host]]
name = "two"
[[switch]]
name = "core"
[[array]]
name = "box"
controllers = 1
parallel = 4
write = { time = "1us" }
[[link]]
from = "one"
to = "core"
speed = "8Gb/s"
[[link]]
from = "two"
to = "core"
speed = "8Gb/s"
[[link]]
from = "core"
to = "box"
speed = "8Gb/s"
[[workload]]
name = "big"
hosts = "one"
array = "box"
protocol = "plain"
request = 1000
response = 1
frame = 1000
read = 0
sizes = "1B"
arrivals = { poisson = "1500k/s" }
[[workload]]
name = "small"
hosts = "two"
array = "box"
protocol = "plain"
request = 1000
response = 1
frame = 1000
read = 0
sizes = "1B"
arrivals = { poisson = "400k/s" }
"#;

    fn found(set: &[(&str, &str)], outage: Option<usize>) -> Vec<bool> {
        let site = site_with(TWIN, set);
        let fabric = Fabric::new(&site);
        let alive = alive_in(&site, &fabric, outage);
        overloaded(
            &site,
            &fabric,
            Flows::new(&fabric, &alive),
            &fabric.path_sets(&site, &alive),
            (&[], false),
        )
    }

    #[test]
    fn what_both_sides_carry_does_not_fit_one() {
        assert_eq!(found(&[], None), [false, false]);
        // A lost: 1.5 + 0.4 million on one link of a million; small's own link is 40 % full, but big gets through to the
        // core only a million, so the last link is asked for 1.4.
        assert_eq!(found(&[], Some(0)), [true, true]);
        // With 2 Gb/s at its host, no more than 0.25 million of big reach the core: small fits beside it.
        let narrow = [("link.one-core.speed", "2Gb/s")];
        assert_eq!(found(&narrow, Some(0)), [true, false]);
        // Exactly full counts, and a little less does not.
        let rate = |rate: &'static str| [("workload.big.arrivals.poisson", rate)];
        assert_eq!(found(&rate("600k/s"), Some(0)), [true, true]);
        assert_eq!(found(&rate("599k/s"), Some(0)), [false, false]);
    }

    /// A million evenly paced I/Os of 1000 bytes fill a link of 8 Gb/s and pile up nowhere; with chance in how many come, in their size or in
    /// how long the array holds them they do, and beyond a million as well.
    #[test]
    fn what_is_paced_at_exactly_all_that_is_carried_fits() {
        let paced = |big: &'static str, small: &'static str| {
            [
                ("workload.big.arrivals", big),
                ("workload.small.arrivals", small),
            ]
        };
        let even = paced("{ paced = \"600k/s\" }", "{ paced = \"400k/s\" }");
        assert_eq!(found(&even, Some(0)), [false, false]);
        let chance = paced("{ paced = \"600k/s\" }", "{ poisson = \"400k/s\" }");
        assert_eq!(found(&chance, Some(0)), [true, true]);
        let more = paced("{ paced = \"600100/s\" }", "{ paced = \"400k/s\" }");
        assert_eq!(found(&more, Some(0)), [true, true]);
        let held = [
            even[0],
            even[1],
            ("array.box.write.time", "{ exponential = \"1us\" }"),
        ];
        assert_eq!(found(&held, Some(0)), [true, true]);
    }

    #[test]
    fn a_policy_can_make_room_between_sides_but_not_where_it_has_one_path() {
        // 1.5 million on one path of a million; the other side is free, and may not be used.
        let one = [("host.one.paths", "one-path")];
        assert_eq!(found(&one, None), [true, false]);
        // The controller works on 4 at once for 1 us each: 4 million; with 1 it is one million.
        let few = [("array.box.parallel", "1")];
        assert_eq!(found(&few, None), [true, true]);
    }

    #[test]
    fn a_closed_loop_never_asks_for_more_than_is_carried() {
        let closed = [("workload.big.arrivals", "{ closed = { depth = 900 } }")];
        assert_eq!(found(&closed, Some(0)), [false, false]);
    }
}
