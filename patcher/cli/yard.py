"""`yard`: a show's boxes and pixels, simulated on this machine, until someone stops it."""

from __future__ import annotations

import os
import re
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from patcher.cli.inputs import AsJson, ShowFile, load, load_patch
from patcher.errors import PatcherError, choose_from, refuse
from patcher.terminal.screen import order
from patcher.terminal.tables import count, say_json
from patcher.visible import as_json

if TYPE_CHECKING:
    from patcher.listener.receiver import Ear, Receiver
    from patcher.patch.thing import Thing
    from patcher.show.schema import Show
    from patcher.wiring import Wiring
    from patcher.yard.network_trouble import Off
    from patcher.yard.yard import Yard

PICTURES_A_SECOND = 10
SNAPSHOTS_A_SECOND = 1
MOST_FOLLOWED = 64
"""Groups of synchronization addresses that are listened to at once."""
LONGEST_WAIT = 0.05
"""Seconds after which time goes on for the boxes at the latest."""


def yard(
    show: ShowFile,
    on: Annotated[
        str | None, typer.Option(metavar="THING", help="Fill the window with a box, port, run, pixels or prop.")
    ] = None,
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
    seed: Annotated[int, typer.Option(min=0, help="Of all chance: loss and the like, and pixels that flicker.")] = 0,
    snapshot: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Write what all pixels show there as JSON, every second.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Simulate the show's boxes on loopback addresses, and show which pixels are lit."""
    from patcher.faults import build, parse
    from patcher.listener.receiver import Receiver
    from patcher.patch.thing import find
    from patcher.terminal.signals import stopping
    from patcher.yard.network_trouble import Trouble
    from patcher.yard.yard import Yard, addresses, ears

    wiring = load(show)
    patch = load_patch(show, wiring)
    thing = find(on, wiring, patch) if on is not None else None
    if thing is not None and not thing.parts:
        raise refuse(thing.name, "has no pixels to draw", "name a box, port, run, pixels or prop that has")
    built = build(wiring, [parse(text, wiring) for text in fault or []])
    without_power = tuple(_off(text, wiring) for text in off or [])
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
        drawn = _can_draw(wanted=on is not None, as_json=as_json)
        watch = _watchers(simulated, wiring, thing, snapshot, picture=drawn)
        following = _Following(simulated, wiring.show, receiver, heard_by)
        _run(simulated, receiver, heard_by, following, watch, lambda: stop() or time.monotonic() >= end)
    if snapshot is not None:
        _write_snapshot(simulated, snapshot)
    if drawn:
        print()
    if as_json:
        left_out = {"groups": len(following.deaf), "under_way": trouble.too_many if trouble else 0}
        say_json(_document(simulated, hosts, time.monotonic() - begin) | {"left_out": left_out})
    else:
        print(f"{count(simulated.ever_lit(), 'lamp')} lit at some time, {simulated.lit()} lit at the end.")
        for name, box in simulated.boxes.items():
            print(f"  {name}: " + (", ".join(f"{n} packets {what}" for what, n in box.counts.items()) or "no packet"))
        if following.deaf:
            print(f"Not listened on {count(len(following.deaf), 'more group')} of synchronization addresses.")
        if trouble is not None and trouble.too_many:
            print(f"Lost because too many were under way at once: {count(trouble.too_many, 'packet')}.")


def _run(
    yard: Yard, receiver: Receiver, heard_by: dict[Ear, list[str]], following: _Following,
    watch: list[Callable[[], None]], over: Callable[[], bool],
) -> None:  # fmt: skip
    """Let packets come and time go on until it is over."""
    while not over():
        wait = min(LONGEST_WAIT, yard.next_due() - time.monotonic())
        got = receiver.poll(max(0.0, wait))
        now = time.monotonic()
        yard.hear([(heard_by[one.ear], one.octets, one.sender) for one in got], now)
        yard.expire(now)
        following.go()
        for look in watch:
            look()


def _off(text: str, wiring: Wiring) -> Off:
    """When a box has no power, as a person wrote it."""
    from patcher.yard.network_trouble import Off

    box, _, times = text.partition("=")
    boxes = [name for name in wiring.show.controllers if wiring.of_controller(name)]
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


class _Following:
    """Listens on the groups of synchronization addresses for as long as packets name them.

    Attributes:
        deaf: groups of which there were too many at once.
    """

    def __init__(self, yard: Yard, show: Show, receiver: Receiver, heard_by: dict[Ear, list[str]]) -> None:
        self.deaf: set[Ear] = set()
        self._yard, self._show, self._receiver, self._heard_by = yard, show, receiver, heard_by
        self._own = {ear: tuple(boxes) for ear, boxes in heard_by.items()}
        self._followed: set[Ear] = set()

    def go(self) -> None:
        """Join what is named now, and leave what is not any more."""
        from patcher.yard.yard import sync_ears

        wanted = sync_ears(self._show, self._yard)
        for ear in self._followed - wanted.keys():
            self._followed.remove(ear)
            if ear in self._own:
                self._heard_by[ear] = list(self._own[ear])
            else:
                self._receiver.leave(ear)
                del self._heard_by[ear]
        for ear, boxes in wanted.items():
            if ear in self._heard_by or self._join(ear):
                self._followed.add(ear)
                self._heard_by[ear] = [*dict.fromkeys((*self._own.get(ear, ()), *boxes))]

    def _join(self, ear: Ear) -> bool:
        if len(self._followed) < MOST_FOLLOWED:
            try:
                self._receiver.listen(ear)
            except PatcherError:  # the system has no more files or groups
                pass
            else:
                self.deaf.discard(ear)
                return True
        self.deaf.add(ear)
        return False


def _can_draw(*, wanted: bool, as_json: bool) -> bool:
    """Whether there is a terminal to draw on; said, where there is none and one is wanted."""
    dumb = os.environ.get("TERM", "") in ("dumb", "unknown", "")
    why = "its output is JSON" if as_json else "its output is no terminal" if not sys.stdout.isatty() else ""
    why = why or ("this terminal (TERM) cannot place text" if dumb else "")
    if why and wanted:
        print(f"--on draws nothing here: {why}; --snapshot FILE writes what every pixel shows.", file=sys.stderr)
    return not why


def _watchers(
    yard: Yard, wiring: Wiring, thing: Thing | None, snapshot: Path | None, *, picture: bool
) -> list[Callable[[], None]]:
    """What looks at the yard while it runs: the picture, and the file."""
    from patcher.yard.far_view import Throttle

    found: list[Callable[[], None]] = []
    if picture:
        found.append(Throttle(_picture(yard, wiring, thing), PICTURES_A_SECOND))
    if snapshot is not None:
        found.append(Throttle(lambda: _write_snapshot(yard, snapshot), SNAPSHOTS_A_SECOND))
    return found


def _write_snapshot(yard: Yard, path: Path) -> None:
    from patcher.show.writer import UNSEALED, write_output
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


def _picture(yard: Yard, wiring: Wiring, thing: Thing | None) -> Callable[[], None]:
    """Draws pixels in the terminal, in the colours that it has; not before the last picture has been taken."""
    import shutil

    from rich.console import Console

    from patcher.terminal import output
    from patcher.yard.close_view import Close, Colours
    from patcher.yard.far_view import Picture
    from patcher.yard.line_updates import Screen

    kinds: dict[str | None, Colours] = {"standard": "8", "256": "256", "windows": "8", "truecolor": "truecolor"}
    # The console looks at COLORTERM, TERM and NO_COLOR.
    console = Console(highlight=False)
    colours = "" if console.no_color else kinds.get(console.color_system, "")

    def picture(columns: int, lines: int) -> Callable[[], list[str]]:
        if thing is not None:
            return Close(yard, wiring.show, thing, columns, lines, colours).lines
        return Picture(yard, wiring, columns, lines, "8" if colours == "256" else colours).lines

    screen = Screen(shutil.get_terminal_size, picture)

    def draw() -> None:
        if not output.busy():
            order(screen.text(time.monotonic()))

    return draw
