//! A calendar of events: a page of narrow buckets for the near future, pages not yet opened for what comes later, a heap for the rest.

use super::queue::{EventQueue, Key};
use crate::unit::Instant;

/// Buckets: a power of two, few enough that their heads and marks stay in the cache nearest the core.
const BUCKETS: u64 = 1 << 11;
/// Their number is so many bits long.
const PAGE_SHIFT: u32 = BUCKETS.trailing_zeros();
/// Words of one bit a bucket.
const WORDS: usize = BUCKETS as usize / 64;
/// Pages: the open one and those to come, one bit of a word each. A choice of this program.
const PAGES: u64 = 64;
/// Width of a bucket at first: 2^15 ps, about 33 ns. It follows the time between events.
const FIRST_SHIFT: u32 = 15;
/// Widest bucket: all buckets together still fit the clock.
const WIDEST_SHIFT: u32 = 50;
/// Events taken between two looks at the width.
const LOOK: u32 = 1 << 14;
/// Most entries of a bucket that a new one is compared with. A choice of this program: lists hold a few at most where times differ.
const WALK: usize = 32;
/// No entry.
const NONE: u32 = u32::MAX;

#[derive(Clone, Copy, Debug)]
struct Entry<E> {
    at: u64,
    /// The tie word in halves: an entry needs no more alignment than its parts.
    tie_high: u64,
    tie_low: u64,
    event: E,
    /// The next one in the bucket, or in the list of free entries.
    next: u32,
}

impl<E> Entry<E> {
    #[inline]
    fn key(&self) -> Key {
        Key {
            at: Instant(self.at),
            tie: u128::from(self.tie_high) << 64 | u128::from(self.tie_low),
        }
    }

    #[inline]
    fn precedes(&self, at: u64, tie_high: u64, tie_low: u64) -> bool {
        if self.at == at {
            (self.tie_high, self.tie_low) < (tie_high, tie_low)
        } else {
            self.at < at
        }
    }
}

/// Events that come and go, in the order of their keys.
///
/// A page has so many buckets of time. Each bucket of the open page is a list in order and holds few events: its width,
/// two to four times as long as that from event to event, follows the time between events. A page to come is one list in no
/// order, put into buckets when it is opened.
/// Push walks the list of one bucket, pop takes the first of the first bucket that holds any. What has many before it in its
/// list, as where thousands of events are due in one instant, which no width parts, waits in a heap. Events beyond
/// the pages wait in another and move in as time comes near. No allocation once there has been room for
/// the most events ever held, but when the width changes (R. Brown, "Calendar queues", Communications of the ACM 31, 1988; here with pages
/// and a heap for the far future instead of years; pages of lists as in G. Varghese and T. Lauck, "Hashed and
/// hierarchical timing wheels", IEEE/ACM Transactions on Networking 5, 1997).
#[derive(Debug)]
pub struct Calendar<E> {
    entries: Vec<Entry<E>>,
    free: u32,
    /// First entry of each bucket.
    heads: Box<[u32; BUCKETS as usize]>,
    /// One bit a bucket: whether it holds anything.
    occupied: [u64; WORDS],
    shift: u32,
    /// Absolute number of the first bucket that may hold anything; its page is the open one. What is due in earlier ones,
    /// never earlier than what was taken last, goes into this one too: its list is in order.
    current: u64,
    /// Events on the open page.
    near: usize,
    /// First entry of each page to come, by its number modulo the pages, and one bit each: whether it holds anything.
    pages: [u32; PAGES as usize],
    pages_filled: u64,
    /// Events on pages to come.
    later: usize,
    /// Events that had too many before them in their lists.
    crowd: EventQueue<u32>,
    /// Events of pages that are further ahead than there are pages.
    far: EventQueue<u32>,
    /// Bucket number of the first event in `far`.
    far_from: u64,
    /// When the event taken last was due.
    last: u64,
    /// Events still to be taken before the next look at the width, and when the last one was.
    until_look: u32,
    looked: u64,
}

