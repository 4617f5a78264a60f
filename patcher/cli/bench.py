"""`bench`: the patterns of `send` on one string, with no show file, or as a run of a show will have it."""

from __future__ import annotations

import sys
from ipaddress import IPv4Address
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from patcher.cli.inputs import load, load_patch
from patcher.cli.options import USUAL, AsJson, BenchPattern, DryRun, Flashing, PatternOptions, spread
from patcher.errors import choose_from, refuse
from patcher.frames.request import PatternName
from patcher.visible import one_line

if TYPE_CHECKING:
    from datetime import datetime

    from patcher.patch.patch import Patch
    from patcher.wiring import Wiring

AS_IT_SHOULD = "as it should be"
"""The result of a string that has passed: it ticks the string off as tested."""


Pixels = Annotated[int | None, typer.Option(metavar="N", help="How many pixels the string has.")]
ColourOrder = Annotated[
    str | None,
    typer.Option(metavar="RGB", help="Colour order on the wire: RGB if the box reorders.  [default: RGB]"),
]
ProtocolName = Annotated[
    str | None, typer.Option(metavar="NAME", help="e131 (also called sACN) or artnet.  [default: e131]")
]
Universe = Annotated[int | None, typer.Option(metavar="N", help="Universe at which the string starts.  [default: 1]")]
Channel = Annotated[int | None, typer.Option(metavar="N", help="Channel at which it starts there.  [default: 1]")]
Like = Annotated[str | None, typer.Option("--as", metavar="SHOW:RUN", help="Take all of these from a run of a show.")]
Result = Annotated[
    str | None, typer.Option(metavar="TEXT", help="With --as: the result, to save in the show's record.")
]


@spread
def bench(
    address: Annotated[str, typer.Argument(metavar="ADDRESS", help="IPv4 address of the box.")],
    pattern: BenchPattern = PatternName.primaries,
    pixels: Pixels = None,
    colour_order: ColourOrder = None,
    protocol: ProtocolName = None,
    universe: Universe = None,
    channel: Channel = None,
    like: Like = None,
    options: PatternOptions = USUAL,
    flashing: Flashing = False,
    result: Result = None,
    dry_run: DryRun = False,
    as_json: AsJson = False,
) -> None:
    """Send a test pattern to one string on the bench.

    Until Ctrl-C; at the end the string is dark.
    """
    from patcher.cli import playback
    from patcher.frames.pattern_choice import chosen
    from patcher.frames.single_string import settings
    from patcher.patch.thing import whole_show
    from patcher.stream.sender import targets

    if result is not None and (like is None or dry_run):
        raise refuse("--result", "is saved for a run of a show that was lit", "add --as SHOW:RUN, without --dry-run")
    said = {"pixels": pixels, "colour_order": colour_order, "protocol": protocol, "universe": universe}
    wiring, patch = _string_or_run(address, like, said | {"channel": channel})
    looks = chosen(options.asked(pattern, wiring.show, flashing=flashing), wiring, patch, whole_show(wiring))
    goals = targets(wiring.show, patch, wiring.show.controllers, {})
    print(settings(wiring, patch), file=sys.stderr)
    if dry_run:
        playback.dry_run(looks, goals, options.level, as_json=as_json)
        return
    try:
        playback.play(looks, wiring, patch, goals, options, as_json=as_json)
    except typer.Exit:
        if like is not None:
            _say_unsaved(like)
        raise
    if like is not None:
        words = result if as_json else result or _asked()
        _save(like, pattern.value, words, practice=IPv4Address(address).is_loopback, as_json=as_json)


def _string_or_run(address: str, like: str | None, options: dict[str, Any]) -> tuple[Wiring, Patch]:
    """The show of the string that the options describe, or of the run that --as names; and its patch."""
    said = {name: value for name, value in options.items() if value is not None}
    return _string(address, said) if like is None else _run(address, like, said)


def _string(address: str, said: dict[str, Any]) -> tuple[Wiring, Patch]:
    """The show of the string that the options describe, and its patch."""
    from patcher.frames.single_string import String, of_string

    if "pixels" not in said:
        raise refuse("--pixels", "is missing", "say how many pixels the string has, or --as SHOW:RUN")
    return of_string(address, String(**said))


def _run(address: str, like: str, said: dict[str, Any]) -> tuple[Wiring, Patch]:
    """The show of the run that --as names, and its patch."""
    from patcher.frames.single_string import of_run

    if said:
        options = ", ".join("--" + name.replace("_", "-") for name in said)
        raise refuse(options, "comes from the run with --as", "leave out the one or the other")
    path, colon, run = like.rpartition(":")
    if not colon or not path:
        raise refuse("--as", f"“{like}” does not name a run of a show", "write the show file, a colon and the run")
    whole = load(Path(path))
    if run not in whole.show.runs:
        raise refuse("--as", f"no run of {path} is named “{run}”", choose_from(run, whole.show.runs))
    return of_run(address, whole, load_patch(Path(path), whole), run)


def _asked() -> str:
    """The result in the person's words; empty where nobody is at the keys, or they say nothing."""
    if not sys.stdin.isatty():
        return ""
    print("Was it as it should be? y yes · or your own words, then Enter · Enter alone saves nothing", file=sys.stderr)
    said = sys.stdin.readline().strip()
    return {"y": AS_IT_SHOULD}.get(said.lower(), said)


def _say_unsaved(like: str) -> None:
    """Say that no result is saved, since nobody saw the string with all of the pattern."""
    run = like.rpartition(":")[2]
    print(
        f"No result was saved for {run}: the box could not be reached. Fix that, then bench it again.", file=sys.stderr
    )


def _save(like: str, pattern: str, result: str | None, *, practice: bool, as_json: bool) -> None:
    """Save the result of a string in the record beside its show; of a simulated box in that of practice."""
    from patcher.walk.record import Entry
    from patcher.walk.record_file import change_record, checks_path, local_time

    if not result:
        return
    path, _, run = like.rpartition(":")
    entry = Entry(run, local_time(), f"{pattern}: {result}")
    change_record(Path(path), lambda record: record.added("bench", entry), practice=practice)
    if result == AS_IT_SHOULD:
        _tick(Path(path), run, entry.when, practice=practice)
    file = checks_path(Path(path), practice=practice).name
    words = f"Saved for {run} in {file}: {one_line(result)}" + " (practice: that box is this machine)" * practice
    print(words, file=sys.stderr if as_json else sys.stdout)


def _tick(show: Path, run: str, when: datetime, *, practice: bool) -> None:
    """Tick a string off as tested on the bench: `todo` lists it no more."""
    from patcher.season.jobs import Job, jobs
    from patcher.season.ticks_file import change_ticks

    planned, job = jobs(load(show)), Job("bench", "run", run)
    if job in planned:
        change_ticks(show, lambda kept: kept.ticked({job: planned[job]}, when), practice=practice)
