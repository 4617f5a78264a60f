"""The swap of a dead box for a spare: what hangs where afterwards, which cables are new, which addresses stay.

The spare is put where the dead box stood and takes its address. A chain that is plugged into a port keeps its lead,
with all that is in it. A chain that is hung behind another needs a cable from there, for data and ground: its power
stays as it is. What was in the old lead (null pixels, a booster, its wires) stays with the old lead: the new cable has
none of it, but for a booster where it is long. A tee's lead begins at the data-in of its run and stays there; but where
it has null pixels, which its run then has no more, the tee gets a new one too.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from itertools import pairwise, product
from math import ceil, dist, prod
from typing import Literal

from patcher.address.patch import Chain, Patch, Start, behind, first_fit, written
from patcher.address.placement import chains
from patcher.address.swapping import falls_by_itself, lamps_at, spare_starts
from patcher.errors import choose_from, refuse
from patcher.limits.joining import (
    Piece,
    Ports,
    Sharing,
    most_that_fits,
    port_pixels_needed,
    with_fewest_cuts,
)
from patcher.limits.plan import LONGEST_LEAD
from patcher.limits.stretches import stretches
from patcher.shapes import positions
from patcher.show.schema import Controller, Logic, Show
from patcher.trade import CHANNELS
from patcher.units import METRES_PER
from patcher.wiring import Wiring, wire


@dataclass(frozen=True, slots=True)
class Cable:
    """A cable to make: data and ground, no null pixel in it.

    Attributes:
        run: the run whose first pixel it leads to.
        behind: the run from whose last pixel it comes; None where it comes straight from the box, or of a tee.
        port: the spare's port that it ends up on.
        metres: the straight way between the two, rounded up to a tenth of the file's unit; where the file does not say
            where both are, the run's lead of today.
        measured: the straight way is known.
        fed: a feed of the file joins what the run shares its V+ with once it is cut off from what was before it; True
            of a tee, whose power stays as it is.
        tee_of: the run from whose data-in it comes, where the run is a tee.
    """

    run: str
    behind: str | None
    port: int
    metres: float
    measured: bool
    fed: bool
    tee_of: str | None = None

    @property
    def via(self) -> Literal["cable", "booster"]:
        """How the data crosses it."""
        return "booster" if self.metres > LONGEST_LEAD else "cable"


@dataclass(frozen=True, slots=True)
class Move:
    """A run whose addresses change: universe and channel of its first lamp, before and after."""

    run: str
    old: tuple[int, int]
    new: tuple[int, int]


@dataclass(frozen=True)
class BoxSwap:
    """A spare in a dead box's place.

    Attributes:
        dead: the dead box, as it was.
        shelved: the spare, as it was.
        show: the show afterwards, without the dead box.
        patch: its patch.
        spare: the spare, as it is set afterwards.
        dead_ports: the chain on each of the dead box's ports, as it was.
        spare_ports: the chain on each of the spare's ports afterwards.
        from_ports: of each piece's first run, the dead box's port that the piece hung on.
        cables: the cables to make.
        moves: the runs whose addresses change.
        worst_ms: milliseconds that the slowest port takes for a frame.
        proved: no other way to join chains is better.
    """

    dead: Controller
    shelved: Controller
    show: Show
    patch: Patch
    dead_ports: dict[int, tuple[str, ...]]
    spare_ports: dict[int, tuple[str, ...]]
    from_ports: dict[str, int]
    cables: tuple[Cable, ...]
    moves: tuple[Move, ...]
    worst_ms: float
    proved: bool

    @property
    def spare(self) -> Controller:
        """The spare, as it is set afterwards."""
        return self.show.controllers[self.shelved.name]

    @property
    def starts(self) -> tuple[Start, ...]:
        """The spare's starts: what is typed into it."""
        return self.patch.boxes.get(self.shelved.name, ())


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


