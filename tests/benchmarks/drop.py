"""How long the voltages of a show take: a table in markdown.

    python tests/benchmarks/drop.py

10 000 pixels on 100 feeds, built and solved, beside the limit of 50 ms; the same network through ngspice in the same
run, reading its netlist and its own start among it, and its own word for the analysis alone; then the 100 000 pixels of
shows/village.toml: solved, and the whole of `patcher check`, beside the goal of 3 s. Each the best of
five, in processor time; what takes over 5 s is done once. Nothing is asserted but that the two agree where
draw = "current".
"""

from __future__ import annotations

import resource
import subprocess
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))
from patcher.power.circuit import circuit
from patcher.power.drop import solve
from patcher.show.show_file import read_show
from patcher.wiring import wire
from rig.judges import judge
from rig.ngspice import Netlist, ask, netlist
from rig.shipped import wired
from rig.verdicts import at_least

VILLAGE = Path(__file__).parents[2] / "shows" / "village.toml"
FEEDS, EACH = 100, 100
LIMIT_MS, GOAL_S, TIMES_NGSPICE, ONCE_S = 50, 3.0, 10, 5.0


def ladder(draw: str) -> dict:
    """100 runs of 100 pixels on ten boxes of ten ports, each fed at both ends by one feed of its own."""
    lamp = {
        "colour_order": "RGB",
        "volts": 12.0,
        "channel_ma": 5.5,
        "idle_ma": 0.8,
        "awg": 20,
        "pitch": 0.0508,
        "draw": draw,
    }
    names = [f"run-{number}" for number in range(FEEDS)]
    boxes = {
        f"box-{box}": {
            "address": f"192.0.2.{box + 1}",
            "ports": 10,
            "port": {str(port + 1): [names[10 * box + port]] for port in range(10)},
        }
        for box in range(10)
    }
    supplies = {f"supply-{box}": {"volts": 12.0, "amps": 30.0} for box in range(10)}
    feeds = {
        f"feed-{number}": {
            "supply": f"supply-{number // 10}",
            "awg": 14,
            "taps": [{"run": name, "pixel": 1, "length": 2.0}, {"run": name, "pixel": "last", "length": 5.0}],
        }
        for number, name in enumerate(names)
    }
    runs = {name: {"pixel": "lamp", "pixels": EACH} for name in names}
    shows = {"show": {"title": "a ladder"}, "pixel": {"lamp": lamp}, "controller": boxes}
    return shows | {"run": runs, "supply": supplies, "feed": feeds}


def spent() -> float:
    """Processor seconds of this program and of those that it has run."""
    used = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(one.ru_utime + one.ru_stime for one in used)


def best(work: Callable[[], Any]) -> tuple[float, Any]:
    """The least processor seconds of five, its programs' with them, and what came of it; a long one is done once.

    Processor time, and not the clock's, because the machine may have other work.
    """
    times: list[float] = []
    while len(times) < 5 and not (times and times[0] > ONCE_S):
        begun = spent()
        made = work()
        times.append(spent() - begun)
    return min(times), made


def ngspice_seconds(net: Netlist) -> tuple[float, float]:
    """Of the whole program with its own ordinary tolerances, and what it says of its analysis alone."""
    with tempfile.TemporaryDirectory() as folder:
        deck = Path(folder, "deck.cir")
        lines = net.text().splitlines(keepends=True)
        deck.write_text("".join(line for line in lines if not line.startswith(".options")))
        command = ["ngspice", "-b", "-r", str(Path(folder, "out.raw")), str(deck)]
        seconds, ran = best(lambda: subprocess.run(command, capture_output=True, text=True, check=True))
    said = next(line for line in ran.stdout.splitlines() if line.startswith("Total analysis time"))
    return seconds, float(said.rpartition("=")[2])


def main() -> None:
    """Print the table."""
    judge("ngspice", "ngspice")
    print("| best of five, processor time | ms | beside | |")
    print("| --- | --- | --- | --- |")
    longer = {}
    for draw in ("current", "power"):
        tables = ladder(draw)
        wiring = wired(tables)
        building, copper = best(lambda wiring=wiring: circuit(wiring))
        solving, drop = best(lambda copper=copper: solve(copper, 1.0))
        net = netlist(tables, 1.0)
        beside = "| |"
        if draw == "current":
            verdict = ask(net)
            off = max(np.abs(drop.volts[where] - verdict.volts[run]).max() for run, where in copper.runs.items())
            assert off < 1e-5
            beside = f"| largest difference {off * 1e6:.3f} µV |"
        whole, alone = ngspice_seconds(net)
        own = building + solving
        what = f"{FEEDS * EACH} pixels on {FEEDS} feeds, draw = {draw}"
        longer[what] = whole / own
        print(f"| {what}: build | {building * 1e3:.1f} | | |")
        print(f"| {what}: solve | {solving * 1e3:.1f} | | |")
        print(f"| {what}: both | {own * 1e3:.1f} | limit {LIMIT_MS} {beside}")
        print(
            f"| the same through ngspice | {whole * 1e3:.0f} | {whole / own:.1f} times as long, goal {TIMES_NGSPICE} "
            f"| its analysis alone {alone * 1e3:.0f}: {alone / solving:.1f} times our solving |",
            flush=True,
        )
    reading = read_show(VILLAGE)
    assert reading.show is not None
    wiring = wire(reading.show)
    building, copper = best(lambda: circuit(wiring))
    solving, drop = best(lambda: solve(copper, wiring.show.settings.level))
    what = f"village.toml, {copper.pixels} pixels"
    print(f"| {what}: build | {building * 1e3:.0f} | | |")
    print(f"| {what}: solve | {solving * 1e3:.0f} | | lowest {np.nanmin(drop.volts):.2f} V |")
    command = [sys.executable, "-m", "patcher", "check", str(VILLAGE), "--json"]
    checking, ran = best(lambda: subprocess.run(command, capture_output=True, text=True, check=False))
    if ran.returncode > 1:
        raise SystemExit(ran.stderr)
    print(f"| {what}: whole `check` | {checking * 1e3:.0f} | goal {GOAL_S * 1e3:.0f} | |")
    print()
    for what, ratio in longer.items():
        at_least(f"{what}: ngspice ÷ ours", ratio, TIMES_NGSPICE)


if __name__ == "__main__":
    main()
