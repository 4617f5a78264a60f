"""The yard's Art-Net boxes say which Port-Addresses they listen to, to whoever asks on this machine."""

import json
import socket
from pathlib import Path

from rig.packets import MAC
from rig.shipped import Patcher
from rig.yard_process import a_yard

POLL = b"Art-Net\0\x00\x20\x00\x0e\x00\x00"
"""Source: Art-Net 4, ArtPoll: 0x2000 low octet first, protocol version 14, no flags, no diagnostics."""


def ports_of(reply: bytes) -> list[int]:
    """Source: Art-Net 4, ArtPollReply: NetSwitch at 18, SubSwitch at 19, NumPorts at 173, SwOut from 190."""
    assert len(reply) == 239
    assert reply[8:10] == b"\x00\x21"
    return [reply[18] << 8 | reply[19] << 4 | low for low in reply[190 : 190 + reply[173]]]


def asked(host: str, replies: int) -> list[bytes]:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock:
        sock.bind(("127.0.0.1", 0))
        sock.settimeout(5)
        sock.sendto(POLL, (host, 6454))
        found = [sock.recvfrom(2048) for _ in range(replies)]
    assert {sender for _, sender in found} == {(host, 6454)}
    return [octets for octets, _ in found]


def test_the_yards_boxes_answer_as_they_are_typed(heron_lock: Path, here: Patcher) -> None:
    # Source: the shipped show: gatepost has universes 3 to 8, typed in 2 too high here; MAC: none is said
    with a_yard(heron_lock, "--fault", "universe-shift:gatepost=2") as yard:
        assert here("patch", heron_lock).returncode == 0
        for seconds in (0.8, 3, 9):  # a busy machine lets the yard wait
            found = json.loads(here("listen", heron_lock, "--yard", "--seconds", seconds, "--json").stdout)
            boxes = {one["box"]: one for one in found["boxes"]}
            if boxes["gatepost"]["port_addresses"] and boxes["mooring"]["port_addresses"]:
                break
        assert boxes["gatepost"]["port_addresses"] == [5, 6, 7, 8, 9, 10]
        assert boxes["lockhouse"]["answers"] == "yard"  # E1.31 boxes say nothing
        (wrong,) = (one for one in found["findings"] if one["rule"] == "port-addresses")
        assert wrong["says"] == "listens to 5, 6, 7, 8 of 3–8: 3, 4 are missing"
        assert found["ticked"] == ["mooring"]
        assert not heron_lock.with_name("heron-lock.done.toml").exists()  # practice is kept apart
        assert heron_lock.with_name("heron-lock.practice-done.toml").exists()
        replies = asked(boxes["gatepost"]["address"], 2)
        assert [ports_of(reply) for reply in replies] == [[5, 6, 7, 8], [9, 10]]
        assert [reply[211] for reply in replies] == [1, 2]
        assert MAC not in replies[0]
        yard.end()


def test_a_dead_box_does_not_answer(heron_lock: Path, here: Patcher) -> None:
    with a_yard(heron_lock, "--fault", "dead:gatepost"):
        found = json.loads(here("listen", heron_lock, "--yard", "--seconds", 0.8, "--json").stdout)
    assert {one["box"]: one["answers"] for one in found["boxes"]}["gatepost"] is None