impl<E: Copy> Calendar<E> {
    /// An empty calendar.
    #[must_use]
    pub fn new() -> Self {
        Self {
            entries: Vec::with_capacity(256),
            free: NONE,
            heads: Box::new([NONE; BUCKETS as usize]),
            occupied: [0; WORDS],
            shift: FIRST_SHIFT,
            current: 0,
            near: 0,
            pages: [NONE; PAGES as usize],
            pages_filled: 0,
            later: 0,
            crowd: EventQueue::with_capacity(1024),
            far: EventQueue::with_capacity(1024),
            far_from: u64::MAX,
            last: 0,
            until_look: LOOK,
            looked: 0,
        }
    }

    /// Adds an event, not earlier than the last one taken.
    #[inline(always)]
    #[allow(clippy::inline_always)] // Where it is made it is in registers; passed on whole, it would wait in memory.
    #[allow(clippy::cast_possible_truncation)]
    pub fn push(&mut self, key: Key, event: E) {
        if self.free == NONE {
            // One more place; what is in it is never seen.
            self.free = u32::try_from(self.entries.len()).unwrap_or(NONE);
            self.entries.push(Entry {
                at: 0,
                tie_high: 0,
                tie_low: 0,
                event,
                next: NONE,
            });
        }
        let index = self.insert(key.at.0, (key.tie >> 64) as u64, key.tie as u64);
        self.entries[index as usize].event = event;
    }

    /// Puts a free entry where an event of that key belongs.
    #[inline(never)]
    fn insert(&mut self, at: u64, tie_high: u64, tie_low: u64) -> u32 {
        let index = self.free;
        let entry = &mut self.entries[index as usize];
        self.free = entry.next;
        (entry.at, entry.tie_high, entry.tie_low) = (at, tie_high, tie_low);
        self.file(index, (at, tie_high, tie_low));
        index
    }

    /// Puts an entry where it belongs: into its bucket, on its page, or far away.
    #[inline]
    fn file(&mut self, index: u32, (at, tie_high, tie_low): (u64, u64, u64)) {
        let bucket = (at >> self.shift).max(self.current);
        let ahead = (bucket >> PAGE_SHIFT) - (self.current >> PAGE_SHIFT);
        if ahead == 0 {
            self.file_near(index, bucket, (at, tie_high, tie_low));
        } else if ahead < PAGES {
            let page = place(bucket >> PAGE_SHIFT) % PAGES as usize;
            self.entries[index as usize].next = std::mem::replace(&mut self.pages[page], index);
            self.pages_filled |= 1 << page;
            self.later += 1;
        } else {
            self.far_from = self.far_from.min(bucket);
            self.far.push(self.entries[index as usize].key(), index);
        }
    }

    /// Puts an entry into its bucket on the open page.
    #[inline]
    fn file_near(&mut self, index: u32, bucket: u64, (at, tie_high, tie_low): (u64, u64, u64)) {
        let place = place(bucket);
        let mut before = NONE;
        let mut next = self.heads[place];
        let mut walked = 0;
        while let Some(other) = self.entries.get(next as usize)
            && other.precedes(at, tie_high, tie_low)
        {
            before = next;
            next = other.next;
            walked += 1;
            if walked == WALK {
                self.join_crowd(index);
                return;
            }
        }
        self.entries[index as usize].next = next;
        match self.entries.get_mut(before as usize) {
            Some(other) => other.next = index,
            None => {
                self.heads[place] = index;
                self.occupied[place / 64] |= 1 << (place % 64);
            }
        }
        self.near += 1;
    }

    /// Puts an entry with those that have many before them.
    #[cold]
    fn join_crowd(&mut self, index: u32) {
        self.crowd.push(self.entries[index as usize].key(), index);
    }

