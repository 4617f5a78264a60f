"""How many examples a property is tried on: a few in the quick run, many where the long tests are selected.

A long run takes a share of the long tests, others each day, so that it ends in minutes; `--whole` takes all.
"""

from collections.abc import Callable, Sequence
from typing import Any
from zlib import crc32

import pytest
from hypothesis import HealthCheck, settings

many = False
"""Whether long tests are selected; `conftest.py` sets it before any test is read."""
DAYS = 7
"""In so many days each long test is run."""


def examples(few: int, thorough: int, **more: Any) -> Callable[[Any], Any]:
    """Settings of hypothesis for a property that the long run tries on more examples than the quick one."""

    def decorated(test: Any) -> Any:
        more.setdefault("suppress_health_check", list(HealthCheck))
        return pytest.mark.many(settings(max_examples=thorough if many else few, deadline=None, **more)(test))

    return decorated


def tries(few: int, thorough: int) -> int:
    """So many cases of a test of many; it is marked `many`."""
    return thorough if many else few


def seeds(few: int, thorough: int) -> list[Any]:
    """Numbers from 0 to parametrize with, the first few of them for the quick run."""
    return [*range(few), *later(*range(few, thorough))]


def later(*values: Any) -> list[Any]:
    """Values to parametrize with in the long run alone; a tuple is one for each of several names."""
    apart = [value if isinstance(value, tuple) else (value,) for value in values]
    return [pytest.param(*value, marks=pytest.mark.long) for value in apart]


def left_for_another_day(names: Sequence[str], day: int) -> set[str]:
    """The long tests that the run of a day leaves out: of each file it takes a share, at least one test."""
    by_file: dict[str, list[str]] = {}
    for name in names:
        by_file.setdefault(name.partition("::")[0], []).append(name)
    left: set[str] = set()
    for own in by_file.values():
        mixed = sorted(own, key=lambda name: crc32(name.encode()))
        shares = min(DAYS, len(own))
        left |= {*own} - {*mixed[day % shares :: shares]}
    return left
