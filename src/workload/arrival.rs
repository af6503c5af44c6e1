//! When the I/Os of one workload arrive at one host.

use super::draw::{StreamName, Template, purpose};
use crate::site::{Arrivals, Burst, BurstLaw, Per, Replay, Workload};
use crate::unit::{Duration, Instant};
use std::sync::Arc;

/// The arrivals of one workload at one host, one after the other, in constant memory.
///
/// Closed loops have none of their own: their I/Os arrive when earlier ones complete.
#[derive(Clone, Debug)]
pub struct ArrivalStream {
    name: StreamName,
    process: Process,
    number: u64,
}

#[derive(Clone, Debug)]
enum Process {
    /// Gaps of this mean.
    Poisson {
        mean_ps: f64,
        at_ps: f64,
    },
    /// The n-th at phase + n × period.
    Paced {
        phase_ps: f64,
        period_ps: f64,
    },
    Bursty(Modulated),
    /// One cursor a copy.
    Replay(Copies),
    /// None but the first ones: they begin within this time, at random.
    Closed {
        within_ps: f64,
    },
}

/// A rate that alternates; the gap is measured in expected arrivals.
#[derive(Clone, Debug)]
struct Modulated {
    peak_per_ps: f64,
    base_per_ps: f64,
    burst_ps: f64,
    rest_ps: f64,
    law: BurstLaw,
    /// Names the stream of state lengths; hosts that burst together share it.
    lengths: StreamName,
    at_ps: f64,
    in_burst: bool,
    state_ends_ps: f64,
    states: u64,
}

#[derive(Clone, Debug)]
struct Copies {
    replay: Replay,
    kinds: Arc<Vec<u32>>,
    /// For each copy: entry index, added time in ps (shift and laps).
    cursors: Vec<(usize, f64)>,
    lap_ps: f64,
}

impl ArrivalStream {
    /// The stream of `workload` at host `position` of `hosts` (all hosts that issue the workload).
    #[must_use]
    pub fn new(
        workload: &Workload,
        template: &Template,
        name: StreamName,
        position: u32,
        hosts: u32,
    ) -> Self {
        let share = match workload.per {
            Per::Workload => f64::from(hosts.max(1)),
            Per::Host => 1.0,
        };
        let process = match &workload.arrivals {
            Arrivals::Poisson(rate) => Process::Poisson {
                mean_ps: 1e12 * share / rate,
                at_ps: 0.0,
            },
            Arrivals::Paced(rate) => {
                let period_ps = 1e12 * share / rate;
                let phase_ps = name.draws(purpose::PHASE, 0).uniform() * period_ps;
                Process::Paced {
                    phase_ps,
                    period_ps,
                }
            }
            Arrivals::Bursty(burst) => Process::Bursty(Modulated::new(burst, share, &name)),
            #[allow(clippy::cast_precision_loss)]
            Arrivals::Closed {
                think, together, ..
            } => Process::Closed {
                within_ps: if *together { 0.0 } else { think.0 as f64 },
            },
            Arrivals::Replay(replay) => {
                Process::Replay(Copies::new(replay, template, &name, position, hosts))
            }
        };
        Self {
            name,
            process,
            number: 0,
        }
    }

    /// The next arrival: when, its number, and the kind where a trace states it. `None` for closed loops
    /// and hosts without a copy of a trace.
    pub fn next_arrival(&mut self) -> Option<(Instant, u64, Option<u32>)> {
        let number = self.number;
        let gap = |name: &StreamName| name.draws(purpose::GAP, number).exponential();
        let (at_ps, kind) = match &mut self.process {
            Process::Poisson { mean_ps, at_ps } => {
                *at_ps += *mean_ps * gap(&self.name);
                (*at_ps, None)
            }
            #[allow(clippy::cast_precision_loss)]
            Process::Paced {
                phase_ps,
                period_ps,
            } => (*phase_ps + *period_ps * number as f64, None),
            Process::Bursty(modulated) => (modulated.advance(gap(&self.name)), None),
            Process::Replay(copies) => {
                let (at, kind) = copies.next()?;
                (at, Some(kind))
            }
            Process::Closed { .. } => return None,
        };
        self.number += 1;
        Some((Instant(Duration::from_ps_f64(at_ps).0), number, kind))
    }

    /// When the next of the I/Os with which a closed loop begins arrives, and its number: at random within the first pause, as a
    /// loop that has long been running would be found, or at time zero where all begin together. Time zero for other arrivals.
    pub fn first_of_loop(&mut self) -> (Instant, u64) {
        let number = self.take_number();
        let within_ps = match self.process {
            Process::Closed { within_ps } => within_ps,
            _ => 0.0,
        };
        let at_ps = within_ps * self.name.draws(purpose::PHASE, number).uniform();
        (Instant(Duration::from_ps_f64(at_ps).0), number)
    }

    /// Takes the next number without an arrival time: closed loops.
    pub fn take_number(&mut self) -> u64 {
        self.number += 1;
        self.number - 1
    }
}

