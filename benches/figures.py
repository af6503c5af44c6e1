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
    row("2,000 hosts, 10,304 directions: `check`, s", median(run["wall"] for run in start), "{:.2f}")
    short = ["simulate", LARGE, "--threads", "1", "--json", "--set", "run.duration=21ms"]
    start = [timed(short) for _ in range(rounds)]
    row("the same: a run of 21 ms with all its output, s", median(run["wall"] for run in start), "{:.2f}")
    row("the same: most memory, MiB", median(run["mib"] for run in start))
    longer = ["simulate", LARGE, "--threads", "1", "--json", "--set", "run.duration=221ms"]
    runs = [timed(longer) for _ in range(rounds)]
    per_run = median(run["cpu"] for run in runs) - median(run["cpu"] for run in start)
    carried = median(hops(run) for run in runs) - median(hops(run) for run in start)
    row("the same: frame-hops per second of one core, start-up left out", carried / per_run)
    # A million I/Os a second: two replications side by side, one a core.
    row("the same, 1,000,000 I/Os per second: simulated seconds per wall second, 2 cores", 2 * 0.2 / per_run, "{:.2f}")

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
