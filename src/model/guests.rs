//! Guests of a lost host: restarted on the other hosts of its family after a time.
//!
//! A host is lost itself when it is by name or with its chassis: one whose links are gone lives on. What was under
//! way in it is lost with it, which is counted apart from what failed for want of paths, and it asks for nothing until
//! it is back. Guests are restarted only for families that say so (`guests = "restart"`). Until the
//! restart is over its guests ask for nothing; then their work goes on, evenly spread over the hosts that are left:
//! an open load at its rate, a closed one with all that each host keeps outstanding. Guests stay where they were
//! restarted; a host that returns is one more that can take some. Without any host left they wait for the first
//! that returns, and for their start on it.
//!
//! I/Os keep the name of the host that they come from, so that no other draw shifts.
//!
//! Left out: what a start costs (boot I/Os belong into a workload of their own), guests that are too many for the
//! hosts left, the move back, and clusters that restart guests of a host that has merely lost its storage.

use super::attempt::{NONE, tie};
use super::compile::{Compiled, SourcePlan};
use super::standing::{LogEntry, LogKind, TimerName};
use super::world::{Event, Executor, World};
use crate::engine::{EventSet, Key};
use crate::site::Guests;
use crate::topology::Fabric;
use crate::unit::Duration;

/// Marks a place whose host is lost with its guests.
const LOST: u32 = 1 << 31;

/// What is known of the guests of a host.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct GuestState {
    /// The host is lost.
    down: bool,
    /// They could be restarted, and there is no host for them.
    pending: bool,
    /// I/Os not asked for since their host was lost.
    unasked: u64,
}

/// The other sources of the same workload and family whose hosts are there, from the next host on around.
fn heirs(
    sources: &[SourcePlan],
    fabric: &Fabric,
    own: &SourcePlan,
    there: impl Fn(usize) -> bool,
) -> Vec<u32> {
    let family = |host: usize| fabric.hosts[host].family;
    let mut heirs: Vec<(usize, u32)> = (0_u32..)
        .zip(sources)
        .filter(|(_, source)| {
            source.workload == own.workload
                && source.host != own.host
                && family(source.host) == family(own.host)
                && there(source.host)
        })
        .map(|(index, source)| (source.host, index))
        .collect();
    heirs.sort_unstable_by_key(|(host, index)| (*host < own.host, *host, *index));
    heirs.into_iter().map(|(_, index)| index).collect()
}

impl Compiled {
    /// Whether the guests of a host are restarted elsewhere when it is lost.
    pub(super) fn restarts(&self, host: usize) -> bool {
        self.site.hosts[self.fabric.hosts[host].family].guests == Guests::Restart
    }

    /// Where the work of lost hosts goes on, for those whose guests are restarted and have somewhere to go.
    pub(super) fn heirs_without(&self, lost: &[usize]) -> Vec<(u32, Vec<u32>)> {
        let gone = (0_u32..).zip(&self.sources);
        gone.filter(|(_, source)| lost.contains(&source.host) && self.restarts(source.host))
            .map(|(index, source)| {
                let there = |host| !lost.contains(&host);
                (index, heirs(&self.sources, &self.fabric, source, there))
            })
            .filter(|(_, heirs)| !heirs.is_empty())
            .collect()
    }

    /// The longest time until the guests of a lost host are restarted.
    pub(super) fn guest_chain(&self) -> Duration {
        let hosts = self.site.hosts.iter();
        let restarting = hosts.filter(|family| family.guests == Guests::Restart);
        let times =
            restarting.map(|family| family.timers.guest_detect + family.timers.guest_restart);
        times.max().unwrap_or(Duration::ZERO)
    }
}

