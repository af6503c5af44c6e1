//! Guests of a lost host: restarted on the other hosts of its family after a time.
//!
//! A host is lost itself when it is by name or with its chassis: one whose links are gone lives on. What was under
//! way in it is lost with it, which is counted apart from what failed for want of paths, and it asks for nothing until
//! it is back. Guests are restarted only for families that say so (`guests = "restart"`). Until the
//! restart is over its guests ask for nothing (a host that is back before its loss was found keeps them); then their work goes on, evenly spread over the hosts that are left:
//! an open load at its rate, a closed one with all that each host keeps outstanding. Guests stay where they were
//! restarted; a host that returns is one more that can take some.
//!
//! The restart begins when the loss is found and a host can take them that has a path which carries frames: where none has by then,
//! with the first that finds one, be it their own host. Where that is lost before the restart is over, it begins anew with the next.
//!
//! A host that is back after its loss has no path (`forget_paths`), and finds its paths before anything on it asks for I/O: its work,
//! or that of guests moved to it, begins when the first path to its array is found. What would have come before is not asked for, and a
//! closed load begins then. Where its first look finds none, it begins without, and meets what is set for hosts without a path. A host that
//! was only drained has kept its paths.
//!
//! A host that is drained asks for nothing new from then on: guests that would be restarted move to the others at once, those that
//! stay ask for nothing until it is back. What has come before goes on over its paths.
//!
//! I/Os keep the name of the host that they come from, so that no other draw shifts.
//!
//! Left out: how long a host takes to start (its return is when it looks for paths), what a start costs (boot I/Os belong into a workload of their own), guests that are too many for the
//! hosts left, the move back, and clusters that restart guests of a host that has merely lost its storage.

use super::absent::Elsewhere;
use super::attempt::{NONE, tie};
use super::compile::{Compiled, SourcePlan};
use super::standing::{LogEntry, LogKind, Standing, TimerName};
use super::world::{Event, Executor, World};
use crate::engine::{EventSet, Key};
use crate::site::Guests;
use crate::topology::Fabric;
use crate::unit::{Duration, Instant};

/// Marks a place whose host is lost with its guests.
const LOST: u32 = 1 << 31;

/// What is known of the guests of a host.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct GuestState {
    /// The host is lost.
    lost: bool,
    /// It is lost or drained: no guests can start on it.
    down: bool,
    /// When it was lost with guests that were not being restarted yet.
    lost_at: Option<Instant>,
    /// It was drained with guests that nobody could take, and has not been lost since.
    idle: bool,
    /// When its loss will be found, or, once it is, when they will run elsewhere.
    due: Option<Instant>,
    /// Its loss has been found.
    found: bool,
    /// Their restart began later than that, with the first host for them.
    waited: bool,
    /// They could be restarted, and there is no host with a path for them.
    pending: bool,
    /// I/Os not asked for since their host was lost.
    unasked: u64,
}

