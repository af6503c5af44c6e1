//! One run: its state, the events and who handles them, and arrivals of I/Os.

use super::attempt::{Attempt, Io, NONE, Parts, Slab, tie};
use super::compile::{Compiled, HOPS_MAX, Watch};
use super::fault::FaultState;
use super::finish::empty_tally;
use super::host::{PathState, SourceState};
use super::net::{
    Admission, Discipline, Frame, Gate, InOrder, Links, NoGate, Open, PlainLinks, Rings,
};
use super::pathless::Pathless;
use super::tally::Tally;
use super::way::Way;
use crate::engine::{Calendar, EventQueue, EventSet, Key};
use crate::site::Arrivals;
use crate::topology::{DirectionId, Routes};
use crate::unit::Instant;
use crate::wire::Toward;
use crate::workload::{ArrivalStream, IoDraw, StreamName};
use std::collections::VecDeque;
use std::marker::PhantomData;

/// What ends a run that would not end by itself.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Limits {
    /// Most events.
    pub events: u64,
}

/// Who keeps the events and the frames of a run. The handlers cannot tell.
pub trait Executor: std::fmt::Debug {
    /// The event set.
    type Events: EventSet<Event> + std::fmt::Debug;
    /// The frames.
    type Links: Links;

    /// Runs a world on: see [`World::run_until`].
    fn run(world: &mut World<'_, Self>, until: Instant, stop: Stop) -> bool
    where
        Self: Sized,
    {
        world.run_events(until, stop)
    }

    /// Brings the links to where the run was left, before what they have counted is looked at.
    fn settle(_: &mut World<'_, Self>)
    where
        Self: Sized,
    {
    }
}

/// The executor of every figure: a calendar of events, frames in rings, one event a hop. Its ports admit,
/// order and hold back frames as they are told; the usual ones do none of it.
#[derive(Debug)]
pub struct Fast<A = Open, D = InOrder, G = NoGate>(PhantomData<(A, D, G)>);

impl<A: Admission, D: Discipline, G: Gate> Executor for Fast<A, D, G> {
    type Events = Calendar<Event>;
    type Links = Rings<A, D, G>;
}

/// The executor of runs without faults on sites where frames never come back to a link: links are served a
/// stretch of time at a time, in the order of the flow. It counts the same; see [`Compiled::in_flow_order`].
#[derive(Debug)]
pub struct Flow;

/// The oracle: a heap, every transmission stepped through. Slow and obviously right; it counts the same.
#[derive(Debug)]
pub struct Plain<A = Open, D = InOrder, G = NoGate>(PhantomData<(A, D, G)>);

impl<A: Admission, D: Discipline, G: Gate> Executor for Plain<A, D, G> {
    type Events = EventQueue<Event>;
    type Links = PlainLinks<A, D, G>;
}

/// An event.
#[derive(Clone, Copy, Debug)]
pub enum Event {
    /// Something that a direction has planned for itself.
    Link { direction: DirectionId, word: u32 },
    /// The next I/O of a source arrives; its number is in the tie word.
    Arrival { source: u32 },
    /// The frames of an attempt's volley become ready at their host.
    Emit { attempt: u32 },
    /// The frames of an attempt's volley become ready at their array.
    Answer { attempt: u32 },
    /// A host has taken in the message that completes a volley.
    HostReceived { attempt: u32 },
    /// A controller has finished a request.
    ServiceEnd { attempt: u32 },
    /// Lost TCP segments are sent again.
    Resend { attempt: u32 },
    /// The oldest attempt on a path may have timed out.
    CommandTimer { path: u32 },
    /// A lost path changes its standing, unless its epoch has passed.
    PathStep { path: u32, epoch: u32 },
    /// A failed path is tried again.
    PathCheck { path: u32, epoch: u32 },
    /// The fabric takes note of members lost or restored.
    Reroute,
    /// A scripted event.
    Script { index: u32 },
    /// The uplinks of a watched switch may have been gone for long enough.
    UplinksGone { watch: u32 },
    /// The partner of a lost controller may have its volumes.
    Takeover { controller: u32 },
    /// I/Os without any path are looked at again.
    Pathless { set: u32 },
    /// A team notices a lost port, or changes ports, unless its epoch has passed.
    TeamStep { set: u32, epoch: u32 },
    /// The loss of a host is found, or its guests run elsewhere.
    GuestsStep { host: u32 },
}

// Key, event and the calendar's own word together fit one cache line.
const _: () = assert!(std::mem::size_of::<Event>() <= 12);

/// A lost TCP frame that is to be sent again.
#[derive(Clone, Copy, Debug)]
pub(crate) struct LostSegment {
    pub(crate) attempt: u32,
    pub(crate) frame: Frame,
}

/// One run of a compiled site.
#[derive(Debug)]
pub struct World<'a, E: Executor = Fast> {
    pub(crate) compiled: &'a Compiled,
    pub(crate) now: Instant,
    pub(crate) queue: E::Events,
    pub(crate) net: E::Links,
    pub(crate) routes: Routes,
    pub(crate) ios: Slab<Io>,
    pub(crate) attempts: Slab<Attempt>,
    /// Queueing by tier of each attempt: attempt × tiers + tier.
    pub(crate) waits: Vec<u64>,
    pub(crate) sources: Vec<SourceState>,
    pub(crate) paths: Vec<PathState>,
    /// Last path used, by set × (controllers + 1) + owner.
    pub(crate) pointers: Vec<u32>,
    /// By set of paths: the line of the log that last gave its waiting I/Os a path.
    pub(crate) freeing: Vec<u32>,
    /// By workload: the line of the log since which guests of a lost host run again, or their host is back.
    pub(crate) again: Vec<u32>,
    /// By set of paths: since when it has had none.
    pub(super) pathless: Vec<Pathless>,
    pub(crate) controllers: Vec<ControllerState>,
    pub(crate) fault: FaultState,
    pub(crate) lost_segments: Vec<LostSegment>,
    pub(crate) watch: Watch,
    /// Unfinished I/Os that count.
    pub(crate) open: u64,
    /// Ends of each workload's list of unfinished I/Os in order of arrival.
    pub(crate) oldest: Vec<u32>,
    pub(crate) newest: Vec<u32>,
    pub(crate) oldest_seen: Vec<Instant>,
    /// Frame-by-frame choice: next member of each node.
    pub(crate) turn: Vec<u32>,
    /// Where each flow goes at each hop, by flow × HOPS_MAX + hop, found when first needed.
    pub(crate) ways: Vec<Way>,
    limits: Limits,
    /// When the memory in use is looked at again, in events.
    next_look: u64,
    replication: u64,
    pub(crate) tally: Tally,
}

/// Events between two looks at the memory in use.
const MEMORY_LOOKS: u64 = 1 << 10;

/// A controller at work.
#[derive(Debug, Default)]
pub(crate) struct ControllerState {
    pub(crate) busy: u32,
    pub(crate) queue: VecDeque<u32>,
    /// When the requests now worked on were begun, summed, ps.
    pub(crate) begun: u128,
    /// Since when all its ports have been lost.
    pub(crate) lost_since: Option<Instant>,
    /// It was emptied on purpose, and has handed its volumes to its partner while both were there.
    pub(crate) handed_over: bool,
}

impl<'a> World<'a> {
    /// A run of `compiled`, replication `replication` (from 0), from time zero.
    #[must_use]
    pub fn new(compiled: &'a Compiled, replication: u32, watch: Watch, limits: Limits) -> Self {
        Self::start(compiled, replication, watch, limits)
    }
}

impl<'a, E: Executor> World<'a, E> {
    /// A run of `compiled` by any executor, replication `replication` (from 0), from time zero.
    #[must_use]
    pub fn start(compiled: &'a Compiled, replication: u32, watch: Watch, limits: Limits) -> Self {
        let site = &compiled.site;
        let tally = empty_tally(compiled, watch);
        let mut world = Self {
            compiled,
            now: Instant::ZERO,
            queue: E::Events::empty(),
            net: E::Links::new(compiled, watch),
            routes: compiled.routes.clone(),
            ios: Slab::new(),
            attempts: Slab::new(),
            waits: Vec::new(),
            sources: Vec::new(),
            paths: compiled.paths.iter().map(|_| PathState::new()).collect(),
            pointers: Vec::new(),
            freeing: vec![NONE; compiled.sets.len()],
            again: vec![NONE; site.workloads.len()],
            pathless: vec![Pathless::WITH_PATHS; compiled.sets.len()],
            controllers: compiled
                .fabric
                .controllers
                .iter()
                .map(|_| ControllerState::default())
                .collect(),
            fault: FaultState::new(compiled),
            lost_segments: Vec::new(),
            watch,
            open: 0,
            oldest: vec![NONE; site.workloads.len()],
            newest: vec![NONE; site.workloads.len()],
            oldest_seen: vec![Instant::ZERO; site.workloads.len()],
            turn: vec![0; compiled.fabric.nodes.len()],
            ways: vec![Way::Unknown; compiled.flows.len() * HOPS_MAX],
            limits,
            next_look: 0,
            replication: u64::from(replication),
            tally,
        };
        world.start_pointers();
        world.start_teams();
        world.start_pathless();
        world.start_sources();
        world.start_guests();
        world
    }

