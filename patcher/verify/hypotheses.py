"""What could be wrong with a thing: every single fault that could be there, and none.

A *hypothesis* is the wiring as planned with faults in it. Hypotheses under which all lamps take the same look alike in
every frame that can be sent; they are one *class*, and a class keeps the names of all of them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from itertools import combinations, permutations

from patcher.address.patch import Patch
from patcher.address.thing import find
from patcher.errors import PatcherError, refuse
from patcher.faults import Departure, Fault, Planned, departure, parse
from patcher.faults.fault import CHOICES
from patcher.shapes import lattice
from patcher.show.schema import Show
from patcher.wiring import Wiring

Hypothesis = tuple[Fault, ...]

WEIGHTS: dict[str, float] = {
    "none": 8, "reversed": 8, "data-in": 6, "lines": 2, "turns": 3, "colour-order": 10,
    "swapped-ports": 8, "swapped-runs": 5, "shift": 5, "dark": 10, "dark-channel": 5, "missing": 2,
    "cut": 12, "flicker": 6, "dead": 8, "universe-shift": 6, "channel-shift": 4, "count": 6,
}  # fmt: skip
"""How often the trade meets each kind, against each other; a kind's weight is spread over all its places and values in
the scene. Common practice, no source."""

SHIFTS = (-3, -2, -1, 1, 2, 3)
UNIVERSES_OFF = (-2, -1, 1, 2)
CHANNELS_OFF = (-6, -4, -3, -2, -1, 1, 2, 3, 4, 6)
COUNTS_OFF = (-100, -50, -20, -10, -5, -3, -2, -1, 1, 2, 3, 5, 10)
"""The values that are thought of, of kinds that could have any number."""


def runs_of(wiring: Wiring, patch: Patch, thing: str) -> tuple[str, ...]:
    """The runs of a run, a port, a box or a prop that hang this season.

    Raises:
        PatcherError: there is no such thing, or nothing of it hangs.
    """
    found = find(thing, wiring, patch)
    runs = tuple(dict.fromkeys(part.run for part in found.parts if wiring.show.runs[part.run].hung))
    if found.kind in ("pixel", "pixels", "channel"):
        raise refuse(thing, "is a part of a run", f"name its run: {runs[0]}" if runs else "name a run, port or box")
    if not runs:
        raise refuse(thing, "has no lamps that hang this season", "name a box, port, run or prop that has")
    return runs


def chain_of(wiring: Wiring, port: tuple[str, int]) -> tuple[str, ...]:
    """All that hangs on a port this season, in data order, tees behind their run."""
    show = wiring.show
    return tuple(
        name for run in wiring.chains[port] for name in (run, *wiring.tees(run)) if show.runs[name].hung
    )  # fmt: skip


def singles(
    plan: Planned, runs: Sequence[str], pixels: Callable[[str], Iterable[int]] | None = None
) -> list[tuple[Fault, Departure]]:
    """Every single fault that could be at some runs, with what it changes.

    Those of the runs themselves, their ports and their boxes are there even where they change nothing; those of other
    runs on the same ports are there where they change what one of `runs` shows.

    Args:
        plan: the wiring as planned.
        runs: the runs.
        pixels: for a run the pixels, from 1, at which a fault is thought of; None: all.
    """
    show, ports = plan.wiring.show, list(dict.fromkeys(plan.wiring.ports[run] for run in runs))
    near = [name for port in ports for name in chain_of(plan.wiring, port)]
    found: list[tuple[Fault, Departure]] = []
    for own, texts in (
        (True, _of_ports(plan, ports)),
        *((name in runs, _of_run(show, name, pixels)) for name in near),
        *((False, _of_pairs(plan.wiring.chains[port])) for port in ports),
    ):
        for text in texts:
            try:
                fault = parse(text, show)
                differs = departure(plan, (fault,))
            except PatcherError:
                continue
            if own or any(run in differs.takes for run in runs):
                found.append((fault, differs))
    return found


def _of_ports(plan: Planned, ports: Iterable[tuple[str, int]]) -> Iterator[str]:
    show = plan.wiring.show
    seen: set[str] = set()
    for box, port in ports:
        controller, name = show.controllers[box], f"{box}/{port}"
        yield f"dead:{name}"
        yield from (f"count:{name}={off}" for off in COUNTS_OFF)
        for other in range(1, controller.ports + 1):
            pair = f"swapped-ports:{box}/{min(port, other)},{box}/{max(port, other)}"
            if other != port and pair not in seen:
                seen.add(pair)
                yield pair
        if controller.start_per != "controller":
            starts = [name] if controller.start_per == "port" else plan.wiring.chains[box, port]
            yield from (f"channel-shift:{start}={off}" for start in starts for off in CHANNELS_OFF)
        if box not in seen:
            seen.add(box)
            yield f"dead:{box}"
            yield from (f"universe-shift:{box}={off}" for off in UNIVERSES_OFF)
            if controller.start_per == "controller":
                yield from (f"channel-shift:{box}={off}" for off in CHANNELS_OFF)


def _of_run(show: Show, name: str, pixels: Callable[[str], Iterable[int]] | None) -> Iterator[str]:
    run = show.runs[name]
    letters = show.type_of(run).colour_order
    yield f"reversed:{name}"
    if (wired := lattice(show, run)) is not None:
        for kind, choices in CHOICES.items():
            planned = getattr(wired, kind.replace("-", "_"))
            yield from (f"{kind}:{name}={value}" for value in choices if value != planned)
    for order in sorted({"".join(order) for order in permutations(letters)} - {letters}):
        yield f"colour-order:{name}={order}"
    yield from (f"shift:{name}={off}" for off in SHIFTS)
    for pixel in pixels(name) if pixels else range(1, run.pixels + 1):
        yield from (f"{kind}:{name}/{pixel}" for kind in ("dark", "missing", "cut", "flicker"))
        yield from (f"dark-channel:{name}/{pixel}={letter}" for letter in letters)


def _of_pairs(chain: Sequence[str]) -> Iterator[str]:
    yield from (f"swapped-runs:{one},{other}" for one, other in combinations(chain, 2))


def weights(hypotheses: Sequence[Hypothesis]) -> list[float]:
    """How likely each of them is before anything was asked: a kind's weight over all of that kind; sums to 1."""
    kinds = [hypothesis[0].kind if hypothesis else "none" for hypothesis in hypotheses]
    count = {kind: kinds.count(kind) for kind in set(kinds)}
    total = sum(WEIGHTS[kind] for kind in count)
    return [WEIGHTS[kind] / count[kind] / total for kind in kinds]