impl GuestState {
    /// Of a host that is there, or is lost from the start.
    pub(super) fn new(lost: bool) -> Self {
        Self {
            lost,
            down: lost,
            ..Self::default()
        }
    }
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
                let all = heirs(&self.sources, &self.fabric, source, there);
                // Those that have no path take no guests, unless there are no others.
                let set = |heir: &u32| self.sources[*heir as usize].set as usize;
                let has_path = |heir: &u32| !self.sets[set(heir)].paths.is_empty();
                let fit: Vec<u32> = all.iter().copied().filter(has_path).collect();
                (index, if fit.is_empty() { all } else { fit })
            })
            .filter(|(_, heirs)| !heirs.is_empty())
            .collect()
    }

    /// The longest time until the guests of a lost host are restarted, where a host for them is found within `there`.
    pub(super) fn guest_chain(&self, there: Duration) -> Duration {
        let hosts = self.site.hosts.iter();
        let restarting = hosts.filter(|family| family.guests == Guests::Restart);
        let times = restarting.map(|family| {
            let timers = &family.timers;
            timers.guest_detect.max(there) + timers.guest_restart
        });
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
            let starting = self.sources[(place & !LOST) as usize].starting;
            let guests = &self.fault.guests[host];
            let waits = guests.pending || starting && guests.due.is_none();
            place & LOST != 0 && (waits || !self.compiled.restarts(host))
        };
        own.away && !own.places.is_empty() && own.places.iter().all(|place| gone(*place))
    }

    /// Whether nobody does a workload now: all its hosts are lost or starting, and no guests have been restarted yet.
    fn rests(&self, workload: usize) -> bool {
        let mut own = self.compiled.sources.iter().zip(&self.sources);
        own.all(|(plan, source)| {
            let lost = |place: &u32| place & LOST != 0;
            plan.workload != workload || source.away && source.places.iter().all(lost)
        })
    }

    /// The workloads of a host that nobody does now.
    fn at_rest(&self, host: usize) -> Vec<usize> {
        let own = self
            .compiled
            .sources
            .iter()
            .filter(|plan| plan.host == host);
        own.map(|plan| plan.workload)
            .filter(|workload| self.rests(*workload))
            .collect()
    }

    /// The sources of a host.
    fn sources_of(&self, host: usize) -> Vec<u32> {
        let sources = (0_u32..).zip(&self.compiled.sources);
        let own = sources.filter(|(_, plan)| plan.host == host);
        own.map(|(index, _)| index).collect()
    }

    /// Whether no guests of a workload are about to be restarted.
    pub(super) fn guests_decided_of(&self, workload: usize) -> bool {
        let sources = self.compiled.sources.iter().zip(&self.sources);
        let mut own = sources.filter(|(plan, own)| plan.workload == workload && own.away);
        let awaited = |place: &u32| {
            let host = self.compiled.sources[(place & !LOST) as usize].host;
            place & LOST != 0 && self.fault.guests[host].due.is_some()
        };
        !own.any(|(_, own)| own.places.iter().any(awaited))
    }

    /// Guests whose host is there, and that do their work on others: nobody moves them back.
    #[must_use]
    pub fn guests_elsewhere(&self) -> Vec<Elsewhere> {
        let compiled = self.compiled;
        let sources = compiled.sources.iter().zip(&self.sources);
        let there = sources.filter(|(plan, own)| own.away && !self.fault.guests[plan.host].down);
        let elsewhere = there.map(|(plan, own)| {
            let running = own.places.iter().filter(|place| *place & LOST == 0);
            let host = |place: &u32| compiled.sources[*place as usize].host;
            Elsewhere {
                workload: plan.workload,
                host: plan.host,
                on: running.map(host).collect(),
            }
        });
        elsewhere
            .filter(|guests| guests.on.iter().any(|host| *host != guests.host))
            .collect()
    }

    /// Looks which hosts are lost or drained with their guests, after a loss, a drain or a return.
    pub(crate) fn look_at_hosts(&mut self) {
        let mut before = Vec::new();
        for (host, state) in self.fault.guests.iter().enumerate() {
            let lost = self.fault.host_is_lost(host);
            let down = lost || self.fault.host_is_drained(host);
            before.push((state.lost, state.down, lost, down));
        }
        for (state, (.., lost, down)) in self.fault.guests.iter_mut().zip(&before) {
            (state.lost, state.down) = (*lost, *down);
        }
        for (host, change) in before.into_iter().enumerate() {
            match change {
                (false, was_down, true, _) => self.guests_lost(host, was_down),
                (_, false, _, true) => self.guests_drained(host),
                (_, true, _, false) => self.host_returned(host),
                _ => {}
            }
        }
    }

    /// The next step for guests: their loss is found, or they run elsewhere.
    fn plan_guests(&mut self, host: usize, after: Duration) {
        self.fault.guests[host].due = Some(self.now + after);
        let host = u32::try_from(host).unwrap_or(0);
        let key = Key {
            at: self.now + after,
            tie: tie::timer(host, host, tie::Watching::Guests),
        };
        self.queue.push(key, Event::GuestsStep { host });
    }

    /// From now on nothing new is asked for at a source's own host.
    fn goes_away(&mut self, index: u32) {
        let source = &mut self.sources[index as usize];
        source.starting = false;
        if !source.away {
            source.away = true;
            source.places = vec![index];
        }
        for source in &mut self.sources {
            for place in &mut source.places {
                *place |= if *place == index { LOST } else { 0 };
            }
        }
    }

    /// Whether guests of a host that is not there have it for their place still.
    fn has_guests(&self, host: usize) -> bool {
        let sources = self.sources_of(host);
        sources.into_iter().any(|index| self.has_guests_of(index))
    }

    /// The same of one of its sources.
    fn has_guests_of(&self, index: u32) -> bool {
        let mut places = self.sources.iter().flat_map(|source| &source.places);
        places.any(|place| *place == index | LOST)
    }

    /// Where guests of a source can be restarted now: on hosts that have a path; on their own where it is the only one.
    fn fit_heirs(&self, index: u32) -> Vec<u32> {
        let compiled = self.compiled;
        let plan = &compiled.sources[index as usize];
        let fit = |source: u32| {
            let plan = &compiled.sources[source as usize];
            !self.fault.guests[plan.host].down && self.has_found_a_path(plan.set as usize)
        };
        let mut heirs = heirs(&compiled.sources, &compiled.fabric, plan, |_| true);
        heirs.retain(|heir| fit(*heir));
        if heirs.is_empty() && fit(index) {
            heirs.push(index);
        }
        heirs
    }

    /// A host that is there has a path of this set: the restart of guests that have waited for one begins.
    pub(super) fn start_waiting_guests(&mut self, set: usize) {
        let compiled = self.compiled;
        let plan = &compiled.sets[set];
        let waits = |state: &GuestState| state.pending && (state.down || !state.idle);
        if !compiled.restarts(plan.host)
            || !self.fault.guests.iter().any(waits)
            || self.fault.guests[plan.host].down
            || !self.has_found_a_path(set)
        {
            return;
        }
        let family = compiled.fabric.hosts[plan.host].family;
        let own = plan.sources.iter();
        let works: Vec<usize> = own
            .map(|own| compiled.sources[*own as usize].workload)
            .collect();
        let restart = compiled.site.hosts[family].timers.guest_restart;
        for (index, other) in (0_u32..).zip(&compiled.sources) {
            if works.contains(&other.workload)
                && compiled.fabric.hosts[other.host].family == family
                && waits(&self.fault.guests[other.host])
                && self.has_guests_of(index)
            {
                let state = &mut self.fault.guests[other.host];
                state.pending = false;
                (state.found, state.waited) = (true, true);
                self.plan_guests(other.host, restart);
            }
        }
    }

    /// Guests of a source whose host is not there run on others from now on.
    fn moves_to(&mut self, index: u32, heirs: &[u32]) {
        let compiled = self.compiled;
        for (plan, source) in compiled.sources.iter().zip(&mut self.sources) {
            if !source.places.contains(&(index | LOST)) {
                continue;
            }
            self.tally.workloads[plan.workload].last_standing = self.now;
            if source.places == [index | LOST] {
                source.places = heirs.to_vec();
            }
            for (slot, place) in source.places.iter_mut().enumerate() {
                if *place == index | LOST {
                    *place = heirs[slot % heirs.len()];
                }
            }
        }
    }

    /// Those of `heirs` that guests are restarted on: the ones that have found their paths, or, where none has, all of them, on
    /// which the guests wait for that.
    fn with_paths(&self, heirs: Vec<u32>) -> Vec<u32> {
        let starting = |heir: &u32| self.sources[*heir as usize].starting;
        if heirs.iter().all(starting) {
            return heirs.into_iter().map(|heir| heir | LOST).collect();
        }
        heirs.into_iter().filter(|heir| !starting(heir)).collect()
    }

    /// A host is emptied on purpose: its guests move to others, or ask for nothing where there are none.
    fn guests_drained(&mut self, host: usize) {
        let compiled = self.compiled;
        let mut moved = true;
        for (index, plan) in (0_u32..).zip(&compiled.sources) {
            if plan.host != host {
                continue;
            }
            self.goes_away(index);
            let guests = &self.fault.guests;
            let there = |host: usize| !guests[host].down;
            let heirs = match compiled.restarts(host) {
                true => heirs(&compiled.sources, &compiled.fabric, plan, there),
                false => Vec::new(),
            };
            let heirs = self.with_paths(heirs);
            if heirs.is_empty() {
                moved = false;
                let restarts = compiled.restarts(host);
                let state = &mut self.fault.guests[host];
                (state.pending, state.idle) = (restarts, restarts);
            } else {
                self.moves_to(index, &heirs);
            }
        }
        let id = u32::try_from(host).unwrap_or(0);
        self.log(LogEntry {
            at: self.now,
            kind: match moved {
                true => LogKind::GuestsMoved(id),
                false => LogKind::HostDrained(id),
            },
            timer: None,
            ios: 0,
        });
    }

    fn guests_lost(&mut self, host: usize, drained: bool) {
        let compiled = self.compiled;
        let mut under_way = Vec::new();
        for (index, plan) in (0_u32..).zip(&compiled.sources) {
            if plan.host != host {
                continue;
            }
            self.goes_away(index);
            self.sources[index as usize].waiting.clear();
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
        // A host that was empty has lost nothing.
        if !drained || ios > 0 {
            self.log(LogEntry {
                at: self.now,
                kind: LogKind::GuestsLost(u32::try_from(host).unwrap_or(0)),
                timer: None,
                ios,
            });
        }
        let awaits = compiled.restarts(host) && self.has_guests(host);
        let state = &mut self.fault.guests[host];
        state.idle = false;
        if state.due.is_none() {
            state.lost_at = Some(self.now);
        }
        if awaits && state.due.is_none() && !state.pending {
            let timers = &compiled.site.hosts[compiled.fabric.hosts[host].family].timers;
            (state.found, state.waited) = (false, false);
            self.plan_guests(host, timers.guest_detect);
        }
    }

    /// A host is there again: its own guests go on, where it was not taken for lost, and guests of its family that had none can
    /// start on it.
    fn host_returned(&mut self, host: usize) {
        let compiled = self.compiled;
        for index in self.sources_of(host) {
            let set = compiled.sources[index as usize].set as usize;
            self.sources[index as usize].starting = !self.has_found_a_path(set);
        }
        let lost_at = self.fault.guests[host].lost_at.take();
        if !compiled.restarts(host) {
            self.goes_on(host);
            return;
        }
        let family = compiled.fabric.hosts[host].family;
        let timers = &compiled.site.hosts[family].timers;
        let state = &mut self.fault.guests[host];
        let unfound = lost_at.is_some_and(|at| self.now < at + timers.guest_detect);
        let idle = std::mem::take(&mut state.idle) && state.pending;
        if (unfound && state.due.is_some()) || idle {
            (state.due, state.pending) = (None, false);
            self.goes_on(host);
        }
        for set in 0..compiled.sets.len() {
            if compiled.sets[set].host == host {
                self.start_waiting_guests(set);
            }
        }
    }

    /// A host is there again with the work that it had, and asks for it once it has a path.
    fn goes_on(&mut self, host: usize) {
        let mut ready = self.sources_of(host);
        ready.retain(|index| !self.sources[*index as usize].starting);
        let mut rested = self.at_rest(host);
        let begins = |workload: &usize| {
            let mut own = ready.iter();
            own.any(|index| self.compiled.sources[*index as usize].workload == *workload)
        };
        rested.retain(begins);
        self.work_is_back(&rested);
        for index in ready {
            self.asks_at(index);
        }
        self.fault.guests[host].unasked = 0;
    }

    /// What is to run at a source's host asks for I/Os there from now on.
    fn asks_at(&mut self, index: u32) {
        for source in 0..self.sources.len() {
            let own = &mut self.sources[source];
            let mut mine = own
                .places
                .iter_mut()
                .filter(|place| **place == index | LOST);
            if mine.by_ref().map(|place| *place = index).count() == 0 {
                continue;
            }
            let id = u32::try_from(source).unwrap_or(NONE);
            if own.places == [id] {
                own.away = false;
                own.places.clear();
            }
            self.unpark(id);
        }
    }

    /// A path has changed its standing: a host that is back may have found its first one, and what is to run on it begins.
    pub(super) fn look_at_start(&mut self, path: u32) {
        let compiled = self.compiled;
        let set = compiled.paths[path as usize].set as usize;
        self.start_waiting_guests(set);
        let starting = |source: &u32| self.sources[*source as usize].starting;
        if compiled.sets[set].sources.iter().any(starting) && self.has_found_a_path(set) {
            self.starts(set);
        }
    }

    /// A path was tried in vain. A host that is back and has now looked over every path of the set is without one, and what is to run on
    /// it begins all the same; not before the fabric uses all links that are there.
    pub(super) fn start_without_a_path(&mut self, path: u32) {
        let compiled = self.compiled;
        let set = compiled.paths[path as usize].set as usize;
        let starting = |source: &u32| self.sources[*source as usize].starting;
        let mut later = (path + 1)..compiled.sets[set].paths.end;
        let untried = |path: u32| self.paths[path as usize].standing == Standing::Failed;
        if compiled.sets[set].sources.iter().any(starting)
            && !later.any(untried)
            && !self.fault.comes_into_use()
        {
            self.starts(set);
        }
    }

    /// What is to run on a host that is back begins.
    fn starts(&mut self, set: usize) {
        let compiled = self.compiled;
        for index in &compiled.sets[set].sources {
            let plan = &compiled.sources[*index as usize];
            if !std::mem::take(&mut self.sources[*index as usize].starting) {
                continue;
            }
            let guests = &self.fault.guests[plan.host];
            if guests.due.is_some() || guests.pending {
                // Its guests have still to be started.
                continue;
            }
            let rested = self.rests(plan.workload);
            self.asks_at(*index);
            if rested && !self.rests(plan.workload) {
                self.work_goes_on(&[plan.workload]);
            }
        }
    }

    /// What a closed loop waits with for its guests is asked for.
    fn unpark(&mut self, source: u32) {
        let parked = std::mem::take(&mut self.sources[source as usize].parked);
        for _ in 0..parked {
            let number = self.sources[source as usize].stream.take_number();
            self.schedule_arrival(source, self.now, number);
        }
    }

    /// The loss of a host is found, and the restart of its guests begins where a host can take them; or it is over.
    pub(crate) fn guests_step(&mut self, host: u32) {
        let host = host as usize;
        if self.fault.guests[host].due != Some(self.now) {
            // Its host came back before it was taken for lost.
            return;
        }
        self.fault.guests[host].due = None;
        if std::mem::replace(&mut self.fault.guests[host].found, true) {
            self.guests_restart(host);
            return;
        }
        let sources = self.sources_of(host);
        let can = |index: u32| self.has_guests_of(index) && !self.fit_heirs(index).is_empty();
        if sources.into_iter().any(can) {
            let family = self.compiled.fabric.hosts[host].family;
            self.plan_guests(host, self.compiled.site.hosts[family].timers.guest_restart);
        } else {
            self.fault.guests[host].pending = true;
        }
    }

    /// The guests that a lost host had are running again.
    fn guests_restart(&mut self, host: usize) {
        let compiled = self.compiled;
        let rested = self.at_rest(host);
        let mut any = false;
        for index in self.sources_of(host) {
            if !self.has_guests_of(index) {
                continue;
            }
            let heirs = self.fit_heirs(index);
            if heirs.is_empty() {
                self.fault.guests[host].pending = true;
                continue;
            }
            any = true;
            self.moves_to(index, &heirs);
        }
        if !any {
            return;
        }
        let timers = &compiled.site.hosts[compiled.fabric.hosts[host].family].timers;
        let state = &mut self.fault.guests[host];
        let ios = std::mem::take(&mut state.unasked);
        let found = match state.waited {
            true => Duration::ZERO,
            false => timers.guest_detect,
        };
        self.log(LogEntry {
            at: self.now,
            kind: LogKind::GuestsRestarted(u32::try_from(host).unwrap_or(0)),
            timer: Some((TimerName::GuestRestart, found + timers.guest_restart)),
            ios,
        });
        let begun = |workload: &usize| !self.rests(*workload);
        let begun: Vec<usize> = rested.into_iter().filter(begun).collect();
        self.work_goes_on(&begun);
        for source in 0..self.sources.len() {
            self.unpark(u32::try_from(source).unwrap_or(NONE));
        }
    }
}
