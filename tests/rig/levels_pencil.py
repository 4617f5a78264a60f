"""Shows at random for levels and patterns, and a pencil that lays their pixels."""

from hypothesis import strategies as st

from patcher.patch.patch import Patch
from rig.grid_walk import CORNERS

ORDERS = {"rgb": "RGB", "grb": "GRB", "brg": "BRG", "rgbw": "RGBW", "gwrb": "GWRB", "mono": "W", "amber": "ARGB"}

Address = tuple[int, int]


@st.composite
def shows(draw, most: int = 60) -> dict:
    """One to three boxes, each of one to three ports, of one to three runs, some of them grids, some with tees."""
    runs: dict[str, dict] = {}
    controllers = {}
    for box in range(draw(st.integers(1, 3))):
        ports = {}
        for port in range(draw(st.integers(1, 3))):
            chain = []
            for _ in range(draw(st.integers(1, 3))):
                name = f"run-{len(runs)}"
                run = {"pixel": draw(st.sampled_from(list(ORDERS))), "nulls": draw(st.integers(0, 2))}
                if draw(st.booleans()):
                    run |= {
                        "shape": "grid", "area": [[0.0, 0.0], [1.0, 1.0]],
                        "columns": draw(st.integers(2, 9)), "rows": draw(st.integers(2, 9)),
                        "lines": draw(st.sampled_from(("rows", "columns"))),
                        "turns": draw(st.sampled_from(("serpentine", "same-way"))),
                        "data_in": draw(st.sampled_from(CORNERS)),
                    }  # fmt: skip
                else:
                    run["pixels"] = draw(st.integers(1, most))
                runs[name] = run
                chain.append(name)
            ports[str(port + 1)] = chain
        controllers[f"box-{box}"] = {
            "address": f"192.0.2.{box + 1}", "ports": 3, "port": ports,
            "reorders": draw(st.booleans()), "skips_nulls": draw(st.booleans()),
            "protocol": draw(st.sampled_from(("e131", "artnet"))),
            "start_per": draw(st.sampled_from(("controller", "port", "run"))),
        }  # fmt: skip
    for name, run in list(runs.items()):
        if draw(st.integers(0, 4)) == 0:
            runs[f"{name}-tee"] = {
                "pixel": run["pixel"], "nulls": run["nulls"], "pixels": size(run), "same_data_as": name
            }  # fmt: skip
    show = {"title": "random", "placement": draw(st.sampled_from(("fresh", "follow")))}
    kinds = {name: {"colour_order": order} for name, order in ORDERS.items()}
    return {"show": show, "pixel": kinds, "controller": controllers, "run": runs}


def size(run: dict) -> int:
    return run["columns"] * run["rows"] if "columns" in run else run["pixels"]


def box_of(tables: dict, run: str) -> str:
    run = tables["run"][run].get("same_data_as", run)
    return next(
        box for box, table in tables["controller"].items() if any(run in chain for chain in table["port"].values())
    )


def pencil(tables: dict, patch: Patch) -> dict[tuple[str, int], Address]:
    """Where each pixel lies: pixel by pixel from its start, on the next universe where it would not fit before 512."""
    laid: dict[tuple[str, int], Address] = {}
    for start in patch.starts:
        table = tables["controller"][start.controller]
        ports = [start.chain.port] if start.chain.port is not None else sorted(int(port) for port in table["port"])
        universe, channel = start.universe, start.channel
        for port in ports:
            for run in table["port"][str(port)]:
                if start.chain.run not in (None, run):
                    continue
                width = len(ORDERS[tables["run"][run]["pixel"]])
                nulls = 0 if table["skips_nulls"] else tables["run"][run]["nulls"]
                for number in range(1 - nulls, size(tables["run"][run]) + 1):
                    if channel + width - 1 > 512:
                        universe, channel = universe + 1, 1
                    if number >= 1:
                        laid[run, number] = (universe, channel)
                    channel += width
    for name, run in tables["run"].items():
        if "same_data_as" in run:
            for number in range(1, size(run) + 1):
                laid[name, number] = laid[run["same_data_as"], number]
    return laid


def data_order(tables: dict) -> list[tuple[str, int]]:
    """Every pixel, box by box, port by port, run by run."""
    return [
        (run, pixel)
        for table in tables["controller"].values()
        for port in sorted(table["port"], key=int)
        for run in table["port"][port]
        for pixel in range(1, size(tables["run"][run]) + 1)
    ]
