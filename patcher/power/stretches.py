"""Which pixels share their V+, and which supplies feed them.

V+ runs along a run and on into the next one on its port, but where it is cut: what hangs together so is a *stretch*. A
stretch is fed by every supply that a feed taps it from.
"""

from __future__ import annotations

from collections import defaultdict, deque
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import pairwise

import networkx as nx

from patcher.show.schema import Feed, Show, Tap
from patcher.wiring import Wiring

Parts = tuple[tuple[str, int, int], ...]
"""What a stretch is made of: of each run in it, the first and the last pixel, from 1."""


@dataclass(frozen=True, slots=True)
class Stretch:
    """Pixels that share their V+.

    Attributes:
        parts: of each run in it, the first and the last pixel, from 1.
        trees: the feeds from supplies, with their branches, that tap it: each by the name of the feed at the supply.
        supplies: those supplies.
    """

    parts: Parts
    trees: frozenset[str]
    supplies: frozenset[str]


def taken_pixels(tap: Tap, pixels: int) -> list[int]:
    """The pixels that a tap joins on a run that has `pixels` of them."""
    if tap.every is not None:
        return sorted({*range(1, pixels + 1, tap.every), pixels})
    return [{"first": 1, "last": pixels}.get(str(tap.pixel)) or int(tap.pixel or 1)]


def branches_of(show: Show) -> defaultdict[str | None, list[Feed]]:
    """The feeds that branch off each feed; under None those that come from a supply."""
    found: defaultdict[str | None, list[Feed]] = defaultdict(list)
    for feed in show.feeds.values():
        found[feed.source].append(feed)
    return found


def outwards(show: Show) -> Iterator[Feed]:
    """Every feed, those that branch off another behind it."""
    branches = branches_of(show)
    waiting = deque(branches[None])
    while waiting:
        feed = waiting.popleft()
        waiting += branches[feed.name]
        yield feed


def roots(show: Show) -> dict[str, Feed]:
    """The feed at the supply from which each feed comes, directly or through others."""
    found: dict[str, Feed] = {}
    for feed in outwards(show):
        found[feed.name] = feed if feed.source is None else found[feed.source]
    return found


def stretches(wiring: Wiring) -> list[Stretch]:
    """Everything that shares its V+, of the runs that are hung."""
    show = wiring.show
    tees = ((run.name,) for run in show.runs.values() if run.same_data_as is not None)
    parts = [part for chain in (*wiring.chains.values(), *tees) for part in _joined(show, chain)]
    taps: dict[str, list[tuple[str, int]]] = defaultdict(list)
    for tree, at, pixel in tapped(show):
        taps[at].append((tree, pixel))
    found = []
    for part in parts:
        trees = frozenset(tree for run, first, last in part for tree, pixel in taps[run] if first <= pixel <= last)
        found.append(Stretch(tuple(part), trees, frozenset(str(show.feeds[tree].supply) for tree in trees)))
    return found


def _joined(show: Show, chain: Iterable[str]) -> list[list[tuple[str, int, int]]]:
    """The runs of a chain that are hung, by what shares its V+: of each the first and the last pixel."""
    parts: list[list[tuple[str, int, int]]] = []
    for run in (show.runs[name] for name in chain if show.runs[name].hung):
        goes_on = bool(parts) and run.power_joined
        firsts = [1, *sorted(set(run.power_cuts))]
        lasts = [*(first - 1 for first in firsts[1:]), run.pixels]
        pieces = [(run.name, first, last) for first, last in zip(firsts, lasts, strict=True)]
        if goes_on:
            parts[-1].append(pieces.pop(0))
        parts += [[piece] for piece in pieces]
    return parts


def grounds(wiring: Wiring) -> dict[str, frozenset[str]]:
    """Of each hung run the runs whose ground is joined with its own, itself with them.

    Ground goes on where V+ is cut, from run to run along a port and to a tee, and along feeds that join several runs. A
    supply's own minus joins nothing here: nothing that leaves there comes back.
    """
    show = wiring.show
    joined: nx.Graph[tuple[str, str]] = nx.Graph()
    joined.add_nodes_from(("run", run.name) for run in show.runs.values() if run.hung)
    for chain in wiring.chains.values():
        hung = [("run", name) for name in chain if show.runs[name].hung]
        joined.add_edges_from(pairwise(hung))
    for run in show.runs.values():
        if run.hung and run.same_data_as is not None and show.runs[run.same_data_as].hung:
            joined.add_edge(("run", run.name), ("run", run.same_data_as))
    joined.add_edges_from((("feed", tree), ("run", run)) for tree, run, _ in tapped(show) if show.runs[run].hung)
    found: dict[str, frozenset[str]] = {}
    for part in nx.connected_components(joined):
        runs = frozenset(name for kind, name in part if kind == "run")
        found |= dict.fromkeys(runs, runs)
    return found


def tapped(show: Show) -> Iterator[tuple[str, str, int]]:
    """Every pixel that a feed joins: the feed at the supply, the run, the pixel."""
    root = roots(show)
    for feed in show.feeds.values():
        for tap in feed.taps:
            for pixel in taken_pixels(tap, show.runs[tap.run].pixels):
                yield root[feed.name].name, tap.run, pixel


def cut_at(show: Show, gaps: list[tuple[str, int]]) -> str:
    """Where V+ is to be cut, and how the show file says it, together with the cuts that a run has already.

    Args:
        show: the show.
        gaps: the run and the pixel just before which V+ is cut.
    """
    keys = []
    for run in dict.fromkeys(run for run, _ in gaps):
        cuts = {pixel for name, pixel in gaps if name == run}
        if 1 in cuts:
            keys.append(f"power_joined = false in [run.{run}]")
        if inside := cuts - {1}:
            every = sorted(inside | set(show.runs[run].power_cuts))
            keys.append(f"power_cuts = [{', '.join(map(str, every))}] in [run.{run}]")
    places = " and ".join(dict.fromkeys(f"{run}/{pixel}" for run, pixel in gaps))
    return f"cut V+ just before {places} ({', '.join(keys)})"
