"""How to fix a fault by hand; where it comes from, most usual first; and the frame that tells those causes apart.

All of it is common practice, no source. What to write into the show file instead is decided in `rewrite.py`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from patcher.diagnosis.hypotheses import leads_show
from patcher.errors import PatcherError
from patcher.faults import Fault
from patcher.faults.fault import AT_A_PIXEL
from patcher.faults.fault_sentences import into_empty, off
from patcher.faults.sent import port_of
from patcher.patch.thing import called, swapped_as
from patcher.power import shortfalls
from patcher.power.flow import Power, power
from patcher.show.run_tables import LoopRun, Run
from patcher.show.schema import Show
from patcher.trade import letter_name
from patcher.visible import argument, sent_from
from patcher.wiring import Wiring, port_name


@dataclass(frozen=True, slots=True)
class Advice:
    """What to do about a fault, or about something that a person sees and that no wiring explains.

    Attributes:
        says: what to do on the ladder, or at the box; or what is seen.
        causes: where it comes from, most usual first; common practice, no source.
        tells: what tells the causes apart; a frame is given as the command that sends it.
        volts: the planned voltage, in words, for the cause that is one of `LOW_VOLTAGE`.
    """

    says: str
    causes: tuple[str, ...] = ()
    tells: str = ""
    volts: tuple[str, ...] = ()


LOW_VOLTAGE = ("the voltage there is too low", "too little voltage there: blue goes first, then green")
"""The causes that the planned voltage says something of."""

IN_THE_BOX = "the box is set to another colour order"
CAUSES: dict[str, tuple[str, ...]] = {
    "cut": (
        "the joint between the last lit pixel and the first dark one",
        "the last lit pixel: its data output has failed",
        "the first dark pixel: its data input has failed, or water is in it",
    ),
    "flicker": (
        "the first flickering pixel is of another make or timing",
        LOW_VOLTAGE[0],
        "no ground wire runs with the data wire",
        "the lead before it is too long for the data: a null pixel or a booster regenerates the signal",
    ),
    "dark": ("the pixel has failed, but still passes its data on",),
    "dark-channel": (
        "one colour of that pixel has failed",
        "a pixel of another type was put in: with fewer colours, or another colour order",
    ),
    "replaced": ("a pixel of another type or batch was put in as a repair",),
    "data-in": ("the lead was joined at the wrong corner", "it hangs upside down, or turned round"),
    "swapped-starts": ("two lines of the box sheet mixed up when typed in", "two boxes mixed up when they were set"),
    "swapped-with-leads": ("two strings mixed up when they were hung",),
    "missing": ("a dead pixel was cut out, and the wires joined",),
    "dead": (
        "no power at the box",
        "a blown fuse",
        "the network cable",
        "its address, its protocol, unicast or multicast, or a start universe far off, typed in wrong",
    ),
    "universe-shift": ("a start universe typed in wrong",),
    "channel-shift": ("a start channel typed in wrong",),
    "colour-order": (
        IN_THE_BOX,
        "these pixels are from another batch than the plan says",
    ),
    "count": ("a number of pixels typed in wrong",),
}
"""Usual causes, in order. Common practice, no source."""

SHIFTED = {
    (True, True): ("a null pixel before it is not set in the box", "a pixel more was put in before its first one"),
    (True, False): ("a pixel that the plan does not have hangs before its first one, such as a null or a booster",),
    (False, True): ("a null pixel that is set in the box does not hang there", "its first pixel was cut off"),
    (False, False): ("its first pixel was cut off", "a null pixel is set in the box, and none is planned"),
}
"""Why a run begins later (True) or earlier on its cable, and whether null pixels are planned before it."""

START_FAR_OFF = "its start universe is typed in far off"
OF_A_PORT = (
    "its fuse in the box has blown", "its plug, or its lead, which may be in an empty port of another box",
    "it is switched off in the box, or set to no pixels", START_FAR_OFF, "its output has failed",
)  # fmt: skip
"""Why a single port is dead; the start only where the port has its own. Common practice, no source."""


TYPED = ("universe-shift", "channel-shift", "count", "swapped-starts", "colour-order")
"""Kinds that are fixed by what is typed in: no box is opened for them, and no wire touched."""


def remedy(path: Path | str, wiring: Wiring, fault: Fault, *, practice: bool = False) -> Advice:
    """What to do about a fault of a show.

    Args:
        path: the show file.
        wiring: its wiring as planned.
        fault: the fault.
        practice: whether simulated boxes are looked at: then nothing that is to be sent goes to the real ones.
    """
    named = argument(path)
    causes = OF_A_PORT if fault.kind == "dead" and "/" in fault.where else CAUSES.get(fault.kind, ())
    if fault.kind == "shift":
        causes = SHIFTED[fault.amount > 0, bool(wiring.show.runs[fault.where].nulls)]
    causes = (*_counted_otherwise(wiring, fault), *causes)
    not_so = {IN_THE_BOX: in_file_alone(wiring, fault), START_FAR_OFF: not start_far_off(wiring, fault)}
    causes = tuple(cause for cause in causes if not not_so.get(cause))
    volts = far_end(named, wiring, [fault.pixel[0]], fault.pixel[1] + 1) if fault.kind == "flicker" else ()
    tells = _tells(named, sent_from(path, practice=practice), wiring, fault)
    return Advice(_fix(named, wiring, fault), causes, tells, volts)


def _counted_otherwise(wiring: Wiring, fault: Fault) -> tuple[str, ...]:
    """How a box may count that is one off: the numbers of its page are not those of the plan, which counts channels and
    E1.31's universes from 1, and Art-Net's from 0. Common practice, no source.
    """
    if fault.kind == "channel-shift" and fault.amount == 1:
        return ("the box counts channels from 0: type one less than is planned",)
    if fault.kind != "universe-shift":
        return ()
    box = wiring.ports[fault.where][0] if fault.where in wiring.ports else fault.where.partition("/")[0]
    artnet = wiring.show.controllers[box].protocol == "artnet"
    if fault.amount == (-1 if artnet else 1):
        return (
            ("the box counts universes from 1: type one more than is planned",) if artnet
            else ("the box counts universes from 0: type one less than is planned",)
        )  # fmt: skip
    return ()


def start_far_off(wiring: Wiring, fault: Fault) -> str:
    """What looks the same as a dead box or port, in words: its own start universe typed in so far off that nothing is
    sent there. Of a start that could have any number only some are thought of. Empty for any other fault.
    """
    if fault.kind != "dead":
        return ""
    if "/" in fault.where:
        box, port = port_of(fault.where)
        per, chain = wiring.show.controllers[box].start_per, wiring.chains[box, port]
        if per == "controller" or (per == "run" and len(chain) > 1):
            return ""
    return f"the start universe of {fault.where} is typed in far off, where nothing is sent"


def _fix(path: str, wiring: Wiring, fault: Fault) -> str:
    show, where, value, places = wiring.show, fault.where, fault.value, fault.places
    if fault.kind == "colour-order":
        return _colours(wiring, where, value)
    if fault.kind == "dead":
        return _dead(path, wiring, where)
    if moved := into_empty(wiring, fault):
        right, now, run = moved
        return f"unplug the lead of {run} from {now}, which should be empty, and plug it into {right}"
    if fault.kind == "data-in" and isinstance(show.runs[where], LoopRun):
        return f"feed {where} where it is planned; now {_entered(show.runs[where], fault)}"
    run, pixel = (fault.pixel[0], fault.pixel[1] + 1) if fault.kind in AT_A_PIXEL else ("", 0)
    joint = f"between {run}/{pixel - 1} and {run}/{pixel}" if pixel > 1 else f"before {run}/1, where its lead ends"
    both = " and ".join(places)
    return {
        "reversed": f"turn {where} round, or feed it from its other end",
        "data-in": f"feed {where} at its planned corner; now it is fed at the {value.replace('-', ' ')}",
        "lines": f"rewire {where}: its lines now run along the {value}",
        "turns": f"rewire {where}: now every line {'runs the same way' if value == 'same-way' else 'turns back'}",
        "swapped-ports": f"swap the plugs of {both}",
        "swapped-runs": f"swap {both}; leave their leads where they are",
        "swapped-with-leads": f"swap {both}, each with its lead",
        "shift": _shifted(wiring, fault),
        "dark": f"replace the pixel {where}, from its neighbours' batch if you can",
        "dark-channel": f"replace the pixel {where}: its {letter_name(value)} stays dark",
        "replaced": f"replace the pixel {where} by one of {_type_of(show, run)}; its chip takes {value}",
        "missing": f"put in a pixel at {where}, where one was cut out",
        "cut": f"open, dry and remake the joint {joint}",
        "flicker": f"check the pixel {where}, and the joint {joint}",
        "universe-shift": f"type in the planned start universe of {where}; it is set {off(fault)}",
        "channel-shift": f"type in the planned start channel of {where}; it is set {off(fault)}",
        "count": f"type in the planned number of pixels of {where}; it is set {off(fault)}",
        "swapped-starts": f"type in the planned starts of {both}; each has the other's",
    }[fault.kind]  # fmt: skip


def _shifted(wiring: Wiring, fault: Fault) -> str:
    """What to check where a run begins otherwise on its cable than planned: its nulls, and what hangs before it."""
    if fault.kind != "shift":
        return ""
    run, count = wiring.show.runs[fault.where], abs(fault.amount)
    are = "is" if run.nulls == 1 else "are"
    nulls = f"that {run.nulls or 'no'} null pixel{'s' * (run.nulls != 1)} {are} set in the box"
    begins = f"{count} {'more' if fault.amount > 0 else 'fewer'} pixel{'s' * (count != 1)} than planned"
    hangs = "what hangs before its first pixel" if fault.amount > 0 else "whether its first pixels were cut off"
    return f"{begins} before {fault.where}'s first pixel: check {nulls} before it, then {hangs}"


def _entered(run: Run, fault: Fault) -> str:
    """Where the data enters a loop, and which way it goes round, as the audience sees it."""
    assert isinstance(run, LoopRun)  # noqa: S101  (a grid has a corner only)
    place, backwards = fault.entry
    at = f"at place {place} of its outline" if isinstance(place, int) else f"at its {place.replace('-', ' ')} corner"
    if place in ("first", "last"):
        at = f"at the {place} place drawn"
    turned = zip(run.corners, (*run.corners[1:], run.corners[0]), strict=True)
    area = sum(x0 * y1 - x1 * y0 for (x0, y0), (x1, y1) in turned)
    against = backwards or place == "last"
    way = "against the drawn order" if against else "in the drawn order"
    if area:
        way = "clockwise" if (area < 0) is not against else "anticlockwise"
    return f"it is fed {at} and goes round {way}"


def _type_of(show: Show, run: str) -> str:
    """A run's pixel type with its colour order; nothing for no run."""
    if run not in show.runs:
        return ""
    pixel_type = show.type_of(show.runs[run])
    return f"type {pixel_type.name}, {pixel_type.colour_order}"


