"""The runs that a clip is to measure: which, into which CSV file, and all of it into the show file, or nothing."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from patcher.clip.registration import Points
from patcher.errors import PatcherError, refuse
from patcher.faults import Planned, planned
from patcher.film.clip_reading import ClipReading
from patcher.film.measured import Measured, measured
from patcher.show.parser import read
from patcher.show.run_tables import BandRun, PlainRun, PointsRun, Run
from patcher.show.schema import Show
from patcher.show.show_file import read_points
from patcher.show.text_edits import with_points
from patcher.show.writer import UNSEALED, as_read, refuse_output, sealed, write_together
from patcher.units import METRES_PER
from patcher.wiring import Wiring, problems, wire


@dataclass(frozen=True)
class Wanted:
    """A run that is to be measured.

    Attributes:
        run: the run.
        file: the CSV file for its places, as the show file names it.
        path: the same on disk.
        named: whether the person has named it: then it takes the place of whatever is there.
    """

    run: str
    file: str
    path: Path
    named: bool


def wanted(show: Path, wiring: Wiring, measure: Iterable[str]) -> list[Wanted]:
    """The runs to be measured, each with its file.

    Raises:
        PatcherError: one of them cannot be measured, or its file would take the place of a person's, or the show file
            is written so that it cannot be changed.
    """
    runs = wiring.show.runs
    found: dict[str, Wanted] = {}
    for word in measure:
        run, named, file = word.partition("=")
        _need_measurable(wiring.show, run)
        one = Wanted(run, file or f"{run}.csv", show.parent / (file or f"{run}.csv"), bool(named))
        if run in found or one.path in {other.path for other in found.values()}:
            raise refuse("--measure", f"names {word} twice", "name each run, and each file, once")
        _refuse_foreign(show, wiring.show, one)
        found[run] = one
    if found and not any(run.hung and run.shape_name != "none" and run.name not in found for run in runs.values()):
        todo = "draw some runs that hang around it, by a tape: they tell where a place of the picture is"
        raise refuse("--measure", "leaves no run that is drawn", todo)
    # What the file cannot say is said before the minutes that reading takes.
    made_up = {one: np.full((runs[one.run].pixels, 2), 1.0) for one in found.values()}
    _changed(show, as_read(show)[show] or "", made_up)
    return list(found.values())


def _need_measurable(show: Show, run: str) -> None:
    """Refuse a run that no clip can measure."""
    if run not in show.runs:
        raise refuse("--measure", f"there is no run “{run}”", f"name one of {', '.join(show.runs)}")
    if not show.runs[run].hung:
        raise refuse(run, "is not up this season, so no clip shows it", "hang it, and take hung = false out")
    if isinstance(show.runs[run], BandRun):
        raise refuse(run, "is a part of a grid, whose places its prop draws", "correct area of its prop")


def _refuse_foreign(show: Path, plan: Show, one: Wanted) -> None:
    """Refuse a file that is another run's, or a person's whom nobody has asked."""
    folder = show.resolve().parent
    path = one.path.resolve()
    if not path.is_relative_to(folder) or path.suffix.lower() != ".csv":
        raise refuse("--measure", f"“{one.file}” is no CSV file beside the show file", "name one that ends in .csv")
    own = False
    for run in plan.runs.values():
        if isinstance(run, PointsRun) and run.file and (folder / run.file).resolve() == path:
            own = own or run.name == one.run
            if run.name != one.run:
                says = f"has the places of {run.name}; nothing was changed"
                raise refuse(str(one.path), says, f"name another file: --measure {one.run}=OTHER.csv")
    if one.named or not path.exists():
        return
    if not own:
        says = "exists already, and is not this run's; nothing was changed"
        raise refuse(str(one.path), says, f"move it away, or name it to replace it: --measure {one.run}={one.file}")
    try:
        refuse_output(one.path)
    except PatcherError:
        says = "exists already, and Patcher did not write it, or it was changed since; nothing was changed"
        todo = f"name it to replace it: --measure {one.run}={one.file}"
        raise refuse(str(one.path), says, todo) from None


def without_places(plan: Planned, runs: Iterable[str]) -> Planned:
    """The same plan with some runs not drawn: where they hang is what a clip is to tell."""
    show = plan.wiring.show
    undrawn = dict(show.runs)
    for name in runs:
        run = show.runs[name]
        keys = {key: getattr(run, key) for key in Run.model_fields}
        undrawn[name] = PlainRun.model_construct(drawn=run.pixels, **keys).called(name)
    return planned(wire(show.model_copy(update={"runs": undrawn})), plan.patch)


def measure_runs(plan: Planned, clips: Sequence[ClipReading], runs: Iterable[Wanted]) -> list[Measured]:
    """Where the runs hang, as the clips show them together."""
    show = plan.wiring.show
    found = []
    for one in runs:
        run = show.runs[one.run]
        seen = [clip.sights[one.run] for clip in clips if one.run in clip.sights]
        found.append(measured(one.run, run.pixels, show.type_of(run).pitch, seen))
    return found


def write_places(show: Path, seen: Mapping[Path, str | None], runs: Mapping[Wanted, Points]) -> None:
    """Write the places of runs, and draw the runs by them: the show file and all CSV files, or none.

    Args:
        show: the show file.
        seen: what it and the CSV files said when they were read.
        runs: the places of each, in metres.

    Raises:
        PatcherError: the show file cannot say it, or was changed meanwhile, or a file cannot be written; all are as
            they were.
    """
    text, rows = _changed(show, seen[show] or "", runs)
    csv = {one.path: sealed(_csv(rows[one.file])) for one in runs}
    write_together(seen, csv | {show: text})


def _changed(show: Path, text: str, runs: Mapping[Wanted, Points]) -> tuple[str, dict[str, list[list[float]]]]:
    """The text of a show file whose runs are drawn by their places, read back; and the rows of each CSV file."""
    before = read(text, _points(show, {}), str(show)).show
    if before is None:
        raise refuse(str(show), "cannot be read any more; nothing was written", "run the command again")
    rows = {one.file: _rows(places, before.settings.units) for one, places in runs.items()}
    new = text
    for one in runs:
        new = with_points(new, one.run, one.file)
    _read_back(show, before, new, rows, {one.run: one.file for one in runs})
    return new, rows


def _rows(places: Points, units: str) -> list[list[float]]:
    """Places as the show's file has them, to a tenth of a millimetre or less."""
    return [[round(value / METRES_PER[units], 4) + 0.0 for value in place] for place in places.tolist()]


