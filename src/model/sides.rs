//! Events of a run in the order of the flow: those of hosts and those of arrays.
//!
//! They are kept apart where the ways between them are, so that each side can be handled ahead of the other.

use super::world::Event;
use crate::engine::{Calendar, EventSet, Key};
use crate::unit::Instant;

/// Who handles an event.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum At {
    Hosts,
    Arrays,
}

/// The events of both sides.
#[derive(Debug)]
pub struct Sides {
    hosts: Calendar<Event>,
    arrays: Calendar<Event>,
    /// Whether those of arrays are kept apart; all are with the hosts' otherwise.
    pub(super) apart: bool,
}

impl Sides {
    #[inline]
    pub(super) fn of(&mut self, at: At) -> &mut Calendar<Event> {
        match at {
            At::Hosts => &mut self.hosts,
            At::Arrays => &mut self.arrays,
        }
    }

    /// Takes the next event of one side, if it is due before `end`.
    #[inline]
    pub(super) fn pop_before(&mut self, at: At, end: Instant) -> Option<(Key, Event)> {
        let own = self.of(at);
        if own.next_at() < end { own.pop() } else { None }
    }

    /// Where an event is kept: what comes in over a link says it with the link's word.
    #[inline]
    const fn at(&self, event: Event) -> At {
        match event {
            Event::ServiceEnd { .. } | Event::Answer { .. } | Event::Link { word: 1, .. }
                if self.apart =>
            {
                At::Arrays
            }
            _ => At::Hosts,
        }
    }

    fn first(&mut self) -> At {
        if self.apart && self.arrays.next_key() < self.hosts.next_key() {
            At::Arrays
        } else {
            At::Hosts
        }
    }
}

impl EventSet<Event> for Sides {
    fn empty() -> Self {
        Self {
            hosts: Calendar::new(),
            arrays: Calendar::new(),
            apart: false,
        }
    }

    #[inline]
    fn push(&mut self, key: Key, event: Event) {
        let at = self.at(event);
        self.of(at).push(key, event);
    }

    fn next_key(&mut self) -> Key {
        let first = self.first();
        self.of(first).next_key()
    }

    /// Next on its own side: the other one does not see it.
    #[inline]
    fn would_be_next(&mut self, key: Key, event: &Event) -> bool {
        let at = self.at(*event);
        key < self.of(at).next_key()
    }

    fn pop(&mut self) -> Option<(Key, Event)> {
        let first = self.first();
        self.of(first).pop()
    }

    fn held(&self) -> usize {
        self.hosts.held() + self.arrays.held()
    }
}
