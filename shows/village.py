"""An invented village of 25 boxes and exactly 100 000 pixels: houses along a street, a box at each.

Run it to write the show anew; the same seed gives the same village, to the byte:

    python shows/village.py > shows/village.toml
"""

from __future__ import annotations

import random
import sys
from collections.abc import Iterator

HOUSES = 25
PIXELS_PER_HOUSE = 4_000
PLOT = 18.0
"""Metres of street from house to house."""
PITCH = 0.05
LONGEST = 5.0
"""Metres of lead that data crosses without help."""
WIRES = {"gable": 8.0, "eaves": 8.0, "hedge": 9.5, "tree": 9.5, "arch": 6.0, "fence": 6.0, "screen": 2.0, "window": 5.5}
"""Metres of wire from a house's box to each thing on it."""

HEAD = """\
# An invented village: {houses} houses along one street, a box at each, {pixels} pixels.
# Written by village.py; change that, not this.

[show]
title = "Village street"
frame_rate = 40
placement = "follow"
level = 0.3

[[accept]]
rule = "link-load"
where = "show.frame_rate"
why = "the sender hangs on a gigabit port of the switch; a box takes a few megabits a second"

[pixel.bulb-12v]
colour_order = "RGB"
volts = 12.0
channel_ma = 5.5
idle_ma = 0.8
min_volts = 9.0
awg = 18
pitch = {pitch}

[pixel.white-12v]
colour_order = "GRBW"
volts = 12.0
channel_ma = 5.5
idle_ma = 0.8
min_volts = 9.0
awg = 18
pitch = {pitch}
"""


def point(x: float, y: float) -> str:
    """A point as the show file writes it."""
    return f"[{x:.3f}, {y:.3f}]"


def points(*places: tuple[float, float]) -> str:
    """A list of points as the show file writes it."""
    return f"[{', '.join(point(*place) for place in places)}]"


def run(name: str, pixels: int, shape: str, *keys: str, kind: str = "bulb-12v", lead: float = 2.0) -> tuple[int, str]:
    """How many pixels a run has, and its table; data crosses a long lead with a null pixel half way."""
    lines = [f"[run.{name}]", f'pixel = "{kind}"', f'shape = "{shape}"', *keys, f"lead = {lead}"]
    lines += ["nulls = 1", f"nulls_at = [{lead / 2}]"] if lead > LONGEST else []
    return pixels, "\n".join(lines)


def line(name: str, pixels: int, *path: tuple[float, float], lead: float = 2.0) -> tuple[int, str]:
    """A run along a path."""
    return run(name, pixels, "line", f"path = {points(*path)}", f"pixels = {pixels}", lead=lead)


def roof(house: str, left: float, width: float, eaves: float, ridge: float) -> list[tuple[int, str]]:
    """Up to the ridge and down again, then back along the eaves."""
    right, middle = left + width, left + width / 2
    slope = 2 * ((width / 2) ** 2 + (ridge - eaves) ** 2) ** 0.5
    return [
        line(
            f"{house}-gable",
            int(slope / PITCH) + 2,
            (left, eaves),
            (middle, ridge),
            (right, eaves),
            lead=WIRES["gable"],
        ),
        line(f"{house}-eaves", int(width / PITCH) + 2, (right, eaves - 0.15), (left, eaves - 0.15), lead=0.3),
    ]


def windows(house: str, left: float, width: float, kind: str) -> list[tuple[int, str]]:
    """Four windows above each other in pairs, each in turn round its frame."""
    wide, high, found = 1.4, 1.2, []
    pixels = int(2 * (wide + high) / PITCH) + 1
    for number, (across, y) in enumerate([(0.15, 0.9), (0.85, 0.9), (0.85, 3.0), (0.15, 3.0)], start=1):
        x = left + across * width - wide / 2
        corners = points((x, y), (x, y + high), (x + wide, y + high), (x + wide, y))
        keys = (f"corners = {corners}", f"pixels = {pixels}")
        lead = 6.5 if number % 2 == 0 else 4.5
        found.append(run(f"{house}-window-{number}", pixels, "loop", *keys, kind=kind, lead=lead))
    return found


def arch(house: str, x: float, passes: int) -> tuple[int, str]:
    """An arch over the drive, passed over and back."""
    pixels = 88 * passes
    feet = points((x, 0.0), (x + 2.6, 0.0))
    return run(
        f"{house}-arch", pixels, "arch", f"feet = {feet}", "height = 1.4", f"passes = {passes}", f"pixels = {pixels}",
        lead=WIRES["arch"],
    )  # fmt: skip


def screen(house: str, x: float, columns: int, cut: int) -> tuple[str, list[tuple[int, str]]]:
    """A picture beside the door, drawn once, on two panels: the prop's table, and its bands."""
    rows = 24
    area = points((x, 0.3), (x + (columns - 1) * PITCH, 0.3 + (rows - 1) * PITCH))
    prop = f"""[prop.{house}-screen]
area = {area}
columns = {columns}
rows = {rows}
lines = "columns"
turns = "serpentine"
data_in = "bottom-left\""""
    corner = 'data_in = "bottom-left"'
    bands = [(f"{house}-screen-left", 1, cut), (f"{house}-screen-right", cut + 1, columns)]
    return prop, [
        run(name, (last - first + 1) * rows, "band", f'of = "{house}-screen"', f"band = [{first}, {last}]", corner)
        for name, first, last in bands
    ]


