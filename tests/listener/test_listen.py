"""Listening: counts against a network of the test's own, conflicts against slow definitions, and real senders."""

import json
import random
import re
import signal
import socket
import struct
import subprocess
import sys
import threading
import uuid
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
import tomli_w
from hypothesis import example, given
from hypothesis import strategies as st

from patcher.frames.levels import Levels
from patcher.listener import contention, presence
from patcher.listener.heard import Heard, Node, Stream
from patcher.listener.listen_session import ListenedShow, Outcome, listen
from patcher.listener.listen_sockets import Burden, Hearing, burden, others, others_on
from patcher.listener.lit_pixels import expected, lit
from patcher.listener.packet_counts import Order, Rate
from patcher.listener.probe import arp_neighbours, echo_request
from patcher.listener.receiver import Ear, Receiver
from patcher.listener.streams import Listening
from patcher.reports.listen_report import document
from patcher.stream.sender import Sender, Target
from rig.examples import examples, later
from rig.judges import judge
from rig.namespaces import hosts, inside, ip, setting
from rig.packets import ALICE, BOB, MAC, ROOM, art_poll_reply, artnet, discovery, e131, e131_sync, full
from rig.shipped import Patcher, laid


def streams_of(listening: Listening, now: float) -> tuple[Stream, ...]:
    return listening.heard(now).streams


def arrived(now: float, *arrivals: tuple) -> Heard:
    """What is heard up to a time of packets, each with its time and, where that matters, its sender."""
    listening = Listening()
    for octets, at, *sender in arrivals:
        listening.receive(bytes(octets), "artnet" if octets[:3] == b"Art" else "e131", (sender or [ROOM])[0], at)
    return listening.heard(now)


# --- sequences ----------------------------------------------------------------------------------------------------


@st.composite
def journeys(draw) -> list[int]:
    """Numbers of packets in the order in which they arrive: some lost, twice, or up to 19 late."""
    sent = draw(st.integers(1, 700))
    dice = random.Random(draw(st.integers(0, 2**32)))
    loses, delays, doubles = (draw(st.sampled_from((0.0, 0.05, 0.4))) for _ in range(3))
    arrivals: list[tuple[float, int]] = []
    for number in range(sent):
        if dice.random() < loses:
            continue
        delay = dice.randrange(20) if dice.random() < delays else 0
        arrivals.append((number + delay + 0.5 * (delay > 0), number))
        if dice.random() < doubles:
            arrivals.append((number + delay + 0.6, number))
    return [number for _, number in sorted(arrivals)]


@examples(33, 100)
@given(journeys(), st.integers(0, 255), st.sampled_from((256, 255)))
def test_lost_late_and_repeated_are_what_the_network_did(arrived: list[int], begin: int, circle: int) -> None:
    # Source: arithmetic on the packets as sent; E1.31-2018 6.7.2: 20 or more behind is a new beginning,
    # which these journeys avoid. Art-Net: 1 to 255, 0 unused.
    def on_wire(number: int) -> int:
        return (begin + number) % 256 if circle == 256 else (begin + number) % 255 + 1

    if not arrived:
        return
    order = Order(circle, on_wire(arrived[0]))
    newest, seen = arrived[0], {arrived[0]}
    late = repeated = 0
    for number in arrived[1:]:
        taken = order.take(on_wire(number))
        assert taken is (number > newest)
        if number in seen:
            repeated += number > arrived[0] or number == newest or number == arrived[0]
            late += not (number > arrived[0] or number == newest or number == arrived[0])
        elif number < newest:
            late += 1
        seen.add(number)
        newest = max(newest, number)
    lost = sum(number not in seen for number in range(arrived[0], newest))
    assert (order.lost, order.late, order.repeated, order.restarts) == (lost, late, repeated, 0)


@pytest.mark.parametrize("circle", [256, 255])
def test_a_new_beginning_is_no_loss(circle: int) -> None:
    # Source: E1.31-2018 6.7.2: what is 20 or more behind is taken, for the source began anew.
    order = Order(circle, 100)
    assert order.take(40)
    assert (order.lost, order.restarts) == (0, 1)
    assert order.take(42)
    assert order.lost == 1


def test_art_net_without_sequence_loses_nothing() -> None:
    # Source: Art-Net 4, ArtDmx: sequence 0 means that it is not used.
    (one,) = arrived(1.0, *((artnet(3), number / 10) for number in range(10))).streams
    assert (one.packets, one.lost, one.out_of_order, one.repeated) == (10, 0, 0, 0)


# --- rate ---------------------------------------------------------------------------------------------------------


@given(st.lists(st.integers(0, 5000), min_size=1, max_size=200).map(sorted), st.integers(0, 4000))
def test_a_rate_is_packets_by_seconds(times: list[int], after: int) -> None:
    # Source: arithmetic: packets since the window's beginning, by its length; the window's edge is a multiple of 1/8 s
    # at most 2 s and over 1.875 s back. Of a stream younger than that, the first packet opens the window, uncounted.
    clock = [moment / 1024 for moment in times]
    rate = Rate(clock[0])
    for moment in clock:
        rate.count(moment)
    now = clock[-1] + after / 1024
    edge = (int(now * 8) - 15) / 8
    wanted = 0.0
    if clock[0] >= edge:
        if now - clock[0] >= 0.125:
            wanted = (len(clock) - 1) / (now - clock[0])
    else:
        wanted = sum(moment >= edge for moment in clock) / (now - edge)
    assert rate.at(now) == pytest.approx(wanted)


@pytest.mark.parametrize("fps", [1.0, 25.0, 44.0])
@pytest.mark.parametrize("lasts", [0.9, 2.0, 30.0])
def test_a_steady_stream_has_its_rate(fps: float, lasts: float) -> None:
    # Source: arithmetic: in a window of w seconds there are w × fps packets, give or take one.
    listening = Listening()
    number = 0
    while number / fps <= lasts:
        listening.receive(e131(3, sequence=number), "e131", ROOM, 50 + number / fps)
        number += 1
    (one,) = streams_of(listening, 50 + lasts)
    assert abs(one.rate - fps) <= 1 / min(1.875, max(lasts, 0.125)) + 1e-6
    (later,) = streams_of(listening, 50 + lasts + 2.1)
    assert later.rate == 0


