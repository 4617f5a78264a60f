"""The show file while it is drawn on: each act is written at once, and a save made in an editor is one change more."""

from __future__ import annotations

import threading
import time
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from patcher.acts.act import Act, read_act
from patcher.acts.acting import acted
from patcher.draw.history import History
from patcher.errors import PatcherError, refuse
from patcher.phone.state import in_words
from patcher.picture_size import picture_size
from patcher.show.show_file import path_beside, read_points, read_text
from patcher.show.writer import as_read, write_together

LARGEST_PICTURE = 64 * 1024 * 1024
"""Octets of a photograph."""
MOMENT, STEPS = 0.03, 10
"""Seconds that a file stays as it is once it is saved, and how often at most that is waited for."""
BY_EDITOR = "The file was saved in an editor: shown as it is now. Undo takes that back, too."


class Draft:
    """A show file that a page and an editor change.

    Attributes:
        path: the file.
        history: what it said and says, as the page knows it.
        number: counts the changes.
        says: what the last change was, where nobody on the page made it.
    """

    def __init__(self, path: Path) -> None:
        """Read it.

        Raises:
            PatcherError: it cannot be read.
        """
        self.path = path
        self.history = History(read_text(path))
        self.number = 1
        self.says = ""
        self._lock = threading.Lock()
        self._listeners: list[Callable[[], None]] = []

    def listen(self, listener: Callable[[], None]) -> Callable[[], None]:
        """Call `listener` at every change, until what is returned is called. It must only wake somebody up."""
        self._listeners.append(listener)
        return lambda: self._listeners.remove(listener)

    def stamp(self) -> tuple[float, int]:
        """What changes where the file is saved."""
        try:
            kept = self.path.stat()
        except OSError:
            return (0.0, 0)
        return (kept.st_mtime, kept.st_size)

    def say(self, error: PatcherError) -> None:
        """Tell the page what is wrong with the file that an editor saved; it is shown as it was."""
        with self._lock:
            self.says = f"What the editor saved cannot be shown: {in_words(error)}"
            self.number += 1
        for listener in [*self._listeners]:
            listener()

    def _points(self, name: str) -> list[list[float]]:
        return read_points(self.path.resolve().parent, name)

    def photograph(self) -> tuple[bytes, str]:
        """The octets of the photograph that the file names, and of what kind they are.

        Raises:
            PatcherError: it names none, or that cannot be shown.
        """
        photo = tomllib.loads(self.history.now).get("show", {}).get("photo", {})
        return read_picture(self.path.resolve().parent, str(photo.get("file", "")))

    def take_photograph(self, picture: Path) -> None:
        """Name a picture in the file as its photograph; what was known of another one's scale goes.

        Raises:
            PatcherError: it is no picture, or does not lie beside the show file or below it.
        """
        folder = self.path.resolve().parent
        try:
            name = picture.resolve().relative_to(folder).as_posix()
        except ValueError:
            raise refuse(str(picture), "is not beside the show file or below it", f"copy it to {folder}") from None
        read_picture(folder, name)
        settings = tomllib.loads(self.history.now).get("show", {})
        if not isinstance(settings, dict) or settings.get("photo", {}).get("file") != name:
            self.act({"act": "set", "thing": "show", "key": "photo", "value": {"file": name}})

    def act(self, document: Any) -> None:
        """One act of a page, or some that are one change, written into the file.

        Raises:
            PatcherError: it cannot be done, or the file was changed just now: it is as it was.
        """
        with self._lock:
            self._reread()
            text = self.history.now
            for one in document if isinstance(document, list) else [document]:
                text = acted(text, _act(one), self._points)
            self._write(self.history.changed(text))

    def replace(self, before: str, after: str) -> None:
        """Another text for the file, worked out of what it said; one change.

        Raises:
            PatcherError: it says something else by now: it is as it was.
        """
        with self._lock:
            self._reread()
            if self.history.now != before:
                raise refuse("the show", "has changed since; nothing was changed", "ask for proposals again")
            self._write(self.history.changed(after))

    def undo(self) -> None:
        """Take the last change back."""
        with self._lock:
            self._reread()
            self._write(self.history.undone())

    def redo(self) -> None:
        """Make the change again that was taken back last; not where the file was saved in an editor meanwhile."""
        with self._lock:
            self._reread()
            self._write(self.history.redone())

    def reread(self) -> None:
        """See whether the file says something else; PatcherError where it cannot be read."""
        with self._lock:
            self._reread()

    def _reread(self) -> None:
        text = read_text(self.path)
        if text != self.history.now:
            text = self._settled(text)
        self._become(self.history.changed(text), BY_EDITOR)

    def _settled(self, text: str) -> str:
        """What the file says once it stays so for a moment: many editors empty it first, and then write."""
        for _ in range(STEPS):
            time.sleep(MOMENT)
            again = read_text(self.path)
            if again == text and text:
                break
            text = again
        return text

    def _write(self, history: History) -> None:
        seen = as_read(self.path)
        if seen[self.path] not in (self.history.now, None):
            raise refuse(str(self.path), "was saved in an editor just now; nothing was changed", "do it once more")
        if history.now != self.history.now:
            write_together(seen, {self.path: history.now})
        self._become(history, "")

    def _become(self, history: History, says: str) -> None:
        if history == self.history:
            return
        self.history, self.says = history, says
        self.number += 1
        for listener in [*self._listeners]:
            listener()


def _act(document: Any) -> Act:
    try:
        return read_act(document)
    except ValidationError as error:
        says = error.errors()[0]["msg"].removeprefix("Value error, ")
        raise refuse("the page", f"asks for what cannot be: {says}", "correct it, or load the page again") from None


def read_picture(folder: Path, name: str) -> tuple[bytes, str]:
    """A picture's octets and its kind, taken only from a folder or below it.

    Raises:
        PatcherError: there is none, or it is no JPEG or PNG, or too large.
    """
    where = name or "show.photo"
    try:
        with path_beside(folder, name).open("rb") as file:
            octets = file.read(LARGEST_PICTURE + 1)
        picture_size(octets)
    except OSError as error:
        raise refuse(where, f"cannot be read: {error.strerror}", "put the photograph beside the show file") from None
    except ValueError as error:
        says, _, remedy = str(error).partition(" → ")
        raise refuse(where, says, remedy or "name a JPEG or PNG") from None
    if len(octets) > LARGEST_PICTURE:
        raise refuse(where, f"is larger than {LARGEST_PICTURE // 1024**2} MiB", "save it smaller")
    return octets, "image/png" if octets.startswith(b"\x89PNG") else "image/jpeg"
