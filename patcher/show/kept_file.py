"""Files that the program keeps beside a show file: read whole or refused, and changed under a lock between programs."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

from patcher.errors import Area, PatcherError, refuse
from patcher.show.show_file import read_text
from patcher.show.writer import alone_with, as_read, write_together

Kept = TypeVar("Kept")


def kept_path(show_path: Path, what: str, *, practice: bool = False) -> Path:
    """Where a file stands that is kept beside a show file: `heron-lock.toml` → `heron-lock.WHAT.toml`.

    What is practised with the simulated yard is kept apart, so that it never counts for the boxes themselves:
    `heron-lock.practice-WHAT.toml`.
    """
    what = f"practice-{what}" if practice else what
    return show_path.with_name(f"{show_path.name.removesuffix('.toml')}.{what}.toml")


def read_kept(
    path: Path, parse: Callable[[str], Kept], kind: str, remedy: str, *, rule: str, area: Area = "address"
) -> Kept | None:
    """What a kept file says; None where there is none.

    Args:
        path: the file.
        parse: makes a value of its text; ValueError, KeyError and their like where the text is no such file.
        kind: what the file is, in words.
        remedy: what to do about one that cannot be read.
        rule: the rule of the finding that says so.
        area: the area of that finding.

    Raises:
        PatcherError: it cannot be read; it is left as it is.
    """
    if not path.exists():
        return None
    text = ""
    try:
        text = read_text(path)
        return parse(text)
    except PatcherError as error:
        reason = f"it {error.findings[0].says}"
    except tomllib.TOMLDecodeError as error:
        reason = "it holds a merge conflict" if "<<<<<<<" in text else f"it is not TOML: {error}"
    except ValueError as error:
        reason = str(error)
    except (KeyError, TypeError, AttributeError, RecursionError):
        reason = "something in it is missing or has the wrong form"
    says = f"cannot be read as a {kind}: {reason}; it was left as it is"
    raise refuse(str(path), says, remedy, rule=rule, area=area)


def change_kept(
    path: Path, read: Callable[[], Kept], change: Callable[[Kept], Kept], dump: Callable[[Kept], str]
) -> Kept:
    """Read a kept file, change it, and write it, whole or not at all; what it says afterwards.

    It is read again each time, under a lock between programs, so that what another one wrote meanwhile is kept.

    Raises:
        PatcherError: it cannot be read or written; it is left as it is.
    """
    with alone_with(path):
        seen = as_read(path)
        kept = change(read())
        write_together(seen, {path: dump(kept)}, alone=True)
    return kept
