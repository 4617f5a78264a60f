"""Networks of copper to hold the voltages against: a worked string, and shows at random."""

from __future__ import annotations

import random

import networkx as nx

from rig.ngspice import Netlist, Tables, lamps


def string(pixels: int = 100, *, taps: tuple[int | str, ...] = (1,), length: float = 0.0, **kind: object) -> Tables:
    """A worked string, 60 mA a pixel and 0.0508 m of AWG 20 between, fed at some pixels, each by a pair of its own."""
    lamp = {
        "colour_order": "RGB",
        "volts": 5.0,
        "channel_ma": 20.0,
        "idle_ma": 0.0,
        "awg": 20,
        "pitch": 0.0508,
        "min_volts": 4.5,
    }
    feeds = {
        f"feed-{number}": {"supply": "supply", "awg": 12, "taps": [{"run": "a", "pixel": tap, "length": length}]}
        for number, tap in enumerate(taps, start=1)
    }
    return {
        "show": {"title": "a string"},
        "pixel": {"lamp": lamp | kind},
        "controller": {"box": {"address": "192.0.2.1", "ports": 4, "port": {"1": ["a"]}}},
        "run": {"a": {"pixel": "lamp", "pixels": pixels}},
        "supply": {"supply": {"volts": lamp["volts"], "amps": 30.0}},
        "feed": feeds,
    }


def network(seed: int) -> tuple[Tables, float, float]:
    """A show, its level and the temperature of its wires."""
    random_ = random.Random(seed)
    volts = random_.choice((5.0, 12.0))
    rgbw = random_.random() < 0.3
    kinds = {f"lamp-{number}": _kind(random_, volts, rgbw) for number in range(random_.randint(1, 3))}
    runs: dict[str, Tables] = {}
    boxes = {}
    for box in range(1, random_.randint(1, 2) + 1):
        chains = {}
        for port in range(1, random_.randint(1, 3) + 1):
            chains[str(port)] = [f"run-{len(runs) + number}" for number in range(random_.randint(1, 3))]
            runs |= {name: _run(random_, random_.choice(sorted(kinds))) for name in chains[str(port)]}
            chains[str(port)].sort(key=lambda name: not runs[name].get("hung", True))  # what does not hang comes last
        boxes[f"box-{box}"] = {"address": f"192.0.2.{box}", "ports": 4, "start_per": "run", "port": chains}
        boxes[f"box-{box}"] |= {"level": random_.choice((1.0, round(random_.uniform(0.2, 0.9), 2)))}
    for _ in range(random_.choice((0, 0, 1, 2))):
        source = random_.choice(sorted(runs))
        tee = {"pixel": random_.choice(sorted(kinds)), "same_data_as": source, "nulls": runs[source].get("nulls", 0)}
        tee |= {"pixels": len(lamps({"run": runs}, source)), "lead": round(random_.uniform(0, 3), 2)}
        runs[f"run-{len(runs)}"] = tee
    given = [volts * random_.choice((1.0, random_.uniform(0.98, 1.04))) for _ in range(random_.randint(1, 4))]
    supplies = {f"supply-{number}": {"volts": round(each, 3), "amps": 30.0} for number, each in enumerate(given)}
    shows = {"title": f"network {seed}", "units": random_.choice(("m", "m", "ft"))}
    tables = {"show": shows, "pixel": kinds, "controller": boxes, "run": runs, "supply": supplies}
    tables["feed"] = _feeds(random_, tables)
    return tables, random_.choice((1.0, random_.random())), random_.choice((20.0, random_.uniform(-25, 60)))


def _wire(random_: random.Random, prefix: str = "", thickest: int = 16) -> Tables:
    if random_.random() < 0.6:
        return {f"{prefix}awg": random_.choice([gauge for gauge in range(10, 25, 2) if gauge >= thickest])}
    return {f"{prefix}mm2": random_.choice((0.5, 0.75, 1.0, 1.5, 2.5))}


def _kind(random_: random.Random, volts: float, rgbw: bool) -> Tables:
    kind = {
        "volts": volts,
        "channel_ma": round(random_.uniform(1, 12), 2),
        "idle_ma": round(random_.random(), 3),
    }
    kind |= {"draw": random_.choice(("current", "power")), "pitch": round(random_.uniform(0.03, 0.12), 3)}
    return kind | _wire(random_) | {"colour_order": random_.choice(("GRBW", "RGBW") if rgbw else ("RGB", "GRB"))}


