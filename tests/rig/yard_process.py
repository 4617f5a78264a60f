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

import pytest

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


def unread(process: subprocess.Popen[str]) -> int:
    """Octets that wait in the UDP sockets of a process."""
    own = {str(path.readlink()) for path in Path(f"/proc/{process.pid}/fd").iterdir()}
    lines = [line.split() for line in Path("/proc/net/udp").read_text().splitlines()[1:]]
    return sum(int(line[4].split(":")[1], 16) for line in lines if f"socket:[{line[9]}]" in own)


class Yard:
    """A yard in a process of its own; `end` gives its document."""

    def __init__(self, process: subprocess.Popen[str]) -> None:
        self.process = process

    def end(self) -> dict:
        limit = time.monotonic() + PATIENCE
        while unread(self.process) and time.monotonic() < limit:
            os.sched_yield()
        self.process.send_signal(signal.SIGTERM)
        out, err = self.process.communicate(timeout=PATIENCE)
        assert self.process.returncode == 0, err
        assert "Traceback" not in err
        found = json.loads(out)
        assert {frozenset(lamp) for lamp in found["lamps"]} <= {frozenset({"run", "pixel", "colours"})}
        return found


@contextmanager
def a_yard(show: Path, *options: str) -> Iterator[Yard]:
    with running("yard", show, "--json", *options) as process:
        assert process.stderr is not None
        for line in process.stderr:
            if "ready" in line:
                break
        else:
            pytest.fail("the yard ended before it was ready")
        yield Yard(process)


def colours_of(found: dict) -> dict[str, list[dict[str, int]]]:
    return {f"{lamp['run']}/{lamp['pixel']}": lamp["colours"] for lamp in found["lamps"]}
