"""`propose`: which run on which port, in up to three ways; puts one of them into the show file."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from patcher.cli.inputs import examine
from patcher.cli.options import AsJson, ShowFile
from patcher.cli.working import working
from patcher.errors import PatcherError, refuse
from patcher.terminal.printed import say_json

if TYPE_CHECKING:
    from patcher.offers.comparison import Comparison
    from patcher.wiring import Wiring


class Kind(StrEnum):
    """What a proposal puts first."""

    BOXES = "boxes"
    CABLE = "cable"
    RATE = "rate"


_KINDS = {Kind.BOXES: "fewest boxes", Kind.CABLE: "least cable", Kind.RATE: "best frame rate"}


def propose(
    show: ShowFile,
    kind: Annotated[
        Kind | None, typer.Option("--kind", metavar="KIND", help="Only one kind: boxes, cable or rate.")
    ] = None,
    afresh: Annotated[bool, typer.Option("--afresh", help="Decide anew about the runs that hang now, too.")] = False,
    number: Annotated[
        int | None, typer.Option("--number", metavar="N", min=1, max=3, help="Print proposal N port by port.")
    ] = None,
    write: Annotated[
        int | None, typer.Option("--write", metavar="N", min=1, max=3, help="Put proposal N into the show file.")
    ] = None,
    svg: Annotated[Path | None, typer.Option("--svg", metavar="FILE", help="Draw the proposals side by side.")] = None,
    seconds: Annotated[
        float, typer.Option("--seconds", metavar="N", min=0.1, max=3600, help="About how long to search.")
    ] = 30.0,
    as_json: AsJson = False,
) -> None:
    """Propose which run hangs on which port.

    Up to three ways: the fewest boxes, the least cable, the best frame rate. Runs that hang stay, unless --afresh.
    """
    from patcher.reports import propose_report
    from patcher.show.writer import as_read, refuse_output, write_output, write_together

    if None not in (number, write) and number != write:
        raise refuse("--number", f"is {number}, and --write {write} prints that one", "leave one of them out")
    if svg is not None:
        refuse_output(svg)
    seen = as_read(show)
    with working("The search for proposals"):
        found = _compared(show, kind, afresh=afresh, seconds=seconds)
    wanted = write or number or 1
    offer = propose_report.chosen(found, wanted)
    if offer is None and (number or write):
        raise refuse(f"--{'write' if write else 'number'}", f"there is no proposal {wanted}", _there_are(found))
    if svg is not None and found.offers:
        write_output(svg, _drawn(found))
    if write is not None and offer is not None:
        write_together(seen, {show: offer.rehung.text})
    if as_json:
        say_json(propose_report.document(found, write, str(show)))
    else:
        propose_report.say(found, offer, str(show), afresh=afresh, written=write is not None)
    if propose_report.is_over(found, offer):
        raise typer.Exit(1)


def _there_are(found: Comparison) -> str:
    most = len(found.offers)
    return f"choose from 1 to {most}" if most > 1 else "there is only 1" if most else "run it without the option"


def _compared(path: Path, only: Kind | None, *, afresh: bool, seconds: float) -> Comparison:
    from patcher.offers.comparison import compared
    from patcher.patch.patch_file import read_patch
    from patcher.propose.proposal import KINDS
    from patcher.show.show_file import read_points

    wiring, text = _partly_hung(path)
    folder = path.resolve().parent
    kinds = KINDS if only is None else tuple(kind for kind in KINDS if kind == _KINDS[only])
    return compared(
        text, wiring, read_patch(path), lambda name: read_points(folder, name),
        afresh=afresh, kinds=kinds, seconds=seconds,
    )  # fmt: skip


def _partly_hung(path: Path) -> tuple[Wiring, str]:
    """The wiring of a show with which nothing is wrong but that runs hang nowhere, and its text."""
    from patcher.offers.comparison import UNHUNG

    wiring, found, text = examine(path)
    wrong = [finding for finding in found if finding.rule != UNHUNG]
    if wrong or wiring is None:
        raise PatcherError(*wrong)
    return wiring, text


def _drawn(found: Comparison) -> str:
    """The drawing of all proposals, and of what hangs now."""
    from patcher.drawing.lead_panels import lead_panels
    from patcher.reports.propose_report import figures_in_words
    from patcher.show.writer import UNSEALED

    show = found.wiring.show
    units = show.settings.units
    panels = [(f"now: {figures_in_words(found.now, units)}", found.wiring)] if found.now.runs else []
    for offer in found.offers:
        panels.append(
            (f"{offer.number}. {', '.join(offer.kinds)}: {figures_in_words(offer.tally, units)}", offer.rehung.wiring)
        )
    return f"<!-- {UNSEALED} -->\n{lead_panels(panels, f'{show.settings.title}: proposals', show)}"
