//! Several equal servers behind one queue, first come first served: M/M/c (Erlang B and C) and M/D/c.
//!
//! Arrivals are Poisson. Load in erlangs = rate × mean service; utilization = load ÷ servers.

use super::steady;

/// More servers than this are refused: the equations of M/D/c grow with the square.
pub const SERVERS_MAX: usize = 512;

/// Erlang B: the chance that all `servers` are busy when there is no queue, by the recursion
/// B_k = aB_{k−1} ÷ (k + aB_{k−1}), which has no factorials and is safe for any number. Source: any text on
/// teletraffic (Erlang 1917; from memory).
#[must_use]
#[allow(clippy::cast_precision_loss)]
pub fn erlang_b(servers: usize, load: f64) -> f64 {
    (1..=servers).fold(1.0, |blocked, k| {
        load * blocked / (k as f64 + load * blocked)
    })
}

/// Erlang C: the chance to wait in M/M/c, C = B ÷ (1 − ρ(1−B)). Source as [`erlang_b`].
#[must_use]
#[allow(clippy::cast_precision_loss)]
pub fn erlang_c(servers: usize, load: f64) -> Option<f64> {
    let utilization = load / servers as f64;
    let blocked = erlang_b(servers, load);
    (servers > 0 && steady(load, utilization))
        .then(|| blocked / (1.0 - utilization * (1.0 - blocked)))
}

/// Mean wait in M/M/c with the mean service as the unit: C ÷ (c − a).
#[must_use]
#[allow(clippy::cast_precision_loss)]
pub fn exponential_wait(servers: usize, load: f64) -> Option<f64> {
    Some(erlang_c(servers, load)? / (servers as f64 - load))
}

/// P(wait > t) in M/M/c, `time` in mean services: C exp(−(c−a)t).
#[must_use]
#[allow(clippy::cast_precision_loss)]
pub fn exponential_wait_beyond(servers: usize, load: f64, time: f64) -> Option<f64> {
    Some(erlang_c(servers, load)? * libm::exp(-(servers as f64 - load) * time.max(0.0)))
}

/// M/D/c: the distribution of the wait when every service takes the same time.
///
/// The number present is watched once a service time; it moves by p_j = P(Poisson(a) = j) Σ_{k≤c} p_k +
/// Σ_{k>c} p_k P(Poisson(a) = j−k+c). That chain is solved without a subtraction (Grassmann, Taksar, Heyman,
/// "Regenerative analysis and steady state distributions for Markov chains", *Operations Research* 33,
/// 1985), its tail lumped into one state in which the numbers fall off geometrically at the exact asymptotic
/// rate; the point where the tail begins is moved out until it changes nothing. The wait follows by the form
/// whose terms are all positive: Franx, "A simple solution for the M/D/c waiting time distribution",
/// *Operations Research Letters* 29, 2001; Tijms, *A First Course in Stochastic Models* (all from memory).
#[derive(Clone, Debug)]
pub struct ConstantService {
    servers: usize,
    rate: f64,
    service: f64,
    /// P(more than m waiting) for m = 0, 1, …; beyond the last it shrinks by `decay` a step.
    more_waiting: Vec<f64>,
    decay: f64,
    mean_waiting: f64,
    waits: f64,
}

impl ConstantService {
    /// Solves the queue. `None` without a steady state, for no server or for more than [`SERVERS_MAX`].
    #[must_use]
    #[allow(clippy::cast_precision_loss)]
    pub fn new(servers: usize, rate: f64, service: f64) -> Option<Self> {
        let load = rate * service;
        if !(1..=SERVERS_MAX).contains(&servers)
            || !steady(rate, load / servers as f64)
            || service <= 0.0
        {
            return None;
        }
        if load == 0.0 {
            return Some(Self::idle(servers, rate, service));
        }
        let decay = decay(servers, load);
        let mut extra = 16 + servers / 2;
        let mut solved = Self::solve(servers, rate, service, decay, extra);
        while extra < 1_024 {
            extra *= 2;
            let finer = Self::solve(servers, rate, service, decay, extra);
            let settled =
                (finer.mean_waiting - solved.mean_waiting).abs() <= 1e-12 * finer.mean_waiting;
            solved = finer;
            if settled {
                break;
            }
        }
        Some(solved)
    }

