//! Would links served in the order of the flow, a stretch of time at a stroke, be faster than events?
//!
//! The reference workload twice: by the program as it is, one event a hop, and by a loop written for this
//! one network, which takes the links in the order in which frames cross them, each with everything that
//! comes to it within a window. No event set is needed then, and the figures of a link stay in the cache
//! while its frames are served. It counts the same as the program for each frame and I/O: figures of links
//! over time, waits, what a frame would wait behind its own message alone, the latency budget. That both
//! find the same sum of latencies, to the picosecond, is asserted.
//!
//! A window may be as long as the time in which nothing that happens can change what came before it in the
//! flow. On the reference workload nothing ever does: paths are chosen at random and no queue depth binds.
//! Where hosts choose by what has come back (the usual policy), a window is no longer than the fixed part
//! of a round trip: some microseconds. Both are measured.
//!
//! Left out of the loop, which makes it faster than an executor could be: more than one workload, other
//! protocols, faults, retries, queue depths, routes that are looked up.

use halfloom::measure::{Histogram, LevelSeries, Peak, Series, Sum, TimeAverage, add_interval};
use halfloom::model::{Compiled, FlowCell, Limits, Stop, Watch, World};
use halfloom::scenario::{Source, read, render_problems};
use halfloom::unit::{Duration, Instant};
use halfloom::workload::{ArrivalStream, IoDraw, StreamName, Template};
use std::cmp::Reverse;
use std::collections::{BinaryHeap, VecDeque};
use std::time::Instant as Clock;

const HOSTS: usize = 8;
const HOPS: usize = 4;
const FRAMES: u32 = 4;
const LATENCY: u64 = 500_000;
const ROUNDS: usize = 5;

/// A frame on its way: what is sorted comes first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
struct Frame {
    ready: u64,
    /// Host, number of the I/O, number of the frame: the program's order within an instant.
    tie: u64,
    io: u32,
    last: bool,
}

/// What one link direction keeps and counts.
struct Lane {
    inbox: Vec<Frame>,
    free: u64,
    ser: u64,
    bytes: u64,
    hop: usize,
    starts: VecDeque<u64>,
    offered: u64,
    delivered: u64,
    delivered_bytes: u64,
    payload: u64,
    wait: Histogram,
    busy: Series<Sum>,
    asked: Series<Sum>,
    stretch: (u64, u64),
    queue_max: usize,
    ahead_max: u64,
}

#[derive(Clone, Copy, Default)]
struct Io {
    arrival: u64,
    service: u64,
    port: usize,
    own_free: [u64; HOPS],
    serialization: u64,
    queueing: [u64; 2 * HOPS],
    propagation: u64,
    queued: u64,
    array_queue: u64,
}

/// Sums over all I/Os.
struct Totals {
    completed: u64,
    hops: u64,
    latency: Histogram,
    series: Series<FlowCell>,
    backlog: LevelSeries,
    oldest: Series<Peak>,
    serialization: u128,
    propagation: u128,
    queueing: [u128; 2 * HOPS],
    array_queue: u128,
    service: u128,
    host_wait: Histogram,
}

impl Lane {
    fn new(bytes: u64, gbps: f64, hop: usize, end: Instant) -> Self {
        let series = || Series::watched(Instant::ZERO, end).reaching(end);
        // Bits × 1000 ÷ (Gb/s) in picoseconds, rounded up.
        let ser = (bytes as f64 * 8_000.0 / gbps - 1e-9).ceil() as u64;
        Self {
            inbox: Vec::new(),
            free: 0,
            ser,
            bytes,
            hop,
            starts: VecDeque::new(),
            offered: 0,
            delivered: 0,
            delivered_bytes: 0,
            payload: 0,
            wait: Histogram::with_memory(),
            busy: series(),
            asked: series(),
            stretch: (0, 0),
            queue_max: 0,
            ahead_max: 0,
        }
    }

