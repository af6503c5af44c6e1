//! What to try for what is missed.

use super::limit::{Part, limits};
use super::timers::{self, Stall};
use crate::outcome::{Case, Cell, Matrix, StallLeft, Steady, Switch, UseInCase, Verdict};
use crate::site::{
    Choose, End, HostFamily, LinkFamily, LossMode, PathPolicy, Site, Team, UplinkLoss,
};
use crate::study::estimate::estimate;
use crate::study::parts::depth_use;
use crate::topology::Fabric;
use crate::wire::{Medium, Protocol, technologies};

/// A change to try.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Proposal {
    /// "6 members from edge to san".
    pub(super) name: String,
    /// What it sets.
    pub(super) set: Vec<(String, String)>,
    /// Whose stall it is to shorten; `None` where it is for something else.
    pub(super) stall: Option<Stall>,
}

/// How full, in per cent of the busiest 20 ms, a part is to be after a change that arithmetic sizes.
const AIM_PERCENT: f64 = 70.0;
/// Below this even the fullest part on the way hardly makes anybody wait, and a wider one would not help: at 40 % the
/// time in the simplest queue (M/M/1) is 1.7 times the service.
const WORTH_PERCENT: f64 = 40.0;
/// A second part is proposed for as well from here on: it would be the next to miss.
const ALSO_PERCENT: f64 = 80.0;

/// The deepest that a scenario may state.
const DEEPEST: u32 = 65_536;

/// What there is to try.
pub(super) struct Proposals {
    /// Each change once.
    pub(super) all: Vec<Proposal>,
    /// Workloads and cases that no part limits.
    pub(super) calm: Vec<String>,
    /// Workloads and cases of which no timer of another preset bounds the stall, with what does.
    pub(super) fixed: Vec<StallLeft>,
}

/// Everything to try for the judgements missed in `matrix`, of which `steady` has the figures and `switches` the switch-overs.
pub(super) fn proposals(
    site: &Site,
    matrix: &Matrix,
    steady: &[Steady],
    switches: &[Switch],
) -> Proposals {
    let mut all: Vec<Proposal> = Vec::new();
    let mut calm: Vec<String> = Vec::new();
    let mut fixed: Vec<StallLeft> = Vec::new();
    let loads = estimate(site, &Fabric::new(site));
    let mut add = |proposal: Proposal| {
        if all.iter().all(|known| known.set != proposal.set) {
            all.push(proposal);
        }
    };
    for row in &matrix.rows {
        let Some(workload) = site.workloads.iter().position(|w| w.name == row.workload) else {
            continue;
        };
        for (case, cell) in row.cells.iter().enumerate() {
            if cell
                .as_ref()
                .is_none_or(|cell| cell.verdict != Verdict::Missed)
            {
                continue;
            }
            let silent = is_silent(site, &matrix.cases[case]);
            if row.switching {
                let case = &matrix.cases[case];
                let switch = switches.iter().find(|switch| switch.case == *case);
                let bounds = timers::bounds(site, switch, &row.workload, row.measure);
                let timer = timers::cause(switch, &row.workload).unwrap_or_default();
                let place = StallLeft {
                    case: case.name.clone(),
                    workload: row.workload.clone(),
                    timer: timer.to_owned(),
                };
                let mut shorter = timers::proposals(site, workload, &bounds, &place);
                shorter.extend(timers::stated(site, workload, switch, row.measure, &place));
                let works = switch.into_iter().flat_map(|switch| &switch.workloads);
                let mut own = works.filter(|work| work.name == row.workload);
                if own.any(|work| work.no_path || work.failed_without_path) {
                    shorter.extend(seeing_teams(site, workload, silent));
                }
                if shorter.is_empty() {
                    let timer = timers::missed_by(switch, &row.workload, row.measure);
                    let place = StallLeft {
                        timer: timer.unwrap_or_default().to_owned(),
                        ..place
                    };
                    if !fixed.contains(&place) {
                        fixed.push(place);
                    }
                }
                shorter.into_iter().for_each(&mut add);
                continue;
            }
            let Some(steady) = steady.get(case) else {
                continue;
            };
            let teams = seeing_teams(site, workload, silent);
            if !teams.is_empty() && cell.as_ref().is_some_and(Cell::is_cut_off) {
                teams.into_iter().for_each(&mut add);
                continue;
            }
            let limits = limits(site, &loads, steady, workload);
            if limits
                .first()
                .is_none_or(|(_, used)| used.peak_percent < WORTH_PERCENT)
            {
                let place = format!("{}, {}", row.workload, steady.case.name);
                if !calm.contains(&place) {
                    calm.push(place);
                }
            }
            for (rank, (part, used)) in limits.iter().take(2).enumerate() {
                if used.peak_percent
                    < if rank > 0 {
                        ALSO_PERCENT
                    } else {
                        WORTH_PERCENT
                    }
                {
                    break;
                }
                wider(site, *part, used).into_iter().for_each(&mut add);
            }
            policies(site, workload).into_iter().for_each(&mut add);
        }
    }
    Proposals { all, calm, fixed }
}

