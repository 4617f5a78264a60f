"""Scenes for drawings: shows at random and the shipped one, drawn once."""

from __future__ import annotations

from collections import Counter

from hypothesis import strategies as st

from patcher.patch.patch import Patch
from patcher.placement.allocation import allocate
from patcher.power.flow import Power, power
from patcher.show.show_file import read_show
from patcher.wiring import Wiring, wire
from rig.shipped import SHOWS, wired
from rig.sketches import sketch

Scene = tuple[Wiring, Patch, Power | None]


SHOW_SEEDS = st.integers(0, 100_000)


WIDE = st.sampled_from([180.0, 90.0])


def scene(wiring: Wiring) -> Scene:
    return wiring, allocate(wiring).patch, power(wiring) if wiring.show.supplies else None


def at_random(seed: int, most: int = 8) -> Scene:
    return scene(wired(sketch(seed, most=most)))


def shipped(name: str = "heron-lock.toml") -> Scene:
    show = read_show(SHOWS / name).show
    assert show is not None
    return scene(wire(show))


def one_box(runs: dict, lamp: dict | None = None, *, box: dict | None = None, taps: list | None = None) -> Scene:
    """A box with runs on its first port, and one feed where there are taps."""
    table = {"address": "192.0.2.1", "ports": 1, "port": {"1": list(runs)}} | (box or {})
    tables = {
        "show": {"title": "one box"}, "pixel": {"lamp": {"colour_order": "RGB"} | (lamp or {})},
        "controller": {"box": table}, "run": {name: {"pixel": "lamp"} | run for name, run in runs.items()},
    }  # fmt: skip
    if taps:
        tables |= {"supply": {"s": {"volts": 12.0, "amps": 30.0}}}
        tables |= {"feed": {"f": {"supply": "s", "awg": 12, "taps": taps}}}
    return scene(wired(tables))


def edges_of(found: Scene, run: str) -> set[tuple[str, str, str]]:
    """The pixels of a run at which a universe begins inside it, told pixel by pixel from the patch's starts."""
    wiring, patch, _ = found
    source = run
    while wiring.show.runs[source].same_data_as:
        source = str(wiring.show.runs[source].same_data_as)
    universes = {}
    for start in patch.starts:
        for link, at in start.placed():
            if link.run == source:
                for pixel in range(1, link.pixels + 1):
                    if at % 512 + link.channels > 512:
                        at += 512 - at % 512
                    universes[pixel] = at // 512 + 1
                    at += link.channels
    return {
        (run, str(pixel), str(universe))
        for pixel, universe in universes.items()
        if pixel > 1 and universes[pixel - 1] != universe
    }


def joints_of(found: Scene, runs: set[str]) -> Counter[tuple[str, str, str]]:
    """Feed, run and pixel of every place where a feed joins one of some runs, read from the show file's tables."""
    show = found[0].show
    joined: Counter[tuple[str, str, str]] = Counter()
    for feed in show.feeds.values():
        for tap in feed.taps:
            last = show.runs[tap.run].pixels
            pixels = [{"first": 1, "last": last}.get(str(tap.pixel), tap.pixel)]
            if tap.every is not None:
                pixels = [pixel for pixel in range(1, last + 1) if (pixel - 1) % tap.every == 0 or pixel == last]
            joined.update((feed.name, tap.run, str(pixel)) for pixel in pixels if tap.run in runs)
    return joined
