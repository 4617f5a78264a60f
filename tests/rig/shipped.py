"""The shipped shows, the program as a test runs it, and the wiring of a show that is given as tables."""

import subprocess
from collections.abc import Callable
from pathlib import Path

import tomli_w

from patcher.patch.patch import Patch
from patcher.placement.allocation import allocate
from patcher.show.parser import read
from patcher.wiring import Wiring, problems, wire
from rig import guard  # noqa: F401  (patcher is imported behind it)

ROOT = Path(__file__).parents[2]
SHOWS = ROOT / "shows"

Patcher = Callable[..., subprocess.CompletedProcess[str]]
"""Runs the program with these arguments in a folder of the test's own."""


def wired(tables: dict) -> Wiring:
    """The wiring of a show given as tables, read as its file would be; a show with a problem fails the test."""
    reading = read(tomli_w.dumps(tables))
    assert reading.findings == ()
    assert reading.show is not None
    wiring = wire(reading.show)
    assert problems(wiring) == []
    return wiring


def laid(tables: dict) -> tuple[Wiring, Patch]:
    """The same with its patch."""
    wiring = wired(tables)
    return wiring, allocate(wiring).patch
