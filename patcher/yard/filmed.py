"""What a camera has before it when it films the yard: where each pixel hangs, and what it shows in each bin."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from patcher.errors import PatcherError
from patcher.faults import DARK, RANDOM, Departure, Fault, Planned, Takes, build, departure, parse
from patcher.frames.film_code import Code
from patcher.shapes import Positions, lattice, positions
from patcher.show.run_tables import LoopRun
from patcher.trade import CHANNELS, light
from patcher.wiring import Wiring

Light = NDArray[np.float16]

MOST_FAULTS = 3
"""Faults that a demonstration has, unless others are asked for."""
_TELLING = ("data-in", "reversed", "swapped-ports", "cut", "dark-channel")
"""Kinds of fault that a film shows well, those first that show best."""
_AT_ONCE = 1024
"""Pixels whose light is worked out at once."""
_SEEN = np.array([[0.92, 0.07, 0.02], [0.07, 0.86, 0.10], [0.02, 0.09, 0.93]], dtype=np.float32)
"""What red, green and blue of a camera see of red, green and blue light: one row each. Own choice."""


@dataclass(frozen=True, eq=False)
class Filmed:
    """The pixels before a camera.

    Attributes:
        runs: those that have a picture and are filmed, in the file's order.
        places: where each of their pixels hangs, in metres: shape (pixels, 2).
        light: red, green and blue of each in each bin of a cycle, 1 for one letter at its brightest: shape (bins,
            pixels, 3).
        left_out: runs that play but have no picture.
    """

    runs: tuple[str, ...]
    places: Positions
    light: Light
    left_out: tuple[str, ...]


def filmed(plan: Planned, code: Code, faults: Iterable[Fault], seed: int = 0) -> Filmed:
    """What a yard with faults in it shows while the code is played to its boxes.

    Runs that play are filmed, and those that light all the same; with a picture, that is.

    Args:
        plan: the show.
        code: what is played.
        faults: how it is built; they make sense together.
        seed: of what broken data looks like.

    Raises:
        PatcherError: a box would begin before universe 1, or end behind the last one.
    """
    show, chance = plan.wiring.show, np.random.default_rng(seed)
    built = departure(plan, faults)
    runs, left_out, places, lights = [], [], [], []
    for name, run in show.runs.items():
        if not run.hung:
            continue
        own = _light(_heard(plan, built, name), show.type_of(run).colour_order, code, chance)
        if not own.any() and not _plays(plan.takes[name], code):
            continue
        at = positions(show, run)
        if at is None:
            left_out.append(name)
            continue
        runs.append(name)
        places.append(at)
        lights.append(own)
    if not runs:
        return Filmed((), np.empty((0, 2)), np.empty((code.bins, 0, 3), dtype=np.float16), tuple(left_out))
    return Filmed(tuple(runs), np.concatenate(places), np.concatenate(lights, axis=1), tuple(left_out))


def _plays(takes: Takes, code: Code) -> bool:
    """Whether the code lights any of some pixels as planned."""
    pixel, _ = code.pixel_of(takes.astype(np.int64))
    return bool((code.lit[pixel] & (pixel >= 0)).any())


def _heard(plan: Planned, built: Departure, run: str) -> Takes:
    """What a run's pixels take of what is sent to its box: what was not sent there is dark.

    By unicast each box is sent its own universes, as planned; by multicast it hears those that it is set to.
    """
    takes = built.takes.get(run, plan.takes[run])
    box = built.boxes.get(run, plan.boxes[run])
    if plan.wiring.show.controllers[box].delivery == "multicast":
        return takes
    sent = np.isin(takes // CHANNELS + 1, plan.patch.box_universes.get(box, ()))
    return np.where(sent | (takes < 0), takes, DARK).astype(takes.dtype)


def _light(takes: Takes, letters: str, code: Code, chance: np.random.Generator) -> Light:
    """The light of pixels that take these channels: shape (bins, pixels, 3)."""
    colours = np.array([light(letter) for letter in letters], dtype=np.float32) @ _SEEN.T
    found = np.zeros((code.bins, len(takes), 3), dtype=np.float16)
    for begin in range(0, len(takes), _AT_ONCE):
        part = takes[begin : begin + _AT_ONCE]
        drive = code.drive(part.astype(np.int64))
        broken = part == RANDOM
        drive[broken] = chance.random((int(broken.sum()), code.bins), dtype=np.float32)
        found[:, begin : begin + _AT_ONCE] = np.einsum("nlb,lc->bnc", drive, colours)
    return found


def telling_faults(plan: Planned, code: Code) -> tuple[Fault, ...]:
    """Faults of a show that a film shows well, `MOST_FAULTS` at most: each of another kind, and where there are enough
    ports each on another.
    """
    wiring = plan.wiring
    show = wiring.show
    drawn = [
        name for name, run in show.runs.items()
        if run.hung and wiring.source(name) == name and positions(show, run) is not None
        and _plays(plan.takes[name], code)
    ]  # fmt: skip
    drawn.sort(key=lambda name: -show.runs[name].pixels)
    chosen: list[Fault] = []
    for kind in _TELLING:
        used = {port for fault in chosen for port in _ports(wiring, fault.where)}
        texts = [text for name in drawn for text in _texts(wiring, kind, name, drawn)]
        texts.sort(key=lambda text: len(used & _ports(wiring, text.partition(":")[2])))
        fault = next((fault for text in texts if (fault := _tells(plan, text, chosen)) is not None), None)
        if fault is not None and len(chosen) < MOST_FAULTS:
            chosen.append(fault)
    return tuple(chosen)


def _ports(wiring: Wiring, where: str) -> set[tuple[str, int]]:
    """The ports that a fault is about, by its place."""
    found = set()
    for place in where.partition("=")[0].split(","):
        head, _, number = place.partition("/")
        found.add(wiring.ports[head] if head in wiring.ports else (head, int(number)))
    return found


def _texts(wiring: Wiring, kind: str, name: str, drawn: Collection[str]) -> Iterator[str]:
    """Faults of a kind that a run, or the port on which it is first, could have, as a person writes them."""
    show, run = wiring.show, wiring.show.runs[name]
    grid, pixel = lattice(show, run), show.type_of(run)
    if kind == "data-in" and grid is not None:
        up, side = grid.data_in.split("-")
        yield f"data-in:{name}={up}-{'right' if side == 'left' else 'left'}"
    elif kind == "reversed" and grid is None and not isinstance(run, LoopRun):
        yield f"reversed:{name}"
    elif kind == "swapped-ports":
        yield from _swaps(wiring, name, drawn)
    elif kind == "cut" and run.pixels > 2:
        yield f"cut:{name}/{run.pixels * 2 // 3 + 1}"
    elif kind == "dark-channel" and pixel.channels > 1:
        yield f"dark-channel:{name}/{run.pixels // 2 + 1}={pixel.colour_order[0]}"


def _swaps(wiring: Wiring, name: str, drawn: Collection[str]) -> Iterator[str]:
    """The port of a run exchanged with a later one of its box, all of both being drawn and of its type."""
    show, pixel = wiring.show, wiring.show.type_of(wiring.show.runs[name])
    box, port = wiring.ports[name]
    chains = wiring.of_controller(box)
    for other, chain in chains.items():
        both = (*chains[port], *chain)
        if other > port and all(each in drawn and show.type_of(show.runs[each]) == pixel for each in both):
            yield f"swapped-ports:{box}/{port},{box}/{other}"


def _tells(plan: Planned, text: str, beside: Collection[Fault]) -> Fault | None:
    """A fault, if it can be there beside others and changes what lights."""
    try:
        fault = parse(text, plan.wiring)
        build(plan.wiring, (*beside, fault))
    except PatcherError:
        return None
    return fault if departure(plan, [fault]).takes else None
