//! Which timers are worth a try for a stall: only those that another preset shortens and that bound it.

use super::propose::{Proposal, proposal};
use crate::model::TimerName;
use crate::outcome::{MeasureKind, NamedEvent, StallLeft, Switch, SwitchWorkload, TimerStall};
use crate::scenario::{SHORTENED, without_effect};
use crate::site::{Assumption, Basis, LacpRate, Measure, Site, Timers};
use crate::study::switch::timer_name;
use crate::topology::{Fabric, MemberId};
use crate::unit::Duration;
use crate::wire::Medium;

/// Which timers bound a stall.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Bounds {
    /// Those of the hosts that a preset has.
    hosts: Vec<TimerName>,
    /// Those of the fabric.
    fabric: bool,
}

/// What a change of timers is for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Stall {
    /// The timers of which one is to be shorter, and none longer.
    timers: Vec<TimerName>,
    /// Of these families of hosts.
    hosts: Vec<usize>,
    /// Where it is.
    pub(super) place: StallLeft,
}

/// Timers of a host that the short preset shortens: how long it holds I/O on what is lost, and when it notices a silent session.
const OF_HOSTS: [TimerName; 4] = [
    TimerName::FastIoFail,
    TimerName::DeviceLoss,
    TimerName::IscsiPing,
    TimerName::SessionReplacement,
];

/// What waits for the fabric to go another way: it is over when the fabric's own timer is, at the next try.
const AFTER_THE_FABRIC: [TimerName; 2] = [TimerName::Retransmission, TimerName::CommandTimeout];

/// Which timers bound the stall of a workload, or made its I/Os fail.
pub(super) fn bounds(
    site: &Site,
    switch: Option<&Switch>,
    workload: &str,
    measure: MeasureKind,
) -> Bounds {
    let Some((switch, work)) = own(switch, workload) else {
        return Bounds::default();
    };
    let mut named: Vec<&str> = causes(work, measure)
        .filter_map(|event| event.timer.as_deref())
        .collect();
    // A sum has its longest part in it, though another one may come last.
    if let Some(stall) = work
        .by_timers
        .as_ref()
        .filter(|_| measure != MeasureKind::Failed)
    {
        named.extend(stall.sums().flat_map(|sum| sum.by.split(" + ")));
    }
    let is_named = |timer: &TimerName| named.iter().any(|own| name(own) == timer_name(*timer));
    let any = |timers: &[TimerName]| timers.iter().any(is_named);
    // What has not ended may yet wait for the fabric.
    let waits = any(&AFTER_THE_FABRIC) || work.longest_open.contains(&true);
    let end = causes(work, measure).map(|event| event.t_s);
    let end = end.fold(f64::NEG_INFINITY, f64::max);
    let lacp = timer_name(TimerName::Lacp);
    let mut events = switch.events.iter();
    let given_up = events.any(|event| {
        let before = end < 0.0 || event.t_s <= end;
        before
            && event
                .timer
                .as_deref()
                .is_some_and(|timer| name(timer) == lacp)
    });
    Bounds {
        hosts: OF_HOSTS.into_iter().filter(is_named).collect(),
        // A group that was to give its member up later than the hosts did would have ended the stall, had it been sooner.
        fabric: (waits && (given_up || (switch.silent && work.longest_open.contains(&true))))
            || loses_a_member(site, switch),
    }
}

/// Whether a silent loss leaves some members of a group of Ethernet links, so that LACP has to give up the others.
fn loses_a_member(site: &Site, switch: &Switch) -> bool {
    let mut outages = site.outages.iter();
    let own = outages.find(|outage| switch.case.outage.as_ref() == Some(&outage.name));
    let Some(outage) = own.filter(|_| switch.silent) else {
        return false;
    };
    let fabric = Fabric::new(site);
    let out = fabric.members_out(outage);
    let by_lacp = |id: &MemberId| {
        let member = &fabric.members[id.0 as usize];
        let gone = out.iter().filter(|other| {
            let other = &fabric.members[other.0 as usize];
            (other.near, other.far, &other.bundle) == (member.near, member.far, &member.bundle)
        });
        let fibre_channel = site.links[member.family].medium == Some(Medium::FibreChannel);
        !fibre_channel && gone.count() < member.of as usize
    };
    out.iter().any(by_lacp)
}

