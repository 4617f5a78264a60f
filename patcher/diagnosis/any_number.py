"""Numbers typed into a box that are off by any amount: of those a scene thinks of few."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress

import numpy as np

from patcher.diagnosis.hypotheses import Hypothesis
from patcher.errors import PatcherError
from patcher.faults import Fault, Planned, departure, parse
from patcher.wiring import port_name


def with_counts(plan: Planned, same: tuple[Hypothesis, ...]) -> tuple[Hypothesis, ...]:
    """What looks alike, and behind each cut wire the number of pixels that lets a box send no farther."""
    found: list[Hypothesis] = []
    for faults in same:
        found += [faults, *(each for each in _counted(plan, faults) if each not in same)]
    return tuple(dict.fromkeys(found))


def _counted(plan: Planned, faults: Hypothesis) -> Iterator[Hypothesis]:
    for number, fault in enumerate(faults):
        if fault.kind == "cut":
            for short in _short(plan, fault):
                instead = (*faults[:number], short, *faults[number + 1 :])
                if _same(plan, faults, instead):
                    yield instead


def _short(plan: Planned, cut: Fault) -> Iterator[Fault]:
    """The number of pixels of a port that ends just before a cut; its null pixels may be counted or not."""
    runs, (name, pixel) = plan.wiring.show.runs, cut.pixel
    port = plan.wiring.ports[name]
    chain = plan.wiring.chains[port]
    source = plan.wiring.source(name)
    behind = chain[chain.index(source) + 1 :]
    pixels = runs[source].pixels - pixel + sum(runs[run].pixels for run in behind)
    for nulls in dict.fromkeys((0, sum(runs[run].nulls for run in behind))):
        with suppress(PatcherError):
            yield parse(f"count:{port_name(*port)}={-pixels - nulls}", plan.wiring)


def _same(plan: Planned, one: Hypothesis, other: Hypothesis) -> bool:
    """Whether all pixels take the same; not where two of the faults make no sense together."""
    with suppress(PatcherError):
        here, there = departure(plan, one).takes, departure(plan, other).takes
        return here.keys() == there.keys() and all(np.array_equal(here[run], there[run]) for run in here)
    return False
