"""What could be wrong with a thing: every single fault that could be there, and none.

A *hypothesis* is the wiring as planned with faults in it. Hypotheses under which all pixels take the same look alike in
every frame that can be sent; they are one *class*, and a class keeps the names of all of them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence, Set
from contextlib import suppress
from itertools import combinations, permutations
from typing import get_args

import numpy as np

from patcher.errors import PatcherError, refuse
from patcher.faults import AtPixels, BuiltCables, Departure, Fault, Planned, Takes, departure, has_ends, parse
from patcher.faults.fault import BACKWARDS, CHOICES, boxes_of, wiring_values
from patcher.faults.fault_sentences import into_empty
from patcher.patch.patch import Patch
from patcher.patch.thing import find
from patcher.shapes import lattice, pixels_at
from patcher.show.run_tables import LoopRun
from patcher.show.schema import Show
from patcher.show.tables import Corner
from patcher.trade import MOST_LETTERS
from patcher.wiring import Wiring, port_name

Hypothesis = tuple[Fault, ...]

WEIGHTS: dict[str, float] = {
    "none": 8, "reversed": 8, "data-in": 6, "lines": 2, "turns": 3, "colour-order": 10,
    "swapped-ports": 8, "swapped-runs": 5, "swapped-with-leads": 3, "shift": 5, "dark": 10, "dark-channel": 5,
    "replaced": 4, "missing": 2, "cut": 12, "flicker": 6, "dead": 8, "universe-shift": 6, "channel-shift": 4,
    "count": 6, "swapped-starts": 3,
}  # fmt: skip
"""How often the trade meets each kind, against each other; a kind's weight is spread over all its places and values in
the scene. Common practice, no source."""
ANY_PLACE, OTHER_BOX = 0.1, 0.2
"""How often a loop is entered at no corner, against at one; how often a start, a lead or a run is exchanged with one of
another box, against one of the same box. Common practice, no source."""
EXCHANGED = ("swapped-ports", "swapped-runs", "swapped-with-leads", "swapped-starts")
"""Kinds that put two things in each other's place; of two boxes, in the order in which a person should hear of them:
what can be seen at the sockets, then what hangs, and last what would have to be typed in again."""

SHIFTS = (-3, -2, -1, 1, 2, 3)
UNIVERSES_OFF = (-2, -1, 1, 2)
CHANNELS_OFF = (-6, -4, -3, -2, -1, 1, 2, 3, 4, 6)
COUNTS_OFF = (-100, -50, -20, -10, -5, -3, -2, -1, 1, 2, 3, 5, 10)
"""The values that are thought of, of kinds that could have any number."""
BOXES_OFF = 3
"""So many boxes up and down in the file are thought of where starts are typed into the wrong box, or leads and runs are
in the place of another box's."""
AT_A_TIME = 256
"""Faults whose takes are worked out in one go: few enough for the processor's cache."""
EVERY_ORDER = 4
"""Of so many letters every order is thought of; of more only those in which two are exchanged, or all turned round."""


def runs_of(wiring: Wiring, patch: Patch, thing: str) -> tuple[str, ...]:
    """The runs of a run, a port, a box or a prop that hang this season.

    Raises:
        PatcherError: there is no such thing, or nothing of it hangs.
    """
    found = find(thing, wiring, patch)
    runs = tuple(dict.fromkeys(part.run for part in found.parts if wiring.show.runs[part.run].hung))
    if found.kind in ("pixel", "pixels", "channel"):
        raise refuse(thing, "is a part of a run", f"name its run: {runs[0]}" if runs else "name a run, port or box")
    if not runs:
        raise refuse(thing, "has no pixels that hang this season", "name a box, port, run or prop that has")
    return runs


def chain_of(wiring: Wiring, port: tuple[str, int]) -> tuple[str, ...]:
    """All that hangs on a port this season, in data order, tees behind their run."""
    show = wiring.show
    return tuple(
        name for run in wiring.chains[port] for name in (run, *wiring.tees(run)) if show.runs[name].hung
    )  # fmt: skip


