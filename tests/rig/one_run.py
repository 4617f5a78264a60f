"""Small shows: one run on one box, or a few runs on a few boxes."""

from pathlib import Path

import tomli_w

from rig.levels_pencil import ORDERS


def string(pixels: int, kind: str = "rgb", **box: object) -> dict:
    """One run on one box."""
    return {
        "show": {"title": "string"}, "pixel": {kind: {"colour_order": ORDERS[kind]}},
        "controller": {"box": {"address": "192.0.2.1", "ports": 1, "port": {"1": ["line"]}} | box},
        "run": {"line": {"pixel": kind, "pixels": pixels}},
    }  # fmt: skip


def show_file(path: Path, runs: dict[str, int | dict], first_universe: int = 1, **boxes: dict) -> Path:
    """A show file: for each run how many RGB pixels it has, or its table; for each box the `chains` of its ports, and
    its other keys.
    """
    controllers = {}
    for number, (name, box) in enumerate(boxes.items(), start=1):
        chains = box.pop("chains", [])
        ports = {str(port): chain for port, chain in enumerate(chains, start=1)}
        controllers[name] = {"address": f"192.0.2.{number}", "ports": len(ports) or 1, "port": ports} | box
    tables = {
        "show": {"title": "Lock", "first_universe": first_universe},
        "pixel": {kind: {"colour_order": order} for kind, order in ORDERS.items()}, "controller": controllers,
        "run": {
            name: {"pixel": "rgb"} | (run if isinstance(run, dict) else {"pixels": run}) for name, run in runs.items()
        },
    }  # fmt: skip
    path.write_text(tomli_w.dumps(tables))
    return path
