"""The record's file, beside the show file: `heron-lock.toml` → `heron-lock.checks.toml`.

It reads well and is written by Patcher alone: its last line counts what stands above it and seals it with a checksum,
so that half a file, or one that was changed by hand, is known as such, and left as it is.
"""

from __future__ import annotations

import hashlib
import tomllib
from collections.abc import Callable
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import tomli_w
from pydantic import TypeAdapter, ValidationError

from patcher.show.kept_file import change_kept, kept_path, read_kept
from patcher.walk.items import Item, What
from patcher.walk.record import CHAPTERS, Entry, Record, RecordedAnswer

FORMAT = 1
_PROVED = TypeAdapter(dict[str, dict[What, RecordedAnswer]])
_ENTRIES = TypeAdapter(tuple[Entry, ...])

_HEAD = """\
# What was proved of this show; `patcher verify` saves it after every answer. Do not change it by hand: take notes with
# the key t.

"""


def checks_path(show_path: Path, *, practice: bool = False) -> Path:
    """Where the record of a show file stands; that of practice stands apart."""
    return kept_path(show_path, "checks", practice=practice)


def dump(record: Record) -> str:
    """The text of the record's file."""
    proved: dict[str, dict[str, Any]] = {}
    for item, answer in record.answers.items():
        keys: dict[str, Any] = {"says": answer.says, "when": in_minutes(answer.when), "against": answer.against}
        if answer.found:
            keys["found"] = list(answer.found)
        if answer.film:
            keys["film"] = list(answer.film)
        proved.setdefault(item.thing, {})[item.what] = keys
    tables: dict[str, Any] = {"format": FORMAT, "proved": proved}
    for chapter in CHAPTERS:
        if entries := record.chapter(chapter):
            tables[chapter] = [_entry(one) for one in entries]
    text = _HEAD + tomli_w.dumps(tables)
    text = text.encode(errors="replace").decode()  # words of a command line may be no Unicode
    return text + "\n" + _last_line(tables, text) + "\n"


def _entry(one: Entry) -> dict[str, Any]:
    keys = {"thing": one.thing, "when": in_minutes(one.when), "what": one.what, "batch": one.batch, "of": one.of}
    return {key: value for key, value in keys.items() if value is not None}


def in_minutes(when: datetime) -> datetime:
    """The same moment in a zone of whole minutes: TOML (RFC 3339) knows no seconds there, which some old zones have."""
    off = when.utcoffset() or timedelta()
    if not off % timedelta(minutes=1):
        return when
    return when.astimezone(timezone(timedelta(minutes=int(off / timedelta(minutes=1)))))


def _last_line(tables: dict[str, Any], above: str) -> str:
    answers = sum(len(of_thing) for of_thing in tables["proved"].values())
    others = sum(len(tables.get(chapter, ())) for chapter in CHAPTERS)
    seal = hashlib.sha256(above.strip().encode()).hexdigest()[:16]
    plural = f"answer{'s' * (answers != 1)}, {others} other entr{'ies' if others != 1 else 'y'}"
    return f"# The end: {answers} {plural}; {seal}"


def parse(text: str) -> Record:
    """The record of a file's text; ValueError, KeyError, TypeError and their like where it is not one."""
    text = text.replace("\r\n", "\n")
    tables = tomllib.loads(text)
    if tables["format"] != FORMAT:
        raise ValueError(f"it has the format {tables['format']!r}; this version reads {FORMAT}")
    above, _, last = text.rstrip().rpartition("\n")
    if not last.startswith("# The end: "):
        raise ValueError("its end is missing")
    if last != _last_line(tables, above):
        raise ValueError("it was changed by something other than Patcher, or a part of it is missing")
    try:
        proved = _PROVED.validate_python(tables["proved"])
        chapters = [_ENTRIES.validate_python(tables.get(chapter, ())) for chapter in CHAPTERS]
    except ValidationError as error:
        raise TypeError(error) from None
    return Record({Item(t, what): answer for t, own in proved.items() for what, answer in own.items()}, *chapters)


def local_time() -> datetime:
    """Local time to the second, with its zone; UTC where the zone is none that there can be."""
    try:
        return datetime.now().astimezone().replace(microsecond=0)
    except ValueError:
        return datetime.now(UTC).replace(microsecond=0)


def read_record(show_path: Path, *, practice: bool = False) -> Record:
    """The record of a show; an empty one where there is no file yet.

    Raises:
        PatcherError: there is one, but it cannot be read; it is left as it is.
    """
    remedy = "restore your last good copy; or move it away, and start checking from the beginning"
    path = checks_path(show_path, practice=practice)
    return read_kept(path, parse, "record", remedy, rule="checks-file", area="file") or Record()


def change_record(show_path: Path, change: Callable[[Record], Record], *, practice: bool = False) -> Record:
    """Read the record, change it, and write it; see `change_kept`."""
    path = checks_path(show_path, practice=practice)
    return change_kept(path, lambda: read_record(show_path, practice=practice), change, dump)
