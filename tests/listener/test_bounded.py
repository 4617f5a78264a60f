"""Whatever comes over the network, memory of `yard` and `listen` stays under a bound, and is given back."""

import gc
import json
import os
import random
import resource
import signal
import socket
import subprocess
import sys
import time
import types
from collections.abc import Iterator
from ipaddress import IPv4Address
from pathlib import Path

import pytest

from patcher.listener.receiver import Ear, Receiver
from patcher.listener.streams import Listening
from patcher.wire import artnet as wire_artnet
from patcher.yard.network_trouble import Trouble
from patcher.yard.simulated_box import SimulatedBox
from rig.loopback import E131, HOST
from rig.one_run import show_file
from rig.packets import art_poll_reply, artnet, discovery, e131, e131_sync, full

SHARED = (type, types.ModuleType, types.FunctionType, types.BuiltinFunctionType, types.MethodType)


def weight(root: object) -> int:
    """Octets of all that is held by something: its whole graph, added up."""
    seen, waiting, octets = {id(root)}, [root], 0
    while waiting:
        one = waiting.pop()
        octets += sys.getsizeof(one)
        for other in gc.get_referents(one):
            if id(other) not in seen and not isinstance(other, SHARED):
                seen.add(id(other))
                waiting.append(other)
    return octets


def flood(seed: int, packets: int) -> Iterator[tuple[str, bytes, str, float]]:
    """Made-up packets of every kind, each with a sender of its own and every field at random; a thousand a second."""
    chance = random.Random(seed)
    for number in range(packets):
        cid, sender = chance.randbytes(16), f"{IPv4Address(chance.getrandbits(32))}:{chance.randrange(1, 65536)}"
        sequence, universe, now = chance.randrange(256), chance.randrange(1, 64000), number / 1000
        kind = chance.randrange(8)
        if kind < 2:
            near = chance.choice([7, 8, 9, universe])
            packet = e131(near, full(chance.randrange(256)), sequence=sequence, cid=cid, priority=chance.randrange(201),
                          sync=chance.choice([0, universe]))  # fmt: skip
        elif kind == 2:
            packet = e131_sync(universe, sequence, cid)
        elif kind == 3:
            last = chance.randrange(256)
            listed = sorted(chance.sample(range(1, 64000), 512))
            packet = discovery(listed, chance.randrange(last + 1), last, cid, chance.randbytes(20).hex())
        elif kind == 4:
            packet = artnet(chance.choice([7, 8, 9, universe & 0x7FFF]), full(chance.randrange(256)), sequence)
        elif kind == 5:
            packet = poll_reply(chance)
        elif kind == 6:
            packet = wire_artnet.sync_packet()
        else:
            packet = chance.randbytes(chance.randrange(700))
        yield "artnet" if kind in (4, 5, 6) else "e131", bytes(packet), sender, now


def poll_reply(chance: random.Random) -> bytes:
    switch = chance.randrange(1 << 11) << 4
    ports = [switch | chance.randrange(16) for _ in range(4)]
    return bytes(art_poll_reply(ports, short_name=chance.randbytes(9).hex()))