    /// Serves what is ready before `until`; `onward` gets each frame, with the time that it arrives.
    fn serve(&mut self, until: u64, ios: &mut [Io], mut onward: impl FnMut(Frame, u64)) {
        if self.inbox.is_empty() {
            return;
        }
        // Streams that are in order each, one behind the other: what the standard library's sort merges.
        self.inbox.sort();
        let here = self.inbox.partition_point(|frame| frame.ready < until);
        for frame in &self.inbox[..here] {
            let start = frame.ready.max(self.free);
            let end = start + self.ser;
            self.free = end;
            self.offered += 1;
            self.asked.at(Instant(frame.ready)).0 += self.ser;
            if start > frame.ready {
                while self
                    .starts
                    .front()
                    .is_some_and(|start| *start <= frame.ready)
                {
                    self.starts.pop_front();
                }
                self.starts.push_back(start);
                self.queue_max = self.queue_max.max(self.starts.len());
                self.ahead_max = self.ahead_max.max(start - frame.ready);
            } else {
                self.starts.clear();
            }
            self.delivered += 1;
            self.delivered_bytes += self.bytes;
            self.payload += self.bytes;
            self.wait.record(Duration(start - frame.ready));
            if start == self.stretch.1 {
                self.stretch.1 = end;
            } else {
                let (from, to) = std::mem::replace(&mut self.stretch, (start, end));
                add_interval(&mut self.busy, Instant(from), Instant(to));
            }
            let io = &mut ios[frame.io as usize];
            let own_start = frame.ready.max(io.own_free[self.hop % HOPS]);
            io.own_free[self.hop % HOPS] = own_start + self.ser;
            if frame.last {
                let wait = start - frame.ready;
                let own = (own_start - frame.ready).min(wait);
                io.serialization += own + self.ser;
                io.propagation += LATENCY;
                io.queueing[self.hop] += wait - own;
            }
            onward(*frame, end + LATENCY);
        }
        self.inbox.drain(..here);
    }
}

