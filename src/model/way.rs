//! The ways of frames: which direction each takes next, and whether it is cut through there.
//!
//! A flow has one way as long as the routes stay as they are, found when its first frame needs it; where
//! each exchange or frame has its own member, it is chosen when the frame becomes eligible.

use super::compile::{Compiled, HOPS_MAX};
use super::net::{Frame, Links, Offered, Onward};
use super::world::{Executor, World};
use crate::site::Choose;
use crate::topology::{DirectionId, NodeId, Routes};
use crate::unit::{mix_pair, mix64};

/// What is known of a hop of a flow.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Way {
    /// Not looked for since the routes last changed.
    Unknown,
    /// Always this direction.
    Fixed(DirectionId, Onward),
    /// Each exchange has its own of so many from a place of the routes on, all of one kind.
    Spread(u32, u16, Onward),
    /// Each frame or exchange has its own.
    Chosen,
    /// Each frame has its own, and its own luck there: some member damages frames.
    Lossy,
    /// No route.
    Nowhere,
}

/// Ways of flows, to be looked up.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Ways<'a> {
    pub(crate) compiled: &'a Compiled,
    pub(crate) routes: &'a Routes,
    pub(crate) ways: &'a [Way],
}

impl Ways<'_> {
    /// The direction of a frame with the tie word `tie` at a place of the ways, where that says it.
    #[inline(always)]
    #[allow(clippy::inline_always)] // Part of each hop of each frame.
    pub(crate) fn known(
        &self,
        tie: u128,
        flow: u32,
        place: usize,
    ) -> Option<(DirectionId, Onward)> {
        let way = self.ways[place];
        if let Way::Fixed(direction, onward) = way {
            return Some((direction, onward));
        }
        self.spread(tie, flow, way)
    }

    /// The direction of an exchange, where each has its own.
    #[inline(never)]
    fn spread(&self, tie: u128, flow: u32, way: Way) -> Option<(DirectionId, Onward)> {
        let Way::Spread(first, count, onward) = way else {
            return None;
        };
        let next = self.routes.listed((first, u32::from(count)));
        let salt = self.compiled.hops[next.first()?.index()].salt;
        let hash = self.compiled.flows[flow as usize].hash;
        Some((next[by_exchange(hash, salt, tie, next.len())], onward))
    }
}

// Ways are looked up once a hop: eight of them to a cache line.
const _: () = assert!(std::mem::size_of::<Way>() == 8);

