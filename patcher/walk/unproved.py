"""What a yes to every step still does not prove, in words and by item."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from patcher.diagnosis import place_words
from patcher.faults import Fault, planned
from patcher.faults.fault import AT_A_LAMP
from patcher.patch.patch import Patch
from patcher.walk.items import Item, drawn_runs, hung_chain, items
from patcher.walk.round_plan import plan
from patcher.walk.unprovable import MANY, Passed, unseen
from patcher.wiring import Wiring

TOO_MANY = "takes long to work out in a show of so many pixels, so it is done box by box"
NAMED = 8
"""So many things are named one by one."""


def left_open(wiring: Wiring, patch: Patch, boxes: Sequence[str]) -> list[Passed] | None:
    """The single faults at some boxes that may pass every step; None where that would take too long: for more than one
    box of a show of more than `MANY` pixels.
    """
    sound = planned(wiring, patch)
    if len(boxes) > 1 and sum(len(taken) for taken in sound.takes.values()) > MANY:
        return None
    return unseen(sound, plan(wiring, items(wiring)), boxes)


def concerns(item: Item, hidden: Passed, wiring: Wiring) -> bool:
    """Whether a fault would make an item wrong, as far as any pixel, or any number typed in, is concerned."""
    if item.what == "identity":
        box, _, port = item.thing.rpartition("/")
        runs = {*hung_chain(wiring, (box, int(port)))}
        typed = not hidden.runs and {item.thing, box, *runs} & {*hidden.fault.places}
        return bool(runs & {*hidden.runs} or typed)
    return bool({*(drawn_runs(wiring, item.thing) if item.what == "geometry" else [item.thing])} & {*hidden.runs})


def in_words(found: Iterable[Passed]) -> list[str]:
    """What no yes proves, a sentence for each kind of it."""
    nowhere: dict[str, list[Fault]] = {}
    alike: dict[tuple[str, str, str], list[Fault]] = {}
    overlooked: dict[str, float] = {}
    for hidden in found:
        fault = hidden.fault
        if not hidden.runs:
            nowhere.setdefault(fault.kind, []).append(fault)
        elif hidden.unprovable:
            thing = fault.where.partition("/")[0] if fault.kind in AT_A_LAMP else fault.where
            alike.setdefault((fault.kind, thing, fault.value), []).append(fault)
        else:
            overlooked |= {run: max(overlooked.get(run, 0.0), hidden.chance) for run in hidden.runs}
    by_chance: dict[str, list[str]] = {}
    for run, chance in overlooked.items():
        by_chance.setdefault(_of_hundred(chance), []).append(run)
    return [
        *(f"{faults[0]}{_and_more(faults)}: every step looks right." for faults in alike.values()),
        *(
            f"{_NOWHERE.get(kind, f'{kind}, where it moves no pixel')}: no frame shows it "
            f"({_named(dict.fromkeys(fault.where for fault in faults))})."
            for kind, faults in nowhere.items()
        ),
        *(
            f"One pixel that stays dark among lit ones: an eye overlooks it in {often} walk-throughs ({_named(runs)})."
            for often, runs in by_chance.items()
        ),
    ]


def _and_more(faults: Sequence[Fault]) -> str:
    return f", and the same at {len(faults) - 1} more of its pixels" if faults[1:] else ""


_NOWHERE = {
    "count": "Too many pixels typed in, or a null pixel too many, behind the last pixel of a port",
    "channel-shift": "A start typed in a few channels off, in front of a place where no whole pixel fits",
    "replaced": "A pixel of another type put in that shows the same colours and has none behind it",
    "swapped-runs": "Two runs swapped that take the same data",
}


def _named(things: Iterable[str]) -> str:
    every = list(things)
    more = f" and {len(every) - NAMED} more" if len(every) > NAMED + 1 else ""
    return ", ".join(every[:NAMED]) + more if more else place_words.listed(every)


def _of_hundred(chance: float) -> str:
    """A chance as a person says it."""
    return "less than 1 of 100" if chance < 0.01 else f"up to {round(chance * 100)} of 100"
