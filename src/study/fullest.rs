//! The part that limits a case: the fullest, with what is asked of it.

use super::case::{CasePlan, without};
use super::estimate::{CaseLoads, Estimate, Flows, loads_where, path_weights};
use super::parts::{depth_name, depth_use, is_in_the_way, parts, parts_by_arithmetic};
use crate::outcome::{Fullest, Steady, UseInCase};
use crate::site::Site;
use crate::topology::{DirectionId, Fabric, PathSet};
use std::collections::BTreeSet;

/// The fullest part of the case of a plan. Where work does not fit, arithmetic says what is asked of it.
#[must_use]
pub(crate) fn fullest_of(
    site: &Site,
    fabric: &Fabric,
    plan: &CasePlan,
    steady: &Steady,
) -> Option<Fullest> {
    let (alive, sets) = (without(fabric, &plan.members), plan.path_sets(site, fabric));
    let loads = where_it_piles_up(site, fabric, plan, (&alive, &sets), steady);
    fullest_in(site, fabric, loads.as_ref(), steady).filter(|own| is_known(steady, own))
}

/// What limits the case of a plan for these workloads, by index: a queue depth that is in their way, else the fullest part that they
/// cross. The fullest of all where they cross none.
#[must_use]
pub(crate) fn limit_of(
    site: &Site,
    fabric: &Fabric,
    plan: &CasePlan,
    steady: &Steady,
    works: &[usize],
) -> Option<Fullest> {
    let (alive, sets) = (without(fabric, &plan.members), plan.path_sets(site, fabric));
    let left = (alive.as_slice(), sets.as_slice());
    let loads = where_it_piles_up(site, fabric, plan, left, steady);
    let own = only_crossed(site, fabric, left, steady, works);
    let fullest = |steady: &Steady| fullest_in(site, fabric, loads.as_ref(), steady);
    let fullest = fullest(&own).or_else(|| fullest(steady));
    let full = fullest.as_ref();
    let full = full.map(|own| (own.mean_percent, own.peak_percent));
    let depths = works.iter().filter_map(|index| {
        let index = *index;
        let used = depth_use(site, fabric, left, index)?;
        is_in_the_way(&used, full).then(|| told(depth_name(&site.workloads[index].name), used))
    });
    depths
        .max_by(|one, other| one.mean_percent.total_cmp(&other.mean_percent))
        .or(fullest.filter(|own| is_known(steady, own)))
}

/// Where nothing was measured, a part is known to be the fullest only if more is asked of it than it can do.
fn is_known(steady: &Steady, own: &Fullest) -> bool {
    !steady.unmeasured || own.asked_percent() > 100.0
}

/// What arithmetic says of a case in which work does not fit. Of any other, what was done is what was asked.
fn where_it_piles_up(
    site: &Site,
    fabric: &Fabric,
    plan: &CasePlan,
    (alive, sets): (&[bool], &[PathSet]),
    steady: &Steady,
) -> Option<Estimate> {
    (steady.saturated || steady.unmeasured).then(|| Estimate {
        cases: vec![CaseLoads {
            name: steady.case.name.clone(),
            ..loads_where(site, fabric, alive, plan, sets)
        }],
        asked: Vec::new(),
    })
}

fn fullest_in(
    site: &Site,
    fabric: &Fabric,
    loads: Option<&Estimate>,
    steady: &Steady,
) -> Option<Fullest> {
    let steady = std::slice::from_ref(steady);
    let all = match loads {
        Some(loads) => parts_by_arithmetic(site, fabric, loads, steady),
        None => parts(site, steady),
    };
    let mut all = all.into_iter();
    all.find_map(|part| Some(told(part.part, part.cases.into_iter().next()??)))
}

/// The same figures, of those directions and controllers alone that work crosses over the paths that are left.
fn only_crossed(
    site: &Site,
    fabric: &Fabric,
    (alive, sets): (&[bool], &[PathSet]),
    steady: &Steady,
    works: &[usize],
) -> Steady {
    let mut own = steady.clone();
    if works.len() == site.workloads.len() {
        return own;
    }
    let mut flows = Flows::new(fabric, alive);
    let (mut directions, mut controllers) = (BTreeSet::new(), BTreeSet::new());
    for set in sets {
        for work in set.workloads.iter().filter(|work| works.contains(work)) {
            let weights = path_weights(site, fabric, &mut flows, set, &site.workloads[*work]);
            for (path, _) in set.paths.iter().zip(weights).filter(|(_, own)| *own > 0.0) {
                controllers.insert(fabric.controllers[path.controller].name.as_str());
                let (there, back) = flows.both_ways(path, set.family);
                directions.extend(there.iter().chain(back).map(|(direction, _)| *direction));
            }
        }
    }
    let name = |direction: &DirectionId| fabric.direction_name(site, *direction);
    let directions: BTreeSet<String> = directions.iter().map(name).collect();
    own.directions
        .retain(|part| directions.contains(&part.name));
    own.arrays
        .retain(|part| controllers.contains(part.name.as_str()));
    own
}

fn told(part: String, used: UseInCase) -> Fullest {
    Fullest {
        part,
        instance: used.instance,
        mean_percent: used.mean_percent,
        asked_mean_percent: used.asked_mean_percent,
        peak_percent: used.peak_percent,
    }
}