pub(super) fn proposal(name: String, set: &[(String, String)]) -> Proposal {
    Proposal {
        name,
        set: set.to_vec(),
        stall: None,
    }
}

/// `now` made wider: by one, by what arithmetic says, twofold; none above `most`.
fn steps(now: u32, used: &UseInCase, most: u32) -> Vec<u32> {
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
    let needed = (f64::from(now) * used.peak_percent / AIM_PERCENT).ceil() as u32;
    let mut all = vec![now + 1, needed, now.saturating_mul(2)];
    all.retain(|count| *count > now && *count <= most);
    all.sort_unstable();
    all.dedup();
    all
}

fn wider(site: &Site, part: Part, used: &UseInCase) -> Vec<Proposal> {
    match part {
        Part::Array(array) => {
            let family = &site.arrays[array];
            let key = format!("array.{}.parallel", family.name);
            steps(family.parallel, used, 1_000_000)
                .into_iter()
                .skip_while(|count| *count == family.parallel + 1 && family.parallel > 4)
                .map(|count| {
                    let name = format!(
                        "{count} requests in parallel in each controller of {}",
                        family.name
                    );
                    proposal(name, &[(key.clone(), count.to_string())])
                })
                .collect()
        }
        Part::Link(link) => wider_link(site, &site.links[link], used),
        Part::Depth(workload) => deeper(site, workload, used),
    }
}

/// More I/Os under way at the hosts of a workload: by their queue depth, or by what the workload may have outstanding where that is
/// the less.
fn deeper(site: &Site, workload: usize, used: &UseInCase) -> Vec<Proposal> {
    let work = &site.workloads[workload];
    let unbound = {
        let mut site = site.clone();
        site.workloads[workload].outstanding = None;
        let fabric = Fabric::new(&site);
        let alive = fabric.all_alive();
        let sets = fabric.path_sets(&site, &alive);
        depth_use(&site, &fabric, (&alive, &sets), workload)
    };
    let bound = work.outstanding.filter(|_| {
        let fabric = Fabric::new(site);
        let alive = fabric.all_alive();
        let sets = fabric.path_sets(site, &alive);
        let own = depth_use(site, &fabric, (&alive, &sets), workload);
        let share = |used: Option<UseInCase>| used.map_or(0.0, |used| used.mean_percent);
        share(unbound) < share(own)
    });
    if let Some(now) = bound {
        let deeper = steps(now, used, DEEPEST).into_iter();
        return deeper
            .map(|most| {
                let name = format!("{most} I/Os of {} outstanding at each host", work.name);
                let key = format!("workload.{}.arrivals.outstanding", work.name);
                proposal(name, &[(key, most.to_string())])
            })
            .collect();
    }
    let families = || work.hosts.iter().map(|family| &site.hosts[*family]);
    let Some(now) = families().filter_map(|host| host.queue_depth).min() else {
        return Vec::new();
    };
    let deeper = steps(now, used, DEEPEST).into_iter();
    deeper
        .filter(|depth| *depth != now + 1 || now < 4)
        .map(|depth| {
            let short = families().filter(|host| host.queue_depth.is_some_and(|own| own < depth));
            let names: Vec<&str> = short.clone().map(|host| host.name.as_str()).collect();
            let name = format!("queue depth {depth} at the hosts {}", names.join(", "));
            let key = |host: &HostFamily| format!("host.{}.queue_depth", host.name);
            let set: Vec<(String, String)> =
                short.map(|host| (key(host), depth.to_string())).collect();
            proposal(name, &set)
        })
        .collect()
}

fn wider_link(site: &Site, link: &LinkFamily, used: &UseInCase) -> Vec<Proposal> {
    let between = format!("{} to {}", end(site, link.from), end(site, link.to));
    let key = |field: &str| format!("link.{}.{field}", link.name);
    let mut all = Vec::new();
    match (link.cage, link.to) {
        (Some(cage), _) if cage.lit < cage.legs => {
            for lit in steps(cage.lit, used, cage.legs) {
                let name = format!("{lit} of {} legs lit from {between}", cage.legs);
                all.push(proposal(name, &[(key("cage.lit"), lit.to_string())]));
            }
        }
        (Some(_), _) => {}
        (None, End::Array(_)) => {
            for ports in steps(link.ports, used, 64) {
                let name = format!("{ports} ports in each controller and fabric from {between}");
                all.push(proposal(name, &[(key("ports"), ports.to_string())]));
            }
        }
        (None, _) => {
            for members in steps(link.members, used, 64) {
                let name = format!("{members} members from {between}");
                all.push(proposal(name, &[(key("members"), members.to_string())]));
            }
        }
    }
    if let Some(label) = faster(link) {
        let name = format!("{label} from {between}");
        all.push(proposal(name, &[(key("speed"), label.to_owned())]));
    }
    let even = 100.0 / f64::from(link.members.max(1));
    let uneven = link.members > 1 && used.fullest_member_share_percent > 1.2 * even;
    if uneven && link.choose == Choose::Flow && link.medium == Some(Medium::FibreChannel) {
        let name = format!("members chosen by exchange from {between}");
        all.push(proposal(name, &[(key("choose"), "exchange".to_owned())]));
    }
    all
}

