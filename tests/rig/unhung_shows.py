"""Random shows whose runs hang nowhere: an invented towpath with runs along it and boxes at it; and a proposal written
into such a show.
"""

from __future__ import annotations

import copy
import math
import random
from collections.abc import Iterable
from typing import Any

import tomli_w

from patcher.propose.proposal import Place
from patcher.show.parser import read
from patcher.wiring import Wiring, wire

Tables = dict[str, Any]

KINDS = {
    "bulb": {"colour_order": "RGB"},
    "dot": {"colour_order": "GRB", "reset_us": 280},
    "foam": {"colour_order": "GRBW"},
    "quick": {"colour_order": "RGB", "bit_rate": 1_000_000, "reset_us": 500},
}
"""Kinds of pixels: another order, one channel more, another bit rate and quiet."""


def unhung(
    seed: int,
    *,
    runs: int,
    boxes: int,
    ports: int,
    width: float = 40.0,
    pixels: tuple[int, int] = (30, 250),
    kinds: tuple[str, ...] = ("bulb",),
    odd_boxes: bool = False,
) -> Tables:
    """A show of runs of every shape, none of them on a port.

    Args:
        seed: the same one gives the same show.
        runs: how many.
        boxes: how many.
        ports: ports of each box.
        width: metres from the first to the last.
        pixels: the fewest and the most of a run.
        kinds: what pixels they have.
        odd_boxes: whether boxes differ in limits and in what has a start address.
    """
    chance = random.Random(seed)
    tables: Tables = {"show": {"title": "towpath"}, "pixel": {kind: KINDS[kind] for kind in kinds}}
    tables["run"] = {f"run-{n}": _run(chance, width, pixels, chance.choice(kinds)) for n in range(1, runs + 1)}
    tables["controller"] = {}
    for number in range(1, boxes + 1):
        box: Tables = {"address": f"192.0.2.{number}", "ports": ports, "port_pixels": 800}
        box["at"] = [round(chance.uniform(0, width), 2), round(chance.uniform(0, 2), 2)]
        if odd_boxes:
            box |= {
                "start_per": chance.choice(("port", "port", "run", "controller")),
                "reorders": chance.random() < 0.6,
            }
            box |= {"port_pixels": chance.randint(300, 900), "universes": chance.randint(3, 12)}
        tables["controller"][f"box-{number}"] = box
    return tables


def _run(chance: random.Random, width: float, pixels: tuple[int, int], kind: str) -> Tables:
    x, y = round(chance.uniform(0, width), 2), round(chance.uniform(0, 6), 2)
    count = chance.randint(*pixels)
    long = min(count * 0.05, 8.0)
    run: Tables = {"pixel": kind}
    match chance.random():
        case each if each < 0.65:
            turn = chance.choice((0.0, 0.0, math.pi / 2, chance.uniform(0, 6)))
            end = [round(x + long * math.cos(turn), 2), round(y + long * math.sin(turn) / 2 + 0.01, 2)]
            run |= {"shape": "line", "path": [[x, y], end], "pixels": count}
        case each if each < 0.8:
            corners = [[x, y], [x, y + 1.2], [x + 1.4, y + 1.2], [x + 1.4, y]]
            run |= {"shape": "loop", "corners": corners, "pixels": max(4, count)}
        case each if each < 0.9:
            run |= {"shape": "grid", "area": [[x, y], [x + 1.5, y + 1.0]], "columns": max(2, count // 6), "rows": 6}
            run |= {"lines": "columns", "turns": "serpentine", "data_in": "bottom-left"}
        case _:
            run |= {"shape": "arch", "feet": [[x, 0.0], [x + 2.6, 0.0]], "height": 1.4, "pixels": count}
    return run


def with_routes(tables: Tables, seed: int, width: float) -> Tables:
    """The show with a towpath, uprights from it to a wall-top that is not whole, and a fence that joins nothing."""
    chance = random.Random(seed)
    uprights = sorted(chance.sample(range(1, int(width)), 3))
    middle = (uprights[0] + uprights[1]) / 2
    routes = {
        "towpath": [[-1.0, 0.0], [width + 2.0, 0.0]],
        "wall-left": [[float(uprights[0]), 0.0], [float(uprights[0]), 4.0], [middle, 4.0]],
        "wall-right": [[float(uprights[2]), 4.0], [float(uprights[1]), 4.0], [float(uprights[1]), 0.0]],
        "fence": [[width * 0.2, 7.5], [width * 0.7, 7.5]],
    }
    return tables | {"route": {name: {"path": path} for name, path in routes.items()}}


def wiring_of(tables: Tables) -> Wiring:
    """The wiring of a show whose runs may hang nowhere."""
    reading = read(tomli_w.dumps(tables))
    assert reading.findings == ()
    assert reading.show is not None
    return wire(reading.show)


def hung(tables: Tables, places: Iterable[Place]) -> Tables:
    """The show with a proposal written into it."""
    new = copy.deepcopy(tables)
    for place in places:
        chain = new["controller"][place.box].setdefault("port", {}).setdefault(str(place.port), [])
        assert len(chain) == place.number - 1
        chain.append(place.run)
        run = new["run"][place.run]
        run |= {"lead": place.lead, "lead_via": place.lead_via}
        if place.data_in is not None:
            run["data_in"] = place.data_in
    return new
