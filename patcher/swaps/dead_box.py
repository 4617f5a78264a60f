"""The runs of a dead box as pieces that a spare takes over, and the cables that each way to hang them needs."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import pairwise
from math import ceil
from typing import Literal

from patcher.lead_ways import Way, lead_ways
from patcher.limits.advice import LONGEST_LEAD
from patcher.patch.patch import Patch, behind, first_fit
from patcher.shapes import positions
from patcher.show.schema import Controller
from patcher.swaps.joins import Piece, Ports
from patcher.units import METRES_PER
from patcher.wiring import Wiring


@dataclass(frozen=True, slots=True)
class SwapCable:
    """A cable to make: data and ground, no null pixel in it.

    Attributes:
        run: the run whose first pixel it leads to.
        behind: the run from whose last pixel it comes; None where it comes straight from the box, or of a tee.
        port: the spare's port that it ends up on.
        metres: the way between the two, straight or along routes, rounded up to a tenth of the file's unit; where the
            file does not say where both are, the run's lead of today.
        measured: that way is known.
        straight: it goes straight.
        fed: a feed of the file joins what the run shares its V+ with once it is cut off from what was before it; True
            of a tee, whose power stays as it is.
        tee_of: the run from whose data-in it comes, where the run is a tee.
    """

    run: str
    behind: str | None
    port: int
    metres: float
    measured: bool
    straight: bool
    fed: bool
    tee_of: str | None = None

    @property
    def via(self) -> Literal["cable", "booster"]:
        """How the data crosses it."""
        return "booster" if self.metres > LONGEST_LEAD else "cable"


def runs_of(pieces: Iterable[Piece]) -> tuple[str, ...]:
    """The runs of pieces that follow each other, in data order."""
    return tuple(run for piece in pieces for run in piece.runs)


class DeadBox:
    """The runs of a dead box as pieces for a spare's ports, and what new cable each way to hang them takes.

    Attributes:
        old: the dead box.
        new: the spare.
        chains: its ports that carry runs, with their runs in data order.
        today: the running channel of each run's first pixel.
        begins: the running channels at which the data of a run begins, null pixels included.
        ports: the spare's ports.
    """

    def __init__(self, wiring: Wiring, kept: Patch, old: Controller, new: Controller) -> None:
        self.wiring, self.show, self.old, self.new = wiring, wiring.show, old, new
        self.chains = list(wiring.of_controller(old.name).items())
        laid = [link for start in kept.boxes.get(old.name, ()) for link in start.laid()]
        self.today = {link.run: first for link, _, first, _ in laid}
        self.begins = frozenset(begin for _, begin, _, _ in laid)
        one_order = old.reorders and new.reorders and new.start_per == "port"
        self.ways = lead_ways(wiring.show)
        self.ports = Ports(new.ports, new.port_pixels, one_order, self._centimetres, self._moves)
        tees = [tee for run in self.today for tee in wiring.tees(run)]
        self.ends = {run: ends for run in (*self.today, *tees) if (ends := self._ends(run)) is not None}

    @property
    def singles(self) -> tuple[tuple[Piece, ...], ...]:
        """Each chain as pieces of one run."""
        return tuple(
            tuple(self.piece(port, (run,), cut=at > 0) for at, run in enumerate(runs)) for port, runs in self.chains
        )

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
        return self.piece(whole[0].port, runs_of(whole), cut=whole[0].cut)

    def way(self, before: str | None, run: str) -> Way | None:
        """The way from a run's last pixel, or the box, to a run's first; None where one is not known."""
        start = self.old.at if before is None else self.ends[before][1] if before in self.ends else None
        return None if start is None or run not in self.ends else self.ways.way(start, self.ends[run][0])

    def _centimetres(self, before: Piece | None, piece: Piece) -> int:
        if before is None and not piece.cut:
            return 0
        return sum(round(metres * 100) for *_, metres in self._leads(before, piece))

    def _leads(self, before: Piece | None, piece: Piece) -> Iterator[tuple[str, str | None, Way | None, float]]:
        """The new leads to a piece's first run and to those of its tees that have nulls: the run, the one that it is a
        tee of, its way, and the metres that are counted.
        """
        first = piece.runs[0]
        way = self.way(before.runs[-1] if before else None, first)
        yield first, None, way, self.show.runs[first].lead if way is None else way.metres
        for tee in self.wiring.tees(first):
            run, source = self.show.runs[tee], self.show.runs[tee].same_data_as
            if run.nulls and source is not None:
                ends = [self.ends[name][0] for name in (source, tee) if name in self.ends]
                way = self.ways.way(*ends) if len(ends) == 2 else None
                yield tee, source, way, run.lead if way is None else way.metres

    def _moves(self, before: Piece, piece: Piece) -> bool:
        """Whether a piece behind another is not where it is today, if that one is."""
        if self.new.start_per == "run":
            return False
        last, first = (self.show.runs[name] for name in (before.runs[-1], piece.runs[0]))
        end = behind(self.today[last.name], last.pixels, self.show.type_of(last).channels)
        return first_fit(end, self.show.type_of(first).channels) != self.today[first.name]

    def cables(self, hung: dict[int, tuple[Piece, ...]]) -> Iterator[SwapCable]:
        """The cables that are new."""
        unit = METRES_PER[self.show.settings.units]
        for port, line in hung.items():
            for before, piece in pairwise([None, *line]):
                if piece is None or (before is None and not piece.cut):
                    continue
                last = before.runs[-1] if before else None
                for run, tee_of, way, lead in self._leads(before, piece):
                    metres = lead if way is None else ceil(way.metres / unit * 10 - 1e-6) / 10 * unit
                    yield SwapCable(
                        run, None if tee_of else last, port, metres, way is not None,
                        straight=way is None or way.is_straight, fed=False, tee_of=tee_of,
                    )  # fmt: skip
