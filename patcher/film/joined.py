"""Several clips of one show as one verdict: what one clip cannot see another one may.

What light has told comes first: a pixel that is proved, or takes another address or colour, in one clip is so, whatever
the others did not see. Of what no clip has read, light that was seen says more than none, for what is seen in one clip
is hidden in the others: `unproved`, then `faint`, then `dark-or-hidden`, then `unseen`.

Two clips that read the same pixel differently contradict each other, and one of them has miscounted. That concerns the
whole run, so nothing of the run is proved, and nothing of it is said to be wrong.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence, Set
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from patcher.errors import PatcherError
from patcher.faults import DARK, Fault, Planned, Takes, build, departure
from patcher.film.verdict import PixelVerdict, Verdict, Word
from patcher.trade import CHANNELS
from patcher.wiring import port_name

READ: tuple[Word, ...] = ("proved", "other", "colour")
"""What light has told of a pixel."""
ORDER: tuple[Word, ...] = (*READ, "unproved", "faint", "dark-or-hidden", "unseen")
"""Of a pixel's words in several clips the first of these counts."""
ELSEWHERE = 0.08
"""Two clips are from clearly different places where their pictures, moved, turned and scaled onto each other, are
apart by more than this part of their size, on the mean of squares. A phone that is only turned changes it by less."""
FEWEST = 12
"""Pixels that two clips must both have proved to be laid on each other."""

Points = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Joined:
    """What some clips say of a show together.

    Attributes:
        verdict: of every pixel, and the faults.
        clip: for each pixel the clip, from 0, that its word and place are from.
        contradicted: runs of which two clips say different things.
        withdrawn: faults that a clip names and another one contradicts; they are not among the verdict's.
    """

    verdict: Verdict
    clip: tuple[int, ...]
    contradicted: tuple[str, ...] = ()
    withdrawn: tuple[Fault, ...] = ()


def joined(plan: Planned, clips: Sequence[Verdict]) -> Joined:
    """Several clips' verdicts of one show as one; of none, every pixel that hangs is unseen."""
    if not clips:
        return _nothing(plan)
    clips = [replace(clip, faults=tuple(_in_order(plan, fault) for fault in clip.faults)) for clip in clips]
    every = [tuple(of_pixel) for of_pixel in zip(*(clip.pixels for clip in clips), strict=True)]
    named = tuple(dict.fromkeys(fault for clip in clips for fault in clip.faults))
    stands = _stands(plan, clips, named, every)
    best = tuple(_best(words) for words in every)
    pixels = tuple(_said(words[at], stands.against) for words, at in zip(every, best, strict=True))
    found = tuple(dict.fromkeys((*stands.faults, *_dark(plan, clips, stands.takes))))
    contradicted = tuple(run for run in plan.wiring.show.runs if run in stands.against)
    withdrawn = tuple(fault for fault in named if fault not in stands.faults)
    told = {pixel.run for pixel in pixels if pixel.word in READ}
    strange = frozenset(run for clip in clips for run in clip.strange if run not in told)
    return Joined(Verdict(pixels, found, strange), best, contradicted, withdrawn)


@dataclass(frozen=True, eq=False)
class _Stands:
    """What stands of the faults that some clips name.

    Attributes:
        faults: those that no clip contradicts.
        against: the runs of which two clips say different things.
        takes: what the pixels take.
    """

    faults: Sequence[Fault]
    against: Set[str]
    takes: Mapping[str, Takes]


def _stands(
    plan: Planned, clips: Sequence[Verdict], named: Iterable[Fault], every: Sequence[Sequence[PixelVerdict]]
) -> _Stands:
    """What stands of the faults that some clips name, with what each clip says of every pixel."""
    lit = _lit(every)
    left = [fault for fault in named if not _lit_in_spite(plan, fault, lit)]
    agreed = [fault for fault in left if all(fault in clip.faults for clip in clips)]
    against = {words[0].run for words in every if _contradict(words)}
    takes = _takes(plan, left)
    if takes is None:
        return _Stands(agreed, against, _takes(plan, agreed) or dict(plan.takes))
    against |= _otherwise(plan, takes, lit)
    faults = [fault for fault in left if fault in agreed or not _touches(plan, fault) & against]
    return _Stands(faults, against, takes)


def _lit(every: Iterable[Sequence[PixelVerdict]]) -> list[PixelVerdict]:
    """The pixels that light has told of, from each clip."""
    return [pixel for words in every for pixel in words if pixel.word in READ]


def _otherwise(plan: Planned, takes: Mapping[str, Takes], lit: Iterable[PixelVerdict]) -> set[str]:
    """The runs of which a pixel was read otherwise than with what the pixels are said to take."""
    return {pixel.run for pixel in lit if not _goes_with(pixel, plan, takes)}


def _nothing(plan: Planned) -> Joined:
    runs = [run for run in plan.wiring.show.runs.values() if run.hung]
    pixels = tuple(
        PixelVerdict(run.name, number, "unseen", None, None) for run in runs for number in range(1, run.pixels + 1)
    )
    return Joined(Verdict(pixels, ()), (0,) * len(pixels))


