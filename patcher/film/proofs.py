"""Clips read together, and which items of the record they prove: those of which every pixel is proved, no others."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path

from patcher.faults import Fault, Planned
from patcher.film.clip_reading import ClipReading, read_clips
from patcher.film.joined import Joined, joined
from patcher.film.places import without_places
from patcher.film.same_look import same_look
from patcher.film.verdict import PixelVerdict, Verdict
from patcher.frames.film_code import Code
from patcher.walk.items import Item, digests, drawn_runs, hung_chain, items, with_tees
from patcher.walk.record import Record, RecordedAnswer, states
from patcher.walk.record_file import change_record, local_time, read_record
from patcher.wiring import Wiring


@dataclass(frozen=True, eq=False)
class Reading:
    """What some clips say of a show.

    Attributes:
        path: the show file.
        plan: its wiring and patch.
        clips: one by one.
        joined: together.
        recorded: the items that are now proved.
        left: how many items of the show are still to be checked.
        practice: whether the record is that of practice.
        same_look: for each fault that is named the others that may be there in its place: they look the same on film.
    """

    path: Path
    plan: Planned
    clips: tuple[ClipReading, ...]
    joined: Joined
    recorded: tuple[Item, ...]
    left: int
    practice: bool = False
    same_look: Mapping[Fault, tuple[Fault, ...]] = field(default_factory=dict)

    @property
    def good(self) -> bool:
        """Whether nothing is wrong, with the show or with a clip."""
        return not self.joined.verdict.faults and all(clip.good for clip in self.clips)


def read_and_save(
    show: Path, plan: Planned, clips: Sequence[Path], code: Code, tell: Callable[[Path, float], None],
    undrawn: Sequence[str] = (), *, practice: bool,
) -> Reading:  # fmt: skip
    """Read the clips, as if some runs were not drawn, and save what they prove.

    Raises:
        PatcherError: a clip cannot be read as a video, or the record cannot be read or written.
    """
    every = digests(plan.wiring, plan.patch, items(plan.wiring))
    read_record(show, practice=practice)  # one that cannot be read is said before the minutes that reading takes
    reading = read_only(show, plan, clips, code, tell, undrawn)
    own = [clip.digest for clip in reading.clips if clip.verdict is not None]
    proved, left = _save(show, plan, reading.joined.verdict, every, own, practice=practice)
    return replace(reading, recorded=tuple(proved), left=left, practice=practice)


def read_only(
    show: Path, plan: Planned, clips: Sequence[Path], code: Code, tell: Callable[[Path, float], None],
    undrawn: Sequence[str] = (),
) -> Reading:  # fmt: skip
    """Read the clips, as if some runs were not drawn, and save nothing."""
    known = without_places(plan, undrawn) if undrawn else plan
    found = read_clips(clips, known, code, tell)
    together = joined(plan, [clip.verdict for clip in found if clip.verdict is not None])
    same = same_look(plan, code, together.verdict.faults)
    return Reading(show, plan, tuple(found), together, (), 0, practice=True, same_look=same)


def _save(
    show: Path, plan: Planned, verdict: Verdict, every: dict[Item, str], clips: Iterable[str], *, practice: bool
) -> tuple[list[Item], int]:
    """Save what a film proves in the record; the items, and how many are not proved then."""
    proved = proved_items(plan.wiring, verdict.pixels, every)
    own = {item: every[item] for item in proved}
    if own:
        record = change_record(
            show, lambda kept: recorded(kept, own, tuple(clips), local_time()), practice=practice
        )  # fmt: skip
    else:
        record = read_record(show, practice=practice)
    return proved, sum(state != "proved" for state in states(record, every).values())


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
