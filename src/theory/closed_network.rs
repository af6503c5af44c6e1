//! Closed loops: a fixed number of I/Os going round stations and a pause. Exact for exponential stations by
//! normalising constants, and bounds that hold for any law.
//!
//! The network has one class of customers. A station with c servers and one queue, first come first served,
//! takes exponential times; a pause may have any law. Each customer brings a demand to each station: visits × mean
//! service.
//!
//! The textbook recursion of mean value analysis finds the chance of an empty station by subtraction, which loses all
//! digits once a station with several servers saturates (24 servers and 96 customers gave a negative throughput).
//! Here only sums of positive terms occur: Buzen's convolution ("Computational algorithms for closed queueing
//! networks with exponential servers", *Communications of the ACM* 16, 1973; from memory), each station's terms
//! scaled by their largest.

/// More customers than this are refused: cost grows with their square.
pub const CUSTOMERS_MAX: usize = 8_192;

/// One station of a closed network.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Station {
    /// So many servers behind one queue; demand = visits × mean service.
    Queue {
        /// Visits × mean service.
        demand: f64,
        /// Servers, at least 1.
        servers: usize,
    },
    /// No queueing: a pause, a distance.
    Delay {
        /// Visits × mean time.
        demand: f64,
    },
}

impl Station {
    /// Its demand.
    #[must_use]
    pub const fn demand(&self) -> f64 {
        match self {
            Self::Queue { demand, .. } | Self::Delay { demand } => *demand,
        }
    }

    /// log of the weight of `customers` here, 0 to `customers_max`: demandⁿ ÷ Π min(i, servers).
    #[allow(clippy::cast_precision_loss)]
    fn log_weights(&self, customers_max: usize) -> Vec<f64> {
        let log_demand = libm::log(self.demand());
        let mut logs = vec![0.0];
        for present in 1..=customers_max {
            let working = match self {
                Self::Queue { servers, .. } => present.min(*servers),
                Self::Delay { .. } => present,
            };
            let before = logs[present - 1];
            logs.push(before + log_demand - libm::log(working as f64));
        }
        logs
    }
}

/// What an exponential network does.
#[derive(Clone, Debug, PartialEq)]
pub struct Solved {
    /// Customers that go round per time unit.
    pub throughput: f64,
    /// Time at each station in a round.
    pub residence: Vec<f64>,
    /// Mean number at each station.
    pub present: Vec<f64>,
}

/// Solves a network of `customers`. `None` without a customer or a station, beyond [`CUSTOMERS_MAX`], or for
/// demands that are not positive numbers.
#[must_use]
#[allow(clippy::cast_precision_loss)]
pub fn solve(customers: usize, stations: &[Station]) -> Option<Solved> {
    let sound = |station: &Station| {
        let servers = !matches!(station, Station::Queue { servers: 0, .. });
        station.demand() > 0.0 && station.demand().is_finite() && servers
    };
    if !(1..=CUSTOMERS_MAX).contains(&customers)
        || stations.is_empty()
        || !stations.iter().all(sound)
    {
        return None;
    }
    // All demands by the largest demand a server: a common factor that leaves every ratio as it is.
    let unit = bottleneck(stations).unwrap_or_else(|| total(stations));
    let weights: Vec<Vec<f64>> = stations
        .iter()
        .map(|station| {
            let scaled = match *station {
                Station::Queue { demand, servers } => Station::Queue {
                    demand: demand / unit,
                    servers,
                },
                Station::Delay { demand } => Station::Delay {
                    demand: demand / unit,
                },
            };
            let logs = scaled.log_weights(customers);
            let most = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            logs.iter().map(|log| libm::exp(log - most)).collect()
        })
        .collect();
    let all = weights
        .iter()
        .fold(one(customers), |sum, own| convolve(&sum, own));
    let (last, before) = (all[customers], all[customers - 1]);
    if last <= 0.0 {
        return None;
    }
    let throughput = before / last / unit;
    let present: Vec<f64> = (0..stations.len())
        .map(|own| {
            let others = weights
                .iter()
                .enumerate()
                .filter(|(index, _)| *index != own);
            let rest = others.fold(one(customers), |sum, (_, weights)| convolve(&sum, weights));
            let here = |number: usize| weights[own][number] * rest[customers - number];
            (1..=customers).map(|n| n as f64 * here(n)).sum::<f64>() / last
        })
        .collect();
    Some(Solved {
        throughput,
        residence: present.iter().map(|present| present / throughput).collect(),
        present,
    })
}

