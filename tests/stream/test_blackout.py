"""No light stays on: every signal that can be caught × every command that lights something, as real processes."""

import itertools
import os
import pty
import re
import select
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, suppress
from pathlib import Path
from urllib.request import Request, urlopen

import pytest
from websockets.sync.client import connect
from websockets.typing import Origin

from patcher.placement.allocation import allocate
from patcher.show.show_file import read_show
from patcher.wiring import wire
from patcher.yard.yard import sign
from rig.examples import later
from rig.loopback import E131, HOST, ear, heard, terminated
from rig.nursery import Nursery, nursery
from rig.one_run import show_file
from rig.signal_defaults import defaults

PATIENCE = 30.0


def woodpile(path: Path, universe: int) -> Path:
    """A box that hears by its group: there the test hears beside it, whoever else listens."""
    runs = {"logs": {"pixels": 40, "shape": "line", "path": [[0.0, 0.0], [4.0, 0.0]]}, "axe": 20}
    return show_file(path, runs, universe, shed={"chains": [["logs", "axe"]], "delivery": "multicast"})


def name(number: int) -> str:
    """Of a signal; real-time ones have none."""
    return signal.Signals(number).name if number in list(signal.Signals) else ""


STARTED = {"SIGPIPE", "SIGXFSZ"}
"""Signals that Python itself ignores from its start: a write that fails says so instead."""


DOES = defaults()
ENDS = [number for number, does in DOES.items() if does == "ends" and name(number) not in STARTED]
STOPS = [number for number, does in DOES.items() if does == "stops"]


def test_every_signal_that_ends_or_stops_a_program_is_taken() -> None:
    # Judge: the system itself, asked by sending each of its signals to a process that leaves it alone.
    code = "from patcher.terminal import signals; print(*sorted(signals.catchable()), *signals.STOPS)"
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout.split()
    taken = {int(word) for word in said if word.isdecimal()}
    assert taken == {*ENDS, *STOPS}
    assert {getattr(signal, word) for word in said if not word.isdecimal()} == set(STOPS)
    assert DOES[signal.SIGKILL] == DOES[signal.SIGSTOP] == "cannot be caught"


class Group:
    """What comes to a universe's group on this machine."""

    def __init__(self, universe: int, sock: socket.socket | None = None, show: Path | None = None) -> None:
        self.universe = universe
        self.packets: list[bytes] = []
        self._sock = sock or ear("", E131, f"239.255.{universe >> 8}.{universe & 255}")
        yard = show and sign(show)
        self._yard = ear(yard.host, yard.port) if yard else None  # commands look whether a yard runs

    def listen(self) -> None:
        self.packets += heard(self._sock)

    def until_lit(self) -> None:
        until(lambda: self.listen() or (bool(self.packets) and any(self.packets[-1][126:])))  # type: ignore[func-returns-value]

    def check_dark(self) -> None:
        # Source: ANSI E1.31-2018, 6.2.6: three packets with Stream_Terminated; the project's own
        # rule: dark ones come before.
        self.listen()
        assert [terminated(packet) for packet in self.packets[-4:]] == [False, True, True, True]
        assert not any(any(packet[126:]) for packet in self.packets[-6:])

    def close(self) -> None:
        self._sock.close()
        if self._yard is not None:
            self._yard.close()


def until(true: Callable[[], bool]) -> None:
    limit = time.monotonic() + PATIENCE
    while not true():
        assert time.monotonic() < limit
        time.sleep(0.005)


