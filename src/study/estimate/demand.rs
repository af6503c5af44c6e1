//! What a workload asks for: I/Os per second at each host, and bytes on the wire per I/O.

use super::Load;
use crate::site::{ArrayFamily, Arrivals, Per, Workload};
use crate::topology::Fabric;
use crate::wire::{Encapsulation, Op, Plan, Toward};
use std::collections::BTreeMap;

/// The I/O rates of a workload, host by host.
#[derive(Clone, Debug, PartialEq)]
pub struct Asked {
    /// Index into [`Fabric::hosts`], rising, and I/Os per second; `None` in a closed loop, whose rate depends on
    /// the answers.
    pub hosts: Vec<(usize, Option<Load>)>,
}

impl Asked {
    /// The rate at one host.
    #[must_use]
    pub fn at_host(&self, host: usize) -> Option<Load> {
        let found = self.hosts.binary_search_by_key(&host, |(known, _)| *known);
        self.hosts[found.ok()?].1
    }

    /// All hosts together; `None` in a closed loop.
    #[must_use]
    pub fn total(&self) -> Option<Load> {
        let mut sum = Load::default();
        for (_, rate) in &self.hosts {
            sum.add((*rate)?, 1.0);
        }
        Some(sum)
    }
}

/// Mean wire bytes and frames of one I/O in one direction, pure ACKs included.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct WireBytes {
    /// Bytes on the protocol's own kind of link.
    pub native: f64,
    /// Bytes as `FCoE`; equal to `native` for anything that is not Fibre Channel.
    pub fcoe: f64,
    /// Frames.
    pub frames: f64,
}

/// Mean wire bytes of one I/O, both ways.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct PerIo {
    /// From the host.
    pub to_array: WireBytes,
    /// From the array.
    pub to_host: WireBytes,
}

/// Rates of a workload at each of its hosts.
#[must_use]
#[allow(clippy::cast_precision_loss)]
pub fn asked(fabric: &Fabric, workload: &Workload) -> Asked {
    let hosts: Vec<usize> = (0..fabric.hosts.len())
        .filter(|host| workload.hosts.contains(&fabric.hosts[*host].family))
        .collect();
    let share = match workload.per {
        Per::Workload => 1.0 / hosts.len().max(1) as f64,
        Per::Host => 1.0,
    };
    let steady = |rate: f64| Load {
        mean: rate,
        burst: rate,
    };
    let rate = |position: usize| match &workload.arrivals {
        Arrivals::Poisson(rate) | Arrivals::Paced(rate) => Some(steady(rate * share)),
        Arrivals::Bursty(burst) => {
            let duty = burst.burst.as_secs_f64() / burst.every.as_secs_f64();
            let mean = burst.peak * duty + burst.base * (1.0 - duty);
            Some(Load {
                mean: mean * share,
                burst: burst.peak * share,
            })
        }
        Arrivals::Closed { .. } => None,
        Arrivals::Replay(replay) => {
            // Copies are dealt over the hosts in turn, whole ones.
            let copies = (position..replay.copies as usize)
                .step_by(hosts.len().max(1))
                .count();
            let lap = replay.span.as_secs_f64() / replay.speed;
            Some(steady(replay.entries.len() as f64 * copies as f64 / lap))
        }
    };
    Asked {
        hosts: hosts
            .iter()
            .enumerate()
            .map(|(position, host)| (*host, rate(position)))
            .collect(),
    }
}

/// Kinds and sizes of a workload with their shares; the shares add up to 1.
#[must_use]
#[allow(clippy::cast_precision_loss)]
pub fn mix(workload: &Workload) -> Vec<(Op, u64, f64)> {
    if let Arrivals::Replay(replay) = &workload.arrivals {
        let mut counts: BTreeMap<(Op, u64), u64> = BTreeMap::new();
        for entry in replay.entries.iter() {
            *counts.entry((entry.op, u64::from(entry.size))).or_insert(0) += 1;
        }
        let all = replay.entries.len() as f64;
        return counts
            .into_iter()
            .map(|((op, size), count)| (op, size, count as f64 / all))
            .collect();
    }
    let sizes = &workload.sizes;
    // A kind without sizes of its own is never drawn: the other stands for it.
    let reads = match (sizes.read.is_empty(), sizes.write.is_empty()) {
        (true, _) => 0.0,
        (false, true) => 1.0,
        (false, false) => workload.read,
    };
    let of = |op: Op, share: f64, list: &[(u64, f64)]| -> Vec<(Op, u64, f64)> {
        list.iter()
            .map(|(size, part)| (op, *size, part * share))
            .filter(|(_, _, part)| *part > 0.0)
            .collect()
    };
    let mut all = of(Op::Read, reads, &sizes.read);
    all.extend(of(Op::Write, 1.0 - reads, &sizes.write));
    all
}

