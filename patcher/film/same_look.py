"""Faults that a film cannot tell from those that it names: with each of them every pixel would have played the same."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import suppress

from patcher.diagnosis.hypotheses import singles
from patcher.errors import PatcherError
from patcher.faults import Fault, Planned, Takes, build, departure
from patcher.film.shown import Shown, alike, shown
from patcher.frames.film_code import Code


def same_look(plan: Planned, code: Code, faults: Sequence[Fault]) -> dict[Fault, tuple[Fault, ...]]:
    """For each of some faults that a film names those that may be there in its place.

    A channel that no pixel of the show is planned on plays nothing: what takes it is as dark as what takes none. So a
    film cannot tell a start in the wrong universe from a plug in an empty port; a diagnosis can.

    Args:
        plan: the wiring as planned.
        code: what it played.
        faults: that are named, all of them together.

    Returns:
        Only faults that have others; of whole runs, for those at single pixels are told.
    """
    named = _taken(plan, faults)
    if named is None:
        return {}
    wired = {run: _shown(plan, code, run, named) for run in named}
    found: dict[Fault, tuple[Fault, ...]] = {}
    for fault in faults:
        rest = [one for one in faults if one != fault]
        changed = [run for run, takes in (_taken(plan, [fault]) or {}).items() if takes is not plan.takes[run]]
        if not changed:
            continue
        others: list[Fault] = []
        for other, alone in singles(plan, changed, lambda run: ()):
            if other in faults or not all(
                run in alone.takes and alike(_shown(plan, code, run, alone.takes), wired[run]) for run in changed
            ):
                continue
            together = _taken(plan, [*rest, other])
            if together is not None and all(
                alike(_shown(plan, code, run, together), wired[run]) for run in wired
            ):  # fmt: skip
                others.append(other)
        if others:
            found[fault] = tuple(others)
    return found


def _taken(plan: Planned, faults: Sequence[Fault]) -> dict[str, Takes] | None:
    """What each run takes with some faults; None where those make no sense together."""
    with suppress(PatcherError):
        build(plan.wiring, faults)
        return {**plan.takes, **departure(plan, tuple(faults)).takes}
    return None


def _shown(plan: Planned, code: Code, run: str, takes: Mapping[str, Takes]) -> Shown:
    show = plan.wiring.show
    return shown(takes[run], show.type_of(show.runs[run]).colour_order, code)