    fn start_sources(&mut self) {
        for (index, plan) in self.compiled.sources.iter().enumerate() {
            let workload = &self.compiled.site.workloads[plan.workload];
            let host = &self.compiled.fabric.hosts[plan.host];
            let name = StreamName::new(
                self.compiled.site.run.seed,
                self.replication,
                &workload.name,
                &host.name,
            );
            let template = &self.compiled.templates[plan.workload];
            let stream = ArrivalStream::new(workload, template, name, plan.position, plan.of);
            self.sources
                .push(SourceState::new(name, stream, workload.outstanding));
            let source = u32::try_from(index).unwrap_or(u32::MAX);
            if self.compiled.silent {
                continue;
            }
            if let Arrivals::Closed { depth, .. } = workload.arrivals {
                for _ in 0..depth {
                    let (at, number) = self.sources[index].stream.first_of_loop();
                    self.schedule_arrival(source, at, number);
                }
            } else {
                self.schedule_next_arrival(source);
            }
        }
    }

    pub(crate) fn schedule_next_arrival(&mut self, source: u32) {
        if let Some((at, number, kind)) = self.sources[source as usize].stream.next_arrival() {
            self.sources[source as usize].next_kind = kind;
            self.schedule_arrival(source, at, number);
        }
    }

    pub(crate) fn schedule_arrival(&mut self, source: u32, at: Instant, number: u64) {
        let tie = tie::ranked(tie::NEW_IO, self.io_tie(source, number, 0));
        self.queue.push(Key { at, tie }, Event::Arrival { source });
    }

