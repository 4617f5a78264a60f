"""The sender: what leaves, when, and where to, by raw octets on the loopback and a clock of the tests' own."""

import queue
import socket
import tracemalloc
from collections.abc import Iterator
from itertools import pairwise

import numpy as np
import pytest
import sacn
from hypothesis import given
from hypothesis import strategies as st
from sacn.messages.universe_discovery import UniverseDiscoveryPacket

from patcher.frames.levels import Levels
from patcher.stream.clock import Clock
from patcher.stream.sender import Sender, Target
from rig.examples import examples
from rig.loopback import (
    ARTNET,
    E131,
    GOALS,
    HOST,
    Time,
    ear,
    heard,
    is_art_sync,
    is_sync,
    lit,
    port_address,
    sequence,
    sync_address,
    terminated,
    universe,
)

WAIT = 20.0


@pytest.fixture
def sockets() -> Iterator[dict[str, socket.socket]]:
    opened = {"e131": ear(HOST, E131), "artnet": ear(HOST, ARTNET)}
    yield opened
    for sock in opened.values():
        sock.close()


class Ladder(BaseException):
    """Not an Exception, as KeyboardInterrupt is none."""


@pytest.mark.parametrize("way", ["end", "exception", "interrupt", "close"])
def test_however_it_is_left_the_lamps_are_dark_and_the_streams_ended(sockets: dict, way: str) -> None:
    # Source: ANSI E1.31-2018 6.2.6: three packets with Stream_Terminated, options octet 112 bit 0x40.
    try:
        with Sender(GOALS, interface="127.0.0.1") as sender:
            sender.send(lit())
            sender.send(lit())
            if way == "exception":
                raise RuntimeError
            if way == "interrupt":
                raise Ladder
            if way == "close":
                sender.close()
    except (RuntimeError, Ladder):
        assert way in ("exception", "interrupt")
    else:
        assert way in ("end", "close")
    e131 = heard(sockets["e131"])
    assert {universe(packet) for packet in e131} == {3, 700}
    for row, number in ((0, 3), (3, 700)):
        own = [packet for packet in e131 if universe(packet) == number]
        assert all(len(packet) == 638 and packet[125] == 0 for packet in own)
        assert [packet[126:] for packet in own[:2]] == [lit().slots[row].tobytes()] * 2
        assert [terminated(packet) for packet in own] == [False] * (len(own) - 3) + [True] * 3
        closing = own[2:-3]
        assert closing, "no dark frame before the end of the stream"
        assert not any(any(packet[126:]) for packet in own[2:])
    # Source: Art-Net 4, ArtDmx: sequence octet 12, SubUni 14, Net 15, length 16–17, slots from 18.
    artnet = heard(sockets["artnet"])
    for row, number in ((1, 5), (2, 300)):
        own = [packet for packet in artnet if packet[15] << 8 | packet[14] == number]
        assert [packet[18:] for packet in own[:2]] == [lit().slots[row].tobytes()] * 2
        assert len(own) > 2
        assert not any(any(packet[18:]) for packet in own[2:])
    assert sender.packets == len(e131) + len(artnet)


def endings(sockets: dict[str, socket.socket], stop_at: set[int]) -> list[tuple[float, bytes]]:
    """What a sender that was lit sends in `close`, with seconds since its begin; some of its waits are cut short."""
    time, came, waits = Time(), [], []

    def listen() -> None:
        came.extend((time.now() - time.begin, packet) for sock in sockets.values() for packet in heard(sock))

    def wait(left: float) -> None:
        listen()
        waits.append(left)
        if len(waits) in stop_at:
            raise Ladder
        time.wait(left)

    sender = Sender(GOALS, interface="127.0.0.1", now=time.now, wait=wait)
    sender.send(lit())
    listen()
    came.clear()
    if stop_at:
        with pytest.raises(Ladder):
            sender.close()
        assert len(waits) == min(stop_at)
    else:
        sender.close()
    listen()
    return came


