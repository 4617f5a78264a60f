"""Shows at random for drawings, and what an SVG says: its elements, its texts and where they stand."""

from __future__ import annotations

import random
import re
from xml.etree import ElementTree

from rig.ngspice import Tables, lamps

SPACE = "{http://www.w3.org/2000/svg}"
COLOUR_BLIND_SAFE = {
    "#000000", "#E69F00", "#56B4E9", "#009E73", "#F0E442", "#0072B2", "#D55E00", "#CC79A7",
}  # fmt: skip
"""Source: Okabe and Ito, "Color Universal Design", 2002 (from memory)."""


def sketch(seed: int, *, most: int = 12) -> Tables:
    """A show with runs of every shape, boxes with and without a place, feeds and branches, tees, runs not up."""
    chance = random.Random(seed)
    runs: Tables = {}
    props: Tables = {}
    boxes: Tables = {}
    many = chance.randint(1, most)
    for box in range(1, chance.randint(1, 3) + 1):
        ports = {}
        for port in range(1, chance.randint(1, 4) + 1):
            names = []
            for _ in range(chance.randint(1, 3)):
                if len(runs) < many:
                    names.append(_add(chance, runs, props))
            if names:
                runs[names[-1]] |= {"hung": False} if chance.random() < 0.15 else {}
                ports[str(port)] = names
        table = {"address": f"192.0.2.{box}", "ports": 4, "port": ports, "level": 1.0}
        table |= {"start_per": chance.choice(("port", "run", "controller"))}
        table |= {"skips_nulls": chance.random() < 0.5}
        table |= (
            {"at": [round(chance.uniform(-5, 20), 2), round(chance.uniform(-1, 3), 2)]} if chance.random() < 0.7 else {}
        )
        boxes[f"box-{box}"] = table
    if table["start_per"] == "controller":
        for name in [name for box in boxes.values() for chain in box["port"].values() for name in chain]:
            runs[name].pop("hung", None)
    if chance.random() < 0.4:
        source = chance.choice(sorted(runs))
        tee = {"pixel": runs[source]["pixel"], "pixels": count({"run": runs, "prop": props}, source)}
        runs["tee"] = tee | {"same_data_as": source, "lead": 1.0, "nulls": runs[source].get("nulls", 0)}
    kinds = {
        "lamp": {
            "colour_order": "RGB",
            "volts": 12.0,
            "channel_ma": 5.0,
            "idle_ma": 0.5,
            "min_volts": 10.0,
            "awg": 18,
            "pitch": 0.1,
        },
        "bare": {"colour_order": "GRBW", "volts": 12.0},
    }
    tables: Tables = {"show": {"title": chance.choice(("Märchen <b>&</b>", "A show", "灯"))}, "pixel": kinds}
    tables |= {"controller": boxes, "run": runs, "prop": props}
    if chance.random() < 0.8:
        tables |= {"supply": {"s": {"volts": 12.0, "amps": 29.0, "box": "box-1"}, "t": {"volts": 12.0, "amps": 9.0}}}
        tables |= {"feed": _feeds(chance, tables)}
    return tables


def count(tables: Tables, run: str) -> int:
    """How many pixels a run has."""
    table = tables["run"][run]
    if table.get("shape") == "band":
        grid = tables["prop"][table["of"]]
        length = grid["rows"] if grid["lines"] == "columns" else grid["columns"]
        return (table["band"][1] - table["band"][0] + 1) * length - len(table.get("gaps", ()))
    return len(lamps(tables, run))


