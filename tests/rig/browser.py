"""A real Chromium, which renders pages and prints them; and readers of what it printed."""

import atexit
import os
from functools import cache
from typing import Any

import pytest

from rig.judges import judge


def required(module: str) -> Any:
    """A package of the test extra; without it the test is skipped, or fails where judges are required."""
    if os.environ.get("PATCHER_JUDGES") == "required":
        return __import__(module, fromlist=["*"])
    return pytest.importorskip(module)


@cache
def chromium() -> Any:
    """Judge: Chromium as Debian ships it, without its sandbox, which a container has no use for; started once."""
    path = judge("chromium", "chromium")
    play = required("playwright.sync_api").sync_playwright().start()
    atexit.register(play.stop)
    browser = play.chromium.launch(executable_path=path, args=["--no-sandbox"])
    atexit.register(browser.close)
    return browser
