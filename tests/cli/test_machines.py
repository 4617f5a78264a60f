"""Machines of other kinds: what the program does where the system has none of what POSIX alone has.

Nothing here was run on Windows or on a Mac. The modules that only POSIX has are taken away, and the calls that only
Linux has; what is left is what the program has there.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

from patcher.terminal.keyboard import Console
from rig.guard import GUARD
from rig.shipped import ROOT, Patcher

WITHOUT = """
import asyncio, multiprocessing, signal, socket, subprocess, sys, tempfile, types
import click, numpy, psutil, rich.console, scipy.optimize, scipy.sparse.linalg, typer, uvicorn, websockets
import fcntl
console = types.ModuleType("msvcrt")
console.LK_NBLCK, console.kbhit = 2, lambda: False
console.locking = lambda handle, how, octets: fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
sys.modules["msvcrt"] = console
for name in ("termios", "tty", "fcntl", "resource", "pwd", "grp"):
    sys.modules[name] = None
for name in ("pthread_sigmask", "pthread_kill", "SIGTSTP", "SIGQUIT", "SIGHUP", "SIGSTOP", "SIGCHLD"):
    delattr(signal, name)
for name in ("MSG_DONTWAIT", "MSG_ERRQUEUE"):
    delattr(socket, name)
sys.platform = "win32"
import json, pathlib
from rig.in_process import run
ran = [run(pathlib.Path(), *call.split()) for call in json.loads(sys.argv[1])]
print(json.dumps([[each.returncode, each.stdout, each.stderr] for each in ran]))
"""
"""Windows as far as it can be had elsewhere: its name, and a stand-in for its locks."""


CALLS = (
    "check heron-lock.toml",
    "patch heron-lock.toml --fresh",
    "where heron-lock.toml willow/12",
    "power heron-lock.toml",
    "send dot heron-lock.toml --on gable/1-3 --yard --loops 1",
    "yard heron-lock.toml --seconds 0.1",
    "listen heron-lock.toml --yard --seconds 0.1",
    "diagnose heron-lock.toml gatepost/1 --yard --fault dead:gatepost/1",
)
TIMED = ("listen", "yard", "send")
"""What those say has times in it."""


@pytest.mark.long
def test_each_command_says_the_same_without_what_posix_alone_has(heron_lock: Path, here: Patcher) -> None:
    usual = [here(*call.split()) for call in CALLS]
    for made in heron_lock.parent.glob("*.patch.toml"):
        made.unlink()
    command = [sys.executable, "-c", WITHOUT, json.dumps(CALLS)]
    places = os.pathsep.join([str(ROOT / "tests"), str(GUARD)])
    ran = subprocess.run(
        command,
        cwd=heron_lock.parent,
        env=os.environ | {"PYTHONPATH": places},
        capture_output=True,
        text=True,
        timeout=120,
    )
    assert ran.returncode == 0, ran.stderr
    for call, wanted, (code, out, err) in zip(CALLS, usual, json.loads(ran.stdout), strict=True):
        assert code == wanted.returncode, err
        if not call.startswith(TIMED):
            assert out == wanted.stdout


def test_keys_come_from_what_stands_in_for_a_terminal_without_termios() -> None:
    reads, writes = os.pipe()
    console = Console(reads)
    begun = time.monotonic()
    assert console.read(0.05) is None
    assert time.monotonic() - begun >= 0.05
    os.write(writes, b"n")
    assert console.read(10.0) == b"n"
    os.close(writes)
    assert console.read(10.0) == b""
