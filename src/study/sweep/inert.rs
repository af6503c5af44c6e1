//! What of a site a point of a sweep depends on, as a digest: where it is the same, so are the rows.
//!
//! A steady run has no loss in it, so the timers that notice one, what is scripted, and what only a search or a review
//! reads change nothing there. What could after all is kept: a command timeout that may run out within a run, and what becomes
//! of I/Os where a host has no path. Left out: that two different sites may have the same rows all the same.

use crate::site::{Arrivals, LossMode, Outage, Site, Timers, UplinkLoss};
use crate::study::case;
use crate::topology::Fabric;
use crate::unit::Duration;
use sha2::{Digest, Sha256};
use std::fmt::{self, Write};
use std::sync::Arc;

/// What a point runs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Runs {
    /// Steady states.
    Steady,
    /// The switch-over of each outage too.
    SwitchOvers,
}

/// A digest of what the rows of a point depend on. `pathless`: some case leaves a host without paths, so that what becomes of its
/// I/Os counts ([`leaves_somebody_without_paths`]).
#[must_use]
pub fn reads(site: &Site, outages: Option<&[String]>, runs: Runs, pathless: bool) -> [u8; 32] {
    let mut kept = site.clone();
    kept.title.clear();
    kept.assumptions.clear();
    kept.variants.clear();
    kept.steps.clear();
    kept.growth = None;
    kept.events.clear();
    kept.groups.clear();
    kept.outages
        .retain(|outage| outages.is_none_or(|names| names.contains(&outage.name)));
    for chassis in &mut kept.chassis {
        chassis.slots = 0;
    }
    for switch in &mut kept.switches {
        switch.ports.clear();
        switch.uplinks_max = None;
    }
    for array in &mut kept.arrays {
        array.port_commands = 0;
    }
    for host in &mut kept.hosts {
        host.bus = None;
        host.timers = of_host(&host.timers);
    }
    kept.timers = of_fabric(&site.timers);
    for work in &mut kept.workloads {
        work.shape = None;
        for promise in [
            &mut work.promises.healthy,
            &mut work.promises.lost,
            &mut work.promises.switching,
        ]
        .into_iter()
        .flatten()
        {
            promise.text.clear();
        }
        if let Arrivals::Replay(replay) = &mut work.arrivals {
            // The file's name stands for what is in it.
            replay.entries = Arc::new(Vec::new());
        }
    }
    if let Runs::Steady = runs {
        only_steady(&mut kept, site, pathless);
    }
    let mut hash = Hash(Sha256::new());
    let written = write!(hash, "{kept:?}");
    debug_assert!(written.is_ok());
    hash.0.finalize().into()
}

/// What a fabric reads of its timers; hosts have theirs, stated or taken over from these.
fn of_fabric(timers: &Timers) -> Timers {
    Timers {
        lag_rehash: timers.lag_rehash,
        fc_reroute: timers.fc_reroute,
        ethernet_reroute: timers.ethernet_reroute,
        peer_loss: timers.peer_loss,
        fc_dead: timers.fc_dead,
        lacp: timers.lacp,
        ..Timers::ZERO
    }
}

/// What a host reads of its timers.
fn of_host(timers: &Timers) -> Timers {
    Timers {
        preset: Timers::ZERO.preset,
        lag_rehash: Timers::ZERO.lag_rehash,
        fc_reroute: Timers::ZERO.fc_reroute,
        ethernet_reroute: Timers::ZERO.ethernet_reroute,
        peer_loss: Timers::ZERO.peer_loss,
        fc_dead: Timers::ZERO.fc_dead,
        lacp: Timers::ZERO.lacp,
        ..timers.clone()
    }
}

fn only_steady(kept: &mut Site, site: &Site, pathless: bool) {
    // Where frames are damaged for good, timers are at work in the steady state too.
    let damaged = |outage: &Outage| outage.slow().is_some_and(|slow| slow.loss_ppb > 0);
    let damaged = kept.outages.iter().any(damaged);
    if !damaged {
        kept.timers = Timers::ZERO;
    }
    // Nothing is older than this when a run ends.
    let oldest = site.run.duration + site.run.drain_limit;
    for host in &mut kept.hosts {
        let own = host.timers.clone();
        if own.command_timeout > oldest && !damaged {
            host.timers = Timers::ZERO;
        }
        if pathless {
            host.timers.no_path = own.no_path;
            host.timers.path_check = own.path_check;
        }
    }
    for switch in &mut kept.switches {
        switch.on_uplink_loss = UplinkLoss::Keep;
    }
    for array in &mut kept.arrays {
        array.takeover = Duration::ZERO;
    }
    for outage in &mut kept.outages {
        outage.mode = LossMode::Loud;
    }
    for work in &mut kept.workloads {
        work.promises.switching.clear();
    }
    kept.run.switch_replications = 1;
    kept.run.before = Duration::ZERO;
    kept.run.settle_limit = Duration::ZERO;
}

