"""What to do about a fault, both ways: what to replug, rewire or retype, or what to change in the show file instead;
and the trade's usual causes, in order.
"""

from __future__ import annotations

from dataclasses import dataclass

from patcher.faults import Fault
from patcher.faults.sent import port_of
from patcher.shapes import lattice
from patcher.show.runs import GridRun, PathRun, Run
from patcher.show.schema import Show

Changes = dict[str, object]


@dataclass(frozen=True, slots=True)
class Remedy:
    """What to do about one fault.

    Attributes:
        mend: what to do on the ladder.
        line: the line of the show file to change instead; empty where the file cannot say it.
        causes: where it comes from, most usual first; common practice, no source.
    """

    mend: str
    line: str = ""
    causes: tuple[str, ...] = ()


CAUSES: dict[str, tuple[str, ...]] = {
    "cut": (
        "the joint between the last lit lamp and the first dark one",
        "the last lit lamp: its data output has died",
        "the first dark lamp: its data input has died, or water is in it",
    ),
    "flicker": (
        "the first flickering lamp is of another make or timing",
        "the voltage there is too low: pink or brown lamps say so; see patcher power",
        "the ground wire does not come along with the data",
        "the lead before it is too long for the data: a null pixel or a booster freshens it",
    ),
    "dark": ("the lamp has died, and passes its data on",),
    "dark-channel": ("one colour of the lamp has died",),
    "dead": ("no power at the box", "a blown fuse", "the network cable", "another address typed into the box"),
    "universe-shift": ("the box counts universes from 0", "a start universe mistyped"),
    "channel-shift": ("a start channel mistyped", "the box counts channels from 0"),
    "shift": ("a null pixel forgotten, or one too many in the box", "a first lamp cut off"),
}
"""Usual causes, in order. Common practice, no source."""


def remedy(show: Show, fault: Fault) -> Remedy:
    """What to do about a fault."""
    where, value, places = fault.where, fault.value, fault.places
    mend = {
        "reversed": f"turn {where} round, or feed it at its other end",
        "data-in": f"feed {where} at its planned corner; it is fed at the {value}",
        "lines": f"rewire {where}: its lines run along the {value}",
        "turns": f"rewire {where}: its turns are {value}",
        "colour-order": f"set {where}'s colour order in the box to {value}",
        "swapped-ports": f"swap the plugs of {' and '.join(places)}",
        "swapped-runs": f"hang {' and '.join(places)} in each other's place on the cable",
        "shift": f"{where} begins {value} pixels off: set its null pixels in the box, or mend its first lamps",
        "dark": f"replace lamp {where}, from its neighbours' batch if you can",
        "dark-channel": f"replace lamp {where}, whose {value} stays dark",
        "missing": f"put a lamp in at {where}",
        "cut": f"open the joint before {where}, dry it, and solder it again",
        "flicker": f"look at lamp {where} and the lead before it",
        "dead": f"look at {where}: power first, then fuse, then the network",
        "universe-shift": f"type {where}'s planned start universe; it is {value} off",
        "channel-shift": f"type {where}'s planned start channel; it is {value} off",
        "count": f"type {where}'s planned number of pixels; it is {value} off",
    }[fault.kind]
    return Remedy(mend, _line(show, fault), CAUSES.get(fault.kind, ()))


def _line(show: Show, fault: Fault) -> str:
    after = changed(show, fault)
    if fault.kind == "colour-order":
        pixel = show.runs[fault.where].pixel
        return f'[pixel.{pixel}] colour_order = "{fault.value}", if all of its runs are so'
    if after is None:
        return ""
    if fault.kind in ("swapped-ports", "swapped-runs"):
        return f"[controller.{_box(show, fault)}.port]: the runs of {' and '.join(fault.places)} in each other's place"
    before, run = show.runs[fault.where], after.runs[fault.where]
    keys = [key for key in type(run).model_fields if getattr(run, key) != getattr(before, key)]
    return f"[run.{fault.where}] " + ", ".join(
        f"{key} = {value}" if isinstance(value := getattr(run, key), int) else f'{key} = "{value}"' for key in keys
    )


def changed(show: Show, fault: Fault) -> Show | None:
    """The show as it hangs: the plan changed so that the fault is none; None where an edit of one table cannot say it.

    Its patch must be made anew where a port, a run's place or a start changes.
    """
    match fault.kind:
        case "reversed" | "data-in" | "lines" | "turns" | "shift":
            run = show.runs[fault.where]
            update = _run_changes(show, run, fault)
            if not update:
                return None
            return show.model_copy(update={"runs": show.runs | {fault.where: run.model_copy(update=update)}})
        case "swapped-ports" | "swapped-runs":
            return _swapped(show, fault)
    return None


def _run_changes(show: Show, run: Run, fault: Fault) -> Changes:
    if fault.kind == "shift":
        nulls = run.nulls + fault.amount
        return {"nulls": nulls} if nulls >= 0 else {}
    if fault.kind == "reversed":
        return {"data_in": "first" if run.data_in == "last" else "last"} if isinstance(run, PathRun) else {}
    if fault.kind == "data-in":
        return {"data_in": fault.value} if lattice(show, run) is not None else {}
    return {fault.kind: fault.value} if isinstance(run, GridRun) else {}


def _box(show: Show, fault: Fault) -> str:
    if fault.kind == "swapped-ports":
        return port_of(fault.places[0])[0]
    return next(
        box for box, table in show.controllers.items() if any(fault.places[0] in chain for chain in table.port.values())
    )


def _swapped(show: Show, fault: Fault) -> Show | None:
    box = _box(show, fault)
    table = show.controllers[box]
    if fault.kind == "swapped-ports":
        (one_box, one), (other_box, other) = (port_of(name) for name in fault.places)
        if one_box != other_box or table.start:
            return None
        port = table.port | {one: table.port.get(other, ()), other: table.port.get(one, ())}
        port = {number: chain for number, chain in port.items() if chain or number in table.port}
    else:
        swap = dict(zip(fault.places, fault.places[::-1], strict=True))
        port = {number: tuple(swap.get(run, run) for run in chain) for number, chain in table.port.items()}
    after = table.model_copy(update={"port": port})
    return show.model_copy(update={"controllers": show.controllers | {box: after}})
