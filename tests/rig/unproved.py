"""What no step of a walk-through proves, worked out once for each show and its boxes: it takes seconds for the shipped
one, and every report of it asks. How it is worked out is tested without this (`tests/walk/`).
"""

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import Any

import pytest


@contextmanager
def once() -> Iterator[None]:
    """Within it the reports ask for the same only once."""
    from patcher.phone import pages
    from patcher.reports import verify_report

    with pytest.MonkeyPatch.context() as changed:
        found = _remembered(pages.left_open)
        changed.setattr(pages, "left_open", found)
        changed.setattr(verify_report, "left_open", found)
        yield


def _remembered(left_open: Callable[..., Any]) -> Callable[..., Any]:
    from patcher.patch.patch_file import dump

    known: dict[tuple[str, str, tuple[str, ...]], Any] = {}

    def found(wiring: Any, patch: Any, boxes: Sequence[str]) -> Any:
        key = repr(wiring.show), dump(patch), tuple(boxes)
        if key not in known:
            known[key] = left_open(wiring, patch, boxes)
        return known[key]

    return found
