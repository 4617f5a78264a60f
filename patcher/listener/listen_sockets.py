"""Listening to everyone's streams: on which addresses and groups, and for a moment before sending.

Of E1.31 a group is joined for each universe, and what goes by unicast to an address of this machine is heard there; not
at all addresses at once, for such a socket would hear the groups a second time. Of Art-Net all addresses are listened
to at once where they are free, since older senders and ArtSync broadcast. A port that another program holds is left
out, and said: it would be wrong to take its packets from it, and worse not to listen at all.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Collection, Iterable, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass
from pathlib import Path

from patcher.errors import PatcherError, few
from patcher.listener.contention import by_universe
from patcher.listener.receiver import Datagram, Ear, Receiver
from patcher.listener.streams import Heard, Listening, Stream
from patcher.stream.interfaces import ANYWHERE, interfaces
from patcher.stream.sender import Target
from patcher.trade import UDP_PORTS, Protocol
from patcher.wire import e131

EVERYONE = "255.255.255.255"
MOST_GROUPS = 2000
"""Groups joined at once: each is a socket of its own."""
MOST_NAMED = 6
TOO_MANY = "too many open files"
TOO_MANY_GROUPS = f"more than the {MOST_GROUPS} groups that are joined at once"
SPARE_FILES = 16
"""Files that the program may open besides."""


def own_addresses() -> list[str]:
    """The IPv4 addresses of this machine, 127.0.0.1 first."""
    return list(dict.fromkeys(["127.0.0.1", *(interface.address for interface in interfaces())]))


def groups(universes: Iterable[int], interface: str | None) -> list[Ear]:
    """The multicast groups of some E1.31 universes."""
    return [Ear(e131.multicast_group(universe), UDP_PORTS["e131"], interface or ANYWHERE) for universe in universes]


def addresses(interface: str | None) -> list[list[Ear]]:
    """Where unicast and broadcast come in; of each list the first that can be listened on is enough."""
    hosts = [interface] if interface else own_addresses()
    art_net = UDP_PORTS["artnet"]
    own = [[Ear(host, UDP_PORTS["e131"])] for host in hosts]
    everyone = [[Ear(EVERYONE, port)] for port in UDP_PORTS.values()]
    if interface:
        return [*own, [Ear(interface, art_net)], *everyone]
    return [*own, everyone[0], [Ear(ANYWHERE, art_net), *(Ear(host, art_net) for host in hosts)]]


def _room(sockets: int) -> int:
    """How many of so many sockets may be opened; the system's limit is raised as far as it allows."""
    if sys.platform == "win32":
        return sockets
    try:
        import resource

        soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
        taken = sum(1 for _ in Path("/dev/fd").iterdir()) + SPARE_FILES
        if soft < taken + sockets and soft < hard:
            soft = min(hard, taken + sockets)
            resource.setrlimit(resource.RLIMIT_NOFILE, (soft, hard))
        return max(0, min(sockets, soft - taken))
    except (ImportError, OSError, ValueError):
        return sockets


@dataclass(frozen=True, slots=True)
class Burden:
    """How far this machine falls behind what comes.

    Attributes:
        dropped: datagrams that its system had no more room for.
        waiting: octets, as the system counts them, that have come and are still to be read.
    """

    dropped: int = 0
    waiting: int = 0