# --- lives, conflicts ---------------------------------------------------------------------------------------------


COTTAGE, LAPTOP = {"cid": ALICE, "name": "Cottage"}, {"cid": BOB, "name": "Old laptop"}
THIRD, FOURTH = b"c" * 16, b"d" * 16
HERE, THERE = "192.0.2.5:5568", "192.0.2.6:5568"


def test_two_sources_with_equal_priority_are_said_in_those_words() -> None:
    # Source: E1.31-2018 6.2.3 (from memory): among equals a receiver does what it likes; the design: the words.
    packets = [
        (e131(3, sequence=n, **who), n / 10, at) for n in range(5) for who, at in ((COTTAGE, HERE), (LAPTOP, THERE))
    ]
    (found,) = contention.findings(arrived(0.5, *packets))
    assert (found.severity, found.where) == ("warning", "universe.3")
    assert f"{found.says}; {found.remedy}" == (
        "two sources on universe 3 with equal priority 100: Cottage (192.0.2.5) and Old laptop (192.0.2.6): boxes mix "
        "or flicker; end one of them, or give one a lower priority"
    )


FOLLOWED = [(e131(3, name="Cottage"), 0.0), (e131(3, sequence=1, name="Cottage"), 0.1),
            (e131(3, cid=BOB, name="Cottage"), 0.2)]  # fmt: skip
WAITING = [(e131(3, name="A", sync=7), 0.0), (e131(4, name="A", sync=7), 0.0)]
SAID = {
    # Source: the design: one finding a problem.
    "the same on several universes": (
        [(e131(u, sequence=n, **who), n / 10) for n in range(3) for u in (3, 4, 9) for who in (COTTAGE, LAPTOP)],
        {"equal-priority": ["on universes 3–4, 9 with equal priority"]},
    ),
    # Source: E1.31-2018 6.2.3 (from memory): the highest priority is used.
    "the higher priority wins": (
        [(e131(3, sequence=n, cid=cid, name=name, priority=priority), n / 10) for n in range(3)
         for cid, name, priority in ((ALICE, "A", 90), (BOB, "B", 150), (THIRD, "C", 90))],
        {"priority": [
            "on universe 3 B (192.0.2.5) with priority 150 wins over A (192.0.2.5) with 90, C (192.0.2.5) with 90"
        ]},
    ),
    # Source: E1.31-2018: preview data is not for live output; Stream_Terminated ends a stream (6.2.6, from memory).
    "equal sources elsewhere, preview or ended": (
        [(packet, n / 10) for n in range(3) for packet in (
            e131(3, sequence=n), e131(4, sequence=n, cid=BOB), e131(3, sequence=n, cid=THIRD, options=0x80),
            e131(3, sequence=n, cid=FOURTH, options=0x40 * (n == 2)))],
        {},
    ),
    # Source: E1.31-2018, 5.6 (from memory): the CID names the component; a program that makes a new one is another.
    "who follows another": (
        FOLLOWED, {"cid-changed": ["Cottage (192.0.2.5) changed its CID once, to 62626262-"]},
    ),
    "who comes back beside another": ([*FOLLOWED, (e131(3, sequence=2, name="Cottage"), 0.25)], {"equal-priority": []}),
    # Source: E1.31-2018, 5.6 (from memory): a CID is one component's; boxes would take both for one.
    "two programs with one CID": (
        [(e131(3, name="A"), 0.0, HERE), (e131(9, name="B"), 0.1, THERE)],
        {"cid-shared": [f"A (192.0.2.5) and B (192.0.2.6) have one CID, {uuid.UUID(bytes=ALICE)}:"]},
    ),
    "a CID that has moved to another address": (
        [(e131(3, name="A"), 0.0, HERE), (e131(3, sequence=1, name="A", options=0x40), 0.1, HERE),
         (e131(9, name="B"), 0.2, THERE)],
        {},
    ),
    # Source: the design: both protocols draw from one number space. Art-Net 4: ArtDmx has no priority.
    "both protocols, and Art-Net against itself": (
        [arrival for n in range(1, 4) for arrival in (
            (e131(3, sequence=n, name="A"), n / 10), (artnet(3, sequence=n), n / 10, "192.0.2.6:6454"),
            (artnet(3, sequence=n), n / 10, "192.0.2.6:6455"))],
        {"no-priority": ["two sources on universe 3 by Art-Net", "192.0.2.6 port 6454 and 192.0.2.6 port 6455"],
         "two-protocols": ["universe 3 by E1.31 from A (192.0.2.5) and by Art-Net from 192.0.2.6"]},
    ),
    # Source: E1.31-2018 6.2.4 (from memory): with a Synchronization Address, receivers wait for its packets.
    "who waits for synchronization": (
        WAITING, {"no-synchronization": ["waits for Synchronization Address 7 on universes 3–4"]}
    ),
    "who waits for another's": ([*WAITING, (e131_sync(8), 0.1)], {"no-synchronization": []}),
    "who need not wait": ([*WAITING, (e131_sync(7), 0.2)], {}),
}  # fmt: skip


@pytest.mark.parametrize("name", SAID)
def test_what_is_said_of_streams(name: str) -> None:
    arrivals, wanted = SAID[name]
    found = {one.rule: one.says for one in contention.findings(arrived(0.4, *arrivals))}
    assert found.keys() == wanted.keys()
    assert all(words in found[rule] for rule in wanted for words in wanted[rule])


def test_streams_live_end_and_begin_anew() -> None:
    # Source: ANSI E1.31-2018, appendix A (clause from memory): E131_NETWORK_DATA_LOSS_TIMEOUT, 2.5 s; 6.7.2: what is
    # out of order is dropped.
    heard = arrived(0.4, *SAID["equal sources elsewhere, preview or ended"][0])
    states = {one.cid[:2]: (one.state, one.live) for one in heard.streams if one.universe == 3}
    assert states == {"61": ("live", True), "63": ("live", False), "64": ("terminated", False)}
    first, anew = (e131(3), 10.0), (e131(3, sequence=77), 20.0)
    assert [arrived(at, first).streams[0].state for at in (12.49, 12.51)] == ["live", "gone"]
    (one,) = arrived(20.1, first, anew).streams
    assert (one.state, one.began, one.lost, one.restarts) == ("live", 20.0, 0, 0)
    ended = [(e131(3, sequence=n, options=options), n / 100) for n, options in ((5, 0), (7, 0x40), (8, 0x40), (6, 0))]
    assert arrived(0.2, *ended).streams[0].state == "terminated"
    assert arrived(0.3, *ended, (e131(3, sequence=9), 0.3)).streams[0].state == "live"


