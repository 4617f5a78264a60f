"""Compares the packets of a show with what Ethernet and Wi-Fi carry.

Counted is what the program sends: for each frame one packet of 512 slots for each universe that a box has pixels in, to
each box by its own address, or once to the universe's group, which reaches all. Levels that change every frame need no
other packet to keep a stream alive. Synchronization packets, Art-Net's and E1.31's, are left out.

A packet is counted with all that it costs on the wire, from the preamble to the gap behind it; so over Wi-Fi, which
has other costs in their place, the count is near, not exact.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import floor

from patcher.errors import Finding, first_few
from patcher.limits.refresh import rate_to_set
from patcher.patch.patch import Patch
from patcher.show.schema import Controller, Show
from patcher.trade import CHANNELS, HIGHEST_RATE, PROTOCOL_NAMES, Protocol
from patcher.units import apart
from patcher.wire import artnet, e131
from patcher.wiring import Wiring

LINK_MBPS = 100
"""Megabits a second of Fast Ethernet. Source: IEEE 802.3."""

_UDP, _IPV4, _HEADER, _CHECK = 8, 20, 14, 4
_PREAMBLE, _GAP = 8, 12
_SHORTEST_FRAME = 64
"""Octets from header to check; shorter frames are padded. Source: IEEE 802.3."""
_PAYLOAD: dict[Protocol, int] = {"e131": e131.SLOTS_AT + CHANNELS, "artnet": artnet.SLOTS_AT + CHANNELS}
"""Octets of a packet with all its slots. Source: ANSI E1.31-2018, clauses 5 to 7; Art-Net 4, ArtDmx."""


@dataclass(frozen=True, slots=True)
class Traffic:
    """What is sent at the show's frame rate.

    Attributes:
        boxes: what each box gets that has pixels.
        in_all: what the sender sends.
    """

    boxes: Mapping[str, StreamLoad]
    in_all: StreamLoad


@dataclass(frozen=True, slots=True)
class StreamLoad:
    """Packets on one link.

    Attributes:
        universes: packets a frame.
        packets: packets a second.
        mbps: megabits a second that they take on Ethernet.
    """

    universes: int
    packets: float
    mbps: float


def wire_octets(payload: int) -> int:
    """Octets that one UDP packet takes on Ethernet, from the preamble to the gap behind it.

    Args:
        payload: octets in the UDP packet, up to 1472.

    Source: IEEE 802.3; RFC 791 (IPv4); RFC 768 (UDP).
    """
    frame = _HEADER + _IPV4 + _UDP + payload + _CHECK
    return _PREAMBLE + max(frame, _SHORTEST_FRAME) + _GAP


def mbps_of(protocol: Protocol, frame_rate: float) -> float:
    """Megabits a second of one universe."""
    return wire_octets(_PAYLOAD[protocol]) * 8 * frame_rate / 1e6


def most_universes(protocol: Protocol, frame_rate: float, mbps: float = LINK_MBPS) -> int:
    """How many universes fit on a link."""
    return floor(mbps / mbps_of(protocol, frame_rate))


def traffic(show: Show, patch: Patch) -> Traffic:
    """What is sent at the show's frame rate under a patch."""
    boxes: dict[str, StreamLoad] = {}
    groups: set[int] = set()
    sent: dict[Protocol, int] = {"e131": 0, "artnet": 0}
    for box, numbers in patch.box_universes.items():
        controller = show.controllers[box]
        boxes[box] = _stream({controller.protocol: len(numbers)}, show.settings.frame_rate)
        if controller.delivery == "multicast":
            groups.update(numbers)
        else:
            sent[controller.protocol] += len(numbers)
    sent["e131"] += len(groups)
    return Traffic(boxes, _stream(sent, show.settings.frame_rate))


def _stream(universes: Mapping[Protocol, int], rate: float) -> StreamLoad:
    count = sum(universes.values())
    return StreamLoad(
        count, count * rate, sum(number * mbps_of(protocol, rate) for protocol, number in universes.items())
    )


def findings(wiring: Wiring, patch: Patch | None) -> list[Finding]:
    """Warnings about links that are too full and rates that are too high.

    Args:
        wiring: the wiring.
        patch: its patch; without one nothing is said of how full links are.
    """
    show = wiring.show
    used = [show.controllers[box] for box in dict.fromkeys(box for box, _ in wiring.chains)]
    found = [*_rate(show, used), *_wifi_multicast(used)]
    if patch is not None:
        sent = traffic(show, patch)
        found += [*_links(show, sent), *_air(show, sent)]
    return found


