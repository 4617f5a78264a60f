"""Writes the folder of sheets: each file whole or not at all, and never over a file that Patcher did not write."""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import Any

from patcher.errors import refuse
from patcher.show.writer import write_whole
from patcher.visible import as_json

LISTING = "sheets.json"
"""The file that says, under `files`, what was written."""


def prepare(folder: Path) -> None:
    """Make the folder where there is none, and see that files can be written into it.

    Raises:
        PatcherError: a file stands in its place, or nothing may be written there; nothing was written.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except FileExistsError:
        raise refuse(str(folder), "is a file, not a folder", "name another folder: --out sheets") from None
    except NotADirectoryError:
        raise refuse(str(folder), "lies below a file, not a folder", "name another folder: --out sheets") from None
    except OSError as error:
        says = f"could not be made: {error.strerror}"
        raise refuse(str(folder), says, "look at the folder above it, its owner and the free space") from None
    except ValueError:
        raise refuse(str(folder).replace("\0", "\\0"), "cannot be the name of a folder", "choose another") from None
    if not os.access(folder, os.W_OK | os.X_OK):
        raise refuse(str(folder), "is a folder that may not be written into", "look at its owner and rights")


def listed(folder: Path) -> set[str]:
    """What earlier calls wrote into the folder, by their listing; nothing where there is none that can be read."""
    try:
        document = json.loads((folder / LISTING).read_text(encoding="utf-8"))
        names = [*document["files"], *document["left_over"]]
    except (OSError, ValueError, KeyError, TypeError):
        return set()
    return {name for name in names if isinstance(name, str) and not Path(name).is_absolute() and ".." not in name}


def left_over(folder: Path, files: Iterable[str]) -> list[str]:
    """What earlier calls wrote into the folder that this one does not, as far as it is still there."""
    return [name for name in sorted(listed(folder) - {*files, LISTING}) if (folder / name).is_file()]


def write(folder: Path, texts: Mapping[str, str], document: Mapping[str, Any], done: Callable[[], None]) -> list[str]:
    """Write the list of the files, then the files, each whole or not at all; and say what is left over from before.

    Args:
        folder: a folder that is prepared.
        texts: what is written, by the file's name in the folder, with `/` for a folder in it.
        document: what the list says besides `files` and `left_over`.
        done: called after each file.

    Raises:
        PatcherError: something that is not Patcher's stands where a file belongs, and nothing was written; or the disk
            failed under one file, and those before it are written.
    """
    names, known, old = [LISTING, *texts], listed(folder), left_over(folder, texts)
    for path in (folder / name for name in names):
        if path.is_dir():
            raise refuse(str(path), "is a folder where a file is to be written", "move it away, or name another folder")
        if path.is_symlink() or (path.exists() and path.relative_to(folder).as_posix() not in known):
            says = "exists already, and Patcher did not write it; nothing was changed"
            raise refuse(str(path), says, "move it away, or name another folder: --out sheets")
    for parent in dict.fromkeys((folder / name).parent for name in names):
        prepare(parent)
    listing = {**document, "files": names, "left_over": old}
    for name, text in {LISTING: as_json(listing), **texts}.items():
        write_whole(folder / name, text)
        done()
    return old
