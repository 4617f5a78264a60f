"""The mains side of a show file: sockets, and the numbers that a supply gives of its mains plug."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Annotated

from pydantic import Field, model_validator

from patcher.show.tables import Amps, Flag, Name, Named, NotNegative, Positive, Volts

TripMilliamps = Annotated[Positive, Field(ge=1e-3, le=1_000_000, json_schema_extra={"unit": "mA"})]
MainsAmps = Annotated[NotNegative, Field(le=1_000_000, json_schema_extra={"unit": "A"})]
LeakMilliamps = Annotated[NotNegative, Field(le=1_000_000, json_schema_extra={"unit": "mA"})]
Part = Annotated[Positive, Field(ge=0.01, le=1)]


class Socket(Named):
    """[socket.NAME]: an outlet of the mains, with the breaker and the residual-current device (RCD, GFCI) before it."""

    volts: Volts | None = None
    """Volts of the mains there, as 230 or 120."""
    breaker: Amps | None = None
    """What the breaker before it is rated for."""
    rcd_ma: TripMilliamps | None = None
    """Current to earth at which the residual-current device before it trips."""
    rcd: Flag | None = None
    """`false`: there is no residual-current device before it. Where `rcd_ma` is given there is one."""
    rcd_name: Name | None = None
    """The residual-current device before it: circuits that name the same one share it. Without it each circuit has one
    of its own."""
    circuit: Name | None = None
    """The circuit that it hangs on: sockets of one circuit share one breaker and one residual-current device. Without
    it the socket is a circuit by itself, of its own name."""
    other_amps: MainsAmps = 0.0
    """What else hangs on it."""

    @model_validator(mode="after")
    def _one_device(self) -> Socket:
        if self.rcd is False and self.rcd_ma is not None:
            raise ValueError("has no residual-current device, and rcd_ma says when it trips → take one of them out")
        if self.rcd is False and self.rcd_name is not None:
            raise ValueError("has no residual-current device, and rcd_name names one → take one of them out")
        return self

    @property
    def circuit_name(self) -> str:
        """The circuit that it hangs on: the one that it names, else one of its own name."""
        return self.circuit or self.name


def rcd_names(sockets: Iterable[Socket]) -> dict[str, str]:
    """The name of the residual-current device of each circuit: the one that a socket of it names, else its own."""
    found: dict[str, str] = {}
    listed = tuple(sockets)
    for socket in listed:
        if socket.rcd_name is not None:
            found.setdefault(socket.circuit_name, socket.rcd_name)
    return {socket.circuit_name: found.get(socket.circuit_name, socket.circuit_name) for socket in listed}
