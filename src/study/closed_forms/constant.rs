//! A closed loop in which nothing is a matter of chance.

use super::super::estimate::{mix, per_io};
use super::Stream;
use crate::site::{Arrivals, Law, Site};
use crate::theory::closed_network::Station;
use crate::wire::Op;

/// I/Os a second of a loop of one host over one path, each of whose I/Os is one frame on every link of its way there, one service that never
/// changes and one frame back: after the first round customers / round, or what the fullest station carries, whichever is less
/// (a cyclic schedule is as long as its longest cycle; F. Baccelli, G. Cohen, G. J. Olsder and J.-P. Quadrat, *Synchronization and
/// Linearity*, 1992, chapter 2, from memory). `stations` are those that queue, `round_s` the idle latency and the pause. `None` where the loop
/// is not like that.
#[allow(clippy::cast_precision_loss)]
pub(super) fn throughput(
    site: &Site,
    streams: &[Stream<'_>],
    stations: &[Station],
    (customers, round_s): (usize, f64),
    queue_depth: Option<u32>,
) -> Option<f64> {
    let [workload] = site.workloads.as_slice() else {
        return None;
    };
    let (Arrivals::Closed { .. }, [stream]) = (&workload.arrivals, streams) else {
        return None;
    };
    let [(op, _, _)] = mix(workload)[..] else {
        return None;
    };
    let array = &site.arrays[stream.set.array];
    let read = &array.read;
    let law = match op {
        Op::Write => &array.write.time,
        Op::Read if read.hit >= 1.0 => &read.hit_time,
        Op::Read if read.hit <= 0.0 => &read.miss_time,
        Op::Read => return None,
    };
    let wire = per_io(workload);
    let one_frame = |frames: f64| (frames - 1.0).abs() < 1e-9;
    let simple = matches!(law, Law::Constant(_))
        && one_frame(wire.to_array.frames)
        && one_frame(wire.to_host.frames)
        && workload.protocol.tcp().is_none()
        && queue_depth.is_none_or(|depth| depth as usize >= customers)
        && workload.outstanding.is_none();
    let carried = stations.iter().map(|station| match station {
        Station::Queue { demand, servers } => *servers as f64 / demand,
        Station::Delay { .. } => f64::INFINITY,
    });
    let all = customers as f64 / round_s;
    (simple && round_s > 0.0).then(|| carried.fold(all, f64::min))
}