    fn idle(servers: usize, rate: f64, service: f64) -> Self {
        Self {
            servers,
            rate,
            service,
            more_waiting: vec![0.0],
            decay: 0.0,
            mean_waiting: 0.0,
            waits: 0.0,
        }
    }

    /// With the geometric tail from `servers + extra` present.
    fn solve(servers: usize, rate: f64, service: f64, decay: f64, extra: usize) -> Self {
        let present = stationary(servers, rate * service, decay, servers + extra);
        // `present` ends with the lumped tail. From the far end, so that small tails keep their digits.
        let tail = present[servers + extra];
        let mut more_waiting = vec![0.0; extra];
        let mut beyond = tail;
        // The tail state t = servers + extra holds "at least extra waiting", i.e. more than extra - 1.
        let mut mean_waiting = 0.0;
        for waiting in (0..extra).rev() {
            more_waiting[waiting] = beyond;
            mean_waiting += beyond;
            beyond += present[servers + waiting];
        }
        // Σ over m ≥ extra of P(more than m waiting): geometric.
        mean_waiting += tail * decay / (1.0 - decay);
        Self {
            servers,
            rate,
            service,
            more_waiting,
            decay,
            mean_waiting,
            waits: beyond,
        }
    }

    /// P(a message has to wait): all servers busy on arrival.
    #[must_use]
    pub const fn waits(&self) -> f64 {
        self.waits
    }

    /// Mean wait, in the unit of the service time (Little: mean number waiting ÷ rate).
    #[must_use]
    pub fn mean_wait(&self) -> f64 {
        if self.rate > 0.0 {
            self.mean_waiting / self.rate
        } else {
            0.0
        }
    }

    /// P(wait > `time`), exact also far out in the tail.
    #[must_use]
    #[allow(
        clippy::cast_precision_loss,
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss
    )]
    pub fn wait_beyond(&self, time: f64) -> f64 {
        if time < 0.0 {
            return 1.0;
        }
        let services = (time / self.service).floor() + 1.0;
        let mean = self.rate * (services * self.service - time);
        let last = services * self.servers as f64 - 1.0;
        // With j arrivals in the rest of the slot a wait is longer when more than kc−1−j wait already; past
        // j = kc−1 it always is. The terms vanish long before 20 deviations above the mean.
        let limit = mean + 20.0 * mean.sqrt() + 200.0;
        let mut sum = 0.0;
        let mut arrivals = 0.0;
        while arrivals <= limit {
            let longer = if arrivals > last {
                1.0
            } else {
                self.more_than(last - arrivals)
            };
            sum += longer * poisson(mean, arrivals);
            arrivals += 1.0;
        }
        sum.min(1.0)
    }

    /// P(more than `waiting` messages wait).
    #[allow(
        clippy::cast_precision_loss,
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss
    )]
    fn more_than(&self, waiting: f64) -> f64 {
        let last = self.more_waiting.len() - 1;
        if waiting <= last as f64 {
            self.more_waiting[waiting as usize]
        } else {
            self.more_waiting[last] * libm::pow(self.decay, waiting - last as f64)
        }
    }

    /// The `p`-quantile of the wait (0 ≤ p < 1), by bisection; not a number outside.
    #[must_use]
    pub fn wait_quantile(&self, p: f64) -> f64 {
        if !(0.0..1.0).contains(&p) {
            return f64::NAN;
        }
        let tail = 1.0 - p;
        if self.wait_beyond(0.0) <= tail {
            return 0.0;
        }
        let mut high = self.service;
        while self.wait_beyond(high) > tail {
            high *= 2.0;
        }
        let mut low = 0.0;
        for _ in 0..100 {
            let middle = f64::midpoint(low, high);
            if self.wait_beyond(middle) > tail {
                low = middle;
            } else {
                high = middle;
            }
        }
        high
    }
}

/// P(Poisson(`mean`) = `count`) for a whole `count`.
fn poisson(mean: f64, count: f64) -> f64 {
    if mean <= 0.0 {
        return if count == 0.0 { 1.0 } else { 0.0 };
    }
    libm::exp(count * libm::log(mean) - mean - libm::lgamma(count + 1.0))
}

