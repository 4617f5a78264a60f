"""Commands that only look: `check`, `where`, `schema`."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from patcher.cli.inputs import AsJson, ShowFile, examine, load, load_patch
from patcher.errors import Finding, PatcherError
from patcher.terminal.folds import on_screen
from patcher.terminal.tables import count, finding_json, in_words, say_json, say_table

if TYPE_CHECKING:
    from patcher.limits.network import Traffic
    from patcher.limits.refresh import PortTime


def check(show: ShowFile, as_json: AsJson = False) -> None:
    """Every problem of a show at once: file, wiring, address, timing, network, power."""
    from patcher.limits import findings, network, refresh
    from patcher.patch.patch_file import read_patch
    from patcher.power import shortfalls
    from patcher.show.line_numbers import located

    wiring, found, text = examine(show)
    times: list[PortTime] = []
    traffic: Traffic | None = None
    unreadable = any(finding.area == "file" for finding in found)
    if wiring is not None and not found:
        try:
            unread: list[Finding] = []
            kept = read_patch(show)
        except PatcherError as error:
            kept, unread = None, list(error.findings)
        patch, found = findings.check(wiring, kept)
        found = located([*unread, *found], text)
        times = refresh.port_times(wiring)
        traffic = network.traffic(wiring.show, patch) if patch is not None else None
    if as_json:
        powered = wiring is not None and bool(times) and shortfalls.described(wiring.show)
        document = {"findings": [finding_json(finding) for finding in found], **_limits_json(times, traffic)}
        say_json({**document, "power_checked": powered})
    else:
        _say_check(found, show)
        if wiring is not None:
            _say_limits(times, traffic, wiring.show.settings.frame_rate)
            if times and not shortfalls.described(wiring.show):
                print("Power: the file has no supply, so currents and voltages were not checked.")
    if any(finding.severity == "error" for finding in found):
        raise typer.Exit(2 if unreadable else 1)


def _say_check(found: list[Finding], show: Path) -> None:
    for area in ("file", "wiring", "address", "timing", "network", "power"):
        here = [finding for finding in found if finding.area == area]
        if here:
            print(f"{area.capitalize()}")
            for finding in here:
                print(on_screen(in_words(finding)))
    numbers = [
        count(number, word)
        for word in ("error", "warning", "note")
        if (number := sum(finding.severity == word and not finding.accepted for finding in found))
    ]
    print(f"{show}: {', '.join(numbers) if numbers else 'sound: nothing to mend'}.")


def _limits_json(times: list[PortTime], traffic: Traffic | None) -> dict[str, Any]:
    from patcher.limits.network import LINK_MBPS
    from patcher.limits.refresh import slowest_ports

    ports = [
        {
            "controller": time.controller, "port": time.port, "pixels": time.pixels,
            "frame_ms": round(time.frame_ms, 4), "max_rate": round(time.max_rate, 4),
        }
        for time in times
    ]  # fmt: skip
    sent = traffic.boxes if traffic else {}
    boxes = [
        {
            "controller": box, "frame_ms": round(time.frame_ms, 4), "max_rate": round(time.max_rate, 4),
            "packets": round(sent[box].packets, 4) if box in sent else None,
            "mbps": round(sent[box].mbps, 4) if box in sent else None,
        }
        for box, time in slowest_ports(times).items()
    ]  # fmt: skip
    network = traffic and {
        "packets": round(traffic.in_all.packets, 4), "mbps": round(traffic.in_all.mbps, 4), "link_mbps": LINK_MBPS,
    }  # fmt: skip
    return {"ports": ports, "boxes": boxes, "network": network}


def _say_limits(times: list[PortTime], traffic: Traffic | None, rate: float) -> None:
    from patcher.limits.network import LINK_MBPS
    from patcher.limits.refresh import rate_text

    if times:
        slowest = max(times, key=lambda time: time.frame_ms)
        print(
            f"Slowest port: {slowest.controller}/{slowest.port}, {slowest.frame_ms:.1f} ms a frame, "
            f"{rate_text(slowest.max_rate)} frames a second; the show plays {rate:g}."
        )
    if traffic and traffic.boxes:
        most = max(traffic.boxes, key=lambda box: traffic.boxes[box].mbps)
        mbps = traffic.in_all.mbps
        print(
            f"Network: {count(round(traffic.in_all.packets), 'packet')} a second, {mbps:.1f} Mb/s in all, "
            f"{mbps / LINK_MBPS * 100:.1f} % of {LINK_MBPS} Mb/s; most to {most}, {traffic.boxes[most].mbps:.1f} Mb/s."
        )


def where(
    show: ShowFile,
    thing: Annotated[str, typer.Argument(help="3/100, towpath/12, or a box, port, run or prop.")],
    as_json: AsJson = False,
) -> None:
    """From an address to its pixel, and from a thing to its addresses."""
    from patcher.patch.thing import find, spans_of

    wiring = load(show)
    patch = load_patch(show, wiring)
    found = find(thing, wiring, patch)
    spans = spans_of(found, wiring, patch)
    if as_json:
        say_json([asdict(span) for span in spans])
    elif not spans and not all(part.isdigit() for part in thing.split("/")):
        print(f"{thing} has no pixel: nothing hangs on it.")
    elif not spans:
        universe = int(thing.split("/")[0])
        if any(universe in start.universes for start in patch.starts):
            print(f"{thing} carries no pixel: it is free, a null pixel's, or a rest too short for one.")
        else:
            print(f"{thing} carries no pixel: no box has universe {universe}.")
    else:
        rows = [
            (
                f"{span.run}/{span.first_pixel}"
                + (f"–{span.last_pixel}" if span.last_pixel > span.first_pixel else ""),
                f"{span.controller}/{span.port}",
                f"{span.universe}/{span.first_channel}",
                f"{span.universe}/{span.last_channel}",
            )
            for span in spans
        ]
        say_table(("pixels", "port", "from", "to"), rows)


def schema() -> None:
    """The show file's JSON Schema, for editors that complete and check TOML."""
    from patcher.show.schema import json_schema

    say_json(json_schema())
