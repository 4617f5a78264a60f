"""From a look to levels: what goes into which slot of which universe.

Work is done a run at a time with numpy; universes that no one asked for are not touched.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from patcher.faults import wire_letters
from patcher.frames.looks import Look
from patcher.patch.patch import Patch, pixel_places
from patcher.trade import CHANNELS
from patcher.wiring import Wiring

Slots = NDArray[np.uint8]


@dataclass(frozen=True, eq=False)
class Levels:
    """The slots of some universes.

    Attributes:
        universes: their numbers, rising.
        slots: a row of 512 a universe, 0 to 255.
    """

    universes: tuple[int, ...]
    slots: Slots

    def dimmed(self, part: float) -> Levels:
        """The same at a part of its brightness, from 0 to 1."""
        return self if part == 1 else Levels(self.universes, np.round(self.slots * part).astype(np.uint8))


def levels(look: Look, wiring: Wiring, patch: Patch, universes: Sequence[int], level: float) -> Levels:
    """The slots of `universes` for a look at a level from 0 to 1.

    Args:
        look: what is lit; all else is dark.
        wiring: what hangs where.
        patch: which channels it has.
        universes: rising; what the look has elsewhere is left out.
        level: the part of full that a lit channel gets.
    """
    numbers = np.asarray(universes, dtype=np.int64)
    slots = np.zeros((len(numbers), CHANNELS), dtype=np.uint8)
    for glow in look.glows if len(numbers) else ():
        source = wiring.source(glow.run)
        link, at = patch.link_of(source)
        letters = wire_letters(wiring.show, patch.start_of(source).controller, wiring.show.runs[source])
        values = np.floor(np.array(glow.colour.on(letters)) * level * 255 + 0.5).astype(np.uint8)
        places = pixel_places(at, glow.pixels, link.channels)
        rows = np.searchsorted(numbers, places // CHANNELS + 1)
        kept = (rows < len(numbers)) & (numbers[np.minimum(rows, len(numbers) - 1)] == places // CHANNELS + 1)
        columns = (places % CHANNELS)[kept, None] + np.arange(link.channels)
        slots[rows[kept, None], columns] = values
    return Levels(tuple(universes), slots)