/// The timer that ended the longest I/O of a workload.
pub(super) fn cause<'s>(switch: Option<&'s Switch>, workload: &str) -> Option<&'s str> {
    let (_, work) = own(switch, workload)?;
    work.freed_by.as_ref()?.timer.as_deref()
}

/// The timer for which a promise about switching was missed.
pub(super) fn missed_by<'s>(
    switch: Option<&'s Switch>,
    workload: &str,
    measure: MeasureKind,
) -> Option<&'s str> {
    let (_, work) = own(switch, workload)?;
    causes(work, measure).next()?.timer.as_deref()
}

fn own<'s>(switch: Option<&'s Switch>, workload: &str) -> Option<(&'s Switch, &'s SwitchWorkload)> {
    let switch = switch?;
    let mut works = switch.workloads.iter();
    Some((switch, works.find(|work| work.name == workload)?))
}

/// What the promise was missed for: I/Os that failed, or the longest I/O.
fn causes(work: &SwitchWorkload, measure: MeasureKind) -> impl Iterator<Item = &NamedEvent> {
    let failed = work.failed_by.as_ref();
    let failed = failed.filter(|_| measure == MeasureKind::Failed);
    failed.or(work.freed_by.as_ref()).into_iter()
}

/// `fast-io-fail` of `fast-io-fail, 5s`.
fn name(timer: &str) -> &str {
    timer.split(',').next().unwrap_or(timer)
}

/// The short timers for the hosts of a workload, where they have the default ones; or everywhere, where the fabric's own bound the
/// stall, so that those of hosts alone would leave it as it is.
pub(super) fn proposals(
    site: &Site,
    workload: usize,
    bounds: &Bounds,
    place: &StallLeft,
) -> Vec<Proposal> {
    let mut all = Vec::new();
    let lacp = bounds.fabric.then_some(TimerName::Lacp);
    let stall = Stall {
        timers: bounds.hosts.iter().copied().chain(lacp).collect(),
        hosts: site.workloads[workload].hosts.clone(),
        place: place.clone(),
    };
    let by_hosts = !bounds.hosts.is_empty();
    let families = &site.workloads[workload].hosts;
    let slow: Vec<&str> = families
        .iter()
        .map(|family| &site.hosts[*family])
        .filter(|host| host.timers.preset == "default")
        .map(|host| host.name.as_str())
        .collect();
    if by_hosts && !slow.is_empty() {
        let own: Vec<(String, String)> = slow
            .iter()
            .flat_map(|name| shorter(site, name, &bounds.hosts))
            .collect();
        if !own.is_empty() {
            all.push(proposal(
                format!("short timers at the hosts {}", slow.join(", ")),
                &own,
            ));
        }
    }
    // Everywhere is the same as at these hosts, where there are no others and the fabric's timers have no part in it.
    let others = by_hosts && site.hosts.len() > slow.len() && !slow.is_empty();
    let fabric = bounds.fabric && site.timers.lacp == LacpRate::Slow;
    if site.timers.preset == "default" && (fabric || others) {
        let everywhere = [("timers.preset".to_owned(), "short".to_owned())];
        all.push(proposal("short timers everywhere".to_owned(), &everywhere));
    }
    for one in &mut all {
        one.stall = Some(stall.clone());
    }
    all
}

