"""`send`: test patterns onto the wire, with words for what should be lit."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from patcher.cli.inputs import load, load_patch, need_yard, together
from patcher.cli.options import USUAL, AsJson, DryRun, Flashing, Pattern, PatternOptions, ShowFile, Yard, spread
from patcher.errors import refuse

if TYPE_CHECKING:
    from pathlib import Path

    from patcher.show.schema import Show
    from patcher.wiring import Wiring


@spread
def send(
    pattern: Pattern,
    show: ShowFile,
    on: Annotated[
        str | None, typer.Option(metavar="THING", help="Light only this box, port, run, pixel or prop.")
    ] = None,
    options: PatternOptions = USUAL,
    to: Annotated[
        str | None, typer.Option(metavar="ADDRESS", help="Send everything to this address, not to the boxes.")
    ] = None,
    yard: Yard = False,
    flashing: Flashing = False,
    dry_run: DryRun = False,
    as_json: AsJson = False,
) -> None:
    """Send a test pattern to the boxes until Ctrl-C.

    It says what should be lit; at the end all pixels are dark.
    """
    from patcher.cli import playback
    from patcher.frames.pattern_choice import chosen
    from patcher.frames.patterns import lights_much
    from patcher.patch.thing import find, whole_show
    from patcher.stream.sender import targets

    together(("--yard", yard), ("--to or --interface", to or options.interface))
    wiring = load(show)
    patch = load_patch(show, wiring)
    thing = find(on, wiring, patch) if on else whole_show(wiring)
    if not thing.parts:
        raise refuse(on or str(show), "has no pixels to light", "name a box, port, run, pixel or prop that has")
    looks = chosen(options.asked(pattern, wiring.show, flashing=flashing), wiring, patch, thing)
    boxes = list(dict.fromkeys(wiring.ports[part.run][0] for part in thing.parts))
    goals = targets(wiring.show, patch, boxes, _hosts(show, wiring.show, boxes, to, yard=yard))
    if not yard and lights_much(looks, thing):
        _warn_too_bright(show, wiring, options.level)
    if dry_run:
        playback.dry_run(looks, goals, options.level, as_json=as_json)
        return
    if yard:
        need_yard(goals, show)
    playback.play(looks, wiring, patch, goals, options, to_yard=yard, as_json=as_json)


def _warn_too_bright(path: Path, wiring: Wiring, level: float) -> None:
    """Say it where the supplies, wires and fuses of the show do not hold every pixel white at a level."""
    from patcher.power import shortfalls
    from patcher.power.flow import power

    if not shortfalls.described(wiring.show):
        return
    state = power(wiring, level=level)
    if not shortfalls.holds(state):
        from patcher.reports import send_report

        most, limits = shortfalls.brightest(state)
        send_report.say_too_bright(path, level, most, limits, shortfalls.too_bright(state))


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
