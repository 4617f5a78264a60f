"""Numbers typed into a box that are off by any amount: of those a scene thinks of few, and of all where none of what it
thinks of explains the answers.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import suppress
from typing import TYPE_CHECKING

import numpy as np

from patcher.diagnosis.hypotheses import Hypothesis
from patcher.diagnosis.posterior import MISFIT
from patcher.diagnosis.scene import Scene, build_scene
from patcher.diagnosis.views import see
from patcher.errors import PatcherError
from patcher.eye import CANNOT_TELL, Eye
from patcher.faults import Departure, Fault, Planned, build, departure, parse
from patcher.trade import CHANNELS
from patcher.wiring import port_name

if TYPE_CHECKING:
    from patcher.diagnosis.pair_pool import Told
    from patcher.patch.patch import Start

Changed = tuple[Hypothesis, Departure]
MOST_NULLS = 100
"""No more null pixels than so many are typed in by mistake. Common practice, no source."""


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


def typed_anyhow(plan: Planned, runs: Sequence[str]) -> Iterator[Changed]:
    """Every start address and every number of null pixels of some runs, typed in otherwise than planned, so far as
    something is sent to the channels that a run then takes: far off, it looks like a dead box.
    """
    patch, own = plan.patch, {plan.patch.start_of(plan.wiring.source(run)).chain.name for run in runs}
    boxes = dict.fromkeys(plan.wiring.ports[run][0] for run in runs)
    starts = [start for start in patch.starts if start.chain.name in own]
    for box in boxes:
        yield from _by_universes(plan, box, [start for start in patch.starts if start.controller == box])
    for start in starts:
        name = start.chain.name
        yield from _by_universes(plan, name, [start])
        for off in range(1 - CHANNELS, CHANNELS):
            yield from _faults(plan, f"channel-shift:{name}={off}")
        for other in patch.starts:  # another one's address, or its channel, or 1
            for channel in {other.channel, 1} - {start.channel}:
                if other.universe != start.universe:
                    by = f"universe-shift:{name}={other.universe - start.universe}"
                    yield from _faults(plan, by, f"channel-shift:{name}={channel - start.channel}")
    for run in runs:
        most = min(plan.wiring.show.runs[run].pixels, MOST_NULLS)
        for off in range(-most, most + 1):
            yield from _faults(plan, f"shift:{run}={off}")


def _by_universes(plan: Planned, name: str, starts: Sequence[Start]) -> Iterator[Changed]:
    """A start, or all of a box, by so many universes that it then lies on some of those that are sent."""
    own = {universe for start in starts for universe in start.universes}
    for off in sorted({sent - universe for sent in plan.patch.universes for universe in own}):
        yield from _faults(plan, f"universe-shift:{name}={off}")


def _faults(plan: Planned, *texts: str) -> Iterator[Changed]:
    """These faults at once with what they change, where they make sense in the show."""
    with suppress(PatcherError):
        faults = build(plan.wiring, [parse(text, plan.wiring) for text in texts]).faults
        yield faults, departure(plan, faults)


def explaining(scene: Scene, eye: Eye, told: Sequence[Told]) -> Scene | None:
    """A scene of those typed numbers alone that explain every answer; None where there is none.

    Args:
        scene: what was thought of so far.
        eye: the eye that answered.
        told: what it said.
    """
    every = dict(typed_anyhow(scene.plan, scene.runs))
    wide = build_scene(scene.plan, scene.runs, [(), *every], [None, *every.values()], scene.variants)
    left = np.arange(1, len(wide.classes))
    for one in told:
        if one.ask.answers[one.answer] != CANNOT_TELL and len(left):
            left = left[see(wide, eye, one.frame, one.ask, left)[:, one.answer] >= MISFIT]
    kept = [faults for number in left.tolist() for faults in wide.classes[number]]
    if not kept:
        return None
    return build_scene(scene.plan, scene.runs, [(), *kept], [None, *map(every.__getitem__, kept)], scene.variants)
