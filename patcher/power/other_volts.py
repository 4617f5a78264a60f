"""Findings about pixels that a supply of other volts reaches: by a tap, or along V+ that a neighbour shares."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import groupby

from patcher.errors import Finding, first_few
from patcher.power.stretches import Stretch, cut_at, tapped
from patcher.show.schema import Show

Groups = list[tuple[float | None, list[int]]]
"""The parts of a stretch that lie side by side and need the same volts: those, and the parts by number."""


def where_volts_change(show: Show, part: Stretch) -> list[tuple[str, int]]:
    """The run and pixel of a stretch just before which its pixels' volts change: always the first of a run."""
    groups = _groups(show, part)
    return [(part.parts[group[0]][0], 1) for _, group in groups[1:]] if len({volts for volts, _ in groups}) > 1 else []


def other_volts(show: Show, parts: list[Stretch]) -> Iterator[Finding]:
    """Each tap of a supply of other volts than its run's pixels, once a run; and what such a supply reaches along V+.

    A tap of a supply of other volts makes what it joins wrong: what hangs together with that is not named again. Nor is
    what has a tap of a supply of its own volts: those two supplies are joined, and are cut apart.
    """
    seen: set[tuple[str, str]] = set()
    for tree, run, pixel in tapped(show):
        supply, kind = show.supplies[str(show.feeds[tree].supply)], show.type_of(show.runs[run])
        if show.runs[run].hung and kind.volts not in (None, supply.volts) and (tree, run) not in seen:
            seen.add((tree, run))
            says = (
                f"brings {supply.volts:g} V from {supply.name} to {run}/{pixel}, "
                f"whose {kind.name} needs {kind.volts:g} V"
            )
            part = next(part for part in parts if _holds(part, run, pixel))
            yield Finding("error", "other-volts", "power", f"feed.{tree}", says, _remedy(show, part, run))
    joined: dict[str, list[tuple[str, int]]] = {}
    for tree, run, pixel in tapped(show):
        joined.setdefault(run, []).append((tree, pixel))
    for part in parts:
        if len(groups := _groups(show, part)) > 1:
            runs = enumerate(part.parts)
            taps = [
                (tree, at) for at, (run, first, last) in runs for tree, pixel in joined.get(run, ())
                if first <= pixel <= last
            ]  # fmt: skip
            yield from _along(show, part, groups, taps)


def _along(show: Show, part: Stretch, groups: Groups, taps: list[tuple[str, int]]) -> Iterator[Finding]:
    """What of a stretch gets other volts along its V+, from a tap at a neighbour: the feed, and which of its parts."""
    for volts, group in groups:
        wrong = [tap for tap in taps if show.supplies[str(show.feeds[tap[0]].supply)].volts != volts]
        if volts is None or not wrong or any(group[0] <= at <= group[-1] for _, at in taps):
            continue
        tree, at = min(wrong, key=lambda tap: min(abs(tap[1] - place) for place in group))
        supply = show.supplies[str(show.feeds[tree].supply)]
        run, *more = (part.parts[place][0] for place in group)
        says = f"gets {supply.volts:g} V from {supply.name} through {part.parts[at][0]}"
        says += f", as {first_few(more, 4)} {'do' if len(more) > 1 else 'does'}" if more else ""
        says += f", and {show.runs[run].pixel} needs {volts:g} V"
        yield Finding("error", "other-volts", "power", f"run.{run}", says, _remedy(show, part, run))


def _remedy(show: Show, part: Stretch, run: str) -> str:
    """What to do about a run of a stretch that gets other volts: cut it from what needs others, and feed it."""
    volts, group = next(each for each in _groups(show, part) if run in [part.parts[at][0] for at in each[1]])
    edges = [at for at in (group[0], group[-1] + 1) if 0 < at < len(part.parts)]
    connect = f"connect {run} to a supply of {volts:g} V"
    if not edges:
        return f"do not switch it on: {connect}"
    cut = cut_at(show, [(part.parts[at][0], 1) for at in edges])
    return f"do not switch it on: {cut}, leave the ground whole, and {connect}"


def _groups(show: Show, part: Stretch) -> Groups:
    """The parts of a stretch, by number, where those side by side need the same volts; with these volts."""
    volts = [show.type_of(show.runs[run]).volts for run, _, _ in part.parts]
    return [(key, list(group)) for key, group in groupby(range(len(volts)), key=lambda at: volts[at])]


def _holds(part: Stretch, run: str, pixel: int) -> bool:
    return any(name == run and first <= pixel <= last for name, first, last in part.parts)