/// The factor by which the number present falls off far out: 1/z for the root z > 1 of
/// z^c = exp(a(z − 1)), i.e. c ln z = a(z − 1).
#[allow(clippy::cast_precision_loss)]
fn decay(servers: usize, load: f64) -> f64 {
    let excess = |z: f64| load * (z - 1.0) - servers as f64 * libm::log(z);
    // Below zero just above 1, smallest at c/a, above zero far out.
    let mut low = servers as f64 / load;
    let mut high = 2.0 * low;
    while excess(high) < 0.0 {
        high *= 2.0;
    }
    for _ in 0..200 {
        let middle = f64::midpoint(low, high);
        if excess(middle) < 0.0 {
            low = middle;
        } else {
            high = middle;
        }
    }
    1.0 / high
}

/// Probabilities of 0..`tail` present and, last, of `tail` or more, watched once a service time.
///
/// States fall by at most `servers` a step, so eliminating a state touches that many columns only.
#[allow(clippy::cast_precision_loss)]
fn stationary(servers: usize, load: f64, decay: f64, tail: usize) -> Vec<f64> {
    let size = tail + 1;
    let arrivals: Vec<f64> = (0..=size + servers)
        .map(|count| poisson(load, count as f64))
        .collect();
    let mut at_least = vec![0.0; arrivals.len() + 1];
    for count in (0..arrivals.len()).rev() {
        at_least[count] = at_least[count + 1] + arrivals[count];
    }
    // Row: from; what a service time leaves of `from` present is max(from − c, 0).
    let mut chain: Vec<Vec<f64>> = (0..tail)
        .map(|from| {
            let left = from.saturating_sub(servers);
            let mut row = vec![0.0; size];
            for (to, chance) in row.iter_mut().enumerate().take(tail).skip(left) {
                *chance = arrivals[to - left];
            }
            row[tail] = at_least[tail - left];
            row
        })
        .collect();
    let mut last = vec![0.0; size];
    for (to, chance) in last.iter_mut().enumerate().take(tail).skip(tail - servers) {
        // From tail + i present with probability (1 − decay) decay^i; reaches `to` if tail + i − c ≤ to.
        let reach = to + servers - tail;
        *chance = (0..=reach)
            .map(|i| (1.0 - decay) * libm::pow(decay, i as f64) * arrivals[to + servers - tail - i])
            .sum();
    }
    chain.push(last);
    eliminate(chain, servers)
}

/// Solves π = πP by censoring states from the last to the first, then going back up. The diagonal is never
/// used: what leaves a state is summed from its parts, so nothing is subtracted.
fn eliminate(mut chain: Vec<Vec<f64>>, reach: usize) -> Vec<f64> {
    let size = chain.len();
    let mut leaving = vec![1.0; size];
    for state in (1..size).rev() {
        let lowest = state.saturating_sub(reach);
        let (above, rest) = chain.split_at_mut(state);
        let row = &rest[0][lowest..state];
        leaving[state] = row.iter().sum();
        for from in above {
            let share = from[state] / leaving[state];
            for (to, down) in from[lowest..state].iter_mut().zip(row) {
                *to += share * down;
            }
        }
    }
    let mut weights = vec![1.0; size];
    for state in 1..size {
        let into: f64 = (0..state)
            .map(|from| weights[from] * chain[from][state])
            .sum();
        weights[state] = into / leaving[state];
    }
    let total: f64 = weights.iter().sum();
    weights.iter().map(|weight| weight / total).collect()
}

#[cfg(test)]
mod tests {
    use super::super::close;
    use super::*;

