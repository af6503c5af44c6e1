//! How full the fullest part must be where hosts level their queues, whatever shares of their I/Os they give to each path.
//!
//! A host that takes the path with the fewest I/Os (or bytes) under way gives a slow one less than its even share; one that takes
//! its paths in turn does so as well once the queue of the slow one is full. So what is full is not what the even shares fill:
//! the capacities of the ways add up. The least share at which the work fits is a linear program: the shares of each host's
//! work are free over its paths, no part is fuller than a bound, and the bound is as small as can be. Its solution is exact,
//! by the simplex method (G. B. Dantzig, *Linear Programming and Extensions*, 1963; R. G. Bland's rule against cycles,
//! *Mathematics of Operations Research* 2, 1977; both from memory).
//!
//! Most sites are even, and even shares the best there are. That is shown without the program: prices of the fullest parts
//! under which no path is cheaper than the even mix prove it (weak duality).
//!
//! Left out: the depth that the slow path's queue takes until a host in turn turns to the other, closed loops, and sites of
//! which the program is larger than `CELLS`: there the prices give a bound that may lie above the truth.

use super::spread::groups;
use super::{
    CaseLoads, Estimate, Flows, Load, asked, mean_service_s, path_weights, per_io, wire_bytes,
};
use crate::site::{Arrivals, PathPolicy, Site};
use crate::topology::{Fabric, PathSet};
use std::collections::BTreeMap;

/// The largest table of the program that is solved: some tenths of a second of work.
const CELLS: usize = 400_000;
/// Shares that differ by less are the same: what sums of floats leave.
const SAME: f64 = 1e-9;

/// What levelling hosts make of a case.
#[derive(Clone, Debug)]
pub(crate) struct Levelled {
    /// Busy share on the mean of the fullest part, 1 is full.
    pub(crate) fullest: f64,
    /// Shares of a workload's I/Os by path, by host, array and workload; those that are missing are even.
    pub(crate) weights: BTreeMap<(usize, usize, usize), Vec<f64>>,
}

/// Work of a host that is free to take some paths: what each share of it brings to each part, as busy shares.
struct Unit {
    key: (usize, usize, usize),
    /// Its share of the workload's I/Os at the host.
    share: f64,
    /// How many paths the set has.
    paths: usize,
    /// Path, and what all of the unit brings over it, by part.
    ways: Vec<(usize, Vec<(usize, f64)>)>,
}

/// Busy share on the mean of the fullest part of a case, at the shares that its hosts can take; `None` where nothing is asked at
/// a rate.
#[must_use]
pub(crate) fn fullest(site: &Site, fabric: &Fabric, loads: &Estimate, case: &str) -> Option<f64> {
    let even = loads.fullest(case)?;
    let case = loads.cases.iter().find(|known| known.name == case)?;
    Some(levelled(site, fabric, case).map_or(even, |found| found.fullest))
}

/// The same of a case in which every bursty workload is in a burst. `None` where even shares are as good.
#[must_use]
pub(crate) fn levelled_in_bursts(site: &Site, fabric: &Fabric, case: &CaseLoads) -> Option<f64> {
    levelled_of(site, fabric, case, |load| load.burst).map(|found| found.fullest)
}

/// The shares at which the fullest part of a case is least full; `None` where even ones are as good.
#[must_use]
pub(crate) fn levelled(site: &Site, fabric: &Fabric, case: &CaseLoads) -> Option<Levelled> {
    levelled_of(site, fabric, case, |load| load.mean)
}

/// The same of what `of` takes of each load.
fn levelled_of(
    site: &Site,
    fabric: &Fabric,
    case: &CaseLoads,
    of: fn(Load) -> f64,
) -> Option<Levelled> {
    let shares = case.directions.iter().chain(&case.controllers);
    let shares: Vec<f64> = shares.map(|load| load.map_or(0.0, of)).collect();
    let even = shares.iter().copied().fold(0.0, f64::max);
    let units = units(site, fabric, case, of);
    if even <= 0.0 || units.is_empty() {
        return None;
    }
    // What does not level stays where it is.
    let mut fixed = shares.clone();
    for unit in &units {
        for (_, brings) in &unit.ways {
            for (part, amount) in brings {
                fixed[*part] -= amount / super::count(unit.ways.len());
            }
        }
    }
    for own in &mut fixed {
        *own = own.max(0.0);
    }
    let least = bound(&shares, even, &fixed, &units);
    if least >= even * (1.0 - SAME) {
        return None;
    }
    let Some((fullest, taken)) = program(&fixed, &units, least) else {
        let weights = BTreeMap::new();
        return Some(Levelled {
            fullest: least,
            weights,
        });
    };
    if fullest >= even * (1.0 - SAME) {
        return None;
    }
    let mut weights: BTreeMap<(usize, usize, usize), Vec<f64>> = BTreeMap::new();
    for (unit, taken) in units.iter().zip(taken) {
        let own = weights
            .entry(unit.key)
            .or_insert_with(|| vec![0.0; unit.paths]);
        for ((path, _), share) in unit.ways.iter().zip(taken) {
            own[*path] += unit.share * share;
        }
    }
    Some(Levelled { fullest, weights })
}

