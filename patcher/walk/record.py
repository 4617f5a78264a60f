"""The record of a show's walk-throughs, as a value: answers, notes, replaced pixels, strings tried on the bench.

An answer holds for what it was given against: a digest of all that it depends on (see `items.py`). Where that has
changed, the thing is open again; nothing is forgotten but by `new_season`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Annotated, Literal, get_args

from pydantic import AwareDatetime, Strict

from patcher.walk.items import Item

When = Annotated[AwareDatetime, Strict()]
"""Local time, with its zone."""
Says = Literal["yes", "no", "cannot tell"]
SAYS: tuple[Says, ...] = get_args(Says)
State = Literal["proved", "failed", "open"]
STATES: tuple[State, ...] = get_args(State)
Chapter = Literal["notes", "replaced", "bench"]
CHAPTERS: tuple[Chapter, ...] = get_args(Chapter)


@dataclass(frozen=True, slots=True)
class RecordedAnswer:
    """What a person said of one item, or what a film proved.

    Attributes:
        says: `yes`, `no` or `cannot tell`.
        when: local time, with its zone.
        against: the digest of what it depends on, at that time.
        found: after a no, the faults that the diagnosis found; all of them look alike.
        film: where it was not a person who said it but a film: the digests of its clips.
    """

    says: Says
    when: When
    against: str
    found: tuple[str, ...] = ()
    film: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Entry:
    """A note, a replaced pixel or a string tried on the bench: which thing, when, and what.

    Of a replaced pixel also `batch`, the purchase of what was put in, and `of`, that of the run at that time; both None
    where nobody said, and with entries of before they were kept.
    """

    thing: str
    when: When
    what: str
    batch: str | None = None
    of: str | None = None


@dataclass(frozen=True)
class Record:
    """All that is saved of what was checked of a show.

    Attributes:
        answers: by item.
        notes: in a person's own words, oldest first.
        replaced: pixels that were replaced.
        bench: strings that were tried on the bench.
    """

    answers: Mapping[Item, RecordedAnswer] = field(default_factory=dict)
    notes: tuple[Entry, ...] = ()
    replaced: tuple[Entry, ...] = ()
    bench: tuple[Entry, ...] = ()

    def state(self, item: Item, digest: str) -> State:
        """How an item stands whose proof depends on what this digest is of."""
        answer = self.answers.get(item)
        if answer is None or answer.against != digest or answer.says == "cannot tell":
            return "open"
        return "proved" if answer.says == "yes" else "failed"

    def changed(self, item: Item, digest: str) -> bool:
        """Whether there is an answer, but what it was given against has changed since."""
        answer = self.answers.get(item)
        return answer is not None and answer.against != digest

    def answered(self, answers: Mapping[Item, RecordedAnswer]) -> Record:
        """With these answers, in place of what was said of the same items before."""
        return replace(self, answers={**self.answers, **answers})

    def added(self, chapter: Chapter, *entries: Entry) -> Record:
        """With more notes, replaced pixels or bench results."""
        chapters: dict[str, tuple[Entry, ...]] = {chapter: (*self.chapter(chapter), *entries)}
        return replace(self, **chapters)  # type: ignore[arg-type]  # each chapter is a field

    def chapter(self, chapter: Chapter) -> tuple[Entry, ...]:
        """The entries of a chapter, oldest first."""
        return {"notes": self.notes, "replaced": self.replaced, "bench": self.bench}[chapter]

    def new_season(self) -> Record:
        """With nothing proved and nothing failed; notes, replaced pixels and bench results stay."""
        return replace(self, answers={})


def states(record: Record, digests: Mapping[Item, str]) -> dict[Item, State]:
    """How each item stands."""
    return {item: record.state(item, digest) for item, digest in digests.items()}


def tally(states_of: Iterable[State]) -> dict[State, int]:
    """How many there are of each state."""
    every = list(states_of)
    return {state: every.count(state) for state in STATES}