    #[test]
    fn published_waits_come_out() {
        // GNU Octave queueing toolbox (M. Marzolla), test of M/M/m (there credited to ETH Zurich slides);
        // rate 9, service 1/5; printed Lq 7.674 and 0.105, W 1.053 and 0.212. Verified.
        for (servers, waiting, sojourn) in [(2, 7.673684, 1.052632), (4, 0.1051639, 0.2116849)] {
            let wait = exponential_wait(servers, 1.8).unwrap() / 5.0;
            assert!(
                close(9.0 * wait, waiting, 7) && close(wait + 0.2, sojourn, 7),
                "{servers}"
            );
        }
        // Published teletraffic exercise, 10 servers and 6 erlangs: about 0.10 read off a curve. Verified.
        assert!(close(erlang_c(10, 6.0).unwrap(), 0.1012992, 7));
        // Printed Erlang C table and example of a text on trunked radio: C = 0.05 at 8 servers and 3.87
        // erlangs, 0.01 at 10 and 4.08; P(wait > mean service, given a wait) printed 0.016. Verified.
        for (servers, load, waits, given) in
            [(8, 3.87, 0.050085, 0.0161), (10, 4.08, 0.010052, 0.00269)]
        {
            let got = erlang_c(servers, load).unwrap();
            assert!(close(got, waits, 5), "{got}");
            let beyond = exponential_wait_beyond(servers, load, 1.0).unwrap();
            assert!(close(beyond / got, given, 3), "{}", beyond / got);
        }
    }

    #[test]
    fn exponential_service_equals_the_table() {
        // Servers; (P(wait), mean wait) at utilizations 0.5, 0.7, 0.8, 0.9, 0.97. Computed with the
        // recursion; 16 servers at 0.9 also simulated, 0.3692 ± 0.0018.
        #[rustfmt::skip]
        let rows: [(usize, [(f64, f64); 5]); 10] = [
            (1, [(0.5, 1.0), (0.7, 2.33333), (0.8, 4.0), (0.9, 9.0), (0.97, 32.3333)]),
            (2, [(0.333333, 0.333333), (0.576471, 0.960784), (0.711111, 1.77778), (0.852632, 4.26316), (0.955228, 15.9205)]),
            (3, [(0.236842, 0.157895), (0.492344, 0.547049), (0.647191, 1.07865), (0.817061, 2.72354), (0.943852, 10.4872)]),
            (4, [(0.173913, 0.0869565), (0.428654, 0.357212), (0.596432, 0.745541), (0.787753, 1.96938), (0.934279, 7.78566)]),
            (6, [(0.0991432, 0.0330477), (0.335978, 0.186654), (0.517772, 0.431477), (0.740126, 1.23354), (0.918305, 5.10169)]),
            (8, [(0.059044, 0.014761), (0.270603, 0.112751), (0.457645, 0.286028), (0.701533, 0.876916), (0.904947, 3.77061)]),
            (16, [(0.00901881, 0.00112735), (0.129676, 0.0270158), (0.304884, 0.0952762), (0.591343, 0.36959), (0.864408, 1.80085)]),
            (24, [(0.00157433, 0.000131194), (0.0685715, 0.00952382), (0.217509, 0.0453145), (0.515921, 0.214967), (0.834145, 1.15854)]),
            (32, [(0.000291058, 1.81911e-05), (0.0380195, 0.00396036), (0.160623, 0.0250974), (0.458197, 0.143186), (0.80922, 0.842937)]),
            (64, [(4.26372e-07, 1.33241e-08), (0.00441255, 0.00022982), (0.0560564, 0.0043794), (0.310663, 0.0485411), (0.735566, 0.383107)]),
        ];
        for (servers, cells) in rows {
            for (utilization, (waits, wait)) in [0.5, 0.7, 0.8, 0.9, 0.97].into_iter().zip(cells) {
                let load = utilization * servers as f64;
                assert!(
                    close(erlang_c(servers, load).unwrap(), waits, 6),
                    "{servers} {utilization}"
                );
                assert!(
                    close(exponential_wait(servers, load).unwrap(), wait, 6),
                    "{servers} {utilization}"
                );
            }
        }
    }