/// The slowest technology of the same medium with at least 1.9 times the rate (names double; codes differ a little).
fn faster(link: &LinkFamily) -> Option<&'static str> {
    let medium = link.medium?;
    let (bits, seconds) = link.rate.ratio();
    let times = |rate: crate::unit::Rate| {
        let (other, other_s) = rate.ratio();
        let wide = u128::from(other) * u128::from(seconds) * 10;
        wide >= u128::from(bits) * u128::from(other_s) * 19
    };
    technologies()
        .iter()
        .find(|known| known.medium == medium && times(known.usable))
        .map(|known| known.label)
}

fn end(site: &Site, end: End) -> &str {
    crate::study::layers::end_name(site, end)
}

/// Whether a team of ports, and no path policy, decides where the file traffic of a family goes.
fn has_team(site: &Site, workload: usize, host: &HostFamily) -> bool {
    let files = matches!(site.workloads[workload].protocol, Protocol::Nfs(_));
    files && host.team != Team::Off
}

/// Whether the outage of a case takes its parts without a signal that goes.
fn is_silent(site: &Site, case: &Case) -> bool {
    let mut outages = site.outages.iter();
    let own = outages.find(|outage| case.outage.as_ref() == Some(&outage.name));
    own.is_some_and(|outage| outage.mode == LossMode::Silent)
}

/// For teams that see only a lost signal, which stay on a port that leads nowhere: a probe, and where the loss is one that their
/// switches see, that these take the ports of hosts down.
fn seeing_teams(site: &Site, workload: usize, silent: bool) -> Vec<Proposal> {
    let families = site.workloads[workload].hosts.iter().copied();
    let blind: Vec<usize> = families
        .filter(|family| {
            let host = &site.hosts[*family];
            has_team(site, workload, host) && host.timers.team_probe.is_none()
        })
        .collect();
    let probe = |family: &usize| {
        let name = &site.hosts[*family].name;
        let key = format!("host.{name}.timers.team_probe");
        let what = format!("a team probe of 1\u{202F}s at the hosts {name}");
        proposal(what, &[(key, "1s".to_owned())])
    };
    let mut all: Vec<Proposal> = blind.iter().map(probe).collect();
    let at_hosts = |switch: usize| {
        let mut links = site.links.iter();
        links.any(|link| {
            let to_host = |end: End| matches!(end, End::Host(family) if blind.contains(&family));
            let own = End::Switch(switch);
            (link.from == own && to_host(link.to)) || (link.to == own && to_host(link.from))
        })
    };
    let keeping: Vec<&str> = (0..site.switches.len())
        .filter(|switch| site.switches[*switch].on_uplink_loss == UplinkLoss::Keep)
        .filter(|switch| at_hosts(*switch))
        .map(|switch| site.switches[switch].name.as_str())
        .collect();
    if !silent && !keeping.is_empty() {
        let key = |name: &&str| format!("switch.{name}.on_uplink_loss");
        let set: Vec<(String, String)> = keeping
            .iter()
            .map(|name| (key(name), "drop-host-ports".to_owned()))
            .collect();
        let what = format!(
            "host ports taken down on loss of uplinks by the switches {}",
            keeping.join(", ")
        );
        all.push(proposal(what, &set));
    }
    all
}

/// Another path policy for the hosts of a workload: by the work in flight, and if it is that already, by bytes.
fn policies(site: &Site, workload: usize) -> Vec<Proposal> {
    let families = &site.workloads[workload].hosts;
    families
        .iter()
        .filter(|family| !has_team(site, workload, &site.hosts[**family]))
        .map(|family| {
            let host = &site.hosts[*family];
            let policy = match host.paths {
                PathPolicy::LeastQueue => "least-bytes",
                _ => "least-queue",
            };
            let key = format!("host.{}.paths", host.name);
            let name = format!("{policy} paths at the hosts {}", host.name);
            proposal(name, &[(key, policy.to_owned())])
        })
        .collect()
}