def _add(chance: random.Random, runs: Tables, props: Tables) -> str:
    name = chance.choice(("a", "run", "a-very-long-name-that-hardly-fits-anywhere-on-a-sheet")) + f"-{len(runs)}"
    run: Tables = {
        "pixel": chance.choice(("lamp", "lamp", "bare")),
        "lead": round(chance.choice((0.0, chance.random() * 5)), 2),
    }
    run |= {
        "lead_via": chance.choice(("cable", "cable", "booster", "differential")),
        "nulls": chance.choice((0, 0, 1, 7)),
    }
    run |= {"power_joined": chance.random() < 0.8}
    x, y = round(chance.uniform(0, 15), 2), round(chance.uniform(0, 4), 2)
    pixels = chance.choice((1, 2, chance.randint(3, 60), chance.randint(100, 700)))
    shape = chance.choice(("none", "line", "loop", "arch", "points", "grid", "band"))
    corner = chance.choice(("bottom-left", "bottom-right", "top-left", "top-right"))
    grid = {
        "area": [[x, y], [x + 2.5, y + 1.5]], "columns": chance.randint(1, 30), "rows": chance.randint(1, 30),
        "lines": chance.choice(("rows", "columns")), "turns": chance.choice(("serpentine", "same-way")),
        "data_in": corner,
    }  # fmt: skip
    if shape == "line":
        run |= {"shape": shape, "path": [[x, y], [x + 3, y + 1], [x + 4, y]], "pixels": pixels}
    elif shape == "loop":
        run |= {"shape": shape, "corners": [[x, y], [x + 1, y], [x + 1, y + 1]], "pixels": pixels}
    elif shape == "arch":
        passes = chance.choice((1, 2, 3))
        run |= {
            "shape": shape,
            "feet": [[x, y], [x + 2, y]],
            "height": 1.5,
            "passes": passes,
            "pixels": pixels * passes,
        }
    elif shape == "points":
        at = [[round(chance.uniform(0, 15), 2), round(chance.uniform(0, 4), 2)] for _ in range(min(pixels, 80))]
        run |= {"shape": shape, "at": at}
    elif shape == "grid":
        run |= {"shape": shape} | grid
    elif shape == "band":
        props[f"grid-{len(runs)}"] = grid
        lines = grid["columns"] if grid["lines"] == "columns" else grid["rows"]
        first = chance.randint(1, lines)
        run |= {
            "shape": shape,
            "of": f"grid-{len(runs)}",
            "band": [first, chance.randint(first, lines)],
            "data_in": corner,
        }
    else:
        run |= {"pixels": pixels}
    if shape in ("line", "loop", "arch", "points"):
        run["data_in"] = chance.choice(("first", "last"))
    runs[name] = run
    lamp_count = count({"run": runs, "prop": props}, name)
    if shape != "none" and lamp_count > 2 and chance.random() < 0.4:
        run["gaps"] = sorted(chance.sample(range(1, lamp_count + 1), chance.randint(1, min(3, lamp_count - 1))))
        lamp_count -= len(run["gaps"])
    if lamp_count > 2 and chance.random() < 0.3:
        run["power_cuts"] = [chance.randint(2, lamp_count)]
    return name


def _feeds(chance: random.Random, tables: Tables) -> Tables:
    feeds: Tables = {}
    for number in range(chance.randint(1, 5)):
        taps = []
        for _ in range(chance.randint(1, 3)):
            run = chance.choice(sorted(tables["run"]))
            pixels = count(tables, run)
            place = chance.choice(
                ({"pixel": chance.randint(1, pixels)}, {"pixel": "last"}, {"every": chance.randint(20, 200)})
            )
            taps.append({"run": run, "length": round(chance.choice((0.0, chance.random() * 8)), 2)} | place)
        origin: Tables = {"supply": chance.choice("st")}
        if feeds and chance.random() < 0.4:
            source = chance.choice(sorted(feeds))
            origin = {"from": source, "tap": chance.randint(1, len(feeds[source]["taps"]))}
        fuse = {"fuse": 10} if chance.random() < 0.7 else {}
        feeds[f"wire-{number}"] = origin | {"awg": 14, "taps": taps} | fuse
    return feeds


class Drawn:
    """An SVG document as it is read."""

    def __init__(self, document: str) -> None:
        self.root = ElementTree.fromstring(document)
        self.wide, self.high = (float(each) for each in self.root.get("viewBox").split()[2:])

    def data(self, *keys: str) -> list[tuple[str, ...]]:
        """The values of some `data-` attributes of every element that has all of them."""
        names = [f"data-{key}" for key in keys]
        return [
            tuple(element.get(name) for name in names)
            for element in self.root.iter()
            if all(element.get(name) is not None for name in names)
        ]

    def texts(self) -> list[ElementTree.Element]:
        """Every element that is text."""
        return list(self.root.iter(f"{SPACE}text"))

    def said(self) -> str:
        """All that is written, a line a text."""
        return "\n".join(text.text or "" for text in self.texts())

    def path(self, kind: str) -> list[ElementTree.Element]:
        """Every path of a class."""
        return [each for each in self.root.iter(f"{SPACE}path") if each.get("class") == kind]


def points(d: str) -> list[list[tuple[float, float]]]:
    """The pieces of a path of straight lines with absolute coordinates."""
    found = []
    for piece in re.findall(r"M([^M]*)", d):
        pairs = re.findall(r"(-?[\d.e-]+),(-?[\d.e-]+)", piece)
        found.append([(float(x), float(y)) for x, y in pairs])
    return found
