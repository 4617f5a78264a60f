"""An outside world: boxes that lay their channels by themselves, chips on a wire, and what goes wrong with them that
the program knows no fault for. It shares nothing with `patcher.faults`: it reads the show and the starts that are typed
in, and counts octets. What its pixels show is given to an eye as to a person.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from patcher.diagnosis.question_frame import Frame
from patcher.eye import BROKEN, NOBODY, SEVERAL, Ask, Eye, shade_table
from patcher.patch.patch import Patch
from patcher.wiring import Wiring

DARK, GARBAGE, STUCK = -1, -2, -3
"""In place of a running channel: nothing sets it; broken data does; it is lit whatever it gets."""
MOST = 512
Octets = list[int]
Takes = dict[str, NDArray[np.int64]]


@dataclass
class Chip:
    """One pixel on a wire: takes its octets and passes on the rest; `pixel` is None where nobody sees it."""

    order: str
    pixel: tuple[str, int] | None = None
    dark: bool = False
    stuck: str = ""
    garbled: bool = False
    swallows: int = 0

    def takes(self, octets: Octets) -> tuple[dict[str, int], Octets]:
        width = len(self.order)
        own = (octets[:width] + [DARK] * width)[:width]
        shows = dict(zip(self.order, own, strict=True))
        if self.garbled:
            shows = dict.fromkeys(shows, GARBAGE)
        if self.dark:
            shows = dict.fromkeys(shows, DARK)
        shows |= dict.fromkeys(self.stuck, STUCK)
        return shows, octets[width + self.swallows :]


@dataclass
class Entry:
    """What a box knows of one run: where its channels begin (None: behind the run before), how many pixels, and how
    their letters stand in the channels and on the wire.
    """

    run: str
    start: int | None
    count: int
    in_channels: str
    on_wire: str
    inserted: int = 0
    pairs: bool = False
    turned: int = 0


@dataclass
class Box:
    ports: dict[int, list[Entry]]
    splits: bool = False

    def sends(self) -> dict[int, Octets]:
        at, found = 0, {}
        for port in sorted(self.ports):
            out: Octets = []
            for entry in self.ports[port]:
                at = entry.start if entry.start is not None else at
                width = len(entry.in_channels)
                pixels = []
                for _ in range(entry.count):
                    if not self.splits and at % MOST + width > MOST:
                        at += MOST - at % MOST
                    pixels.append(at)
                    at += width
                if entry.pairs:
                    pixels = [pixels[number // 2] for number in range(len(pixels))]
                if entry.turned:
                    lines = [pixels[n : n + entry.turned] for n in range(0, len(pixels), entry.turned)]
                    pixels = [p for n, line in enumerate(lines) for p in (line[::-1] if n % 2 else line)]
                out += [DARK] * (entry.inserted * len(entry.on_wire))
                out += [begin + entry.in_channels.index(letter) for begin in pixels for letter in entry.on_wire]
            found[port] = out
        return found


@dataclass
class World:
    """All boxes, and for each port the chips of its runs in order, each with what hangs on its data before them."""

    wiring: Wiring
    boxes: dict[str, Box]
    wires: dict[tuple[str, int], list[tuple[str, list[Chip]]]]
    tees: dict[str, list[tuple[str, list[Chip]]]]
    sockets: dict[tuple[str, int], tuple[str, int]] = field(default_factory=dict)

    def takes(self) -> Takes:
        """For each pixel and letter of each run, in the planned order of its letters, the channel that sets it."""
        show = self.wiring.show
        found = {
            name: np.full((run.pixels, len(show.type_of(run).colour_order)), DARK, dtype=np.int64)
            for name, run in show.runs.items()
        }
        sent = {box: own.sends() for box, own in self.boxes.items()}
        for port, wire in self.wires.items():
            box, number = self.sockets.get(port, port)
            octets = sent[box].get(number, [])
            for run, chips in wire:
                for _, branch in self.tees.get(run, []):
                    self._push(branch, octets, found)
                octets = self._push(chips, octets, found)
        return found

    def _push(self, chips: Sequence[Chip], octets: Octets, found: Takes) -> Octets:
        for chip in chips:
            shows, octets = chip.takes(octets)
            if chip.pixel is not None:
                run, number = chip.pixel
                planned = self.wiring.show.type_of(self.wiring.show.runs[run]).colour_order
                extra = next((c for c in shows.values() if c == STUCK), None)
                for place, letter in enumerate(planned):
                    found[run][number, place] = shows.get(letter, DARK if extra is None else extra)
        return octets


def as_planned(wiring: Wiring, patch: Patch) -> World:
    """A world in which nothing is wrong."""
    show = wiring.show
    starts = {start.chain.links[0].run: start.at for start in patch.starts}
    boxes: dict[str, Box] = {}
    wires: dict[tuple[str, int], list[tuple[str, list[Chip]]]] = {}
    tees: dict[str, list[tuple[str, list[Chip]]]] = {}

    def chips(name: str) -> list[Chip]:
        run = show.runs[name]
        order = show.type_of(run).colour_order
        return [*(Chip(order) for _ in range(run.nulls)), *(Chip(order, (name, n)) for n in range(run.pixels))]

    for (box, port), chain in wiring.chains.items():
        table = show.controllers[box]
        entries = []
        for name in chain:
            run = show.runs[name]
            order = show.type_of(run).colour_order
            sorted_order = "".join(sorted(order, key=lambda letter: ("RGBW" + letter).index(letter)))
            laid = run.pixels + (0 if table.skips_nulls else run.nulls)
            inserted = run.nulls if table.skips_nulls else 0
            entries.append(
                Entry(name, starts.get(name), laid, sorted_order if table.reorders else order, order, inserted)
            )
            wires.setdefault((box, port), []).append((name, chips(name)))
            tees[name] = [(tee, chips(tee)) for tee in wiring.tees(name)]
        boxes.setdefault(box, Box({})).ports[port] = entries
    return World(wiring, boxes, wires, tees)


# --- what goes wrong, and has no name in the program --------------------------------------------------------------


def _of(world: World, run: str) -> tuple[tuple[str, int], list[Chip]]:
    port = world.wiring.ports[world.wiring.source(run)]
    for name, chips in [*world.wires[port], *(tee for own in world.tees.values() for tee in own)]:
        if name == run:
            return port, chips
    raise KeyError(run)


def _seen(chips: list[Chip]) -> list[int]:
    return [place for place, chip in enumerate(chips) if chip.pixel is not None]


def _entry(world: World, run: str) -> tuple[Box, Entry] | None:
    for box in world.boxes.values():
        for entries in box.ports.values():
            for entry in entries:
                if entry.run == run:
                    return box, entry
    return None


def other_purchase(world: World, run: str, rng: random.Random) -> bool:
    """From one pixel on the string is from another purchase, whose chips take another order."""
    chips = _of(world, run)[1]
    places = _seen(chips)
    if len(places) < 4 or len(chips[0].order) < 3:
        return False
    order = chips[0].order
    other = rng.choice([o for o in (order[1] + order[0] + order[2:], order[::-1], order[1:] + order[0]) if o != order])
    begin = rng.randrange(1, len(places))
    for place in places[begin : rng.choice((None, rng.randrange(begin + 1, len(places) + 1)))]:
        chips[place].order = other
    return True


def stuck_on(world: World, run: str, rng: random.Random) -> bool:
    """A pixel lights one of its colours whatever it gets."""
    chips = _of(world, run)[1]
    chip = chips[rng.choice(_seen(chips))]
    chip.stuck = rng.choice(chip.order)
    return True


def one_garbles(world: World, run: str, rng: random.Random) -> bool:
    """A pixel flickers, and passes its data on well."""
    chips = _of(world, run)[1]
    chips[rng.choice(_seen(chips))].garbled = True
    return True


def piece_turned(world: World, run: str, rng: random.Random) -> bool:
    """A string was cut and joined: a piece in its middle hangs the wrong way round."""
    chips = _of(world, run)[1]
    places = _seen(chips)
    if len(places) < 5:
        return False
    first = rng.randrange(1, len(places) - 2)
    last = rng.randrange(first + 2, len(places) + 1)
    if (first, last) == (places[0], len(places)):
        return False
    low = places[first]
    chips[low : low + last - first] = chips[low : low + last - first][::-1]
    return True


def pieces_exchanged(world: World, run: str, rng: random.Random) -> bool:
    """A string of two pieces hangs with the second piece first."""
    chips = _of(world, run)[1]
    places = _seen(chips)
    if len(places) < 4:
        return False
    cut = rng.randrange(1, len(places))
    low = places[0]
    chips[low:] = [*chips[low + cut :], *chips[low : low + cut]]
    return True


def spliced_in(world: World, run: str, rng: random.Random) -> bool:
    """A pixel more was spliced into the string, out of sight."""
    chips = _of(world, run)[1]
    chips.insert(rng.choice(_seen(chips)[1:] or [0]), Chip(chips[0].order))
    return True


def swallows(world: World, run: str, rng: random.Random) -> bool:
    """A pixel of another make takes twice as much data as it should."""
    chips = _of(world, run)[1]
    chip = chips[rng.choice(_seen(chips))]
    chip.swallows = len(chip.order)
    return True


def in_pairs(world: World, run: str, rng: random.Random) -> bool:
    """The box is set to give two pixels the same data."""
    own = _entry(world, run)
    if own is None:
        return False
    own[1].pairs = True
    return True


def turned_lines(world: World, run: str, rng: random.Random) -> bool:
    """The box is set to turn every second so many pixels round."""
    own = _entry(world, run)
    if own is None or own[1].count < 4:
        return False
    own[1].turned = rng.randrange(2, own[1].count // 2 + 1)
    return True


def split_pixels(world: World, run: str, rng: random.Random) -> bool:
    """The box goes on at a universe's end in the middle of a pixel."""
    own = _entry(world, run)
    if own is None:
        return False
    own[0].splits = True
    return True


