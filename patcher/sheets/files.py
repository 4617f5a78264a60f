"""The folder of sheets: every file in it whole, old or new; what Patcher did not write there is not touched."""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import Any

from patcher.errors import refuse
from patcher.show.files import write_whole

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


def left_over(folder: Path, files: Iterable[str]) -> list[str]:
    """What an earlier call wrote into the folder that this one does not, as far as it is still there."""
    try:
        listed = json.loads((folder / LISTING).read_text(encoding="utf-8"))["files"]
        before = {name for name in listed if isinstance(name, str)}
    except (OSError, ValueError, KeyError, TypeError):
        return []
    gone = sorted(before - {*files, LISTING})
    inside = [name for name in gone if not Path(name).is_absolute() and ".." not in Path(name).parts]
    return [name for name in inside if (folder / name).is_file()]


def write(folder: Path, texts: Mapping[str, str], document: Mapping[str, Any], done: Callable[[], None]) -> None:
    """Write the files, each whole or not at all, and last the list of them.

    Args:
        folder: a folder that is prepared.
        texts: what is written, by the file's name in the folder, with `/` for a folder in it.
        document: what `sheets.json` says besides `files`.
        done: called after each file.

    Raises:
        PatcherError: a folder stands where a file belongs, or a file where a folder does, and nothing was written; or
            the disk failed under one file, and those before it are written.
    """
    names = [*texts, LISTING]
    for name in names:
        path = folder / name
        if path.is_dir():
            raise refuse(str(path), "is a folder where a file is to be written", "move it away, or name another folder")
        if path.parent != folder:
            prepare(path.parent)
    for name, text in texts.items():
        write_whole(folder / name, text)
        done()
    listing = {**document, "files": names}
    write_whole(folder / LISTING, json.dumps(listing, ensure_ascii=False, indent=1, allow_nan=False) + "\n")
    done()