    /// Key of the next event; [`Key::NEVER`] when there is none.
    #[inline]
    pub fn next_key(&mut self) -> Key {
        let listed = self.first();
        let listed = listed.map_or(Key::NEVER, |(_, index)| self.entries[index as usize].key());
        listed.min(self.crowd.next_key())
    }

    /// When the next event is due; [`Instant::NEVER`] when there is none.
    #[inline]
    pub fn next_at(&mut self) -> Instant {
        let listed = self.first().map_or(Instant::NEVER, |(_, index)| {
            Instant(self.entries[index as usize].at)
        });
        if self.crowd.is_empty() {
            return listed;
        }
        listed.min(self.crowd.next_key().at)
    }

    /// Takes the next event.
    #[inline(always)]
    #[allow(clippy::inline_always)] // Handed over whole, it would wait in memory.
    pub fn pop(&mut self) -> Option<(Key, E)> {
        let listed = self.first();
        if !self.crowd.is_empty() && self.is_crowd_next(listed) {
            return self.pop_crowd();
        }
        let (place, index) = listed?;
        let entry = &mut self.entries[index as usize];
        let taken = (entry.key(), entry.event);
        let next = std::mem::replace(&mut entry.next, self.free);
        self.free = index;
        self.heads[place] = next;
        if next == NONE {
            self.occupied[place / 64] &= !(1 << (place % 64));
        }
        self.near -= 1;
        self.took(taken.0.at);
        Some(taken)
    }

    /// Takes note of an event that was taken.
    #[inline]
    fn took(&mut self, at: Instant) {
        self.last = at.0;
        self.until_look -= 1;
        if self.until_look == 0 {
            self.look();
        }
    }

    /// Whether the first of the crowd comes before the first of all lists.
    #[cold]
    fn is_crowd_next(&self, listed: Option<(usize, u32)>) -> bool {
        let key = |(_, index): (usize, u32)| self.entries[index as usize].key();
        listed.is_none_or(|listed| self.crowd.next_key() < key(listed))
    }

    /// Takes the first event of the crowd.
    #[cold]
    fn pop_crowd(&mut self) -> Option<(Key, E)> {
        let (key, index) = self.crowd.pop()?;
        let entry = &mut self.entries[index as usize];
        let event = entry.event;
        entry.next = std::mem::replace(&mut self.free, index);
        self.took(key.at);
        Some((key, event))
    }

    /// Place and entry of the least event.
    #[inline]
    fn first(&mut self) -> Option<(usize, u32)> {
        let place = place(self.current);
        let index = self.heads[place];
        if index != NONE {
            return Some((place, index));
        }
        self.advance()
    }

    /// Moves on to the first bucket that holds anything.
    #[inline(never)]
    fn advance(&mut self) -> Option<(usize, u32)> {
        if self.near == 0 && !self.open_next() {
            return None;
        }
        self.current = self.first_occupied();
        let place = place(self.current);
        Some((place, self.heads[place]))
    }

    /// The first bucket of the open page from `current` on that holds anything; there is one.
    #[inline]
    fn first_occupied(&self) -> u64 {
        let start = place(self.current);
        let mut word = start / 64;
        let mut bits = self.occupied[word] & (u64::MAX << (start % 64));
        while bits == 0 && word + 1 < WORDS {
            word += 1;
            bits = self.occupied[word];
        }
        let found = word as u64 * 64 + u64::from(bits.trailing_zeros());
        self.current - start as u64 + found
    }

    /// Opens the next page that holds anything, the open one being empty. Returns whether there is any.
    fn open_next(&mut self) -> bool {
        let open = self.current >> PAGE_SHIFT;
        self.current = if self.later > 0 {
            #[allow(clippy::cast_possible_truncation)]
            let turned = self.pages_filled.rotate_right((open % PAGES) as u32);
            (open + u64::from(turned.trailing_zeros())) << PAGE_SHIFT
        } else if self.far.is_empty() {
            return false;
        } else {
            self.far_from
        };
        self.open_page();
        self.take_from_far();
        true
    }