def test_the_end_is_spread_over_some_frames_and_prompt(sockets: dict) -> None:
    # From memory: ANSI E1.31-2018, 6.6.1: one universe's packets follow each other no quicker than DMX512-A's, 44 a
    # second (E1.11). The project's own rule: an outage of a tenth of a second cannot hide that it goes dark, and the
    # end takes well under a second.
    came = endings(sockets, set())
    assert max(at for at, _ in came) < 0.5
    streamed = [(at, packet) for at, packet in came if len(packet) == 638]
    for number in (3, 700):
        times = [at for at, packet in streamed if universe(packet) == number]
        dark = [at for at, packet in streamed if universe(packet) == number and not terminated(packet)]
        assert dark[0] == 0
        assert dark[-1] >= 0.1
        assert min(after - before for before, after in pairwise(times)) >= 1 / 44 - 1e-9
    for number in (5, 300):
        dark = [at for at, packet in came if packet[:3] == b"Art" and port_address(packet) == number]
        assert dark[0] == 0
        assert dark[-1] >= 0.1
        assert min(after - before for before, after in pairwise(dark)) >= 0.025


@pytest.mark.parametrize("stop_at", [{1}, {2}, {3}, {4}, {5}, {1, 2, 3}])
def test_whoever_does_not_wait_for_the_end_gets_it_at_once(sockets: dict, stop_at: set[int]) -> None:
    # Source: the design: the end is dark and ended also when a second Ctrl-C comes during the first.
    patient, hasty = endings(sockets, set()), endings(sockets, stop_at)

    def without_source(packets: list[tuple[float, bytes]]) -> list[bytes]:
        return sorted(packet[:22] + packet[38:] for _, packet in packets)

    assert without_source(hasty) == without_source(patient)
    assert len({at for at, _ in hasty}) == min(stop_at)


def test_sequences_rise_by_one_and_art_net_never_says_0(sockets: dict) -> None:
    # Source: ANSI E1.31-2018 6.7.2; Art-Net 4: 1 to 255, for 0 means unused.
    packets: dict[str, list[bytes]] = {"e131": [], "artnet": []}
    with Sender(GOALS, interface="127.0.0.1") as sender:
        for frame in range(600):
            sender.send(lit(frame % 2))
            for protocol, sock in sockets.items():
                packets[protocol] += heard(sock)
    for protocol, sock in sockets.items():
        packets[protocol] += heard(sock)
    for number in (3, 700):
        counts = [sequence(packet) for packet in packets["e131"] if universe(packet) == number]
        assert len(counts) >= 604
        assert {(after - before) % 256 for before, after in pairwise(counts)} == {1}
    for number in (5, 300):
        counts = [packet[12] for packet in packets["artnet"] if packet[15] << 8 | packet[14] == number]
        assert 0 not in counts
        assert {(before, after) for before, after in pairwise(counts)} == {(n, n % 255 + 1) for n in range(1, 256)}
    assert len({packet[22:38] for packet in packets["e131"]}) == 1  # Source: E1.31-2018, 5.6: one CID


def test_priority_and_a_universe_without_levels(sockets: dict) -> None:
    # Source: ANSI E1.31-2018, table 4-1 (clause from memory): priority octet 108.
    with Sender(GOALS[:2], priority=150, interface="127.0.0.1") as sender:
        sender.send(Levels((3,), np.full((1, 512), 9, dtype=np.uint8)))
        first = heard(sockets["e131"])
    assert [(universe(packet), packet[108], packet[126]) for packet in first] == [(3, 150, 9), (700, 150, 0)]
    assert {packet[108] for packet in heard(sockets["e131"])} == {150}