    /// Number of this run among its replications.
    pub(crate) const fn replication(&self) -> u64 {
        self.replication
    }

    pub(crate) fn io_tie(&self, source: u32, number: u64, attempt: u32) -> u128 {
        let plan = &self.compiled.sources[source as usize];
        let (workload, host) = (
            u32::try_from(plan.workload).unwrap_or(0),
            u32::try_from(plan.host).unwrap_or(0),
        );
        tie::io(workload, host, number, attempt)
    }

    /// Events handled so far.
    #[must_use]
    pub const fn events(&self) -> u64 {
        self.tally.events
    }

    /// Handles every event up to and including `until`, or until nothing measured is unfinished after the
    /// window, whichever `stop` asks for. Returns whether the run goes on.
    pub fn run_until(&mut self, until: Instant, stop: Stop) -> bool {
        E::run(self, until, stop)
    }

    /// The same, with an event for everything that happens.
    pub(crate) fn run_events(&mut self, until: Instant, stop: Stop) -> bool {
        loop {
            let at = self.queue.next_at();
            if self.has_measured(stop, at.min(until)) {
                self.now = self.now.max(self.watch.to);
                return false;
            }
            if at > until {
                self.now = until;
                return true;
            }
            if self.is_at_a_limit() {
                return false;
            }
            let Some((key, event)) = self.queue.pop() else {
                self.now = until;
                return true;
            };
            assert!(at >= self.now, "time never goes back");
            self.now = at;
            self.tally.events += 1;
            self.handle(key.tie, event);
        }
    }

