"""Levels and patterns, against slow definitions written from the design."""

import numpy as np
import pytest
from conftest import wired
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from patcher.address.patch import Patch, pieces
from patcher.address.placement import allocate
from patcher.address.thing import find, whole_show
from patcher.stream import patterns
from patcher.stream.levels import levels, pixel_places
from patcher.stream.looks import COLOURS, Colour, Glow, Look

ORDERS = {"rgb": "RGB", "grb": "GRB", "brg": "BRG", "rgbw": "RGBW", "gwrb": "GWRB", "mono": "W", "amber": "ARGB"}
CORNERS = ("bottom-left", "bottom-right", "top-left", "top-right")
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


def on_wire(tables: dict, run: str) -> str:
    """The chip's own order, unless its box reorders: then red, green, blue and white first."""
    order = ORDERS[tables["run"][run]["pixel"]]
    if not tables["controller"][box_of(tables, run)]["reorders"]:
        return order
    return "".join(letter for letter in "RGBW" if letter in order) + "".join(set(order) - set("RGBW"))


def walk(run: dict) -> list[tuple[int, int]]:
    """Column and row of each lamp of a grid in wiring order, from 1 at the bottom left."""
    across = list(range(1, run["columns"] + 1))
    up = list(range(1, run["rows"] + 1))
    if "right" in run["data_in"]:
        across.reverse()
    if "top" in run["data_in"]:
        up.reverse()
    passed = []
    outer, inner = (up, across) if run["lines"] == "rows" else (across, up)
    for number, line in enumerate(outer):
        back = run["turns"] == "serpentine" and number % 2 == 1
        for place in reversed(inner) if back else inner:
            passed.append((place, line) if run["lines"] == "rows" else (line, place))
    return passed


def data_order(tables: dict) -> list[tuple[str, int]]:
    """Every pixel, box by box, port by port, run by run."""
    return [
        (run, pixel)
        for table in tables["controller"].values()
        for port in sorted(table["port"], key=int)
        for run in table["port"][port]
        for pixel in range(1, size(tables["run"][run]) + 1)
    ]


# --- levels -------------------------------------------------------------------------------------------------------

colours = st.one_of(
    st.sampled_from(list(COLOURS.values())),
    st.dictionaries(st.sampled_from("RGBWA"), st.floats(0, 1)).map(lambda parts: Colour("mixed", parts)),
)


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(shows(), st.data())
def test_levels_are_those_of_a_slow_definition(tables: dict, data: st.DataObject) -> None:
    # Source: DESIGN.md, The patch: how a chain is laid; reorders: "RGB(W) on the wire", else as its chip takes them.
    wiring = wired(tables)
    patch = allocate(wiring).patch
    where = pencil(tables, patch)
    level = data.draw(st.floats(0, 1))
    glows, wanted = [], {}
    names = data.draw(st.lists(st.sampled_from(list(tables["run"])), max_size=4))
    for name in names:
        pixels = data.draw(st.lists(st.integers(1, size(tables["run"][name])), unique=True, max_size=20))
        colour = data.draw(colours)
        glows.append(Glow(name, np.array(pixels, dtype=np.int64) - 1, colour))
        letters = on_wire(tables, name)
        white_of_three = colour.name == "white" and "W" not in letters
        for pixel in pixels:
            universe, channel = where[name, pixel]
            for offset, letter in enumerate(letters):
                part = float(letter in "RGB") if white_of_three else colour.parts.get(letter, 0.0)
                wanted[universe, channel + offset] = part * level * 255
    every = sorted({universe for universe, _ in where.values()})
    some = data.draw(st.lists(st.sampled_from([*every, every[-1] + 1]), min_size=1, unique=True).map(sorted))
    found = levels(Look(tuple(glows), ()), wiring, patch, some, level)
    assert found.universes == tuple(some)
    assert found.slots.shape == (len(some), 512)
    for row, universe in enumerate(some):
        exact = [wanted.get((universe, channel), 0.0) for channel in range(1, 513)]
        assert np.abs(found.slots[row] - np.array(exact)).max() <= 0.5 + 1e-9


def test_levels_of_no_universe_are_none() -> None:
    # Source: DESIGN.md: levels are pure, for any set of universes; what no one asked for is left out.
    box = {"address": "192.0.2.1", "ports": 1, "port": {"1": ["a"]}}
    run = {"a": {"pixel": "rgb", "pixels": 1}}
    wiring = wired(
        {"show": {"title": "no"}, "pixel": {"rgb": {"colour_order": "RGB"}}, "controller": {"box": box}, "run": run}
    )
    look = Look((Glow("a", np.array([0]), COLOURS["red"]),), ())
    found = levels(look, wiring, allocate(wiring).patch, [], 1.0)
    assert (found.universes, found.slots.shape) == ((), (0, 512))


