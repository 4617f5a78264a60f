"""What a yes to every step still does not prove, in words and by item."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from patcher.diagnosis import place_words
from patcher.faults import Fault, planned
from patcher.faults import in_words as fault_words
from patcher.faults.fault import AT_A_PIXEL
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
    nowhere: list[Fault] = []
    alike: dict[tuple[str, str, str], list[Fault]] = {}
    overlooked: dict[str, float] = {}
    kinds: dict[str, set[str]] = {}
    for hidden in found:
        fault = hidden.fault
        if not hidden.runs:
            nowhere.append(fault)
        elif hidden.unprovable:
            thing = fault.where.partition("/")[0] if fault.kind in AT_A_PIXEL else fault.where
            alike.setdefault((fault.kind, thing, fault.value), []).append(fault)
        else:
            overlooked |= {run: max(overlooked.get(run, 0.0), hidden.chance) for run in hidden.runs}
            for run in hidden.runs:
                kinds.setdefault(run, set()).add(fault.kind)
    by_chance: dict[tuple[str, str], list[str]] = {}
    for run, chance in overlooked.items():
        by_chance.setdefault((_of_hundred(chance), _one_pixel(kinds[run])), []).append(run)
    return [
        *(f"Looks right in every step: {fault_words(faults[:1])}{_and_more(faults)}." for faults in alike.values()),
        *(f"Cannot be seen: {says}" for says in cannot_be_seen(nowhere)),
        *(
            f"Overlooked in {often} walk-throughs: {what} ({_named(runs)})."
            for (often, what), runs in by_chance.items()
        ),
    ]


def cannot_be_seen(faults: Iterable[Fault]) -> list[str]:
    """Faults that change no pixel, so that no frame shows them: a sentence for each kind, with its places."""
    by_kind: dict[str, list[Fault]] = {}
    for fault in faults:
        by_kind.setdefault(fault.kind, []).append(fault)
    return [_of_kind(kind, some) for kind, some in by_kind.items()]


def _of_kind(kind: str, faults: Sequence[Fault]) -> str:
    places = _named(dict.fromkeys(fault.where for fault in faults))
    if kind == "count":
        ways = {"low" if fault.amount < 0 else "high" for fault in faults}
        return f"a number of pixels on {places} typed in too {' or too '.join(sorted(ways))}. Read it in the box."
    if kind == "channel-shift":
        amounts = [str(amount) for amount in sorted({abs(fault.amount) for fault in faults})]
        wrong = " or ".join(filter(None, (", ".join(amounts[:-1]), amounts[-1])))
        off = " or too ".join(sorted({"low" if fault.amount < 0 else "high" for fault in faults}))
        return (
            f"the start of {places} typed in {wrong} channels too {off}: at the end of a universe, where no whole "
            "pixel fits, so the box begins at the planned channel all the same. Compare the box's page with the sheet."
        )
    return f"{_UNSEEN.get(kind, f'a fault of the kind “{kind}” that changes no pixel')} ({places})."


def _and_more(faults: Sequence[Fault]) -> str:
    return f", and the same at {len(faults) - 1} more of its pixels" if faults[1:] else ""


_UNSEEN = {
    "replaced": "the last pixel replaced by another type that shows the same colours",
    "swapped-runs": "two runs swapped that take the same data",
}


_ONE_PIXEL = {"dark": "stays dark", "dark-channel": "lacks a colour", "replaced": "is of another type"}


def _one_pixel(kinds: set[str]) -> str:
    """What an eye may overlook among lit pixels."""
    ways = [words for kind, words in _ONE_PIXEL.items() if kind in kinds]
    ways += [f"has a fault of the kind “{kind}”" for kind in sorted(kinds - {*_ONE_PIXEL})]
    return f"one pixel that {' or '.join(ways)} among lit ones"


def _named(things: Iterable[str]) -> str:
    every = list(things)
    more = f" and {len(every) - NAMED} more" if len(every) > NAMED + 1 else ""
    return ", ".join(every[:NAMED]) + more if more else place_words.listed(every)


def _of_hundred(chance: float) -> str:
    """A chance as a person says it."""
    return "less than 1 of 100" if chance < 0.01 else f"up to {round(chance * 100)} of 100"
