"""A proposal put into the text of a show file: which run hangs where, the end at which data enters, and the leads.

A lead of which both ends stay where they are is left as the file says it: somebody measured it, and it hangs there. V+
is cut where a run that has a feed of its own comes behind another run: two supplies are never joined by a proposal.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from patcher.acts.act import Act, Hang, SetKey, Unhang, read_act
from patcher.acts.acting import acted_together
from patcher.errors import PatcherError
from patcher.lead_ways import SLACK
from patcher.limits.lengths import too_short
from patcher.propose.proposal import Place, Proposal
from patcher.show.parser import read
from patcher.show.run_tables import Run
from patcher.show.schema import Show
from patcher.show.tables import Point, same_place
from patcher.wiring import Wiring, wire

ReadPoints = Callable[[str], list[list[float]]]
Chains = Mapping[tuple[str, int], tuple[str, ...]]
_KEYS = ("data_in", "lead", "lead_via", "power_joined")
"""The keys of a run that a proposal may change."""


@dataclass(frozen=True, eq=False)
class Rehung:
    """A show with a proposal put into it.

    Attributes:
        text: the text of its file.
        wiring: its wiring.
        moved: runs that hang elsewhere than before, behind another run, or with the data in at another end.
        cut: those of them that take no V+ from the run before any more.
        stood: where boxes are to stand that stand elsewhere now, or nowhere yet; None for one that is not used and
            gives its place up.
    """

    text: str
    wiring: Wiring
    moved: tuple[str, ...]
    cut: tuple[str, ...]
    stood: Mapping[str, Point | None]


def hanging(wiring: Wiring) -> dict[str, tuple[str, int]]:
    """The box and port of every run that hangs on one; of a wiring in which runs may hang nowhere."""
    return {run: port for port, chain in wiring.chains.items() for run in chain}


def rehung(text: str, wiring: Wiring, made: Proposal, points: ReadPoints) -> Rehung:
    """A show with a proposal put into it.

    Args:
        text: the text of its file.
        wiring: its wiring, in which some runs may hang nowhere.
        made: the proposal.
        points: reads a points file.

    Raises:
        PatcherError: the file is written in a way that cannot be changed, or would say something wrong.
    """
    after, stood = _chains(wiring, made), _stood(wiring.show, made)
    moved = _moved(wiring, made, after, stood)
    cut = tuple(run for chain in after.values() for run in _cut(wiring, chain, moved))
    wanted = {place.run: _wanted(wiring, place, made, moved, cut) for place in made.places}
    places = [_act(act="set", thing=box, key="at", value=at and list(at)) for box, at in stood.items()]
    new = acted_together(text, [*places, *_hung(wiring, made, after), *_keys(wiring.show, wanted)], points)
    show = _read(new, points)
    # A run that is like another one has that one's keys: what it is not to have it says itself.
    kept = {name: {key: getattr(run, key, None) for key in _KEYS} for name, run in wiring.show.runs.items()}
    goal = {name: keys | {key: wanted[name][key] for key in wanted.get(name, {})} for name, keys in kept.items()}
    if again := [*_keys(show, goal)]:
        new = acted_together(new, again, points)
        show = _read(new, points)
    return Rehung(new, wire(show), tuple(moved), cut, stood)


def _read(text: str, points: ReadPoints) -> Show:
    reading = read(text, points)
    if reading.show is None:  # nothing that was read before is unread now
        raise PatcherError(*reading.findings)
    return reading.show


# --- who hangs where --------------------------------------------------------------------------------------------------


def _chains(wiring: Wiring, made: Proposal) -> dict[tuple[str, int], tuple[str, ...]]:
    """What hangs on each port with the proposal."""
    decided = {place.run for place in made.places} | set(made.left_over)
    found = {port: tuple(run for run in chain if run not in decided) for port, chain in wiring.chains.items()}
    for place in made.places:
        found[place.box, place.port] = (*found.get((place.box, place.port), ()), place.run)
    return found


def _before(chains: Chains) -> dict[str, tuple[str, str | int]]:
    """What a run's lead comes from: its box and port, or the run before it."""
    found: dict[str, tuple[str, str | int]] = {}
    for (box, port), chain in chains.items():
        found |= dict.fromkeys(chain[:1], (box, port))
        found |= {behind: ("", before) for before, behind in pairwise(chain)}
    return found


