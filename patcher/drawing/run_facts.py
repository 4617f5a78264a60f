"""What a drawing says of each run: its port, its addresses, its feeds with their currents, the volts at its far end."""

from __future__ import annotations

from dataclasses import dataclass
from math import isnan

from patcher.patch.patch import Patch, Span
from patcher.power.flow import Power, if_known
from patcher.show.run_tables import Run
from patcher.wiring import Wiring, port_name


@dataclass(frozen=True, slots=True)
class Tapped:
    """Where a feed joins a run.

    Attributes:
        feed: the feed.
        number: which of its joints this is, from 1.
        pixel: the pixel that it joins, from 1.
        amps: into the run; None where that cannot be said.
    """

    feed: str
    number: int
    pixel: int
    amps: float | None


@dataclass(frozen=True, slots=True)
class Facts:
    """What is said of one run.

    Attributes:
        run: the run.
        box: the controller on which it hangs; empty where it hangs on none.
        port: its port; 0 where it hangs on none.
        source: the run whose data it shares; None but for a tee.
        spans: its spans, a tee's those of its source; none where it has no channels.
        taps: where feeds join it, by pixel.
        volts: at its last pixel; NaN where that is not fed or not known; None where the show describes no supplies.
        least: below this its pixels misbehave; None where the file does not say.
        asks: volts that its pixels are made for, where a supply of others reaches it; else None.
    """

    run: Run
    box: str
    port: int
    source: str | None
    spans: tuple[Span, ...]
    taps: tuple[Tapped, ...]
    volts: float | None
    least: float | None
    asks: float | None

    @property
    def name(self) -> str:
        """The name of the run."""
        return self.run.name

    @property
    def port_name(self) -> str:
        """Its port as it is named everywhere."""
        return port_name(self.box, self.port) if self.box else "no port"

    @property
    def edges(self) -> tuple[Span, ...]:
        """The spans that begin inside the run: before the first pixel of each lies the edge of a universe."""
        return self.spans[1:]

    @property
    def start(self) -> str:
        """Where its first pixel is in the patch; empty where nowhere."""
        return f"{self.spans[0].universe}/{self.spans[0].first_channel}" if self.spans else ""

    @property
    def is_low(self) -> bool:
        """Whether its far end has too few volts."""
        return self.volts is not None and self.least is not None and self.volts < self.least - 1e-9

    @property
    def far_words(self) -> str:
        """The last pixel, and what volts it has."""
        last = str(self.run.pixels)
        if self.volts is None:
            return last
        if isnan(self.volts):
            return f"{last} · ? V"
        needs = self.asks if self.asks is not None else self.least if self.is_low else None
        low = "" if needs is None else f", needs {needs:g} V"
        return f"{last} · {volts_words(self.volts, self.least)}{low}"


def volts_words(volts: float, least: float | None = None) -> str:
    """Volts to a tenth, finer only where that would hide that they are too few."""
    for digits in (1, 2, 3):
        if least is None or (round(volts, digits) < least) == (volts < least):
            break
    return f"{volts:.{digits}f} V"


def amps_words(amps: float | None) -> str:
    """Amperes to a tenth, small ones finer; a feed that takes current out of a run has a minus, nothing has none."""
    if amps is None:
        return "? A"
    digits = 2 if 0 < abs(amps) < 0.1 else 1
    return f"{round(amps, digits) + 0.0:.{digits}f} A".replace("-", "−")


def facts(wiring: Wiring, patch: Patch, state: Power | None) -> dict[str, Facts]:
    """What is said of every run of a sound show, in the file's order."""
    taps: dict[str, list[Tapped]] = {name: [] for name in wiring.show.runs}
    if state is not None:
        for load in state.feeds:
            joins = state.circuit.joins[load.feed.name]
            for number, (join, amps) in enumerate(zip(joins, load.into, strict=True), start=1):
                taps[join.run].append(Tapped(load.feed.name, number, join.pixel, if_known(amps)))
    found = {}
    spans: dict[str, list[Span]] = {}
    for span in patch.spans():
        spans.setdefault(span.run, []).append(span)
    for name, run in wiring.show.runs.items():
        source = wiring.source(name)
        box, port = wiring.ports.get(name, ("", 0))
        volts = None
        if state is not None and run.hung:
            volts = float(state.volts(name)[-1])
        kind = wiring.show.type_of(run)
        asks = kind.volts if state is not None and name in state.other_volts else None
        joined = tuple(sorted(taps[name], key=lambda tap: (tap.pixel, tap.feed)))
        tee = source if source != name else None
        found[name] = Facts(run, box, port, tee, tuple(spans.get(source, ())), joined, volts, kind.min_volts, asks)
    return found
