"""How long a port takes to refresh its pixels, against the show's frame rate.

Every pixel takes its channels × 8 bits off the line, nulls too; then the line is quiet for the latch. The slowest chip
of a port sets its bit rate and its quiet time.
"""

from __future__ import annotations

from dataclasses import dataclass

from patcher.errors import Finding
from patcher.wiring import Wiring, port_name

BITS = 8
"""Bits of one channel. Source: data sheets of WS2811 and WS2812B, 24 bits for three channels."""


@dataclass(frozen=True, slots=True)
class PortTime:
    """One port's refresh.

    Attributes:
        controller: its box.
        port: its number.
        pixels: pixels on its line, nulls included.
        frame_ms: milliseconds that one frame takes, the latch included.
    """

    controller: str
    port: int
    pixels: int
    frame_ms: float

    @property
    def max_rate(self) -> float:
        """Frames a second that it can keep up."""
        return 1000 / self.frame_ms


def frame_ms(loads: list[tuple[int, int]], bit_rate: float, reset_us: float) -> float:
    """Milliseconds for one frame of a line.

    Args:
        loads: how many pixels of how many channels each, in any order.
        bit_rate: bits a second.
        reset_us: microseconds of quiet that latch the frame.
    """
    bits = sum(pixels * channels for pixels, channels in loads) * BITS
    return bits / bit_rate * 1e3 + reset_us / 1e3


def port_times(wiring: Wiring) -> list[PortTime]:
    """Every port in use, controllers in the file's order."""
    show = wiring.show
    found = []
    for (controller, port), chain in wiring.chains.items():
        runs = [show.runs[name] for name in chain]
        kinds = [show.type_of(run) for run in runs]
        loads = [(run.pixels + run.nulls, kind.channels) for run, kind in zip(runs, kinds, strict=True)]
        time = frame_ms(loads, min(kind.bit_rate for kind in kinds), max(kind.reset_us for kind in kinds))
        found.append(PortTime(controller, port, sum(pixels for pixels, _ in loads), time))
    return found


def findings(wiring: Wiring) -> list[Finding]:
    """Ports that cannot keep the show's frame rate, and ports whose chips want different bit rates."""
    show, rate = wiring.show, wiring.show.settings.frame_rate
    found = []
    for time in port_times(wiring):
        where = f"controller.{time.controller}.port.{time.port}"
        name = port_name(time.controller, time.port)
        if time.max_rate < rate:
            says = (
                f"{name} takes {time.frame_ms:.1f} ms for its {time.pixels} pixels: "
                f"{time.max_rate:.1f} frames a second at most, and the show plays {rate:g}"
            )
            remedy = "move a run to a free port, or lower frame_rate"
            found.append(Finding("warning", "refresh", "timing", where, says, remedy))
        kinds = {show.runs[run].pixel for run in wiring.chains[time.controller, time.port]}
        if len({show.pixel_types[kind].bit_rate for kind in kinds}) > 1:
            says = f"{name} mixes chips of different bit rates ({', '.join(sorted(kinds))}) on one line"
            found.append(Finding("warning", "bit-rate", "timing", where, says, "give each kind a port of its own"))
    return found