def _colours(wiring: Wiring, run: str, order: str) -> str:
    box, port = wiring.ports[run]
    planned = wiring.show.type_of(wiring.show.runs[run]).colour_order
    if wiring.show.controllers[box].reorders:
        return (
            f"look what {box} is set to for {run}, port {port}: if not {planned}, as planned, set {planned}; if "
            f"it is, the pixels take {order}: set {order}"
        )
    return (
        f"say in the show file that {run}'s pixels are {order}, not {planned}, and let the player send {order}: {box} "
        "cannot reorder colours"
    )


def in_file_alone(wiring: Wiring, fault: Fault) -> bool:
    """Whether a fault is one of the show file alone: a colour order that neither the box nor a hand can change."""
    return fault.kind == "colour-order" and not wiring.show.controllers[wiring.ports[fault.where][0]].reorders


def if_set_as_planned(wiring: Wiring, fault: Fault) -> str:
    """What must be so in the box for a fault to be one of the pixels, which the show file could then describe: no test
    frame tells the two apart. Empty where it is one of the pixels anyway.
    """
    if fault.kind not in ("colour-order", "shift"):
        return ""
    run = wiring.show.runs[fault.where]
    box, port = wiring.ports[run.name]
    if fault.kind == "colour-order":
        order = wiring.show.type_of(run).colour_order
        return f"{box} is set to {order} for {run.name}" if wiring.show.controllers[box].reorders else ""
    return f"{port_name(box, port)} has {run.nulls or 'no'} null pixel{'s' * (run.nulls != 1)} set before {run.name}"


