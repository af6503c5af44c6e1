"""Small queueing networks in two general-purpose libraries, for comparison with the model.

usage: networks.py CASE REPLICATIONS

Prints one JSON object: for each figure the list of its values, one a replication. Times are in
microseconds. Every run starts empty; what arrives in [FROM, TO) is measured, and the run goes on until
that has finished. The cases are described in words beside their twins in tests/evidence/networks.rs;
neither side reads the other.
"""

import json
import math
import random
import sys

import ciw
import simpy


def nearest_rank(values, q):
    values = sorted(values)
    return values[max(1, math.ceil(q * len(values))) - 1]


class MixedLaw(ciw.dists.Distribution):
    """1 us with chance 0.8, else exponential with mean 6 us."""

    def sample(self, t=None, ind=None):
        return 1.0 if random.random() < 0.8 else random.expovariate(1 / 6)


class LognormalLaw(ciw.dists.Distribution):
    """Lognormal with this median and sigma."""

    def __init__(self, median, sigma):
        self.mu, self.sigma = math.log(median), sigma

    def sample(self, t=None, ind=None):
        return random.lognormvariate(self.mu, self.sigma)


def visits(network, seed, until, drain):
    """Records of a run by customer, first visit first."""
    ciw.seed(seed)
    simulation = ciw.Simulation(network)
    simulation.simulate_until_max_time(until + drain)
    by_customer = {}
    for record in simulation.get_all_records():
        by_customer.setdefault(record.id_number, []).append(record)
    for records in by_customer.values():
        records.sort(key=lambda record: record.arrival_date)
    return by_customer


def overlap(records, node, start, end):
    """Time that servers of a node were busy in [start, end)."""
    return sum(
        max(0.0, min(r.service_end_date, end) - max(r.service_start_date, start))
        for r in records
        if r.node == node
    )


def tandem(seed):
    """Poisson 0.4 a us; a link of 1 us; 3 servers of mixed law; a link of 2 us."""
    start, end = 500.0, 8500.0
    network = ciw.create_network(
        arrival_distributions=[ciw.dists.Exponential(0.4), None, None],
        service_distributions=[
            ciw.dists.Deterministic(1.0),
            MixedLaw(),
            ciw.dists.Deterministic(2.0),
        ],
        number_of_servers=[1, 3, 1],
        routing=[[0.0, 1.0, 0.0], [0.0, 0.0, 1.0], [0.0, 0.0, 0.0]],
    )
    runs = visits(network, seed, end, 400.0)
    measured = [r for r in runs.values() if start <= r[0].arrival_date < end]
    assert all(len(r) == 3 for r in measured)
    sojourns = [r[2].exit_date - r[0].arrival_date for r in measured]
    everything = [record for records in runs.values() for record in records]
    return {
        "sojourn mean": sum(sojourns) / len(sojourns),
        "sojourn p99": nearest_rank(sojourns, 0.99),
        "first link busy": overlap(everything, 1, start, end) / (end - start),
        "station busy": overlap(everything, 2, start, end) / (3 * (end - start)),
        "last link busy": overlap(everything, 3, start, end) / (end - start),
    }


def station(seed):
    """Poisson 0.06 a us; 8 servers, lognormal with median 80 us and sigma 0.7."""
    start, end = 4_000.0, 64_000.0
    network = ciw.create_network(
        arrival_distributions=[ciw.dists.Exponential(0.06)],
        service_distributions=[LognormalLaw(80.0, 0.7)],
        number_of_servers=[8],
    )
    runs = visits(network, seed, end, 6_000.0)
    measured = [r[0] for r in runs.values() if start <= r[0].arrival_date < end]
    sojourns = [r.exit_date - r.arrival_date for r in measured]
    everything = [record for records in runs.values() for record in records]
    return {
        "sojourn mean": sum(sojourns) / len(sojourns),
        "sojourn p99": nearest_rank(sojourns, 0.99),
        "wait mean": sum(r.waiting_time for r in measured) / len(measured),
        "busy": overlap(everything, 1, start, end) / (8 * (end - start)),
    }


def two_stations(seed, router):
    """Poisson 0.07 a us to one of two servers, lognormal with median 15 us and sigma 0.8."""
    start, end = 4_000.0, 64_000.0
    # A first node without delay lets the router see the two servers at each arrival.
    network = ciw.create_network(
        arrival_distributions=[ciw.dists.Exponential(0.07), None, None],
        service_distributions=[
            ciw.dists.Deterministic(0.0),
            LognormalLaw(15.0, 0.8),
            LognormalLaw(15.0, 0.8),
        ],
        number_of_servers=[float("inf"), 1, 1],
        routing=ciw.routing.NetworkRouting(
            routers=[router, ciw.routing.Leave(), ciw.routing.Leave()]
        ),
    )
    runs = visits(network, seed, end, 6_000.0)
    measured = [r for r in runs.values() if start <= r[0].arrival_date < end]
    assert all(len(r) == 2 for r in measured)
    sojourns = [r[1].exit_date - r[0].arrival_date for r in measured]
    return {
        "sojourn mean": sum(sojourns) / len(sojourns),
        "sojourn p99": nearest_rank(sojourns, 0.99),
        "wait mean": sum(r[1].waiting_time for r in measured) / len(measured),
    }


def at_random(seed):
    return two_stations(
        seed, ciw.routing.Probabilistic(destinations=[2, 3], probs=[0.5, 0.5])
    )


def in_turn(seed):
    return two_stations(seed, ciw.routing.Cycle(cycle=[2, 3]))


def to_the_shorter(seed):
    # The library's word for the node with fewest customers, those in service counted.
    return two_stations(seed, ciw.routing.LoadBalancing(destinations=[2, 3]))


def closed_loop(seed):
    """16 customers: pause 30 us, a link of 3 us, 10 servers lognormal (median 25 us, sigma 0.6), a link of
    2 us back."""
    start, end = 1_000.0, 41_000.0
    draw = random.Random(seed)
    env = simpy.Environment()
    out, servers, back = (simpy.Resource(env, n) for n in (1, 10, 1))
    responses, busy, completed = [], [0.0], [0]

    def served(resource, length):
        with resource.request() as turn:
            yield turn
            begun = env.now
            yield env.timeout(length)
            if resource is servers:
                busy[0] += max(0.0, min(env.now, end) - max(begun, start))

    def customer():
        while True:
            arrived = env.now
            yield env.process(served(out, 3.0))
            yield env.process(served(servers, draw.lognormvariate(math.log(25.0), 0.6)))
            yield env.process(served(back, 2.0))
            if start <= arrived < end:
                responses.append(env.now - arrived)
            if start <= env.now < end:
                completed[0] += 1
            yield env.timeout(30.0)

    for _ in range(16):
        env.process(customer())
    env.run(until=end + 2_000.0)
    return {
        "throughput": completed[0] / (end - start),
        "response mean": sum(responses) / len(responses),
        "response p99": nearest_rank(responses, 0.99),
        "station busy": busy[0] / (10 * (end - start)),
    }


CASES = {
    "tandem": tandem,
    "station": station,
    "closed-loop": closed_loop,
    "at-random": at_random,
    "in-turn": in_turn,
    "to-the-shorter": to_the_shorter,
}


def main():
    case, replications = sys.argv[1], int(sys.argv[2])
    figures = {}
    for replication in range(replications):
        # Seeds follow from the case's name and the replication.
        seed = sum(ord(letter) * 131**i for i, letter in enumerate(case)) % 2**31 + replication
        for name, value in CASES[case](seed).items():
            figures.setdefault(name, []).append(value)
    json.dump(figures, sys.stdout)


main()
