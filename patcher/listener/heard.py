"""What was heard up to a time, as values: streams, synchronization, announced universes and nodes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from patcher.trade import Protocol

State = Literal["live", "terminated", "gone"]


@dataclass(frozen=True, slots=True)
class Stream:
    """One universe from one source, as a person sees it.

    Attributes:
        protocol: how it comes.
        universe: its number; of Art-Net, the Port-Address.
        source_name: E1.31's Source Name, without what cannot be printed; of Art-Net, the short name of the node that
            answered ArtPoll from there, or nothing.
        cid: E1.31's CID as a UUID; of Art-Net, which has none, nothing.
        address: the IPv4 address it comes from.
        port: the UDP port it comes from.
        priority: 0 to 200; None in Art-Net, which has none.
        synchronization_address: the universe whose synchronization packets it waits for; 0: none.
        sequence_number: of the newest packet taken.
        preview_data, force_synchronization: E1.31's options of that packet.
        state: whether it lives.
        rate: packets a second over the last two seconds, or since it began.
        packets: how many came.
        lost: sequence numbers that were jumped over and did not come.
        out_of_order: packets that came too late, which boxes drop.
        repeated: packets that came twice.
        restarts: how often its sequence began anew.
        began: when this life of it began, seconds.
        heard: when the newest packet came that a box would take, seconds.
        slots: the newest levels.
    """

    protocol: Protocol
    universe: int
    source_name: str
    cid: str
    address: str
    port: int
    priority: int | None
    synchronization_address: int
    sequence_number: int
    preview_data: bool
    force_synchronization: bool
    state: State
    rate: float
    packets: int
    lost: int
    out_of_order: int
    repeated: int
    restarts: int
    began: float
    heard: float
    slots: bytes

    @property
    def live(self) -> bool:
        """Whether boxes would show it now: it lives, and is no preview."""
        return self.state == "live" and not self.preview_data

    @property
    def who(self) -> str:
        """The source in words: its name and its address; of an Art-Net sender without a name, the address alone."""
        if self.protocol == "artnet" and not self.source_name:
            return self.address
        return f"{self.source_name or 'a source without a name'} ({self.address})"


@dataclass(frozen=True, slots=True)
class Synchronization:
    """Synchronization packets from one source: of one synchronization address (E1.31), or of all (Art-Net: 0)."""

    protocol: Protocol
    synchronization_address: int
    cid: str
    address: str
    rate: float
    packets: int
    live: bool


@dataclass(frozen=True, slots=True)
class Announced:
    """What a source says that it sends (E1.31 universe discovery), whether or not it was heard here."""

    source_name: str
    cid: str
    address: str
    universes: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Node:
    """An Art-Net node that answered ArtPoll: where from, under which names and Port-Addresses."""

    address: str
    short_name: str
    long_name: str
    port_addresses: tuple[int, ...]
    mac: str


@dataclass(frozen=True, slots=True)
class Heard:
    """All that was heard up to a time.

    Attributes:
        streams: by universe, protocol and source.
        synchronizations, announced, nodes: as their classes say.
        malformed: packets that cannot be read.
        reasons: the first few different things that were wrong with them.
        left_aside: packets for which there was no room.
    """

    streams: tuple[Stream, ...]
    synchronizations: tuple[Synchronization, ...]
    announced: tuple[Announced, ...]
    nodes: tuple[Node, ...]
    malformed: int
    reasons: tuple[str, ...]
    left_aside: int
