"""Shows of one grid, and a yard that is sent a look."""

from patcher.frames.levels import levels
from patcher.frames.looks import Look
from patcher.patch.patch import Patch
from patcher.wiring import Wiring
from patcher.yard.yard import Yard
from rig.packets import artnet, e131

ORDERS = {"rgb": "RGB", "grb": "GRB", "brg": "BRG", "rgbw": "RGBW", "gwrb": "GWRB", "mono": "W"}


def one_grid(grid: dict, kind: str = "rgb", **box: object) -> dict:
    shape = {"shape": "grid", "area": [[0.0, 0.0], [1.0, 1.0]], "lines": "rows", "turns": "serpentine",
             "data_in": "bottom-left"}  # fmt: skip
    return {
        "show": {"title": "one"},
        "pixel": {kind: {"colour_order": ORDERS[kind]}},
        "controller": {"box": {"address": "192.0.2.1", "ports": 1, "port": {"1": ["wall"]}} | box},
        "run": {"wall": {"pixel": kind, "data_in": "bottom-left"} | shape | grid},
    }


def send(yard: Yard, wiring: Wiring, patch: Patch, look: Look, level: float = 1.0, sequence: int = 1) -> None:
    """Every universe of a look as a packet of the test's own making, to the box that holds it."""
    for box, universes in patch.box_universes.items():
        found = levels(look, wiring, patch, universes, level)
        for row, universe in enumerate(universes):
            make = e131 if wiring.show.controllers[box].protocol == "e131" else artnet
            yard.receive([box], make(universe, found.slots[row].tobytes(), sequence), "1", 0.0)