def check_bounded(seed: int, packets: int) -> None:
    box, art, listening = (
        SimulatedBox("mill", "e131", (7, 8, 9)),
        SimulatedBox("weir", "artnet", (7, 8, 9)),
        Listening(most=500),
    )
    most = {"box": 0, "listening": 0}
    for number, (protocol, packet, sender, now) in enumerate(flood(seed, packets)):
        (box if protocol == "e131" else art).receive(packet, sender, now)
        listening.receive(packet, "e131" if protocol == "e131" else "artnet", sender, now)
        if number % 50 == 0:
            box.expire(now)
            art.expire(now)
        if number % (packets // 4) == packets // 4 - 1:
            most["box"] = max(most["box"], weight(box), weight(art))
            most["listening"] = max(most["listening"], weight(listening))
    assert most["box"] < 1_000_000
    assert most["listening"] < 12_000_000
    # What was left out is said.
    assert listening.left_aside > 0
    assert any("more sources" in what for what in box.counts)
    assert any("more synchronization" in what for what in box.counts)
    assert any("more sources" in what for what in art.counts)
    # And all that a box knows of others is forgotten once they are silent.
    for one in (box, art):
        one.expire(now + 10)
        one.receive(bytes(e131(7, full(1), sequence=0)), "127.0.0.1:1", now + 10)
    assert not box.stream_sync.universes
    assert weight(box) < 300_000


def test_made_up_packets_take_no_more_memory_than_a_bound() -> None:
    check_bounded(1, 8_000)


@pytest.mark.long
def test_many_more_made_up_packets_take_no_more() -> None:
    check_bounded(2, 200_000)


def test_a_delay_keeps_no_more_than_a_bound_under_way(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("patcher.yard.network_trouble.MOST_UNDER_WAY", 100)
    trouble = Trouble(delay=10.0, double=1.0, begin=0.0)
    for number in range(1000):
        trouble.send("mill", full(1), "127.0.0.1:1", number / 1000)
    assert weight(trouble) < 200_000
    assert len([*trouble.arrived(20.0)]) == 100
    assert trouble.too_many == 1900


def test_a_look_takes_no_more_than_its_share_of_what_waits(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("patcher.listener.receiver.IN_ALL", 40)
    ears = [Ear(HOST, port) for port in range(20000, 20010)]
    with Receiver(ears) as receiver, socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sender:
        for ear in ears:
            for number in range(30):
                sender.sendto(bytes([number]), (ear.host, ear.port))
        looks = []
        while found := receiver.poll(0.0):
            looks.append(found)
        assert all(len(look) <= 10 * 8 for look in looks)
        assert sum(map(len, looks)) == 300
        receiver.leave(ears[0])
        sender.sendto(b"x", (HOST, 20000))
        assert receiver.poll(0.05) == []


@pytest.mark.long
def test_a_thousand_synchronization_universes_do_not_end_the_yard(tmp_path: Path) -> None:
    # Source: found in use: 1 080 packets with different synchronization universes exhausted its files.
    universe = 10_000 + os.getpid() % 30_000
    box = {"chains": [["wheel"]], "delivery": "multicast"}
    show = show_file(tmp_path / "mill.toml", {"wheel": 40}, universe, mill=box)
    call = [sys.executable, "-m", "patcher", "yard", show, "--json"]
    yard = subprocess.Popen(
        call, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_NOFILE, (64, 64)),
    )  # fmt: skip
    group = (f"239.255.{universe >> 8}.{universe & 255}", E131)
    try:
        assert yard.stderr is not None
        while "ready" not in yard.stderr.readline():
            assert yard.poll() is None
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sender:
            sender.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_IF, socket.inet_aton("127.0.0.1"))
            for number in range(1080):
                sender.sendto(e131(universe, full(9), number, sync=1 + number), group)
                if number % 100 == 0:
                    time.sleep(0.01)
            sender.sendto(e131(universe, full(7), 1080), group)
            time.sleep(0.2)
        assert yard.poll() is None
        yard.send_signal(signal.SIGTERM)
        out, err = yard.communicate(timeout=30)
    finally:
        yard.kill()
        yard.communicate()
    assert yard.returncode == 0, err
    said = json.loads(out)
    assert said["runs"][0]["lamps"] == [[7, 7, 7]] * 40
    (box,) = said["boxes"]
    assert box["packets"]["with more synchronization addresses than it keeps apart"] > 900


def test_discovery_pages_are_bounded_and_give_way_once_they_are_old(monkeypatch: pytest.MonkeyPatch) -> None:
    # Source: found in use: 2 000 sources of 256 pages of 512 universes took 10 GB.
    monkeypatch.setattr("patcher.listener.streams.MOST_PAGES", 40)
    listening, universes = Listening(), list(range(1, 513))
    for cid in (b"a" * 16, b"b" * 16, b"c" * 16):
        for page in range(30):
            listening.receive(discovery([page * 512 + u for u in universes], page, 29, cid, "mill"), "e131", "1:1", 0.0)
    assert listening.left_aside == 50
    assert weight(listening) < 40 * 1024 + 40_000
    named = set(listening.named())
    assert named == set(range(1, 30 * 512 + 1))
    # A page that is known is taken at any time; the others once nothing was heard of a source for two announcements.
    listening.receive(discovery([63999], 0, 29, b"a" * 16, "mill"), "e131", "1:1", 20.0)
    assert 63999 in listening.named()
    listening.receive(discovery([7], cid=b"d" * 16, name="weir"), "e131", "1:1", 30.0)
    assert [one.source_name for one in listening.heard(30.0).announced] == ["mill", "weir"]


def test_the_port_addresses_of_nodes_are_bounded(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("patcher.listener.streams.MOST_PORT_ADDRESSES", 60)
    listening, chance = Listening(), random.Random(3)
    for _ in range(300):
        listening.receive(poll_reply(chance), "artnet", "192.0.2.7:6454", 0.0)
    (node,) = listening.heard(0.0).nodes
    assert 50 < len(node.port_addresses) <= 60
    assert listening.left_aside > 200
    for number in range(4):
        listening.receive(poll_reply(chance), "artnet", f"192.0.2.{number + 8}:6454", 60.0)
    assert "192.0.2.7" not in [one.address for one in listening.heard(60.0).nodes]
