"""What a show file said, says, and said before it was taken back: undo and redo without end, to the octet."""

from __future__ import annotations

from dataclasses import dataclass, replace


@dataclass(frozen=True, slots=True)
class History:
    """The texts of a file, one after another.

    Attributes:
        now: what it says.
        past: what it said before each change, the latest last.
        future: what it would say again with each redo, the next one last.
    """

    now: str
    past: tuple[str, ...] = ()
    future: tuple[str, ...] = ()

    def changed(self, text: str) -> History:
        """Another text; what was taken back before is forgotten. The same text is no change."""
        return self if text == self.now else History(text, (*self.past, self.now))

    def undone(self) -> History:
        """As it was before the last change; itself where there was none."""
        if not self.past:
            return self
        return replace(self, now=self.past[-1], past=self.past[:-1], future=(*self.future, self.now))

    def redone(self) -> History:
        """With the change again that was taken back last; itself where there is none."""
        if not self.future:
            return self
        return replace(self, now=self.future[-1], past=(*self.past, self.now), future=self.future[:-1])
