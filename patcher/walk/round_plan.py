"""The steps of a walk-through, in order, until every port, run and prop is proved.

Box by box along a short walk. At each box first every pixel in every colour, at last for ten seconds; then all ports
at once, each in a colour of its own; then each run alone in four parts, which shows its direction and its picture in
one look; then the two ends of up to four runs at once; and when the last run of a prop is done, the prop as a whole.
That is never more than three steps a run.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import partial
from itertools import pairwise

import numpy as np

from patcher import eye
from patcher.diagnosis.place_words import listed
from patcher.errors import first_few
from patcher.frames.looks import COLOURS, Colour, Glow, Look
from patcher.shapes import Positions
from patcher.walk import colour_steps
from patcher.walk.box_order import middle, places_of_boxes, shortest
from patcher.walk.items import Item, What, drawn_runs, hung_chain, with_tees
from patcher.walk.run_looks import DARK, SIDES, Parts, RunLooks, by_quarter, quarters
from patcher.walk.step import Check, Step, Subject
from patcher.wiring import Wiring, port_name

AT_ONCE = eye.COUNTS_TO
"""So many things are proved in one look at most, for an eye counts no further."""
FLICKER = "At the end of each round the light grows brighter and dimmer for 10 s: nothing should flicker then."
NAMED = 8
"""So many runs are named where everything on a box is meant."""
HOW_MANY = ("no colour", "one colour", "two colours", "three colours", "four colours")


def plan(wiring: Wiring, wanted: Collection[Item]) -> tuple[Step, ...]:
    """The steps that prove the wanted items, in the order of the walk."""
    return tuple(_Steps(wiring, frozenset(wanted)).steps())


class _Steps:
    def __init__(self, wiring: Wiring, wanted: frozenset[Item]) -> None:
        self.wiring, self.show, self.wanted = wiring, wiring.show, wanted
        self.looks = {run: RunLooks(wiring, run) for run in self.show.runs}
        self._props = {run: prop for prop, runs in self.show.prop_runs().items() for run in runs}
        self._sources = {
            prop: {wiring.source(run) for run in drawn_runs(wiring, prop)} for prop in self.show.prop_runs()
        }
        self._chains: dict[str, dict[int, tuple[str, ...]]] = {}
        for box in self.show.controllers:
            hung = {port: hung_chain(wiring, (box, port)) for port in wiring.of_controller(box)}
            if ports := {port: chain for port, chain in hung.items() if chain}:
                self._chains[box] = ports
        self._alone = {chain[0] for ports in self._chains.values() for chain in ports.values() if _one_run(ports)}

    def steps(self) -> Iterator[Step]:
        boxes, done, came_from = list(self._chains), set[str](), -np.inf
        at = places_of_boxes(self.wiring, boxes)
        for number in shortest(at):
            box = boxes[number]
            ports = self._chains[box]
            runs = self._in_order([run for chain in ports.values() for run in chain], came_from)
            yield from self._colours(box, runs)
            yield from self._ports(box, ports)
            for run in runs:
                yield from self._run(box, run, alone=_one_run(ports))
            done.update(runs)
            yield from self._ends(box, self._due(runs, done))
            yield from self._pictures(box, runs, done)
            came_from = at[number][0]

    def _due(self, runs: Sequence[str], done: Collection[str]) -> list[str]:
        """The runs whose ends are checked here. The one run of a box waits for the box where its prop is whole: there
        all of the prop is checked. A run with no picture does not wait: it is nowhere on the prop.
        """
        if len(runs) == 1 and runs[0] in (prop := self._sources[self._props[runs[0]]]) and not prop <= {*done}:
            return []
        whole = {self._props[run] for run in runs if self._sources[self._props[run]] <= {*done}}
        waited = {run for prop in whole for run in self._sources[prop] if run in self._alone and run not in runs}
        return [*sorted(waited), *runs]

    def _in_order(self, runs: Sequence[str], came_from: float) -> list[str]:
        """By the place of their props, from the side on which a person arrives; runs of one prop together."""
        xs = {run: (middle(self.wiring, [run]) or (np.nan, 0.0))[0] for run in runs}
        known = [x for x in xs.values() if not np.isnan(x)]
        sign = -1 if known and came_from > max(known) else 1

        def key(run: str) -> tuple[bool, float, str, int]:
            prop, bare = self._props[run], bool(np.isnan(xs[run]))
            along = 0.0 if bare else sign * float(np.nanmean([xs[one] for one in runs if self._props[one] == prop]))
            return bare, along, prop, runs.index(run)

        return sorted(runs, key=key)

    def _wanted(self, run: str, what: What) -> list[str]:
        """Of a run and those on its data the ones of which this is to be proved."""
        return [name for name in with_tees(self.wiring, run) if Item(name, what) in self.wanted]

    def _colours(self, box: str, runs: Sequence[str]) -> Iterator[Step]:
        """Every pixel of the box in every colour, and the last of those for longer."""
        wanted = {run: names for run in runs if (names := self._wanted(run, "colours"))}
        if not wanted:
            return
        shown = colour_steps.looks({run: self.looks[run].letters for run in wanted})
        looks = tuple(
            Look(
                tuple(Glow(run, self.looks[run].all, colour) for run, colour in colours.items()),
                _lines(colours, wanted),
            )
            for colours in shown
        )
        subjects = tuple(self._every_colour(run, name, shown) for run, names in wanted.items() for name in names)
        words = partial(self._look_over, box, FLICKER if len(looks) > 1 else "Nothing should flicker.")
        yield Step(f"colours {box}", box, words([subject.thing for subject in subjects]), looks, subjects, words)

    def _look_over(self, box: str, flicker: str, things: Sequence[str]) -> str:
        """Which runs of a box are meant, and which stay dark on purpose: whoever looks at the whole box would take
        those for broken.
        """
        lit = {name for thing in things for name in with_tees(self.wiring, self.wiring.source(thing))}
        every = [name for chain in self._chains[box].values() for run in chain for name in with_tees(self.wiring, run)]
        besides = [name for name in every if name in lit and name not in things]
        dark = [name for name in every if name not in lit]
        meant = (
            f"{listed(things)}, on {box}" if dark or besides else f"everything on {box} ({first_few(things, NAMED)})"
        )
        also = f" {listed(besides)} light{'s' * (len(besides) == 1)} too." if besides else ""
        unlit = f" {listed(dark)} stay{'s' * (len(dark) == 1)} dark on purpose." if dark else ""
        return f"Look over {meant}: no pixel should be dark, dimmer or of another colour.{also}{unlit} {flicker}"

    def _every_colour(self, run: str, name: str, shown: Sequence[Mapping[str, Colour]]) -> Subject:
        colours = {number: colours[run] for number, colours in enumerate(shown) if run in colours}
        asks = {n: eye.even(name, colour_steps.shade_name(c), self.looks[run].count) for n, c in colours.items()}
        checks = [Check(name, ask, "all alike", look=number) for number, ask in asks.items()]
        says = f"{name}: every pixel {listed(list(dict.fromkeys(colour.name for colour in colours.values())))}"
        return Subject(name, says, (Item(name, "colours"),), tuple(checks))

    def _ports(self, box: str, ports: Mapping[int, Sequence[str]]) -> Iterator[Step]:
        """All ports at once, each in its colour; a box with a single run needs no such look."""
        if _one_run(ports):
            return
        wanted = [port for port in ports if Item(port_name(box, port), "identity") in self.wanted]
        for number, group in enumerate(_groups(wanted)):
            glows: list[Glow] = []
            subjects: list[Subject] = []
            for place, port in enumerate(group):
                colours = {run: self.looks[run].colour(place) for run in ports[port]}
                glows += [Glow(run, self.looks[run].all, COLOURS[colour]) for run, colour in colours.items()]
                subjects.append(self._port(port_name(box, port), colours))
            words = partial(self._look_at_ports, box, ports)
            yield replace(
                self._step("ports", box, number, box, words([subject.thing for subject in subjects]), glows, subjects),
                where_of=words,
            )

    def _look_at_ports(self, box: str, ports: Mapping[int, Sequence[str]], things: Sequence[str]) -> str:
        """Which ports of a box are meant, and that the others stay dark."""
        each = " Each port has a colour of its own, from its first pixel to its last." if len(things) > 1 else ""
        if len(things) == len(ports):
            return f"Look at everything on {box}.{each}"
        return f"Look at {listed(things)}.{each} Nothing else on {box} should be lit."

    def _port(self, port: str, colours: Mapping[str, str]) -> Subject:
        with_all = {run: colour for source, colour in colours.items() for run in with_tees(self.wiring, source)}
        checks = [
            check for run, colour in with_all.items() for check in self.looks[run].checks({colour: self.looks[run].all})
        ]
        says = f"{port} {listed(list(dict.fromkeys(with_all.values())))}: {listed(list(with_all))}"
        return Subject(port, says, (Item(port, "identity"),), tuple(checks))

    def _run(self, box: str, run: str, *, alone: bool) -> Iterator[Step]:
        """One run alone in its parts, and with it what hangs on its data."""
        parts, port = self.looks[run].parts, port_name(*self.wiring.ports[run])
        subjects = []
        for name in with_tees(self.wiring, run):
            proves = [Item(name, "direction")]
            prop = self._props[name]
            if self._sources[prop] == {run} and name in drawn_runs(self.wiring, prop):
                proves.append(Item(prop, "geometry"))
            if alone and name == run:
                proves.append(Item(port, "identity"))
            if wanted := tuple(item for item in dict.fromkeys(proves) if item in self.wanted):
                looks = self.looks[name]
                says = f"{name}: {looks.in_words(parts)}"
                subjects.append(Subject(name, says, wanted, tuple(looks.checks(parts, whole=True))))
        if subjects:
            others = [name for name in with_tees(self.wiring, run) if name != run]
            beside = f", and {listed(others)} with it" if others else ""
            of_prop = "" if self._props[run] == run else f" ({self._props[run]})"
            where = f"Look at {run}{of_prop}{beside}, on {port}. Nothing else should be lit."
            yield self._step("parts", run, 0, box, where, _glows(run, parts), subjects)

    def _ends(self, box: str, runs: Sequence[str]) -> Iterator[Step]:
        """Both ends of up to four runs."""
        wanted = [run for run in runs if self._wanted(run, "ends")]
        for number, group in enumerate(_groups(wanted)):
            glows: list[Glow] = []
            subjects: list[Subject] = []
            for run in group:
                ends = self.looks[run].ends
                glows += [Glow(run, ends.first, COLOURS[ends.near]), Glow(run, ends.others, COLOURS[ends.far])]
                for name in self._wanted(run, "ends"):
                    looks = self.looks[name]
                    checks = tuple(looks.end_checks(ends))
                    subjects.append(Subject(name, looks.end_words(ends), (Item(name, "ends"),), checks))
            where = "Look at both ends of each run and count the lit pixels. Nothing else should be lit."
            yield self._step("ends", box, number, box, where, glows, subjects)

    def _pictures(self, box: str, runs: Sequence[str], done: set[str]) -> Iterator[Step]:
        """Every prop of several runs whose last run was proved at this box."""
        for prop in dict.fromkeys(self._props[run] for run in runs):
            sources, item = self._sources[prop], Item(prop, "geometry")
            if len(sources) > 1 and sources <= done and sources & set(runs) and item in self.wanted:
                yield self._picture(box, prop, item)

    def _picture(self, box: str, prop: str, item: Item) -> Step:
        drawn = drawn_runs(self.wiring, prop)
        placed = {run: places for run in drawn if (places := self.looks[run].places) is not None}
        every = np.concatenate(list(placed.values()))
        glows: list[Glow] = []
        checks: list[Check] = []
        for run, places in placed.items():
            if self.wiring.source(run) == run:
                parts = quarters(places, every, [self.looks[run].colour(number) for number in range(4)])
                glows += _glows(run, parts)
                checks += self.looks[run].checks(parts)
        told = self._colours_at(placed, every, glows)
        colours = list(dict.fromkeys(name for names in told.values() for name in names))
        named = ", ".join(f"{side} {listed(list(names))}" for side, names in told.items())
        says = named if len(colours) > 1 else f"all of it {colours[0]}"
        subject = Subject(prop, f"{prop}: {says}", (item,), tuple(checks))
        where = f"Look at the whole of {prop} ({listed(list(drawn))}): one picture in {HOW_MANY[len(colours)]}."
        return self._step("picture", prop, 0, box, where, glows, [subject])

    def _colours_at(
        self, placed: Mapping[str, Positions], every: Positions, glows: Sequence[Glow]
    ) -> dict[str, list[str]]:
        """The colours that are lit in each quarter of a picture where pixels are; a tee's are those of its source."""
        told: dict[str, dict[str, None]] = {}
        for run, places in placed.items():
            for side, inside in zip(SIDES, by_quarter(places, every), strict=True):
                here = np.flatnonzero(inside)
                lit = [
                    g.colour.name for g in glows if g.run == self.wiring.source(run) and np.isin(g.pixels, here).any()
                ]
                told.setdefault(side, {}).update(dict.fromkeys(lit))
        return {side: list(names) for side in SIDES if (names := told.get(side))}

    def _step(
        self, kind: str, name: str, number: int, box: str, where: str,
        glows: Sequence[Glow], subjects: Sequence[Subject],
    ) -> Step:  # fmt: skip
        title = f"{kind} {name}" + (f" {number + 1}" if number else "")
        return Step(title, box, where, (Look(tuple(glows), tuple(s.says for s in subjects)),), tuple(subjects))


def _one_run(ports: Mapping[int, Sequence[str]]) -> bool:
    """Whether a box feeds a single run."""
    return sum(map(len, ports.values())) == 1


def _glows(run: str, parts: Parts) -> list[Glow]:
    return [Glow(run, pixels, COLOURS[colour]) for colour, pixels in parts.items() if colour != DARK]


def _lines(colours: Mapping[str, Colour], runs: Collection[str]) -> tuple[str, ...]:
    """A look of all colours in words: the colour alone where all runs have it, else which runs have which."""
    named: dict[str, list[str]] = {}
    for run, colour in colours.items():
        named.setdefault(colour.name, []).append(run)
    if len(named) == 1 and len(colours) == len(runs):
        return tuple(named)
    return tuple(f"{name}: {listed(of_colour)}" for name, of_colour in named.items())


def _groups(things: Sequence[str] | Sequence[int]) -> Iterator[list]:  # type: ignore[type-arg]
    """Groups of up to four, as even as can be."""
    count = -(-len(things) // AT_ONCE)
    bounds = [round(len(things) * number / count) for number in range(count + 1)] if count else [0]
    for first, last in pairwise(bounds):
        yield list(things[first:last])