/// The shares by path of one workload of a set: levelled where that makes a difference, else even.
pub(crate) fn weights_of(
    levelled: Option<&Levelled>,
    site: &Site,
    fabric: &Fabric,
    flows: &mut Flows<'_>,
    set: &PathSet,
    workload: usize,
) -> Vec<f64> {
    let key = (set.host, set.array, workload);
    let found = levelled.and_then(|levelled| levelled.weights.get(&key));
    found
        .filter(|weights| weights.len() == set.paths.len())
        .cloned()
        .unwrap_or_else(|| path_weights(site, fabric, flows, set, &site.workloads[workload]))
}

/// Whether a host of this family comes to give its paths other than even shares as they fill.
pub(crate) fn levels(site: &Site, family: usize) -> bool {
    let host = &site.hosts[family];
    match host.paths {
        PathPolicy::LeastQueue | PathPolicy::LeastBytes => true,
        PathPolicy::RoundRobin | PathPolicy::Random => host.queue_depth.is_some(),
        PathPolicy::OnePath | PathPolicy::Nearest => false,
    }
}

fn units(site: &Site, fabric: &Fabric, case: &CaseLoads, of: fn(Load) -> f64) -> Vec<Unit> {
    let mut flows = Flows::with(fabric, &case.alive, case.routes.clone()).of(case.grain);
    let demands: Vec<_> = site.workloads.iter().map(|w| asked(fabric, w)).collect();
    let wires: Vec<_> = site.workloads.iter().map(per_io).collect();
    let first_controller = case.directions.len();
    let mut units = Vec::new();
    for set in &case.sets {
        if !levels(site, fabric.hosts[set.host].family) {
            continue;
        }
        for work in set.workloads.iter().copied() {
            let workload = &site.workloads[work];
            if matches!(workload.arrivals, Arrivals::Closed { .. }) {
                continue;
            }
            let Some(rate) = demands[work].at_host(set.host) else {
                continue;
            };
            let service = mean_service_s(workload, &site.arrays[set.array]);
            for (share, candidates) in groups(site, fabric, set, workload) {
                let rate = of(rate) * share;
                if candidates.len() < 2 || rate <= 0.0 {
                    continue;
                }
                let ways = candidates.iter().map(|index| {
                    let path = &set.paths[*index];
                    let parallel = site.arrays[set.array].parallel;
                    let busy = rate * service / f64::from(parallel);
                    let mut brings = vec![(first_controller + path.controller, busy)];
                    let (there, back) = flows
                        .of_work(workload, set.host)
                        .both_ways(path, set.family);
                    let wire = &wires[work];
                    for (shares, wire) in [(there, &wire.to_array), (back, &wire.to_host)] {
                        for (direction, part) in shares {
                            let bytes = wire_bytes(fabric, &workload.protocol, *direction, wire);
                            let id = direction.index();
                            let capacity = fabric.directions[id].rate.bits_per_second() / 8.0
                                * case.left[id / 2];
                            brings.push((id, rate * part * bytes / capacity));
                        }
                    }
                    (*index, by_part(brings))
                });
                units.push(Unit {
                    key: (set.host, set.array, work),
                    share,
                    paths: set.paths.len(),
                    ways: ways.collect(),
                });
            }
        }
    }
    units
}

/// What comes to each part, in the order of parts, without those that nothing comes to.
fn by_part(mut brings: Vec<(usize, f64)>) -> Vec<(usize, f64)> {
    brings.sort_by_key(|(part, _)| *part);
    brings.dedup_by(|next, own| {
        let same = next.0 == own.0;
        if same {
            own.1 += next.1;
        }
        same
    });
    brings.retain(|(_, amount)| *amount > 0.0);
    brings
}