def _dead(path: str, wiring: Wiring, where: str) -> str:
    show = wiring.show
    if "/" not in where:
        spares = [box.name for box in show.controllers.values() if box.spare]
        swap = f"; if it stays dead: patcher swap {path} {swapped_as(where, show)} {spares[0]}" if spares else ""
        typed = "then its address, protocol and start universes"
        return f"check {where}: power first, then fuse, then the network cable, {typed}{swap}"
    box, _ = port_of(where)
    table = show.controllers[box]
    free = next((n for n in range(1, table.ports + 1) if (box, n) not in wiring.chains), None)
    move = f"plug the lead into {box}/{free}, which is free, and move its runs there under [controller.{box}.port]"
    other = "" if free is None else f"; if it stays dead, {move}"
    start = ", its start universe" if start_far_off(wiring, Fault("dead", where)) else ""
    return f"check {where}: its fuse, its plug{start}, and that it is switched on in the box{other}"


def _tells(path: str, sent: str, wiring: Wiring, fault: Fault) -> str:
    def send(pattern: str, thing: str) -> str:
        return f"patcher send {pattern} {sent} --on {thing}"

    match fault.kind:
        case "cut":
            run, pixel = fault.pixel
            if not pixel:
                return "the lead first: plug a string that works into it; if that lights, it is the first pixel"
            return (
                f"{send('primaries', f'{run}/{pixel}')}: if the last lit pixel lacks a colour or flickers, it is that "
                f"one; if it looks right, it is the joint or {run}/{pixel + 1}"
            )
        case "flicker":
            return f"{send('steady', fault.pixel[0])} {_dim_and_bright(wiring)}"
        case "dark-channel":
            return (
                f"{send('primaries', fault.pixel[0])}: with a dead colour that pixel alone is wrong; with a pixel of "
                "another type all behind it show wrong colours"
            )
        case "swapped-runs" if not leads_show(wiring, *fault.places):
            return (
                "look at the leads: where each run took its own along, they are swapped with their leads "
                f"(swapped-with-leads:{fault.where}), and no test frame shows that"
            )
        case "universe-shift" if _counted_otherwise(wiring, fault):
            return (
                f"patcher send ports {sent}: if every box of that make is off by one, that is how they count; if only "
                f"{fault.where} is, its number was typed in wrong"
            )
        case "replaced":
            run, pixel = fault.pixel
            return (
                f"{send('primaries', run)}: where the chip takes as many channels, {run}/{pixel + 1} alone shows "
                "other colours; where it takes more or fewer, all behind it do"
            )
        case "channel-shift" | "swapped-starts":
            named = called("controller", fault.where.partition("/")[0].partition(",")[0], wiring.show)
            return f"patcher where {path} {named} says what is planned: compare the box's own page with it"
    return ""