def singles(
    plan: Planned, runs: Sequence[str], pixels: Callable[[str], Iterable[int]] | None = None
) -> list[tuple[Fault, Departure]]:
    """Every single fault that could be at some runs, with what it changes.

    Those of the runs themselves, their ports and their boxes are there even where they change nothing; those of other
    runs on the same ports are there where they change what one of `runs` shows.

    Args:
        plan: the wiring as planned.
        runs: the runs.
        pixels: for a run the pixels, from 1, at which a fault is thought of; None: all.
    """
    show, ports = plan.wiring.show, list(dict.fromkeys(plan.wiring.ports[run] for run in runs))
    near = [name for port in ports for name in chain_of(plan.wiring, port)]
    found: list[tuple[Fault, Departure]] = []
    for own, texts in (
        (True, _of_ports(plan.wiring, ports)),
        *((name in runs, _of_run(show, name)) for name in near),
        *((False, _of_pairs(plan.wiring, port, ports)) for port in ports),
    ):
        found += [one for one in _possible(plan, texts) if own or not one[1].takes.keys().isdisjoint(runs)]
    at_pixels = [fault for name in near for fault in _at_pixels(show, name, pixels)]
    found += [
        (fault, differs)
        for fault, differs in zip(at_pixels, _each_alone(plan, near, at_pixels), strict=True)
        if fault.pixel[0] in runs or not differs.takes.keys().isdisjoint(runs)
    ]
    return found


def _possible(plan: Planned, texts: Iterable[str]) -> Iterator[tuple[Fault, Departure]]:
    """Those of some faults that make sense in the show, with what each changes."""
    for text in texts:
        with suppress(PatcherError):
            fault = parse(text, plan.wiring)
            yield fault, departure(plan, (fault,))


def _each_alone(plan: Planned, near: Sequence[str], faults: Sequence[Fault]) -> list[Departure]:
    """What each of some faults at the pixels of these runs changes by itself."""
    cables = BuiltCables(plan, ())
    changed: list[dict[str, Takes]] = [{} for _ in faults]
    of_run: dict[str, list[int]] = {run: [] for run in near}
    for number, fault in enumerate(faults):
        of_run[fault.pixel[0]].append(number)
    for run, own in of_run.items():
        cable = cables.cable(cables.of_run(run))
        for begin in range(0, len(own), AT_A_TIME):
            part = own[begin : begin + AT_A_TIME]
            for name, taken in cable.each(run, AtPixels.of(faults[number] for number in part)).items():
                for row in np.flatnonzero((taken != plan.takes[name]).any(axis=(1, 2))).tolist():
                    changed[part[row]][name] = taken[row].copy()
    return [Departure(takes, {}, {}) for takes in changed]


def _of_ports(wiring: Wiring, ports: Sequence[tuple[str, int]]) -> Iterator[str]:
    """Faults of some ports and their boxes, those of a box behind those of its first port."""
    seen: set[str] = set()
    for box, port in ports:
        for text in (*_of_port(wiring, box, port), *(_of_box(wiring, box) if box not in seen else ())):
            if text not in seen:
                yield text
            seen |= {text, box}
    yield from _of_starts(wiring, set(ports))


def _of_port(wiring: Wiring, box: str, port: int) -> Iterator[str]:
    controller, name = wiring.show.controllers[box], port_name(box, port)
    yield f"dead:{name}"
    yield from (f"count:{name}={off}" for off in COUNTS_OFF)
    for other in range(1, controller.ports + 1):
        if other != port:
            yield f"swapped-ports:{port_name(box, min(port, other))},{port_name(box, max(port, other))}"
    for other_port in _ports_of_others(wiring, box):
        one, two = sorted(((box, port), other_port), key=lambda each: [*wiring.show.controllers].index(each[0]))
        yield f"swapped-ports:{port_name(*one)},{port_name(*two)}"
    if controller.start_per != "controller":
        starts = [name] if controller.start_per == "port" else wiring.chains[box, port]
        yield from (f"channel-shift:{start}={off}" for start in starts for off in CHANNELS_OFF)
        if len(_starts(wiring, box)) > 1:
            yield from (f"universe-shift:{start}={off}" for start in starts for off in UNIVERSES_OFF)


def _of_box(wiring: Wiring, box: str) -> Iterator[str]:
    yield f"dead:{box}"
    yield from (f"universe-shift:{box}={off}" for off in UNIVERSES_OFF)
    if wiring.show.controllers[box].start_per == "controller":
        yield from (f"channel-shift:{box}={off}" for off in CHANNELS_OFF)


def _starts(wiring: Wiring, box: str) -> list[str]:
    """The names of a box's starts."""
    show, chains = wiring.show, wiring.of_controller(box)
    controller = show.controllers[box]
    if controller.start_per == "run":
        return [run for chain in chains.values() for run in chain if show.runs[run].hung]
    return [f"{box}/{port}" for port in chains] if controller.start_per == "port" else [box][: len(chains)]


def _near(wiring: Wiring, boxes: Set[str]) -> list[str]:
    """Some boxes, and those with runs that stand near one of them in the file."""
    used = [box for box in wiring.show.controllers if _starts(wiring, box)]
    at = [used.index(box) for box in boxes]
    return [box for n, box in enumerate(used) if min(abs(n - own) for own in at) <= BOXES_OFF]


