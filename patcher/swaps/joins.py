"""Which chains share a port when a box has fewer ports, or shorter ones: the joins that cost least.

A *piece* is what is plugged in as a whole: the chain of a dead box's port, or, where a chain is too long for any port
of the spare, a part of it. Pieces on one port hang behind each other. The first one keeps its lead from the box, with
the null pixels in it; each other one hangs on a new cable, which has none. What counts, in this order: that every port
holds its pixels; fewest chains cut; the least frame time of the slowest port; the least cable; the fewest addresses
moved. Where every chain can have a port of its own, none is joined.

All orders of pieces on a port are weighed by the dynamic programme of Held and Karp (1962), all ways to share the
pieces out over the ports by one over subsets. Past `MOST_EXACT` pieces the longest go first, each where it costs least:
that is the best found, not the best there is.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, partial
from itertools import combinations, filterfalse, islice, pairwise
from math import comb, inf
from operator import add

from patcher.limits.refresh import frame_ms

MOST_EXACT = 10
"""Pieces that are shared out exactly; each more takes about three times as long."""
_MOST_CUTTINGS, _MOST_LOOKED_AT = 60, 20_000
"""Ways to cut chains that are weighed, and that are looked at; of more the best of those is taken."""
_CM = 1000
"""What a centimetre of cable weighs against one piece that loses its place in the patch."""


@dataclass(frozen=True)
class Piece:
    """What is plugged in as a whole.

    Attributes:
        port: the dead box's port that it hung on.
        runs: its runs in data order.
        cut: it is not the beginning of its chain, so no lead from the box leads to it.
        loads: how many pixels of how many channels, one pair a run; with the nulls between its runs, and without those
            before its first.
        nulls: the null pixels in its lead from the box, which count only where that lead is plugged in.
        bit_rates: bits a second that its chips take.
        reset_us: the longest quiet time that one of them needs.
        orders: colour orders of its chips.
        closed: its last run is not hung, so nothing can hang behind it.
    """

    port: int
    runs: tuple[str, ...]
    cut: bool
    loads: tuple[tuple[int, int], ...]
    bit_rates: frozenset[float]
    reset_us: float
    orders: frozenset[str]
    closed: bool
    nulls: int = 0

    @property
    def pixels(self) -> int:
        """Its pixels and the nulls between them, without those in its lead from the box."""
        return sum(pixels for pixels, _ in self.loads)


@dataclass(frozen=True)
class Ports:
    """The ports that pieces are shared out over, and what a piece behind another costs.

    Attributes:
        count: how many there are.
        pixels: most pixels on one, nulls included; None where there is no limit.
        one_order: a port drives chips of one colour order only.
        cable: centimetres of new cable for a piece behind a piece, or (None) straight from the box.
        moves: whether a piece behind another loses its place in the patch.
    """

    count: int
    pixels: int | None
    one_order: bool
    cable: Callable[[Piece | None, Piece], int]
    moves: Callable[[Piece, Piece], bool]

    @property
    def most(self) -> float:
        """Most pixels on one port; inf where there is no limit."""
        return inf if self.pixels is None else self.pixels

    def share(self, one: Piece, two: Piece) -> bool:
        """Whether two pieces can hang on one line: chips of one bit rate, and of one colour order where it matters.

        A chain that mixes them already stays as it is, and alone.
        """
        if len(one.bit_rates | two.bit_rates) > 1 or (self.one_order and len(one.orders | two.orders) > 1):
            return False
        return not (one.closed and two.closed)

    def step(self, before: Piece | None, piece: Piece) -> int:
        """What it costs to hang a piece behind another, or on the box: cable first, then the place in the patch."""
        return self.cable(before, piece) * _CM + (before is not None and self.moves(before, piece))


@dataclass(frozen=True)
class Sharing:
    """How pieces are shared out.

    Attributes:
        lines: the pieces of each port in data order; the ports have no numbers yet.
        worst_ms: the frame time of the slowest.
        cable_cm: new cable, in centimetres.
        proved: that there is no better one.
    """

    lines: tuple[tuple[Piece, ...], ...]
    worst_ms: float
    cable_cm: int
    proved: bool


def line_ms(pieces: Iterable[Piece]) -> float:
    """Milliseconds that one frame of pieces on one port takes, the first of them on its own lead."""
    line = list(pieces)
    loads = [(line[0].nulls, line[0].loads[0][1]), *(load for piece in line for load in piece.loads)]
    return frame_ms(loads, min(min(piece.bit_rates) for piece in line), max(piece.reset_us for piece in line))


class _Sets:
    """Every set of pieces that one port can hold, as the bits of a number."""

    def __init__(self, pieces: tuple[Piece, ...], ports: Ports) -> None:
        self.pieces = pieces
        self.ports = ports

    def members(self, held: int) -> list[Piece]:
        return [piece for index, piece in enumerate(self.pieces) if held >> index & 1]

    def firsts(self, held: int) -> list[int]:
        """The pieces of a set that can be the first: what is closed has nothing behind it."""
        return [
            index
            for index, piece in enumerate(self.pieces)
            if held >> index & 1 and (held == 1 << index or not piece.closed)
        ]

    @cached_property
    def _bare(self) -> dict[int, int]:
        """The pixels, without a lead's nulls, of every set that could hang on one port; with each also its subsets."""
        apart = [
            sum(1 << j for j, two in enumerate(self.pieces) if j != i and not self.ports.share(one, two))
            for i, one in enumerate(self.pieces)
        ]
        found = {0: 0}
        for held in range(1, 1 << len(self.pieces)):
            top = held.bit_length() - 1
            rest = held ^ 1 << top
            if rest in found and not rest & apart[top] and found[rest] + self.pieces[top].pixels <= self.ports.most:
                found[held] = found[rest] + self.pieces[top].pixels
        return found

    @cached_property
    def pixels(self) -> dict[int, int]:
        """The pixels of every such set, the nulls of the lead that has fewest included; 0 of the empty set."""
        return {
            held: bare + (min(self.pieces[first].nulls for first in self.firsts(held)) if held else 0)
            for held, bare in self._bare.items()
        }

    @cached_property
    def times(self) -> dict[int, dict[int, float]]:
        """The frame time of every such set by the piece that is the first, for those whose lead the port can hold."""
        found: dict[int, dict[int, float]] = {}
        for held, bare in self._bare.items():
            for first in self.firsts(held) if held else ():
                if bare + self.pieces[first].nulls <= self.ports.most:
                    behind = self.members(held ^ 1 << first)
                    found.setdefault(held, {})[first] = line_ms([self.pieces[first], *behind])
        return found

    @cached_property
    def time(self) -> dict[int, float]:
        """The least frame time of every such set."""
        return {held: min(times.values()) for held, times in self.times.items()}

    @cached_property
    def _begun(self) -> dict[int, dict[int, tuple[int, tuple[int, ...]]]]:
        """The cheapest order of every set by its first piece, and what the joins cost (Held and Karp)."""
        step = [[self.ports.step(one, two) for two in self.pieces] for one in self.pieces]
        found: dict[int, dict[int, tuple[int, tuple[int, ...]]]] = {}
        for held in self._bare:
            found[held] = {
                first: min(
                    ((cost + step[first][second], (first, *way)) for second, (cost, way) in rest.items()),
                    default=(0, (first,)),
                )
                for first in (self.firsts(held) if held else ())
                for rest in [found[held ^ 1 << first]]
            }
        return found

    def orders(self, worst: float) -> dict[int, tuple[int, tuple[int, ...]]]:
        """The cheapest order of every such set that takes at most `worst` milliseconds, and what it costs."""
        found: dict[int, tuple[int, tuple[int, ...]]] = {}
        for held, times in self.times.items():
            ways = [
                (cost + self.ports.step(None, self.pieces[first]), way)
                for first, (cost, way) in self._begun[held].items()
                if times.get(first, inf) <= worst
            ]
            if ways:
                found[held] = min(ways)
        return found


