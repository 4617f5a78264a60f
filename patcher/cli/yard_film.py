"""`yard --film` and `film --demo`: the yard filmed, to try the film without a house."""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from patcher.cli.film_reading import draw, need_picture_name, progress
from patcher.cli.inputs import load, load_patch
from patcher.errors import refuse
from patcher.terminal.folds import fold
from patcher.terminal.printed import say_json

if TYPE_CHECKING:
    from patcher.faults import Fault, Planned
    from patcher.frames.film_code import Code
    from patcher.terminal.signals import Stop
    from patcher.yard.night_picture import Camera

FilmFile = Annotated[
    Path | None, typer.Option("--film", metavar="CLIP", help="Film the yard while it plays the film's code: an .mp4.")
]
Demo = Annotated[bool, typer.Option("--demo", help="Film the yard with some faults, and read that clip.")]

WIDTH, HEIGHT, RATE = 1280, 720, 30
MORE = 3.0
"""Seconds that a clip lasts longer than the code."""


def film_yard(
    show: Path, clip: Path, *, on: str | None = None, fault: Sequence[str] = (), seed: int = 0, as_json: bool = False
) -> None:
    """Write a clip of what a camera would see of a show's simulated pixels while the code plays.

    Raises:
        PatcherError: the show or a fault is wrong, nothing of it has a picture, or the clip could not be written.
        typer.Abort: it was stopped; no clip is there then.
    """
    from patcher.clip.video import extra
    from patcher.faults import build, parse
    from patcher.reports import yard_film_report
    from patcher.terminal.signals import stopping
    from patcher.yard.clip_file import refuse_clip, write_clip

    refuse_clip(clip)
    extra()
    plan, code = _planned(show, on)
    built = build(plan.wiring, [parse(text, plan.wiring) for text in fault]).faults
    camera = _camera(show, plan, code, built, seed)
    with stopping() as stop:
        write_clip(camera, clip, _unless(stop, progress(reads=False), clip))
    if as_json:
        say_json(yard_film_report.document(clip, camera, built))
    else:
        _say(yard_film_report.lines(show, clip, camera, built, on, plan.wiring))


def demo(
    show: Path, *, on: str | None = None, fault: Sequence[str] = (), picture: Path | None = None, as_json: bool = False
) -> None:
    """Film the yard with some faults and read that clip; nothing is kept of it.

    Raises:
        PatcherError: as `film_yard`, or the picture could not be written.
        typer.Abort: it was stopped.
        typer.Exit: with 1 where the reading did not find what was put in.
    """
    from patcher.clip.video import extra
    from patcher.faults import build, parse
    from patcher.film.proofs import read_only
    from patcher.reports import film_reading, yard_film_report
    from patcher.terminal.signals import stopping
    from patcher.yard.clip_file import write_clip
    from patcher.yard.filmed import telling_faults

    need_picture_name(picture)
    extra()
    plan, code = _planned(show, on)
    asked = [parse(text, plan.wiring) for text in fault]
    built = build(plan.wiring, asked).faults if asked else telling_faults(plan, code)
    camera = _camera(show, plan, code, built, 0)
    if not as_json:
        _say(yard_film_report.begins(camera, built))
    with tempfile.TemporaryDirectory(prefix="patcher-film-") as folder, stopping() as stop:
        clip = Path(folder) / "yard.mp4"
        write_clip(camera, clip, _unless(stop, progress(reads=False), Path("Filming")))
        part = _unless(stop, progress(), Path("the clip"))
        reading = read_only(show, plan, [clip], code, lambda _, done: part(done))
        drawn = draw(reading, picture) if picture is not None else []
    told = yard_film_report.held_against(reading, built)
    if as_json:
        say_json(film_reading.document(reading) | yard_film_report.demo_document(told, built))
    else:
        film_reading.say(reading, lambda line: _say([line]))
        _say([f"Drawn: {path}" for path in drawn])
        _say(yard_film_report.ends(told, plan.wiring))
    if not told.good:
        raise typer.Exit(1)


def _planned(show: Path, on: str | None) -> tuple[Planned, Code]:
    """A show, and what it plays."""
    from patcher.faults import planned
    from patcher.frames.film_code import played

    wiring = load(show)
    plan = planned(wiring, load_patch(show, wiring))
    return plan, played(wiring, plan.patch, on, str(show))[1]


def _camera(show: Path, plan: Planned, code: Code, built: Sequence[Fault], seed: int) -> Camera:
    """A camera before the yard; PatcherError where there is nothing to be seen."""
    from patcher.yard.filmed import filmed
    from patcher.yard.night_picture import Camera, Shot

    before = filmed(plan, code, built, seed)
    if not before.runs:
        raise refuse(str(show), "has no picture of anything that plays, so it cannot be filmed", "give a run a shape")
    return Camera(before, Shot(WIDTH, HEIGHT, RATE, code.seconds + MORE, 0.4 * code.seconds, seed))


def _unless(stop: Stop, tell: Callable[[Path, float], None], name: Path) -> Callable[[float], None]:
    """Tells how far something is; where somebody asked to stop, it ends it."""

    def told(part: float) -> None:
        if stop():
            raise typer.Abort
        tell(name, part)

    return told


def _say(lines: Sequence[str]) -> None:
    for line in lines:
        print(fold(line, sys.stdout), flush=True)
