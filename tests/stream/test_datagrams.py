"""Datagrams out and errors back: places that cannot be reached do not stop the others, and are found again."""

import json
import shutil
import socket
import subprocess
import sys

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from patcher.errors import PatcherError
from patcher.stream import datagrams
from patcher.stream.datagrams import FULL, Sendmmsg, Sendto
from patcher.stream.interfaces import interfaces
from patcher.stream.reach import Reach
from patcher.stream.sender import Sender, Target
from rig.examples import examples
from rig.guard import SentOutside
from rig.loopback import E131, GOALS, HOST, Time, ear, heard, lit, universe

OFF = HOST.replace("127.9.", "127.8.")
"""An address of this machine at which nobody listens."""


@pytest.fixture(params=["sendmmsg", "sendto"])
def way(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> str:
    if request.param == "sendto":
        monkeypatch.setattr(datagrams, "Sendmmsg", Sendto)
    return str(request.param)


def block(hosts: list[tuple[str, int]]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    rows = len(hosts)
    octets = np.random.default_rng(1).integers(0, 256, (rows, 80), dtype=np.uint8)
    return octets, np.arange(rows) % 7, 10 + np.arange(rows) % 50


@pytest.mark.parametrize("kind", [Sendmmsg, Sendto])
def test_every_row_arrives_whole_and_in_order(kind: type) -> None:
    # Source: sendmmsg(2): at most 1024 in a call; each to its own address.
    with ear(HOST, E131) as one, ear(HOST, E131 + 1) as two, socket.socket(type=socket.SOCK_DGRAM) as sock:
        places = [(HOST, E131 + row % 2) for row in range(2500)]
        octets, begins, lengths = block(places)
        out = kind(sock, octets, begins, lengths, places)
        for rows in (np.arange(2500), np.arange(1, 2500, 3), np.array([7]), np.arange(0)):
            assert out.send(rows, 0.0) == {}
            wanted = [octets[row, begins[row] : begins[row] + lengths[row]].tobytes() for row in rows]
            assert heard(one) == [packet for row, packet in zip(rows, wanted, strict=True) if row % 2 == 0]
            assert heard(two) == [packet for row, packet in zip(rows, wanted, strict=True) if row % 2 == 1]


@examples(66, 200)
@given(st.lists(st.sampled_from(["ok", "bad", "another's", "full once"]), max_size=40), st.integers(1, 9))
def test_each_row_is_tried_whatever_came_before_it(rows: list[str], most: int) -> None:
    # Source: sendmmsg(2): it stops before the first that fails, and tells of the error only where that is the first; an
    # error that came back by ICMP is told once, to whoever sends next.
    class System(datagrams._InTurn):
        def __init__(self) -> None:
            super().__init__(sock)
            self.left: list[int] = []
            self.told: set[int] = set()

        def _line_up(self, lined: np.ndarray) -> None:
            self.lined = lined.tolist()

        def _some(self, at: int, end: int) -> int:
            for place in range(at, min(end, at + most)):
                row = self.lined[place]
                passing = rows[row] in ("another's", "full once") and row not in self.told
                if rows[row] == "bad" or passing:
                    if place > at:
                        return place - at
                    self.told.add(row)
                    return -11 if rows[row] == "full once" else -113
                self.left.append(row)
            return min(end, at + most) - at

    with socket.socket(type=socket.SOCK_DGRAM) as sock:
        system = System()
        failed = system.send(np.arange(len(rows)), 5.0)
    assert failed == {row: 113 for row, kind in enumerate(rows) if kind == "bad"}
    assert system.left == [row for row, kind in enumerate(rows) if kind != "bad"]


def test_without_room_the_rest_is_handed_back() -> None:
    # Source: sendmmsg(2): EAGAIN, where a socket that does not wait has no room.
    class Full(datagrams._InTurn):
        def _line_up(self, lined: np.ndarray) -> None: ...

        def _some(self, at: int, end: int) -> int:
            return 3 if at == 0 else -11

    with socket.socket(type=socket.SOCK_DGRAM) as sock:
        failed = Full(sock).send(np.arange(5), 0.01)
    assert list(failed) == [3, 4]
    assert set(failed.values()) <= FULL


def test_a_box_that_is_off_is_lost_once_tried_each_second_and_found_again(way: str) -> None:
    # Source: ip(7), IP_RECVERR: a closed port answers by ICMP, ECONNREFUSED. The project's own rule: the others go on
    # in every frame.
    time = Time()
    goals = [Target("e131", 3, OFF), *GOALS[:2], Target("e131", 700, OFF)]
    news: list[tuple[float, Reach]] = []
    tries = set()
    with ear(HOST, E131) as others, Sender(goals, interface="127.0.0.1", now=time.now, wait=time.wait) as sender:

        def frames(seconds: float) -> None:
            for _ in range(int(seconds * 40)):
                sender.send(lit(int(time.seconds * 40) % 2))
                news.extend((round(time.now() - time.begin, 3), one) for one in sender.news())
                assert {universe(packet) for packet in heard(others)} == {3, 700}
                time.seconds += 0.025

        frames(10)
        assert news == [(0.025, Reach(OFF, E131, "Connection refused"))]
        assert sender.reached.lost == {(OFF, E131): "Connection refused"}
        with ear(OFF, E131) as box:
            begin = time.now()
            for _ in range(40 * 8):
                frames(0.025)
                if heard(box):
                    tries.add(round(time.now() - begin, 3))
            assert len(news) == 2
            assert news[1][1] == Reach(OFF, E131, None)
            assert 4 <= news[1][0] - 10 <= 6  # 5 s after the last error
            early = sorted(at for at in tries if at < news[1][0] - 10)
            assert early[0] <= 1.1
            assert len(early) <= 8
            assert len([at for at in tries if at > news[1][0] - 10]) >= 30
            assert sender.reached.gone == frozenset()
        frames(1)
        assert news[2][1] == Reach(OFF, E131, "Connection refused")


def test_a_box_that_is_back_gets_levels_that_stay_three_times_and_then_kept_alive(way: str) -> None:
    # From memory: ANSI E1.31-2018, 6.6.2, three like packets, then one every 800 to 1000 ms: to a box that is back, and
    # may have just been plugged in, all levels are new.
    time = Time()
    back, came = 0.0, []
    with (
        ear(HOST, E131),
        Sender([Target("e131", 3, OFF), *GOALS[:2]], interface="127.0.0.1", now=time.now, wait=time.wait) as sender,
    ):
        for _ in range(40):
            sender.send(lit())
            time.seconds += 0.025
        assert sender.reached.gone == {(OFF, E131)}
        sender.news()
        with ear(OFF, E131) as box:
            while time.now() - time.begin < 9:
                sender.send(lit())
                back = back or (time.now() if sender.news() else 0.0)
                came += [time.now()] * len(heard(box))
                time.seconds += 0.025
    after = [round(at - back, 3) for at in came if at >= back > 0]
    assert after[:3] == [0, 0.025, 0.05]
    assert 0.8 <= after[3] - after[2] <= 1.0


def test_what_found_no_room_goes_with_the_next_frame(monkeypatch: pytest.MonkeyPatch) -> None:
    # Source: sendmmsg(2): EAGAIN, where a socket that does not wait has no room; the loopback always has some.
    class Crowded(Sendto):
        frames = 0

        def send(self, rows: np.ndarray, patience: float) -> dict[int, int]:
            self.frames += 1
            return {0: 11} | super().send(rows[1:], patience) if self.frames == 3 else super().send(rows, patience)

    monkeypatch.setattr(datagrams, "Sendmmsg", Crowded)
    time = Time()
    with ear(HOST, E131) as box, Sender(GOALS[:2], interface="127.0.0.1", now=time.now, wait=time.wait) as sender:
        came = []
        for _ in range(5):
            sender.send(lit())
            came.append([universe(packet) for packet in heard(box)])
        assert came[:4] == [[3, 700], [3, 700], [700], [3]]
        assert sender.reached.lost == {}


def test_a_place_that_the_system_refuses_is_no_hindrance(way: str, monkeypatch: pytest.MonkeyPatch) -> None:
    # Source: the design: one box that is off must not darken the others. Port 0 stands for a box that is not there:
    # the system refuses it without sending.
    off = Target("e131", 9, "127.9.0.9")
    real = Target.port.fget  # type: ignore[attr-defined]
    monkeypatch.setattr(Target, "port", property(lambda goal: 0 if goal == off else real(goal)))
    with ear(HOST, E131) as box:
        with Sender([GOALS[0], off, GOALS[1]], interface="127.0.0.1") as sender:
            sender.send(lit())
        assert [one.host for one in sender.news()] == ["127.9.0.9"]
        assert [universe(packet) for packet in heard(box)] == [3, 700] * 7


def test_a_foreign_interface_is_refused_with_the_list() -> None:
    # Source: RFC 5737: 198.51.100.0/24 is nobody's. Judge: iproute2 tells this machine's addresses.
    with pytest.raises(PatcherError) as refused:
        Sender(GOALS, interface="198.51.100.7")
    (finding,) = refused.value.findings
    assert finding.where == "--interface"
    assert "198.51.100.7" in finding.says
    assert all(one.address in finding.remedy for one in interfaces())
    if shutil.which("ip"):
        told = json.loads(subprocess.run(["ip", "-j", "-4", "address"], capture_output=True, check=True).stdout)
        wanted = {one["local"] for entry in told if "UP" in entry["flags"] for one in entry["addr_info"]}
        assert {one.address for one in interfaces()} == wanted


@pytest.mark.parametrize("host", ["192.0.2.21", "239.255.0.1"])
def test_the_guard_stops_sendmmsg(host: str) -> None:
    # Source: DEVELOPERS.md: no test can send outside this machine, by whatever call of the system.
    with pytest.raises(SentOutside):
        Sender([Target("e131", 1, host)])


def test_the_guard_stops_sendmmsg_in_programs() -> None:
    # Source: as above.
    code = "from patcher.stream.sender import *; Sender([Target('e131', 1, '192.0.2.21')])"
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert ran.returncode != 0
    assert "SentOutside" in ran.stderr
