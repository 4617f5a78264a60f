"""The voltage along one run: its values, what is said of them, and the ticks and points of its plots.

Every run's volts are scaled by one rule: from a bit under the lowest of data and limit to a bit over the supply, and
never less than a tenth of the supply's volts, so that a few millivolts do not look like a fall.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from patcher.power.unknown import Reasons

if TYPE_CHECKING:
    from patcher.power.flow import Power

_BINS = 300
"""Stretches into which a long run is cut for drawing; each keeps its highest and its lowest pixel."""

_NOT_TEXT = re.compile("[^\x20-\x7e\xa0-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


@dataclass(frozen=True, eq=False)
class Profile:
    """One run's voltage, pixel by pixel.

    Attributes:
        run: its name.
        volts: of pixels 1 to n in data order, 0 or more; NaN where a pixel is not fed.
        rated: volts of its supply; its pixels' own where none feeds it, NaN where the file does not say those either.
        least: below this its pixels misbehave; None where the file does not say.
        taps: pixel and feed of each place where a feed meets the run.
        cuts: V+ is cut just before these pixels.
        asks: volts that its pixels are made for, where a supply of others reaches it; else None.
        why: why none of its pixels' volts is known though it is fed; else empty.
    """

    run: str
    volts: NDArray[np.float64]
    rated: float
    least: float | None
    taps: tuple[tuple[int, str], ...]
    cuts: tuple[int, ...] = ()
    asks: float | None = None
    why: str = ""

    @property
    def has_axis(self) -> bool:
        """Whether there are volts to draw it against."""
        return not math.isnan(self.rated)

    @property
    def lowest(self) -> int | None:
        """The first pixel with the least volts, from 1; None where none is fed."""
        return None if np.isnan(self.volts).all() else int(np.nanargmin(self.volts)) + 1

    @property
    def feeds(self) -> dict[str, list[int]]:
        """Each feed's tapped pixels, rising; feeds in the order in which the run meets them."""
        found: dict[str, list[int]] = {}
        for pixel, feed in sorted(set(self.taps)):
            found.setdefault(feed, []).append(pixel)
        return found


def profiles(state: Power, runs: Iterable[str]) -> Iterator[Profile]:
    """The voltages of runs that are hung."""
    taps: dict[str, list[tuple[int, str]]] = {}
    for feed, joins in state.circuit.joins.items():
        for join in joins:
            taps.setdefault(join.run, []).append((join.pixel, feed))
    rails, reasons = state.rails, Reasons(state)
    found = {each.run: each for each in state.runs}
    for run in runs:
        kind = state.show.type_of(state.show.runs[run])
        volts = np.maximum(state.volts(run), 0.0)
        rated = rails[run] if rails[run] > 0 else kind.volts or math.nan
        cuts = state.show.runs[run].power_cuts
        asks = kind.volts if run in state.other_volts else None
        why = reasons.run(found[run]) if np.isnan(volts).all() and state.drop.fed[state.circuit.runs[run]].any() else ""
        yield Profile(run, volts, rated, kind.min_volts, tuple(taps.get(run, ())), cuts, asks, why)


def plain(text: str) -> str:
    """Text of one line, without characters that XML or a terminal takes as orders."""
    return _NOT_TEXT.sub("\ufffd", re.sub(r"[\t\r\n]+", " ", text))


def said(volts: float, least: float | None = None) -> str:
    """Volts to a hundredth, finer only where that would put them on the wrong side of the limit."""
    for digits in range(2, 17):
        text = f"{volts:.{digits}f}".rstrip("0").rstrip(".")
        if least is None or (float(text) < least) == (volts < least):
            break
    return f"{text} V"


def words(profile: Profile) -> list[str]:
    """What the picture shows, a sentence a line: the lowest point against the limit, then what has no power."""
    number = len(profile.volts)
    if (lowest := profile.lowest) is None and profile.why:
        return [f"not known: {profile.why}"]
    if lowest is None:
        unknown = "" if profile.has_axis else "; which volts they need, the file does not say"
        return [f"not fed: none of its {number} pixels has a voltage{unknown}"]
    volts = float(profile.volts[lowest - 1])
    says = f"lowest {said(volts, profile.least)} at pixel {lowest} of {number}; "
    if profile.asks is not None:
        says += f"from a supply of other volts: it needs {profile.asks:g} V, do not switch it on"
    elif profile.least is None:
        says += "min_volts not given"
    elif below := int((profile.volts < profile.least).sum()):
        says += f"needs {limit_words(profile.least)}: too low at {below} pixel{'s' if below > 1 else ''}"
    else:
        says += f"needs {limit_words(profile.least)}: OK"
    return [says, *(["not fed: " + _stretches(unfed(profile))] if np.isnan(profile.volts).any() else [])]


def limit_words(least: float) -> str:
    """The limit as it was given."""
    return f"{least:.6g} V" if float(f"{least:.6g}") == least else f"{least} V"


def cut_words(profile: Profile) -> list[str]:
    """Where V+ is cut: a sentence or none."""
    return [f"V+ is cut before {spread(profile.cuts)}"] if profile.cuts else []