def _parts(held: int) -> Iterator[int]:
    """Every part of a set that has its lowest member."""
    low = held & -held
    rest = part = held ^ low
    while True:
        yield part | low
        if not part:
            return
        part = (part - 1) & rest


def _layers(
    weight: Mapping[int, float], count: int, pieces: int, together: Callable[[float, float], float]
) -> list[list[tuple[float, int]]]:
    """For 0 to `count` ports, and every set of pieces: the least weight when it hangs on them, what ports weigh put
    together, and the set on the last port; inf where it cannot.
    """
    layers: list[list[tuple[float, int]]] = [[(0, 0)] + [(inf, 0)] * ((1 << pieces) - 1)]
    for _ in range(min(count, pieces)):
        before = layers[-1]
        sets = (
            min((together(weight.get(part, inf), before[held ^ part][0]), part) for part in _parts(held))
            for held in range(1, 1 << pieces)
        )
        layers.append([(0, 0), *sets])
    return layers


def _bottleneck(weight: Mapping[int, float], count: int, pieces: int) -> list[float]:
    """For every set of pieces the weight of the heaviest port when it hangs on `count` ports; inf where it cannot."""
    return [heaviest for heaviest, _ in _layers(weight, count, pieces, max)[-1]]


def _cheapest(cost: dict[int, int], count: int, pieces: int) -> tuple[int, ...]:
    """The sets, one a port, that hold all pieces on `count` ports for the least cost in all; there is a way."""
    layers = _layers(cost, count, pieces, add)
    found, held = [], (1 << pieces) - 1
    while held:
        part = layers.pop()[held][1]
        found.append(part)
        held ^= part
    return tuple(found)


