"""Two faults at once: what every lamp takes under one fault together with each of many others, in a few array
operations.

A fault at a lamp (dark, one colour dark, replaced, missing, cut, flicker) leaves the rest of the wiring as it finds it.
So it is put on top of an *arrangement*: where on the stream of its port each lamp stands under the other fault.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from patcher.errors import PatcherError
from patcher.faults import DARK, RANDOM, Fault, Planned, Takes, build, departure
from patcher.faults.cable import Cable, Place, channels_of, places_of, rearranged
from patcher.faults.fault import AT_A_LAMP, OF_BOX, SWAPS, boxes_of
from patcher.faults.sent import NOTHING, Port, Stream, port_of, streams

Bits = NDArray[np.bool_]
Numbers = NDArray[np.int64]
Floats = NDArray[np.float64]
BEYOND = 1000
"""Octets are counted so many pixels beyond what is planned on a cable."""
AT_A_TIME = 256
"""Faults whose takes are worked out in one go: few enough for the processor's cache."""


@dataclass(frozen=True, eq=False)
class Arrangement:
    """What stands on one port's cable, and what is sent to it.

    Attributes:
        stream: what is sent, octet by octet.
        first: for each run, in the order in which the data passes them, the first octet that each lamp takes; −1 for
            what is not on the cable.
        columns: for each run, which of its octets each letter of the planned order takes: shape (lamps, channels).
        dark: for each run the letters of lamps that stay dark: shape (lamps, channels).
        cut: for each run the lamps that no data reaches.
        broken: for each run the lamps that broken data reaches.
    """

    stream: Stream
    first: dict[str, Numbers]
    columns: dict[str, Numbers]
    dark: dict[str, Bits]
    cut: dict[str, Bits]
    broken: dict[str, Bits]


@dataclass(frozen=True, eq=False)
class Batch:
    """Pairs of faults with what lamps take under them.

    Attributes:
        pairs: the numbers of the two faults: shape (pairs, 2).
        takes: for each run of the scene what its lamps take: shape (pairs, lamps, channels).
        base: what they take under the one that all pairs have in common.
    """

    pairs: Numbers
    takes: dict[str, Takes]
    base: Mapping[str, Takes]


@dataclass(frozen=True, eq=False)
class _AtLamps:
    """The faults at lamps of one run, each with its number among all."""

    numbers: Numbers
    kinds: NDArray[np.str_]
    pixels: Numbers
    letters: Numbers
    chips: NDArray[np.str_]
    """The colour order of a pixel that is there instead."""

    def of(self, chosen: Bits | slice) -> _AtLamps:
        return _AtLamps(
            self.numbers[chosen], self.kinds[chosen], self.pixels[chosen], self.letters[chosen], self.chips[chosen]
        )