/// What no shares go below: parts that are fullest at even shares have a price, each the same, and all work takes its cheapest
/// path. The mean of the prices' parts is no less than the cheapest cost, and the fullest no less than the mean.
fn bound(shares: &[f64], even: f64, fixed: &[f64], units: &[Unit]) -> f64 {
    let priced: Vec<bool> = shares
        .iter()
        .map(|own| *own >= even * (1.0 - SAME))
        .collect();
    let prices = super::count(priced.iter().filter(|own| **own).count());
    let cost = |brings: &[(usize, f64)]| -> f64 {
        let own = brings.iter().filter(|(part, _)| priced[*part]);
        own.map(|(_, amount)| amount).sum()
    };
    let stays: f64 = fixed
        .iter()
        .zip(&priced)
        .filter(|(_, own)| **own)
        .map(|(amount, _)| amount)
        .sum();
    let cheapest = units.iter().map(|unit| {
        let costs = unit.ways.iter().map(|(_, brings)| cost(brings));
        costs.fold(f64::INFINITY, f64::min)
    });
    (stays + cheapest.sum::<f64>()) / prices.max(1.0)
}

/// Solves the program: the least share of the fullest part, and for each unit the share of each of its ways. `least` is a bound
/// that no shares go below. `None` where the table is too large, or rounding keeps it from an end.
fn program(fixed: &[f64], units: &[Unit], least: f64) -> Option<(f64, Vec<Vec<f64>>)> {
    // Parts that no shares fill before the bound says that all is full are no part of it.
    let mut most = fixed.to_vec();
    for unit in units {
        let mut own: BTreeMap<usize, f64> = BTreeMap::new();
        for (part, amount) in unit.ways.iter().flat_map(|(_, brings)| brings) {
            let known = own.entry(*part).or_insert(0.0);
            *known = known.max(*amount);
        }
        for (part, amount) in own {
            most[part] += amount;
        }
    }
    let kept: Vec<usize> = (0..most.len()).filter(|part| most[*part] > least).collect();
    let columns = 1 + units.iter().map(|unit| unit.ways.len()).sum::<usize>();
    let rows = units.len() + kept.len() + 1;
    if (rows + 1) * (columns + 1) > CELLS {
        return None;
    }
    // Column 0 is the factor by which all work grows, the others what each way takes of it; the factor is to be largest.
    let mut table = vec![vec![0.0; columns + 1]; rows + 1];
    let row_of: BTreeMap<usize, usize> = kept
        .iter()
        .enumerate()
        .map(|(row, part)| (*part, units.len() + row))
        .collect();
    let mut column = 1;
    for (row, unit) in units.iter().enumerate() {
        // No less is taken than there is.
        table[row][0] = 1.0;
        for (_, brings) in &unit.ways {
            table[row][column] = -1.0;
            for (part, amount) in brings {
                if let Some(row) = row_of.get(part) {
                    table[*row][column] = *amount;
                }
            }
            column += 1;
        }
    }
    for (part, row) in &row_of {
        table[*row][0] = fixed[*part];
        table[*row][columns] = 1.0;
    }
    table[rows - 1][0] = 1.0;
    table[rows - 1][columns] = 1.0 / least;
    table[rows][0] = -1.0;
    let basis = largest(&mut table)?;
    let mut values = vec![0.0; columns];
    for (row, label) in basis
        .into_iter()
        .enumerate()
        .filter(|(_, label)| *label < columns)
    {
        values[label] = table[row][columns];
    }
    let factor = values[0];
    let mut taken = values[1..].iter();
    let shares = units.iter().map(|unit| {
        let own: Vec<f64> = taken.by_ref().take(unit.ways.len()).copied().collect();
        let all: f64 = own.iter().sum();
        own.into_iter().map(|amount| amount / all).collect()
    });
    let shares: Vec<Vec<f64>> = shares.collect();
    let fine = factor > 0.0 && shares.iter().flatten().all(|share| share.is_finite());
    fine.then_some((1.0 / factor, shares))
}

/// Smaller amounts are what rounding leaves of 0.
const NOTHING: f64 = 1e-11;