/// The whole network in flow order, window by window.
fn in_flow_order(compiled: &Compiled, window: u64) -> Totals {
    let site = &compiled.site;
    let end = site.run.duration.0;
    let workload = &site.workloads[0];
    let template = Template::new(workload);
    let array = &site.arrays[0];
    let names: Vec<StreamName> = (1..=HOSTS)
        .map(|host| StreamName::new(site.run.seed, 0, &workload.name, &format!("host-{host}")))
        .collect();
    let mut sources: Vec<(ArrivalStream, Option<(Instant, u64, Option<u32>)>)> = (0_u32..)
        .zip(&names)
        .map(|(host, name)| {
            let mut stream = ArrivalStream::new(workload, &template, *name, host, HOSTS as u32);
            let first = stream.next_arrival();
            (stream, first)
        })
        .collect();
    let stop = Instant(end);
    let lanes = |count: usize, bytes: u64, gbps: f64, hop: usize| -> Vec<Lane> {
        (0..count)
            .map(|_| Lane::new(bytes, gbps, hop, stop))
            .collect()
    };
    let mut there = [
        lanes(HOSTS, 100, 27.2, 0),
        lanes(2, 100, 100.0, 1),
        lanes(2, 100, 100.0, 2),
        lanes(2, 100, 27.2, 3),
    ];
    let mut back = [
        lanes(2, 2_108, 27.2, 4),
        lanes(2, 2_108, 100.0, 5),
        lanes(2, 2_108, 100.0, 6),
        lanes(HOSTS, 2_108, 27.2, 7),
    ];
    let mut ios: Vec<Io> = Vec::new();
    let mut unused: Vec<u32> = Vec::new();
    let mut totals = Totals {
        completed: 0,
        hops: 0,
        latency: Histogram::with_memory(),
        series: Series::watched(Instant::ZERO, stop).reaching(stop),
        backlog: LevelSeries::new(),
        oldest: Series::new(),
        serialization: 0,
        propagation: 0,
        queueing: [0; 2 * HOPS],
        array_queue: 0,
        service: 0,
        host_wait: Histogram::with_memory(),
    };
    // Requests that wait at the array, and its servers: when each is free, and with whom it is busy.
    let mut requests: Vec<Frame> = Vec::new();
    let mut free: BinaryHeap<Reverse<u64>> = (0..array.parallel).map(|_| Reverse(0)).collect();
    let mut ends: BinaryHeap<Reverse<(u64, u64, u32)>> = BinaryHeap::new();
    let mut in_service = TimeAverage::new(Instant::ZERO, stop);
    let mut controller_wait = Histogram::with_memory();
    let mut done: Vec<Frame> = Vec::new();
    let mut changes: Vec<(u64, bool)> = Vec::new();
    let mut level = 0;
    let mut from = 0;
    while totals.completed < totals.host_wait.count() || from < end {
        let until = from + window;
        for (host, (stream, next)) in sources.iter_mut().enumerate() {
            while let Some((at, number, _)) = *next
                && at.0 < until
            {
                let draw = IoDraw::new(&names[host], number, 0, &template, array, None);
                let io = Io {
                    arrival: at.0,
                    service: draw.service.0,
                    port: (draw.path_bits % 2) as usize,
                    ..Io::default()
                };
                let slot = if let Some(slot) = unused.pop() {
                    ios[slot as usize] = io;
                    slot
                } else {
                    ios.push(io);
                    (ios.len() - 1) as u32
                };
                // Traffic goes on until all that came before the end has finished, and is not counted.
                if at.0 < end {
                    totals.host_wait.record(Duration::ZERO);
                }
                totals.series.at(at).arrived += 1;
                totals.oldest.at(at).raise(0);
                changes.push((at.0, true));
                there[0][host].inbox.push(Frame {
                    ready: at.0,
                    tie: (host as u64) << 50 | number << 3,
                    io: slot,
                    last: true,
                });
                *next = stream.next_arrival();
            }
        }
        for hop in 0..HOPS {
            let (before, after) = there.split_at_mut(hop + 1);
            for (index, lane) in before[hop].iter_mut().enumerate() {
                lane.serve(until, &mut ios, |frame, at| {
                    let frame = Frame { ready: at, ..frame };
                    // Leaves have every second host; from the middle on the array's port decides.
                    match hop {
                        0 => after[0][index % 2].inbox.push(frame),
                        1 => after[0][(frame.tie & 1) as usize].inbox.push(frame),
                        2 => after[0][index].inbox.push(frame),
                        _ => requests.push(frame),
                    }
                });
            }
            if hop == 0 {
                // The port is written into the tie word once, so that later hops need not look it up.
                for lane in &mut after[0] {
                    for frame in &mut lane.inbox {
                        frame.tie = frame.tie & !1 | ios[frame.io as usize].port as u64;
                    }
                }
            }
        }
        requests.sort();
        let here = requests.partition_point(|request| request.ready < until);
        for request in requests.drain(..here) {
            let Reverse(first) = free.pop().expect("there are servers");
            let start = first.max(request.ready);
            let io = &mut ios[request.io as usize];
            io.queued = request.ready;
            io.array_queue = start - request.ready;
            controller_wait.record(Duration(io.array_queue));
            free.push(Reverse(start + io.service));
            ends.push(Reverse((start + io.service, request.tie, request.io)));
        }
        while let Some(Reverse((at, tie, slot))) = ends.peek().copied()
            && at < until
        {
            ends.pop();
            in_service.set(Instant(at), ends.len() as u64);
            let io = &mut ios[slot as usize];
            io.own_free = [0; HOPS];
            let port = io.port;
            for number in 0..FRAMES {
                back[0][port].inbox.push(Frame {
                    ready: at,
                    tie: tie & !7 | u64::from(number) << 1 | (tie & 1),
                    io: slot,
                    last: number + 1 == FRAMES,
                });
            }
        }
        for hop in 0..HOPS {
            let (before, after) = back.split_at_mut(hop + 1);
            for (index, lane) in before[hop].iter_mut().enumerate() {
                lane.serve(until, &mut ios, |frame, at| {
                    let frame = Frame { ready: at, ..frame };
                    let host = (frame.tie >> 50) as usize;
                    match hop {
                        0 => after[0][index].inbox.push(frame),
                        1 => after[0][host % 2].inbox.push(frame),
                        2 => after[0][host].inbox.push(frame),
                        _ if frame.last => done.push(frame),
                        _ => {}
                    }
                });
            }
        }
        done.sort();
        let here = done.partition_point(|frame| frame.ready < until);
        for frame in done.drain(..here) {
            let io = ios[frame.io as usize];
            let latency = frame.ready - io.arrival;
            unused.push(frame.io);
            if io.arrival < end {
                totals.completed += 1;
                totals.latency.record(Duration(latency));
            }
            let cell = totals.series.at(Instant(frame.ready));
            cell.completed += 1;
            cell.latency += u128::from(latency);
            cell.bytes += 8_432;
            changes.push((frame.ready, false));
            totals.serialization += u128::from(io.serialization);
            totals.propagation += u128::from(io.propagation);
            for (sum, part) in totals.queueing.iter_mut().zip(io.queueing) {
                *sum += u128::from(part);
            }
            totals.array_queue += u128::from(io.array_queue);
            totals.service += u128::from(io.service);
            let parts = io.serialization
                + io.propagation
                + io.queueing.iter().sum::<u64>()
                + io.array_queue
                + io.service;
            assert_eq!(parts, latency, "the parts add up");
        }
        changes.sort_unstable();
        for (at, arrives) in changes.drain(..) {
            level = if arrives { level + 1 } else { level - 1 };
            totals.backlog.set(Instant(at), level);
        }
        from = until;
    }
    let all = there.iter().chain(&back).flatten();
    totals.hops = all.map(|lane| lane.delivered).sum();
    totals
}

