"""What to do about a fault with the hands; where it comes from, most usual first; and the frame that tells those apart.

All of it is common practice, no source. What to write into the show file instead is `rewrite.py`'s.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from patcher.errors import PatcherError
from patcher.faults import Fault
from patcher.faults.fault import AT_A_LAMP
from patcher.faults.sent import port_of
from patcher.power import shortfalls
from patcher.power.flow import Power, power
from patcher.show.run_tables import LoopRun, Run
from patcher.show.schema import Show
from patcher.trade import letter_name
from patcher.wiring import Wiring


@dataclass(frozen=True, slots=True)
class Remedy:
    """What to do about one fault.

    Attributes:
        mend: what to do on the ladder, or at the box.
        causes: where it comes from, most usual first; common practice, no source.
        tells: what tells the causes apart; a frame is given as the command that sends it.
    """

    mend: str
    causes: tuple[str, ...] = ()
    tells: str = ""


@dataclass(frozen=True, slots=True)
class Symptom:
    """Something that a person sees and that no wiring explains.

    Attributes:
        sees: what.
        causes: where it comes from, most usual first; common practice, no source.
        tells: what tells the causes apart.
    """

    sees: str
    causes: tuple[str, ...]
    tells: str


CAUSES: dict[str, tuple[str, ...]] = {
    "cut": (
        "the joint between the last lit pixel and the first dark one",
        "the last lit pixel: its data output has died",
        "the first dark pixel: its data input has died, or water is in it",
    ),
    "flicker": (
        "the first flickering pixel is of another make or timing",
        "the voltage there is too low",
        "the ground wire does not come along with the data",
        "the lead before it is too long for the data: a null pixel or a booster freshens it",
    ),
    "dark": ("the pixel has died, and passes its data on",),
    "dark-channel": (
        "one colour of that pixel has died",
        "a pixel of another kind was put in: with fewer colours, or in another order",
    ),
    "replaced": ("a pixel of another kind or purchase was put in when one was repaired",),
    "data-in": ("the lead was joined at another corner than planned",),
    "swapped-starts": ("two lines of the box sheet mixed up when typed", "two boxes mixed up when they were set"),
    "swapped-with-leads": ("two strings mixed up when they were hung",),
    "missing": ("a dead pixel was cut out, and the wires joined",),
    "dead": ("no power at the box", "a blown fuse", "the network cable", "another address typed into the box"),
    "universe-shift": ("the box counts universes from 0", "a start universe mistyped"),
    "channel-shift": ("a start channel mistyped", "the box counts channels from 0"),
    "shift": ("a null pixel forgotten, or one too many typed into the box", "a first pixel cut off"),
    "colour-order": ("the box is set to another order", "these pixels are from another purchase than the plan knows"),
    "count": ("a number of pixels mistyped",),
}
"""Usual causes, in order. Common practice, no source."""

OF_A_PORT = (
    "its fuse in the box has blown", "its plug or its lead", "it is switched off in the box, or set to no pixels",
    "its output has died",
)  # fmt: skip
"""Why a single port is dead. Common practice, no source."""


def remedy(path: str, wiring: Wiring, fault: Fault) -> Remedy:
    """What to do about a fault of a show.

    Args:
        path: the show file, as it is named in commands.
        wiring: its wiring as planned.
        fault: the fault.
    """
    causes = OF_A_PORT if fault.kind == "dead" and "/" in fault.where else CAUSES.get(fault.kind, ())
    return Remedy(_mend(path, wiring, fault), causes, _tells(path, wiring, fault))


def _mend(path: str, wiring: Wiring, fault: Fault) -> str:
    show, where, value, places = wiring.show, fault.where, fault.value, fault.places
    if fault.kind == "colour-order":
        return _colours(wiring, where, value)
    if fault.kind == "dead":
        return _dead(path, wiring, where)
    if fault.kind == "data-in" and isinstance(show.runs[where], LoopRun):
        return f"feed {where} where it is planned; now {_entered(show.runs[where], fault)}"
    at_a_lamp = fault.kind in AT_A_LAMP
    run, pixel = (fault.lamp[0], fault.lamp[1] + 1) if at_a_lamp else ("", 0)
    before = f"between {run}/{pixel - 1} and {run}/{pixel}" if pixel > 1 else f"before {run}/1, where its lead ends"
    more = "more" if value[:1] != "-" else "fewer"
    off = f"{value.lstrip('+-')} {more}"
    return {
        "reversed": f"turn {where} round, or feed it at its other end",
        "data-in": f"feed {where} at its planned corner; now it is fed at the {value.replace('-', ' ')}",
        "lines": f"rewire {where}: its lines run along the {value}",
        "turns": f"rewire {where}: every line of it {'runs the same way' if value == 'same-way' else 'turns back'}",
        "swapped-ports": f"swap the plugs of {' and '.join(places)}",
        "swapped-runs": f"hang {' and '.join(places)} in each other's place; their leads stay where they are",
        "swapped-with-leads": f"hang {' and '.join(places)} in each other's place, each with its lead",
        "shift": f"{off} pixel{'s' * (value not in ('1', '-1'))} than planned before {where}'s first pixel: see its "
                 "nulls in the box, then its first pixels",
        "dark": f"replace the pixel {where}, from its neighbours' batch if you can",
        "dark-channel": f"replace the pixel {where}, whose {letter_name(value)} stays dark",
        "replaced": f"replace the pixel {where} by one of {_kind_of(show, run)}; its chip takes {value}",
        "missing": f"put a pixel in at {where}, where one was cut out",
        "cut": f"open the joint {before}, dry it, and make it anew",
        "flicker": f"look at the pixel {where}, and at what comes {before}",
        "universe-shift": f"type {where}'s planned start universe; it is set {off} than planned",
        "channel-shift": f"type {where}'s planned start channel; it is set {off} than planned",
        "count": f"type {where}'s planned number of pixels; it is set {off} than planned",
        "swapped-starts": f"type the planned starts of {' and '.join(places)}; each has the other's",
    }[fault.kind]  # fmt: skip


def _entered(run: Run, fault: Fault) -> str:
    """Where the data enters a loop, and which way it goes round, as the audience sees it."""
    assert isinstance(run, LoopRun)  # noqa: S101  (a grid has a corner only)
    place, backwards = fault.entry
    at = f"at place {place} of its outline" if isinstance(place, int) else f"at its {place.replace('-', ' ')} corner"
    if place in ("first", "last"):
        at = f"at the {place} place drawn"
    turned = zip(run.corners, (*run.corners[1:], run.corners[0]), strict=True)
    area = sum(x0 * y1 - x1 * y0 for (x0, y0), (x1, y1) in turned)
    way = "against the drawn order" if backwards or place == "last" else "in the drawn order"
    if area:
        way = "clockwise" if (area < 0) is not (backwards or place == "last") else "anticlockwise"
    return f"it is fed {at} and goes round {way}"


def _kind_of(show: Show, run: str) -> str:
    """A run's kind of pixel with its colour order; nothing for no run."""
    if run not in show.runs:
        return ""
    kind = show.type_of(show.runs[run])
    return f"{kind.name}, {kind.colour_order}"


