"""A small site on two fabrics, written again frame by frame in a general-purpose library.

usage: dual_fabric.py CASE REPLICATIONS      CASE: healthy | lost | switch

Written from the meaning of the quantities alone, in the plainest way the library knows: every link
direction is a process with a queue of frames, every frame on a link is a time-out. Nothing here computes
when a frame will leave before it does, and nothing was taken from the program that it checks.

The site. Two hosts; on each fabric, A and B, one Fibre Channel switch; an array of two controllers. Hosts
to switches over 16GFC, 10 ns, no error correction; switches to controllers over 32GFC, 50 ns, error
correction 150 ns. Usable rates: 14.025 Gbaud x 64/66 = 13.6 Gb/s and 28.05 x 64/66 = 27.2 Gb/s (FC-FS-5 and
FC-PI-6). Switches cut through where the output is not faster than the input: towards the hosts; towards
the array they store. Delay 700 ns; the header to wait for has 28 bytes.

The work. Poisson, half from each host; 70 % reads; 80 % of 8 KiB and 20 % of 64 KiB. SCSI over Fibre
Channel, sizes on the wire with gaps (FCP-4, FC-FS-5): command 92 B; data in fields of 2048 B, 60 B more
each; transfer-ready 72 B; response 84 B. Each message sent or received costs the host 1 us. The array
works on 4 requests at once per controller: a read 20 us with chance 0.6, else lognormal with median 60 us
and p99 240 us, and 80 us per MiB more; a write 30 us. A write's transfer-ready comes at once.

The host. Four paths in the order controller 1 on A, on B, controller 2 on A, on B; 64 commands on each at
most. An I/O takes the path with fewest I/Os out; among equals the search goes on from the last used. What
finds no slot waits in the host.

The loss. Fabric A, its switch and its links, goes at T_LOSS; what had not fully arrived on it is lost. The
hosts notice after 1 ms, hold what is out on those paths for 4 ms more, and until then go on giving them
I/Os. Then the paths are failed and their I/Os go to the front of the host's queue, oldest first.

Prints one JSON object: for each figure the list of its values, one a replication; times in microseconds.
"""

import json
import math
import random
import sys
from collections import deque

import simpy

RATE = 0.12  # I/Os a microsecond, all hosts
FROM, TO, DRAIN = 2_000.0, 14_000.0, 5_000.0
T_LOSS, DETECT, HOLD, SWITCH_END = 4_000.0, 1_000.0, 4_000.0, 16_000.0
HOSTS, CONTROLLERS, SLOTS, PARALLEL = 2, 2, 64, 4
SLOW, FAST = 13.6e3, 27.2e3  # bits a microsecond
HEADER, DELAY, ADAPTER = 28, 0.7, 1.0
SIGMA = math.log(240.0 / 60.0) / 2.3263478740408408  # the normal's 99th percentile


def nearest_rank(values, q):
    values = sorted(values)
    return values[max(1, math.ceil(q * len(values))) - 1]


class Frame:
    """One frame on its way: `route` is what is left of it, `arrived` is called at the end of it."""

    __slots__ = ("size", "route", "arrived")

    def __init__(self, size, route, arrived):
        self.size, self.route, self.arrived = size, route, arrived


class Link:
    """One direction: frames leave one at a time, in the order in which they came."""

    def __init__(self, site, name, fabric, rate, latency):
        self.site, self.name, self.fabric = site, name, fabric
        self.rate, self.latency = rate, latency
        self.queue = simpy.Store(site.env)
        self.busy = 0.0
        site.env.process(self.run())

    def run(self):
        env = self.site.env
        while True:
            frame = yield self.queue.get()
            begun, length = env.now, frame.size * 8 / self.rate
            onward = frame.route[0] if frame.route else None
            if onward is not None and onward.rate <= self.rate:
                # Cut through: its head may go on when the header is there.
                env.process(self.later(HEADER * 8 / self.rate + self.latency + DELAY, frame))
                yield env.timeout(length)
            else:
                yield env.timeout(length)
                pause = self.latency + (DELAY if onward is not None else 0.0)
                env.process(self.later(pause, frame))
            self.busy += max(0.0, min(env.now, TO) - max(begun, FROM))

    def later(self, pause, frame):
        yield self.site.env.timeout(pause)
        if self.site.is_lost(self.fabric):
            return
        if frame.route:
            frame.route.pop(0).queue.put(frame)
        else:
            frame.arrived()


class Io:
    __slots__ = ("host", "read", "size", "arrived", "path", "attempt", "service", "number")


class Host:
    def __init__(self, index):
        self.index = index
        self.waiting = deque()
        self.out = [[] for _ in range(2 * CONTROLLERS)]
        self.failed = [False] * (2 * CONTROLLERS)
        self.last = index - 1


