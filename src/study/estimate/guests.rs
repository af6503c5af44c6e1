//! What is asked for at each host in a case in which hosts do the work of others: guests of lost hosts run on those of their family
//! that are left, as far as these have a path, and guests that stay elsewhere do so although their own host is back.
//!
//! Evenly over them, as in the runs. Guests that nobody can take ask for nothing that is counted here.

use super::super::case::CasePlan;
use super::{Asked, Load};
use crate::site::{Guests, Site};
use crate::topology::{Fabric, PathSet};
use std::collections::{BTreeMap, BTreeSet};

/// Work that is done at other hosts than its own, by workload and host.
#[derive(Clone, Debug, Default)]
pub(crate) struct MovedWork {
    /// What comes on top there.
    more: BTreeMap<(usize, usize), Load>,
    /// Whose own work is done elsewhere.
    away: BTreeSet<(usize, usize)>,
}

impl MovedWork {
    /// In the state that a plan leaves, with its paths and what each workload asks for.
    pub(super) fn of(
        site: &Site,
        fabric: &Fabric,
        plan: &CasePlan,
        sets: &[PathSet],
        asked: &[Asked],
    ) -> Self {
        let mut moved = Self::default();
        for guests in &plan.guests {
            moved.add(guests.workload, guests.host, &guests.on, asked);
        }
        let family = |host: usize| fabric.hosts[host].family;
        let restarted = plan.lost_hosts.iter().copied();
        let restarted: Vec<usize> = restarted
            .filter(|host| site.hosts[family(*host)].guests == Guests::Restart)
            .collect();
        if restarted.is_empty() {
            return moved;
        }
        for (workload, asks) in asked.iter().enumerate() {
            let issues = |set: &&PathSet| set.workloads.contains(&workload);
            let own = sets.iter().filter(issues);
            let left: Vec<usize> = own
                .filter(|set| !set.paths.is_empty() && !plan.lost_hosts.contains(&set.host))
                .map(|set| set.host)
                .collect();
            let hosts = asks.hosts.iter().map(|(host, _)| *host);
            for host in hosts.filter(|host| restarted.contains(host)) {
                let on = left.iter().copied();
                let on: Vec<usize> = on.filter(|heir| family(*heir) == family(host)).collect();
                moved.add(workload, host, &on, asked);
            }
        }
        moved
    }

    fn add(&mut self, workload: usize, host: usize, on: &[usize], asked: &[Asked]) {
        self.away.insert((workload, host));
        let Some(rate) = asked[workload].at_host(host) else {
            return;
        };
        for heir in on {
            let more = self.more.entry((workload, *heir)).or_default();
            more.add(rate, 1.0 / super::count(on.len()));
        }
    }

    /// What a workload asks for at a host; `None` in a closed loop.
    pub(crate) fn at_host(&self, asked: &Asked, workload: usize, host: usize) -> Option<Load> {
        let mut rate = asked.at_host(host)?;
        if self.away.contains(&(workload, host)) {
            rate = Load::default();
        }
        if let Some(more) = self.more.get(&(workload, host)) {
            rate.add(*more, 1.0);
        }
        Some(rate)
    }
}