@pytest.mark.parametrize(
    ("kind", "reorders", "name", "slots"),
    [
        ("rgb", True, "white", (255, 255, 255)),
        ("rgbw", True, "white", (0, 0, 0, 255)),
        ("gwrb", True, "white", (0, 0, 0, 255)),
        ("gwrb", False, "white", (0, 255, 0, 0)),
        ("mono", True, "white", (255,)),
        ("mono", True, "red", (0,)),
        ("grb", True, "red", (255, 0, 0)),
        ("grb", False, "red", (0, 255, 0)),
        ("brg", False, "blue", (255, 0, 0)),
        ("amber", True, "green", (0, 255, 0, 0)),
        ("amber", False, "green", (0, 0, 255, 0)),
        ("rgbw", True, "yellow", (255, 255, 0, 0)),
        ("rgb", True, "dark", (0, 0, 0)),
    ],
)
def test_a_colour_on_the_wire(kind: str, reorders: bool, name: str, slots: tuple[int, ...]) -> None:
    # Source: DESIGN.md: colour_order "as its chip takes them"; reorders: "RGB(W) on the wire".
    controllers = {"box": {"address": "192.0.2.1", "ports": 1, "port": {"1": ["a"]}, "reorders": reorders}}
    run = {"a": {"pixel": kind, "pixels": 1}}
    pixel = {kind: {"colour_order": ORDERS[kind]}}
    wiring = wired({"show": {"title": "one"}, "pixel": pixel, "controller": controllers, "run": run})
    look = Look((Glow("a", np.array([0]), COLOURS[name]),), ())
    found = levels(look, wiring, allocate(wiring).patch, [1], 1.0)
    assert tuple(found.slots[0][: len(slots)]) == slots
    assert not found.slots[0][len(slots) :].any()


@given(st.integers(0, 6000), st.integers(0, 900), st.integers(1, 12))
def test_places_are_the_pieces_pixel_by_pixel(at: int, pixels: int, channels: int) -> None:
    # Source: DESIGN.md: the next pixel goes on the next channels if it fits before 512, else on channel 1 of the next.
    slow, place = [], at
    for _ in range(pixels):
        if place % 512 + channels > 512:
            place += 512 - place % 512
        slow.append(place)
        place += channels
    assert pixel_places(at, np.arange(pixels), channels).tolist() == slow
    assert [where + n * channels for where, count in pieces(at, pixels, channels) for n in range(count)] == slow


# --- patterns -----------------------------------------------------------------------------------------------------


@settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(shows(most=25))
def test_a_dot_lights_each_lamp_once_in_data_order_and_says_which(tables: dict) -> None:
    # Source: DESIGN.md: a run is a chain in data order; columns count from the left, rows from the bottom.
    wiring = wired(tables)
    patch = allocate(wiring).patch
    where = pencil(tables, patch)
    pattern = patterns.dot(wiring, patch, whole_show(wiring), COLOURS["green"])
    wanted = data_order(tables)
    assert pattern.steps == len(wanted)
    for step, (run, pixel) in enumerate(wanted):
        look = pattern.look(step)
        (glow,) = look.glows
        assert (glow.run, glow.pixels.tolist(), glow.colour.name) == (run, [pixel - 1], "green")
        (says,) = look.says
        words = says.replace(",", " ").split()
        universe, channel = where[run, pixel]
        assert words[:3] == ["green:", f"{run}/{pixel}", f"{universe}/{channel}"]
        table = tables["run"][run]
        if "columns" in table:
            column, row = walk(table)[pixel - 1]
            assert (words[words.index("column") + 1], words[words.index("row") + 1]) == (str(column), str(row))
        else:
            assert "column" not in words
        tees = [name for name, other in tables["run"].items() if other.get("same_data_as") == run]
        assert [word for word in words[3:] if "/" in word] == [f"{tee}/{pixel}" for tee in tees]


@settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(shows(most=25))
def test_primaries_show_every_channel_of_every_lamp_once_and_end_dark(tables: dict) -> None:
    # Source: DESIGN.md, send: primaries; each colour of a chip must be seen on its own to prove the colour order.
    wiring = wired(tables)
    patch = allocate(wiring).patch
    pattern = patterns.primaries(wiring, patch, whole_show(wiring))
    seen: list[tuple[str, int, str]] = []
    for step in range(pattern.steps):
        for glow in pattern.look(step).glows:
            order = ORDERS[tables["run"][glow.run]["pixel"]]
            lit = [letter for letter, part in zip(order, glow.colour.on(order), strict=True) if part]
            assert len(lit) == (step < pattern.steps - 1)
            seen += [(glow.run, int(pixel) + 1, letter) for pixel in glow.pixels for letter in lit]
    wanted = [(run, n, letter) for run, n in data_order(tables) for letter in ORDERS[tables["run"][run]["pixel"]]]
    assert sorted(seen) == sorted(wanted)
    assert pattern.flashes


@settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(shows(most=5))
def test_ports_have_colours_of_their_own(tables: dict) -> None:
    # Source: DESIGN.md, send: ports, by which a person proves which lead is in which socket.
    wiring = wired(tables)
    pattern = patterns.ports(wiring, allocate(wiring).patch, whole_show(wiring))
    check_ports(tables, pattern)


def check_ports(tables: dict, pattern: patterns.Pattern) -> None:
    lit: list[tuple[str, int]] = []
    for step in range(pattern.steps):
        look = pattern.look(step)
        colour_of: dict[tuple[str, str], set[str]] = {}
        for glow in look.glows:
            box = box_of(tables, glow.run)
            ports = tables["controller"][box]["port"]
            port = next(port for port, chain in ports.items() if glow.run in chain)
            colour_of.setdefault((box, port), set()).add(glow.colour.name)
            lit += [(glow.run, int(pixel) + 1) for pixel in glow.pixels]
        assert all(len(names) == 1 for names in colour_of.values())
        for box in {box for box, _ in colour_of}:
            names = [min(own) for (other, _), own in colour_of.items() if other == box]
            assert len(set(names)) == len(names)
        said = {tuple(line.split(" ")[:2]) for line in look.says}
        assert said == {(f"{min(names)}:", f"{box}/{port}") for (box, port), names in colour_of.items()}
    assert sorted(lit) == sorted(data_order(tables))


@pytest.mark.parametrize("count", [6, 7, 12, 13])
def test_a_box_of_many_ports_takes_turns(count: int) -> None:
    # Source: as above; an eye tells few colours apart from afar, so a box of many ports shows them in turns.
    runs = {f"run-{port}": {"pixel": "rgb", "pixels": 2, "nulls": 0} for port in range(count)}
    chains = {str(port + 1): [f"run-{port}"] for port in range(count)}
    box = {"address": "192.0.2.1", "ports": count, "port": chains}
    tables = {
        "show": {"title": "ports"}, "pixel": {"rgb": {"colour_order": "RGB"}}, "controller": {"box": box}, "run": runs
    }  # fmt: skip
    wiring = wired(tables)
    pattern = patterns.ports(wiring, allocate(wiring).patch, whole_show(wiring))
    check_ports(tables, pattern)
    assert all(pattern.look(step).glows for step in range(pattern.steps)), "a turn in which nothing is lit"


@settings(max_examples=40, deadline=None)
@given(
    st.fixed_dictionaries({
        "columns": st.integers(1, 9), "rows": st.integers(1, 9), "lines": st.sampled_from(("rows", "columns")),
        "turns": st.sampled_from(("serpentine", "same-way")), "data_in": st.sampled_from(CORNERS),
    }),
    st.sampled_from(("rows", "columns")),
)  # fmt: skip
def test_a_sweep_goes_line_by_line_and_lights_each_lamp_once(grid: dict, by: str) -> None:
    # Source: DESIGN.md, Shapes: grid; columns from the left and rows from the bottom, whatever the wiring.
    area = [[0.0, 0.0], [float(grid["columns"] > 1), float(grid["rows"] > 1)]]
    tables = {
        "show": {"title": "sweep"}, "pixel": {"rgb": {"colour_order": "RGB"}},
        "controller": {"box": {"address": "192.0.2.1", "ports": 1, "port": {"1": ["wall"]}}},
        "run": {"wall": {"pixel": "rgb", "shape": "grid", "area": area} | grid},
    }  # fmt: skip
    wiring = wired(tables)
    patch = allocate(wiring).patch
    pattern = patterns.sweep(wiring, patch, find("wall", wiring, patch), COLOURS["blue"], by)
    assert pattern.steps == grid[by]
    for step in range(pattern.steps):
        look = pattern.look(step)
        (glow,) = look.glows
        wanted = [n for n, (column, row) in enumerate(walk(grid)) if (row if by == "rows" else column) == step + 1]
        assert sorted(glow.pixels.tolist()) == wanted
        assert f"{by[:-1]} {step + 1} from the" in look.says[0]
        assert f"wall ({len(wanted)} lamps)" in look.says[0]


def test_a_prop_with_a_tee_is_walked_once() -> None:
    # Source: DESIGN.md: a tee has no channels of its own; no two steps of a dot may be the same frame.
    runs = {"near": {"pixel": "rgb", "pixels": 3}, "far": {"pixel": "rgb", "pixels": 3, "same_data_as": "near"}}
    wiring = wired({
        "show": {"title": "tee"}, "pixel": {"rgb": {"colour_order": "RGB"}}, "run": runs,
        "controller": {"box": {"address": "192.0.2.1", "ports": 1, "port": {"1": ["near"]}}},
        "prop": {"rails": {"runs": ["near", "far"]}},
    })  # fmt: skip
    patch = allocate(wiring).patch
    pattern = patterns.dot(wiring, patch, find("rails", wiring, patch), COLOURS["white"])
    frames = [levels(pattern.look(s), wiring, patch, [1], 1.0).slots.tobytes() for s in range(pattern.steps)]
    assert len(set(frames)) == len(frames) == 3
