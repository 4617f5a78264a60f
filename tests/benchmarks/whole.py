"""How often, and how soon, placement `whole` is proved: a table in markdown.

    python tests/benchmarks/whole.py [SHOWS [SHOWS_OF_CONSECUTIVE_BOXES]]

200 RGB starts a show, universes shared; then the same starts on boxes that must not be torn apart, with the gap that is
left open.
"""

import random
import statistics
import sys
from pathlib import Path
from time import perf_counter

sys.path.insert(0, str(Path(__file__).parents[1]))
from patcher.patch.chains import chains
from patcher.placement.effort import Effort
from patcher.placement.whole import whole
from rig.shipped import wired

STARTS = 200
LENGTHS = {
    "uniform 1–170": lambda random_: random_.randint(1, 170),
    "uniform 10–800": lambda random_: random_.randint(10, 800),
    "50 … 400, ± 3": lambda random_: random_.choice((50, 100, 150, 200, 300, 400)) + random_.randint(-3, 3),
}


def show(seed: int, kind: str, *, consecutive: bool) -> dict:
    """A show of 200 RGB starts on boxes of four to eight ports."""
    random_ = random.Random(seed)
    runs, controllers, left = {}, {}, STARTS
    while left:
        box, ports = f"box-{len(controllers) + 1}", min(left, random_.randint(4, 8))
        port = {str(number): [f"{box}-{number}"] for number in range(1, ports + 1)}
        runs |= {names[0]: {"pixel": "lamp", "pixels": LENGTHS[kind](random_)} for names in port.values()}
        controllers[box] = {"address": "192.0.2.1", "ports": 8, "consecutive": consecutive, "port": port}
        left -= ports
    for number, controller in enumerate(controllers.values(), start=1):
        controller["address"] = f"192.0.2.{number}"
    settings = {"title": kind, "share_universes": True}
    return {"show": settings, "pixel": {"lamp": {"colour_order": "RGB"}}, "controller": controllers, "run": runs}


def measure(kind: str, shows: int, *, consecutive: bool) -> tuple[list[float], list[int], int]:
    """Seconds, gaps and how many are proved."""
    times, gaps, proved = [], [], 0
    for seed in range(shows):
        wiring = wired(show(seed, kind, consecutive=consecutive))
        todo = chains(wiring)
        begun = perf_counter()
        laid = whole(wiring.show, todo, effort=Effort(10.0))
        times.append(perf_counter() - begun)
        used = {at // 512 + step for chain, at in zip(todo, laid.places, strict=True)
                for step in range(-(-chain.end(at % 512) // 512))}  # fmt: skip
        gaps.append(len(used) - laid.lower_bound)
        proved += laid.proved
    return sorted(times), sorted(gaps), proved


def main() -> None:
    """Print the table."""
    shows = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    torn = int(sys.argv[2]) if len(sys.argv) > 2 else shows
    title = f"{STARTS} RGB starts, {shows} free and {torn} consecutive shows each"
    print(f"| {title} | proved | gap min / median / max | s median | s 95 % | s max |")
    print("| --- | --- | --- | --- | --- | --- |")
    for consecutive in (False, True):
        for kind in LENGTHS:
            times, gaps, proved = measure(kind, torn if consecutive else shows, consecutive=consecutive)
            late = times[max(0, -(-95 * len(times) // 100) - 1)]
            gap = f"{gaps[0]} / {statistics.median_low(gaps)} / {gaps[-1]}"
            name = f"{kind}, {'consecutive' if consecutive else 'free'}"
            print(
                f"| {name} | {proved} | {gap} | {statistics.median(times):.2f} | {late:.2f} | {times[-1]:.2f} |",
                flush=True,
            )


if __name__ == "__main__":
    main()