/// Whether a host has no path to an array of its work in one of the cases.
#[must_use]
pub fn leaves_somebody_without_paths(site: &Site, outages: Option<&[String]>) -> bool {
    let fabric = Fabric::new(site);
    case::cases(site, &fabric, outages).iter().any(|plan| {
        let sets = plan.path_sets(site, &fabric);
        sets.iter().any(|set| set.paths.is_empty())
    })
}

struct Hash(Sha256);

impl Write for Hash {
    fn write_str(&mut self, text: &str) -> fmt::Result {
        self.0.update(text.as_bytes());
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::study::sample::{TRAMWAYS, site_with};
    use crate::study::sweep::point;
    use crate::study::{NoProgress, sweep::Asked};

    const QUICK: [(&str, &str); 3] = [
        ("run.duration", "6ms"),
        ("run.warm_up", "2ms"),
        ("run.replications", "1"),
    ];

    fn tramways(set: &[(&str, &str)]) -> Site {
        site_with(TRAMWAYS, &[&QUICK[..], set].concat())
    }

    fn same(set: &[(&str, &str)], runs: Runs) -> bool {
        let reads =
            |site: &Site| reads(site, None, runs, leaves_somebody_without_paths(site, None));
        reads(&tramways(&[])) == reads(&tramways(set))
    }

    /// What the digest does not hold changes no figure of a steady run, healthy or with a fabric lost.
    #[test]
    fn what_a_steady_run_does_not_read_changes_no_row() {
        let set = [
            ("timers.preset", "short"),
            ("timers.link_loss_detect", "3us"),
            ("timers.state_notice", "5us"),
            ("timers.fast_io_fail", "1us"),
            ("timers.device_loss", "10us"),
            ("timers.keep_alive", "30us"),
            ("timers.tcp_rto_min", "20us"),
            ("timers.tcp_rto_max", "10s"),
            ("timers.tcp_retries", "1"),
            ("timers.iscsi_ping", "2us"),
            ("timers.iscsi_ping_timeout", "2us"),
            ("timers.iscsi_replacement", "1us"),
            ("timers.path_check", "5us"),
            ("timers.path_check_max", "31s"),
            ("timers.team_probe", "4us"),
            ("timers.team_switch", "1us"),
            ("timers.quiesce", "7us"),
            ("timers.no_path", "queue"),
            ("timers.retries", "0"),
            ("timers.lag_rehash", "1us"),
            ("timers.failback", "manual"),
            (
                "switch.edge.on_uplink_loss",
                "{ action = \"drop-host-ports\", after = \"1us\" }",
            ),
            ("array.vault.takeover", "1us"),
            ("run.before", "9ms"),
            ("run.switch_replications", "2"),
        ];
        assert!(same(&set, Runs::Steady));
        for pair in set {
            // No time to removal is as short as the usual hold.
            let hold = ("timers.fast_io_fail", "1us");
            let with: &[_] = match pair.0 {
                "timers.device_loss" => &[hold, pair],
                _ => &[pair],
            };
            assert!(same(with, Runs::Steady), "{pair:?}");
            let both = ["preset", "path_check_max"];
            let others = both.iter().any(|key| pair.0.ends_with(key));
            assert!(others || !same(with, Runs::SwitchOvers), "{pair:?}");
        }
        let asked = Asked {
            outages: None,
            runs: Runs::Steady,
        };
        let found = |site: &Site| point(site, &asked, &NoProgress);
        assert_eq!(found(&tramways(&[])), found(&tramways(&set)));
    }

    #[test]
    fn what_may_change_a_row_is_read() {
        for pair in [
            ("timers.command_timeout", "1ms"),
            ("array.vault.parallel", "3"),
            ("link.edge-san.cage.lit", "1"),
            ("host.db.queue_depth", "3"),
            ("run.seed", "99"),
        ] {
            assert!(!same(&[pair], Runs::Steady), "{pair:?}");
        }
        // Where a fabric that is lost leaves hosts without a path, what becomes of their work counts.
        let reads = |set: &[(&str, &str)]| {
            let text = format!("{TRAMWAYS}\n[[outage]]\nname = \"all\"\ntakes = [\"vault\"]\n");
            let site = site_with(&text, set);
            let pathless = leaves_somebody_without_paths(&site, None);
            assert!(pathless);
            reads(&site, None, Runs::Steady, pathless)
        };
        assert_ne!(reads(&[]), reads(&[("timers.no_path", "queue")]));
        assert_eq!(reads(&[]), reads(&[("timers.fast_io_fail", "9s")]));
    }
}
