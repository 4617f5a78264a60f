"""Where the frames of a question go: to the boxes, or to the yard on this machine."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from patcher.patch.patch import Patch
    from patcher.stream.sender import Target
    from patcher.wiring import Wiring


def frame_goals(show: Path, wiring: Wiring, patch: Patch, *, yard: bool) -> list[Target]:
    """Where frames go: every box, its universes and those two up and down, for what may be off."""
    from patcher.diagnosis.frame_timing import frame_goals
    from patcher.yard.yard import near

    return frame_goals(wiring, patch, near(show, wiring.show) if yard else {})