/// The simplex method on a table of constraints, each at most the last column, none of which is below 0; the last row is less
/// the objective. The label of each row's variable afterwards, from 0 for the columns; `None` where it finds no end.
fn largest(table: &mut [Vec<f64>]) -> Option<Vec<usize>> {
    let (rows, columns) = (table.len() - 1, table[0].len() - 1);
    let mut inside: Vec<usize> = (columns..columns + rows).collect();
    let mut outside: Vec<usize> = (0..columns).collect();
    let mut idle = 0;
    for _ in 0..50 * (rows + columns) {
        let open = (0..columns).filter(|column| table[rows][*column] < -NOTHING);
        // The steepest way up, unless steps that change nothing threaten a circle.
        let steepest = |left: &usize, right: &usize| {
            let (left, right) = (table[rows][*left], table[rows][*right]);
            left.total_cmp(&right)
        };
        let entering = if idle > rows + columns {
            open.min_by_key(|column| outside[*column])
        } else {
            open.min_by(steepest)
        };
        let Some(entering) = entering else {
            return Some(inside);
        };
        let mut leaving: Option<(f64, usize)> = None;
        for row in 0..rows {
            let by = table[row][entering];
            if by <= NOTHING {
                continue;
            }
            let ratio = table[row][columns] / by;
            let first = leaving.is_none_or(|(least, known)| {
                ratio < least || ratio <= least && inside[row] < inside[known]
            });
            if first {
                leaving = Some((ratio, row));
            }
        }
        let (step, leaving) = leaving?;
        idle = if step > NOTHING { 0 } else { idle + 1 };
        exchange(table, leaving, entering);
        std::mem::swap(&mut inside[leaving], &mut outside[entering]);
    }
    None
}

