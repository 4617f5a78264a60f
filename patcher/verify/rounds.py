"""The round: what a person looks at, step by step, until every port, run and prop is proved.

Box by box along a short walk. At each box first all its ports at once, each in a colour of its own; then each run alone
in four parts, which shows its colours, its direction and its picture in one look; then the two ends of up to four runs
at once; and when the last run of a prop is done, the prop as a whole. That is never more than three looks a run.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from patcher import eye
from patcher.address.patch import Patch
from patcher.shapes import cells, positions
from patcher.stream.looks import COLOURS, Glow, Look
from patcher.verify import words
from patcher.verify.items import OF_RUN, Item, drawn_runs, hung_chain, with_tees
from patcher.verify.walk import middle, places_of_boxes, shortest
from patcher.wiring import Wiring, port_name

Pixels = NDArray[np.int64]
Parts = dict[str, Pixels]
"""Lamps of one run, from 0, by colour."""

AT_ONCE = eye.COUNTS_TO
"""So many things are proved in one look at most, for an eye counts no further."""


@dataclass(frozen=True, eq=False)
class Check:
    """What an eye says of a sound thing in a look.

    Attributes:
        run: where it looks.
        ask: what it is asked, or None: how many lamps are lit.
        answer: what it says.
        pixels: the lamps that it looks at, from 0; None: all.
    """

    run: str
    ask: eye.Ask | None
    answer: str
    pixels: Pixels | None = None

    def chance(self, seen: eye.Eye, shades: eye.Shades) -> float:
        """How likely the eye says so, of the run's lamps: shape (lamps,)."""
        looked = shades[None] if self.pixels is None else shades[None, self.pixels]
        if self.ask is None:
            return float(str(int((looked != eye.DARK).sum())) == self.answer)
        return float(seen.sees(self.ask, [looked])[0, self.ask.answers.index(self.answer)])


@dataclass(frozen=True, eq=False)
class Subject:
    """One of the things that a look is about.

    Attributes:
        thing: the port, run or prop.
        says: what should be seen of it.
        proves: the items that a yes proves.
        checks: the same for an eye.
    """

    thing: str
    says: str
    proves: tuple[Item, ...]
    checks: tuple[Check, ...]


@dataclass(frozen=True, eq=False)
class Step:
    """One look of the round.

    Attributes:
        name: as it is named in a file of answers: `ports lockhouse`, `colours gable`, `ends lockhouse`.
        box: the box to stand at.
        where: where to look.
        look: what is lit.
        subjects: what it is about, one to four things.
    """

    name: str
    box: str
    where: str
    look: Look
    subjects: tuple[Subject, ...]

    @property
    def proves(self) -> tuple[Item, ...]:
        """The items that a yes proves."""
        return tuple(item for subject in self.subjects for item in subject.proves)

    @property
    def runs(self) -> set[str]:
        """The runs that light."""
        return {glow.run for glow in self.look.glows}


def as_said(step: Step, wiring: Wiring, shades: Mapping[str, eye.Shades], seen: eye.Eye) -> dict[str, float]:
    """How likely an eye finds each of a step's things as it should be.

    Args:
        step: the step.
        wiring: the wiring as planned.
        shades: for each run of the show what its lamps show: shape (lamps,).
        seen: the eye.

    Returns:
        By thing; under the empty name whether all else is dark.
    """
    found: dict[str, float] = {}
    for subject in step.subjects:
        found[subject.thing] = float(np.prod([check.chance(seen, shades[check.run]) for check in subject.checks]))
    meant = {name for run in step.runs for name in (run, *wiring.tees(run))}
    found[""] = float(not any((lamps != eye.DARK).any() for run, lamps in shades.items() if run not in meant))
    return found


def plan(wiring: Wiring, patch: Patch, wanted: Collection[Item]) -> tuple[Step, ...]:
    """The steps that prove the wanted items, in the order of the walk."""
    return tuple(_Round(wiring, frozenset(wanted)).steps())


