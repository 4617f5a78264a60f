"""Refresh times of ports against the show's frame rate, and how to share out runs so that they keep it.

Every pixel takes its channels × 8 bits off the line, nulls too; then the line is quiet for the latch. The slowest chip
of a port sets its bit rate and its quiet time. A box is as slow as its slowest port, and a show as its slowest box.

A chain may be cut between runs, and what is cut off goes to a port that is free. A piece never takes longer when a run
is taken from it; therefore cutting as late as a bound allows, from the head on, gives the fewest pieces under that
bound and moves the fewest runs.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import floor, inf

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


@dataclass(frozen=True, slots=True)
class Load:
    """What one run puts on its line, nulls included.

    Attributes:
        run: its name.
        pixels: how many pixels.
        channels: how many channels they take together.
        bit_rate: bits a second that its chips take.
        reset_us: microseconds of quiet that they need.
    """

    run: str
    pixels: int
    channels: int
    bit_rate: float
    reset_us: float


Lines = Mapping[int, Sequence[Load]]
"""The chain of each port of one box."""


@dataclass(frozen=True, slots=True)
class ChainMove:
    """Runs that leave the end of one port's chain, or the middle of it, for a port that is free."""

    port: int
    runs: tuple[str, ...]
    to: int


@dataclass(frozen=True, slots=True)
class Split:
    """Chains of one box, shared out over its ports.

    Attributes:
        moves: what is plugged in elsewhere, by port and then in data order; what is not named stays.
        frame_ms: milliseconds that its slowest port then takes.
    """

    moves: tuple[ChainMove, ...]
    frame_ms: float


def frame_ms(loads: Sequence[tuple[int, int]], bit_rate: float, reset_us: float) -> float:
    """Milliseconds for one frame of a line.

    Args:
        loads: how many pixels of how many channels each, in any order.
        bit_rate: bits a second.
        reset_us: microseconds of quiet that latch the frame.
    """
    bits = sum(pixels * channels for pixels, channels in loads) * BITS
    return bits / bit_rate * 1e3 + reset_us / 1e3


def line_ms(loads: Sequence[Load]) -> float:
    """Milliseconds for one frame of some runs on one line."""
    channels = sum(load.channels for load in loads)
    return frame_ms([(1, channels)], min(load.bit_rate for load in loads), max(load.reset_us for load in loads))


def _loads(wiring: Wiring, chain: Iterable[str]) -> list[Load]:
    found = []
    for run in (wiring.show.runs[name] for name in chain):
        kind, pixels = wiring.show.type_of(run), run.pixels + run.nulls
        found.append(Load(run.name, pixels, pixels * kind.channels, kind.bit_rate, kind.reset_us))
    return found


def port_times(wiring: Wiring) -> list[PortTime]:
    """Every port in use, controllers in the file's order."""
    found = []
    for (controller, port), chain in wiring.chains.items():
        loads = _loads(wiring, chain)
        found.append(PortTime(controller, port, sum(load.pixels for load in loads), line_ms(loads)))
    return found


def slowest_ports(times: Iterable[PortTime]) -> dict[str, PortTime]:
    """The slowest port of each box in use: what it can keep is what the box can keep."""
    found: dict[str, PortTime] = {}
    for time in times:
        if time.controller not in found or time.frame_ms > found[time.controller].frame_ms:
            found[time.controller] = time
    return found


# --- splitting --------------------------------------------------------------------------------------------------------


def _cut(loads: Sequence[Load], most: float) -> tuple[list[Sequence[Load]], float]:
    """The fewest pieces of a chain that take at most `most` milliseconds each, but for single runs that take more; and
    the least bound above `most` that would give other pieces.
    """
    firsts, beyond = [0], inf
    channels, bit_rate, reset_us = 0, inf, 0.0
    for at, load in enumerate(loads):
        channels += load.channels
        bit_rate, reset_us = min(bit_rate, load.bit_rate), max(reset_us, load.reset_us)
        if at > firsts[-1] and (longer := frame_ms([(1, channels)], bit_rate, reset_us)) > most:
            beyond = min(beyond, longer)
            firsts.append(at)
            channels, bit_rate, reset_us = load.channels, load.bit_rate, load.reset_us
    ends = [*firsts[1:], len(loads)]
    return [loads[first:end] for first, end in zip(firsts, ends, strict=True)], beyond