/// The weights of no station at all.
fn one(customers: usize) -> Vec<f64> {
    let mut weights = vec![0.0; customers + 1];
    weights[0] = 1.0;
    weights
}

/// Weights of the sum of two numbers of customers.
fn convolve(left: &[f64], right: &[f64]) -> Vec<f64> {
    (0..left.len())
        .map(|sum| (0..=sum).map(|part| left[part] * right[sum - part]).sum())
        .collect()
}

fn total(stations: &[Station]) -> f64 {
    stations.iter().map(Station::demand).sum()
}

/// Largest demand a server; `None` where nothing queues.
#[allow(clippy::cast_precision_loss)]
fn bottleneck(stations: &[Station]) -> Option<f64> {
    stations
        .iter()
        .filter_map(|station| match station {
            Station::Queue { demand, servers } => Some(demand / *servers as f64),
            Station::Delay { .. } => None,
        })
        .reduce(f64::max)
}

/// What no closed loop can pass, whatever the laws of its times.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bounds {
    /// Throughput at most: min(1 ÷ largest demand a server, N ÷ (D + Z)).
    pub throughput_most: f64,
    /// Response at least: max(D, N × largest demand a server − Z).
    pub response_least: f64,
    /// Customers from which on the fullest station ends growth: (D + Z) ÷ largest demand a server; `None`
    /// where nothing queues.
    pub saturation: Option<f64>,
}

/// Asymptotic bounds of `customers` with a pause `think` between rounds, in the time unit of the demands
/// (Denning and Buzen, *ACM Computing Surveys* 10, 1978; from memory).
#[must_use]
#[allow(clippy::cast_precision_loss)]
pub fn bounds(customers: usize, stations: &[Station], think: f64) -> Bounds {
    let (number, demand) = (customers as f64, total(stations));
    let largest = bottleneck(stations);
    let idle = number / (demand + think);
    Bounds {
        throughput_most: largest.map_or(idle, |largest| idle.min(1.0 / largest)),
        response_least: largest.map_or(demand, |largest| demand.max(number * largest - think)),
        saturation: largest.map(|largest| (demand + think) / largest),
    }
}

#[cfg(test)]
mod tests {
    use super::super::close;
    use super::*;

    fn queue(demand: f64) -> Station {
        Station::Queue { demand, servers: 1 }
    }

    fn servers(demand: f64, servers: usize) -> Station {
        Station::Queue { demand, servers }
    }

    fn delay(demand: f64) -> Station {
        Station::Delay { demand }
    }

    #[test]
    fn the_published_interactive_system_comes_out() {
        // Jain, The Art of Computer Systems Performance Analysis, table 34.1: think 4; demands 2, 3, 1.
        // N; response, throughput, number at each.
        #[rustfmt::skip]
        let rows = [
            (1, 6.0, 0.1, [0.2, 0.3, 0.1]),
            (2, 7.4, 0.1754386, [0.4210526, 0.6842105, 0.1929825]),
            (3, 9.0877193, 0.22922252, [0.6514745, 1.158177, 0.2734584]),
            (4, 11.050938, 0.26576416, [0.8778055, 1.720698, 0.3384396]),
            (5, 13.256145, 0.28975185, [1.088195, 2.364982, 0.3878154]),
            (10, 26.469854, 0.32819324, [1.752271, 6.450181, 0.4847752]),
            (17, 47.044926, 0.33303996, [1.973595, 13.19512, 0.49912]),
            (20, 56.015632, 0.33324651, [1.990623, 16.17665, 0.4997395]),
        ];
        let stations = [queue(2.0), queue(3.0), queue(1.0), delay(4.0)];
        for (customers, response, throughput, present) in rows {
            let got = solve(customers, &stations).unwrap();
            assert!(close(got.throughput, throughput, 7), "{customers}: {got:?}");
            assert!(close(customers as f64 / got.throughput - 4.0, response, 7));
            for (got, expected) in got.present.iter().zip(present) {
                assert!(close(*got, expected, 6), "{customers}: {got} {expected}");
            }
        }
    }

