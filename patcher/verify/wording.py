"""Words for a person who stands before the lamps: which end is meant, where to look, what to say."""

from __future__ import annotations

import numpy as np

from patcher.eye import Ask
from patcher.shapes import lattice, positions
from patcher.show.schema import Show

FAR_APART = 0.3
"""Two ends are told apart by a side where they lie so far from each other, as a part of the run's extent."""


def ends(show: Show, run: str) -> tuple[str, str]:
    """The first and the last lamp of a run as a person finds them, as planned."""
    table = show.runs[run]
    if (wired := lattice(show, table)) is not None:
        return f"the {wired.data_in.replace('-', ' ')} corner, where its wiring begins", "the end of its last line"
    placed = positions(show, table)
    if placed is None or len(placed) < 2:
        return "the end where its lead comes in", "its far end"
    extent = float((placed.max(axis=0) - placed.min(axis=0)).max()) or 1.0
    apart = (placed[-1] - placed[0]) / extent
    axis = int(np.abs(apart).argmax())
    if abs(apart[axis]) < FAR_APART:
        return "the end where its lead comes in", "its far end"
    sides = (("left", "right"), ("lower", "upper"))[axis]
    first, last = sides if apart[axis] > 0 else sides[::-1]
    return f"its {first} end", f"its {last} end"


def asks(show: Show, ask: Ask) -> str:
    """What an eye is asked, for a person."""
    run = ask.runs[0]
    first, last = ends(show, run)
    match ask.kind:
        case "whole":
            return f"What does {run} look like as a whole?"
        case "even":
            return f"Is any pixel of {run} that should be lit dark, dimmer or of another colour?"
        case "outer":
            return f"Go along {run} from {last if ask.end else first}: what colour is the first lamp that is lit?"
        case "colours":
            return f"Which of the colours is missing on {run}?"
        case "gap":
            return f"Is there a gap between lit lamps of {run}? Coming from {first}: which colour is just before it?"
        case "odd":
            return (
                f"Is there a single pixel of another colour among those of {run}? Coming from {first}: which colour is "
                "just before it?"
            )
        case "where":
            return f"Where on {run} is the {ask.colours[0]} light?"
        case "few" if len(ask.runs) == 1:
            return f"Few lamps are lit on {run}: which do you see{f', from {first} on' * (ask.grids[0] is None)}?"
        case "few":
            lines = [name for name, grid in zip(ask.runs, ask.grids, strict=True) if grid is None]
            read = "; ".join(f"{name} from {ends(show, name)[0]}" for name in lines)
            return "Few lamps are lit: which do you see?" + f" Read {read}." * bool(lines)
        case "flicker":
            return f"Does anything on {run} flicker?"
        case "vanish" | "together":
            assert ask.goes is not None  # noqa: S101  (both make it so)
            goes = int(ask.goes.max()) + 1
            along = ", then ".join(ask.runs) + f", a part at each of {goes} goes with a pause between" * (goes > 1)
            if ask.kind == "vanish":
                return f"Watch the dot go along {along}: in which go did it first vanish, or not show?"
            return f"Watch the two lamps go along {along}: in which go did they first come apart, or one stay dark?"
