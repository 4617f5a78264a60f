"""The file of what was ticked off as done, beside the show file: `heron-lock.toml` → `heron-lock.done.toml`."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path
from typing import Any

import tomli_w
from pydantic import TypeAdapter, ValidationError

from patcher.season.jobs import Job
from patcher.season.ticks import Answered, Done, Season, Ticks, Worked
from patcher.show.kept_file import change_kept, kept_path, read_kept
from patcher.walk.record_file import in_minutes

FORMAT = 1
_JOBS = TypeAdapter(tuple[Job, ...])
_DONE = TypeAdapter(tuple[Done, ...])
_LOG = TypeAdapter(tuple[Worked, ...])
_SEASONS = TypeAdapter(tuple[Season, ...])
_ANSWERED = TypeAdapter(dict[str, Answered])
_JOB_KEYS = ("step", "kind", "name")

_HEAD = """\
# What was ticked off as tested, hung, joined and powered, and how long it took; `patcher todo` says what is to do.

"""


def ticks_path(show_path: Path, *, practice: bool = False) -> Path:
    """Where it stands what was ticked off as done of a show file; that of practice stands apart."""
    return kept_path(show_path, "done", practice=practice)


def dump(ticks: Ticks) -> str:
    """The text of the file."""
    done = [{**asdict(job), "against": held.against, "when": in_minutes(held.when)} for job, held in ticks.done.items()]
    log = [
        {key: value for key, value in asdict(one).items() if value is not None} | {"when": in_minutes(one.when)}
        for one in ticks.log
    ]
    seasons = [{"ended": in_minutes(one.ended), "spent": [asdict(each) for each in one.spent]} for one in ticks.seasons]
    answered = {
        box: {"port_addresses": list(one.port_addresses), "when": in_minutes(one.when)}
        for box, one in ticks.answered.items()
    }
    tables: dict[str, Any] = {"format": FORMAT, "done": done, "log": log, "season": seasons, "answered": answered}
    return _HEAD + tomli_w.dumps(tables)


def parse(text: str) -> Ticks:
    """What was ticked off, of its file's text; ValueError, KeyError, TypeError and their like where it is not one."""
    tables = tomllib.loads(text)
    if tables["format"] != FORMAT:
        raise ValueError(f"it has the format {tables['format']!r}; this version reads {FORMAT}")
    try:
        rows = tables["done"]
        jobs = _JOBS.validate_python([{key: row[key] for key in _JOB_KEYS} for row in rows])
        rest = [{key: value for key, value in row.items() if key not in _JOB_KEYS} for row in rows]
        done = dict(zip(jobs, _DONE.validate_python(rest), strict=True))
        log, seasons = _LOG.validate_python(tables["log"]), _SEASONS.validate_python(tables["season"])
        return Ticks(done, log, seasons, _ANSWERED.validate_python(tables["answered"]))
    except ValidationError as error:
        raise TypeError(error) from None


def read_ticks(show_path: Path, *, practice: bool = False) -> Ticks:
    """What was ticked off as done of a show; nothing where there is no file yet.

    Raises:
        PatcherError: there is one, but it cannot be read; it is left as it is.
    """
    remedy = "bring back the last good one; or move it away: then all is still to do"
    path, kind = ticks_path(show_path, practice=practice), "file of what is done"
    return read_kept(path, parse, kind, remedy, rule="file-of-what-is-done", area="file") or Ticks()


def change_ticks(show_path: Path, change: Callable[[Ticks], Ticks], *, practice: bool = False) -> Ticks:
    """Read what was ticked off as done, change it, and write it; see `change_kept`."""
    path = ticks_path(show_path, practice=practice)
    return change_kept(path, lambda: read_ticks(show_path, practice=practice), change, dump)
