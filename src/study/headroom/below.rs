//! Loads below the one that is proven to be met: whether they keep the promises as well.
//!
//! More load makes more waiting, so that a promise that holds at some load holds below it: elsewhere that is taken for granted. It
//! need not be so where hosts look at queues over unlike ways: a slow way that is free takes its turn, and with more load, which
//! fills it, the fast one takes more of the work. Arithmetic knows where that can be ([`unlike`]); there a few lower loads are
//! run, and today's among them. Anywhere else a pilot run that broke a promise below the load that is proven is asked again, so
//! that nothing is spent where nothing hints at it.
//!
//! These tests have an error of their own, as large as that of the two ends and shared by all of them.
//!
//! Left out: the least load in a hole and the largest. Only loads that were run are told.

use super::edge::{before_floor, clear, proven_ends};
use super::scale::Scale;
use super::{Judged, Search};
use crate::outcome::{Breaks, Case, Hole, LoadRow, MeasureKind, Purpose, Verdict};
use crate::site::{Measure, Site};
use crate::study::estimate::{CaseLoads, Flows, Load, idle, levels, path_weights};
use crate::topology::Fabric;

/// Tests of lower loads that a case may take: a choice of this program, as are the shares and the distance below.
pub(super) const TESTS_BELOW: usize = 5;
/// Where arithmetic leaves it open, these shares of the load that is proven are run, besides today's.
const SHARES: [f64; 3] = [0.5, 0.25, 0.1];
/// Where arithmetic leaves it open, pilot runs look at these shares of the load that is full as well, so that a hole between those that
/// are tested is seen, and asked again: from a twentieth on no two of them are farther apart than by a half.
pub(super) const LOOKED_AT: [f64; 8] = [0.05, 0.07, 0.1, 0.14, 0.19, 0.27, 0.55, 0.65];
/// Loads nearer than this to one that is tested are left out.
const APART: f64 = 0.1;
/// Ways whose times on an idle site differ by less are alike: a metre more of cable makes no hole.
const ALIKE: f64 = 0.01;

/// Whether hosts of promised work look at queues over ways of which one is slower than another on an idle site, by more than a
/// hundredth of what an I/O takes: a choice of this program.
pub(super) fn unlike(site: &Site, fabric: &Fabric, loads: &CaseLoads, case: &Case) -> bool {
    let mut flows = Flows::new(fabric, &loads.alive);
    let mut seen = Vec::new();
    for set in &loads.sets {
        let family = fabric.hosts[set.host].family;
        // Hosts of a family are alike.
        let key = (family, &set.workloads);
        if !levels(site, family) || seen.contains(&key) {
            continue;
        }
        seen.push(key);
        for index in &set.workloads {
            let work = &site.workloads[*index];
            if super::outlook::promised(work, case).is_empty() {
                continue;
            }
            let weights = path_weights(site, fabric, &mut flows, set, work);
            let used = set.paths.iter().zip(weights).filter(|(_, own)| *own > 0.0);
            let used: Vec<_> = used.map(|(path, _)| path).collect();
            let times = used
                .iter()
                .filter_map(|path| idle::io_latency_s(site, fabric, &mut flows, work, path));
            let ends = times.fold((f64::INFINITY, 0.0_f64), |(least, most), time| {
                (least.min(time), most.max(time))
            });
            // A link that goes slower on one of them makes them unlike too.
            let slow = used.iter().any(|path| {
                let (there, back) = flows.both_ways(path, set.family);
                let mut ways = there.iter().chain(back);
                ways.any(|(direction, _)| loads.left[direction.index() / 2] < 1.0)
            });
            if ends.1 > ends.0 * (1.0 + ALIKE) || slow && used.len() > 1 {
                return true;
            }
        }
    }
    false
}

/// Ways of which the fullest part is fuller by more than this share have room while the others are full: a choice of this program.
const ROOM: f64 = 0.1;

/// Names of the workloads of which some go over ways with room while others of theirs are full.
pub(super) fn partly_free(site: &Site, fabric: &Fabric, loads: &CaseLoads) -> Vec<String> {
    let mut flows = Flows::with(fabric, &loads.alive, loads.routes.clone()).of(loads.grain);
    let mean = |load: &Option<Load>| load.map_or(0.0, |load| load.mean);
    // By workload, how full the fullest part is on its emptiest and on its fullest way.
    let mut ends = vec![(f64::INFINITY, 0.0_f64); site.workloads.len()];
    for set in &loads.sets {
        for index in &set.workloads {
            let work = &site.workloads[*index];
            let weights = path_weights(site, fabric, &mut flows, set, work);
            for (path, _) in set.paths.iter().zip(weights).filter(|(_, own)| *own > 0.0) {
                let (there, back) = flows.of_work(work, set.host).both_ways(path, set.family);
                let links = there.iter().chain(back);
                let links = links.map(|(direction, _)| mean(&loads.directions[direction.index()]));
                let fullest = links.fold(mean(&loads.controllers[path.controller]), f64::max);
                let own = &mut ends[*index];
                *own = (own.0.min(fullest), own.1.max(fullest));
            }
        }
    }
    let works = site.workloads.iter().zip(ends);
    let free = works.filter(|(_, (least, most))| *least < most * (1.0 - ROOM));
    free.map(|(work, _)| work.name.clone()).collect()
}

