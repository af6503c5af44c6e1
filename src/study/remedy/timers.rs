//! Which timers are worth a try for a stall: only those that another preset shortens and that bound it.

use super::propose::{Proposal, proposal};
use crate::model::TimerName;
use crate::outcome::{MeasureKind, NamedEvent, Switch, SwitchWorkload};
use crate::site::{LacpRate, Site, Timers};
use crate::study::switch::timer_name;

/// Whose timers bound a stall.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Bounds {
    /// Those of the hosts.
    hosts: bool,
    /// Those of the fabric.
    fabric: bool,
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
pub(super) fn bounds(switch: Option<&Switch>, workload: &str, measure: MeasureKind) -> Bounds {
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
        named.extend(stall.by.split(" + "));
    }
    let any = |timers: &[TimerName]| {
        let mut timers = timers.iter().map(|timer| timer_name(*timer));
        timers.any(|timer| named.iter().any(|own| name(own) == timer))
    };
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
        hosts: any(&OF_HOSTS),
        fabric: waits && (given_up || (switch.silent && work.longest_open.contains(&true))),
    }
}

/// The timer that ended the longest I/O of a workload.
pub(super) fn cause<'s>(switch: Option<&'s Switch>, workload: &str) -> Option<&'s str> {
    let (_, work) = own(switch, workload)?;
    work.freed_by.as_ref()?.timer.as_deref()
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
pub(super) fn proposals(site: &Site, workload: usize, bounds: Bounds) -> Vec<Proposal> {
    let mut all = Vec::new();
    let families = &site.workloads[workload].hosts;
    let slow: Vec<&str> = families
        .iter()
        .map(|family| &site.hosts[*family])
        .filter(|host| host.timers.preset == "default")
        .map(|host| host.name.as_str())
        .collect();
    if bounds.hosts && !slow.is_empty() {
        let own: Vec<(String, String)> = slow
            .iter()
            .map(|name| (format!("host.{name}.timers"), "short".to_owned()))
            .collect();
        all.push(proposal(
            format!("short timers at the hosts {}", slow.join(", ")),
            &own,
        ));
    }
    // Everywhere is the same as at these hosts, where there are no others and the fabric's timers have no part in it.
    let others = bounds.hosts && site.hosts.len() > slow.len() && !slow.is_empty();
    let fabric = bounds.fabric && site.timers.lacp == LacpRate::Slow;
    if site.timers.preset == "default" && (fabric || others) {
        let everywhere = [("timers.preset".to_owned(), "short".to_owned())];
        all.push(proposal("short timers everywhere".to_owned(), &everywhere));
    }
    all
}

/// Whether a change shortens any timer of those that a preset has: values that a scenario states stay as they are.
pub(super) fn shortens(before: &Site, after: &Site) -> bool {
    let hold = |timers: &Timers| timers.fast_io_fail.unwrap_or(timers.device_loss);
    let shorter = |(old, new): (&Timers, &Timers)| {
        let ping = |timers: &Timers| timers.iscsi_ping + timers.iscsi_ping_timeout;
        hold(new) < hold(old)
            || ping(new) < ping(old)
            || new.iscsi_replacement < old.iscsi_replacement
    };
    let hosts = before.hosts.iter().zip(&after.hosts);
    let mut hosts = hosts.map(|(old, new)| (&old.timers, &new.timers));
    let lacp = (before.timers.lacp, after.timers.lacp) == (LacpRate::Slow, LacpRate::Fast);
    lacp || hosts.any(shorter)
}