# --- keep-alive ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("rate", [40.0, 1.0])
def test_unchanged_levels_fall_back_to_keep_alive(sockets: dict, rate: float) -> None:
    # From memory: ANSI E1.31-2018, 6.6.2: three like packets, then one every 800 to 1000 ms; Art-Net 4 likewise.
    time = Time()
    times: dict[object, list[tuple[float, bytes]]] = {}

    def listen() -> None:
        for packet in heard(sockets["e131"]):
            times.setdefault(universe(packet), []).append((time.now(), packet[126:]))
        for packet in heard(sockets["artnet"]):
            times.setdefault(port_address(packet), []).append((time.now(), packet[18:]))

    with Sender(GOALS, interface="127.0.0.1", now=time.now, wait=time.wait) as sender:

        def wait(left: float) -> bool:
            sender.keep_alive()
            listen()
            time.seconds += min(left, 0.05)
            return False

        for elapsed in Clock(rate, time.now).frames(wait):
            if elapsed > 10:
                break
            sender.send(lit())
            listen()
        assert set(times) == {3, 5, 300, 700}
        for row, number in enumerate((3, 5, 300, 700)):
            assert {slots for _, slots in times[number]} == {lit().slots[row].tobytes()}
            gaps = [after - before for (before, _), (after, _) in pairwise(times[number])]
            assert all(gap <= 1 / rate + 1e-6 for gap in gaps[:2])
            assert all(0.8 <= gap <= 1.0 for gap in gaps[2:])
            assert len(gaps) >= 10


@examples(10, 60)
@given(st.lists(st.tuples(st.dictionaries(st.integers(0, 3), st.integers(0, 2)), st.booleans()), max_size=60))
def test_what_changes_leaves_with_its_frame_and_nothing_is_silent_for_long(
    frames: list[tuple[dict[int, int], bool]],
) -> None:
    # Source: the design: only what changed leaves at full rate, in the same frame; the rest is kept alive. Places in
    # a universe at which it changes are all over it, so that a change in one slot counts.
    time = Time()
    numbers, state = (3, 5, 300, 700), np.zeros((4, 512), dtype=np.uint8)
    boxes = {number: np.full(512, 99, dtype=np.uint8) for number in numbers}
    last: dict[int, float] = {}
    with (
        ear(HOST, E131) as e131_ear,
        ear(HOST, ARTNET) as artnet_ear,
        Sender(GOALS, now=time.now, wait=time.wait) as sender,
    ):
        like = dict.fromkeys(numbers, 0)
        for step, (changes, pause) in enumerate(frames):
            before = state.copy()
            for row, value in changes.items():
                state[row, (step * 37 + row) % 512] = value
            sender.send(Levels(numbers, state))
            came = [(universe(packet), packet[126:]) for packet in heard(e131_ear)]
            came += [(port_address(packet), packet[18:]) for packet in heard(artnet_ear)]
            assert len({number for number, _ in came}) == len(came)
            for number, slots in came:
                boxes[number][:] = np.frombuffer(slots, dtype=np.uint8)
            for row, number in enumerate(numbers):
                changed = step == 0 or bool((before[row] != state[row]).any())
                like[number] = 1 if changed else like[number] + 1
                left = number in {one for one, _ in came}
                assert boxes[number].tolist() == state[row].tolist()
                assert left or like[number] > 3
                assert not left or like[number] <= 3 or time.now() - last[number] >= 0.8
                last[number] = time.now() if left else last[number]
                assert time.now() - last[number] <= 1.0
            time.seconds += 0.5 if pause else 0.025


# --- synchronization ----------------------------------------------------------------------------------------------