def _ports_of_others(wiring: Wiring, box: str) -> list[tuple[str, int]]:
    """The used ports of the other boxes that stand near a box in the file."""
    near = [other for other in _near(wiring, {box}) if other != box]
    return [port for other in near for port in wiring.chains if port[0] == other and chain_of(wiring, port)]


def _of_starts(wiring: Wiring, ports: Set[tuple[str, int]]) -> Iterator[str]:
    """Starts of these ports exchanged with another start of its box or of one that stands near it in the file; and
    boxes that have several with such a box.
    """
    boxes = {box for box, _ in ports}
    near = {box: _starts(wiring, box) for box in _near(wiring, boxes)}
    starts = [start for own in near.values() for start in own]
    own = boxes | {port_name(*port) for port in ports} | {run for port in ports for run in wiring.chains[port]}
    for one, other in dict.fromkeys((*combinations(starts, 2), *combinations(near, 2))):
        if not own.isdisjoint((one, other)):
            yield f"swapped-starts:{one},{other}"


def _of_run(show: Show, name: str) -> Iterator[str]:
    run = show.runs[name]
    letters = show.type_of(run).colour_order
    if has_ends(show, name):
        yield f"reversed:{name}"
    if (wired := lattice(show, run)) is not None:
        for kind, choices in CHOICES.items():
            planned = wiring_values(wired)[kind]
            yield from (f"{kind}:{name}={value}" for value in choices if value != planned)
    if isinstance(run, LoopRun):
        yield from (f"data-in:{name}={value}" for value in _entries(run))
    yield from (f"colour-order:{name}={order}" for order in other_orders(letters))
    yield from (f"shift:{name}={off}" for off in SHIFTS)


def _at_pixels(show: Show, name: str, pixels: Callable[[str], Iterable[int]] | None) -> Iterator[Fault]:
    run = show.runs[name]
    letters = show.type_of(run).colour_order
    chips = other_chips(letters)
    for pixel in pixels(name) if pixels else range(1, run.pixels + 1):
        yield from (Fault(kind, f"{name}/{pixel}") for kind in ("dark", "missing", "cut", "flicker"))
        yield from (Fault("dark-channel", f"{name}/{pixel}", letter) for letter in letters)
        yield from (Fault("replaced", f"{name}/{pixel}", chip) for chip in chips)


def _entries(run: LoopRun) -> Iterator[str]:
    """Every other way into a loop but the one that turns it round, a corner by its name."""
    named: dict[int, str] = {}
    for corner in get_args(Corner):
        with suppress(ValueError):
            named[run.entry_of(corner)] = corner
    passed = [int(place) + 1 for place in pixels_at(run)]
    known = {(passed[0], run.against), (passed[-1], not run.against)}
    for place in passed:
        for backwards in (False, True):
            if (place, backwards) not in known:
                yield f"{named.get(place, place)}{BACKWARDS * backwards}"


def other_orders(letters: str) -> list[str]:
    """The colour orders that a chip could have instead: all, or of many letters the likely ones."""
    if len(letters) <= EVERY_ORDER:
        found = {"".join(order) for order in permutations(letters)}
    else:
        found = {letters[::-1], *_exchanged(letters)}
    return sorted(found - {letters})


def other_chips(letters: str) -> list[str]:
    """What may be put in for a pixel: a chip of its letters with red, green and blue in another order, of few letters
    also with any two exchanged; one with a white more or fewer; for one colour, one of three.
    """
    three = [letter for letter in letters if letter in "RGB"]
    found = set(_exchanged(letters)) if len(letters) <= EVERY_ORDER else set[str]()
    for order in permutations(three):
        left = iter(order)
        found.add("".join(next(left) if letter in three else letter for letter in letters))
    if len(letters) == 1:
        found |= {"RGB"}
    elif "W" in letters:
        found |= {order.replace("W", "") for order in (letters, *_exchanged(letters)[:1]) if len(order) > 1}
    elif len(letters) < MOST_LETTERS:
        found |= {f"{order}W" for order in (letters, *_exchanged(letters)[:1])}
    return sorted(found - {letters, ""})


def _exchanged(letters: str) -> list[str]:
    """The orders in which two letters are exchanged, the first two first."""
    found = []
    for one, other in combinations(range(len(letters)), 2):
        order = list(letters)
        order[one], order[other] = order[other], order[one]
        found.append("".join(order))
    return found


def _of_pairs(wiring: Wiring, port: tuple[str, int], ports: Sequence[tuple[str, int]]) -> Iterator[str]:
    """A port's runs in each other's place, and in that of other runs of the box, or of one that stands near it in the
    file; with their leads where that is not the same.
    """
    chain = wiring.chains[port]
    later = set(ports) - set(ports[: ports.index(port) + 1])
    near = _near(wiring, {port[0]})
    others = [
        run
        for other, runs in wiring.chains.items()
        if other[0] in near and other != port and (other in later or other not in ports)
        for run in runs
    ]
    for one, other in (*combinations(chain, 2), *((one, other) for one in chain for other in others)):
        yield f"swapped-runs:{one},{other}"
        if leads_show(wiring, one, other):
            yield f"swapped-with-leads:{one},{other}"


