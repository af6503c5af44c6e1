//! What arithmetic says of the promises of a case before any run: which of them no load keeps, and from which load on
//! a throughput is asked for that is promised.
//!
//! A promise that fails here fails at every load: an idle site is as fast as any, a host without a path completes
//! nothing, and more than what is asked for does not come out. What passes here may still fail; that is for the runs.

use super::scale::Scale;
use crate::outcome::{Because, Case, Floor, Hopeless, MeasureKind};
use crate::site::{Measure, Promise, Site, Workload};
use crate::study::bounds::{asked_bytes_s, bounds};
use crate::study::case::{CasePlan, without};
use crate::study::estimate::Flows;
use crate::topology::{Fabric, PathSet};

/// What is certain of a case.
#[derive(Clone, Debug, Default)]
pub(super) struct Outlook {
    pub(super) hopeless: Option<Hopeless>,
    pub(super) floor: Option<Floor>,
    /// An outage leaves no work a path: nothing goes over any part.
    pub(super) cut_off: bool,
}

/// The promises that count in a case.
pub(super) fn promised<'a>(workload: &'a Workload, case: &Case) -> &'a [Promise] {
    match case.outage {
        None => &workload.promises.healthy,
        Some(_) => &workload.promises.lost,
    }
}

/// Looks at a case of `site`, which is full on the mean at `saturation`; no load above `most` is tried.
pub(super) fn outlook(
    site: &Site,
    scale: &Scale<'_>,
    plan: &CasePlan,
    saturation: Option<f64>,
    most: f64,
) -> Outlook {
    let fabric = Fabric::new(site);
    let case = &plan.case;
    let alive = without(&fabric, &plan.members);
    let sets = plan.path_sets(site, &fabric);
    let mut flows = Flows::new(&fabric, &alive);
    let mut floor: Option<Floor> = None;
    for (index, workload) in site.workloads.iter().enumerate() {
        let bounds = bounds(site, &fabric, &sets, &mut flows, index);
        for promise in promised(workload, case) {
            if plan.leaves_out(site, &fabric, workload, promise.measure) {
                continue;
            }
            let because = if cut_off(plan, &sets, index) {
                Some(Because::NoPath)
            } else {
                bounds.breaks(promise)
            };
            if let Some(because) = because {
                let mut all = 0..site.workloads.len();
                let none = |own: usize| sets_of(&sets, own).all(|set| set.paths.is_empty());
                return Outlook {
                    cut_off: case.outage.is_some() && all.all(none),
                    ..hopeless(workload, promise, because)
                };
            }
            if promise.measure != Measure::Throughput {
                continue;
            }
            let asked = |factor: f64| asked_at(site, &fabric, scale, index, factor);
            // Less than today's load promises less with it; fewer hosts do not.
            let bottom = if scale.step() > 0.0 {
                scale.step()
            } else {
                1.0
            };
            if asked(bottom).is_none_or(|least| least >= promise.target) {
                continue;
            }
            let today = asked(1.0);
            let top = saturation.unwrap_or(most).min(most);
            let enough = |factor: f64| asked(factor) >= Some(promise.target);
            let Some(factor) = least(scale, (bottom, top), enough) else {
                let throughput_mb_s = asked(top).or(today).unwrap_or(0.0) / 1e6;
                let because = if saturation.is_some_and(|full| full <= most) {
                    Because::FullBefore {
                        factor: top,
                        throughput_mb_s,
                    }
                } else {
                    Because::MostBefore {
                        factor: top,
                        throughput_mb_s,
                    }
                };
                return hopeless(workload, promise, because);
            };
            if floor.as_ref().is_none_or(|known| known.factor < factor) {
                floor = Some(Floor {
                    workload: workload.name.clone(),
                    target_text: promise.text.clone(),
                    factor,
                    short: None,
                    step: None,
                    asked_mb_s: today.map(|today| today / 1e6),
                });
            }
        }
    }
    Outlook {
        floor,
        ..Outlook::default()
    }
}

fn hopeless(workload: &Workload, promise: &Promise, because: Because) -> Outlook {
    Outlook {
        hopeless: Some(Hopeless {
            workload: workload.name.clone(),
            measure: match promise.measure {
                Measure::Quantile(q) => MeasureKind::Quantile(q),
                Measure::Throughput => MeasureKind::Throughput,
                _ => MeasureKind::Mean,
            },
            target_text: promise.text.clone(),
            because,
        }),
        ..Outlook::default()
    }
}

/// The paths of a workload, by host.
fn sets_of(sets: &[PathSet], index: usize) -> impl Iterator<Item = &PathSet> {
    sets.iter()
        .filter(move |set| set.workloads.contains(&index))
}

/// Whether no host of a workload that is there has a path.
fn cut_off(plan: &CasePlan, sets: &[PathSet], index: usize) -> bool {
    let lost = |host: usize| plan.lost_hosts.contains(&host);
    let mut there = sets_of(sets, index)
        .filter(|set| !lost(set.host))
        .peekable();
    there.peek().is_some() && there.all(|set| set.paths.is_empty())
}

/// Whether no host that is left has a path: nothing goes over any part.
pub(super) fn all_cut_off(site: &Site, fabric: &Fabric, plan: &CasePlan) -> bool {
    let sets = plan.path_sets(site, fabric);
    sets.iter().all(|set| set.paths.is_empty())
}

/// Payload that a workload asks for at a factor, bytes per second; `None` in a closed loop. The fabric is that of `site`, and is
/// built anew only where the factor changes the hosts: this is asked some twenty times for each promise.
fn asked_at(
    site: &Site,
    fabric: &Fabric,
    scale: &Scale<'_>,
    index: usize,
    factor: f64,
) -> Option<f64> {
    let scaled = scale.site(site, factor)?;
    let workload = scaled.workloads.get(index)?;
    match scale {
        Scale::Load | Scale::Depth { .. } | Scale::Uneven { .. } => asked_bytes_s(fabric, workload),
        Scale::Hosts { .. } => asked_bytes_s(&Fabric::new(&scaled), workload),
    }
}

/// The least factor from `bottom` to `top` at which something holds that does not at `bottom` and holds from there on.
fn least(scale: &Scale<'_>, (bottom, top): (f64, f64), holds: impl Fn(f64) -> bool) -> Option<f64> {
    let (mut low, mut high) = (bottom, scale.down(top));
    if high <= low || !holds(high) {
        return None;
    }
    // A millionth of the way; whole hosts are there long before.
    for _ in 0..20 {
        let middle = scale.up(f64::midpoint(low, high));
        if middle >= high || middle <= low {
            break;
        }
        if holds(middle) {
            high = middle;
        } else {
            low = middle;
        }
    }
    Some(high)
}