lives = st.lists(
    st.tuples(st.integers(0, 20), st.integers(0, 8), st.sampled_from((90, 100)), st.booleans()), max_size=8
)


@examples(33, 100)
@given(lives)
@example([(0, 3, 100, False), (3, 2, 100, False)])
def test_rivals_are_those_whose_lives_overlap(drawn: list[tuple[int, int, int, bool]]) -> None:
    # Source: the definition in contention.py's head, for every pair.
    listening = Listening()
    events = sorted(
        (moment / 10, number, priority, preview)
        for number, (begin, length, priority, preview) in enumerate(drawn)
        for moment in (begin, begin + length)
    )
    for count, (moment, number, priority, preview) in enumerate(events):
        packet = e131(3, sequence=count, cid=bytes([number]) * 16, priority=priority, options=0x80 * preview)
        listening.receive(packet, "e131", ROOM, moment)
    streams = streams_of(listening, 2.4)
    spans = {bytes([n]) * 16: (b, b + length) for n, (b, length, _, preview) in enumerate(drawn) if not preview}
    fighting = {
        str(uuid.UUID(bytes=cid))
        for cid, (begin, end) in spans.items()
        if any(cid != other and begin <= last and first <= end for other, (first, last) in spans.items())
    }
    gone = {one.cid for one in streams if one.state == "gone"}
    if not gone:
        assert {one.cid for one in contention.rivals(streams)} == fighting
        top = max((p for _, _, p, preview in drawn if not preview), default=0)
        assert all(one.priority == top for one in contention.winners(streams))


# --- robust -------------------------------------------------------------------------------------------------------

good = st.sampled_from([e131(3), artnet(3, sequence=1), e131_sync(7, 0), discovery([3, 4]),
                        art_poll_reply([3], "192.0.2.5", "a", "b")])  # fmt: skip


@examples(100, 300)
@given(
    good, st.binary(max_size=700), st.lists(st.tuples(st.integers(0, 700), st.integers(0, 255)), max_size=4), st.data()
)
def test_no_packet_is_a_crash(packet: bytes, noise: bytes, changes: list[tuple[int, int]], data: st.DataObject) -> None:
    # Source: the design: malformed packets are counted, and nothing falls.
    listening = Listening()
    bent = bytearray(packet[: data.draw(st.integers(0, len(packet)))] + noise[: data.draw(st.integers(0, 20))])
    for at, value in changes:
        if at < len(bent):
            bent[at] = value
    for octets in (bytes(bent), noise, packet):
        for protocol in ("e131", "artnet"):
            listening.receive(octets, protocol, ROOM, 0.0)
    heard = listening.heard(0.1)
    assert heard.malformed >= 1
    assert len(heard.reasons) <= 5
    contention.findings(heard)
    json.dumps(document(Outcome(ListenedShow(), 1.0, 1, heard, [], contention.findings(heard), {}, Burden())))


def test_memory_is_bounded_and_the_living_stay() -> None:
    # Source: the design: thousands of sources and universes; memory bounded.
    listening = Listening(most=100)
    for n in range(1000):
        listening.receive(e131(1 + n, cid=n.to_bytes(16)), "e131", ROOM, n / 1000)
    heard = listening.heard(1.0)
    assert (len(heard.streams), heard.left_aside) == (100, 900)
    for n in range(50):
        listening.receive(e131(1 + n, sequence=1, cid=n.to_bytes(16)), "e131", ROOM, 2.9)
    listening.receive(e131(5000, cid=BOB), "e131", ROOM, 4.0)
    universes = {one.universe for one in streams_of(listening, 4.0)}
    assert universes == {*range(1, 51), 5000}


def test_names_cannot_write_to_the_terminal() -> None:
    # Source: ECMA-48: control sequences begin with ESC; none may come through.
    assert arrived(0.0, (e131(3, name="\x1b[2Jbad\n"), 0.0)).streams[0].source_name.isprintable()


def test_a_start_code_of_another_kind_changes_no_levels() -> None:
    # Source: E1.31-2018 7.7: start code 0 for levels.
    other = e131(3, full(200), 1, start_code=0xDD)
    (one,) = arrived(0.0, (e131(3, full(9)), 0.0), (other, 0.0)).streams
    assert (one.slots, one.lost) == (full(9), 0)


def test_discovery_gathers_pages_and_forgets_those_that_are_no_more() -> None:
    # Source: E1.31-2018, 8: pages from 0 to the last.
    listening = Listening()
    listening.receive(discovery([1, 2], 0, 1), "e131", ROOM, 0.0)
    listening.receive(discovery([9], 1, 1), "e131", ROOM, 0.0)
    assert listening.heard(0.0).announced[0].universes == (1, 2, 9)
    assert listening.named() == [1, 2, 9]
    listening.receive(discovery([2], 0, 0), "e131", ROOM, 10.0)
    assert listening.heard(10.0).announced[0].universes == (2,)


def test_a_node_of_many_ports_answers_in_several_packets() -> None:
    # Source: Art-Net 4: a reply describes four ports at most; a node with more sends more replies.
    ports, at = ([0x120, 0x121, 0x122, 0x123], [0x130]), "192.0.2.9:6454"
    replies = [(art_poll_reply(own, "192.0.2.9", "gate", "Gate post"), 0.0, at) for own in ports]
    heard = arrived(0.0, *replies, (artnet(5, sequence=1), 0.0, at))
    assert heard.nodes == (Node("192.0.2.9", "gate", "Gate post", (*ports[0], *ports[1]), MAC.hex(":")),)
    assert heard.streams[0].who == "gate (192.0.2.9)"


# --- asking -------------------------------------------------------------------------------------------------------


@given(st.integers(0, 70_000))
def test_an_echo_request_adds_up(number: int) -> None:
    # Source: RFC 792: type 8, code 0; RFC 1071: the ones' complement sum over all words is all ones.
    octets = echo_request(number)
    assert octets[:2] == b"\x08\x00"
    total = sum(struct.unpack(f"!{len(octets) // 2}H", octets))
    while total >> 16:
        total = (total & 0xFFFF) + (total >> 16)
    assert total == 0xFFFF
    assert octets[6:8] == struct.pack("!H", number % 65536)


