"""Asking boxes whether they are on: ArtPoll, ICMP echo, the ARP cache.

A box is asked at its own address and nowhere else. What this system does not allow is left out, and said: `ways` tells
what could be done.
"""

from __future__ import annotations

import contextlib
import shutil
import socket
import struct
import subprocess
from collections.abc import Collection
from pathlib import Path
from typing import Literal

from patcher.listener.receiver import Datagram, Ear
from patcher.stream.interfaces import ANYWHERE
from patcher.trade import UDP_PORTS
from patcher.wire import artnet

Way = Literal["ARP", "echo", "ArtPoll"]
_SURER = ("ARP", "echo", "ArtPoll")
"""What tells more comes later. The ARP cache keeps a neighbour for minutes after it has gone."""

_ECHO, _ECHO_REPLY = 8, 0
_DISCARD = 9
_COMPLETE = 0x2
_MOST_PINGS = 64
ARP_CACHE = Path("/proc/net/arp")


def echo_request(number: int) -> bytes:
    """An ICMP echo request (RFC 792): type 8, code 0, checksum, identifier (the system's), sequence number."""
    body = struct.pack("!HH8s", 0, number & 0xFFFF, b"Patcher\0")
    total = (_ECHO << 8) + sum(struct.unpack(f"!{len(body) // 2}H", body))
    folded = (total & 0xFFFF) + (total >> 16)
    return struct.pack("!BBH", _ECHO, 0, ~(folded + (folded >> 16)) & 0xFFFF) + body


def arp_neighbours(table: str) -> set[str]:
    """The addresses that answered ARP, from the text of /proc/net/arp: those whose flags say complete (arp(7))."""
    found = set()
    for line in table.splitlines()[1:]:
        fields = line.split()
        with contextlib.suppress(ValueError, IndexError):
            if int(fields[2], 16) & _COMPLETE:
                found.add(fields[0])
    return found


class Prober(contextlib.AbstractContextManager["Prober"]):
    """Asks boxes whether they are on; use it in a `with` block.

    Attributes:
        answered: how each address that answered did so.
        unreachable: addresses that could not be sent to, with the system's reason.
        ways: by what it can ask here, for people: "ArtPoll", "ICMP echo", "the ping program", "the ARP cache".
    """

    def __init__(
        self, art_net: Collection[str], others: Collection[str], interface: str | None = None, *, echo: bool = True
    ) -> None:
        """Ready to ask.

        Args:
            art_net: addresses of Art-Net boxes, asked by ArtPoll as well.
            others: addresses of E1.31 boxes.
            interface: the address of this machine to ask from.
            echo: whether to ask by more than ArtPoll; an address of this machine answers an echo whoever listens there.
        """
        self.answered: dict[str, Way] = {}
        self.unreachable: dict[str, str] = {}
        self._art_net = tuple(dict.fromkeys(art_net))
        self._every = tuple(dict.fromkeys([*art_net, *others])) if echo else ()
        self._number = 0
        self._pings: dict[str, subprocess.Popen[bytes]] = {}
        self._own: list[socket.socket] = []
        self._poll = self._opened(socket.IPPROTO_UDP, interface)
        self._icmp = self._opened(socket.IPPROTO_ICMP, interface) if self._every else None
        self._ping = None if self._icmp else shutil.which("ping")
        self.ways = ["ArtPoll"] if self._art_net else []
        self.ways += [
            *(["ICMP echo"] if self._icmp else []), *(["the ping program"] if self._ping else []),
            *(["the ARP cache"] if ARP_CACHE.exists() else []),
        ]  # fmt: skip

    def _opened(self, protocol: int, interface: str | None) -> socket.socket | None:
        try:
            opened = socket.socket(socket.AF_INET, socket.SOCK_DGRAM, protocol)
        except OSError:
            return None
        self._own.append(opened)
        opened.setblocking(False)
        if interface is not None:
            with contextlib.suppress(OSError):
                opened.bind((interface, 0))
        return opened

    def ask(self) -> None:
        """Ask every box that has not answered for itself yet, once."""
        self._number += 1
        for host in self._art_net:
            if self.answered.get(host) != "ArtPoll":
                self._out(self._poll, bytes(artnet.poll_packet()), host, UDP_PORTS["artnet"])
        for host in self._every:
            if self.answered.get(host, "ARP") != "ARP":
                continue
            if self._icmp:
                self._out(self._icmp, echo_request(self._number), host, 0)
            elif self._ping and host not in self._pings and len(self._pings) < _MOST_PINGS:
                call = [self._ping, "-n", "-c", "1", host]
                self._pings[host] = subprocess.Popen(call, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)  # noqa: S603
            else:
                # The system asks ARP only when there is something to send; an empty datagram to the discard port
                # (RFC 863) is the least.
                self._out(self._poll, b"", host, _DISCARD)

    def _out(self, way: socket.socket | None, octets: bytes, host: str, port: int) -> None:
        try:
            if way is not None:
                way.sendto(octets, (host, port))
        except OSError as error:
            self.unreachable.setdefault(host, error.strerror or str(error))

    def poll(self) -> list[Datagram]:
        """See who has answered; the Art-Net packets among the answers are returned, for a `Listening`."""
        found = []
        for octets, host, port in _read(self._poll):
            found.append(Datagram(octets, Ear(ANYWHERE, UDP_PORTS["artnet"]), f"{host}:{port}"))
            self.took(octets, host)
        for octets, host, _ in _read(self._icmp):
            if octets[:1] == bytes([_ECHO_REPLY]) and host in self._every:
                self._answer(host, "echo")
        for host, ping in list(self._pings.items()):
            if ping.poll() is not None:
                del self._pings[host]
                if ping.returncode == 0:
                    self._answer(host, "echo")
        with contextlib.suppress(OSError):
            for host in arp_neighbours(ARP_CACHE.read_text(encoding="ascii")) & set(self._every):
                self._answer(host, "ARP")
        return found

    def took(self, octets: bytes, host: str) -> None:
        """An Art-Net packet came from a host, here or at the protocol's own port; an ArtPollReply is an answer."""
        if host in self._art_net and isinstance(artnet.decode(octets), artnet.PollReply):
            self._answer(host, "ArtPoll")

    def _answer(self, host: str, way: Way) -> None:
        self.answered[host] = max(way, self.answered.get(host, way), key=_SURER.index)

    def __exit__(self, *_: object) -> None:
        for ping in self._pings.values():
            ping.kill()
            ping.wait()
        self._pings.clear()
        for own in self._own:
            own.close()


def _read(source: socket.socket | None) -> list[tuple[bytes, str, int]]:
    found: list[tuple[bytes, str, int]] = []
    for _ in range(1000 if source is not None else 0):
        assert source is not None  # noqa: S101  (else there is no turn)
        try:
            octets, (host, port) = source.recvfrom(2048)
        except BlockingIOError:
            break
        except OSError:
            continue  # an ICMP error to what was sent before; the next call has the next datagram
        found.append((octets, host, port))
    return found
