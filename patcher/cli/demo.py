"""`demo`: the main job on the shipped show, on this machine alone; it claims only what the yard's pixels showed."""

from __future__ import annotations

import shutil
import tempfile
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from patcher.terminal.printed import count

if TYPE_CHECKING:
    from collections.abc import Callable

    from patcher.frames.patterns import Pattern
    from patcher.patch.patch import Patch
    from patcher.wiring import Wiring
    from patcher.yard.watched_pattern import Watched

SHOW = "heron-lock.toml"
WALKED, GRID, FAULT = "footbridge-rail", "gate-right", "data-in:gate-right=bottom-left"


def demo() -> None:
    """Run the main job on this machine alone, in seconds.

    It patches a show, steps a dot, and finds a grid wired wrongly.
    """
    from patcher.cli.inputs import load
    from patcher.frames.looks import COLOURS
    from patcher.frames.patterns import dot, joined, sweep
    from patcher.patch.patch_file import write_patch
    from patcher.patch.thing import find
    from patcher.placement.allocation import allocate
    from patcher.terminal.signals import stopping

    with tempfile.TemporaryDirectory(prefix="patcher-demo-") as folder, stopping() as stop:
        show = _copy_show(Path(folder))
        wiring = load(show)
        patch = allocate(wiring).patch
        write_patch(show, patch)
        print(f"{wiring.show.settings.title}: an invented show, on this machine only. Nothing leaves it.\n")
        starts = count(len(patch.starts), "start")
        print(f"1. The patch: {count(patch.pixels, 'pixel')} on {count(len(patch.boxes), 'box')}, {starts},")
        print(f"   {count(patch.universe_count, 'universe')}; no pixel is split between two universes.")
        walk = dot(wiring, patch, find(WALKED, wiring, patch), COLOURS["white"])
        grid = find(GRID, wiring, patch)
        bars = joined(*(sweep(wiring, patch, grid, COLOURS["green"], by) for by in ("columns", "rows")))
        watched = [
            _watch(show, wiring, patch, fault, pattern, f"{number}. {title}:", stop)
            for number, (pattern, fault, title) in enumerate(
                (
                    (walk, None, f"A dot steps along {WALKED}, as E1.31 and Art-Net packets to simulated boxes"),
                    (bars, None, f"The serpentine grid {GRID}, line by line, then across its lines"),
                    (bars, FAULT, f"The same grid, its cable plugged into the wrong corner ({FAULT})"),
                ),
                start=2,
            )
        ]
    good = [each.first_wrong is None for each in watched] == [True, True, False]
    dark = all(each.dark for each in watched)
    if good:
        print("\nWithout the fault every step was as planned, and the wrong corner was seen.")
    else:
        print("\nThe steps were not as they should be: a fault of Patcher's, or of this machine's network.")
    print("At the end every pixel was dark." if dark else "Some pixels stayed lit at the end, which must not be.")
    if not (good and dark):
        raise typer.Exit(1)


def _copy_show(folder: Path) -> Path:
    """The shipped show in a folder of its own: from the installed package, or from the source beside it."""
    installed = Path(str(files("patcher"))) / "shows"
    source = installed if installed.is_dir() else Path(str(files("patcher"))).parent / "shows"
    for name in (SHOW, "willow.csv"):
        shutil.copyfile(source / name, folder / name)
    return folder / SHOW


def _watch(
    show: Path, wiring: Wiring, patch: Patch, fault: str | None, pattern: Pattern, title: str, stop: Callable[[], bool]
) -> Watched:
    """Send a pattern to a yard, and say what was seen."""
    from patcher.yard.watched_pattern import watch

    watched = watch(show, wiring, patch, [fault] if fault else [], pattern, stop)
    if watched.stopped:
        print("Ended; all pixels are dark.")
        raise typer.Exit(1)
    print(f"\n{title}")
    print(f"   {count(pattern.steps, 'step')}, {count(watched.packets, 'packet')}: ", end="")
    if watched.first_wrong is None:
        print("every step as planned, pixel for pixel.")
    else:
        print(f"{pattern.steps - watched.as_planned} steps differ from the plan. The first:")
        step, wrong = watched.first_wrong
        print(f"   meant   {pattern.look(step).says[0]}")
        for difference in wrong:
            print(f"   seen    {difference.run}: {_places(wiring, difference.run, difference.extra)} lit instead")
    return watched


def _places(wiring: Wiring, run: str, pixels: tuple[int, ...]) -> str:
    """Pixels of a grid in words: the columns they stand in."""
    from patcher.shapes import cells

    grid = cells(wiring.show, wiring.show.runs[run])
    number = count(len(pixels), "pixel")
    if grid is None or not pixels:
        return number
    columns = sorted({int(grid[pixel - 1][0]) + 1 for pixel in pixels})
    return f"{number} in column {', '.join(map(str, columns[:6]))}"