def share_out(pieces: tuple[Piece, ...], ports: Ports) -> Sharing | None:
    """The best way to hang all pieces on the ports; None where there is none, or past `MOST_EXACT` none is found."""
    if _too_long(pieces, ports):
        return None
    if len(pieces) <= ports.count and all(not piece.cut and _holds([piece], ports) for piece in pieces):
        lines: tuple[tuple[Piece, ...], ...] = tuple((piece,) for piece in pieces)
        return Sharing(lines, max(map(line_ms, lines)), 0, proved=True)
    if len(pieces) > MOST_EXACT:
        return _greedy(pieces, ports)
    sets = _Sets(pieces, ports)
    worst = _bottleneck(sets.time, ports.count, len(pieces))[-1]
    if worst == inf:
        return None
    orders = sets.orders(worst)
    cost = {held: cost for held, (cost, _) in orders.items()}
    chosen = [orders[held] for held in _cheapest(cost, ports.count, len(pieces))]
    lines = tuple(tuple(pieces[index] for index in way) for _, way in chosen)
    return Sharing(lines, worst, sum(cost for cost, _ in chosen) // _CM, proved=True)


def _too_long(pieces: Sequence[Piece], ports: Ports) -> bool:
    """Whether the ports cannot hold the pieces, as plain lengths tell."""
    lengths = [piece.pixels for piece in pieces]
    return max(lengths) > ports.most or sum(lengths) > ports.most * ports.count


def _greedy(pieces: tuple[Piece, ...], ports: Ports) -> Sharing | None:
    lines: list[list[Piece]] = []
    for piece in sorted(pieces, key=lambda piece: (-line_ms([piece]), piece.port, piece.runs)):
        ways: list[tuple[float, int, int, list[Piece]]] = []
        for number, line in enumerate([*lines, []] if len(lines) < ports.count else lines):
            for at in range(len(line) + 1):
                longer = [*line[:at], piece, *line[at:]]
                if _holds(longer, ports):
                    ways.append((line_ms(longer), _steps(longer, ports) - _steps(line, ports), number, longer))
        if not ways:
            return None
        _, _, number, longer = min(ways, key=lambda way: way[:3])
        lines[number : number + 1] = [longer]
    cable = sum(ports.cable(one, two) for line in lines for one, two in zip([None, *line], line, strict=False))
    return Sharing(tuple(map(tuple, lines)), max(map(line_ms, lines)), cable, proved=False)


def _steps(line: list[Piece], ports: Ports) -> int:
    """What it costs to hang pieces behind each other on one port."""
    return sum(ports.step(before, piece) for before, piece in zip([None, *line], line, strict=False))


def _holds(line: list[Piece], ports: Ports) -> bool:
    return (
        line[0].nulls + sum(piece.pixels for piece in line) <= ports.most
        and all(ports.share(one, two) for one, two in combinations(line, 2))
        and not any(piece.closed for piece in line[:-1])
    )


def with_fewest_cuts(
    chains: tuple[tuple[Piece, ...], ...], ports: Ports, join: Callable[[Iterable[Piece]], Piece]
) -> Sharing | None:
    """The best sharing of whole chains; where they are too long, of chains that are cut in as few places as it takes.

    Args:
        chains: each chain as pieces of one run.
        ports: the ports that they are shared out over.
        join: pieces that follow each other as one piece.
    """
    singles = [piece for chain in chains for piece in chain]
    if _too_long(singles, ports):
        return None
    places = [(number, at) for number, chain in enumerate(chains) for at in range(1, len(chain))]
    left = _MOST_CUTTINGS
    for count in range(len(places) + 1):
        looked_at = islice(combinations(places, count), _MOST_LOOKED_AT)
        cuttings = (tuple(map(join, _pieces(chains, cuts))) for cuts in looked_at)
        fitting = list(islice(filterfalse(partial(_too_long, ports=ports), cuttings), left + 1))
        exact = len(fitting) <= left and comb(len(places), count) <= _MOST_LOOKED_AT
        shared = [sharing for pieces in fitting[:left] if (sharing := share_out(pieces, ports)) is not None]
        if shared:
            best = min(shared, key=lambda sharing: (sharing.worst_ms, sharing.cable_cm))
            return replace(best, proved=best.proved and exact)
        if not exact:
            break
        left -= len(fitting)
    return share_out(tuple(singles), ports)


def _pieces(chains: tuple[tuple[Piece, ...], ...], cuts: Collection[tuple[int, int]]) -> Iterator[tuple[Piece, ...]]:
    """The parts of chains that are cut: each cut at a place of the chain of some number."""
    for number, chain in enumerate(chains):
        ends = [0, *(at for cut, at in cuts if cut == number), len(chain)]
        yield from (chain[begin:end] for begin, end in pairwise(ends))


def port_pixels_needed(pieces: tuple[Piece, ...], ports: Ports) -> int | None:
    """The fewest pixels a port must hold for all pieces to find a place; None where no length is enough."""
    if len(pieces) > MOST_EXACT:
        return max(max(piece.pixels for piece in pieces), -(-sum(piece.pixels for piece in pieces) // ports.count))
    endless = _Sets(pieces, replace(ports, pixels=None))
    needed = _bottleneck(endless.pixels, ports.count, len(pieces))[-1]
    return None if needed == inf else int(needed)


def most_that_fits(pieces: tuple[Piece, ...], ports: Ports) -> tuple[Piece, ...]:
    """The pieces with the most pixels that the ports hold together."""
    if len(pieces) > MOST_EXACT:
        kept: tuple[Piece, ...] = ()
        for piece in sorted(pieces, key=lambda piece: -piece.pixels):
            if _greedy((*kept, piece), ports):
                kept = (*kept, piece)
        return tuple(piece for piece in pieces if piece in kept)
    sets = _Sets(pieces, ports)
    held = _bottleneck(dict.fromkeys(sets.time, 1.0), ports.count, len(pieces))
    best = max(
        (chosen for chosen, worst in enumerate(held) if worst < inf),
        key=lambda chosen: sum(piece.pixels for piece in sets.members(chosen)),
    )
    return tuple(sets.members(best))