def test_a_frame_is_synchronized_once_all_of_it_has_left(sockets: dict) -> None:
    # Source: ANSI E1.31-2018, 6.2.4 and 6.3: data name a universe, its sync packet follows.
    # From memory: Art-Net 4: ArtSync follows a frame's ArtDmx. A group's boxes hear it in the group.
    time = Time()
    in_group = Target("e131", 4000, "239.255.15.160")
    with (
        ear(HOST, E131, "239.255.15.160") as group,
        ear(HOST, E131, "239.255.0.3") as told,
        Sender([*GOALS, in_group], interface="127.0.0.1", sync=True, now=time.now, wait=time.wait) as sender,
    ):
        synced: list[bytes] = []
        for frame in range(300):
            sender.send(lit(frame % 2))
            *data, sync = heard(sockets["e131"])
            assert is_sync(sync)
            assert [universe(packet) for packet in data] == [3, 700]
            assert {sync_address(packet) for packet in (*data, sync)} == {3}
            synced.append(sync)
            (other,) = heard(told)
            assert other == sync
            assert {sync_address(packet) for packet in heard(group)} <= {3}
            first, second, last = heard(sockets["artnet"])
            assert [is_art_sync(packet) for packet in (first, second, last)] == [False, False, True]
            time.seconds += 0.025
        assert [sequence(packet) for packet in synced] == [(synced[0][44] + n) % 256 for n in range(300)]
        # Nothing that is not sent is synchronized, and what is kept alive is.
        for _ in range(2):
            sender.send(lit(1))
        heard(sockets["e131"]), heard(sockets["artnet"])
        sender.send(lit(1))
        assert heard(sockets["e131"]) + heard(sockets["artnet"]) == []
        time.seconds += 0.9
        sender.send(lit(1))
        assert [is_sync(packet) for packet in heard(sockets["e131"])] == [False, False, True]
        assert [is_art_sync(packet) for packet in heard(sockets["artnet"])] == [False, False, True]
        sender.close()
        # Source: ANSI E1.31-2018, 6.2.6: ended streams wait for no synchronization; the dark frames before do.
        ending = heard(sockets["e131"])
        assert [is_sync(packet) for packet in ending] == [False, False, True] * 3 + [False] * 6
        assert [sync_address(packet) for packet in ending] == [3] * 9 + [0] * 6
        assert not any(any(packet[126:]) for packet in ending if not is_sync(packet))
        assert [is_art_sync(packet) for packet in heard(sockets["artnet"])] == [False, False, True] * 3


def test_sacn_sees_our_priority_synchronization_and_end() -> None:
    # Judge: sacn 1.11, its receiver: it acts on priorities and termination, and only hands on the address that data
    # are synchronized by.
    events: queue.SimpleQueue[object] = queue.SimpleQueue()
    receiver = sacn.sACNreceiver(bind_address=HOST, bind_port=E131)
    receiver.register_listener("availability", lambda universe, changed: events.put((universe, changed)))
    receiver.register_listener(
        "universe",
        lambda packet: events.put((packet.universe, packet.priority, packet.syncAddr, packet.dmxData[0])),
        universe=700,
    )
    goal = [Target("e131", 700, HOST)]

    def full(value: int) -> Levels:
        return Levels((700,), np.full((1, 512), value, dtype=np.uint8))

    receiver.start()
    try:
        with Sender(goal, priority=150, sync=True, interface="127.0.0.1") as high:
            high.send(full(1))
            found = [events.get(timeout=WAIT) for _ in range(2)]
            with Sender(goal, priority=90, interface="127.0.0.1") as low:
                low.send(full(2))
            high.send(full(3))
            # The lower one is not shown, but its end is seen; then the higher one is there again.
            found += [events.get(timeout=WAIT) for _ in range(5)]
        ends = [events.get(timeout=WAIT) for _ in range(4)]
    finally:
        receiver.stop()
    assert found[:2] == [(700, "available"), (700, 150, 700, 1)]
    assert found[2:] == [(700, "timeout")] * 3 + [(700, "available"), (700, 150, 700, 3)]
    assert ends == [(700, 150, 700, 0), *[(700, "timeout")] * 3]


# --- discovery ----------------------------------------------------------------------------------------------------


