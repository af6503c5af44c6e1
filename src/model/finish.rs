//! The beginning and the end of what a run counts: empty tallies, and the accounts that must agree.

use super::attempt::{Attempt, Io, NONE};
use super::compile::{Compiled, OutPath, SetPlan, Watch};
use super::host::PathState;
use super::net::Links;
use super::standing::{LogEntry, Standing};
use super::tally::{ControllerTally, PathTally, SourceTally, Tally, WorkloadTally};
use super::world::{Executor, World};
use crate::engine::EventSet;
use crate::measure::{LevelSeries, Series, TimeAverage};
use crate::site::{Failback, Measure, Owner, PathPolicy, Site};
use crate::unit::Instant;

impl<E: Executor> World<'_, E> {
    /// Ends the run where it stands: closes every integral and asserts that nothing was lost silently.
    ///
    /// # Panics
    /// When counts do not agree: a bug of ours.
    #[must_use]
    pub fn finish(mut self) -> Tally {
        E::settle(&mut self);
        let now = self.now;
        self.tally.frame_hops -= self.net.ahead();
        self.tally.directions = self.net.close(self.compiled, now);
        let mut unfinished = 0;
        for (index, tally) in self.tally.workloads.iter_mut().enumerate() {
            tally.backlog.advance(now);
            let in_flight = tally.issued_total - tally.completed_total - tally.failed_total;
            unfinished += in_flight;
            let mut listed = 0;
            let mut in_system = tally.in_system;
            let mut io = self.oldest[index];
            while io != NONE {
                listed += 1;
                in_system += u128::from(now.since(self.ios[io].arrival).0);
                io = self.ios[io].after;
            }
            let backlog = tally.backlog.series().bins();
            assert_eq!(
                backlog.iter().map(|cell| cell.integral).sum::<u128>(),
                in_system,
                "Little: the backlog over time is what the I/Os spent in the system"
            );
            assert_eq!(
                in_flight, listed,
                "I/Os issued = completed + failed + in flight"
            );
            assert_eq!(
                tally.budget.total(),
                tally.latency_sum(),
                "the parts add up to the latencies"
            );
        }
        assert_eq!(
            unfinished,
            self.ios.in_use() as u64,
            "every unfinished I/O has a slot"
        );
        self.note_held();
        self.note_stranded();
        self.note_pathless();
        self.note_nowhere();
        for index in 0..self.oldest.len() {
            self.note_oldest(u32::try_from(index).unwrap_or(NONE));
            self.note_longest_of_unfinished(index);
        }
        let through: u64 = self.tally.paths.iter().map(|p| p.completed_total).sum();
        let completed = self.tally.workloads.iter().map(|w| w.completed_total);
        assert_eq!(
            through,
            completed.sum::<u64>(),
            "every completed I/O came over a path"
        );
        for index in 0..self.controllers.len() {
            self.close_controller(index);
        }
        self.tally.ended = now;
        self.tally
    }

    /// Closes a controller's integrals and asserts its laws, exact in whole picoseconds: flow balance, the
    /// utilization law (busy time = service given) and Little's law for its queue.
    fn close_controller(&mut self, index: usize) {
        let now = self.now;
        let state = &self.controllers[index];
        let tally = &mut self.tally.controllers[index];
        tally.busy.advance(now);
        tally.busy_series.advance(now);
        tally.waiting.advance(now);
        assert_eq!(
            tally.came,
            tally.finished + u64::from(state.busy) + state.queue.len() as u64,
            "requests that came = finished + worked on + waiting"
        );
        let busy = tally.busy_series.series().bins();
        let under_way = u128::from(state.busy) * u128::from(now.0) - state.begun;
        assert_eq!(
            busy.iter().map(|cell| cell.integral).sum::<u128>(),
            tally.service_total + under_way,
            "utilization law: busy time is the service given"
        );
        let waits = state.queue.iter().map(|slot| self.attempts[*slot].queued);
        let waiting: u128 = waits
            .map(|queued| u128::from(self.watch.overlap(queued, now).0))
            .sum();
        assert_eq!(
            tally.waiting.integral(),
            tally.waited + waiting,
            "Little: the queue over time is what the requests waited"
        );
    }

    /// Now.
    #[must_use]
    pub const fn now(&self) -> Instant {
        self.now
    }

    /// What has been counted so far; integrals reach to their last change.
    #[must_use]
    pub const fn tally(&self) -> &Tally {
        &self.tally
    }

    /// Whether every path has found its standing: none is lost unnoticed or held, nor there and not yet found,
    /// nor waiting for a failback that has a time; and no group of links still sends over a lost member of which it will take
    /// note; and the guests of lost hosts run again, where they will.
    #[must_use]
    pub fn paths_decided(&self) -> bool {
        let mut sets = self.compiled.sets.iter();
        let mut works = 0..self.compiled.site.workloads.len();
        sets.all(|set| self.set_decided(set))
            && self.teams_decided()
            && self.groups_decided()
            && works.all(|workload| self.guests_decided_of(workload))
    }

    /// Whether a path that was given up could carry frames, and waits for the try that finds it.
    #[must_use]
    pub fn finds_a_path(&self) -> bool {
        let mut paths = self.paths.iter();
        paths.any(|path| path.standing == Standing::Failed && path.connected && path.check_pending)
    }

    /// The same of the paths and guests of one workload alone, groups of links left out.
    #[must_use]
    pub fn paths_decided_of(&self, workload: usize) -> bool {
        let sources = &self.compiled.sources;
        let own = |set: &&SetPlan| {
            let mut of = set.sources.iter();
            of.any(|source| sources[*source as usize].workload == workload)
        };
        let mut sets = self.compiled.sets.iter().filter(own);
        sets.all(|set| self.set_decided(set)) && self.guests_decided_of(workload)
    }

    /// Paths that frames can cross and that no host will take into use again by itself: given up for good, or waiting for somebody
    /// who fails them back; or over a port of a team that stays on another one.
    #[must_use]
    pub fn out_for_good(&self) -> Vec<OutPath> {
        let paths = self.compiled.paths.iter().zip(&self.paths);
        let mut found = Vec::new();
        for (index, (plan, state)) in (0_u32..).zip(paths) {
            let manual = self.path_timers(index).failback == Failback::Manual;
            let out = match state.standing {
                Standing::Removed => !self.found_anew(index),
                Standing::Returned => manual,
                Standing::Standby => self.passed_by_team(plan.set, plan.path.host_port),
                _ => false,
            };
            if out && state.connected {
                found.push(OutPath {
                    set: plan.set,
                    host_port: plan.path.host_port,
                    array_port: plan.path.array_port,
                    standing: state.standing,
                });
            }
        }
        found
    }

    /// Whether a path takes nothing because its host prefers another to the same controller that takes what comes.
    fn passed_over(&self, set: &SetPlan, index: u32) -> bool {
        let own = &self.compiled.paths[index as usize];
        let mut paths = set.paths.clone();
        paths.any(|other| {
            let plan = &self.compiled.paths[other as usize];
            let preferred = match set.policy {
                PathPolicy::OnePath => other < index,
                PathPolicy::Nearest => plan.nearness < own.nearness,
                _ => false,
            };
            // Volumes with an owner are asked for over its paths; else a host prefers among all.
            let same = plan.path.controller == own.path.controller || !self.owned(set);
            preferred && same && self.paths[other as usize].takes_ios()
        })
    }

    /// Whether a workload of a set asks each volume of its owner.
    fn owned(&self, set: &SetPlan) -> bool {
        let works = set.sources.iter();
        let mut works = works.map(|source| self.compiled.sources[*source as usize].workload);
        works.any(|work| self.compiled.site.workloads[work].owner == Owner::Alternate)
    }

    fn set_decided(&self, set: &SetPlan) -> bool {
        // A host that is lost itself decides nothing.
        if self.fault.host_is_lost(set.host) {
            return true;
        }
        set.paths.clone().all(|index| {
            let path: &PathState = &self.paths[index as usize];
            match path.standing {
                // One that holds nothing and takes nothing, because it was emptied before it broke or others are preferred to it,
                // and of which nobody ever takes note.
                Standing::Unnoticed => {
                    let idle = path.in_flight == 0 && path.notice.is_none();
                    idle && (path.emptied || self.passed_over(set, index))
                }
                Standing::Blocked => false,
                // It will be found.
                Standing::Failed => !path.connected,
                Standing::Returned => {
                    let noticed = path.connected || path.notice.is_none();
                    noticed && !matches!(set.timers.failback, Failback::After(_))
                }
                Standing::Removed => !(path.connected && self.found_anew(index)),
                Standing::Up | Standing::Drained | Standing::Standby => true,
            }
        })
    }

    /// About the bytes that the run holds for I/Os, attempts, events, frames and its log: what can grow without end.
    /// Tables of the site and what is counted have a fixed size and are not among them.
    #[must_use]
    pub fn held_bytes(&self) -> u64 {
        const EVENT: usize = 64;
        const FRAME: usize = 64;
        let slots = self.ios.size() * size_of::<Io>()
            + self.attempts.size() * size_of::<Attempt>()
            + self.waits.len() * size_of::<u64>()
            + self.queue.held() * EVENT
            + self.tally.log.len() * size_of::<LogEntry>();
        slots as u64 + self.net.in_flight() * FRAME as u64
    }

    /// I/Os that wait in a host without any path left hang, though nothing of them was lost.
    fn note_stranded(&mut self) {
        for set in &self.compiled.sets {
            let gone = |path: u32| {
                !matches!(
                    self.paths[path as usize].standing,
                    Standing::Up | Standing::Unnoticed | Standing::Blocked
                )
            };
            if !set.paths.clone().all(gone) {
                continue;
            }
            for source in &set.sources {
                for place in 0..self.sources[*source as usize].waiting.len() {
                    let io = self.sources[*source as usize].waiting[place];
                    self.hangs(io);
                }
            }
        }
    }

    /// Events held and frames on their way: what the run remembers.
    #[must_use]
    pub fn pending(&self) -> (usize, u64) {
        (self.queue.held(), self.net.in_flight())
    }
}

