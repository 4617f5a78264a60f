"""How many examples a property is tried on: a few in the quick run, many where the long tests are selected."""

from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import HealthCheck, settings

many = False
"""Whether long tests are selected; `conftest.py` sets it before any test is read."""


def examples(few: int, thorough: int, **more: Any) -> Callable[[Any], Any]:
    """Settings of hypothesis for a property that the long run tries on more examples than the quick one."""

    def decorated(test: Any) -> Any:
        more.setdefault("suppress_health_check", list(HealthCheck))
        return pytest.mark.many(settings(max_examples=thorough if many else few, deadline=None, **more)(test))

    return decorated


def seeds(few: int, thorough: int) -> list[Any]:
    """Numbers from 0 to parametrize with, the first few of them for the quick run."""
    return [*range(few), *later(*range(few, thorough))]


def tries(few: int, thorough: int) -> int:
    """So many cases of a test of many; it is marked `many`."""
    return thorough if many else few


def later(*values: Any) -> list[Any]:
    """Values to parametrize with in the long run alone; a tuple is one for each of several names."""
    apart = [value if isinstance(value, tuple) else (value,) for value in values]
    return [pytest.param(*value, marks=pytest.mark.long) for value in apart]