def _colours(wiring: Wiring, run: str, order: str) -> str:
    box, port = wiring.ports[run]
    planned = wiring.show.type_of(wiring.show.runs[run]).colour_order
    if wiring.show.controllers[box].reorders:
        return f"set the colour order of {run} in {box}, port {port}, to {order}; its pixels are not {planned}"
    return f"nothing to mend by hand: {run}'s pixels are {order}, not {planned}, and {box} sends colours as they come"


def _dead(path: str, wiring: Wiring, where: str) -> str:
    show = wiring.show
    if "/" not in where:
        spares = [box.name for box in show.controllers.values() if box.spare]
        swap = f"; if it stays dead: patcher swap {path} {where} {spares[0]}" if spares else ""
        return f"look at {where}: power first, then fuse, then the network cable, then its address{swap}"
    box, _ = port_of(where)
    table = show.controllers[box]
    free = next((n for n in range(1, table.ports + 1) if (box, n) not in wiring.chains), None)
    other = "" if free is None else (
        f"; if it stays dead, plug the lead into {box}/{free}, which is free, and move its runs there under "
        f"[controller.{box}.port]"
    )  # fmt: skip
    return f"look at {where}: its fuse, its plug, whether it is switched on in the box{other}"


def _tells(path: str, wiring: Wiring, fault: Fault) -> str:
    send = f"patcher send {{}} {path} --on {{}}"
    if fault.kind == "cut":
        run, pixel = fault.lamp[0], fault.lamp[1]
        if not pixel:
            return "the lead first: plug a string that works into it; if that lights, it is the first pixel"
        return (
            f"{send.format('primaries', f'{run}/{pixel}')}: if the last lit pixel lacks a colour or flickers, it is "
            f"that one; if it is sound, the joint or {run}/{pixel + 1}"
        )
    if fault.kind == "flicker":
        run = fault.lamp[0]
        return (
            f"{send.format('steady', run)} --level 0.02, then --level {wiring.show.settings.level:g}: what flickers "
            "only when bright wants voltage; what flickers when nearly dark too wants data: make, ground or lead"
        )
    if fault.kind == "dark-channel":
        return (
            f"{send.format('primaries', fault.lamp[0])}: a dead colour is missing at that pixel alone; with a pixel of "
            "another kind all behind it show wrong colours"
        )
    if fault.kind == "universe-shift":
        return (
            f"patcher send ports {path}: if every box of that make is off by one, they count from 0; if only "
            f"{fault.where} is, its number was mistyped"
        )
    if fault.kind == "replaced":
        run, pixel = fault.lamp
        return (
            f"{send.format('primaries', run)}: where the chip takes as many channels, {run}/{pixel + 1} alone shows "
            "other colours; where it takes more or fewer, all behind it do"
        )
    if fault.kind in ("channel-shift", "swapped-starts"):
        box = fault.where.partition("/")[0].partition(",")[0]
        return f"patcher where {path} {box} says what is planned: read the box's own page by it"
    return ""