def test_the_arp_cache() -> None:
    # Source: Linux, arp(7) and if_arp.h: ATF_COM 0x02, a completed entry; the columns as this kernel prints them.
    table = (
        "IP address       HW type     Flags       HW address            Mask     Device\n"
        "192.0.2.21       0x1         0x2         02:fc:00:00:00:05     *        eth0\n"
        "192.0.2.22       0x1         0x0         00:00:00:00:00:00     *        eth0\n"
        "192.0.2.23       0x1         0x6         02:fc:00:00:00:06     *        eth0\n"
        "broken line\n"
    )
    assert arp_neighbours(table) == {"192.0.2.21", "192.0.2.23"}


def test_the_burden_of_own_sockets() -> None:
    # Source: Linux, proc_net_udp: tx_queue:rx_queue in hexadecimal is the fifth field, inode the tenth, drops the last.
    line = "  1: 0100007F:15C0 00000000:0000 07 00000001:{} 00:00000000 00000000     0        0 {} 2 0000 {}\n"
    table = (
        "heads\n" + line.format("0000FFFF", 71, 5) + line.format("00000A00", 72, 11) + line.format("00000010", 99, 1)
    )
    assert burden(table, {72, 99, 7}) == Burden(12, 0xA10)


def box(host: str | None, protocol: str, port: str, **more: object) -> dict:
    return {"ports": 1, "port": {"1": [port]}, "protocol": protocol, **({"address": host} if host else {}), **more}


def small(**boxes: dict) -> dict:
    runs = {chain[0]: {"pixel": "lamp", "pixels": 200} for one in boxes.values() for chain in one["port"].values()}
    return {
        "show": {"title": "Lock"}, "pixel": {"lamp": {"colour_order": "GRB"}}, "controller": boxes, "run": runs
    }  # fmt: skip


def test_boxes_that_are_there_missing_or_set_otherwise() -> None:
    # Source: the patch of this show: 200 RGB pixels take two universes of 170 and 30.
    wiring, patch = laid(small(
        gate=box("192.0.2.21", "artnet", "a"), weir=box("192.0.2.22", "artnet", "b"),
        boat=box("192.0.2.23", "e131", "c"),
        lock=box("192.0.2.24", "e131", "d"), mill=box(None, "e131", "e", delivery="multicast"),
        quay=box("192.0.2.25", "e131", "f"),
    ))  # fmt: skip
    hosts = {name: one.address for name, one in wiring.show.controllers.items()}
    answered = {"192.0.2.21": "ArtPoll", "192.0.2.22": "echo", "192.0.2.23": "echo", "192.0.2.25": "ARP"}
    nodes = [Node("192.0.2.21", "gate", "Gate", (1, 9), "")]
    there = presence.presences(wiring.show, patch, hosts, answered, nodes)
    assert [(one.box, one.answers) for one in there] == [
        ("gate", "ArtPoll"), ("weir", "echo"), ("boat", "echo"), ("lock", None), ("mill", None), ("quay", "ARP"),
    ]  # fmt: skip
    found = {one.rule: one for one in presence.findings(there, ["ArtPoll", "ICMP echo", "the ARP cache"])}
    assert found["box-missing"].says == "no answer from lock (192.0.2.24); asked by ICMP echo, the ARP cache"
    assert found["box-not-asked"].where == "controller.mill"
    assert "listens to 1 of 1, 2: 2 is missing" in found["port-addresses"].says
    assert found["no-poll-reply"].where == "controller.weir"
    assert found["box-unsure"].where == "controller.quay"
    assert len(found) == 5


# --- pixels --------------------------------------------------------------------------------------------------------


@examples(20, 40)
@given(st.integers(0, 2**32), st.sampled_from(("GRB", "GRBW", "W")), st.booleans(), st.integers(1, 400))
def test_the_lamps_that_are_lit(seed: int, order: str, reorders: bool, pixels: int) -> None:
    # Source: the design: span by span, a pixel's channels follow each other; on the wire RGB(W) or as its chip.
    tables = small(gate=box("192.0.2.21", "artnet", "a", reorders=reorders), boat=box("192.0.2.22", "e131", "b"))
    tables["pixel"]["lamp"]["colour_order"] = order
    tables["run"]["a"]["pixels"] = pixels
    wiring, patch = laid(tables)
    numbers = np.random.default_rng(seed)
    listening = Listening()
    slots: dict[tuple[str, int], bytes] = {}
    for protocol, universe in expected(wiring.show, patch):
        held = (numbers.integers(0, 256, 512) * (numbers.random(512) < 0.3)).astype(np.uint8).tobytes()
        if numbers.random() < 0.8:
            slots[protocol, universe] = held
            packet = e131(universe, slots=held) if protocol == "e131" else artnet(universe, held, 1)
            listening.receive(packet, protocol, ROOM, 0.0)
        else:  # the other protocol's levels light nothing
            wrong = artnet(universe, held, 1) if protocol == "e131" else e131(universe, slots=held)
            listening.receive(wrong, "artnet" if protocol == "e131" else "e131", ROOM, 0.0)
    names = {"R": "red", "G": "green", "B": "blue", "RG": "yellow", "RB": "magenta", "GB": "cyan", "RGB": "white"}
    wanted = {}
    for start in patch.starts:
        protocol = wiring.show.controllers[start.controller].protocol
        wire = "".join(c for c in "RGBW" if c in order) if wiring.show.controllers[start.controller].reorders else order
        for span in start.spans():
            held = slots.get((protocol, span.universe), bytes(512))
            for n in range(span.last_pixel - span.first_pixel + 1):
                values = held[span.first_channel - 1 + n * len(order) :][: len(order)]
                bright = {c for c, value in zip(wire, values, strict=True) if value and 2 * value >= max(values)}
                if bright:
                    key = "".join(c for c in "RGB" if c in bright)
                    wanted[span.run, span.first_pixel + n] = "white" if "W" in bright else names[key]
    found = {}
    parts = lit(listening.heard(0.1), wiring, patch)
    for part in parts:
        for lamp in range(part.first, part.last + 1):
            assert (part.run, lamp) not in found
            found[part.run, lamp] = part.colour
    assert found == wanted
    assert not any((a.run, a.last + 1, a.colour) == (b.run, b.first, b.colour) for a, b in pairwise(parts))


