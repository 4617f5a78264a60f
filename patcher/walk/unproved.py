"""What a yes to the whole round leaves open, in words and by item."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from patcher.diagnosis import place_words
from patcher.faults import planned
from patcher.faults.fault import AT_A_LAMP
from patcher.patch.patch import Patch
from patcher.walk.items import Item, drawn_runs, hung_chain, items
from patcher.walk.round_plan import plan
from patcher.walk.unprovable import MANY, Passed, unseen
from patcher.wiring import Wiring

TOO_MANY = "is worked out box by box in a show of so many pixels"
NAMED = 8
"""So many things are named one by one."""


def left_open(wiring: Wiring, patch: Patch, boxes: Sequence[str]) -> list[Passed] | None:
    """The single faults at some boxes that may pass the whole round; None where that would take too long: more than one
    box of a show of more than `MANY` pixels.
    """
    sound = planned(wiring, patch)
    if len(boxes) > 1 and sum(len(taken) for taken in sound.takes.values()) > MANY:
        return None
    return unseen(sound, plan(wiring, items(wiring)), boxes)


def concerns(item: Item, one: Passed, wiring: Wiring) -> bool:
    """Whether a fault would make an item wrong, as far as any pixel, or any number typed in, is concerned."""
    if item.what == "identity":
        box, _, port = item.thing.rpartition("/")
        runs = {*hung_chain(wiring, (box, int(port)))}
        return bool(runs & {*one.runs}) or (not one.runs and {item.thing, box, *runs} & {*one.fault.places} != set())
    return bool({*(drawn_runs(wiring, item.thing) if item.what == "geometry" else [item.thing])} & {*one.runs})


def in_words(found: Iterable[Passed]) -> list[str]:
    """What no yes proves, a sentence for each kind of it."""
    nowhere: dict[str, list[Passed]] = {}
    alike: dict[tuple[str, str, str], list[Passed]] = {}
    said, overlooked = [], dict[str, float]()
    for one in found:
        if not one.runs:
            nowhere.setdefault(one.fault.kind, []).append(one)
        elif one.unprovable:
            thing = one.fault.where.partition("/")[0] if one.fault.kind in AT_A_LAMP else one.fault.where
            alike.setdefault((one.fault.kind, thing, one.fault.value), []).append(one)
        else:
            for run in one.runs:
                overlooked[run] = max(overlooked.get(run, 0.0), one.chance)
    for group in alike.values():
        more = f", and the same at {len(group) - 1} more of its pixels" if group[1:] else ""
        said.append(f"{group[0].fault}{more}: every step of the round looks as it should.")
    for kind, group in nowhere.items():
        where = _named(dict.fromkeys(one.fault.where for one in group))
        said.append(f"{_NOWHERE.get(kind, f'{kind}, where it moves no pixel')}: it shows in no frame ({where}).")
    by_chance: dict[str, list[str]] = {}
    for run, chance in overlooked.items():
        by_chance.setdefault(_of_hundred(chance), []).append(run)
    said += [
        f"One pixel that stays dark among lit ones: an eye overlooks it in {often} rounds ({_named(runs)})."
        for often, runs in by_chance.items()
    ]
    return said


_NOWHERE = {
    "count": "A number of pixels typed in too high, or a null pixel too many, behind the last pixel of a port",
    "channel-shift": "A start typed a few channels off, in front of a place where no whole pixel fits",
    "replaced": "A pixel of another kind put in, that shows the same colours and has none behind it to disturb",
    "swapped-runs": "Two runs exchanged that take the same",
}


def _named(things: Iterable[str]) -> str:
    every = list(things)
    more = f" and {len(every) - NAMED} more" if len(every) > NAMED + 1 else ""
    return ", ".join(every[:NAMED]) + more if more else place_words.listed(every)


def _of_hundred(chance: float) -> str:
    """A chance as a person says it."""
    return "less than 1 of 100" if chance < 0.01 else f"up to {round(chance * 100)} of 100"