def leads_show(wiring: Wiring, one: str, other: str) -> bool:
    """Whether pixels show if two exchanged runs took their leads along: those have nulls, or feed others too."""
    runs = wiring.show.runs
    return runs[one].nulls != runs[other].nulls or bool(wiring.tees(one) or wiring.tees(other))


def weights(wiring: Wiring, hypotheses: Sequence[Hypothesis]) -> list[float]:
    """How likely each of them is before anything was asked: a kind's weight over all of that kind; sums to 1."""
    kinds = [hypothesis[0].kind if hypothesis else "none" for hypothesis in hypotheses]
    shares = [_share(wiring, hypothesis[0]) if hypothesis else 1.0 for hypothesis in hypotheses]
    whole: dict[str, float] = {}
    for kind, share in zip(kinds, shares, strict=True):
        whole[kind] = whole.get(kind, 0.0) + share
    total = sum(WEIGHTS[kind] for kind in whole)
    return [WEIGHTS[kind] * share / whole[kind] / total for kind, share in zip(kinds, shares, strict=True)]


def likeliest_first(wiring: Wiring, members: Sequence[Hypothesis]) -> tuple[Hypothesis, ...]:
    """Hypotheses that look alike, ordered by their weights, as a person should hear of them: a box without power, fuse,
    network or address before its port, then a number of pixels, a dead pixel, one that was cut out, and last a plug in
    a port that should be empty and pixels more or fewer where no null pixel is planned; of what is exchanged between
    two boxes the leads before what is typed in. Each kind shares its weight among all of its places, so by weights
    alone a plug that can be in one wrong port only would come first. Common practice, no source.
    """
    ordered = _by_rank(members, [_rank(wiring, hypothesis) for hypothesis in members])
    return _by_rank(ordered, [_exchange_rank(wiring, hypothesis) for hypothesis in ordered])


def _by_rank(members: Sequence[Hypothesis], ranks: Sequence[int]) -> tuple[Hypothesis, ...]:
    """Those that have a rank other than 0 put in the order of their ranks; the others stay in their places."""
    ranked = iter(sorted((n for n, rank in enumerate(ranks) if rank), key=lambda n: ranks[n]))
    return tuple(members[next(ranked) if rank else n] for n, rank in enumerate(ranks))


def _exchange_rank(wiring: Wiring, hypothesis: Hypothesis) -> int:
    """From 1 on by what two boxes have of each other; 0 for anything else."""
    kinds = [EXCHANGED.index(fault.kind) + 1 for fault in hypothesis if _of_two_boxes(wiring, fault)]
    return max(kinds, default=0)


def _of_two_boxes(wiring: Wiring, fault: Fault) -> bool:
    """Whether a fault puts something of one box in the place of something of another."""
    return fault.kind in EXCHANGED and len(boxes_of(wiring.ports, fault)) > 1


def _rank(wiring: Wiring, hypothesis: Hypothesis) -> int:
    """1 with a dead box, 2 with a dead port, 3 with a number of pixels, which costs no more than a look to check, 4
    with a pixel that is dark, or gets no data behind others that do, 5 with one that was cut out, 6 with what the plan
    gives no reason for; 0 for anything else.
    """
    if any(into_empty(wiring, fault) or _null_from_nowhere(wiring, fault) for fault in hypothesis):
        return 6
    dead = ["/" in fault.where for fault in hypothesis if fault.kind == "dead"]
    return 1 + max(dead) if dead else min((_RANKS.get(_kind(fault), 9) for fault in hypothesis), default=9) % 9


_RANKS = {"count": 3, "dark": 4, "cut": 4, "missing": 5}


def _kind(fault: Fault) -> str:
    """A fault's kind; none for a cut before all of a run, which is as likely its lead."""
    return "" if fault.kind == "cut" and fault.pixel[1] == 0 else fault.kind


def _null_from_nowhere(wiring: Wiring, fault: Fault) -> bool:
    """Whether pixels more or fewer are before a run on a port for which no null pixel is planned."""
    if fault.kind != "shift":
        return False
    port = wiring.ports[fault.where]
    return not any(wiring.show.runs[run].nulls for run in chain_of(wiring, port))


def _share(wiring: Wiring, fault: Fault) -> float:
    """How likely a fault is against others of its kind."""
    if fault.kind == "data-in" and fault.value[:1].isdigit():
        return ANY_PLACE
    return OTHER_BOX if _of_two_boxes(wiring, fault) else 1.0
