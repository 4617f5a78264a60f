"""`send` as a person runs it: however it ends, pixels are dark and streams ended; real processes and signals."""

import json
import os
import pty
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from rig.examples import later
from rig.loopback import ARTNET, E131, HOST, ear, heard, is_sync, port_address, terminated, universe
from rig.nursery import nursery
from rig.one_run import show_file
from rig.shipped import Patcher

PATIENCE = 30.0


@pytest.fixture
def show(tmp_path: Path) -> Path:
    near, art = {"chains": [["line"]]}, {"chains": [["branch"]], "protocol": "artnet"}
    return show_file(tmp_path / "bench.toml", {"line": 200, "branch": 3}, near=near, art=art)


class Ears:
    """What a process sends, by protocol."""

    def __init__(self) -> None:
        self.e131: list[bytes] = []
        self.artnet: list[bytes] = []
        self.sockets = {ear(HOST, E131): self.e131, ear(HOST, ARTNET): self.artnet}

    def listen(self) -> None:
        for sock, kept in self.sockets.items():
            kept += heard(sock)

    def until(self, true: Callable[[], bool]) -> None:
        limit = time.monotonic() + PATIENCE
        while not true():
            assert time.monotonic() < limit
            self.listen()

    def until_lit(self) -> None:
        self.until(lambda: any(any(p[126:]) for p in self.e131) and any(any(p[18:]) for p in self.artnet))

    def check_the_end(self) -> None:
        # Source: ANSI E1.31-2018, 6.2.6: three packets with Stream_Terminated. The project's own
        # rule: dark frames first, three of them for Art-Net, which has no end of a stream.
        self.listen()
        for number in (1, 2):
            own = [packet for packet in self.e131 if universe(packet) == number]
            assert [terminated(packet) for packet in own] == [False] * (len(own) - 3) + [True] * 3
            assert not any(any(packet[126:]) for packet in own[-6:])
        own = [packet for packet in self.artnet if port_address(packet) == 3]
        assert not any(any(packet[18:]) for packet in own[-3:])
        assert any(any(packet[18:]) for packet in own[:-3])


@pytest.fixture
def ears() -> Iterator[Ears]:
    opened = Ears()
    yield opened
    for sock in opened.sockets:
        sock.close()


def call(show: Path, *options: object) -> list[str]:
    return ["send", *map(str, options), str(show), "--to", HOST, "--interface", "127.0.0.1"]


@contextmanager
def sending(show: Path, *options: object, **streams: object) -> Iterator[subprocess.Popen[bytes]]:
    """A process with streams of its own kind."""
    given = {"stdin": subprocess.DEVNULL, "stdout": subprocess.PIPE, "stderr": subprocess.PIPE} | streams
    words = [sys.executable, "-m", "patcher", *call(show, *options)]
    process = subprocess.Popen(words, **given)  # type: ignore[call-overload]
    try:
        yield process
    finally:
        if process.poll() is None:
            process.kill()
        process.communicate()


@pytest.mark.parametrize("first", [signal.SIGINT, *later(signal.SIGTERM, signal.SIGHUP)])
def test_signals_one_upon_another_end_dark(show: Path, ears: Ears, first: int, tmp_path: Path) -> None:
    process = nursery().run(*call(show, "steady"), said=tmp_path / "said")
    ears.until_lit()
    os.kill(process, first)
    for _ in range(20):
        os.kill(process, signal.SIGINT)
        ears.listen()
    # What is left of the program after the pixels are dark may be cut short.
    assert nursery().wait(process) in (0, 130, -signal.SIGINT)
    ears.check_the_end()


PROGRAM = """
import signal, sys, time
signal.signal(signal.SIGINT, signal.default_int_handler)  # which whoever starts the tests may have taken away
import numpy as np
from patcher.frames.levels import Levels
from patcher.stream.sender import Sender, Target
host = sys.argv[1]
goals = [Target("e131", 1, host), Target("e131", 2, host), Target("artnet", 3, host)]
with Sender(goals, interface="127.0.0.1") as sender:
    while True:
        sender.send(Levels((1, 2, 3), np.full((3, 512), 9, dtype=np.uint8)))
        time.sleep(0.02)
"""


