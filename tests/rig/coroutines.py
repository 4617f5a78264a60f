"""Coroutines of other libraries, run to their end."""

import asyncio
from collections.abc import Coroutine
from concurrent.futures import ThreadPoolExecutor
from typing import Any


def finished(coroutine: Coroutine[Any, Any, Any]) -> Any:
    """What it returns. It runs in a thread of its own: in this one the browser's driver may have a loop that runs."""
    with ThreadPoolExecutor(1) as thread:
        return thread.submit(asyncio.run, coroutine).result()
