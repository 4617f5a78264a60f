"""What the supplies of a show take from each socket and each circuit of the mains, by what they give as DC.

Watts are those of the supplies alone; amperes count what else hangs on a socket too. Amperes are added as numbers,
whatever their phase: so none is missed. NaN stands for what the file does not say enough for.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from math import isnan, nan
from typing import NamedTuple

from patcher.mains.usual import CONTINUOUS, EFFICIENCY, INRUSH_AMPS, LEAKAGE_MA, LEAKED, POWER_FACTOR
from patcher.power.flow import SLIGHT, Power, SupplyLoad
from patcher.show.mains_tables import Socket, rcd_names
from patcher.show.schema import Supply


class Takes(NamedTuple):
    """Watts, amperes or kilowatt-hours: every pixel dark; every pixel white at the level; and at a level of 1."""

    dark: float
    at_level: float
    full_white: float

    def times(self, factor: float) -> Takes:
        """All three multiplied."""
        return Takes(*(each * factor for each in self))

    @property
    def known(self) -> bool:
        """Whether none of them is NaN."""
        return not any(map(isnan, self))


def total(every: Iterable[Takes]) -> Takes:
    """All of them added up; nothing where there is none."""
    listed = list(every)
    return Takes(*(sum(each[at] for each in listed) for at in range(len(Takes._fields))))


def watts(load: SupplyLoad) -> Takes:
    """Watts that a supply takes from the mains: volts times amperes of its DC side, over its efficiency."""
    supply = load.supply
    # No supply gives energy back to the mains, whatever flows into it.
    given = Takes(*(max(amps, 0.0) for amps in (load.dark, load.amps, load.full_white)))
    return given.times(supply.volts / (EFFICIENCY if supply.efficiency is None else supply.efficiency))


def amps(load: SupplyLoad, volts: float) -> Takes:
    """Amperes that a supply takes from mains of some volts."""
    factor = load.supply.power_factor
    return watts(load).times(1 / (volts * (POWER_FACTOR if factor is None else factor)))


def inrush(supply: Supply) -> float:
    """Amperes that a supply takes from the mains for a moment when it is switched on."""
    return INRUSH_AMPS if supply.inrush_amps is None else supply.inrush_amps


def leakage(supply: Supply) -> float:
    """Milliamperes that leak from a supply to earth."""
    return LEAKAGE_MA if supply.leakage_ma is None else supply.leakage_ma


@dataclass(frozen=True)
class SocketLoad:
    """What hangs on one socket.

    Attributes:
        socket: the socket.
        supplies: the supplies in use that are plugged into it, in the file's order.
        volts: of the mains, as any socket of its circuit says; NaN where none does.
    """

    socket: Socket
    supplies: tuple[SupplyLoad, ...]
    volts: float

    @property
    def watts(self) -> Takes:
        """Watts of its supplies."""
        return total(map(watts, self.supplies))

    @property
    def amps(self) -> Takes:
        """Amperes of its supplies, and of what else hangs on it."""
        return total(self._parts)

    @property
    def least_amps(self) -> Takes:
        """The same, without what is not known: it takes no less."""
        return total(Takes(*(0.0 if isnan(each) else each for each in part)) for part in self._parts)

    @property
    def _parts(self) -> list[Takes]:
        other = self.socket.other_amps
        return [Takes(other, other, other), *(amps(load, self.volts) for load in self.supplies)]


@dataclass(frozen=True)
class MainsCircuit:
    """Sockets that share one breaker and stand behind one residual-current device, which others may stand behind, too.

    Attributes:
        name: its name.
        sockets: its sockets, in the file's order.
        volts: of the mains; NaN where the file does not say.
        breaker: its rating in amperes; None where the file does not say.
        rcd_ma: milliamperes that trip its residual-current device; None where the file does not say, or there is none.
        rcd: whether there is such a device; None where the file does not say.
        rcd_name: its name: that of the circuit, where no other shares it.
        rcd_leakage: milliamperes that leak to earth from all supplies behind it, on whatever circuit.
    """

    name: str
    sockets: tuple[SocketLoad, ...]
    volts: float
    breaker: float | None
    rcd_ma: float | None
    rcd: bool | None
    rcd_name: str
    rcd_leakage: float

    @property
    def supplies(self) -> tuple[SupplyLoad, ...]:
        """The supplies in use on all of its sockets."""
        return tuple(load for socket in self.sockets for load in socket.supplies)

    @property
    def watts(self) -> Takes:
        """Watts of all supplies."""
        return total(socket.watts for socket in self.sockets)

    @property
    def amps(self) -> Takes:
        """Amperes of all supplies, and of what else hangs on its sockets."""
        return total(socket.amps for socket in self.sockets)

    @property
    def least_amps(self) -> Takes:
        """The same, without what is not known: it takes no less."""
        return total(socket.least_amps for socket in self.sockets)

    @property
    def continuous(self) -> float | None:
        """Amperes that its breaker carries for hours."""
        return None if self.breaker is None else self.breaker * CONTINUOUS

    @property
    def overloaded(self) -> bool:
        """Whether more is taken at the level than its breaker carries for hours, as far as that is known."""
        return self.continuous is not None and self.least_amps.at_level > self.continuous + SLIGHT

    @property
    def inrush(self) -> float:
        """Amperes for a moment, where all supplies are switched on at once."""
        return sum(inrush(load.supply) for load in self.supplies)

    @property
    def leakage(self) -> float:
        """Milliamperes that leak from its own supplies to earth."""
        return sum(leakage(load.supply) for load in self.supplies)

    @property
    def most_leakage(self) -> float | None:
        """Milliamperes that may leak all the time behind its residual-current device."""
        return None if self.rcd_ma is None else self.rcd_ma * LEAKED

    @property
    def unknown(self) -> tuple[str, ...]:
        """The supplies whose load is not known."""
        return tuple(load.supply.name for load in self.supplies if not watts(load).known)

    @property
    def switch_on(self) -> tuple[str, ...]:
        """Its supplies in the order in which to switch them on: the biggest load first."""
        return tuple(load.supply.name for load in sorted(self.supplies, key=_biggest_first))


def _biggest_first(load: SupplyLoad) -> tuple[float, str]:
    """A key by the load at full white; where that is not known, by the rating."""
    rated, taken = load.supply.volts * load.supply.amps, watts(load).full_white
    return -(rated if isnan(taken) else taken), load.supply.name


def mains(state: Power) -> tuple[MainsCircuit, ...]:
    """Every circuit of a show, in the order in which the file first names them."""
    return _circuits(state, state.supplies) if state.show.sockets else ()


def mains_at_level(state: Power) -> tuple[MainsCircuit, ...]:
    """The same, but what is taken dark and at full white is not known (NaN): it is worked out sooner."""
    if not state.show.sockets:
        return ()
    given = zip(state.show.supplies.values(), state.given(state.level), strict=True)
    loads = (SupplyLoad(supply, nan, float(amps), nan, None) for supply, amps in given if not supply.spare)
    return _circuits(state, tuple(loads))


def _circuits(state: Power, loads: tuple[SupplyLoad, ...]) -> tuple[MainsCircuit, ...]:
    sockets = state.show.sockets.values()
    devices = rcd_names(sockets)
    return tuple(
        _circuit(
            name,
            device,
            [socket for socket in sockets if socket.circuit_name == name],
            [socket for socket in sockets if devices[socket.circuit_name] == device],
            loads,
        )
        for name, device in devices.items()
    )


def _circuit(
    name: str, device: str, sockets: list[Socket], behind: list[Socket], loads: tuple[SupplyLoad, ...]
) -> MainsCircuit:
    volts = next(_said(socket.volts for socket in sockets), nan)
    breaker = next(_said(socket.breaker for socket in sockets), None)
    trips = next(_said(socket.rcd_ma for socket in behind), None)
    has = next((socket.rcd for socket in behind if socket.rcd is not None), None)
    own = tuple(SocketLoad(socket, _plugged_in(socket, loads), volts) for socket in sockets)
    leaks = sum(leakage(load.supply) for socket in behind for load in _plugged_in(socket, loads))
    return MainsCircuit(name, own, volts, breaker, trips, True if trips is not None else has, device, leaks)


def _plugged_in(socket: Socket, loads: tuple[SupplyLoad, ...]) -> tuple[SupplyLoad, ...]:
    return tuple(load for load in loads if load.supply.socket == socket.name)


def _said(values: Iterable[float | None]) -> Iterator[float]:
    return (value for value in values if value is not None)