    #[test]
    fn constant_service_equals_the_table() {
        // Servers; (P(wait), mean wait, p99 of the wait) at utilizations 0.5, 0.7, 0.85, 0.92. Computed from
        // the embedded equations by linear solves; 8 servers at 0.9 also simulated, 0.44982 ± 0.0011.
        #[rustfmt::skip]
        let rows = [
            (2_usize, [(0.323259, 0.176741, 1.5639), (0.565367, 0.49361, 3.1351), (0.773484, 1.3167, 6.9957), (0.877101, 2.77072, 13.721)]),
            (4, [(0.163294, 0.0496517, 0.71081), (0.409948, 0.189708, 1.488), (0.673338, 0.588766, 3.4173), (0.818207, 1.31033, 6.7798)]),
            (8, [(0.0542924, 0.00932101, 0.29243), (0.251569, 0.06268, 0.68562), (0.549297, 0.248819, 1.6505), (0.739849, 0.603389, 3.3313)]),
            (16, [(0.00833774, 0.000810234, 0.0), (0.117622, 0.0160732, 0.31072), (0.406405, 0.096521, 0.78412), (0.639324, 0.267286, 1.6238)]),
            (32, [(0.000276369, 1.48745e-05, 0.0), (0.0342127, 0.00260409, 0.098318), (0.258364, 0.0326876, 0.36338), (0.51655, 0.111742, 0.78226)]),
        ];
        for (servers, cells) in rows {
            for (utilization, (waits, wait, p99)) in [0.5, 0.7, 0.85, 0.92].into_iter().zip(cells) {
                let law = ConstantService::new(servers, utilization * servers as f64, 1.0).unwrap();
                assert!(
                    close(law.waits(), waits, 6),
                    "{servers} {utilization}: {}",
                    law.waits()
                );
                assert!(
                    close(law.wait_beyond(0.0), waits, 6),
                    "{servers} {utilization}"
                );
                assert!(
                    close(law.mean_wait(), wait, 6),
                    "{servers} {utilization}: {}",
                    law.mean_wait()
                );
                let got = law.wait_quantile(0.99);
                assert!(close(got, p99, 5), "{servers} {utilization}: {got} {p99}");
            }
        }
        // Two links at 0.9 and four at 0.8 in strict rotation, eight at 0.9: computed the same way.
        for (servers, utilization, wait) in
            [(2, 0.9, 2.14692), (4, 0.8, 0.386095), (8, 0.9, 0.449973)]
        {
            let law = ConstantService::new(servers, utilization * servers as f64, 1.0).unwrap();
            assert!(
                close(law.mean_wait(), wait, 6),
                "{servers}: {}",
                law.mean_wait()
            );
        }
    }

    #[test]
    fn the_mean_is_the_area_under_the_tail() {
        // ∫ P(wait > t) dt by the trapezium rule must give the mean that comes from Little's law.
        for (servers, utilization) in [(1, 0.7), (3, 0.8), (7, 0.6)] {
            let law = ConstantService::new(servers, utilization * servers as f64, 1.0).unwrap();
            let step = 1e-3;
            let tail = |index: u32| law.wait_beyond(f64::from(index) * step);
            let area: f64 = (0..40_000)
                .map(|index| (tail(index) + tail(index + 1)) / 2.0 * step)
                .sum();
            assert!(
                (area / law.mean_wait() - 1.0).abs() < 1e-4,
                "{area} {}",
                law.mean_wait()
            );
        }
    }

    #[test]
    fn time_scales_and_heavy_load_and_odd_arguments_are_handled() {
        let law = ConstantService::new(4, 0.35, 8.0).unwrap();
        assert!(
            close(law.mean_wait(), 0.189708 * 8.0, 6)
                && close(law.wait_quantile(0.99), 1.488 * 8.0, 4)
        );
        let heavy = ConstantService::new(1, 0.9999, 1.0).unwrap();
        assert!(
            (heavy.mean_wait() / (0.9999 / 0.0002) - 1.0).abs() < 1e-6,
            "{}",
            heavy.mean_wait()
        );
        assert!(ConstantService::new(0, 0.5, 1.0).is_none());
        assert!(ConstantService::new(2, 2.0, 1.0).is_none());
        assert!(ConstantService::new(2, f64::NAN, 1.0).is_none());
        let idle = ConstantService::new(2, 0.0, 1.0).unwrap();
        assert_eq!(
            (
                idle.mean_wait(),
                idle.wait_beyond(0.0),
                idle.wait_quantile(0.99)
            ),
            (0.0, 0.0, 0.0)
        );
        assert_eq!(erlang_c(0, 0.5), None);
    }
}