def swap_box(wiring: Wiring, kept: Patch, dead: str, spare: str) -> BoxSwap | Shortfall:
    """The best way to put a spare into a dead box's place, or why there is none.

    Args:
        wiring: the wiring of a sound show.
        kept: its patch.
        dead: the controller that died.
        spare: the one that takes its place.

    Raises:
        PatcherError: the two are not a box with runs and a free spare.
    """
    show = wiring.show
    old, new = show.controllers[dead], show.controllers[spare]
    _refuse_unfit(wiring, old, new)
    ways = _Ways(wiring, kept, old, new)
    singles = tuple(
        tuple(ways.piece(port, (run,), cut=at > 0) for at, run in enumerate(runs)) for port, runs in ways.chains
    )
    sharing = with_fewest_cuts(singles, ways.ports, ways.join)
    if sharing is None:
        return _too_short(ways, tuple(piece for chain in singles for piece in chain))
    hung = _numbered(sharing, new.ports)
    cables = tuple(ways.cables(hung))
    ports = {port: _runs(line) for port, line in hung.items()}
    after = _show_after(wiring, old, new, ports, cables)
    fed = {(run, first) for part in stretches(wire(after)) if part.trees for run, first, _ in part.parts}
    cables = tuple(replace(cable, fed=(cable.run, 1) in fed or cable.tee_of is not None) for cable in cables)
    others = [start for start in kept.starts if start.controller != dead]
    own = [chain for chain in chains(wire(after)) if chain.controller == spare]
    starts = spare_starts(after, others, own, ways.today, ways.begins)
    if starts is None:
        return _no_universes(ways, own)
    after = _pinned(after, old, spare, starts, others)
    by_name = {start.chain.name: start for start in (*others, *starts)}
    patch = Patch(tuple(by_name[chain.name] for chain in chains(wire(after))))
    places = {run: at for start in starts for run, at in lamps_at(start.chain, start.at).items()}
    moves = tuple(
        Move(run, written(ways.today[run]), written(at)) for run, at in places.items() if at != ways.today[run]
    )
    pieces = [piece for line in hung.values() for piece in line]
    from_ports = {piece.runs[0]: piece.port for piece in pieces}
    return BoxSwap(
        old, new, after, patch, dict(ways.chains), ports, from_ports, cables, moves, sharing.worst_ms, sharing.proved
    )


def _refuse_unfit(wiring: Wiring, old: Controller, new: Controller) -> None:
    show, where = wiring.show, f"controller.{new.name}"
    hanging = [run for chain in wiring.of_controller(new.name).values() for run in chain]
    if hanging:
        says = f"is in use: {', '.join(hanging)} hang{'s' if len(hanging) == 1 else ''} on it"
        raise refuse(where, says, "name a box that feeds nothing")
    if not new.spare:
        spares = [box.name for box in show.controllers.values() if box.spare]
        raise refuse(where, "is not marked as a spare", f"write spare = true there, or {choose_from(new.name, spares)}")
    if not wiring.of_controller(old.name):
        raise refuse(f"controller.{old.name}", "feeds no run, so there is nothing to move", "name the box that died")
    if _delivery(old, new) == "unicast" and old.address is None and new.address is None:
        says = f"needs an address of its own: {old.name} has none to hand on, and Art-Net goes to one box only"
        raise refuse(where, says, 'write address = "…" there, the one set in the box')


def _delivery(old: Controller, new: Controller) -> str:
    return old.delivery if new.protocol == "e131" else "unicast"


def _runs(line: Iterable[Piece]) -> tuple[str, ...]:
    return tuple(run for piece in line for run in piece.runs)