impl<E: Executor> World<'_, E> {
    /// Sends a frame that is ready now on from `node`.
    #[inline(always)]
    #[allow(clippy::inline_always)] // Part of each hop of each frame, which is changed and stays in registers.
    pub(crate) fn send(&mut self, frame: Frame, node: NodeId) {
        let Some(over) = self.way(&frame, node) else {
            self.send_otherwise(frame, node);
            return;
        };
        self.send_over(over, frame);
    }

    /// Sends a frame that is ready now on over a direction.
    #[inline(always)]
    #[allow(clippy::inline_always)] // The same.
    pub(crate) fn send_over(&mut self, over: (DirectionId, Onward), frame: Frame) {
        self.tally.frame_hops += 1;
        match self
            .net
            .offer(self.compiled, over, frame, self.now, &mut self.queue)
        {
            Offered::Dropped => self.frame_lost(frame),
            Offered::Taken => {}
        }
    }

    /// Sends a frame on over links that damage frames; where there is no way it is lost.
    #[cold]
    fn send_otherwise(&mut self, mut frame: Frame, node: NodeId) {
        let place = frame.flow as usize * HOPS_MAX + usize::from(frame.hop);
        let lossy = self.ways[place] == Way::Lossy;
        let chosen = if lossy {
            self.chosen(&frame, node)
        } else {
            None
        };
        let Some((direction, onward)) = chosen else {
            self.tally.discarded += 1;
            self.frame_lost(frame);
            return;
        };
        self.damage(&mut frame, direction);
        // The usual way of sending, which knows nothing of damage, has this for the one frame.
        self.ways[place] = Way::Fixed(direction, onward);
        self.send(frame, node);
        self.ways[place] = Way::Lossy;
    }

    /// The direction a frame takes from `node`, and how it will go on from there.
    #[inline]
    fn way(&mut self, frame: &Frame, node: NodeId) -> Option<(DirectionId, Onward)> {
        let place = frame.flow as usize * HOPS_MAX + usize::from(frame.hop);
        if self.ways[place] == Way::Unknown {
            self.ways[place] = self.find_way(frame.flow, node);
        }
        match self.known_way(frame.tie, frame.flow, place) {
            None if self.ways[place] == Way::Chosen => self.chosen(frame, node),
            known => known,
        }
    }

    /// The direction that a frame takes next, where all of its message take it.
    #[inline]
    pub(crate) fn known_way_of(&self, frame: &Frame) -> Option<(DirectionId, Onward)> {
        let place = frame.flow as usize * HOPS_MAX + usize::from(frame.hop);
        self.known_way(frame.tie, frame.flow, place)
    }

    /// The direction of a frame with the tie word `tie` at a place of the ways, where that says it.
    #[inline]
    pub(crate) fn known_way(
        &self,
        tie: u128,
        flow: u32,
        place: usize,
    ) -> Option<(DirectionId, Onward)> {
        let ways = Ways {
            compiled: self.compiled,
            routes: &self.routes,
            ways: &self.ways,
        };
        ways.known(tie, flow, place)
    }

    /// The direction that a frame has of its own.
    #[inline]
    fn chosen(&mut self, frame: &Frame, node: NodeId) -> Option<(DirectionId, Onward)> {
        let flow = &self.compiled.flows[frame.flow as usize];
        let direction = self.choose(frame.tie, flow.table, flow.hash, node)?;
        Some((direction, self.onward(flow.table, direction)))
    }

    /// Where a flow goes from `node` as long as the routes stay as they are.
    #[cold]
    fn find_way(&self, flow: u32, node: NodeId) -> Way {
        let flow = &self.compiled.flows[flow as usize];
        let span = self.routes.span(&self.compiled.fabric, flow.table, node);
        let next = self.routes.listed(span);
        if next.iter().any(|over| self.fault.ill.loss(*over) > 0) {
            return Way::Lossy;
        }
        let direction = match next {
            [] => return Way::Nowhere,
            [only] => *only,
            [first, ..] => {
                let hop = &self.compiled.hops[first.index()];
                match hop.choose {
                    Choose::Flow => next[by_flow(flow.hash, hop.salt, next.len())],
                    Choose::Exchange => return self.spread(flow.table, span),
                    Choose::Frame | Choose::Pinned => return Way::Chosen,
                }
            }
        };
        Way::Fixed(direction, self.onward(flow.table, direction))
    }

    /// How exchanges are spread over directions.
    fn spread(&self, table: u32, (first, count): (u32, u32)) -> Way {
        let next = self.routes.listed((first, count)).iter();
        let mut onward = next.map(|over| self.onward(table, *over));
        match (onward.next(), u16::try_from(count)) {
            (Some(each), Ok(count)) if onward.all(|other| other == each) => {
                Way::Spread(first, count, each)
            }
            _ => Way::Chosen,
        }
    }

    /// Whether a frame on `direction` is cut through at its end.
    fn onward(&self, table: u32, direction: DirectionId) -> Onward {
        let hop = &self.compiled.hops[direction.index()];
        if hop.ends || !hop.cut_through {
            return Onward::Store;
        }
        match self
            .routes
            .next(&self.compiled.fabric, table, hop.to)
            .first()
        {
            Some(next) => {
                let (speed, next_speed) = if self.fault.ill.slow {
                    (self.speed_now(direction), self.speed_now(*next))
                } else {
                    (hop.speed, self.compiled.hops[next.index()].speed)
                };
                let next = &self.compiled.hops[next.index()];
                if next_speed <= speed && next.medium == hop.medium {
                    Onward::Cut
                } else {
                    Onward::Store
                }
            }
            None => Onward::Store,
        }
    }

    /// The member a frame takes: one of those that lead on.
    fn choose(&mut self, tie: u128, table: u32, hash: u64, node: NodeId) -> Option<DirectionId> {
        let next = self.routes.next(&self.compiled.fabric, table, node);
        let hop = &self.compiled.hops[next.first()?.index()];
        let pick = match hop.choose {
            Choose::Flow => by_flow(hash, hop.salt, next.len()),
            Choose::Exchange => by_exchange(hash, hop.salt, tie, next.len()),
            Choose::Frame => {
                let turn = &mut self.turn[node.0 as usize];
                *turn = turn.wrapping_add(1);
                below(u64::from(*turn), next.len())
            }
            Choose::Pinned => by_position((tie >> 92) as u64 & 0xf_ffff, next.len()),
        };
        Some(next[pick])
    }
}

/// Which of `count` members a flow takes at a switch with that salt.
#[inline]
pub(crate) fn by_flow(hash: u64, salt: u64, count: usize) -> usize {
    below(mix64(hash ^ salt), count)
}

/// Which of `count` members frames of a sender at that position take.
#[inline]
pub(crate) fn by_position(host: u64, count: usize) -> usize {
    below(host, count)
}

/// Which of `count` members an exchange takes: its workload, host, number and attempt in the tie word decide.
#[inline]
fn by_exchange(hash: u64, salt: u64, tie: u128, count: usize) -> usize {
    let exchange = (tie >> 40) as u64 ^ (tie >> 104) as u64;
    below(mix64(mix_pair(hash, exchange) ^ salt), count)
}

/// A number below `count`, which is not zero, from a mixed word: the rest of a division, which mostly needs none.
#[inline]
pub(super) fn below(word: u64, count: usize) -> usize {
    let count = count.max(1) as u64;
    let rest = if count.is_power_of_two() {
        word & (count - 1)
    } else {
        word % count
    };
    usize::try_from(rest).unwrap_or(0)
}
