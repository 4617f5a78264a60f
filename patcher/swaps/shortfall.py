"""Why a spare cannot take over all of a dead box, and what it can take over."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import product
from math import prod

from patcher.patch.patch import Chain, first_fit
from patcher.show.schema import Controller
from patcher.swaps.dead_box import DeadBox, runs_of
from patcher.swaps.joins import Piece, most_that_fits, port_pixels_needed
from patcher.trade import CHANNELS

_MOST_FRONTS = 20_000
"""Ways to keep the front of each chain, up to which all are tried."""


@dataclass(frozen=True, slots=True)
class Shortfall:
    """A spare that cannot take over all of a dead box.

    Attributes:
        dead: the dead box.
        spare: the spare.
        short: what is short and by how much.
        lit: the runs that it can take over, the most pixels of all choices.
        dark: the others.
    """

    dead: Controller
    spare: Controller
    short: tuple[str, ...]
    lit: tuple[str, ...]
    dark: tuple[str, ...]


def too_short(box: DeadBox) -> Shortfall:
    """Why the runs find no place on the spare's ports."""
    singles = tuple(piece for chain in box.singles for piece in chain)
    limit = box.ports.pixels
    short = (_too_long(box, singles, limit) if limit is not None else []) or [_not_shared_out(box, singles, limit)]
    return _shortfall(box, short, runs_of(most_that_fits(singles, box.ports)))


def _too_long(box: DeadBox, singles: Sequence[Piece], limit: int) -> list[str]:
    """What plain lengths say: runs that are too long for any port, and too many pixels for all ports."""
    spare, count = box.new.name, box.ports.count
    lengths = ((piece.runs[0], piece.pixels + piece.nulls) for piece in singles)
    short = [
        f"{run} has {pixels} pixels with its nulls, and a port of {spare} takes {limit}: {pixels - limit} too many"
        for run, pixels in lengths
        if pixels > limit
    ]
    total = sum(piece.pixels for piece in singles)
    if total > limit * count:
        ports = "its one port" if count == 1 else f"all {count} ports"
        short.append(f"{total} pixels hang on {box.old.name}, and {ports} of {spare} take {limit * count}: "
                     f"{total - limit * count} too many")  # fmt: skip
    return short


def _not_shared_out(box: DeadBox, singles: tuple[Piece, ...], limit: int | None) -> str:
    """Why the runs cannot share the ports, though plain lengths would let them."""
    needed, count = port_pixels_needed(singles, box.ports), box.ports.count
    kinds = sorted({order for piece in singles for order in piece.orders})
    if needed is None or limit is None:
        ports = f"{count} port{'s' if count > 1 else ''}"
        why = f"their chips differ in bit rate or colour order ({', '.join(kinds)}), or are not hung"
        return f"{box.new.name} has {ports}, and runs that cannot share one need more: {why}"
    apart = f", and {' and '.join(kinds)} share none" if len(kinds) > 1 else ""
    return (
        f"the runs cannot be shared out over {count} ports of {limit} pixels{apart}: "
        f"one would have to take {needed}, {needed - limit} more"
    )


def no_universes(box: DeadBox, chains: Sequence[Chain]) -> Shortfall:
    """Why the spare cannot listen to all of its universes."""
    total, most, spare = _universes(chains), box.new.universes, box.new.name
    if most is None or total <= most:
        says = f"no free universes were found for {spare} that are consecutive, as it needs"
        return _shortfall(box, [says], ())
    says = (
        f"{spare} listens to {most} universe{'s' if most > 1 else ''}, and the runs take at least {total}: "
        f"{total - most} too many"
    )
    return _shortfall(box, [says], [link.run for chain in _most_within(chains, most) for link in chain.links])


def _most_within(chains: Sequence[Chain], most: int) -> tuple[Chain, ...]:
    """The fronts of chains with the most pixels that fit into so many universes; of too many ways the longest chains
    first.
    """
    if prod(len(chain.links) + 1 for chain in chains) > _MOST_FRONTS:
        best: tuple[Chain, ...] = ()
        for chain in sorted(chains, key=lambda chain: -chain.pixels):
            best = (*best, chain) if _universes((*best, chain)) <= most else best
        return best
    fronts = [[replace(chain, links=chain.links[:n]) for n in range(len(chain.links) + 1)] for chain in chains]
    every = (tuple(front for front in some if front.links) for some in product(*fronts))
    return max((some for some in every if _universes(some) <= most), key=lambda some: sum(c.pixels for c in some))


def _universes(chains: Iterable[Chain]) -> int:
    """How many universes chains take that lie right behind each other."""
    at = 0
    for chain in chains:
        at = chain.end(first_fit(at, chain.links[0].channels))
    return -(-at // CHANNELS)


def _shortfall(box: DeadBox, short: Iterable[str], lit: Iterable[str]) -> Shortfall:
    runs, kept = [run for _, chain in box.chains for run in chain], set(lit)
    dark = tuple(run for run in runs if run not in kept)
    return Shortfall(box.old, box.new, tuple(short), tuple(run for run in runs if run in kept), dark)