/// One step: the variable of a column takes the place of a row's.
fn exchange(table: &mut [Vec<f64>], row: usize, column: usize) {
    let by = table[row][column];
    let mut own = std::mem::take(&mut table[row]);
    for value in &mut own {
        *value /= by;
    }
    own[column] = 1.0 / by;
    for (other, line) in table.iter_mut().enumerate() {
        if other == row || line[column] == 0.0 {
            continue;
        }
        let times = line[column];
        for (index, (value, unit)) in line.iter_mut().zip(&own).enumerate() {
            *value = if index == column {
                -times * unit
            } else {
                *value - times * unit
            };
        }
    }
    table[row] = own;
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::study::estimate::estimate;
    use crate::study::sample::site;

    /// Hosts with two links to one controller, one of each rate, in Gb/s; reads of 1,250 bytes in one frame.
    fn two(policy: &str, rates: [u32; 2], more: &str) -> Site {
        let link = |index: usize, fabric: &str| {
            format!(
                "[[switch]]\nname = \"c{index}\"\nfabric = \"{fabric}\"\n[[link]]\nfrom = \"app\"\nto = \"c{index}\"\n\
                 speed = \"{}Gb/s\"\n[[link]]\nfrom = \"c{index}\"\nto = \"box\"\nspeed = \"100Gb/s\"\n",
                rates[index]
            )
        };
        site(&format!(
            "format = 1\n[[host]]\nname = \"app\"\n{policy}\n[[array]]\nname = \"box\"\ncontrollers = 1\n\
             parallel = 100\nread = {{ hit = 1, hit_time = \"10us\" }}\n{}{}[[workload]]\nname = \"w\"\n\
             hosts = \"app\"\narray = \"box\"\nprotocol = \"plain\"\nrequest = 1\nresponse = 1250\nframe = 1250\nread = 1\n\
             arrivals = {{ poisson = \"100k/s\" }}\n{more}",
            link(0, "A"),
            link(1, "B"),
        ))
    }

    fn found(site: &Site) -> (f64, f64) {
        let fabric = Fabric::new(site);
        let loads = estimate(site, &fabric);
        let even = loads.fullest("healthy").expect("something is asked");
        (
            even,
            fullest(site, &fabric, &loads, "healthy").expect("so is this"),
        )
    }

    /// 100k/s of 10,000 bits are 1 Gb/s: half of it fills a link of 4 Gb/s by an eighth and one of 2 Gb/s by a quarter; levelled,
    /// 6 Gb/s carry it, a sixth.
    #[test]
    fn the_capacities_of_unlike_ways_add_up_where_hosts_level() {
        let level = |policy: &str, rates: [u32; 2]| found(&two(policy, rates, ""));
        for policy in [
            "",
            "paths = \"least-bytes\"",
            "paths = \"round-robin\"\nqueue_depth = 8",
        ] {
            let (even, least) = level(policy, [4, 2]);
            assert!((even - 0.25).abs() < 0.001, "{even}");
            assert!(
                (least / even - 2.0 / 3.0).abs() < 1e-6,
                "{policy}: {least} of {even}"
            );
        }
        // What deals in turn and never finds a path full stays even, and so do like links.
        for (policy, rates) in [
            (
                "paths = \"round-robin\"\nqueue_depth = \"unlimited\"",
                [4, 2],
            ),
            ("paths = \"random\"\nqueue_depth = \"unlimited\"", [4, 2]),
            ("paths = \"one-path\"", [4, 2]),
            ("", [4, 4]),
        ] {
            let (even, least) = level(policy, rates);
            assert_eq!(even.to_bits(), least.to_bits(), "{policy} {rates:?}");
        }
    }

    /// A link of 4 Gb/s at half its rate beside a whole one: 6 Gb/s carry 1 Gb/s, where even shares fill the slow one to a quarter.
    #[test]
    fn a_slow_link_counts_with_what_is_left_of_it() {
        let slow = "[[outage]]\nname = \"tired\"\ntakes = \"app:A1\"\nrate = \"50%\"\n";
        for (policy, expected) in [
            ("", 1.0 / 6.0),
            ("paths = \"round-robin\"\nqueue_depth = 8", 1.0 / 6.0),
            ("paths = \"round-robin\"\nqueue_depth = \"unlimited\"", 0.25),
        ] {
            let site = two(policy, [4, 4], slow);
            let fabric = Fabric::new(&site);
            let loads = estimate(&site, &fabric);
            let case = loads
                .cases
                .iter()
                .find(|case| case.name.starts_with("tired"));
            let name = &case.expect("it is a case").name;
            let found = fullest(&site, &fabric, &loads, name).expect("something is asked");
            assert!((found / expected - 1.0).abs() < 1e-3, "{policy}: {found}");
        }
    }

    /// A program by hand: 3 a + b is to be largest with a + b ≤ 4, a ≤ 2 and a + 3 b ≤ 8: a = 2, b = 2.
    #[test]
    fn the_program_is_solved_exactly() {
        let mut table = vec![
            vec![1.0, 1.0, 4.0],
            vec![1.0, 0.0, 2.0],
            vec![1.0, 3.0, 8.0],
            vec![-3.0, -1.0, 0.0],
        ];
        let inside = largest(&mut table).expect("it has an end");
        let value = |label: usize| {
            let row = inside.iter().position(|own| *own == label);
            row.map_or(0.0, |row| table[row][2])
        };
        assert!((value(0) - 2.0).abs() < 1e-12 && (value(1) - 2.0).abs() < 1e-12);
        assert!((table[3][2] - 8.0).abs() < 1e-12);
    }

    /// Two pieces of work on three parts: the first may take parts 0 or 1 (0.6 or 0.6 of them), the second 1 or 2 (0.6 or 1.2),
    /// and part 0 is half full anyway. With x of the first on 0 and y of the second on 2: 0.5 + 0.6 x = 0.6 (2 − x − y) = 1.2 y,
    /// so y = x/2 + 5/12, 0.6 (2 − 1.5 x − 5/12) = 0.5 + 0.6 x, x = 0.3, y = 17/30: all are full to 0.68. Even: 0.8.
    #[test]
    fn work_that_competes_is_levelled_together() {
        let unit = |ways: [(usize, f64); 2]| Unit {
            key: (0, 0, 0),
            share: 1.0,
            paths: 2,
            ways: ways
                .into_iter()
                .enumerate()
                .map(|(way, part)| (way, vec![part]))
                .collect(),
        };
        let units = [unit([(0, 0.6), (1, 0.6)]), unit([(1, 0.6), (2, 1.2)])];
        let fixed = [0.5, 0.0, 0.0];
        let shares = [0.8, 0.6, 0.6];
        let least = bound(&shares, 0.8, &fixed, &units);
        assert!(least <= 0.68 + 1e-12, "{least}");
        let (fullest, taken) = program(&fixed, &units, least).expect("it is small");
        assert!((fullest - 0.68).abs() < 1e-9, "{fullest}");
        assert!((taken[0][0] - 0.3).abs() < 1e-9 && (taken[1][1] - 17.0 / 30.0).abs() < 1e-9);
    }
}
