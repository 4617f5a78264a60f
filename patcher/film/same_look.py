"""Faults that a film cannot tell from those that it names: with each of them every pixel would have played the same."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
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
    wired = _wired(plan, code, named)
    changed = {fault: _changed(plan, code, fault) for fault in faults}
    every = singles(plan, list(wired), lambda run: ()) if faults else []
    found: dict[Fault, tuple[Fault, ...]] = {}
    for fault in faults:
        rest = _without(fault, faults)
        # What no other fault changes must look so by this one alone: most others are ruled out by that.
        own = changed[fault].difference(*map(changed.__getitem__, rest))
        near = [(other, differs.takes) for other, differs in every if differs.takes.keys() & changed[fault]]
        likely = [other for other, takes in near if _all_alike(plan, code, own, takes, wired)]
        found[fault] = tuple(
            other for other in likely
            if other not in faults and _all_alike(plan, code, wired, _taken(plan, [*rest, other]), wired)
        )  # fmt: skip
    return {fault: others for fault, others in found.items() if others}


def _without(fault: Fault, faults: Iterable[Fault]) -> list[Fault]:
    return [one for one in faults if one != fault]


def _changed(plan: Planned, code: Code, fault: Fault) -> set[str]:
    """The runs that play something else with a fault."""
    takes = _taken(plan, [fault]) or {}
    sound = {run: _shown(plan, code, run, plan.takes) for run in takes}
    return {run for run in takes if not alike(_shown(plan, code, run, takes), sound[run])}


def _all_alike(
    plan: Planned, code: Code, runs: Iterable[str], takes: Mapping[str, Takes] | None, wired: Mapping[str, Shown]
) -> bool:
    """Whether some runs that take this play what they are held to play; not where nothing can take it."""
    return takes is not None and all(alike(_shown(plan, code, run, takes), wired[run]) for run in runs)


def _taken(plan: Planned, faults: Sequence[Fault]) -> dict[str, Takes] | None:
    """What each run takes with some faults; None where those make no sense together."""
    with suppress(PatcherError):
        build(plan.wiring, faults)
        return {**plan.takes, **departure(plan, tuple(faults)).takes}
    return None


def _wired(plan: Planned, code: Code, takes: Mapping[str, Takes]) -> dict[str, Shown]:
    return {run: _shown(plan, code, run, takes) for run in plan.takes}


def _shown(plan: Planned, code: Code, run: str, takes: Mapping[str, Takes]) -> Shown:
    show = plan.wiring.show
    return shown(takes.get(run, plan.takes[run]), show.type_of(show.runs[run]).colour_order, code)