def _stood(show: Show, made: Proposal) -> dict[str, Point | None]:
    """The boxes that are to stand elsewhere than now, and those that must give their place up to one of them."""
    new = {stand.box: stand.at for stand in made.stands}
    now = {name: box.at for name, box in show.controllers.items() if box.at is not None}
    moved = {name: at for name, at in new.items() if name not in now or not same_place(now[name], at)}
    gone = [name for name, at in now.items() if name not in new and any(same_place(at, to) for to in moved.values())]
    return {**moved, **dict.fromkeys(gone)}


def _moved(wiring: Wiring, made: Proposal, after: Chains, stood: Collection[str]) -> dict[str, bool]:
    """The runs that hang otherwise than now, and whether their leads have other ends: not from port to port of a box
    that stays where it is. A run is moved, too, where the one before it is turned round.
    """
    was, is_now = _before(wiring.chains), _before(after)
    turned = {
        place.run for place in made.places if place.data_in != getattr(wiring.show.runs[place.run], "data_in", None)
    }
    found = {}
    for place in made.places:
        old, new = was.get(place.run), is_now[place.run]
        same_end = old is not None and (old == new or (old[0] == new[0] != "")) and new[0] not in stood
        whole = same_end and place.run not in turned and not (new[0] == "" and new[1] in turned)
        if not whole or old != new:
            found[place.run] = not whole
    return found


def _hung(wiring: Wiring, made: Proposal, after: Chains) -> Iterator[Hang | Unhang]:
    """The acts that hang runs on the ports whose chains are to change, and take off those that are left over."""
    for run in made.left_over:
        if run in hanging(wiring):
            yield _act(act="unhang", run=run)
    for (box, port), chain in after.items():
        if chain != wiring.chains.get((box, port)):
            placed = {place.run for place in made.places}
            for before, run in zip((None, *chain), chain, strict=False):
                if run in placed:
                    yield _act(act="hang", run=run, box=box, port=port, behind=before)


def _act(**document: Any) -> Any:
    act: Act = read_act(document)
    return act


# --- the keys of its runs ---------------------------------------------------------------------------------------------


def _wanted(
    wiring: Wiring, place: Place, made: Proposal, moved: Mapping[str, bool], cut: Sequence[str]
) -> dict[str, Any]:
    """What the keys of a run are to be."""
    run = wiring.show.runs[place.run]
    found: dict[str, Any] = {} if place.data_in is None else {"data_in": place.data_in}
    if place.run in cut:
        found["power_joined"] = False
    if moved.get(place.run) or too_short(run.lead, place.lead / (1 + SLACK)):
        found |= {"lead": place.lead, "lead_via": place.lead_via}
        if run.nulls_at:  # they were measured along the lead that was
            found["nulls_at"] = None
    return found


def _keys(show: Show, wanted: Mapping[str, Mapping[str, Any]]) -> Iterator[SetKey]:
    """The acts that give runs the keys that they do not have."""
    for name, keys in wanted.items():
        for key, value in keys.items():
            if not _same(getattr(show.runs[name], key, None), value):
                yield _act(act="set", thing=name, key=key, value=value)


def _same(old: Any, new: Any) -> bool:
    if isinstance(old, float) and isinstance(new, float):
        return abs(old - new) < 5e-4  # a file in feet holds its metres no closer
    return bool(old == new or (new is None and not old))


def _cut(wiring: Wiring, chain: Sequence[str], moved: Mapping[str, bool]) -> Iterator[str]:
    """The runs of a chain that must take no V+ from the run before: of other volts, or with a feed at them or at what
    takes V+ from them in turn.
    """
    show = wiring.show
    tapped = {tap.run for feed in show.feeds.values() for tap in feed.taps}
    fed = False
    for before, run in reversed([*pairwise(chain)]):
        behind = show.runs[run]
        fed = fed or run in tapped
        if not behind.power_joined:
            fed = False
        elif run in moved and (fed or not _same_volts(show, show.runs[before], behind)):
            fed = False
            yield run


def _same_volts(show: Show, one: Run, other: Run) -> bool:
    return len({show.type_of(one).volts, show.type_of(other).volts} - {None}) < 2