def test_discovery_tells_the_universes_every_ten_seconds() -> None:
    # Source: ANSI E1.31-2018, Appendix A (clause from memory): E131_UNIVERSE_DISCOVERY_INTERVAL is 10 s. From
    # memory: 8.5: the group of universe 64214; at most 512 a page. Judge: sacn 1.11 reads the pages.
    time = Time()
    universes = list(range(1, 601))
    goals = [Target("e131", number, HOST) for number in universes] + [Target("artnet", 7000, HOST)]
    heard_at = []
    with (
        ear(HOST, E131, "239.255.250.214") as group,
        ear(HOST, E131) as box,
        Sender(goals, interface="127.0.0.1", source="lock keeper", now=time.now, wait=time.wait) as sender,
    ):
        group.setsockopt(socket.IPPROTO_IP, 12, 1)  # IP_RECVTTL, ip(7)
        for _ in range(50 * 40):
            sender.send(Levels((), np.zeros((0, 512), dtype=np.uint8)))
            data = heard(box)
            while True:
                try:
                    packet, told, _, _ = group.recvmsg(2048, 64)
                except BlockingIOError:
                    break
                heard_at.append((round(time.now() - time.begin, 3), packet))
                # Source: RFC 1112, 6.1: with a time-to-live of 0 it does not leave the machine.
                assert [int.from_bytes(octets, "little") for _, kind, octets in told if kind == socket.IP_TTL] == [0]
                assert data == [] or packet[22:38] == data[0][22:38]
            time.seconds += 0.025
    times = [at for at, _ in heard_at[::2]]
    assert len(heard_at) == 10
    assert times == [at for at, _ in heard_at[1::2]]
    assert times[0] == 0
    assert all(10 <= after - before <= 10.026 for before, after in pairwise(times))
    pages = [UniverseDiscoveryPacket.make_universe_discovery_packet(packet) for _, packet in heard_at[:2]]
    assert [(page.sourceName, page.page, page.lastPage) for page in pages] == [("lock keeper", n, 1) for n in (0, 1)]
    assert [len(page.universes) for page in pages] == [512, 88]
    assert [number for page in pages for number in page.universes] == universes


def test_without_an_interface_boxes_alone_are_sent_to() -> None:
    # Source: the project's own rule: nothing goes to whoever is not of the show, unless an interface was chosen for it.
    with ear(HOST, E131, "239.255.250.214") as group, ear(HOST, E131) as box:
        with Sender([Target("e131", 1, HOST)]) as sender:
            sender.send(lit())
        assert len(heard(box)) == 7
        assert heard(group) == []


# --- a quarter of an hour -------------------------------------------------------------------------------------------


@pytest.mark.long
def test_it_neither_drifts_nor_grows(sockets: dict) -> None:
    # Source: arithmetic; ANSI E1.31-2018, 6.7.2 (255, then 0); Art-Net 4 (255, then 1): each packet follows the last.
    time = Time(wakes_late=0.0003)
    seen: dict[int, int] = {}
    counts, seconds = dict.fromkeys((3, 700, 5, 300), 0), 900
    steady, moving = lit(), lit()
    grown: list[int] = []
    tracemalloc.start()
    try:
        with Sender(GOALS, interface="127.0.0.1", sync=True, now=time.now, wait=time.wait) as sender:
            clock = Clock(40.0, time.now)
            for number, elapsed in enumerate(clock.frames(time.wait)):
                if elapsed >= seconds:
                    break
                assert number / 40 <= elapsed <= number / 40 + 0.0003 + 1e-6
                moving.slots[0, number % 512] = number % 251
                sender.send(moving if number % 400 < 300 else steady)
                for packet in heard(sockets["e131"]):
                    key = 0 if is_sync(packet) else universe(packet)
                    assert sequence(packet) == (seen.get(key, sequence(packet) - 1) + 1) % 256
                    seen[key] = sequence(packet)
                    counts[key] = counts.get(key, 0) + 1
                for packet in heard(sockets["artnet"]):
                    if not is_art_sync(packet):
                        key = port_address(packet)
                        assert packet[12] == seen.get(key, 0) % 255 + 1
                        seen[key] = packet[12]
                        counts[key] += 1
                if number % 7200 == 3600:
                    grown.append(tracemalloc.get_traced_memory()[0])
    finally:
        tracemalloc.stop()
    assert clock.late.frames == 40 * seconds
    assert clock.dropped == 0
    assert counts[3] > 0.7 * 40 * seconds > seconds < counts[700]
    assert max(grown[1:]) - min(grown[1:]) < 50_000
