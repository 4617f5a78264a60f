"""`film --read`: what a clip says of a show; the picture of it; and the record."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from patcher.cli import film_measuring
from patcher.cli.inputs import load, load_patch
from patcher.errors import refuse
from patcher.terminal.folds import fold
from patcher.terminal.printed import say_json

if TYPE_CHECKING:
    from patcher.cli.film_measuring import Wanted
    from patcher.faults import Planned
    from patcher.film.code import Code
    from patcher.film.verdict import Verdict
    from patcher.patch.thing import Thing
    from patcher.remedies.rewrite import Rewritten
    from patcher.reports.film_reading import Reading
    from patcher.walk.items import Item
    from patcher.wiring import Wiring

ReadClips = Annotated[
    list[Path] | None, typer.Option("--read", metavar="CLIP", help="Read a clip; may be repeated, a part in each.")
]
PictureFile = Annotated[
    Path | None, typer.Option("--picture", metavar="FILE", help="Draw what is proved over a still: .png or .svg.")
]
WriteShow = Annotated[bool, typer.Option("--write", help="Change the show file to match the wiring.")]


def read(
    show: Path, clips: Sequence[Path], *, on: str | None = None, picture: Path | None = None, write: bool = False,
    measure: Sequence[str] = (), practice: bool = False, as_json: bool = False,
) -> None:  # fmt: skip
    """Read clips of a show; print what they say, draw it, save what they prove, and write the places of some runs.

    Raises:
        PatcherError: a clip or the show cannot be read, or the picture or the show file cannot be written.
        typer.Exit: with 1 where something is wrong with the show or with a clip.
    """
    from patcher.faults import planned
    from patcher.film.clip import extra
    from patcher.reports import film_reading
    from patcher.show.writer import as_read

    need_picture_name(picture)
    extra()
    kept = as_read(show)
    wiring = load(show)
    plan = planned(wiring, load_patch(show, wiring))
    runs = film_measuring.wanted(show, wiring, measure)
    kept |= as_read(*(one.path for one in runs))
    reading = read_and_save(
        show, plan, clips, code_played(plan, on), progress(), [one.run for one in runs], practice=practice
    )  # fmt: skip
    stream = sys.stderr if as_json else sys.stdout

    def say(line: str) -> None:
        print(fold(line, stream), file=stream, flush=True)

    change = film_reading.say(reading, say)
    if picture is not None:
        for path in draw(reading, picture):
            say(f"Drawn: {path}")
    if write and reading.joined.verdict.faults:
        _write(show, change, say)
    places = _measure(reading, runs, kept, say) if runs else None
    if as_json:
        say_json(film_reading.document(reading) | ({} if places is None else {"measured": places}))
    if not reading.good or any(not one["written"] for one in places or ()):
        raise typer.Exit(1)


def _write(show: Path, change: Rewritten | None, say: Callable[[str], None]) -> None:
    """Change the show file to match the wiring, where it can say it."""
    from patcher.dialogue.consultation import write

    if change is None:
        raise refuse("--write", "the show file cannot say it", "fix the fault itself")
    write(show, change, say)


def _measure(
    reading: Reading, runs: Sequence[Wanted], kept: Mapping[Path, str | None], say: Callable[[str], None]
) -> list[dict[str, Any]]:
    """Say where some runs hang, and write that of all of them or of none; for scripts."""
    from patcher.reports.film_measured import measured_json, say_measured

    found = film_measuring.measure_runs(reading.plan, reading.clips, runs)
    say_measured(found, reading.plan.wiring.show.settings.units, say)
    written = not any(one.against for one in found)
    if written:
        film_measuring.write_places(
            reading.path, kept, {one: of.places for one, of in zip(runs, found, strict=True)}
        )  # fmt: skip
        say(f"Written: {', '.join(str(one.path) for one in runs)}; changed: {reading.path}.")
    return measured_json(found, {one.run: one.file for one in runs}, written=written)


def need_picture_name(picture: Path | None) -> None:
    """Refuse a file that could be no picture."""
    if picture is not None and picture.suffix.lower() not in (".png", ".svg"):
        raise refuse("--picture", f"“{picture.name}” is no picture's name", "let it end in .png or in .svg")


def need_whole_runs(thing: Thing, name: str, wiring: Wiring) -> None:
    """Refuse a thing that has no pixels, or some of a run's alone: the code is read a run at a time."""
    if not thing.parts:
        raise refuse(name, "has no pixels to light", "name a box, port, run or prop that has")
    for part in thing.parts:
        if (part.first, part.last) != (1, wiring.show.runs[part.run].pixels):
            raise refuse(name, f"is a part of {part.run}, and a film proves whole runs", f"film {part.run}")


