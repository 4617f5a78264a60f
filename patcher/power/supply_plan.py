"""Supplies for the runs that have none: which kinds, how many, in which box; V+ cut where two meet; then their feeds.

Each is loaded to 80 % at most at the level of the plan, with what regulated pixels draw at the least volts that the
plan leaves them. Supplies that are there stay as they are, and take what they have room for.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from itertools import count, groupby

import numpy as np

from patcher.power import feed_plan, no_plan
from patcher.power.flow import Power, power
from patcher.power.other_volts import where_volts_change
from patcher.power.plan import NewSupplies, Plan
from patcher.power.stretches import Parts, Stretch
from patcher.power.strip import box_place, cable_to, pixel_places
from patcher.power.supply_choice import Choice, Kind, Load, choose, fewest
from patcher.power.wires import CELSIUS, Wire
from patcher.shapes import positions
from patcher.show.schema import Show, Supply
from patcher.wiring import Wiring, wire

Cuts = tuple[tuple[str, int], ...]
"""The runs and pixels just before which V+ is cut."""


def plan(
    wiring: Wiring,
    kinds: Sequence[Kind],
    *,
    gauges: tuple[Wire, ...] = feed_plan.GAUGES,
    slack: float = feed_plan.SLACK,
    level: float | None = None,
    celsius: float = CELSIUS,
    margin: float = feed_plan.MARGIN,
) -> Plan:
    """The supplies that a sound show needs besides those that it has, and the feeds.

    Args:
        wiring: the wiring.
        kinds: the kinds of supplies to choose from.
        gauges: as in `feed_plan.plan`, and so are the others.
        slack: see there.
        level: see there.
        celsius: see there.
        margin: see there.
    """
    before = power(wiring, level=level, celsius=max(celsius, CELSIUS))
    apart = tuple(gap for part in before.stretches if not part.trees for gap in where_volts_change(before.show, part))
    state = before.of(with_cuts(before.show, apart))
    work = _Choosing(state, kinds, margin)
    supplied = work.supplied()
    made = feed_plan.plan(
        wire(supplied), gauges=gauges, slack=slack, level=level, celsius=celsius, margin=margin, assigned=work.assigned
    )
    after = _without_idle(made.after, work.names)
    names = tuple(name for name in work.names if name in after.show.supplies)
    new = NewSupplies(names, (*apart, *work.cuts), work.bound, work.best, tuple(work.places))
    return replace(made, before=before, after=after, new=new)


def with_cuts(show: Show, cuts: Iterable[tuple[str, int]]) -> Show:
    """The show with V+ cut just before some pixels too."""
    runs = dict(show.runs)
    for name, pixel in cuts:
        run = runs[name]
        keys = {"power_joined": False} if pixel == 1 else {"power_cuts": tuple(sorted({*run.power_cuts, pixel}))}
        runs[name] = run.model_copy(update=keys)
    return show.model_copy(update={"runs": runs})


def _without_idle(state: Power, names: Iterable[str]) -> Power:
    """The power of a show without those of some supplies that nothing hangs on: no feed could be planned from them."""
    used = {feed.supply for feed in state.show.feeds.values()}
    idle = {*names} - used
    if not idle:
        return state
    supplies = {name: supply for name, supply in state.show.supplies.items() if name not in idle}
    return state.of(state.show.model_copy(update={"supplies": supplies}))


class _Choosing:
    """Supplies as they are chosen.

    Attributes:
        state: the power of the show, its V+ cut where its pixels' volts change.
        kinds: the kinds of supplies to choose from.
        margin: the part of its rated volts that each pixel is to have above its least.
        cuts: where V+ is cut because two supplies meet.
        names: the new supplies.
        assigned: the supply of each stretch that is planned, by its parts.
        bound: a number of new supplies that nothing can go below.
        best: whether no fewer would do where each stretch is fed from its own box or the nearest one.
        places: what is not known of places, in words.
    """

    def __init__(self, state: Power, kinds: Sequence[Kind], margin: float) -> None:
        self.state, self.kinds, self.margin = state, kinds, margin
        self.cuts: Cuts = ()
        self.names: tuple[str, ...] = ()
        self.assigned: dict[Parts, str] = {}
        self.bound, self.best = 0, True
        self.places: dict[str, None] = {}

    def supplied(self) -> Show:
        """The show with the new supplies, and with V+ cut where two meet."""
        show = self.state.show
        bare: defaultdict[float, list[Stretch]] = defaultdict(list)
        for part in self.state.stretches:
            if not part.trees and no_plan.not_ready(self.state, part) is None:
                bare[show.type_of(show.runs[part.parts[0][0]]).volts or 0.0].append(part)
        for volts, parts in bare.items():
            show = self._of_volts(show, volts, parts)
        return show

    def _of_volts(self, show: Show, volts: float, parts: list[Stretch]) -> Show:
        """The show with supplies for the stretches of some volts; as it is where the kinds are not enough."""
        kinds = [kind for kind in self.kinds if kind.volts == volts]
        supplies = show.supplies
        left = {name: amps for name, amps in self.state.left.items() if supplies[name].volts == volts and amps > 0}
        loads = [self._load(part, left) for part in parts]
        choice = choose(loads, kinds, left)
        if choice is None:
            return show
        self.bound += fewest(sum(load.least for load in loads) - sum(left.values()), kinds)
        self.best &= choice.best
        show, names = _with_supplies(show, choice)
        self.names += names
        return self._assign(show, parts, choice, names)

    def _assign(self, show: Show, parts: list[Stretch], choice: Choice, names: tuple[str, ...]) -> Show:
        """The show cut as chosen; what is fed by which supply is noted."""
        cuts = []
        for piece in choice.pieces:
            pixels = pixels_of(parts[piece.load])
            mine = pixels[piece.first : piece.end]
            where = groupby(mine, key=lambda pixel: pixel[0])
            ends = [(run, [at for _, at in each]) for run, each in where]
            of = tuple((run, each[0], each[-1]) for run, each in ends)
            self.assigned[of] = piece.supply if isinstance(piece.supply, str) else names[piece.supply]
            cuts += [mine[0]] if piece.first else []
        self.cuts += tuple(cuts)
        return with_cuts(show, cuts)

    def _load(self, part: Stretch, left: Mapping[str, float]) -> Load:
        """A stretch as a load, with the boxes and supplies from which it may be fed."""
        state, show = self.state, self.state.show
        kinds = [show.type_of(show.runs[run]) for run, _, _ in part.parts]
        volts = [(kind.min_volts or 0.0) + self.margin * (kind.volts or 0.0) for kind in kinds]
        asked = np.repeat(volts, [last - first + 1 for _, first, last in part.parts])
        runs = tuple(np.cumsum([last - first + 1 for _, first, last in part.parts])[:-1].tolist())
        away = self._away(part)
        own = state.wiring.ports[part.parts[0][0]][0]
        room = {name: away[show.supplies[name].box or own] for name in left if (show.supplies[name].box or own) in away}
        least = float(state.drawn(part, kinds[0].volts).sum())
        return Load(state.drawn(part, asked), least, runs, away, room)

    def _away(self, part: Stretch) -> dict[str, float]:
        """Metres from the box of a stretch, and from the nearest box that has a place, to its nearest pixel."""
        wiring, show, run = self.state.wiring, self.state.show, part.parts[0][0]
        own = wiring.ports[run][0]
        places = np.concatenate([pixel_places(wiring, name)[first - 1 : last] for name, first, last in part.parts])
        boxes = {box.name: box_place(show, box.name) for box in show.controllers.values() if not box.spare}
        metres = {
            box: float(np.hypot(*(places - at).T).min()) for box, at in boxes.items() if at is not None
        }  # fmt: skip
        drawn = all(positions(show, show.runs[name]) is not None for name, _, _ in part.parts)
        nearest = min(metres, key=lambda box: (metres[box], box != own), default=own)
        if not drawn or own not in metres:
            why = f"{run} is not drawn" if not drawn else f"box {own} has no place (at) in the file"
            self.places[f"{why}: its supply is put into {own}, the box of its port"] = None
            return {own: metres.get(own, cable_to(wiring, run)) if drawn else cable_to(wiring, run)}
        return {box: metres[box] for box in dict.fromkeys((own, nearest))}


def pixels_of(part: Stretch) -> list[tuple[str, int]]:
    """The pixels of a stretch, as run and number, in data order."""
    return [(run, pixel) for run, first, last in part.parts for pixel in range(first, last + 1)]


def _with_supplies(show: Show, choice: Choice) -> tuple[Show, tuple[str, ...]]:
    """The show with the chosen supplies, and their names."""
    supplies, names = dict(show.supplies), []
    for box, kind in choice.supplies:
        taken = {*show.controllers, *show.runs, *show.props, *show.feeds, *supplies}
        stem = f"{box[:40]}-{kind.volts:g}v".replace(".", "_")
        candidates = (f"{stem}{f'-{number}' if number > 1 else ''}" for number in count(1))
        name = next(name for name in candidates if name not in taken)
        supplies[name] = Supply(volts=kind.volts, amps=kind.amps, box=box).called(name)
        names.append(name)
    return show.model_copy(update={"supplies": supplies}), tuple(names)
