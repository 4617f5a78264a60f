"""What a clip says of each pixel of a show, and which faults it names.

A pixel is *proved* where the word of its planned address plays at its place and nowhere near it another, in the planned
colours, and where no other wiring of its run that the lights allow would let it take other data. Everything else is
said to be less than that.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from patcher.clip import hues
from patcher.faults import Fault
from patcher.film.evidence import Evidence
from patcher.film.faults_seen import Explained
from patcher.film.fit import Fit
from patcher.frames.film_code import Code
from patcher.patch.patch import written

Word = Literal["proved", "other", "colour", "dark-or-hidden", "unseen", "faint", "unproved"]


FAINT = 6.0
"""Grey levels: where the lights of a run change by less, on the median, what is not read there may be too faint."""


@dataclass(frozen=True, slots=True)
class PixelVerdict:
    """What a clip says of one pixel.

    Attributes:
        run, pixel: which, from 1.
        word: `proved`; `other`: it takes another address; `colour`: another colour, or lacks one; `dark-or-hidden`;
            `unseen`: outside the picture, or not drawn; `faint`; `unproved`: lit perhaps as planned, but not for sure.
        lit_by: the universe and channel whose word it plays; None where that is not known.
        at: where it is in the clip's first frame, in points; None where that is not known.
    """

    run: str
    pixel: int
    word: Word
    lit_by: tuple[int, int] | None
    at: tuple[float, float] | None


@dataclass(frozen=True, eq=False)
class Verdict:
    """What a clip says of a show.

    Attributes:
        pixels: every pixel that hangs, in the file's order.
        faults: that it names.
        strange: runs whose lights go neither with the plan nor with any faults that are thought of.
    """

    pixels: tuple[PixelVerdict, ...]
    faults: tuple[Fault, ...]
    strange: frozenset[str] = frozenset()

    @property
    def proved(self) -> int:
        """How many pixels are proved."""
        return sum(one.word == "proved" for one in self.pixels)


def verdict(seen: Evidence, found: Explained) -> Verdict:
    """What the lights of a clip say."""
    show = seen.plan.wiring.show
    pixels: list[PixelVerdict] = []
    for run in show.runs:
        if not show.runs[run].hung:
            continue
        if run in seen.places:
            pixels += _of_run(seen, found, run)
        else:
            pixels += _not_drawn(seen, run)
    return Verdict(tuple(pixels), found.named, found.strange)


def _of_run(seen: Evidence, found: Explained, run: str) -> list[PixelVerdict]:
    wired, own = found.wired[run], found.fits[run]
    at = seen.map.picture(own.places)
    at[own.close] = seen.lights.at[own.row[own.close]]
    inside = seen.inside(at)
    words = _words(seen, found, run)
    words[~own.close & ~np.isfinite(own.off) & ~seen.blinks(at)] = "faint" if _is_faint(seen, own) else "dark-or-hidden"
    words[~inside] = "unseen"
    verdicts: list[PixelVerdict] = []
    for number, word in enumerate(words.tolist()):
        lit_by = _address(seen.code, int(wired.pixel[number])) if own.close[number] else None
        where = (round(float(at[number, 0]), 2), round(float(at[number, 1]), 2)) if inside[number] else None
        verdicts.append(PixelVerdict(run, number + 1, word, lit_by, where))
    return verdicts


def _words(seen: Evidence, found: Explained, run: str) -> NDArray[np.object_]:
    """What the lights at a run's places say of its pixels; `unproved` where there is none, or not for sure."""
    wired, own, meant = found.wired[run], found.fits[run], found.plan_hue[run]
    words = np.full(len(wired.pixel), "unproved", dtype=object)
    if not own.goes_well():
        return words
    planned = seen.planned(run)
    hue = np.where(own.close[:, None], seen.hue[own.row], hues.UNKNOWN)
    right = own.close & (wired.pixel == planned) & (planned >= 0)
    words[right & ~found.unsure[run] & ((hue == meant) & (wired.hue == meant)).all(axis=1)] = "proved"
    words[right & ((hue != meant) & (hue != hues.UNKNOWN)).any(axis=1)] = "colour"
    words[own.close & ~right] = "other"
    return words


def _is_faint(seen: Evidence, own: Fit) -> bool:
    """Whether the lights of a run are so faint that others of it may be too faint to be read."""
    swings = seen.lights.swing[own.row[own.close]].max(axis=(1, 2))
    return len(swings) > 0 and float(np.median(swings)) < FAINT


def _not_drawn(seen: Evidence, run: str) -> list[PixelVerdict]:
    """The pixels of a run whose places nobody knows: where their words play, and no more."""
    planned = seen.planned(run)
    rows, which = seen.rows(planned)
    row = np.full(len(planned), -1, dtype=np.int64)
    row[which[::-1]] = rows[::-1]
    words: list[PixelVerdict] = []
    for number, light in enumerate(row.tolist()):
        at = None if light < 0 else (float(seen.lights.at[light, 0]), float(seen.lights.at[light, 1]))
        lit_by = None if light < 0 else _address(seen.code, int(planned[number]))
        words.append(PixelVerdict(run, number + 1, "unseen" if light < 0 else "unproved", lit_by, at))
    return words


def _address(code: Code, pixel: int) -> tuple[int, int] | None:
    return None if pixel < 0 else written(int(code.first[pixel]))
