"""A small show for tests of the film: few pixels, so that every wiring of it can be tried."""

from functools import cache

from rig.film_lights import CHIP
from rig.made_up_film import Stage, stage
from rig.shipped import laid


@cache
def hut() -> Stage:
    """A hut with a small panel, a rail, a hatch and two sills: 90 pixels."""
    rail = {"shape": "line", "path": [[0.6, 0.0], [0.6, 0.75]], "pixels": 16}
    sills = [{"shape": "line", "path": [[0.8, y], [1.5, y + 0.1]], "pixels": 15} for y in (0.05, 0.65)]
    corners = [[0.05, 0.5], [0.05, 0.75], [0.35, 0.75], [0.35, 0.5]]
    runs = {
        "panel": {"shape": "grid", "area": [[0, 0], [0.35, 0.15]], "columns": 8, "rows": 4, "lines": "rows",
                  "turns": "serpentine", "data_in": "bottom-left"},
        "rail": rail, "hatch": {"shape": "loop", "corners": corners, "pixels": 22}, "sill": sills[0], "ledge": sills[1],
    }  # fmt: skip
    tables = {
        "show": {"title": "a hut"},
        "pixel": {"dot": CHIP | {"colour_order": "GRB"}},
        "controller": {
            "box": {"address": "192.0.2.10", "ports": 4, "start_per": "port",
                    "port": {"1": ["panel"], "2": ["rail", "hatch"], "3": ["sill"], "4": ["ledge"]}},
        },
        "run": {name: {"pixel": "dot", "lead": 0.5, **own} for name, own in runs.items()},
    }  # fmt: skip
    return stage(*laid(tables))


@cache
def panel() -> Stage:
    """A show that is one panel and nothing else: 70 pixels."""
    run = {"pixel": "dot", "lead": 0.5, "shape": "grid", "area": [[0, 0], [0.45, 0.3]], "columns": 10, "rows": 7,
           "lines": "rows", "turns": "serpentine", "data_in": "bottom-left"}  # fmt: skip
    tables = {
        "show": {"title": "a panel"},
        "pixel": {"dot": CHIP | {"colour_order": "GRB"}},
        "controller": {"box": {"address": "192.0.2.10", "ports": 1, "port": {"1": ["panel"]}}},
        "run": {"panel": run},
    }
    return stage(*laid(tables))
