"""Why a proposal left a run over or a box without a place, and what would help, as far as one alone shows it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from math import inf

from patcher.chains.chains import Route, accepts, route_ms, universes
from patcher.chains.instance import Instance, OpenRun, room
from patcher.errors import first_few
from patcher.limits.refresh import rate_text
from patcher.show.tables import same_place
from patcher.wiring import Wiring

_MORE = "add a box or ports"
_STAND = ("stands there", "stand there")
NOT_USED = "no run hangs on it, so it is not placed"


def why_left_over(given: Instance, name: str, *, sure: bool = True, short: Sequence[str] = ()) -> tuple[str, str]:
    """Why no port took a run, and what to do.

    Args:
        given: what was to be decided.
        name: the run.
        sure: whether it is proved that no fewer runs are left over.
        short: boxes for which no place is left where they may stand.
    """
    more = f"add a place to the stands of {short[0]}, or {_MORE}" if short else _MORE
    number, run = next((number, run) for number, run in enumerate(given.runs) if run.name == name)
    if not given.boxes:
        then = "give each box its place: at = [x, y], or places where it may stand: stands = [[x, y], [x, y]]"
        return "no box has a place from which leads could be measured", then
    takes = [(at, outlet) for at, outlet in enumerate(given.outlets) if accepts(given, outlet, run.kind)]
    if not takes:
        return "no free port can take its kind of pixels", f"{more}, or free one with --afresh"
    rooms = [room(given.boxes[outlet.box], outlet, run.kind, run.reset_us, given.frame_rate) for _, outlet in takes]
    if max(rooms) < run.pixels:
        widest = max(_pixels_left(given, at) for at, _ in takes)
        return _too_long(given, number, run, max(rooms), takes[0][0], widest)
    if all(_too_many_universes(given, number, at) for at, _ in takes):
        return "no box has as many universes left", "raise universes where the box can do more, or add a box"
    if not sure:
        return f"no port was found for its {run.pixels} pixels in the time", f"search longer (--seconds), or {more}"
    says = f"the ports that could take its {run.pixels} pixels are full with other runs"
    return says, f"{more}, or lower frame_rate"


def not_placed(after: Wiring) -> dict[str, tuple[str, str]]:
    """Of each box that may stand in several places and is given none of them: why, and what to do.

    Args:
        after: what hangs on what with a proposal.
    """
    found = {}
    boxes, used = after.show.controllers, {box for box, _ in after.chains}
    stand = {name: box.at for name, box in boxes.items() if box.at is not None}
    for name, box in boxes.items():
        if not box.stands or box.spare or name in stand or name in used:
            continue
        by = [[other for other, at in stand.items() if same_place(at, place)] for place in box.stands]
        if all(by):
            others = list(dict.fromkeys(other for each in by for other in each))
            says = f"no place is left where it may stand: {first_few(others, 8)} {_STAND[len(others) > 1]}"
            found[name] = (says, "add a place to its stands")
        else:
            found[name] = (NOT_USED, "")
    return found


def _pixels_left(given: Instance, at: int) -> float:
    """How many pixels a port has room for, whatever the frame rate."""
    outlet = given.outlets[at]
    most = given.boxes[outlet.box].port_pixels
    return inf if most is None else most - outlet.taken


def _too_long(given: Instance, number: int, run: OpenRun, most: int, at: int, widest: float) -> tuple[str, str]:
    """Of a run for which no port has as much room; `widest` is what ports have room for, whatever the frame rate."""
    way = given.outlets[at]
    alone = route_ms(replace(given, outlets=(replace(way, taken=0),)), Route(0, ((number, 0),), 0))
    if alone > 1000 / given.frame_rate:
        rate = rate_text(1000 / alone)
        says = f"its {run.pixels} pixels take {alone:.1f} ms: {rate} frames a second, and the show plays"
        says += f" {given.frame_rate:g}"
        if widest < run.pixels:
            return f"{says}; and a port takes {widest:g} pixels at most", "make two runs of it, or more"
        return says, f"make two runs of it, or lower frame_rate to {rate} or less"
    return (
        f"it has {run.pixels} pixels, and the most that a port has room for is {most}",
        "make two runs of it, or add a port that has room for it",
    )


def _too_many_universes(given: Instance, number: int, at: int) -> bool:
    """Whether a box cannot take a run on a port for the universes that it needs there."""
    box = given.outlets[at].box
    most = given.boxes[box].universes
    needs = universes(given, Route(at, ((number, 0),), 0))
    return most is not None and given.universes_taken[box] + needs > most + 1e-9
