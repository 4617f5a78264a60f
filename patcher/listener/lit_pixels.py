"""Which pixels of a show the streams that were heard would light, run by run, in coarse colours."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from patcher.faults import planned, slot_index
from patcher.frames.looks import DARK
from patcher.listener.contention import by_universe, winners
from patcher.listener.heard import Heard
from patcher.patch.patch import Patch
from patcher.show.schema import Show
from patcher.trade import CHANNELS, PROTOCOL_NAMES, Protocol, colour_name
from patcher.wiring import Wiring


@dataclass(frozen=True, slots=True)
class Lit:
    """Pixels of one run that follow each other and show about the same colour; pixels count from 1."""

    run: str
    first: int
    last: int
    colour: str


def expected(show: Show, patch: Patch) -> dict[tuple[Protocol, int], Collection[str]]:
    """The boxes that listen to each universe, by the protocol that they take."""
    found: dict[tuple[Protocol, int], Collection[str]] = {}
    for box, universes in patch.box_universes.items():
        for universe in universes:
            key: tuple[Protocol, int] = (show.controllers[box].protocol, universe)
            found[key] = (*found.get(key, ()), box)
    return found


def lit(heard: Heard, wiring: Wiring, patch: Patch) -> list[Lit]:
    """The pixels that are lit, in the order of the runs and the data; the newest of equal sources is taken.

    A box's own dimmer is left out: a pixel counts as lit where one of its channels is over 0.
    """
    slots, takes = _slots(heard), planned(wiring, patch).takes
    found: list[Lit] = []
    for start in patch.starts:
        protocol = wiring.show.controllers[start.controller].protocol
        universes = [universe for universe in start.universes if (protocol, universe) in slots]
        if not universes:
            continue
        levels = np.zeros(len(universes) * CHANNELS + 1, dtype=np.uint8)
        for row, universe in enumerate(universes):
            held = slots[protocol, universe]
            levels[row * CHANNELS : row * CHANNELS + len(held)] = np.frombuffer(held, dtype=np.uint8)
        for link in start.chain.links:
            letters = wiring.show.type_of(wiring.show.runs[link.run]).colour_order
            found += _ranges(link.run, levels[slot_index(takes[link.run], universes)], letters)
    return found


def _slots(heard: Heard) -> dict[tuple[Protocol, int], bytes]:
    found: dict[tuple[Protocol, int], bytes] = {}
    for universe, streams in by_universe(heard.streams).items():
        for protocol in PROTOCOL_NAMES:
            shown = winners(stream for stream in streams if stream.protocol == protocol)
            if shown:
                found[protocol, universe] = max(shown, key=lambda stream: stream.heard).slots
    return found


def _ranges(run: str, values: NDArray[np.uint8], letters: str) -> list[Lit]:
    bright = values.max(axis=1)
    on = (values > 0) & (values.astype(np.int64) * 2 >= bright[:, None])
    kinds, which = np.unique(on @ (1 << np.arange(len(letters))), return_inverse=True)
    named = [_colour(kind, letters) for kind in kinds.tolist()]
    colours = np.array([named.index(name) for name in named])[which.reshape(-1)]
    edges = [0, *(np.flatnonzero(np.diff(colours)) + 1).tolist(), len(colours)]
    return [
        Lit(run, first + 1, last, named[colours[first]])
        for first, last in pairwise(edges)
        if last > first and named[colours[first]] != DARK.name
    ]


def _colour(kind: int, letters: str) -> str:
    """A colour by its bright channels: those at half of the brightest or more."""
    bright = "".join(sorted({letter for place, letter in enumerate(letters) if kind >> place & 1}))
    if "W" in bright:
        return "white"
    return colour_name(bright) or " and ".join(bright)