/// What sets the short timers at a host: the preset, or, where it would take the place of what `[timers]` states for all hosts, those that
/// bound the stall, one by one.
fn shorter(site: &Site, name: &str, bounding: &[TimerName]) -> Vec<(String, String)> {
    let own = format!("host.{name}.timers");
    let stated = |key: &str| {
        site.assumptions
            .iter()
            .filter(is_stated)
            .any(|a| a.key == key)
    };
    let mut for_all = site.assumptions.iter().filter(is_stated);
    let for_all = for_all.any(|known| {
        let field = known.key.strip_prefix("timers.");
        field.is_some_and(|field| {
            field != "preset" && !without_effect(&format!("host.{name}.timers.{field}"))
        })
    });
    if !for_all || stated(&own) {
        return vec![(own, "short".to_owned())];
    }
    let mut hosts = site.hosts.iter();
    let Some(now) = hosts
        .find(|host| host.name == name)
        .map(|host| &host.timers)
    else {
        return Vec::new();
    };
    let any = |timers: &[TimerName]| timers.iter().any(|timer| bounding.contains(timer));
    let shortens = |(key, _, short): &(&str, &str, Duration)| match *key {
        "fast_io_fail" => {
            any(&[TimerName::FastIoFail, TimerName::DeviceLoss])
                && now.fast_io_fail.is_none_or(|own| own > *short)
        }
        "iscsi_ping" => any(&[TimerName::IscsiPing]) && now.iscsi_ping > *short,
        "iscsi_ping_timeout" => any(&[TimerName::IscsiPing]) && now.iscsi_ping_timeout > *short,
        "iscsi_replacement" => {
            any(&[TimerName::SessionReplacement]) && now.iscsi_replacement > *short
        }
        _ => false,
    };
    SHORTENED
        .iter()
        .filter(|one| shortens(one))
        .map(|(key, text, _)| (format!("{own}.{key}"), (*text).to_owned()))
        .collect()
}

/// Whether somebody states it, and no default does.
fn is_stated(own: &&Assumption) -> bool {
    !matches!(
        own.basis,
        Basis::Standard | Basis::Published | Basis::CommonPractice
    )
}

/// Timers that a scenario states, and the keys that state them.
const STATED: [(TimerName, &str); 8] = [
    (TimerName::FastIoFail, "fast_io_fail"),
    (TimerName::SessionReplacement, "iscsi_replacement"),
    (TimerName::KeepAlive, "keep_alive"),
    (TimerName::CommandTimeout, "command_timeout"),
    (TimerName::Quiesce, "quiesce"),
    (TimerName::LinkLossDetect, "link_loss_detect"),
    (TimerName::StateNotice, "link_loss_detect"),
    (TimerName::StateNotice, "state_notice"),
];

/// A tenth of a promise is left for what comes on top of timers: a choice of this program.
const OF_THE_PROMISE: f64 = 0.9;

