"""Displays to be filmed: layouts of seven kinds, wired with faults or not. Invented; no light is from the reader's own
model: what each pixel shows is worked out here, from what its box would put on the wire.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

KINDS = ("panel", "net", "outlines", "chained loops", "arches", "trees", "all")
PIXEL = {"volts": 12.0, "channel_ma": 9.0, "idle_ma": 0.8, "min_volts": 9.0, "awg": 18}


@dataclass(frozen=True)
class Layout:
    """A show's tables, as a show file has them."""

    kind: str
    show: dict


def layout(kind: str, rng: np.random.Generator, large: bool = False) -> Layout:
    """A show of a kind; of about 200 to 900 pixels, or up to 5 000."""
    yard = _Yard(rng, large)
    for part in KINDS[:-1] if kind == "all" else [kind]:
        yard.corner = (yard.width + 0.4 if yard.width else 0.0, float(rng.uniform(0, 0.5)))
        _MAKERS[part](yard, 0.5 if kind == "all" else 1.0)
    return Layout(kind, yard.tables())


class _Yard:
    def __init__(self, rng: np.random.Generator, large: bool) -> None:
        self.rng, self.large = rng, large
        self.runs: dict[str, dict] = {}
        self.props: dict[str, dict] = {}
        self.ports: list[list[str]] = []
        self.width = 0.0
        self.corner = (0.0, 0.0)

    def run(self, table: dict, *, new_port: bool = True, right: float = 0.0) -> str:
        name = f"run-{len(self.runs) + 1}"
        self.runs[name] = {"pixel": "dot", "lead": 0.5, **table}
        if new_port or not self.ports:
            self.ports.append([])
        self.ports[-1].append(name)
        self.width = max(self.width, right)
        return name

    def tables(self) -> dict:
        order = str(self.rng.choice(["RGB", "GRB", "BGR"]))
        pixel = PIXEL | {"colour_order": order, "pitch": 0.05}
        boxes: dict[str, dict] = {}
        for begin in range(0, len(self.ports), 4):
            chains = {str(n + 1): chain for n, chain in enumerate(self.ports[begin : begin + 4])}
            own = begin // 4
            boxes[f"box-{own + 1}"] = {
                "address": f"192.0.2.{own + 10}", "ports": 4, "port": chains,
                "start_per": str(self.rng.choice(["port", "port", "controller", "run"])),
                "reorders": bool(self.rng.random() < 0.7),
            }  # fmt: skip
        show = {"title": "a film", "placement": str(self.rng.choice(["fresh", "follow"]))}
        return {"show": show, "pixel": {"dot": pixel}, "controller": boxes, "run": self.runs} | (
            {"prop": self.props} if self.props else {}
        )