def net(house: str, x: float, columns: int) -> tuple[int, str]:
    """A net over the hedge, wired from its top."""
    rows = 11
    area = points((x, 0.2), (x + (columns - 1) * PITCH, 0.2 + (rows - 1) * PITCH))
    keys = (f"area = {area}", f"columns = {columns}", f"rows = {rows}", 'lines = "rows"', 'turns = "serpentine"')
    return run(f"{house}-hedge", columns * rows, "grid", *keys, 'data_in = "top-left"', lead=WIRES["hedge"])


def fence(house: str, x: float, pales: int) -> tuple[int, str]:
    """Up and down the pales of the fence in front, below the hedge."""
    path = [(x + 0.4 * (number // 2), -0.2 if (number + 1) // 2 % 2 else -0.9) for number in range(2 * pales)]
    length = 0.7 * pales + 0.4 * (pales - 1)
    return line(f"{house}-fence", int(length / PITCH) + 2, *path, lead=WIRES["fence"])


def tree(house: str, x: float, pixels: int) -> tuple[int, str]:
    """To and fro up a tree that narrows: as many pixels as the house still wants."""
    path = []
    for number in range(14):
        half = 1.25 * (1 - number / 14)
        y = 1.0 + 0.25 * number
        path += [(x - half, y), (x + half, y)][:: -1 if number % 2 else 1]
    return line(f"{house}-tree", pixels, *path, lead=WIRES["tree"])


def power(house: str, chains: list[list[tuple[int, str]]]) -> Iterator[str]:
    """A supply for every two ports, and a feed beside each run that joins it every hundred pixels."""
    for number, first in enumerate(range(0, len(chains), 2), start=1):
        supply = f"{house}-supply-{number}"
        yield f'[supply.{supply}]\nvolts = 12.0\namps = 29.0\nbox = "{house}"'
        for _, table in (item for chain in chains[first : first + 2] for item in chain):
            name = name_of(table)
            taps = f'taps = [{{ run = "{name}", every = 100, length = {WIRES[name.split("-")[2]]} }}]'
            yield f'[feed.{name}-wire]\nsupply = "{supply}"\nawg = 12\nfuse = 15\n{taps}'


def name_of(table: str) -> str:
    """The name of the run in a table's heading."""
    return table.partition("]")[0].removeprefix("[run.")


def box(house: str, number: int, x: float, chains: list[list[tuple[int, str]]]) -> str:
    """The table of a house's controller, with what hangs on its ports."""
    start_per = ("port", "port", "controller", "run")[number % 4]
    lines = [
        f"[controller.{house}]",
        f'address = "198.51.100.{10 + number}"',
        f'protocol = "{"artnet" if number % 3 == 0 else "e131"}"',
        f'start_per = "{start_per}"',
        "ports = 8",
        "port_pixels = 820",
        f"at = {point(x, 0.5)}",
        "",
        f"[controller.{house}.port]",
    ]
    for port, chain in enumerate(chains, start=1):
        runs = ", ".join(f'"{name_of(table)}"' for _, table in chain)
        lines.append(f"{port} = [{runs}]")
    return "\n".join(lines)


def tables(number: int, chance: random.Random) -> Iterator[str]:
    """Every table of one house: its box, its runs and their power."""
    house = f"house-{number:02}"
    left = (number - 1) * PLOT
    width = chance.uniform(8.6, 10.0)
    eaves = chance.uniform(4.7, 5.2)
    columns = chance.choice([44, 46, 48])
    prop, bands = screen(house, left + width / 2 - columns * PITCH / 2, columns, chance.randrange(20, 25))
    chains = [
        roof(house, left, width, eaves, eaves + chance.uniform(1.8, 2.6)),
        windows(house, left, width, "white-12v" if number % 8 == 3 else "bulb-12v"),
        [arch(house, left + width + 0.5, chance.choice([3, 4]))],
        *([band] for band in bands),
        [net(house, left + width + 3.8, chance.randrange(54, 60))],
        [fence(house, left, chance.randrange(22, 27))],
    ]
    rest = PIXELS_PER_HOUSE - sum(pixels for chain in chains for pixels, _ in chain)
    chains.append([tree(house, left + width + 5.2, rest)])
    yield box(house, number, left + width / 2, chains)
    yield prop
    yield from (table for chain in chains for _, table in chain)
    yield from power(house, chains)


def village(seed: int = 25) -> str:
    """The text of the whole show file."""
    chance = random.Random(seed)
    head = HEAD.format(houses=HOUSES, pixels=f"{HOUSES * PIXELS_PER_HOUSE:_}".replace("_", " "), pitch=PITCH)
    houses = ("\n\n".join(tables(number, chance)) for number in range(1, HOUSES + 1))
    return "\n\n".join([head.rstrip(), *houses]) + "\n"


if __name__ == "__main__":
    sys.stdout.write(village())