    /// Puts the events of the page that has become the open one into its buckets.
    fn open_page(&mut self) {
        let page = place(self.current >> PAGE_SHIFT) % PAGES as usize;
        let mut index = std::mem::replace(&mut self.pages[page], NONE);
        self.pages_filled &= !(1 << page);
        while let Some(entry) = self.entries.get(index as usize) {
            let next = entry.next;
            let key = (entry.at, entry.tie_high, entry.tie_low);
            self.file_near(index, key.0 >> self.shift, key);
            self.later -= 1;
            index = next;
        }
    }

    /// Takes in what is no further ahead any more than there are pages.
    fn take_from_far(&mut self) {
        let end = (self.current >> PAGE_SHIFT) + PAGES;
        while self.far_from >> PAGE_SHIFT < end
            && let Some((_, index)) = self.far.pop()
        {
            self.refile(index);
            self.far_from = if self.far.is_empty() {
                u64::MAX
            } else {
                self.far.next_key().at.0 >> self.shift
            };
        }
    }

    /// Fits the width of the buckets to the time between events, when it is off by four or more.
    #[cold]
    fn look(&mut self) {
        let gap = (self.last - self.looked) / u64::from(LOOK);
        let shift = (gap.max(1).ilog2() + 1).min(WIDEST_SHIFT);
        self.until_look = LOOK;
        self.looked = self.last;
        if shift.abs_diff(self.shift) < 2 {
            return;
        }
        self.shift = shift;
        let mut moved = Vec::with_capacity(self.near + self.later);
        for head in self.heads.iter_mut().chain(&mut self.pages) {
            let mut index = std::mem::replace(head, NONE);
            while let Some(entry) = self.entries.get(index as usize) {
                moved.push(index);
                index = entry.next;
            }
        }
        self.occupied.fill(0);
        self.pages_filled = 0;
        (self.near, self.later) = (0, 0);
        self.current = self.last >> shift;
        self.far_from = if self.far.is_empty() {
            u64::MAX
        } else {
            self.far.next_key().at.0 >> shift
        };
        for index in moved {
            self.refile(index);
        }
        self.take_from_far();
    }

    /// Puts an entry that is in no list where it belongs now.
    fn refile(&mut self, index: u32) {
        let entry = &self.entries[index as usize];
        let key = (entry.at, entry.tie_high, entry.tie_low);
        self.file(index, key);
    }

    /// Number of events held.
    #[must_use]
    pub fn len(&self) -> usize {
        self.near + self.later + self.crowd.len() + self.far.len()
    }

    /// Whether none is held.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }
}

/// Place of a bucket on its page.
#[inline]
#[allow(clippy::cast_possible_truncation)]
const fn place(bucket: u64) -> usize {
    (bucket % BUCKETS) as usize
}

