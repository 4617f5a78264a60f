"""Levels and patterns, against slow definitions written from the design."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from patcher.frames.levels import levels
from patcher.frames.looks import COLOURS, Colour, Glow, Look
from patcher.patch.patch import pieces, pixel_places
from patcher.placement.allocation import allocate
from rig.examples import examples
from rig.levels_pencil import ORDERS, box_of, pencil, shows, size
from rig.shipped import laid, wired


def on_wire(tables: dict, run: str) -> str:
    """The chip's own order, unless its box reorders: then red, green, blue and white first."""
    order = ORDERS[tables["run"][run]["pixel"]]
    if not tables["controller"][box_of(tables, run)]["reorders"]:
        return order
    return "".join(letter for letter in "RGBW" if letter in order) + "".join(set(order) - set("RGBW"))


# --- levels -------------------------------------------------------------------------------------------------------

colours = st.one_of(
    st.sampled_from(list(COLOURS.values())),
    st.dictionaries(st.sampled_from("RGBWA"), st.floats(0, 1)).map(lambda parts: Colour("mixed", parts)),
)


@examples(20, 40)
@given(shows(), st.data())
def test_levels_are_those_of_a_slow_definition(tables: dict, data: st.DataObject) -> None:
    # Source: the design: how a chain is laid; reorders: "RGB(W) on the wire", else as its chip takes them.
    wiring, patch = laid(tables)
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
    # Source: the design: levels are pure, for any set of universes; what no one asked for is left out.
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
    # Source: the design: colour_order "as its chip takes them"; reorders: "RGB(W) on the wire".
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
    # Source: the design: the next pixel goes on the next channels if it fits before 512, else on channel 1 of the next.
    slow, place = [], at
    for _ in range(pixels):
        if place % 512 + channels > 512:
            place += 512 - place % 512
        slow.append(place)
        place += channels
    assert pixel_places(at, np.arange(pixels), channels).tolist() == slow
    assert [where + n * channels for where, count in pieces(at, pixels, channels) for n in range(count)] == slow