def _longest(loads: Iterable[Load]) -> float:
    """Milliseconds of the slowest of some runs, each on a line of its own: what no split goes below."""
    return max(line_ms([load]) for load in loads)


def _split(lines: Lines, free: Sequence[int], bounds: Mapping[int, float]) -> Split | None:
    """The fewest moves that hold a bound on each port, or None where there are not enough free ports."""
    moves: list[ChainMove] = []
    slowest, left = 0.0, list(free)
    for port, loads in lines.items():
        kept, *moved = _cut(loads, bounds.get(port, inf))[0]
        slowest = max(slowest, *(line_ms(piece) for piece in (kept, *moved)))
        if len(moved) > len(left):
            return None
        moves += (ChainMove(port, tuple(load.run for load in piece), left.pop(0)) for piece in moved)
    return Split(tuple(moves), slowest)


def best_split(lines: Lines, free: Sequence[int]) -> Split:
    """The split over free ports whose slowest port is fastest; of all such, one with the fewest ports and runs moved.

    Exact: the bound lies between the slowest single run and the slowest port of today. It is halved in; a bound that
    holds drops to the time that its pieces really take, and one that does not rises to the next that changes them.

    Args:
        lines: the chain of each port in use.
        free: the ports with none; a port takes one piece. As a piece is shorter than its chain, `port_pixels` holds.
    """
    low = max(_longest(loads) for loads in lines.values())
    best = Split((), max(line_ms(loads) for loads in lines.values()))
    while low < best.frame_ms:
        middle = (low + best.frame_ms) / 2
        bound = middle if middle < best.frame_ms else low
        if split := _split(lines, free, dict.fromkeys(lines, bound)):
            best = split
        else:
            low = min(_cut(loads, bound)[1] for loads in lines.values())
    return best


# --- findings ---------------------------------------------------------------------------------------------------------


_WORTH = 1.0
"""Frames a second more for which moving more than need be is offered."""


OFFERED = (60, 50, 40, 30, 25, 20, 15, 10, 5)
"""Frames a second that players offer. Common practice, no source: frames of 20, 25, 40, 50 or 100 ms, and film's 30."""


def rate_to_set(most: float) -> str:
    """The highest rate that holds of those that players offer; beyond them, in whole frames where there are any."""
    held = [rate for rate in OFFERED if rate <= most + 1e-6]
    if held and most < OFFERED[0] + 1:
        return str(held[0])
    return str(floor(most)) if most >= 1 else f"{floor(most * 100) / 100:g}"


def rate_text(rate: float) -> str:
    """Frames a second to one decimal, rounded down: what is said is kept."""
    return f"{floor(rate * 10 + 1e-6) / 10:.1f}"


def findings(wiring: Wiring) -> list[Finding]:
    """Ports that cannot keep the show's frame rate, and ports whose chips want different bit rates."""
    show, rate = wiring.show, wiring.show.settings.frame_rate
    times = port_times(wiring)
    slow = [time for time in times if time.frame_ms > 1000 / rate]
    remedies = {
        port: remedy
        for box in dict.fromkeys(time.controller for time in slow)
        for port, remedy in _remedies(
            wiring, box, {time.port: time.frame_ms for time in slow if time.controller == box}
        )
    }
    found = []
    for time in times:
        where = f"controller.{time.controller}.port.{time.port}"
        name = port_name(time.controller, time.port)
        if (time.controller, time.port) in remedies:
            says = (
                f"{name} takes {time.frame_ms:.1f} ms for its {time.pixels} pixels: "
                f"{rate_text(time.max_rate)} frames a second at most, and the show plays {rate:g}"
            )
            remedy = remedies[time.controller, time.port]
            found.append(Finding("warning", "refresh", "timing", where, says, remedy))
        kinds = {show.runs[run].pixel for run in wiring.chains[time.controller, time.port]}
        if len({show.pixel_types[kind].bit_rate for kind in kinds}) > 1:
            says = f"{name} mixes chips of different bit rates ({', '.join(sorted(kinds))}) on one line"
            found.append(Finding("warning", "bit-rate", "timing", where, says, "give each kind a port of its own"))
    return found