def test_a_second_ctrl_c_during_the_end_ends_dark(ears: Ears) -> None:
    # Source: as above; a program that does not catch its signals: Python raises KeyboardInterrupt wherever
    # it stands, the second time most likely between two of the last frames.
    process = subprocess.Popen([sys.executable, "-c", PROGRAM, HOST], stderr=subprocess.PIPE)
    try:
        ears.until_lit()
        process.send_signal(signal.SIGINT)
        ears.until(lambda: not any(ears.e131[-1][126:]))
        process.send_signal(signal.SIGINT)
        _, said = process.communicate(timeout=PATIENCE)
        assert b"KeyboardInterrupt" in said
        ears.check_the_end()
    finally:
        process.kill()
        process.communicate()


def test_a_full_disk_ends_dark(show: Path, ears: Ears, tmp_path: Path) -> None:
    # Source: full(4): each write to /dev/full fails for want of room.
    process = nursery().run(*call(show, "steady"), said=Path("/dev/full"), errors=tmp_path / "errors")
    assert nursery().wait(process) != 0
    ears.listen()
    assert not ears.e131 + ears.artnet, "its first words come before the first frame"


@pytest.mark.long
def test_a_reader_that_goes_away_ends_dark(show: Path, ears: Ears) -> None:
    # As in `patcher send primaries SHOW | head -1`.
    with sending(show, "primaries", "--rate", 3) as process:
        assert process.stdout is not None
        process.stdout.readline()
        process.stdout.close()
        process.stdout = None
        assert process.wait(PATIENCE) != 0
        ears.check_the_end()


@pytest.mark.parametrize("step", [["--step"], *later(([],))])
def test_a_terminal_that_closes_ends_dark(show: Path, ears: Ears, step: list[str]) -> None:
    # Source: termios(4), POSIX: a closed terminal sends SIGHUP to those whose terminal it is, and fails their writes.
    ours, theirs = pty.openpty()
    with sending(
        show, "ports", "--rate", 2, *step, stdin=theirs, stdout=theirs, stderr=theirs, start_new_session=True,
        preexec_fn=lambda: os.close(os.open(os.ttyname(1), os.O_RDWR)),
    ) as process:  # fmt: skip
        os.close(theirs)
        ears.until_lit()
        os.close(ours)
        process.wait(PATIENCE)
        ears.check_the_end()


@pytest.mark.long
def test_a_closed_port_is_said_once_and_the_other_box_goes_on(show: Path, here: Patcher) -> None:
    # Source: ip(7): a closed port answers by ICMP. The design: exit 1: done, and something is wrong.
    with ear(HOST, ARTNET) as sock:
        ran = here(*call(show, "steady", "--seconds", 1.2, "--json", "--sync"))
        assert port_address(heard(sock)[0]) == 3
    assert ran.returncode == 1
    unreachable = json.loads(ran.stdout)["unreachable"]
    assert unreachable == [{"host": HOST, "port": E131, "reason": "Connection refused", "back": False}]
    assert ran.stderr.count("cannot be reached: Connection refused") == 1


def test_a_press_is_on_the_wire_within_a_frame(show: Path, ears: Ears, tmp_path: Path) -> None:
    # Source: the design: from a key press in --step to the first packet, one frame at most; here 250 ms.
    ours, theirs = pty.openpty()
    words = call(show, "dot", "--step", "--fps", 4, "--json")
    process = nursery().run(*words, said=tmp_path / "said", typed=os.ttyname(theirs))
    ears.until(lambda: any(any(packet[126:]) for packet in ears.e131))
    took = []
    for press in range(1, 8):
        os.write(ours, b" ")
        begin = time.monotonic()
        ears.until(lambda press=press: any(p[126 + 3 * press] for p in ears.e131 if universe(p) == 1))
        took.append(time.monotonic() - begin)
    os.write(ours, b"q")
    assert nursery().wait(process) == 0
    for end in (ours, theirs):
        os.close(end)
    assert max(took) <= 0.25


def test_sync_reaches_the_wire(show: Path, ears: Ears, here: Patcher) -> None:
    # Source: ANSI E1.31-2018, 6.3: the option makes sync packets follow the frames.
    assert here(*call(show, "steady", "--sync", "--seconds", 0.2)).returncode == 0
    ears.listen()
    assert [is_sync(packet) for packet in ears.e131[:3]] == [False, False, True]
