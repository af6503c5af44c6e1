//! How busy each part is by case, and where growth would end by arithmetic.

use super::estimate::Estimate;
use crate::outcome::{DirectionFigures, Growth, PartUse, Steady, UseInCase};
use crate::site::{Choose, LinkFamily, Site};
use crate::study::estimate::idle::depth_ceiling_over;
use crate::study::estimate::{CaseLoads, Flows};
use crate::topology::{DirectionId, Fabric, PathSet};
use std::collections::BTreeMap;

/// Every tier of links and every array family, by the use of its fullest instance; the fullest in the
/// worst case first. Of the two directions of a link family only the busier is listed. Where addresses choose members and leave one
/// fuller than its group, that one stands for it: the part is then called `one member of …`, and its instance by the name of the member.
#[must_use]
pub(crate) fn parts(site: &Site, steady: &[Steady]) -> Vec<PartUse> {
    parts_asked(site, steady, &|_, _| None)
}

/// What is asked of a direction or a controller by its name in a case, per cent.
type Asked<'a> = &'a dyn Fn(&str, &str) -> Option<f64>;

/// The same with what arithmetic says is asked of each part, so that of a full one it is known how much came. `estimate` is by member.
#[must_use]
pub(crate) fn parts_by_arithmetic(
    site: &Site,
    fabric: &Fabric,
    estimate: &Estimate,
    steady: &[Steady],
) -> Vec<PartUse> {
    let direction = |index: usize| DirectionId(u32::try_from(index).unwrap_or(u32::MAX));
    let names: BTreeMap<String, usize> = (0..fabric.directions.len())
        .map(|index| (fabric.direction_name(site, direction(index)), index))
        .collect();
    let asked = |case: &str, part: &str| {
        let loads = estimate.cases.iter().find(|loads| loads.name == case)?;
        let controller = fabric.controllers.iter().position(|own| own.name == part);
        let load = match names.get(part) {
            Some(index) => *loads.directions.get(*index)?,
            None => *loads.controllers.get(controller?)?,
        };
        // Arithmetic shares work evenly over paths. Where nothing piles up though a part would be over full so, hosts have
        // taken it elsewhere, and what came is what was done.
        let piles_up = steady
            .iter()
            .any(|steady| steady.case.name == case && (steady.saturated || steady.unmeasured));
        load.map(|load| 100.0 * load.mean)
            .filter(|asked| *asked <= 100.0 || piles_up)
    };
    parts_asked(site, steady, &asked)
}

fn parts_asked(site: &Site, steady: &[Steady], asked: Asked<'_>) -> Vec<PartUse> {
    let mut parts: Vec<PartUse> = Vec::new();
    for link in &site.links {
        let busier = [true, false]
            .into_iter()
            .filter_map(|toward_array| link_part(link, steady, toward_array, asked))
            .max_by(|left, right| worst(left).total_cmp(&worst(right)));
        parts.extend(busier);
    }
    for array in &site.arrays {
        let cases = steady
            .iter()
            .map(|steady| {
                if steady.unmeasured {
                    let own = steady.arrays.iter();
                    let own = own.filter(|own| own.family == array.name);
                    return asked_alone(steady, own.map(|own| &*own.name), asked);
                }
                let used = controller_use(steady, &array.name)?;
                Some(UseInCase {
                    asked_mean_percent: asked(&steady.case.name, &used.instance),
                    ..used
                })
            })
            .collect();
        parts.push(PartUse {
            part: format!("{} controllers", array.name),
            detail: format!("{} in parallel each", array.parallel),
            tier: array.name.clone(),
            cases,
        });
    }
    parts.sort_by(|left, right| worst(right).total_cmp(&worst(left)));
    parts
}

/// The same and the queue depth of the hosts of each workload that has one: what is asked for ÷ what it lets through, the paths to
/// itself, by arithmetic in each case.
#[must_use]
pub(crate) fn parts_with_depths(
    site: &Site,
    fabric: &Fabric,
    loads: &Estimate,
    steady: &[Steady],
) -> Vec<PartUse> {
    let mut parts = parts_by_arithmetic(site, fabric, loads, steady);
    parts.extend(depths(site, fabric, loads, steady));
    parts.sort_by(|left, right| worst(right).total_cmp(&worst(left)));
    parts
}

