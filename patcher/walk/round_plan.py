"""The round: what a person looks at, step by step, until every port, run and prop is proved.

Box by box along a short walk. At each box first every pixel in every colour, at last for ten seconds; then all ports
at once, each in a colour of its own; then each run alone in four parts, which shows its direction and its picture in
one look; then the two ends of up to four runs at once; and when the last run of a prop is done, the prop as a whole.
That is never more than three steps a run.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from patcher import eye
from patcher.diagnosis import place_words
from patcher.diagnosis.scene import quarters_of
from patcher.frames.looks import COLOURS, Glow, Look
from patcher.shapes import cells, positions
from patcher.trade import plain_colours
from patcher.walk import colour_steps
from patcher.walk.box_order import middle, places_of_boxes, shortest
from patcher.walk.items import Item, drawn_runs, hung_chain, with_tees
from patcher.walk.step import Check, Pixels, Step, Subject
from patcher.wiring import Wiring, port_name

Parts = dict[str, Pixels]
"""Pixels of one run, from 0, by colour."""

AT_ONCE = eye.COUNTS_TO
"""So many things are proved in one look at most, for an eye counts no further."""


def plan(wiring: Wiring, wanted: Collection[Item]) -> tuple[Step, ...]:
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
        self._alone: set[str] = set()

    def steps(self) -> Iterator[Step]:
        chains = {
            box: {port: hung_chain(self.wiring, (box, port)) for port in self.wiring.of_controller(box)}
            for box in self.show.controllers
        }
        boxes = [box for box, ports in chains.items() if any(ports.values())]
        hung = [[run for chain in ports.values() for run in chain] for ports in chains.values()]
        self._alone = {runs[0] for runs in hung if len(runs) == 1}
        at = places_of_boxes(self.wiring, boxes)
        done: set[str] = set()
        came_from = -np.inf
        for number in shortest(at):
            box, ports = boxes[number], {port: chain for port, chain in chains[boxes[number]].items() if chain}
            runs = self._in_order([run for chain in ports.values() for run in chain], came_from)
            yield from self._colours(box, runs)
            yield from self._ports(box, ports)
            for run in runs:
                yield from self._run(box, run, alone=len(ports) == 1 and len(runs) == 1)
            done.update(runs)
            yield from self._ends(box, self._due(runs, done))
            yield from self._pictures(box, runs, done)
            came_from = at[number][0]

    def _due(self, runs: Sequence[str], done: Collection[str]) -> list[str]:
        """The runs whose ends are looked at here. The one run of a box waits for the box where its prop is whole: there
        all of the prop is looked at. A run with no picture does not wait: it is nowhere on the prop.
        """
        if len(runs) == 1 and runs[0] in (prop := self._sources[self._props[runs[0]]]) and not prop <= {*done}:
            return []
        whole = {self._props[run] for run in runs if self._sources[self._props[run]] <= {*done}}
        waited = [
            run for prop in sorted(whole) for run in self._sources[prop] if run in self._alone and run not in runs
        ]
        return [*sorted(waited), *runs]

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

    def _colours(self, box: str, runs: Sequence[str]) -> Iterator[Step]:
        """Every pixel of the box in every colour, and the last of those for longer."""
        wanted = {
            run: [name for name in with_tees(self.wiring, run) if Item(name, "colours") in self.wanted] for run in runs
        }
        wanted = {run: names for run, names in wanted.items() if names}
        if not wanted:
            return
        shown = colour_steps.looks({run: self._letters(run) for run in wanted})
        looks = []
        for colours in shown:
            named = colour_steps.named(colours)
            alike = len(named) == 1 and len(colours) == len(wanted)
            lines = (
                tuple(named) if alike else tuple(f"{name}: {place_words.listed(own)}" for name, own in named.items())
            )
            looks.append(Look(tuple(Glow(run, self._all(run), colour) for run, colour in colours.items()), lines))
        subjects = []
        for run, names in wanted.items():
            own = colour_steps.listed(colours[run] for colours in shown if run in colours)
            for name in names:
                checks = [
                    Check(name, eye.even(name, colour_steps.shade_name(colours[run]), self._lamps(run)), "all alike",
                          look=number)
                    for number, colours in enumerate(shown) if run in colours
                ]  # fmt: skip
                says = f"{name}: every pixel {place_words.listed(own)}"
                subjects.append(Subject(name, says, (Item(name, "colours"),), tuple(checks)))
        where = (
            f"Look over all that {box} feeds: no pixel is dark, dimmer or of another colour. "
            "At the end, for 10 s: nothing flickers."
        )
        yield Step(f"colours {box}", box, where, tuple(looks), tuple(subjects))

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
                colours = place_words.listed(list(dict.fromkeys(with_all.values())))
                says = f"{name} {colours}: {place_words.listed(list(with_all))}"
                subjects.append(Subject(name, says, (Item(name, "identity"),), tuple(checks)))
            each = ": each port in a colour of its own, all of it" if len(group) > 1 else ""
            where = f"Look at all that {box} feeds{each}."
            yield self._step("ports", box, number, box, where, glows, subjects)

    def _run(self, box: str, run: str, *, alone: bool) -> Iterator[Step]:
        """One run alone in its parts, and with it what hangs on its data."""
        parts = self._parts(run)
        subjects = []
        for name in with_tees(self.wiring, run):
            proves = [Item(name, "direction")]
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
            beside = f", and {place_words.listed(others)} with it" if others else ""
            where = f"Look at {self._named(run)}{beside}, on {port}. Nothing else is lit."
            glows = [Glow(run, pixels, COLOURS[colour]) for colour, pixels in parts.items() if colour != DARK]
            yield self._step("parts", run, 0, box, where, glows, subjects)

    def _ends(self, box: str, runs: Sequence[str]) -> Iterator[Step]:
        """Both ends of up to four runs."""
        wanted = [run for run in runs if any(Item(name, "ends") in self.wanted for name in with_tees(self.wiring, run))]
        for number, group in enumerate(_groups(wanted)):
            glows: list[Glow] = []
            subjects: list[Subject] = []
            for run in group:
                near, far = self._end_colours(run)
                parts = self._end_lamps(run)
                glows += [Glow(run, own, COLOURS[colour]) for own, colour in zip(parts, (near, far), strict=True)]
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
            where = "Look at both ends of each run. Count the pixels that are lit; nothing else is lit."
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
                parts = self._quarters(found, every, [self._colour(run, number) for number in range(4)])
                glows += [Glow(run, pixels, COLOURS[colour]) for colour, pixels in parts.items()]
                checks += self._lit(run, parts)
            colours = {glow.colour.name for glow in glows}
            named = ", ".join(f"{side} {colour}" for side, colour in QUARTERS if colour in colours)
            subject = Subject(prop, f"{prop}: {named}", (item,), tuple(checks))
            where = f"Look at the whole of {prop} ({place_words.listed(list(placed))}): one picture in four colours."
            yield self._step("picture", prop, 0, box, where, glows, [subject])

    def _step(
        self, kind: str, name: str, number: int, box: str, where: str,
        glows: Sequence[Glow], subjects: Sequence[Subject],
    ) -> Step:  # fmt: skip
        title = f"{kind} {name}" + (f" {number + 1}" if number else "")
        return Step(title, box, where, (Look(tuple(glows), tuple(s.says for s in subjects)),), tuple(subjects))

    def _letters(self, run: str) -> str:
        return self.show.type_of(self.show.runs[run]).colour_order

    def _named(self, run: str) -> str:
        prop = self._props[run]
        return run if prop == run else f"{run} ({prop})"

    def _lamps(self, run: str) -> int:
        return self.show.runs[run].pixels

    def _closed(self, run: str) -> bool:
        """Whether its picture closes on itself: no eye then knows its first pixel from the next, but in a corner."""
        return self.show.runs[run].shape_name == "loop"

    def _seam(self, run: str) -> int | None:
        """Of a closed outline the pixel at its seam, 0 or −1, that an eye finds."""
        return place_words.corner_at_seam(self._places[run]) if self._closed(run) else None

    def _all(self, run: str) -> Pixels:
        return np.arange(self._lamps(run))

    def _shown(self, run: str) -> tuple[str, ...]:
        """The colours that the run's pixels can show and an eye can tell; all of them where it has none of those."""
        return plain_colours(self.show.type_of(self.show.runs[run]).colour_order) or ("white",)

    def _colour(self, run: str, number: int) -> str:
        shown = self._shown(run)
        return shown[number % len(shown)]

    def _parts(self, run: str) -> Parts:
        """A grid in its quarters, else a run in as many equal parts as an eye can tell colours in it; a run of one
        colour half lit and half dark.
        """
        lamps, colours = self._lamps(run), self._shown(run)
        grid, found = cells(self.show, self.show.runs[run]), self._places[run]
        if grid is not None and found is not None and (np.ptp(grid, axis=0) > 0).all():
            return self._quarters(found, found, [*colours, *[DARK] * 3][:4])
        if len(colours) == 1 and lamps > 1:
            colours = (*colours, DARK)
        count = min(len(colours), lamps if lamps <= eye.COUNTS_TO else lamps // eye.SEEN_FROM)
        bounds = [round(lamps * part / count) for part in range(count + 1)]
        return {colours[part]: np.arange(bounds[part], bounds[part + 1]) for part in range(count)}

    @staticmethod
    def _quarters(found: NDArray[np.float64], of: NDArray[np.float64], colours: Sequence[str]) -> Parts:
        """A run's pixels by the quarter of a picture that they are in, each in its colour."""
        centre = (of.min(axis=0) + of.max(axis=0)) / 2
        right, top = (found[:, 0] > centre[0]), (found[:, 1] > centre[1])
        parts: Parts = {}
        for colour, inside in zip(colours, (top & ~right, top & right, ~top & ~right, ~top & right), strict=True):
            if inside.any():
                parts[colour] = np.union1d(parts.get(colour, []), np.flatnonzero(inside)).astype(np.int64)
        return parts

    def _in_words(self, run: str, parts: Parts) -> str:
        grid = cells(self.show, self.show.runs[run])
        if grid is not None and (np.ptp(grid, axis=0) > 0).all():
            sides = zip(SIDES, self._shown(run), strict=False)
            named = ", ".join(f"{side} {colour}" for side, colour in sides if colour in parts)
            return named + ", the rest dark" * (DARK in parts)
        return place_words.colours_along(self._places[run], parts)

    def _lit(self, run: str, parts: Parts, *, whole: bool = False) -> Iterator[Check]:
        """What an eye says of a run that is lit in these parts, as far as it would say so of a sound one."""
        shades = np.zeros(self._lamps(run), dtype=np.uint8)
        for colour, pixels in parts.items():
            shades[pixels] = eye.COLOURS.get(colour, eye.DARK)
        colours = tuple(colour for colour in parts if colour != DARK)
        checks = [Check(run, eye.whole(run), colour, pixels) for colour, pixels in parts.items()]
        checks.append(Check(run, eye.missing(run, colours), "none is missing"))
        if whole and len(shades) > 1:
            checks.append(Check(run, eye.gap(run, colours), "no gap"))
            checks.append(Check(run, eye.flicker(run), "nothing"))
        for end in () if self._closed(run) else (0, -1):
            checks += [Check(run, eye.outer(run, end), colour) for colour in colours]
        if (lit := int((shades != eye.DARK).sum())) <= eye.COUNTS_TO:
            checks.append(Check(run, None, str(lit)))
            checks += [] if self._closed(run) else [self._read(run, shades)]
        return (check for check in checks if check.chance(eye.Eye(), shades) == 1)

    def _end_colours(self, run: str) -> tuple[str, str]:
        shown = self._shown(run)
        return ("green" if "green" in shown else shown[0]), ("red" if "red" in shown else shown[-1])

    def _end_lamps(self, run: str) -> tuple[Pixels, Pixels]:
        """Of a closed outline the pixel in the corner, and two on one side of it and one on the other; else the first
        pixel, and the last ones; of a run of one colour too short for that the first one alone.
        """
        lamps = self._lamps(run)
        if (seam := self._seam(run)) is not None:
            return np.array([seam % lamps]), np.sort(np.array([1, 2, -1] if seam == 0 else [-2, -3, 0]) % lamps)
        far = 3 if lamps > 4 else max(0, min(lamps - 1, 2 if lamps == 4 else 1))
        if lamps < 4 and len(set(self._end_colours(run))) == 1:
            far = 0
        return np.arange(1), np.arange(lamps - far, lamps)

    def _ends_say(self, run: str, parts: tuple[Pixels, Pixels], near: str, far: str) -> str:
        counted = ("", "one", "two", "three")[len(parts[1])]
        if self._lamps(run) == 1:
            return f"{run}: its one pixel {near}"
        if (seam := self._seam(run)) is not None:
            placed = self._places[run]
            assert placed is not None  # noqa: S101  (else it has no corner)
            corner, ways = place_words.place(placed[[seam]], placed), place_words.ways_round(placed)
            two, one = ways if seam == 0 else ways[::-1]
            return f"{run}: one {near} right in the {corner} corner; next to it two {far} {two}, one {one}"
        grid = cells(self.show, self.show.runs[run]) is not None
        first, last = place_words.ends(self._places[run], grid=grid)
        return f"{run}: one {near} at {first}, " + (f"{counted} {far} at {last}" if counted else f"{last} dark")

    def _end_checks(self, run: str, parts: tuple[Pixels, Pixels], near: str, far: str) -> Iterator[Check]:
        lamps, (first, others) = self._lamps(run), parts
        quarter = -(-lamps // 4)
        begin, end = self._all(run)[:quarter], self._all(run)[-quarter:]
        yield Check(run, None, str(len(first) + len(others)))
        if (seam := self._seam(run)) is not None:
            yield Check(run, eye.outer(run, 0), near, first)
            if quarter > 2:
                sides = (begin[1:], end) if seam == 0 else (end[:-1], begin)
                yield from (Check(run, None, str(count), side) for count, side in zip((2, 1), sides, strict=True))
        elif not self._closed(run):
            if len(others) <= quarter and 2 * quarter <= lamps:
                yield Check(run, None, str(len(first)), begin)
                yield Check(run, None, str(len(others)), end)
            yield Check(run, eye.outer(run, 0), near)
            yield Check(run, eye.outer(run, -1), far if len(others) else near)
            shades = np.zeros(lamps, dtype=np.uint8)
            shades[first], shades[others] = eye.COLOURS[near], eye.COLOURS[far]
            yield self._read(run, shades)
        if len(others):
            yield Check(run, eye.missing(run, tuple(dict.fromkeys((near, far)))), "none is missing")

    def _read(self, run: str, shades: eye.Shades) -> Check:
        """What is read off a run on which few pixels are lit, one by one, with the gaps between."""
        quarters = quarters_of(cells(self.show, self.show.runs[run]))
        ask = eye.few((run,), (tuple(eye.Eye().reads(shades[None], quarters)),), (quarters,))
        return Check(run, ask, ask.answers[0])


SIDES = ("top left", "top right", "bottom left", "bottom right")
QUARTERS = tuple(zip(SIDES, eye.COLOURS, strict=True))
"""The quarters of a picture, each with its colour."""
DARK = "dark"
"""In place of a colour: a part that is not lit."""


def _groups(things: Sequence[str] | Sequence[int]) -> Iterator[list]:  # type: ignore[type-arg]
    """Groups of up to four, as even as can be."""
    count = -(-len(things) // AT_ONCE)
    bounds = [round(len(things) * number / count) for number in range(count + 1)] if count else [0]
    for first, last in pairwise(bounds):
        yield list(things[first:last])