class _Ways:
    """What there is to share out, and what each way costs."""

    def __init__(self, wiring: Wiring, kept: Patch, old: Controller, new: Controller) -> None:
        self.wiring, self.show, self.old, self.new = wiring, wiring.show, old, new
        self.chains = list(wiring.of_controller(old.name).items())
        laid = [one for start in kept.boxes.get(old.name, ()) for one in start.laid()]
        self.today = {link.run: first for link, _, first, _ in laid}
        self.begins = frozenset(begin for _, begin, _, _ in laid)
        self.reorders = old.reorders and new.reorders
        one_order = self.reorders and new.start_per == "port"
        self.ports = Ports(new.ports, new.port_pixels, one_order, self._centimetres, self._moves)
        tees = [tee for run in self.today for tee in wiring.tees(run)]
        self.ends = {run: ends for run in (*self.today, *tees) if (ends := self._ends(run)) is not None}

    def _ends(self, name: str) -> tuple[tuple[float, float], tuple[float, float]] | None:
        """Where a run's first and last pixel are."""
        places = positions(self.show, self.show.runs[name])
        if places is None:
            return None
        return (float(places[0][0]), float(places[0][1])), (float(places[-1][0]), float(places[-1][1]))

    def piece(self, port: int, runs: tuple[str, ...], *, cut: bool) -> Piece:
        """Runs that follow each other in one chain, as a piece."""
        found = [self.show.runs[name] for name in runs]
        kinds = [self.show.type_of(run) for run in found]
        nulls = [0, *(run.nulls for run in found[1:])]
        return Piece(
            port, runs, cut,
            tuple((run.pixels + n, kind.channels) for run, n, kind in zip(found, nulls, kinds, strict=True)),
            frozenset(kind.bit_rate for kind in kinds), max(kind.reset_us for kind in kinds),
            frozenset(kind.colour_order for kind in kinds), not found[-1].hung, 0 if cut else found[0].nulls,
        )  # fmt: skip

    def join(self, pieces: Iterable[Piece]) -> Piece:
        """Pieces that follow each other as one."""
        whole = list(pieces)
        return self.piece(whole[0].port, _runs(whole), cut=whole[0].cut)

    def way(self, before: str | None, run: str) -> float | None:
        """Metres straight from a run's last pixel, or the box, to a run's first; None where one is not known."""
        start = self.old.at if before is None else self.ends[before][1] if before in self.ends else None
        return None if start is None or run not in self.ends else dist(start, self.ends[run][0])

    def _centimetres(self, before: Piece | None, piece: Piece) -> int:
        if before is None and not piece.cut:
            return 0
        return sum(round(metres * 100) for *_, metres in self._leads(before, piece))

    def _leads(self, before: Piece | None, piece: Piece) -> Iterator[tuple[str, str | None, float | None, float]]:
        """The new leads to a piece's first run and to those of its tees that have nulls: the run, the one that it is a
        tee of, the straight way, and the metres that are counted.
        """
        first = piece.runs[0]
        way = self.way(before.runs[-1] if before else None, first)
        yield first, None, way, self.show.runs[first].lead if way is None else way
        for tee in self.wiring.tees(first):
            run, source = self.show.runs[tee], self.show.runs[tee].same_data_as
            if run.nulls and source is not None:
                ends = [self.ends[name][0] for name in (source, tee) if name in self.ends]
                way = dist(*ends) if len(ends) == 2 else None
                yield tee, source, way, run.lead if way is None else way

    def _moves(self, before: Piece, piece: Piece) -> bool:
        """Whether a piece behind another is not where it is today, if that one is."""
        if self.new.start_per == "run":
            return False
        one, two = (self.show.runs[name] for name in (before.runs[-1], piece.runs[0]))
        width = self.show.type_of(two).channels
        end = behind(self.today[one.name], one.pixels, self.show.type_of(one).channels)
        return first_fit(end, width) != self.today[two.name]

    def cables(self, hung: dict[int, tuple[Piece, ...]]) -> Iterator[Cable]:
        """The cables that are new."""
        unit = METRES_PER[self.show.settings.units]
        for port, line in hung.items():
            for before, piece in pairwise([None, *line]):
                if piece is None or (before is None and not piece.cut):
                    continue
                last = before.runs[-1] if before else None
                for run, tee_of, way, lead in self._leads(before, piece):
                    metres = lead if way is None else ceil(way / unit * 10 - 1e-6) / 10 * unit
                    yield Cable(run, None if tee_of else last, port, metres, way is not None, fed=False, tee_of=tee_of)


def _numbered(sharing: Sharing, ports: int) -> dict[int, tuple[Piece, ...]]:
    """Each line on a port, on the same number as before where the spare has it."""
    found: dict[int, tuple[Piece, ...]] = {}
    rest: list[tuple[Piece, ...]] = []
    for line in sorted(sharing.lines, key=lambda line: (line[0].cut, line[0].port)):
        wanted = [piece.port for piece in line if piece.port <= ports and piece.port not in found and not piece.cut]
        if wanted:
            found[wanted[0]] = line
        else:
            rest.append(line)
    free = (number for number in range(1, ports + 1) if number not in found)
    found |= dict(zip(free, rest, strict=False))
    return dict(sorted(found.items()))


def _show_after(
    wiring: Wiring, old: Controller, new: Controller, ports: dict[int, tuple[str, ...]], cables: tuple[Cable, ...]
) -> Show:
    """The show with the spare in the dead box's place; its starts have no pins yet."""
    show, logic = wiring.show, new.logic
    if old.logic is not None:
        logic = Logic(supply=old.logic.supply, amps=(new.logic or old.logic).amps)
    taken = new.model_copy(update={
        "address": old.address or new.address, "delivery": _delivery(old, new), "at": old.at, "level": old.level,
        "reorders": old.reorders and new.reorders, "logic": logic, "spare": False, "port": ports, "start": {},
        "first_universe": None,
    })  # fmt: skip
    runs = dict(show.runs)
    for cable in cables:
        joined = {} if cable.behind is None else {"power_joined": False}
        lead = {
            "lead": cable.metres, "lead_via": cable.via, "lead_awg": None, "lead_mm2": None, "nulls": 0, "nulls_at": (),
        }  # fmt: skip
        runs[cable.run] = runs[cable.run].model_copy(update=lead | joined)
    supplies = {
        name: supply.model_copy(update={"box": new.name}) if supply.box == old.name else supply
        for name, supply in show.supplies.items()
    }
    moved = {
        port: number
        for number, chain in ports.items()
        for port, runs_ in wiring.of_controller(old.name).items()
        if runs_[0] in chain
    }
    accepts = tuple(
        a.model_copy(update={"where": where_after(a.where, old.name, new.name, moved)}) for a in show.accepts
    )
    boxes = {name: taken if name == new.name else box for name, box in show.controllers.items() if name != old.name}
    return show.model_copy(update={"controllers": boxes, "runs": runs, "supplies": supplies, "accepts": accepts})


