"""Proposals held against what hangs now: the same figures of both, what moves, and which boxes' settings change."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import linear_sum_assignment

from patcher.chains.instance import BOOSTER, Instance, LeftOut, instance
from patcher.errors import Finding, PatcherError
from patcher.limits.findings import check, new_findings
from patcher.limits.refresh import OFFERED, PortTime, port_times
from patcher.offers.left_over import NOT_USED, not_placed, why_left_over
from patcher.offers.rehung import ReadPoints, Rehung, hanging, rehung
from patcher.patch.changes import start_changes
from patcher.patch.patch import Patch
from patcher.placement.allocation import allocate
from patcher.propose.proposal import KINDS, Kind, Place, Proposal, proposals
from patcher.wiring import Wiring, problems, wire

UNHUNG = "no-port"
"""The rule of a run that hangs nowhere: what proposals are for."""
SEARCH = 2.0
"""Seconds to search for the patch of a proposal; which boxes it changes is what counts here."""


@dataclass(frozen=True, slots=True)
class Tally:
    """What hangs, in figures.

    Attributes:
        runs: runs that hang on ports.
        metres: cable of their leads.
        boosters: leads with a booster.
        differentials: leads that are differential.
        boxes: boxes in use.
        slowest: the port that takes longest; None where nothing hangs.
    """

    runs: int
    metres: float
    boosters: int
    differentials: int
    boxes: int
    slowest: PortTime | None


@dataclass(frozen=True, eq=False)
class Offer:
    """A proposal, and what it would come to.

    Attributes:
        number: by which it is named, from 1.
        kinds: what it puts first: all kinds that come to the same plan.
        made: the proposal, by the first of them.
        others: the same plan by the other kinds, with their own proofs.
        rehung: the show with it.
        tally: that in figures.
        boxes: boxes whose settings are to be changed.
        left_over: runs that no port could take: why, and what to do.
        not_placed: boxes that may stand in several places and are given none: why, and what to do.
        findings: errors and warnings that the show has with it and has not now.
    """

    number: int
    kinds: tuple[Kind, ...]
    made: Proposal
    others: tuple[Proposal, ...]
    rehung: Rehung
    tally: Tally
    boxes: tuple[str, ...]
    left_over: Mapping[str, tuple[str, str]]
    not_placed: Mapping[str, tuple[str, str]]
    findings: tuple[Finding, ...]


@dataclass(frozen=True, eq=False)
class Comparison:
    """Proposals beside what hangs now.

    Attributes:
        wiring: what hangs now.
        now: that in figures.
        decided: the runs that were to be decided about.
        left_out: runs and boxes that were not decided about, and why.
        offers: the proposals that hang as many runs as hang now; none where there was nothing to decide.
    """

    wiring: Wiring
    now: Tally
    decided: tuple[str, ...]
    left_out: tuple[LeftOut, ...]
    offers: tuple[Offer, ...]


def tally(wiring: Wiring) -> Tally:
    """What hangs, in figures."""
    runs = [wiring.show.runs[name] for chain in wiring.chains.values() for name in chain]
    ways = [run.lead_via for run in runs]
    slowest = max(port_times(wiring), key=lambda time: time.frame_ms, default=None)
    return Tally(
        len(runs), round(sum(run.lead for run in runs), 2), ways.count("booster"), ways.count("differential"),
        len({box for box, _ in wiring.chains}), slowest,
    )  # fmt: skip


def beats(new: Tally, now: Tally, kind: Kind) -> bool:
    """Whether a wiring is better than another one at what a kind puts first: at equal cost it is not."""

    def rank(each: Tally) -> tuple[float, ...]:
        cost = round(each.metres + BOOSTER * (each.boosters + 2 * each.differentials), 2)
        most = 0.0 if each.slowest is None else each.slowest.max_rate
        kept = next((rate for rate in OFFERED if rate <= most + 1e-6), 0)
        first = {"fewest boxes": each.boxes, "least cable": 0, "best frame rate": -kept}[kind]
        return (-each.runs, first, cost)

    return rank(new) < rank(now)


def compared(
    text: str,
    wiring: Wiring,
    kept: Patch | None,
    points: ReadPoints,
    *,
    afresh: bool = False,
    kinds: Sequence[Kind] = KINDS,
    seconds: float = 30.0,
) -> Comparison:
    """Proposals beside what hangs now.

    Args:
        text: the text of the show file.
        wiring: its wiring, in which runs may hang nowhere and nothing else is wrong.
        kept: the patch that is kept; None where there is none.
        points: reads a points file.
        afresh: whether the runs that hang now are decided anew, too.
        kinds: what the proposals are to put first, one each.
        seconds: about how long to search, for all together.
    """
    given, found = instance(wiring, afresh=afresh), dict[tuple[Place, ...], list[Proposal]]()
    for each in proposals(given, kinds, seconds=seconds) if given.runs else ():
        made = _at_old_ports(given, wiring, each)
        found.setdefault(made.places, []).append(made)
    typed = kept or _patch_of(wiring)
    offers = [
        _offer(number, same, given, text, wiring, typed, points)
        for number, same in enumerate((same for same in found.values() if same[0].places), start=1)
    ]
    now = tally(wiring)
    # What hangs now is never given up for a plan with fewer runs on ports.
    kept_up = [offer for offer in offers if offer.tally.runs >= now.runs]
    numbered = (replace(offer, number=number) for number, offer in enumerate(kept_up, start=1))
    return Comparison(wiring, now, tuple(run.name for run in given.runs), given.left_out, tuple(numbered))


def _patch_of(wiring: Wiring) -> Patch | None:
    """The patch that a wiring would get; None where it cannot have one."""
    try:
        return allocate(wiring, None, seconds=SEARCH).patch if not problems(wiring) else None
    except PatcherError:
        return None


def _offer(
    number: int, same: Sequence[Proposal], given: Instance, text: str, wiring: Wiring, typed: Patch | None,
    points: ReadPoints,
) -> Offer:  # fmt: skip
    made = same[0]
    put = rehung(text, wiring, made, points)
    sound = _only_hung(put.wiring)
    patch, _ = check(sound, typed)
    left_out = {each.name for each in given.left_out}
    unplaced = {name: why for name, why in not_placed(put.wiring).items() if name not in left_out}
    short = [name for name, (says, _) in unplaced.items() if says != NOT_USED]
    changes = [] if patch is None else start_changes(typed, patch, sound.show)
    return Offer(
        number, tuple(each.kind for each in same), made, tuple(same[1:]), put, tally(put.wiring),
        tuple(name for name in sound.show.controllers if any(change.controller == name for change in changes)),
        {run: why_left_over(given, run, sure=any(each.proved for each in same), short=short) for run in made.left_over},
        unplaced,
        tuple(new_findings(_only_hung(wiring), sound)),
    )  # fmt: skip


def _only_hung(wiring: Wiring) -> Wiring:
    """A wiring without the runs that hang nowhere, for what can only be asked of a sound one; where there are such,
    without its power too, of which nothing can be said by halves.
    """
    hung = set(hanging(wiring))
    hung |= {tee for run in hung for tee in wiring.tees(run)}
    show = wiring.show
    if hung == show.runs.keys():
        return wiring
    props = {
        name: prop.model_copy(update={"runs": tuple(run for run in prop.runs if run in hung)})
        for name, prop in show.props.items()
    }
    tables: dict[str, object] = {"supplies": {}, "sockets": {}, "feeds": {}, "props": props}
    tables["runs"] = {name: run for name, run in show.runs.items() if name in hung}
    tables["controllers"] = {name: box.model_copy(update={"logic": None}) for name, box in show.controllers.items()}
    return wire(show.model_copy(update=tables))


def _at_old_ports(given: Instance, wiring: Wiring, made: Proposal) -> Proposal:
    """The same proposal with the chains of a box on the ports where most of their runs hang now: its free ports are
    all alike.
    """
    chains: dict[tuple[str, int], list[str]] = {}
    for place in made.places:
        chains.setdefault((place.box, place.port), []).append(place.run)
    first = {(place.box, place.port) for place in made.places if place.number == 1}
    to: dict[tuple[str, int], int] = {}
    for number, name in ((number, name) for number, box in enumerate(given.boxes) for name in box.names):
        ours = [port for port in chains if port[0] == name and port in first]
        free = sorted({port for outlet in given.outlets if outlet.box == number and not outlet.behind
                       for port in outlet.ports})  # fmt: skip
        if ours:
            alike = np.array([[_likeness(wiring, chains[port], (name, other)) for other in free] for port in ours])
            rows, columns = linear_sum_assignment(alike, maximize=True)
            to |= {ours[row]: free[column] for row, column in zip(rows, columns, strict=True)}
    places = [replace(place, port=to.get((place.box, place.port), place.port)) for place in made.places]
    order = {name: number for number, name in enumerate(wiring.show.controllers)}
    places.sort(key=lambda place: (order[place.box], place.port, place.number))
    return replace(made, places=tuple(places))


def _likeness(wiring: Wiring, chain: Sequence[str], port: tuple[str, int]) -> float:
    """How much of a chain hangs on a port now; more where it begins alike; lower ports where nothing decides."""
    now = wiring.chains.get(port, ())
    alike = sum(wiring.show.runs[run].pixels for run in chain if run in now)
    return alike + 0.5 * (now[:1] == tuple(chain[:1])) - 1e-6 * port[1]
