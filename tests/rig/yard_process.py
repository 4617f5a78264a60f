"""The program in processes of its own, and a yard that gives its document at the end."""

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory

from rig.nursery import nursery

PATIENCE = 20.0
"""Seconds after which something that was waited for is taken as never to come."""


def document(ran: subprocess.CompletedProcess[str], code: int = 0):
    """The one JSON document on stdout; json.loads refuses a second one, or anything else around it."""
    assert "Traceback" not in ran.stdout + ran.stderr
    assert "fault of its own" not in ran.stderr
    assert ran.returncode == code, ran.stderr
    return json.loads(ran.stdout)


def refused(ran: subprocess.CompletedProcess[str], *words: str) -> None:
    assert ran.returncode == 2, ran.stdout + ran.stderr
    assert "Traceback" not in ran.stdout + ran.stderr
    assert "fault of its own" not in ran.stderr
    for word in words:
        assert word in ran.stdout + ran.stderr


def started(*arguments: object, **options: object) -> subprocess.Popen[str]:
    command = [sys.executable, "-m", "patcher", *map(str, arguments)]
    options = {"stdin": subprocess.DEVNULL} | options  # type: ignore[operator]
    return subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, **options)  # type: ignore[call-overload,no-any-return]


@contextmanager
def running(*arguments: object, **options: object) -> Iterator[subprocess.Popen[str]]:
    process = started(*arguments, **options)
    try:
        yield process
    finally:
        if process.poll() is None:
            process.kill()
        process.communicate()


def unread(process: int) -> int:
    """Octets that wait in the UDP sockets of a process."""
    own = {str(path.readlink()) for path in Path(f"/proc/{process}/fd").iterdir()}
    lines = [line.split() for line in Path("/proc/net/udp").read_text().splitlines()[1:]]
    return sum(int(line[4].split(":")[1], 16) for line in lines if f"socket:[{line[9]}]" in own)


class Yard:
    """A yard in a process of its own; `end` gives its document."""

    def __init__(self, folder: Path, show: Path, options: tuple[str, ...]) -> None:
        self._out, self._err, self._gone = folder / "out", folder / "err", False
        self.process = nursery().run("yard", show, "--json", *options, said=self._out, errors=self._err)

    def until_ready(self) -> None:
        limit = time.monotonic() + PATIENCE
        while not self._err.exists() or "ready" not in self._err.read_text():
            assert time.monotonic() < limit, "the yard was never ready"
            time.sleep(0.005)

    def end(self) -> dict:
        limit = time.monotonic() + PATIENCE
        while unread(self.process) and time.monotonic() < limit:
            os.sched_yield()
        self.close(signal.SIGTERM, 0)
        found = json.loads(self._out.read_text())
        assert {frozenset(lamp) for lamp in found["lamps"]} <= {frozenset({"run", "pixel", "colours"})}
        return found

    def close(self, by: int = signal.SIGKILL, code: int = -signal.SIGKILL) -> None:
        if not self._gone:
            self._gone = True
            os.kill(self.process, by)
            assert nursery().wait(self.process) == code, self._err.read_text()
            assert "Traceback" not in self._err.read_text()


@contextmanager
def a_yard(show: Path, *options: str) -> Iterator[Yard]:
    with TemporaryDirectory() as folder:
        yard = Yard(Path(folder), show, options)
        try:
            yard.until_ready()
            yield yard
        finally:
            yard.close()


def colours_of(found: dict) -> dict[str, list[dict[str, int]]]:
    return {f"{lamp['run']}/{lamp['pixel']}": lamp["colours"] for lamp in found["lamps"]}
