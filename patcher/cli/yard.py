"""`yard`: a show's boxes and lamps, simulated on this machine, until someone stops it."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from typing import TYPE_CHECKING, Annotated, Any

import typer

from patcher.cli.loading import AsJson, ShowFile, load, load_patch
from patcher.cli.saying import count, say_json

if TYPE_CHECKING:
    from patcher.yard.yard import Yard

PICTURES_A_SECOND = 10
STRIP = 48
"""Cells of the strip that stands for a run."""


def yard(
    show: ShowFile,
    seconds: Annotated[float | None, typer.Option(min=0, help="Stop after so long.")] = None,
    fault: Annotated[list[str] | None, typer.Option(metavar="KIND:RUN=VALUE", help="Wired wrongly; repeats.")] = None,
    as_json: AsJson = False,
) -> None:
    """Simulate the show's boxes on loopback addresses, and show which lamps are lit."""
    from patcher.cli.stopping import stopping
    from patcher.faults import build, parse
    from patcher.stream.receiver import Receiver
    from patcher.yard.yard import Yard, addresses, ears

    wiring = load(show)
    patch = load_patch(show, wiring)
    built = build(wiring.show, [parse(text, wiring.show) for text in fault or []])
    simulated = Yard(wiring, patch, built)
    hosts = addresses(show, wiring.show)
    heard_by = ears(wiring.show, patch, hosts)
    with stopping() as stop, Receiver(heard_by) as receiver:
        for name in simulated.boxes:
            group = wiring.show.controllers[name].delivery == "multicast"
            print(f"{name} listens on {'its multicast groups' if group else hosts[name]}", file=sys.stderr)
        print(f"The yard is ready: patcher send dot {show} --yard", file=sys.stderr, flush=True)
        begin = time.monotonic()
        picture = _picture(simulated) if sys.stdout.isatty() and not as_json else None
        while not stop() and (seconds is None or time.monotonic() - begin < seconds):
            left = 1.0 if seconds is None else max(0.0, begin + seconds - time.monotonic())
            for datagram in receiver.poll(min(left, 0.05)):
                now = time.monotonic()
                simulated.receive(heard_by[datagram.ear], datagram.octets, datagram.sender, now)
            simulated.expire(time.monotonic())
            if picture:
                picture()
    if as_json:
        say_json(_document(simulated, hosts, time.monotonic() - begin))
    else:
        print(f"{count(len(simulated.seen), 'lamp')} lit at some time, {simulated.lit()} lit at the end.")
        for name, box in simulated.boxes.items():
            print(f"  {name}: " + (", ".join(f"{n} packets {what}" for what, n in box.counts.items()) or "no packet"))


def _document(yard: Yard, hosts: dict[str, str], seconds: float) -> dict[str, Any]:
    def colours(run: str, values: dict[tuple[int, ...], None]) -> list[dict[str, int]]:
        return [dict(zip(yard.letters[run], value, strict=True)) for value in values]

    return {
        "seconds": round(seconds, 3),
        "boxes": [
            {"controller": name, "address": hosts[name], "protocol": box.protocol,
             "universes": list(box.universes), "packets": box.counts}
            for name, box in yard.boxes.items()
        ],
        "lamps": [
            {"run": run, "pixel": pixel, "colours": colours(run, values)}
            for (run, pixel), values in sorted(yard.seen.items())
        ],
        "order": [f"{run}/{pixel}" for run, pixel in yard.seen],
    }  # fmt: skip


def _picture(yard: Yard) -> Callable[[], None]:
    """Draws the lamps in the terminal, a strip a run, a few times a second."""
    from rich.console import Console
    from rich.control import Control

    console = Console(highlight=False)
    console.clear()
    last = 0.0

    def draw() -> None:
        nonlocal last
        if time.monotonic() - last < 1 / PICTURES_A_SECOND:
            return
        last = time.monotonic()
        console.control(Control.home())
        for run in yard.lamps:
            console.print(_strip(yard, run), no_wrap=True, overflow="crop")

    return draw


def _strip(yard: Yard, run: str) -> Any:
    import numpy as np
    from rich.text import Text

    lamps, letters = yard.lamps[run], yard.letters[run]
    lit = int(lamps.any(axis=1).sum())
    text = Text(f"{run[:22]:<22} {lit:>5} of {len(lamps):>5}  ")
    for cell in np.array_split(lamps, min(STRIP, len(lamps))):
        channels = dict(zip(letters, cell.max(axis=0).tolist(), strict=True))
        white = channels.get("W", 0)
        red, green, blue = (max(channels.get(letter, 0), white) for letter in "RGB")
        if red or green or blue:
            scale = 255 / max(red, green, blue)
            text.append("●", style=f"rgb({int(red * scale)},{int(green * scale)},{int(blue * scale)})")
        else:
            text.append("·", style="dim")
    return text
