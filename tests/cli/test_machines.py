"""Machines of other kinds: what the program does where the system has none of what POSIX alone has.

Nothing here was run on Windows or on a Mac. The modules that only POSIX has are taken away, and the calls that only
Linux has; what is left is what the program has there.
"""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

from patcher.terminal.keyboard import Console
from rig.shipped import Patcher

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
from patcher.__main__ import main
main()
"""
"""Windows as far as it can be had elsewhere: its name, and a stand-in for its locks."""


def without(folder: Path, *call: str, stdin: str = "") -> subprocess.CompletedProcess[str]:
    """A command as it runs with those away."""
    return subprocess.run(
        [sys.executable, "-c", WITHOUT, *call], cwd=folder, input=stdin, capture_output=True, text=True, timeout=120
    )


CALLS = """
check heron-lock.toml
patch heron-lock.toml --fresh
where heron-lock.toml willow/12
power heron-lock.toml
send dot heron-lock.toml --on gable/1-3 --yard --loops 1
yard heron-lock.toml --seconds 0.5
listen heron-lock.toml --yard --seconds 0.5
diagnose heron-lock.toml gatepost/1 --yard --fault dead:gatepost/1
"""


@pytest.mark.parametrize("call", [tuple(line.split()) for line in CALLS.strip().splitlines()], ids=lambda call: call[0])
def test_each_command_says_the_same_without_what_posix_alone_has(
    heron_lock: Path, call: tuple[str, ...], here: Patcher
) -> None:
    usual = here(*call)
    for made in heron_lock.parent.glob("*.patch.toml"):
        made.unlink()
    ran = without(heron_lock.parent, *call)
    assert "Traceback" not in ran.stderr
    assert ran.returncode == usual.returncode
    if call[0] not in ("listen", "yard", "send"):  # what those say has times in it
        assert ran.stdout == usual.stdout


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
