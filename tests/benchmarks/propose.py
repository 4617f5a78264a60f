"""How soon proposals are proved: random shows of 60 runs on 5 boxes, a row each, in markdown.

python tests/benchmarks/propose.py [SHOWS [RUNS [BOXES [SECONDS [KIND]]]]] [--cpu]

With `--cpu` the seconds are those of the processor, so that what else runs on the machine does not count.
"""

from __future__ import annotations

import sys
from pathlib import Path
from time import perf_counter, process_time

sys.path.insert(0, str(Path(__file__).parents[1]))
from patcher.chains.instance import instance
from patcher.propose.proposal import KINDS, propose
from rig.unhung_shows import unhung, wiring_of

PORTS = 4


def main() -> None:
    """Print the table."""
    clock = perf_counter
    if "--cpu" in sys.argv:
        sys.argv.remove("--cpu")
        clock = process_time
        for name, module in list(sys.modules.items()):
            if name.startswith(("patcher.propose.", "patcher.chains.")) and hasattr(module, "perf_counter"):
                module.perf_counter = clock
    shows, runs, boxes, seconds = (
        int(sys.argv[at]) if len(sys.argv) > at else value for at, value in ((1, 10), (2, 60), (3, 5), (4, 10))
    )
    kinds = [kind for kind in KINDS if len(sys.argv) < 6 or sys.argv[5] in kind]
    print(
        f"| show: {runs} runs, {boxes} boxes of {PORTS} ports | kind | s | cost, m | bound, m | gap | proved | boxes |"
    )
    print("| --- | --- | --- | --- | --- | --- | --- | --- |")
    for seed in range(shows):
        given = instance(wiring_of(unhung(seed, runs=runs, boxes=boxes, ports=PORTS, width=8.0 * boxes)))
        for kind in kinds:
            begun = clock()
            made = propose(given, kind, seconds=seconds)
            row = f"| {seed} | {kind} | {clock() - begun:.1f} | {made.cost:.2f} | {made.bound:.2f} |"
            left = f", {len(made.left_over)} left over" if made.left_over else ""
            print(f"{row} {made.gap:.2%} | {'yes' if made.proved else 'no'} | {made.boxes}{left} |", flush=True)


if __name__ == "__main__":
    main()