/// Parts with those depths alone that are in the way in some case; and the times today's load at which what comes first is full, by
/// case: the fullest part, or a queue depth that has a larger share in use than any part, however little that is yet.
#[must_use]
pub(crate) fn with_depths_in_the_way(
    site: &Site,
    fabric: &Fabric,
    loads: &Estimate,
    steady: &[Steady],
) -> (Vec<PartUse>, Vec<Growth>) {
    let mut parts = parts_by_arithmetic(site, fabric, loads, steady);
    let mut depths = depths(site, fabric, loads, steady);
    let growth = growth_over(site, parts.clone(), depths.clone(), steady);
    let in_the_way = |depth: &PartUse| {
        (0..steady.len()).any(|case| {
            let use_of = |part: &PartUse| part.cases.get(case).cloned().flatten();
            let others = parts.iter().filter_map(use_of);
            let fullest =
                others.max_by(|one, other| one.peak_percent.total_cmp(&other.peak_percent));
            let fullest = fullest.map(|own| (own.mean_percent, own.peak_percent));
            use_of(depth).is_some_and(|own| is_in_the_way(&own, fullest))
        })
    };
    depths.retain(in_the_way);
    parts.extend(depths);
    parts.sort_by(|left, right| worst(right).total_cmp(&worst(left)));
    (parts, growth)
}

/// That growth alone.
#[must_use]
pub(crate) fn growth_with_depths(
    site: &Site,
    fabric: &Fabric,
    loads: &Estimate,
    steady: &[Steady],
) -> Vec<Growth> {
    let parts = parts_by_arithmetic(site, fabric, loads, steady);
    let depths = depths(site, fabric, loads, steady);
    growth_over(site, parts, depths, steady)
}

fn growth_over(
    site: &Site,
    mut parts: Vec<PartUse>,
    mut more: Vec<PartUse>,
    steady: &[Steady],
) -> Vec<Growth> {
    for case in 0..steady.len() {
        let others = parts
            .iter()
            .filter_map(|part| part.cases.get(case)?.as_ref());
        let fullest = others.max_by(|one, other| one.peak_percent.total_cmp(&other.peak_percent));
        let fullest = fullest.map(|own| (own.mean_percent, own.peak_percent));
        for depth in &mut more {
            let own = &mut depth.cases[case];
            own.take_if(|own| !is_in_the_way(own, fullest) && !fuller(own.mean_percent, fullest));
        }
    }
    parts.extend(more);
    growth(site, &parts, steady)
}

/// From this share of what a queue depth lets through on an idle site on, I/Os wait for it.
const DEPTH_PERCENT: f64 = 80.0;

/// Whether a queue depth rather than a part is in the way: fuller than the fullest part (on the mean, and in its busiest 20 ms),
/// and full enough for I/Os to wait.
#[must_use]
pub(crate) fn is_in_the_way(depth: &UseInCase, fullest: Option<(f64, f64)>) -> bool {
    depth.peak_percent >= DEPTH_PERCENT && fuller(depth.mean_percent, fullest)
}

/// Whether a queue depth has a larger share in use than the fullest part, on the mean and in its busiest 20 ms.
#[must_use]
pub(crate) fn fuller(percent: f64, fullest: Option<(f64, f64)>) -> bool {
    fullest.is_none_or(|(mean, peak)| percent > mean && percent > peak)
}

/// The queue depths of the hosts of each workload that has one.
fn depths(site: &Site, fabric: &Fabric, loads: &Estimate, steady: &[Steady]) -> Vec<PartUse> {
    let works = site.workloads.iter().enumerate();
    let parts = works.map(|(index, work)| {
        let in_case = |steady: &Steady| -> Option<UseInCase> {
            let own = |case: &&CaseLoads| case.name == steady.case.name;
            let case = loads.cases.iter().find(own)?;
            let flows = Flows::with(fabric, &case.alive, case.routes.clone());
            depth_use_of(site, fabric, (flows, &case.sets), index)
        };
        PartUse {
            part: depth_name(&work.name),
            detail: "by arithmetic, the paths to itself".to_owned(),
            tier: "host".to_owned(),
            cases: steady.iter().map(in_case).collect(),
        }
    });
    let known = |part: &PartUse| part.cases.iter().any(Option::is_some);
    parts.filter(known).collect()
}

