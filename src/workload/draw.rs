//! The draws of one I/O.

use crate::engine::Draws;
use crate::site::{ArrayFamily, Law, Workload};
use crate::unit::{Duration, name_hash};
use crate::wire::Op;

/// What a stream of random numbers is named after.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct StreamName {
    seed: u64,
    replication: u64,
    workload: u64,
    host: u64,
    /// All of them mixed: what the names of its streams begin with.
    beginning: u64,
}

impl StreamName {
    /// The name of `workload` at `host`, in replication `replication` (from 0) with seed `seed`.
    #[must_use]
    pub fn new(seed: u64, replication: u64, workload: &str, host: &str) -> Self {
        Self::of(seed, replication, name_hash(workload), name_hash(host))
    }

    fn of(seed: u64, replication: u64, workload: u64, host: u64) -> Self {
        Self {
            seed,
            replication,
            workload,
            host,
            beginning: Draws::beginning(&[seed, replication, workload, host]),
        }
    }

    /// The same of no host: what all hosts have in common.
    #[must_use]
    pub fn of_all_hosts(&self) -> Self {
        Self::of(self.seed, self.replication, self.workload, 0)
    }

    /// Draws of one I/O; `purpose` keeps independent uses apart.
    #[must_use]
    #[inline]
    pub fn draws(&self, purpose: u64, number: u64) -> Draws {
        Draws::within(self.beginning, &[purpose, number])
    }
}

/// Purposes of draws.
pub(crate) mod purpose {
    /// Kind, size, volume, connection, service.
    pub(crate) const IO: u64 = 1;
    /// Gap before an I/O.
    pub(crate) const GAP: u64 = 2;
    /// Phase of a host.
    pub(crate) const PHASE: u64 = 3;
    /// Length of a state of a modulated stream.
    pub(crate) const STATE: u64 = 4;
    /// Service of a later attempt.
    pub(crate) const RETRY: u64 = 5;
}

/// The kinds and sizes a workload asks for, each with an index (that of its compiled plan).
#[derive(Clone, Debug)]
pub struct Template {
    /// Share of reads.
    pub read: f64,
    /// Cumulative share and index, reads.
    reads: Vec<(f64, u32)>,
    /// The same for writes.
    writes: Vec<(f64, u32)>,
    /// Volumes.
    pub volumes: u32,
    /// Connections.
    pub connections: u32,
    /// Kind and size by index.
    pub kinds: Vec<(Op, u64)>,
}

impl Template {
    /// Of a workload; the kinds of a trace are its distinct (op, size) pairs.
    #[must_use]
    pub fn new(workload: &Workload) -> Self {
        let mut kinds: Vec<(Op, u64)> = Vec::new();
        let mut add = |op: Op, size: u64| {
            let known = kinds.iter().position(|kind| *kind == (op, size));
            let index = known.unwrap_or_else(|| {
                kinds.push((op, size));
                kinds.len() - 1
            });
            u32::try_from(index).unwrap_or(u32::MAX)
        };
        let mut cumulative = |op: Op, mix: &[(u64, f64)]| {
            let mut sum = 0.0;
            let list: Vec<(f64, u32)> = mix
                .iter()
                .map(|(size, share)| {
                    sum += share;
                    (sum, add(op, *size))
                })
                .collect();
            list
        };
        let reads = cumulative(Op::Read, &workload.sizes.read);
        let writes = cumulative(Op::Write, &workload.sizes.write);
        if let crate::site::Arrivals::Replay(replay) = &workload.arrivals {
            for entry in replay.entries.iter() {
                add(entry.op, u64::from(entry.size));
            }
        }
        Self {
            read: workload.read,
            reads,
            writes,
            volumes: workload.volumes.max(1),
            connections: workload.connections.max(1),
            kinds,
        }
    }