def other_width(world: World, run: str, rng: random.Random) -> bool:
    """The box is set to pixels of four channels where they have three, or the other way round."""
    own = _entry(world, run)
    if own is None or len(own[1].on_wire) not in (3, 4):
        return False
    letters = "RGBW" if len(own[1].on_wire) == 3 else "RGB"
    own[1].in_channels = own[1].on_wire = letters
    return True


def ports_in_a_ring(world: World, run: str, rng: random.Random) -> bool:
    """Three leads are each in the next one's socket."""
    port = world.wiring.ports[world.wiring.source(run)]
    others = [other for other in world.wires if other[0] == port[0] and other != port]
    if len(others) < 2:
        return False
    one, two = rng.sample(others, 2)
    world.sockets |= {port: one, one: two, two: port}
    return True


def same_data(world: World, run: str, rng: random.Random) -> bool:
    """A lead hangs on the socket of another port by a splitter."""
    port = world.wiring.ports[world.wiring.source(run)]
    others = [other for other in world.wires if other != port]
    if not others:
        return False
    world.sockets[port] = rng.choice(others)
    return True


def far_off(world: World, run: str, rng: random.Random) -> bool:
    """Far more null pixels than anybody thinks of stand before the run."""
    chips = _of(world, run)[1]
    chips[:0] = [Chip(chips[0].order) for _ in range(rng.randrange(5, 12))]
    return True


