"""What pixels show, worked out in one place: against colours mixed letter by letter, and nobody else works it out."""

from __future__ import annotations

import ast
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from patcher.answers.witness import Witness
from patcher.eye import DARK, FLICKER, ODD, RED, WHITE
from patcher.faults import DARK as NOTHING
from patcher.faults import RANDOM, LitChannels, build, departure, parse, planned
from patcher.frames.levels import Levels
from patcher.phone.content import Content
from patcher.placement.allocation import allocate
from rig.shipped import wired

PROGRAM = Path(__file__).parents[2] / "patcher"
MIXED = {"": DARK, "R": RED, "G": 2, "B": 3, "W": WHITE, "RGB": WHITE}


def mixed(letters: str, taken: list[int], lit: set[int]) -> int:
    """The shade of one pixel: flickers where any of its data is broken, else what its lit letters mix to."""
    if RANDOM in taken:
        return FLICKER
    on = {letter for letter, channel in zip(letters, taken, strict=True) if channel in lit}
    return ODD if on - {*"RGBW"} else MIXED.get("".join(letter for letter in "RGBW" if letter in on), ODD)


# Judge: each pixel by itself, by the letters of its lit channels (additive mixing: red, green and blue look white).
@pytest.mark.parametrize("letters", ["RGB", "GRB", "W", "GRBW", "RGBWA", "ACDERGBWY", "ABCDEFGHIJKR"])
def test_a_pixel_shows_what_its_lit_letters_mix_to(letters: str) -> None:
    chance = np.random.default_rng(len(letters))
    takes = chance.integers(RANDOM, 1100, (5, 40, len(letters))).astype(np.int32)
    takes[3] = np.where(takes[3] % len(letters) == 0, takes[3], NOTHING)  # few letters of each pixel
    takes[0, :9], takes[1, :9], takes[2, :9, -1] = NOTHING, RANDOM, RANDOM
    channels = np.unique(chance.choice(1100, 500))
    wanted = [[mixed(letters, pixel, {*channels.tolist()}) for pixel in way] for way in takes.tolist()]
    assert LitChannels.of(channels).shades(takes, letters).tolist() == wanted
    assert {*np.ravel(wanted)} >= {DARK, FLICKER}


def test_what_universes_hold_lights_those_that_take_it_and_no_other() -> None:
    held = [np.zeros(512, dtype=np.uint8), np.full(512, 9, dtype=np.uint8)]
    lit = LitChannels.of_slots((7, 9), held)
    channels = [0, 6 * 512, 7 * 512, 8 * 512 - 1, 8 * 512, 9 * 512 - 1, 9 * 512, NOTHING, RANDOM]
    takes = np.array(channels, dtype=np.int32)[:, None]
    assert lit.shades(takes, "W").tolist() == [DARK] * 4 + [WHITE] * 2 + [DARK] * 2 + [FLICKER]
    assert LitChannels.of_slots((), ()).shades(takes, "W").tolist() == [DARK] * 8 + [FLICKER]


# Judge: a yard of simulated boxes, sent to in packets, whose pixels are looked at three times.
@pytest.mark.parametrize("fault", ["flicker:sill/3", "cut:jamb/2", "replaced:sill/2=RGBW", "dark-channel:jamb/2=R"])
def test_what_is_worked_out_is_what_a_yard_shows(fault: str) -> None:
    tables = {
        "show": {"title": "Weir"}, "pixel": {"rgb": {"colour_order": "RGB"}},
        "controller": {"hut": {"address": "192.0.2.9", "ports": 1, "port": {"1": ["sill", "jamb"]}}},
        "run": {"sill": {"pixel": "rgb", "pixels": 5}, "jamb": {"pixel": "rgb", "pixels": 5}},
    }  # fmt: skip
    wiring = wired(tables)
    patch = allocate(wiring).patch
    built = build(wiring, [parse(fault, wiring)])
    slots = np.zeros((1, 512), dtype=np.uint8)
    slots[0, :30] = np.tile([200, 0, 0, 0, 90, 0], 5)
    levels = Levels(patch.universes, slots)
    plan = planned(wiring, patch)
    takes = plan.takes | departure(plan, built.faults).takes
    lit = LitChannels.of_slots(levels.universes, levels.slots)
    wanted = {run: lit.shades(takes[run], "RGB").tolist() for run in takes}
    (shown,) = Witness(wiring, patch, built).shown([levels])
    assert {run: shades.tolist() for run, shades in shown.items()} == wanted
    assert wanted != {run: lit.shades(plan.takes[run], "RGB").tolist() for run in takes}


def test_the_page_shows_a_tee_in_the_colours_of_its_own_chips() -> None:
    # Source: the design: `colour-order`; a tee hangs on the same data, and its chips take their own order of it
    tables = {
        "show": {"title": "Weir"}, "pixel": {"rgb": {"colour_order": "RGB"}, "grb": {"colour_order": "GRB"}},
        "controller": {"hut": {"address": "192.0.2.9", "ports": 1, "port": {"1": ["sill"]}}},
        "run": {"sill": {"pixel": "rgb", "pixels": 3}, "jamb": {"pixel": "grb", "pixels": 3, "same_data_as": "sill"}},
    }  # fmt: skip
    wiring = wired(tables)
    patch = allocate(wiring).patch
    red = planned(wiring, patch).takes["sill"][1, :1].astype(np.int64)
    colours = {run: (colour, pixels) for run, colour, _, pixels in Content(1, Path(), wiring, patch).lit_by(red)}
    assert colours == {"sill": ("red", ((1, 1, 1),)), "jamb": ("green", ((1, 1, 1),))}


def _trees(*rooms: str) -> list[tuple[Path, ast.Module]]:
    return [(file, _tree(file)) for room in rooms for file in sorted((PROGRAM / room).rglob("*.py"))]


@cache
def _tree(file: Path) -> ast.Module:
    return ast.parse(file.read_text(encoding="utf-8"))


@pytest.mark.long
def test_what_hangs_on_a_port_is_read_off_the_graph() -> None:
    # Source: the design: the graph is the only truth about what hangs where
    rooms = [room.name for room in PROGRAM.iterdir() if room.is_dir() and room.name != "show"]
    found = []
    for file, tree in _trees(*rooms):
        for node in ast.walk(tree):
            read = node.value if isinstance(node, ast.Attribute | ast.Subscript) else None
            asked = isinstance(node, ast.Subscript) or (isinstance(node, ast.Attribute) and node.attr in TABLE)
            if asked and isinstance(read, ast.Attribute) and read.attr == "port":
                found.append(f"{file.relative_to(PROGRAM)}:{node.lineno}")
    assert found == []


TABLE = ("get", "items", "keys", "values")


@pytest.mark.long
def test_the_shade_of_a_pixel_is_looked_up_in_one_place() -> None:
    """Whoever wants to know what pixels show asks `patcher.faults`."""
    users = [
        str(file.relative_to(PROGRAM))
        for file, tree in _trees(".")
        if any(isinstance(node, ast.Name) and node.id == "shade_table" for node in ast.walk(tree))
    ]
    assert users == ["faults/appearance.py"]
