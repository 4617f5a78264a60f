"""Where the light of a show's pixels is, and in which colours: what a person sees of the film's code."""

from __future__ import annotations

from collections.abc import Container
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from patcher.faults import wire_letters
from patcher.patch.patch import Patch, pixel_places
from patcher.shapes import positions
from patcher.wiring import Wiring

COLOURS = {"R": (1.0, 0.0, 0.0), "G": (0.0, 1.0, 0.0), "B": (0.0, 0.0, 1.0)}
WHITE = (1.0, 1.0, 1.0)
"""Any other letter's light, of which nothing is known: the most that it may be."""
WIDEST = 0.05
"""Metres: the light of a pixel is as wide as its pitch, but no wider than that. Own choice."""


@dataclass(frozen=True, eq=False)
class Places:
    """The lights of a show; a pixel of a tee is one more light with the channels of its run's.

    Attributes:
        first: the running channel of each light's first channel.
        at: where it is, in metres: shape (lights, 2).
        side: how wide and high it is.
        colours: red, green and blue of each of its channels: shape (lights, channels, 3); black where it has none.
    """

    first: NDArray[np.int64]
    at: NDArray[np.float64]
    side: NDArray[np.float64]
    colours: NDArray[np.float32]


def places_of(wiring: Wiring, patch: Patch, runs: Container[str] | None = None) -> Places | None:
    """Where the lights of a show are; None where one of its runs is not drawn, for it may hang anywhere.

    Args:
        wiring: the show.
        patch: its addresses.
        runs: those with channels that play; None: all.
    """
    show, first, at, side, letters = wiring.show, [], [], [], []
    for run in show.runs.values():
        source = wiring.source(run.name)
        if not run.hung or not (runs is None or source in runs):
            continue
        places = positions(show, run)
        if places is None:
            return None
        link, begin = patch.link_of(source)
        pitch = np.hypot(*np.diff(places, axis=0).T)
        first.append(pixel_places(begin, np.arange(link.pixels), link.channels))
        at.append(places[: link.pixels])
        side.append(np.full(link.pixels, min(WIDEST, float(np.median(pitch))) if len(pitch) else WIDEST))
        letters += [wire_letters(show, patch.start_of(source).controller, show.runs[source])] * link.pixels
    if not first:
        return None
    wide = max(map(len, letters))
    colour = {
        own: [COLOURS.get(letter, WHITE) for letter in own] + [(0.0,) * 3] * (wide - len(own)) for own in {*letters}
    }
    colours = np.array([colour[own] for own in letters], dtype=np.float32)
    return Places(np.concatenate(first), np.concatenate(at), np.concatenate(side), colours)
