"""What there is to prove in a show, and what each proof depends on.

Five things are proved: that a port feeds what the plan hangs on it; of a run that each pixel shows every colour,
and steadily, its two ends with its count, and its direction; and of a prop that its pixels stand where its picture has
them. A proof holds as long as what it depends on is the same: how the data gets there, what the pixels take of it, and
where a person looks. A level, a supply, a title, the length of a lead change no look and no address, and no proof.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Literal, get_args

import numpy as np

from patcher.faults import wire_letters
from patcher.patch.patch import Patch
from patcher.shapes import positions
from patcher.wiring import Wiring, port_name

What = Literal["identity", "colours", "ends", "direction", "geometry"]
WHATS: tuple[What, ...] = get_args(What)
OF_RUN: tuple[What, ...] = ("colours", "ends", "direction")
WHAT_WORDS: dict[What, str] = {
    "identity": "right port", "colours": "colours", "ends": "ends", "direction": "direction", "geometry": "layout",
}  # fmt: skip
"""What a person is told of an item; its key stays in files and JSON."""


@dataclass(frozen=True, slots=True, order=True)
class Item:
    """One thing to prove.

    Attributes:
        thing: a port, a run or a prop, as it is named everywhere.
        what: what of it: `identity` of a port; `colours`, `ends` or `direction` of a run; `geometry` of a prop.
    """

    thing: str
    what: What


def hung_chain(wiring: Wiring, port: tuple[str, int]) -> tuple[str, ...]:
    """The runs of a port that hang this season, in data order, without tees."""
    return tuple(run for run in wiring.chains[port] if wiring.show.runs[run].hung)


def with_tees(wiring: Wiring, run: str) -> tuple[str, ...]:
    """A run and those that hang on its data, as far as they hang this season."""
    return tuple(name for name in (run, *wiring.tees(run)) if wiring.show.runs[name].hung)


def items(wiring: Wiring) -> tuple[Item, ...]:
    """All that is to be proved of a sound wiring, box by box in the file's order, then the props."""
    show = wiring.show
    found: list[Item] = []
    for box in show.controllers:
        for port in wiring.of_controller(box):
            chain = hung_chain(wiring, (box, port))
            if chain:
                found.append(Item(port_name(box, port), "identity"))
            found += [Item(name, what) for run in chain for name in with_tees(wiring, run) for what in OF_RUN]
    found += [Item(prop, "geometry") for prop in show.prop_runs() if drawn_runs(wiring, prop)]
    return tuple(found)


def drawn_runs(wiring: Wiring, prop: str) -> tuple[str, ...]:
    """The runs of a prop that have a picture and hang, with the run whose data they share, this season."""
    runs = wiring.show.runs
    return tuple(
        run
        for run in wiring.show.prop_runs()[prop]
        if runs[run].hung and runs[wiring.source(run)].hung and runs[run].shape_name != "none"
    )


EVERY_PIXEL = "every pixel in every colour"
"""What is meant by a run's colours. An older version showed each pixel one colour only, and its yes is none to this."""


def older_digests(wiring: Wiring, patch: Patch, wanted: Iterable[Item]) -> dict[Item, str]:
    """For each item whose meaning has changed, the digest that an older version gave it."""
    reader = _Reader(wiring, patch)
    return {item: _digest(reader.of(item)[:-1]) for item in wanted if item.what == "colours"}


def digests(wiring: Wiring, patch: Patch, wanted: Iterable[Item]) -> dict[Item, str]:
    """For each item a digest of all that its proof depends on: equal as long as none of it changes."""
    reader = _Reader(wiring, patch)
    return {item: _digest(reader.of(item)) for item in wanted}


def _digest(value: Any) -> str:
    return hashlib.sha256(json.dumps(value, ensure_ascii=False).encode()).hexdigest()[:16]


class _Reader:
    """Reads what proofs depend on, each run's picture once."""

    def __init__(self, wiring: Wiring, patch: Patch) -> None:
        self._wiring, self._patch, self._show = wiring, patch, wiring.show
        self._places: dict[str, list[list[int]] | None] = {}

    def of(self, item: Item) -> list[Any]:
        match item.what:
            case "identity":
                return self._identity(item.thing)
            case "colours":
                return [*self._data(item.thing), *self._letters(item.thing), EVERY_PIXEL]
            case "ends":
                places = self._placed(item.thing)
                return [*self._data(item.thing), places and [places[0], places[-1]]]
            case "direction":
                return [*self._data(item.thing), self._picture(item.thing)]
            case "geometry":
                runs = sorted(drawn_runs(self._wiring, item.thing))
                return [[*self._data(run), self._picture(run)] for run in runs]

    def _identity(self, port: str) -> list[Any]:
        box, _, number = port.rpartition("/")
        return [[run, *self._data(run)] for run in hung_chain(self._wiring, (box, int(number)))]

    def _data(self, run: str) -> list[Any]:
        """How a run's data gets to it: the box, the channels, and what stands before it on the wire."""
        source = self._wiring.source(run)
        box, port = self._wiring.ports[source]
        controller = self._show.controllers[box]
        link, at = self._patch.link_of(source)
        address = controller.address if controller.delivery == "unicast" else ""
        where = [box, controller.protocol, controller.delivery, address, port]
        return [*where, at, link.pixels, link.channels, self._before(source, (box, port))]

    def _before(self, run: str, port: tuple[str, int]) -> list[list[int]]:
        """What stands before a run on the wire: how many pixels, of how many channels, and whether those are laid."""
        found: list[list[int]] = []
        chain = hung_chain(self._wiring, port)
        for name in chain[: chain.index(run) + 1]:
            link, _ = self._patch.link_of(name)
            nulls, pixels = self._show.runs[name].nulls, link.pixels if name != run else 0
            for count, laid in ((nulls - link.nulls, 0), (link.nulls, 1), (pixels, 2)):
                if found and found[-1][1:] == [link.channels, laid]:
                    found[-1][0] += count
                elif count:
                    found.append([count, link.channels, laid])
        return found

    def _letters(self, run: str) -> list[str]:
        source = self._wiring.source(run)
        box, _ = self._wiring.ports[source]
        order = self._show.type_of(self._show.runs[run]).colour_order
        return [order, wire_letters(self._show, box, self._show.runs[source])]

    def _placed(self, run: str) -> list[list[int]] | None:
        """Where its pixels are, in whole millimetres; None without a picture."""
        if run not in self._places:
            places = positions(self._show, self._show.runs[run])
            self._places[run] = None if places is None else np.round(places * 1000).astype(np.int64).tolist()
        return self._places[run]

    def _picture(self, run: str) -> str:
        return _digest(self._placed(run))