def _warning(rule: str, where: str, says: str, remedy: str) -> Finding:
    return Finding("warning", rule, "network", where, says, remedy)


def _rate(show: Show, used: list[Controller]) -> Iterator[Finding]:
    boxes = [controller.name for controller in used if controller.protocol == "e131"]
    rate = show.settings.frame_rate
    if rate > HIGHEST_RATE and boxes:
        most = f"E1.31 goes up to {HIGHEST_RATE} frames a second"
        says = f"is {rate:g}, and {most} unless a box says otherwise ({first_few(boxes, 4)})"
        remedy = f"lower it to {HIGHEST_RATE}, or accept this where each box is made for more"
        yield _warning("e131-rate", "show.frame_rate", says, remedy)


def _wifi_multicast(used: list[Controller]) -> Iterator[Finding]:
    # From memory: IEEE 802.11 acknowledges no frame to a group, and access points send those at a low rate.
    for controller in used:
        if controller.wifi_mbps is not None and controller.delivery == "multicast":
            says = "is multicast over Wi-Fi, which sends such frames slowly and does not repeat those that are lost"
            remedy = 'write delivery = "unicast" and its address, in the box too'
            yield _warning("wifi-multicast", f"controller.{controller.name}.delivery", says, remedy)


def _links(show: Show, sent: Traffic) -> Iterator[Finding]:
    rate = show.settings.frame_rate
    for box, stream in sent.boxes.items():
        controller = show.controllers[box]
        if stream.mbps > LINK_MBPS and controller.wifi_mbps is None:
            fits = _fits([controller.protocol], rate)
            says = f"gets {_amount(stream)}, and a link of {LINK_MBPS} Mb/s carries {fits}"
            remedy = f"lower frame_rate to {_rate_that_fits(stream, rate)}, or move runs to another box"
            yield _warning("link-load", f"controller.{box}", says, remedy)
    if sent.in_all.mbps > LINK_MBPS:
        protocols = sorted({show.controllers[box].protocol for box in sent.boxes}, reverse=True)
        fits = _fits(protocols, rate)
        says = f"the sender sends {_amount(sent.in_all)}, and a link of {LINK_MBPS} Mb/s carries {fits}"
        lower = _rate_that_fits(sent.in_all, rate)
        remedy = (
            f"give the sender, and the switch it is plugged into, a link of 1000 Mb/s, or lower frame_rate to {lower}"
        )
        yield _warning("link-load", "show.frame_rate", says, remedy)


def _air(show: Show, sent: Traffic) -> Iterator[Finding]:
    parts = {
        box: stream.mbps / carried
        for box, stream in sent.boxes.items()
        if (carried := show.controllers[box].wifi_mbps) is not None
    }
    total = sum(parts.values())
    alone = [box for box, part in parts.items() if part > 1]
    for box in alone:
        measured = f"the {show.controllers[box].wifi_mbps:g} Mb/s that its Wi-Fi was measured to carry"
        says = f"gets {_amount(sent.boxes[box])}, {apart(parts[box], 1.0, decimals=2)[0]} times {measured}"
        if len(parts) > 1:
            says += f"; all {len(parts)} boxes on Wi-Fi together want {total:.2f} times the air time there is"
        yield _warning("wifi-load", f"controller.{box}.wifi_mbps", says, _off_the_air(show, "it", parts[box]))
    if total > 1 and not alone:
        each = [f"{box} {part * 100:.0f} %" for box, part in parts.items()]
        times, _ = apart(total, 1.0, decimals=2)
        says = f"boxes on Wi-Fi share the air and want {times} times the time there is: {first_few(each, 12)}"
        yield _warning("wifi-load", "show.frame_rate", says, _off_the_air(show, "one of them", total))


def _off_the_air(show: Show, what: str, part: float) -> str:
    return f"reach {what} by cable, or lower frame_rate to {rate_to_set(show.settings.frame_rate / part)}"


def _amount(stream: StreamLoad) -> str:
    universes = "1 universe" if stream.universes == 1 else f"{stream.universes} universes"
    return f"{universes}, {stream.packets:.0f} packets a second, {stream.mbps:.1f} Mb/s"


def _fits(protocols: Sequence[Protocol], rate: float) -> str:
    each = [f"{most_universes(protocol, rate)} of {PROTOCOL_NAMES[protocol]}" for protocol in protocols]
    return f"{' or '.join(each)} at {rate:g} frames a second"


def _rate_that_fits(stream: StreamLoad, rate: float) -> str:
    return rate_to_set(rate * LINK_MBPS / stream.mbps)