impl<E: Executor> World<'_, E> {
    /// Hosts that are lost from the start on have had their guests restarted.
    pub(crate) fn start_guests(&mut self) {
        for (source, heirs) in &self.compiled.moved {
            let source = &mut self.sources[*source as usize];
            source.away = true;
            source.places.clone_from(heirs);
        }
    }

    /// The source at whose host an I/O of guests that are away is issued. While they are not running it is not asked
    /// for, and `None`; one of a closed loop waits for them.
    #[cold]
    pub(crate) fn place(&mut self, source: u32, number: u64, closed: bool) -> Option<u32> {
        let own = &mut self.sources[source as usize];
        let count = u64::try_from(own.places.len().max(1)).unwrap_or(1);
        let place = own.places[usize::try_from(number % count).unwrap_or(0)];
        if place & LOST == 0 {
            return Some(place);
        }
        if closed {
            own.parked += 1;
        } else {
            let plan = &self.compiled.sources[(place & !LOST) as usize];
            self.fault.guests[plan.host].unasked += 1;
            self.tally.workloads[plan.workload].unasked += 1;
        }
        None
    }

    /// Whether nobody does the work of a source, nor is about to: its host is lost, and its guests, if it had any, have no
    /// other left.
    pub(super) fn is_nowhere(&self, source: u32) -> bool {
        let own = &self.sources[source as usize];
        let gone = |place: u32| {
            let host = self.compiled.sources[(place & !LOST) as usize].host;
            place & LOST != 0 && (self.fault.guests[host].pending || !self.compiled.restarts(host))
        };
        own.away && !own.places.is_empty() && own.places.iter().all(|place| gone(*place))
    }

    /// The workloads of a host that nobody does now: all their hosts are lost, and no guests have been restarted yet.
    fn at_rest(&self, host: usize) -> Vec<usize> {
        let sources = &self.compiled.sources;
        let rests = |workload: usize| {
            let mut own = sources.iter().zip(&self.sources);
            own.all(|(plan, source)| {
                let lost = |place: &u32| place & LOST != 0;
                plan.workload != workload || source.away && source.places.iter().all(lost)
            })
        };
        let own = sources.iter().filter(|plan| plan.host == host);
        own.map(|plan| plan.workload)
            .filter(|workload| rests(*workload))
            .collect()
    }

    /// Looks which hosts are lost with their guests, after a loss or a return.
    pub(crate) fn look_at_hosts(&mut self) {
        let compiled = self.compiled;
        for host in 0..compiled.fabric.hosts.len() {
            let down = self.fault.host_is_lost(host);
            let before = std::mem::replace(&mut self.fault.guests[host].down, down);
            match (before, down) {
                (false, true) => self.guests_lost(host),
                (true, false) => self.host_returned(host),
                _ => {}
            }
        }
    }

    fn plan_restart(&mut self, host: usize, after: Duration) {
        let host = u32::try_from(host).unwrap_or(0);
        let key = Key {
            at: self.now + after,
            tie: tie::timer(host, host, tie::Watching::Guests),
        };
        self.queue.push(key, Event::GuestsRestart { host });
    }

    fn guests_lost(&mut self, host: usize) {
        let compiled = self.compiled;
        let mut under_way = Vec::new();
        for (index, plan) in (0_u32..).zip(&compiled.sources) {
            if plan.host != host {
                continue;
            }
            let source = &mut self.sources[index as usize];
            if !source.away {
                source.away = true;
                source.places = vec![index];
            }
            source.waiting.clear();
            for source in &mut self.sources {
                for place in &mut source.places {
                    *place |= if *place == index { LOST } else { 0 };
                }
            }
            let mut io = self.oldest[plan.workload];
            while io != NONE {
                if self.ios[io].source == index {
                    under_way.push(io);
                }
                io = self.ios[io].after;
            }
        }
        let ios = under_way.len() as u64;
        for io in under_way {
            let live = self.ios[io].live;
            if live != NONE {
                self.abandon(live);
            }
            self.io_lost_with_host(io);
        }
        self.log(LogEntry {
            at: self.now,
            kind: LogKind::GuestsLost(u32::try_from(host).unwrap_or(0)),
            timer: None,
            ios,
        });
        if compiled.restarts(host) {
            let timers = &compiled.site.hosts[compiled.fabric.hosts[host].family].timers;
            self.plan_restart(host, timers.guest_detect + timers.guest_restart);
        }
    }

    /// A host is there again: guests of its family that had none can start on it.
    fn host_returned(&mut self, host: usize) {
        let compiled = self.compiled;
        if !compiled.restarts(host) {
            self.goes_on(host);
            return;
        }
        let family = compiled.fabric.hosts[host].family;
        for other in 0..compiled.fabric.hosts.len() {
            let waits = compiled.fabric.hosts[other].family == family;
            if waits && std::mem::take(&mut self.fault.guests[other].pending) {
                self.plan_restart(other, compiled.site.hosts[family].timers.guest_restart);
            }
        }
    }

    /// A host that keeps its own work is there again, and asks for it.
    fn goes_on(&mut self, host: usize) {
        let compiled = self.compiled;
        let rested = self.at_rest(host);
        self.work_is_back(&rested);
        for (index, _) in (0_u32..)
            .zip(&compiled.sources)
            .filter(|(_, plan)| plan.host == host)
        {
            let source = &mut self.sources[index as usize];
            source.away = false;
            source.places.clear();
            let parked = std::mem::take(&mut source.parked);
            for _ in 0..parked {
                let number = self.sources[index as usize].stream.take_number();
                self.schedule_arrival(index, self.now, number);
            }
        }
        self.fault.guests[host].unasked = 0;
    }

    /// The guests that a lost host had are running again.
    pub(crate) fn guests_restart(&mut self, host: u32) {
        let compiled = self.compiled;
        let (host_id, host) = (host, host as usize);
        let rested = self.at_rest(host);
        let mut any = false;
        for (index, plan) in (0_u32..).zip(&compiled.sources) {
            if plan.host != host {
                continue;
            }
            let down = |host: usize| self.fault.guests[host].down;
            let mut heirs = heirs(&compiled.sources, &compiled.fabric, plan, |host| {
                !down(host)
            });
            if heirs.is_empty() && !down(host) {
                // Nobody else is there, but the host itself again.
                heirs.push(index);
            }
            if heirs.is_empty() {
                self.fault.guests[host].pending = true;
                return;
            }
            any = true;
            for source in &mut self.sources {
                if source.places == [index | LOST] {
                    source.places.clone_from(&heirs);
                }
                for (slot, place) in source.places.iter_mut().enumerate() {
                    if *place == index | LOST {
                        *place = heirs[slot % heirs.len()];
                    }
                }
            }
        }
        if !any {
            return;
        }
        let timers = &compiled.site.hosts[compiled.fabric.hosts[host].family].timers;
        let ios = std::mem::take(&mut self.fault.guests[host].unasked);
        self.log(LogEntry {
            at: self.now,
            kind: LogKind::GuestsRestarted(host_id),
            timer: Some((
                TimerName::GuestRestart,
                timers.guest_detect + timers.guest_restart,
            )),
            ios,
        });
        self.work_goes_on(&rested);
        for source in 0..self.sources.len() {
            let parked = std::mem::take(&mut self.sources[source].parked);
            for _ in 0..parked {
                let number = self.sources[source].stream.take_number();
                let source = u32::try_from(source).unwrap_or(NONE);
                self.schedule_arrival(source, self.now, number);
            }
        }
    }
}