/// How much of what the queue depth of a workload's hosts lets through over what is left is asked for; `None` where nothing
/// bounds it.
#[must_use]
pub(crate) fn depth_use(
    site: &Site,
    fabric: &Fabric,
    (alive, sets): (&[bool], &[PathSet]),
    workload: usize,
) -> Option<UseInCase> {
    depth_use_of(site, fabric, (Flows::new(fabric, alive), sets), workload)
}

/// The same by these flows, which may know their routes.
fn depth_use_of(
    site: &Site,
    fabric: &Fabric,
    left: (Flows<'_>, &[PathSet]),
    workload: usize,
) -> Option<UseInCase> {
    let (ceiling, asked) = depth_ceiling_over(site, fabric, left, workload)?;
    let share = |rate: f64| 100.0 * rate / ceiling;
    (ceiling > 0.0).then(|| UseInCase {
        instance: site.workloads[workload].name.clone(),
        mean_percent: share(asked.mean),
        asked_mean_percent: Some(share(asked.mean)),
        peak_percent: share(asked.burst),
        member_peak_percent: share(asked.burst),
        fullest_member_share_percent: 100.0,
    })
}

/// The queue depth of a workload's hosts, as a part.
#[must_use]
pub(crate) fn depth_name(workload: &str) -> String {
    format!("queue depth of the hosts of {workload}")
}

fn worst(part: &PartUse) -> f64 {
    part.cases
        .iter()
        .flatten()
        .map(|case| case.peak_percent)
        .fold(0.0, f64::max)
}

fn link_part(
    link: &LinkFamily,
    steady: &[Steady],
    toward_array: bool,
    asked: Asked<'_>,
) -> Option<PartUse> {
    let of_family = |steady: &Steady| -> Vec<DirectionFigures> {
        let own = |direction: &&DirectionFigures| {
            direction.family == link.name && direction.toward_array == toward_array
        };
        steady.directions.iter().filter(own).cloned().collect()
    };
    let first = steady.iter().flat_map(of_family).next()?;
    let mut of_member = false;
    let cases = steady
        .iter()
        .map(|steady| {
            let all = of_family(steady);
            if steady.unmeasured {
                return asked_alone(steady, all.iter().map(|own| &*own.name), asked);
            }
            let used = fullest(&all)?;
            if let Some(member) = fuller_member(link, &all, &used) {
                of_member = true;
                return Some(UseInCase {
                    asked_mean_percent: asked(&steady.case.name, &member.instance),
                    ..member
                });
            }
            let members = all
                .iter()
                .filter(|own| format!("{} > {}", own.from, own.to) == used.instance);
            let members: Option<Vec<f64>> = members
                .map(|own| asked(&steady.case.name, &own.name))
                .collect();
            let mean = |all: Vec<f64>| all.iter().sum::<f64>() / all.len().max(1) as f64;
            Some(UseInCase {
                asked_mean_percent: members.map(mean),
                ..used
            })
        })
        .collect();
    let member = if of_member { "one member of " } else { "" };
    let detail = match link.cage {
        Some(cage) if cage.lit < cage.legs => format!("{} of {} legs lit", cage.lit, cage.legs),
        _ if link.members > 1 => format!("{} members each", link.members),
        _ => String::new(),
    };
    Some(PartUse {
        part: format!(
            "{member}{}, {}",
            first.tier.replace(" > ", " to "),
            link.label
        ),
        detail,
        tier: first.tier,
        cases,
    })
}

/// Of a case in which nothing was measured: what is asked of the fullest of these by arithmetic, on the mean.
fn asked_alone<'s>(
    steady: &Steady,
    names: impl Iterator<Item = &'s str>,
    asked: Asked<'_>,
) -> Option<UseInCase> {
    let known = names.filter_map(|name| Some((name, asked(&steady.case.name, name)?)));
    let (name, percent) = known.max_by(|one, other| one.1.total_cmp(&other.1))?;
    Some(UseInCase {
        instance: name.to_owned(),
        mean_percent: percent,
        asked_mean_percent: Some(percent),
        peak_percent: percent,
        member_peak_percent: percent,
        fullest_member_share_percent: 100.0,
    })
}