    /// Whether a run may stop before anything that happens at `at` or later.
    #[inline]
    pub(crate) fn has_measured(&self, stop: Stop, at: Instant) -> bool {
        stop == Stop::WhenMeasured && at >= self.watch.to && self.open == 0
    }

    #[cold]
    fn holds_too_much(&mut self) -> bool {
        self.next_look = self.tally.events + MEMORY_LOOKS;
        self.held_bytes() > self.compiled.site.run.memory_max
    }

    /// Whether the run surely goes on for so many events more before a limit ends it.
    pub(crate) fn has_room_for(&mut self, events: u64) -> bool {
        self.tally.events + events < self.limits.events
            && (self.tally.events < self.next_look || !self.holds_too_much())
    }

    /// Whether a limit ends the run here, which makes it a partial one.
    #[inline]
    pub(crate) fn is_at_a_limit(&mut self) -> bool {
        let stopped_by = if self.tally.events >= self.limits.events {
            "run.events_max"
        } else if self.tally.events >= self.next_look && self.holds_too_much() {
            "run.memory_max"
        } else {
            return false;
        };
        self.tally.partial = true;
        self.tally.stopped_by = Some(stopped_by);
        true
    }

    #[inline]
    pub(crate) fn handle(&mut self, tie: u128, event: Event) {
        match event {
            Event::Link { direction, word } => {
                let event = (direction, word);
                let (is_over, flight) =
                    self.net
                        .step(self.compiled, self.now, event, &mut self.queue);
                if is_over {
                    if E::Links::IN_FLOW {
                        let to = self.compiled.hops[direction.index()].to;
                        self.taken_in(flight.frame, to);
                    } else {
                        self.handed_over(direction, &flight);
                    }
                }
            }
            Event::Arrival { source } => self.io_arrives(source, tie::number(tie)),
            Event::Emit { attempt } => {
                self.attempts[attempt].holds -= 1;
                let volley = &self.compiled.volleys[self.attempts[attempt].volley as usize];
                if self.attempts[attempt].io == NONE && volley.toward == Toward::Array {
                    // The host has given it up before anything left.
                    self.release(attempt);
                } else {
                    self.emit_volley(attempt);
                }
            }
            Event::Answer { attempt } => {
                self.attempts[attempt].holds -= 1;
                self.emit_volley(attempt);
            }
            Event::HostReceived { attempt } => {
                self.attempts[attempt].holds -= 1;
                self.volley_taken_in(attempt);
            }
            Event::ServiceEnd { attempt } => self.service_ends(attempt),
            other => self.handle_rare(other),
        }
    }

    /// What hardly ever happens: timers, faults and what follows from them.
    #[cold]
    #[inline(never)]
    fn handle_rare(&mut self, event: Event) {
        match event {
            Event::Link { .. }
            | Event::Arrival { .. }
            | Event::Emit { .. }
            | Event::Answer { .. }
            | Event::HostReceived { .. }
            | Event::ServiceEnd { .. } => unreachable!("{event:?} is no rare event"),
            Event::Resend { attempt } => self.resend(attempt),
            Event::CommandTimer { path } => self.command_timer(path),
            Event::PathStep { path, epoch } => self.path_step(path, epoch),
            Event::PathCheck { path, epoch } => self.path_check(path, epoch),
            Event::Reroute => self.reroute(),
            Event::UplinksGone { watch } => self.uplinks_gone(watch),
            Event::Takeover { controller } => self.taken_over(controller),
            Event::Script { index } => self.script(index),
            Event::Pathless { set } => self.pathless(set),
            Event::GuestsStep { host } => self.guests_step(host),
            Event::TeamStep { set, epoch } => self.team_step(set, epoch),
        }
    }