def test_universes_of_nobody_and_from_nobody() -> None:
    # Source: the patch of this show: a on 1 and 2 (Art-Net), b on 3 and 4 (E1.31).
    wiring, patch = laid(small(gate=box("192.0.2.21", "artnet", "a"), boat=box("192.0.2.22", "e131", "b")))
    heard = arrived(0.1, *((e131(universe), 0.0) for universe in (1, 3, 50, 51)))
    assert {one.rule: one.says for one in contention.against_show(heard, expected(wiring.show, patch))} == {
        "other-protocol": "universe 1 comes by E1.31, but gate takes it by Art-Net",
        "nobody-listens": "sent, but no box of this show listens there: universes 50–51",
        "silent": "not heard here: universes 1–2, 4",
    }


# --- real senders on the loopback ----------------------------------------------------------------------------------


@pytest.fixture
def near() -> str:
    """A loopback address that no other test listens on."""
    return f"127.{random.randrange(1, 60)}.{random.randrange(256)}.{random.randrange(1, 255)}"


@pytest.fixture
def far() -> int:
    """The first of twenty universes that no other test sends."""
    return random.randrange(20_000, 31_000)


@contextmanager
def sacn_sender(name: str, fps: int = 30) -> Iterator:
    """A sender of another make, whose groups go out on the loopback only."""
    import sacn

    sender = sacn.sACNsender(
        source_name=name, bind_address="127.0.0.1", bind_port=0, fps=fps, universeDiscovery=False,
        cid=tuple(uuid.uuid4().bytes),
    )  # fmt: skip
    sock = sender._sender_handler.socket._socket
    sock.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_IF, socket.inet_aton("127.0.0.1"))
    sender.start()
    try:
        yield sender
    finally:
        sender.stop()


def put_out(sender, universe: int, unicast: str | None = None, **more: object) -> None:
    sender.activate_output(universe)
    output = sender[universe]
    if unicast:
        output.destination = unicast
    else:
        output.multicast, output.ttl = True, 0
    for key, value in more.items():
        setattr(output, key, value)


@contextmanager
def changing(change: Callable[[int], None], every: float = 0.02) -> Iterator[None]:
    """Calls `change` again and again from a thread of its own."""
    end = threading.Event()

    def go() -> None:
        number = 0
        while not end.wait(every):
            change(number)
            number += 1

    thread = threading.Thread(target=go)
    thread.start()
    try:
        yield
    finally:
        end.set()
        thread.join()


@contextmanager
def patcher_sender(goals: list[Target], **more: object) -> Iterator[Sender]:
    universes = tuple(sorted({goal.universe for goal in goals}))
    with Sender(goals, interface="127.0.0.1", **more) as sender:

        def frame(number: int) -> None:
            sender.send(Levels(universes, np.full((len(universes), 512), number % 256, dtype=np.uint8)))

        with changing(frame):
            yield sender


def group(universe: int) -> str:
    return f"239.255.{universe >> 8}.{universe & 0xFF}"


def listened(universes: list[int], interface: str, enough: Callable[[Heard], bool]) -> dict:
    """What is heard, as `listen --json` prints it, until that is enough."""
    seen = False

    def changed(heard: Heard, seconds: float) -> None:
        nonlocal seen
        seen = enough(heard)

    outcome = listen(ListenedShow(), universes, interface, lambda seconds: seen or seconds > 20, changed)
    return json.loads(json.dumps(document(outcome)))


def heard_of(ran: subprocess.CompletedProcess[str]) -> dict:
    assert ran.returncode in (0, 1), ran.stderr
    return json.loads(ran.stdout)


def test_real_senders_are_told_apart(near: str, far: int) -> None:
    # Judge: sacn 1.11 and stupidArtnet 1.6 send; beside them patcher's own sender.
    from stupidArtnet import StupidArtnet

    with ExitStack() as stack:
        cottage = stack.enter_context(sacn_sender("Cottage player"))
        laptop = stack.enter_context(sacn_sender("Old laptop"))
        put_out(cottage, far)
        put_out(cottage, far + 1)
        put_out(laptop, far, priority=100)
        put_out(laptop, far + 1, priority=150)
        put_out(laptop, far + 2, unicast=near, preview_data=True)
        stack.enter_context(changing(lambda n: [setattr(s[far], "dmx_data", (n % 256,)) for s in (cottage, laptop)]))
        own = [Target("e131", far + 3, group(far + 3)), Target("e131", far + 4, near)]
        stack.enter_context(patcher_sender(own, source="Test frames", priority=77))
        art = StupidArtnet(near, far + 3, 512, 25, True, False)
        art.start()
        stack.callback(art.stop)
        # Twice each, so that who is there at the same time is known; those that send often, until that shows.
        found = listened(
            [*range(far, far + 5)], near,
            lambda heard: min([one.packets for one in heard.streams], default=0) > 1
            and len(heard.streams) == 8 and sorted(one.rate for one in heard.streams)[-4] > 10,
        )  # fmt: skip
    sent = {
        (far, "Cottage player", 100), (far + 1, "Cottage player", 100), (far, "Old laptop", 100),
        (far + 1, "Old laptop", 150), (far + 2, "Old laptop", 100), (far + 3, "Test frames", 77),
        (far + 4, "Test frames", 77), (far + 3, "", None),
    }  # fmt: skip
    every = {
        (table["universe"], stream["source_name"], stream["priority"]): stream
        for table in found["universes"]
        for stream in table["streams"]
    }
    assert set(every) == sent
    assert {stream["state"] for stream in every.values()} == {"live"}
    assert all(s["lost"] == s["out_of_order"] == s["repeated"] == 0 for s in every.values()), every
    by_source = {name: {s["cid"] for (_, n, _), s in every.items() if n == name} for _, name, _ in every}
    assert all(len(cids) == 1 for cids in by_source.values())
    assert by_source["Cottage player"] == {
        str(uuid.UUID(bytes=bytes(cottage._sender_handler._outputs[far]._packet.cid)))
    }
    assert [key for key, s in every.items() if s["options"]["preview_data"]] == [(far + 2, "Old laptop", 100)]
    assert every[far + 3, "Test frames", 77]["rate"] > 10
    assert every[far + 1, "Cottage player", 100]["rate"] < 3  # unchanged levels: kept alive once a second
    assert [table["universe"] for table in found["universes"] if table["conflict"]] == [far, far + 3]
    assert [table["universe"] for table in found["universes"]][:2] == [far, far + 3]
    rules = {(one["rule"], one["where"]) for one in found["findings"]}
    assert rules == {
        ("equal-priority", f"universe.{far}"), ("priority", f"universe.{far + 1}"),
        ("two-protocols", f"universe.{far + 3}"),
    }  # fmt: skip


