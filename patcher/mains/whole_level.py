"""The highest level at which the whole show holds: volts, wires, fuses, supplies and breakers; and what limits it."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from patcher.errors import Finding, first_few
from patcher.mains import circuit_findings
from patcher.mains.circuits import mains_at_level
from patcher.power import shortfalls
from patcher.power.drop import solve
from patcher.power.flow import Power

_MOST_NAMED = 3


@dataclass(frozen=True, slots=True)
class WholeLevel:
    """The highest level at which all that is fed and known holds.

    Attributes:
        level: in whole hundredths; None where there is none, or nothing that is fed is known.
        limits: what does not hold a hundredth above it (at 0, where there is none), in the words of `check`.
        known: how much of what is fed is known.
        sockets: whether the file has sockets, so that breakers are counted.
        hazards: what no lower level takes away, and is not counted: in words, with the places.
    """

    level: float | None
    limits: tuple[Finding, ...]
    known: str
    sockets: bool
    hazards: Mapping[str, Sequence[str]]

    @property
    def says(self) -> str:
        """It in one sentence, with what limits it."""
        if self.known == "nothing":
            return "Up to which level everything is OK is not known"
        what = "Everything that is fed" if self.known == "all" else "What is known"
        says = f"{what} is OK up to level {self.level:g}" if self.level is not None else "At no level is everything OK"
        names = list(dict.fromkeys(map(named, self.limits)))
        return says + (f"; the limit is {first_few(names, _MOST_NAMED)}" if names else "")

    @property
    def counted(self) -> str:
        """What is counted in it, and which hazards are not."""
        kept = "supplies, fuses and breakers" if self.sockets else "supplies and fuses"
        return f"{kept} to 80 %, volts and wires" + self.hazard_words

    @property
    def hazard_words(self) -> str:
        """The hazards that are not counted; empty where there is none."""
        words = ", ".join(f"{what} ({', '.join(places)})" for what, places in self.hazards.items())
        return f"; not counted, for it is a hazard at any level: {words}" if words else ""


def whole_level(state: Power) -> WholeLevel:
    """The highest level at which all that is fed and known of a show holds; the level of the state does not matter."""
    level, limits = brightest(state)
    fed = state.drop.fed
    known = state.drop.known[fed]
    how = "all" if known.all() else "some" if known.any() else "nothing"
    hazards = shortfalls.at_any_level(state)
    return WholeLevel(None if how == "nothing" else level, tuple(limits), how, bool(state.show.sockets), hazards)


def whole_level_words(state: Power) -> str:
    """It in a line for paper and the phone; empty where the file says nothing of power."""
    if not shortfalls.described(state.show):
        return ""
    whole = whole_level(state)
    return f"{whole.says}{whole.hazard_words}."


def brightest(state: Power) -> tuple[float | None, list[Finding]]:
    """The highest level, and what does not hold a hundredth above it: see `WholeLevel`."""
    net = state.circuit

    def at(hundredths: int) -> Power:
        level = hundredths / 100
        return Power(state.wiring, level, state.celsius, net, solve(net, level))

    first = bisect_left(range(101), True, key=lambda hundredths: not holds(at(hundredths)))
    return None if first == 0 else (first - 1) / 100, [] if first > 100 else too_bright(at(first))


def holds(state: Power) -> bool:
    """Whether all that is fed and known holds at the level of a state."""
    collapsed = (name for name, where in state.circuit.runs.items() if state.drop.collapsed[where].any())
    if any(name not in state.other_volts for name in collapsed) or shortfalls.too_bright(state):
        return False
    return not any(circuit.overloaded for circuit in mains_at_level(state))


def too_bright(state: Power) -> list[Finding]:
    """What does not hold at the level of a state, and may hold at a lower one."""
    return [*shortfalls.too_bright(state), *circuit_findings.too_bright(state)]


def named(limit: Finding) -> str:
    """What a finding says to be too much or too little, as a person calls it: `the fuse of footbridge`."""
    kind, name, *part = limit.where.split(".")
    if limit.rule == "wire":
        return {"feed": "the wire of", "run": "the lead of" if part else "the string of"}[kind] + f" {name}"
    words = {
        "overload": "supply", "low-volts": "the volts of", "collapse": "the volts of", "fuse": "the fuse of",
        "fuse-reserve": "the fuse of", "tap-fuse": "the tap fuses of", "breaker": "the breaker of",
    }  # fmt: skip
    return f"a tap fuse of {name}" if part == ["taps"] else f"{words[limit.rule]} {name}"