def _dim_and_bright(wiring: Wiring) -> str:
    bright = f"{wiring.show.settings.level:g}"
    return (
        f"--level 0.02, then --level {bright}: flickers only when bright: low voltage; flickers when dim too: a data "
        "problem (make, ground or lead)"
    )


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
    left = f"{volts[at]:.2f} V" if volts[at] > 0 else "no voltage"
    says = f"{run}/{at + 1}: planned {left}, with every pixel white at level {state.level:g}"
    if least is not None and volts[at] < least:
        return f"{says}; needs {least:g} V: too low. patcher power {path} --plan proposes feeds"
    needs = "" if least is None else f"; needs {least:g} V"
    return f"{says}{needs}. Measure: much less means a bad joint, fuse or feed"


def not_wiring(path: Path | str, wiring: Wiring, runs: Sequence[str], *, practice: bool = False) -> tuple[Advice, ...]:
    """What can still look wrong where the wiring is as planned, each with its usual causes, in order."""
    steady = f"patcher send steady {sent_from(path, practice=practice)} --on {runs[0]}"
    bright, volts = f"{wiring.show.settings.level:g}", far_end(argument(path), wiring, runs)
    unknown = "" if volts else f". patcher power {argument(path)} works the voltage out, once the file has its supplies"
    return (
        Advice(
            "white that turns pink or brown towards the far end",
            (LOW_VOLTAGE[1], "a feed that is off, or its fuse blown",
             "a bad joint in V+ or ground"),
            f"{steady} --level 0.05, then --level {bright}: white when dim, brown when bright: low voltage{unknown}",
            volts,
        ),
        Advice("random flicker", CAUSES["flicker"], f"{steady} {_dim_and_bright(wiring)}"),
    )  # fmt: skip