class Lit:
    """One process of one command that has lit its pixels."""

    numbers = itertools.count(11 + os.getpid() % 50 * 1000, 10)  # diagnose and phone also send to their neighbours

    def __init__(self, command: str, processes: Nursery, folder: Path) -> None:
        universe = next(self.numbers)
        show = woodpile(folder / f"woodpile-{universe}.toml", universe)
        self.group = Group(1, ear(HOST, E131)) if command == "bench" else Group(universe, show=show)
        self.said = folder / f"said-{universe}"
        self._processes = processes
        self._open = ExitStack()
        self.alive = True
        places = {"SHOW": show, "HOST": HOST}
        words = [places.get(word, word) for word in COMMANDS[command].split()]
        self.number = processes.run(*words, said=self.said)
        self.command = command

    def begin(self) -> None:
        """Until something is lit."""
        if self.command == "phone":
            self._tap()
        try:
            self.group.until_lit()
        except AssertionError:
            raise AssertionError(self.said.read_text()) from None

    def _tap(self) -> None:
        until(lambda: self.said.exists() and "Ctrl-C ends it" in self.said.read_text())
        origin, secret = self.said.read_text().splitlines()[0].split("/#")
        host = origin.removeprefix("http://")
        entered = Request(f"{origin}/enter", secret.encode(), {"Origin": origin})
        with urlopen(entered) as answer:
            cookie = answer.headers["Set-Cookie"].partition(";")[0]
        page = self._open.enter_context(
            connect(f"ws://{host}/state", origin=Origin(origin), additional_headers={"Cookie": cookie}, proxy=None)
        )
        page.send('{"do":"light"}')

    def close(self) -> None:
        if self.alive:
            os.kill(self.number, signal.SIGKILL)
            self._processes.wait(self.number)
        self._open.close()
        self.group.close()

    def gone_or_stopped(self) -> object:
        how = self._processes.wait(self.number)
        self.alive = how == "stopped"
        self.group.check_dark()
        said = self.said.read_text()
        assert "Traceback" not in said
        assert "has a bug" not in said
        return how

    def ended_in_the_dark(self) -> None:
        """It ends, and has sent nothing since its packets were forgotten that lights a pixel."""
        assert self._processes.wait(self.number) != "stopped"
        self.alive = False
        self.group.listen()
        assert not any(any(packet[126:]) for packet in self.group.packets)


COMMANDS = {
    "send": "send steady SHOW --yard",
    "bench": "bench HOST steady --pixels 5",
    "send by keys": "send dot SHOW --step --yard",
    "verify": "verify SHOW --yard --by-hand",
    "verify by itself": "verify SHOW --yard --fault cut:logs/3 --again",
    "diagnose": "diagnose SHOW logs --yard",
    "film": "film SHOW --yard",
    "phone": "phone SHOW --yard --port 0",
}


@pytest.fixture
def processes() -> Nursery:
    return nursery()


Light = Callable[[str], Lit]


@pytest.fixture
def light(processes: Nursery, tmp_path: Path) -> Iterator[Light]:
    """Starts a command, and waits until it has lit something."""
    lit: list[Lit] = []

    def begin(command: str) -> Lit:
        lit.append(Lit(command, processes, tmp_path))
        lit[-1].begin()
        return lit[-1]

    yield begin
    for one in lit:
        one.close()


NAMED = [number for number in ENDS if name(number)]


def check_ends(commands: list[str], numbers: list[int], light: Light) -> None:
    pairs = list(itertools.product(commands, numbers))
    most = 1 if "bench" in commands else 12  # a box's address can be listened on once
    for some in (pairs[at : at + most] for at in range(0, len(pairs), most)):
        lit = [light(command) for command, _ in some]
        for one, (_, number) in zip(lit, some, strict=True):
            os.kill(one.number, number)
        for one in lit:
            assert one.gone_or_stopped() in (0, 1)
            one.close()


@pytest.mark.parametrize("at", [0, *later(1, 2)])
def test_send_ends_dark_by_every_signal(at: int, light: Light) -> None:
    check_ends(["send"], NAMED[at::3], light)


@pytest.mark.parametrize("command", [command for command in COMMANDS if command != "send"])
def test_every_command_ends_dark(command: str, light: Light) -> None:
    check_ends([command], [signal.SIGSEGV], light)


@pytest.mark.long
@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_ends_dark_by_every_signal(command: str, light: Light) -> None:
    check_ends([command], [*NAMED, signal.SIGRTMIN, signal.SIGRTMAX], light)


