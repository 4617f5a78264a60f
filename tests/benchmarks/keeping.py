"""Fewest changes on 300 starts, a fifth of them longer or shorter than last year: a table in markdown.

    python tests/benchmarks/keeping.py [SHOWS]

Beside it stands what a spreadsheet does, which lays every box anew in order: how many boxes and starts change then.
Nothing is asserted.
"""

from __future__ import annotations

import copy
import random
import statistics
import sys
from pathlib import Path
from time import perf_counter

sys.path.insert(0, str(Path(__file__).parents[1]))
from patcher.patch.changes import changed_boxes, start_changes
from patcher.placement.allocation import allocate
from rig.shipped import wired

STARTS = 300


def show(random_: random.Random, placement: str, ports: int) -> dict:
    """300 RGB starts on boxes of so many ports, each but the last full."""
    runs, controllers = {}, {}
    for number in range(STARTS):
        box, port = f"box-{number // ports + 1}", number % ports + 1
        controller = controllers.setdefault(box, {"address": f"192.0.{number // 200}.{number % 200 + 1}", "port": {}})
        controller |= {"ports": ports}
        controller["port"][str(port)] = [f"run-{number + 1}"]
        runs[f"run-{number + 1}"] = {"pixel": "lamp", "pixels": random_.randint(20, 600)}
    settings = {"title": "Last year", "placement": placement}
    return {"show": settings, "pixel": {"lamp": {"colour_order": "RGB"}}, "controller": controllers, "run": runs}


def next_year(random_: random.Random, tables: dict) -> dict:
    """The same show, a fifth of its runs between 1 and 200 pixels longer or shorter."""
    tables = copy.deepcopy(tables)
    for run in random_.sample(sorted(tables["run"]), STARTS // 5):
        pixels = tables["run"][run]["pixels"] + random_.choice((-1, 1)) * random_.randint(1, 200)
        tables["run"][run]["pixels"] = max(1, pixels)
    return tables


def main() -> None:
    """Print the table."""
    shows = int(sys.argv[1]) if len(sys.argv) > 1 else 10
    print(f"| 300 starts, {shows} shows each | s median | s max | exact | boxes changed, of | anew | starts | anew |")
    print("| --- | --- | --- | --- | --- | --- | --- | --- |")
    for placement in ("fresh", "follow", "whole"):
        for ports in (1, 4, 8):
            times, exact, counts = [], 0, [0, 0, 0, 0]
            for seed in range(shows):
                random_ = random.Random(seed)
                tables = show(random_, placement, ports)
                old = allocate(wired(tables), seconds=2.0).patch
                after = wired(next_year(random_, tables))
                anew = allocate(after, seconds=2.0).patch
                begun = perf_counter()
                made = allocate(after, old)
                times.append(perf_counter() - begun)
                exact += made.excess == 0
                for number, patch in enumerate((made.patch, anew)):
                    counts[number] += len(changed_boxes(old, patch))
                    counts[2 + number] += len(start_changes(old, patch))
            boxes = -(-STARTS // ports)
            mean = [f"{count / shows:.0f}" for count in counts]
            print(
                f"| {placement}, {ports} a box | {statistics.median(times):.2f} | {max(times):.2f} "
                f"| {exact} | {mean[0]} of {boxes} | {mean[1]} | {mean[2]} | {mean[3]} |",
                flush=True,
            )


if __name__ == "__main__":
    main()