@dataclass(eq=False)
class Composer:
    """Puts single faults together, two and two.

    Attributes:
        plan: the wiring as planned.
        faults: the single faults.
        runs: the runs that are looked at.
        alone: what the lamps of each run take under each fault by itself.
    """

    plan: Planned
    faults: Sequence[Fault]
    runs: Sequence[str]
    alone: Sequence[Mapping[str, Takes]]
    _at_lamps: dict[str, _AtLamps] = field(default_factory=dict)
    _others: list[int] = field(default_factory=list)
    _arranged: dict[tuple[int, Port], Arrangement] = field(default_factory=dict)
    _places: dict[Port, tuple[Place, ...]] = field(default_factory=dict)
    _known: dict[tuple[int, int], dict[str, Takes] | None] = field(default_factory=dict)

    def __post_init__(self) -> None:
        lamps = dict[str, list[tuple[int, str, int, int, str]]]()
        for number, fault in enumerate(self.faults):
            if fault.kind not in AT_A_LAMP:
                self._others.append(number)
                continue
            run, pixel = fault.lamp
            chip = fault.value if fault.kind == "replaced" else ""
            lamps.setdefault(run, []).append((number, fault.kind, pixel, self._letter(number), chip))
        for run, rows in lamps.items():
            numbers, kinds, pixels, letters, chips = zip(*rows, strict=True)
            self._at_lamps[run] = _AtLamps(
                np.array(numbers), np.array(kinds), np.array(pixels), np.array(letters), np.array(chips)
            )
        self._places = places_of(self.plan.wiring)

    def singly(self, run: str) -> Iterator[tuple[Numbers, dict[str, Takes]]]:
        """What lamps take under each fault at a lamp of a run by itself, in batches: the numbers of the faults, and for
        each run that they can reach its takes: shape (faults, lamps, channels).
        """
        arranged, own = self._arrange(self.plan.wiring.ports[run], ()), self._at_lamps[run]
        for begin in range(0, len(own.numbers), AT_A_TIME):
            part = own.of(slice(begin, begin + AT_A_TIME))
            yield part.numbers, self._on_top(arranged, run, part)

    def with_all(self, one: int, rank: Floats | None = None, most: int = 0, beside: int = 0) -> Iterator[Batch]:
        """All pairs of one fault and another that can both be there, in batches.

        Args:
            one: the fault's number.
            rank: how welcome each fault is as the other; None: all are taken.
            most: of the faults at lamps of a run so many are taken, those that rank highest.
            beside: so many of those at no lamp are taken, those that rank highest.
        """
        alone = self.alone[one]
        own = self.faults[one]
        for run, others in self._at_lamps.items():
            others = _apart(own, self._letter(one), run, others)
            if rank is not None and len(others.numbers) > most:
                highest = np.zeros(len(others.numbers), dtype=bool)
                highest[np.argpartition(-rank[others.numbers], most)[:most]] = True
                others = others.of(highest)
            if not len(others.numbers):
                continue
            arranged = self._arrangement(one, self._port(run, one))
            takes = self._on_top(arranged, run, others)
            if own.kind == "shift" and own.amount < 0:
                self._mend(one, arranged.first[run], others, takes)
            pairs = np.column_stack([np.full(len(others.numbers), one), others.numbers])
            full = {
                name: takes.get(name, np.broadcast_to(alone[name], (len(pairs), *alone[name].shape)))
                for name in self.runs
            }
            yield Batch(pairs, full, alone)
        chosen = self._others
        if rank is not None:
            chosen = sorted(chosen, key=lambda other: -rank[other])[:beside]
        known = [(other, self._both(one, other)) for other in chosen if other != one]
        found = [(other, takes) for other, takes in known if takes is not None]
        if found:
            pairs = np.array([(one, other) for other, _ in found])
            yield Batch(pairs, {run: np.stack([takes[run] for _, takes in found]) for run in self.runs}, alone)

    def _mend(self, one: int, first: Numbers, others: _AtLamps, takes: dict[str, Takes]) -> None:
        """Where a lamp is missing that a shift cuts off, the shift cuts off another one."""
        for row in np.flatnonzero((others.kinds == "missing") & (first[others.pixels] < 0)):
            mended = self._planned_both(one, int(others.numbers[row]))
            for run, taken in takes.items():
                taken[row] = mended[run] if mended is not None else self.alone[one][run]

    def _letter(self, one: int) -> int:
        fault, show = self.faults[one], self.plan.wiring.show
        if fault.kind != "dark-channel":
            return -1
        return show.type_of(show.runs[fault.lamp[0]]).colour_order.index(fault.value)

    def _both(self, one: int, other: int) -> dict[str, Takes] | None:
        """What lamps take under two faults one of which is at no lamp; None where they make no sense together."""
        if self.faults[one].kind in AT_A_LAMP:
            run, pixel = self.faults[one].lamp
            own = self._at_lamps[run]
            arranged = self._arrangement(other, self._port(run, other))
            if arranged.first[run][pixel] < 0:
                return self._planned_both(one, other)
            takes = self._on_top(arranged, run, own.of(own.numbers == one))
            return dict(self.alone[other]) | {name: each[0] for name, each in takes.items()}
        return self._planned_both(one, other)

    def _planned_both(self, one: int, other: int) -> dict[str, Takes] | None:
        key = min(one, other), max(one, other)
        if key not in self._known:
            pair = self.faults[key[0]], self.faults[key[1]]
            try:
                build(self.plan.wiring.show, pair)
                found = departure(self.plan, pair).takes
                self._known[key] = {run: found.get(run, self.plan.takes[run]) for run in self.runs}
            except PatcherError:
                self._known[key] = None
        return self._known[key]

    def _port(self, run: str, one: int) -> Port:
        """The port, by its planned chain, on whose cable a run is under one fault."""
        fault = self.faults[one]
        if fault.kind not in SWAPS:
            return self.plan.wiring.ports[run]
        places = rearranged(self._places, (fault,))
        return next(port for port, own in places.items() for at in own if run == at.run or run in at.tees)

    def _arrangement(self, one: int, port: Port) -> Arrangement:
        """What stands on a port's cable, and is sent to it, under one fault."""
        key = (one, port)
        if key not in self._arranged:
            fault = self.faults[one]
            if fault.kind in AT_A_LAMP:
                run = fault.lamp[0]
                found = self._arrange(port, ())
                if self.plan.wiring.ports[run] == port:
                    own = self._at_lamps[run]
                    found = self._marked(found, run, own.of(own.numbers == one))
            else:
                found = self._arrange(port, (fault,))
            self._arranged[key] = found
        return self._arranged[key]

    def _arrange(self, port: Port, faults: tuple[Fault, ...]) -> Arrangement:
        show, wiring = self.plan.wiring.show, self.plan.wiring
        socket, of_box, on_wire = port, list[Fault](), list[Fault]()
        for fault in faults:
            if fault.kind == "swapped-ports":
                ends = [port_of(name) for name in fault.places]
                socket = ends[1 - ends.index(port)] if port in ends else port
            elif fault.kind in OF_BOX:
                of_box.append(fault)
            else:
                on_wire.append(fault)
        places = rearranged(self._places, on_wire)[port]
        own = [fault for fault in of_box if socket[0] in boxes_of(wiring.ports, fault)]
        stream = streams(wiring, self.plan.patch, socket[0], own)[0].get(socket, NOTHING)
        most = sum(channels_of(show, place.run) * show.runs[place.run].pixels + sum(place.nulls) for place in places)
        most += sum(channels_of(show, f.where) * abs(f.amount) for f in on_wire if f.kind == "shift")
        octets = Cable(show, places, on_wire).takes(np.arange(most + 4 * BEYOND, dtype=np.int32))
        letters = {run: channels_of(show, run) for run in octets}
        first = {run: np.where(octets[run][:, 0] < 0, -1, octets[run].min(axis=1)).astype(np.int64) for run in letters}
        columns = {}
        for run, count in letters.items():
            there = np.flatnonzero(first[run] >= 0)
            own_columns = octets[run][there[0]] - first[run][there[0]] if len(there) else np.arange(count)
            columns[run] = np.tile(own_columns.astype(np.int64), (len(first[run]), 1))
        none = {run: np.zeros(len(first[run]), dtype=bool) for run in letters}
        dark = {run: np.zeros((len(first[run]), n), dtype=bool) for run, n in letters.items()}
        return Arrangement(stream, first, columns, dark, none, dict(none))

    def _behind(self, arranged: Arrangement, run: str) -> list[str]:
        """The runs that a fault at a lamp of `run` can reach: itself and, for what is no tee, what stands behind."""
        if self.plan.wiring.show.runs[run].same_data_as is not None:
            return [run]
        names = list(arranged.first)
        return names[names.index(run) :]

    def _marked(self, arranged: Arrangement, run: str, one: _AtLamps) -> Arrangement:
        """The arrangement with one fault at a lamp in it."""
        first, dark, cut, broken = self._marks(arranged, run, one)
        columns = arranged.columns
        if one.chips[0]:
            own = columns[run].copy()
            own[one.pixels[0]] = self._columns(run, str(one.chips[0]))
            columns = columns | {run: own}
        return Arrangement(
            arranged.stream, arranged.first | {r: f[0] for r, f in first.items()}, columns,
            arranged.dark | {r: d[0] for r, d in dark.items()}, arranged.cut | {r: c[0] for r, c in cut.items()},
            arranged.broken | {r: b[0] for r, b in broken.items()},
        )  # fmt: skip

    def _marks(
        self, arranged: Arrangement, run: str, faults: _AtLamps
    ) -> tuple[dict[str, Numbers], dict[str, Bits], dict[str, Bits], dict[str, Bits]]:
        """What each of some faults at lamps of a run makes of an arrangement: `first`, `dark`, `cut`, `broken`."""
        count, rows = len(faults.numbers), np.arange(len(faults.numbers))
        channels = channels_of(self.plan.wiring.show, run)
        here = arranged.first[run][faults.pixels]
        there = (here >= 0) & ~arranged.cut[run][faults.pixels]
        kinds = {kind: faults.kinds == kind for kind in AT_A_LAMP}
        wider = np.where(kinds["replaced"], np.char.str_len(faults.chips) - channels, 0)
        first, dark, cut, broken = {}, {}, {}, {}
        for name in self._behind(arranged, run):
            shape = (count, *arranged.first[name].shape)
            own = np.broadcast_to(arranged.first[name], shape)
            behind = (own >= here[:, None]) & there[:, None]
            gone = behind & kinds["missing"][:, None]
            first[name] = np.where(gone, own - channels, own)
            if wider.any():
                first[name] += np.where((own > here[:, None]) & there[:, None], wider[:, None], 0)
            if name == run:
                lost = np.flatnonzero(kinds["missing"])
                first[name][lost, faults.pixels[lost]] = -1
            cut[name] = arranged.cut[name] | (behind & kinds["cut"][:, None])
            broken[name] = arranged.broken[name] | (behind & kinds["flicker"][:, None])
            dark[name] = np.broadcast_to(arranged.dark[name], (count, *arranged.dark[name].shape))
        dark[run] = dark[run].copy()
        whole = kinds["dark"]
        dark[run][rows[whole], faults.pixels[whole]] = True
        part = kinds["dark-channel"]
        dark[run][rows[part], faults.pixels[part], faults.letters[part]] = True
        for row in np.flatnonzero(kinds["replaced"]):
            dark[run][row, faults.pixels[row]] |= self._columns(run, str(faults.chips[row])) < 0
        return first, dark, cut, broken

    def _columns(self, run: str, chip: str) -> Numbers:
        """Which of its octets each letter of a run's planned order takes in a pixel of another order; −1: none."""
        show = self.plan.wiring.show
        return np.array([chip.find(letter) for letter in show.type_of(show.runs[run]).colour_order])

    def _on_top(self, arranged: Arrangement, run: str, faults: _AtLamps) -> dict[str, Takes]:
        """What lamps take under an arrangement with each of some faults at lamps of a run on top."""
        first, dark, cut, broken = self._marks(arranged, run, faults)
        ended = np.append(arranged.stream, np.int32(DARK))
        found = {}
        for name in first:
            if name not in self.runs:
                continue
            octets = first[name][:, :, None] + arranged.columns[name]
            if name == run:
                for row in np.flatnonzero(faults.kinds == "replaced"):
                    pixel = faults.pixels[row]
                    octets[row, pixel] = first[name][row, pixel] + self._columns(run, str(faults.chips[row]))
            inside = (first[name] >= 0)[:, :, None] & (octets < len(ended) - 1)
            taken = ended[np.where(inside, octets, len(ended) - 1)]
            taken[broken[name][:, :, None] & inside] = RANDOM
            taken[cut[name][:, :, None] | dark[name]] = DARK
            found[name] = taken
        return found


def _apart(own: Fault, letter: int, run: str, others: _AtLamps) -> _AtLamps:
    """Those that make sense beside `own`: nothing else at the same lamp, but for another colour of it."""
    if own.kind not in AT_A_LAMP or own.lamp[0] != run:
        return others
    same = others.pixels == own.lamp[1]
    if own.kind == "dark-channel":
        same &= (others.kinds != "dark-channel") | (others.letters == letter)
    return others.of(~same)
