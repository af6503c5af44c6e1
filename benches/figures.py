#!/usr/bin/env python3
"""The figures of benches/README.md, measured in one sitting and printed as the rows of its table.

usage: benches/figures.py [--rounds N]

Whole processes are timed, start-up and output included, all statistics on. Run it on a machine that does
nothing else: the figures are medians, but a busy machine makes them worse all the same. With valgrind
installed it counts instructions too, which no other program disturbs.
"""

import argparse
import json
import os
import re
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
PROGRAM = ROOT / "target" / "release" / "halfloom"
LITE = ROOT / "benches" / "scenarios" / "storage-lite.toml"
LARGE = ROOT / "benches" / "scenarios" / "two-thousand-hosts.toml"
MILLION = ROOT / "benches" / "scenarios" / "million.toml"
DEMO = ROOT / "scenarios" / "ostrel.toml"


def main():
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n")[0])
    parser.add_argument("--rounds", type=int, default=5)
    rounds = parser.parse_args().rounds
    subprocess.run(["cargo", "build", "--release", "--locked", "--quiet"], cwd=ROOT, check=True)
    print("| what | figure |")
    print("| --- | ---: |")

    lite = [timed(["simulate", LITE, "--threads", "1", "--json"]) for _ in range(rounds)]
    row("storage-lite, I/Os per second of one core", median(ios(run) / run["cpu"] for run in lite))
    row("storage-lite, frame-hops per second of one core", median(hops(run) / run["cpu"] for run in lite))
    row("storage-lite, most memory, MiB", median(run["mib"] for run in lite))

    demo = ["simulate", DEMO, "--threads", "1", "--json", "--replications", "1"]
    runs = [timed(demo) for _ in range(rounds)]
    row("the demonstration, healthy, frame-hops per second of one core", median(hops(run) / run["cpu"] for run in runs))

    start = [timed(["check", LARGE]) for _ in range(rounds)]
    row("2,000 hosts, 10,304 directions: `check`, s", wall(start), "{:.2f}")
    lengths = ("21ms", "221ms", "1021ms")
    runs = [[timed(lasting(LARGE, length, 1)) for _ in range(rounds)] for length in lengths]
    row("the same: a run of 21 ms with all its output, s", wall(runs[0]), "{:.2f}")
    row("the same: most memory of a run of 1 s, MiB", median(run["mib"] for run in runs[2]))
    # In its first moments a run finds the ways of its flows and has the memory of its statistics brought in.
    row("the same: frame-hops per second of one core, the first 200 ms", pace(runs[0], runs[1]))
    row("the same: frame-hops per second of one core, after that", pace(runs[1], runs[2]))

    # Two replications side by side, one a core; what a longer run takes more than a shorter one.
    runs = [[timed(lasting(MILLION, length, 2)) for _ in range(rounds)] for length in ("220ms", "1220ms")]
    more = wall(runs[1]) - wall(runs[0])
    row("96 hosts, 1,000,000 I/Os per second: simulated seconds per wall second, 2 cores", 2 / more, "{:.2f}")
    row("the same: frame-hops per second of one core, both at work", pace(*runs))

    ten = ["simulate", LITE, "--replications", "10", "--json"]
    one = median(timed([*ten, "--threads", "1"])["wall"] for _ in range(rounds))
    two = median(timed([*ten, "--threads", "2"])["wall"] for _ in range(rounds))
    row("ten replications of storage-lite: what a second core gains", one / two, "x {:.2f}")

    with tempfile.TemporaryDirectory() as folder:
        report = timed(["report", DEMO, "-o", Path(folder) / "report"])
    row("the demonstration's `report`, wall s on all cores", report["wall"], "{:.1f}")
    row("the same, processor s", report["cpu"], "{:.1f}")

    if shutil.which("valgrind"):
        with tempfile.TemporaryDirectory() as folder:
            few, many = (instructions(folder, duration) for duration in ("10ms", "50ms"))
        row("instructions per frame-hop, storage-lite, start-up left out", (many - few) / (400_000 * 0.04 * 20))


def row(what, figure, form="{:,.0f}"):
    print(f"| {what} | {form.format(figure)} |", flush=True)


def median(figures):
    return statistics.median(list(figures))


def lasting(scenario, length, threads):
    return ["simulate", scenario, "--threads", str(threads), "--json", "--set", f"run.duration={length}"]


def wall(runs):
    return median(run["wall"] for run in runs)


def pace(short, long):
    """Frame-hops a second of processor time that a longer run has more than a shorter one."""
    carried = median(hops(run) for run in long) - median(hops(run) for run in short)
    return carried / (median(run["cpu"] for run in long) - median(run["cpu"] for run in short))


def ios(run):
    return sum(case["ios"] for case in run["json"]["steady"])


def hops(run):
    return sum(case["frame_hops"] for case in run["json"]["steady"])


def timed(arguments):
    command = list(map(str, [PROGRAM, *arguments, "--quiet"]))
    started = time.perf_counter()
    process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    text = process.stdout.read()
    _, status, usage = os.wait4(process.pid, 0)
    wall = time.perf_counter() - started
    if os.waitstatus_to_exitcode(status) not in (0, 1):
        sys.exit(f"failed: {' '.join(command)}")
    found = json.loads(text) if "--json" in command else None
    cpu = usage.ru_utime + usage.ru_stime
    return {"wall": wall, "cpu": cpu, "mib": usage.ru_maxrss / 1024, "json": found}


def instructions(folder, duration):
    count = ["valgrind", "--tool=callgrind", f"--callgrind-out-file={folder}/out"]
    run = [PROGRAM, "simulate", LITE, "--threads", "1", "--quiet", "--set", f"run.duration={duration}"]
    done = subprocess.run(list(map(str, count + run)), capture_output=True, text=True)
    return int(re.search(r"refs:\s+([\d,]+)", done.stderr)[1].replace(",", ""))


if __name__ == "__main__":
    main()
