"""Random shows for the round: every shape, colour order and kind of start, tees and props; a number makes one again."""

from __future__ import annotations

import random

ORDERS = ("RGB", "RGB", "GRB", "GRBW", "RGBW", "BRGA", "W", "R", "GW", "RG")


def any_show(seed: int, most: int = 60) -> dict:
    """The tables of a show of one to three boxes, whose runs have up to `most` pixels."""
    rng = random.Random(seed)
    types = {f"kind-{order}": {"colour_order": order} for order in dict.fromkeys(ORDERS)}
    runs: dict[str, dict] = {}
    boxes: dict[str, dict] = {}
    for box in range(rng.randint(1, 3)):
        ports: dict[str, list[str]] = {}
        for port in range(1, rng.randint(1, 4) + 1):
            ports[str(port)] = []
            for _ in range(rng.randint(1, 3)):
                name = f"run{len(runs)}"
                run = _run(rng, 3.0 * len(runs), most) | {
                    "pixel": f"kind-{rng.choice(ORDERS)}", "nulls": rng.choice((0, 0, 0, 1, 2)),
                }  # fmt: skip
                ports[str(port)].append(name)
                runs[name] = run
                if rng.random() < 0.1 and "pixels" in run:
                    runs[f"run{len(runs)}"] = {**run, "same_data_as": name}
        boxes[f"box{box}"] = {
            "address": f"192.0.2.{box + 1}", "ports": 6, "port": ports, "reorders": rng.random() < 0.7,
            "start_per": rng.choice(("controller", "port", "port", "run")), "skips_nulls": rng.random() < 0.7,
        }  # fmt: skip
    free, props = [name for name in runs if "same_data_as" not in runs[name]], {}
    for number in range(rng.randint(0, 2)):
        members, free = free[: rng.randint(1, 3)], free[3:]
        if members:
            props[f"prop{number}"] = {"runs": members}
    return {"show": {"title": "Any"}, "pixel": types, "controller": boxes, "run": runs, "prop": props}


def _run(rng: random.Random, x: float, most: int) -> dict:
    count = {"pixels": rng.choice((rng.randint(1, 5), rng.randint(1, most), rng.randint(1, most)))}
    match rng.choice(("none", "line", "line", "loop", "ring", "arch", "grid", "points")):
        case "line":
            return count | {"shape": "line", "path": [[x, 0.0], [x + rng.choice((0.0, 2.0)), 2.0]],
                            "data_in": rng.choice(("first", "last"))}  # fmt: skip
        case "loop":
            corners = [[x, 0.0], [x, 1.0], [x + 0.8, 1.0], [x + 0.8, 0.0]]
            return count | {"shape": "loop", "corners": corners, "data_in": rng.choice(("first", "last"))}
        case "ring":
            corners = [[x + 1, 0.5], [x + 0.75, 0.93], [x + 0.25, 0.93], [x, 0.5], [x + 0.25, 0.07], [x + 0.75, 0.07]]
            return count | {"shape": "loop", "corners": corners[:: rng.choice((1, -1))]}
        case "arch":
            passes = rng.randint(1, 2)
            return {"shape": "arch", "feet": [[x, 0.0], [x + 2.0, 0.0]], "height": 1.5, "passes": passes,
                    "pixels": count["pixels"] * passes}  # fmt: skip
        case "grid":
            return {"shape": "grid", "area": [[x, 0.0], [x + 1.7, 2.0]], "lines": rng.choice(("rows", "columns")),
                    "columns": rng.randint(1, 8), "rows": rng.randint(1, 7),
                    "turns": rng.choice(("serpentine", "same-way")),
                    "data_in": rng.choice(("bottom-left", "top-right", "top-left"))}  # fmt: skip
        case "points":
            places = [[round(x + rng.random() * 2, 3), round(rng.random() * 2, 3)] for _ in range(count["pixels"])]
            return {"shape": "points", "at": places}
    return count
