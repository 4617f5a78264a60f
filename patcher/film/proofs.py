"""Which items of the record a film proves: those of which every pixel is proved, and no others."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime

from patcher.film.verdict import PixelVerdict
from patcher.walk.items import Item, drawn_runs, hung_chain, with_tees
from patcher.walk.record import Record, RecordedAnswer
from patcher.wiring import Wiring


def proved_items(wiring: Wiring, pixels: Iterable[PixelVerdict], wanted: Iterable[Item]) -> list[Item]:
    """The items that a film proves.

    A film shows each pixel in each of its colours, at its place, playing the word of its address: so a run all of whose
    pixels are proved has its colours, ends and direction. A port is proved with all that hangs on it, a prop with all
    that it is made of.
    """
    seen: dict[str, set[int]] = {}
    for pixel in pixels:
        if pixel.word == "proved":
            seen.setdefault(pixel.run, set()).add(pixel.pixel)
    runs = wiring.show.runs
    whole = {run for run, numbers in seen.items() if len(numbers) == runs[run].pixels}
    return [item for item in wanted if (needs := _needs(wiring, item)) and whole >= needs]


def _needs(wiring: Wiring, item: Item) -> set[str]:
    """The runs that an item is about."""
    if item.what == "identity":
        box, _, port = item.thing.rpartition("/")
        return {name for run in hung_chain(wiring, (box, int(port))) for name in with_tees(wiring, run)}
    return {*drawn_runs(wiring, item.thing)} if item.what == "geometry" else {item.thing}


def recorded(record: Record, proved: Mapping[Item, str], clips: Sequence[str], when: datetime) -> Record:
    """A record with what a film proved.

    Args:
        record: as it was.
        proved: the items that are proved, each with the digest of what it depends on.
        clips: the digests of the clips.
        when: local time, with its zone.
    """
    return record.answered({
        item: RecordedAnswer("yes", when, digest, film=tuple(clips)) for item, digest in proved.items()
    })  # fmt: skip