    #[test]
    fn published_networks_with_several_servers_come_out() {
        // Bolch, Greiner, de Meer, Trivedi, Queueing Networks and Markov Chains, examples 8.4/8.7, 8.3, 8.1.
        let got = solve(3, &[servers(0.5, 2), queue(0.3), queue(0.4), delay(1.0)]).unwrap();
        assert!(close(got.throughput, 1.217461, 7), "{got:?}");
        for (got, expected) in got
            .present
            .iter()
            .zip([0.623679, 0.472872, 0.685988, 1.21746])
        {
            assert!(close(*got, expected, 6), "{got} {expected}");
        }
        let got = solve(6, &[queue(0.02), queue(0.08), queue(0.08), queue(0.06)]).unwrap();
        assert!(close(got.throughput, 9.919836, 7), "{got:?}");
        for (got, expected) in got
            .present
            .iter()
            .zip([0.243615, 2.26104, 2.26104, 1.23431])
        {
            assert!(close(*got, expected, 6), "{got} {expected}");
        }
        let third = 2.0 / 3.0;
        let got = solve(3, &[servers(1.25, 2), servers(third / 0.6, 3), queue(0.5)]).unwrap();
        assert!(close(got.throughput, 0.944559, 6), "{got:?}");
        for (got, expected) in got.present.iter().zip([1.290042, 1.049510, 0.660448]) {
            assert!(close(*got, expected, 6), "{got} {expected}");
        }
        // Lazowska et al., Quantitative System Performance, p. 117, solved exactly.
        let got = solve(3, &[queue(0.605), queue(2.1), queue(1.35), delay(15.0)]).unwrap();
        assert!(close(got.throughput, 0.1515165, 7), "{got:?}");
        assert!(close(3.0 / got.throughput - 15.0, 4.799825, 7));
    }

    #[test]
    fn storage_loops_equal_the_table() {
        // Computed twice elsewhere: mean value analysis in 120 digits, and convolution.
        for (customers, stations, throughput, response) in [
            (
                16,
                vec![queue(10.0), servers(100.0, 8)],
                0.0785271301,
                203.751238,
            ),
            (
                32,
                vec![queue(10.0), servers(100.0, 8)],
                0.0799613114,
                400.193537,
            ),
            (
                64,
                vec![queue(8.0), servers(250.0, 32), queue(6.0), delay(40.0)],
                0.122323948,
                483.200905,
            ),
            (
                8,
                vec![queue(20.0), servers(60.0, 4), delay(100.0)],
                0.0377431349,
                111.959076,
            ),
            (
                1,
                vec![queue(20.0), servers(60.0, 4), delay(100.0)],
                0.00555555556,
                80.0,
            ),
        ] {
            let got = solve(customers, &stations).unwrap();
            assert!(close(got.throughput, throughput, 9), "{customers}: {got:?}");
            let waits = stations.iter().zip(&got.residence);
            let own: f64 = waits
                .filter(|(station, _)| matches!(station, Station::Queue { .. }))
                .map(|(_, residence)| residence)
                .sum();
            assert!(close(own, response, 9), "{customers}: {own} {response}");
        }
    }