    fn kind(&self, draws: &mut Draws) -> u32 {
        let is_read = draws.uniform() < self.read;
        let mix = if is_read && !self.reads.is_empty() || self.writes.is_empty() {
            &self.reads
        } else {
            &self.writes
        };
        let at = draws.uniform();
        mix.iter()
            .find(|(sum, _)| at < *sum)
            .or(mix.last())
            .map_or(0, |(_, index)| *index)
    }

    /// Index of a kind.
    #[must_use]
    pub fn index_of(&self, op: Op, size: u64) -> Option<u32> {
        let index = self.kinds.iter().position(|kind| *kind == (op, size))?;
        u32::try_from(index).ok()
    }
}

/// Everything drawn for one I/O.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct IoDraw {
    /// Index of kind and size.
    pub kind: u32,
    /// Volume, from 0.
    pub volume: u32,
    /// Connection of whichever path it gets, from 0.
    pub connection: u32,
    /// Picks a path under the random policy.
    pub path_bits: u64,
    /// Array service time, per-byte cost included, mirror trip excluded.
    pub service: Duration,
    /// Mirror trip of a write; zero for reads.
    pub mirror: Duration,
}

impl IoDraw {
    /// Draws I/O `number`. `given` is the kind where a trace states it. Attempts after the first draw
    /// their service (and connection) anew.
    #[must_use]
    pub fn new(
        name: &StreamName,
        number: u64,
        attempt: u64,
        template: &Template,
        array: &ArrayFamily,
        given: Option<u32>,
    ) -> Self {
        let mut draws = name.draws(purpose::IO, number);
        let drawn = template.kind(&mut draws);
        let kind = given.unwrap_or(drawn);
        let volume = draws.below(u64::from(template.volumes));
        if attempt > 0 {
            draws = name.draws(purpose::RETRY.wrapping_add(attempt << 8), number);
        }
        let connection = draws.below(u64::from(template.connections));
        let path_bits = draws.bits();
        let (op, size) = template.kinds[kind as usize];
        let (service, mirror) = service_time(&mut draws, array, op, size);
        Self {
            kind,
            volume: u32::try_from(volume).unwrap_or(0),
            connection: u32::try_from(connection).unwrap_or(0),
            path_bits,
            service,
            mirror,
        }
    }
}

fn service_time(draws: &mut Draws, array: &ArrayFamily, op: Op, size: u64) -> (Duration, Duration) {
    let per_byte = |per_mib: Duration| {
        let ps = u128::from(per_mib.0) * u128::from(size) / (1 << 20);
        Duration(u64::try_from(ps).unwrap_or(u64::MAX))
    };
    match op {
        Op::Read => {
            let hit = draws.uniform() < array.read.hit;
            let law = if hit {
                &array.read.hit_time
            } else {
                &array.read.miss_time
            };
            (
                sample(law, draws) + per_byte(array.read.per_mib),
                Duration::ZERO,
            )
        }
        Op::Write => (
            sample(&array.write.time, draws) + per_byte(array.write.per_mib),
            array.write.mirror,
        ),
    }
}

/// One draw from a law, to the nearest picosecond.
#[must_use]
#[allow(clippy::cast_precision_loss)]
pub fn sample(law: &Law, draws: &mut Draws) -> Duration {
    match law {
        Law::Constant(time) => *time,
        Law::Exponential(mean) => Duration::from_ps_f64(mean.0 as f64 * draws.exponential()),
        Law::Lognormal { median, sigma } => {
            Duration::from_ps_f64(median.0 as f64 * libm::exp(sigma * draws.normal()))
        }
        Law::Mixture(parts) => {
            let at = draws.uniform();
            let mut sum = 0.0;
            let chosen = parts.iter().find(|(weight, _)| {
                sum += weight;
                at < sum
            });
            chosen
                .or(parts.last())
                .map_or(Duration::ZERO, |(_, law)| sample(law, draws))
        }
        Law::Empirical(times) => {
            let index = draws.below(times.len() as u64);
            usize::try_from(index)
                .ok()
                .and_then(|index| times.get(index))
                .copied()
                .unwrap_or(Duration::ZERO)
        }
    }
}
