"""`send`: test patterns onto the wire, with words for what should be lit."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from patcher.cli import options
from patcher.cli.inputs import load, load_patch, need_yard, together
from patcher.cli.options import AsJson, ShowFile, Yard
from patcher.errors import refuse
from patcher.frames.request import FASTEST_STREAM, Asked
from patcher.trade import PRIORITY, TEST_LEVEL

if TYPE_CHECKING:
    from pathlib import Path

    from patcher.show.schema import Show


def send(
    pattern: options.Pattern,
    show: ShowFile,
    on: Annotated[
        str | None, typer.Option(metavar="THING", help="Light only this box, port, run, pixel or prop.")
    ] = None,
    colour: options.ColourName = "white",
    level: options.Level = TEST_LEVEL,
    by: options.By = "rows",
    every: options.Every = 10,
    rate: options.Rate = None,
    fps: options.FramesASecond = None,
    seconds: options.Seconds = None,
    loops: options.Loops = None,
    step: options.Step = False,
    priority: options.Priority = PRIORITY,
    interface: options.Interface = None,
    sync: options.Sync = False,
    to: Annotated[
        str | None, typer.Option(metavar="ADDRESS", help="Send everything to this address, not to the boxes.")
    ] = None,
    yard: Yard = False,
    flashing: options.Flashing = False,
    dry_run: options.DryRun = False,
    as_json: AsJson = False,
) -> None:
    """Send a test pattern to the boxes until Ctrl-C.

    It says what should be lit; at the end all pixels are dark.
    """
    from patcher.cli import playback
    from patcher.frames.pattern_choice import chosen
    from patcher.patch.thing import find, whole_show
    from patcher.stream.sender import targets

    together(("--yard", yard), ("--to or --interface", to or interface))
    wiring = load(show)
    patch = load_patch(show, wiring)
    thing = find(on, wiring, patch) if on else whole_show(wiring)
    if not thing.parts:
        raise refuse(on or str(show), "has no pixels to light", "name a box, port, run, pixel or prop that has")
    frames = fps or min(wiring.show.settings.frame_rate, FASTEST_STREAM)
    looks = chosen(Asked(pattern, colour, by, every, rate, frames, step, flashing, level), wiring, patch, thing)
    boxes = list(dict.fromkeys(wiring.ports[part.run][0] for part in thing.parts))
    goals = targets(wiring.show, patch, boxes, _hosts(show, wiring.show, boxes, to, yard=yard))
    if dry_run:
        playback.dry_run(looks, goals, as_json=as_json)
        return
    if yard:
        need_yard(goals, show)
    how = playback.Playback(
        level, frames, seconds, loops, step, priority, "127.0.0.1" if yard else interface, sync, yard, as_json
    )
    playback.play(looks, wiring, patch, goals, how)


def _hosts(path: Path, show: Show, boxes: list[str], to: str | None, *, yard: bool) -> dict[str, str]:
    """The addresses of boxes that are not sent to by their own."""
    if yard:
        from patcher.yard.yard import near

        return {box: host for box, host in near(path, show).items() if box in boxes}
    if to is None:
        return {}
    from ipaddress import IPv4Address

    try:
        IPv4Address(to)
    except ValueError:
        raise refuse("--to", f"“{to}” is not an IPv4 address", "write one such as 127.0.0.1") from None
    return dict.fromkeys(boxes, to)