def _in_order(plan: Planned, fault: Fault) -> Fault:
    """A fault that has two places, which may be named in any order, with them as the show file has them."""
    if not fault.kind.startswith("swapped"):
        return fault
    show = plan.wiring.show
    order = [*show.runs, *(port_name(*port) for port in plan.wiring.chains), *show.controllers]
    return replace(fault, where=",".join(sorted(fault.where.split(","), key=order.index)))


def _best(words: Sequence[PixelVerdict]) -> int:
    """The clip whose word of a pixel counts."""
    return min(range(len(words)), key=lambda at: (ORDER.index(words[at].word), words[at].at is None))


def _contradict(words: Sequence[PixelVerdict]) -> bool:
    """Whether two clips have read a pixel differently."""
    read = {(pixel.word, pixel.lit_by if pixel.word == "other" else None) for pixel in words if pixel.word in READ}
    return len(read) > 1


def _said(pixel: PixelVerdict, against: Set[str]) -> PixelVerdict:
    """What is said of a pixel; of a run that clips contradict each other on, nothing that light has told."""
    if pixel.run not in against or pixel.word not in READ:
        return pixel
    return PixelVerdict(pixel.run, pixel.pixel, "unproved", None, pixel.at)


def _takes(plan: Planned, faults: Iterable[Fault]) -> Mapping[str, Takes] | None:
    """What pixels take with some faults; None where those make no sense together."""
    every = tuple(faults)
    try:
        build(plan.wiring, every)
        return {**plan.takes, **departure(plan, every).takes}
    except PatcherError:
        return None


def _touches(plan: Planned, fault: Fault) -> set[str]:
    """The runs that a fault lets take other data."""
    takes = _takes(plan, [fault]) or {}
    return {run for run, taken in takes.items() if not np.array_equal(taken, plan.takes[run])}


def _lit_in_spite(plan: Planned, fault: Fault, lit: Iterable[PixelVerdict]) -> bool:
    """Whether a clip has read a pixel that is dark with the fault: light refutes what only darkness has told."""
    takes = _takes(plan, [fault]) or {}
    return any(
        pixel.run in takes
        and (takes[pixel.run][pixel.pixel - 1] == DARK).all()
        and (plan.takes[pixel.run][pixel.pixel - 1] != DARK).any()
        for pixel in lit
    )


def _goes_with(pixel: PixelVerdict, plan: Planned, takes: Mapping[str, Takes]) -> bool:
    """Whether a pixel was read as it would be with what the pixels are said to take."""
    planned, taken = plan.takes[pixel.run][pixel.pixel - 1], takes[pixel.run][pixel.pixel - 1]
    if pixel.word == "proved":
        return bool(np.array_equal(taken, planned))
    if pixel.word == "colour" or pixel.lit_by is None:
        return True
    universe, channel = pixel.lit_by
    begins = (universe - 1) * CHANNELS + channel - 1
    return bool(((taken >= begins) & (taken < begins + taken.size + 1)).any())


def _dark(plan: Planned, clips: Sequence[Verdict], takes: Mapping[str, Takes]) -> list[Fault]:
    """Pixels that are dark for sure: dark in two clips from clearly different places, their neighbours proved in both.

    What hides a pixel from one place seldom hides it, and neither neighbour, from another.
    """
    found: dict[Fault, None] = {}
    for first in range(len(clips)):
        for second in range(first + 1, len(clips)):
            one, other = _surely_dark(clips[first]), _surely_dark(clips[second])
            both = [pixel for pixel in one if pixel in other]
            if both and from_elsewhere(clips[first], clips[second]):
                found |= dict.fromkeys(
                    Fault("dark", f"{run}/{number}") for run, number in both
                    if np.array_equal(takes[run][number - 1], plan.takes[run][number - 1])
                )  # fmt: skip
    return list(found)


def _surely_dark(clip: Verdict) -> list[tuple[str, int]]:
    """The pixels that are dark or hidden between two that are proved."""
    word = {(pixel.run, pixel.pixel): pixel.word for pixel in clip.pixels}
    return [
        (run, number) for (run, number), own in word.items()
        if own == "dark-or-hidden" and all(word.get((run, beside)) == "proved" for beside in (number - 1, number + 1))
    ]  # fmt: skip


def from_elsewhere(one: Verdict, other: Verdict) -> bool:
    """Whether two clips were filmed from clearly different places; False where that cannot be told."""
    pairs = [
        (first.at, second.at) for first, second in zip(one.pixels, other.pixels, strict=True)
        if first.word == second.word == "proved" and first.at is not None and second.at is not None
    ]  # fmt: skip
    if len(pairs) < FEWEST:
        return False
    here, there = (_centred(np.array(points)) for points in zip(*pairs, strict=True))
    size = float((np.abs(there) ** 2).mean())
    turned = np.vdot(here, there) / max(float(np.vdot(here, here).real), 1e-9)
    off = float((np.abs(there - turned * here) ** 2).mean())
    return size > 0 and (off / size) ** 0.5 > ELSEWHERE


def _centred(points: Points) -> NDArray[np.complex128]:
    """Points as complex numbers about their middle: a factor then turns and scales them."""
    found: NDArray[np.complex128] = (points - points.mean(axis=0)) @ np.array([1, 1j])
    return found