/// Whether a run broke a promise that a load above keeps beyond doubt: it lies in a hole, or broke it by chance.
pub(super) fn in_hole(search: &Search, judged: &Judged) -> bool {
    let above = |other: &Judged| {
        other.point.factor > judged.point.factor && other.excess <= 0.0 && clear(other)
    };
    judged.excess > 0.0 && search.points.iter().any(above)
}

/// The loads below the one that is proven that are to be run, once its ends are known.
pub(super) fn loads(search: &Search, scale: &Scale<'_>) -> Vec<f64> {
    let (Some(met), _) = proven_ends(search) else {
        return Vec::new();
    };
    let own = |judged: &Judged| judged.point.purpose == Purpose::Below;
    if search.points.iter().any(own) {
        return Vec::new();
    }
    let broken = |judged: &&Judged| {
        let sure = clear(judged) || judged.point.verdict == Verdict::Missed;
        judged.point.factor < met && judged.excess > 0.0 && sure && !before_floor(search, judged)
    };
    let broken = search.points.iter().filter(broken);
    let mut broken: Vec<f64> = broken.map(|judged| judged.point.factor).collect();
    broken.sort_by(f64::total_cmp);
    // The nearest, the farthest, then those between.
    let ends = broken.last().into_iter().chain(broken.first()).copied();
    let (today, shares) = if search.unlike {
        (Some(1.0), &SHARES[..])
    } else {
        (None, &[][..])
    };
    // What a run has broken tells more than a load that nothing is known of.
    let wanted = today.into_iter().chain(ends).chain(broken.iter().copied());
    let wanted = wanted.chain(shares.iter().map(|share| share * met));
    let mut out: Vec<f64> = Vec::new();
    for factor in wanted {
        let factor = scale.snap(factor);
        let apart = |other: &f64| (factor / other - 1.0).abs() > APART;
        // Today's is one of them however near the proven one it lies.
        let known = factor >= met || !(apart(&met) || factor == 1.0) || !out.iter().all(apart);
        let low = factor < scale.least() || factor < search.floor();
        if !known && !low && out.len() < TESTS_BELOW {
            out.push(factor);
        }
    }
    out
}

/// Loads below the one that is met at which a promise is proven to be broken, in rising order.
pub(super) fn holes(site: &Site, search: &Search, met: Option<f64>) -> Vec<Hole> {
    let proven = |judged: &&Judged| {
        judged.point.purpose != Purpose::Pilot
            && judged.point.verdict == Verdict::Missed
            && met.is_some_and(|met| judged.point.factor < met)
            && !before_floor(search, judged)
    };
    let found = search.points.iter().filter(proven);
    let found = found.filter_map(|judged| {
        Some(Hole {
            factor: judged.point.factor,
            breaks: broken(site, search, judged)?,
        })
    });
    let mut found: Vec<Hole> = found.collect();
    found.sort_by(|left, right| left.factor.total_cmp(&right.factor));
    found.dedup_by(|later, first| later.factor == first.factor);
    found
}

/// The first promise that a run has proven to be broken. A throughput that shrinks with less load is named as what it is there.
pub(super) fn broken(site: &Site, search: &Search, judged: &Judged) -> Option<Breaks> {
    let mut rows = judged.point.rows.iter();
    let row = rows.find(|row| row.cell.verdict == Verdict::Missed)?;
    Some(Breaks {
        workload: row.workload.clone(),
        measure: row.measure,
        target_text: shrunk(site, row).unwrap_or_else(|| row.cell.target_text.clone()),
        saturated: row.cell.saturated,
        kept_by_others: row.cell.saturated
            && within(row)
            && search.partly_free.contains(&row.workload),
    })
}

/// Whether no more of the I/Os that were counted are above the target of a percentile than may be.
fn within(row: &LoadRow) -> bool {
    let shares = row.cell.above_share.zip(row.cell.above_allowed);
    shares.is_some_and(|(above, allowed)| above <= allowed)
}

/// `20.0 MB/s, what is left of 35 MB/s at that load`.
fn shrunk(site: &Site, row: &LoadRow) -> Option<String> {
    let own = site
        .workloads
        .iter()
        .find(|work| work.name == row.workload)?;
    let all = own.promises.healthy.iter().chain(&own.promises.lost);
    let mut all = all.filter(|promise| promise.measure == Measure::Throughput);
    let stated = all.find(|promise| promise.text == row.cell.target_text)?;
    let less = row.measure == MeasureKind::Throughput
        && row.cell.target * 1e6 < stated.target * (1.0 - 1e-9);
    less.then(|| {
        format!(
            "{:.3} MB/s, what is left of {} at that load",
            row.cell.target, row.cell.target_text
        )
    })
}
