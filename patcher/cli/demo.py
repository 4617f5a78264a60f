"""`demo`: the main job on the shipped show, on this machine alone; it claims only what the yard's pixels showed."""

from __future__ import annotations

import shutil
import tempfile
import time
from collections.abc import Callable
from contextlib import ExitStack
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from patcher.terminal.tables import count
from patcher.trade import TEST_LEVEL

if TYPE_CHECKING:
    from patcher.frames.patterns import Pattern
    from patcher.patch.patch import Patch
    from patcher.wiring import Wiring
    from patcher.yard.yard import Difference

SHOW = "heron-lock.toml"
WALKED, GRID, FAULT = "footbridge-rail", "gate-right", "data-in:gate-right=bottom-left"
PATIENCE = 2.0
"""Seconds to wait for the packets of one frame on the loopback."""


def demo() -> None:
    """The main job in half a minute: allocate a show, walk a dot, check a grid, and find it wired wrongly."""
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
        made = allocate(wiring)
        write_patch(show, made.patch)
        patch = made.patch
        print(f"{wiring.show.settings.title}: an invented show, on this machine only. Nothing leaves it.\n")
        starts = count(len(patch.starts), "start")
        print(f"1. The patch: {count(patch.pixels, 'pixel')} on {count(len(patch.boxes), 'box')}, {starts},")
        print(f"   {count(patch.universe_count, 'universe')}; no pixel is cut by a universe's end.")
        walk = dot(wiring, patch, find(WALKED, wiring, patch), COLOURS["white"])
        grid = find(GRID, wiring, patch)
        by_line, across = (sweep(wiring, patch, grid, COLOURS["green"], by) for by in ("columns", "rows"))
        bars = joined(by_line, across)
        walked = _Watched(show, wiring, patch, [], walk, stop).run()
        print(f"\n2. A dot walks along {WALKED}, as E1.31 and Art-Net packets to simulated boxes:")
        _say(walked, wiring, walk)
        sound = _Watched(show, wiring, patch, [], bars, stop).run()
        print(f"\n3. The serpentine grid {GRID}, line by line, then across its lines:")
        _say(sound, wiring, bars)
        wrong = _Watched(show, wiring, patch, [FAULT], bars, stop).run()
        print(f"\n4. The same grid, its cable plugged into the wrong corner ({FAULT}):")
        _say(wrong, wiring, bars)
        good = walked.as_planned == walk.steps and sound.as_planned == bars.steps and wrong.as_planned < bars.steps
        dark = walked.dark and sound.dark and wrong.dark
        if good:
            print("\nEvery look was as planned on the sound yard, and the wrong corner was seen.")
        else:
            print("\nThe looks were not as they should be: a fault of Patcher's, or of this machine's network.")
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


class _Watched:
    """A pattern sent to a yard step by step, each look held against the plan."""

    def __init__(
        self, show: Path, wiring: Wiring, patch: Patch, faults: list[str], pattern: Pattern, stop: Callable[[], bool]
    ) -> None:
        self.show, self.wiring, self.patch, self.faults, self.pattern = show, wiring, patch, faults, pattern
        self.stop = stop
        self.as_planned = 0
        self.packets = 0
        self.dark = False
        self.first_wrong: tuple[int, list[Difference]] | None = None

    def run(self) -> _Watched:
        """Send every step once, and watch."""
        from patcher.faults import build, parse
        from patcher.frames.levels import levels
        from patcher.listener.receiver import Receiver
        from patcher.stream.sender import Sender, targets
        from patcher.yard.yard import Yard, addresses, differences, ears

        show, wiring, patch = self.wiring.show, self.wiring, self.patch
        hosts = addresses(self.show, show)
        heard_by = ears(show, patch, hosts)
        unicast = {box: host for box, host in hosts.items() if show.controllers[box].delivery == "unicast"}
        goals = targets(show, patch, patch.boxes, unicast)
        yard = Yard(wiring, patch, build(wiring, [parse(fault, wiring) for fault in self.faults]))

        def hear(until: int) -> None:
            give_up = time.monotonic() + PATIENCE
            while yard.packets < until and time.monotonic() < give_up and not self.stop():
                for datagram in receiver.poll(PATIENCE):
                    yard.receive(heard_by[datagram.ear], datagram.octets, datagram.sender, time.monotonic())

        with ExitStack() as stack:
            receiver = stack.enter_context(Receiver(heard_by))
            sender = stack.enter_context(Sender(goals, interface="127.0.0.1"))
            universes = sorted({goal.universe for goal in goals})
            for step in range(self.pattern.steps):
                if self.stop():
                    print("Ended; all is dark.")
                    raise typer.Exit(1)
                look = self.pattern.look(step)
                sender.send(levels(look, wiring, patch, universes, TEST_LEVEL))
                hear(sender.packets)
                wrong = differences(look, TEST_LEVEL, wiring, yard)
                if not wrong:
                    self.as_planned += 1
                elif self.first_wrong is None:
                    self.first_wrong = (step, wrong)
            sender.close()
            hear(sender.packets)
            self.packets = sender.packets
            self.dark = yard.lit() == 0
        return self


def _say(watched: _Watched, wiring: Wiring, pattern: Pattern) -> None:
    print(f"   {count(pattern.steps, 'look')}, {count(watched.packets, 'packet')}: ", end="")
    if watched.first_wrong is None:
        print("every look as planned, pixel for pixel.")
        return
    print(f"{pattern.steps - watched.as_planned} looks differ from the plan. The first:")
    step, wrong = watched.first_wrong
    print(f"   meant   {pattern.look(step).says[0]}")
    for difference in wrong:
        print(f"   seen    {difference.run}: {_places(wiring, difference.run, difference.extra)} lit instead")


def _places(wiring: Wiring, run: str, pixels: tuple[int, ...]) -> str:
    """Pixels of a grid in words: the columns they stand in."""
    from patcher.shapes import cells

    grid = cells(wiring.show, wiring.show.runs[run])
    if grid is None or not pixels:
        return count(len(pixels), "pixel")
    columns = sorted({int(grid[pixel - 1][0]) + 1 for pixel in pixels})
    return f"{count(len(pixels), 'lamp')} in column " + ", ".join(map(str, columns[:6]))
