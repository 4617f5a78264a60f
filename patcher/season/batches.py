"""Failures by purchase: how many pixels of each batch were replaced, of how many, and how sure that is.

A pixel counts for the batch that it is of: the one of its run, until it is replaced by a pixel of another batch, which
then counts for its own. A pixel that was put in is one more of its batch.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from math import sqrt

from patcher.errors import Finding, first_few
from patcher.show.schema import Show
from patcher.walk.record import Entry

SURE = 1.959963984540054
"""The standard normal deviate of a two-sided 95 %."""
_PIXELS = re.compile(r"(.+)/(\d+)(?:[-–](\d+))?")


@dataclass(frozen=True, slots=True)
class Batch:
    """One purchase.

    Attributes:
        batch: its name; empty where the file does not say.
        replaced: how many of its pixels were replaced.
        pixels: how many pixels there were of it; None where that is not known, as of one that is gone from the show.
        low: the lower end of the 95 % interval of the part that fails; None where it is not known.
        high: its upper end.
    """

    batch: str
    replaced: int
    pixels: int | None
    low: float | None
    high: float | None


@dataclass(frozen=True, slots=True)
class Stranger:
    """A pixel that was replaced by one of another batch than its run's."""

    run: str
    pixel: int
    batch: str
    of: str


@dataclass(frozen=True, slots=True)
class Failures:
    """What the record says of all purchases.

    Attributes:
        batches: those that the show or the record knows, the one that fails most first.
        strangers: pixels of another batch than their run's.
        since: when the first pixel was replaced; None where none was.
        not_told: replacements whose place names no pixel of a run.
    """

    batches: tuple[Batch, ...]
    strangers: tuple[Stranger, ...]
    since: datetime | None
    not_told: tuple[str, ...] = ()


def wilson(failed: int, of: int, z: float = SURE) -> tuple[float, float]:
    """The interval in which the part that fails lies, by a count: the score interval.

    Args:
        failed: how many failed.
        of: how many there were; 1 at least.
        z: the standard normal deviate of how sure it is to be.

    Source, from memory: E. B. Wilson, "Probable inference, the law of succession, and statistical inference", Journal
    of the American Statistical Association 22 (1927), 209–212.

    Raises:
        ValueError: `failed` is not 0 to `of`, or `of` is less than 1.
    """
    if not 0 <= failed <= of or of < 1:
        raise ValueError(f"{failed} of {of} is no part")
    part, square = failed / of, z * z
    middle = (part + square / (2 * of)) / (1 + square / of)
    half = z / (1 + square / of) * sqrt(part * (1 - part) / of + square / (4 * of * of))
    low = 0.0 if failed == 0 else max(0.0, middle - half)
    return low, 1.0 if failed == of else min(1.0, middle + half)


def failures(show: Show, replaced: Sequence[Entry]) -> Failures:
    """What the replaced pixels of the record say of each purchase.

    Args:
        show: the show: how many pixels it has of each batch.
        replaced: the record's chapter of replaced pixels.
    """
    entries = sorted(replaced, key=lambda entry: entry.when)
    pixels = {table.batch: 0 for table in show.runs.values()}
    for table in show.runs.values():
        pixels[table.batch] += table.pixels
    failed: dict[str, int] = {}
    now: dict[tuple[str, int], str] = {}
    for entry, run, pixel in _places(entries):
        before = now.get((run, pixel), _first_batch(entry, run, show))
        failed[before] = failed.get(before, 0) + 1
        now[run, pixel] = entry.batch or ""
        pixels[entry.batch or ""] = pixels.get(entry.batch or "", 0) + 1
    every = [_batch(batch, failed.get(batch, 0), pixels.get(batch, 0)) for batch in {**pixels, **failed}]
    every.sort(key=lambda one: (-(one.low if one.low is not None else -1), -one.replaced, one.batch))
    known = {(run, pixel) for _, run, pixel in _places(entries)}
    lost = tuple(entry.thing for entry in entries if not any(True for _ in _places([entry])))
    return Failures(tuple(every), tuple(_strangers(show, now, known)), entries[0].when if entries else None, lost)


def mixed(show: Show, replaced: Sequence[Entry]) -> list[Finding]:
    """A warning for each run in which a pixel is of another batch than the run."""
    runs: dict[str, list[Stranger]] = {}
    for one in failures(show, replaced).strangers:
        runs.setdefault(one.run, []).append(one)
    found = []
    for run, own in runs.items():
        pixels = first_few([f"{run}/{one.pixel}" for one in own], MOST_NAMED)
        verb = "are" if len(own) > 1 else "is"
        says = f"{pixels} {verb} of batch {', '.join(dict.fromkeys(one.batch for one in own))}, the run of {own[0].of}"
        found.append(Finding("warning", "other-batch", "wiring", f"run.{run}", f"{says}: {BATCHES_DIFFER}", MIXED))
    return found


BATCHES_DIFFER = "it may differ in colour and brightness, and fail sooner or later than the others"
MIXED = "look at the run in white and dim; replace it by one of the run's own batch where you can"
MOST_NAMED = 6


def _first_batch(entry: Entry, run: str, show: Show) -> str:
    """The batch of a pixel that was never replaced before: the run's as it was then, else as it is now."""
    if entry.of is not None:
        return entry.of
    return show.runs[run].batch if run in show.runs else ""


def _batch(batch: str, failed: int, pixels: int) -> Batch:
    if not 1 <= max(failed, 1) <= pixels:
        return Batch(batch, failed, None, None, None)
    return Batch(batch, failed, pixels, *wilson(failed, pixels))


def _strangers(show: Show, now: dict[tuple[str, int], str], known: Iterable[tuple[str, int]]) -> Iterator[Stranger]:
    for run, pixel in sorted(known):
        table = show.runs.get(run)
        batch = now[run, pixel]
        if table is not None and table.batch and batch and batch != table.batch and pixel <= table.pixels:
            yield Stranger(run, pixel, batch, table.batch)


def _places(entries: Iterable[Entry]) -> Iterator[tuple[Entry, str, int]]:
    """Each pixel that was replaced, oldest first: `gable/17`, `gable/17-20`."""
    for entry in entries:
        if match := _PIXELS.fullmatch(entry.thing):
            first, last = int(match[2]), int(match[3] or match[2])
            for pixel in range(first, min(last, first + MOST_AT_ONCE - 1) + 1):
                yield entry, match[1], pixel


MOST_AT_ONCE = 100_000
"""Pixels of one entry that are counted."""
