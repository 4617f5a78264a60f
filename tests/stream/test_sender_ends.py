"""`send` as a person runs it: however it ends, pixels are dark and streams ended; real processes and signals."""

import json
import os
import pty
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from rig.loopback import ARTNET, E131, HOST, is_sync, port_address, terminated, universe

PATIENCE = 30.0
SHOW = """\
[show]
title = "Lock keeper's bench"
[pixel.rgb]
colour_order = "RGB"
[controller.near]
address = "192.0.2.1"
ports = 1
port = { 1 = ["line"] }
[controller.art]
address = "192.0.2.3"
protocol = "artnet"
ports = 1
port = { 1 = ["branch"] }
[run.line]
pixel = "rgb"
pixels = 200
[run.branch]
pixel = "rgb"
pixels = 3
"""


@pytest.fixture
def show(tmp_path: Path) -> Path:
    path = tmp_path / "bench.toml"
    path.write_text(SHOW)
    return path


class Ears:
    """What a process sends, by protocol."""

    def __init__(self) -> None:
        self.e131: list[bytes] = []
        self.artnet: list[bytes] = []
        self.sockets = {}
        for port, kept in ((E131, self.e131), (ARTNET, self.artnet)):
            sock = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
            sock.bind((HOST, port))
            sock.setblocking(False)
            self.sockets[sock] = kept

    def listen(self) -> None:
        for sock, kept in self.sockets.items():
            while True:
                try:
                    kept.append(sock.recv(2048))
                except BlockingIOError:
                    break

    def until_lit(self) -> None:
        limit = time.monotonic() + PATIENCE
        while not (any(any(packet[126:]) for packet in self.e131) and any(any(p[18:]) for p in self.artnet)):
            assert time.monotonic() < limit
            self.listen()

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


@contextmanager
def sending(show: Path, *options: object, **streams: object) -> Iterator[subprocess.Popen[bytes]]:
    call = [sys.executable, "-m", "patcher", "send", *map(str, options), str(show), "--to", HOST]
    given = {"stdin": subprocess.DEVNULL, "stdout": subprocess.PIPE, "stderr": subprocess.PIPE} | streams
    process = subprocess.Popen([*call, "--interface", "127.0.0.1"], **given)  # type: ignore[call-overload]
    try:
        yield process
    finally:
        if process.poll() is None:
            process.kill()
        process.communicate()


@pytest.mark.parametrize("first", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_signals_one_upon_another_end_dark(show: Path, ears: Ears, first: int) -> None:
    with sending(show, "steady") as process:
        ears.until_lit()
        process.send_signal(first)
        for _ in range(20):
            process.send_signal(signal.SIGINT)
            ears.listen()
        # What is left of the program after the pixels are dark may be cut short.
        assert process.wait(PATIENCE) in (0, 130, -signal.SIGINT)
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
        limit = time.monotonic() + PATIENCE
        while any(ears.e131[-1][126:]):
            assert time.monotonic() < limit
            ears.listen()
        process.send_signal(signal.SIGINT)
        _, said = process.communicate(timeout=PATIENCE)
        assert b"KeyboardInterrupt" in said
        ears.check_the_end()
    finally:
        process.kill()
        process.communicate()


def test_a_full_disk_ends_dark(show: Path, ears: Ears) -> None:
    # Source: full(4): each write to /dev/full fails for want of room.
    with Path("/dev/full").open("wb") as full, sending(show, "steady", stdout=full) as process:
        assert process.wait(PATIENCE) != 0
        ears.check_the_end()


def test_a_reader_that_goes_away_ends_dark(show: Path, ears: Ears) -> None:
    # As in `patcher send primaries SHOW | head -1`.
    with sending(show, "primaries", "--rate", 3) as process:
        assert process.stdout is not None
        process.stdout.readline()
        process.stdout.close()
        process.stdout = None
        assert process.wait(PATIENCE) != 0
        ears.check_the_end()


@pytest.mark.parametrize("step", [[], ["--step"]])
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


def test_a_closed_port_is_said_once_and_the_other_box_goes_on(show: Path) -> None:
    # Source: ip(7): a closed port answers by ICMP. The design: exit 1: done, and something is wrong.
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock:
        sock.bind((HOST, ARTNET))
        sock.settimeout(PATIENCE)
        with sending(show, "steady", "--seconds", 1.2, "--json", "--sync") as process:
            out, err = process.communicate(timeout=PATIENCE)
        assert port_address(sock.recv(2048)) == 3
    assert process.returncode == 1
    sent = json.loads(out)
    assert sent["unreachable"] == [{"host": HOST, "port": E131, "reason": "Connection refused", "back": False}]
    assert err.decode().count("cannot be reached: Connection refused") == 1


def test_a_press_is_on_the_wire_within_a_frame(show: Path, ears: Ears) -> None:
    # Source: the design: from a key press in --step to the first packet, one frame at most; here 250 ms.
    ours, theirs = pty.openpty()
    with sending(show, "dot", "--step", "--fps", 4, "--json", stdin=theirs) as process:
        os.close(theirs)
        limit = time.monotonic() + PATIENCE
        while not any(any(packet[126:]) for packet in ears.e131):
            assert time.monotonic() < limit
            ears.listen()
        took = []
        for press in range(1, 8):
            os.write(ours, b" ")
            begin = time.monotonic()
            while not any(packet[126 + 3 * press] for packet in ears.e131 if universe(packet) == 1):
                assert time.monotonic() < begin + PATIENCE
                ears.listen()
            took.append(time.monotonic() - begin)
        os.write(ours, b"q")
        assert process.wait(PATIENCE) == 0
    os.close(ours)
    assert max(took) <= 0.25


def test_sync_reaches_the_wire(show: Path, ears: Ears) -> None:
    # Source: ANSI E1.31-2018, 6.3: the option makes sync packets follow the frames.
    with sending(show, "steady", "--sync", "--seconds", 0.2) as process:
        assert process.wait(PATIENCE) == 0
    ears.listen()
    assert [is_sync(packet) for packet in ears.e131[:3]] == [False, False, True]