pub(super) fn empty_tally(compiled: &Compiled, watch: Watch) -> Tally {
    let site = &compiled.site;
    let controller = |_| ControllerTally {
        served: 0,
        wait: crate::measure::Histogram::new(),
        service: 0,
        busy: TimeAverage::new(watch.from, watch.to),
        busy_series: LevelSeries::watched(watch.from, watch.to),
        asked_series: Series::watched(watch.from, watch.to),
        waiting: TimeAverage::new(watch.from, watch.to),
        came: 0,
        finished: 0,
        service_total: 0,
        waited: 0,
    };
    Tally {
        from: watch.from,
        to: watch.to,
        workloads: (0..site.workloads.len())
            .map(|index| WorkloadTally::new(&targets(site, index), compiled.tiers.len(), watch))
            .collect(),
        directions: Vec::new(),
        controllers: compiled.fabric.controllers.iter().map(controller).collect(),
        sources: vec![SourceTally::default(); compiled.sources.len()],
        paths: vec![PathTally::default(); compiled.paths.len()],
        log: Vec::<LogEntry>::new(),
        fates: Vec::new(),
        events: 0,
        frame_hops: 0,
        discarded: 0,
        partial: false,
        stopped_by: None,
        ended: Instant::ZERO,
    }
}

/// Latency targets (ps) that are counted for a workload: those of all its percentile and mean promises.
#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
pub(crate) fn targets(site: &Site, workload: usize) -> Vec<u64> {
    let promises = &site.workloads[workload].promises;
    let mut targets: Vec<u64> = promises
        .healthy
        .iter()
        .chain(&promises.lost)
        .filter(|promise| matches!(promise.measure, Measure::Mean | Measure::Quantile(_)))
        .map(|promise| promise.target as u64)
        .collect();
    targets.sort_unstable();
    targets.dedup();
    targets
}