def far_start(world: World, run: str, rng: random.Random) -> bool:
    """A start channel is off by a number that nobody thinks of."""
    own = _entry(world, run)
    if own is None or own[1].start is None:
        return False
    own[1].start += rng.choice((7, 9, 11, 13, 20, 30, 48, 100))
    return True


def many_dark(world: World, run: str, rng: random.Random) -> bool:
    """Several pixels of a run are dark at once."""
    chips = _of(world, run)[1]
    places = _seen(chips)
    if len(places) < 6:
        return False
    for place in rng.sample(places, rng.randrange(3, 6)):
        chips[place].dark = True
    return True


def out_of_order(world: World, run: str, rng: random.Random) -> bool:
    """Two pixels far apart hang in each other's place."""
    chips = _of(world, run)[1]
    places = _seen(chips)
    if len(places) < 4:
        return False
    one, two = sorted(rng.sample(places, 2))
    if two - one < 2:
        return False
    chips[one], chips[two] = chips[two], chips[one]
    return True


UNUSUAL = (far_start,)
"""Faults that the program knows, by numbers that it does not think of: two known ones together may show the same."""
UNMODELLED: tuple[Callable[[World, str, random.Random], bool], ...] = (
    other_purchase, stuck_on, one_garbles, piece_turned, pieces_exchanged, spliced_in, swallows, in_pairs, turned_lines,
    split_pixels, other_width, ports_in_a_ring, same_data, far_off, many_dark, out_of_order,
)  # fmt: skip
"""Each changes a world at a run, or says that there is nothing of the kind there. Common practice, no source: what
people of the trade tell of; which of them the program knows no fault for changes with the program."""


