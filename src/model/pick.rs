//! Which path an I/O takes.

use super::standing::{LogKind, Standing, TimerName};
use super::way::below;
use super::world::{Executor, World};
use crate::site::{Owner, PathPolicy};
use crate::unit::Duration;

/// What became of the search for a path.
pub(super) enum Pick {
    Path(u32),
    /// Every path in good standing is full.
    Full,
    /// No path is in good standing.
    Nothing,
}

impl<E: Executor> World<'_, E> {
    /// The path an I/O gets now.
    pub(super) fn pick(&mut self, set: u32, io: u32) -> Pick {
        let record = &self.ios[io];
        let workload = &self.compiled.site.workloads[record.workload as usize];
        let owner = match workload.owner {
            Owner::Any => None,
            Owner::Alternate => self.owner(workload.array, record.draw.volume),
        };
        if let Some(owner) = owner {
            match self.pick_among(set, io, Some(owner)) {
                Pick::Nothing if self.waits_for_takeover(owner) => return Pick::Full,
                Pick::Nothing => {}
                found => return found,
            }
        }
        match self.pick_among(set, io, None) {
            Pick::Nothing if self.use_returned(set) => self.pick_among(set, io, None),
            found => found,
        }
    }

    /// Takes the paths of a set that are back into use before their failback, for there is no other. Returns
    /// whether there was any. One that has come back in this very instant has its timer. One that is lost again is taken as its host
    /// sees it.
    #[cold]
    fn use_returned(&mut self, set: u32) -> bool {
        let mut any = false;
        for path in self.compiled.sets[set as usize].paths.clone() {
            let state = &mut self.paths[path as usize];
            if !state.is_in_reserve() {
                continue;
            }
            any = true;
            match (state.standing, state.connected) {
                (Standing::Returned, true) => {
                    state.epoch += 1;
                    let timer = self.just_returned(path);
                    self.change_standing(path, Standing::Up, timer, 0);
                }
                (Standing::Returned, false) => self.use_unnoticed(path, None),
                _ => (state.kept, state.emptied) = (false, false),
            }
        }
        any
    }

    /// The timer by which a path was found to be back, where that was in this very instant.
    fn just_returned(&self, path: u32) -> Option<(TimerName, Duration)> {
        let lines = self.tally.log.iter().rev();
        let mut now = lines.take_while(|entry| entry.at == self.now);
        let to = Standing::Returned;
        let back = now.find(|entry| entry.kind == LogKind::Path { path, to });
        back.and_then(|entry| entry.timer)
    }

    fn owner(&self, array: usize, volume: u32) -> Option<usize> {
        let controllers = &self.compiled.fabric.controllers;
        let first = controllers
            .iter()
            .position(|controller| controller.array == array)?;
        let count = self.compiled.site.arrays[array].controllers;
        Some(first + (volume % count.max(1)) as usize)
    }

    fn pick_among(&mut self, set: u32, io: u32, owner: Option<usize>) -> Pick {
        let plan = &self.compiled.sets[set as usize];
        let (first, count) = (plan.paths.start, plan.paths.end - plan.paths.start);
        let pointer = set as usize * (self.compiled.fabric.controllers.len() + 1)
            + owner.map_or(0, |o| o + 1);
        let start = match plan.policy {
            PathPolicy::Random => self.drawn(set, io, owner),
            PathPolicy::OnePath => 0,
            PathPolicy::RoundRobin
            | PathPolicy::LeastQueue
            | PathPolicy::LeastBytes
            | PathPolicy::Nearest => (self.pointers[pointer] + 1) % count.max(1),
        };
        let mut best: Option<(u64, u32)> = None;
        let (mut standing, mut nearest) = (false, u32::MAX);
        for step in 0..count {
            let offset = start + step;
            let offset = if offset < count {
                offset
            } else {
                offset - count
            };
            let path = first + offset;
            let (state, described) = (
                &self.paths[path as usize],
                &self.compiled.paths[path as usize],
            );
            if !state.takes_ios() || owner.is_some_and(|owner| described.path.controller != owner) {
                continue;
            }
            // Another path than the preferred ones is for when none of those stands, not for when they are full.
            match plan.policy {
                PathPolicy::OnePath if standing => break,
                PathPolicy::Nearest if described.nearness > nearest => continue,
                PathPolicy::Nearest if described.nearness < nearest => {
                    (nearest, best) = (described.nearness, None);
                }
                _ => {}
            }
            standing = true;
            if state.in_flight >= plan.depth {
                continue;
            }
            let cost = match plan.policy {
                PathPolicy::RoundRobin
                | PathPolicy::OnePath
                | PathPolicy::Random
                | PathPolicy::Nearest => 0,
                PathPolicy::LeastQueue => u64::from(state.in_flight),
                PathPolicy::LeastBytes => state.bytes,
            };
            if best.is_none_or(|(least, _)| cost < least) {
                best = Some((cost, offset));
                if cost == 0 && plan.policy != PathPolicy::Nearest {
                    break;
                }
            }
        }
        match best {
            Some((_, offset)) => {
                self.pointers[pointer] = offset;
                Pick::Path(first + offset)
            }
            None if standing => Pick::Full,
            None => Pick::Nothing,
        }
    }

    /// The place of a path drawn at random among those of a set that could take an I/O; 0 where there is none.
    fn drawn(&self, set: u32, io: u32, owner: Option<usize>) -> u32 {
        let plan = &self.compiled.sets[set as usize];
        let could = |path: &u32| {
            let state = &self.paths[*path as usize];
            let controller = self.compiled.paths[*path as usize].path.controller;
            state.takes_ios()
                && state.in_flight < plan.depth
                && owner.is_none_or(|owner| controller == owner)
        };
        let all = || plan.paths.clone().filter(could);
        let count = all().count();
        if count == 0 {
            return 0;
        }
        let place = below(self.ios[io].draw.path_bits, count);
        let path = all().nth(place);
        path.map_or(0, |path| path - plan.paths.start)
    }
}
