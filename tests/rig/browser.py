"""A real Chromium, which renders pages and prints them; and readers of what it printed."""

import os
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest

from rig.judges import judge


def required(module: str) -> Any:
    """A package of the test extra; without it the test is skipped, or fails where judges are required."""
    if os.environ.get("PATCHER_JUDGES") == "required":
        return __import__(module, fromlist=["*"])
    return pytest.importorskip(module)


@contextmanager
def chromium() -> Iterator[Any]:
    """Chromium as Debian ships it, without its sandbox, which a container has no use for."""
    path = judge("chromium", "chromium")
    with required("playwright.sync_api").sync_playwright() as play:
        browser = play.chromium.launch(executable_path=path, args=["--no-sandbox"])
        yield browser
        browser.close()
