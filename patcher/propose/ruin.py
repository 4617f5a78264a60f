"""Local search: parts of a plan that lie near each other are taken off and hung again where they cost the least.

Source: Christiaens, Vanden Berghe (2020), Slack induction by string removals for vehicle routing problems,
Transportation Science 54. Strings of runs are taken off some ports near one place; each is hung again where it costs
the least more, and now and then a good port is passed over. A plan that costs more is taken up with a chance that
falls, as in simulated annealing. After each step every changed chain enters its runs in the cheapest ways.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from math import log
from random import Random
from time import perf_counter

import numpy as np

from patcher.chains.chains import Route
from patcher.chains.instance import Instance
from patcher.propose.slots import NEVER, Chain, Hanging, Slots, near_runs, oriented, slots

_REMOVED = 10
"""Runs that are taken off at once, on average."""
_W = 2.0
_LONGEST = 10
"""The most runs that are taken off one port."""
_SPLIT = 0.5
"""Chance that a string keeps a run in its middle."""
_PASSED_OVER = 0.01
"""Chance that a port is passed over."""
_HOT, _COLD = 1.0, 0.01
"""The temperature at first and at last, in parts of what one run costs on average."""
_BOX, _INSTEAD = 0.05, 0.7
"""Chance that a box is given up, where few boxes are wanted; and that another one is then taken."""
_PLACE = 0.03
"""Chance that a box is put in another place."""
_NEAR_BEST = 0.03
"""The chains of plans within this part of the best are kept."""


@dataclass(frozen=True, eq=False)
class Searched:
    """What a local search gives.

    Attributes:
        routes: the best plan.
        left_over: how many runs it leaves over.
        chains: the chains of all good plans that were passed, the plan's own among them.
    """

    routes: tuple[Route, ...]
    left_over: int
    chains: tuple[Route, ...]


def local_search(
    given: Instance,
    start: Sequence[Route],
    *,
    steps: int,
    deadline: float,
    without: Collection[int] = (),
    fewest_boxes: bool = False,
    seed: int = 1,
) -> Searched:
    """A good plan near a given one, and the chains of good plans.

    Args:
        given: the instance.
        start: the plan to begin with, on the boxes that may be used.
        steps: how many steps to take.
        deadline: the time of `perf_counter` at which it stops.
        without: boxes that nothing may be hung on.
        fewest_boxes: whether a plan with fewer boxes is better than any with more.
        seed: the same one gives the same plan, where time does not end it.
    """
    plan = Hanging(slots(given, without), start)
    chance = Random(seed)  # noqa: S311  (no secret)
    return _Search(plan, chance, fewest_boxes=fewest_boxes).run(steps, deadline)


class _Search:
    """One search, with the plan that it changes."""

    def __init__(self, plan: Hanging, chance: Random, *, fewest_boxes: bool) -> None:
        self.plan = plan
        self.fewest_boxes = fewest_boxes
        boxes = enumerate(plan.of.given.boxes)
        self.idle = [box for box, each in boxes if not each.in_use and not plan.of.barred[plan.of.box == box].all()]
        self.movable = [box for box in self.idle if plan.of.given.boxes[box].place is not None]
        self.chance = chance
        self.near = near_runs(plan.of)
        self.far = _far(plan.of)
        self.pool: dict[tuple[int, frozenset[int]], tuple[int, Route]] = {}

    def run(self, steps: int, deadline: float) -> Searched:
        plan = self.plan
        begun, here = perf_counter(), self._value()
        best, routes = here, plan.routes()
        self._keep(range(len(plan.chains)))
        hot = _HOT * max(plan.cost / max(1, len(plan.of.pixels)), 1.0)
        part = 0.0
        for step in range(steps):
            if step % 32 == 1:  # not before the first step, which hangs what a first plan leaves over
                now = perf_counter()
                if now > deadline:
                    break
                part = max(step / steps, (now - begun) / max(1e-9, deadline - begun))
            heat = hot * (_COLD / _HOT) ** part
            saved = self._step()
            value = self._value()
            if value[:2] > here[:2] or (
                value[:2] == here[:2] and value[2] >= here[2] - heat * log(1 - self.chance.random())
            ):
                for slot in saved:
                    plan.hang(slot, ())
                for slot, chain in saved.items():
                    plan.hang(slot, chain)
                continue
            here = value
            if value < best:
                best, routes = value, plan.routes()
            if value[:2] == best[:2] and value[2] <= best[2] * (1 + _NEAR_BEST):
                self._keep(saved)
        return Searched(routes, best[0], tuple(route for _, route in self.pool.values()))

    def _value(self) -> tuple[int, int, int]:
        return len(self.plan.absent), self.plan.boxes if self.fewest_boxes else 0, self.plan.cost

    def _keep(self, some: Collection[int] | range) -> None:
        plan = self.plan
        for slot in some:
            if chain := plan.chains[slot]:
                key = (int(plan.of.outlet[slot]), frozenset(plan.of.run[node] for node in chain))
                if key not in self.pool or self.pool[key][0] > plan.costs[slot]:
                    self.pool[key] = (plan.costs[slot], plan.route(slot))

    def _step(self) -> dict[int, Chain]:
        """Change the plan; the chains that were changed, as they had been."""
        plan, of = self.plan, self.plan.of
        saved = self._restood()
        saved = self._ruin() | saved
        may = self._boxes(saved) if self.fewest_boxes else None
        for run in self._order(sorted(plan.absent)):
            spot = self._spot(run, may)
            if spot is None:
                continue
            slot, at, node = spot
            chain = plan.chains[slot]
            saved.setdefault(slot, chain)
            plan.hang(slot, (*chain[:at], node, *chain[at:]))
        for slot in saved:
            chain = plan.chains[slot]
            if len(chain) > 1:
                better = oriented(of, int(of.outlet[slot]), [of.run[node] for node in chain])
                if better != chain:
                    plan.hang(slot, better)
        return saved

    def _restood(self) -> dict[int, Chain]:
        """Now and then, put a box with all its chains in another place; the chains as they had been."""
        plan, of, chance = self.plan, self.plan.of, self.chance
        used = [box for box in self.movable if plan.ports[box]]
        if not used or chance.random() >= _PLACE:
            return {}
        box = chance.choice(used)
        names, slots = of.given.boxes[box].names, np.flatnonzero(of.box == box).tolist()
        saved = {slot: chain for slot in slots if (chain := plan.chains[slot])}
        for slot in saved:
            plan.hang(slot, ())
        closed = plan.closed()
        alike = [b for b in self.movable if of.given.boxes[b].names == names and not plan.ports[b] and not closed[b]]
        to = np.flatnonzero(of.box == chance.choice(alike)).tolist()
        to = to if len(to) == len(slots) else slots  # a region may have some ports only
        for slot, other in zip(slots, to, strict=True):
            if slot in saved:
                runs = [of.run[node] for node in saved[slot]]
                plan.hang(other, oriented(of, int(of.outlet[other]), runs))
        return dict.fromkeys(to, ()) | saved

    def _ruin(self) -> dict[int, Chain]:
        """Take strings of runs off ports near one run; the chains as they had been."""
        plan, chance = self.plan, self.chance
        used = sum(map(bool, plan.chains))
        mean = (len(plan.of.pixels) - len(plan.absent)) / max(1, used)
        longest = min(_LONGEST, _W * mean)
        strings = int(chance.uniform(1, max(1.0, 4 * _REMOVED / (1 + longest) - 1) + 1))
        saved: dict[int, Chain] = {}
        for run in self.near[chance.randrange(len(self.near))]:
            if len(saved) >= strings:
                break
            slot = plan.at[run]
            if run in plan.absent or slot in saved:
                continue
            chain = plan.chains[slot]
            saved[slot] = chain
            length = int(chance.uniform(1, min(len(chain), longest) + 1))
            at = next(number for number, node in enumerate(chain) if plan.of.run[node] == run)
            plan.hang(slot, self._without_string(chain, at, length))
        return saved

    def _without_string(self, chain: Chain, at: int, length: int) -> Chain:
        chance, keeps = self.chance, 0
        if length > 1 and length < len(chain) and chance.random() < _SPLIT:
            keeps = 1
            while length + keeps < len(chain) and chance.random() > 0.01 and chance.random() < 0.5:
                keeps += 1
        whole = length + keeps
        begin = chance.randint(max(0, at - whole + 1), min(at, len(chain) - whole))
        middle = chain[begin : begin + whole]
        if not keeps:
            return chain[:begin] + chain[begin + whole :]
        stays = chance.randint(1, length - 1)
        return chain[:begin] + middle[stays : stays + keeps] + chain[begin + whole :]

    def _order(self, runs: list[int]) -> list[int]:
        """The order in which runs are hung again."""
        self.chance.shuffle(runs)
        match self.chance.choices((0, 1, 2, 3), (4, 4, 2, 1))[0]:
            case 1:
                runs.sort(key=lambda run: -self.plan.of.pixels[run])
            case 2:
                runs.sort(key=lambda run: -self.far[run])
            case 3:
                runs.sort(key=lambda run: self.far[run])
        return runs

    def _boxes(self, saved: dict[int, Chain]) -> set[int]:
        """The boxes that are to be used: now and then one less, or another one instead of it, whose runs are taken off
        all its ports.
        """
        plan, chance = self.plan, self.chance
        may = {int(plan.of.box[slot]) for slot, chain in enumerate(plan.chains) if chain or slot in saved}
        used = [box for box in self.idle if box in may]
        if used and chance.random() < _BOX:
            closed = chance.choice(used)
            may.discard(closed)
            for slot in np.flatnonzero(plan.of.box == closed).tolist():
                if plan.chains[slot]:
                    saved.setdefault(slot, plan.chains[slot])
                    plan.hang(slot, ())
            if (others := [box for box in self.idle if box not in used]) and chance.random() < _INSTEAD:
                may.add(chance.choice(others))
        return may

    def _spot(self, run: int, may: set[int] | None) -> tuple[int, int, int] | None:
        """The slot, the place and the node with which a run adds the least; None where it fits nowhere. Boxes that may
        not be used are used where it fits on no other.
        """
        plan, of = self.plan, self.plan.of
        fits = plan.fits(run)
        if may is not None and len(among := fits[[int(box) in may for box in of.box[fits]]]):
            fits = among
        if len(fits) > 1:
            chance = self.chance
            fits = fits[[chance.random() >= _PASSED_OVER for _ in range(len(fits))]]
        if not len(fits):
            return None
        begin, end = of.nodes[run]
        added = of.into[begin:end, plan.before[fits]]
        added += of.price[begin:end, plan.after[fits]]
        added -= plan.base[fits]
        best = int(added.argmin())
        node, slot, at = np.unravel_index(best, added.shape)
        if added[node, slot, at] >= NEVER // 2:
            return None
        return int(fits[slot]), int(at), begin + int(node)


def _far(of: Slots) -> list[int]:
    """The cheapest lead from any port to each run."""
    firsts = [begin for begin, _ in of.nodes]
    outlets = np.unique(of.outlet[~of.barred])
    least = of.price[of.source + outlets, : of.source].min(axis=0)
    found: list[int] = np.minimum.reduceat(least, firsts).tolist()
    return found
