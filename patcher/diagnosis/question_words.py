"""The questions of the diagnosis in words, for a person who stands before the pixels."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from patcher import ends as reading
from patcher.diagnosis.place_words import listed
from patcher.eye import Ask
from patcher.shapes import lattice, positions
from patcher.show.schema import Show


class Mark(NamedTuple):
    """A place that a question names, for a drawing.

    Attributes:
        run: the run.
        pixel: the pixel to begin at, from 0.
        towards: a pixel that lies the way in which it is read.
    """

    run: str
    pixel: int
    towards: int


def ends(show: Show, run: str) -> tuple[str, str]:
    """The place of a run's first pixel and of its last as a person finds them, as planned."""
    first, last = reading.of_run(show, run)
    return str(first), str(last)


def again(asks: str, said: str) -> str:
    """A question that was answered already, with that answer."""
    return f"You answered this with “{said}”, which was not expected. Once more: {asks}"


def asks(show: Show, ask: Ask) -> str:
    """What an eye is asked, for a person."""
    run = ask.runs[0]
    match ask.kind:
        case "whole":
            return f"What colour is most of {run}?"
        case "outer":
            begin = f"On {run}, {_begin(show, run, ask.end)}."
            return f"{begin} What colour is the first pixel that is lit and steady?"
        case "colours":
            return f"Is one of these colours missing on {run}: {listed(ask.colours)}?"
        case "gap":
            gap = f"Is there a gap, a dark pixel between lit ones, on {run}?"
            return f"{gap} If so, begin at {ends(show, run)[0]}: after which colour is the gap?"
        case "odd":
            odd = f"Is there a single pixel of another colour on {run}?"
            return f"{odd} If so, begin at {ends(show, run)[0]}: after which colour is it?"
        case "where":
            return f"Where on {run} is the {ask.colours[0]} light?"
        case "few":
            return _few(show, ask)
        case "even":
            return _even(run, ask)
        case "alike":
            colours = ", then ".join(ask.colours)
            if ask.steady:
                lit = f"Look at the pixels of {listed(ask.runs)} that are lit and steady."
                return f"{lit} They should be {colours}. Is any of them of another colour?"
            lights = _all_that_lights(show, ask)
            should = f"{lights[0].upper()}{lights[1:]} should be {colours}."
            return f"{should} Is any pixel there dark, dimmer or of another colour?"
        case "flicker":
            return f"Does anything on {run} flicker?"
        case "vanish" | "together":
            return _moving(ask)


def _begin(show: Show, run: str, end: int) -> str:
    """Where to begin, and which way to go. Of a closed outline one of its two ends may be the pixel at that very place:
    from the other end on, that pixel comes last.
    """
    both = reading.of_run(show, run)
    place, way = both[end].begin, both[end].way or "along it"
    if both[0].begin == both[1].begin and _sits_there(show, run, both[0]) == -1 - end:
        return f"begin beside the pixel at {place} and go {way}, so that this pixel comes last"
    return f"begin at {place} and go {way}"


def _sits_there(show: Show, run: str, named: reading.RunReading) -> int | None:
    """Which end of a closed outline, the first (0) or the last (-1), is the pixel at the place that names both: of a
    corner the one that is clearly nearer to it, or neither; any other place is that of the first.
    """
    places = positions(show, show.runs[run])
    assert places is not None  # noqa: S101  (what has no picture is not closed)
    if not named.begin.endswith("corner"):
        return 0
    up, across = named.side.split()
    far = np.array([across == "right", up == "top"])
    corner = np.where(far, places.max(axis=0), places.min(axis=0))
    first, last = np.hypot(*(places[[0, -1]] - corner).T).tolist()
    return 0 if first <= last / 2 else -1 if last <= first / 2 else None


def _all_that_lights(show: Show, ask: Ask) -> str:
    """The runs that should be lit all along, and those that by what was seen so far light only in part."""
    each = {run: max(own) for run, own in zip(ask.runs, zip(*ask.counts, strict=True), strict=True)}
    whole = [run for run, lit in each.items() if lit >= show.runs[run].pixels]
    parts = [run for run, lit in each.items() if lit and run not in whole]
    every = (("all of", whole), ("the lit part of", parts))
    return " and ".join(f"{words} {listed(some)}" for words, some in every if some)


def _even(run: str, ask: Ask) -> str:
    """Which pixels should be lit, and whether they are alike; of a single one whether it is right."""
    if ask.part is None:
        return f"All of {run} should be {ask.colours[0]}. Is any pixel dark, dimmer or of another colour?"
    first, last = ask.part
    if first == last:
        return f"Only {run}/{first} should be lit, {ask.colours[0]}. Is it?"
    lit = f"Only {run} {first}–{last} should be lit, {ask.colours[0]}: {ask.count} pixels."
    return f"{lit} Is any of them dark, dimmer or of another colour?"


def _few(show: Show, ask: Ask) -> str:
    """Few pixels are lit, or none; grids are read by their corners, all else from an end on."""
    if _nothing(ask):
        return f"Nothing should be lit on {listed(ask.runs)}. Is anything?"
    lines = [run for run, grid in zip(ask.runs, ask.grids, strict=True) if grid is None]
    if len(ask.runs) == 1:
        begin = f" Begin at {ends(show, ask.runs[0])[0]}." if lines else ""
        return f"Only a few pixels are lit on {ask.runs[0]}. Which line matches what you see?{begin}"
    begin = "; ".join(f"{run} at {ends(show, run)[0]}" for run in lines)
    return "Only a few pixels are lit. Which line matches what you see?" + f" Begin {begin}." * bool(lines)


def _nothing(ask: Ask) -> bool:
    return ask.kind == "few" and not any(pixels for sight in ask.sights for pixels in sight)


def _moving(ask: Ask) -> str:
    assert ask.goes is not None  # noqa: S101  (what moves has passes)
    passes = int(ask.goes.max()) + 1
    along = ", then ".join(f"a part of {run}" if run in ask.parts else run for run in ask.runs)
    times = "once" if passes == 1 else f"in {passes} passes"
    if ask.kind == "vanish":
        return f"One lit pixel steps along {along} {times}. In which pass did you first not see it?"
    return (
        f"Two lit pixels, side by side, step along {along} {times}. In which pass did you first see a gap between "
        "them, or only one lit?"
    )


def marks(show: Show, ask: Ask) -> tuple[Mark, ...]:
    """The places that a question names, where it is to be read from one on."""
    if ask.kind not in ("outer", "gap", "odd", "few", "vanish", "together") or _nothing(ask):
        return ()
    grids = ask.grids or (None,) * len(ask.runs)
    named = [run for run, grid in zip(ask.runs, grids, strict=True) if grid is None and run not in ask.parts]
    return tuple(_mark(show, run, ask.end) for run in named)


def _mark(show: Show, run: str, end: int) -> Mark:
    last = show.runs[run].pixels - 1
    wired = lattice(show, show.runs[run])
    line = last + 1 if wired is None else wired.columns if wired.lines == "rows" else wired.rows
    far = min(last, max(1, line // 8))
    return Mark(run, last, last - far) if end else Mark(run, 0, far)
