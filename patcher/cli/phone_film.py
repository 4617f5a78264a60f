"""What `phone` needs to read clips: `film`'s own advice, reading, words and picture, without a terminal."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from patcher.phone.content import Content
    from patcher.phone.film_thread import FilmReader, FilmVerdict


def film_reader() -> FilmReader:
    """Reads clips as `film --read` does, and keeps the same record."""
    from patcher.clip.video import lacks
    from patcher.phone.film_thread import FilmReader

    return FilmReader(lacks, _advice, _read)


def _advice(plan: Content) -> Sequence[str]:
    from patcher.cli.film import filming_of
    from patcher.patch.thing import whole_show
    from patcher.reports import film_report

    playing = filming_of(plan.path, plan.wiring, whole_show(plan.wiring), plan.code)
    return [*film_report.advice(playing), *film_report.warnings(playing)]


def _read(plan: Content, clip: Path, tell: Callable[[float], None]) -> FilmVerdict:
    from patcher.faults import planned
    from patcher.film.proofs import read_and_save
    from patcher.phone.film_thread import FilmVerdict
    from patcher.reports import film_picture, film_reading

    whole = planned(plan.wiring, plan.patch)
    reading = read_and_save(
        plan.path, whole, [clip], plan.code, lambda _, part: tell(part), practice=plan.practice
    )  # fmt: skip
    lines: list[str] = []
    film_reading.say(reading, lines.append)
    picture = None
    if reading.clips[0].verdict is not None:
        drawn = clip.with_name("verdict.png")
        film_picture.draw(reading, reading.clips[0], drawn)
        picture = drawn.read_bytes()
    return FilmVerdict(lines, reading.good, picture)
