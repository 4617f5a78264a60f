"""What a perfect film would say of a show: made up from what each pixel takes, without any film."""

from collections.abc import Iterable

import numpy as np

from patcher.faults import DARK, Fault, Planned, departure, parse
from patcher.film.verdict import PixelVerdict, Verdict, Word
from patcher.shapes import positions

FRONT = ((40.0, 0.0, 100.0), (0.0, -40.0, 500.0), (0.0, 0.0, 1.0))
"""The audience's picture, 40 points a metre, as a projective map."""
LEFT = ((30.0, 0.0, 120.0), (-6.0, -40.0, 520.0), (-0.02, 0.0, 1.0))
"""From far on one side."""


def faults_of(plan: Planned, *codes: str) -> tuple[Fault, ...]:
    return tuple(parse(code, plan.wiring) for code in codes)


def perfect(
    plan: Planned, faults: Iterable[Fault] = (), seen_from=FRONT, hidden: Iterable[tuple[str, int]] = (),
    unseen: Iterable[str] = (), named: Iterable[Fault] | None = None,
) -> Verdict:  # fmt: skip
    """What a film says that reads everything.

    Args:
        plan: the show.
        faults: that are in it.
        seen_from: a projective map from the plan's metres to the picture, where the camera stands.
        hidden: pixels that something stands before.
        unseen: runs that are outside the picture.
        named: what it names; None: the faults.
    """
    faults, hidden, unseen = tuple(faults), {*hidden}, {*unseen}
    takes = plan.takes | departure(plan, faults).takes
    show, pixels = plan.wiring.show, []
    for name, run in show.runs.items():
        places = positions(show, run)
        at = None if places is None else np.column_stack([places, np.ones(len(places))]) @ np.array(seen_from).T
        for pixel in range(run.pixels if run.hung else 0):
            word, lit_by = _of(plan.takes[name][pixel], takes[name][pixel])
            if (name, pixel + 1) in hidden:
                word, lit_by = "dark-or-hidden", None
            if name in unseen or at is None:
                word, lit_by = "unseen", None
            where = None if word == "unseen" else (at[pixel, 0] / at[pixel, 2], at[pixel, 1] / at[pixel, 2])
            pixels.append(PixelVerdict(name, pixel + 1, word, lit_by, where))
    return Verdict(tuple(pixels), faults if named is None else tuple(named))


def _of(planned, taken) -> tuple[Word, tuple[int, int] | None]:
    if (taken == DARK).all():
        return "dark-or-hidden", None
    first = int(taken[taken != DARK].min())
    lit_by = (first // 512 + 1, first % 512 + 1)  # Source: ANSI E1.31: 512 slots a universe
    return ("proved" if np.array_equal(planned, taken) else "other"), lit_by


def words(verdict: Verdict) -> dict[tuple[str, int], str]:
    return {(pixel.run, pixel.pixel): pixel.word for pixel in verdict.pixels}