def _csv(rows: Iterable[Iterable[float]]) -> str:
    lines = [",".join(f"{value:.4f}" for value in row) for row in rows]
    return "\n".join([f'x,y,"{UNSEALED}"', *lines, ""])


def _points(show: Path, new: Mapping[str, list[list[float]]]) -> Callable[[str], list[list[float]]]:
    """Reads the points files of a show, some as they will be."""
    folder = show.resolve().parent
    return lambda name: new[name] if name in new else read_points(folder, name)


def _read_back(
    show: Path, before: Show, text: str, rows: Mapping[str, list[list[float]]], drawn: Mapping[str, str]
) -> None:
    """PatcherError where a text does not say what it should: the same show, but for how some runs are drawn."""
    found = read(text, _points(show, rows), str(show))
    todo = "give each run a heading of its own, [run.NAME]"
    for finding in (*found.findings, *(problems(wire(found.show)) if found.show else ())):
        says = f"would then be wrong: {finding.where} {finding.says}; nothing was written"
        raise refuse(str(show), says, finding.remedy)
    after = found.show
    same = after is not None and all(
        after.runs[name] == run if name not in drawn
        else isinstance(own := after.runs[name], PointsRun)
        and (own.file, own.pixels, own.data_in, own.gaps) == (drawn[name], run.pixels, "first", ())
        and all(getattr(own, key) == getattr(run, key) for key in Run.model_fields)
        for name, run in before.runs.items()
    )  # fmt: skip
    if after is None or not same or after.model_copy(update={"runs": {}}) != before.model_copy(update={"runs": {}}):
        raise refuse(str(show), "is written in a way that cannot be changed here; nothing was written", todo)
