"""`film`: a code of light from every pixel, for a phone that films it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated

import typer

from patcher.cli.film_reading import PictureFile, ReadClips, WriteShow, read
from patcher.cli.inputs import load, load_patch, need_yard, together
from patcher.cli.options import (
    AsJson,
    DryRun,
    Interface,
    Level,
    PatternOptions,
    Priority,
    Seconds,
    ShowFile,
    To,
    Yard,
)
from patcher.errors import refuse
from patcher.terminal.printed import say_json
from patcher.trade import PRIORITY, TEST_LEVEL

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

    from patcher.film.code import Code
    from patcher.frames.levels import Levels
    from patcher.patch.thing import Thing
    from patcher.reports.film_report import Filming
    from patcher.wiring import Wiring

FRAMES_A_BIN = 2
"""Frames of a bin at least: what is lost of the first is made up for by the second."""


def film(
    show: ShowFile,
    on: Annotated[
        str | None, typer.Option("--on", metavar="THING", help="Light only this box, port, run or prop.")
    ] = None,
    seconds: Seconds = None,
    level: Level = TEST_LEVEL,
    to: To = None,
    yard: Yard = False,
    interface: Interface = None,
    priority: Priority = PRIORITY,
    dry_run: DryRun = False,
    clips: ReadClips = None,
    picture: PictureFile = None,
    write: WriteShow = False,
    as_json: AsJson = False,
) -> None:
    """Play a code of light to a camera until Ctrl-C, or read the clips that it took.

    Each pixel plays a word of its own. It says how to film that; at the end all pixels are dark. A clip that is read
    proves which pixel lights where, and names what is wired wrongly.
    """
    together(("--read", clips), ("--to, --interface, --seconds or --dry-run", to or interface or seconds or dry_run))
    if clips:
        read(show, clips, on=on, picture=picture, write=write, practice=yard, as_json=as_json)
        return
    if picture or write:
        raise refuse("--picture" if picture else "--write", "belongs to a clip that is read", "add --read CLIP")
    from patcher.cli import playback
    from patcher.film.code import BIN, code_of
    from patcher.patch.thing import find, lighting, whole_show
    from patcher.reports import film_report, send_report

    together(("--yard", yard), ("--to or --interface", to or interface))
    wiring = load(show)
    patch = load_patch(show, wiring)
    thing = find(on, wiring, patch) if on else whole_show(wiring)
    _need_whole_runs(thing, on or str(show), wiring)
    boxes = list(dict.fromkeys(wiring.ports[part.run][0] for part in thing.parts))
    goals = playback.goals_of(show, wiring.show, patch, boxes, to, yard=yard)
    code = code_of(patch, {wiring.source(part.run) for part in lighting(thing, wiring)} if on else None)
    filming = filming_of(show, wiring, thing, code)
    options = PatternOptions(level=level, seconds=seconds, priority=priority, interface=interface)
    if not yard:
        playback.warn_too_bright(show, wiring, level)
    film_report.say_warnings(filming)
    if not as_json:
        film_report.say(filming)
    if dry_run:
        if as_json:
            targets = send_report.goals_document(goals)
            say_json({"steps": code.bins, "says": film_report.advice(filming), "targets": targets})
        else:
            send_report.say_goals(goals)
        return
    if yard:
        need_yard(goals, show)
    playback.play_steps(
        _Bins(code.frames(playback.universes_of(goals), level)), 1 / BIN, lambda levels: levels, _teller(code, as_json),
        goals, options, frames_a_second(options.frames(wiring.show), BIN), keeps_time=True, to_yard=yard,
        as_json=as_json, more={"pixels": filming.pixels, "cycle_seconds": round(code.seconds, 3)},
    )  # fmt: skip


@dataclass(frozen=True)
class _Bins:
    """The frames of a cycle as steps."""

    frames: Sequence[Levels]

    @property
    def steps(self) -> int:
        """How many there are."""
        return len(self.frames)

    @property
    def look(self) -> Callable[[int], Levels]:
        """The levels of a step."""
        return self.frames.__getitem__


def frames_a_second(show: float, step: float) -> float:
    """Frames a second: as many as a show plays, but whole frames in each step of so many seconds, and two at least.

    Else every other step would begin late.
    """
    return max(FRAMES_A_BIN, int(show * step + 1e-6)) / step


def _need_whole_runs(thing: Thing, name: str, wiring: Wiring) -> None:
    """Refuse a thing that has no pixels, or some of a run's alone: the code is read a run at a time."""
    if not thing.parts:
        raise refuse(name, "has no pixels to light", "name a box, port, run or prop that has")
    for part in thing.parts:
        if (part.first, part.last) != (1, wiring.show.runs[part.run].pixels):
            raise refuse(name, f"is a part of {part.run}, and a film proves whole runs", f"film {part.run}")


def filming_of(path: Path, wiring: Wiring, thing: Thing, code: Code) -> Filming:
    """What is played, for the words."""
    from patcher.film.code import BIN
    from patcher.limits.filming import finest_pitch, slow_ports
    from patcher.reports.film_report import Filming

    runs = {part.run for part in thing.parts}
    slow = slow_ports(wiring, {wiring.source(run) for run in runs}, BIN / 2 * 1000)
    pitch = finest_pitch(wiring, runs)
    units = wiring.show.settings.units
    return Filming(path, units, int(code.lit.sum()), code.seconds, pitch, BIN * 1000, slow)


def _teller(code: Code, as_json: bool) -> Callable[[int, Levels], None]:
    """Says each time that the whole code has been played."""
    from patcher.reports import film_report

    played = -1

    def tell(step: int, _: Levels) -> None:
        nonlocal played
        if step == 0:
            played += 1
            if played and not as_json:
                film_report.say_cycle(played, code.seconds)

    return tell