    #[test]
    fn machine_repair_equals_the_table() {
        // N, servers, pause; throughput, mean number at the station. Computed.
        for (customers, count, pause, throughput, present) in [
            (2, 1, 1.5, 0.689655172, 0.96551724),
            (3, 1, 2.0, 0.789473684, 1.4210526),
            (5, 1, 4.0, 0.800933126, 1.7962675),
            (10, 2, 4.0, 1.70853248, 3.1658701),
            (32, 4, 6.0, 3.84657163, 8.9205702),
            (64, 16, 3.0, 15.0985927, 18.704222),
            (128, 64, 1.0, 62.1512996, 65.8487),
        ] {
            let got = solve(customers, &[servers(1.0, count), delay(pause)]).unwrap();
            assert!(close(got.throughput, throughput, 9), "{customers}: {got:?}");
            assert!(close(got.present[0], present, 6), "{customers}: {got:?}");
        }
    }

    /// The recursion of mean value analysis, which is sound while every station has one server.
    #[test]
    fn it_equals_the_plain_recursion_for_single_servers() {
        let demands = [3.0, 0.7, 2.9, 1.0];
        let mut present = [0.0; 4];
        for customers in 1..=200 {
            let residence: Vec<f64> = demands
                .iter()
                .zip(present)
                .map(|(d, q)| d * (1.0 + q))
                .collect();
            let throughput = f64::from(customers) / (residence.iter().sum::<f64>() + 12.0);
            for (present, residence) in present.iter_mut().zip(&residence) {
                *present = throughput * residence;
            }
            let mut stations: Vec<Station> = demands.iter().map(|demand| queue(*demand)).collect();
            stations.push(delay(12.0));
            let got = solve(customers as usize, &stations).unwrap();
            assert!(
                (got.throughput / throughput - 1.0).abs() < 1e-11,
                "{customers}"
            );
            for (got, expected) in got.present.iter().zip(present) {
                assert!(
                    (got / expected - 1.0).abs() < 1e-9,
                    "{customers}: {got} {expected}"
                );
            }
        }
    }

    #[test]
    fn it_stays_stable_where_the_recursion_does_not() {
        // A station with 24 servers and 96 customers; and thousands of both.
        for (customers, count) in [(96, 24), (2_000, 1_000), (8_192, 4_000)] {
            let stations = [servers(100.0, count), queue(0.01), delay(1.0)];
            let got = solve(customers, &stations).unwrap();
            let bounds = bounds(customers, &stations[..2], 1.0);
            assert!(got.throughput > 0.99 * bounds.throughput_most, "{got:?}");
            assert!(
                got.throughput <= bounds.throughput_most * (1.0 + 1e-12),
                "{got:?}"
            );
            let present: f64 = got.present.iter().sum();
            assert!((present / customers as f64 - 1.0).abs() < 1e-9, "{present}");
        }
    }

    #[test]
    fn the_bounds_equal_the_published_ones_and_hold() {
        // Bolch et al., example 9.6: 20 customers, pause 120, demands 9.2 and 8.
        let stations = [queue(9.2), queue(8.0)];
        let got = bounds(20, &stations, 120.0);
        assert!(close(got.throughput_most, 1.0 / 9.2, 12));
        assert!(close(got.response_least, 64.0, 12));
        assert!(close(got.saturation.unwrap(), 137.2 / 9.2, 12));
        let one = bounds(1, &stations, 120.0);
        assert!(close(one.throughput_most, 1.0 / 137.2, 12) && close(one.response_least, 17.2, 12));
        let idle = bounds(4, &[delay(2.0)], 6.0);
        assert_eq!(
            (idle.throughput_most, idle.response_least, idle.saturation),
            (0.5, 2.0, None)
        );
    }

    #[test]
    fn odd_arguments_have_no_answer() {
        assert_eq!(solve(0, &[queue(1.0)]), None);
        assert_eq!(solve(3, &[]), None);
        assert_eq!(solve(3, &[queue(0.0)]), None);
        assert_eq!(solve(3, &[queue(f64::NAN)]), None);
        assert_eq!(solve(3, &[servers(1.0, 0)]), None);
        assert_eq!(solve(CUSTOMERS_MAX + 1, &[queue(1.0)]), None);
    }
}