/// A member carries more than this times its even share before it stands for its bundle: a choice of this program, above what chance
/// makes of thousands of frames.
const FULLER: f64 = 1.1;

/// The fullest member, where addresses choose it and it is fuller than the fullest bundle.
#[allow(clippy::cast_precision_loss)]
fn fuller_member(
    link: &LinkFamily,
    all: &[DirectionFigures],
    bundle: &UseInCase,
) -> Option<UseInCase> {
    let by_address = matches!(link.choose, Choose::Flow | Choose::Pinned);
    let most = all.iter().filter(|_| by_address).max_by(|one, other| {
        one.utilization_percent
            .total_cmp(&other.utilization_percent)
    })?;
    let own = all
        .iter()
        .filter(|own| (&own.from, &own.to) == (&most.from, &most.to));
    let bytes = |own: &DirectionFigures| (own.payload_bytes + own.overhead_bytes) as f64;
    let (count, sum) = own.fold((0.0, 0.0), |(count, sum), own| {
        (count + 1.0, sum + bytes(own))
    });
    let share = if sum > 0.0 { bytes(most) / sum } else { 0.0 };
    let uneven = share * count > FULLER && count > 1.0;
    let peak = most.asked_peak_percent.max(most.utilization_percent);
    (uneven && most.utilization_percent > bundle.mean_percent).then(|| UseInCase {
        instance: most.name.clone(),
        mean_percent: most.utilization_percent,
        asked_mean_percent: None,
        peak_percent: peak,
        member_peak_percent: peak,
        fullest_member_share_percent: 100.0 * share,
    })
}

/// The fullest bundle: members between the same two nodes, pooled.
#[allow(clippy::cast_precision_loss)]
pub(super) fn fullest(directions: &[DirectionFigures]) -> Option<UseInCase> {
    let mut bundles: Vec<(String, Vec<&DirectionFigures>)> = Vec::new();
    for direction in directions {
        let name = format!("{} > {}", direction.from, direction.to);
        match bundles.iter_mut().find(|(known, _)| *known == name) {
            Some((_, members)) => members.push(direction),
            None => bundles.push((name, vec![direction])),
        }
    }
    bundles
        .into_iter()
        .map(|(instance, members)| {
            let count = members.len() as f64;
            let mean = |value: fn(&DirectionFigures) -> f64| {
                members.iter().map(|m| value(m)).sum::<f64>() / count
            };
            let bytes = |m: &DirectionFigures| m.payload_bytes + m.overhead_bytes;
            let all: u64 = members.iter().map(|m| bytes(m)).sum();
            let most = members.iter().map(|m| bytes(m)).max().unwrap_or(0);
            UseInCase {
                instance,
                mean_percent: mean(|m| m.utilization_percent),
                asked_mean_percent: None,
                // Bins that are whole can miss the fullest moments at the ends of the window.
                peak_percent: mean(|m| m.asked_peak_percent.max(m.utilization_percent)),
                member_peak_percent: members
                    .iter()
                    .map(|m| m.asked_peak_percent)
                    .fold(0.0, f64::max),
                fullest_member_share_percent: if all > 0 {
                    100.0 * most as f64 / all as f64
                } else {
                    100.0 / count
                },
            }
        })
        .max_by(|left, right| left.peak_percent.total_cmp(&right.peak_percent))
}

pub(super) fn controller_use(steady: &Steady, family: &str) -> Option<UseInCase> {
    steady
        .arrays
        .iter()
        .filter(|array| array.family == family)
        .map(|array| UseInCase {
            instance: array.name.clone(),
            mean_percent: array.utilization_percent,
            asked_mean_percent: None,
            peak_percent: array.asked_peak_percent.max(array.utilization_percent),
            member_peak_percent: array.asked_peak_percent,
            fullest_member_share_percent: 100.0,
        })
        .max_by(|left, right| left.peak_percent.total_cmp(&right.peak_percent))
}