@pytest.mark.parametrize("command", ["send", "send by keys", "phone", *later("bench", "verify", "diagnose")])
def test_what_is_stopped_is_dark_and_comes_back(command: str, light: Light) -> None:
    lit = light(command)
    look = lit.group.packets[-1][126:]
    for number in STOPS:
        os.kill(lit.number, number)
        assert lit.gone_or_stopped() == "stopped"
        os.kill(lit.number, signal.SIGCONT)
        lit.group.until_lit()
        if command in ("send", "bench", "phone"):
            assert lit.group.packets[-1][126:] == look
        sequences = [packet[111] for packet in lit.group.packets]
        # Source: ANSI E1.31-2018, 6.7.2: a box drops what is 0 to 19 behind the newest; so each is one more.
        assert all((after - before) % 256 == 1 for before, after in itertools.pairwise(sequences))
    os.kill(lit.number, signal.SIGTSTP)
    assert lit.gone_or_stopped() == "stopped"
    # As a shell does with a job that is stopped and to be ended: nothing may be lit on the way.
    lit.group.packets.clear()
    os.kill(lit.number, signal.SIGTERM)
    os.kill(lit.number, signal.SIGCONT)
    lit.ended_in_the_dark()
    # The clock stood still for more than a second and a half, 60 frames: they are not late, and not left out.
    left_out = re.search(r"(\d+) late frames? left out", lit.said.read_text())
    assert left_out is None or int(left_out[1]) < 30


# --- a terminal ----------------------------------------------------------------------------------------------------


class Shell:
    """A shell with job control on a terminal of its own, and what is seen there."""

    def __init__(self, shell: str) -> None:
        self.pid, self._ours = pty.fork()
        if self.pid == 0:
            plain = {"PS1": "ready> ", "TERM": "dumb", "ENV": "", "BASH_ENV": ""}
            os.execvpe(shell, [shell, *["--norc"] * (shell == "bash"), "-i"], os.environ | plain)
        self.seen = ""

    def type(self, text: str) -> None:
        os.write(self._ours, text.encode())

    def read(self) -> bool:
        if select.select([self._ours], [], [], 0.02)[0]:
            self.seen += os.read(self._ours, 65536).decode(errors="replace")
        return True

    def until(self, words: str) -> None:
        until(lambda: self.read() and words in self.seen)
        self.seen = self.seen.partition(words)[2]

    def close(self) -> None:
        os.kill(self.pid, signal.SIGKILL)
        os.waitpid(self.pid, 0)
        os.close(self._ours)


@pytest.mark.parametrize("kind", ["bash", *later("dash")])
def test_ctrl_z_and_fg_in_a_shell(kind: str, tmp_path: Path) -> None:
    # Judge: job control of bash and of dash, which leaves a terminal as its jobs leave it; stty.
    universe = next(Lit.numbers)
    show, group, shell = (
        woodpile(tmp_path / "woodpile.toml", universe),
        Group(universe, show=tmp_path / "woodpile.toml"),
        Shell(kind),
    )

    def lit(pixel: int) -> bool:
        shell.read()
        group.listen()
        return bool(group.packets) and any(group.packets[-1][126 + 3 * pixel : 129 + 3 * pixel])

    try:
        shell.until("ready> ")
        shell.type(f"{sys.executable} -m patcher send dot {show} --step --yard\n")
        until(lambda: lit(0))
        shell.type(" ")
        until(lambda: lit(1))
        shell.type("\x1a")
        shell.until("Stopped")
        group.check_dark()
        shell.type("stty -a\n")
        shell.until("-a")
        shell.until("isig icanon")
        shell.type("fg\n")
        until(lambda: lit(1))
        shell.type(" ")
        until(lambda: lit(2))
        # In the background it goes on, and leaves the keys to the shell.
        shell.type("\x1a")
        shell.until("Stopped")
        shell.type("bg\n")
        until(lambda: lit(2))
        shell.type("echo said  by the shell\n")
        shell.until("said by the shell")
        assert lit(2)
        shell.type("fg\n")
        shell.until("send dot")
        shell.type(" ")
        until(lambda: lit(3))
        shell.type("\x1c")
        shell.until("now dark")
        group.check_dark()
        shell.until("ready> ")
    finally:
        group.close()
        shell.close()