def test_an_ended_stream_and_announced_universes_are_followed(near: str, far: int) -> None:
    # Source: E1.31-2018 8: discovery in the group of universe 64214; its universes are then joined. 6.2.6:
    # patcher's sender ends its streams, three packets with Stream_Terminated.
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock:
        sock.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_IF, socket.inet_aton("127.0.0.1"))
        sock.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_TTL, 0)
        cid = uuid.uuid4().bytes
        short = Sender([Target("e131", far, group(far))], interface="127.0.0.1", source="Short")

        def change(number: int) -> None:
            sock.sendto(discovery([far + 7, far + 8], cid=cid), (group(64214), 5568))
            sock.sendto(e131(far + 7, sequence=number, cid=cid, sync=far + 9), (group(far + 7), 5568))
            sock.sendto(e131_sync(far + 9, number, cid), (group(far + 9), 5568))
            short.send(Levels((far,), np.zeros((1, 512), dtype=np.uint8)))

        def enough(heard: Heard) -> bool:
            if heard.streams and heard.synchronizations:
                short.close()
            return [one.state for one in heard.streams] == ["terminated", "live"] and bool(heard.synchronizations)

        with short, changing(change, 0.05):
            found = listened([far], near, enough)
    states = {table["universe"]: table["streams"][0]["state"] for table in found["universes"]}
    assert states == {far: "terminated", far + 7: "live"}
    mine = [one for one in found["announced"] if one["cid"] == str(uuid.UUID(bytes=cid))]
    assert mine[0]["universes"] == [far + 7, far + 8]
    assert any(one["synchronization_address"] == far + 9 and one["live"] for one in found["synchronizations"])
    assert not any(one["rule"] == "no-synchronization" for one in found["findings"])


@contextmanager
def node(host: str, names: tuple[str, str], ports: list[int], *, to_port: int | None = None) -> Iterator[list[bytes]]:
    """An Art-Net node: answers each ArtPoll with an ArtPollReply, to the asker's own port or the protocol's."""
    asked: list[bytes] = []
    sock = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    sock.bind((host, 6454))
    sock.settimeout(0.05)
    end = threading.Event()

    def go() -> None:
        while not end.is_set():
            try:
                octets, (asker, port) = sock.recvfrom(2048)
            except TimeoutError:
                continue
            # Source: Art-Net 4: ArtPoll is 0x2000, low octet first, behind the identifier.
            if octets[:10] == b"Art-Net\0\x00\x20":
                asked.append(octets)
                sock.sendto(art_poll_reply(ports, host, *names), (asker, to_port or port))

    thread = threading.Thread(target=go)
    thread.start()
    try:
        yield asked
    finally:
        end.set()
        thread.join()
        sock.close()


@pytest.mark.parametrize("to_port", [None, 6454])
def test_nodes_answer_under_their_names(here: Patcher, tmp_path: Path, near: str, to_port: int | None) -> None:
    # Source: Art-Net 4: an ArtPollReply goes to the asker, at port 6454 (from memory); some answer to its own port.
    first = near.rpartition(".")[0]
    there, missing, listener = (f"{first}.{n}" for n in random.sample(range(1, 255), 3))
    show = tmp_path / "lock.toml"
    show.write_text(tomli_w.dumps(small(gate=box(there, "artnet", "a"), weir=box(missing, "artnet", "b"))))
    with node(there, ("gate", "Gate post by the lock"), [1, 2], to_port=to_port) as asked:
        found = heard_of(here("listen", show, "--interface", listener, "--seconds", 1, "--json"))
    assert asked
    assert all(octets[10:12] == b"\x00\x0e" for octets in asked)  # Source: protocol version 14, high octet first
    boxes = {one["box"]: one for one in found["boxes"]}
    assert (boxes["gate"]["answers"], boxes["gate"]["short_name"]) == ("ArtPoll", "gate")
    assert (boxes["gate"]["long_name"], boxes["gate"]["port_addresses"]) == ("Gate post by the lock", [1, 2])
    assert boxes["weir"]["answers"] != "ArtPoll"
    assert [one["address"] for one in found["nodes"]] == [there]


def test_what_a_box_says_that_it_listens_to_is_held_against_the_plan_and_kept(
    here: Patcher, tmp_path: Path, near: str
) -> None:
    # Source: the issue: "box-2 listens to 5, 6 of 5, 6, 7: 7 is missing"; by hand: 400 RGB pixels take 3 universes
    first = near.rpartition(".")[0]
    there, listener = (f"{first}.{n}" for n in random.sample(range(1, 255), 2))
    show = tmp_path / "lock.toml"
    tables = small(**{"box-2": box(there, "artnet", "a", first_universe=5)})
    tables["run"]["a"]["pixels"] = 400
    show.write_text(tomli_w.dumps(tables))
    ask = ("listen", show, "--interface", listener, "--seconds", 0.8)
    with node(there, ("two", "Box two"), [5, 6]):
        assert heard_of(here(*ask, "--json"))["ticked"] == []
        assert not list(tmp_path.glob("lock.*.toml"))  # no patch is kept yet, so there is nothing to hold it against
        assert here("patch", show).returncode == 0
        ran = here(*ask)
    assert ran.returncode == 1
    assert "warning: controller.box-2: listens to 5, 6 of 5, 6, 7: 7 is missing\n" in ran.stdout
    assert "Ticked off" not in ran.stdout
    assert " ArtPoll: two, Box two; Port-Addresses 5–6\n" in ran.stdout
    assert "box-2 listens to 5, 6 of 5, 6, 7: 7 is missing." in here("todo", show, "box-2").stdout
    with node(there, ("two", "two, by the pond"), [5, 6, 7]):
        ran = here(*ask)
        assert " ArtPoll: two, by the pond; " in ran.stdout  # the short name is not said twice
        assert "Ticked off as typed in: address and protocol of box-2." in ran.stdout
        assert "is missing" not in ran.stdout
        assert heard_of(here(*ask, "--json"))["ticked"] == []  # it is ticked off already
    left = json.loads(here("todo", show, "--json").stdout)
    assert left["own_settings"] == []
    assert [one["start"] for one in left["to_type"]] == ["box-2/1"]  # of pixels and colours it says nothing
    assert left["boxes"][0]["port_addresses"] == [5, 6, 7]
    assert "box-2 listens to 5, 6, 7, as planned." in here("todo", show, "box-2").stdout


