"""`yard`: a show's boxes and pixels, simulated on this machine, until someone stops it."""

from __future__ import annotations

import os
import re
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from patcher.cli.inputs import load, load_patch, together
from patcher.cli.options import AsJson, Faults, Seconds, Seed, ShowFile
from patcher.cli.yard_film import FilmFile, film_yard
from patcher.errors import choose_from, refuse
from patcher.terminal.printed import say_json
from patcher.visible import argument
from patcher.visible import as_json as json_text

if TYPE_CHECKING:
    from patcher.patch.patch import Patch
    from patcher.patch.thing import Thing
    from patcher.wiring import Wiring
    from patcher.yard.network_trouble import Off
    from patcher.yard.yard import Yard

PICTURES_A_SECOND = 10
SNAPSHOTS_A_SECOND = 1


On = Annotated[
    str | None, typer.Option(metavar="THING", help="Fill the window with this box, port, run, pixels or prop.")
]
Loss = Annotated[float, typer.Option(metavar="0..1", min=0, max=1, help="Share of packets lost.")]
Double = Annotated[float, typer.Option(metavar="0..1", min=0, max=1, help="Share of packets delivered twice.")]
Reorder = Annotated[float, typer.Option(metavar="0..1", min=0, max=1, help="Share of packets delivered out of order.")]
Delay = Annotated[float, typer.Option(metavar="MS", min=0, max=10_000, help="Delay of every packet, in milliseconds.")]
OffTimes = Annotated[
    list[str] | None,
    typer.Option(
        metavar="BOX=5..10", help="A box without power from second 5 to 10, or for good as BOX=5..; repeatable."
    ),
]
Snapshot = Annotated[
    Path | None,
    typer.Option(metavar="FILE", help="Write there every second, as JSON, what all pixels show."),
]


def yard(
    show: ShowFile,
    on: On = None,
    seconds: Seconds = None,
    fault: Faults = None,
    loss: Loss = 0.0,
    double: Double = 0.0,
    reorder: Reorder = 0.0,
    delay: Delay = 0.0,
    off: OffTimes = None,
    seed: Seed = 0,
    snapshot: Snapshot = None,
    film: FilmFile = None,
    as_json: AsJson = False,
) -> None:
    """Simulate the show's boxes on this machine.

    It shows which pixels are lit. With --film it writes a film of them playing the film's code instead.
    """
    if film is not None:
        network = loss or double or reorder or delay or off
        together(
            ("--film", film), ("--seconds or --snapshot", seconds or snapshot), ("trouble on the network", network)
        )
        film_yard(show, film, on=on, fault=fault or (), seed=seed, as_json=as_json)
        return
    from patcher.faults import build, parse
    from patcher.reports import yard_report
    from patcher.yard.network_trouble import Trouble
    from patcher.yard.yard import Yard, addresses

    wiring = load(show)
    patch = load_patch(show, wiring)
    thing = _thing(on, wiring, patch)
    built = build(wiring, [parse(text, wiring) for text in fault or ()])
    without_power = tuple(_off(text, wiring) for text in off or ())
    begin = time.monotonic()
    wanted = any((loss, double, reorder, delay, without_power))
    trouble = Trouble(loss, double, reorder, delay / 1000, without_power, seed, begin) if wanted else None
    simulated = Yard(wiring, patch, built, trouble=trouble, seed=seed)
    end = float("inf") if seconds is None else begin + seconds
    left_out = _run(simulated, show, wiring, patch, thing, snapshot, end, as_json=as_json)
    if as_json:
        hosts = addresses(show, wiring.show)
        say_json(yard_report.document(simulated, hosts, time.monotonic() - begin, left_out, trouble))
    else:
        yard_report.say(simulated, left_out, trouble)


def _run(
    simulated: Yard, show: Path, wiring: Wiring, patch: Patch, thing: Thing | None, snapshot: Path | None, end: float,
    *, as_json: bool,
) -> int:  # fmt: skip
    """Let the yard hear until it is over; how many groups there was no room for."""
    from patcher.listener.receiver import Receiver
    from patcher.reports import yard_report
    from patcher.terminal.signals import stopping
    from patcher.yard.yard import addresses, ears, sign
    from patcher.yard.yard_run import run

    hosts = addresses(show, wiring.show)
    heard_by = {sign(show): [], **ears(wiring.show, patch, hosts, simulated.universes)}
    with stopping() as stop, Receiver(heard_by) as receiver:
        for box in simulated.boxes:
            print(yard_report.listens(simulated, wiring.show, box, hosts), file=sys.stderr)
        print(f"The yard is ready: patcher send dot {argument(show)} --yard", file=sys.stderr, flush=True)
        draws = _can_draw(wanted=thing is not None, as_json=as_json)
        watchers = _watchers(simulated, wiring, thing, snapshot, draws=draws)
        left_out = run(simulated, wiring.show, receiver, heard_by, stop, end, watchers)
    if snapshot is not None:
        _write_snapshot(simulated, snapshot)
    if draws:
        print()
    return len(left_out)