def code_played(plan: Planned, on: str | None) -> Code:
    """What was played: of the whole show, or of one thing."""
    from patcher.film.code import code_of
    from patcher.patch.thing import find, lighting

    if on is None:
        return code_of(plan.patch)
    thing = find(on, plan.wiring, plan.patch)
    need_whole_runs(thing, on, plan.wiring)
    parts = lighting(thing, plan.wiring)
    return code_of(plan.patch, {plan.wiring.source(part.run) for part in parts})


def read_and_save(
    show: Path, plan: Planned, clips: Sequence[Path], code: Code, tell: Callable[[Path, float], None],
    undrawn: Sequence[str] = (), *, practice: bool,
) -> Reading:  # fmt: skip
    """Read the clips, as if some runs were not drawn, and save what they prove."""
    from patcher.film.clip_reading import read_clips
    from patcher.film.joined import joined
    from patcher.reports.film_reading import Reading
    from patcher.walk.items import digests, items
    from patcher.walk.record_file import read_record

    every = digests(plan.wiring, plan.patch, items(plan.wiring))
    read_record(show, practice=practice)  # one that cannot be read is said before the minutes that reading takes
    known = film_measuring.without_places(plan, undrawn) if undrawn else plan
    found = read_clips(clips, known, code, tell)
    verdicts = [clip.verdict for clip in found if clip.verdict is not None]
    together = joined(plan, verdicts)
    own = [clip.digest for clip in found if clip.verdict is not None]
    proved, left = save(show, plan, together.verdict, every, own, practice=practice)
    return Reading(show, plan, tuple(found), together, tuple(proved), left, practice)


def save(
    show: Path, plan: Planned, verdict: Verdict, every: dict[Item, str], clips: Iterable[str], *, practice: bool
) -> tuple[list[Item], int]:
    """Save what a film proves in the record; the items, and how many are not proved then."""
    from patcher.film.proofs import proved_items, recorded
    from patcher.walk.record import states
    from patcher.walk.record_file import change_record, local_time, read_record

    proved = proved_items(plan.wiring, verdict.pixels, every)
    own = {item: every[item] for item in proved}
    if own:
        record = change_record(
            show, lambda kept: recorded(kept, own, tuple(clips), local_time()), practice=practice
        )  # fmt: skip
    else:
        record = read_record(show, practice=practice)
    return proved, sum(state != "proved" for state in states(record, every).values())


def draw(reading: Reading, picture: Path) -> list[Path]:
    """The picture of each clip; of several, each with its number."""
    from patcher.reports import film_picture

    laid = [clip for clip in reading.clips if clip.verdict is not None]
    paths = [picture] if len(laid) == 1 else [
        picture.with_stem(f"{picture.stem}-{number}") for number in range(1, len(laid) + 1)
    ]  # fmt: skip
    for clip, path in zip(laid, paths, strict=True):
        film_picture.draw(reading, clip, path)
    return paths


def progress() -> Callable[[Path, float], None]:
    """Tells on a terminal how far each clip is read, and about how long it will take."""
    began: dict[Path, float] = {}

    def tell(file: Path, part: float) -> None:
        if not sys.stderr.isatty():
            return
        passed = time.monotonic() - began.setdefault(file, time.monotonic())
        left = f", about {passed * (1 - part) / part:.0f} s left" if part > 0.05 else ""
        order = getattr(sys.stderr, "order", sys.stderr.write)
        order("\r\x1b[K")
        if part < 1:
            filled = "█" * round(20 * part)
            print(f"{file.name} {filled:░<20} {part:4.0%}{left}", end="", file=sys.stderr, flush=True)

    return tell
