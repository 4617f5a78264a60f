"""A show, its wiring and its patch from disk, or everything that is wrong with them."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from patcher.errors import Finding, PatcherError, refuse

if TYPE_CHECKING:
    from patcher.patch.patch import Patch
    from patcher.placement.allocation import Allocation
    from patcher.wiring import Wiring

ShowFile = Annotated[Path, typer.Argument(metavar="SHOW", help="The show file.")]
SEARCH = 10.0
"""Seconds to search for a better patch, unless the person says otherwise."""

Seconds = Annotated[float, typer.Option("--seconds", help="How long to search for a better patch.", min=0.1, max=3600)]
_SPARE = "Leave N spare pixels after each start that is newly assigned."
SparePixels = Annotated[int, typer.Option("--spare-pixels", metavar="N", help=_SPARE, min=0, max=10_000)]
AsJson = Annotated[bool, typer.Option("--json", help="Print one JSON document, for scripts.")]


def examine(path: Path) -> tuple[Wiring | None, list[Finding], str]:
    """The wiring of what could be read of a show, all that is wrong with the file and the wiring, and its text."""
    from patcher.show.line_numbers import located
    from patcher.show.show_file import read_show
    from patcher.wiring import problems, wire

    if path.name.endswith(".patch.toml"):
        show = path.name.removesuffix(".patch.toml") + ".toml"
        raise refuse(str(path), "is Patcher's own patch file, not a show", f"name the show: {show}")
    if path.name.endswith(".checks.toml"):
        show = path.name.removesuffix(".checks.toml") + ".toml"
        raise refuse(str(path), "is Patcher's own record of what is proved, not a show", f"name the show: {show}")
    if path.name.endswith(".entered.toml"):
        show = path.name.removesuffix(".entered.toml") + ".toml"
        raise refuse(str(path), "is Patcher's own file of what is ticked off, not a show", f"name the show: {show}")
    reading = read_show(path)
    found = list(reading.findings)
    if reading.show is None:
        return None, found, reading.text
    wiring = wire(reading.show)
    found += problems(wiring, complete=not found)
    return wiring, located(found, reading.text) if found else [], reading.text


def show_name(path: Path) -> None:
    """PatcherError where a file that is to be written has no name for a show file: no command would take it."""
    if path.suffix != ".toml":
        raise refuse(str(path), "does not end in .toml", f"call it {path.name}.toml")
    if path.stem.endswith((".patch", ".checks", ".entered")):
        says = f"would be taken for Patcher's own file beside {path.name.rsplit('.', 2)[0]}.toml"
        raise refuse(str(path), says, "call it by what the show is, as my-show.toml")


def load(path: Path) -> Wiring:
    """The wiring of a sound show; PatcherError with everything that is wrong."""
    wiring, found, _ = examine(path)
    if found or wiring is None:
        raise PatcherError(*found)
    return wiring


def allocated(
    path: Path, wiring: Wiring, kept: Patch | None = None, *, spare_pixels: int = 0, seconds: float = SEARCH
) -> Allocation:
    """The patch of a sound wiring; PatcherError with the lines of the pins and limits that leave none."""
    from patcher.placement.allocation import allocate
    from patcher.show.line_numbers import located
    from patcher.show.show_file import read_text

    try:
        return allocate(wiring, kept, spare_pixels=spare_pixels, seconds=seconds)
    except PatcherError as error:
        raise PatcherError(*located(error.findings, read_text(path))) from None


def load_patch(path: Path, wiring: Wiring) -> Patch:
    """The kept patch; where there is none yet, the one that would be made, and that is said."""
    from patcher.patch.changes import misfits
    from patcher.patch.patch_file import read_patch

    kept = read_patch(path)
    if kept is None:
        made = allocated(path, wiring).patch
        print(f"No patch file yet: using what `patcher patch {path}` would give.", file=sys.stderr)
        return made
    if found := misfits(kept, wiring):
        raise PatcherError(*found)
    return kept
