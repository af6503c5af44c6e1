#!/usr/bin/env python3
"""storage-lite in this simulator and in general-purpose simulation libraries, one after another in one
sitting, several rounds; prints I/Os per second of processor time and the ratios.

usage: benches/peers.py [--rounds N] [--peers DIR]

DIR holds the model written for simpy (storage_simpy.py) and for nexosim (a Cargo package); it is no part of
the project. Everything built goes to target/. Ratios of one sitting mean something, single figures little:
machines differ and are shared. All statistics of the simulator are on.
"""

import argparse
import json
import os
import platform
import re
import resource
import statistics
import subprocess
import sys
import venv
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
TARGET = ROOT / "target"
SCENARIO = ROOT / "benches" / "scenarios" / "storage-lite.toml"
SIMPY = "simpy==4.1.1"


def main():
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n")[0])
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--peers", type=Path, default=ROOT.parent / "shared" / "peers")
    options = parser.parse_args()
    if not (options.peers / "storage_simpy.py").exists():
        sys.exit(f"skipped: {options.peers} does not hold the other libraries' models")
    run(["cargo", "build", "--release", "--locked", "--quiet"], cwd=ROOT)
    python = python_with_simpy()
    nexosim = nexosim_binary(options.peers)
    simpy = options.peers / "storage_simpy.py"
    contenders = {
        "halfloom": lambda: halfloom(),
        "simpy, a process a frame": lambda: peer([python, simpy, "process", "0.05"]),
        "simpy, bare callbacks": lambda: peer([python, simpy, "callback", "0.2"]),
        "nexosim, one thread": lambda: peer([nexosim, *NEXOSIM]),
    }
    rates = {name: [] for name in contenders}
    memory = {}
    means = {}
    for _ in range(options.rounds):
        for name, contend in contenders.items():
            rate, means[name], memory[name] = contend()
            rates[name].append(rate)
    report(rates, means, memory, options.rounds)


# Simulated seconds, threads.
NEXOSIM = ["0.5", "1"]


def run(command, **more):
    return subprocess.run(list(map(str, command)), check=True, text=True, **more)


def python_with_simpy():
    place = TARGET / "peers" / "venv"
    python = place / "bin" / "python"
    if not python.exists():
        venv.create(place, with_pip=True)
        run([python, "-m", "pip", "install", "--quiet", SIMPY])
    return python


def nexosim_binary(peers):
    place = TARGET / "peers" / "nexosim"
    manifest = peers / "nexosim" / "Cargo.toml"
    # Read-only folders cannot take a lock file, so the package is built from a copy.
    copy = place / "package"
    copy.mkdir(parents=True, exist_ok=True)
    run(["cp", "-r", "--no-preserve=mode", f"{manifest.parent}/.", copy])
    command = ["cargo", "build", "--release", "--quiet", "--target-dir", place / "target"]
    run(command, cwd=copy)
    built = place / "target" / "release"
    return next(path for path in built.iterdir() if path.name.startswith("storage") and os.access(path, os.X_OK) and path.is_file() and not path.suffix)


def halfloom():
    """I/Os per second of processor time, mean in us, peak MiB; start-up and output included."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    command = [TARGET / "release" / "halfloom", "simulate", SCENARIO, "--threads", "1", "--quiet", "--json"]
    watched = subprocess.Popen(list(map(str, command)), stdout=subprocess.PIPE, text=True)
    text = watched.stdout.read()
    _, status, usage = os.wait4(watched.pid, 0)
    if os.waitstatus_to_exitcode(status) not in (0, 1):
        sys.exit("halfloom failed")
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    spent = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    steady = json.loads(text)["steady"][0]
    mean = steady["workloads"][0]["all"]["mean_us"]["value"]
    return steady["ios"] / spent, mean, usage.ru_maxrss / 1024


def peer(command):
    text = run(command, capture_output=True).stdout
    rate = float(re.search(r"I/O/s=([\d.e+]+)", text)[1])
    mean = float(re.search(r"mean=([\d.]+)", text)[1])
    peak = float(re.search(r"peak=([\d.]+)", text)[1])
    return rate, mean, peak


def report(rates, means, memory, rounds):
    ours = statistics.median(rates["halfloom"])
    print(f"storage-lite, {rounds} rounds in one sitting, {machine()}")
    print("| | I/Os per s of one core: least, median, most | mean I/O, us | peak, MiB | halfloom ÷ it |")
    print("| --- | --- | ---: | ---: | ---: |")
    for name, all_of in rates.items():
        middle = statistics.median(all_of)
        spread = f"{min(all_of):,.0f}, {middle:,.0f}, {max(all_of):,.0f}"
        print(f"| {name} | {spread} | {means[name]:.1f} | {memory[name]:.0f} | {ours / middle:.1f} |")


def machine():
    model = platform.machine()
    try:
        for line in Path("/proc/cpuinfo").read_text().splitlines():
            if line.startswith("model name"):
                model = line.split(":", 1)[1].strip()
                break
    except OSError:
        pass
    return f"{os.cpu_count()} cores, {model}"


if __name__ == "__main__":
    main()