/// Mean wire bytes of one I/O.
#[must_use]
pub fn per_io(workload: &Workload) -> PerIo {
    let mut mean = PerIo::default();
    for (op, size, share) in mix(workload) {
        let plan = workload.protocol.plan(op, size);
        add_plan(&mut mean.to_array, &plan, Toward::Array, share);
        add_plan(&mut mean.to_host, &plan, Toward::Host, share);
    }
    mean
}

/// One kind and size of a workload's I/Os.
#[derive(Clone, Copy, Debug)]
pub(in crate::study) struct Kind {
    pub(in crate::study) op: Op,
    pub(in crate::study) size: u64,
    /// Of the workload's I/Os.
    pub(in crate::study) share: f64,
    /// Wire bytes of one.
    pub(in crate::study) wires: PerIo,
}

/// Kinds and sizes of a workload as in [`mix`], with their wire bytes. Each message is planned, which costs: once for a workload, and never
/// for each of its hosts or paths.
pub(in crate::study) fn kinds(workload: &Workload) -> Vec<Kind> {
    let all = mix(workload).into_iter();
    let one = |(op, size, share): (Op, u64, f64)| {
        let mut wires = PerIo::default();
        let plan = workload.protocol.plan(op, size);
        add_plan(&mut wires.to_array, &plan, Toward::Array, 1.0);
        add_plan(&mut wires.to_host, &plan, Toward::Host, 1.0);
        Kind {
            op,
            size,
            share,
            wires,
        }
    };
    all.map(one).collect()
}

/// Sizes are far below 2^53 bytes.
#[allow(clippy::cast_precision_loss)]
fn add_plan(mean: &mut WireBytes, plan: &Plan, toward: Toward, share: f64) {
    let acks: u64 = plan
        .volleys
        .iter()
        .filter(|volley| volley.toward == toward.other())
        .map(|volley| u64::from(volley.acks()) * u64::from(volley.ack_bytes.unwrap_or(0)))
        .sum();
    let native = plan.wire_bytes(toward, Encapsulation::Ethernet) + acks;
    let fcoe = plan.wire_bytes(toward, Encapsulation::Fcoe) + acks;
    mean.native += share * native as f64;
    mean.fcoe += share * fcoe as f64;
    mean.frames += share * (plan.frames(toward) + plan.acks(toward)) as f64;
}

/// Mean time one I/O of a workload holds one of the requests that a controller works on at once, seconds:
/// service, time per MiB and mirror trip.
#[must_use]
pub fn mean_service_s(workload: &Workload, array: &ArrayFamily) -> f64 {
    mix(workload)
        .into_iter()
        .map(|(op, size, share)| share * service_s(array, op, size))
        .sum()
}

/// Mean service of the slowest kind of I/O of a workload: of its reads that miss, if some do. Seconds.
#[must_use]
#[allow(clippy::cast_precision_loss)]
pub(crate) fn slowest_service_s(workload: &Workload, array: &ArrayFamily) -> f64 {
    let of = |(op, size, _): (Op, u64, f64)| {
        let whole = service_s(array, op, size);
        match op {
            Op::Write => whole,
            Op::Read => {
                let read = &array.read;
                let mib = size as f64 / f64::from(1 << 20);
                let hit = (read.hit > 0.0).then(|| read.hit_time.mean_s());
                let miss = (read.hit < 1.0).then(|| read.miss_time.mean_s());
                let slower = hit.into_iter().chain(miss).fold(0.0, f64::max);
                slower + mib * read.per_mib.as_secs_f64()
            }
        }
    };
    mix(workload).into_iter().map(of).fold(0.0, f64::max)
}

/// The same for one kind and size.
#[allow(clippy::cast_precision_loss)]
pub(super) fn service_s(array: &ArrayFamily, op: Op, size: u64) -> f64 {
    let mib = size as f64 / f64::from(1 << 20);
    match op {
        Op::Read => {
            let read = &array.read;
            read.hit * read.hit_time.mean_s()
                + (1.0 - read.hit) * read.miss_time.mean_s()
                + mib * read.per_mib.as_secs_f64()
        }
        Op::Write => {
            let write = &array.write;
            write.time.mean_s() + mib * write.per_mib.as_secs_f64() + write.mirror.as_secs_f64()
        }
    }
}