impl Modulated {
    #[allow(clippy::cast_precision_loss)]
    fn new(burst: &Burst, share: f64, name: &StreamName) -> Self {
        let burst_ps = burst.burst.0 as f64;
        let every_ps = burst.every.0 as f64;
        let mut modulated = Self {
            peak_per_ps: burst.peak / share / 1e12,
            base_per_ps: burst.base / share / 1e12,
            burst_ps,
            rest_ps: every_ps - burst_ps,
            law: burst.law,
            lengths: if burst.together {
                name.of_all_hosts()
            } else {
                *name
            },
            at_ps: 0.0,
            in_burst: true,
            state_ends_ps: burst_ps,
            states: 0,
        };
        match burst.law {
            BurstLaw::Fixed if !burst.together => {
                // Start somewhere in the cycle: the time already gone is subtracted from the clock.
                let gone = name.draws(purpose::PHASE, 0).uniform() * every_ps;
                modulated.in_burst = gone < burst_ps;
                modulated.state_ends_ps = if modulated.in_burst {
                    burst_ps - gone
                } else {
                    every_ps - gone
                };
            }
            BurstLaw::Fixed => {}
            BurstLaw::Exponential => {
                let mut draws = modulated.lengths.draws(purpose::PHASE, 0);
                modulated.in_burst = draws.uniform() < burst_ps / every_ps;
                let mean = if modulated.in_burst {
                    burst_ps
                } else {
                    modulated.rest_ps
                };
                modulated.state_ends_ps = mean * draws.exponential();
            }
        }
        modulated
    }

    /// Time at which `expected` more arrivals have become due.
    fn advance(&mut self, mut expected: f64) -> f64 {
        loop {
            let rate = if self.in_burst {
                self.peak_per_ps
            } else {
                self.base_per_ps
            };
            let due_in_state = rate * (self.state_ends_ps - self.at_ps);
            if expected <= due_in_state && rate > 0.0 {
                self.at_ps += expected / rate;
                return self.at_ps;
            }
            expected -= due_in_state;
            self.at_ps = self.state_ends_ps;
            self.in_burst = !self.in_burst;
            self.states += 1;
            let mean = if self.in_burst {
                self.burst_ps
            } else {
                self.rest_ps
            };
            let length = match self.law {
                BurstLaw::Fixed => mean,
                BurstLaw::Exponential => {
                    mean * self
                        .lengths
                        .draws(purpose::STATE, self.states)
                        .exponential()
                }
            };
            self.state_ends_ps += length;
        }
    }
}

impl Copies {
    #[allow(clippy::cast_precision_loss)]
    fn new(
        replay: &Replay,
        template: &Template,
        name: &StreamName,
        position: u32,
        hosts: u32,
    ) -> Self {
        let lap_ps = replay.span.0 as f64 / replay.speed;
        let kinds = replay
            .entries
            .iter()
            .map(|entry| {
                template
                    .index_of(entry.op, u64::from(entry.size))
                    .unwrap_or(0)
            })
            .collect();
        let mut cursors = Vec::new();
        for copy in (position..replay.copies).step_by(hosts.max(1) as usize) {
            if replay.aligned {
                cursors.push((0, 0.0));
                continue;
            }
            // A circular shift: the copy starts inside the trace and wraps around.
            let shift_ps = name.draws(purpose::PHASE, u64::from(copy)).uniform() * lap_ps;
            let first = replay
                .entries
                .partition_point(|entry| (entry.at.0 as f64) / replay.speed < shift_ps);
            if first == replay.entries.len() {
                cursors.push((0, lap_ps - shift_ps));
            } else {
                cursors.push((first, -shift_ps));
            }
        }
        Self {
            replay: replay.clone(),
            kinds: Arc::new(kinds),
            cursors,
            lap_ps,
        }
    }

    #[allow(clippy::cast_precision_loss)]
    fn next(&mut self) -> Option<(f64, u32)> {
        let entries = &self.replay.entries;
        let due =
            |(entry, added): &(usize, f64)| entries[*entry].at.0 as f64 / self.replay.speed + added;
        let (copy, at) = self
            .cursors
            .iter()
            .map(due)
            .enumerate()
            .min_by(|left, right| left.1.total_cmp(&right.1).then(left.0.cmp(&right.0)))?;
        let (entry, added) = &mut self.cursors[copy];
        let kind = self.kinds[*entry];
        *entry += 1;
        if *entry == entries.len() {
            *entry = 0;
            *added += self.lap_ps;
        }
        Some((at, kind))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn fixed_bursts_have_the_stated_mean_and_stay_in_their_window() {
        let burst = Burst {
            peak: 360e3,
            base: 160e3,
            burst: Duration::from_ms(40),
            every: Duration::from_ms(200),
            law: BurstLaw::Fixed,
            together: true,
        };
        let name = StreamName::new(7, 0, "w", "h");
        let mut modulated = Modulated::new(&burst, 1.0, &name);
        let (mut inside, mut all, mut number) = (0_u32, 0_u32, 0);
        loop {
            let at = modulated.advance(name.draws(purpose::GAP, number).exponential());
            number += 1;
            if at >= 1e12 {
                break;
            }
            all += 1;
            inside += u32::from(at % 200e9 < 40e9);
        }
        // Poisson counts: 200,000 and 72,000 in one second, allowance four standard deviations.
        assert!((f64::from(all) - 200_000.0).abs() < 4.0 * 200_000_f64.sqrt());
        assert!((f64::from(inside) - 72_000.0).abs() < 4.0 * 72_000_f64.sqrt());
    }
}