def far_end(path: str, wiring: Wiring, runs: Sequence[str], pixel: int | None = None) -> tuple[str, ...]:
    """The computed voltage of runs at their far end, or at one pixel, in words; nothing where the file says too little.

    It is that of every pixel white at the show's level, as `patcher power` computes it.
    """
    if not shortfalls.described(wiring.show):
        return ()
    try:
        state = power(wiring)
    except PatcherError:
        return ()
    return tuple(filter(None, (_volts(path, state, run, pixel) for run in runs if run in state.circuit.runs)))


def _volts(path: str, state: Power, run: str, pixel: int | None) -> str:
    volts = state.volts(run)
    at = (pixel or len(volts)) - 1
    least = state.show.type_of(state.show.runs[run]).min_volts
    if np.isnan(volts[at]):
        return ""
    wants = f"; its pixels want {least:g} V" if least is not None else ""
    verdict = ""
    if least is not None:
        low = f", too low: patcher power {path} --plan proposes feeds"
        verdict = low if volts[at] < least else ", enough: then a joint, a fuse or a feed is bad"
    left = f"{volts[at]:.2f} V" if volts[at] > 0 else "no voltage left"
    return f"{run}/{at + 1} has by the plan {left}, all white at level {state.level:g}{wants}{verdict}"


def not_wiring(path: str, wiring: Wiring, runs: Sequence[str]) -> tuple[Symptom, ...]:
    """What can still look wrong where the wiring is as planned, each with its usual causes, in order."""
    run = runs[0]
    dim = f"patcher send steady {path} --on {run} --level"
    bright = f"{wiring.show.settings.level:g}"
    quoted = far_end(path, wiring, runs)
    return (
        Symptom(
            "white that turns pink or brown towards the far end",
            ("too little voltage there: blue goes first, then green", "a feed that is off, or its fuse blown",
             "a bad joint in V+ or ground"),
            f"{dim} 0.05, then {bright}: what is white when dim and brown when bright wants voltage. "
            + (". ".join(quoted) if quoted else f"patcher power {path} works it out, once the file has its supplies"),
        ),
        Symptom(
            "random flicker", CAUSES["flicker"],
            f"{dim} 0.02, then {bright}: what flickers only when bright wants voltage; what flickers when nearly dark "
            "too wants data: make, ground or lead",
        ),
    )  # fmt: skip