/// The timers that ended the longest I/O of a workload, the last and those before it, where the scenario states them: as much shorter as
/// the promise asks for, and half of it where even none would be too long. One that another cut short would have lasted for all that the sum
/// of its timers says: so much longer than the longest I/O it has to become shorter.
pub(super) fn stated(
    site: &Site,
    workload: usize,
    switch: Option<&Switch>,
    measure: MeasureKind,
    place: &StallLeft,
) -> Vec<Proposal> {
    let work = &site.workloads[workload];
    let mut promises = work.promises.switching.iter();
    let promised = promises.find(|promise| promise.measure == Measure::LongestIo);
    let (Some(promised), Some((_, own)), MeasureKind::LongestIo) =
        (promised, own(switch, &work.name), measure)
    else {
        return Vec::new();
    };
    let longest = own.longest_io_s.iter().copied().fold(0.0, f64::max);
    // How long the I/O would be held, were this timer the one that lets it go.
    let bound = |timer: TimerName| {
        let all = own.by_timers.iter().flat_map(TimerStall::sums);
        let sums = all.filter(|stall| {
            let mut parts = stall.by.split(" + ");
            parts.any(|part| name(part) == timer_name(timer))
        });
        sums.map(|stall| stall.s).fold(longest, f64::max)
    };
    let before = own.by_timers.iter().flat_map(TimerStall::sums);
    let before = before.flat_map(|stall| stall.by.split(" + "));
    let ended: Vec<&str> = std::iter::once(place.timer.as_str())
        .chain(before)
        .map(name)
        .collect();
    let ended = STATED
        .into_iter()
        .filter(|(timer, _)| ended.contains(&timer_name(*timer)));
    let each = ended.flat_map(|one| work.hosts.iter().map(move |family| (one, *family)));
    let target = promised.target / PS_PER_S * OF_THE_PROMISE;
    let mut found: Vec<Proposal> = Vec::new();
    for ((timer, key), family) in each {
        let host = &site.hosts[family];
        let keys = [
            format!("host.{}.timers.{key}", host.name),
            format!("timers.{key}"),
        ];
        let stated = site.assumptions.iter().filter(is_stated);
        // What a host states for itself is what it goes by, whatever is stated for all.
        let stated = keys
            .iter()
            .find_map(|key| stated.clone().find(|own| own.key == *key));
        let Some(stated) = stated else {
            continue;
        };
        let own = match key {
            "link_loss_detect" => host.timers.link_loss_detect,
            "state_notice" => host.timers.state_notice,
            _ => value(&host.timers, timer),
        };
        let now = own.as_secs_f64();
        let least = now - (bound(timer) - target);
        let to = round_down(if least > 0.0 { least } else { now / 2.0 });
        if to == Duration::ZERO || to.as_secs_f64() >= now {
            continue;
        }
        let own = format!(
            "a shorter {} ({to} in place of {own})",
            match key {
                "link_loss_detect" => timer_name(TimerName::LinkLossDetect),
                "state_notice" => "state notice",
                _ => timer_name(timer),
            }
        );
        let mut one = proposal(own, &[(stated.key.clone(), written(to))]);
        one.stall = Some(Stall {
            timers: vec![timer],
            hosts: work.hosts.clone(),
            place: place.clone(),
        });
        if found.iter().all(|known| known.set != one.set) {
            found.push(one);
        }
    }
    found
}

const PS_PER_S: f64 = 1e12;

/// Whole seconds from two on, else whole milliseconds.
#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
fn round_down(seconds: f64) -> Duration {
    let ms = (seconds * 1e3).floor().max(0.0) as u64;
    Duration::from_ms(if ms >= 2_000 { ms / 1_000 * 1_000 } else { ms })
}

/// As a scenario writes it.
fn written(time: Duration) -> String {
    format!("{}ms", time.0 / Duration::from_ms(1).0)
}

/// What a timer of hosts is set to.
fn value(timers: &Timers, timer: TimerName) -> Duration {
    match timer {
        TimerName::FastIoFail | TimerName::DeviceLoss => {
            timers.fast_io_fail.unwrap_or(timers.device_loss)
        }
        TimerName::IscsiPing => timers.iscsi_ping + timers.iscsi_ping_timeout,
        TimerName::SessionReplacement => timers.iscsi_replacement,
        TimerName::KeepAlive => timers.keep_alive,
        TimerName::CommandTimeout => timers.command_timeout,
        TimerName::Quiesce => timers.quiesce,
        TimerName::LinkLossDetect => timers.link_loss_detect,
        TimerName::StateNotice => timers.link_loss_detect + timers.state_notice,
        _ => Duration::ZERO,
    }
}

/// Whether a change shortens one of the timers that it is for, at hosts whose stall it is, and lengthens none of them: a preset
/// takes the place of what is stated for all hosts, which may have been shorter, and leaves what is stated as it is.
pub(super) fn shortens(before: &Site, after: &Site, stall: &Stall) -> bool {
    let hosts = stall.hosts.iter();
    let hosts = hosts.map(|family| (&before.hosts[*family].timers, &after.hosts[*family].timers));
    let values = |timer: &TimerName| {
        let of = *timer;
        hosts
            .clone()
            .map(move |(old, new)| (value(old, of), value(new, of)))
    };
    let mut all = stall.timers.iter().flat_map(values);
    let lacp = stall.timers.contains(&TimerName::Lacp)
        && (before.timers.lacp, after.timers.lacp) == (LacpRate::Slow, LacpRate::Fast);
    let shorter = all.clone().any(|(old, new)| new < old);
    (lacp || shorter) && all.all(|(old, new)| new <= old)
}