fn by_events(compiled: &Compiled) -> (u64, u64, u128) {
    let end = Instant(compiled.site.run.duration.0);
    let watch = Watch {
        from: Instant::ZERO,
        to: end,
        transient: false,
    };
    let limits = Limits {
        events: compiled.site.run.events_max,
    };
    let mut world = World::new(compiled, 0, watch, limits);
    world.run_until(Instant(end.0 + 1_000_000_000_000), Stop::WhenMeasured);
    let tally = world.finish();
    let hops = tally.directions.iter().map(|over| over.delivered).sum();
    let reads = &tally.workloads[0].reads.latency;
    (reads.count(), hops, reads.sum())
}

fn main() {
    let source = Source {
        name: "storage-lite.toml",
        text: include_str!("scenarios/storage-lite.toml"),
    };
    let set = [("run.duration".to_owned(), "200ms".to_owned())];
    let loaded = match read(source, &set, &|name| Err(format!("no file {name}"))) {
        Ok(loaded) => loaded,
        Err(problems) => panic!("{}", render_problems(&problems)),
    };
    let compiled = Compiled::new(&loaded.site, &[]);
    let windows = [
        ("1 ms", 1_000_000_000),
        ("100 us", 100_000_000),
        ("8 us", 8_000_000),
        ("2 us", 2_000_000),
    ];
    let mut best = vec![f64::INFINITY; windows.len() + 1];
    for _ in 0..ROUNDS {
        let clock = Clock::now();
        let (ios, hops, sum) = by_events(&compiled);
        best[0] = best[0].min(clock.elapsed().as_secs_f64());
        for (index, (name, window)) in windows.iter().enumerate() {
            let clock = Clock::now();
            let totals = in_flow_order(&compiled, *window);
            best[index + 1] = best[index + 1].min(clock.elapsed().as_secs_f64());
            assert_eq!(totals.latency.count(), ios, "I/Os, windows of {name}");
            assert_eq!(totals.latency.sum(), sum, "latencies, windows of {name}");
            assert!(totals.hops >= hops);
        }
    }
    println!("storage-lite, 200 ms of 400,000 I/Os a second, best of {ROUNDS} rounds");
    println!("by events: {:.1} ms", best[0] * 1e3);
    for ((name, _), seconds) in windows.iter().zip(&best[1..]) {
        println!(
            "in flow order, windows of {name}: {:.1} ms, x {:.2}",
            seconds * 1e3,
            best[0] / seconds
        );
    }
}