/// From this share on a part counts as full when work is turned back by something.
const FULL_PERCENT: f64 = 95.0;

/// The share of the asked work that is done, least of all workloads whose backlog grows; 1 where none does.
fn carried(steady: &Steady) -> f64 {
    let works = steady.workloads.iter().filter(|work| work.saturated);
    let shares = works.filter(|work| work.all.offered_iops.value > 0.0);
    let shares = shares.map(|work| work.all.completed_iops.value / work.all.offered_iops.value);
    shares.fold(1.0, f64::min)
}

/// The work that its hosts' queue depth holds back: its backlog grows while no part is near full. Its name, and the share of it
/// that is done.
fn held_back<'s>(site: &Site, steady: &'s Steady, peak: f64) -> Option<(&'s str, f64)> {
    let bounded = |name: &str| {
        let work = site.workloads.iter().find(|work| work.name == name);
        work.is_some_and(|work| {
            let mut hosts = work.hosts.iter().map(|host| &site.hosts[*host]);
            work.outstanding.is_some() || hosts.any(|host| host.queue_depth.is_some())
        })
    };
    let works = steady.workloads.iter();
    let held = works.filter(|work| work.saturated && bounded(&work.name));
    let shares = held.filter(|work| work.all.offered_iops.value > 0.0);
    let shares = shares.map(|work| {
        let share = work.all.completed_iops.value / work.all.offered_iops.value;
        (work.name.as_str(), share)
    });
    shares
        .filter(|(_, share)| peak < FULL_PERCENT && *share > 0.0 && *share < 1.0)
        .min_by(|one, other| one.1.total_cmp(&other.1))
}

/// Times today's load at which the fullest part is full, by case: 100 ÷ its peak. Where a backlog grows, full queues
/// keep part of the work from the parts, and what they carry is the share of it that is done.
#[must_use]
pub(crate) fn growth(site: &Site, parts: &[PartUse], steady: &[Steady]) -> Vec<Growth> {
    let mut list = Vec::new();
    for (index, steady) in steady.iter().enumerate() {
        let mut peaks: Vec<(f64, &str)> = parts
            .iter()
            .filter_map(|part| {
                Some((
                    part.cases.get(index)?.as_ref()?.peak_percent,
                    part.part.as_str(),
                ))
            })
            .filter(|(peak, _)| *peak > 0.0)
            .collect();
        peaks.sort_by(|left, right| right.0.total_cmp(&left.0));
        if let Some((peak, part)) = peaks.first() {
            if let Some((work, carried)) = held_back(site, steady, *peak) {
                list.push(Growth {
                    case: steady.case.name.clone(),
                    factor: carried,
                    part: depth_name(work),
                    next: Some(((*part).to_owned(), (carried * 100.0 / peak).max(carried))),
                });
                continue;
            }
            let carried = if *peak >= FULL_PERCENT {
                carried(steady)
            } else {
                1.0
            };
            let full = 100.0 / peak;
            let factor = if carried < 1.0 {
                full.min(carried)
            } else {
                full
            };
            list.push(Growth {
                case: steady.case.name.clone(),
                factor,
                part: (*part).to_owned(),
                next: peaks
                    .get(1)
                    .map(|(peak, part)| ((*part).to_owned(), (carried * 100.0 / peak).max(factor))),
            });
        }
    }
    list
}

#[cfg(test)]
mod tests {
    use crate::study::progress::tests::Totals;
    use crate::study::sample::{origin, site};
    use crate::study::{Ask, study};
    use std::sync::atomic::Ordering;