def _run(random_: random.Random, kind: str) -> Tables:
    run: Tables = {"pixel": kind, "lead": round(random_.choice((0.0, random_.uniform(0.1, 4))), 2)}
    run |= {"nulls": random_.choice((0, 0, 1, 3)), "power_joined": random_.random() < 0.7}
    run |= _wire(random_, "lead_") if random_.random() < 0.3 else {}
    run |= {"hung": False} if random_.random() < 0.1 else {}
    places = random_.randint(1, 60)
    shape = random_.choice(("none", "line", "loop", "points", "grid"))
    if shape == "line":
        run |= {"shape": shape, "path": [[0.0, 0.0], [1.0, 0.0]], "pixels": places}
    elif shape == "loop":
        run |= {"shape": shape, "corners": [[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]], "pixels": places}
    elif shape == "points":
        run |= {"shape": shape, "at": [[float(x), 0.0] for x in range(places)]}
    elif shape == "grid":
        rows = random_.randint(1, 5)
        run |= {"shape": shape, "area": [[0.0, 0.0], [1.0, 1.0]], "rows": rows, "columns": -(-places // rows)}
        run |= {"lines": "rows", "turns": "serpentine", "data_in": random_.choice(("bottom-left", "top-right"))}
    else:
        run["pixels"] = places
    if shape in ("line", "loop", "points"):
        run["data_in"] = random_.choice(("first", "last"))
    if shape == "loop" and places % 2:
        run |= {"data_in": places * 2 // 3 or 1, "backwards": places % 3 == 0}
    drawn = len(lamps({"run": {"a": run}}, "a"))
    if shape != "none" and random_.random() < 0.5:
        run["gaps"] = sorted(random_.sample(range(1, drawn + 1), random_.randint(0, min(drawn - 1, 5))))
    left = len(lamps({"run": {"a": run}}, "a"))
    if left > 2 and random_.random() < 0.3:
        run["power_cuts"] = random_.sample(range(2, left + 1), random_.randint(1, min(2, left - 1)))
    return run


def _feeds(random_: random.Random, tables: Tables) -> Tables:
    feeds: Tables = {}
    for number in range(random_.randint(1, 2 + len(tables["run"]))):
        taps: list[Tables] = []
        for _ in range(random_.choice((1, 1, 2, 3))):
            name = random_.choice(sorted(tables["run"]))
            pixels = len(lamps(tables, name))
            place = {"pixel": random_.choice((1, "first", "last", random_.randint(1, pixels)))}
            place = {"every": random_.randint(1, pixels + 3)} if random_.random() < 0.25 else place
            length = 0.0 if taps and random_.random() < 0.2 else round(random_.uniform(0.2, 8), 2)
            taps.append({"run": name, "length": length} | place)
        if feeds and random_.random() < 0.3:
            source = random_.choice(sorted(feeds))
            origin = {"from": source, "tap": random_.randint(1, len(feeds[source]["taps"]))}
        else:
            origin = {"supply": random_.choice(sorted(tables["supply"]))}
        feeds[f"feed-{number}"] = origin | _wire(random_, thickest=10) | {"taps": taps}
    if random_.random() < 0.3:
        name = random_.choice(sorted(tables["run"]))
        taps = [{"run": name, "pixel": "first", "length": 1.5}, {"run": name, "pixel": "last", "length": 0.2}]
        feeds["ring"] = {"supply": random_.choice(sorted(tables["supply"])), "awg": 14, "taps": taps}
    if random_.random() < 0.5:
        feeds = dict(random_.sample(sorted(feeds.items()), len(feeds)))
    return feeds


def uncut(tables: Tables) -> Tables:
    """The same show with V+ cut nowhere, and no tees."""
    whole = ("power_cuts", "power_joined")
    runs = {name: {key: value for key, value in run.items() if key not in whole} for name, run in tables["run"].items()}
    tees = {name for name, run in runs.items() if "same_data_as" in run}
    feeds = {name: feed for name, feed in tables["feed"].items() if not tees & {tap["run"] for tap in feed["taps"]}}
    for _ in tables["feed"]:
        feeds = {name: feed for name, feed in feeds.items() if feed.get("from", name) in feeds}
    return tables | {"run": {name: runs[name] for name in runs if name not in tees}, "feed": feeds}


def supplies_of_stretches(net: Netlist) -> list[int]:
    """How many supplies feed each piece of joined V+."""
    copper = nx.Graph((first, second) for first, second, _ in net.wires if first[0] == "+")
    parts = nx.connected_components(copper)
    return [sum(("+", name, 0) in part for name in net.supplies) for part in parts]