def where_after(where: str, dead: str, spare: str, ports: dict[int, int]) -> str:
    """A place of the show file, as `[[accept]]` names it, with the spare and its port for the dead box and its."""
    steps = where.split(".")
    if steps[:2] != ["controller", dead]:
        return where
    steps[1] = spare
    if steps[2:3] == ["port"] and len(steps) > 3 and steps[3].isdigit():
        steps[3] = str(ports.get(int(steps[3]), int(steps[3])))
    return ".".join(steps)


def _pinned(show: Show, old: Controller, spare: str, starts: list[Start], others: list[Start]) -> Show:
    """The show with the pins that keep the spare's starts where they are: the dead box's own where they are enough."""
    pinned = set(old.pins.values())
    own = {start.chain.key: f"{start.universe}/{start.channel}" for start in starts}
    carried = {start.chain.key: own[start.chain.key] for start in starts if (start.universe, start.channel) in pinned}
    box = show.controllers[spare].model_copy(update={"start": carried, "first_universe": old.first_universe})
    if not falls_by_itself(show, box, starts, others):
        box = box.model_copy(update={"start": own, "first_universe": None})
    return show.model_copy(update={"controllers": show.controllers | {spare: box}})


def _too_short(ways: _Ways, singles: tuple[Piece, ...]) -> Shortfall:
    """Why the runs find no place on the spare's ports."""
    name, limit, count = ways.new.name, ways.ports.pixels, ways.ports.count
    short = [
        f"{piece.runs[0]} has {piece.pixels + piece.nulls} pixels with its nulls, and a port of {name} takes {limit}: "
        f"{piece.pixels + piece.nulls - limit} too many"
        for piece in singles
        if limit is not None and piece.pixels + piece.nulls > limit
    ]
    total = sum(piece.pixels for piece in singles)
    if limit is not None and total > limit * count:
        ports = "its one port" if count == 1 else f"all {count} ports"
        short.append(f"{total} pixels hang on {ways.old.name}, and {ports} of {name} take {limit * count}: "
                     f"{total - limit * count} too many")  # fmt: skip
    if not short:
        needed = port_pixels_needed(singles, ways.ports)
        kinds = sorted({order for piece in singles for order in piece.orders})
        if needed is None or limit is None:
            ports = f"{count} port{'s' if count > 1 else ''}"
            why = f"their chips differ in bit rate or colour order ({', '.join(kinds)}), or are not hung"
            short.append(f"{name} has {ports}, and runs that cannot share one need more: {why}")
        else:
            apart = f", and {' and '.join(kinds)} share none" if len(kinds) > 1 else ""
            short.append(f"the runs cannot be shared out over {count} ports of {limit} pixels{apart}: "
                         f"one would have to take {needed}, {needed - limit} more")  # fmt: skip
    best = most_that_fits(singles, ways.ports)
    return _shortfall(ways, short, [run for piece in best for run in piece.runs])


def _no_universes(ways: _Ways, own: list[Chain]) -> Shortfall:
    """Why the spare cannot listen to all of its universes."""
    total, most = _universes(own), ways.new.universes
    if most is None or total <= most:
        says = f"no free universes were found for {ways.new.name} that follow each other as it needs"
        return _shortfall(ways, [says], [])
    short = [
        f"{ways.new.name} listens to {most} universe{'s' if most > 1 else ''}, and the runs take at least {total}: "
        f"{total - most} too many"
    ]
    fronts = [[replace(chain, links=chain.links[:n]) for n in range(len(chain.links) + 1)] for chain in own]
    best: tuple[Chain, ...] = ()
    if prod(map(len, fronts)) <= _MOST_FRONTS:
        every = (tuple(front for front in some if front.links) for some in product(*fronts))
        best = max((some for some in every if _universes(some) <= most), key=_pixels)
    else:
        for chain in sorted(own, key=lambda chain: -chain.pixels):
            best = (*best, chain) if _universes((*best, chain)) <= most else best
    return _shortfall(ways, short, [link.run for chain in best for link in chain.links])


_MOST_FRONTS = 20_000
"""Ways to keep the front of each chain, up to which all are weighed."""


def _pixels(chains: Iterable[Chain]) -> int:
    return sum(chain.pixels for chain in chains)


def _universes(chains: Iterable[Chain]) -> int:
    """How many universes chains take that lie right behind each other."""
    at = 0
    for chain in chains:
        at = chain.end(first_fit(at, chain.links[0].channels))
    return -(-at // CHANNELS)


def _shortfall(ways: _Ways, short: list[str], lit: list[str]) -> Shortfall:
    runs = [run for _, chain in ways.chains for run in chain]
    return Shortfall(
        ways.old,
        ways.new,
        tuple(short),
        tuple(run for run in runs if run in lit),
        tuple(r for r in runs if r not in lit),
    )
