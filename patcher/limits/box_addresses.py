"""Warnings about the addresses of boxes: those that no box can have, or that lie outside the network of the others.

Which network a box is in follows from a mask that the file does not hold. What is said here is for 255.255.255.0 (/24):
the first three numbers name the network, the last one the box. Common practice for home networks, no source.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from ipaddress import IPv4Address

from patcher.errors import Finding, first_few
from patcher.show.schema import Show

_MASK = "with the usual mask 255.255.255.0"
_SET = "write the one set in the box"


def findings(show: Show) -> list[Finding]:
    """Of each box that has an address, what is wrong with it: one warning a box at most."""
    boxes = {box.name: IPv4Address(box.address) for box in show.controllers.values() if box.address is not None}
    usual = _usual_network([address for address in boxes.values() if not address.is_loopback and not address.is_global])
    inside = [name for name, address in boxes.items() if _network(address) == usual]
    found = []
    for name, address in boxes.items():
        for rule, says, remedy in _wrong(address, usual, inside):
            where = f"controller.{name}.address"
            found.append(Finding("warning", rule, "address", where, f"is {address}: {says}", remedy))
    return found


def _wrong(address: IPv4Address, usual: str, inside: list[str]) -> Iterator[tuple[str, str, str]]:
    """The rule that an address breaks, why, and what to do; nothing where it breaks none.

    Args:
        address: the address of a box.
        usual: the network that most boxes are in; empty where there is none.
        inside: the boxes in it.
    """
    last = int(address) % 256
    if address.is_loopback:
        says = "whoever sends there sends to itself, so no box can have it"
        yield "loopback", says, f"{_SET}; for practice, --yard needs no other address in the file"
    elif address.is_global:
        says = "that is a public address: what is sent there leaves by your router and reaches no box of yours"
        yield "public-address", says, f"{_SET}; a network of your own has 192.168.…, 10.… or 172.16.… to 172.31.…"
    elif last in (0, 255):
        whole = {0: "the network itself", 255: "every device there at once"}[last]
        yield (
            "network-address",
            f"{_MASK} that is {whole}, not one box",
            f"{_SET}, or accept this if your mask is wider",
        )
    elif usual and _network(address) != usual:
        are = "is" if len(inside) == 1 else "are"
        says = f"{_MASK} that is another network than {usual}…, where {first_few(inside, 3)} {are}"
        yield "other-network", says, f"{_SET}, or accept this if your mask is wider or a router passes it on"


def _network(address: IPv4Address) -> str:
    """The first three numbers of an address, with the dot behind them."""
    return str(address).rpartition(".")[0] + "."


def _usual_network(addresses: Iterable[IPv4Address]) -> str:
    """The network of more than half of the boxes, of two boxes that of the first; empty where there is none."""
    networks = Counter(map(_network, addresses))
    if not networks:
        return ""
    network, number = networks.most_common(1)[0]
    return network if number * 2 > networks.total() or networks.total() == 2 else ""