def _stretches(found: Sequence[tuple[int, int]], most: int = 4) -> str:
    """Stretches of pixels, given from 0 and end not included: `pixels 1–20, 45`."""
    listed = ", ".join(f"{first + 1}–{end}" if end > first + 1 else str(end) for first, end in found[:most])
    word = "pixel " if len(found) == 1 and found[0][1] == found[0][0] + 1 else "pixels "
    return word + listed + (f" and {len(found) - most} stretches more" if len(found) > most else "")


def spread(pixels: Iterable[int], most: int = 8) -> str:
    """Pixel numbers in short: `pixels 1, 250 and 500`, `pixels 1, 51, 101 … 451 (every 50) and 500`."""
    at = sorted(set(pixels))
    for body in (at, at[:-1]):
        if len(body) > 4 and len(set(np.diff(body).tolist())) == 1:
            every = f"pixels {body[0]}, {body[1]}, {body[2]} … {body[-1]} (every {body[1] - body[0]})"
            return every + (f" and {at[-1]}" if len(body) < len(at) else "")
    if len(at) == 1:
        return f"pixel {at[0]}"
    kept = len(at) - 1 if len(at) <= most else most - 1
    last = str(at[-1]) if len(at) <= most else f"{len(at) - kept} more"
    return f"pixels {', '.join(map(str, at[:kept]))} and {last}"


def pieces(profile: Profile) -> list[tuple[int, int]]:
    """Unbroken stretches of fed pixels, from 0, end not included: broken by cuts and by pixels that are not fed."""
    fed = ~np.isnan(profile.volts)
    starts = fed & ~np.r_[False, fed[:-1]]
    starts[[pixel - 1 for pixel in profile.cuts]] = True
    firsts = np.flatnonzero(starts & fed)
    breaks = np.r_[np.flatnonzero(starts | ~fed), len(fed)]
    return [(int(first), int(breaks[np.searchsorted(breaks, first, "right")])) for first in firsts]


def unfed(profile: Profile) -> list[tuple[int, int]]:
    """Stretches of pixels that are not fed, from 0, end not included."""
    edges = np.flatnonzero(np.diff(np.r_[False, np.isnan(profile.volts), False]))
    return [(int(first), int(end)) for first, end in edges.reshape(-1, 2)]


def thin(volts: NDArray[np.float64], first: int, end: int) -> NDArray[np.int_]:
    """Which pixels of a stretch are drawn: all of a short run, else the ends and each bin's highest and lowest."""
    if len(volts) <= 2 * _BINS:
        return np.arange(first, end)
    bins = max(1, _BINS * (end - first) // len(volts))
    kept = {first, end - 1}
    for part in np.array_split(np.arange(first, end), bins):
        kept |= {int(part[np.argmin(volts[part])]), int(part[np.argmax(volts[part])])}
    return np.array(sorted(kept))


def _steps(span: float, most: float) -> float:
    """The smallest round step (1, 2 or 5 times a power of ten) of which no more than `most` make the span."""
    power = 10.0 ** math.floor(math.log10(span / most))
    return next(step * power for step in (1, 2, 5, 10, 20) if span / (step * power) <= most)


def scale(profile: Profile, room: float, most: int) -> tuple[float, float, list[float]]:
    """Volts at the bottom and the top, and the ticks between them: two or more, about `most` where they fit.

    `room` is what is left free under the lowest, as a part of the span.
    """
    fed = profile.volts[~np.isnan(profile.volts)]
    known = [profile.rated, *([] if profile.least is None else [profile.least])]
    low, high = min(float(fed.min(initial=math.inf)), *known, math.inf), max(float(fed.max(initial=0)), *known)
    span = max(high - low, high / 10)
    bottom, top = high - span * (1 + room), high + span * 0.06
    for step in (_steps(top - bottom, most), _steps(top - bottom, 6), _steps(top - bottom, 12)):
        ticks = [count * step for count in range(math.ceil(max(bottom, 0) / step), math.floor(top / step) + 1)]
        if len(ticks) > 1:
            break
    return bottom, top, ticks


def tick_words(ticks: Sequence[float]) -> list[str]:
    """Labels of ticks, with as many digits as their step needs."""
    digits = max(0, -math.floor(math.log10(ticks[1] - ticks[0]) + 1e-9))
    return [f"{tick:.{digits}f} V" for tick in ticks]


def pixel_ticks(number: int, most: int) -> list[int]:
    """Pixels to be numbered: the first, the last, and round ones that keep clear of both."""
    step = max(1, round(_steps(number, most)))
    between = [pixel for pixel in range(step, number, step) if min(pixel - 1, number - pixel) >= 0.6 * step]
    return sorted({1, *between, number})


def wrap(text: str, most: float, measure: Callable[[str], float]) -> list[str]:
    """Lines no wider than `most`, broken between words, inside a word only where it is too long for a line."""
    lines = [""]
    for word in re.split(r"\s+(?!V\b)", text.strip()):
        joined = f"{lines[-1]} {word}".lstrip()
        if measure(joined) <= most:
            lines[-1] = joined
            continue
        lines += [""] if lines[-1] else []
        for letter in word:
            if measure(lines[-1] + letter) > most:
                lines.append("")
            lines[-1] += letter
    return lines