def _thing(on: str | None, wiring: Wiring, patch: Patch) -> Thing | None:
    """What --on names; PatcherError where that has no pixels."""
    from patcher.patch.thing import find

    thing = find(on, wiring, patch) if on is not None else None
    if thing is not None and not thing.parts:
        raise refuse(thing.name, "has no pixels to draw", "name a box, port, run, pixels or prop that has")
    return thing


def _off(text: str, wiring: Wiring) -> Off:
    """When a box has no power, as a person wrote it."""
    from patcher.yard.network_trouble import Off

    box, _, times = text.partition("=")
    boxes = [name for name in wiring.show.controllers if wiring.of_controller(name)]
    if box not in boxes:
        raise refuse("--off", f"no box that feeds a run is named “{box}”", choose_from(box, boxes))
    number = r"\d{1,9}(?:\.\d{1,6})?"
    found = re.fullmatch(rf"({number})\.\.({number})?", times, re.ASCII)
    if not found or (found[2] and float(found[2]) <= float(found[1])):
        says = f"“{times}” is not a time from one second to a later one"
        raise refuse("--off", says, f"write {box}=5..10, or {box}=5..")
    return Off(box, float(found[1]), float(found[2]) if found[2] else float("inf"))


def _can_draw(*, wanted: bool, as_json: bool) -> bool:
    """Whether there is a terminal to draw on; where one is wanted and there is none, that is said."""
    why = ""
    if as_json:
        why = "its output is JSON"
    elif not sys.stdout.isatty():
        why = "its output is not a terminal"
    elif os.environ.get("TERM", "") in ("dumb", "unknown", ""):
        why = "this terminal (TERM) cannot place text"
    if why and wanted:
        print(f"--on draws nothing here: {why}; --snapshot FILE writes what every pixel shows.", file=sys.stderr)
    return not why


def _watchers(
    yard: Yard, wiring: Wiring, thing: Thing | None, snapshot: Path | None, *, draws: bool
) -> list[Callable[[], None]]:
    """What looks at the yard while it runs: the picture, and the file."""
    from patcher.yard.far_view import Throttle

    watchers: list[Callable[[], None]] = []
    if draws:
        watchers.append(Throttle(_picture(yard, wiring, thing), PICTURES_A_SECOND))
    if snapshot is not None:
        watchers.append(Throttle(lambda: _write_snapshot(yard, snapshot), SNAPSHOTS_A_SECOND))
    return watchers


def _write_snapshot(yard: Yard, path: Path) -> None:
    from patcher.show.writer import UNSEALED, write_output
    from patcher.yard.yard import snapshot

    write_output(path, json_text({"seal": UNSEALED, **snapshot(yard)}, indent=None))


def _picture(yard: Yard, wiring: Wiring, thing: Thing | None) -> Callable[[], None]:
    """Draws pixels in the terminal, in the colours that it has; not before the last picture has been taken."""
    import shutil

    from rich.console import Console

    from patcher.terminal import output
    from patcher.terminal.screen import order
    from patcher.yard.close_view import Close, Colours
    from patcher.yard.far_view import FarView
    from patcher.yard.line_updates import LineUpdates

    kinds: dict[str | None, Colours] = {"standard": "8", "256": "256", "windows": "8", "truecolor": "truecolor"}
    # The console looks at COLORTERM, TERM and NO_COLOR.
    console = Console(highlight=False)
    colours = "" if console.no_color else kinds.get(console.color_system, "")

    def picture(columns: int, lines: int) -> Callable[[], list[str]]:
        if thing is not None:
            return Close(yard, wiring.show, thing, columns, lines, colours).lines
        return FarView(yard, wiring, columns, lines, "8" if colours == "256" else colours).lines

    screen = LineUpdates(shutil.get_terminal_size, picture)

    def draw() -> None:
        if not output.busy():
            order(screen.text(time.monotonic()))

    return draw
