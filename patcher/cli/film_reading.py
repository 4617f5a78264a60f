"""`film --read`: what a clip says of a show; the picture of it; and the record."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from patcher.cli.inputs import load, load_patch
from patcher.errors import refuse
from patcher.terminal.folds import fold
from patcher.terminal.printed import say_json

if TYPE_CHECKING:
    from patcher.film.places import Wanted
    from patcher.film.proofs import Reading
    from patcher.remedies.rewrite import Rewritten

ReadClips = Annotated[
    list[Path] | None, typer.Option("--read", metavar="CLIP", help="Read a clip; may be repeated, a part in each.")
]
PictureFile = Annotated[
    Path | None, typer.Option("--picture", metavar="FILE", help="Draw what is proved over a still: .png or .svg.")
]
Measure = Annotated[
    list[str] | None,
    typer.Option(
        "--measure", metavar="RUN[=CSV]", help="Take a run's places from the clips into the show file and RUN.csv."
    ),
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
    from patcher.clip.video import extra
    from patcher.faults import planned
    from patcher.film.places import wanted
    from patcher.film.proofs import read_and_save
    from patcher.frames.film_code import played
    from patcher.reports import film_reading
    from patcher.show.writer import as_read

    need_picture_name(picture)
    extra()
    kept = as_read(show)
    wiring = load(show)
    plan = planned(wiring, load_patch(show, wiring))
    _, code = played(wiring, plan.patch, on, str(show))
    runs = wanted(show, wiring, measure)
    kept |= as_read(*(one.path for one in runs))
    try:
        reading = read_and_save(show, plan, clips, code, progress(), [one.run for one in runs], practice=practice)
    except KeyboardInterrupt:
        print("\nStopped: the clips are not read, and nothing was written.", file=sys.stderr)
        raise typer.Exit(130) from None
    stream = sys.stderr if as_json else sys.stdout

    def say(line: str) -> None:
        print(fold(line, stream), file=stream, flush=True)

    change = film_reading.say(reading, say)
    if practice and reading.left:
        say("With --yard, verify looks at a simulated house; it has the faults that --fault gives it, and no others.")
    if picture is not None:
        for path in draw(reading, picture):
            say(f"Drawn: {path}")
    if write and reading.joined.verdict.faults:
        _write(show, change, say, practice=practice)
    places = _measure(reading, runs, kept, say) if runs else None
    if as_json:
        say_json(film_reading.document(reading) | ({} if places is None else {"measured": places}))
    if not reading.good or any(not one["written"] for one in places or ()):
        raise typer.Exit(1)


def _write(show: Path, change: Rewritten | None, say: Callable[[str], None], *, practice: bool) -> None:
    """Change the show file to match the wiring, where it can say it."""
    from patcher.dialogue.consultation import write

    if change is None:
        raise refuse("--write", "the show file cannot say it", "fix the fault itself")
    write(show, change, say, practice=practice)


def _measure(
    reading: Reading, runs: Sequence[Wanted], kept: Mapping[Path, str | None], say: Callable[[str], None]
) -> list[dict[str, Any]]:
    """Say where some runs hang, and write that of all of them or of none; for scripts."""
    from patcher.film.places import measure_runs, write_places
    from patcher.reports.film_measured import measured_json, say_measured

    found = measure_runs(reading.plan, reading.clips, runs)
    say_measured(found, reading.plan.wiring.show.settings.units, say)
    written = not any(one.against for one in found)
    if written:
        write_places(
            reading.path, kept, {one: of.places for one, of in zip(runs, found, strict=True)}
        )  # fmt: skip
        say(f"Written: {', '.join(str(one.path) for one in runs)}; changed: {reading.path}.")
    return measured_json(found, {one.run: one.file for one in runs}, written=written)


def need_picture_name(picture: Path | None) -> None:
    """Refuse a file that could be no picture."""
    if picture is not None and picture.suffix.lower() not in (".png", ".svg"):
        raise refuse("--picture", f"“{picture.name}” is no picture's name", "let it end in .png or in .svg")


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


LIGHTS_READ = 0.93
"""From this part on what is wrong is looked for: how long that takes, nobody knows before."""
TOLD_AT = (0.0, 0.25, 0.5, 0.75, LIGHTS_READ)
"""Where no terminal draws a bar, these parts are told in lines."""


def progress(*, reads: bool = True) -> Callable[[Path, float], None]:
    """Tells how far each clip is read, or made, and about how long that will take: as a bar; off a terminal, where one
    is read, in a few lines.
    """
    began: dict[Path, float] = {}
    told: dict[Path, int] = {}

    def tell(file: Path, part: float) -> None:
        passed = time.monotonic() - began.setdefault(file, time.monotonic())
        left = f", about {passed * (1 - part) / part:.0f} s left" if part > 0.05 else ""
        left = "; looking for what is wrong" if reads and part >= LIGHTS_READ else left
        if not sys.stderr.isatty():
            if reads and part < 1 and told.get(file, 0) < (now := sum(part >= at for at in TOLD_AT)):
                told[file] = now
                print(f"Reading {file.name}: {part:.0%}{left}", file=sys.stderr, flush=True)
            return
        order = getattr(sys.stderr, "order", sys.stderr.write)
        order("\r\x1b[K")
        if part < 1:
            filled = "█" * round(20 * part)
            print(f"{file.name} {filled:░<20} {part:4.0%}{left}", end="", file=sys.stderr, flush=True)

    return tell