    fn io_arrives(&mut self, source: u32, number: u64) {
        let plan = &self.compiled.sources[source as usize];
        let workload_index = plan.workload;
        let workload = &self.compiled.site.workloads[workload_index];
        let closed = matches!(workload.arrivals, Arrivals::Closed { .. });
        let array = &self.compiled.site.arrays[workload.array];
        let template = &self.compiled.templates[workload_index];
        let own = &self.sources[source as usize];
        let (name, given) = (own.name, own.next_kind);
        let place = if own.away {
            self.place(source, number, closed)
        } else {
            Some(source)
        };
        if !closed {
            self.schedule_next_arrival(source);
        }
        let Some(place) = place else {
            return;
        };
        let draw = IoDraw::new(&name, number, 0, template, array, given);
        let measured = self.now >= self.watch.from && self.now < self.watch.to;
        let workload_id = u32::try_from(workload_index).unwrap_or(u32::MAX);
        let io = self.ios.insert(Io {
            source: place,
            origin: source,
            workload: workload_id,
            number,
            arrival: self.now,
            first_issue: Instant::NEVER,
            last_issue: Instant::NEVER,
            draw,
            attempts: 0,
            untried: 0,
            live: NONE,
            before: NONE,
            after: NONE,
            measured,
            freed: NONE,
            hurt: false,
        });
        self.note_oldest(workload_id);
        self.link_unfinished(workload_id, io);
        let op = template.kinds[draw.kind as usize].0;
        let tally = &mut self.tally.workloads[workload_index];
        tally.issued_total += 1;
        tally.series.at(self.now).arrived += 1;
        tally.backlog.set(
            self.now,
            tally.issued_total - tally.completed_total - tally.failed_total,
        );
        if measured {
            tally.kind(op).arrived += 1;
            self.open += 1;
        }
        let set = self.compiled.sources[place as usize].set;
        self.sources[place as usize].waiting.push_back(io);
        self.note_host_queue(place);
        self.dispatch(set);
    }

    /// An attempt's slot for I/O `io` on `path`; nothing is sent yet.
    pub(crate) fn new_attempt(&mut self, io: u32, path: u32) -> u32 {
        let record = self.ios[io];
        let source = &self.compiled.sources[record.source as usize];
        let plan = &self.compiled.paths[path as usize];
        let volleys = &self.compiled.plans[source.workload][record.draw.kind as usize];
        let (_, size) = self.compiled.templates[source.workload].kinds[record.draw.kind as usize];
        let slot = self.attempts.insert(Attempt {
            io,
            tie: self.io_tie(record.origin, record.number, record.attempts),
            workload: record.workload,
            path,
            flow: plan.flows + 2 * record.draw.connection,
            first_volley: volleys.start,
            volley: volleys.start,
            received: 0,
            holds: 0,
            resent: 0,
            resend_pending: false,
            disturbed: false,
            controller: u32::try_from(plan.path.controller).unwrap_or(u32::MAX),
            issued: self.now,
            volley_ready: self.now,
            queued: self.now,
            service: record.draw.service.0,
            mirror: record.draw.mirror.0,
            bytes: size,
            before: NONE,
            after: NONE,
            own_free: [0; HOPS_MAX],
            parts: Parts::default(),
            volley_sum: 0,
        });
        let tiers = self.compiled.tiers.len();
        let needed = self.attempts.size() * tiers;
        if self.waits.len() < needed {
            self.waits.resize(needed, 0);
        }
        self.waits[slot as usize * tiers..(slot as usize + 1) * tiers].fill(0);
        slot
    }
}

/// When a run stops by itself.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stop {
    /// Only at the given time.
    AtTheTime,
    /// After the window as soon as every I/O that counts has finished.
    WhenMeasured,
}