class Site:
    def __init__(self, case, seed):
        self.env = simpy.Environment()
        self.draw = random.Random(seed)
        self.case = case
        self.fabrics = "B" if case == "lost" else "AB"
        self.up, self.down = {}, {}
        for fabric in self.fabrics:
            for h in range(HOSTS):
                name = f"app-{h + 1}", f"core-{fabric}"
                self.up["h", fabric, h] = Link(self, name, fabric, SLOW, 0.01)
                self.down["h", fabric, h] = Link(self, name[::-1], fabric, SLOW, 0.01)
            for c in range(CONTROLLERS):
                name = f"core-{fabric}", f"box-c{c + 1}"
                self.up["c", fabric, c] = Link(self, name, fabric, FAST, 0.05 + 0.15)
                self.down["c", fabric, c] = Link(self, name[::-1], fabric, FAST, 0.05 + 0.15)
        self.hosts = [Host(h) for h in range(HOSTS)]
        if case == "lost":
            for host in self.hosts:
                host.failed = [path % 2 == 0 for path in range(2 * CONTROLLERS)]
        self.array = [simpy.Resource(self.env, PARALLEL) for _ in range(CONTROLLERS)]
        self.served = [0.0] * CONTROLLERS
        self.latencies = []
        self.longest = 0.0
        self.unfinished = {}
        for host in self.hosts:
            self.env.process(self.arrivals(host))
        if case == "switch":
            self.env.process(self.loss())

    def is_lost(self, fabric):
        return self.case == "switch" and fabric == "A" and self.env.now >= T_LOSS

    # The work.

    def arrivals(self, host):
        number = 0
        while True:
            yield self.env.timeout(self.draw.expovariate(RATE / HOSTS))
            io = Io()
            io.host, io.number, io.attempt, io.path = host, number, 0, None
            io.read = self.draw.random() < 0.7
            io.size = 8192 if self.draw.random() < 0.8 else 65536
            io.service = self.service(io)
            io.arrived = self.env.now
            number += 1
            self.unfinished[io] = True
            host.waiting.append(io)
            self.give_paths(host)

    def service(self, io):
        if not io.read:
            return 30.0
        hit = self.draw.random() < 0.6
        time = 20.0 if hit else self.draw.lognormvariate(math.log(60.0), SIGMA)
        return time + 80.0 * io.size / 1048576

    # The host.

    def give_paths(self, host):
        while host.waiting:
            path = self.choose(host)
            if path is None:
                return
            io = host.waiting.popleft()
            io.path = path
            host.last = path
            host.out[path].append(io)
            self.env.process(self.exchange(io, io.attempt))

    def choose(self, host):
        paths = len(host.out)
        best = None
        for step in range(1, paths + 1):
            path = (host.last + step) % paths
            if host.failed[path] or len(host.out[path]) >= SLOTS:
                continue
            if best is None or len(host.out[path]) < len(host.out[best]):
                best = path
        return best

    def loss(self):
        yield self.env.timeout(T_LOSS + DETECT + HOLD)
        for host in self.hosts:
            stranded = []
            for path in range(0, len(host.out), 2):  # those on A
                host.failed[path] = True
                stranded += host.out[path]
                host.out[path] = []
            for io in stranded:
                io.attempt += 1
            stranded.sort(key=lambda io: io.arrived)
            host.waiting.extendleft(reversed(stranded))
            self.give_paths(host)

    # One attempt at an I/O. It simply stops where a frame of it is lost.

    def exchange(self, io, attempt):
        env = self.env
        fabric, controller = "AB"[io.path % 2], io.path // 2
        h = io.host.index

        def to_array(sizes):
            links = self.up["h", fabric, h], self.up["c", fabric, controller]
            return self.burst(sizes, links)

        def to_host(sizes):
            links = self.down["c", fabric, controller], self.down["h", fabric, h]
            return self.burst(sizes, links)

        fields = [2048] * (io.size // 2048)
        data = [field + 60 for field in fields]
        yield env.timeout(ADAPTER)
        yield to_array([92])
        if not io.read:
            yield to_host([72])
            yield env.timeout(ADAPTER)  # the transfer-ready received
            yield env.timeout(ADAPTER)  # the data sent
            yield to_array(data)
        with self.array[controller].request() as turn:
            yield turn
            begun = env.now
            yield env.timeout(io.service)
            self.served[controller] += max(0.0, min(env.now, TO) - max(begun, FROM))
        yield to_host(data + [84] if io.read else [84])
        yield env.timeout(ADAPTER)
        if io.attempt != attempt:
            return
        io.host.out[io.path].remove(io)
        del self.unfinished[io]
        latency = env.now - io.arrived
        self.longest = max(self.longest, latency)
        if FROM <= io.arrived < TO:
            self.latencies.append(latency)
        self.give_paths(io.host)

    def burst(self, sizes, links):
        """Frames that leave together; done when the last of them has arrived."""
        done, left = self.env.event(), [len(sizes)]

        def arrived():
            left[0] -= 1
            if left[0] == 0:
                done.succeed()

        if not self.is_lost(links[0].fabric):
            for size in sizes:
                links[0].queue.put(Frame(size, list(links[1:]), arrived))
        return done

    # What came of it.

    def figures(self):
        if self.case == "switch":
            self.env.run(until=SWITCH_END)
            waiting = max((self.env.now - io.arrived for io in self.unfinished), default=0.0)
            return {"longest": max(self.longest, waiting)}
        self.env.run(until=TO + DRAIN)
        assert all(io.arrived >= TO for io in self.unfinished), "measured I/Os unfinished"
        window = TO - FROM
        found = {
            "mean": sum(self.latencies) / len(self.latencies),
            "p99": nearest_rank(self.latencies, 0.99),
        }
        for links in (self.up, self.down):
            for link in links.values():
                found[f"{link.name[0]} > {link.name[1]}"] = link.busy / window
        for c in range(CONTROLLERS):
            found[f"box-c{c + 1}"] = self.served[c] / (PARALLEL * window)
        return found


def main():
    case, replications = sys.argv[1], int(sys.argv[2])
    figures = {}
    for replication in range(replications):
        # Seeds follow from the case's name and the replication.
        seed = sum(ord(letter) * 131**i for i, letter in enumerate(case)) % 2**31 + replication
        for name, value in Site(case, seed).figures().items():
            figures.setdefault(name, []).append(value)
    json.dump(figures, sys.stdout)


main()