def _remedies(wiring: Wiring, box: str, slow: Mapping[int, float]) -> Iterator[tuple[tuple[str, int], str]]:
    """What to do about each port of a box that is too slow.

    Where the free ports are enough, each such port gets the fewest moves by which it keeps the show's frame rate, or
    comes as near as its longest run lets it; else those that can be cut get the split that is best for their slowest.
    """
    lines = {port: _loads(wiring, chain) for port, chain in wiring.of_controller(box).items()}
    free = [port for port in range(1, wiring.show.controllers[box].ports + 1) if port not in lines]
    period = 1000 / wiring.show.settings.frame_rate
    best = best_split(lines, free)
    split = _split(lines, free, {port: max(period, _longest(lines[port])) for port in slow})
    if split is None:
        split = best_split({port: lines[port] for port in slow if len(lines[port]) > 1}, free)
    slowest = max(slow, key=lambda port: slow[port])
    for port in slow:
        moves = [move for move in split.moves if move.port == port]
        if moves:
            remedy = _moving(wiring, box, lines[port], moves, period)
        else:
            left = len(free) - len(split.moves)
            remedy = _no_move(lines[port], slow[port], _no_port(box, left, len(free)), free=left > 0)
        if port == slowest and 1000 / best.frame_ms >= 1000 / split.frame_ms + _WORTH:
            most = rate_text(1000 / best.frame_ms)
            remedy += f". The most that {box} can keep is {most}: {_moves(wiring, box, best.moves)}"
        yield (box, port), remedy


def _moving(wiring: Wiring, box: str, loads: Sequence[Load], moves: Sequence[ChainMove], period: float) -> str:
    moved = {run for move in moves for run in move.runs}
    by_name = {load.run: load for load in loads}
    pieces = [[load for load in loads if load.run not in moved], *([by_name[run] for run in m.runs] for m in moves)]
    after = max(line_ms(piece) for piece in pieces)
    remedy = f"{_moves(wiring, box, moves)}: then {rate_text(1000 / after)} frames a second"
    if after > period:
        remedy += f", which is still too few; {_slower(1000 / after)}, or hang more of it on another box"
    return remedy


def _no_port(box: str, left: int, free: int) -> str:
    if left:
        return f"the free ports of {box} are too few"
    return f"no port of {box} is {'left free for it' if free else 'free'}"


def _no_move(loads: Sequence[Load], now: float, why: str, *, free: bool) -> str:
    if len(loads) == 1:
        run = loads[0].run
        there = "a port that is free" if free else "another box"
        return f"{run} hangs there alone; {_slower(1000 / now)}, or make two runs of {run}, the second on {there}"
    return f"{why}; {_slower(1000 / now)}, or hang some of its runs on another box"


def _slower(rate: float) -> str:
    return f"lower frame_rate to {rate_to_set(rate)}"


def _moves(wiring: Wiring, box: str, moves: Sequence[ChainMove]) -> str:
    """Moves in words, and whether they change starts."""
    each = [f"{_listed(move.runs)} to {port_name(box, move.to)}" for move in moves]
    said = f"move {', '.join(each)}"
    match wiring.show.controllers[box].start_per:
        case "port":
            one = len(moves) == 1
            said += f", with {'a start of its own' if one else 'starts of their own'}"
        case "controller" if _reordered(wiring.of_controller(box), moves):
            said += ", which changes addresses"
    return said


def _reordered(chains: Mapping[int, Sequence[str]], moves: Sequence[ChainMove]) -> bool:
    """Whether runs follow each other in another order after some moves, port by port."""
    moved = {run for move in moves for run in move.runs}
    after = {port: [run for run in chain if run not in moved] for port, chain in chains.items()}
    after |= {move.to: list(move.runs) for move in moves}
    before = [run for port in sorted(chains) for run in chains[port]]
    return before != [run for port in sorted(after) for run in after[port]]


def _listed(names: Sequence[str], most: int = 4) -> str:
    if len(names) > most:
        return f"{names[0]} … {names[-1]} ({len(names)} runs)"
    return " and ".join(filter(None, [", ".join(names[:-1]), names[-1]]))
