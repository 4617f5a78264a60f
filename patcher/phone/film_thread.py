"""The film on the phone: one clip at a time, taken, read in a thread of its own, and what it says."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from patcher.errors import PatcherError
from patcher.phone.content import Content
from patcher.phone.desk import Desk, FilmProgress
from patcher.phone.film_upload import RefusedClipError, Upload, check
from patcher.phone.page_words import on_page
from patcher.phone.state import darkened, filmed, in_words, warning

TOLD_A_SECOND = 4.0
"""How often pages are told how far a clip is."""
LEAVES_IN = 10.0
"""Seconds to wait at the end for a clip that is read."""


@dataclass(frozen=True, eq=False)
class FilmVerdict:
    """What a clip says.

    Attributes:
        says: in lines, as for a terminal.
        good: whether nothing is wrong, with the show or with the clip.
        picture: the same over a still of it, a PNG; None where it could not be laid on the show's plan.
    """

    says: Sequence[str]
    good: bool
    picture: bytes | None


@dataclass(frozen=True)
class FilmReader:
    """What reads clips; the libraries for it may be missing.

    Attributes:
        missing: what is to be installed, in words; empty where all is there.
        advice: how to film a show, in lines.
        read: reads the clip in a file, tells which part of it is read, and saves what it proves.
    """

    missing: Callable[[], str]
    advice: Callable[[Content], Sequence[str]]
    read: Callable[[Content, Path, Callable[[float], None]], FilmVerdict]


class _LeftError(Exception):
    """Nobody waits for what is read."""


class FilmThread:
    """One clip at a time, for all pages.

    Attributes:
        reader: what reads it.
        picture: of the last clip, a PNG; None where there is none.
    """

    def __init__(self, desk: Desk, reader: FilmReader) -> None:
        self.reader = reader
        self.picture: bytes | None = None
        self._desk = desk
        self._upload: Upload | None = None
        self._lock = threading.Lock()
        self._thread: threading.Thread | None = None
        self._ended = False
        self._told_at = 0.0
        self._pictures = 0

    def check(self, size: int | None) -> None:
        """Whether a clip would be taken now. RefusedClipError: it would not."""
        if missing := self.reader.missing():
            raise RefusedClipError(501, missing)
        if self._ended:
            raise RefusedClipError(503, "Patcher ends.")
        if self._upload is not None:
            raise RefusedClipError(409, "Another clip is being uploaded or read. Wait until that is done.")
        check(size)

    def filming(self) -> dict[str, object]:
        """How to film, for a page: what is missing, advice in lines, and what would be too bright."""
        missing = self.reader.missing()
        if missing:
            return {"missing": missing, "advice": [], "warns": ""}
        plan = self._desk.plan
        try:
            state = filmed(self._desk.state, plan)
        except PatcherError as error:
            return {"missing": in_words(error), "advice": [], "warns": ""}
        return {"missing": "", "advice": list(map(on_page, self.reader.advice(plan))), "warns": warning(state, plan)}

    def begin(self, size: int | None) -> Upload:
        """A file for a clip, the only one; the code is played no longer. RefusedClipError: it is not taken."""
        with self._lock:
            self.check(size)
            self._upload = upload = Upload(size)
        self.picture = None
        self._desk.alter(lambda state: darkened(state) if state.mode == "film" else state)
        self._desk.tell_film(FilmProgress("upload"))
        return upload

    def tell(self, part: float) -> None:
        """So much of the clip is there."""
        if self._due():
            self._desk.tell_film(FilmProgress("upload", round(part, 3)))

    def drop(self, upload: Upload, says: str) -> None:
        """The clip did not come, or could not be read: delete it, and say why."""
        upload.leave()
        self._upload = None
        self._desk.tell_film(FilmProgress("failed", says=(says,)))

    def read(self, upload: Upload) -> None:
        """Begin to read a clip that is there."""
        self._desk.tell_film(FilmProgress("read"))
        self._thread = threading.Thread(target=self._read, args=(upload, self._desk.plan), name="film", daemon=True)
        self._thread.start()

    def end(self) -> None:
        """Stop, and delete the clip."""
        self._ended = True
        if self._thread is not None:
            self._thread.join(LEAVES_IN)
        if self._upload is not None:
            self._upload.leave()

    def _read(self, upload: Upload, plan: Content) -> None:
        try:
            found = self.reader.read(plan, upload.path, self._tell_read)
        except _LeftError:
            upload.leave()
        except PatcherError as error:
            self.drop(upload, _said(in_words(error), upload))
        except Exception as error:
            self.drop(upload, f"The clip could not be read: {type(error).__name__}: {error}. Film again.")
        else:
            upload.leave()
            self.picture = found.picture
            self._pictures += 1
            says = tuple(filter(None, (_said(line, upload) for line in found.says)))
            number = self._pictures if found.picture else 0
            self._upload = None
            self._desk.tell_film(FilmProgress("said", 1.0, says, number, found.good))
            self._desk.recorded()

    def _tell_read(self, part: float) -> None:
        if self._ended:
            raise _LeftError
        if self._due():
            self._desk.tell_film(FilmProgress("read", round(part, 3)))

    def _due(self) -> bool:
        now = time.monotonic()
        if due := now - self._told_at >= 1 / TOLD_A_SECOND:
            self._told_at = now
        return due


def _said(line: str, upload: Upload) -> str:
    """A line in the page's words; the file has no name that anybody gave it."""
    line = on_page(line).replace(str(upload.path), "The clip").strip()
    return f"The clip{line.removeprefix(upload.path.name)}" if line.startswith(f"{upload.path.name}: ") else line
