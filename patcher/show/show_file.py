"""Reads the show file and the points files beside it from disk."""

from __future__ import annotations

import contextlib
import csv
import re
import stat
from functools import lru_cache
from pathlib import Path

from patcher.errors import PatcherError, refuse
from patcher.show.parser import ParsedShow, read
from patcher.show.writer import LARGEST_FILE


def read_show(path: Path) -> ParsedShow:
    """Read the show file at `path` and the points files that it names.

    Raises:
        PatcherError: there is no such file, or it is no text, or no TOML.

    """
    text = read_text(path)
    folder = path.resolve().parent

    @lru_cache(maxsize=1)
    def points(name: str) -> list[list[float]]:
        return read_points(folder, name)

    return read(text, points, str(path))


def read_text(path: Path) -> str:
    """The text of a file of a person's; PatcherError says what it is instead, where it is none."""
    where = str(path)
    try:
        kind = path.stat().st_mode
        if not (stat.S_ISREG(kind) or stat.S_ISDIR(kind)):
            raise refuse(where, "is not an ordinary file", "name the show's .toml file")
        with path.open("rb") as file:
            octets = file.read(LARGEST_FILE + 1)
    except FileNotFoundError:
        raise refuse(where, "was not found", _beside(path)) from None
    except IsADirectoryError:
        raise refuse(where, "is a folder, not a file", _beside(path / "x")) from None
    except OSError as error:
        raise refuse(where, f"cannot be read: {error.strerror}", "check its name and its permissions") from None
    except ValueError:
        raise refuse(where.replace("\0", "\\0"), "cannot be the name of a file", "check the name") from None
    if len(octets) > LARGEST_FILE:
        says = f"is larger than {LARGEST_FILE // 1024**2} MiB; a show of all 63 999 universes takes about 1 MiB"
        raise refuse(where, says, "name the show's own .toml file")
    if octets.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise refuse(where, "is saved as UTF-16", "save it again as UTF-8")
    try:
        text = octets.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = octets.count(b"\n", 0, error.start) + 1
        raise refuse(
            where, f"is not UTF-8 text: see line {line}", "save it again as UTF-8, or name the right file"
        ) from None
    if "\0" in text:
        raise refuse(where, "is not a text file: it contains zero bytes", "name the show's .toml file")
    return text


def _beside(path: Path) -> str:
    with contextlib.suppress(OSError):
        shows = [entry.name for entry in sorted(path.parent.glob("*.toml")) if _is_show(entry)]
        if shows:
            return f"there is: {', '.join(shows[:6])}"
    return "patcher new FILE writes a first one"


def _is_show(path: Path) -> bool:
    """Whether a file has the table that every show has, within its first octets."""
    try:
        if not path.is_file():
            return False
        with path.open("rb") as file:
            return re.search(rb"(?m)^\s*\[\s*show\s*\]", file.read(_BEGIN)) is not None
    except OSError:
        return False


_BEGIN = 1 << 16


def path_beside(folder: Path, name: str) -> Path:
    """Where a file stands that a show file names, in its folder or below it; ValueError where it stands elsewhere."""
    try:
        path = (folder / name).resolve()
        inside = path.is_relative_to(folder) and not Path(name).is_absolute()
    except (OSError, ValueError, RuntimeError):
        inside = False
    if not inside:
        raise ValueError(f"names the file {name!r}, which is not beside this show file or below it → put it there")
    return path


def read_points(folder: Path, name: str) -> list[list[float]]:
    """The places of a CSV file with columns x and y, taken only from `folder` or below it; ValueError says why not."""
    path = path_beside(folder, name)
    try:
        rows = list(csv.DictReader(read_text(path).splitlines(), skipinitialspace=True))
    except PatcherError as error:
        raise ValueError(
            f"names the file {name}, which {error.findings[0].says} → put it beside the show file"
        ) from None
    except csv.Error as error:
        raise ValueError(f"names the file {name}, which is not CSV: {error}") from None
    places: list[list[float]] = []
    for number, row in enumerate(rows, start=1):
        by_name = {str(key).strip().lower(): value for key, value in row.items()}
        if not {"x", "y"} <= by_name.keys():
            heading = "its first line is x,y and its numbers have points: 1.5,2.0"
            raise ValueError(f"names the file {name}, whose first line does not name the columns x and y → {heading}")
        try:
            places.append([float(by_name["x"]), float(by_name["y"])])
        except (TypeError, ValueError):
            raise ValueError(
                f"names the file {name}, whose row {number} is not two numbers → write them as 1.5,2.0"
            ) from None
    if not places:
        raise ValueError(f"names the file {name}, which lists no place → one line a pixel: x,y")
    return places