def worlds(wiring: Wiring, patch: Patch, runs: Sequence[str], rng: random.Random) -> Iterator[tuple[str, World]]:
    """Worlds with one of those at one of some runs, for ever, each kind as often as any other."""
    while True:
        for kind in UNMODELLED:
            world = as_planned(wiring, patch)
            if kind(world, rng.choice(list(runs)), rng):
                yield kind.__name__, world


# --- what an eye sees of it ---------------------------------------------------------------------------------------


@dataclass
class Onlooker:
    """An eye before a world's pixels."""

    wiring: Wiring
    takes: Takes
    eye: Eye = field(default_factory=Eye)

    def chances(self, frame: Frame, ask: Ask) -> NDArray[np.float64]:
        """How likely it gives each answer."""
        if ask.kind == "alike":
            each = [
                np.prod([self.eye.evenly(ask, at, run, self._shades(run, set(lit.tolist())))[0] for run in ask.runs])
                for at, lit in enumerate(frame.held)
            ]
            return self.eye.compares(np.array([each]))[0]
        if not frame.goes:
            lit = set(frame.steps[0].tolist())
            return self.eye.sees(ask, [self._shades(run, lit) for run in ask.runs])[0]
        steps = [self._lit(ask.runs, set(step.tolist()), len(step)) for step in frame.steps]
        return self.eye.watches(ask, np.array([steps], dtype=np.int32))[0]

    def _bits(self, run: str, lit: set[int]) -> NDArray[np.int64]:
        takes = self.takes[run]
        on = np.isin(takes, list(lit)) | (takes == STUCK)
        return on @ (1 << np.arange(takes.shape[1]))

    def _shades(self, run: str, lit: set[int]) -> NDArray[np.uint8]:
        letters = self.wiring.show.type_of(self.wiring.show.runs[run]).colour_order
        flickers = (self.takes[run] == GARBAGE).any(axis=1)
        found: NDArray[np.uint8] = shade_table(letters)[np.where(flickers, BROKEN, self._bits(run, lit))][None, :]
        return found

    def _lit(self, runs: Sequence[str], lit: set[int], many: int) -> list[int]:
        each = [(self._bits(run, lit) > 0) & (self.takes[run] != GARBAGE).all(axis=1) for run in runs]
        lamps = np.flatnonzero(np.concatenate(each)).tolist()
        return [*lamps, *[NOBODY] * many][:many] if len(lamps) <= many else [SEVERAL] * many