    /// One request at a time of 10 us, 125 a millisecond: 125 % is asked of the controller and 100 % done. All runs are told of before
    /// the first.
    #[test]
    fn of_a_full_part_it_is_known_how_much_came() {
        let site = site(
            "format = 1\n[run]\nduration = \"20ms\"\nwarm_up = \"5ms\"\nreplications = 2\nswitch_replications = 2\n\
             settle_limit = \"100ms\"\n[timers]\nlink_loss_detect = \"1ms\"\nstate_notice = \"1ms\"\nfast_io_fail = \"1ms\"\n\
             [[host]]\nname = \"app\"\n[[switch]]\nname = \"core\"\n[[array]]\nname = \"box\"\ncontrollers = 1\n\
             parallel = 1\nwrite = { time = \"10us\" }\n[[link]]\nfrom = \"app\"\nto = \"core\"\nspeed = \"100Gb/s\"\n\
             [[link]]\nfrom = \"core\"\nto = \"box\"\nspeed = \"100Gb/s\"\n\
             [[workload]]\nname = \"w\"\nhosts = \"app\"\narray = \"box\"\nprotocol = \"plain\"\nrequest = 1250\nresponse = 1\n\
             frame = 1250\nread = \"0%\"\narrivals = { poisson = \"125k/s\" }\n",
        );
        let ask = Ask {
            outages: Some(vec!["A".to_owned()]),
            switch: true,
            ..Ask::default()
        };
        let totals = Totals::default();
        let report = study(&site, origin(), &ask, &totals);
        let part = report
            .parts
            .iter()
            .find(|part| part.part == "box controllers");
        let used = part.expect("it is there").cases[0]
            .as_ref()
            .expect("it is left");
        let asked = used.asked_mean_percent.expect("it is known");
        assert!((asked - 125.0).abs() < 1e-6, "{asked}");
        assert!(used.mean_percent <= 100.0 + 1e-9, "{}", used.mean_percent);
        assert_eq!(used.asked_percent(), asked);
        let link = report
            .parts
            .iter()
            .find(|part| part.tier.starts_with("app"));
        let used = link.expect("it is there").cases[0]
            .as_ref()
            .expect("it is left");
        // A frame of 0.1 us, half of them on each fabric: what it did is the better figure.
        assert!(
            (used.asked_mean_percent.expect("known") - 0.625).abs() < 1e-6,
            "{used:?}"
        );
        assert_eq!(used.asked_percent(), used.mean_percent);
        // Two cases of two replications, and two runs with the loss.
        assert_eq!(*totals.told.lock().expect("nobody failed"), [6]);
        assert_eq!(totals.done.load(Ordering::Relaxed), 6);
    }

    /// One place of 10 us and a little for 125,000 a second over 100 servers and fast links: what grows is what waits for the place,
    /// and the share of the work that is done says when it would not.
    #[test]
    fn a_depth_that_holds_work_back_is_what_is_full() {
        let site = site(
            "format = 1\n[run]\nduration = \"20ms\"\nwarm_up = \"5ms\"\nreplications = 2\n[[host]]\nname = \"app\"\n\
             paths = \"one-path\"\nqueue_depth = 1\n[[switch]]\nname = \"core\"\n[[array]]\nname = \"box\"\ncontrollers = 1\n\
             parallel = 100\nwrite = { time = \"10us\" }\n[[link]]\nfrom = \"app\"\nto = \"core\"\nspeed = \"100Gb/s\"\n\
             [[link]]\nfrom = \"core\"\nto = \"box\"\nspeed = \"100Gb/s\"\n\
             [[workload]]\nname = \"w\"\nhosts = \"app\"\narray = \"box\"\nprotocol = \"plain\"\nrequest = 1250\nresponse = 1\n\
             frame = 1250\nread = \"0%\"\narrivals = { poisson = \"125k/s\" }\n",
        );
        let ask = Ask {
            outages: Some(Vec::new()),
            ..Ask::default()
        };
        let report = study(&site, origin(), &ask, &Totals::default());
        let growth = &report.growth[0];
        assert_eq!(growth.part, "queue depth of the hosts of w");
        // At most one in 10.2 us: the request takes 0.1 us on each of two links.
        assert!(growth.factor < 0.8 && growth.factor > 0.6, "{growth:?}");
        let (_, at) = growth.next.as_ref().expect("there are parts");
        assert!(*at > 2.0, "{growth:?}");
    }
}
