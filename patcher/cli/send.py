"""`send`: test patterns onto the wire, with words for what should be lit."""

from __future__ import annotations

from typing import Annotated

import typer

from patcher.cli.inputs import load, load_patch, need_yard, together
from patcher.cli.options import USUAL, AsJson, DryRun, Flashing, Pattern, PatternOptions, ShowFile, To, Yard, spread
from patcher.errors import refuse


@spread
def send(
    pattern: Pattern,
    show: ShowFile,
    on: Annotated[
        str | None, typer.Option(metavar="THING", help="Light only this box, port, run, pixel or prop.")
    ] = None,
    options: PatternOptions = USUAL,
    to: To = None,
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

    together(("--yard", yard), ("--to or --interface", to or options.interface))
    wiring = load(show)
    patch = load_patch(show, wiring)
    thing = find(on, wiring, patch) if on else whole_show(wiring)
    if not thing.parts:
        raise refuse(on or str(show), "has no pixels to light", "name a box, port, run, pixel or prop that has")
    looks = chosen(options.asked(pattern, wiring.show, flashing=flashing), wiring, patch, thing)
    boxes = list(dict.fromkeys(wiring.ports[part.run][0] for part in thing.parts))
    goals = playback.goals_of(show, wiring.show, patch, boxes, to, yard=yard)
    if not yard and lights_much(looks, thing):
        playback.warn_too_bright(show, wiring, options.level)
    if dry_run:
        playback.dry_run(looks, goals, options.level, as_json=as_json)
        return
    if yard:
        need_yard(show)
    playback.play(looks, wiring, patch, goals, options, to_yard=yard, as_json=as_json)
