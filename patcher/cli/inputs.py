"""Reading what a command works on: a show, its wiring and its patch, or everything that is wrong with them."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

from patcher.cli.options import SEARCH
from patcher.errors import Finding, PatcherError, refuse
from patcher.visible import argument

if TYPE_CHECKING:
    from patcher.patch.patch import Patch
    from patcher.placement.allocation import Allocation
    from patcher.stream.sender import Target
    from patcher.wiring import Wiring

OWN_FILES = {
    ".patch.toml": "patch file",
    ".checks.toml": "record of what is proved",
    ".entered.toml": "list of what is ticked off",
    ".done.toml": "list of what is done",
    ".practice-checks.toml": "record of what was practised",
    ".practice-entered.toml": "list of what was ticked off for practice",
    ".practice-done.toml": "list of what was done for practice",
}
"""Files that Patcher keeps beside a show, by how their names end."""


def examine(path: Path) -> tuple[Wiring | None, list[Finding], str]:
    """The wiring of what could be read of a show, all that is wrong with the file and the wiring, and its text."""
    from patcher.show.line_numbers import located
    from patcher.show.show_file import read_show
    from patcher.wiring import problems, wire

    if own := OWN_FILES.get("".join(path.suffixes[-2:])):
        remedy = f"name the show: {path.name.rsplit('.', 2)[0]}.toml"
        raise refuse(str(path), f"is Patcher's own {own}, not a show", remedy)
    reading = read_show(path)
    found = list(reading.findings)
    if reading.show is None:
        return None, found, reading.text
    wiring = wire(reading.show)
    found += problems(wiring, complete=not found)
    return wiring, located(found, reading.text) if found else [], reading.text


def show_name(path: Path) -> None:
    """Refuse a name for a new show file that no command would take."""
    if path.suffix != ".toml":
        raise refuse(str(path), "does not end in .toml", f"call it {path.name}.toml")
    if "".join(path.suffixes[-2:]) in OWN_FILES:
        says = f"would be taken for Patcher's own file beside {path.name.rsplit('.', 2)[0]}.toml"
        raise refuse(str(path), says, "call it by what the show is, as my-show.toml")


def load(path: Path) -> Wiring:
    """The wiring of a show without errors; PatcherError lists everything that is wrong."""
    wiring, found, _ = examine(path)
    if found or wiring is None:
        raise PatcherError(*found)
    return wiring


def allocated(
    path: Path, wiring: Wiring, kept: Patch | None = None, *, spare_pixels: int = 0, seconds: float = SEARCH
) -> Allocation:
    """The patch of a wiring; PatcherError names the pins and limits, with their lines, that leave no patch."""
    from patcher.placement.allocation import allocate
    from patcher.show.line_numbers import located
    from patcher.show.show_file import read_text

    try:
        return allocate(wiring, kept, spare_pixels=spare_pixels, seconds=seconds)
    except PatcherError as error:
        raise PatcherError(*located(error.findings, read_text(path))) from None


def load_patch(path: Path, wiring: Wiring) -> Patch:
    """The kept patch; where there is none yet, the one that `patch` would make, which is then said."""
    from patcher.patch.changes import misfits
    from patcher.patch.patch_file import read_patch

    kept = read_patch(path)
    if kept is None:
        made = allocated(path, wiring).patch
        print(f"No patch file yet: using what `patcher patch {argument(path)}` would give.", file=sys.stderr)
        return made
    if found := misfits(kept, wiring):
        raise PatcherError(*found)
    return kept


def frame_goals(show: Path, wiring: Wiring, patch: Patch, *, yard: bool) -> list[Target]:
    """Where test frames go: to all universes of each box and those beside them, for a start may be typed in wrongly.

    With `yard` they go to the simulated boxes on this machine.
    """
    from patcher.diagnosis import frame_timing
    from patcher.yard.yard import near

    return frame_timing.frame_goals(wiring, patch, near(show, wiring.show) if yard else {})


def need_yard(show: Path) -> None:
    """Refuse to send to a yard that is not running. One whose boxes are dead is running."""
    from patcher.yard.yard import is_running

    if not is_running(show):
        raise refuse(
            "--yard", "no yard is running for this show", f"in another terminal: patcher yard {argument(show)}"
        )


def together(*options: tuple[str, object]) -> None:
    """Refuse a call that gives more than one of some options, each with its value: None and False are not given."""
    given = [name for name, value in options if value not in (None, False)]
    if len(given) > 1:
        raise refuse(given[0], f"does not go together with {' and '.join(given[1:])}", "leave one of them out")
