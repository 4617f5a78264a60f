"""Findings about the mains side: breakers, residual-current devices, switching on, and what the file does not say.

It plans nothing there: it counts and warns. Local code and a licensed electrician come first.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from patcher.errors import Finding, Severity, first_few
from patcher.mains.circuits import MainsCircuit, mains
from patcher.mains.usual import AT_ONCE, CONTINUOUS, CONTINUOUS_HOURS, LOCAL
from patcher.power.flow import SLIGHT, Power, power
from patcher.units import apart
from patcher.wiring import Wiring


def findings(wiring: Wiring, state: Power | None = None) -> list[Finding]:
    """Everything to be said of the sockets of a sound wiring; nothing where it has none.

    Args:
        wiring: the wiring.
        state: its power, where it is solved already.
    """
    if not wiring.show.sockets:
        return []
    state = state or power(wiring)
    circuits = mains(state)
    behind: dict[str, list[MainsCircuit]] = {}
    for circuit in circuits:
        behind.setdefault(circuit.rcd_name, []).append(circuit)
    found = [finding for circuit in circuits for finding in _of_circuit(circuit, state.level)]
    return found + [finding for device in behind.values() for finding in _leaks(device)]


def too_bright(state: Power) -> list[Finding]:
    """The breakers that do not carry for hours what is taken at the level of a state."""
    return [
        finding for circuit in mains(state) for finding in _breaker(circuit, state.level) if finding.rule == "breaker"
    ]


def _of_circuit(circuit: MainsCircuit, level: float) -> Iterator[Finding]:
    yield from _empty(circuit)
    yield from _breaker(circuit, level)
    if not circuit.supplies:
        return
    yield from _unsaid(circuit)
    if circuit.rcd is False:
        says = "has no residual-current device: where water and mains meet, that can kill"
        yield _finding("warning", "no-rcd", (circuit,), says, "have one fitted before the season, and test it")
    yield from _switched_on(circuit)


def _finding(severity: Severity, rule: str, circuits: Sequence[MainsCircuit], says: str, remedy: str) -> Finding:
    """A finding about a circuit, or about all behind one residual-current device, at the first of their sockets by
    name: so it stays where tables change places.
    """
    names = sorted(load.socket.name for circuit in circuits for load in circuit.sockets)
    of = f"circuit {circuits[0].name}" if len(circuits) == 1 else f"device {circuits[0].rcd_name}"
    besides = "" if names == [circuits[0].name] else f" ({of}: {first_few(names, 3)})"
    return Finding(severity, rule, "power", f"socket.{names[0]}", f"{says}{besides}", f"{remedy}; {LOCAL}")


def _empty(circuit: MainsCircuit) -> Iterator[Finding]:
    for load in circuit.sockets:
        if not load.supplies:
            says, name = "no supply in use is plugged into it", load.socket.name
            remedy = f'write socket = "{name}" in the table of each supply that is, or take it out'
            yield Finding("note", "socket-empty", "power", f"socket.{name}", says, remedy)


def _breaker(circuit: MainsCircuit, level: float) -> Iterator[Finding]:
    """More amperes than the breaker carries: at the level, for hours, or only at full white.

    What is not known is left out: what is known may be too much already.
    """
    breaker, hours, taken = circuit.breaker, circuit.continuous, circuit.least_amps
    least = "" if circuit.amps.known else "at least "
    if breaker is None or hours is None:
        return
    over = taken.at_level > breaker + SLIGHT
    relief = "move a supply to another circuit, take other loads off, or run the show at a lower level"
    if circuit.overloaded:
        takes, rated, carries = apart(taken.at_level, breaker, hours, decimals=2)
        says = f"{least}{takes} A are taken at level {level:g}, and the breaker is rated {rated} A"
        if not over:
            says += f": for {CONTINUOUS_HOURS} hours and more it carries {CONTINUOUS * 100:g} % of that, {carries} A"
        yield _finding("error" if over else "warning", "breaker", (circuit,), says, relief)
    if taken.full_white > breaker + SLIGHT and not over:
        takes, rated = apart(taken.full_white, breaker, decimals=2)
        says = f"{least}{takes} A would be taken at full white, and the breaker is rated {rated} A"
        yield _finding("note", "breaker-full-white", (circuit,), says, "send no full white, or move a supply")


def _unsaid(circuit: MainsCircuit) -> Iterator[Finding]:
    """What is missing for the sums."""
    said = {"volts": circuit.volts == circuit.volts, "breaker": circuit.breaker is not None}
    if left := [key for key, given in said.items() if not given]:
        says = f"has no {' and no '.join(left)}, so its amperes are not held against the breaker"
        yield _finding("note", "mains-not-said", (circuit,), says, f"write {' and '.join(left)}")
    if circuit.rcd_ma is None and circuit.rcd is not False:
        says = "does not say at which current its residual-current device trips, nor whether there is one"
        remedy = "write rcd_ma, as 30 (6 in some places), or rcd = false; outdoors there must be one"
        if circuit.rcd:
            says, remedy = "does not say at which current its residual-current device trips", "write rcd_ma, as on it"
        yield _finding("note", "mains-not-said", (circuit,), says, remedy)
    if circuit.unknown:
        says = f"what {first_few(circuit.unknown, 3)} gives is not known, so the sum is not known"
        yield _finding("note", "mains-unknown", (circuit,), says, "patcher power SHOW says what is missing")


def _leaks(behind: Sequence[MainsCircuit]) -> Iterator[Finding]:
    """More than may leak all the time behind one residual-current device, on all of its circuits."""
    device = behind[0]
    if device.rcd_ma is None or device.most_leakage is None:
        return
    if device.rcd_leakage > device.most_leakage + SLIGHT:
        leaks, trips, most = apart(device.rcd_leakage, device.rcd_ma, device.most_leakage)
        of = "its supplies" if len(behind) == 1 else f"the supplies of {len(behind)} circuits"
        says = f"{leaks} mA leak from {of}, more than a third ({most} mA) of what trips its device ({trips} mA)"
        remedy = "spread the supplies over several residual-current devices, and never leave one out"
        yield _finding("warning", "rcd-leakage", behind, says, remedy)


def _switched_on(circuit: MainsCircuit) -> Iterator[Finding]:
    if circuit.breaker is None or not circuit.inrush > circuit.breaker * AT_ONCE + SLIGHT:
        return
    takes, most = apart(circuit.inrush, circuit.breaker * AT_ONCE)
    says = (
        f"{takes} A are taken for a moment where all its supplies are switched on at once: more than {AT_ONCE:g} times "
    )
    says += f"the breaker’s rating ({most} A), so it may open"
    names = circuit.switch_on
    remedy = f"switch them on one after the other, as {first_few(names, 4)}"
    if len(names) == 1:
        remedy = "ask for a breaker of a slower type, or a supply with less inrush"
    yield _finding("note", "inrush", (circuit,), says, remedy)
