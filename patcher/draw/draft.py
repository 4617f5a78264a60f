"""The show file while it is drawn on: each act is written at once, and a save made in an editor is one change more."""

from __future__ import annotations

import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

from patcher.acts.act import Act, read_act
from patcher.acts.acting import acted
from patcher.draw.history import History
from patcher.errors import PatcherError, refuse
from patcher.show.show_file import read_text
from patcher.show.writer import as_read, write_together

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

    def act(self, document: Any) -> None:
        """One act of a page, or some that are one change, written into the file.

        Raises:
            PatcherError: it cannot be done, or the file was changed just now: it is as it was.
        """
        with self._lock:
            self._reread()
            text = self.history.now
            for one in document if isinstance(document, list) else [document]:
                text = acted(text, _act(one))
            self._write(self.history.changed(text))

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
        self._become(self.history.changed(read_text(self.path)), BY_EDITOR)

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
    except ValueError as error:
        raise refuse("the page", f"asks for what is no act: {error}", "load the page again") from None


def in_words(error: PatcherError) -> str:
    """What could not be done, why, and what to do."""
    finding = error.findings[0]
    end = "" if finding.remedy.endswith("?") else "."
    return f"{finding.where}: {finding.says}. {finding.remedy[:1].upper()}{finding.remedy[1:]}{end}"
