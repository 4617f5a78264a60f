"""The faults that may explain what is wrong with some runs of a clip."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from itertools import combinations, permutations

import numpy as np
from numpy.typing import NDArray

from patcher.clip.hues import DARK as DARK_HUE
from patcher.clip.hues import SEEN, UNKNOWN
from patcher.diagnosis.hypotheses import singles
from patcher.errors import PatcherError
from patcher.faults import Fault, build, departure, parse
from patcher.film.evidence import Evidence
from patcher.film.fit import Slack, fit
from patcher.film.mixed import channels_seen
from patcher.film.rivals import usual
from patcher.film.shown import MIXED, Shown, shown
from patcher.frames.film_code import Channels
from patcher.trade import CHANNELS

OF_ORDER = ("reversed", "data-in", "lines", "turns")
"""Kinds of fault that let the data go through a run in another order."""
MOST_BESIDE = 10
"""Beside universes typed wrongly data is off by so many pixels at most."""
MOST_BREAKS = 4
"""So many places are thought of at which all that comes behind may change."""
BESIDE = 2
"""A fault that changes all that comes behind it may be found so many pixels beside where it is."""
FEWEST, MOST_OF = 12, 0.6
"""So many segments tell an order of colours; the part of them that must be as they should be with it."""
MOST_ODD = 24
"""So many of a run's odd pixels are thought of."""


