"""This machine's own IPv4 addresses, as its system tells them."""

from __future__ import annotations

import socket
from dataclasses import dataclass

ANYWHERE = "0.0.0.0"  # noqa: S104  (the system chooses the interface)


@dataclass(frozen=True, slots=True)
class Interface:
    """An address of this machine, and the system's name of the interface that has it."""

    address: str
    name: str

    def __str__(self) -> str:
        return f"{self.address} ({self.name})"


def interfaces() -> list[Interface]:
    """The IPv4 addresses of this machine, of those interfaces that are up, in the system's order."""
    import psutil

    states = psutil.net_if_stats()
    return [
        Interface(address.address, name)
        for name, addresses in psutil.net_if_addrs().items()
        if name in states and states[name].isup
        for address in addresses
        if address.family == socket.AF_INET
    ]