class _Round:
    def __init__(self, wiring: Wiring, wanted: frozenset[Item]) -> None:
        self.wiring, self.show, self.wanted = wiring, wiring.show, wanted
        self._places = {name: positions(self.show, run) for name, run in self.show.runs.items()}
        self._props = {run: prop for prop, runs in self.show.prop_runs().items() for run in runs}
        self._sources = {
            prop: {wiring.source(run) for run in drawn_runs(wiring, prop)} for prop in self.show.prop_runs()
        }

    def steps(self) -> Iterator[Step]:
        chains = {
            box: {port: hung_chain(self.wiring, (box, port)) for port in self.wiring.of_controller(box)}
            for box in self.show.controllers
        }
        boxes = [box for box, ports in chains.items() if any(ports.values())]
        at = places_of_boxes(self.wiring, boxes)
        done: set[str] = set()
        came_from = -np.inf
        for number in shortest(at):
            box, ports = boxes[number], {port: chain for port, chain in chains[boxes[number]].items() if chain}
            runs = self._in_order([run for chain in ports.values() for run in chain], came_from)
            yield from self._ports(box, ports)
            for run in runs:
                yield from self._run(box, run, alone=len(ports) == 1 and len(runs) == 1)
            yield from self._ends(box, runs)
            done.update(runs)
            yield from self._pictures(box, runs, done)
            came_from = at[number][0]

    def _in_order(self, runs: Sequence[str], came_from: float) -> list[str]:
        """By the place of their props, from the side on which a person arrives; runs of one prop together."""
        xs = {run: (middle(self.wiring, [run]) or (np.nan, 0.0))[0] for run in runs}
        of_prop = {
            run: np.nanmean([xs[o] for o in runs if self._props[o] == self._props[run]] or [0.0])
            if not np.isnan(xs[run])
            else np.inf
            for run in runs
        }
        known = [x for x in xs.values() if not np.isnan(x)]
        back = bool(known) and came_from > max(known)
        return sorted(
            runs,
            key=lambda run: (
                np.isinf(of_prop[run]),
                (-1 if back else 1) * of_prop[run],
                self._props[run],
                runs.index(run),
            ),
        )

    def _ports(self, box: str, ports: Mapping[int, Sequence[str]]) -> Iterator[Step]:
        """All ports at once, each in its colour; a box with a single run needs no such look."""
        open_ports = [port for port in ports if Item(port_name(box, port), "identity") in self.wanted]
        if len(ports) == 1 and len(next(iter(ports.values()))) == 1:
            return
        for number, group in enumerate(_groups(open_ports)):
            glows: list[Glow] = []
            subjects: list[Subject] = []
            for place, port in enumerate(group):
                parts = [(run, self._colour(run, place)) for run in ports[port]]
                glows += [Glow(run, np.arange(self._lamps(run)), COLOURS[colour]) for run, colour in parts]
                name = port_name(box, port)
                with_all = {run: colour for source, colour in parts for run in with_tees(self.wiring, source)}
                checks = [
                    check for run, colour in with_all.items() for check in self._lit(run, {colour: self._all(run)})
                ]
                colours = words.listed(list(dict.fromkeys(with_all.values())))
                says = f"{name} {colours}: {words.listed(list(with_all))}"
                subjects.append(Subject(name, says, (Item(name, "identity"),), tuple(checks)))
            each = ": each port in a colour of its own, all of it" if len(group) > 1 else ""
            where = f"Look at all that {box} feeds{each}."
            yield self._step("ports", box, number, box, where, glows, subjects)

    def _run(self, box: str, run: str, *, alone: bool) -> Iterator[Step]:
        """One run alone in its parts, and with it what hangs on its data."""
        parts = self._parts(run)
        subjects = []
        for name in with_tees(self.wiring, run):
            proves = [Item(name, what) for what in OF_RUN if what != "ends"]
            prop = self._props[name]
            if self._sources[prop] == {run} and name in drawn_runs(self.wiring, prop):
                proves.append(Item(prop, "geometry"))
            if alone and name == run:
                proves.append(Item(port_name(*self.wiring.ports[run]), "identity"))
            wanted = tuple(dict.fromkeys(item for item in proves if item in self.wanted))
            if wanted:
                says = f"{name}: {self._in_words(name, parts)}"
                subjects.append(Subject(name, says, wanted, tuple(self._lit(name, parts, whole=True))))
        if subjects:
            port = port_name(*self.wiring.ports[run])
            others = [name for name in with_tees(self.wiring, run) if name != run]
            beside = f", and {words.listed(others)} with it" if others else ""
            where = f"Look at {self._named(run)}{beside}, on {port}. Nothing else is lit."
            glows = [Glow(run, pixels, COLOURS[colour]) for colour, pixels in parts.items()]
            yield self._step("colours", run, 0, box, where, glows, subjects)

    def _ends(self, box: str, runs: Sequence[str]) -> Iterator[Step]:
        """Both ends of up to four runs."""
        wanted = [run for run in runs if any(Item(name, "ends") in self.wanted for name in with_tees(self.wiring, run))]
        for number, group in enumerate(_groups(wanted)):
            glows: list[Glow] = []
            subjects: list[Subject] = []
            for run in group:
                near, far = self._end_colours(run)
                parts = self._end_lamps(run)
                glows += [Glow(run, parts[0], COLOURS[near]), Glow(run, parts[1], COLOURS[far])]
                for name in with_tees(self.wiring, run):
                    if (item := Item(name, "ends")) in self.wanted:
                        subjects.append(
                            Subject(
                                name,
                                self._ends_say(name, parts, near, far),
                                (item,),
                                tuple(self._end_checks(name, parts, near, far)),
                            )
                        )
            where = "Look at both ends of each run: one lamp where its data comes in, three at its other end."
            yield self._step("ends", box, number, box, where, glows, subjects)

    def _pictures(self, box: str, runs: Sequence[str], done: set[str]) -> Iterator[Step]:
        """Every prop of several runs whose last run was proved at this box."""
        for prop in dict.fromkeys(self._props[run] for run in runs):
            sources, item = self._sources[prop], Item(prop, "geometry")
            if len(sources) < 2 or not (sources <= done and sources & set(runs)) or item not in self.wanted:
                continue
            placed = {run: self._places[run] for run in drawn_runs(self.wiring, prop)}
            every = np.concatenate([found for found in placed.values() if found is not None])
            glows: list[Glow] = []
            checks: list[Check] = []
            for run, found in placed.items():
                if found is None or self.wiring.source(run) != run:
                    continue
                parts = self._quarters(run, found, every)
                glows += [Glow(run, pixels, COLOURS[colour]) for colour, pixels in parts.items()]
                checks += self._lit(run, parts)
            colours = {glow.colour.name for glow in glows}
            named = ", ".join(f"{side} {colour}" for side, colour in QUARTERS if colour in colours)
            subject = Subject(prop, f"{prop}: {named}", (item,), tuple(checks))
            where = f"Look at the whole of {prop} ({words.listed(list(placed))}): one picture in four colours."
            yield self._step("picture", prop, 0, box, where, glows, [subject])

    def _step(
        self, kind: str, name: str, number: int, box: str, where: str,
        glows: Sequence[Glow], subjects: Sequence[Subject],
    ) -> Step:  # fmt: skip
        title = f"{kind} {name}" + (f" {number + 1}" if number else "")
        return Step(title, box, where, Look(tuple(glows), tuple(s.says for s in subjects)), tuple(subjects))

    def _named(self, run: str) -> str:
        prop = self._props[run]
        return run if prop == run else f"{run} ({prop})"

    def _lamps(self, run: str) -> int:
        return self.show.runs[run].pixels

    def _all(self, run: str) -> Pixels:
        return np.arange(self._lamps(run))

    def _shown(self, run: str) -> tuple[str, ...]:
        """The colours that the run's lamps can show and an eye can tell; all of them where it has none of those."""
        letters = set(self.show.type_of(self.show.runs[run]).colour_order)
        white = "W" in letters or letters >= set("RGB")
        own = {"red": "R" in letters, "green": "G" in letters, "blue": "B" in letters, "white": white}
        return tuple(colour for colour in eye.COLOURS if own[colour]) or ("white",)

    def _colour(self, run: str, number: int) -> str:
        shown = self._shown(run)
        return shown[number % len(shown)]

    def _parts(self, run: str) -> Parts:
        """A grid in its quarters, else a run in as many equal parts as an eye can tell colours in it."""
        lamps, colours = self._lamps(run), self._shown(run)
        grid, found = cells(self.show, self.show.runs[run]), self._places[run]
        if grid is not None and found is not None and (np.ptp(grid, axis=0) > 0).all() and len(colours) == 4:
            return self._quarters(run, found, found)
        count = min(len(colours), lamps if lamps <= eye.COUNTS_TO else lamps // eye.SEEN_FROM)
        bounds = [round(lamps * part / count) for part in range(count + 1)]
        return {colours[part]: np.arange(bounds[part], bounds[part + 1]) for part in range(count)}

    def _quarters(self, run: str, found: NDArray[np.float64], of: NDArray[np.float64]) -> Parts:
        """A run's lamps by the quarter of a picture that they are in, each in its colour."""
        centre = (of.min(axis=0) + of.max(axis=0)) / 2
        right, top = (found[:, 0] > centre[0]), (found[:, 1] > centre[1])
        parts: Parts = {}
        for number, inside in enumerate((top & ~right, top & right, ~top & ~right, ~top & right)):
            if inside.any():
                colour = self._colour(run, number)
                parts[colour] = np.union1d(parts.get(colour, []), np.flatnonzero(inside)).astype(np.int64)
        return parts

    def _in_words(self, run: str, parts: Parts) -> str:
        if cells(self.show, self.show.runs[run]) is not None and len(parts) == 4:
            return ", ".join(f"{side} {colour}" for side, colour in QUARTERS)
        return words.colours_along(self._places[run], parts)

    def _lit(self, run: str, parts: Parts, *, whole: bool = False) -> Iterator[Check]:
        """What an eye says of a run that is lit in these parts, as far as it would say so of a sound one."""
        shades = np.zeros(self._lamps(run), dtype=np.uint8)
        for colour, pixels in parts.items():
            shades[pixels] = eye.COLOURS[colour]
        colours = tuple(parts)
        checks = [Check(run, eye.whole(run), colour, pixels) for colour, pixels in parts.items()]
        checks.append(Check(run, eye.missing(run, colours), "none is missing"))
        if whole and len(shades) > 1:
            checks.append(Check(run, eye.gap(run, colours), "no gap"))
            checks.append(Check(run, eye.flicker(run), "nothing"))
        for end in (0, -1):
            colour = next(name for name, shade in eye.COLOURS.items() if shade == shades[end])
            checks.append(Check(run, eye.outer(run, end), colour))
        if len(shades) <= eye.COUNTS_TO:
            checks.append(Check(run, None, str(len(shades))))
        return (check for check in checks if check.chance(eye.Eye(), shades) == 1)

    def _end_colours(self, run: str) -> tuple[str, str]:
        shown = self._shown(run)
        return ("green" if "green" in shown else shown[0]), ("red" if "red" in shown else shown[-1])

    def _end_lamps(self, run: str) -> tuple[Pixels, Pixels]:
        lamps = self._lamps(run)
        far = 3 if lamps > 4 else max(0, min(lamps - 1, 2 if lamps == 4 else 1))
        return np.arange(1), np.arange(lamps - far, lamps)

    def _ends_say(self, run: str, parts: tuple[Pixels, Pixels], near: str, far: str) -> str:
        counted = ("", "one", "two", "three")[len(parts[1])]
        if not counted:
            return f"{run}: its one lamp {near}"
        grid = cells(self.show, self.show.runs[run]) is not None
        first, last = words.ends(self._places[run], grid=grid)
        return f"{run}: one {near} at {first}, {counted} {far} at {last}"

    def _end_checks(self, run: str, parts: tuple[Pixels, Pixels], near: str, far: str) -> Iterator[Check]:
        quarter = -(-self._lamps(run) // 4)
        yield Check(run, None, str(len(parts[0]) + len(parts[1])))
        if 0 < len(parts[1]) <= quarter and 2 * quarter <= self._lamps(run):
            yield Check(run, None, str(len(parts[0])), self._all(run)[:quarter])
            yield Check(run, None, str(len(parts[1])), self._all(run)[-quarter:])
        yield Check(run, eye.outer(run, 0), near)
        yield Check(run, eye.outer(run, -1), far if len(parts[1]) else near)
        if len(parts[1]):
            both = tuple(dict.fromkeys((near, far)))
            yield Check(run, eye.missing(run, both), "none is missing")


QUARTERS = tuple(zip(("top left", "top right", "bottom left", "bottom right"), eye.COLOURS, strict=True))
"""The quarters of a picture, each with its colour."""


def _groups(things: Sequence[str] | Sequence[int]) -> Iterator[list]:  # type: ignore[type-arg]
    """Groups of up to four, as even as can be."""
    count = -(-len(things) // AT_ONCE)
    bounds = [round(len(things) * number / count) for number in range(count + 1)] if count else [0]
    for first, last in pairwise(bounds):
        yield list(things[first:last])
