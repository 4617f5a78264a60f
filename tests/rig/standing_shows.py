"""Random shows whose boxes may stand in several places, and every way to place them."""

from __future__ import annotations

import copy
import random
from collections.abc import Iterator
from itertools import product

from rig.unhung_shows import Tables, unhung


def standing(seed: int, *, runs: int, boxes: int, places: int, ports: int = 2, width: float = 20.0) -> Tables:
    """A show of which no run hangs. Most boxes share one list of places; some have two of them only, some stand.

    Args:
        seed: the same one gives the same show.
        runs: how many.
        boxes: how many.
        places: how many there are to stand in.
        ports: ports of each box.
        width: metres from the first run to the last.
    """
    chance = random.Random(seed * 7 + 1)
    tables = unhung(seed, runs=runs, boxes=boxes, ports=ports, width=width, pixels=(200, 400))
    every = [[round(chance.uniform(0, width), 2), round(chance.uniform(0, 3), 2)] for _ in range(places)]
    for number, box in enumerate(tables["controller"].values()):
        if number and chance.random() < 0.2:
            continue
        del box["at"]
        box["stands"] = every if chance.random() < 0.6 else chance.sample(every, min(2, places))
    return tables


def every_placement(tables: Tables) -> Iterator[Tables]:
    """The show with its boxes that may stand in several places put into some of them in every way, no two in one, where
    another box stands neither; those without a place are gone. A box that stands somewhere may stay there.
    """
    moves = {name: box["stands"] for name, box in tables["controller"].items() if "stands" in box}
    fixed = {tuple(box["at"]) for name, box in tables["controller"].items() if name not in moves}
    own = {name: [box["at"]] for name, box in tables["controller"].items() if name in moves and "at" in box}
    for chosen in product(*([None, *own.get(name, ()), *stands] for name, stands in moves.items())):
        used = [tuple(place) for place in chosen if place is not None]
        if len(set(used)) < len(used) or fixed & set(used):
            continue
        new = copy.deepcopy(tables)
        for name, place in zip(moves, chosen, strict=True):
            box = new["controller"].pop(name)
            if place is not None:
                new["controller"][name] = {key: value for key, value in box.items() if key != "stands"} | {"at": place}
        if new["controller"]:
            yield new