impl<E: Copy> Default for Calendar<E> {
    fn default() -> Self {
        Self::new()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::unit::mix64;

    /// Pops and pushes at random, at all distances, and compares with the heap. The pace changes within a
    /// run, so that the width of the buckets does too.
    #[test]
    fn gives_the_order_of_the_heap() {
        for scale in [1_u64, 1 << 10, 1 << 16, 1 << 24, 1 << 31, 1 << 40] {
            let mut calendar = Calendar::new();
            let mut heap = EventQueue::with_capacity(16);
            let (mut now, mut number) = (0_u64, 0_u64);
            let mut widths = Vec::new();
            let (mut later, mut far) = (false, false);
            for step in 0..400_000_u64 {
                let scale = (scale >> (step / 100_000 * 7)).max(1);
                let word = mix64(step ^ scale << 1);
                if word % 5 < 2 || heap.is_empty() {
                    // Ties in time on purpose, now and then something some pages on, and rarely beyond all of them.
                    let spread = match word % 10_000 {
                        0..10 => (scale << 22).min(1 << 54),
                        10..40 => scale << 12,
                        _ => scale,
                    };
                    let at = now + (word >> 8) % spread / 4 * 4;
                    let key = Key {
                        at: Instant(at),
                        tie: u128::from(mix64(number)) << 32,
                    };
                    calendar.push(key, number);
                    heap.push(key, number);
                    number += 1;
                } else if word % 5 == 2 {
                    assert_eq!(calendar.next_key(), heap.next_key());
                } else {
                    let expected = heap.pop();
                    assert_eq!(calendar.pop(), expected);
                    now = expected.map_or(now, |(key, _)| key.at.0);
                }
                assert_eq!(calendar.len(), heap.len());
                if widths.last() != Some(&calendar.shift) {
                    widths.push(calendar.shift);
                }
                later |= calendar.later > 0;
                far |= !calendar.far.is_empty();
            }
            assert!(widths.len() > 1, "the width never changed at scale {scale}");
            assert!(
                later && far,
                "no page to come, or nothing beyond, at {scale}"
            );
            while let Some(expected) = heap.pop() {
                assert_eq!(calendar.pop(), Some(expected));
            }
            assert_eq!(calendar.pop(), None);
        }
    }

    /// Thousands of events of one instant, which no width of buckets parts: in order, and no list grows with their number.
    #[test]
    fn a_crowd_of_one_instant_leaves_in_order_and_is_no_list() {
        let mut calendar = Calendar::new();
        let mut heap = EventQueue::with_capacity(16);
        let key = |at: u64, number: u64| Key {
            at: Instant(at),
            tie: u128::from(mix64(number)) << 32,
        };
        for number in 0..20_000 {
            // Two crowds, one of them on a page to come, and a few between them.
            let at = match number % 10 {
                0..5 => 70_000,
                5..9 => 500_000_000,
                _ => 70_000 + number * 1_000,
            };
            calendar.push(key(at, number), number);
            heap.push(key(at, number), number);
        }
        let mut number = 20_000;
        let mut crowded = 0;
        while let Some(expected) = heap.pop() {
            assert_eq!(calendar.next_key(), expected.0);
            assert_eq!(calendar.pop(), Some(expected));
            // Each is planned again, in a crowd too, as timers are.
            if number < 60_000 {
                let at = (expected.0.at.0 / 50_000_000 + 1) * 50_000_000;
                calendar.push(key(at, number), number);
                heap.push(key(at, number), number);
                number += 1;
            }
            assert_eq!(calendar.len(), heap.len());
            crowded = crowded.max(calendar.crowd.len());
            if number.is_multiple_of(1_000) {
                // Keys at random come among the first so often that a list grows with the logarithm.
                assert!(longest(&calendar) <= 20 * WALK, "{}", longest(&calendar));
            }
        }
        assert!(crowded > 5_000 && calendar.pop().is_none());
    }

    /// Entries of the longest list of a bucket.
    fn longest(calendar: &Calendar<u64>) -> usize {
        let length = |head: &u32| {
            let next = |index: &u32| {
                let entry = calendar.entries.get(*index as usize);
                entry.map(|entry| entry.next)
            };
            std::iter::successors(Some(*head), next)
                .take_while(|index| *index != NONE)
                .count()
        };
        calendar.heads.iter().map(length).max().unwrap_or(0)
    }

    #[test]
    fn holds_what_never_comes() {
        let mut calendar = Calendar::new();
        calendar.push(Key::NEVER, 'a');
        calendar.push(
            Key {
                at: Instant(5),
                tie: 0,
            },
            'b',
        );
        assert_eq!(calendar.pop().map(|(_, event)| event), Some('b'));
        assert_eq!(calendar.pop().map(|(_, event)| event), Some('a'));
        assert_eq!(calendar.pop(), None);
    }
}