@pytest.mark.long
def test_the_lamps_that_a_real_stream_lights(here: Patcher, tmp_path: Path, near: str, far: int) -> None:
    # Judge: sacn 1.11 sends; the design: a box that reorders takes red, green, blue.
    show = tmp_path / "lock.toml"
    tables = small(boat=box(None, "e131", "boat-rail", delivery="multicast"))
    tables["show"]["first_universe"] = far
    show.write_text(tomli_w.dumps(tables))
    with sacn_sender("Cottage player") as sender:
        put_out(sender, far, dmx_data=(0, 0, 0) * 9 + (0, 200, 0) * 20 + (99, 99, 99))
        found = heard_of(here("listen", show, "--interface", near, "--seconds", 1.5, "--json"))
        shown = here("listen", show, "--interface", near, "--seconds", 1.5)
    assert found["lit"] == [
        {"run": "boat-rail", "first": 10, "last": 29, "colour": "green"},
        {"run": "boat-rail", "first": 30, "last": 30, "colour": "white"},
    ]
    assert "10–29 green, 30 white" in shown.stdout
    assert f"not heard here: universe {far + 1}\n" in shown.stdout


@pytest.mark.long
def test_before_sending_the_others_are_known(near: str, far: int) -> None:
    # Judge: sacn 1.11 is the other. Source: E1.31-2018 6.2.3 (from memory): the highest priority wins.
    goals = [Target("e131", far + n, group(far + n)) for n in range(3)] + [Target("artnet", far + 3, near)]
    assert others_on(goals, 0.2, near) == []
    with sacn_sender("Cottage player") as sender, patcher_sender([Target("artnet", far + 3, near)]):
        put_out(sender, far)
        put_out(sender, far + 1)
        put_out(sender, far + 9)
        with changing(lambda n: [setattr(sender[far + u], "dmx_data", (n % 256,)) for u in (0, 1, 9)]):
            # Nobody listened there until now, so that Patcher's own sender tries again once a second only.
            found = others_on(goals, 2.0, near)
            busy = [Ear(near, 5568), Ear(near, 6454)]
            with Receiver(busy):
                again = others_on(goals, 1.0, near)
    by_e131, by_artnet = found
    assert (by_e131.who, by_e131.priority, by_e131.universes) == ("Cottage player (127.0.0.1)", 100, (far, far + 1))
    assert (by_artnet.who, by_artnet.universes) == ("127.0.0.1", (far + 3,))
    assert again == [by_e131]
    there = f"Cottage player (127.0.0.1) already sends universes {far}, {far + 1} with priority 100"
    assert by_e131.says(90).startswith(f"{there}: it wins over your 90")
    assert by_e131.says(120) == f"{there}: your 120 wins while you send."
    assert by_e131.says(100).startswith(f"{there}, equal to yours: boxes will mix or flicker.")
    assert "no priorities" in by_artnet.says(100)


def test_others_are_those_on_wanted_universes_that_live() -> None:
    # Source: the design: "if another source is on those universes, it says who".
    heard = arrived(0.1, *(
        (e131(universe, name=name, cid=name.encode() * 16, options=options), 0.0)
        for universe, name, options in ((3, "A", 0), (4, "A", 0), (9, "A", 0), (3, "B", 0x80), (4, "C", 0x40))
    ))  # fmt: skip
    found = others(heard, {("e131", 3), ("e131", 4), ("artnet", 9)})
    assert [(one.who, one.universes) for one in found] == [("A (192.0.2.5)", (3, 4))]


def test_a_busy_port_is_said_and_the_rest_is_heard(near: str, far: int) -> None:
    # Source: the design: never fail because a port is busy.
    with Receiver([Ear(near, 5568)]), Hearing() as hearing:
        hearing.add([Ear(near, 5568), Ear(near, 6454), Ear(group(far), 5568, near)])
        assert list(hearing.deaf) == [f"{near}:5568"]
        assert len(hearing.ears) == 2


def test_too_few_files_leave_some_groups_out(tmp_path: Path, near: str) -> None:
    # Source: getrlimit(2): EMFILE. What cannot be opened is said, the rest is heard.
    words = f"ulimit -n 60; exec {sys.executable} -m patcher listen --universe 1-200 --interface {near} --seconds 0.2"
    ran = subprocess.run(["sh", "-c", words], capture_output=True, text=True, timeout=60, cwd=tmp_path)
    assert (ran.returncode, ran.stderr) == (0, "")
    assert "too many open files" in ran.stdout
    joined = re.search(r"to (\d+) multicast groups", ran.stdout)
    assert joined
    assert 10 < int(joined[1]) < 60


