"""`film --read`: what a clip says of a show; the picture of it; and the record."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from patcher.cli.inputs import load, load_patch
from patcher.errors import refuse
from patcher.terminal.folds import fold
from patcher.terminal.printed import say_json

if TYPE_CHECKING:
    from patcher.faults import Planned
    from patcher.film.code import Code
    from patcher.film.verdict import Verdict
    from patcher.reports.film_reading import Reading
    from patcher.walk.items import Item

ReadClips = Annotated[
    list[Path] | None, typer.Option("--read", metavar="CLIP", help="Read a clip; may be repeated, a part in each.")
]
PictureFile = Annotated[
    Path | None, typer.Option("--picture", metavar="FILE", help="Draw what is proved over a still: .png or .svg.")
]
WriteShow = Annotated[bool, typer.Option("--write", help="Change the show file to match the wiring.")]


def read(
    show: Path, clips: Sequence[Path], *, on: str | None = None, picture: Path | None = None, write: bool = False,
    practice: bool = False, as_json: bool = False,
) -> None:  # fmt: skip
    """Read clips of a show; print what they say, draw it, and save what they prove.

    Raises:
        PatcherError: a clip or the show cannot be read, or the picture or the show file cannot be written.
        typer.Exit: with 1 where something is wrong with the show or with a clip.
    """
    from patcher.dialogue.consultation import write as write_show
    from patcher.faults import planned
    from patcher.film.clip import extra
    from patcher.reports import film_reading

    if picture is not None and picture.suffix.lower() not in (".png", ".svg"):
        raise refuse("--picture", f"“{picture.name}” is no picture's name", "let it end in .png or in .svg")
    extra()
    wiring = load(show)
    plan = planned(wiring, load_patch(show, wiring))
    reading = read_and_save(show, plan, clips, _code(plan, on), progress(), practice=practice)
    stream = sys.stderr if as_json else sys.stdout

    def say(line: str) -> None:
        print(fold(line, stream), file=stream, flush=True)

    change = film_reading.say(reading, say)
    if picture is not None:
        for path in _draw(reading, picture):
            say(f"Drawn: {path}")
    if write and reading.joined.verdict.faults:
        if change is None:
            raise refuse("--write", "the show file cannot say it", "fix the fault itself")
        write_show(show, change, say)
    if as_json:
        say_json(film_reading.document(reading))
    if not reading.good:
        raise typer.Exit(1)


def _code(plan: Planned, on: str | None) -> Code:
    """What was played: of the whole show, or of one thing."""
    from patcher.film.code import code_of
    from patcher.patch.thing import find, lighting

    if on is None:
        return code_of(plan.patch)
    parts = lighting(find(on, plan.wiring, plan.patch), plan.wiring)
    return code_of(plan.patch, {plan.wiring.source(part.run) for part in parts})


def read_and_save(
    show: Path, plan: Planned, clips: Sequence[Path], code: Code, tell: Callable[[Path, float], None], *, practice: bool
) -> Reading:  # fmt: skip
    """Read the clips, and save what they prove."""
    from patcher.film.clip_reading import read_clips
    from patcher.film.joined import joined
    from patcher.reports.film_reading import Reading
    from patcher.walk.items import digests, items
    from patcher.walk.record_file import read_record

    every = digests(plan.wiring, plan.patch, items(plan.wiring))
    read_record(show, practice=practice)  # one that cannot be read is said before the minutes that reading takes
    found = read_clips(clips, plan, code, tell)
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


def _draw(reading: Reading, picture: Path) -> list[Path]:
    """The picture of each clip; of several, each with its number."""
    from patcher.reports.film_picture import draw

    laid = [clip for clip in reading.clips if clip.verdict is not None]
    paths = [picture] if len(laid) == 1 else [
        picture.with_stem(f"{picture.stem}-{number}") for number in range(1, len(laid) + 1)
    ]  # fmt: skip
    for clip, path in zip(laid, paths, strict=True):
        draw(reading, clip, path)
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