def _grid(pitch: float) -> Callable[[_Yard, float], None]:
    def make(yard: _Yard, part: float) -> None:
        rng = yard.rng
        most = 70 if yard.large else 32
        columns, rows = (max(6, int(rng.integers(most // 2, most) * part**0.5)) for _ in range(2))
        x, y = yard.corner
        at = [[x, y], [x + (columns - 1) * pitch, y + (rows - 1) * pitch]]
        lines, turns = str(rng.choice(["rows", "columns"])), str(rng.choice(["serpentine", "serpentine", "same-way"]))
        data_in = str(rng.choice(["bottom-left", "bottom-right", "top-left", "top-right"]))
        if rng.random() < 0.5:
            yard.run(
                {"shape": "grid", "area": at, "columns": columns, "rows": rows, "lines": lines, "turns": turns,
                 "data_in": data_in}, right=at[1][0],
            )  # fmt: skip
            return
        prop = f"panel-{len(yard.props) + 1}"
        yard.props[prop] = {
            "area": at,
            "columns": columns,
            "rows": rows,
            "lines": lines,
            "turns": turns,
            "data_in": data_in,
        }
        count = rows if lines == "rows" else columns
        cut = int(rng.integers(2, count - 2))
        for number, band in enumerate(([1, cut], [cut + 1, count])):
            corner = str(rng.choice(["bottom-left", "bottom-right", "top-left", "top-right"]))
            yard.run(
                {"shape": "band", "of": prop, "band": band, "data_in": corner}, new_port=not number, right=at[1][0]
            )

    return make


def _outlines(yard: _Yard, part: float) -> None:
    rng, (x, y) = yard.rng, yard.corner
    pitch = float(rng.choice([0.05, 0.075]))
    wide, high = float(rng.uniform(3, 6) * part), float(rng.uniform(2, 3) * part**0.5)
    gable = [[x, y + high], [x + wide / 2, y + high * 1.5], [x + wide, y + high]]
    long = 2 * float(np.hypot(wide / 2, high / 2))
    yard.run({"shape": "line", "path": gable, "pixels": int(long / pitch)}, right=x + wide)
    eaves = [[x + wide, y + high - 0.12], [x, y + high - 0.12]]
    yard.run({"shape": "line", "path": eaves, "pixels": int(wide / pitch)}, new_port=bool(rng.random() < 0.4))
    yard.run({"shape": "line", "path": [[x, y], [x, y + high - 0.3]], "pixels": int((high - 0.3) / pitch)})
    yard.run({"shape": "line", "path": [[x + wide, y], [x + wide, y + high - 0.3]], "pixels": int((high - 0.3) / pitch),
              "data_in": str(rng.choice(["first", "last"]))}, new_port=bool(rng.random() < 0.5))  # fmt: skip
    _windows(yard, x + 0.4, y + 0.5, max(1, int(2 * part)), pitch)


def _windows(yard: _Yard, x: float, y: float, count: int, pitch: float) -> None:
    for number in range(count):
        left, low = x + number * 1.4, y
        corners = [[left, low], [left, low + 1.0], [left + 0.9, low + 1.0], [left + 0.9, low]]
        yard.run(
            {"shape": "loop", "corners": corners, "pixels": int(3.8 / pitch)}, new_port=number == 0, right=left + 0.9
        )


def _loops(yard: _Yard, part: float) -> None:
    rng, (x, y) = yard.rng, yard.corner
    pitch = float(rng.choice([0.03, 0.05]))
    for number in range(int(rng.integers(3, 6) * part) + 1):
        middle, radius = (x + 0.6 + 1.25 * number, y + 0.9 + float(rng.uniform(0, 0.5))), float(rng.uniform(0.35, 0.5))
        turn = float(rng.uniform(0, 1))
        corners = [
            [middle[0] + radius * np.cos(a), middle[1] + radius * np.sin(a)]
            for a in 2 * np.pi * (turn + np.arange(0, -1, -1 / int(rng.choice([3, 4, 5, 6]))))
        ]
        corners = [[round(float(v), 4) for v in c] for c in corners]
        length = sum(
            float(np.hypot(*(np.array(a) - b))) for a, b in zip(corners, [*corners[1:], corners[0]], strict=True)
        )
        yard.run({"shape": "loop", "corners": corners, "pixels": int(length / pitch)}, new_port=number % 3 == 0,
                 right=middle[0] + radius)  # fmt: skip


def _arches(yard: _Yard, part: float) -> None:
    rng, (x, y) = yard.rng, yard.corner
    for number in range(int(rng.integers(2, 5) * part) + 1):
        left, passes = x + 1.7 * number, int(rng.choice([1, 2]))
        yard.run(
            {"shape": "arch", "feet": [[left, y], [left + 1.5, y]], "height": float(rng.uniform(0.7, 1.2)),
             "passes": passes, "pixels": passes * int(rng.integers(35, 60))},
            new_port=number % 2 == 0, right=left + 1.5,
        )  # fmt: skip


def _trees(yard: _Yard, part: float) -> None:
    rng, (x, y) = yard.rng, yard.corner
    for number in range(int(rng.integers(1, 3) * part) + 1):
        foot, places = x + 0.9 + 1.8 * number, []
        for branch in range(int(rng.integers(5, 9))):
            angle, long = float(rng.uniform(-0.9, 0.9)), float(rng.uniform(0.7, 1.4))
            steps = np.arange(0.12, long, 0.05)
            bend = float(rng.uniform(-0.4, 0.4))
            way = angle + bend * steps
            out = np.column_stack([foot + np.sin(way) * steps, y + 0.5 + np.cos(way) * steps])
            places += (out if branch % 2 == 0 else out[::-1] + np.array([0.02, 0.0])).round(4).tolist()
        yard.run({"shape": "points", "at": places, "pixels": len(places)}, right=foot + 0.9)
        yard.runs[f"run-{len(yard.runs)}"].pop("pixels")


_MAKERS: dict[str, Callable[[_Yard, float], None]] = {
    "panel": _grid(0.025), "net": _grid(0.05), "outlines": _outlines, "chained loops": _loops, "arches": _arches,
    "trees": _trees,
}  # fmt: skip