class Hearing(AbstractContextManager["Hearing"]):
    """Receivers that may grow in number; use it in a `with` block.

    Attributes:
        deaf: where could not be listened, as address:port, with the reason.
    """

    def __init__(self) -> None:
        """Hear nothing yet."""
        self.deaf: dict[str, str] = {}
        self.ears: set[Ear] = set()
        self._receivers: list[Receiver] = []

    def __exit__(self, *_: object) -> None:
        for receiver in self._receivers:
            receiver.close()

    def add(self, ears: Sequence[Ear]) -> None:
        """Listen there too, wherever it can be done; what cannot be is in `deaf`."""
        wanted = [ear for ear in ears if ear not in self.ears]
        room = _room(len(wanted))
        self._open(wanted[:room])
        self.deaf.update((_named(ear), TOO_MANY) for ear in wanted[room:])

    def leave_out(self, ears: Iterable[Ear]) -> None:
        """Note that there is no room to listen there."""
        self.deaf.update((_named(ear), TOO_MANY_GROUPS) for ear in ears)

    def listen_on(self, universes: Iterable[int], interface: str | None) -> None:
        """Listen to what comes to this machine by unicast and broadcast, and to the groups of some universes."""
        for choice in addresses(interface):
            self.add_any(choice)
        self.add(groups(universes, interface))

    def _open(self, ears: Sequence[Ear]) -> None:
        """One receiver for all of them; where that cannot be, one for each half, and so on."""
        if not ears:
            return
        reason = self._why_not(ears)
        if reason is None:
            self.ears.update(ears)
        elif len(ears) == 1:
            self.deaf[_named(ears[0])] = reason
        else:
            self._open(ears[: len(ears) // 2])
            self._open(ears[len(ears) // 2 :])

    def _why_not(self, ears: Sequence[Ear]) -> str | None:
        try:
            self._receivers.append(Receiver(ears))
        except PatcherError as error:
            return error.findings[0].says.removeprefix("cannot be listened on: ")
        except OSError as error:
            return error.strerror or str(error)
        return None

    def add_any(self, ears: Sequence[Ear]) -> None:
        """Listen at the first of these; where that cannot be, at all the others that can."""
        self.add(ears[:1])
        if ears[0] not in self.ears and ears[1:]:
            self.add(ears[1:])
            if self.ears.intersection(ears[1:]):
                self.deaf.pop(_named(ears[0]), None)

    def burden(self) -> Burden:
        """How far this machine falls behind; nothing, where the system does not tell."""
        try:
            own = {file.stat().st_ino for file in Path("/proc/self/fd").iterdir() if file.is_socket()}
            return burden(Path("/proc/net/udp").read_text(encoding="ascii"), own)
        except OSError:
            return Burden()

    def poll(self, seconds: float) -> list[Datagram]:
        """Everything that has arrived, after waiting at most about so many seconds."""
        if not self._receivers:
            time.sleep(seconds)
        found: list[Datagram] = []
        for receiver in self._receivers:
            found += receiver.poll(0 if found else seconds / len(self._receivers))
        return found


def burden(table: str, inodes: Collection[int]) -> Burden:
    """What some sockets have dropped and hold, from the text of Linux's /proc/net/udp (proc_net_udp)."""
    rows = [line.split() for line in table.splitlines()[1:]]
    own = [row for row in rows if len(row) >= 13 and int(row[9]) in inodes]
    return Burden(sum(int(row[-1]) for row in own), sum(int(row[4].partition(":")[2], 16) for row in own))


def _named(ear: Ear) -> str:
    return f"{ear.host}:{ear.port}"


def protocol_of(ear: Ear) -> Protocol:
    """The protocol of the port at which an ear listens."""
    return "e131" if ear.port == UDP_PORTS["e131"] else "artnet"


@dataclass(frozen=True, slots=True)
class Other:
    """A source that is already there, on universes that are about to be sent.

    Attributes:
        who: its name and address.
        protocol: how it sends.
        priority: its E1.31 priority; None in Art-Net.
        universes: which of the universes, rising.
    """

    who: str
    protocol: Protocol
    priority: int | None
    universes: tuple[int, ...]

    def says(self, priority: int) -> str:
        """In words: who sends already, and who will win against a sender of that priority."""
        named = few([str(universe) for universe in self.universes], MOST_NAMED)
        where = f"universe{'s' if len(self.universes) > 1 else ''} {named}"
        if self.priority is None:
            return f"{self.who} already sends {where} by Art-Net, which has no priorities: boxes will mix or flicker."
        there = f"{self.who} already sends {where} with priority {self.priority}"
        if self.priority > priority:
            return f"{there}: it wins over your {priority}, and your frames will not be seen."
        if self.priority < priority:
            return f"{there}: your {priority} wins while you send."
        return f"{there}, equal to yours: boxes will mix or flicker. End it, or send with another priority."


def others_on(
    goals: Collection[Target], seconds: float = 1.0, interface: str | None = None,
    stopped: Callable[[], bool] = lambda: False,
) -> list[Other]:  # fmt: skip
    """Listen for a moment, before sending, for other sources on the same universes. Never fails.

    What goes by unicast from another machine to a box cannot be heard here. A source whose levels do not change may
    be silent for a second, so that a shorter time can miss it.

    Args:
        goals: what is about to be sent, and where.
        seconds: how long to listen.
        interface: the address of this machine that will be sent from.
        stopped: whether to leave off early.
    """
    wanted = {(goal.protocol, goal.universe) for goal in goals}
    universes = sorted({universe for protocol, universe in wanted if protocol == "e131"})
    listening = Listening()
    with Hearing() as hearing:
        hearing.listen_on(universes[:MOST_GROUPS], interface)
        end = time.monotonic() + seconds
        while (left := end - time.monotonic()) > 0 and not stopped():
            for datagram in hearing.poll(min(left, 0.05)):
                listening.receive(datagram.octets, protocol_of(datagram.ear), datagram.sender, time.monotonic())
        heard = listening.heard(time.monotonic())
    return others(heard, wanted)


def others(heard: Heard, wanted: Collection[tuple[Protocol, int]]) -> list[Other]:
    """The live sources among what was heard that are on wanted universes, highest priority first."""
    found: dict[tuple[str, Protocol, int | None], list[int]] = {}
    for universe, streams in by_universe(heard.streams).items():
        for stream in streams:
            if stream.live and (stream.protocol, universe) in wanted:
                found.setdefault(_source(stream), []).append(universe)
    every = [Other(who, protocol, priority, tuple(dict.fromkeys(u))) for (who, protocol, priority), u in found.items()]
    return sorted(every, key=lambda other: (-(other.priority or 0), other.who))


def _source(stream: Stream) -> tuple[str, Protocol, int | None]:
    return stream.who, stream.protocol, stream.priority
