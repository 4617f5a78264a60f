"""One run on one box."""

from rig.levels_pencil import ORDERS


def string(pixels: int, kind: str = "rgb", **box: object) -> dict:
    """One run on one box."""
    return {
        "show": {"title": "string"}, "pixel": {kind: {"colour_order": ORDERS[kind]}},
        "controller": {"box": {"address": "192.0.2.1", "ports": 1, "port": {"1": ["line"]}} | box},
        "run": {"line": {"pixel": kind, "pixels": pixels}},
    }  # fmt: skip
