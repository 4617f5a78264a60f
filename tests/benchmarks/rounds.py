"""What a round costs and what it cannot show: a table in markdown.

    python tests/benchmarks/rounds.py [--shows 50] [--from 0]

Over shows/heron-lock.toml and random shows (`rig/any_show.py`): steps a run; single faults that change what any pixel
takes, how many of them no eye sees in any step, by kind and with names; how many an eye may overlook, and how often at
worst; seconds to make a round, and to work out what it cannot show. Nothing is asserted.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from pathlib import Path
from time import process_time

sys.path.insert(0, str(Path(__file__).parents[1]))
from patcher.diagnosis.hypotheses import singles
from patcher.faults import planned
from patcher.placement.allocation import allocate
from patcher.show.show_file import read_show
from patcher.walk.items import items
from patcher.walk.round_plan import plan
from patcher.walk.unprovable import Passed, passed
from patcher.wiring import Wiring, wire
from rig.any_show import any_show
from rig.shipped import SHOWS, wired


def measured(name: str, wiring: Wiring) -> tuple[int, int, int, list[Passed], float, float]:
    """Steps, runs, faults that change a pixel, those that pass, seconds for the round and for what passes."""
    patch = allocate(wiring).patch
    begun = process_time()
    steps = plan(wiring, items(wiring))
    made = process_time() - begun
    begun, sound = process_time(), planned(wiring, patch)
    count, found = 0, dict[str, Passed]()
    for box in wiring.show.controllers:
        runs = [run for run, table in wiring.show.runs.items() if table.hung and wiring.ports[run][0] == box]
        faults = singles(sound, runs) if runs else []
        count += sum(bool(differs.takes) for _, differs in faults)
        found |= {str(one.fault): one for one in passed(sound, steps, faults)}
    return len(steps), len(wiring.show.runs), count, list(found.values()), made, process_time() - begun


def row(name: str, steps: int, runs: int, faults: int, found: list[Passed], made: float, seconds: float) -> None:
    """A line of the table, and of what it cannot show the names."""
    hard = Counter(one.fault.kind for one in found if one.runs and one.unprovable)
    easy = [one.chance for one in found if one.runs and not one.unprovable]
    named = ", ".join(f"{kind} {count}" for kind, count in hard.items()) or "none"
    worst = f"{len(easy)}, at worst {max(easy):.3f}" if easy else "none"
    print(f"| {name} | {steps / runs:.2f} | {faults} | {named} | {worst} | {made:.2f} | {seconds:.1f} |")


def main() -> None:
    """Measure."""
    asked = argparse.ArgumentParser()
    asked.add_argument("--shows", type=int, default=50)
    asked.add_argument("--from", type=int, default=0, dest="first")
    given = asked.parse_args()
    print("| show | steps a run | faults at pixels | seen by no eye | overlooked with a chance | s, round | s |")
    print("| --- | --- | --- | --- | --- | --- | --- |")
    show = read_show(SHOWS / "heron-lock.toml").show
    assert show is not None
    row("Heron Lock", *measured("Heron Lock", wire(show)))
    every: list[Passed] = []
    all_steps, all_runs, all_faults, all_made, all_seconds, most = 0, 0, 0, 0.0, 0.0, 0.0
    for seed in range(given.first, given.first + given.shows):
        steps, runs, faults, found, made, seconds = measured(str(seed), wired(any_show(seed)))
        all_steps, all_runs, all_faults = all_steps + steps, all_runs + runs, all_faults + faults
        every, all_made, all_seconds = [*every, *found], all_made + made, all_seconds + seconds
        most = max(most, steps / runs)
        alike: dict[tuple[str, str, str], list[Passed]] = {}
        for one in found:
            if one.runs and one.unprovable:
                key = (one.fault.kind, one.fault.where.partition("/")[0], one.fault.value)
                alike.setdefault(key, []).append(one)
        for group in alike.values():
            print(f"    show {seed}: {group[0].fault}" + f" and {len(group) - 1} like it" * (len(group) > 1))
    row(f"{given.shows} random shows", all_steps, all_runs, all_faults, every, all_made, all_seconds)
    print(f"\nThe most steps a run of any show: {most:.2f}.")
    nowhere = Counter(one.fault.kind for one in every if not one.runs)
    print(f"Faults that change no pixel, and show in no frame: {dict(nowhere)}.")


if __name__ == "__main__":
    main()