@contextmanager
def watching(*arguments: object) -> Iterator[subprocess.Popen[str]]:
    command = [sys.executable, "-u", "-m", "patcher", "listen", *map(str, arguments)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as process:
        try:
            yield process
        finally:
            process.kill()


def until(process: subprocess.Popen[str], words: str) -> str:
    """Reads lines until one has these words; a process that is silent for 20 s fails the test."""
    timer = threading.Timer(20, process.kill)
    timer.start()
    try:
        assert process.stdout is not None
        for line in process.stdout:
            print(repr(line))
            if words in line:
                return line
    finally:
        timer.cancel()
    pytest.fail(f"never said: {words}")


@pytest.mark.long
def test_watching_says_who_comes_fights_and_goes(near: str, far: int) -> None:
    # Judge: sacn 1.11 sends; it ends a stream with Stream_Terminated.
    with watching("--watch", "--interface", near, "--universe", far) as process, ExitStack() as stack:
        first = stack.enter_context(sacn_sender("Cottage player"))
        put_out(first, far)
        until(process, f"Cottage player (127.0.0.1) sends universe {far}")
        with sacn_sender("Old laptop") as second:
            put_out(second, far)
            until(process, f"two sources on universe {far} with equal priority 100")
            second.deactivate_output(far)
            until(process, f"Old laptop (127.0.0.1) has ended universe {far}")
        process.send_signal(signal.SIGINT)
        until(process, "Stream_Terminated")
        assert process.wait(10) == 0


@pytest.mark.parametrize(
    "call",
    [
        *[("--universe", text) for text in ("0", "5-3", "1-64000", "x", "1-3000", "²", "1,,2")],
        *[("--interface", text) for text in ("192.0.2.77", "here", "239.255.0.1", "0.0.0.0", "255.255.255.255")],
        ("--yard",),
        ("gone.toml",),
    ],
)
def test_calls_that_are_wrong(here: Patcher, call: tuple[str, ...]) -> None:
    # Source: the design: exit 2, and what to do.
    ran = here("listen", *call)
    assert (ran.returncode, ran.stdout) == (2, "")
    assert "→" in ran.stderr


# --- two hosts ----------------------------------------------------------------------------------------------------

BOX = """
import time
import numpy as np
from patcher.frames.levels import Levels
from patcher.stream.sender import Sender, Target
print("ready", flush=True)
with Sender([Target("e131", 3, "239.255.0.3")], interface="192.0.2.21", source="Sound desk", priority=120) as sender:
    while True:
        sender.send(Levels((3,), np.full((1, 512), int(time.time() * 50) % 256, dtype=np.uint8)))
        time.sleep(0.03)
"""


@pytest.fixture
def two_hosts() -> Iterator[tuple[str, str]]:
    """The namespaces of two hosts, joined by a cable."""
    first, second = ("first", "eth0"), ("second", "eth0")
    with hosts([(first, second)], {first: ["192.0.2.10/24"], second: ["192.0.2.21/24"]}) as made:
        for name in made.values():
            ip("-n", name, "route", "add", "239.0.0.0/8", "dev", "eth0")
        yield made["first"], made["second"]


@pytest.mark.parametrize("way", ["echo", *later("ping", "ARP")])
def test_a_box_that_answers_and_one_that_does_not(two_hosts: tuple[str, str], tmp_path: Path, way: str) -> None:
    # Judge: Linux answers ICMP echo (RFC 792) and ARP (RFC 826) for 192.0.2.21; nobody is 192.0.2.22. Without leave for
    # unprivileged ICMP (ping_group_range) the ping program tells, and without that the ARP cache.
    if way == "ping":
        judge("ping", "iputils-ping")
    first, second = two_hosts
    show = tmp_path / "lock.toml"
    there, gone = box("192.0.2.21", "e131", "a"), box("192.0.2.22", "e131", "b")
    show.write_text(tomli_w.dumps(small(lock=there, weir=gone)))
    leave = "0 2147483647" if way == "echo" else "1 0"
    if not setting(first, "ping_group_range", leave):
        pytest.skip("the namespace's ping_group_range cannot be set")
    with subprocess.Popen(inside(second, sys.executable, "-c", BOX), stdout=subprocess.PIPE, text=True) as sender:
        try:
            assert sender.stdout is not None
            assert sender.stdout.readline() == "ready\n"
            lasts = "6" if way == "ping" else "3"  # ping takes three seconds to find that nobody answers ARP
            path = [] if way == "ping" else ["env", "PATH=/nowhere"]
            call = [*path, sys.executable, "-m", "patcher", "listen", str(show), "--seconds", lasts, "--json"]
            ran = subprocess.run(inside(first, *call), capture_output=True, text=True, timeout=60, cwd=tmp_path)
        finally:
            sender.kill()
    found = heard_of(ran)
    boxes = {one["box"]: one["answers"] for one in found["boxes"]}
    assert boxes["weir"] is None
    assert boxes["lock"] == ("ARP" if way == "ARP" else "echo")
    (missing,) = [one for one in found["findings"] if one["severity"] == "warning"]
    asked = {"echo": "ICMP echo, the ARP cache", "ping": "the ping program, the ARP cache", "ARP": "the ARP cache"}
    assert missing["says"] == f"no answer from weir (192.0.2.22); asked by {asked[way]}"
    (universe,) = found["universes"]
    (stream,) = universe["streams"]
    assert (universe["universe"], stream["source_name"], stream["address"]) == (3, "Sound desk", "192.0.2.21")
    assert (stream["priority"], stream["lost"], stream["repeated"]) == (120, 0, 0)
    assert stream["rate"] > 10


@pytest.mark.long
def test_a_node_on_another_host(two_hosts: tuple[str, str], tmp_path: Path) -> None:
    # Source: Art-Net 4: ArtPoll by unicast to the show's own box, and to no other address.
    first, second = two_hosts
    show = tmp_path / "lock.toml"
    show.write_text(tomli_w.dumps(small(gate=box("192.0.2.21", "artnet", "a"))))
    reply = art_poll_reply([1, 2], "192.0.2.21", "gate", "Gate").hex()
    code = (
        "import socket\n"
        "s = socket.socket(socket.AF_INET, socket.SOCK_DGRAM); s.bind(('0.0.0.0', 6454)); print('ready', flush=True)\n"
        "while True:\n"
        "    octets, who = s.recvfrom(2048)\n"
        f"    if octets[8:10] == b'\\x00\\x20': s.sendto(bytes.fromhex('{reply}'), (who[0], 6454))\n"
    )
    with subprocess.Popen(inside(second, sys.executable, "-c", code), stdout=subprocess.PIPE, text=True) as answering:
        try:
            assert answering.stdout is not None
            assert answering.stdout.readline() == "ready\n"
            call = inside(first, sys.executable, "-m", "patcher", "listen", str(show), "--seconds", "1.5", "--json")
            found = heard_of(subprocess.run(call, capture_output=True, text=True, timeout=60, cwd=tmp_path))
        finally:
            answering.kill()
    (gate,) = found["boxes"]
    assert (gate["answers"], gate["port_addresses"]) == ("ArtPoll", [1, 2])
    assert not [one for one in found["findings"] if one["severity"] == "warning"]