@pytest.mark.parametrize("where", ["terminal", *later("pipe")])
def test_a_reader_that_stops_reading_holds_up_no_packet_and_no_ctrl_c(where: str, tmp_path: Path) -> None:
    # Source: found in use: a reader that stops reading held up frames; pipe(7), pty(7): a write to what is full waits.
    universe = next(Lit.numbers)
    show = woodpile(tmp_path / "woodpile.toml", universe)
    group = Group(universe, show=show)
    unread, theirs = os.pipe() if where == "pipe" else pty.openpty()
    os.set_blocking(theirs, False)
    with suppress(BlockingIOError):
        while True:
            os.write(theirs, b"." * 100)
    os.set_blocking(theirs, True)
    os.read(unread, 4096)  # a page: room for what is said before anything is lit
    call = ("send", "dot", show, "--yard", "--rate", 200, "--fps", 200)
    process = nursery().run(*call, said=Path(f"/proc/{os.getpid()}/fd/{theirs}"))
    try:
        group.until_lit()
        began, before = time.monotonic(), len(group.packets)
        while time.monotonic() < began + 1.2:
            group.listen()
            time.sleep(0.005)
        # A dot moves with every frame: each is a packet. This machine may be busy with other tests.
        assert len(group.packets) - before > 40
        assert time.monotonic() - began < 2
        os.kill(process, signal.SIGINT)
        assert nursery().wait(process) in (0, 2)  # 2: what it had to say could not be written
        group.check_dark()
    finally:
        group.close()
        os.close(theirs)
        os.close(unread)


# --- what else lights ----------------------------------------------------------------------------------------------

BUSY = """
import sys, time
import numpy as np
from patcher.terminal.signals import stopping
from patcher.frames.levels import Levels
from patcher.stream.sender import Sender, Target
with stopping() as stop, Sender([Target("e131", 1, sys.argv[1])], interface="127.0.0.1") as sender:
    sender.send(Levels((1,), np.full((1, 512), 9, dtype=np.uint8)))
    sum(number for number in range(10 ** 12))
"""


@pytest.mark.parametrize("number", [signal.SIGTERM, *later(signal.SIGTSTP)])
def test_it_is_dark_whatever_the_program_is_busy_with(number: int) -> None:
    # As a diagnosis that thinks for seconds: a flag alone would wait for it.
    group = Group(1, ear(HOST, E131))
    process = subprocess.Popen([sys.executable, "-c", BUSY, HOST])
    try:
        group.until_lit()
        process.send_signal(number)
        until(lambda: group.listen() or terminated(group.packets[-1]))  # type: ignore[func-returns-value]
        until(lambda: group.listen() or len(group.packets) >= 7)  # type: ignore[func-returns-value]
        group.check_dark()
        assert process.poll() is None
    finally:
        process.kill()
        process.wait()
        group.close()


@pytest.mark.parametrize("number", [signal.SIGTERM, *later(signal.SIGQUIT, signal.SIGUSR2)])
def test_the_demo_ends_its_streams(number: int, processes: Nursery, tmp_path: Path, heron_lock: Path) -> None:
    show = read_show(heron_lock).show
    assert show is not None
    universes = allocate(wire(show)).patch.box_universes["weirside"]
    groups, said = [Group(universe) for universe in universes], tmp_path / "said"
    running = processes.run("demo", said=said)
    try:
        until(lambda: groups[0].listen() or bool(groups[0].packets))  # type: ignore[func-returns-value]
        os.kill(running, number)
        assert processes.wait(running) == 1
        assert "Ended; all pixels are dark." in said.read_text()
        for group in groups:
            group.check_dark()
    finally:
        for group in groups:
            group.close()