class Candidates:
    """Thinks of faults, by what a clip shows."""

    def __init__(self, seen: Evidence, slack: Mapping[str, tuple[Evidence, Slack]]) -> None:
        self._seen, self._slack = seen, slack
        self._of_run: dict[str, list[Fault]] = {}
        self._ordered: dict[str, tuple[tuple[Fault, ...], ...]] = {}

    def of(
        self, bad: Sequence[str], wired: Mapping[str, Shown], faults: Sequence[Fault]
    ) -> Iterator[tuple[Fault, ...]]:
        """Faults that may explain what is wrong with some runs; also those of a place with which one is exchanged. Of
        those that belong together all: a grid that is gone through in another order, from another address on.
        """
        found: dict[tuple[Fault, ...], None] = {}
        for run in bad:
            found |= dict.fromkeys((one,) for one in self._parsed(self._by_offset(run)))
            found |= dict.fromkeys((one,) for one in self._parsed(self._at_pixels(run, wired[run])))
            found |= dict.fromkeys((one,) for one in self._parsed(self._at_a_break(run, wired[run], faults)))
            found |= dict.fromkeys((one,) for one in self._coarse(run))
            found |= dict.fromkeys(self._by_order(run))
        for run in dict.fromkeys(partner for one in bad for partner in self._exchanged_with(one, faults)):
            if run not in bad:
                found |= dict.fromkeys((one,) for one in self._coarse(run))
        yield from found

    def _by_order(self, run: str) -> tuple[tuple[Fault, ...], ...]:
        if run not in self._ordered:
            ways = [*self._in_order(run)]
            self._ordered[run] = (*ways, *((*way, order) for way in ways for order in self._recoloured(run, way)))
        return self._ordered[run]

    def _in_order(self, run: str) -> Iterator[tuple[Fault, ...]]:
        """Faults with which the words at a run's places follow its order, all off by as many pixels."""
        there = self.read_there(run)
        ways = [fault for fault in self._coarse(run) if fault.kind in OF_ORDER]
        first = self._seen.code.first
        for faults in [(), *((one,) for one in ways), *combinations(ways, 2)]:
            planned = self._word_of(run, faults)
            if planned is None:
                continue
            known = (there >= 0) & (planned >= 0)
            offset = usual((there - planned)[known])
            if offset is not None and (offset or len(faults) > 1):
                yield (*faults, *self._parsed([f"shift:{run}={offset}"] if offset else []))
            channels = usual(first[there[known]] - first[planned[known]])
            if channels:
                yield from ((*faults, *more) for more in self._universes_off(run, channels))

    def _recoloured(self, run: str, faults: tuple[Fault, ...]) -> Iterator[Fault]:
        """The order of colours in which most lights at a run's places are as they should be with some faults, where it
        is another than the planned one: by itself neither those faults nor the order may explain anything.
        """
        row, near = self._lights_there(run)
        orders = [fault for fault in self._coarse(run) if fault.kind == "colour-order" and fault.where == run]
        agree: list[float] = []
        for more in [(), *((fault,) for fault in orders)]:
            wired = self._shown(run, (*faults, *more))
            own = near & (wired.pixel == self.read_there(run)) if wired is not None else np.zeros_like(near)
            hue = self._seen.hue[row[own]]
            known = hue >= 0
            goes = wired is not None and known.sum() >= FEWEST
            agree.append(float((hue == wired.hue[own])[known].mean()) if wired is not None and goes else 0.0)
        if orders and max(agree) > max(agree[0], MOST_OF):
            yield orders[int(np.argmax(agree)) - 1]

    def _word_of(self, run: str, faults: tuple[Fault, ...]) -> Channels | None:
        """The pixel whose word each pixel of a run plays with some faults; None where they make no sense together."""
        with suppress(PatcherError):
            build(self._seen.plan.wiring, faults)
            takes = departure(self._seen.plan, faults).takes
            return self._seen.code.word_of(takes.get(run, self._seen.plan.takes[run]))
        return None

    def _universes_off(self, run: str, channels: int) -> Iterator[tuple[Fault, ...]]:
        """Faults that let a run take data from so many channels further on, by universes typed wrongly."""
        box, port = self._seen.plan.wiring.ports[run]
        universes = round(channels / CHANNELS)
        rest, part = divmod(channels - universes * CHANNELS, int(self._seen.code.width[0]))
        if universes and not part and abs(rest) <= MOST_BESIDE:
            for start in (box, f"{box}/{port}", run):
                texts = [f"universe-shift:{start}={universes}", *([f"shift:{run}={rest}"] if rest else [])]
                if len(both := tuple(self._parsed(texts))) == len(texts):
                    yield both

    def _exchanged_with(self, run: str, faults: Sequence[Fault]) -> Iterator[str]:
        """The runs that take other data with a fault that exchanges something for this run."""
        for fault in faults:
            if fault.kind.startswith("swapped"):
                takes = departure(self._seen.plan, (fault,)).takes
                if run in takes:
                    yield from (one for one in takes if one in self._seen.places)

    def _coarse(self, run: str) -> list[Fault]:
        """The single faults of a run, its port and its box that are at no pixel."""
        if run not in self._of_run:
            every = singles(self._seen.plan, [run], lambda name: ())
            self._of_run[run] = [fault for fault, differs in every if differs.takes]
        return self._of_run[run]

    def _at_pixels(self, run: str, wired: Shown) -> Iterator[str]:
        """Faults at pixels of a run, where what goes well borders on what does not."""
        seen, slack = self._slack[run]
        own, letters = fit(seen, run, wired, slack), seen.letters(run)
        hue = seen.hue[own.row]
        known = own.close[:, None] & (hue != UNKNOWN) & (wired.hue != UNKNOWN)
        wrong = (known & (hue != wired.hue)).any(axis=1) | own.exchanged
        lacks = np.argwhere(known & (hue == DARK_HUE) & (wired.hue >= 0))
        for pixel, segment in lacks[:MOST_ODD].tolist():
            letter = SEEN[wired.hue[pixel, segment]]
            if letter in letters:
                yield f"dark-channel:{run}/{pixel + 1}={letter}"
        good = own.close & ~wrong
        edges = np.flatnonzero(good[1:] != good[:-1]) + 1
        odd = sorted({0, *edges.tolist(), *(edges + 1).tolist(), *np.flatnonzero(wrong).tolist()})
        odd = [pixel for pixel in odd if pixel < len(good)]
        for pixel in odd[:MOST_ODD]:
            yield f"missing:{run}/{pixel + 1}"
            for order in self._orders(letters):
                yield f"replaced:{run}/{pixel + 1}={order}"
        for pixel in [pixel for pixel in odd if pixel and not own.close[pixel:].any()][:3]:
            yield f"cut:{run}/{pixel + 1}"
            yield f"flicker:{run}/{pixel + 1}"

    def _at_a_break(self, run: str, wired: Shown, faults: Sequence[Fault]) -> Iterator[str]:
        """Faults that change all that comes behind a pixel, at the pixels where the lights say most for them: before it
        they go with what is held to play, from it on with what would play then.
        """
        letters = self._seen.letters(run)
        white = f"{letters}W" if "W" not in letters else letters.replace("W", "")
        before = self._goes(run, wired)
        for kind, orders in (
            ("missing", [""]),
            ("replaced", [order for order in self._orders(letters) if len(order) == len(white)]),
        ):
            value = f"={white}" if kind == "replaced" else ""
            behind = self._goes(run, self._shown(run, (*faults, *self._parsed([f"{kind}:{run}/1{value}"]))))
            for pixel in _breaks(before, behind):
                for order in orders:
                    yield f"{kind}:{run}/{pixel + 1}{'=' if order else ''}{order}"

    def around(self, fault: Fault) -> Iterator[Fault]:
        """The same at the pixels beside it, and where another pixel was put in, one with another order."""
        run, _, text = fault.where.partition("/")
        orders = self._orders(self._seen.letters(run)) if fault.kind == "replaced" else [""]
        for pixel in range(int(text) - BESIDE, int(text) + BESIDE + 1):
            yield from self._parsed(f"{fault.kind}:{run}/{pixel}{'=' if order else ''}{order}" for order in orders)

    def _goes(self, run: str, wired: Shown | None) -> NDArray[np.float64]:
        """How well the light of each pixel goes with what it should play: 1 for as well as can be, 0 for not at all."""
        seen, slack = self._slack[run]
        if wired is None:
            return np.zeros(len(seen.places[run]))
        own = fit(seen, run, wired, slack)
        hue = seen.hue[own.row]
        wrong = ((hue != UNKNOWN) & (wired.hue != UNKNOWN) & (hue != wired.hue)).any(axis=1)
        found: NDArray[np.float64] = (own.close & ~wrong).astype(np.float64)
        mixed = np.flatnonzero(wired.pixel == MIXED)
        if wired.mixed is not None and len(mixed):
            light = seen.look(seen.map.picture(own.places[mixed]))
            found[mixed] = channels_seen(light, seen.code, seen.inner, wired.mixed[mixed], seen.letters(run))
        return found

    def _shown(self, run: str, faults: Sequence[Fault]) -> Shown | None:
        """What a run plays with some faults; None where they make no sense together."""
        with suppress(PatcherError):
            build(self._seen.plan.wiring, faults)
            takes = departure(self._seen.plan, tuple(faults)).takes
            return shown(takes.get(run, self._seen.plan.takes[run]), self._seen.letters(run), self._seen.code)
        return None

    def _orders(self, letters: str) -> list[str]:
        """The colour orders of a pixel that may have been put in."""
        own = ["".join(order) for order in permutations(letters)] if len(letters) <= 3 else []
        white = [f"{order}W" for order in own] if "W" not in letters else [letters.replace("W", "")]
        return [order for order in (*own, *white) if order != letters]

    def _parsed(self, texts: Iterable[str]) -> Iterator[Fault]:
        for text in texts:
            with suppress(PatcherError):
                yield parse(text, self._seen.plan.wiring)

    def _by_offset(self, run: str) -> Iterator[str]:
        """Faults by how far the data at a run's places is from the planned one."""
        offset = self.offset(run)
        if not offset:
            return
        box, port = self._seen.plan.wiring.ports[run]
        width = int(self._seen.code.width[0])
        yield f"shift:{run}={offset}"
        for start in (box, f"{box}/{port}", run):
            yield f"channel-shift:{start}={offset * width}"
            yield f"channel-shift:{start}={-offset * width}"
        yield f"count:{box}/{port}={offset}"

    def offset(self, run: str) -> int:
        """By how many pixels most data at a run's places is from the planned one; 0 where it is not alike."""
        found = self.read_there(run)
        planned = self._seen.planned(run)
        return usual((found - planned)[(found >= 0) & (planned >= 0)]) or 0

    def read_there(self, run: str) -> Channels:
        """The word that plays at each place of a run, as the map has it, displaced by nothing; -1 for none."""
        row, near = self._lights_there(run)
        return np.where(near, self._seen.lights.pixel[row], -1) if len(self._seen.lights) else np.where(near, 0, -1)

    def _lights_there(self, run: str) -> tuple[Channels, NDArray[np.bool_]]:
        """The light nearest to each place of a run, as the map has it, and whether it is at that place."""
        seen, _ = self._slack[run]
        if seen.lit is None:
            return np.zeros(len(seen.places[run]), dtype=np.int64), np.zeros(len(seen.places[run]), dtype=bool)
        away, row = seen.lit.query(seen.places[run])
        return np.asarray(row, dtype=np.int64), np.asarray(away < 0.5 * seen.pitch[run], dtype=bool)


def _breaks(before: NDArray[np.float64], behind: NDArray[np.float64]) -> list[int]:
    """The pixels from which on lights go best with the one, and before which with the other, the best first."""
    gain = np.concatenate([[0.0], np.cumsum(before)]) + np.concatenate([np.cumsum(behind[::-1])[::-1], [0.0]])
    best = np.argsort(-gain[:-1], kind="stable")[:MOST_BREAKS]
    return [int(pixel) for pixel in best if gain[pixel] > gain[-1]]
