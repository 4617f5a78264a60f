"""`yard`: a show's boxes and lamps, simulated on this machine, until someone stops it."""

from __future__ import annotations

import re
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from patcher.cli.loading import AsJson, ShowFile, load, load_patch
from patcher.cli.saying import count, say_json
from patcher.cli.screen import order
from patcher.errors import choose_from, refuse
from patcher.visible import as_json

if TYPE_CHECKING:
    from patcher.show.schema import Show
    from patcher.stream.receiver import Ear, Receiver
    from patcher.wiring import Wiring
    from patcher.yard.trouble import Off
    from patcher.yard.yard import Yard

PICTURES_A_SECOND = 10
SNAPSHOTS_A_SECOND = 1
LONGEST_WAIT = 0.05
"""Seconds after which time goes on for the boxes at the latest."""


def yard(
    show: ShowFile,
    seconds: Annotated[float | None, typer.Option(min=0, help="Stop after so long.")] = None,
    fault: Annotated[
        list[str] | None, typer.Option(metavar="KIND:WHERE=VALUE", help="Wired or set wrongly; repeats.")
    ] = None,
    loss: Annotated[float, typer.Option(min=0, max=1, help="Part of the packets that is lost, 0 to 1.")] = 0.0,
    double: Annotated[float, typer.Option(min=0, max=1, help="Part that arrives twice.")] = 0.0,
    reorder: Annotated[float, typer.Option(min=0, max=1, help="Part that others overtake.")] = 0.0,
    delay: Annotated[float, typer.Option(min=0, max=10_000, help="Milliseconds that every packet takes.")] = 0.0,
    off: Annotated[
        list[str] | None,
        typer.Option(metavar="BOX=5..10", help="A box without power from second 5 to 10, or on, as BOX=5..; repeats."),
    ] = None,
    seed: Annotated[int, typer.Option(min=0, help="Of all chance: loss and the like, and lamps that flicker.")] = 0,
    snapshot: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Write what all lamps show there as JSON, every second.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Simulate the show's boxes on loopback addresses, and show which lamps are lit."""
    from patcher.cli.stopping import stopping
    from patcher.faults import build, parse
    from patcher.stream.receiver import Receiver
    from patcher.yard.trouble import Trouble
    from patcher.yard.yard import Yard, addresses, ears

    wiring = load(show)
    patch = load_patch(show, wiring)
    built = build(wiring.show, [parse(text, wiring.show) for text in fault or []])
    without_power = tuple(_off(text, wiring.show) for text in off or [])
    begin = time.monotonic()
    end = float("inf") if seconds is None else begin + seconds
    trouble = None
    if loss or double or reorder or delay or without_power:
        trouble = Trouble(loss, double, reorder, delay / 1000, without_power, seed, begin)
    simulated = Yard(wiring, patch, built, trouble=trouble, seed=seed)
    hosts = addresses(show, wiring.show)
    heard_by = ears(wiring.show, patch, hosts, simulated.universes)
    with stopping() as stop, Receiver(heard_by) as receiver:
        for name in simulated.boxes:
            print(f"{name} {_listens(simulated, wiring.show, name, hosts)}", file=sys.stderr)
        print(f"The yard is ready: patcher send dot {show} --yard", file=sys.stderr, flush=True)
        watch = _watchers(simulated, wiring, snapshot, picture=sys.stdout.isatty() and not as_json)
        _run(simulated, wiring.show, receiver, heard_by, watch, lambda: stop() or time.monotonic() >= end)
    if snapshot is not None:
        _write_snapshot(simulated, snapshot)
    if as_json:
        say_json(_document(simulated, hosts, time.monotonic() - begin))
    else:
        print(f"{count(simulated.ever_lit(), 'lamp')} lit at some time, {simulated.lit()} lit at the end.")
        for name, box in simulated.boxes.items():
            print(f"  {name}: " + (", ".join(f"{n} packets {what}" for what, n in box.counts.items()) or "no packet"))


def _run(
    yard: Yard, show: Show, receiver: Receiver, heard_by: dict[Ear, list[str]],
    watch: list[Callable[[], None]], over: Callable[[], bool],
) -> None:  # fmt: skip
    """Let packets come and time go on until it is over."""
    while not over():
        wait = min(LONGEST_WAIT, yard.next_due() - time.monotonic())
        got = receiver.poll(max(0.0, wait))
        now = time.monotonic()
        yard.hear([(heard_by[one.ear], one.octets, one.sender) for one in got], now)
        yard.expire(now)
        _follow_sync(yard, show, receiver, heard_by)
        for look in watch:
            look()


def _off(text: str, show: Show) -> Off:
    """When a box has no power, as a person wrote it."""
    from patcher.yard.trouble import Off

    box, _, times = text.partition("=")
    boxes = [name for name, controller in show.controllers.items() if any(controller.port.values())]
    if box not in boxes:
        raise refuse("--off", f"“{box}” is no box that feeds a run", choose_from(box, boxes))
    number = r"\d{1,9}(?:\.\d{1,6})?"
    found = re.fullmatch(rf"({number})\.\.({number})?", times, re.ASCII)
    if not found or (found[2] and float(found[2]) <= float(found[1])):
        raise refuse(
            "--off", f"“{times}” is no time from one second to a later one", f"write {box}=5..10, or {box}=5.."
        )
    return Off(box, float(found[1]), float(found[2]) if found[2] else float("inf"))


def _listens(yard: Yard, show: Show, name: str, hosts: dict[str, str]) -> str:
    if not yard.universes[name]:
        return "is dead, and listens on nothing"
    return f"listens on {'its multicast groups' if show.controllers[name].delivery == 'multicast' else hosts[name]}"


def _follow_sync(yard: Yard, show: Show, receiver: Receiver, heard_by: dict[Ear, list[str]]) -> None:
    """Listen on the groups of synchronization addresses as packets name them."""
    from patcher.yard.yard import sync_ears

    for ear, boxes in sync_ears(show, yard).items():
        if ear not in heard_by:
            receiver.listen(ear)
            heard_by[ear] = boxes
        elif new := [box for box in boxes if box not in heard_by[ear]]:
            heard_by[ear] += new


def _watchers(yard: Yard, wiring: Wiring, snapshot: Path | None, *, picture: bool) -> list[Callable[[], None]]:
    """What looks at the yard while it runs: the picture, and the file."""
    from patcher.yard.picture import Throttle

    found: list[Callable[[], None]] = []
    if picture:
        found.append(Throttle(_picture(yard, wiring), PICTURES_A_SECOND))
    if snapshot is not None:
        found.append(Throttle(lambda: _write_snapshot(yard, snapshot), SNAPSHOTS_A_SECOND))
    return found


def _write_snapshot(yard: Yard, path: Path) -> None:
    from patcher.show.writing import UNSEALED, write_output
    from patcher.yard.yard import snapshot

    write_output(path, as_json({"seal": UNSEALED, **snapshot(yard)}, indent=None))


def _document(yard: Yard, hosts: dict[str, str], seconds: float) -> dict[str, Any]:
    from patcher.yard.yard import snapshot

    def colours(run: str, values: dict[tuple[int, ...], None]) -> list[dict[str, int]]:
        return [dict(zip(yard.letters[run], value, strict=True)) for value in values]

    now, seen = snapshot(yard), yard.seen
    return {
        "seconds": round(seconds, 3),
        "boxes": [
            box | {"address": hosts[box["controller"]], "protocol": yard.boxes[box["controller"]].protocol}
            for box in now["boxes"]
        ],
        "lamps": [
            {"run": run, "pixel": pixel, "colours": colours(run, values)}
            for (run, pixel), values in sorted(seen.items())
        ],
        "order": [f"{run}/{pixel}" for run, pixel in seen],
        "runs": now["runs"],
    }


def _picture(yard: Yard, wiring: Wiring) -> Callable[[], None]:
    """Draws the lamps in the terminal, in the colours that it has."""
    from rich.console import Console

    from patcher.yard.picture import Picture

    console = Console(highlight=False)
    kinds = {None: "", "standard": "8", "256": "8", "windows": "8", "truecolor": "truecolor"}
    drawn = Picture(yard, wiring, console.width, console.height, kinds.get(console.color_system, "8"))
    order("\x1b[2J\x1b[H")

    def draw() -> None:
        order(drawn.text())
        sys.stdout.flush()

    return draw
