"""What `verify --report` says of purchases: how many pixels of each failed, how sure that is, which were mixed."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict
from typing import Any

from patcher.errors import first_few
from patcher.season.batches import BATCHES_DIFFER, Batch, Failures
from patcher.sheets.figures import spaced
from patcher.terminal.folds import fold
from patcher.terminal.printed import count
from patcher.visible import one_line

NO_BATCH = "no batch given"
MOST = 6


def say(failures: Failures, seasons: int) -> None:
    """Print what is known of each purchase, where any pixel was replaced."""
    for line in lines(failures, seasons):
        print(fold(one_line(line)))


def lines(failures: Failures, seasons: int) -> Iterator[str]:
    """The same line by line; `seasons` is how many are over."""
    if failures.since is None:
        return
    over = f", in {count(seasons + 1, 'season')}" if seasons else ""
    yield f"Replaced pixels by batch, since {failures.since:%Y-%m-%d}{over}:"
    yield from (f"  {_words(one)}" for one in failures.batches)
    if any(one.low is not None for one in failures.batches):
        yield "  Between: the 95 % interval (Wilson 1927). It takes pixels to fail one by one, by chance."
    strangers: dict[tuple[str, str], list[str]] = {}
    for one in failures.strangers:
        strangers.setdefault((one.batch, one.of), []).append(f"{one.run}/{one.pixel}")
    for (batch, of), pixels in strangers.items():
        yield f"warning: of batch {batch} in a run of {of}: {first_few(pixels, MOST)}; {BATCHES_DIFFER}"
    if failures.not_told:
        yield f"Not counted, for they name no pixel of a run: {first_few(failures.not_told, MOST)}"


def _words(one: Batch) -> str:
    """`2021-b: 7 of 300 replaced: 2.3 %, between 1.1 % and 4.7 %`."""
    name = one.batch or NO_BATCH
    if one.pixels is None or one.low is None or one.high is None:
        return f"{name}: {one.replaced} replaced, of how many is not known"
    part = f"{one.replaced / one.pixels:.1%}, between {one.low:.1%} and {one.high:.1%}".replace("%", " %")
    return f"{name}: {one.replaced} of {spaced(one.pixels)} replaced: {part}"


def document(failures: Failures) -> dict[str, Any]:
    """The same for scripts."""
    return {
        "batches": [asdict(one) for one in failures.batches],
        "other_batch": [asdict(one) for one in failures.strangers],
    }
